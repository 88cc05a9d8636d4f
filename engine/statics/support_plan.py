"""Where supports stand: the fewest that satisfy every limit, then the least loaded.

Candidates are combinations of stations of the bed's grid. What they carry is found for a bar of
unit weight and unit stiffness: on level supports forces grow with the weight alone, and sag with
weight / stiffness. So the same candidates serve every stock of that length, one or thousands,
and a plan does not depend on how many stocks were asked about at a time.
"""

import math
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import Bools, Floats
from ..tolerance import FULL, TOLERANCE
from .catching import Catching
from .support_candidates import candidates_of, fixed_share, steps_of
from .support_rating import Bed, Rating, is_clear, is_stable, rate_stages, shares_of

MOST_CANDIDATES: Final = 12_000
"""Candidates looked at for one number of supports; a coarser grid beyond that."""
FIRST: Final = 32
"""Candidates rated first; then four times as many, and so on."""
MOST_AT_ONCE: Final = 2048
"""Candidates rated at a time."""
MOST_PAIRS: Final = 1_000_000
"""Pairs of stock and candidate compared at a time."""


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
        catching: what takes parts as they come free; None where nothing does.
    """

    stations: tuple[float, ...]
    level: str
    unit: Rating
    catching: Catching | None = None


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
        fewest = steps_of(unit, level).need[0]
        for count in range(len(bed.ratings) + 1):
            if count < fewest:
                continue
            todo = np.flatnonzero((which < 0) & can_bear(bed, weight, count))
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


def can_bear(bed: Bed, weight: Floats, count: int) -> Bools:
    """Say whether the weight is within what chuck and supports can bear together at all."""
    supports = sum(bound.absolute for bound in bed.ratings[:count])
    chuck = bed.chuck_reaction.absolute
    if math.isnan(chuck):
        return np.ones(len(weight), dtype=np.bool_)
    return weight * bed.length <= (supports + chuck) * FULL


_DEMANDS: Final = (
    "span", "overhang", "sag", "chuck_reaction", "chuck_moment", "support_reaction",
    "support_share", "absolute_share", "chuck_share",
)  # fmt: skip


class _Menu:
    """Candidates of one number of supports, for stock of any weight and stiffness.

    What spans and overhang alone make of a candidate is known at once and can only get fuller
    with the stock on it. So candidates are rated in that order, and no further than until none
    left can be better for any stock asked about: mostly after the first few.
    """

    def __init__(self, bed: Bed, candidates: Floats, level: str) -> None:
        self._bed, self._level = bed, level
        fixed = fixed_share(bed, candidates, level)
        kept = np.flatnonzero(
            is_clear(bed, candidates) & is_stable(bed, candidates) & (fixed <= FULL)
        )
        kept = kept[np.argsort(fixed[kept], kind="stable")]
        self._stations = candidates[kept]
        self._number = kept  # the place among all candidates: of equals the first is chosen
        self._least = fixed[kept]
        self._shares = np.stack([fixed[kept], *np.zeros((2, len(kept)))])
        self._unwanted = np.zeros(len(kept))
        self._demands = np.zeros((len(_DEMANDS), len(kept)))
        self._is_rated = np.zeros(len(kept), dtype=np.bool_)
        self._is_staged = np.full(len(kept), not bed.cuts)

    @property
    def is_empty(self) -> bool:
        """Whether no candidate can do for any stock."""
        return not len(self._stations)

    @property
    def stations(self) -> Floats:
        """The candidates: (candidates, supports) mm."""
        return self._stations

    def choose(
        self, weight: Floats, softness: Floats, among: NDArray[np.intp] | None = None
    ) -> tuple[NDArray[np.intp], Floats]:
        """Return for every stock the place of the best candidate, -1 for none, and its fullness.

        Args:
            weight: (stocks,) N/mm.
            softness: (stocks,) weight / stiffness.
            among: places of the candidates that may be chosen, ascending; None for all.
        """
        found: NDArray[np.intp] = np.full(len(weight), -1, dtype=np.intp)
        value = np.full(len(weight), np.inf)
        every = np.arange(len(self._stations)) if among is None else among
        count, start, size = len(every), 0, FIRST
        todo = np.arange(len(weight))
        while start < count and todo.size:
            places = every[start : start + size]
            start, size = start + len(places), min(4 * size, MOST_AT_ONCE)
            able = self._able(places, weight[todo], softness[todo])
            if able.size:
                self._compare(able, todo, (weight, softness), (found, value))
            if start < count:
                # A candidate not yet rated is at least as full as its spans and overhang.
                todo = todo[value[todo] >= self._least[every[start]]]
        is_found = found >= 0
        return found, np.where(is_found, np.where(is_found, value, 0.0) % 10.0, np.nan)

    def _able(self, places: NDArray[np.intp], weight: Floats, softness: Floats) -> NDArray[np.intp]:
        """Return those candidates, rated, that could carry at least some of the stocks."""
        fresh = places[~self._is_rated[places]]
        if fresh.size:
            self._rate(fresh)
        # What the lightest and the stiffest stock together fill too much, every stock does.
        least = np.array([[1.0], [weight.min()], [softness.min()]])

        def able(some: NDArray[np.intp]) -> NDArray[np.intp]:
            return some[(self._shares[:, some] * least).max(axis=0) <= FULL]

        kept = able(places)
        unstaged = kept[~self._is_staged[kept]]
        if unstaged.size:
            self._stage(unstaged)
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
        rating = rate_stages(self._bed, stations, (self._bed.length,), is_one_sided=False)
        self._take_in(places, rating)
        # Preferences: the chuck carries less than the supports; one support beyond the middle.
        unwanted = (rating.chuck_share > 0.5 + TOLERANCE).astype(np.float64)
        if stations.shape[1] == 1:
            unwanted += stations[:, 0] <= self._bed.length / 2
        self._unwanted[places] = unwanted
        self._is_rated[places] = True

    def _stage(self, places: NDArray[np.intp]) -> None:
        """Rate the stages of severing on some candidates."""
        ends = self._bed.cuts
        self._take_in(
            places, rate_stages(self._bed, self._stations[places], ends, is_one_sided=False)
        )
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


def menu_of(bed: Bed, count: int, level: str) -> _Menu:
    """Return the candidates of so many supports for stock of unit weight and stiffness."""
    return _menu(bed, count, level)


@lru_cache(maxsize=2048)
def _menu(bed: Bed, count: int, level: str) -> _Menu:
    """Return the menu of so many supports.

    Where the grid offers more combinations than are looked at, every second, third … station
    is tried.
    """
    for step in range(1, len(bed.grid) + 1):
        coarse = bed._replace(grid=bed.grid[::step] if step % 2 else bed.grid[step // 2 :: step])
        found = candidates_of(coarse, count, level, MOST_CANDIDATES)
        if found is not None:
            return _Menu(bed, found, level)
    return _Menu(bed, np.zeros((0, count)), level)
