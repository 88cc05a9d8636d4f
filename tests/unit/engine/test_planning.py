"""The planner against brute force."""

import random
from itertools import combinations

import numpy as np
import pytest
from cuttable.engine.statics.support_plan import find_plan
from cuttable.engine.statics.support_rating import Bed, Bound, fullness_of, rate


def random_bed(dice: random.Random) -> Bed:
    """Return a small problem: a coarse grid, few supports, sometimes cuts."""
    length = dice.uniform(1500, 9000)
    grid = tuple(600.0 + 550.0 * number for number in range(dice.randint(6, 14)))
    rating = Bound(dice.uniform(300, 2500), 3000.0)
    cuts = sorted((dice.uniform(700, length - 200) for _ in range(dice.choice([0, 0, 1, 2]))),
                  reverse=True)  # fmt: skip
    return Bed(
        length=length,
        weight=dice.uniform(0.05, 0.9),
        stiffness=dice.choice([2e11, 2e12]),
        grid=grid,
        ratings=(rating,) * dice.randint(0, 4),
        span=Bound(dice.uniform(1400, 3000), 3200.0),
        overhang=Bound(dice.uniform(700, 1800), 2000.0),
        sag=Bound(1.0, 2.5),
        chuck_reaction=Bound(dice.uniform(400, 3000), 3500.0),
        chuck_moment=Bound(dice.uniform(2e5, 2e6), 3e6),
        keep_clear=120.0,
        margin=25.0,
        cuts=tuple(cuts),
        is_held=tuple(dice.random() < 0.5 for _ in cuts),
    )


def brute_force(bed: Bed, level: str) -> tuple[int, float] | None:
    """Return the fewest supports and the lowest utilisation over every combination."""
    usable = [station for station in bed.grid if station < bed.length]
    for count in range(len(bed.ratings) + 1):
        every = list(combinations(usable, count))
        if not every:
            continue
        candidates = np.array(every, dtype=np.float64).reshape(len(every), count)
        rating = rate(bed, candidates)
        full = fullness_of(bed, rating, level=level)
        good = full <= 1 + 1e-9
        if good.any():
            unwanted = (rating.chuck_share > 0.5 + 1e-9).astype(float)
            if count == 1:
                unwanted += candidates[:, 0] <= bed.length / 2
            best = min(zip(unwanted[good], full[good], strict=True))
            return count, float(best[1])
    return None


def test_the_planner_finds_what_brute_force_finds() -> None:
    """500 random jobs: a plan exactly where there is one, as few supports, as low utilisation."""
    dice = random.Random(11)
    found = none = 0
    for _ in range(500):
        bed = random_bed(dice)
        plan = find_plan(bed)
        expected = brute_force(bed, "rated")
        level = "rated"
        if expected is None:
            level, expected = "absolute", brute_force(bed, "absolute")
        if expected is None:
            assert plan is None
            none += 1
            continue
        assert plan is not None
        assert plan.level == level
        assert len(plan.stations) == expected[0]
        assert plan.utilisation == pytest.approx(expected[1], rel=1e-9)
        assert fullness_of(bed, rate(bed, np.array([plan.stations])), level=level)[0] <= 1 + 1e-9
        found += 1
    assert found > 100
    assert none > 50
