"""Statics against published beams, exact algebra, and an independent finite-element library.

Each published number stands beside its source. Loads are uniform, as in the project.
"""

import math
import random
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from cuttable.catalogue.machines.model import UNSTATED, Support
from cuttable.engine.inputs.figures import SeatAngles, TabRules
from cuttable.engine.statics import seating
from cuttable.engine.statics.beam import (
    Bars,
    deflection,
    height_stiffness,
    height_tolerance,
    shape,
    solve,
)
from cuttable.engine.statics.part_release import Tube, behaviour_of, pieces, tab_stress, tabs_for
from hypothesis import given, settings
from hypothesis import strategies as st

HANDBOOK = "Civil Engineering Formulas (handbook), Table 2.1, equal spans"
EI = 1e12


def bars(
    length: float, stations: list[float], *, clamped: bool, weight: float = 1.0,
    stiffness: float = EI,
) -> Bars:  # fmt: skip
    """Return one bar; no stations is a bar held by the chuck alone."""
    places = np.array([stations or [math.nan]], dtype=np.float64)
    return Bars(
        np.array([length]), np.array([weight]), np.array([stiffness]), places,
        np.zeros_like(places), np.array([clamped]),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("spans", "reactions", "moments"),
    [
        (2, [3 / 8, 10 / 8, 3 / 8], [-1 / 8]),
        (3, [4 / 10, 11 / 10, 11 / 10, 4 / 10], [-1 / 10, -1 / 10]),
        (4, [11 / 28, 32 / 28, 26 / 28, 32 / 28, 11 / 28], [-3 / 28, -2 / 28, -3 / 28]),
        (5, [15 / 38, 43 / 38, 37 / 38, 37 / 38, 43 / 38, 15 / 38],
         [-4 / 38, -3 / 38, -3 / 38, -4 / 38]),
    ],
)  # fmt: skip
def test_equal_spans(spans: int, reactions: list[float], moments: list[float]) -> None:
    """Reactions / wL and moments / wL^2 of two to five equal spans (HANDBOOK)."""
    carried = solve(bars(spans * 1000, [1000.0 * n for n in range(1, spans + 1)], clamped=False))
    found = [carried.chuck_reaction[0], *carried.reactions[0]]
    assert found == pytest.approx([value * 1000 for value in reactions], rel=1e-9)
    inner = carried.moments[0][:-1]
    assert list(inner) == pytest.approx([value * 1e6 for value in moments], rel=1e-9)


def test_deflections_of_tables() -> None:
    """Two spans, propped cantilever, cantilever.

    0.00541 wL^4/EI (Lindeburg); wL^4/185EI (AISC 3-23, from memory); wL^4/8EI (Civil
    Engineering Formulas, case 7).
    """
    two = bars(2000, [1000, 2000], clamped=False)
    assert shape(two, solve(two)).sag[0] == pytest.approx(0.00541 * 1000**4 / EI, rel=2e-3)
    propped = bars(1000, [1000], clamped=True)
    carried = solve(propped)
    assert carried.reactions[0][0] == pytest.approx(375)
    assert carried.chuck_moment[0] == pytest.approx(-(1000**2) / 8)
    assert shape(propped, carried).sag[0] == pytest.approx(1000**4 / 185 / EI, rel=3e-3)
    alone = bars(5000, [], clamped=True, weight=0.3)
    carried = solve(alone)
    assert carried.chuck_moment[0] == pytest.approx(-3750e3)
    assert shape(alone, carried).tip[0] == pytest.approx(0.125 * 0.3 * 5000**4 / EI)


def test_overhanging_pipe() -> None:
    """NPS 8 Sch 40, 4 m + 2 m overhang (AISC 3-23, from memory; Gere & Goodno Example 9-9)."""
    bar = bars(6000, [4000], clamped=False, weight=0.41726, stiffness=6037390e6)
    carried = solve(bar)
    assert carried.chuck_reaction[0] == pytest.approx(625.9, rel=1e-3)
    assert carried.reactions[0][0] == pytest.approx(1877.7, rel=1e-3)
    assert shape(bar, carried).tip[0] == pytest.approx(0.13823, rel=2e-3)


def test_height_error_on_a_stiff_pipe() -> None:
    """NPS 8 Sch 80, two 3 m spans: 6EI/L^3 = 1 956 N per mm against 2 377 N of reaction."""
    stiffness = 200e3 * 4.4018358973964884e7
    bar = bars(6000, [3000, 6000], clamped=False, weight=2377 / 1.25 / 3000, stiffness=stiffness)
    assert height_stiffness(bar)[0, 0, 0] == pytest.approx(1956, rel=1e-3)
    assert solve(bar).reactions[0][0] == pytest.approx(2377)


def test_four_supports_and_an_overhang() -> None:
    """NPS 4 Sch 40 on 0/2.4/4.8/7.3 m, 8.2 m long: exact rationals of the three-moment method."""
    bar = bars(8200, [2400, 4800, 7300], clamped=False, weight=0.1576467215000669,
               stiffness=602103.8996130049e6)  # fmt: skip
    carried = solve(bar)
    exact = [336439 / 353280, 158153 / 58880, 21643643 / 8832000, 194217 / 92000]
    found = [carried.chuck_reaction[0], *carried.reactions[0]]
    assert found == pytest.approx([value * 157.6467215000669 for value in exact], rel=1e-12)
    assert shape(bar, carried).sag[0] == pytest.approx(5.815090541422907e-2, rel=1e-6)
    assert shape(bar, carried).tip[0] == pytest.approx(-3.086528199895464e-3, rel=1e-6)


def test_a_support_that_would_pull_is_lifted_off() -> None:
    """Supports 0/1/2 m, 3.8 m long: two-sided -1.18 w, one-sided 0.19 / 0 / 3.61 w (statics)."""
    carried = solve(bars(3800, [1000, 2000], clamped=False, weight=1e-3))
    assert carried.chuck_reaction[0] == pytest.approx(0.19)
    assert list(carried.reactions[0]) == pytest.approx([0.0, 3.61])
    assert list(carried.is_lifted[0]) == [True, False]


@pytest.mark.parametrize("clamped", [True, False])
def test_exact_algebra(clamped: bool) -> None:
    """The same reactions as sympy's exact beam, pinned and clamped at the chuck."""
    from sympy import Rational, symbols
    from sympy.physics.continuum_mechanics.beam import Beam

    r0, r1, r2, m0 = symbols("r0 r1 r2 m0")
    length = Rational(73, 10)
    beam = Beam(length, 1, 1)
    beam.apply_load(-1, 0, 0, end=length)
    beam.apply_load(r0, 0, -1)
    beam.apply_load(r1, Rational(5, 2), -1)
    beam.apply_load(r2, 6, -1)
    beam.bc_deflection = [(0, 0), (Rational(5, 2), 0), (6, 0)]
    unknown = [r0, r1, r2]
    if clamped:
        beam.apply_load(m0, 0, -2)
        beam.bc_slope = [(0, 0)]
        unknown.append(m0)
    beam.solve_for_reaction_loads(*unknown)
    exact = [float(beam.reaction_loads[name]) for name in (r0, r1, r2)]
    carried = solve(bars(7.3, [2.5, 6.0], clamped=clamped, stiffness=1.0))
    assert [carried.chuck_reaction[0], *carried.reactions[0]] == pytest.approx(exact, rel=1e-10)


def one_sided_fe(length: float, stations: list[float], *, clamped: bool) -> list[float]:
    """Reactions of supports by PyNiteFEA with supports that only push up; w = 1, EI = 1000."""
    from Pynite import FEModel3D

    model: Any = FEModel3D()
    model.add_material("m", 1000.0, 400.0, 0.25, 0.0)
    model.add_section("s", 1e6, 1.0, 1.0, 1.0)
    places = [0.0, *stations, length]
    for number, place in enumerate(places):
        model.add_node(f"N{number}", place, 0, 0)
        model.def_support(f"N{number}", False, False, True, True, True, False)
    model.def_support("N0", True, True, True, True, True, clamped)
    for number in range(1, len(stations) + 1):
        model.def_support_spring(f"N{number}", "DY", 1e10, "-")
    for number in range(len(places) - 1):
        name = f"M{number}"
        model.add_member(name, f"N{number}", f"N{number + 1}", "m", "s")
        model.add_member_dist_load(name, "Fy", -1.0, -1.0)
    model.analyze(check_statics=False)
    combo = next(iter(model.load_combos))
    return [float(model.nodes[f"N{n}"].RxnFY[combo]) for n in range(1, len(stations) + 1)]


def test_one_sided_supports_against_finite_elements() -> None:
    """Twenty random bars, some lifting off: reactions and lift-off as PyNiteFEA 3.2.0 has them."""
    dice = random.Random(5)
    lifted = 0
    for _ in range(20):
        count = dice.randint(1, 4)
        stations = sorted(round(dice.uniform(0.6, 9.0), 2) for _ in range(count))
        if any(b - a < 0.4 for a, b in pairwise(stations)):
            continue
        length = stations[-1] + round(dice.uniform(0.1, 3.5), 2)
        clamped = dice.random() < 0.5
        carried = solve(bars(length, stations, clamped=clamped, stiffness=1000.0))
        expected = one_sided_fe(length, stations, clamped=clamped)
        assert list(carried.reactions[0]) == pytest.approx(expected, abs=2e-4 * length)
        lifted += int(carried.is_lifted.sum())
    assert lifted > 0


stations_of = st.lists(st.floats(300, 9000), min_size=1, max_size=5, unique=True).map(sorted)


@settings(max_examples=80, deadline=None)
@given(stations_of, st.floats(100, 4000), st.booleans())
def test_statics_hold_for_any_bar(stations: list[float], overhang: float, clamped: bool) -> None:
    """Forces and moments balance, supports only push, and what is lifted has a gap."""
    stations = [s for n, s in enumerate(stations) if n == 0 or s - stations[n - 1] > 50]
    bar = bars(stations[-1] + overhang, stations, clamped=clamped, weight=0.5)
    carried = solve(bar)
    weight, reactions = 0.5 * bar.length[0], carried.reactions[0]
    assert carried.chuck_reaction[0] + reactions.sum() == pytest.approx(weight)
    turning = carried.chuck_moment[0] + weight * bar.length[0] / 2 - reactions @ bar.stations[0]
    assert abs(turning) < 1e-6 * weight * bar.length[0]
    assert (reactions >= -1e-6 * weight).all()
    gaps = deflection(bar, carried, bar.stations)[0]
    scale = max(1e-9, np.abs(gaps).max())
    assert (gaps >= -1e-6 * scale - 1e-9).all()
    assert np.abs(gaps[~carried.is_lifted[0]]).max() <= 1e-6 * scale + 1e-9


def test_many_bars_at_once_are_each_bar_alone() -> None:
    """Rows with fewer supports are padded, and rows do not touch each other."""
    dice = random.Random(3)
    rows = [sorted(dice.uniform(300, 9000) for _ in range(dice.randint(1, 5))) for _ in range(40)]
    lengths = [row[-1] + dice.uniform(100, 4000) for row in rows]
    most = max(len(row) for row in rows)
    places = np.array([row + [math.nan] * (most - len(row)) for row in rows])
    clamp = np.array([number % 2 == 0 for number in range(40)])
    together = solve(Bars(np.array(lengths), np.ones(40), np.full(40, EI), places,
                          np.zeros_like(places), clamp))  # fmt: skip
    for number, row in enumerate(rows):
        alone = solve(bars(lengths[number], row, clamped=bool(clamp[number])))
        assert together.chuck_reaction[number] == pytest.approx(alone.chuck_reaction[0])
        assert list(together.reactions[number][: len(row)]) == pytest.approx(
            list(alone.reactions[0])
        )


def test_within_the_height_tolerance_every_reaction_keeps_its_rating() -> None:
    """Random errors up to the tolerance, of any sign: none lifts off, none is overloaded."""
    bar = bars(7000, [1500, 3200, 5200], clamped=False, weight=0.4, stiffness=6e12)
    carried = solve(bar)
    rated = np.full((1, 3), 2000.0)
    limit = height_tolerance(bar, carried.reactions, rated)[0]
    assert limit > 0
    dice = np.random.default_rng(2)
    for _ in range(50):
        heights = dice.uniform(-limit, limit, (1, 3))
        found = solve(bar._replace(heights=heights)).reactions[0]
        assert (found >= -1e-6).all()
        assert (found <= 2000 + 1e-6).all()


# --- seats, severing, tabs ------------------------------------------------------------------


def seated(item: Support, diameter: float) -> seating.Seated:
    """Seat a round; shallow below 40, wedged above 100 degrees (common practice, no source)."""
    return seating.seated(item, diameter, SeatAngles(math.radians(40), math.radians(100)))


def support(**geometry: float) -> Support:
    """Return a support of this geometry."""
    known = {"roller_radius": math.nan, "roller_spacing": math.nan, "vee_angle": math.nan,
             "ring_bore": math.nan, **geometry}  # fmt: skip
    return Support("x", "x", ("round",), 1, True, reaction=UNSTATED, **known)


@pytest.mark.parametrize(
    ("diameter", "height", "half", "each"),
    [(168.3, 96.41, 37.88, 0.6335), (219.1, 127.07, 30.55, 0.5806), (323.8, 185.3, 22.04, 0.539)],
)
def test_a_round_on_two_rollers(diameter: float, height: float, half: float, each: float) -> None:
    """R 38, s 150: centre height, half contact angle, load of one roller (geometry)."""
    seat = seated(support(roller_radius=38, roller_spacing=150), diameter)
    assert seat.centre == pytest.approx(height, rel=6e-4)
    assert math.degrees(seat.included / 2) == pytest.approx(half, rel=6e-4)
    assert seat.each == pytest.approx(each, rel=1e-3)


def test_seats_on_both_sides_of_every_bound() -> None:
    """Falls through below 74 mm; wedged above 100 degrees; shallow below 40; V and ring."""
    rollers = support(roller_radius=38, roller_spacing=150)
    assert seated(rollers, 74.0).seat == "falls-through"
    assert seated(rollers, 74.1).seat == "wedged"
    assert seated(rollers, 119.7).seat == "wedged"
    assert seated(rollers, 119.9).seat == "good"
    assert seated(rollers, 362.5).seat == "good"
    assert seated(rollers, 362.7).seat == "shallow"
    vee = seated(support(vee_angle=math.radians(120)), 168.3)
    assert vee.centre == pytest.approx(97.17, rel=5e-4)
    ring = support(ring_bore=170)
    assert seated(ring, 169.9).seat == "good"
    assert not seated(ring, 170.0).is_usable


def test_what_a_part_does() -> None:
    """Two supports beyond the margin to each side hold it; anything else tips or drops."""
    assert behaviour_of(1000, [975, 1025], 25) == "stays"
    assert behaviour_of(1000, [976, 1025], 25) == "tips-inner-end-down"
    assert behaviour_of(1000, [975, 1024], 25) == "tips-inner-end-up"
    assert behaviour_of(1000, [1000], 25) == "tips-inner-end-up"
    assert behaviour_of(1000, [], 25) == "drops"
    free = pieces(6000, [4000, 2000], [2300, 3700, 4500], 25)
    assert [piece.behaviour for piece in free] == ["tips-inner-end-up", "stays"]
    other = pieces(6000, [2000, 4000], [2300, 3700, 4500], 25)
    assert [(piece.inner, piece.outer) for piece in other] == [(2000, 6000), (4000, 6000)]


NPS_6 = Tube((168.3 - 7.11) / 2, 7.11, math.pi * 168.3, 240, 28.26e-3)
NPS_10 = Tube((273 - 9.27) / 2, 9.27, math.pi * 273, 240, 60.29e-3)
RULES = TabRules((3, 4), 8, 1.0, 25, 0.25, 1.0)


def test_worked_tabs() -> None:
    """NPS 6 Sch 40, 0.6 m, 4 x 6 mm: 7.4 MPa; NPS 10 Sch 40, 3 m, 4 x 8 mm: 136 MPa.

    Strength of materials, computed; the factors are common practice, no source.
    """
    assert tab_stress(NPS_6, 600, 0, 4, 6) == pytest.approx(7.4, rel=2e-2)
    assert tab_stress(NPS_10, 3000, 0, 4, 8) == pytest.approx(136, rel=1e-2)
    # 36 mm by bending alone; with shear, which the tool adds, 30.3 of the 30 allowed.
    assert tab_stress(NPS_10, 3000, 0, 4, 37) < 240 / 8 < tab_stress(NPS_10, 3000, 0, 4, 36)
    assert tabs_for(NPS_10, 3000, 0, 2.6, RULES) is None
    held = tabs_for(NPS_6, 600, 0, 2.2, RULES)
    assert held is not None
    assert held.count == 3
    assert held.width >= 8


@settings(max_examples=60, deadline=None)
@given(st.floats(50, 3000), st.integers(3, 8), st.floats(3, 25), st.floats(0, 1e5))
def test_more_and_wider_tabs_are_never_worse(
    length: float, count: int, width: float, torque: float
) -> None:
    """Stress falls with number and width, and grows with the length of the part."""
    stress = tab_stress(NPS_6, length, torque, count, width)
    assert tab_stress(NPS_6, length, torque, count + 1, width) < stress
    assert tab_stress(NPS_6, length, torque, count, width * 1.1) < stress
    assert tab_stress(NPS_6, length * 1.1, torque, count, width) > stress
