"""The planner against brute force and a plain evaluation.

Statics and the definitions of the limits; that a chuck should carry less than the supports and
a single support stand beyond the middle is common practice, no source.
"""

import math
import random
from collections.abc import Sequence
from itertools import combinations, pairwise

import numpy as np
import pytest
from cuttable.engine.arrays import Floats
from cuttable.engine.statics import support_rating
from cuttable.engine.statics.beam import Bars, shape, solve
from cuttable.engine.statics.part_release import pieces
from cuttable.engine.statics.support_plan import Plan, find_plan
from cuttable.engine.statics.support_rating import Bed, Bound, fullness_of, rate

FULL = 1 + 1e-9
NONE = Bound(math.nan, math.nan)


def a_bed(**changes: object) -> Bed:
    """Return a bed that carries 6 m of pipe easily, with these changes."""
    bed = Bed(
        length=6000.0,
        weight=0.3,
        stiffness=6e11,
        grid=tuple(600.0 + 300 * number for number in range(18)),
        ratings=(Bound(1800.0, 2300.0),) * 3,
        span=Bound(2400.0, 3000.0),
        overhang=Bound(1200.0, 1800.0),
        sag=Bound(1.0, 2.5),
        chuck_reaction=Bound(2100.0, 2600.0),
        chuck_moment=Bound(9e5, 1.2e6),
        keep_clear=120.0,
        margin=25.0,
    )
    return bed._replace(**changes)


def random_bed(dice: random.Random, *, with_cuts: bool) -> Bed:
    """Return a small problem: 8 to 12 stations, up to 4 supports, cuts in any order."""
    length = dice.uniform(2000, 7500)
    pitch = dice.choice([450.0, 550.0, 650.0])
    cuts = [dice.uniform(900, length - 300) for _ in range(dice.randint(1, 2) * with_cuts)]
    ratings = sorted((dice.uniform(300, 2500) for _ in range(dice.randint(0, 4))), reverse=True)
    moment = dice.uniform(4e5, 2e6)
    return Bed(
        length=length,
        weight=dice.uniform(0.05, 0.6),
        stiffness=dice.choice([2e11, 2e12]),
        grid=tuple(500.0 + pitch * number for number in range(dice.randint(8, 12))),
        ratings=tuple(Bound(value, 1.2 * value) for value in ratings),
        span=Bound(dice.uniform(1500, 3000), 3300.0),
        overhang=Bound(dice.uniform(700, 2000), 2300.0),
        sag=dice.choice([Bound(1.0, 2.5), NONE]),
        chuck_reaction=Bound(dice.uniform(400, 3000), 3500.0),
        chuck_moment=dice.choice([Bound(moment, 1.3 * moment), NONE]),
        keep_clear=dice.choice([0.0, 120.0, 250.0]),
        margin=25.0,
        cuts=tuple(cuts),
        is_held=tuple(dice.random() < 0.4 for _ in cuts),
    )


def of_stations(candidates: Sequence[Sequence[float]]) -> Floats:
    """Return combinations of equal size as the array that ``rate`` takes."""
    return np.array(candidates, dtype=np.float64).reshape(len(candidates), -1)


def brute_force(bed: Bed) -> tuple[str, int, float] | None:
    """Return level, fewest supports and lowest utilisation over every combination.

    Preferred among as many supports: the chuck carries at most half, one support stands beyond
    the middle; only then the utilisation.
    """
    usable = [station for station in bed.grid if station < bed.length]
    for level in ("rated", "absolute"):
        for count in range(len(bed.ratings) + 1):
            every = list(combinations(usable, count))
            if not every:
                continue
            candidates = of_stations(every)
            rating = rate(bed, candidates)
            full = fullness_of(bed, rating, level=level)
            # Before any cut, the definition of the chuck's share.
            share = rate(bed._replace(cuts=(), is_held=()), candidates).chuck_share
            ranked = [
                (int(share[n] > 0.5 + 1e-9) + int(count == 1 and c[0] <= bed.length / 2), full[n])
                for n, c in enumerate(every)
                if full[n] <= FULL
            ]
            if ranked:
                return level, count, float(min(ranked)[1])
    return None


# --- rate against a plain evaluation --------------------------------------------------------


def plain_fullness(bed: Bed, stations: tuple[float, ...]) -> float:
    """Return how full the fullest rated limit is, one bar at a time; infinite if unusable."""
    if any(station >= bed.length for station in stations):
        return math.inf
    if any(abs(s - cut) < bed.keep_clear for s in stations for cut in bed.cuts):
        return math.inf
    freed = pieces(bed.length, bed.cuts, stations, bed.margin)
    if any(p.behaviour != "stays" and not held for p, held in zip(freed, bed.is_held, strict=True)):
        return math.inf
    shares = [0.0]
    for end in (bed.length, *bed.cuts):
        under = [station for station in stations if station < end]
        nodes = [0.0, *under]
        shares.append(max((b - a for a, b in pairwise(nodes)), default=0.0) / bed.span.rated)
        shares.append((end - nodes[-1]) / bed.overhang.rated)
        for is_clamped in (True, False) if under else (True,):
            places = np.array([under or [math.nan]])
            bar = Bars(
                np.array([end]),
                np.array([bed.weight]),
                np.array([bed.stiffness]),
                places,
                np.zeros_like(places),
                np.array([is_clamped]),
            )
            carried = solve(bar)
            if carried.is_lifted.any():
                return math.inf
            line = shape(bar, carried)
            loads = sorted((r for r in carried.reactions[0] if not math.isnan(r)), reverse=True)
            for load, bound in zip(loads, bed.ratings, strict=False):
                shares.append(load / bound.rated)
            sag = line.sag[0] if under else line.tip[0]
            for value, bound in (
                (sag, bed.sag),
                (abs(carried.chuck_reaction[0]), bed.chuck_reaction),
                (abs(carried.chuck_moment[0]), bed.chuck_moment),
            ):
                if not math.isnan(bound.rated):
                    shares.append(float(value) / bound.rated)
    return max(shares)


def test_rating_is_that_of_a_plain_evaluation() -> None:
    """Candidates rated as arrays are as full as each of them evaluated alone, step by step."""
    dice = random.Random(21)
    usable = 0
    for number in range(40):
        bed = random_bed(dice, with_cuts=number % 2 == 1)
        for count in range(len(bed.ratings) + 1):
            every = list(combinations(bed.grid, count))
            chosen = dice.sample(every, min(12, len(every)))
            full = fullness_of(bed, rate(bed, of_stations(chosen)), level="rated")
            for stations, value in zip(chosen, full, strict=True):
                expected = plain_fullness(bed, stations)
                assert value == pytest.approx(expected, rel=1e-9), (bed, stations)
                usable += math.isfinite(expected)
    assert usable > 200


def test_supports_are_dealt_strongest_to_most_loaded() -> None:
    """A strong and a weak support: the share is that of the better of both ways to deal them."""
    bed = a_bed(ratings=(Bound(1500.0, 2000.0), Bound(500.0, 700.0)))
    rating = rate(bed, np.array([[2400.0, 5400.0]]))
    loads = []
    for is_clamped in (True, False):
        bars = Bars(
            np.array([6000.0]),
            np.array([0.3]),
            np.array([6e11]),
            np.array([[2400.0, 5400.0]]),
            np.zeros((1, 2)),
            np.array([is_clamped]),
        )
        loads.append(solve(bars).reactions[0])
    expected = max(min(max(a / 1500, b / 500), max(b / 1500, a / 500)) for a, b in loads)
    assert rating.support_share[0] == pytest.approx(expected)
    assert rating.support_reaction[0] == pytest.approx(max(max(pair) for pair in loads))
    at_most = max(max(max(pair) / 2000, min(pair) / 700) for pair in loads)
    assert rating.absolute_share[0] == pytest.approx(at_most)


# --- the planner ----------------------------------------------------------------------------


@pytest.mark.parametrize("with_cuts", [False, True], ids=["whole", "cut"])
def test_planner_finds_what_brute_force_finds(*, with_cuts: bool) -> None:
    """A plan exactly where there is one, as few supports, the same utilisation."""
    dice = random.Random(31)
    found: list[Plan] = []
    problems = 80
    for _ in range(problems):
        bed = random_bed(dice, with_cuts=with_cuts)
        plan, expected = find_plan(bed), brute_force(bed)
        if expected is None:
            assert plan is None, bed
            continue
        assert plan is not None, bed
        assert (plan.level, len(plan.stations)) == expected[:2], bed
        assert plan.utilisation == pytest.approx(expected[2], rel=1e-9)
        own = fullness_of(bed, rate(bed, of_stations([plan.stations])), level=plan.level)
        assert own[0] == pytest.approx(plan.utilisation, rel=1e-9)
        assert own[0] <= FULL
        assert set(plan.stations) <= set(bed.grid)
        found.append(plan)
    assert 20 < len(found) < problems - 5
    assert {plan.level for plan in found} == {"rated", "absolute"}
    assert len({len(plan.stations) for plan in found}) >= 3


def test_plan_keeps_clear_of_cuts_and_holds_every_part() -> None:
    """Supports keep their distance, and each part not held by tabs lies on both its sides."""
    dice = random.Random(41)
    planned = 0
    for _ in range(60):
        length = dice.uniform(3500, 7000)
        inner, outer = sorted((dice.uniform(800, length - 900), dice.uniform(800, length - 900)))
        bed = a_bed(
            length=length,
            grid=tuple(500.0 + 250 * number for number in range(27)),
            ratings=(Bound(1800.0, 2300.0),) * 6,
            cuts=(outer, inner),
            is_held=(False, outer - inner < 700),
        )
        plan = find_plan(bed)
        if plan is None:
            continue
        planned += 1
        assert all(abs(s - cut) >= bed.keep_clear for s in plan.stations for cut in bed.cuts)
        freed = pieces(length, bed.cuts, plan.stations, bed.margin)
        assert freed[0].behaviour == "stays"
        assert bed.is_held[1] or freed[1].behaviour == "stays"
    assert planned > 15


def test_ends_of_freed_pieces_given_replace_those_of_the_cuts() -> None:
    """With trim the part ends before the stock does, and its supports straddle its own centre."""
    bed = a_bed(
        cuts=(3000.0,),
        is_held=(False,),
        grid=(1500.0, 2700.0, 4500.0, 4800.0, 5600.0),
        ratings=(Bound(1800.0, 2300.0),) * 4,
    )
    # Centre of 3 000 to 6 000 is 4 500: only 4 800 and 5 600 lie beyond it, none before it.
    assert find_plan(bed) is None
    trimmed = bed._replace(freed=((3000.0, 6300.0),))  # centre 4 650
    plan = find_plan(trimmed)
    assert plan is not None
    assert 4500.0 in plan.stations
    assert {4800.0, 5600.0} & set(plan.stations)


def test_short_stock_needs_no_support() -> None:
    """What hangs from the chuck within its limits is planned without supports."""
    plan = find_plan(a_bed(length=900.0))
    assert plan is not None
    assert plan.stations == ()
    assert plan.level == "rated"
    assert plan.utilisation == pytest.approx(900 / 1200)  # the overhang is the fullest
    assert find_plan(a_bed(length=900.0, ratings=())) == plan


def test_one_support_stands_beyond_the_middle_where_it_can() -> None:
    """A single support stands beyond the middle although nearer ones would be less full."""
    bed = a_bed(length=3000.0, overhang=Bound(2600.0, 2800.0), span=Bound(2800.0, 3000.0))
    plan = find_plan(bed)
    # The chuck alone: overhang 3 000 is too long, so one support.
    assert plan is not None
    assert len(plan.stations) == 1
    assert plan.stations[0] > 1500
    only_near = bed._replace(grid=(600.0, 900.0, 1200.0, 1500.0))
    near = find_plan(only_near)
    assert (near is None) == (brute_force(only_near) is None)
    if near is not None:
        assert near.stations[0] <= 1500


def test_absolute_limits_serve_only_where_rated_ones_cannot() -> None:
    """More supports within rated limits come before fewer within absolute ones."""
    bed = a_bed(length=3600.0)
    plan = find_plan(bed)
    assert plan is not None
    assert plan.level == "rated"
    tight = bed._replace(overhang=Bound(100.0, 1800.0))  # no station is that near to the end
    plan = find_plan(tight)
    assert plan is not None
    assert plan.level == "absolute"
    assert plan.utilisation <= FULL


def count_rated(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Return a list that grows by the candidates whose statics are worked out, at every stage."""
    rated: list[int] = []
    inner = support_rating.demands_of

    def counting(bed: Bed, under: Floats, length: Floats, **more: bool) -> dict[str, Floats]:
        rated.append(len(under))
        return inner(bed, under, length, **more)

    monkeypatch.setattr(support_rating, "demands_of", counting)
    return rated


@pytest.mark.parametrize(
    ("changes", "is_plain"),
    [
        ({"weight": 30.0}, True),
        ({"length": 30000.0}, True),  # far longer than the bed
        ({"chuck_reaction": Bound(1.0, 1.0), "chuck_moment": Bound(1.0, 1.0)}, False),
        ({"span": Bound(500.0, 599.0)}, True),  # the first station is farther than a span
        ({"cuts": (3000.0, 2900.0), "is_held": (True, False)}, True),  # nothing fits in 100 mm
        ({"overhang": Bound(50.0, 60.0), "length": 6100.0}, True),
        ({"sag": Bound(1e-9, 1e-9)}, False),
    ],
    ids=["heavy", "long", "weak chuck", "span", "short part", "overhang", "sag"],
)
def test_impossible_problem_gives_none_with_little_work(
    monkeypatch: pytest.MonkeyPatch, changes: dict[str, object], *, is_plain: bool
) -> None:
    """Of 131 million combinations of 70 stations hardly any is worked out.

    None where lengths alone or the weight alone say it; else not more than 12,000 for the rated
    limits and as many for the absolute ones.
    """
    rated = count_rated(monkeypatch)
    bed = a_bed(
        grid=tuple(600.0 + 150 * number for number in range(70)),
        ratings=(Bound(1800.0, 2300.0),) * 6,
    )._replace(**changes)
    assert find_plan(bed) is None
    assert sum(rated) <= (0 if is_plain else 24_000)


def test_part_that_no_station_can_hold_is_told_with_little_work(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No station lies between cut and centre of a part at the far end: none of 36 can serve."""
    bed = a_bed(
        length=12000.0,
        grid=tuple(600.0 + 300 * number for number in range(37)),
        ratings=(Bound(1800.0, 2300.0),) * 7,
        overhang=Bound(2400.0, 2600.0),
        cuts=(11000.0,),
        is_held=(False,),
        keep_clear=500.0,
    )
    rated = count_rated(monkeypatch)
    assert find_plan(bed) is None
    assert not rated
