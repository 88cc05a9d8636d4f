"""Which parts are caught as they come free, with what, and how many moves between cuts it takes.

A support that carries does so while the stock turns. A catcher is brought up to contact with the
rotation stopped, before the last tab of a cut is cut, and carries nothing while it turns. A part
is caught where supports then straddle its centre of mass by the margin that one which stays by
itself needs. Catchers are supports fitted that carry nothing: those the plan leaves spare, and
those that carried what has been cut off.

Everything is worked out for many combinations of carrying stations at once and for stock of unit
weight; loads grow with the weight. Two supports under a rigid part share it by their levers;
where several carry on one side, each side is taken at its worst. Source: statics.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import Bools, Floats
from ..tolerance import FULL
from .support_rating import Bed

NEVER: Final = 1 << 20
"""Catchers that a part needs which no station can serve."""


class Pool(NamedTuple):
    """The supports that may catch.

    Attributes:
        supports: how many there are; those that carry are among them where ``is_shared``.
        rated: N that the weakest of them is rated for.
        carrier: N that the weakest support that carries is rated for.
        is_shared: supports that carry are of them, and each is one less to catch with.
    """

    supports: int
    rated: float
    carrier: float
    is_shared: bool

    def spare(self, carrying: int) -> int:
        """Return how many are left while so many carry."""
        return max(self.supports - carrying * self.is_shared, 0)


class Catching(NamedTuple):
    """What takes parts as they come free: supports, and for each part whether a bin may."""

    pool: Pool
    binned: tuple[bool, ...]


def pools_of(carrying: Sequence[float], every: Sequence[float]) -> tuple[Pool, ...]:
    """Return the supports that may catch, weaker ones left out where parts are heavy for them.

    Args:
        carrying: N that each support is rated for that may carry.
        every: the same of all that may stand under this stock.
    """
    if not every:
        return (Pool(0, math.inf, math.inf, is_shared=True),)
    carrier = min(carrying, default=math.inf)
    found: list[Pool] = []
    for rated in sorted(set(every)):
        count = sum(item >= rated for item in every)
        found.append(Pool(count, rated, carrier, is_shared=carrier >= rated))
        if len(set(carrying)) > 1:
            break  # which kind stays free depends on the loads: the weakest is counted with
    return tuple(found)


class Needs(NamedTuple):
    """What catching asks: arrays (candidates, parts).

    Attributes:
        demand: catchers needed; 0 where it stays or a bin takes it, ``NEVER`` where it cannot be.
        share: fullest load / rating of the supports it then lies on, of stock of 1 N/mm, where
            its catchers stand best for that.
        rises: left alone, its inner end rises into the head.
        free: supports that carry nothing when its cut is made.
        spare: how many supports never carry.
    """

    demand: NDArray[np.int64]
    share: Floats
    rises: Bools
    free: NDArray[np.int64]
    spare: int

    def is_loose(self, weight: Floats | float) -> Bools:
        """Say which parts tip or drop; ``weight`` in N/mm, one or one a candidate."""
        heavy = np.asarray(weight, dtype=np.float64).reshape(-1, 1)
        return (self.demand > self.free) | (self.share * heavy > FULL)

    def moves(self, loose: Bools) -> NDArray[np.int64]:
        """Return the moves between cuts: places to catch at beyond what spare supports take."""
        places = np.where(loose, 0, self.demand).sum(axis=-1)
        return np.maximum(places - self.spare, 0)


def needs_of(
    bed: Bed, catching: Catching, candidates: Floats, parts: Sequence[int] | None = None
) -> Needs:
    """Return what it takes to catch parts of the bed.

    Args:
        bed: with its cuts and the ends of the pieces that they free.
        catching: what may catch.
        candidates: (candidates, supports) stations that carry, mm.
        parts: numbers of the parts that are asked about; None for all.
    """
    pool, binned = catching
    asked = range(len(bed.cuts)) if parts is None else parts
    shape = (len(candidates), len(asked))
    demand, free = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=np.int64)
    share, rises = np.zeros(shape), np.zeros(shape, dtype=np.bool_)
    ends = np.minimum.accumulate(np.array((bed.length, *bed.cuts)))
    zones = zones_of(bed)
    for column, number in enumerate(asked):
        inner, outer = bed.freed[number]
        carrying = (candidates < ends[number]).sum(axis=1)
        free[:, column] = np.maximum(pool.supports - carrying * pool.is_shared, 0)
        centre, weight = (inner + outer) / 2, outer - inner
        low, high = zones[number]
        is_under = (candidates > inner) & (candidates < outer)
        within = is_under & (candidates <= centre - bed.margin)
        beyond = is_under & (candidates >= centre + bed.margin)
        has_in, has_out = within.any(axis=1), beyond.any(axis=1)
        up = is_under.any(axis=1) & ~has_out
        rises[:, column] = up
        alone = ~has_in & ~has_out
        sides = ((within, has_in & ~has_out, high), (beyond, has_out & ~has_in, low))
        for under, rows, places in sides:
            if not rows.any():
                continue
            demand[rows, column] = 1 if len(places) else NEVER
            if len(places):
                far, near = _reach(np.abs(candidates[rows] - centre), under[rows])
                caught, carried = _levers(far, near, np.abs(places - centre))
                full = np.maximum(caught / pool.rated, carried / pool.carrier)
                share[rows, column] = full.min(axis=1) * weight
        if alone.any():
            can = len(low) > 0 and len(high) > 0
            demand[alone, column] = 2 if can else NEVER
            if can:
                inner_load, outer_load = _pairs(centre - low, high - centre)
                best = float(np.maximum(inner_load, outer_load).min())
                share[alone, column] = best / pool.rated * weight
        if binned[number]:
            # A bin under the cut takes what falls; it does not keep an inner end down.
            demand[~up, column] = 0
            share[~up, column] = 0.0
    return Needs(demand, share, rises, free, pool.spare(candidates.shape[1]))


def _reach(distance: Floats, under: Bools) -> tuple[Floats, Floats]:
    """Return how far the farthest and the nearest support of a side stand from the centre."""
    far = np.where(under, distance, 0.0).max(axis=1, initial=0.0)
    return far, np.where(under, distance, np.inf).min(axis=1, initial=np.inf)


def _levers(far: Floats, near: Floats, options: Floats) -> tuple[Floats, Floats]:
    """Return (candidates, options) what a catcher and what the other side take of unit weight.

    Each at its worst: the catcher beside the farthest support of the other side, that side on its
    nearest one alone. All distances from the centre of mass.
    """
    at = options[None, :]
    return far[:, None] / (far[:, None] + at), at / (at + near[:, None])


def _pairs(within: Floats, beyond: Floats) -> tuple[Floats, Floats]:
    """Return (inner, outer) what two catchers at these distances take of a part of unit weight."""
    total = within[:, None] + beyond[None, :]
    return beyond[None, :] / total, within[:, None] / total


class Place(NamedTuple):
    """Where a catcher stands, mm, and what it takes, N."""

    station: float
    load: float


def places_of(
    bed: Bed, pool: Pool, stations: tuple[float, ...], number: int, weight: float
) -> tuple[Place, ...]:
    """Return where to catch one part of stock of ``weight`` N/mm; it must be one that can be.

    Of what is within ratings, catchers stand where the part lies steadiest: at about a quarter of
    its length to each side of its centre, or as far out as can be (common practice, no source).
    """
    inner, outer = bed.freed[number]
    centre, heavy = (inner + outer) / 2, (outer - inner) * weight
    low, high = zones_of(bed)[number]
    under = np.array([at for at in stations if inner < at < outer], dtype=np.float64)
    within = under[under <= centre - bed.margin]
    beyond = under[under >= centre + bed.margin]
    quarter = (outer - inner) / 4
    if len(within) or len(beyond):
        side, places = (within, high) if len(within) else (beyond, low)
        every = np.ones((1, len(side)), dtype=np.bool_)
        caught, carried = _levers(*_reach(np.abs(side - centre)[None, :], every),
                                  np.abs(places - centre))  # fmt: skip
        full = np.maximum(caught / pool.rated, carried / pool.carrier)[0]
        steady = np.minimum(np.abs(places - centre), quarter)
        best = _steadiest(steady, full, heavy)
        return (Place(float(places[best]), float(caught[0, best]) * heavy),)
    first, second = _pairs(centre - low, high - centre)
    steady = np.minimum(np.minimum.outer(centre - low, high - centre), quarter)
    best = _steadiest(steady.ravel(), np.maximum(first, second).ravel() / pool.rated, heavy)
    one, two = divmod(best, len(high))
    return (
        Place(float(low[one]), float(first[one, two]) * heavy),
        Place(float(high[two]), float(second[one, two]) * heavy),
    )


def _steadiest(steady: Floats, full: Floats, heavy: float) -> int:
    """Return which is the steadiest of those within ratings, and of equals the least loaded."""
    is_able = full * heavy <= FULL
    return int(np.lexsort((full, -np.where(is_able, steady, -1.0)))[0])


def loose_of(
    bed: Bed, catching: Catching, stations: tuple[float, ...], weight: Floats
) -> tuple[Needs, Bools]:
    """Return what catching asks of one choice of stations, and (stocks, parts) what is loose."""
    places = np.array([stations], dtype=np.float64).reshape(1, -1)
    needs = needs_of(bed, catching, places)
    return needs, needs.is_loose(weight)


def zones_of(bed: Bed) -> tuple[tuple[Floats, Floats], ...]:
    """Return for each part the free stations inward and outward of its centre, by the margin."""
    return _zones(bed.grid, bed.length, bed.cuts, bed.freed, bed.keep_clear, bed.margin)


def reachable(bed: Bed) -> list[int]:
    """Return the numbers of the parts that a support can stand under at all.

    Of the others none stays or is caught but by a bin, and none rises, wherever supports stand.
    """
    free = np.array([at for at in bed.grid if at < bed.length - 1e-6], dtype=np.float64)
    return [
        number for number, (inner, outer) in enumerate(bed.freed)
        if ((free > inner) & (free < outer)).any()
    ]  # fmt: skip


@lru_cache(maxsize=1024)
def _zones(
    grid: tuple[float, ...],
    length: float,
    cuts: tuple[float, ...],
    freed: tuple[tuple[float, float], ...],
    keep_clear: float,
    margin: float,
) -> tuple[tuple[Floats, Floats], ...]:
    free = np.array(grid, dtype=np.float64)
    free = free[free < length - 1e-6]
    for cut in cuts:
        free = free[np.abs(free - cut) >= keep_clear - 1e-6]
    found: list[tuple[Floats, Floats]] = []
    for inner, outer in freed:
        centre = (inner + outer) / 2
        found.append((
            free[(free > inner) & (free <= centre - margin)],
            free[(free >= centre + margin) & (free < outer)],
        ))  # fmt: skip
    return tuple(found)
