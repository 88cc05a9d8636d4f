"""The planner that holds parts first, against exhaustive search that knows nothing of it.

Every set of stations of the grid is tried, and for every part every way to put free supports under
it. What stock does on supports that carry is asked of ``rate``, which other tests hold against
independent statics; how a part lies on two supports is worked here by its levers.
"""

import math
import random
from collections.abc import Iterator, Sequence
from itertools import combinations, product
from typing import Final, NamedTuple

import numpy as np
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.inputs.figures import figures_of
from cuttable.engine.statics.catching import Catching, loose_of, pools_of
from cuttable.engine.statics.parts_first import hold_parts
from cuttable.engine.statics.support_rating import Bed, Bound, fullness_of, rate

FULL: Final = 1 + 1e-9
CORE: Final = AssessorCore()
ROWAN: Final = CORE.catalogue.machine("rowan-150")
FIGURES: Final = figures_of(CORE.rule_set)


class Best(NamedTuple):
    """What is preferred, in its order: the lower the better."""

    rising: int
    is_absolute: bool
    loose: int
    moves: int
    carrying: int


def catch_rating(bed: Bed) -> float:
    """Return what the supports of the bed are rated for; they are of one kind here."""
    return bed.ratings[0].rated if bed.ratings else math.inf


def ways_to_hold(
    bed: Bed, stations: Sequence[float], number: int, free: int
) -> Iterator[tuple[float, ...]]:
    """Yield every set of at most two catchers that a part lies on, with what carries under it."""
    inner, outer = bed.freed[number]
    centre, weight = (inner + outer) / 2, (outer - inner) * bed.weight
    here = [at for at in stations if inner < at < outer]
    clear = [
        at for at in bed.grid
        if inner < at < outer and at < bed.length - 1e-6
        and all(abs(at - cut) >= bed.keep_clear - 1e-6 for cut in bed.cuts)
    ]  # fmt: skip
    for count in range(min(free, 2) + 1):
        for added in combinations(clear, count):
            low = [at for at in (*here, *added) if at <= centre - bed.margin]
            high = [at for at in (*here, *added) if at >= centre + bed.margin]
            if not low or not high:
                continue
            # With catchers under it every pair that may take the part alone must bear it.
            loads = (
                max(weight * (b - centre) / (b - a), weight * (centre - a) / (b - a))
                for a, b in product(low, high)
            )
            if not added or max(loads) <= catch_rating(bed) * FULL:
                yield added


def judged(bed: Bed, stations: Sequence[float], binned: Sequence[bool]) -> Best | None:
    """Return how good stations are by their parts; None where a part that must be held is not."""
    units, end = len(bed.ratings), bed.length
    rising = loose = places = 0
    for number, (cut, (inner, outer)) in enumerate(zip(bed.cuts, bed.freed, strict=True)):
        free = units - sum(at < end for at in stations)
        end = min(end, cut)
        centre = (inner + outer) / 2
        here = [at for at in stations if inner < at < outer]
        low = [at for at in here if at <= centre - bed.margin]
        high = [at for at in here if at >= centre + bed.margin]
        is_up = bool(here) and not high
        if binned[number] and not is_up:
            continue
        fewest = min((len(way) for way in ways_to_hold(bed, stations, number, free)), default=None)
        if fewest is not None:
            places += fewest
            continue
        if not bed.is_held[number]:
            return None
        loose += 1
        rising += bool(here) and not (low and high) and (bool(low) or not high)
    moves = max(0, places - (units - len(stations)))
    return Best(rising, is_absolute=False, loose=loose, moves=moves, carrying=len(stations))


def exhaustive(bed: Bed, binned: Sequence[bool]) -> Best | None:
    """Return the best of every set of stations; None where none carries the stock."""
    found: list[Best] = []
    usable = [at for at in bed.grid if at < bed.length]
    every = bed._replace(is_held=(True,) * len(bed.cuts))
    for count in range(len(bed.ratings) + 1):
        sets = list(combinations(usable, count))
        if not sets:
            continue
        rating = rate(every, np.array(sets, dtype=np.float64).reshape(len(sets), count))
        full = {level: fullness_of(every, rating, level=level) for level in ("rated", "absolute")}
        for number, stations in enumerate(sets):
            if full["absolute"][number] > FULL and full["rated"][number] > FULL:
                continue
            best = judged(bed, stations, binned)
            if best is not None:
                found.append(best._replace(is_absolute=bool(full["rated"][number] > FULL)))
    return min(found, default=None)


def random_bed(dice: random.Random) -> Bed:
    """Return a small problem with parts: a coarse grid, up to five supports of one kind."""
    length = dice.uniform(2500, 8000)
    rating = Bound(dice.uniform(200, 2500), 3000.0)
    cuts = sorted(
        (dice.uniform(500, length - 150) for _ in range(dice.randint(1, 4))), reverse=True
    )
    if dice.random() < 0.15:
        dice.shuffle(cuts)
    ends: list[tuple[float, float]] = []
    for number, cut in enumerate(cuts):
        ends.append((cut, min(at for at in (length, *cuts[:number]) if at > cut)))
    pitch = dice.choice([350.0, 450.0, 600.0])
    return Bed(
        length=length, weight=dice.uniform(0.05, 0.7), stiffness=dice.choice([2e11, 2e12]),
        grid=tuple(500.0 + pitch * number for number in range(dice.randint(7, 12))),
        ratings=(rating,) * dice.randint(0, 5),
        span=Bound(dice.uniform(1500, 3200), 3300.0),
        overhang=Bound(dice.uniform(900, 2200), 2600.0),
        sag=Bound(1.0, 2.5), chuck_reaction=Bound(dice.uniform(800, 3000), 3500.0),
        chuck_moment=Bound(dice.uniform(5e5, 2e6), 3e6),
        keep_clear=dice.choice([60.0, 120.0]), margin=25.0, cuts=tuple(cuts),
        is_held=tuple(dice.random() < 0.7 for _ in cuts), freed=tuple(ends),
    )  # fmt: skip


def test_no_part_is_let_go_where_exhaustive_search_holds_it(*, is_full: bool) -> None:
    """Random part lists: as few that rise or tip, as few moves, within the same limits."""
    dice = random.Random(12)
    found = none = held = moved = let_go = 0
    for _ in range(300 if is_full else 60):
        bed = random_bed(dice)
        binned = tuple(dice.random() < 0.15 for _ in bed.cuts)
        expected = exhaustive(bed, binned)
        pool = pools_of([item.rated for item in bed.ratings], [item.rated for item in bed.ratings])
        result = hold_parts(
            bed, Catching(pool[0], binned), np.array([bed.weight]), np.array([bed.stiffness])
        )
        if expected is None:
            assert result.plans.which[0] < 0, bed
            none += 1
            continue
        assert result.plans.which[0] >= 0, bed
        choice = result.plans.choices[0]
        own = judged(bed, choice.stations, binned)
        assert own is not None
        own = own._replace(is_absolute=choice.level == "absolute")
        assert own[:3] == expected[:3], (bed, choice.stations)
        assert own.moves == expected.moves, (bed, choice.stations)
        assert own.carrying == expected.carrying, (bed, choice.stations)
        assert choice.catching is not None
        loose = loose_of(bed, choice.catching, choice.stations, np.array([bed.weight]))[1]
        assert int(loose.sum()) == own.loose
        every = bed._replace(is_held=(True,) * len(bed.cuts))
        rating = rate(every, np.array([choice.stations], dtype=np.float64).reshape(1, -1))
        assert fullness_of(every, rating, level=choice.level)[0] <= FULL
        found += 1
        held += own.loose == 0
        let_go += own.loose > 0
        moved += own.moves > 0
    assert min(found, none, held, let_go, moved) > (3 if is_full else 0)
