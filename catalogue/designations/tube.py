"""Tube by its outside sizes and wall: round, square and rectangular, in no family."""

from fractions import Fraction
from typing import Final

from ..errors import InputError, OpenQuestion
from ..tables.reader import INCH, PipeRow
from ..tables.sections import A500, Section, hollow_section, round_section, with_inches
from .asked import (
    BOXES,
    LARGEST_IN,
    THICKEST_IN,
    WALL_TOLERANCE,
    Asked,
    by_distinct_wall,
    plain_name,
    row_with_wall,
    wall_text,
)
from .en import from_en
from .tokenizer import Size

# A number without unit is read as inches or millimetres only where that is a size tube and
# pipe come in. Common practice, no source: outside 6 mm to 2 m, and up to 48 in with walls
# up to 2.5 in.
SMALLEST_MM: Final = 6
LARGEST_MM: Final = 2000
THINNEST_MM: Final = Fraction(3, 10)


def round_tube(asked: Asked) -> Section:
    """Read a round by its outside and its wall or gauge.

    Raises:
        InputError: ``section-impossible``, ``section-unknown``.
        OpenQuestion: ``which-wall``, ``size-unit``, ``pipe-or-tube``, ``which-gauge``.
    """
    written, sizes = asked.written, asked.written.sizes
    unit_name = "in"
    if written.gauge:
        outside, wall = _gauged(asked)
    elif len(sizes) == 1:
        raise _which_round(asked, sizes[0])
    else:
        unit_name = _unit_of(asked, sizes[0], sizes[1])
        outside, wall = (size.mm(unit_name) for size in sizes[:2])
        is_open = not written.kind and not written.is_outside and written.form != "round"
        if unit_name == "in" and is_open:
            _ask_pipe_or_tube(asked, outside / INCH, wall)
    return round_from(asked, outside, wall, unit_name)


def round_from(asked: Asked, outside: Fraction, wall: Fraction, unit_name: str) -> Section:
    """Return the round of an outside and a wall in mm; pipe of these sizes, if it may be pipe.

    ``unit_name`` is the one it was typed in, ``in`` or ``mm``.

    Raises:
        InputError: ``section-impossible``.
    """
    if unit_name == "in":
        written = f"tube {float(outside / INCH):g} x {float(wall / INCH):g} in"
    else:
        written = f"tube {float(outside):g} x {float(wall):g} mm"
    tube = round_section(written, float(outside), float(wall), "by outside diameter and wall")
    if unit_name == "in":
        tube = with_inches(tube, outside / INCH, wall / INCH)
    if asked.written.kind == "tube":
        return tube
    row = _same_pipe(asked, outside, wall)
    if row is None:
        return tube
    return row.section()._replace(note=f"{written[5:]} is {row.designation}")


def _same_pipe(asked: Asked, outside: Fraction, wall: Fraction) -> PipeRow | None:
    nps = asked.nps_by_outside(outside)
    if nps is None:
        return None
    return row_with_wall(asked.tables.schedules(nps), wall / INCH)


def _unit_of(asked: Asked, first: Size, second: Size, shown: str = "") -> str:
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
                f"{asked.written.text!r} is no tube size in inches or millimetres",
                remedy="Give outside diameter x wall with a unit, wall below half the outside.",
            )
        pair = shown or f"{first.text} x {second.text}"
        raise OpenQuestion(
            "size-unit",
            f"Is {asked.written.text!r} in inches or in millimetres?",
            [f"tube {pair} in", f"tube {pair} mm"],
        )
    return "mm" if as_mm else "in"


def _ask_pipe_or_tube(asked: Asked, inch: Fraction, wall: Fraction) -> None:
    """Ask where ``2 in x .154`` may be NPS 2 pipe or 2.000 in tube."""
    match = next(
        ((nps, row) for nps, row in asked.tables.nominal_sizes.items() if row[0] == inch), None
    )
    if match is None or match[1][1] == inch:
        return
    nps, (_, outside_in, _, _) = match
    round_section(asked.written.text, float(inch * INCH), float(wall), "")  # is it possible?
    row = row_with_wall(asked.tables.schedules(nps), wall / INCH)
    with_wall = wall_text(wall / INCH)
    as_pipe = row.designation if row else f"tube {float(outside_in):g} {with_wall}"
    raise OpenQuestion(
        "pipe-or-tube",
        f"Is {asked.written.text!r} NPS {nps} pipe, {float(outside_in):g} in outside, "
        f"or tube {float(inch):g} in outside?",
        [as_pipe, f"tube {float(inch):g} {with_wall}"],
    )


def _gauged(asked: Asked) -> tuple[Fraction, Fraction]:
    written, gauges = asked.written, asked.tables.gauges
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
        raise asked.unknown(
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


def _which_round(asked: Asked, size: Size) -> OpenQuestion:
    """Return the question what wall, and where it is open, pipe or tube."""
    choices: list[str] = []
    inch = size.mm("in") / INCH if size.unit != "mm" else size.value / INCH
    if asked.written.kind != "tube":
        nps = next(
            (name for name, row in asked.tables.nominal_sizes.items() if row[0] == inch), None
        ) or asked.nps_by_outside(inch * INCH)
        if nps:
            rows = by_distinct_wall(asked.tables.schedules(nps))
            choices += [row.designation for row in rows]
    if asked.written.kind != "pipe":
        tubes = asked.tables.stock_tubes
        choices += tubes.get(("in", inch), [])[:8]
        choices += tubes.get(("mm", size.mm("mm")), [])[:8]
    if not choices:
        raise asked.unknown("a wall is missing", ["tube 50 x 3 mm", "NPS 6 SCH 40"])
    return OpenQuestion(
        "which-wall", f"Which section is {asked.written.text!r}, and with which wall?", choices
    )


def box_tube(asked: Asked) -> Section:
    """Read a square or rectangular tube without a family name.

    Raises:
        InputError: ``section-unknown``, ``section-impossible``.
        OpenQuestion: ``size-unit``.
    """
    written, sizes = asked.written, asked.written.sizes
    if len(sizes) == 1 or (len(sizes) == 2 and written.form == "rectangular"):
        raise asked.unknown(
            "a size or the wall is missing", ["tube 100 x 50 x 4 mm", "HSS 6x4x1/4"]
        )
    if len(sizes) > 3:
        raise asked.unknown("there are more than three sizes", ["tube 100 x 50 x 4 mm"])
    first, wall = sizes[0], sizes[-1]
    second = sizes[1] if len(sizes) == 3 else first
    any_unit = next((size.unit for size in sizes if size.unit), "")
    unit_name = any_unit or _unit_of(
        asked,
        min(first, second, key=lambda s: s.value),
        wall,
        f"{first.text} x {second.text} x {wall.text}",
    )
    values = tuple(size.mm(unit_name) for size in (first, second, wall))
    height, width, thickness = values
    if written.kind != "tube" or not any_unit:
        known = _known_box(asked, values, unit_name)
        if known is not None:
            return known
    if written.kind != "tube":
        raise _near_box(asked, values, unit_name)
    scale = INCH if unit_name == "in" else Fraction(1)
    shown = " x ".join(f"{float(value / scale):g}" for value in values)
    box = hollow_section(
        f"tube {shown} {unit_name}", float(height), float(width), float(thickness),
        "by outside sizes and wall", corners=A500,
    )  # fmt: skip
    return with_inches(box, *(value / INCH for value in values)) if unit_name == "in" else box


def _known_box(asked: Asked, values: tuple[Fraction, ...], unit_name: str) -> Section | None:
    sides = sorted(values[:2], reverse=True)
    if unit_name == "in":
        wanted = (*sides, values[2])
        pool = asked.tables.pool("hss", shapes=BOXES)
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
        return from_en(asked, (float(sides[0]), float(sides[1]), float(values[2])), family)
    except InputError:
        return None


def _near_box(asked: Asked, values: tuple[Fraction, ...], unit_name: str) -> InputError:
    scale = INCH if unit_name == "in" else Fraction(1)
    shown = " x ".join(f"{float(value / scale):g}" for value in values)
    wanted = (max(values[:2]), min(values[:2]), values[2])
    pool = asked.tables.pool("hss" if unit_name == "in" else "hollow", shapes=BOXES)
    near = pool.nearest([float(size) for size in wanted], 6)
    names = list(dict.fromkeys(plain_name(row.designation) for row in near))
    return asked.unknown(
        f"{asked.written.text!r} is in no table", [*names[:3], f"tube {shown} {unit_name}"]
    )
