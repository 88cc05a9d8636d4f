"""A uniform bar held in a chuck and lying on supports that push and never pull.

Array functions: one row a bar, padded to the largest number of supports. Lengths in mm, forces
in N, moments in N*mm, stiffness EI in N*mm^2. Positions are measured from the chuck face
outward; moments are positive where the bar sags.

Method: three-moment equation (Clapeyron; handbook form with support settlements) as a
tridiagonal system, solved for all rows at once. A support whose reaction would be negative is
taken away and the row solved again; one that the bar would then press into is put back: the
unique solution of one-sided contact.

Long, because forces, sag, slope and end stiffness read one packed solution of one system.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import Bools, Floats

SAMPLES: Final = 12
"""Points a span at which deflection is evaluated before the extreme is refined."""

_SHARES: Final = tuple(number / 12 for number in range(1, 12))
_MOST_ROUNDS: Final = 40
_CLOSE: Final = 1e-9


class Bars(NamedTuple):
    """Bars to be solved.

    Attributes:
        length: (rows,) mm from the chuck face to the free end.
        weight: (rows,) N/mm.
        stiffness: (rows,) EI in N*mm^2.
        stations: (rows, most) mm, ascending; NaN where a row has fewer.
        heights: (rows, most) mm above the line of the chuck; 0 for level supports.
        is_clamped: (rows,) whether the chuck holds the slope (clamped) or not (pinned).
    """

    length: Floats
    weight: Floats
    stiffness: Floats
    stations: Floats
    heights: Floats
    is_clamped: Bools

    def take(self, rows: NDArray[np.intp]) -> "Bars":
        """Return some of the rows."""
        return Bars(
            self.length[rows], self.weight[rows], self.stiffness[rows], self.stations[rows],
            self.heights[rows], self.is_clamped[rows],
        )  # fmt: skip


class Carried(NamedTuple):
    """How bars are carried.

    Attributes:
        chuck_reaction: (rows,) N, upward positive; may be negative, for a chuck grips.
        chuck_moment: (rows,) N*mm in the bar at the chuck face, sagging positive.
        reactions: (rows, most) N; 0 where a support is lifted off, NaN where there is none.
        is_lifted: (rows, most) supports the bar has lifted off.
        moments: (rows, most) N*mm in the bar above each support that carries, else NaN.
        has_failed: (rows,) bars that nothing holds: a pinned chuck and no support.
    """

    chuck_reaction: Floats
    chuck_moment: Floats
    reactions: Floats
    is_lifted: Bools
    moments: Floats
    has_failed: Bools


class Shape(NamedTuple):
    """The deflected line.

    Attributes:
        sag: (rows,) mm, largest downward deflection between chuck and last carrying support.
        tip: (rows,) mm, deflection of the free end, downward positive.
        tip_slope: (rows,) slope at the free end, downward positive.
    """

    sag: Floats
    tip: Floats
    tip_slope: Floats


def solve(bars: Bars) -> Carried:
    """Solve every bar with one-sided supports.

    Source: three-moment equation (Clapeyron); complementarity of one-sided contact.
    """
    exists = ~np.isnan(bars.stations)
    active = exists.copy()
    result = _solve_active(bars, active)
    todo: NDArray[np.intp] = np.arange(len(bars.length))
    part, found = bars, result
    for _ in range(_MOST_ROUNDS):
        room = _CLOSE * part.weight * part.length
        force = np.where(active[todo], found.reactions, np.inf)
        worst, pulled = np.argmin(force, axis=1), force.min(axis=1)
        pulls = pulled < -room
        presses = np.zeros_like(pulls)
        resting = exists[todo] & ~active[todo]
        if resting.any():
            gap = np.where(resting, _gaps(part, found, active[todo]), np.inf)
            # Scaled with stiffness: on stiff pipe a nanometre is a real load.
            touch = 1e-13 * part.weight * part.length**4 / part.stiffness
            presses = ~pulls & (gap.min(axis=1) < -touch)
            active[todo[presses], np.argmin(gap[presses], axis=1)] = True
        active[todo[pulls], worst[pulls]] = False
        todo = todo[pulls | presses]
        if not todo.size:
            break
        part = bars.take(todo)
        found = _solve_active(part, active[todo])
        for whole, piece in zip(result, found, strict=True):
            whole[todo] = piece
    lifted = exists & ~active
    return result._replace(reactions=np.where(lifted, 0.0, result.reactions), is_lifted=lifted)


def solve_two_sided(bars: Bars) -> tuple[Carried, Bools]:
    """Solve every bar as if its supports could pull too, and say which rows need none to.

    Where the second result holds, the first is the solution with one-sided supports as well,
    at a fraction of its cost; elsewhere the stock lifts off some support.
    """
    exists = ~np.isnan(bars.stations)
    found = _solve_active(bars, exists)
    lowest = np.where(exists, found.reactions, np.inf).min(axis=1)
    return found, lowest >= -_CLOSE * bars.weight * bars.length


def span_sag(bars: Bars, carried: Carried) -> Floats:
    """Return the largest downward deflection in any span, mm; every support carries, level.

    Between supports a uniform bar with end moments A and B (l^2 M / 6) and load C (w l^4 / 24)
    sags by x (1 - x) (A (2 - x) + B (1 + x) + C (1 + x - x^2)) / EI at x = distance / span.
    Source: superposition of handbook beams. The extreme is sampled, then refined by Newton.
    """
    rows, most = bars.stations.shape
    nodes = np.concatenate([np.zeros((rows, 1)), bars.stations], axis=1)
    span = np.nan_to_num(np.diff(nodes, axis=1))
    moments = np.nan_to_num(
        np.concatenate([carried.chuck_moment[:, None], carried.moments], axis=1)
    )
    left = span**2 * moments[:, :-1] / 6
    right = span**2 * moments[:, 1:] / 6
    load = bars.weight[:, None] * span**4 / 24
    one = 2 * left + right + load
    two = right - left + load - one
    three = left - right - 2 * load
    place = np.zeros((rows, most))
    best = np.zeros((rows, most))
    for share in _SHARES:
        value = share * (one + share * (two + share * (three + share * load)))
        better = value > best
        best = np.where(better, value, best)
        place = np.where(better, share, place)
    for _ in range(3):
        slope = one + place * (2 * two + place * (3 * three + place * 4 * load))
        bend = 2 * two + place * (6 * three + place * 12 * load)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.where(bend < 0, slope / bend, 0.0)
        place = np.clip(place - np.clip(step, -1 / 12, 1 / 12), 0.0, 1.0)
    value = place * (one + place * (two + place * (three + place * load)))
    return np.maximum(best, value).max(axis=1, initial=0.0) / bars.stiffness


def _packed(bars: Bars, active: Bools) -> tuple[Floats, Floats, NDArray[np.intp], NDArray[np.intp]]:
    """Return stations and heights of active supports moved to the front, order and count."""
    order = np.argsort(~active, axis=1, kind="stable")
    count: NDArray[np.intp] = active.sum(axis=1)
    stations = np.take_along_axis(bars.stations, order, axis=1)
    heights = np.take_along_axis(bars.heights, order, axis=1)
    is_used = np.less(np.arange(active.shape[1], dtype=np.intp), np.expand_dims(count, 1))
    return np.where(is_used, stations, np.nan), np.where(is_used, heights, 0.0), order, count


def _nodes(bars: Bars, active: Bools) -> tuple[Floats, Floats, Floats, NDArray[np.intp]]:
    """Return node positions (chuck first), heights, order of supports, and number of spans."""
    stations, heights, order, count = _packed(bars, active)
    rows = len(bars.length)
    zero = np.zeros((rows, 1))
    positions = np.concatenate([zero, stations], axis=1)
    return positions, np.concatenate([zero, heights], axis=1), order.astype(float), count


def _solve_active(bars: Bars, active: Bools) -> Carried:
    """Solve with the active supports taken as two-sided."""
    positions, heights, order, count = _nodes(bars, active)
    rows, nodes = positions.shape
    weight, stiffness = bars.weight, bars.stiffness
    spans = np.diff(positions, axis=1)  # NaN beyond the last support
    is_span = ~np.isnan(spans)
    last = count  # index of the last node
    reach = np.take_along_axis(positions, last[:, None], axis=1)[:, 0]
    overhang = bars.length - reach
    end_moment = -weight * overhang**2 / 2

    # Tridiagonal system for the moments at the nodes, one equation a node.
    lower = np.zeros((rows, nodes))
    middle = np.ones((rows, nodes))
    upper = np.zeros((rows, nodes))
    right = np.zeros((rows, nodes))
    safe = np.where(is_span, spans, 1.0)
    load = weight[:, None] * safe**3 / 4
    slope = np.where(is_span, np.diff(heights, axis=1) / safe, 0.0)
    for node in range(1, nodes - 1):
        inner = node < last
        left, ahead = safe[:, node - 1], safe[:, node]
        lower[:, node] = np.where(inner, left, 0.0)
        middle[:, node] = np.where(inner, 2 * (left + ahead), 1.0)
        upper[:, node] = np.where(inner, ahead, 0.0)
        turn = 6 * stiffness * (slope[:, node] - slope[:, node - 1])
        right[:, node] = np.where(inner, -load[:, node - 1] - load[:, node] + turn, 0.0)
    at_end = np.equal(np.arange(nodes, dtype=np.intp), np.expand_dims(last, 1))
    lower[at_end] = upper[at_end] = 0.0
    middle[at_end] = 1.0
    right[at_end] = end_moment
    clamped = bars.is_clamped & (count > 0)
    if nodes > 1:
        middle[:, 0] = np.where(clamped, 2 * safe[:, 0], middle[:, 0])
        upper[:, 0] = np.where(clamped, safe[:, 0], upper[:, 0])
        turn = 6 * stiffness * slope[:, 0]
        right[:, 0] = np.where(clamped, -load[:, 0] + turn, right[:, 0])
    right[:, 0] = np.where((count > 0) & ~bars.is_clamped, 0.0, right[:, 0])
    moments = _tridiagonal(lower, middle, upper, right)

    step = np.where(is_span, np.diff(moments, axis=1) / safe, 0.0)
    half = np.where(is_span, weight[:, None] * safe / 2, 0.0)
    forces = np.zeros((rows, nodes))
    forces[:, :-1] += half + step
    forces[:, 1:] += half - step
    forces[at_end] += weight * overhang
    is_node = np.less_equal(np.arange(nodes, dtype=np.intp), np.expand_dims(last, 1))
    forces = np.where(is_node, forces, np.nan)
    has_failed = ~bars.is_clamped & (count == 0)

    back = np.empty((rows, nodes - 1))
    above = np.empty((rows, nodes - 1))
    place = order.astype(np.intp)
    np.put_along_axis(back, place, forces[:, 1:], axis=1)
    np.put_along_axis(above, place, np.where(is_node[:, 1:], moments[:, 1:], np.nan), axis=1)
    return Carried(
        np.where(has_failed, np.nan, forces[:, 0]),
        np.where(has_failed, np.nan, moments[:, 0]),
        back,
        np.zeros_like(active),
        above,
        has_failed,
    )


def _tridiagonal(lower: Floats, middle: Floats, upper: Floats, right: Floats) -> Floats:
    """Solve tridiagonal systems, one a row (Thomas algorithm; diagonally dominant here)."""
    count = middle.shape[1]
    ratio = np.zeros_like(middle)
    value = np.zeros_like(middle)
    ratio[:, 0] = upper[:, 0] / middle[:, 0]
    value[:, 0] = right[:, 0] / middle[:, 0]
    for node in range(1, count):
        pivot = middle[:, node] - lower[:, node] * ratio[:, node - 1]
        ratio[:, node] = upper[:, node] / pivot
        value[:, node] = (right[:, node] - lower[:, node] * value[:, node - 1]) / pivot
    for node in range(count - 2, -1, -1):
        value[:, node] -= ratio[:, node] * value[:, node + 1]
    return value


def deflection(bars: Bars, carried: Carried, at: Floats) -> Floats:
    """Return how far the bars lie above the chuck line at positions ``at``, mm.

    Args:
        bars: the bars.
        carried: their solution.
        at: (rows, points) mm from the chuck face.

    Integrates M = M0 + V0 x - w x^2 / 2 + sum of R (x - s), with the slope at the chuck from
    the first carrying support (pinned) or zero (clamped).
    """
    moment, force = carried.chuck_moment[:, None], carried.chuck_reaction[:, None]
    slope = _chuck_slope(bars, carried)[:, None]
    bent = _bending(bars, carried, at, moment, force)
    return slope * at + bent / bars.stiffness[:, None]


def _bending(bars: Bars, carried: Carried, at: Floats, moment: Floats, force: Floats) -> Floats:
    """Return EI times the deflection that moments cause, slope at the chuck left out."""
    bent = moment * at**2 / 2 + force * at**3 / 6 - bars.weight[:, None] * at**4 / 24
    for place in range(bars.stations.shape[1]):
        station = bars.stations[:, place, None]
        push = np.nan_to_num(carried.reactions[:, place, None])
        bent = bent + push * np.nan_to_num(np.maximum(at - station, 0.0)) ** 3 / 6
    return bent


def _chuck_slope(bars: Bars, carried: Carried) -> Floats:
    """Return the slope at the chuck face: zero if clamped, else so that supports are met."""
    carries = ~np.isnan(bars.stations) & ~carried.is_lifted
    far = np.where(carries, bars.stations, -np.inf).argmax(axis=1)[:, None]
    station = np.take_along_axis(bars.stations, far, axis=1)
    height = np.take_along_axis(bars.heights, far, axis=1)
    bent = _bending(
        bars, carried, station, carried.chuck_moment[:, None], carried.chuck_reaction[:, None]
    )
    slope = (height - bent / bars.stiffness[:, None]) / station
    return np.where(bars.is_clamped, 0.0, slope[:, 0])


def _gaps(bars: Bars, carried: Carried, active: Bools) -> Floats:
    """Return the gap between bar and support at every station, mm; negative: pressed in."""
    state = carried._replace(is_lifted=~active)
    gap = deflection(bars, state, np.nan_to_num(bars.stations)) - bars.heights
    return np.where(np.isnan(bars.stations), np.inf, gap)


def shape(bars: Bars, carried: Carried) -> Shape:
    """Return sag, deflection and slope of the free end.

    The sag is sampled in every span and refined by Newton steps on the slope.
    """
    carries = ~np.isnan(bars.stations) & ~carried.is_lifted
    reach = np.where(carries, bars.stations, 0.0).max(axis=1, initial=0.0)
    ends = np.minimum(np.where(np.isnan(bars.stations), np.inf, bars.stations), reach[:, None])
    nodes = np.concatenate([np.zeros((len(reach), 1)), ends, reach[:, None]], axis=1)
    gaps = np.diff(nodes, axis=1)
    share = np.linspace(0.0, 1.0, SAMPLES, endpoint=False)
    at = (nodes[:, :-1, None] + gaps[:, :, None] * share).reshape(len(reach), -1)
    line = deflection(bars, carried, at)
    every = np.arange(len(at))
    lowest_at = np.argmin(line, axis=1)
    best = at[every, lowest_at]
    width = np.repeat(gaps, SAMPLES, axis=1)[every, lowest_at] / SAMPLES
    for _ in range(3):
        slope, bend = _slope_and_bend(bars, carried, best)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.where(bend > 0, slope / bend, 0.0)
        best = np.clip(best - np.clip(np.nan_to_num(step), -width, width), 0.0, reach)
    lowest = np.minimum(deflection(bars, carried, best[:, None])[:, 0], line.min(axis=1))
    tip = deflection(bars, carried, bars.length[:, None])[:, 0]
    slope, _ = _slope_and_bend(bars, carried, bars.length)
    return Shape(np.maximum(-lowest, 0.0), -tip, -slope)


def _slope_and_bend(bars: Bars, carried: Carried, at: Floats) -> tuple[Floats, Floats]:
    """Return slope and curvature at one position a row."""
    bend = carried.chuck_moment + carried.chuck_reaction * at - bars.weight * at**2 / 2
    turn = (
        carried.chuck_moment * at
        + carried.chuck_reaction * at**2 / 2
        - bars.weight * at**3 / 6
    )  # fmt: skip
    for place in range(bars.stations.shape[1]):
        beyond = np.nan_to_num(np.maximum(at - bars.stations[:, place], 0.0))
        push = np.nan_to_num(carried.reactions[:, place])
        bend = bend + push * beyond
        turn = turn + push * beyond**2 / 2
    return _chuck_slope(bars, carried) + turn / bars.stiffness, bend / bars.stiffness


def height_stiffness(bars: Bars) -> Floats:
    """Return how reactions change with support heights: (rows, support, moved support), N/mm.

    Two-sided: it is the tangent while every support carries.
    """
    exists = ~np.isnan(bars.stations)
    rows, most = bars.stations.shape
    base = _solve_active(bars, exists).reactions
    result = np.zeros((rows, most, most))
    for moved in range(most):
        heights = bars.heights.copy()
        heights[:, moved] += 1.0
        changed = _solve_active(bars._replace(heights=heights), exists).reactions
        result[:, :, moved] = changed - base
    return result


def height_tolerance(bars: Bars, reactions: Floats, rated: Floats) -> Floats:
    """Return how far every support may be off in height, mm.

    At up to this error, of any sign at each support, no reaction passes its rating and none
    falls to zero; 0 where that is so already. ``reactions`` and ``rated`` are (rows, most) N.
    """
    reach = np.abs(height_stiffness(bars)).sum(axis=2)
    exists = ~np.isnan(bars.stations)
    room = np.minimum(rated - reactions, reactions)
    with np.errstate(divide="ignore", invalid="ignore"):
        each = np.where(exists & (reach > 0), room / reach, np.inf)
    return np.maximum(each.min(axis=1, initial=np.inf), 0.0)
