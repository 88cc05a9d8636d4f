"""How stock of one length is carried on one machine: stations, loads, parts, for many stocks.

The geometry (length, cuts, stations, supports) is worked out once; what depends on the stock
(weight, stiffness, tabs) are arrays. One stock or a thousand get the same numbers.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...catalogue.grades.grades import Grade
from ...catalogue.grades.tolerances import mill_range
from ...catalogue.machines.model import UNSTATED, MachineModel, Support
from ...catalogue.tables.sections import Section
from ..arrays import GRAVITY, Bools, Floats
from ..inputs.figures import Figures
from ..jobs.parse import Geometry
from .part_release import Piece, Tube, pieces, tab_stress, tabs_of
from .seating import Seated, seated
from .support_plan import Bed, Bound, Choice, Rating, find_plans, unit_rating
from .support_plan_many import alone, plan_many

MOST_STATIONS: Final = 400

HOPELESS: Final = 1.5
"""Stock of more than this times the absolute mass is refused whatever stands under it: no plan is
sought. Below, a plan is shown with the refusal, because weighing or cutting may save the job."""


class Stocks(NamedTuple):
    """Stocks, one a row.

    Attributes:
        weight: heavy end, N/mm.
        stiffness: EI with the thin wall, N*mm^2.
        outside: diameter of a round, the height of other shapes, mm.
        tubes: what tabs are cut from.
        turning: polar inertia per length at the heavy end, kg*mm^2 / mm.
    """

    weight: Floats
    stiffness: Floats
    outside: Floats
    tubes: Tube
    turning: Floats

    def take(self, rows: NDArray[np.intp]) -> "Stocks":
        """Return some of the rows."""
        return Stocks(
            self.weight[rows], self.stiffness[rows], self.outside[rows],
            Tube(*(column[rows] for column in self.tubes)), self.turning[rows],
        )  # fmt: skip


class Usable(NamedTuple):
    """Supports fitted that carry this stock, best seat and strongest first."""

    supports: tuple[Support, ...]
    seats: tuple[str, ...]

    def best_seated(self) -> "Usable":
        """Return those of the first kind only."""
        kind = (self.supports[0].code, self.seats[0]) if self.supports else None
        kept = [n for n, item in enumerate(self.supports) if (item.code, self.seats[n]) == kind]
        return Usable(tuple(self.supports[n] for n in kept), tuple(self.seats[n] for n in kept))

    def strongest_first(self) -> tuple[Support, ...]:
        """Return them in the order in which they are dealt to loads."""
        return tuple(sorted(self.supports, key=lambda item: -item.reaction.rated))


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
}
BY_WEIGHT: Final = frozenset(
    {
        "carried_sag",
        "carried_chuck_reaction",
        "carried_chuck_moment",
        "carried_reaction",
        "worst_tab_stress",
    }
)
"""Columns in proportion to the mass per length."""


@lru_cache(maxsize=65536)
def stock_numbers(section: Section, grade: Grade, coating_mass: float) -> tuple[float, ...]:
    """Return the numbers of :class:`Stocks` for one stock; ``coating_mass`` in kg/m."""
    mill = mill_range(section, grade.product)
    bare = grade.density * section.area / 1e6 * mill.mass_ratio
    mass = (bare + coating_mass) / 1e3  # kg/mm
    is_round = section.shape == "round"
    # Stiffness of the thin wall: the second moment falls nearly in proportion to the wall.
    wall = section.wall
    stiffness = grade.elasticity * min(section.second_moments) * mill.thin_wall / wall
    girth = math.pi * section.height if is_round else 2 * (section.height + section.width)
    # Tabs of a box stand in its flats: the nearer pair decides.
    radius = (section.height if is_round else section.width) / 2 - wall / 2
    return (
        mass * GRAVITY, stiffness, section.height, radius, mill.thin_wall, girth,
        grade.yield_strength, mass, mass * section.polar_moment / section.area,
    )  # fmt: skip


def stocks_of(numbers: Floats) -> Stocks:
    """Return stocks of rows of :func:`stock_numbers`."""
    weight, stiffness, outside, radius, wall, girth, strength, mass, turning = numbers.T
    tubes = Tube(radius, wall, girth, strength, mass)
    return Stocks(weight, stiffness, outside, tubes, turning)


@lru_cache(maxsize=65536)
def usable_supports(
    machine: "Keyed", fitted: frozenset[str], shape: str, outside: float, figures: Figures
) -> Usable:
    """Return the supports fitted that carry stock of this shape and size."""
    found: list[tuple[Support, str]] = []
    for support in machine.model.supports:
        if support.code not in fitted or shape not in support.carries:
            continue
        seat: Seated = seated(support, outside, figures.seat_angles)
        if shape != "round" or seat.is_usable:
            found += [(support, seat.seat)] * support.count
    order = {"good": 0, "flat": 0, "wedged": 1, "shallow": 2}
    found.sort(key=lambda item: (order.get(item[1], 0), -item[0].reaction.rated))
    return Usable(tuple(item for item, _ in found), tuple(seat for _, seat in found))


class Keyed:
    """A machine as a key: models are equal when their files are."""

    def __init__(self, model: MachineModel) -> None:
        self.model = model

    def __hash__(self) -> int:
        return hash(self.model.digest)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Keyed) and other.model.digest == self.model.digest


def cuts_of(geometry: Geometry, machine: MachineModel) -> tuple[float, ...]:
    """Return the cuts, from the free end inward: as given, else from the parts.

    Parts follow each other from the free end, after the trim, with a kerf between them.
    """
    if geometry.cuts:
        return tuple(cut for cut in geometry.cuts if cut < geometry.front)
    cutting = machine.cutting
    found: list[float] = []
    place = geometry.front - cutting.trim
    for part in geometry.parts:
        for _ in range(part.count):
            place -= part.length
            if place <= 0:
                return tuple(found)
            found.append(place)
            place -= cutting.kerf
    return tuple(found)


def parts_fitting(geometry: Geometry, machine: MachineModel) -> float:
    """Return how many of the parts, in their order, come out of the stock; NaN if none."""
    if not geometry.parts:
        return math.nan
    count = 0
    left = geometry.front - machine.bed.stub - machine.cutting.trim
    for part in geometry.parts:
        for _ in range(part.count):
            left -= part.length + machine.cutting.kerf
            if left < -1e-6:
                return float(count)
            count += 1
    return float(count)


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
        for mask, rows_of_mask in _alike(held, rows):
            self._choose(stocks, rows_of_mask, mask, (choices, supports, which))
        columns = self._columns(stocks, choices, supports, which)
        columns |= self._severing(stocks, choices, which, tabs)
        seats = tuple(
            self._seat(choice, usable) for choice, usable in zip(choices, supports, strict=True)
        )
        return Carry(tuple(choices), tuple(supports), which, columns, seats)

    def _choose(
        self,
        stocks: Stocks,
        rows: NDArray[np.intp],
        is_held: tuple[bool, ...],
        into: tuple[list[Choice], list[Usable], NDArray[np.intp]],
    ) -> None:
        """Choose stations for some rows, all with the same pieces held by tabs."""
        choices, supports, which = into
        best, every = self.usable.best_seated(), self.usable
        given = self.geometry.stations
        if given:
            stations = tuple(sorted(given))
            choices.append(Choice(stations, "given", self._unit(stations, every, is_held)))
            supports.append(every)
            which[rows] = len(choices) - 1
            return
        todo = rows[self._is_worth_planning(stocks.weight[rows])]
        last = best
        for usable in (best,) if len(best.supports) == len(every.supports) else (best, every):
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

    def _unit(
        self, stations: tuple[float, ...], usable: Usable, is_held: tuple[bool, ...]
    ) -> Rating:
        return unit_rating(self.bed(usable, is_held), stations)

    def _is_worth_planning(self, weight: Floats) -> Bools:
        """Say whether the bed takes this stock at all; if not, no plan is sought."""
        machine, geometry = self.machine, self.geometry
        if geometry.front > machine.limit("stock_length").absolute * (1 + 1e-9):
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
        torque = self.torque(stocks, piece.length)
        kerf = self.machine.cutting.kerf
        return TabsOf(*tabs_of(stocks.tubes, piece.length, torque, kerf, self.figures.tab_rules))

    def torque(self, stocks: Stocks, length: float) -> Floats:
        """Return N*mm that starts a free piece turning with the stock."""
        return stocks.turning * length / 1e3 * self.machine.rotary.acceleration

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
        slack = spread(
            [math.nan if item is None else item.absolute / item.rated for item in strongest]
        )
        with np.errstate(divide="ignore", invalid="ignore"):
            rated = np.where(share > 0, reaction / share, top)
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
            "stations_blocked": spread([self._blocked(choice.stations) for choice in choices]),
            "stations_spare": spread(
                [
                    len(usable.supports) - len(choice.stations)
                    for choice, usable in zip(choices, supports, strict=True)
                ]
            ),
            "tab_strength": stocks.tubes.yield_strength / self.figures.tab_safety,
            "reaction_rated": rated,
            "reaction_absolute": rated * slack,
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
        low, high = np.full(len(outside), np.nan), np.full(len(outside), np.nan)
        angles = self.figures.seat_angles
        for number, (choice, usable) in enumerate(zip(choices, supports, strict=True)):
            used = {item.code: item for item in dealt(usable, len(choice.stations))}
            rows = np.flatnonzero(which == number)
            sizes, back = np.unique(outside[rows], return_inverse=True)
            for support in used.values():
                centre = np.array(
                    [seated(support, size, angles).centre for size in sizes.tolist()]
                )[back]
                low[rows] = np.fmin(low[rows], centre)
                high[rows] = np.fmax(high[rows], centre)
        return low, high

    def _severing(
        self,
        stocks: Stocks,
        choices: Sequence[Choice],
        which: NDArray[np.intp],
        tabs: Sequence["TabsOf"],
    ) -> dict[str, Floats]:
        """Return what the rules read of parts as they come free."""
        rows = len(stocks.weight)
        unheld, tabbed = np.zeros(rows), np.zeros(rows)
        worst = np.full(rows, np.nan)
        behaviours = [
            [piece.behaviour != "stays" for piece in self.pieces(choice.stations)]
            for choice in choices
        ]
        for number, (piece, tab) in enumerate(zip(self.free, tabs, strict=True)):
            loose = np.array([item[number] for item in behaviours], dtype=np.bool_)[which]
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
        torque = self.torque(stocks, piece.length)
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


class CarriedMany(NamedTuple):
    """Stock of many lengths that is not cut: rows that are settled, and what rules read of them.

    Attributes:
        is_settled: of all rows; the others below are of those that are.
        stations, which: distinct stations, and which ones each row has.
        seat: how a round sits on these supports.
    """

    is_settled: Bools
    columns: dict[str, Floats]
    stations: tuple[tuple[float, ...], ...]
    which: NDArray[np.intp]
    seat: str


def carry_many(
    machine: MachineModel, usable: Usable, figures: Figures, length: Floats, stocks: Stocks
) -> CarriedMany:
    """Plan stock of many lengths that is not cut; what a :class:`Carrier` would find of each."""
    best = usable.best_seated()
    bed = Carrier(machine, Geometry(1.0), usable, figures).bed(best, ())
    limits = machine.limit("stock_length").absolute, machine.limit("stock_mass").absolute
    mass = stocks.weight * length / GRAVITY
    is_worth = ~((length > limits[0] * (1 + 1e-9)) | (mass > limits[1] * HOPELESS))
    if best.supports:
        plan = plan_many(bed, length, stocks.weight, stocks.stiffness)
    else:
        # Nothing can stand under it, whatever it weighs: the chuck alone is what there is.
        plan, is_worth = alone(bed, length), np.ones(len(length), dtype=np.bool_)
    settled = np.flatnonzero(plan.is_settled & is_worth)
    is_settled = np.zeros(len(length), dtype=np.bool_)
    is_settled[settled] = True
    if not settled.size:
        return CarriedMany(is_settled, {}, (), settled, "good")
    some, count = stocks.take(settled), plan.supports[settled]
    unit = {name: values[settled] for name, values in plan.demands.items()}
    weight, rows = some.weight, len(settled)
    reaction, share = unit["support_reaction"], unit["support_share"]
    top = best.supports[0].reaction if best.supports else UNSTATED
    with np.errstate(divide="ignore", invalid="ignore"):
        rated = np.where(share > 0, reaction / share, top.rated)
    sizes, back = np.unique(some.outside, return_inverse=True)
    # What has no support under it has no centre height either.
    centre = np.array(
        [
            seated(item, size, figures.seat_angles).centre
            for size in sizes.tolist()
            for item in best.supports[:1]
        ]
        or [math.nan] * len(sizes)
    )[back]
    centre = np.where(count > 0, centre, np.nan)
    distinct, which = np.unique(
        np.nan_to_num(plan.stations[settled], nan=-1.0), axis=0, return_inverse=True
    )
    every: list[list[float]] = distinct.tolist()
    columns = {
        "carried_span": unit["span"],
        "carried_overhang": unit["overhang"],
        "carried_sag": unit["sag"] * (weight / some.stiffness),
        "carried_chuck_reaction": weight * (unit["chuck_reaction"] + 0.0),
        "carried_chuck_moment": weight * unit["chuck_moment"] / 1e3,
        "carried_reaction": weight * reaction,
        "carried_lifted": np.zeros(rows),
        "stations_blocked": np.zeros(rows),
        "stations_spare": len(best.supports) - count.astype(np.float64),
        "parts_unheld": np.zeros(rows),
        "parts_tabbed": np.zeros(rows),
        "worst_tab_stress": np.full(rows, np.nan),
        "tab_strength": some.tubes.yield_strength / figures.tab_safety,
        "reaction_rated": rated,
        "reaction_absolute": rated * (top.absolute / top.rated),
        "centre_low": centre,
        "centre_high": centre,
    }
    seat = best.seats[0] if best.seats[:1] in (("shallow",), ("wedged",)) else "good"
    stations = tuple(tuple(at for at in row if at >= 0) for row in every)
    return CarriedMany(is_settled, columns, stations, which.ravel(), seat)


class TabsOf(NamedTuple):
    """Tabs that hold one piece, for every stock; NaN where none can."""

    number: Floats
    width: Floats
    stress: Floats


def dealt(usable: Usable, count: int) -> tuple[Support, ...]:
    """Return the supports that stand on so many stations, strongest first."""
    strong = usable.strongest_first()
    return strong[:count] + strong[-1:] * max(count - len(strong), 0)


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


def grid_of(machine: MachineModel) -> tuple[float, ...]:
    """Return the stations of the bed."""
    bed = machine.bed
    count = math.floor((bed.last_station - bed.first_station) / bed.station_pitch + 1e-9) + 1
    return tuple(
        bed.first_station + number * bed.station_pitch
        for number in range(min(count, MOST_STATIONS))
    )


def _bound(machine: MachineModel, name: str, factor: float = 1.0) -> Bound:
    limit = machine.limit(name)
    return Bound(limit.rated * factor, limit.absolute * factor)
