"""What is asked for: a designation taken apart, and the tables that it is looked up in.

Beside it what reading pipe, tube and structural sections have in common.
"""

from fractions import Fraction
from typing import Final, NamedTuple

from ..errors import InputError
from ..tables.reader import INCH, PipeRow, SectionTables
from .tokenizer import Written

LARGEST_IN: Final = 48
THICKEST_IN: Final = Fraction(5, 2)
"""Sizes without unit that may be inches: outside at most, wall at most (common practice, no
source)."""

OD_TOLERANCE: Final = 0.5
"""mm: printed sizes differ by rounding (323.8, 323.9)."""
WALL_TOLERANCE: Final = Fraction(2, 100)
"""mm."""

BOXES: Final = ("square", "rectangular")


class Asked(NamedTuple):
    """A designation taken apart, and the tables it is looked up in."""

    written: Written
    tables: SectionTables

    def nps_by_outside(self, mm: Fraction) -> str | None:
        """Return the nominal size of pipe of this outside diameter."""
        size = float(mm)
        for nps, exact, printed in self.tables.pipe_outsides:
            if abs(size - printed) <= OD_TOLERANCE or abs(size - exact) < 1e-9:
                return nps
        return None

    def unknown(self, what: str, near: list[str]) -> InputError:
        """Return the error for a section that no table has, with the nearest that are known."""
        known = ", ".join(dict.fromkeys(near))
        return InputError(
            "section-unknown", f"{what} ({self.written.text!r})", remedy=f"Nearest known: {known}."
        )


def row_with_wall(rows: list[PipeRow], wall_in: Fraction) -> PipeRow | None:
    """Return the row with this wall; numbered schedules before weight classes."""
    matches = [
        row
        for row in rows
        if abs(row.wall_in - wall_in) <= Fraction(6, 10_000)
        or abs(Fraction(row.wall) - wall_in * INCH) <= WALL_TOLERANCE
    ]
    matches.sort(key=lambda row: (not row.schedule.isdigit(), row.standard, row.schedule))
    return matches[0] if matches else None


def by_distinct_wall(rows: list[PipeRow]) -> list[PipeRow]:
    """Return one row a wall, numbered schedules preferred."""
    best: dict[float, PipeRow] = {}
    for row in rows:
        known = best.get(row.wall)
        if known is None or (row.schedule.isdigit() and not known.schedule.isdigit()):
            best[row.wall] = row
    return list(best.values())


def plain_name(designation: str) -> str:
    """Return an EN designation without its finish."""
    return designation.removesuffix(" cf").removesuffix(" hf")


def wall_text(wall_in: Fraction) -> str:
    """Return what follows an outside in inches: the wall in the unit that keeps its digits."""
    short = f"{float(wall_in):g}"
    if Fraction(short) == wall_in:
        return f"x {short} in"
    return f"in x {float(wall_in * INCH):g} mm"
