"""Plans that hold parts first: what carries while the stock turns, what catches as a part frees.

In this order: everything within absolute limits; no part whose inner end rises into the head;
everything within rated limits; fewest parts that tip or drop uncaught; fewest moves of supports
between cuts; fewest supports that carry; then what :mod:`.support_plan` prefers and the lowest
utilisation. The statics are those of the supports that carry: its menus are asked for the best
of those candidates that do alike by their parts, best parts first.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import Bools, Floats
from .catching import Catching, Needs, needs_of, reachable, zones_of
from .support_candidates import steps_of
from .support_plan import Choice, Plans, can_bear, find_plans, menu_of
from .support_rating import Bed

FURTHER: Final = 2
"""More supports tried where fewer hold every part that can be, but need moves between cuts."""
_MOVES: Final = 1 << 21
_LOOSE: Final = 1 << 20
NO_KEY: Final = np.iinfo(np.int64).max

Keys = NDArray[np.int64]


class Held(NamedTuple):
    """Plans for stocks of one length with what they do by their parts.

    Attributes:
        plans: of every stock.
        keys: how good each is, the lower the better; ``NO_KEY`` where there is none.
        is_done: nothing rises, and every part that can be held is.
    """

    plans: Plans
    keys: Keys
    is_done: Bools


def key_of(rising: Keys | int, level: str, loose: Keys | int, moves: Keys | int) -> Keys:
    """Return what plans are compared by, as whole numbers that sort in the order of preference."""
    first = np.asarray(rising, dtype=np.int64) * 2 + (level != "rated")
    return (first * _LOOSE + loose) * _MOVES + moves


def without_moves(keys: Keys) -> Keys:
    """Return keys as if no support were moved."""
    return keys // _MOVES


def hold_parts(bed: Bed, catching: Catching, weight: Floats, stiffness: Floats) -> Held:
    """Return a plan for every stock of the bed's length, its parts held first.

    Args:
        bed: with cuts; ``is_held`` says which parts tabs can hold, and every other one must be
            held by supports. Its own weight and stiffness are not looked at.
        catching: what may catch parts.
        weight: (stocks,) N/mm, heavy end.
        stiffness: (stocks,) EI in N*mm^2.
    """
    return _Search(bed, catching, (weight, stiffness)).held()


class _Search:
    def __init__(self, bed: Bed, catching: Catching, stocks: tuple[Floats, Floats]) -> None:
        self.bed, self.catching = bed, catching
        self.pool, self.binned = pool, binned = catching
        self.weight, self.stiffness = stocks
        self.must = ~np.array(bed.is_held, dtype=np.bool_)
        # Statics are asked for all candidates; which of them hold their parts is judged here.
        every = (True,) * len(bed.cuts)
        self.statics = bed._replace(weight=1.0, stiffness=1.0, is_held=every)
        rows = len(self.weight)
        self.keys: Keys = np.full(rows, NO_KEY, dtype=np.int64)
        self.which: NDArray[np.intp] = np.full(rows, -1, dtype=np.intp)
        self.count: NDArray[np.intp] = np.zeros(rows, dtype=np.intp)
        self.full = np.full(rows, np.nan)
        self.choices: list[Choice] = []
        self.parts = reachable(bed)
        others = set(range(len(bed.cuts))) - set(self.parts)
        self.lost = sum(not binned[number] for number in others)
        self.can_hold = [len(low) > 0 and len(high) > 0 for low, high in zones_of(bed)]
        never = sum(
            not can and not bin_takes for can, bin_takes in zip(self.can_hold, binned, strict=True)
        )
        wanted = 2 * sum(
            can and not bin_takes for can, bin_takes in zip(self.can_hold, binned, strict=True)
        )
        units = pool.supports + (0 if pool.is_shared else len(bed.ratings))
        self.never, self.least_moves = never, max(0, wanted - units)

    def held(self) -> Held:
        most = len(self.bed.ratings)
        is_hopeless = any(
            must and not can and not bin_takes
            for must, can, bin_takes in zip(self.must, self.can_hold, self.binned, strict=True)
        )
        for level in () if is_hopeless else ("rated", "absolute"):
            ideal = int(key_of(0, level, self.never, self.least_moves))
            fewest = steps_of(self.statics, level).need[0]
            for count in range(most + 1):
                todo = np.flatnonzero(self._is_worth(level, count, ideal))
                if count >= fewest and todo.size:
                    self._look(level, count, todo)
        if not is_hopeless:
            self._look_at_carried()
        used = np.unique(self.which[self.which >= 0])
        self.which = np.where(self.which < 0, -1, np.searchsorted(used, self.which))
        places: list[int] = used.tolist()
        plans = Plans(tuple(self.choices[place] for place in places), self.which, self.full)
        bare = without_moves(self.keys)
        is_done = (bare < 2 * _LOOSE) & (bare % _LOOSE <= self.never)
        return Held(plans, self.keys, is_done)

    def _is_worth(self, level: str, count: int, ideal: int) -> Bools:
        """Say for which stocks so many supports may do better than what they have."""
        is_open = (self.keys > ideal) & can_bear(self.bed, self.weight, count)
        # Only for fewer moves a few more supports are tried, not all there are.
        holds = without_moves(self.keys) <= without_moves(key_of(0, level, self.never, 0))
        return is_open & ~(holds & (count > self.count + FURTHER))

    def _look(self, level: str, count: int, rows: NDArray[np.intp]) -> None:
        """Take in what so many supports do better."""
        menu = menu_of(self.statics, count, level)
        if menu.is_empty:
            return
        needs = needs_of(self.bed, self.catching, menu.stations, self.parts)
        for some in self._alike(rows):
            keys = self._keys(needs, float(self.weight[some].max()), level)
            for key in np.unique(keys[keys < NO_KEY]).tolist():
                todo = some[self.keys[some] > key]
                if not todo.size:
                    break
                places = np.flatnonzero(keys == key)
                weight = self.weight[todo]
                found, value = menu.choose(weight, weight / self.stiffness[todo], places)
                is_found = found >= 0
                kept, back = np.unique(found[is_found], return_inverse=True)
                taken = todo[is_found]
                self.which[taken] = len(self.choices) + back
                self.full[taken], self.keys[taken] = value[is_found], key
                self.count[taken] = count
                self.choices += [
                    menu.choice(place)._replace(catching=self.catching) for place in kept.tolist()
                ]

    def _keys(self, needs: Needs, weight: float, level: str) -> Keys:
        """Return how good each candidate is for stock of this weight."""
        loose = needs.is_loose(weight)
        rising = (loose & needs.rises).sum(axis=1)
        keys = key_of(rising, level, loose.sum(axis=1) + self.lost, needs.moves(loose))
        return np.where((loose & self.must[self.parts]).any(axis=1), NO_KEY, keys)

    def _alike(self, rows: NDArray[np.intp]) -> list[NDArray[np.intp]]:
        """Return rows by what their weight makes of catching: mostly all alike."""
        longest = max((outer - inner for inner, outer in self.bed.freed), default=0.0)
        least = min(self.pool.rated, self.pool.carrier)
        heavy = np.where(self.weight[rows] * longest <= least, 0.0, self.weight[rows])
        values, back = np.unique(heavy, return_inverse=True)
        return [rows[back.ravel() == number] for number in range(len(values))]

    def _look_at_carried(self) -> None:
        """Take in plans of which the supports that carry hold every part that can be held.

        Their stations are sought in the parts themselves, where combinations on the whole grid
        are too many to look at.
        """
        rows = np.flatnonzero(without_moves(self.keys) % _LOOSE > self.never)
        if not rows.size:
            return
        tried = [tuple(not can for can in self.can_hold), self.bed.is_held]
        for is_held in dict.fromkeys(tried):
            if all(is_held):
                continue
            bed = self.bed._replace(is_held=is_held)
            plans = find_plans(bed, self.weight[rows], self.stiffness[rows])
            for place, row in enumerate(rows.tolist()):
                if plans.which[place] < 0:
                    continue
                choice = plans.choices[int(plans.which[place])]
                stations = np.array([choice.stations], dtype=np.float64).reshape(1, -1)
                needs = needs_of(self.bed, self.catching, stations, self.parts)
                key = int(self._keys(needs, float(self.weight[row]), choice.level)[0])
                if key < self.keys[row]:
                    self.keys[row], self.full[row] = key, plans.utilisation[place]
                    self.which[row], self.count[row] = len(self.choices), len(choice.stations)
                    self.choices.append(choice._replace(catching=self.catching))


class Option(NamedTuple):
    """Supports that may carry, and what may catch beside them."""

    bed: Bed
    catching: Catching


class Chosen(NamedTuple):
    """What was chosen of several options.

    Attributes:
        plans: of every stock.
        option: of each of the choices, its place among the options.
    """

    plans: Plans
    option: tuple[int, ...]


def choose_option(options: Sequence[Option], weight: Floats, stiffness: Floats) -> Chosen:
    """Return the best plan of all options; later ones serve only what earlier ones do not hold.

    Of other supports that carry, a plan must hold parts better, not only move fewer supports.
    """
    if len(weight) == 1:
        # One job is planned to be judged, and again to be told.
        return _choose_for_one(tuple(options), float(weight[0]), float(stiffness[0]))
    return _choose_option(options, weight, stiffness)


@lru_cache(maxsize=1024)
def _choose_for_one(options: tuple[Option, ...], weight: float, stiffness: float) -> Chosen:
    return _choose_option(options, np.array([weight]), np.array([stiffness]))


def _choose_option(options: Sequence[Option], weight: Floats, stiffness: Floats) -> Chosen:
    rows = len(weight)
    keys: Keys = np.full(rows, NO_KEY, dtype=np.int64)
    which: NDArray[np.intp] = np.full(rows, -1, dtype=np.intp)
    full = np.full(rows, np.nan)
    is_done = np.zeros(rows, dtype=np.bool_)
    choices: list[Choice] = []
    option: list[int] = []
    before: Bed | None = None
    for number, (bed, catching) in enumerate(options):
        todo = np.flatnonzero(~is_done)
        if bed == before:
            # What statics refuse no other catcher allows; and light parts any of them bears.
            is_open = (keys[todo] < NO_KEY) | (not all(bed.is_held))
            pool = options[number - 1].catching.pool
            longest = max((outer - inner for inner, outer in bed.freed), default=0.0)
            is_open &= weight[todo] * longest > min(pool.rated, pool.carrier)
            todo = todo[is_open]
        if not todo.size:
            continue
        held = hold_parts(bed, catching, weight[todo], stiffness[todo])
        better = held.keys < keys[todo]
        if bed != before:
            better &= without_moves(held.keys) < without_moves(keys[todo])
        taken = todo[better]
        which[taken] = len(choices) + held.plans.which[better]
        keys[taken], full[taken] = held.keys[better], held.plans.utilisation[better]
        is_done[todo] |= held.is_done
        choices += held.plans.choices
        option += [number] * len(held.plans.choices)
        before = bed
    return Chosen(Plans(tuple(choices), which, full), tuple(option))
