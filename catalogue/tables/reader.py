"""The curated section tables, and what typed text is looked up in.

``tables/index.toml`` says of each table what its columns are, how a row becomes a section and is
written, and where it comes from. Every row is checked for physics by ``tests/catalogue``.
"""

from collections.abc import Sequence
from fractions import Fraction
from functools import cached_property
from typing import Final, NamedTuple

from ..errors import FileError
from .sections import Section
from .table_files import TableFiles
from .table_rows import Row, inches

INCH: Final = Fraction(254, 10)


def own_name(text: str) -> str:
    """Return the form in which names of own sections are compared: case and spaces are none."""
    return "".join(text.split()).casefold()


class PipeRow(NamedTuple):
    """One nominal size and schedule of pipe; sizes in inch and in mm as printed."""

    row: Row

    @property
    def nps(self) -> str:
        """Nominal size, ``1-1/2``."""
        return self.row.cells["nps"]

    @property
    def dn(self) -> str:
        """Nominal size in mm."""
        return self.row.cells["dn"]

    @property
    def schedule(self) -> str:
        """``40``, ``40S``, ``STD``."""
        return self.row.cells["schedule"]

    @property
    def od(self) -> float:
        """Outside diameter, printed mm."""
        return self.row.sizes[0]

    @property
    def wall(self) -> float:
        """Wall, printed mm."""
        return self.row.sizes[2]

    @property
    def od_in(self) -> Fraction:
        """Outside diameter in inches, exactly as printed."""
        return self.row.outside_in

    @property
    def wall_in(self) -> Fraction:
        """Wall in inches, exactly as printed."""
        return self.row.wall_in

    @property
    def standard(self) -> str:
        """The standard the row is of."""
        return self.row.kind.standard

    @property
    def designation(self) -> str:
        """``NPS 6 SCH 40``, ``NPS 10 XS``."""
        return self.row.designation

    def section(self) -> Section:
        """Return the section with the printed millimetre sizes."""
        return self.row.section


def schedule_name(schedule: str) -> str:
    """Return ``SCH 40`` for ``40``, and weight classes as they stand."""
    return schedule if schedule in ("STD", "XS", "XXS") else f"SCH {schedule}"


class SectionTables(TableFiles):
    """All section tables of one folder, by what people type of them."""

    @cached_property
    def pipes(self) -> dict[tuple[str, str], PipeRow]:
        """Pipe by (NPS, schedule)."""
        rows = map(PipeRow, self.of_role("pipe"))
        return {(row.nps, row.schedule): row for row in rows}

    @cached_property
    def nominal_sizes(self) -> dict[str, tuple[Fraction, Fraction, float, str]]:
        """By NPS: nominal inches, outside inches, outside mm, DN."""
        sizes: dict[str, tuple[Fraction, Fraction, float, str]] = {}
        for row in self.pipes.values():
            if row.nps not in sizes:
                sizes[row.nps] = (inches(row.nps), row.od_in, row.od, row.dn)
        return sizes

    @cached_property
    def nps_by_inches(self) -> dict[Fraction, str]:
        """NPS by the inches it is named after."""
        return {row[0]: nps for nps, row in self.nominal_sizes.items()}

    @cached_property
    def pipe_outsides(self) -> list[tuple[str, float, float]]:
        """By NPS: outside in mm from its inches, and as printed."""
        return [
            (nps, float(inch * INCH), printed)
            for nps, (_, inch, printed, _) in self.nominal_sizes.items()
        ]

    @cached_property
    def _schedules(self) -> dict[str, list[PipeRow]]:
        by_size: dict[str, list[PipeRow]] = {}
        for (nps, _), row in self.pipes.items():
            by_size.setdefault(nps, []).append(row)
        return {nps: sorted(rows, key=lambda row: row.wall) for nps, rows in by_size.items()}

    def schedules(self, nps: str) -> list[PipeRow]:
        """Return the rows of one NPS, thinnest wall first."""
        return self._schedules.get(nps, [])

    def metric(self, height: float, width: float, wall: float, *, is_round: bool) -> list[Row]:
        """Return the hollow sections of this size in mm: hot finished first, then cold formed.

        A round that none of them has is a plain one, where it is listed.
        """
        key = _metric_key((max(height, width), min(height, width), wall), is_round=is_round)
        both = sorted(self._metric.get(key, ()), key=lambda row: row.form.finish, reverse=True)
        hollow = [row for row in both if row.form.role == "hollow"]
        return hollow or both

    @cached_property
    def _metric(self) -> dict[tuple[int, int, int, bool], list[Row]]:
        found: dict[tuple[int, int, int, bool], list[Row]] = {}
        for row in self.of_role("hollow", "round"):
            key = _metric_key(row.sizes, is_round=row.kind.shape == "round")
            found.setdefault(key, []).append(row)
        return found

    @cached_property
    def hss(self) -> dict[tuple[Fraction, Fraction, Fraction, bool], Row]:
        """Sections by (height, width, nominal wall) in inches and roundness."""
        found: dict[tuple[Fraction, Fraction, Fraction, bool], Row] = {}
        for row in self.of_role("hss"):
            *sides, wall = (column.printed(row.cells) for column in row.kind.sizes)
            found[max(sides), min(sides), wall, row.kind.shape == "round"] = row
        return found

    @cached_property
    def dn_of_series_1(self) -> dict[str, float]:
        """Outside diameter in mm by DN, of plain rounds that have one (EN 10220 series 1)."""
        rows = self.of_role("round")
        return {row.cells["dn"]: row.sizes[0] for row in rows if row.cells.get("dn")}

    @cached_property
    def gauges(self) -> dict[tuple[str, str], Fraction]:
        """Wall in inches by (gauge system, gauge)."""
        found: dict[tuple[str, str], Fraction] = {}
        for form in self.forms.values():
            if form.role != "gauges":
                continue
            for line, cells in enumerate(self._cells(form), start=2):
                try:
                    found[cells["system"], cells["gauge"]] = Fraction(cells["wall_in"])
                except (ValueError, ZeroDivisionError) as fault:
                    raise FileError(
                        "file-damaged", f"row is wrong ({fault})",
                        where=f"{self.files.where(form.file)}:{line}",
                    ) from None  # fmt: skip
        return found

    @cached_property
    def stock_tubes(self) -> dict[tuple[str, Fraction], list[str]]:
        """Designations of common stock tube by unit and outside diameter in it."""
        found: dict[tuple[str, Fraction], list[str]] = {}
        for role, unit in (("inch-tube", "in"), ("metric-tube", "mm")):
            for row in self.of_role(role):
                size = row.outside_in if unit == "in" else Fraction(str(row.sizes[0]))
                found.setdefault((unit, size), []).append(row.designation)
        return found


def _metric_key(sizes: Sequence[float], *, is_round: bool) -> tuple[int, int, int, bool]:
    height, width, wall = (round(size * 1e6) for size in sizes)
    return height, width, wall, is_round
