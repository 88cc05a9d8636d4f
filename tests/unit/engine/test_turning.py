"""Bowed stock on supports that give: by closed forms, by another solver, and where it is monotone.

The other solver is written here: displacements of cubic beam elements (Hermite; handbook stiffness
matrix), supports as springs that only push, found by Newton steps on which of them carry.
"""

import math
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest
from cuttable.engine.answer.making import is_give_open
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.inputs.figures import figures_of
from cuttable.engine.inputs.turning import _give, _stand
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.statics.beam import Bars, height_stiffness, solve
from cuttable.engine.statics.elastic_supports import influence, push_only
from cuttable.engine.statics.turning import BAND, LIFTED, MISSED, Turned, _Stages, turning_columns
from hypothesis import given, settings
from hypothesis import strategies as st

CORE = AssessorCore()
ALDER = CORE.catalogue.machines["alder-320"]
Floats = np.ndarray[Any, np.dtype[np.float64]]


def random_bars(dice: np.random.Generator, rows: int, count: int) -> tuple[Floats, ...]:
    """Return length, weight, stiffness, stations and give of bars of sizes that occur."""
    stations = np.cumsum(dice.uniform(600, 3000, (rows, count)), axis=1)
    length = stations[:, -1] + dice.uniform(50, 2000, rows)
    weight = dice.uniform(0.05, 3, rows)
    stiffness = 10 ** dice.uniform(10.5, 13.5, rows)
    give = 10 ** dice.uniform(-5, -3.5, (rows, count))
    return length, weight, stiffness, stations, give


def by_elements(
    length: float,
    weight: float,
    stiffness: float,
    stations: Floats,
    give: Floats,
    height: Floats,
    *,
    pulls: bool = False,
) -> Floats:
    """Return loads of one bar by finite elements; each support pushes k (height - deflection).

    With ``pulls`` every support holds the bar, up and down.
    """
    places = np.unique(np.concatenate([[0.0, length], stations]))
    size = 2 * len(places)
    matrix, force = np.zeros((size, size)), np.zeros(size)
    for number, span in enumerate(np.diff(places)):
        here = slice(2 * number, 2 * number + 4)
        matrix[here, here] += stiffness / span**3 * np.array([
            [12, 6 * span, -12, 6 * span], [6 * span, 4 * span**2, -6 * span, 2 * span**2],
            [-12, -6 * span, 12, -6 * span], [6 * span, 2 * span**2, -6 * span, 4 * span**2],
        ])  # fmt: skip
        force[here] -= weight * span / 2 * np.array([1, span / 6, 1, -span / 6])
    matrix[0, :], matrix[:, 0], matrix[0, 0], force[0] = 0, 0, 1, 0  # pinned in the chuck
    at = 2 * np.searchsorted(places, stations)
    carries = np.ones(len(stations), dtype=bool)
    for _ in range(60):
        whole, push = matrix.copy(), force.copy()
        for place, stiff, up in zip(at[carries], 1 / give[carries], height[carries], strict=True):
            whole[place, place] += stiff
            push[place] += stiff * up
        moved = np.linalg.solve(whole, push)
        before, carries = carries, (height - moved[at] > 0) | pulls
        if (before == carries).all():
            return np.where(carries, (height - moved[at]) / give, 0.0)
        if not carries.any():
            carries[np.argmax(height - moved[at])] = True
    raise AssertionError("the supports that carry are not found")


# --- loads and heights ------------------------------------------------------------------------


def test_middle_support_of_two_spans_by_closed_form() -> None:
    """Chuck and two supports, no overhang: R = 5/4 w l, and 6 EI / l^3 a mm (handbook)."""
    span, weight, stiffness = 3000.0, 0.4, 5e12
    loads, per_height = influence(
        np.array([2 * span]), np.array([weight]), np.array([stiffness]),
        np.array([[span, 2 * span]]), np.zeros((1, 2)),
    )  # fmt: skip
    assert loads[0] == pytest.approx([1.25 * weight * span, 0.375 * weight * span], rel=1e-12)
    assert per_height[0, 0, 0] == pytest.approx(6 * stiffness / span**3, rel=1e-12)
    assert per_height[0, 0, 1] == pytest.approx(-3 * stiffness / span**3, rel=1e-12)


def test_a_support_that_gives_is_a_spring_in_series() -> None:
    """One over the stiffness at the support: that of the bar and that of the support (series)."""
    span, stiffness, give = 2500.0, 8e12, np.array([[3e-4, 0.0]])
    one = (
        np.array([2 * span]),
        np.array([1.0]),
        np.array([stiffness]),
        np.array([[span, 2 * span]]),
    )
    _, rigid = influence(*one, np.zeros((1, 2)))
    _, soft = influence(*one, give)
    assert 1 / soft[0, 0, 0] == pytest.approx(1 / rigid[0, 0, 0] + give[0, 0], rel=1e-12)


@pytest.mark.parametrize("count", range(1, 7))
def test_rigid_supports_carry_what_the_beam_solver_says(count: int) -> None:
    """Rigid-support limit: loads of uneven heights, lift-off too, are those of `beam.solve`."""
    dice = np.random.default_rng(count)
    length, weight, stiffness, stations, _ = random_bars(dice, 400, count)
    height = dice.normal(0, 2, stations.shape)
    bars = Bars(length, weight, stiffness, stations, height, np.zeros(400, dtype=bool))
    loads, per_height = influence(length, weight, stiffness, stations, np.zeros_like(stations))
    np.testing.assert_allclose(
        per_height, height_stiffness(bars), atol=1e-9 * np.abs(per_height).max()
    )
    found = push_only(loads + np.einsum("rij,rj->ri", per_height, height), per_height)
    np.testing.assert_allclose(
        found, solve(bars).reactions, rtol=1e-6, atol=1e-8 * (weight * length).max()
    )
    if count > 1:
        assert (found == 0).any()


@pytest.mark.parametrize("count", range(2, 7))
def test_supports_that_give_and_never_pull_by_finite_elements(count: int) -> None:
    """Forty bars a count, with heights off by millimetres, to 1e-6 of their weight."""
    dice = np.random.default_rng(10 + count)
    length, weight, stiffness, stations, give = random_bars(dice, 40, count)
    height = dice.normal(0, 1.5, stations.shape)
    loads, per_height = influence(length, weight, stiffness, stations, give)
    found = push_only(loads + np.einsum("rij,rj->ri", per_height, height), per_height)
    for row in range(40):
        other = by_elements(length[row], weight[row], stiffness[row], stations[row], give[row],
                            height[row])  # fmt: skip
        assert found[row] == pytest.approx(other, abs=1e-6 * weight[row] * length[row])
    assert (found == 0).any()


@given(st.integers(2, 6), st.integers(0, 10**6), st.floats(0, 30), st.floats(0, 2 * math.pi))
@settings(max_examples=200, deadline=None)
def test_equilibrium_at_each_roll_angle(count: int, seed: int, bow: float, angle: float) -> None:
    """Moments of loads about the pinned chuck are that of the weight, whatever has lifted off."""
    length, weight, stiffness, stations, give = random_bars(np.random.default_rng(seed), 1, count)
    loads, per_height = influence(length, weight, stiffness, stations, give)
    arc = -4 * bow * math.cos(angle) * stations**2 / length**2
    found = push_only(loads + np.einsum("rij,rj->ri", per_height, arc), per_height)
    assert (found >= 0).all()
    assert (found * stations).sum() == pytest.approx(
        float(weight[0] * length[0] ** 2 / 2), rel=1e-9
    )


# --- what turns -------------------------------------------------------------------------------


def turned(dice: np.random.Generator, rows: int, count: int, **other: Any) -> Turned:
    """Return stock on supports that its weight fills between a third and all of rated."""
    length, weight, stiffness, stations, _ = random_bars(dice, rows, count)
    loads, _ = influence(length, weight, stiffness, stations, np.zeros_like(stations))
    rated = np.abs(loads).max(axis=1, keepdims=True) * dice.uniform(1, 3, (rows, 1))
    values: dict[str, Any] = {
        "length": length, "whole": length, "weight": weight, "stiffness": stiffness,
        "heavy": dice.uniform(1, 1.1, rows), "bow": dice.uniform(0, 2e-3, rows) * length,
        "usual": np.zeros(rows), "is_stated": np.ones(rows, dtype=bool),
        "levelling": np.full(rows, 0.5),
        "stations": stations, "rated": rated + np.zeros_like(stations),
        "absolute": 1.25 * rated + np.zeros_like(stations),
        "give": 0.4 / rated + np.zeros_like(stations),
        "climb": np.full(stations.shape, math.sin(math.radians(28))),
        "stage": np.arange(rows), "end": length,
    }  # fmt: skip
    return Turned(**values | other)


def test_one_support_is_not_troubled_by_a_bow() -> None:
    """Pinned in the chuck, the stock lies on it whatever its shape."""
    found = turning_columns(turned(np.random.default_rng(1), 50, 1))
    assert all(np.isnan(column).all() for column in found.values())


@pytest.mark.parametrize("count", [2, 3, 4, 6])
def test_bows_that_lift_and_climb_are_those_of_the_worst_roll_angle(count: int) -> None:
    """At 72 angles: below them every support carries, within its cone; above them not."""
    some = turned(np.random.default_rng(20 + count), 40, count)
    found = turning_columns(some)
    angle = np.radians(np.arange(0, 360, 5.0))
    straight = np.flatnonzero(found["turning_carry_bow"] > 0)
    assert len(straight) > 20
    for row in straight.tolist():
        for name, factor in product(("carry", "hold"), (0.999, 1.001)):
            bow = found[f"turning_{name}_bow"][row] * factor
            is_fine = True
            for times in (0.4, 3.0):  # as soft, and as stiff, as supports are taken to be
                loads, per_height = influence(
                    some.length[[row]], some.weight[[row]], some.stiffness[[row]],
                    some.stations[[row]], some.give[[row]] / times,
                )  # fmt: skip
                arc = -4 * bow * some.stations[row] ** 2 / some.whole[row] ** 2
                turn = per_height[0] @ arc
                up = loads[0][:, None] + turn[:, None] * np.cos(angle)
                side = np.abs(turn[:, None] * np.sin(angle))
                if name == "carry":
                    is_fine &= bool((up >= 0).all())
                else:
                    is_fine &= bool((side <= up * math.tan(math.radians(28)) * (1 + 1e-6)).all())
            assert is_fine is (factor < 1), (row, name)


@pytest.mark.parametrize("count", [2, 3, 4, 5])
def test_no_support_is_over_below_the_bow_that_is_told(count: int) -> None:
    """By finite elements at 24 roll angles, heights off by the levelling in random ways."""
    dice = np.random.default_rng(30 + count)
    some = turned(dice, 25, count)
    found = turning_columns(some)
    tried = 0
    for row, times in product(range(25), BAND):
        bow = min(found["turning_overload_bow"][row], some.bow[row])
        level = found["turning_level"][row]
        for step in range(0, 24, 3):
            lift = -4 * bow * math.cos(step * math.pi / 12) * some.stations[row] ** 2
            height = lift / some.whole[row] ** 2 + level * dice.choice([-1.0, 1.0], count)
            loads = by_elements(some.length[row], some.weight[row], some.stiffness[row],
                                some.stations[row], some.give[row] / times, height)  # fmt: skip
            assert (loads * some.heavy[row] <= some.absolute[row] * 1.02).all()
            tried += 1
    assert tried > 300
    assert np.isfinite(found["turning_overload_bow"]).any()


def test_what_is_tried_first_misses_no_more_than_is_said() -> None:
    """One or two supports that stand high, and supports that could pull, against every way."""
    from cuttable.engine.statics.turning import _few_high, _rolled, _worst

    most = lifted = 0.0
    for count in range(2, 7):
        some = turned(np.random.default_rng(40 + count), 150, count)
        (group,) = _Stages(some, 3.0)._groups
        full = (group, some.levelling, group.absolute)
        few = _worst(*full, _few_high(count), (some.bow, -some.bow))
        every = np.array(list(product((1.0, -1.0), repeat=count)))
        worst = _worst(*full, every, _rolled(some.whole, some.bow))
        moves = np.abs(group.per_bow) * some.bow[:, None] + group.per_level * 0.5
        pulled = ((group.loads + moves) / group.absolute).max(axis=1)
        most, lifted = (
            max(most, float((worst / few).max())),
            max(lifted, float((worst / pulled).max())),
        )
    assert 1.0 < most < MISSED
    assert 1.0 < lifted < LIFTED


def test_what_is_not_looked_at_closely_is_on_the_right_side_of_the_limit() -> None:
    """Loads that pass the limit only because another support lifts off are found too."""
    over = 0
    for count in range(2, 6):
        some = turned(np.random.default_rng(70 + count), 150, count)
        stages, every = _Stages(some, 3.0), np.arange(150)
        for share in (0.1, 0.3, 1.0):
            asked = every, some.bow * share, some.levelling * share
            exact = stages.use(*asked, is_exact=True) > 1 + 1e-9
            np.testing.assert_array_equal(stages.use(*asked) > 1 + 1e-9, exact)
            over += int(exact.sum())
    assert 100 < over < 1700


@pytest.mark.parametrize(("section", "size", "wall", "length"), [
    ("NPS 8 SCH 20", 219.1, 6.35, 10_700.0), ("NPS 5 SCH 40", 141.3, 6.55, 9_100.0),
])  # fmt: skip
def test_an_overload_that_comes_as_another_support_lifts_off_is_named(
    section: str, size: float, wall: float, length: float
) -> None:
    """Loads that grow in proportion to the bow stay below the absolute one; the real ones do not.

    Finite elements with the first support high, at the usual bow, stiff supports, A53 mass + 10 %.
    """
    (answer,) = CORE.ask(JobText(section, f"{length:g} mm"), ["alder-320"]).verdicts
    usual = answer.measures["usual_bow"].value or 0.0
    told = answer.measures["bow_supports_hold"].value
    by_code = {item.code: item for item in ALDER.supports}
    supports = [by_code[item.support] for item in answer.setup.supports]
    stations = np.array([item.station for item in answer.setup.supports])
    give = np.array([item.give / item.reaction.rated for item in supports]) / 3
    weight = 7850e-9 * math.pi * (size - wall) * wall * 9.80665
    bend = 200e3 * math.pi / 64 * (size**4 - (size - 2 * wall) ** 4)

    def largest(bow: float) -> float:
        high = -4 * bow * stations**2 / length**2 + 0.5 * np.array([1, -1, -1])
        loads = by_elements(length, weight, bend, stations, give, high)
        return float((1.1 * loads / [item.reaction.absolute for item in supports]).max())

    assert largest(usual) > 1.02
    assert told is not None
    assert told < usual
    assert largest(told) <= 1.02


WORSE = {
    "more bow": {"bow": 1.3}, "more height error": {"levelling": 1.3},
    "weaker supports": {"rated": 0.8, "absolute": 0.8},
    "a heavier end": {"heavy": 1.1},
}  # fmt: skip


@pytest.mark.parametrize("what", WORSE)
def test_what_is_worse_is_never_judged_better(what: str) -> None:
    """A thousand pairs: no load share falls, no bow or height that is allowed rises."""
    for count in range(2, 6):
        some = turned(np.random.default_rng(50 + count), 60, count)
        changed = {name: getattr(some, name) * factor for name, factor in WORSE[what].items()}
        worse = some._replace(**changed)
        before, after = turning_columns(some), turning_columns(worse)
        for name in ("turning_carry_bow", "turning_hold_bow"):
            assert (after[name] <= before[name] * (1 + 1e-9)).all()
        level = 1.3 if what == "more height error" else 1.0
        assert (after["turning_sure_level"] <= before["turning_sure_level"] * level + 1e-9).all()
        if what == "more bow":
            sure = before["turning_sure_level"] == after["turning_sure_level"]
            uses = before["turning_sure_use"][sure], after["turning_sure_use"][sure]
            assert ((uses[0] <= 1) | (uses[1] > 1)).all()
            assert (uses[0] > 1).any()


def test_stock_as_straight_as_it_is_sold_is_not_sure_to_overload() -> None:
    """Its bow gives numbers and conditions; more than that is judged whatever the stiffness."""
    some = turned(np.random.default_rng(55), 60, 3)
    usual = np.where(np.arange(60) % 2, some.bow, some.bow * 0.99)
    found = turning_columns(some._replace(usual=usual))
    np.testing.assert_array_equal(np.isnan(found["turning_sure_use"]), np.arange(60) % 2 == 1)
    assert not np.isnan(found["turning_absolute_use"]).any()


def test_half_of_the_room_in_height_is_left_for_the_bow() -> None:
    """Where less than the stated error is told, straight stock takes nearly twice that."""
    some = turned(np.random.default_rng(57), 80, 4)
    told = turning_columns(some)["turning_level"]
    less = (told < 0.5) & (told > 0)
    assert less.sum() > 10
    straight = some._replace(bow=np.zeros(80), levelling=np.where(less, 1.9 * told, 0.5))
    again = turning_columns(straight)["turning_level"]
    np.testing.assert_allclose(again[less], 1.9 * told[less])


def test_a_support_gives_by_its_own_rating() -> None:
    """0.4 mm under what it is rated for where the file says nothing (common practice)."""
    pair = next(item for item in ALDER.supports if item.code == "roller-pair")
    assert _give(replace(pair, give=math.nan)) == pytest.approx(0.4 / 5000)
    assert _give(replace(pair, give=1.0)) == pytest.approx(1.0 / 5000)


def test_the_strongest_support_stands_where_most_is_carried() -> None:
    """Of two kinds, with what goes with each: ratings, give and the angle between contacts."""
    by_code = {item.code: item for item in ALDER.supports}
    wide, pair = by_code["wide-roller-pair"], by_code["roller-pair"]
    some = turned(np.random.default_rng(58), 12, 3)
    _stand(some, (wide, pair, pair), np.arange(12), np.full(12, 219.1), figures_of(CORE.rule_set))
    loads, _ = influence(some.length, some.weight, some.stiffness, some.stations,
                         np.zeros((12, 3)))  # fmt: skip
    most = loads == loads.max(axis=1, keepdims=True)
    np.testing.assert_array_equal(some.rated == wide.reaction.rated, most)
    np.testing.assert_array_equal(some.absolute == wide.reaction.absolute, most)
    assert len(np.unique(some.climb[most])) == len(np.unique(some.climb[~most])) == 1
    assert some.climb[most][0] != some.climb[~most][0]


def test_what_a_machine_file_leaves_out_of_supports_is_listed() -> None:
    """Levelling, or the give of any support; nothing where both are stated."""
    assert not is_give_open(ALDER)
    assert is_give_open(ALDER._replace(bed=ALDER.bed._replace(levelling=math.nan)))
    last = replace(ALDER.supports[-1], give=math.nan)
    assert is_give_open(ALDER._replace(supports=(*ALDER.supports[:-1], last)))


def test_rows_are_judged_alike_alone_and_together() -> None:
    """A row does not depend on what else is asked."""
    some = turned(np.random.default_rng(60), 80, 4)
    together = turning_columns(some)
    for row in range(0, 80, 7):
        one = Turned(*(values[[row]] for values in some))._replace(stage=np.array([0]))
        alone = turning_columns(one)
        for name, column in together.items():
            assert alone[name][0] == pytest.approx(column[row], rel=1e-12, nan_ok=True)
