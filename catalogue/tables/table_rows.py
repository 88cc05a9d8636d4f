"""Rows of section tables: cells, and how the entry of their table makes a section of them."""

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Final, NamedTuple

from ..errors import FileError, InputError
from ..units.quantities import LONGEST_TEXT, tidy
from .sections import Corners, Section, Shape, hollow_section, round_section, with_inches

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class Column(NamedTuple):
    """Where one size stands: the column in mm and the one in inches, empty where there is none."""

    mm: str
    inch: str

    def value(self, cells: Mapping[str, str]) -> float:
        """Return the size in mm, exact inches where the table prints no millimetres."""
        return float(cells[self.mm] if self.mm else inches(cells[self.inch]) * Fraction(254, 10))

    def printed(self, cells: Mapping[str, str]) -> Fraction:
        """Return the size in inches, as printed where it is."""
        return inches(cells[self.inch]) if self.inch else Fraction(cells[self.mm]) / 254 * 10


def inches(text: str) -> Fraction:
    """Read ``2-1/2`` or ``0.375`` exactly."""
    whole, _, part = text.partition("-")
    return Fraction(whole) + Fraction(part) if part else Fraction(whole)


FIELD: Final = re.compile(r"\{(\w+)(:g|:head|:tail|:rest)?\}")
"""A column in a template, and what is taken of its cell."""


def filled(template: str, cells: Mapping[str, str]) -> str:
    """Return a template with its ``{column}`` filled in.

    ``{column:g}`` leaves out idle zeros; ``{column:head}`` and ``{column:tail}`` are what stands
    before and after the last x, ``{column:rest}`` what stands after the first space.
    """

    def cell(match: re.Match[str]) -> str:
        text = cells[match[1]]
        if match[2] == ":g":
            return f"{float(text):g}"
        if match[2] == ":rest":
            return text.partition(" ")[2]
        head, _, tail = text.rpartition("x")
        return {":head": head, ":tail": tail}.get(match[2], text)

    return FIELD.sub(cell, template)


def typed_key(text: str) -> str:
    """Return the form in which designations are compared: case and kind of x or space are none.

    A space that is not printed counts: 12 5 is not 125.
    """
    if text.isascii() and len(text) <= LONGEST_TEXT:
        return " ".join(text.split()).casefold()
    return " ".join(tidy(text).split())


class Kind(NamedTuple):
    """Rows of one kind within a table.

    Attributes:
        when: columns and the cells of which one must be there; a row is of the first kind it fits.
        sizes: outside diameter, or height and width; then the wall.
        forms: how a row is written: the designation, then other forms that may be typed.
        is_typed: whether the forms are read as printed, before anything else.
        standard: what a section says it is of.
        note: what is said beside a section, empty for nothing.
        family: the range it is shown in, empty for none; with size and wall as shown there.
        begins: what each form begins with, before its first column.
    """

    when: dict[str, tuple[str, ...]]
    shape: Shape
    sizes: tuple[Column, ...]
    corners: Corners | None
    forms: tuple[str, ...]
    is_typed: bool
    standard: str
    note: str
    family: str
    family_size: str
    family_wall: str
    begins: tuple[str, ...]

    def fits(self, cells: Mapping[str, str]) -> bool:
        """Say whether a row is of this kind."""
        return all(cells[column] in allowed for column, allowed in self.when.items())


class Form(NamedTuple):
    """The entry of one table."""

    name: str
    file: str
    columns: tuple[str, ...]
    role: str
    finish: str
    unless_in: tuple[str, ...]
    kinds: tuple[Kind, ...]

    def may_begin(self, key: str) -> bool:
        """Say whether typed text, in the form it is compared in, can be of this table at all."""
        return any(key.startswith(kind.begins) for kind in self.kinds if kind.is_typed)


class Row:
    """One row of a section table; its section is made when it is asked for."""

    def __init__(self, cells: Mapping[str, str], kind: Kind, form: Form, where: str) -> None:
        self.cells, self.kind, self.form, self.where = cells, kind, form, where
        *sides, wall = (column.value(cells) for column in kind.sizes)
        self.sizes = (max(sides), min(sides), wall)
        """Height, width and wall in mm."""

    @cached_property
    def designation(self) -> str:
        """How the section is written."""
        return filled(self.kind.forms[0], self.cells)

    def typed_keys(self) -> list[str]:
        """Return every form of the designation as typed text is compared with it."""
        return [typed_key(filled(form, self.cells)) for form in self.kind.forms]

    @property
    def outside_in(self) -> Fraction:
        """Outside diameter or larger side in inches, as printed where it is."""
        return max(column.printed(self.cells) for column in self.kind.sizes[:-1])

    @property
    def wall_in(self) -> Fraction:
        """Wall in inches, as printed where it is."""
        return self.kind.sizes[-1].printed(self.cells)

    @cached_property
    def section(self) -> Section:
        """The section.

        Raises:
            FileError: ``file-damaged``: the sizes cannot be.
        """
        try:
            return self._section()
        except (InputError, ValueError, ZeroDivisionError) as fault:
            what, remedy = (
                (fault.what, fault.remedy) if isinstance(fault, InputError) else (str(fault), "")
            )
            raise FileError(
                "file-damaged", f"row is wrong ({what})", where=self.where, remedy=remedy
            ) from None

    def _section(self) -> Section:
        kind, cells, name = self.kind, self.cells, self.designation
        if kind.corners is None:
            section = round_section(name, self.sizes[0], self.sizes[2], kind.standard)
        else:
            section = hollow_section(name, *self.sizes, kind.standard, corners=kind.corners)
        if any(column.inch for column in kind.sizes):
            section = with_inches(section, *(column.printed(cells) for column in kind.sizes))
        return section._replace(note=filled(kind.note, cells)) if kind.note else section


class Pool:
    """Rows among which the nearest in size are found; nothing is computed until it is asked."""

    def __init__(self, rows: Sequence[Row]) -> None:
        self._rows = rows

    @cached_property
    def _sizes(self) -> "NDArray[np.float64]":
        """Heights, widths and walls, each in a row of its own."""
        import numpy as np  # only needed when something is not in a table

        sizes = np.array([row.sizes for row in self._rows], dtype=np.float64).reshape(-1, 3)
        return np.ascontiguousarray(sizes.T)

    def nearest(self, wanted: Sequence[float], count: int) -> list[Row]:
        """Return up to ``count`` rows, nearest first: each size counts relative to itself.

        ``wanted`` is height, width and wall in mm.
        """
        import numpy as np

        height, width, wall = (
            abs(sizes - size) / max(size, 1e-9)
            for sizes, size in zip(self._sizes, wanted, strict=True)
        )
        # A distance is a sum of shares; beyond twelve digits is noise, and the first row stands.
        apart = (height + width + wall).round(12)
        near = np.arange(len(apart))
        if len(apart) > count:
            near = np.flatnonzero(apart <= np.partition(apart, count - 1)[count - 1])
        order = near[np.argsort(apart[near], kind="stable")][:count]
        return [self._rows[place] for place in order.tolist()]
