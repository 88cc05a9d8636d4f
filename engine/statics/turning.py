"""What supports carry while bowed stock turns on them, set a little too high or low.

A bow turns with the stock: it lifts every support's load, lowers it, and pushes it sideways, once a
turn. How much depends on how far supports give, which nobody knows; every answer is worked out for
softer and for stiffer ones than stated, and the worse counts.

The shape of the bow is an arc, which leaves the axis at the chuck as x^2: what a pinned chuck lets
turn freely bends nothing. Weight and bending stiffness both go with the wall, so a bow that lifts
the stock off a support is the same at both ends of the mill tolerance.
"""

import math
from collections.abc import Callable, Sequence
from itertools import combinations_with_replacement, product
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import Bools, Floats
from ..tolerance import FULL, TOLERANCE
from .elastic_supports import influence, push_only

GIVE: Final = 0.4
"""mm that a support goes down under its rated load where the machine file does not say: 2.5 times
its rated load per mm (common practice, no source)."""
LEVELLING: Final = 0.5
"""mm that supports may be off in height after they are sighted, where the machine file does not say
(common practice, no source)."""
BAND: Final = (0.4, 3.0)
"""How soft and how stiff supports are taken to be, times what is stated (common practice)."""
LEVEL_STEP: Final = 0.05
"""mm: nobody sights finer."""
MISSED: Final = 1.15
"""By how much every combination of heights may be worse than one or two supports that stand high: a
tenth at most of random bars on up to six supports (tests/unit/engine/test_turning.py)."""
LIFTED: Final = 1.6
"""By how much a load may be more than if supports could pull, because some have lifted off: 1.30 at
most of 25,000 random bars that all supports carry when level (the same test, on fewer)."""
MOST_TRIED: Final = 6
"""Supports of which every combination of heights is tried."""
ROLL_STEP: Final = 5e-4
"""Of the length: as the bow rolls, its height is tried in steps of that. The steps do not depend on
the bow, so that a larger one is tried at all that a smaller one is."""
_AT_ONCE: Final = 4096
_CASES: Final = 8192
"""Cases of heights and bow that are solved at a time."""
_HALVINGS: Final = 5
"""Of a bow or an error of height: finer than either is measured."""
_NEAR: Final = 1e-6

Index = NDArray[np.intp]

UNTROUBLED: Final[dict[str, float]] = {
    "turning_carry_bow": np.nan,
    "turning_hold_bow": np.nan,
    "turning_overload_bow": np.nan,
    "turning_rated_use": np.nan,
    "turning_absolute_use": np.nan,
    "turning_sure_use": np.nan,
    "turning_level": np.nan,
    "turning_sure_level": np.nan,
}
"""What rules read of it, with the value of stock that no bow can trouble: fewer than two supports
stand under it, or none was planned."""


class Turned(NamedTuple):
    """Stock that turns on supports, one a row.

    Attributes:
        length: mm from the chuck face to the free end.
        whole: mm, length over which the bow is measured, with what stands behind the chuck.
        weight, stiffness: nominal, N/mm and N*mm^2.
        heavy: weight at the heavy end / nominal.
        bow: mm, stated, or else as much as this kind of stock may be sold with.
        usual: mm, bow that this kind of stock may be sold with.
        is_stated: whether the bow is stated.
        levelling: mm that supports may be off in height.
        stations: (rows, most) mm, ascending, NaN where a row has fewer.
        rated, absolute: (rows, most) N of what stands at each station.
        give: (rows, most) mm/N.
        climb: (rows, most) sine of half the angle between the two contacts; infinite where stock
            cannot climb out.
        stage: (stages,) the row of each stage of severing, whole stock first.
        end: (stages,) mm where the stock ends then.
    """

    length: Floats
    whole: Floats
    weight: Floats
    stiffness: Floats
    heavy: Floats
    bow: Floats
    usual: Floats
    is_stated: Bools
    levelling: Floats
    stations: Floats
    rated: Floats
    absolute: Floats
    give: Floats
    climb: Floats
    stage: Index
    end: Floats


def stated_or(value: float, usual: float) -> float:
    """Return what a machine file states, or else what is usual."""
    return usual if math.isnan(value) else value


def turning_columns(turned: Turned) -> dict[str, Floats]:
    """Return what rules read of turning, one value a row; see :data:`UNTROUBLED`.

    ``turning_carry_bow``: bow from which stock leaves a support on one side of a turn.
    ``turning_hold_bow``: bow from which it may climb out of its rollers, sideways force over load
    beyond the tangent of half the angle between them. ``turning_overload_bow``: largest bow at
    which no support passes its absolute load, infinite where that is so at the bow counted.
    ``turning_rated_use`` and ``turning_absolute_use``: of a stated bow, largest load over rated and
    over absolute. ``turning_sure_use``: that over absolute for the stiffness that is kindest, where
    the bow is more than such stock is sold with; with less, the chuck gives too, and nobody states
    how far. ``turning_level``: error of height, up to the one stated, that supports may have;
    ``turning_sure_level`` for the stiffness that is kindest.
    """
    found = {name: np.full(len(turned.length), value) for name, value in UNTROUBLED.items()}
    stages = [_Stages(turned, times) for times in BAND]
    some = stages[0].rows
    if not some.size:
        return found
    for name in ("carry", "hold"):
        least = np.minimum.reduce([item.least(name) for item in stages])
        found[f"turning_{name}_bow"] = np.where(np.isfinite(least), least, np.nan)
    limits = [item.limits(some, turned.bow[some], turned.levelling[some]) for item in stages]
    found["turning_overload_bow"][some] = np.minimum.reduce([fits for fits, _ in limits])
    found["turning_level"][some] = np.minimum.reduce([level for _, level in limits])
    found["turning_sure_level"][some] = np.maximum.reduce([level for _, level in limits])
    is_stated = turned.is_stated[some]
    stated = some[is_stated]
    if stated.size:
        uses = [
            item.use(stated, turned.bow[stated], level[is_stated], is_exact=True)
            for item, (_, level) in zip(stages, limits, strict=True)
        ]
        found["turning_absolute_use"][stated] = np.maximum.reduce(uses)
        is_odd = turned.bow[stated] > turned.usual[stated] * FULL
        found["turning_sure_use"][stated] = np.where(is_odd, np.minimum.reduce(uses), np.nan)
        found["turning_rated_use"][stated] = np.maximum.reduce([
            item.use(stated, turned.bow[stated], level[is_stated], is_exact=True, is_rated=True)
            for item, (_, level) in zip(stages, limits, strict=True)
        ])  # fmt: skip
    return found


def _largest(use: Callable[[Floats], Floats], most: Floats) -> Floats:
    """Return the largest value up to ``most`` at which nothing is over, by halving."""
    low, high = np.zeros(len(most)), most.copy()
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        fits = use(middle) <= FULL
        low, high = np.where(fits, middle, low), np.where(fits, high, middle)
    return low


class _Group(NamedTuple):
    """Stages with equally many supports under the stock, one an item.

    Attributes:
        row: the row of each item.
        loads: (items, supports) N on level supports, nominal.
        per_height: (items, supports, supports) N/mm.
        per_bow: (items, supports) N/mm of bow, where the bow lies up.
        per_level: (items, supports) N/mm when every support is off the worst way.
        lever: (items, supports) N that one support would carry without the others.
        rated, absolute: (items, supports) N over the heavy end, as the loads are nominal.
        climb: (items, supports) sine of half the angle between contacts.
        whole: mm, length over which the bow is measured.
    """

    row: Index
    loads: Floats
    per_height: Floats
    per_bow: Floats
    per_level: Floats
    lever: Floats
    rated: Floats
    absolute: Floats
    climb: Floats
    whole: Floats

    def take(self, items: Index) -> "_Group":
        """Return some of the items."""
        return _Group(
            self.row[items], self.loads[items], self.per_height[items], self.per_bow[items],
            self.per_level[items], self.lever[items], self.rated[items], self.absolute[items],
            self.climb[items], self.whole[items],
        )  # fmt: skip


class _Stages:
    """Every stage of every row on supports so many times as stiff as stated."""

    def __init__(self, turned: Turned, times: float) -> None:
        self._count = len(turned.length)
        row, end = turned.stage, turned.end
        under = turned.stations[row] < end[:, None] - _NEAR
        number = under.sum(axis=1)
        self._groups = [
            self._group(turned, times, row[mine], end[mine], int(count))
            for count in np.flatnonzero(np.bincount(number)).tolist()
            if count > 1
            for mine in _pieces(np.flatnonzero(number == count))
        ]

    @property
    def rows(self) -> Index:
        """Rows with two supports or more at some stage."""
        has = np.zeros(self._count, dtype=np.bool_)
        for group in self._groups:
            has[group.row] = True
        return np.flatnonzero(has)

    def _group(self, turned: Turned, times: float, row: Index, end: Floats, count: int) -> _Group:
        first = slice(0, count)
        stations = turned.stations[row, first]
        give = turned.give[row, first] / times
        weight = turned.weight[row]
        loads, per_height = influence(end, weight, turned.stiffness[row], stations, give)
        # An arc of that bow over the whole length, tangent to the axis at the chuck.
        arc = 4 * stations**2 / turned.whole[row, None] ** 2
        heavy = turned.heavy[row, None]
        return _Group(
            row=row,
            loads=loads,
            per_height=per_height,
            per_bow=-np.einsum("rij,rj->ri", per_height, arc),
            per_level=np.abs(per_height).sum(axis=2),
            lever=weight[:, None] * end[:, None] ** 2 / (2 * stations),
            rated=turned.rated[row, first] / heavy,
            absolute=turned.absolute[row, first] / heavy,
            climb=turned.climb[row, first],
            whole=turned.whole[row],
        )

    def least(self, name: str) -> Floats:
        """Return the least bow at which stock leaves a support, or climbs out; every row."""
        result = np.full(self._count, np.inf)
        for group in self._groups:
            with np.errstate(divide="ignore", invalid="ignore"):
                each = np.maximum(group.loads, 0.0) / np.abs(group.per_bow)
                if name == "hold":
                    # Force turns with the bow: its direction leaves the rollers at this share.
                    each = np.where(np.isfinite(group.climb), each * group.climb, np.inf)
            np.minimum.at(result, group.row, np.nanmin(each, axis=1, initial=np.inf))
        return result

    def limits(self, which: Index, bow: Floats, level: Floats) -> tuple[Floats, Floats]:
        """Return bow and error of height of these rows at which no support passes its absolute.

        The bow is infinite where none does at the bow counted. Where the stated error of height is
        too much already for straight stock, half of what is not is left for the bow.
        """
        fits, level = np.full(len(which), np.inf), level.copy()
        over = np.flatnonzero(~(self.use(which, bow, level) <= FULL))
        if not over.size:
            return fits, level
        straight = np.zeros(len(over))
        uneven = over[~(self.use(which[over], straight, level[over]) <= FULL)]
        if uneven.size:
            straight = np.zeros(len(uneven))
            room = _largest(lambda part: self.use(which[uneven], straight, part), level[uneven])
            level[uneven] = np.floor(room / 2 / LEVEL_STEP + TOLERANCE) * LEVEL_STEP
        fits[over] = _largest(lambda part: self.use(which[over], part, level[over]), bow[over])
        return fits, level

    def use(
        self,
        which: Index,
        bow: Floats,
        level: Floats,
        *,
        is_exact: bool = False,
        is_rated: bool = False,
    ) -> Floats:
        """Return the largest load over absolute, or rated, of these rows at any stage.

        Without ``is_exact`` a value is only on the right side of the limit.
        """
        place: Index = np.full(self._count, -1, dtype=np.intp)
        place[which] = np.arange(len(which))
        result = np.zeros(len(which))
        for group in self._groups:
            mine = np.flatnonzero(place[group.row] >= 0)
            if not mine.size:
                continue
            item = group.take(mine)
            at = place[item.row]
            limit = item.rated if is_rated else item.absolute
            moves = np.abs(item.per_bow) * bow[at, None] + item.per_level * level[at, None]
            share: Floats = np.maximum.reduce((item.loads + moves) / limit, axis=1)
            # Where nothing lifts, that is the load. Where something does, it is no more than what
            # one support alone would carry, nor than so much more than if all could pull.
            lifts: Bools = np.logical_or.reduce(item.loads < moves, axis=1)
            alone = (item.lever / limit).max(axis=1)
            share = np.where(lifts, np.fmin(alone, LIFTED * share), share)
            is_near: Bools = np.logical_or(is_exact, ~(share <= FULL))
            hard = np.flatnonzero(lifts & is_near)
            if hard.size:
                some = item.take(hard)
                share[hard] = _one_sided(
                    some, bow[at[hard]], level[at[hard]], limit[hard], is_exact=is_exact
                )
            np.maximum.at(result, at, share)
        return result


def _one_sided(
    group: _Group, bow: Floats, level: Floats, limit: Floats, *, is_exact: bool
) -> Floats:
    """Return the largest load over its limit where the bar may lift off some supports.

    The worst is mostly where one or two supports stand high and the others low. Where that comes
    near the limit, every combination is tried, and smaller bows with it; without ``is_exact`` what
    is over already is left as it is.
    """
    count = group.loads.shape[1]
    worst = _worst(group, level, limit, _few_high(count), (bow, -bow))
    near = np.flatnonzero((worst * MISSED > 1.0) & (is_exact | (worst <= FULL)))
    if near.size and count <= MOST_TRIED:
        every = np.array(list(product((1.0, -1.0), repeat=count)))
        some = group.take(near)
        worst[near] = _worst(some, level[near], limit[near], every, _rolled(some.whole, bow[near]))
    elif near.size:
        worst[near] *= MISSED
    return worst


def _few_high(count: int) -> Floats:
    """Return (patterns, supports): 1 for one or two supports that stand high, -1 for the others."""
    patterns = -np.ones((count * (count + 1) // 2, count))
    for number, (one, other) in enumerate(combinations_with_replacement(range(count), 2)):
        patterns[number, [one, other]] = 1.0
    return patterns


def _rolled(whole: Floats, bow: Floats) -> list[Floats]:
    """Return the heights that the bow is tried at as it rolls, for every item."""
    step = ROLL_STEP * whole
    count = math.ceil((bow / step).max(initial=0.0))
    heights = [np.minimum(number * step, bow) for number in range(count + 1)]
    return [*heights, *(-height for height in heights[1:])]


def _worst(
    group: _Group, level: Floats, limit: Floats, patterns: Floats, bows: Sequence[Floats]
) -> Floats:
    """Return the largest load over its limit for these patterns of heights and bows."""
    items, count = group.loads.shape
    worst = np.zeros(items)
    # (bows, items, supports); then as many patterns at a time as are worth it.
    rolls = np.stack([group.per_bow * bow[:, None] for bow in bows])
    at_once = max(1, _CASES // (len(bows) * items))
    for start in range(0, len(patterns), at_once):
        some = patterns[start : start + at_once]
        highs: Floats = np.einsum("rij,pj->pri", group.per_height, some) * level[:, None]
        loads = (group.loads + highs)[:, None] + rolls
        bar: Index = np.tile(np.arange(items, dtype=np.intp), len(some) * len(bows))
        found = push_only(loads.reshape(-1, count), group.per_height, bar)
        share = (found.reshape(-1, items, count) / limit).max(axis=2)
        worst = np.maximum(worst, share.max(axis=0))
    return worst


def _pieces(rows: Index) -> list[Index]:
    """Split rows so that what is worked on at a time stays in the processor's memory."""
    return [rows[start : start + _AT_ONCE] for start in range(0, len(rows), _AT_ONCE)]
