"""Where supports stand: the fewest that satisfy every limit, then the least loaded.

Candidates are combinations of stations of the bed's grid. What they carry is found for a bar of
unit weight and unit stiffness: on level supports forces grow with the weight alone, and sag with
weight / stiffness. So the same candidates serve every stock of that length, one or thousands,
and a plan does not depend on how many stocks were asked about at a time.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import Bools, Floats
from .beam import Bars, Carried, shape, solve, solve_two_sided, span_sag
from .part_release import pieces

MOST_CANDIDATES: Final = 12_000
"""Candidates looked at for one number of supports; a coarser grid beyond that."""

MOST_PARTIAL: Final = 200_000
"""Partial combinations held at a time; with more, the grid is too fine to look through."""

FIRST: Final = 32
"""Candidates rated first; then four times as many, and so on."""

MOST_AT_ONCE: Final = 2048
"""Candidates rated at a time."""

MOST_PAIRS: Final = 1_000_000
"""Pairs of stock and candidate compared at a time."""

FULL: Final = 1 + 1e-9


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

    Of a bar of unit weight and stiffness, forces and sag are those of one N/mm and one N*mm^2.

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


class Choice(NamedTuple):
    """One combination of stations that was chosen for some stock.

    Attributes:
        stations: mm.
        level: ``rated`` or ``absolute``, within which it stays.
        unit: its rating with unit weight and stiffness, arrays of one.
    """

    stations: tuple[float, ...]
    level: str
    unit: Rating


class Plans(NamedTuple):
    """Plans for stocks of one length.

    Attributes:
        choices: the distinct ones.
        which: for every stock its place in ``choices``, -1 where there is no plan.
        utilisation: how full the fullest limit is, NaN where there is no plan.
    """

    choices: tuple[Choice, ...]
    which: NDArray[np.intp]
    utilisation: Floats


def rate(bed: Bed, candidates: Floats) -> Rating:
    """Rate combinations of stations: (candidates, supports) mm, ascending.

    Supports that the stock lifts off carry nothing and the others are solved again without.
    """
    return _rate(bed, candidates, (bed.length, *bed.cuts), is_one_sided=True)


def _rate(bed: Bed, candidates: Floats, ends: Sequence[float], *, is_one_sided: bool) -> Rating:
    """Rate candidates at the stages that end there; two-sided is enough where none lifts."""
    count = len(candidates)
    if not candidates.shape[1]:
        candidates = np.full((count, 1), np.nan)  # no support: the chuck alone
    length = np.repeat(np.array(ends, dtype=np.float64), count)
    under = np.tile(candidates, (len(ends), 1))
    under = np.where(under < length[:, None], under, np.nan)
    demands = demands_of(bed, under, length, is_one_sided=is_one_sided)
    worst: dict[str, Floats] = {
        name: np.maximum.reduce(values.reshape(len(ends), count))
        for name, values in demands.items()
    }
    lifts = worst.pop("lifts") > 0
    # How much the chuck carries is asked of the whole stock, which is the first stage.
    share = demands["chuck_reaction"][:count] / (bed.weight * length[:count])
    return Rating(
        **worst,
        lifts_off=lifts,
        is_clear=_is_clear(bed, candidates),
        is_stable=_is_stable(bed, candidates),
        chuck_share=share,
    )


def demands_of(bed: Bed, under: Floats, length: Floats, *, is_one_sided: bool) -> dict[str, Floats]:
    """Return demands of bars of these lengths, the worse of clamped and pinned chuck."""
    rows, most = under.shape
    twice = np.concatenate([under, under])
    bars = Bars(
        np.concatenate([length, length]),
        np.full(2 * rows, bed.weight),
        np.full(2 * rows, bed.stiffness),
        twice,
        np.zeros_like(twice),
        np.repeat([True, False], rows),
    )
    carried, carries = solve_two_sided(bars)
    lifts = ~carries
    sag = span_sag(bars, carried)
    tip = bars.weight * bars.length**4 / (8 * bars.stiffness)  # of a cantilever
    if is_one_sided and lifts.any():
        carried, sag = _with_lifting(bars, carried, sag, np.flatnonzero(lifts))
    has_support = ~np.isnan(twice).all(axis=1)
    # A bar that a pinned chuck alone must hold is held: the chuck does grip. The clamped case
    # gives its numbers. What hangs from the chuck alone sags at its end; that counts as sag.
    gone = carried.has_failed
    sag: Floats = np.where(gone, 0.0, np.where(has_support, sag, tip))
    reactions = _or_zero(carried.reactions)
    ratings = np.full(most, math.nan)
    for place, bound in enumerate(bed.ratings[:most]):
        ratings[place] = bound.rated
    dealt = -np.sort(-reactions, axis=1)
    share: Floats = np.maximum.reduce(_or_zero(dealt / ratings), axis=1, initial=0.0)
    largest: Floats = np.maximum.reduce(reactions, axis=1, initial=0.0)
    nodes = np.concatenate([np.zeros((rows, 1)), under], axis=1)
    gaps = _or_zero(np.diff(nodes, axis=1))
    chuck: Floats = np.where(gone, 0.0, np.abs(carried.chuck_reaction))
    moment: Floats = np.where(gone, 0.0, np.abs(carried.chuck_moment))

    def worse(values: Floats) -> Floats:
        return np.maximum(values[:rows], values[rows:])

    return {
        "span": np.maximum.reduce(gaps, axis=1, initial=0.0),
        "overhang": length - np.maximum.reduce(_or_zero(nodes), axis=1),
        "sag": worse(sag),
        "chuck_reaction": worse(chuck),
        "chuck_moment": worse(moment),
        "support_reaction": worse(largest),
        "support_share": worse(share),
        "lifts": worse(lifts.astype(np.float64)),
    }


def _with_lifting(
    bars: Bars, carried: Carried, sag: Floats, rows: NDArray[np.intp]
) -> tuple[Carried, Floats]:
    """Solve some rows again with supports that only push."""
    part = bars.take(rows)
    solved = solve(part)
    for whole, piece in zip(carried, solved, strict=True):
        whole[rows] = piece
    sag[rows] = shape(part, solved).sag
    return carried, sag


def _or_zero(values: Floats) -> Floats:
    return np.where(np.isnan(values), 0.0, values)


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
    fixed, force, sag = shares_of(bed, rating, level)
    return np.where(_is_usable(rating), np.maximum(np.maximum(fixed, force), sag), np.inf)


def _is_usable(rating: Rating) -> Bools:
    return ~rating.lifts_off & rating.is_clear & rating.is_stable


def shares_of(bed: Bed, rating: Rating, level: str) -> tuple[Floats, Floats, Floats]:
    """Return the fullest of: lengths, forces, sag. Limits that are not stated count as empty."""
    is_rated = level == "rated"

    def share(values: Floats, bound: Bound) -> Floats:
        limit = bound.rated if is_rated else bound.absolute
        return np.zeros_like(values) if math.isnan(limit) else values / limit

    supports = rating.support_share
    if not is_rated and bed.ratings:
        supports = supports / min(bound.absolute / bound.rated for bound in bed.ratings)
    return (
        np.maximum(share(rating.span, bed.span), share(rating.overhang, bed.overhang)),
        np.maximum.reduce(
            [
                supports,
                share(rating.chuck_reaction, bed.chuck_reaction),
                share(rating.chuck_moment, bed.chuck_moment),
            ]
        ),
        share(rating.sag, bed.sag),
    )


def find_plan(bed: Bed) -> Plan | None:
    """Return the best plan within rated limits, else within absolute ones, else None.

    Fewest supports first; then those where the chuck carries less than the supports and, of
    one support, where it stands beyond the middle; then the lowest utilisation.
    """
    found = find_plans(bed, np.array([bed.weight]), np.array([bed.stiffness]))
    place = int(found.which[0])
    if place < 0:
        return None
    choice = found.choices[place]
    return Plan(choice.stations, float(found.utilisation[0]), choice.level)


def find_plans(bed: Bed, weight: Floats, stiffness: Floats) -> Plans:
    """Return a plan for every stock of the bed's length.

    Args:
        bed: the bed; its own weight and stiffness are not looked at.
        weight: (stocks,) N/mm, heavy end.
        stiffness: (stocks,) EI in N*mm^2.
    """
    unit = bed._replace(weight=1.0, stiffness=1.0)
    which: NDArray[np.intp] = np.full(len(weight), -1, dtype=np.intp)
    full = np.full(len(weight), np.nan)
    choices: list[Choice] = []
    for level in ("rated", "absolute"):
        fewest = _steps(unit, level).need[0]
        for count in range(len(bed.ratings) + 1):
            if count < fewest:
                continue
            todo = np.flatnonzero((which < 0) & _can_bear(bed, weight, count))
            if not todo.size:
                continue
            menu = _menu(unit, count, level)
            if menu.is_empty:
                continue
            found, value = menu.choose(weight[todo], weight[todo] / stiffness[todo])
            planned = found >= 0
            places, back = np.unique(found[planned], return_inverse=True)
            which[todo[planned]] = len(choices) + back
            full[todo[planned]] = value[planned]
            choices += [menu.choice(place) for place in places.tolist()]
    return Plans(tuple(choices), which, full)


def _can_bear(bed: Bed, weight: Floats, count: int) -> Bools:
    """Say whether the weight is within what chuck and supports can bear together at all."""
    supports = sum(bound.absolute for bound in bed.ratings[:count])
    chuck = bed.chuck_reaction.absolute
    if math.isnan(chuck):
        return np.ones(len(weight), dtype=np.bool_)
    return weight * bed.length <= (supports + chuck) * FULL


_DEMANDS: Final = (
    "span", "overhang", "sag", "chuck_reaction", "chuck_moment", "support_reaction",
    "support_share", "chuck_share",
)  # fmt: skip


class _Menu:
    """Candidates of one number of supports, for stock of any weight and stiffness.

    What spans and overhang alone make of a candidate is known at once and can only get fuller
    with the stock on it. So candidates are rated in that order, and no further than until none
    left can be better for any stock asked about: mostly after the first few.
    """

    def __init__(self, bed: Bed, candidates: Floats, level: str) -> None:
        self._bed, self._level = bed, level
        fixed = _fixed_share(bed, candidates, level)
        kept = np.flatnonzero(
            _is_clear(bed, candidates) & _is_stable(bed, candidates) & (fixed <= FULL)
        )
        kept = kept[np.argsort(fixed[kept], kind="stable")]
        self._stations = candidates[kept]
        self._number = kept  # the place among all candidates: of equals the first is chosen
        self._least = fixed[kept]
        self._shares = np.stack([fixed[kept], *np.zeros((2, len(kept)))])
        self._unwanted = np.zeros(len(kept))
        self._demands = np.zeros((len(_DEMANDS), len(kept)))
        self._is_staged = np.full(len(kept), not bed.cuts)
        self._rated = 0

    @property
    def is_empty(self) -> bool:
        """Whether no candidate can do for any stock."""
        return not len(self._stations)

    def choose(self, weight: Floats, softness: Floats) -> tuple[NDArray[np.intp], Floats]:
        """Return for every stock the place of the best candidate, -1 for none, and its fullness.

        Args:
            weight: (stocks,) N/mm.
            softness: (stocks,) weight / stiffness.
        """
        found: NDArray[np.intp] = np.full(len(weight), -1, dtype=np.intp)
        value = np.full(len(weight), np.inf)
        count, start, size = len(self._stations), 0, FIRST
        todo = np.arange(len(weight))
        while start < count and todo.size:
            places = np.arange(start, min(start + size, count))
            start, size = int(places[-1]) + 1, min(4 * size, MOST_AT_ONCE)
            able = self._able(places, weight[todo], softness[todo])
            if able.size:
                self._compare(able, todo, (weight, softness), (found, value))
            if start < count:
                # A candidate not yet rated is at least as full as its spans and overhang.
                todo = todo[value[todo] >= self._least[start]]
        is_found = found >= 0
        return found, np.where(is_found, np.where(is_found, value, 0.0) % 10.0, np.nan)

    def _able(self, places: NDArray[np.intp], weight: Floats, softness: Floats) -> NDArray[np.intp]:
        """Return those candidates, rated, that could carry at least some of the stocks."""
        if places[-1] >= self._rated:
            self._rate(np.arange(self._rated, int(places[-1]) + 1, dtype=np.intp))
        # What the lightest and the stiffest stock together fill too much, every stock does.
        least = np.array([[1.0], [weight.min()], [softness.min()]])

        def able(some: NDArray[np.intp]) -> NDArray[np.intp]:
            return some[(self._shares[:, some] * least).max(axis=0) <= FULL]

        kept = able(places)
        fresh = kept[~self._is_staged[kept]]
        if fresh.size:
            self._stage(fresh)
            kept = able(kept)
        return kept

    def _compare(
        self,
        places: NDArray[np.intp],
        rows: NDArray[np.intp],
        stocks: tuple[Floats, Floats],
        into: tuple[NDArray[np.intp], Floats],
    ) -> None:
        """Take in candidates that are better than what the stocks have, a piece at a time."""
        found, value = into
        for start in range(0, len(rows), MOST_PAIRS // len(places) + 1):
            some = rows[start : start + MOST_PAIRS // len(places) + 1]
            score = self._scores(places, stocks[0][some], stocks[1][some])
            lowest = score.min(axis=1)
            # Of candidates that are equally good the first stands.
            tied = np.where(score == lowest[:, None], self._number[places], np.iinfo(np.intp).max)
            best = places[np.argmin(tied, axis=1)]
            held = np.where(found[some] >= 0, self._number[found[some]], np.iinfo(np.intp).max)
            better = (lowest < value[some]) | (
                (lowest == value[some]) & np.isfinite(lowest) & (self._number[best] < held)
            )
            found[some] = np.where(better, best, found[some])
            value[some] = np.where(better, lowest, value[some])

    def _scores(self, places: NDArray[np.intp], weight: Floats, softness: Floats) -> Floats:
        """Return fullness, plus ten for each thing unwanted; infinite where over full."""
        fixed, force, sag = self._shares[:, places]
        full = np.maximum(np.multiply.outer(weight, force), np.multiply.outer(softness, sag))
        full = np.maximum(full, fixed)
        return np.where(full <= FULL, full + 10.0 * self._unwanted[places], np.inf)

    def _rate(self, places: NDArray[np.intp]) -> None:
        """Rate the whole stock on some candidates."""
        stations = self._stations[places]
        rating = _rate(self._bed, stations, (self._bed.length,), is_one_sided=False)
        self._take_in(places, rating)
        # Preferences: the chuck carries less than the supports; one support beyond the middle.
        unwanted = (rating.chuck_share > 0.5 + 1e-9).astype(np.float64)
        if stations.shape[1] == 1:
            unwanted += stations[:, 0] <= self._bed.length / 2
        self._unwanted[places] = unwanted
        self._rated = int(places[-1]) + 1

    def _stage(self, places: NDArray[np.intp]) -> None:
        """Rate the stages of severing on some candidates."""
        ends = self._bed.cuts
        self._take_in(places, _rate(self._bed, self._stations[places], ends, is_one_sided=False))
        self._is_staged[places] = True

    def _take_in(self, places: NDArray[np.intp], rating: Rating) -> None:
        shares = np.stack(shares_of(self._bed, rating, self._level))
        shares[0] = np.where(rating.lifts_off, np.inf, shares[0])
        self._shares[:, places] = np.maximum(self._shares[:, places], shares)
        demands = np.stack([getattr(rating, name) for name in _DEMANDS])
        self._demands[:, places] = np.maximum(self._demands[:, places], demands)

    def choice(self, place: int) -> Choice:
        """Return a candidate with its rating."""
        one = slice(place, place + 1)
        demands = dict(zip(_DEMANDS, self._demands[:, one], strict=True))
        yes, no = np.ones(1, dtype=np.bool_), np.zeros(1, dtype=np.bool_)
        rating = Rating(**demands, lifts_off=no, is_clear=yes, is_stable=yes)
        return Choice(tuple(self._stations[place].tolist()), self._level, rating)


def unit_rating(bed: Bed, stations: tuple[float, ...]) -> Rating:
    """Return the rating of one combination of stations with unit weight and stiffness."""
    return _unit_rating(bed._replace(weight=1.0, stiffness=1.0), stations)


@lru_cache(maxsize=65536)
def _unit_rating(bed: Bed, stations: tuple[float, ...]) -> Rating:
    return rate(bed, np.array([stations], dtype=np.float64))


@lru_cache(maxsize=2048)
def _menu(bed: Bed, count: int, level: str) -> _Menu:
    """Return the menu of so many supports.

    Where the grid offers more combinations than are looked at, every second, third … station
    is tried.
    """
    for step in range(1, len(bed.grid) + 1):
        coarse = bed._replace(grid=bed.grid[::step] if step % 2 else bed.grid[step // 2 :: step])
        found = _candidates(coarse, count, level, MOST_CANDIDATES)
        if found is not None:
            return _Menu(bed, found, level)
    return _Menu(bed, np.zeros((0, count)), level)


def _fixed_share(bed: Bed, candidates: Floats, level: str) -> Floats:
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


class _Steps(NamedTuple):
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
def _steps(bed: Bed, level: str) -> _Steps:
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
    return _Steps(nodes, reach, need, bed.length - overhang)


def _candidates(bed: Bed, count: int, level: str, most: int) -> Floats | None:
    """Return combinations within spans, overhang, keep-clear and zones, ascending; all of them.

    None where there are more than ``most``.
    """
    nodes, reach, need, enough = _steps(bed, level)
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
