"""What a typed section means.

The rule of the house: never guess. Text with one reading becomes a section; text with two
becomes a question with the readings as choices; text with none becomes an error with the
nearest known designations. What little is taken for granted is said in ``Section.note``.
"""

import re
from fractions import Fraction
from typing import Final

from ..errors import InputError, OpenQuestion
from ..tables.reader import INCH, PipeRow, SectionTables, own_name, schedule_name
from ..tables.sections import A500, Section, hollow_section, round_section, with_inches
from ..units.quantities import comma_readings
from .tokenizer import Size, Written, take_apart

# A number without unit is read as inches or millimetres only where that is a size tube and
# pipe come in. Common practice, no source: outside 6 mm to 2 m, and up to 48 in with walls
# up to 2.5 in.
SMALLEST_MM: Final = 6
LARGEST_MM: Final = 2000
LARGEST_IN: Final = 48
THICKEST_IN: Final = Fraction(5, 2)
THINNEST_MM: Final = Fraction(3, 10)

_BOXES: Final = ("square", "rectangular")

OD_TOLERANCE: Final = 0.5  # mm: printed sizes differ by rounding (323.8, 323.9)
WALL_TOLERANCE: Final = Fraction(2, 100)  # mm


def read_section(text: str, tables: SectionTables) -> Section:
    """Read a section as people write it.

    Raises:
        InputError: unreadable, unknown or impossible; the message names the nearest known.
        OpenQuestion: the text has more than one reading.
    """
    if tables.own and own_name(text) in tables.own:
        return tables.own[own_name(text)]
    try:
        # What a table prints is that section; everything else is read word by word.
        printed = tables.typed(text)
        if printed is not None:
            return printed
        written = take_apart(text)
        section = _Reader(written, tables).section()
    except InputError as fault:
        raise _letter_o(text, tables) or fault from None
    except OpenQuestion as asked:
        if asked.question.code != "decimal-or-thousands":
            raise
        choices = _whole_choices(text, tables)
        if not choices:
            raise InputError(
                "designation-unreadable",
                f"{text.strip()[:60]!r} is no section however its commas are read",
                remedy="Write sizes without a thousands mark.",
            ) from None
        if len(choices) > 1:
            raise OpenQuestion(asked.question.code, asked.question.text, choices) from None
        section = read_section(choices[0], tables)
        return _noted(section, f"{text.strip()[:60]!r} can only be {section.designation}")
    if written.making:
        words = " ".join(written.making)
        note = f"'{words}' changes no size; tolerances are those of the grade"
        return _noted(section, note)
    return section


def _noted(section: Section, note: str) -> Section:
    return section._replace(note=f"{section.note}; {note}" if section.note else note)


_LETTER_O = re.compile(r"(?<=\d)o(?![a-z])|(?<![a-z])o(?=\d)", re.IGNORECASE)


def _letter_o(text: str, tables: SectionTables) -> InputError | None:
    """Return the error for a letter O among digits, None where there is none: SCH 4O."""
    corrected = _LETTER_O.sub("0", text)
    if corrected == text:
        return None
    remedy = f"Did you mean {corrected.strip()[:60]!r}?"
    try:
        read_section(corrected, tables)
    except OpenQuestion:
        pass  # readable, and asked about when typed
    except InputError as fault:
        remedy = fault.remedy
    return InputError(
        "designation-unreadable",
        f"{text.strip()[:60]!r} has the letter O where a zero is meant",
        remedy=remedy,
    )


def _whole_choices(text: str, tables: SectionTables) -> list[str]:
    """Return both readings of an open comma as whole designations that can be typed."""
    typed: list[str] = []
    for reading in comma_readings(text):
        try:
            read_section(reading, tables)
        except OpenQuestion as asked:
            typed += asked.question.choices
        except InputError:
            continue
        else:
            typed.append(reading)
    return list(dict.fromkeys(typed))


class _Reader:
    def __init__(self, written: Written, tables: SectionTables) -> None:
        self.written = written
        self.tables = tables

    def section(self) -> Section:
        written = self.written
        if written.gauge_system and not written.gauge:
            raise InputError(
                "designation-unreadable",
                f"{written.text!r} names a material or gauge table, but no gauge",
                remedy="Name the material with --grade, the gauge like '11 ga BWG'.",
            )
        if not written.sizes:
            raise InputError(
                "designation-unreadable",
                f"{written.text!r} has no size",
                remedy="Write it like NPS 6 SCH 40, HSS 6x4x1/4 or tube 50 x 3 mm.",
            )
        if written.schedule or written.family in ("nps", "dn"):
            return self._pipe()
        if written.family == "hss":
            return self._hss()
        if written.family in ("chs", "shs", "rhs"):
            return self._en(written.family)
        if len(written.sizes) == 3 or written.form in ("square", "rectangular"):
            return self._box()
        if written.kind == "pipe" and not written.is_outside:
            return self._pipe()
        return self._round()

    # --- pipe by nominal size -------------------------------------------------------------

    def _pipe(self) -> Section:
        written, sizes = self.written, self.written.sizes
        if written.form in ("square", "rectangular") or len(sizes) > 2 or written.gauge:
            raise InputError(
                "designation-unreadable",
                f"{written.text!r} mixes pipe with sizes that pipe does not have",
                remedy="Pipe is a nominal size with a schedule or a wall.",
            )
        if written.family == "dn":
            return self._dn()
        nps = self._nominal(sizes[0])
        if nps is None:
            return self._round()
        if written.schedule:
            if len(sizes) > 1:
                return self._agreeing(nps)
            section = self._scheduled(nps, written.schedule)
            if self.tables.nominal_sizes[nps][0] != sizes[0].value or sizes[0].unit == "mm":
                return section._replace(note=f"{sizes[0].text} outside is NPS {nps}")
            return section
        if len(sizes) == 1:
            raise self._which_schedule(nps)
        return self._by_wall(nps, self._wall_in(sizes[1], mm_above=THICKEST_IN))

    def _nominal(self, size: Size) -> str | None:
        """Return the NPS that ``size`` names, None where it is an outside diameter."""
        sizes = self.tables.nominal_sizes
        is_bare_mm = not size.unit and size.value > LARGEST_IN
        if size.unit not in ("", "in") or is_bare_mm:
            outside = size.mm("mm")
            return self._by_outside(outside)
        by_name = self.tables.nps_by_inches.get(size.value)
        by_outside = self._by_outside(size.value * INCH)
        if by_name and by_outside and by_name != by_outside and self._looks_outside(size):
            as_nominal, as_outside = self._walls_of(by_name), self._walls_of(by_outside)
            if as_nominal and as_outside:
                raise OpenQuestion(
                    "nominal-or-outside",
                    f"Is {size.text} in {self.written.text!r} the nominal size or "
                    "the outside diameter?",
                    [*as_nominal, *as_outside],
                )
            return by_name if as_nominal or not as_outside else by_outside
        if by_name or by_outside:
            return by_name or by_outside
        if self.written.family == "nps" or self.written.schedule:
            inch = float(size.value)  # names are halves of halves: what is as near stays so
            near = sorted(sizes, key=lambda nps: abs(float(sizes[nps][0]) - inch))[:2]
            raise self._unknown(
                f"there is no NPS {size.text}",
                [f"NPS {nps} {self._schedule_text()}" for nps in near],
            )
        return None

    def _walls_of(self, nps: str) -> list[str]:
        """Return what the text can mean at this size, as designations: its wall, or every one."""
        rows, sizes = self.tables.schedules(nps), self.written.sizes
        if self.written.schedule:
            return [row.designation for row in rows if row.schedule == self.written.schedule]
        if len(sizes) == 1:
            return [row.designation for row in _by_distinct_wall(rows)]
        wall = self._wall_in(sizes[1], mm_above=THICKEST_IN)
        row = _row_with_wall(rows, wall)
        if row is not None:
            return [row.designation]
        outside = rows[0].od_in
        return [f"tube {float(outside):g} {_wall_text(wall)}"] if 0 < 2 * wall < outside else []

    def _looks_outside(self, size: Size) -> bool:
        return not self.written.family and "/" not in size.text and size.value.denominator != 1

    def _schedule_text(self) -> str:
        return schedule_name(self.written.schedule) if self.written.schedule else "SCH 40"

    def _by_outside(self, mm: Fraction) -> str | None:
        size = float(mm)
        for nps, exact, printed in self.tables.pipe_outsides:
            if abs(size - printed) <= OD_TOLERANCE or abs(size - exact) < 1e-9:
                return nps
        return None

    def _dn(self) -> Section:
        size = self.written.sizes[0]
        dn = f"{float(size.value):g}"
        sizes = self.tables.nominal_sizes
        nps = next((name for name, row in sizes.items() if row[3] == dn), None)
        if nps is None:
            wanted = float(size.value)
            every = (row[3] for row in sizes.values() if row[3])
            near = sorted(every, key=lambda known: abs(int(known) - wanted))[:2]
            raise self._unknown(
                f"there is no DN {dn}", [f"DN {known} {self._schedule_text()}" for known in near]
            )
        if self.written.schedule:
            section = self._scheduled(nps, self.written.schedule)
            note = f"DN {dn} is NPS {nps}, {section.height:g} mm outside"
            return section._replace(note=note)
        if len(self.written.sizes) == 1:
            raise self._which_schedule(nps)
        wall = self.written.sizes[1].mm("mm")
        outsides = {sizes[nps][2], self.tables.dn_of_series_1.get(dn, sizes[nps][2])}
        if max(outsides) - min(outsides) > OD_TOLERANCE:
            raise OpenQuestion(
                "which-dn",
                f"DN {dn} is a different outside diameter in ASME and EN pipe. Which is it?",
                [f"tube {outside:g} x {float(wall):g} mm" for outside in sorted(outsides)],
            )
        return self._round_from(Fraction(str(sizes[nps][2])), wall, "mm")

    def _scheduled(self, nps: str, schedule: str) -> Section:
        row = self.tables.pipes.get((nps, schedule))
        if row is None:
            known = _by_distinct_wall(self.tables.schedules(nps))
            if schedule.isdigit():
                known.sort(key=lambda item: _schedule_distance(item.schedule, int(schedule)))
            raise self._unknown(
                f"NPS {nps} has no {schedule_name(schedule)}",
                [item.designation for item in known[:4]],
            )
        return row.section()

    def _agreeing(self, nps: str) -> Section:
        """Schedule and wall were both given: they must say the same."""
        row_section = self._scheduled(nps, self.written.schedule)
        second = self.written.sizes[1]
        wall = second.mm("in" if second.value <= THICKEST_IN else "mm")
        if not 0 < 2 * wall < Fraction(row_section.height):
            raise InputError(
                "designation-unreadable",
                f"{second.text!r} in {self.written.text!r} is no wall of {row_section.designation}",
                remedy="Leave it out; a material is named with --grade.",
            )
        if abs(wall - Fraction(row_section.wall)) > Fraction(2, 10):
            raise OpenQuestion(
                "schedule-or-wall",
                f"{row_section.designation} has a wall of {row_section.wall:g} mm, "
                f"not {float(wall):g} mm. Which is meant?",
                [row_section.designation, f"tube {row_section.height:g} x {float(wall):g} mm"],
            )
        return row_section

    def _which_schedule(self, nps: str) -> OpenQuestion:
        rows = _by_distinct_wall(self.tables.schedules(nps))
        return OpenQuestion(
            "which-wall",
            f"Which schedule or wall has the NPS {nps} pipe?",
            [row.designation for row in rows],
        )

    def _wall_in(self, size: Size, *, mm_above: Fraction) -> Fraction:
        """Return a wall in inches; a bare number above ``mm_above`` is millimetres."""
        if size.unit:
            return size.mm("in") / INCH
        return size.value / INCH if size.value > mm_above else size.value

    def _by_wall(self, nps: str, wall_in: Fraction) -> Section:
        rows = self.tables.schedules(nps)
        match = _row_with_wall(rows, wall_in)
        if match is not None:
            note = f"a wall of {float(wall_in):g} in is {match.designation}"
            return match.section()._replace(note=note)
        near = sorted(rows, key=lambda row: abs(row.wall_in - wall_in))[:3]
        outside = float(rows[0].od_in)
        raise self._unknown(
            f"no schedule of NPS {nps} has a wall of {float(wall_in):g} in",
            [
                *(f"{row.designation} ({float(row.wall_in):g} in)" for row in near),
                f"tube {outside:g} {_wall_text(wall_in)}",
            ],
        )

    # --- round by outside diameter and wall -----------------------------------------------

    def _round(self) -> Section:
        written, sizes = self.written, self.written.sizes
        unit_name = "in"
        if written.gauge:
            outside, wall = self._gauged()
        elif len(sizes) == 1:
            raise self._which_round(sizes[0])
        else:
            unit_name = self._unit_of(sizes[0], sizes[1])
            outside, wall = (size.mm(unit_name) for size in sizes[:2])
            is_open = not written.kind and not written.is_outside and written.form != "round"
            if unit_name == "in" and is_open:
                self._ask_pipe_or_tube(outside / INCH, wall)
        return self._round_from(outside, wall, unit_name)

    def _round_from(self, outside: Fraction, wall: Fraction, unit_name: str) -> Section:
        if unit_name == "in":
            written = f"tube {float(outside / INCH):g} x {float(wall / INCH):g} in"
        else:
            written = f"tube {float(outside):g} x {float(wall):g} mm"
        tube = round_section(written, float(outside), float(wall), "by outside diameter and wall")
        if unit_name == "in":
            tube = with_inches(tube, outside / INCH, wall / INCH)
        if self.written.kind == "tube":
            return tube
        row = self._same_pipe(outside, wall)
        if row is None:
            return tube
        return row.section()._replace(note=f"{written[5:]} is {row.designation}")

    def _same_pipe(self, outside: Fraction, wall: Fraction) -> PipeRow | None:
        nps = self._by_outside(outside)
        if nps is None:
            return None
        return _row_with_wall(self.tables.schedules(nps), wall / INCH)

    def _unit_of(self, first: Size, second: Size, shown: str = "") -> str:
        """Return the unit of sizes typed without one, or ask with ``shown`` in the choices."""
        if first.unit or second.unit:
            return first.unit or second.unit
        outside, wall = first.value, second.value
        as_mm = SMALLEST_MM <= outside <= LARGEST_MM and wall >= THINNEST_MM and 2 * wall < outside
        as_inch = outside <= LARGEST_IN and wall <= THICKEST_IN and 2 * wall < outside
        if as_mm == as_inch:
            if not as_mm:
                raise InputError(
                    "section-impossible",
                    f"{self.written.text!r} is no tube size in inches or millimetres",
                    remedy="Give outside diameter x wall with a unit, wall below half the outside.",
                )
            pair = shown or f"{first.text} x {second.text}"
            raise OpenQuestion(
                "size-unit",
                f"Is {self.written.text!r} in inches or in millimetres?",
                [f"tube {pair} in", f"tube {pair} mm"],
            )
        return "mm" if as_mm else "in"

    def _ask_pipe_or_tube(self, inch: Fraction, wall: Fraction) -> None:
        """Ask where ``2 in x .154`` may be NPS 2 pipe or 2.000 in tube."""
        match = next(
            ((nps, row) for nps, row in self.tables.nominal_sizes.items() if row[0] == inch), None
        )
        if match is None or match[1][1] == inch:
            return
        nps, (_, outside_in, _, _) = match
        round_section(self.written.text, float(inch * INCH), float(wall), "")  # is it possible?
        row = _row_with_wall(self.tables.schedules(nps), wall / INCH)
        wall_text = _wall_text(wall / INCH)
        as_pipe = row.designation if row else f"tube {float(outside_in):g} {wall_text}"
        raise OpenQuestion(
            "pipe-or-tube",
            f"Is {self.written.text!r} NPS {nps} pipe, {float(outside_in):g} in outside, "
            f"or tube {float(inch):g} in outside?",
            [as_pipe, f"tube {float(inch):g} {wall_text}"],
        )

    def _gauged(self) -> tuple[Fraction, Fraction]:
        written, gauges = self.written, self.tables.gauges
        size = written.sizes[0]
        unit_name = size.unit or ("in" if size.value <= LARGEST_IN else "mm")
        outside = size.mm(unit_name)
        found = {
            system: wall
            for (system, gauge), wall in gauges.items()
            if gauge == written.gauge and written.gauge_system in ("", system)
        }
        if not found:
            known = sorted({gauge for _, gauge in gauges}, key=lambda name: (len(name), name))
            raise self._unknown(
                f"no gauge {written.gauge} is in the tables", [f"{g} ga" for g in known[-3:]]
            )
        round_section(written.text, float(outside), float(min(found.values()) * INCH), "")
        found = {name: wall for name, wall in found.items() if 2 * wall * INCH < outside}
        if len(found) > 1:
            od = size.text if unit_name == "in" else f"{size.text} mm"
            raise OpenQuestion(
                "which-gauge",
                f"Which gauge table is {written.gauge} ga from? "
                + ", ".join(f"{system} {float(wall):g} in" for system, wall in found.items()),
                [f"tube {od} x {float(wall):g} in" for wall in found.values()],
            )
        return outside, next(iter(found.values())) * INCH

    def _which_round(self, size: Size) -> OpenQuestion:
        """Return the question what wall, and where it is open, pipe or tube."""
        choices: list[str] = []
        inch = size.mm("in") / INCH if size.unit != "mm" else size.value / INCH
        if self.written.kind != "tube":
            nps = next(
                (name for name, row in self.tables.nominal_sizes.items() if row[0] == inch), None
            ) or self._by_outside(inch * INCH)
            if nps:
                rows = _by_distinct_wall(self.tables.schedules(nps))
                choices += [row.designation for row in rows]
        if self.written.kind != "pipe":
            tubes = self.tables.stock_tubes
            choices += tubes.get(("in", inch), [])[:8]
            choices += tubes.get(("mm", size.mm("mm")), [])[:8]
        if not choices:
            raise self._unknown("a wall is missing", ["tube 50 x 3 mm", "NPS 6 SCH 40"])
        return OpenQuestion(
            "which-wall", f"Which section is {self.written.text!r}, and with which wall?", choices
        )

    # --- structural sections --------------------------------------------------------------

    def _hss(self) -> Section:
        written, sizes = self.written, self.written.sizes
        if len(sizes) not in (2, 3):
            raise self._unknown("HSS has two or three sizes", ["HSS 6x4x1/4", "HSS 6.625x0.280"])
        is_metric = max(size.value for size in sizes) > 36 or any(s.unit == "mm" for s in sizes)
        values = [size.mm("mm" if is_metric else "in") / INCH for size in sizes]
        is_round = len(values) == 2 and written.form != "square"
        height, width, wall = values[0], values[-2], values[-1]
        wanted = (max(height, width), min(height, width), wall)
        exact = self.tables.hss.get((*wanted, is_round))
        if exact is not None and not is_metric:
            return exact.section
        slack = Fraction(3, 100) if is_metric else Fraction(6, 10_000)
        pool = self.tables.pool("hss", shapes=("round",) if is_round else _BOXES)
        near = pool.nearest([float(size * INCH) for size in wanted], 3)
        if near and all(
            abs(Fraction(a) / INCH - b) <= slack for a, b in zip(near[0].sizes, wanted, strict=True)
        ):
            section = near[0].section
            note = f"{written.text!r} is {section.designation}" if is_metric else ""
            return section._replace(note=note)
        raise self._unknown(
            f"{written.text!r} is not in the ASTM A500 table", [row.designation for row in near]
        )

    def _en(self, family: str) -> Section:
        written, sizes = self.written, self.written.sizes
        is_square = family == "shs" or (family == "rhs" and len(sizes) == 2)
        if (family == "chs" and len(sizes) != 2) or len(sizes) not in (2, 3):
            raise self._unknown(
                f"{family.upper()} has another number of sizes",
                ["CHS 168.3x8", "SHS 100x5", "RHS 150x100x6"],
            )
        values = [float(size.mm("mm")) for size in sizes]
        wanted = (values[0], values[0] if is_square or family == "chs" else values[1], values[-1])
        if is_square and len(sizes) == 3 and values[0] != values[1]:
            raise self._unknown(f"{written.text!r} is not square", [f"RHS {written.text[3:]}"])
        return self._from_en(wanted, family)

    def _from_en(self, wanted: tuple[float, float, float], family: str) -> Section:
        """Find a metric hollow section; of hot and cold the more demanding one is taken."""
        is_round, finish = family == "chs", self.written.finish
        found = [
            row.section
            for row in self.tables.metric(*wanted, is_round=is_round)
            if not finish or row.form.finish == finish
        ]
        if not found:
            raise self._unknown_en(wanted, family)
        if len(found) == 1:
            return found[0]
        more = "of the heavier tolerance" if is_round else "the heavier and wider sweeping"
        note = f"hot finished (EN 10210-2) was taken, {more}; add 'cf' for cold formed (EN 10219-2)"
        return found[0]._replace(note=note)

    def _unknown_en(self, wanted: tuple[float, float, float], family: str) -> InputError:
        shapes = {"chs": ("round",), "shs": ("square",)}.get(family, _BOXES)
        finish = self.written.finish
        height, width, wall = max(wanted[:2]), min(wanted[:2]), wanted[2]
        pool = self.tables.pool("hollow", "round", shapes=shapes, finish=finish)
        names = [row.designation for row in pool.nearest((height, width, wall), 6)]
        if not finish:
            names = [_plain_name(name) for name in names]
        sides = f"{height:g}" if family == "chs" else f"{height:g} x {width:g}"
        own = [f"tube {sides} x {wall:g} mm"] if 0 < 2 * wall < width else []
        return self._unknown(
            f"{self.written.text!r} is not in the EN tables",
            [*list(dict.fromkeys(names))[:3], *own],
        )

    def _box(self) -> Section:
        """Square or rectangular tube without a family name."""
        written, sizes = self.written, self.written.sizes
        if len(sizes) == 1 or (len(sizes) == 2 and written.form == "rectangular"):
            raise self._unknown(
                "a size or the wall is missing", ["tube 100 x 50 x 4 mm", "HSS 6x4x1/4"]
            )
        if len(sizes) > 3:
            raise self._unknown("there are more than three sizes", ["tube 100 x 50 x 4 mm"])
        first, wall = sizes[0], sizes[-1]
        second = sizes[1] if len(sizes) == 3 else first
        any_unit = next((size.unit for size in sizes if size.unit), "")
        unit_name = any_unit or self._unit_of(
            min(first, second, key=lambda s: s.value),
            wall,
            f"{first.text} x {second.text} x {wall.text}",
        )
        values = tuple(size.mm(unit_name) for size in (first, second, wall))
        height, width, thickness = values
        if written.kind != "tube" or not any_unit:
            known = self._known_box(values, unit_name)
            if known is not None:
                return known
        if written.kind != "tube":
            raise self._near_box(values, unit_name)
        scale = INCH if unit_name == "in" else Fraction(1)
        shown = " x ".join(f"{float(value / scale):g}" for value in values)
        box = hollow_section(
            f"tube {shown} {unit_name}", float(height), float(width), float(thickness),
            "by outside sizes and wall", corners=A500,
        )  # fmt: skip
        return with_inches(box, *(value / INCH for value in values)) if unit_name == "in" else box

    def _known_box(self, values: tuple[Fraction, ...], unit_name: str) -> Section | None:
        sides = sorted(values[:2], reverse=True)
        if unit_name == "in":
            wanted = (*sides, values[2])
            pool = self.tables.pool("hss", shapes=_BOXES)
            for row in pool.nearest([float(size) for size in wanted], 1):
                if all(
                    abs(Fraction(a) - b) <= WALL_TOLERANCE
                    for a, b in zip(row.sizes, wanted, strict=True)
                ):
                    section = row.section
                    return section._replace(note=f"{section.designation} (ASTM A500) was taken")
            return None
        family = "shs" if values[0] == values[1] else "rhs"
        try:
            return self._from_en((float(sides[0]), float(sides[1]), float(values[2])), family)
        except InputError:
            return None

    def _near_box(self, values: tuple[Fraction, ...], unit_name: str) -> InputError:
        scale = INCH if unit_name == "in" else Fraction(1)
        shown = " x ".join(f"{float(value / scale):g}" for value in values)
        wanted = (max(values[:2]), min(values[:2]), values[2])
        pool = self.tables.pool("hss" if unit_name == "in" else "hollow", shapes=_BOXES)
        near = pool.nearest([float(size) for size in wanted], 6)
        names = list(dict.fromkeys(_plain_name(row.designation) for row in near))
        return self._unknown(
            f"{self.written.text!r} is in no table", [*names[:3], f"tube {shown} {unit_name}"]
        )

    def _unknown(self, what: str, near: list[str]) -> InputError:
        known = ", ".join(dict.fromkeys(near))
        return InputError(
            "section-unknown", f"{what} ({self.written.text!r})", remedy=f"Nearest known: {known}."
        )


def _row_with_wall(rows: list[PipeRow], wall_in: Fraction) -> PipeRow | None:
    """Return the row with this wall; numbered schedules before weight classes."""
    matches = [
        row
        for row in rows
        if abs(row.wall_in - wall_in) <= Fraction(6, 10_000)
        or abs(Fraction(row.wall) - wall_in * INCH) <= WALL_TOLERANCE
    ]
    matches.sort(key=lambda row: (not row.schedule.isdigit(), row.standard, row.schedule))
    return matches[0] if matches else None


def _by_distinct_wall(rows: list[PipeRow]) -> list[PipeRow]:
    """Return one row a wall, numbered schedules preferred."""
    best: dict[float, PipeRow] = {}
    for row in rows:
        known = best.get(row.wall)
        if known is None or (row.schedule.isdigit() and not known.schedule.isdigit()):
            best[row.wall] = row
    return list(best.values())


def _schedule_distance(schedule: str, wanted: int) -> int:
    digits = schedule.removesuffix("S")
    return abs(int(digits) - wanted) if digits.isdigit() else 1000


def _plain_name(designation: str) -> str:
    return designation.removesuffix(" cf").removesuffix(" hf")


def _wall_text(wall_in: Fraction) -> str:
    """Return what follows an outside in inches: the wall in the unit that keeps its digits."""
    short = f"{float(wall_in):g}"
    if Fraction(short) == wall_in:
        return f"x {short} in"
    return f"in x {float(wall_in * INCH):g} mm"
