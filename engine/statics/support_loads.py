"""How stock of one length is carried on one machine: stations, loads, parts, for many stocks.

The geometry (length, cuts, stations, supports) is worked out once; what depends on the stock
(weight, stiffness, tabs) are arrays. One stock or a thousand get the same numbers.

Long, because one carrier keeps what its geometry, cuts and supports have in common.
"""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...catalogue.machines.model import MachineModel, Support
from ..arrays import GRAVITY, Bools, Floats
from ..inputs.figures import Figures
from ..jobs.job import Geometry
from ..tolerance import FULL
from .catching import Catching, loose_of, pools_of
from .lowered_rests import TURNING, turning_columns
from .part_release import Piece, pieces, tab_stress, tabs_of
from .parts_first import Option, choose_option
from .seating import seated
from .stocks import Stocks, Usable, cuts_of, dealt, grid_of
from .support_plan import Choice, find_plans
from .support_rating import Bed, Bound, Rating, unit_rating
from .turning import UNTROUBLED as TURNS_FREELY

HOPELESS: Final = 1.5
"""Stock of more than this times the absolute mass is refused whatever stands under it: no plan is
sought. Below, a plan is shown with the refusal, because weighing or cutting may save the job."""
# What rules read of a set-up, with the value that stands for "carried without trouble": used
# where only the rest of a job is asked about. Forces and moments are at the heavy end.
UNTROUBLED: Final[dict[str, float]] = {
    "carried_span": 0.0,
    "carried_overhang": 0.0,
    "carried_sag": 0.0,
    "carried_chuck_reaction": 0.0,
    "carried_chuck_moment": 0.0,
    "carried_reaction": 0.0,
    "carried_lifted": 0.0,
    "carried_alone": 0.0,
    "reach_reaction": 0.0,
    "reach_chuck": 0.0,
    "reach_moment": 0.0,
    "reach_sag": 0.0,
    "stations_blocked": 0.0,
    "stations_spare": 0.0,
    "parts_unheld": 0.0,
    "parts_tabbed": 0.0,
    "worst_tab_stress": math.nan,
    "tab_strength": math.nan,
    "reaction_rated": 1e12,
    "reaction_absolute": 1e12,
    "centre_low": math.nan,
    "centre_high": math.nan,
    **TURNS_FREELY,
    "carried_by_jaws": 0.0,
    **dict.fromkeys(TURNING, math.nan),
}
BY_WEIGHT: Final = frozenset(
    {
        "carried_sag",
        "carried_chuck_reaction",
        "carried_chuck_moment",
        "carried_by_jaws",
        "carried_reaction",
        "worst_tab_stress",
    }
)
"""Columns in proportion to the mass per length."""


class Carry(NamedTuple):
    """How every stock of a group is carried.

    Attributes:
        choices: distinct set-ups; ``which`` says which one a stock has.
        supports: for each choice, what stands there to be dealt, strongest first.
        columns: what the rules read, by name.
        seats: for each choice, how a round sits; ``none`` where nothing carries it.
    """

    choices: tuple[Choice, ...]
    supports: tuple[Usable, ...]
    which: NDArray[np.intp]
    columns: dict[str, Floats]
    seats: tuple[str, ...]


class Carrier:
    """Carries stocks of one geometry on one machine with the supports that take them."""

    def __init__(
        self, machine: MachineModel, geometry: Geometry, usable: Usable, figures: Figures
    ) -> None:
        self.machine, self.geometry, self.figures = machine, geometry, figures
        self.usable = usable
        self.cuts = cuts_of(geometry, machine)
        self.free = self.pieces(())

    def pieces(self, stations: Sequence[float]) -> list[Piece]:
        """Return the pieces that come free; parts begin inside the trim of the free end."""
        cutting = self.machine.cutting
        end = self.geometry.front - (0.0 if self.geometry.cuts else cutting.trim)
        return pieces(end, self.cuts, stations, self.figures.stability_margin, cutting.kerf)

    def bed(self, usable: Usable, is_held: tuple[bool, ...]) -> Bed:
        """Return the planning problem with these supports, for unit weight and stiffness."""
        machine = self.machine
        return Bed(
            length=self.geometry.front,
            weight=1.0,
            stiffness=1.0,
            grid=grid_of(machine),
            ratings=tuple(
                Bound(item.reaction.rated, item.reaction.absolute)
                for item in usable.strongest_first()
            ),
            span=_bound(machine, "support_span"),
            overhang=_bound(machine, "overhang"),
            sag=_bound(machine, "sag"),
            chuck_reaction=_bound(machine, "chuck_reaction"),
            chuck_moment=_bound(machine, "chuck_moment", 1e3),
            keep_clear=machine.cutting.keep_clear,
            margin=self.figures.stability_margin,
            cuts=self.cuts,
            is_held=is_held,
            freed=tuple((piece.inner, piece.outer) for piece in self.free),
        )

    def carry(self, stocks: Stocks) -> Carry:
        """Plan, or judge given stations, for every stock."""
        rows = len(stocks.weight)
        tabs = [self.tabs(stocks, piece) for piece in self.free]
        held = np.array([~np.isnan(item.width) for item in tabs], dtype=np.bool_).reshape(
            len(tabs), rows
        )
        choices: list[Choice] = []
        supports: list[Usable] = []
        which: NDArray[np.intp] = np.full(rows, -1, dtype=np.intp)
        parts = len(tabs)
        masks = np.concatenate([held, self.binned(stocks)])
        for mask, rows_of_mask in _alike(masks, rows):
            ends = mask[:parts], mask[parts:]
            self._choose(stocks, rows_of_mask, ends, (choices, supports, which))
        columns = self._columns(stocks, choices, supports, which)
        columns |= self._severing(stocks, choices, supports, which, tabs)
        columns |= turning_columns(
            [choice.stations for choice in choices], supports, which,
            np.full(rows, self.geometry.front), self.cuts, self.geometry.behind, stocks,
        )  # fmt: skip
        seats = tuple(
            self._seat(choice, usable) for choice, usable in zip(choices, supports, strict=True)
        )
        return Carry(tuple(choices), tuple(supports), which, columns, seats)

    def _choose(
        self,
        stocks: Stocks,
        rows: NDArray[np.intp],
        ends: tuple[tuple[bool, ...], tuple[bool, ...]],
        into: tuple[list[Choice], list[Usable], NDArray[np.intp]],
    ) -> None:
        """Choose stations for some rows, all with the same pieces held by tabs or for the bin."""
        choices, supports, which = into
        is_held, binned = ends
        best, every = self.usable.best_seated(), self.usable
        given = self.geometry.stations
        if given:
            stations = tuple(sorted(given))
            unit = self._unit(stations, every, is_held)
            catching = self._catching(every, every, binned)[0] if self.cuts else None
            choices.append(Choice(stations, "given", unit, catching))
            supports.append(every)
            which[rows] = len(choices) - 1
            return
        todo = rows[self._is_worth_planning(stocks.weight[rows])]
        last = best
        kinds = (best,) if len(best.supports) == len(every.supports) else (best, every)
        if self.cuts and todo.size:
            options = [
                (usable, Option(self.bed(usable, is_held), catching))
                for usable in kinds
                for catching in self._catching(usable, every, binned)
            ]
            chosen = choose_option(
                [option for _, option in options], stocks.weight[todo], stocks.stiffness[todo]
            )
            planned = chosen.plans.which >= 0
            which[todo[planned]] = len(choices) + chosen.plans.which[planned]
            choices += chosen.plans.choices
            supports += [options[number][0] for number in chosen.option]
            last, todo = kinds[-1], todo[~planned]
        for usable in () if self.cuts else kinds:
            if not todo.size:
                break
            last = usable
            plans = find_plans(
                self.bed(usable, is_held), stocks.weight[todo], stocks.stiffness[todo]
            )
            planned = plans.which >= 0
            which[todo[planned]] = len(choices) + plans.which[planned]
            choices += plans.choices
            supports += [usable] * len(plans.choices)
            todo = todo[~planned]
        left = rows[which[rows] < 0]
        if left.size:
            # What was tried last; of what was not worth planning, the first kind.
            for usable, some in ((last, todo), (best, np.setdiff1d(left, todo))):
                if some.size:
                    stations = self._spread(len(usable.supports))
                    choices.append(Choice(stations, "none", self._unit(stations, usable, is_held)))
                    supports.append(usable)
                    which[some] = len(choices) - 1

    def _catching(
        self, carrying: Usable, every: Usable, binned: tuple[bool, ...]
    ) -> list[Catching]:
        """Return what may catch parts beside supports of which some carry."""
        ratings = [[item.reaction.rated for item in some.supports] for some in (carrying, every)]
        return [Catching(pool, binned) for pool in pools_of(*ratings)]

    def binned(self, stocks: Stocks) -> Bools:
        """Say (parts, stocks) what may fall into a bin: light, and shorter than two diameters."""
        most = self.machine.handling.caught_mass
        length = np.array([piece.length for piece in self.free], dtype=np.float64)[:, None]
        mass = length * stocks.weight / GRAVITY
        return (mass <= most * FULL) & (length < 2 * stocks.outside)

    def loose(self, choice: Choice, usable: Usable, weight: Floats) -> Bools:
        """Say (stocks, parts) what tips or drops with nothing under it to catch it."""
        if choice.catching is None:
            found = [piece.behaviour != "stays" for piece in self.pieces(choice.stations)]
            return np.tile(np.array(found, dtype=np.bool_), (len(weight), 1))
        bed = self.bed(usable, (True,) * len(self.cuts))
        return loose_of(bed, choice.catching, choice.stations, weight)[1]

    def _unit(
        self, stations: tuple[float, ...], usable: Usable, is_held: tuple[bool, ...]
    ) -> Rating:
        return unit_rating(self.bed(usable, is_held), stations)

    def _is_worth_planning(self, weight: Floats) -> Bools:
        """Say whether the bed takes this stock at all; if not, no plan is sought."""
        machine, geometry = self.machine, self.geometry
        if geometry.front > machine.limit("stock_length").absolute * FULL:
            return np.zeros(len(weight), dtype=np.bool_)
        mass = weight * geometry.length / GRAVITY
        return ~(mass > machine.limit("stock_mass").absolute * HOPELESS)

    def _spread(self, count: int) -> tuple[float, ...]:
        """Return stations as evenly as the bed allows, where no plan satisfies the limits."""
        front = self.geometry.front
        free = [station for station in grid_of(self.machine) if station < front]
        if not free or not count:
            return ()
        wanted = [front * (number + 1) / (count + 0.6) for number in range(count)]
        return tuple(sorted({min(free, key=lambda s, w=want: abs(s - w)) for want in wanted}))

    def tabs(self, stocks: Stocks, piece: Piece) -> "TabsOf":
        """Return the tabs that hold a piece of every stock."""
        torque = self.torque(stocks, piece)
        kerf = self.machine.cutting.kerf
        return TabsOf(*tabs_of(stocks.tubes, piece.length, torque, kerf, self.figures.tab_rules))

    def torque(self, stocks: Stocks, piece: Piece) -> Floats:
        """Return N*mm that starts a free piece turning with the stock, or stops it if that is more.

        In an emergency stop the piece takes its share of the braking torque: its inertia over
        all that still turns, which is the chuck and the stock as far as the piece reaches.
        """
        own = stocks.turning * piece.length  # kg*mm^2
        start = own / 1e3 * self.machine.rotary.acceleration
        turning = self.machine.rotary.fixed_inertia * 1e6 + stocks.turning * (
            self.geometry.behind + piece.outer
        )
        return np.fmax(start, self.machine.stop_torque * 1e3 * own / turning)

    def _columns(
        self,
        stocks: Stocks,
        choices: Sequence[Choice],
        supports: Sequence[Usable],
        which: NDArray[np.intp],
    ) -> dict[str, Floats]:
        """Return what the rules read of loads: unit ratings times weight."""

        def spread(values: Sequence[float]) -> Floats:
            return np.array(values, dtype=np.float64)[which]

        def unit(name: str) -> Floats:
            return spread([float(getattr(choice.unit, name)[0]) for choice in choices])

        weight, behind = stocks.weight, self.geometry.behind
        reaction, share = unit("support_reaction"), unit("support_share")
        strongest = [
            max((item.reaction for item in usable.supports), key=lambda r: r.rated, default=None)
            for usable in supports
        ]
        top = spread([math.nan if item is None else item.rated for item in strongest])
        most = spread([math.nan if item is None else item.absolute for item in strongest])
        at_most = unit("absolute_share")
        # Each support is judged by its own rating: the load stands against the fullest of them.
        with np.errstate(divide="ignore", invalid="ignore"):
            rated = np.where(share > 0, reaction / share, top)
            absolute = np.where(at_most > 0, reaction / at_most, most)
        low, high = self._centres(stocks.outside, choices, supports, which)
        return {
            "carried_span": unit("span"),
            "carried_overhang": unit("overhang"),
            "carried_sag": unit("sag") * (weight / stocks.stiffness),
            # What stands behind the chuck hangs on it, unless a rear stand takes its end.
            "carried_chuck_reaction": weight * (unit("chuck_reaction") + behind),
            "carried_chuck_moment": weight * np.maximum(unit("chuck_moment"), behind**2 / 2) / 1e3,
            "carried_reaction": weight * reaction,
            "carried_lifted": unit("lifts_off"),
            "carried_by_jaws": weight
            * spread(
                [hanging(choice.stations, self.geometry.front, self.cuts) for choice in choices]
            )
            / 1e3,
            "carried_alone": spread([float(not choice.stations) for choice in choices]),
            "stations_blocked": spread([self._blocked(choice.stations) for choice in choices]),
            "stations_spare": spread(
                [
                    len(usable.supports) - len(choice.stations)
                    for choice, usable in zip(choices, supports, strict=True)
                ]
            ),
            "tab_strength": stocks.tubes.yield_strength / self.figures.tab_safety,
            "reaction_rated": rated,
            "reaction_absolute": absolute,
            "centre_low": low,
            "centre_high": high,
        }

    def _centres(
        self,
        outside: Floats,
        choices: Sequence[Choice],
        supports: Sequence[Usable],
        which: NDArray[np.intp],
    ) -> tuple[Floats, Floats]:
        """Return the lowest and highest centre over the supports used, NaN where there is none."""
        sizes, back = np.unique(outside, return_inverse=True)
        low, high = np.full(len(outside), np.nan), np.full(len(outside), np.nan)
        # Few kinds of support stand under many choices: each is worked out once.
        kinds: dict[tuple[Support, ...], int] = {}
        kind = np.array(
            [
                kinds.setdefault(
                    tuple(dict.fromkeys(dealt(usable, len(choice.stations)))), len(kinds)
                )
                for choice, usable in zip(choices, supports, strict=True)
            ],
            dtype=np.intp,
        )[which]
        for used, number in kinds.items():
            rows = kind == number
            for support in used:
                centres = [
                    seated(support, size, self.figures.seat_angles).centre
                    for size in sizes.tolist()
                ]
                centre = np.array(centres)[back[rows]]
                low[rows] = np.fmin(low[rows], centre)
                high[rows] = np.fmax(high[rows], centre)
        return low, high

    def _severing(
        self,
        stocks: Stocks,
        choices: Sequence[Choice],
        supports: Sequence[Usable],
        which: NDArray[np.intp],
        tabs: Sequence["TabsOf"],
    ) -> dict[str, Floats]:
        """Return what the rules read of parts as they come free."""
        rows = len(stocks.weight)
        unheld, tabbed = np.zeros(rows), np.zeros(rows)
        worst = np.full(rows, np.nan)
        every = np.zeros((rows, len(tabs)), dtype=np.bool_)
        for place, (choice, usable) in enumerate(zip(choices, supports, strict=True)):
            if not tabs:
                break
            mine = np.flatnonzero(which == place)
            if mine.size:
                every[mine] = self.loose(choice, usable, stocks.weight[mine])
        for number, (piece, tab) in enumerate(zip(self.free, tabs, strict=True)):
            loose = every[:, number]
            is_held = ~np.isnan(tab.width)
            unheld += loose & ~is_held
            tabbed += loose & is_held
            stress = np.where(is_held, tab.stress, self._strongest(stocks, piece))
            worst = np.where(loose, np.fmax(worst, stress), worst)
        return {"parts_unheld": unheld, "parts_tabbed": tabbed, "worst_tab_stress": worst}

    def _strongest(self, stocks: Stocks, piece: Piece) -> Floats:
        """Return the stress in the strongest tabs there could be."""
        figures = self.figures
        count = figures.tab_counts
        width = np.minimum(figures.tab_widest, figures.tab_share * stocks.tubes.girth / count)
        torque = self.torque(stocks, piece)
        return tab_stress(stocks.tubes, piece.length, torque, count, width)

    def _blocked(self, stations: Sequence[float]) -> float:
        """Return how many stations lie nearer to a cut than supports may, or off the bed."""
        bed, clear = self.machine.bed, self.machine.cutting.keep_clear
        return float(
            sum(
                not bed.first_station - 1e-6 <= station <= bed.last_station + 1e-6
                or any(abs(station - cut) < clear - 1e-6 for cut in self.cuts)
                for station in stations
            )
        )

    def _seat(self, choice: Choice, usable: Usable) -> str:
        if not self.usable.supports:
            return "none"
        used = {item.code for item in dealt(usable, len(choice.stations))}
        seats = {
            seat
            for item, seat in zip(self.usable.supports, self.usable.seats, strict=True)
            if item.code in used
        }
        return next((name for name in ("shallow", "wedged") if name in seats), "good")


def hanging(stations: Sequence[float], front: float, cuts: Sequence[float]) -> float:
    """Return the moment of a bar of 1 N/mm where the chuck alone holds it, the worst stage; N*mm.

    0 where something stands under it as long as there is any of it.
    """
    first = min(stations, default=math.inf)
    return max((end**2 / 2 for end in (front, *cuts) if end <= first), default=0.0)


class TabsOf(NamedTuple):
    """Tabs that hold one piece, for every stock; NaN where none can."""

    number: Floats
    width: Floats
    stress: Floats


def _alike(held: Bools, rows: int) -> list[tuple[tuple[bool, ...], NDArray[np.intp]]]:
    """Return rows by which of their pieces tabs hold."""
    every = np.arange(rows)
    if not len(held) or rows == 1:
        return [(tuple(held[:, 0].tolist()), every)] if rows else []
    masks, back = np.unique(held, axis=1, return_inverse=True)
    return [
        (tuple(masks[:, number].tolist()), np.flatnonzero(back.ravel() == number))
        for number in range(masks.shape[1])
    ]


def _bound(machine: MachineModel, name: str, factor: float = 1.0) -> Bound:
    limit = machine.limit(name)
    return Bound(limit.rated * factor, limit.absolute * factor)
