"""The curated section tables: CSV files beside this module, read once and when needed.

``tables/index.toml`` names the standard, edition and origin of each table. Every row is
checked for physics by ``tests/catalogue``; loading trusts nothing and reports file and row.
"""

import csv
import io
from collections.abc import Callable, Iterable, Mapping
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import Final, NamedTuple, TypeVar

from .errors import FileError
from .reading import Files, files_of
from .sections import (
    A500,
    COLD_FORMED,
    HOT_FINISHED,
    Section,
    hollow_section,
    round_section,
    with_inches,
)

FOLDER: Final = Path(__file__).parent / "tables"

T = TypeVar("T")

INCH: Final = Fraction(254, 10)


def own_name(text: str) -> str:
    """Return the form in which names of own sections are compared: case and spaces are none."""
    return "".join(text.split()).casefold()


class PipeRow(NamedTuple):
    """One size and schedule of ASME B36.10M or B36.19M. Sizes in inch and printed mm."""

    nps: str
    dn: str
    schedule: str
    od_inches: str
    wall_inches: str
    od: float
    wall: float
    standard: str

    @property
    def od_in(self) -> Fraction:
        """Outside diameter in inches, exactly as printed."""
        return Fraction(self.od_inches)

    @property
    def wall_in(self) -> Fraction:
        """Wall in inches, exactly as printed."""
        return Fraction(self.wall_inches)

    @property
    def designation(self) -> str:
        """``NPS 6 SCH 40``, ``NPS 10 XS``."""
        return f"NPS {self.nps} {schedule_name(self.schedule)}"

    def section(self) -> Section:
        """Return the section with the printed millimetre sizes."""
        section = round_section(self.designation, self.od, self.wall, self.standard)
        return with_inches(section, self.od_in, self.wall_in)


def schedule_name(schedule: str) -> str:
    """Return ``SCH 40`` for ``40``, and weight classes as they stand."""
    return schedule if schedule in ("STD", "XS", "XXS") else f"SCH {schedule}"


def inches(text: str) -> Fraction:
    """Read ``2-1/2`` or ``0.375`` exactly."""
    whole, _, part = text.partition("-")
    return Fraction(whole) + Fraction(part) if part else Fraction(whole)


class SectionTables:
    """All section tables of one folder.

    Args:
        folder: where the CSV files lie; the built-in tables by default.
        own: sections of the site's own, by the name they are asked by.

    Raises:
        FileError: ``file-missing``, ``file-damaged`` or ``file-problems``, on first use of a
            table.
    """

    def __init__(
        self, folder: Path | Files = FOLDER, own: Mapping[str, Section] | None = None
    ) -> None:
        self.files = files_of(folder)
        self.own: Mapping[str, Section] = own or {}

    def _rows(self, name: str, columns: Iterable[str]) -> list[dict[str, str]]:
        path = self.files.where(name)
        wanted = list(columns)
        try:
            text = self.files.read(name).decode("utf-8")
        except UnicodeDecodeError as fault:
            raise FileError(
                "file-missing", f"section table cannot be read ({fault})", where=path
            ) from None
        reader = csv.DictReader(io.StringIO(text), restkey="", restval=None)
        rows = list(reader)
        if not rows or list(reader.fieldnames or []) != wanted:
            raise FileError(
                "file-damaged",
                f"section table must have rows under the columns {', '.join(wanted)}",
                where=path,
            )
        for line, row in enumerate(rows, start=2):
            if "" in row or None in row.values():
                raise FileError(
                    "file-damaged", "row has more or fewer cells than columns",
                    where=f"{path}, line {line}",
                )  # fmt: skip
        return rows

    def _read(self, name: str, columns: str, build: Callable[[dict[str, str]], T]) -> list[T]:
        built: list[T] = []
        for line, row in enumerate(self._rows(name, columns.split(",")), start=2):
            try:
                built.append(build(row))
            except (ValueError, ZeroDivisionError) as fault:
                raise FileError(
                    "file-damaged",
                    f"row is wrong ({fault})",
                    where=f"{self.files.where(name)}:{line}",
                ) from None
        return built

    @cached_property
    def pipes(self) -> dict[tuple[str, str], PipeRow]:
        """ASME B36.10M and B36.19M by (NPS, schedule)."""
        rows: dict[tuple[str, str], PipeRow] = {}
        for name, standard in (
            ("asme_b36_10m.csv", "ASME B36.10M"),
            ("asme_b36_19m.csv", "ASME B36.19M"),
        ):

            def build(row: dict[str, str], standard: str = standard) -> PipeRow:
                return PipeRow(
                    row["nps"], row["dn"], row["schedule"],
                    row["od_in"],
                    row["wall_in"],
                    float(row["od_mm"]), float(row["wall_mm"]), standard,
                )  # fmt: skip

            for row in self._read(name, "nps,dn,schedule,od_in,wall_in,od_mm,wall_mm", build):
                rows[row.nps, row.schedule] = row
        return rows

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

    def schedules(self, nps: str) -> list[PipeRow]:
        """Return the rows of one NPS, thinnest wall first."""
        rows = [row for (size, _), row in self.pipes.items() if size == nps]
        return sorted(rows, key=lambda row: row.wall)

    @cached_property
    def plain_rounds(self) -> list[Section]:
        """EN 10220 / ISO 4200 rounds that no standard of hollow sections lists."""

        def build(row: dict[str, str]) -> Section:
            od, wall = float(row["od_mm"]), float(row["wall_mm"])
            return round_section(f"CHS {od:g}x{wall:g}", od, wall, "EN 10220 / ISO 4200")

        structural = {
            (section.height, section.wall)
            for section in (*self.cold_formed, *self.hot_finished)
            if section.shape == "round"
        }
        every = self._read("en_10220.csv", "series,dn,od_mm,wall_mm", build)
        return [section for section in every if (section.height, section.wall) not in structural]

    def metric(self, height: float, width: float, wall: float, *, is_round: bool) -> list[Section]:
        """Return the EN sections of this size in mm: hot finished first, then cold formed.

        A round that neither has is the plain one of EN 10220, where it is listed.
        """
        wanted = (max(height, width), min(height, width), wall)

        def found(sections: list[Section]) -> list[Section]:
            return [
                section
                for section in sections
                if abs(section.wall - wall) < 1e-6
                and abs(section.height - wanted[0]) < 1e-6
                and abs(section.width - wanted[1]) < 1e-6
                and (section.shape == "round") == is_round
            ]

        both = [*found(self.hot_finished), *found(self.cold_formed)]
        return both if both or not is_round else found(self.plain_rounds)

    @cached_property
    def dn_of_series_1(self) -> dict[str, float]:
        """Outside diameter in mm by DN, EN 10220 series 1."""
        rows = self._rows("en_10220.csv", ["series", "dn", "od_mm", "wall_mm"])
        return {row["dn"]: float(row["od_mm"]) for row in rows if row["dn"]}

    @cached_property
    def cold_formed(self) -> list[Section]:
        """EN 10219-2 CHS, SHS and RHS."""
        return self._structural("en_10219_2.csv", "EN 10219-2", "cold")

    @cached_property
    def hot_finished(self) -> list[Section]:
        """EN 10210-2 CHS, SHS and RHS."""
        return self._structural("en_10210_2.csv", "EN 10210-2", "hot")

    def _structural(self, name: str, standard: str, finish: str) -> list[Section]:
        corners = COLD_FORMED if finish == "cold" else HOT_FINISHED

        def build(row: dict[str, str]) -> Section:
            height, width = float(row["height_mm"]), float(row["width_mm"])
            wall, kind = float(row["wall_mm"]), row["shape"]
            sides = f"{height:g}x{width:g}" if kind == "RHS" else f"{height:g}"
            written = f"{kind} {sides}x{wall:g} {'cf' if finish == 'cold' else 'hf'}"
            if kind == "CHS":
                return round_section(written, height, wall, standard)
            return hollow_section(written, height, width, wall, standard, corners=corners)

        return self._read(name, "shape,height_mm,width_mm,wall_mm", build)

    @cached_property
    def hss(self) -> dict[tuple[Fraction, Fraction, Fraction, bool], Section]:
        """ASTM A500 sections by (height, width, nominal wall) in inches and roundness."""

        def build(row: dict[str, str]) -> tuple[tuple[Fraction, Fraction, Fraction, bool], Section]:
            height, width = Fraction(row["height_in"]), Fraction(row["width_in"])
            wall, is_round = Fraction(row["wall_in"]), row["shape"] == "round"
            sizes = [float(size * INCH) for size in (height, width, wall)]
            if is_round:
                section = round_section(row["designation"], sizes[0], sizes[2], "ASTM A500")
            else:
                section = hollow_section(
                    row["designation"], *sizes, standard="ASTM A500", corners=A500
                )
            sides = (height,) if is_round else (height, width)
            section = with_inches(section, *sides, wall)
            return (max(height, width), min(height, width), wall, is_round), section

        return dict(
            self._read("astm_a500.csv", "shape,height_in,width_in,wall_in,designation", build)
        )

    @cached_property
    def gauges(self) -> dict[tuple[str, str], Fraction]:
        """Wall in inches by (gauge system, gauge)."""

        def build(row: dict[str, str]) -> tuple[tuple[str, str], Fraction]:
            return (row["system"], row["gauge"]), Fraction(row["wall_in"])

        return dict(self._read("gauges.csv", "system,gauge,wall_in", build))

    @cached_property
    def inch_tubes(self) -> list[tuple[Fraction, str, Fraction]]:
        """Common inch tube: outside diameter, BWG gauge or empty, wall."""

        def build(row: dict[str, str]) -> tuple[Fraction, str, Fraction]:
            return Fraction(row["od_in"]), row["gauge_bwg"], Fraction(row["wall_in"])

        return self._read("tube_inch.csv", "od_in,gauge_bwg,wall_in", build)

    @cached_property
    def metric_tubes(self) -> list[tuple[Fraction, Fraction]]:
        """Common metric tube: outside diameter and wall in mm."""

        def build(row: dict[str, str]) -> tuple[Fraction, Fraction]:
            return Fraction(row["od_mm"]), Fraction(row["wall_mm"])

        return self._read("tube_metric.csv", "od_mm,wall_mm", build)

    def every_section(self) -> Iterable[Section]:
        """Return all sections of all tables, in the order of the tables."""
        yield from self.own.values()
        yield from (row.section() for row in self.pipes.values())
        yield from self.hss.values()
        yield from self.plain_rounds
        yield from self.cold_formed
        yield from self.hot_finished
        for od, gauge, wall in self.inch_tubes:
            note = f"{gauge} ga BWG" if gauge else ""
            section = round_section(
                f"tube {float(od):g} x {float(wall):g} in",
                float(od * INCH), float(wall * INCH), "common stock tube",
            )  # fmt: skip
            yield with_inches(section, od, wall)._replace(note=note)
        for od, wall in self.metric_tubes:
            yield round_section(
                f"tube {float(od):g} x {float(wall):g} mm", float(od), float(wall),
                "common stock tube",
            )  # fmt: skip
