"""Bars on one-sided supports: published values, exact algebra, finite elements, properties.

Values with their sources are in ``beam_values.json``; formulas without a row name their source
in the docstring of the test.
"""

import json
import math
import random
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from cuttable.engine.statics.beam import (
    Bars,
    Carried,
    _tridiagonal,
    deflection,
    height_stiffness,
    height_tolerance,
    shape,
    solve,
)
from hypothesis import given, settings
from hypothesis import strategies as st

VALUES: Final[dict[str, Any]] = json.loads(
    Path(__file__).with_name("beam_values.json").read_text(encoding="utf-8")
)
EI: Final = 1e12


def one_bar(
    length: float,
    stations: list[float],
    *,
    is_clamped: bool,
    weight: float = 1.0,
    stiffness: float = EI,
    heights: list[float] | None = None,
) -> Bars:
    """Return one bar; without stations the chuck alone holds it."""
    places = np.array([stations or [math.nan]], dtype=np.float64)
    return Bars(
        np.array([length]),
        np.array([weight]),
        np.array([stiffness]),
        places,
        np.zeros_like(places) if heights is None else np.array([heights], dtype=np.float64),
        np.array([is_clamped]),
    )


def bar_of(row: dict[str, Any]) -> Bars:
    """Return the bar of a row of the values."""
    given_bar = dict(row["bar"])
    return one_bar(given_bar.pop("length"), given_bar.pop("stations"), **given_bar)


def forces(carried: Carried) -> list[float]:
    """Return the reaction of the chuck and of every support of the first row."""
    return [float(carried.chuck_reaction[0]), *(float(r) for r in carried.reactions[0])]


def read(row: dict[str, Any]) -> float:
    """Return what a row of the values asks for, in its unit."""
    bar, place = bar_of(row), row["index"]
    carried = solve(bar)
    line = shape(bar, carried)
    found = {
        "chuck_reaction": carried.chuck_reaction[0],
        "chuck_moment": carried.chuck_moment[0],
        "reaction": carried.reactions[0, place],
        "moment": carried.moments[0, place],
        "sag": line.sag[0],
        "tip": line.tip[0],
        "height_stiffness": height_stiffness(bar)[0, place, place],
    }[row["read"]]
    return float(found) / float(row["divide_by"])


# --- published and worked values ------------------------------------------------------------


@pytest.mark.parametrize("row", VALUES["bars"], ids=lambda row: str(row["id"]))
def test_bars_of_tables(row: dict[str, Any]) -> None:
    """Every row of the tables is met within its tolerance; the source stands in the row."""
    assert read(row) == pytest.approx(row["expected"], rel=row["tolerance_pct"] / 100)


@pytest.mark.parametrize("spans", [2, 3, 4, 5])
def test_every_reaction_and_moment_of_equal_spans(spans: int) -> None:
    """Reactions and moments are the handbook's fractions.

    Source: Civil Engineering Formulas (handbook), Table 2.1, equal spans; read in the source.
    """
    reactions, moments = {
        2: ([3 / 8, 10 / 8, 3 / 8], [1 / 8]),
        3: ([4 / 10, 11 / 10, 11 / 10, 4 / 10], [1 / 10, 1 / 10]),
        4: ([11 / 28, 32 / 28, 26 / 28, 32 / 28, 11 / 28], [3 / 28, 2 / 28, 3 / 28]),
        5: (
            [15 / 38, 43 / 38, 37 / 38, 37 / 38, 43 / 38, 15 / 38],
            [4 / 38, 3 / 38, 3 / 38, 4 / 38],
        ),
    }[spans]
    stations = [800.0 * number for number in range(1, spans + 1)]
    carried = solve(one_bar(stations[-1], stations, is_clamped=False, weight=0.3))
    assert forces(carried) == pytest.approx([value * 240 for value in reactions], rel=1e-12)
    hogging = [-value * 0.3 * 800**2 for value in moments]
    assert list(carried.moments[0, :-1]) == pytest.approx(hogging, rel=1e-12)
    assert carried.moments[0, -1] == pytest.approx(0.0, abs=1e-6)


def test_deflection_of_two_and_three_equal_spans() -> None:
    """Two spans sag 0.00541 and three 0.0069 wL^4/EI.

    Source: two spans Lindeburg, read in the source; three AISC Manual Table 3-23, from memory.
    """
    for spans, expected, allowed in ((2, 0.00541, 2e-3), (3, 0.0069, 5e-3)):
        stations = [1000.0 * number for number in range(1, spans + 1)]
        bar = one_bar(stations[-1], stations, is_clamped=False)
        assert shape(bar, solve(bar)).sag[0] == pytest.approx(expected, rel=allowed)


def test_overhang_that_makes_three_reactions_equal() -> None:
    """At 1.319 m of overhang on both sides of two 3 m spans all three supports carry alike."""
    row = VALUES["equal_reactions"]  # the source stands in the row
    low, high = 0.5, 2.5
    for _ in range(60):
        middle = (low + high) / 2
        # The right half: the middle support is the chuck, clamped by symmetry.
        bar = one_bar(3000 + middle * 1e3, [3000], is_clamped=True, weight=0.3)
        chuck, support = forces(solve(bar))
        low, high = (middle, high) if support < 2 * chuck else (low, middle)
    assert low == pytest.approx(row["expected"], rel=row["tolerance_pct"] / 100)


def test_system_of_two_moments() -> None:
    """The solver of tridiagonal systems solves problem 826; the source stands in the rows."""
    found = _tridiagonal(
        np.array([[0.0, 4.0]]),
        np.array([[16.0, 14.0]]),
        np.array([[4.0, 0.0]]),
        np.array([[-40.0, -52.0]]),
    )
    for value, row in zip(found[0], VALUES["system"], strict=True):
        assert value == pytest.approx(row["expected"], rel=row["tolerance_pct"] / 100)


def test_pipe_on_four_supports() -> None:
    """NPS 4 Sch 40 on 0, 2.4, 4.8, 7.3 m, 8.2 m long, to 1e-9; the source stands in the row."""
    row = VALUES["four_supports"]
    bar = bar_of(row)
    carried, weight = solve(bar), row["bar"]["weight"] * 1e3
    exact = [float(Fraction(text)) * weight for text in row["reactions_over_w_m"]]
    assert forces(carried) == pytest.approx(exact, rel=1e-9)
    assert forces(carried) == pytest.approx(row["reactions_N"], rel=1e-9)
    moments = [float(Fraction(text)) * weight * 1e3 for text in row["moments_over_w_m2"]]
    assert carried.chuck_moment[0] == pytest.approx(moments[0], abs=1e-6)
    assert list(carried.moments[0]) == pytest.approx(moments[1:], rel=1e-9)
    line = shape(bar, carried)
    assert line.sag[0] == pytest.approx(row["sag_mm"], rel=1e-7)
    assert line.tip[0] == pytest.approx(row["tip_mm"], rel=1e-9)


def test_support_that_would_pull_lifts_off() -> None:
    """Supports at 0, 1, 2 m under 3.8 m: the middle lifts off; the source stands in the row."""
    row = VALUES["lift_off"]
    carried = solve(one_bar(3800, [1000, 2000], is_clamped=False, weight=1e-3))
    assert forces(carried) == pytest.approx(row["one_sided_over_w_m"], abs=1e-9)
    assert carried.is_lifted.tolist() == [[True, False]]
    assert math.isnan(carried.moments[0, 0])


def test_bar_that_nothing_holds() -> None:
    """A pinned chuck without a support holds nothing; a clamped one holds all (statics)."""
    loose = solve(one_bar(2000, [], is_clamped=False))
    assert loose.has_failed.tolist() == [True]
    assert math.isnan(loose.chuck_reaction[0])
    held = solve(one_bar(2000, [], is_clamped=True))
    assert held.has_failed.tolist() == [False]
    assert held.chuck_reaction[0] == pytest.approx(2000)


# --- exact algebra --------------------------------------------------------------------------


def exact_reactions(length: Fraction, stations: list[Fraction], *, is_clamped: bool) -> list[float]:
    """Return the chuck's and the supports' reactions of sympy's exact beam; w = EI = 1."""
    from sympy import Rational, symbols
    from sympy.physics.continuum_mechanics.beam import Beam

    def rational(value: Fraction) -> Any:
        return Rational(value.numerator, value.denominator)

    names = symbols(f"r0:{len(stations) + 1}")
    turn = symbols("m0")
    beam: Any = Beam(rational(length), 1, 1)
    beam.apply_load(-1, 0, 0, end=rational(length))
    places = [rational(place) for place in (Fraction(0), *stations)]
    for name, place in zip(names, places, strict=True):
        beam.apply_load(name, place, -1)
    beam.bc_deflection = [(place, 0) for place in places]
    unknown = list(names)
    if is_clamped:
        beam.apply_load(turn, 0, -2)
        beam.bc_slope = [(0, 0)]
        unknown.append(turn)
    beam.solve_for_reaction_loads(*unknown)
    return [float(beam.reaction_loads[name]) for name in names]


@pytest.mark.parametrize("is_clamped", [True, False], ids=["clamped", "pinned"])
@pytest.mark.parametrize("seed", [1, 2])
def test_reactions_are_those_of_exact_algebra(seed: int, *, is_clamped: bool) -> None:
    """Random rational bars whose supports all carry have sympy 1.14.0's exact reactions."""
    dice = random.Random(seed)
    place, stations = Fraction(0), []
    for _ in range(2 + seed % 2):
        place += Fraction(dice.randint(20, 30), dice.randint(9, 12))
        stations.append(place)
    length = place + Fraction(dice.randint(3, 9), 10)
    exact = exact_reactions(length, stations, is_clamped=is_clamped)
    assert min(exact) > 0
    carried = solve(
        one_bar(float(length), [float(s) for s in stations], is_clamped=is_clamped, stiffness=1.0)
    )
    assert forces(carried) == pytest.approx(exact, rel=1e-10)


# --- finite elements with supports that only push -------------------------------------------


def finite_elements(length: float, stations: list[float], *, is_clamped: bool) -> list[float]:
    """Return the supports' reactions by PyNiteFEA, springs that only push; w = 1, EI = 1000."""
    from Pynite import FEModel3D

    model: Any = FEModel3D()
    model.add_material("steel", 1000.0, 400.0, 0.25, 0.0)
    model.add_section("bar", 1e6, 1.0, 1.0, 1.0)
    places = [0.0, *stations, length]
    for number, place in enumerate(places):
        model.add_node(f"N{number}", place, 0, 0)
        model.def_support(f"N{number}", False, False, True, True, True, False)
    model.def_support("N0", True, True, True, True, True, is_clamped)
    for number in range(1, len(stations) + 1):
        model.def_support_spring(f"N{number}", "DY", 1e10, "-")
    for number in range(len(places) - 1):
        name = f"M{number}"
        model.add_member(name, f"N{number}", f"N{number + 1}", "steel", "bar")
        model.add_member_dist_load(name, "Fy", -1.0, -1.0)
    model.analyze(check_statics=False)
    combo = next(iter(model.load_combos))
    return [float(model.nodes[f"N{n}"].RxnFY[combo]) for n in range(1, len(stations) + 1)]


def random_bars(seed: int, number: int) -> list[tuple[float, list[float], bool]]:
    """Return bars in m; every other one has close supports or a long overhang: some lift off."""
    dice, found = random.Random(seed), list[tuple[float, list[float], bool]]()
    while len(found) < number:
        stations = sorted(round(dice.uniform(0.6, 9.0), 2) for _ in range(dice.randint(1, 5)))
        if any(ahead - left < 0.3 for left, ahead in pairwise(stations)):
            continue
        overhang = dice.uniform(1.5, 4.0) if len(found) % 2 else dice.uniform(0.1, 1.0)
        found.append((round(stations[-1] + overhang, 2), stations, dice.random() < 0.5))
    return found


def test_one_sided_supports_are_those_of_finite_elements() -> None:
    """Of 25 random bars reactions and lifted supports are PyNiteFEA 3.2.0's."""
    lifted = 0
    for length, stations, is_clamped in random_bars(7, 25):
        carried = solve(one_bar(length, stations, is_clamped=is_clamped, stiffness=1000.0))
        expected = finite_elements(length, stations, is_clamped=is_clamped)
        assert list(carried.reactions[0]) == pytest.approx(expected, abs=1e-4 * length)
        off = [abs(force) < 1e-4 * length for force in expected]
        assert carried.is_lifted[0].tolist() == off
        lifted += sum(off)
    assert lifted >= 10


# --- heights --------------------------------------------------------------------------------


def test_middle_support_of_two_equal_spans_is_as_stiff_as_the_formula() -> None:
    """One mm at the middle of two spans changes its load by 6EI/L^3, the ends by half of it.

    Source: midspan stiffness of a simple beam of 2L, 48EI/(2L)^3 (strength of materials).
    """
    for span, stiffness in ((3000.0, 8.8e12), (1200.0, 6e11)):
        bar = one_bar(2 * span, [span, 2 * span], is_clamped=False, stiffness=stiffness)
        found = height_stiffness(bar)[0]
        per_mm = 6 * stiffness / span**3
        assert found[0, 0] == pytest.approx(per_mm, rel=1e-9)
        assert found[1, 0] == pytest.approx(-per_mm / 2, rel=1e-9)
        assert found[1, 1] == pytest.approx(per_mm / 4, rel=1e-9)


def test_prop_of_a_cantilever_is_as_stiff_as_the_formula() -> None:
    """A prop under a clamped bar has 3EI/L^3 (strength of materials)."""
    bar = one_bar(2500, [2000], is_clamped=True)
    assert height_stiffness(bar)[0, 0, 0] == pytest.approx(3 * EI / 2000**3, rel=1e-9)


@pytest.mark.parametrize("is_clamped", [True, False], ids=["clamped", "pinned"])
def test_height_stiffness_is_the_finite_difference(*, is_clamped: bool) -> None:
    """Central differences of ``solve`` give the same matrix, which is symmetric (Maxwell)."""
    stations = [1500.0, 3300.0, 5200.0, 6900.0]
    bar = one_bar(7600, stations, is_clamped=is_clamped, weight=0.4, stiffness=6e11)
    assert not solve(bar).is_lifted.any()
    matrix, step = height_stiffness(bar)[0], 1e-2
    for moved in range(4):
        sides = []
        for sign in (1, -1):
            heights = np.zeros((1, 4))
            heights[0, moved] = sign * step
            sides.append(solve(bar._replace(heights=heights)).reactions[0])
        slope = (sides[0] - sides[1]) / (2 * step)
        assert list(matrix[:, moved]) == pytest.approx(list(slope), rel=1e-6, abs=1e-6)
    assert np.allclose(matrix, matrix.T, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("is_clamped", [True, False], ids=["clamped", "pinned"])
@pytest.mark.parametrize("room", [40.0, 5000.0])
def test_height_tolerance_keeps_every_reaction(room: float, *, is_clamped: bool) -> None:
    """At errors up to it, of any sign, all reactions stay in [0, rated]; a bit more breaks one."""
    stations = [1500.0, 3200.0, 5200.0]
    bar = one_bar(6400, stations, is_clamped=is_clamped, weight=0.4, stiffness=6e12)
    carried = solve(bar)
    rated = float(carried.reactions.max()) + room
    limits = np.full((1, 3), rated)
    most = float(height_tolerance(bar, carried.reactions, limits)[0])
    assert most > 0
    dice = random.Random(4)
    signs = [[dice.choice((-1.0, 1.0)) for _ in stations] for _ in range(20)]
    inner = [[dice.uniform(-1, 1) for _ in stations] for _ in range(40)]
    corners = [[a, b, c] for a in (-1.0, 1.0) for b in (-1.0, 1.0) for c in (-1.0, 1.0)]
    for errors in (*signs, *inner, *corners):
        found = solve(bar._replace(heights=most * np.array([errors]))).reactions[0]
        assert found.min() >= -1e-6
        assert found.max() <= rated + 1e-6
    beyond = [solve(bar._replace(heights=1.05 * most * np.array([errors]))) for errors in corners]
    assert any(c.is_lifted.any() or c.reactions.max() > rated + 1e-6 for c in beyond)


def test_no_height_tolerance_where_a_rating_is_passed_already() -> None:
    """A support beyond its rating leaves no room."""
    bar = one_bar(6400, [1500.0, 3200.0, 5200.0], is_clamped=False, weight=0.4)
    reactions = solve(bar).reactions
    rated = reactions.copy()
    rated[0, 1] -= 1.0
    assert height_tolerance(bar, reactions, rated)[0] == 0.0


def test_support_set_low_enough_is_left_and_one_set_high_takes_more() -> None:
    """Two spans: the middle is left at -5wL^4/24EI (5w(2L)^4/384EI), and below it nothing changes.

    Source: midspan deflection of a simple beam, AISC Manual Table 3-23, from memory.
    """
    span, weight = 2000.0, 0.5
    free = 5 * weight * (2 * span) ** 4 / 384 / EI
    level = forces(solve(one_bar(2 * span, [span, 2 * span], is_clamped=False, weight=weight)))
    for height, is_left in ((-0.999 * free, False), (-1.001 * free, True), (-3 * free, True)):
        carried = solve(
            one_bar(
                2 * span,
                [span, 2 * span],
                is_clamped=False,
                weight=weight,
                heights=[height, 0.0],
            )
        )
        assert bool(carried.is_lifted[0, 0]) is is_left
        if is_left:
            assert forces(carried) == pytest.approx([weight * span, 0.0, weight * span])
    high = one_bar(2 * span, [span, 2 * span], is_clamped=False, weight=weight, heights=[0.01, 0])
    assert solve(high).reactions[0, 0] > level[1]


# --- properties -----------------------------------------------------------------------------

# Gaps between supports are a pitch or more, as on the beds of such machines.
bars_drawn = st.tuples(
    st.lists(st.integers(2, 24), min_size=1, max_size=6),
    st.floats(1.0, 4000.0),
    st.booleans(),
    st.floats(0.02, 2.0),
    st.sampled_from([1e10, 1e11, 1e12]),
)
Drawn = tuple[list[int], float, bool, float, float]


def drawn_bar(drawn: Drawn) -> Bars:
    """Return the bar of what hypothesis has drawn: gaps of 150 mm steps, overhang and so on."""
    gaps, overhang, is_clamped, weight, stiffness = drawn
    stations = [float(s) for s in np.cumsum(gaps) * 150]
    return one_bar(
        stations[-1] + overhang,
        stations,
        is_clamped=is_clamped,
        weight=weight,
        stiffness=stiffness,
    )


@settings(max_examples=150, deadline=None, derandomize=True)
@given(bars_drawn)
def test_forces_and_moments_balance(drawn: Drawn) -> None:
    """Chuck and supports carry the weight, moments about the chuck balance, nothing pulls."""
    bar = drawn_bar(drawn)
    carried, length = solve(bar), float(bar.length[0])
    weight = float(bar.weight[0]) * length
    assert sum(forces(carried)) == pytest.approx(weight, rel=1e-9)
    turning = carried.reactions[0] @ bar.stations[0] - weight * length / 2
    assert turning == pytest.approx(carried.chuck_moment[0], abs=1e-8 * weight * length)
    assert carried.reactions.min() >= -1e-8 * weight
    if not bar.is_clamped[0]:
        assert carried.chuck_moment[0] == 0.0


@settings(max_examples=150, deadline=None, derandomize=True)
@given(bars_drawn)
def test_lifted_supports_have_a_gap_and_carrying_ones_none(drawn: Drawn) -> None:
    """The bar lies at carrying supports and above lifted ones, which carry nothing."""
    bar = drawn_bar(drawn)
    carried = solve(bar)
    line = deflection(bar, carried, bar.stations)[0]
    off = carried.is_lifted[0]
    scale = float(bar.weight[0] * bar.length[0] ** 4 / bar.stiffness[0])
    assert np.abs(line[~off]).max() <= 1e-10 * scale
    assert (line[off] >= -1e-10 * scale - 1e-9).all()
    assert (carried.reactions[0, off] == 0.0).all()


@settings(max_examples=100, deadline=None, derandomize=True)
@given(bars_drawn, st.floats(0.1, 10.0))
def test_weight_scales_reactions_and_deflection(drawn: Drawn, factor: float) -> None:
    """Level supports: so many times the weight, so many times every force and deflection."""
    bar = drawn_bar(drawn)
    heavy = bar._replace(weight=bar.weight * factor)
    light, loaded = solve(bar), solve(heavy)
    total = float(bar.weight[0] * bar.length[0]) * factor
    expected = [force * factor for force in forces(light)]
    assert forces(loaded) == pytest.approx(expected, rel=1e-6, abs=1e-7 * total)
    first, second = shape(bar, light), shape(heavy, loaded)
    scale = total * float(bar.length[0]) ** 3 / float(bar.stiffness[0])
    assert second.tip[0] == pytest.approx(first.tip[0] * factor, rel=1e-6, abs=1e-9 * scale)
    assert second.sag[0] == pytest.approx(first.sag[0] * factor, rel=1e-6, abs=1e-9 * scale)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(bars_drawn)
def test_sag_is_the_lowest_point_and_the_tip_the_end(drawn: Drawn) -> None:
    """No point between chuck and last carrying support lies lower than the sag (2 001 points).

    To 1.5e-7 of wL^4/EI, for short spans get few samples: 0.001 mm for NPS 4 of 12 m.
    """
    bar = drawn_bar(drawn)
    carried = solve(bar)
    line = shape(bar, carried)
    reach = bar.stations[~carried.is_lifted].max()
    lowest = -deflection(bar, carried, np.linspace(0, reach, 2001)[None, :]).min()
    scale = float(bar.weight[0] * bar.length[0] ** 4 / bar.stiffness[0])
    assert line.sag[0] == pytest.approx(max(lowest, 0.0), abs=1.5e-7 * scale)
    step = 1e-3 * float(bar.length[0])
    end = deflection(bar, carried, bar.length[:, None] - np.array([[0.0, step, 2 * step]]))[0]
    assert line.tip[0] == pytest.approx(-end[0])
    slope = -(3 * end[0] - 4 * end[1] + end[2]) / (2 * step)
    scale = float(bar.weight[0] * bar.length[0] ** 3 / bar.stiffness[0])
    assert line.tip_slope[0] == pytest.approx(slope, rel=1e-3, abs=1e-5 * scale)


def padded(cases: list[tuple[float, list[float], bool]], stiffness: float) -> Bars:
    """Return bars as rows padded with NaN; w = 1."""
    most = max(len(stations) for _, stations, _ in cases)
    places = np.array([s + [math.nan] * (most - len(s)) for _, s, _ in cases])
    rows = len(cases)
    return Bars(
        np.array([length for length, _, _ in cases]),
        np.ones(rows),
        np.full(rows, stiffness),
        places,
        np.zeros_like(places),
        np.array([is_clamped for _, _, is_clamped in cases]),
    )


def test_rows_of_a_batch_are_the_single_rows() -> None:
    """Rows do not touch each other, and padding changes nothing."""
    cases = random_bars(3, 60)
    together = padded(cases, 1000.0)
    carried = solve(together)
    lines, rates = shape(together, carried), height_stiffness(together)
    tolerances = height_tolerance(
        together, carried.reactions, np.full_like(together.stations, 10.0)
    )
    assert carried.is_lifted.any()
    for number, (length, stations, is_clamped) in enumerate(cases):
        bar = one_bar(length, stations, is_clamped=is_clamped, stiffness=1000.0)
        alone, count = solve(bar), len(stations)
        row = carried.reactions[number]
        assert list(row[:count]) == pytest.approx(list(alone.reactions[0]), rel=1e-9, abs=1e-12)
        assert np.isnan(row[count:]).all()
        assert carried.chuck_reaction[number] == pytest.approx(alone.chuck_reaction[0], rel=1e-9)
        assert carried.is_lifted[number, :count].tolist() == alone.is_lifted[0].tolist()
        assert not carried.is_lifted[number, count:].any()
        line = shape(bar, alone)
        assert lines.tip[number] == pytest.approx(line.tip[0], rel=1e-9, abs=1e-12)
        assert lines.sag[number] == pytest.approx(line.sag[0], rel=1e-5, abs=1e-12)
        assert np.allclose(rates[number, :count, :count], height_stiffness(bar)[0], rtol=1e-9)
        room = height_tolerance(bar, alone.reactions, np.full((1, count), 10.0))[0]
        assert tolerances[number] == pytest.approx(room, rel=1e-9, abs=1e-12)


def test_reactions_on_level_supports_do_not_depend_on_stiffness() -> None:
    """On level supports EI cancels out of the three-moment equation, so it moves no reaction.

    Steel pipe of 50 to 300 mm radius has EI / w = E R^2 / (2 rho g) of 3e12 to 1.2e14 mm^3;
    supports stand 150 mm and more apart.
    """
    dice = random.Random(2)
    cases: list[tuple[float, list[float], bool]] = []
    for _ in range(4000):
        stations = sorted(150.0 * n for n in dice.sample(range(2, 81), dice.randint(2, 6)))
        cases.append((stations[-1] + dice.uniform(20, 3000), stations, dice.random() < 0.5))
    limber = solve(padded(cases, 1e9))
    for stiffness in (3e12, 3e13, 1.2e14):
        stiff = solve(padded(cases, stiffness))
        weight = limber.chuck_reaction + np.nansum(limber.reactions, axis=1)
        apart = np.nanmax(np.abs(stiff.reactions - limber.reactions), axis=1) / weight
        row = int(np.argmax(apart))
        assert apart[row] < 1e-6, (stiffness, cases[row], stiff.reactions[row])
        assert (stiff.is_lifted == limber.is_lifted).all()


def test_stiff_pipe_lies_on_every_support_it_presses_on() -> None:
    """No support is called lifted that the bar of a thick pipe presses into (one-sided contact)."""
    stations = [5250.0, 6150.0, 7200.0, 7650.0, 7950.0, 8100.0]
    # 610 mm pipe: EI / w = E R^2 / (2 rho g), about 1.2e14 mm^3.
    found = solve(one_bar(8458, stations, is_clamped=True, stiffness=1.2e14))
    limber = solve(one_bar(8458, stations, is_clamped=True, stiffness=1e9))
    assert found.is_lifted.tolist() == limber.is_lifted.tolist()
    assert forces(found) == pytest.approx(forces(limber), rel=1e-6, abs=1e-3)
