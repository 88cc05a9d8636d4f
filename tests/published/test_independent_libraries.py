"""Whole tables against independent open-source libraries."""

import re
from fractions import Fraction
from typing import Any

import pytest
from cuttable.catalogue.store import Catalogue
from cuttable.catalogue.tables.sections import (
    A500,
    COLD_FORMED,
    HOT_FINISHED,
    Corners,
    hollow_section,
)

SCHEDULES = [
    "5", "10", "20", "30", "40", "60", "80", "100", "120", "140", "160", "STD", "XS", "XXS", "5S",
    "10S", "40S", "80S",
]  # fmt: skip


def nominal(size: float) -> str:
    """Write an NPS as the trade does."""
    whole, part = divmod(Fraction(size).limit_denominator(8), 1)
    if not part:
        return str(whole)
    return f"{whole}-{part}" if whole else str(part)


@pytest.mark.parametrize("schedule", SCHEDULES)
def test_every_pipe_cell_is_that_of_fluids(catalogue: Catalogue, schedule: str) -> None:
    """ASME B36.10M and B36.19M as ``fluids`` 1.3.1 has them: the same sizes, none missing."""
    from fluids.piping import schedule_lookup

    sizes, _, outsides, walls = schedule_lookup[schedule]
    expected = {
        nominal(size): (outside, wall)
        for size, outside, wall in zip(sizes, outsides, walls, strict=True)
    }
    ours = {
        nps: (row.od, row.wall) for (nps, name), row in catalogue.tables.pipes.items()
        if name == schedule
    }  # fmt: skip
    assert ours == expected
    for nps, (outside, wall) in expected.items():
        name = schedule if schedule in ("STD", "XS", "XXS") else f"SCH {schedule}"
        section = catalogue.section(f"NPS {nps} {name}")
        assert (section.height, section.wall) == (outside, wall)


@pytest.mark.parametrize(
    ("corners", "walls"),
    [(COLD_FORMED, (3, 6, 8, 10, 12.5)), (HOT_FINISHED, (3, 6, 8, 16)), (A500, (3.2, 6.35, 12.7))],
    ids=["EN 10219-2", "EN 10210-2", "ASTM A500"],
)
def test_hollow_sections_are_those_of_pysectprop(
    corners: Corners, walls: tuple[float, ...]
) -> None:
    """Area and both second moments with exact corner arcs."""
    from pysectprop.general.hollowsection import HollowSection
    from pysectprop.standard.rectanglesection import RectangleSection

    for height, width in ((100, 100), (150, 100), (200, 80), (300, 200)):
        for wall in walls:
            section = hollow_section("b", height, width, wall, "", corners=corners)
            outer = RectangleSection(height, width, section.outer_radius)
            inner = RectangleSection(height - 2 * wall, width - 2 * wall, section.inner_radius)
            other = HollowSection(outer, inner)
            assert section.area == pytest.approx(other.A, rel=1e-9)
            moments = sorted(section.second_moments)
            assert moments == pytest.approx(sorted((other.Iyy, other.Izz)), rel=1e-9)


def test_every_hss_weighs_what_efficalc_says(catalogue: Catalogue) -> None:
    """Sizes and nominal weights of the AISC set, 490 lb/ft3, within 0.3 %; none is missing."""
    from efficalc.sections import get_aisc_circular, get_aisc_rectangular
    from efficalc.sections.aisc_circular import ALL_AISC_CIRCULAR_NAMES
    from efficalc.sections.aisc_rectangular import ALL_AISC_RECTANGULAR_NAMES

    seen = 0
    for names, get in (
        (ALL_AISC_RECTANGULAR_NAMES, get_aisc_rectangular),
        (ALL_AISC_CIRCULAR_NAMES, get_aisc_circular),
    ):
        for name in names:
            # The three sections named by gauge are sheet-metal sizes outside ASTM A500 walls.
            if not name.startswith("HSS") or name.endswith("Ga"):
                continue
            section = catalogue.section(_written(name))
            weight = 490 / 144 * section.area / 25.4**2
            assert weight == pytest.approx(_weight(get(name)), rel=3e-3), name
            seen += 1
    assert seen == len(catalogue.tables.hss)


def _written(name: str) -> str:
    """Write HSS5-1/2X5-1/2X3/8 as a person would."""
    return "HSS " + re.sub("X", "x", name.removeprefix("HSS"))


def _weight(item: Any) -> float:
    weight = item.W
    return float(getattr(weight, "value", weight))
