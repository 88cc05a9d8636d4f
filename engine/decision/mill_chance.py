"""How likely delivered stock is over a limit: outside and wall drawn together as mills may ship.

Two laws for both: ``normal``, where a tolerance is three standard deviations and nothing lies
beyond it, about the middle of what the standard permits; and ``uniform``, where every size is as
likely.
Neither is of a standard (common practice, no source). Pieces beyond the mass that the standard
permits are not delivered, so they are left out of both.

Nothing is drawn by chance. Mass, inertia and wall grow with the wall, so at one outside diameter a
limit is one wall, and the share of walls above it is known; what is left is a sum over diameters.
"""

import math
from collections.abc import Callable
from functools import lru_cache
from typing import Final, Literal, NamedTuple

import numpy as np

from ...catalogue.grades.tolerances import MillSpread
from ..arrays import Floats

Law = Literal["normal", "uniform"]
LAWS: Final[tuple[Law, ...]] = ("normal", "uniform")

SIGMAS: Final = 3.0
"""Standard deviations in a tolerance (common practice, no source)."""

HEAT_SHARE: Final = 0.5
"""Share of lots that are alike throughout, for they are of one heat (an assumption, no source)."""

NODES: Final = 128
"""Outside diameters that are summed over; twice as many change no chance by 0.0001."""

_DIGITS: Final = 9
_AT_ONCE: Final = 1024  # limits worked out at a time: memory stays small
_PLACES: Final[Floats] = np.linspace(0.0, 1.0, 4097)


@lru_cache(maxsize=2)
def _below(law: Law) -> Floats:
    """Return the share below each place of a range; the normal one is ``2 SIGMAS`` wide.

    Made where a chance is asked for, and not by every command that could tell one.
    """
    if law == "uniform":
        return _PLACES
    below = [math.erf((2 * place - 1) * SIGMAS / math.sqrt(2)) for place in _PLACES.tolist()]
    return (np.array(below) / below[-1] + 1) / 2


class Quantity(NamedTuple):
    """A number that grows with the outside and with the wall of a round.

    Attributes:
        of: the number by outside and wall, mm.
        wall_at: the wall, mm, at which it reaches a value, by outside and value; infinite where no
            wall reaches it, not above 0 where every wall does.
    """

    of: Callable[[float, float], float]
    wall_at: Callable[[Floats, Floats], Floats]


def _second(_: float, wall: float) -> float:
    return wall


def _same_at_every_size(_: Floats, value: Floats) -> Floats:
    return value


WALL: Final = Quantity(_second, _same_at_every_size)
"""The wall itself."""


def _wall_for_area(outside: Floats, area: Floats | float) -> Floats:
    """Return the wall whose ``wall (outside - wall)`` is ``area``; infinite where none is."""
    free = outside**2 - 4 * area
    return np.where(free < 0, np.inf, (outside - np.sqrt(np.maximum(free, 0.0))) / 2)


def mass_per_length(density: float, zinc: float) -> Quantity:
    """Return mass per length, kg/m, for a density in kg/m^3 and zinc in kg/m."""
    scale = math.pi * density / 1e6

    def of(outside: float, wall: float) -> float:
        return scale * wall * (outside - wall) + zinc

    def wall_at(outside: Floats, value: Floats) -> Floats:
        return _wall_for_area(outside, (value - zinc) / scale)

    return Quantity(of, wall_at)


def inertia_per_length(density: float, zinc: float) -> Quantity:
    """Return polar inertia per length, kg mm^2/m: ``k (D^4 - d^4) + zinc (D^2 + d^2) / 8``.

    ``k`` is ``pi density / 32``; zinc has the radius of gyration of the section, as in the
    measure. The equation is quadratic in ``d^2``.
    """
    k, coat = math.pi * density / 32e6, zinc / 8

    def of(outside: float, wall: float) -> float:
        inner = outside - 2 * wall
        return k * (outside**4 - inner**4) + coat * (outside**2 + inner**2)

    def wall_at(outside: Floats, value: Floats) -> Floats:
        square = outside * outside
        free = coat * coat + 4 * k * (k * square * square + coat * square - value)
        inner = (coat + np.sqrt(np.maximum(free, 0.0))) / (2 * k)
        return np.where(free < 0, np.inf, (outside - np.sqrt(inner)) / 2)

    return Quantity(of, wall_at)


def chance_over(spread: MillSpread, quantity: Quantity, limits: Floats, law: Law) -> Floats:
    """Return for each limit the chance that a delivered piece is over it.

    Args:
        spread: between what the mill may deliver.
        quantity: what the limits are of.
        limits: in the unit of ``quantity``; NaN gives NaN.
        law: of outside and wall.

    Returns:
        Chances to nine decimals; NaN too where nothing that the mill may roll has the mass that it
        may have.
    """
    (small, large), (thin, thick) = spread.outside, spread.wall
    found = np.where(limits < quantity.of(small, thin), 1.0, 0.0)
    found = np.where(np.isnan(limits), np.nan, found)
    open_ = (limits >= quantity.of(small, thin)) & (limits < quantity.of(large, thick))
    edges = np.linspace(0.0, 1.0, NODES + 1)
    weight = np.diff(np.interp(edges, _PLACES, _below(law)))
    outside = small + (large - small) * (edges[1:] + edges[:-1]) / 2
    least, most = (_wall_for_area(outside, area) for area in spread.area)
    least, most = np.maximum(least, thin), np.minimum(np.minimum(most, thick), outside / 2)

    def below(walls: Floats) -> Floats:
        return np.interp((walls - thin) / max(thick - thin, 1e-9), _PLACES, _below(law))

    highest = below(most)
    delivered = (weight * np.maximum(highest - below(least), 0.0)).sum()
    if not delivered > 0:
        return np.full(limits.shape, np.nan)
    places = np.flatnonzero(open_)
    for start in range(0, len(places), _AT_ONCE):
        part = places[start : start + _AT_ONCE]
        walls = quantity.wall_at(outside, limits[part, np.newaxis])
        over = np.maximum(highest - below(np.maximum(walls, least)), 0.0)
        found[part] = np.round((weight * over).sum(axis=1) / delivered, _DIGITS)
    return found


def in_lot(chance: float, pieces: int) -> float:
    """Return the chance that any of so many pieces of one heat is over.

    ``HEAT_SHARE`` of lots are alike throughout, so that one piece over is all of them; in the
    others each piece is drawn by itself. One piece has ``chance`` by either.
    """
    apart = -math.expm1(pieces * math.log1p(-chance)) if chance < 1 else 1.0
    return HEAT_SHARE * chance + (1 - HEAT_SHARE) * apart
