"""Where supports stand: the fewest that satisfy every limit, then the least loaded.

Candidates are combinations of stations of the bed's grid. All of them are rated as arrays by
the function that also judges stations a person gives, so a plan is never better in the
planner's eyes than in the judge's.
"""

import math
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Final, NamedTuple

import numpy as np

from .arrays import Bools, Floats
from .severing import pieces
from .statics import Bars, shape, solve

MOST_CANDIDATES: Final = 12_000
"""Candidates rated for one number of supports; a finer choice is made on a coarser grid first."""


AT_ONCE: Final = 256
"""Candidates of which all stages are rated at a time."""


class Bound(NamedTuple):
    """A rated and an absolute limit; NaN where the builder states none."""

    rated: float
    absolute: float


class Bed(NamedTuple):
    """What is to be supported, and with what.

    Attributes:
        length: of the stock, mm.
        weight: heavy end, N/mm.
        stiffness: EI with the thin wall, N*mm^2.
        grid: stations of the bed, mm.
        ratings: (rated, absolute) reaction in N of each support fitted that carries this
            shape, strongest first.
        span, overhang, sag, chuck_reaction, chuck_moment: limits (mm, mm, mm, N, N*mm).
        keep_clear: mm between a support and a cut.
        margin: mm by which supports must straddle a centre of mass.
        cuts: in the order they are made.
        is_held: for each cut, whether tabs hold the piece that it frees.
        freed: for each cut, the ends of that piece where kerf and trim matter; without it,
            pieces reach from cut to cut.
    """

    length: float
    weight: float
    stiffness: float
    grid: tuple[float, ...]
    ratings: tuple[Bound, ...]
    span: Bound
    overhang: Bound
    sag: Bound
    chuck_reaction: Bound
    chuck_moment: Bound
    keep_clear: float
    margin: float
    cuts: tuple[float, ...] = ()
    is_held: tuple[bool, ...] = ()
    freed: tuple[tuple[float, float], ...] = ()


class Rating(NamedTuple):
    """How candidates do; demands are the worst of both chuck ends and of every stage.

    Attributes:
        span, overhang, sag: (candidates,) mm.
        chuck_reaction, chuck_moment: (candidates,) N, N*mm, absolute values.
        support_reaction: (candidates,) N, the largest.
        support_share: (candidates,) largest reaction / rating, supports dealt strongest to
            most loaded.
        lifts_off: (candidates,) some support does not carry.
        is_clear: (candidates,) every support keeps clear of every cut and end.
        is_stable: (candidates,) every freed piece stays or is held.
        chuck_share: (candidates,) part of the weight the chuck carries.
    """

    span: Floats
    overhang: Floats
    sag: Floats
    chuck_reaction: Floats
    chuck_moment: Floats
    support_reaction: Floats
    support_share: Floats
    lifts_off: Bools
    is_clear: Bools
    is_stable: Bools
    chuck_share: Floats


class Plan(NamedTuple):
    """Stations chosen, and how full the fullest limit is."""

    stations: tuple[float, ...]
    utilisation: float
    level: str


def rate(bed: Bed, candidates: Floats) -> Rating:
    """Rate combinations of stations: (candidates, supports) mm, ascending."""
    count = len(candidates)
    if not candidates.shape[1]:
        candidates = np.full((count, 1), np.nan)  # no support: the chuck alone
    stages = [bed.length, *bed.cuts]
    worst: dict[str, Floats] = {}
    lifts = np.zeros(count, dtype=np.bool_)
    for number, end in enumerate(stages):
        under = np.where(candidates < end, candidates, np.nan)
        for is_clamped in (True, False):
            stage = _stage(bed, under, end, is_clamped=is_clamped, is_first=number == 0)
            lifts |= stage.pop("lifts") > 0
            for name, values in stage.items():
                worst[name] = np.fmax(worst[name], values) if name in worst else values
    return Rating(
        **worst,
        lifts_off=lifts,
        is_clear=_is_clear(bed, candidates),
        is_stable=_is_stable(bed, candidates),
    )


def _stage(
    bed: Bed, under: Floats, end: float, *, is_clamped: bool, is_first: bool
) -> dict[str, Floats]:
    """Return demands while the stock has this length."""
    rows = len(under)
    bars = Bars(
        np.full(rows, end),
        np.full(rows, bed.weight),
        np.full(rows, bed.stiffness),
        under,
        np.zeros_like(under),
        np.full(rows, is_clamped),
    )
    carried, zero = solve(bars), np.zeros(rows)
    # A bar that a pinned chuck alone must hold is held: the chuck does grip. The clamped case
    # gives its numbers.
    gone = carried.has_failed
    line = shape(bars, carried)
    total = bed.weight * end
    reactions = np.nan_to_num(carried.reactions)
    ratings = np.full(under.shape[1], math.nan)
    for place, bound in enumerate(bed.ratings[: under.shape[1]]):
        ratings[place] = bound.rated
    dealt = -np.sort(-reactions, axis=1)
    with np.errstate(invalid="ignore"):
        share = np.nan_to_num(dealt / ratings).max(axis=1, initial=0.0)
    has_support = ~np.isnan(under).all(axis=1)
    nodes = np.concatenate([np.zeros((rows, 1)), under], axis=1)
    gaps = np.nan_to_num(np.diff(nodes, axis=1))
    reach = np.nan_to_num(nodes).max(axis=1)
    chuck = np.where(gone, 0.0, carried.chuck_reaction)
    return {
        "span": gaps.max(axis=1, initial=0.0),
        "overhang": end - reach,
        # What hangs from the chuck alone sags at its end; that counts like any sag.
        "sag": np.where(gone, 0.0, np.where(has_support, line.sag, line.tip)),
        "chuck_reaction": np.abs(chuck),
        "chuck_moment": np.abs(np.where(gone, 0.0, carried.chuck_moment)),
        "support_reaction": reactions.max(axis=1, initial=0.0),
        "support_share": share,
        "lifts": carried.is_lifted.any(axis=1).astype(float),
        "chuck_share": np.abs(chuck) / total if is_first else zero,
    }


def _is_clear(bed: Bed, candidates: Floats) -> Bools:
    clear = np.ones(len(candidates), dtype=np.bool_)
    for cut in bed.cuts:
        near = np.abs(candidates - cut) < bed.keep_clear - 1e-6
        clear &= ~near.any(axis=1)
    return clear & ~(candidates >= bed.length - 1e-6).any(axis=1)


def _is_stable(bed: Bed, candidates: Floats) -> Bools:
    """Say for which candidates every piece stays or is held by tabs."""
    stable = np.ones(len(candidates), dtype=np.bool_)
    for cut, outer in _unheld(bed):
        centre = (cut + outer) / 2
        inside = (candidates > cut) & (candidates <= centre - bed.margin)
        outside = (candidates < outer) & (candidates >= centre + bed.margin)
        stable &= inside.any(axis=1) & outside.any(axis=1)
    return stable


def fullness_of(bed: Bed, rating: Rating, *, level: str) -> Floats:
    """Return the largest utilisation of each candidate; infinite where it must not be used.

    Args:
        bed: the bed.
        rating: of the candidates.
        level: ``rated`` or ``absolute``, the bound that counts as full.
    """
    is_rated = level == "rated"
    shares = [
        values / (bound.rated if is_rated else bound.absolute)
        for values, bound in (
            (rating.span, bed.span),
            (rating.overhang, bed.overhang),
            (rating.sag, bed.sag),
            (rating.chuck_reaction, bed.chuck_reaction),
            (rating.chuck_moment, bed.chuck_moment),
        )
        if not math.isnan(bound.rated if is_rated else bound.absolute)
    ]
    supports = rating.support_share
    if not is_rated and bed.ratings:
        slack = min(bound.absolute / bound.rated for bound in bed.ratings)
        supports = supports / slack
    full = np.maximum.reduce([supports, *shares])
    usable = ~rating.lifts_off & rating.is_clear & rating.is_stable
    return np.where(usable, full, np.inf)


def find_plan(bed: Bed) -> Plan | None:
    """Return the best plan within rated limits, else within absolute ones, else None.

    Fewest supports first; then those where the chuck carries less than the supports and, of
    one support, where it stands beyond the middle; then the lowest utilisation.
    """
    for level in ("rated", "absolute"):
        for count in range(len(bed.ratings) + 1):
            if not _can_bear(bed, count):
                continue
            best = _best_of(bed, count, level)
            if best is not None:
                return best
    return None


def _can_bear(bed: Bed, count: int) -> bool:
    """Say whether the weight is within what chuck and supports can bear together at all."""
    supports = sum(bound.absolute for bound in bed.ratings[:count])
    chuck = bed.chuck_reaction.absolute
    return math.isnan(chuck) or bed.weight * bed.length <= (supports + chuck) * (1 + 1e-9)


def _best_of(bed: Bed, count: int, level: str) -> Plan | None:
    """Return the best combination of ``count`` stations, None if none is within the level.

    Where the grid offers too many combinations, every second, third … station is tried.
    """
    for step in range(1, len(bed.grid) + 1):
        coarse = bed._replace(grid=bed.grid[::step] if step % 2 else bed.grid[step // 2 :: step])
        chunk = list(islice(_candidates(coarse, count, level), MOST_CANDIDATES + 1))
        if len(chunk) <= MOST_CANDIDATES:
            return _best_among(bed, chunk, count, level)
    return None


def _best_among(bed: Bed, chunk: list[tuple[float, ...]], count: int, level: str) -> Plan | None:
    """Return the best candidate.

    The whole stock is rated first; later stages can only be fuller. So candidates are taken in
    the order of that first fullness, and no further once none left can beat the best.
    """
    if not chunk:
        return None
    candidates = np.array(chunk, dtype=np.float64).reshape(len(chunk), count)
    whole = rate(bed._replace(cuts=(), is_held=(), freed=()), candidates)
    first = fullness_of(bed, whole, level=level)
    # Preferences: the chuck carries less than the supports; one support beyond the middle.
    unwanted = (whole.chuck_share > 0.5 + 1e-9).astype(np.float64)
    if count == 1:
        unwanted += candidates[:, 0] <= bed.length / 2
    order = np.lexsort((first, unwanted))
    order = order[first[order] <= 1 + 1e-9]
    best: tuple[float, float, tuple[float, ...]] | None = None
    for start in range(0, len(order), AT_ONCE):
        places = order[start : start + AT_ONCE]
        head = (float(unwanted[places[0]]), float(first[places[0]]))
        if best is not None and head >= best[:2]:
            break
        full = fullness_of(bed, rate(bed, candidates[places]), level=level)
        full = np.maximum(full, first[places])
        within = full <= 1 + 1e-9
        if within.any():
            ranked = np.lexsort((full, unwanted[places], ~within))
            place = ranked[0]
            found = (
                float(unwanted[places[place]]), float(full[place]), chunk[int(places[place])],
            )  # fmt: skip
            best = found if best is None else min(best, found)
    return None if best is None else Plan(best[2], best[1], level)


def _candidates(bed: Bed, count: int, level: str) -> Iterator[tuple[float, ...]]:
    """Yield combinations that satisfy spans, overhang and keep-clear; nothing else is dropped."""
    is_rated = level == "rated"
    span = bed.span.rated if is_rated else bed.span.absolute
    overhang = bed.overhang.rated if is_rated else bed.overhang.absolute
    span = math.inf if math.isnan(span) else span + 1e-6
    overhang = math.inf if math.isnan(overhang) else overhang + 1e-6
    free = [
        station
        for station in bed.grid
        if station < bed.length - 1e-6
        and all(abs(station - cut) >= bed.keep_clear - 1e-6 for cut in bed.cuts)
    ]

    zones = _zones(bed)
    if any(not any(_in(zone, station) for station in free) for zone in zones):
        return
    # The fewest further supports that bring the last one near enough to the free end.
    need: dict[float, float] = {}
    for station in (*reversed(free), 0.0):
        ahead = (need[item] for item in need if 0 < item - station <= span)
        need[station] = (
            0.0 if bed.length - station <= overhang else 1 + min(ahead, default=math.inf)
        )

    def extend(chosen: tuple[float, ...], start: int) -> Iterator[tuple[float, ...]]:
        reach = chosen[-1] if chosen else 0.0
        left = count - len(chosen)
        waiting = [zone for zone in zones if not any(_in(zone, item) for item in chosen)]
        if left == 0:
            if bed.length - reach <= overhang and not waiting:
                yield chosen
            return
        if need[reach] > left:
            return
        nearest = min((high for _, high in waiting), default=math.inf)
        for place in range(start, len(free)):
            # Beyond a zone that still waits for its support no later station can serve it.
            if free[place] - reach > span or free[place] > nearest:
                return
            yield from extend((*chosen, free[place]), place + 1)

    yield from extend((), 0)


def _zones(bed: Bed) -> list[tuple[float, float]]:
    """Return intervals that need a support each, so that every piece not held stays."""
    zones: list[tuple[float, float]] = []
    for cut, outer in _unheld(bed):
        centre = (cut + outer) / 2
        zones += [(cut, centre - bed.margin), (centre + bed.margin, outer)]
    return zones


def _unheld(bed: Bed) -> list[tuple[float, float]]:
    """Return the ends of every piece that no tabs hold."""
    freed = bed.freed or tuple(
        (piece.inner, piece.outer) for piece in pieces(bed.length, bed.cuts, (), bed.margin)
    )
    return [ends for ends, is_held in zip(freed, bed.is_held, strict=True) if not is_held]


def _in(zone: tuple[float, float], station: float) -> bool:
    return zone[0] <= station <= zone[1]


def judge(bed: Bed, stations: Sequence[float]) -> list[str]:
    """Return what is wrong with stations a person gives, as sentences; empty: nothing."""
    rating = rate(bed, np.array([sorted(stations)], dtype=np.float64))
    found: list[str] = []
    if len(stations) > len(bed.ratings):
        found.append(f"{len(stations)} stations are given, and {len(bed.ratings)} supports fitted")
    if rating.lifts_off[0]:
        found.append("the stock lifts off a support")
    if not rating.is_clear[0]:
        found.append("a support stands too near to a cut, or beyond the stock")
    if not rating.is_stable[0]:
        found.append("a part that comes free neither stays nor is held by tabs")
    for name, values, bound in (
        ("span", rating.span, bed.span),
        ("overhang", rating.overhang, bed.overhang),
        ("sag", rating.sag, bed.sag),
        ("chuck reaction", rating.chuck_reaction, bed.chuck_reaction),
        ("chuck moment", rating.chuck_moment, bed.chuck_moment),
    ):
        if values[0] > bound.absolute * (1 + 1e-9):
            found.append(f"the {name} is beyond its absolute limit")
    beyond = fullness_of(bed, rating, level="absolute")[0] > 1 + 1e-9
    if beyond and not found:
        found.append("a support carries more than its absolute limit")
    return found
