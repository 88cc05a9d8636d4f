"""Plans for many lengths at once, where stock is not cut: the same ones, proven row by row.

For each number of supports and each last station the combinations are listed once, by their
longest span. Of a row a few are rated, those that spans and overhang leave the least full. A
choice stands only where nothing that was not looked at could be better, or as good and earlier;
every other row is left to :func:`.support_plan.find_plans`.
"""

import math
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import Bools, Floats
from ..tolerance import FULL, TOLERANCE
from .support_candidates import MOST_PARTIAL, steps_ahead
from .support_plan import MOST_CANDIDATES
from .support_rating import Bed, Rating, demands_of, shares_of

LISTED: Final = 6
"""Combinations listed for each number of supports and last station."""
RATED: Final = 4
"""Combinations rated for a row at first."""
MORE: Final = 48
"""Combinations listed and rated for rows that the first few leave open."""
MOST_STATIONS: Final = 64
AT_ONCE: Final = 6 * 32_768
"""Combinations ranked at a time for each last station."""

Index = NDArray[np.intp]


class Planned(NamedTuple):
    """Plans of some rows.

    Attributes:
        is_settled: rows that have a plan within rated limits here.
        supports: how many stand under each of them.
        stations: (rows, most) mm, NaN beyond the count.
        demands: by name, with unit weight and stiffness.
    """

    is_settled: Bools
    supports: Index
    stations: Floats
    demands: dict[str, Floats]


class _Listed(NamedTuple):
    """Combinations of one number of supports: (last stations, listed, ...).

    Attributes:
        stations: mm, NaN where fewer are there.
        span: longest span, infinite where there is none.
        order: place among all combinations of that number, in the order of their stations.
        next_span, next_order: of the first that is not listed, by last station.
        many: how many there are, by last station.
    """

    stations: Floats
    span: Floats
    order: Floats
    next_span: Floats
    next_order: Floats
    many: Index


@lru_cache(maxsize=256)
def _listed(grid: tuple[float, ...], span: float, count: int, most: int) -> _Listed | None:
    """List up to ``most`` combinations a last station, with spans up to ``span``, shortest first.

    None where there are too many to look through.
    """
    nodes = np.concatenate([[0.0], np.array(grid)])
    reach = np.searchsorted(nodes, nodes + span + 1e-6, side="right")
    chosen: Index = np.zeros((1, 0), dtype=np.intp)
    last: Index = np.zeros(1, dtype=np.intp)
    longest = np.zeros(1)
    for _ in range(count):
        row, ahead = steps_ahead(last, reach)
        if len(row) > MOST_PARTIAL:
            return None
        longest = np.maximum(longest[row], nodes[ahead] - nodes[last[row]])
        chosen = np.concatenate([chosen[row], ahead[:, None]], axis=1)
        last = ahead
    size = len(grid)
    stations = np.full((size, most, count), np.nan)
    spans, order = np.full((size, most), np.inf), np.full((size, most), np.inf)
    next_span, next_order = np.full(size, np.inf), np.full(size, np.inf)
    many: Index = np.bincount(last - 1, minlength=size)
    for place in range(size):
        mine = np.flatnonzero(last == place + 1)
        mine = mine[np.argsort(longest[mine], kind="stable")]
        some = mine[:most]
        stations[place, : len(some)] = nodes[chosen[some]]
        spans[place, : len(some)], order[place, : len(some)] = longest[some], some
        if len(mine) > most:
            next_span[place], next_order[place] = longest[mine[most]], mine[most]
    return _Listed(stations, spans, order, next_span, next_order, many)


def plan_many(bed: Bed, length: Floats, weight: Floats, stiffness: Floats) -> Planned:
    """Plan stock of many lengths that is not cut, within rated limits.

    Args:
        bed: without cuts; its own length, weight and stiffness are not looked at.
        length: (rows,) mm.
        weight: (rows,) N/mm.
        stiffness: (rows,) N*mm^2.
    """
    rows, stocks = len(length), (length, weight, stiffness)
    most = len(bed.ratings)
    found = Planned(
        np.zeros(rows, dtype=np.bool_), np.zeros(rows, dtype=np.intp),
        np.full((rows, max(most, 1)), np.nan), {},
    )  # fmt: skip
    if np.isnan(bed.span.rated) or np.isnan(bed.overhang.rated) or len(bed.grid) > MOST_STATIONS:
        return found
    unit = bed._replace(weight=1.0, stiffness=1.0, cuts=(), is_held=(), freed=())
    # A row goes on to more supports only where fewer cannot reach or cannot bear it.
    todo = _settle_alone(unit, stocks, found)
    for count in range(1, most + 1):
        able = todo[_bears(bed, count, length[todo], weight[todo])]
        is_left = np.zeros(rows, dtype=np.bool_)
        for listed, rated in ((LISTED, RATED), (MORE, MORE)):
            if not able.size:
                break
            several = _listed(bed.grid, bed.span.rated, count, listed)
            if several is None:
                return found
            for some in np.array_split(able, math.ceil(len(able) * listed / AT_ONCE)):
                is_left[some] = _settle(unit, several, rated, some, stocks, found)
            able = able[is_left[able]]
        # Where no candidate can do the next number of supports is asked; where one might, and it
        # is not proven which, the row is left.
        todo = todo[~(is_left | found.is_settled)[todo]]
    return found


def alone(bed: Bed, length: Floats) -> Planned:
    """Return the chuck alone as the plan of every row, whether it is within limits or not."""
    rows = len(length)
    unit = bed._replace(weight=1.0, stiffness=1.0, cuts=(), is_held=(), freed=())
    ones = np.ones(rows)
    _, demands = _scores(unit, np.full((rows, 1), np.nan), length, ones, ones)
    return Planned(
        np.ones(rows, dtype=np.bool_), np.zeros(rows, dtype=np.intp),
        np.full((rows, 1), np.nan), demands,
    )  # fmt: skip


def _settle_alone(bed: Bed, stocks: tuple[Floats, Floats, Floats], found: Planned) -> Index:
    """Settle rows that the chuck carries alone; return the others."""
    length, weight, stiffness = stocks
    every = np.arange(len(length))
    able = np.flatnonzero(_bears(bed, 0, length, weight) & (length <= bed.overhang.rated + 1e-6))
    if not able.size:
        return every
    none = np.full((len(able), 1), np.nan)
    score, demands = _scores(bed, none, length[able], weight[able], weight[able] / stiffness[able])
    good = score < np.inf
    rows = able[good]
    found.is_settled[rows] = True
    for name, values in demands.items():
        found.demands.setdefault(name, np.zeros(len(length)))[rows] = values[good]
    return np.setdiff1d(every, rows)


def _bears(bed: Bed, count: int, length: Floats, weight: Floats) -> Bools:
    supports = sum(bound.absolute for bound in bed.ratings[:count])
    chuck = bed.chuck_reaction.absolute
    if np.isnan(chuck):
        return np.ones(len(length), dtype=np.bool_)
    return weight * length <= (supports + chuck) * FULL


def _settle(
    bed: Bed,
    listed: _Listed,
    rated: int,
    rows: Index,
    stocks: tuple[Floats, Floats, Floats],
    found: Planned,
) -> Bools:
    """Settle what can be of some rows; return those that have a candidate, but none is proven."""
    count = listed.stations.shape[2]
    length, weight, stiffness = (column[rows] for column in stocks)
    grid = np.array(bed.grid)
    # The stations that may be the last one: within an overhang of the end.
    first = np.searchsorted(grid, length - bed.overhang.rated - 1e-6, side="left")
    end = np.searchsorted(grid, length - 1e-6, side="left")
    width = int((end - first).max(initial=0))
    if width <= 0:
        return np.zeros(len(rows), dtype=np.bool_)
    last = first[:, None] + np.arange(width)
    is_there = last < end[:, None]
    last = np.where(is_there, last, 0)
    over = (length[:, None] - grid[last]) / bed.overhang.rated
    span = np.where(is_there[:, :, None], listed.span[last], np.inf)
    fixed = np.maximum(span / bed.span.rated, over[:, :, None]).reshape(len(rows), -1)
    order = listed.order[last].reshape(len(rows), -1)
    # Where there are more, the planner for one length looks through a coarser grid.
    has_all = np.where(is_there, listed.many[last], 0).sum(axis=1) <= MOST_CANDIDATES
    # The best few, by fullness and then by order.
    ranked = np.lexsort((order, fixed), axis=1)
    few, rest = ranked[:, :rated], ranked[:, rated : rated + 1]
    every = np.arange(len(rows))[:, None]
    able = np.isfinite(fixed[every, few])
    stations = listed.stations[last].reshape(len(rows), -1, count)[every, few]
    # What is not there is rated as something that stands, and left out afterwards.
    flat = np.where(able[:, :, None], stations, grid[:count]).reshape(-1, count)
    score, demands = _scores(bed, flat, length, weight, weight / stiffness)
    score = np.where(able, score.reshape(able.shape), np.inf)
    best = np.lexsort((order[every, few], score), axis=1)[:, 0]
    value = score[every[:, 0], best]
    place = order[every, few][every[:, 0], best]
    # Nothing that was not rated may be better, or as good and earlier. Beside a best that is
    # unwanted, or over full, that is nothing at all: spans and overhangs alone fill less.
    is_better = np.zeros(len(rows), dtype=np.bool_)
    if rest.shape[1]:
        left_fixed, left_order = fixed[every, rest][:, 0], order[every, rest][:, 0]
        is_better |= (left_fixed < value) | ((left_fixed == value) & (left_order < place))
    beyond = np.maximum(np.where(is_there, listed.next_span[last], np.inf) / bed.span.rated, over)
    earlier = listed.next_order[last] < place[:, None]
    is_better |= ((beyond < value[:, None]) | ((beyond == value[:, None]) & earlier)).any(axis=1)
    is_known = has_all & ~is_better
    is_proven = is_known & np.isfinite(value)
    good = rows[is_proven]
    picked = (every[:, 0] * few.shape[1] + best)[is_proven]
    found.is_settled[good] = True
    found.supports[good] = count
    found.stations[good, :count] = flat[picked]
    for name, values in demands.items():
        column = found.demands.setdefault(name, np.zeros(len(found.supports)))
        column[good] = values[picked]
    return ~is_known & np.isfinite(fixed).any(axis=1)


def _scores(
    bed: Bed, stations: Floats, length: Floats, weight: Floats, softness: Floats
) -> tuple[Floats, dict[str, Floats]]:
    """Rate combinations, as many for each row; return fullness plus ten for each thing unwanted."""
    times = len(stations) // max(len(length), 1)
    ends = np.repeat(length, times)
    demands = demands_of(bed, stations, ends, is_one_sided=False)
    demands["chuck_share"] = demands["chuck_reaction"] / ends
    lifts = demands.pop("lifts") > 0
    yes = np.ones(len(ends), dtype=np.bool_)
    rating = Rating(**demands, lifts_off=lifts, is_clear=yes, is_stable=yes)
    fixed, force, sag = shares_of(bed, rating, "rated")
    full = np.maximum(np.repeat(weight, times) * force, np.repeat(softness, times) * sag)
    full = np.maximum(full, fixed)
    unwanted = (demands["chuck_share"] > 0.5 + TOLERANCE).astype(np.float64)
    if stations.shape[1] == 1:  # NaN, for no station at all, is not below anything
        unwanted += stations[:, 0] <= ends / 2
    return np.where((full <= FULL) & ~lifts, full + 10 * unwanted, np.inf), demands
