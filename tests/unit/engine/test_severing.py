"""What parts do as they come free, and the tabs that hold them.

Statics and strength of materials throughout; the factors of safety and the bounds of tab
widths are common practice, no source.
"""

import math
import random
from typing import Final

import pytest
from cuttable.engine.arrays import GRAVITY
from cuttable.engine.inputs.figures import TabRules
from cuttable.engine.statics.part_release import (
    SENTENCES,
    Tube,
    behaviour_of,
    pieces,
    tab_stress,
    tabs_for,
)
from hypothesis import given, settings
from hypothesis import strategies as st


def steel_pipe(diameter: float, wall: float, yield_strength: float = 240.0) -> Tube:
    """Return a steel pipe; 7 850 kg/m^3, mass by pi (D - t) t."""
    area = math.pi * (diameter - wall) * wall
    return Tube((diameter - wall) / 2, wall, math.pi * diameter, yield_strength, area * 7850e-9)


# ASME B36.10M sizes, from memory: 6.625 x 0.280 in and 10.750 x 0.365 in, in rounded mm.
NPS_6: Final = steel_pipe(168.3, 7.11)
NPS_10: Final = steel_pipe(273.0, 9.27)
KERF: Final = 2.0
RULES: Final = TabRules(
    counts=(3, 4), safety=8.0, narrowest=1.0, widest=25.0, largest_share=0.25, step=1.0
)


# --- behaviour ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("supports", "expected"),
    [
        ((975.0, 1025.0), "stays"),
        ((975.001, 1025.0), "tips-inner-end-down"),
        ((975.0, 1024.999), "tips-inner-end-up"),
        ((975.001, 1024.999), "tips-inner-end-up"),  # both inside the margin: the worse way
        ((1000.0,), "tips-inner-end-up"),
        ((975.0,), "tips-inner-end-up"),
        ((1025.0,), "tips-inner-end-down"),
        ((1024.999,), "tips-inner-end-up"),
        ((500.0, 700.0), "tips-inner-end-up"),
        ((1500.0, 1200.0), "tips-inner-end-down"),
        ((1500.0, 980.0, 300.0), "stays"),
        ((), "drops"),
    ],
)
def test_behaviour_on_both_sides_of_each_margin(supports: tuple[float, ...], expected: str) -> None:
    """Supports must straddle the centre at 1 000 by 25 mm on each side (statics)."""
    assert behaviour_of(1000.0, supports, 25.0) == expected
    assert expected in SENTENCES


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.floats(0, 2000), max_size=5), st.floats(500, 1500), st.floats(0, 100))
def test_behaviour_does_not_depend_on_the_order_and_stays_needs_both_sides(
    supports: list[float], centre: float, margin: float
) -> None:
    """Order does not matter, and a part stays only with a support on each side (statics)."""
    found = behaviour_of(centre, supports, margin)
    assert found == behaviour_of(centre, sorted(supports, reverse=True), margin)
    straddles = any(s <= centre - margin for s in supports) and any(
        s >= centre + margin for s in supports
    )
    assert (found == "stays") == straddles
    assert (found == "drops") == (not supports)


# --- pieces ---------------------------------------------------------------------------------


def test_pieces_of_cuts_from_the_free_end() -> None:
    """Each cut frees what lies between it and the cut before it, less the kerf."""
    found = pieces(6000, [5000, 3500, 1200], [1500, 2500, 3300, 4200, 5200, 5800], 25, kerf=3)
    assert [(p.inner, p.outer) for p in found] == [(5000, 6000), (3500, 4997), (1200, 3497)]
    assert [p.length for p in found] == [1000, 1497, 2297]
    assert [p.centre for p in found] == [5500, 4248.5, 2348.5]
    assert [p.supports for p in found] == [(5200, 5800), (4200,), (1500, 2500, 3300)]
    # The single support of the middle one stands 48.5 mm on the chuck side of its centre.
    assert [p.behaviour for p in found] == ["stays", "tips-inner-end-up", "stays"]


def test_pieces_of_cuts_in_another_order() -> None:
    """A cut frees up to the nearest cut outward made before; a later one cuts what has fallen."""
    inward = pieces(6000, [2000, 4000], [], 25)
    assert [(p.inner, p.outer) for p in inward] == [(2000, 6000), (4000, 6000)]
    mixed = pieces(6000, [4000, 1000, 5000, 2500], [], 25)
    assert [(p.inner, p.outer) for p in mixed] == [
        (4000, 6000),
        (1000, 4000),
        (5000, 6000),
        (2500, 4000),
    ]
    assert {p.behaviour for p in mixed} == {"drops"}


def test_pieces_in_any_order_end_where_a_plain_walk_finds_them() -> None:
    """Random orders: the outer end is the least of the earlier cuts beyond, else the end."""
    dice = random.Random(8)
    for _ in range(100):
        cuts = dice.sample(range(100, 5900, 50), dice.randint(1, 6))
        stations = [dice.uniform(0, 6000) for _ in range(4)]
        found = pieces(6000, cuts, stations, 25)
        for place, piece in enumerate(found):
            beyond = sorted(cut for cut in cuts[:place] if cut > cuts[place])
            assert piece.inner == cuts[place]
            assert piece.outer == (beyond[0] if beyond else 6000)
            under = sorted(s for s in stations if piece.inner < s < piece.outer)
            assert piece.supports == tuple(under)
            assert piece.centre == (piece.inner + piece.outer) / 2


def test_support_under_a_cut_or_at_the_end_carries_no_piece() -> None:
    """A support exactly at an end of a piece is not under it."""
    (piece,) = pieces(2000, [1000], [1000, 2000], 25)
    assert piece.supports == ()
    assert piece.behaviour == "drops"
    assert pieces(2000, [], [1000], 25) == []


def test_no_kerf_is_taken_from_the_free_end_and_none_leaves_a_negative_length() -> None:
    """The free end keeps its length, and cuts closer than a kerf leave nothing."""
    found = pieces(2000, [1500, 1499], [], 25, kerf=3)
    assert [p.length for p in found] == [500, 0]


# --- tabs -----------------------------------------------------------------------------------


def test_worked_tabs_of_a_short_part() -> None:
    """NPS 6 Sch 40, 0.6 m, 4 x 6 mm: shear 1.0, bending 7.2, together 7.4 MPa.

    Source: strength of materials, 2 W x / (n w t R) and W / (n w t), worked by hand.
    """
    weight, area = NPS_6.linear_mass * 600 * GRAVITY, 4 * 6 * 7.11
    shear, bending = weight / area, 2 * weight * 300 / (area * 80.595)
    assert shear == pytest.approx(1.0, abs=0.05)
    assert bending == pytest.approx(7.2, abs=0.1)
    found = tab_stress(NPS_6, 600, 0, 4, 6)
    assert found == pytest.approx(math.hypot(bending, math.sqrt(3) * shear), rel=1e-12)
    assert found == pytest.approx(7.4, abs=0.1)
    assert tabs_for(NPS_6, 600, 0, KERF, RULES) is not None


def test_worked_tabs_of_a_long_part() -> None:
    """NPS 10 Sch 40, 3 m, 4 x 8 mm: 136 MPa against 30 allowed, it would need 36 mm tabs.

    Source: strength of materials, worked by hand; safety of 8 is common practice, no source.
    """
    found = tab_stress(NPS_10, 3000, 0, 4, 8)
    assert found == pytest.approx(136, rel=5e-3)
    assert found * 8 / (240 / 8) == pytest.approx(36, abs=0.5)  # goes with 1 / width
    assert tabs_for(NPS_10, 3000, 0, KERF, RULES) is None
    wide = tabs_for(NPS_10, 3000, 0, KERF, RULES._replace(counts=(4,), widest=40.0))
    assert wide is not None
    assert wide.width == pytest.approx(36, abs=1)
    assert wide.stress <= wide.allowed == 30


def test_torque_adds_to_the_shear() -> None:
    """Starting torque adds T / (n w t R) to the shear (strength of materials)."""
    area = 3 * 10 * 7.11
    torque = 5e5
    still = tab_stress(NPS_6, 1e-9, 0, 3, 10)
    assert still == pytest.approx(0, abs=1e-9)
    turned = tab_stress(NPS_6, 1e-9, torque, 3, 10)
    assert turned == pytest.approx(math.sqrt(3) * torque / (area * 80.595), rel=1e-9)


def test_ring_of_equal_tabs_has_the_same_second_moment_at_every_angle() -> None:
    """Sum of R^2 sin^2 is n R^2 / 2 at every roll angle from three tabs up, not with two."""
    for count in (3, 4, 5, 8):
        for roll in (0.0, 0.3, 1.0):
            total = sum(
                math.sin(roll + 2 * math.pi * number / count) ** 2 for number in range(count)
            )
            assert total == pytest.approx(count / 2)
    assert sum(math.sin(math.pi * number) ** 2 for number in range(2)) == pytest.approx(0)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    st.floats(30, 400),
    st.floats(1.5, 14),
    st.floats(50, 4000),
    st.floats(0, 1e6),
    st.integers(3, 8),
)
def test_tabs_chosen_are_as_few_and_narrow_as_hold(
    diameter: float, wall: float, length: float, torque: float, most: int
) -> None:
    """Never fewer than three; the choice holds, and no fewer or narrower one does."""
    tube = steel_pipe(diameter, wall)
    rules = RULES._replace(counts=tuple(range(3, most + 1)))
    least = math.ceil(max(KERF, wall))
    choices = [
        (count, width)
        for count in rules.counts
        for width in range(least, 26)
        if count * width <= 0.25 * tube.girth
        and tab_stress(tube, length, torque, count, width) <= 30
    ]
    found = tabs_for(tube, length, torque, KERF, rules)
    if not choices:
        assert found is None
        return
    assert found is not None
    assert (found.count, found.width) == min(choices)
    assert found.count >= 3
    assert found.stress == tab_stress(tube, length, torque, found.count, found.width)
    assert found.stress <= found.allowed == 240 / 8


def test_no_tabs_where_none_can_hold() -> None:
    """Too long a part, a wall wider than the widest tab, and too small a girth have none."""
    assert tabs_for(NPS_6, 12000, 0, KERF, RULES) is None
    assert tabs_for(steel_pipe(300, 26), 100, 0, KERF, RULES) is None
    assert tabs_for(NPS_6, 100, 0, 25.5, RULES) is None
    # Girth 20 pi = 62.8 mm: a quarter of it over three tabs is 5.2 mm, the wall is 6.
    assert tabs_for(steel_pipe(20, 6), 10, 0, KERF, RULES) is None
    assert tabs_for(steel_pipe(20, 5), 10, 0, KERF, RULES) is not None


def test_tab_is_never_narrower_than_kerf_or_wall() -> None:
    """Widths begin at the larger of kerf and wall, in whole mm (common practice, no source)."""
    for kerf, wall, least in ((2.0, 7.11, 8.0), (9.5, 7.11, 10.0), (2.0, 6.0, 6.0)):
        found = tabs_for(steel_pipe(168.3, wall), 50, 0, kerf, RULES)
        assert found is not None
        assert (found.count, found.width) == (3, least)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    st.floats(50, 3000),
    st.integers(3, 8),
    st.floats(3, 25),
    st.floats(0, 1e5),
    st.floats(1.001, 3),
)
def test_more_or_wider_tabs_never_raise_the_stress(
    length: float, count: int, width: float, torque: float, factor: float
) -> None:
    """Stress goes with 1 / (n w), and grows with length and torque."""
    stress = tab_stress(NPS_6, length, torque, count, width)
    assert tab_stress(NPS_6, length, torque, count + 1, width) < stress
    assert tab_stress(NPS_6, length, torque, count, width * factor) == pytest.approx(
        stress / factor
    )
    assert tab_stress(NPS_6, length * factor, torque, count, width) > stress
    assert tab_stress(NPS_6, length, torque + 1e4, count, width) > stress
