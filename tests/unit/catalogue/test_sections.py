"""Section properties: closed forms against bounds, each other, and brute force."""

import math
from itertools import pairwise

import numpy as np
import pytest
from cuttable.catalogue.errors import InputError
from cuttable.catalogue.tables.sections import (
    A500,
    COLD_FORMED,
    HOT_FINISHED,
    Corners,
    Section,
    hollow_section,
    round_section,
)
from hypothesis import given, settings
from hypothesis import strategies as st

FUZZ = settings(max_examples=300, deadline=None, derandomize=True, database=None)
SHARP = Corners(((0.0, 0.0), (0.0, 0.0), (0.0, 0.0)), (0.0, 0.0, 0.0))

corners = st.sampled_from([COLD_FORMED, HOT_FINISHED, A500, SHARP])


@st.composite
def rounds(draw: st.DrawFn) -> Section:
    """Draw a round section."""
    outside = draw(st.floats(5, 3000))
    wall = outside * draw(st.floats(0.002, 0.499))
    return round_section("round", outside, wall, "drawn")


@st.composite
def boxes(draw: st.DrawFn, *, is_square: bool = False) -> Section:
    """Draw a square or rectangular section."""
    height = draw(st.floats(10, 1000))
    width = height if is_square else height * draw(st.floats(0.2, 1))
    wall = min(height, width) * draw(st.floats(0.01, 0.45))
    return hollow_section("box", height, width, wall, "drawn", corners=draw(corners))


def thinner(section: Section, share: float) -> Section:
    """Return the same outside with a share of the wall and the same outer corners."""
    wall = section.wall * share
    if section.shape == "round":
        return round_section("thin", section.height, wall, "drawn")
    return hollow_section("thin", section.height, section.width, wall, "drawn", corners=SHARP)


@FUZZ
@given(rounds() | boxes())
def test_properties_are_positive_and_bounded(section: Section) -> None:
    """Area, moments and girth are above zero and below those of a solid bar."""
    solid = section.height * section.width
    assert 0 < section.area < solid
    for moment in section.second_moments:
        assert 0 < moment < solid * section.height**2 / 12 * (1 + 1e-12)
    assert section.second_moments[0] >= section.second_moments[1] * (1 - 1e-12)
    assert 0 < section.surface < 4 * (section.height + section.width)


@FUZZ
@given(rounds() | boxes())
def test_polar_moment_is_the_sum_of_both(section: Section) -> None:
    """What resists turning is the sum of the two second moments."""
    assert section.polar_moment == pytest.approx(sum(section.second_moments), rel=1e-15)


@FUZZ
@given(rounds(), st.floats(0.05, 0.99))
def test_thinner_wall_of_a_round_weighs_and_resists_less(section: Section, share: float) -> None:
    """Less wall is less area and less moment, but more moment for the area."""
    thin = thinner(section, share)
    assert thin.area < section.area
    assert thin.polar_moment < section.polar_moment
    assert thin.polar_moment / thin.area > section.polar_moment / section.area


@FUZZ
@given(boxes(), st.floats(0.05, 0.99))
def test_thinner_wall_of_a_sharp_box_weighs_and_resists_less(
    section: Section, share: float
) -> None:
    """The same for squares and rectangles with sharp corners."""
    thick = hollow_section(
        "thick", section.height, section.width, section.wall, "drawn", corners=SHARP
    )
    thin = thinner(section, share)
    assert thin.area < thick.area
    assert thin.polar_moment < thick.polar_moment


@FUZZ
@given(boxes())
def test_rounded_corners_take_away(section: Section) -> None:
    """A rounded section is not heavier than the sharp one by more than its inner corners."""
    sharp = hollow_section(
        "sharp", section.height, section.width, section.wall, "drawn", corners=SHARP
    )
    lack = (4 - math.pi) * (section.outer_radius**2 - section.inner_radius**2)
    assert section.area == pytest.approx(sharp.area - lack, rel=1e-12)
    if section.outer_radius >= section.inner_radius:
        assert section.polar_moment <= sharp.polar_moment * (1 + 1e-12)


@FUZZ
@given(boxes(is_square=True))
def test_both_moments_of_a_square_are_equal(section: Section) -> None:
    """A square has no strong axis."""
    assert section.shape == "square"
    first, second = section.second_moments
    assert first == pytest.approx(second, rel=1e-14)


@FUZZ
@given(boxes())
def test_swept_circle_lies_between_side_and_sharp_diagonal(section: Section) -> None:
    """The swept circle holds the longer side and is held by the sharp diagonal."""
    diagonal = math.hypot(section.height, section.width)
    assert section.height * (1 - 1e-14) <= section.swept_diameter <= diagonal * (1 + 1e-14)
    if section.sweep_radius == 0:
        assert section.swept_diameter == pytest.approx(diagonal, rel=1e-14)
    else:
        assert section.swept_diameter < diagonal


@FUZZ
@given(boxes())
def test_sweep_never_counts_on_more_rounding_than_the_mass_does(section: Section) -> None:
    """The corner that sweeps is the smallest permitted, no larger than the nominal one."""
    assert 0 <= section.sweep_radius <= section.outer_radius
    assert section.inner_radius <= section.width / 2 - section.wall


@FUZZ
@given(rounds())
def test_round_sweeps_its_own_diameter(section: Section) -> None:
    """A round sweeps what it measures, and its two moments are one."""
    assert section.swept_diameter == section.height == section.outside_diameter
    assert section.second_moments[0] == section.second_moments[1]


@FUZZ
@given(rounds())
def test_round_agrees_with_the_difference_of_discs(section: Section) -> None:
    """Area and moment of a ring are those of two discs."""
    inner = section.height - 2 * section.wall
    discs = math.pi / 4 * (section.height**2 - inner**2)
    assert section.area == pytest.approx(discs, rel=1e-9)
    assert section.polar_moment == pytest.approx(
        discs * (section.height**2 + inner**2) / 8, rel=1e-9
    )


@FUZZ
@given(rounds() | boxes(), st.floats(0.2, 5))
def test_properties_scale_with_size(section: Section, factor: float) -> None:
    """Twice the size is four times the area and sixteen times the moment."""
    sizes = [value * factor for value in section[2:8]]
    scaled = Section("scaled", section.shape, *sizes, standard="drawn")
    assert scaled.area == pytest.approx(section.area * factor**2)
    assert scaled.polar_moment == pytest.approx(section.polar_moment * factor**4)
    assert scaled.swept_diameter == pytest.approx(section.swept_diameter * factor)
    assert scaled.surface == pytest.approx(section.surface * factor)


@FUZZ
@given(rounds(), st.floats(1.0, 1.1))
def test_wall_for_mass_gives_that_mass(section: Section, ratio: float) -> None:
    """The wall that goes with a heavier piece has just that area, where it fits at all."""
    wall = section.wall_for_mass(ratio)
    assert section.wall * (1 - 1e-9) <= wall <= section.height / 2
    if 2 * wall < section.height * 0.999:
        heavier = round_section("heavier", section.height, wall, "drawn")
        assert heavier.area == pytest.approx(section.area * ratio, rel=1e-9)


# --- brute force ------------------------------------------------------------------------------


def inside(
    across: np.ndarray, along: np.ndarray, height: float, width: float, radius: float
) -> np.ndarray:
    """Say which points lie in a rounded rectangle around the origin."""
    beyond_y = np.maximum(np.abs(along) - (height / 2 - radius), 0)
    beyond_x = np.maximum(np.abs(across) - (width / 2 - radius), 0)
    in_sides = (np.abs(along) <= height / 2) & (np.abs(across) <= width / 2)
    return in_sides & (np.hypot(beyond_x, beyond_y) <= radius + 1e-12)


@pytest.mark.parametrize("radii", [COLD_FORMED, HOT_FINISHED, A500], ids=["cold", "hot", "a500"])
def test_rounded_rectangle_by_brute_force(radii: Corners) -> None:
    """Area and both moments of 150 x 100 x 8 agree with summing up a million and a half points."""
    section = hollow_section("RHS 150x100x8", 150, 100, 8, "drawn", corners=radii)
    step = 0.05
    along = (np.arange(75 / step) + 0.5) * step
    across = (np.arange(50 / step) + 0.5) * step
    grid_y, grid_x = np.meshgrid(along, across, indexing="ij")
    outer = inside(grid_x, grid_y, 150, 100, section.outer_radius)
    inner = inside(grid_x, grid_y, 134, 84, section.inner_radius)
    cell = 4 * step**2 * (outer & ~inner)
    assert section.area == pytest.approx(cell.sum(), rel=2e-4)
    about_strong, about_weak = section.second_moments
    assert about_strong == pytest.approx((cell * grid_y**2).sum(), rel=2e-4)
    assert about_weak == pytest.approx((cell * grid_x**2).sum(), rel=2e-4)


def test_swept_circle_by_brute_force() -> None:
    """The farthest point of a rounded outline is half the swept diameter away."""
    section = hollow_section("SHS 100x5 cf", 100, 100, 5, "drawn", corners=COLD_FORMED)
    turn = np.linspace(0, math.pi / 2, 20_001)
    centre = 50 - section.sweep_radius
    farthest = np.hypot(
        centre + section.sweep_radius * np.cos(turn), centre + section.sweep_radius * np.sin(turn)
    ).max()
    assert section.swept_diameter / 2 == pytest.approx(farthest, rel=1e-9)


# --- building ---------------------------------------------------------------------------------


def test_corner_bands_change_above_their_wall() -> None:
    """Cold formed corners are 2 T to 6 mm, 2.5 T to 10 mm, and 3 T above."""
    walls = (6.0, 6.001, 10.0, 10.001)
    outers = [COLD_FORMED.outer(wall) / wall for wall in walls]
    assert outers == pytest.approx([2.0, 2.5, 2.5, 3.0])
    assert [COLD_FORMED.smallest(wall) / wall for wall in walls] == pytest.approx(
        [1.6, 2.0, 2.0, 2.4]
    )
    assert all(first < second for first, second in pairwise(COLD_FORMED.outer(w) for w in walls))


def test_longer_side_is_the_height() -> None:
    """The order in which the sides are given does not matter."""
    one = hollow_section("box", 50, 100, 4, "drawn", corners=A500)
    other = hollow_section("box", 100, 50, 4, "drawn", corners=A500)
    assert one == other
    assert (one.height, one.width, one.shape) == (100, 50, "rectangular")
    assert one.outside_diameter is None


@pytest.mark.parametrize(
    ("outside", "wall"),
    [(50, 25), (50, 26), (50, 0), (50, -1), (0, 0), (-50, 3), (3001, 10), (math.nan, 3),
     (50, math.nan), (math.inf, 3), (50, math.inf)],
)  # fmt: skip
def test_impossible_sizes_are_refused(outside: float, wall: float) -> None:
    """Neither rounds nor boxes are built from a wall that does not fit, or from no number."""
    with pytest.raises(InputError) as found:
        round_section("round", outside, wall, "drawn")
    assert found.value.code == "section-impossible"
    with pytest.raises(InputError) as found:
        hollow_section("box", outside, outside, wall, "drawn", corners=A500)
    assert found.value.code == "section-impossible"
