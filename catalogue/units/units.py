"""Units, their dimensions, and exact conversion.

Inside the program every quantity is held in the canonical unit of its dimension (mm, kg,
N, N*m, MPa, kg*m^2 …): the units of the JSON answer.
"""

import math
from fractions import Fraction
from functools import cache
from typing import Final, NamedTuple

from ..errors import InputError
from ..nearest import did_you_mean

Dimension = tuple[int, int, int]
"""Exponents of mass, length and time. Angles are pure numbers."""

# Exact by definition: international inch and pound (1959), standard gravity (CGPM 1901).
_INCH = Fraction(254, 10_000)
_FOOT = 12 * _INCH
_POUND = Fraction(45_359_237, 100_000_000)
_GRAVITY = Fraction(980_665, 100_000)
_POUND_FORCE = _POUND * _GRAVITY
_TURN = Fraction(2 * math.pi)  # the only factor here that is not exact

LENGTH: Final[Dimension] = (0, 1, 0)
MASS: Final[Dimension] = (1, 0, 0)
NUMBER: Final[Dimension] = (0, 0, 0)
FORCE: Final[Dimension] = (1, 1, -2)
STRESS: Final[Dimension] = (1, -1, -2)
TORQUE: Final[Dimension] = (1, 2, -2)
INERTIA: Final[Dimension] = (1, 2, 0)
AREAL_MASS: Final[Dimension] = (1, -2, 0)
LINEAR_MASS: Final[Dimension] = (1, -1, 0)
DENSITY: Final[Dimension] = (1, -3, 0)
AREA: Final[Dimension] = (0, 2, 0)
SPEED: Final[Dimension] = (0, 0, -1)
ACCELERATION: Final[Dimension] = (0, 0, -2)
TIME: Final[Dimension] = (0, 0, 1)


PURE: Final = "1"
"""The unit of a pure number. Only the key ``unit`` of a file spells it; a quantity has none."""


class Unit(NamedTuple):
    """A unit: how it is written, its dimension, and its exact size in SI base units."""

    name: str
    dimension: Dimension
    factor: Fraction


_UNITS: dict[str, tuple[Dimension, Fraction]] = {
    PURE: (NUMBER, Fraction(1)),
    "%": (NUMBER, Fraction(1, 100)),
    "rad": (NUMBER, Fraction(1)),
    "deg": (NUMBER, _TURN / 360),
    "mm": (LENGTH, Fraction(1, 1000)),
    "cm": (LENGTH, Fraction(1, 100)),
    "m": (LENGTH, Fraction(1)),
    "in": (LENGTH, _INCH),
    "ft": (LENGTH, _FOOT),
    "mm^2": (AREA, Fraction(1, 10**6)),
    "cm^2": (AREA, Fraction(1, 10**4)),
    "in^2": (AREA, _INCH**2),
    "kg": (MASS, Fraction(1)),
    "t": (MASS, Fraction(1000)),
    "lb": (MASS, _POUND),
    "kg/m": (LINEAR_MASS, Fraction(1)),
    "lb/ft": (LINEAR_MASS, _POUND / _FOOT),
    "kg/m^2": (AREAL_MASS, Fraction(1)),
    "g/m^2": (AREAL_MASS, Fraction(1, 1000)),
    "kg/m^3": (DENSITY, Fraction(1)),
    "kg*m^2": (INERTIA, Fraction(1)),
    "lb*ft^2": (INERTIA, _POUND * _FOOT**2),
    "N": (FORCE, Fraction(1)),
    "kN": (FORCE, Fraction(1000)),
    "lbf": (FORCE, _POUND_FORCE),
    "N*m": (TORQUE, Fraction(1)),
    "kN*m": (TORQUE, Fraction(1000)),
    "lbf*ft": (TORQUE, _POUND_FORCE * _FOOT),
    "MPa": (STRESS, Fraction(10**6)),
    "GPa": (STRESS, Fraction(10**9)),
    "N/mm^2": (STRESS, Fraction(10**6)),
    "psi": (STRESS, _POUND_FORCE / _INCH**2),
    "ksi": (STRESS, 1000 * _POUND_FORCE / _INCH**2),
    "rad/s": (SPEED, Fraction(1)),
    "rpm": (SPEED, _TURN / 60),
    "rad/s^2": (ACCELERATION, Fraction(1)),
    "s": (TIME, Fraction(1)),
    "ms": (TIME, Fraction(1, 1000)),
}

_ALIASES: dict[str, str] = {
    '"': "in",
    "''": "in",
    "inch": "in",
    "inches": "in",
    "'": "ft",
    "foot": "ft",
    "feet": "ft",
    "footer": "ft",
    "footers": "ft",
    "millimetre": "mm",
    "millimetres": "mm",
    "millimeter": "mm",
    "millimeters": "mm",
    "centimetre": "cm",
    "centimetres": "cm",
    "centimeter": "cm",
    "centimeters": "cm",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "mtr": "m",
    "kilogram": "kg",
    "kilograms": "kg",
    "kgs": "kg",
    "pound": "lb",
    "pounds": "lb",
    "lbs": "lb",
    "tonne": "t",
    "tonnes": "t",
    "kgm2": "kg*m^2",
    "kgm^2": "kg*m^2",
    "lbft2": "lb*ft^2",
    "lbft^2": "lb*ft^2",
    "nm": "N*m",
    "knm": "kN*m",
    "ft*lbf": "lbf*ft",
    "ftlbf": "lbf*ft",
    "lb*ft": "lbf*ft",
    "n/mm2": "MPa",
    "r/min": "rpm",
    "rev/min": "rpm",
    "percent": "%",
    "degrees": "deg",
    "sec": "s",
}

_CANONICAL: dict[Dimension, str] = {
    NUMBER: PURE,
    LENGTH: "mm",
    AREA: "mm^2",
    MASS: "kg",
    LINEAR_MASS: "kg/m",
    AREAL_MASS: "kg/m^2",
    DENSITY: "kg/m^3",
    INERTIA: "kg*m^2",
    FORCE: "N",
    TORQUE: "N*m",
    STRESS: "MPa",
    SPEED: "rad/s",
    ACCELERATION: "rad/s^2",
    TIME: "s",
}

_BY_FOLD = {name.casefold(): name for name in _UNITS}


def unit(name: str, wanted: Dimension | None = None) -> Unit:
    """Return the unit written ``name``; case and a trailing full stop do not matter.

    Any unit is returned, but only units of the ``wanted`` dimension are suggested.

    Raises:
        InputError: ``unit-unknown``.
    """
    text = name.strip().casefold().rstrip(".").replace("·", "*").replace(" ", "")
    text = text.replace("²", "^2").replace("³", "^3").replace("-", "*")
    text = _ALIASES.get(text, text)
    known = _BY_FOLD.get(text.casefold())
    if known is None:
        close = [
            item
            for item in (*_UNITS, *_ALIASES)
            if wanted in (None, _UNITS[_ALIASES.get(item, item)][0])
        ]
        raise InputError(
            "unit-unknown",
            f"unit {name.strip()!r} is not known",
            remedy=did_you_mean(text, close, otherwise=_units_to_write(wanted or LENGTH)),
        )
    dimension, factor = _UNITS[known]
    return Unit(known, dimension, factor)


def _units_to_write(dimension: Dimension) -> str:
    """Return the remedy that names the units a quantity can be written in."""
    if dimension == LENGTH:
        return "Write mm, m, in or ft."
    names = [name for name in units_of(dimension) if name != PURE]
    if dimension == NUMBER:
        return f"Write the number alone, or with {' or '.join(names)}."
    return f"Write {' or '.join(names)}."


def canonical(dimension: Dimension) -> Unit:
    """Return the unit that quantities of ``dimension`` are held in."""
    name = _CANONICAL[dimension]
    return Unit(name, dimension, _UNITS[name][1])


@cache
def ratio_to_canonical(name: str, dimension: Dimension) -> tuple[int, int] | None:
    """Return how many canonical units one ``name`` is, as two whole numbers.

    None where ``name`` is not exactly the name of a unit of this dimension.
    """
    known = _UNITS.get(name)
    if known is None or known[0] != dimension:
        return None
    ratio = known[1] / canonical(dimension).factor
    return ratio.numerator, ratio.denominator


def units_of(dimension: Dimension) -> list[str]:
    """Return the names of all units of ``dimension``, as they are written."""
    return [name for name, (of, _) in _UNITS.items() if of == dimension]


def in_words(name: str) -> str:
    """Return what a value is said to be in: ``in mm``, or ``as a pure number``."""
    return "as a pure number" if name == PURE else f"in {name}"


def has_canonical(dimension: Dimension) -> bool:
    """Say whether quantities of ``dimension`` can be named by the tool."""
    return dimension in _CANONICAL


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """Convert a float between two units of one dimension.

    Raises:
        InputError: ``unit-mismatch``.
    """
    source, target = unit(from_unit), unit(to_unit)
    if source.dimension != target.dimension:
        raise InputError("unit-mismatch", f"{from_unit} and {to_unit} measure different things")
    return float(Fraction(value) * source.factor / target.factor) if value else 0.0
