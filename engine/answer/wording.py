"""Numbers and sentences as people read them, in SI or US units."""

import math
from typing import Final, Literal

import numpy as np

from ...catalogue.errors import InputError
from ...catalogue.tables.sections import INCH
from ...catalogue.units.quantities import tidy
from ...catalogue.units.units import convert
from ...rules.expression import Name, Numeric
from ...rules.model import Template
from ..decision.conditions import Scope, exceeds, number_of

System = Literal["si", "us"]
SYSTEMS: Final[tuple[System, ...]] = ("si", "us")

_US: Final = {
    "kg": "lb",
    "kg/m": "lb/ft",
    "kg*m^2": "lb*ft^2",
    "N": "lbf",
    "N*m": "lbf*ft",
    "MPa": "ksi",
}
_LONG: Final = 1000.0  # mm: from here a US length is shown in feet and inches


def system_of(text: str) -> System:
    """Return the unit system a length was typed in."""
    try:
        plain = tidy(text)
    except InputError:
        return "si"  # the text will be refused where it is read
    marks = ("'", '"', "ft", "feet", "foot", "in")
    return "us" if any(mark in plain for mark in marks) else "si"


def show(
    value: float, unit: str, system: System = "si", style: str = "", *, digits: int = 5
) -> str:
    """Return a quantity with its unit.

    ``value`` is in ``unit``, a canonical unit; with style ``%`` a pure number is shown as a
    percentage. Sentences that set a number against its limit keep five ``digits``, so that
    an excess is not rounded away.
    """
    if not math.isfinite(value):
        return "not stated"
    if unit == "1":
        percent = f"{_digits(value * 100, min(digits, 4))} %"
        return percent if style == "%" else _digits(value, digits)
    if unit == "mm":
        return _length(value, system)
    if system == "us" and unit in _US:
        other = _US[unit]
        return f"{_digits(convert(value, unit, other), digits)} {_pretty(other)}"
    if unit == "N" and abs(value) >= 1000:
        return f"{_digits(value / 1000, digits)} kN"
    return f"{_digits(value, digits)} {_pretty(unit)}"


def percent(share: float | None) -> str:
    """Return a percentage that never rounds an excess away; empty for none."""
    if share is None:
        return ""
    value = share * 100
    if value > 100 and round(value) == 100:
        return f"{value:.3g} %" if value >= 100.05 else "just over 100 %"
    return f"{value:.0f} %"


def _pretty(unit: str) -> str:
    return unit.replace("*", "·").replace("^2", "²")


def _digits(value: float, digits: int) -> str:
    """Return significant digits; whole numbers stay whole, no trailing zeros."""
    if value == 0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{min(places, 6)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _length(value: float, system: System) -> str:
    if system == "si":
        text = f"{value:.2f}" if abs(value) < _LONG else f"{value:.1f}"
        return f"{text.rstrip('0').rstrip('.')} mm"
    if abs(value) < _LONG:
        return f"{value / 25.4:.3f}".rstrip("0").rstrip(".") + " in"
    return feet_and_inches(value)


def show_at_most(value: float, system: System) -> str:
    """Return a length rounded down: to 1 mm, or to half an inch."""
    if system == "si":
        return _length(math.floor(value + 1e-6), system)
    return feet_and_inches(math.floor(value / 12.7 + 1e-6) * 12.7)


def show_at_least(value: float, system: System) -> str:
    """Return a length rounded up: to 1 mm, or to half an inch."""
    if system == "si":
        return _length(math.ceil(value - 1e-6), system)
    return feet_and_inches(math.ceil(value / 12.7 - 1e-6) * 12.7)


def show_window(window: tuple[float, float], system: System) -> str:
    """Return shortest and longest length, each rounded inward."""
    low, high = show_shortest(window, system), show_longest(window, system)
    return low if low == high else f"{low} to {high}"


def show_longest(window: tuple[float, float], system: System) -> str:
    """Return the longest length rounded down; as it is where that were below the shortest."""
    low, high = window
    is_in = system == "si" or math.floor(high / 12.7 + 1e-6) * 12.7 >= low - 1e-6
    return show_at_most(high, system) if is_in else show(high, "mm", system)


def show_shortest(window: tuple[float, float], system: System) -> str:
    """Return the shortest length rounded up; as it is where that were above the longest."""
    low, high = window
    is_in = system == "si" or math.ceil(low / 12.7 - 1e-6) * 12.7 <= high + 1e-6
    return show_at_least(low, system) if is_in else show(low, "mm", system)


LEAST_TOLERANCE: Final = 0.2
"""mm: supports cannot be levelled closer than this by hand (common practice, no source)."""


def levelling(tolerance: float, system: System) -> str:
    """Say how well supports must be levelled; empty where nothing was found about it.

    ``tolerance`` in mm, infinite where no support is sensitive.
    """
    if not 0 <= tolerance < math.inf:
        return ""
    if tolerance < LEAST_TOLERANCE:
        return "Stiff stock: level by eye, and see that each support turns with it."
    down = math.floor(tolerance * 10 + 1e-9) / 10
    return f"Level the supports to within {show_both(down, 'mm', system, digits=2)}."


def feet_and_inches(value: float) -> str:
    """Return feet, inches and sixteenths: ``20'-6 1/16"``."""
    sixteenths = round(value / 25.4 * 16)
    feet, rest = divmod(sixteenths, 12 * 16)
    inches, part = divmod(rest, 16)
    fraction = ""
    if part:
        shared = math.gcd(part, 16)
        fraction = f" {part // shared}/{16 // shared}"
    return f"{feet}'-{inches}{fraction}\""


def show_size(
    value: float, inches: float | None, system: System, *, is_printed: bool = True
) -> str:
    """Return a size of the stock as it is printed in the unit asked for.

    ``value`` in mm; ``inches`` as printed, None where they are not, and mm are converted. The
    heavy end of a size is not printed, but follows from what is.
    """
    if system == "us" and inches is not None and math.isfinite(inches):
        # A wall of 3/16 in is printed 0.1875; what the mill adds is not printed, and is rounded.
        text = f"{inches:.4f}" if is_printed else f"{inches:.3f}"
        return f"{text.rstrip('0').rstrip('.')} in"
    return show(value, "mm", system)


def show_size_both(value: float, inches: float | None, system: System) -> str:
    """Return a size in the chosen system with the other one in brackets, each as printed."""
    first = show_size(value, inches, system)
    second = show_size(value, inches, "us" if system == "si" else "si")
    return f"{first} ({second})"


def show_both(value: float, unit: str, system: System, *, digits: int = 4) -> str:
    """Return the quantity in the chosen system with the other one in brackets."""
    first = show(value, unit, system, digits=digits)
    second = show(value, unit, "us" if system == "si" else "si", digits=digits)
    return first if first == second else f"{first} ({second})"


class Words:
    """Fills templates for one row of a scope."""

    def __init__(self, scope: Scope, row: int, system: System) -> None:
        self._scope = scope
        self._row = row
        self._system: System = system
        self._values = {
            name: {code: value for value, code in codes.items()}
            for name, codes in scope.codes.items()
        }

    def fill(self, template: Template) -> str:
        """Return the sentence with its values."""
        from ...catalogue.units.units import canonical

        pieces = [template.texts[0]]
        for field, style, text in zip(
            template.fields, template.styles, template.texts[1:], strict=True
        ):
            if isinstance(field, str):
                pieces.append(self._values[field][int(self._scope.facts[field][self._row])])
            else:
                value = float(number_of(field, self._scope)[self._row])
                unit = canonical(field.dimension).name
                if isinstance(field, Name) and field.name in self._scope.inches:
                    inches = float(self._scope.inches[field.name][self._row]) / INCH
                    printed = not field.name.endswith(".heavy")
                    pieces.append(show_size(value, inches, self._system, is_printed=printed))
                else:
                    pieces.append(show(value, unit, self._system, style))
                    pieces.append(self._as_written(field, value))
            pieces.append(text)
        return "".join(pieces)

    def _as_written(self, field: Numeric, value: float) -> str:
        """Return a limit in brackets in its own unit where the unit asked for would mislead.

        Stock with two printed columns can be within a limit in one of them and beyond it in the
        other: NPS 6 is 6.625 in and 168.3 mm, and a limit of 6.625 in is 168.28 mm.
        """
        scope, row = self._scope, self._row
        name = field.name if isinstance(field, Name) else ""
        kind, _, rest = name.partition(".")
        size = rest.partition(".")[0] if kind == "limit" else ""
        if size not in scope.inches:
            return ""
        written: System = "us" if name in scope.in_inches and scope.in_inches[name][row] else "si"
        columns = np.array([scope.numbers[size][row], scope.inches[size][row]])
        is_over = exceeds(columns, np.full(2, value))
        if written == self._system or is_over[0] == is_over[1]:
            return ""
        return f" ({show(value, 'mm', written)})"
