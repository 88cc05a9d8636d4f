"""Squares and rectangles while they turn: rests that are lowered, or follow with a force.

A rest that does not turn with the section carries it at 0, 90, 180 and 270 degrees only. Lowered,
it carries nothing until the droop reaches it; following, it pushes no harder than its cylinder.
What is then left hangs on the chuck, which is taken as clamped: it grips, and it is the stiffest
that can be there, so its moment is the largest.

Not in proportion to the weight, for the drop stays what it is: worked out for every row, at both
ends of the mill tolerance.
"""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...catalogue.machines.model import Support
from ..arrays import Floats
from ..tolerance import FULL, TOLERANCE
from .beam import Bars, Carried, deflection, shape, solve
from .stocks import Stocks, Usable, dealt

TURNING: Final = (
    "turning_moment",
    "turning_load",
    "turning_fall",
    "turning_gap",
    "lowered_by",
    "follow_share",
    "turning_grip",
)
"""Columns that rules read of rests while the section turns; NaN where every rest carries then."""
NOMINAL: Final = ".nominal"
"""Behind the name of a column: the same at the nominal mass."""
_MOST_ROUNDS: Final = 400


class Rests(NamedTuple):
    """What stands at the stations of some rows, (rows, most); NaN where nothing does.

    Attributes:
        stations: mm from the chuck face.
        drop: mm by which a rest is lowered; 0 for one that is not.
        push: N up to which a rest pushes while the section turns; infinite where that is no less
            than while it stands.
    """

    stations: Floats
    drop: Floats
    push: Floats

    def take(self, rows: NDArray[np.intp]) -> "Rests":
        """Return some of the rows."""
        return Rests(self.stations[rows], self.drop[rows], self.push[rows])


def is_still(support: Support) -> bool:
    """Say whether a rest carries less while the section turns than while it stands."""
    return support.turns in ("lowered", "follows")


def turning_columns(
    stations: Sequence[tuple[float, ...]],
    usable: Sequence[Usable],
    which: NDArray[np.intp],
    length: Floats,
    cuts: tuple[float, ...],
    behind: float,
    stocks: Stocks,
) -> dict[str, Floats]:
    """Return the columns of :data:`TURNING` at the heavy end, and each at the nominal mass.

    Args:
        stations: distinct set-ups, ascending mm.
        usable: for each of them, the supports that are dealt to its stations.
        which: (rows,) the set-up of each row.
        length: (rows,) mm from the chuck face to the free end.
        cuts: mm, in the order they are made; every stage is judged.
        behind: mm behind the chuck face.
        stocks: the rows.
    """
    rows = len(which)
    names = [f"{name}{end}" for end in ("", NOMINAL) for name in TURNING]
    result = {name: np.full(rows, np.nan) for name in names}
    live = np.array(
        [
            bool(places) and any(is_still(item) for item in dealt(supports, len(places)))
            for places, supports in zip(stations, usable, strict=True)
        ],
        dtype=np.bool_,
    )
    some = np.flatnonzero(live[which]) if live.any() else np.zeros(0, dtype=np.intp)
    if not some.size:
        return result
    rests = rests_of(stations, usable, which[some], length[some])
    part = stocks.take(some)
    for end, weight in (("", part.weight), (NOMINAL, part.nominal_weight)):
        found = _turned(rests, length[some], cuts, behind, weight, part.stiffness)
        for name, column in found.items():
            result[f"{name}{end}"][some] = column
    return result


def rests_of(
    stations: Sequence[tuple[float, ...]],
    usable: Sequence[Usable],
    which: NDArray[np.intp],
    length: Floats,
) -> Rests:
    """Return what stands under each row: the strongest where most is carried.

    Where all that is dealt is of one kind nothing needs to be known of the loads.
    """
    most = max(len(places) for places in stations)
    under = np.full((len(stations), most), np.nan)
    for number, places in enumerate(stations):
        under[number, : len(places)] = places
    under = under[which]
    drop, push = np.full(under.shape, np.nan), np.full(under.shape, np.nan)
    order = np.tile(np.arange(most), (len(which), 1))
    several = np.array(
        [len(set(dealt(item, len(at)))) > 1 for item, at in zip(usable, stations, strict=True)],
        dtype=np.bool_,
    )
    mixed = np.flatnonzero(several[which])
    if mixed.size:
        reactions = _level(under[mixed], length[mixed])
        order[mixed] = np.argsort(-np.nan_to_num(reactions, nan=-np.inf), axis=1, kind="stable")
    for number, places in enumerate(stations):
        mine = np.flatnonzero(which == number)
        for place, support in enumerate(dealt(usable[number], len(places))):
            at = order[mine, place]
            drop[mine, at] = support.lowered_by if support.turns == "lowered" else 0.0
            push[mine, at] = support.follow_force if support.turns == "follows" else np.inf
    return Rests(under, drop, push)


def _level(stations: Floats, length: Floats) -> Floats:
    """Return reactions of bars of unit weight on level rests, the worse of both chuck ends."""
    rows = len(length)
    ones = np.ones(2 * rows)
    twice = np.concatenate([stations, stations])
    has_rest = ~np.isnan(stations).all(axis=1)
    clamped = np.concatenate([np.ones(rows, dtype=np.bool_), ~has_rest])
    ends = np.concatenate([length, length])
    found = solve(Bars(ends, ones, ones, twice, np.zeros_like(twice), clamped)).reactions
    return np.fmax(found[:rows], found[rows:])


def _turned(
    rests: Rests, length: Floats, cuts: tuple[float, ...], behind: float,
    weight: Floats, stiffness: Floats,
) -> dict[str, Floats]:  # fmt: skip
    """Return the columns of some rows, the worst of every stage of severing."""
    rows = len(length)
    worst = {name: np.full(rows, np.nan) for name in TURNING}
    lowered = rests.drop > 0
    worst["lowered_by"] = np.where(lowered, rests.drop, np.inf).min(axis=1)
    worst["lowered_by"][~lowered.any(axis=1)] = np.nan
    for end in (None, *cuts):
        ends = length if end is None else np.full(rows, end)
        is_there = rests.stations < ends[:, None]
        under = np.where(is_there, rests.stations, np.nan)
        level = _level(under, ends) * weight[:, None]
        share = np.where(np.isfinite(rests.push) & is_there, level / rests.push, np.nan)
        worst["follow_share"] = np.fmax(worst["follow_share"], _most(share))
        # Where all that follows can bear its load, and nothing is lowered, nothing changes.
        less = lowered.any(axis=1) | (_most(share) > FULL)
        todo = np.flatnonzero(less)
        if not todo.size:
            continue
        some = Rests(under, rests.drop, rests.push).take(todo)
        bars, carried = hold(some, ends[todo], weight[todo], stiffness[todo])
        line = shape(bars, carried)
        above = deflection(bars, carried, np.nan_to_num(some.stations))
        is_over = (some.drop > 0) & ~np.isnan(some.stations)
        room = np.where(is_over, above + some.drop, np.nan)
        tail = weight[todo] * behind
        found = {
            "turning_moment": np.maximum(np.abs(carried.chuck_moment), tail * behind / 2) / 1e3,
            "turning_load": np.abs(carried.chuck_reaction) + tail,
            "turning_fall": np.maximum(line.sag, line.tip),
            "turning_grip": _for_the_jaws(some, lowered[todo], ends[todo], weight[todo], carried),
        }
        for name, values in found.items():
            worst[name][todo] = np.fmax(worst[name][todo], values)
        worst["turning_gap"][todo] = np.fmin(worst["turning_gap"][todo], -_most(-room))
    return worst


def _for_the_jaws(
    rests: Rests, lowered: NDArray[np.bool_], length: Floats, weight: Floats, carried: Carried
) -> Floats:
    """Return the moment that the jaws must hold, N*m.

    Over lowered rests all that is there: jaws that give would let the stock down. Over rests that
    follow, what these cannot balance about the chuck with all their force.
    """
    lever = np.where(np.isnan(rests.stations), 0.0, rests.stations)
    most = np.where(lever > 0, rests.push, 0.0)
    left = np.maximum(weight * length**2 / 2 - (most * lever).sum(axis=1), 0.0)
    return np.where(lowered.any(axis=1), np.abs(carried.chuck_moment), left) / 1e3


def _most(values: Floats) -> Floats:
    """Return the largest of each row, NaN where there is none."""
    return np.fmax.reduce(values, axis=1, initial=math.nan)


def hold(rests: Rests, length: Floats, weight: Floats, stiffness: Floats) -> tuple[Bars, Carried]:
    """Solve bars on a clamped chuck over lowered and following rests.

    A rest that would push harder than it can gives way until it pushes just that: it is solved as
    one that stands as much lower.

    Returns:
        The bars with each rest at the height where it is then, and how they are carried.
    """
    is_clamped = np.ones(len(length), dtype=np.bool_)
    heights = np.where(np.isnan(rests.stations), 0.0, -np.nan_to_num(rests.drop))
    bars = Bars(length, weight, stiffness, rests.stations, heights, is_clamped)
    carried = solve(bars)
    over = np.nan_to_num(carried.reactions) > rests.push * FULL
    rows = np.flatnonzero(over.any(axis=1))
    if not rows.size:
        return bars, carried
    heights = heights.copy()
    heights[rows] = _given_way(bars.take(rows), rests.push[rows])
    bars = bars._replace(heights=heights)
    for whole, piece in zip(carried, solve(bars.take(rows)), strict=True):
        whole[rows] = piece
    return bars, carried


_OFF, _ON, _GIVES = 0, 1, 2


def _given_way(bars: Bars, push: Floats) -> Floats:
    """Return the heights of rests that push no harder than ``push`` N, lower where they give way.

    Each rest is off the bar, holds it at its height, or gives way; while one of them is not as it
    should be, the first such one is changed (Murty's least index rule, which ends for the
    flexibility of a bar: it is positive definite).

    Source: deflections of a cantilever: under its weight w x^2 (6 L^2 - 4 L x + x^2) / 24 EI, and
    by a force at a, x^2 (3 a - x) / 6 EI for x <= a (handbook).
    """
    exists = ~np.isnan(bars.stations)
    place = np.where(exists, bars.stations, bars.length[:, None])
    near = np.minimum(place[:, :, None], place[:, None, :])
    far = np.maximum(place[:, :, None], place[:, None, :])
    softness = 1 / (6 * bars.stiffness)[:, None]
    give = near**2 * (3 * far - near) * softness[:, :, None]
    length = bars.length[:, None]
    sag = bars.weight[:, None] * place**2 * (6 * length**2 - 4 * length * place + place**2)
    sag = sag * softness / 4
    state = np.where(exists, _ON, _OFF)
    unit = np.eye(place.shape[1])
    hair = TOLERANCE * bars.weight[:, None] * length
    rises = sag
    for _ in range(_MOST_ROUNDS):
        holds, gives = state == _ON, state == _GIVES
        fixed = np.where(gives, push, 0.0)
        bent = (give @ fixed[:, :, None])[:, :, 0]
        both = holds[:, :, None] & holds[:, None, :]
        wanted = np.where(holds, bars.heights + sag - bent, 0.0)
        force = np.linalg.solve(np.where(both, give, unit), wanted[:, :, None])[:, :, 0] + fixed
        rises = (give @ force[:, :, None])[:, :, 0] - sag
        gap = rises - bars.heights
        touch = hair * place**3 * softness  # a gap that a hair of the weight closes
        is_wrong = (
            (exists & (state == _OFF) & (gap < -touch))
            | (holds & ((force < -hair) | (force > push + hair)))
            | (gives & (gap > touch))
        )
        rows = np.flatnonzero(is_wrong.any(axis=1))
        if not rows.size:
            break
        first = np.argmax(is_wrong[rows], axis=1)
        now, strong = state[rows, first], force[rows, first] > 0
        state[rows, first] = np.where(now == _ON, np.where(strong, _GIVES, _OFF), _ON)
    return np.where(state == _GIVES, np.minimum(rises, bars.heights), bars.heights)
