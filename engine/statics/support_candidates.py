"""Which combinations of stations there are, within spans, overhang, keep-clear and parts held."""

import math
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from .support_rating import Bed, unheld

MOST_PARTIAL: Final = 200_000
"""Partial combinations held at a time; with more, the grid is too fine to look through."""


def fixed_share(bed: Bed, candidates: Floats, level: str) -> Floats:
    """Return how full spans and overhangs are at every stage, whatever the stock weighs."""
    nodes = np.concatenate([np.zeros((len(candidates), 1)), candidates], axis=1)
    span = np.maximum.reduce(np.diff(nodes, axis=1), axis=1, initial=0.0)
    overhang = bed.length - nodes[:, -1]
    for cut in bed.cuts:
        # Beyond a cut stands nothing: the last support before it ends that stage.
        reach = np.maximum.reduce(np.where(nodes < cut, nodes, 0.0), axis=1)
        overhang = np.maximum(overhang, cut - reach)
    full = np.zeros(len(candidates))
    for values, bound in ((span, bed.span), (overhang, bed.overhang)):
        limit = bound.rated if level == "rated" else bound.absolute
        if not math.isnan(limit):
            full = np.maximum(full, values / limit)
    return full


class Steps(NamedTuple):
    """The stations that may be used, and how far supports reach from each.

    Attributes:
        nodes: the chuck face and every free station, mm.
        reach: of each node, the node after the last one that a span reaches.
        need: how many further supports each node needs until one stands far enough out.
        enough: mm from which the last support stands far enough out.
    """

    nodes: Floats
    reach: NDArray[np.intp]
    need: Floats
    enough: float


@lru_cache(maxsize=4096)
def steps_of(bed: Bed, level: str) -> Steps:
    """Return the stations that may be used within ``rated`` or ``absolute`` spans."""
    is_rated = level == "rated"
    span = bed.span.rated if is_rated else bed.span.absolute
    overhang = bed.overhang.rated if is_rated else bed.overhang.absolute
    span = math.inf if math.isnan(span) else span + 1e-6
    overhang = math.inf if math.isnan(overhang) else overhang + 1e-6
    grid = np.array(bed.grid, dtype=np.float64)
    free = grid[grid < bed.length - 1e-6]
    for cut in bed.cuts:
        free = free[np.abs(free - cut) >= bed.keep_clear - 1e-6]
    nodes = np.concatenate([[0.0], free])
    reach = np.searchsorted(nodes, nodes + span, side="right")
    need = _fewest(nodes, reach, bed.length - overhang)
    if any(not ((free >= low) & (free <= high)).any() for low, high in _zones(bed)):
        need[:] = np.inf
    return Steps(nodes, reach, need, bed.length - overhang)


def candidates_of(bed: Bed, count: int, level: str, most: int) -> Floats | None:
    """Return combinations within spans, overhang, keep-clear and zones, ascending; all of them.

    None where there are more than ``most``.
    """
    nodes, reach, need, enough = steps_of(bed, level)
    if need[0] > count:
        return np.zeros((0, count))
    chosen: NDArray[np.intp] = np.zeros((1, 0), dtype=np.intp)
    last: NDArray[np.intp] = np.zeros(1, dtype=np.intp)
    for left in range(count, 0, -1):
        row, ahead = steps_ahead(last, reach)
        if len(row) > MOST_PARTIAL:
            return None
        kept = need[ahead] <= left - 1
        chosen = np.concatenate([chosen[row[kept]], ahead[kept][:, None]], axis=1)
        last = ahead[kept]
    stations = nodes[chosen]
    kept = nodes[last] >= enough
    for low, high in _zones(bed):
        kept &= ((stations >= low) & (stations <= high)).any(axis=1)
    stations = stations[kept]
    return stations if len(stations) <= most else None


def steps_ahead(
    last: NDArray[np.intp], reach: NDArray[np.intp]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return every step to a further node: from which of ``last``, and to which node, ascending."""
    ways = reach[last] - last - 1
    row = np.repeat(np.arange(len(last)), ways)
    step = np.arange(len(row)) - np.repeat(np.cumsum(ways) - ways, ways)
    return row, last[row] + 1 + step


def _fewest(nodes: Floats, reach: NDArray[np.intp], enough: float) -> Floats:
    """Return how many further supports each node needs until one stands far enough out."""
    need = np.full(len(nodes), np.inf)
    for place in range(len(nodes) - 1, -1, -1):
        if nodes[place] >= enough:
            need[place] = 0.0
        elif reach[place] > place + 1:
            need[place] = 1 + need[place + 1 : reach[place]].min()
    return need


def _zones(bed: Bed) -> list[tuple[float, float]]:
    """Return intervals that need a support each, so that every piece not held stays."""
    zones: list[tuple[float, float]] = []
    for cut, outer in unheld(bed):
        centre = (cut + outer) / 2
        zones += [(cut, centre - bed.margin), (centre + bed.margin, outer)]
    return zones
