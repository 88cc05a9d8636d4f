"""What carrying asks of stock and machine: weight, stiffness, what fits under it, its cuts."""

import math
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...catalogue.grades.grades import Grade
from ...catalogue.grades.tolerances import mill_range
from ...catalogue.machines.model import MachineModel, Support
from ...catalogue.tables.sections import Section
from ..arrays import GRAVITY, Floats
from ..inputs.figures import Figures
from ..jobs.job import Geometry
from ..tolerance import TOLERANCE
from .part_release import Tube
from .seating import Seated, seated

MOST_STATIONS: Final = 400


class Stocks(NamedTuple):
    """Stocks, one a row.

    Attributes:
        weight: heavy end, N/mm.
        stiffness: EI with the thin wall, N*mm^2.
        outside: diameter of a round, the height of other shapes, mm.
        tubes: what tabs are cut from.
        turning: polar inertia per length at the heavy end, kg*mm^2 / mm.
        nominal_weight: N/mm.
    """

    weight: Floats
    stiffness: Floats
    outside: Floats
    tubes: Tube
    turning: Floats
    nominal_weight: Floats

    def take(self, rows: NDArray[np.intp]) -> "Stocks":
        """Return some of the rows."""
        return Stocks(
            self.weight[rows], self.stiffness[rows], self.outside[rows],
            Tube(*(column[rows] for column in self.tubes)), self.turning[rows],
            self.nominal_weight[rows],
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


@lru_cache(maxsize=65536)
def stock_numbers(section: Section, grade: Grade, coating_mass: float) -> tuple[float, ...]:
    """Return the numbers of :class:`Stocks` for one stock; ``coating_mass`` in kg/m."""
    mill = mill_range(section, grade.product)
    bare = grade.density * section.area / 1e6
    mass = (bare * mill.mass_ratio + coating_mass) / 1e3  # kg/mm
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
        (bare + coating_mass) / 1e3 * GRAVITY,
    )  # fmt: skip


def stocks_of(numbers: Floats) -> Stocks:
    """Return stocks of rows of :func:`stock_numbers`."""
    weight, stiffness, outside, radius, wall, girth, strength, mass, turning, nominal = numbers.T
    tubes = Tube(radius, wall, girth, strength, mass)
    return Stocks(weight, stiffness, outside, tubes, turning, nominal)


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


def dealt(usable: Usable, count: int) -> tuple[Support, ...]:
    """Return the supports that stand on so many stations, strongest first."""
    strong = usable.strongest_first()
    return strong[:count] + strong[-1:] * max(count - len(strong), 0)


def grid_of(machine: MachineModel) -> tuple[float, ...]:
    """Return the stations of the bed."""
    bed = machine.bed
    count = math.floor((bed.last_station - bed.first_station) / bed.station_pitch + TOLERANCE) + 1
    return tuple(
        bed.first_station + number * bed.station_pitch
        for number in range(min(count, MOST_STATIONS))
    )
