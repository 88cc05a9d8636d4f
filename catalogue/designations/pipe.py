"""Pipe by nominal size, NPS or DN, with a schedule or a wall."""

from fractions import Fraction

from ..errors import InputError, OpenQuestion
from ..tables.reader import INCH, schedule_name
from ..tables.sections import Section
from .asked import (
    BOXES,
    LARGEST_IN,
    OD_TOLERANCE,
    THICKEST_IN,
    Asked,
    by_distinct_wall,
    row_with_wall,
    wall_text,
)
from .tokenizer import Size
from .tube import round_from, round_tube


def pipe_section(asked: Asked) -> Section:
    """Read pipe; what has no nominal size is read as a tube by its outside.

    Raises:
        InputError: ``designation-unreadable``, ``section-unknown`` …
        OpenQuestion: ``which-wall``, ``which-dn``, ``nominal-or-outside``, ``schedule-or-wall``.
    """
    written, sizes = asked.written, asked.written.sizes
    if written.form in BOXES or len(sizes) > 2 or written.gauge:
        raise InputError(
            "designation-unreadable",
            f"{written.text!r} mixes pipe with sizes that pipe does not have",
            remedy="Pipe is a nominal size with a schedule or a wall.",
        )
    if written.family == "dn":
        return _dn(asked)
    nps = _nominal(asked, sizes[0])
    if nps is None:
        return round_tube(asked)
    if written.schedule:
        if len(sizes) > 1:
            return _agreeing(asked, nps)
        section = _scheduled(asked, nps, written.schedule)
        if asked.tables.nominal_sizes[nps][0] != sizes[0].value or sizes[0].unit == "mm":
            return section._replace(note=f"{sizes[0].text} outside is NPS {nps}")
        return section
    if len(sizes) == 1:
        raise _which_schedule(asked, nps)
    return _by_wall(asked, nps, _wall_in(sizes[1]))


def _nominal(asked: Asked, size: Size) -> str | None:
    """Return the NPS that ``size`` names, None where it is an outside diameter."""
    sizes = asked.tables.nominal_sizes
    is_bare_mm = not size.unit and size.value > LARGEST_IN
    if size.unit not in ("", "in") or is_bare_mm:
        outside = size.mm("mm")
        return asked.nps_by_outside(outside)
    by_name = asked.tables.nps_by_inches.get(size.value)
    by_outside = asked.nps_by_outside(size.value * INCH)
    if by_name and by_outside and by_name != by_outside and _looks_outside(asked, size):
        as_nominal, as_outside = _walls_of(asked, by_name), _walls_of(asked, by_outside)
        if as_nominal and as_outside:
            raise OpenQuestion(
                "nominal-or-outside",
                f"Is {size.text} in {asked.written.text!r} the nominal size or "
                "the outside diameter?",
                [*as_nominal, *as_outside],
            )
        return by_name if as_nominal or not as_outside else by_outside
    if by_name or by_outside:
        return by_name or by_outside
    if asked.written.family == "nps" or asked.written.schedule:
        inch = float(size.value)  # names are halves of halves: what is as near stays so
        near = sorted(sizes, key=lambda nps: abs(float(sizes[nps][0]) - inch))[:2]
        raise asked.unknown(
            f"there is no NPS {size.text}",
            [f"NPS {nps} {_schedule_text(asked)}" for nps in near],
        )
    return None


def _walls_of(asked: Asked, nps: str) -> list[str]:
    """Return what the text can mean at this size, as designations: its wall, or every one."""
    rows, sizes = asked.tables.schedules(nps), asked.written.sizes
    if asked.written.schedule:
        return [row.designation for row in rows if row.schedule == asked.written.schedule]
    if len(sizes) == 1:
        return [row.designation for row in by_distinct_wall(rows)]
    wall = _wall_in(sizes[1])
    row = row_with_wall(rows, wall)
    if row is not None:
        return [row.designation]
    outside = rows[0].od_in
    return [f"tube {float(outside):g} {wall_text(wall)}"] if 0 < 2 * wall < outside else []


def _looks_outside(asked: Asked, size: Size) -> bool:
    return not asked.written.family and "/" not in size.text and size.value.denominator != 1


def _schedule_text(asked: Asked) -> str:
    return schedule_name(asked.written.schedule) if asked.written.schedule else "SCH 40"


def _dn(asked: Asked) -> Section:
    size = asked.written.sizes[0]
    dn = f"{float(size.value):g}"
    sizes = asked.tables.nominal_sizes
    nps = next((name for name, row in sizes.items() if row[3] == dn), None)
    if nps is None:
        wanted = float(size.value)
        every = (row[3] for row in sizes.values() if row[3])
        near = sorted(every, key=lambda known: abs(int(known) - wanted))[:2]
        raise asked.unknown(
            f"there is no DN {dn}", [f"DN {known} {_schedule_text(asked)}" for known in near]
        )
    if asked.written.schedule:
        section = _scheduled(asked, nps, asked.written.schedule)
        note = f"DN {dn} is NPS {nps}, {section.height:g} mm outside"
        return section._replace(note=note)
    if len(asked.written.sizes) == 1:
        raise _which_schedule(asked, nps)
    wall = asked.written.sizes[1].mm("mm")
    outsides = {sizes[nps][2], asked.tables.dn_of_series_1.get(dn, sizes[nps][2])}
    if max(outsides) - min(outsides) > OD_TOLERANCE:
        raise OpenQuestion(
            "which-dn",
            f"DN {dn} is a different outside diameter in ASME and EN pipe. Which is it?",
            [f"tube {outside:g} x {float(wall):g} mm" for outside in sorted(outsides)],
        )
    return round_from(asked, Fraction(str(sizes[nps][2])), wall, "mm")


def _scheduled(asked: Asked, nps: str, schedule: str) -> Section:
    row = asked.tables.pipes.get((nps, schedule))
    if row is None:
        known = by_distinct_wall(asked.tables.schedules(nps))
        if schedule.isdigit():
            known.sort(key=lambda item: _schedule_distance(item.schedule, int(schedule)))
        raise asked.unknown(
            f"NPS {nps} has no {schedule_name(schedule)}",
            [item.designation for item in known[:4]],
        )
    return row.section()


def _agreeing(asked: Asked, nps: str) -> Section:
    """Schedule and wall were both given: they must say the same."""
    row_section = _scheduled(asked, nps, asked.written.schedule)
    second = asked.written.sizes[1]
    wall = second.mm("in" if second.value <= THICKEST_IN else "mm")
    if not 0 < 2 * wall < Fraction(row_section.height):
        raise InputError(
            "designation-unreadable",
            f"{second.text!r} in {asked.written.text!r} is no wall of {row_section.designation}",
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


def _which_schedule(asked: Asked, nps: str) -> OpenQuestion:
    rows = by_distinct_wall(asked.tables.schedules(nps))
    return OpenQuestion(
        "which-wall",
        f"Which schedule or wall has the NPS {nps} pipe?",
        [row.designation for row in rows],
    )


def _wall_in(size: Size) -> Fraction:
    """Return a wall in inches; a bare number thicker than any wall in inches is millimetres."""
    if size.unit:
        return size.mm("in") / INCH
    return size.value / INCH if size.value > THICKEST_IN else size.value


def _by_wall(asked: Asked, nps: str, wall_in: Fraction) -> Section:
    rows = asked.tables.schedules(nps)
    match = row_with_wall(rows, wall_in)
    if match is not None:
        note = f"a wall of {float(wall_in):g} in is {match.designation}"
        return match.section()._replace(note=note)
    near = sorted(rows, key=lambda row: abs(row.wall_in - wall_in))[:3]
    outside = float(rows[0].od_in)
    raise asked.unknown(
        f"no schedule of NPS {nps} has a wall of {float(wall_in):g} in",
        [
            *(f"{row.designation} ({float(row.wall_in):g} in)" for row in near),
            f"tube {outside:g} {wall_text(wall_in)}",
        ],
    )


def _schedule_distance(schedule: str, wanted: int) -> int:
    digits = schedule.removesuffix("S")
    return abs(int(digits) - wanted) if digits.isdigit() else 1000
