"""What is fixed to the stock, read from text: a mass beside the axis, or a flange about it."""

import math
import re
from collections.abc import Callable
from typing import Final, NamedTuple

from ...catalogue.errors import InputError, OpenQuestion
from ...catalogue.flanges import CLASSES, FLANGES, INCH, PIPES, SIZES, SOURCE
from ...catalogue.nearest import did_you_mean
from ...catalogue.units.quantities import quantity
from ...catalogue.units.units import MASS


class Fitting(NamedTuple):
    """A flange, branch or clamp: mass in kg, distance of its centre from the axis in mm.

    ``size`` is its greatest width across the axis in mm, NaN where it is not said.
    """

    mass: float = 0.0
    distance: float = 0.0
    size: float = math.nan


LengthReader = Callable[[str, str], float]
"""Reads a length from its text; the second text is what errors call it."""

_FLANGE: Final = re.compile(
    r"(?P<kind>.*?)\bflange\s+(?:nps\s*)?(?P<size>[\d\s/.-]+?)\s*"
    r"(?:\"|in\b)?\s*(?:(?:class|cl\.?|#)\s*(?P<rating>\d+)|(?P<pounds>\d+)\s*(?:#|lb\b))?\s*"
    r"(?:,\s*(?P<mass>.+))?",
    re.IGNORECASE | re.DOTALL,
)
_RINGS: Final = {"slip-on": True, "so": True, "plate": True, "lap-joint": True, "blind": False}
"""Kinds whose mass follows from the drawing, and whether the pipe goes through them."""


def read_fitting(text: str, length: LengthReader) -> tuple[Fitting, str]:
    """Read ``12 kg @ 150 mm``, ``12 kg @ 150 mm x 80 mm`` or ``blind flange 6 class 150``.

    Returns:
        The fitting, and the sentence that says what was looked up; empty if nothing.

    Raises:
        InputError: ``value-range``, ``flange-unknown``, or as lengths and masses raise.
        OpenQuestion: ``which-flange-class``, ``flange-mass``, or as lengths and masses raise.
    """
    match = _FLANGE.fullmatch(text.strip())
    if match:
        return _flange(match, text.strip())
    mass, mark, place = (part.strip() for part in text.partition("@"))
    if not mark:
        raise InputError(
            "value-range",
            f"off-axis mass {text.strip()!r} has no distance",
            remedy="Write it like '12 kg @ 150 mm': mass, and distance from the axis; with its "
            "width '12 kg @ 150 mm x 80 mm'; a flange like 'blind flange 6 class 150'.",
        )
    distance, _, size = (part.strip() for part in re.sub("[\u00d7]", "x", place).partition("x"))
    weight = _within(lambda: _mass(mass), "", f" @ {place}")
    after = f" x {size}" if size else ""
    away = _within(lambda: length(distance, "distance from the axis"), f"{mass} @ ", after)
    if not size:
        return Fitting(weight, away), ""
    wide = _within(lambda: length(size, "width of what is fixed"), f"{mass} @ {distance} x ", "")
    return Fitting(weight, away, wide), ""


def _within(read: Callable[[], float], before: str, after: str) -> float:
    """Read, and complete the choices of a question by what stood around its text."""
    try:
        return read()
    except OpenQuestion as asked:
        code, text, choices = asked.question
        raise OpenQuestion(code, text, [f"{before}{choice}{after}" for choice in choices]) from None


def _mass(text: str) -> float:
    weight = quantity(text, MASS)
    if not 0 < weight <= 100_000:
        raise InputError(
            "value-range",
            f"off-axis mass {text!r} is not above zero and at most 100 t",
            remedy="Leave it out where nothing is fixed beside the axis.",
        )
    return weight


def _flange(match: re.Match[str], text: str) -> tuple[Fitting, str]:
    size = re.sub(r"\s+", "-", match["size"].strip())
    if size not in SIZES:
        raise InputError(
            "flange-unknown",
            f"no flange of size {size[:20]!r} is known",
            remedy=f"Known: NPS {', '.join(SIZES)}. Else write mass and widths: '12 kg @ 0 mm x "
            f"300 mm'. {did_you_mean(size, SIZES)}".strip(),
        )
    named, kind = match["rating"] or match["pounds"], match["kind"].strip()
    head = f"{kind} flange {size}".strip()
    if named is None:
        raise OpenQuestion(
            "which-flange-class",
            f"Of which class is the flange {text!r}? Its outside diameter goes by it.",
            [f"{head} class {rating}" for rating in CLASSES],
        )
    flange = FLANGES.get((size, int(named)))
    if flange is None:
        raise InputError(
            "flange-unknown",
            f"flanges of class {named} are not known",
            remedy=f"Known: {', '.join(map(str, CLASSES))}. Else write mass and width: '12 kg @ "
            "0 mm x 300 mm'.",
        )
    head = f"{head} class {named}"
    code = re.sub(r"[\s_]+", "-", kind.casefold())
    if match["mass"]:
        weight, basis = _within(lambda: _mass(match["mass"]), f"{head}, ", ""), "as stated"
    elif code in _RINGS:
        bore = PIPES[size] * INCH if _RINGS[code] else 0.0
        weight, basis = flange.mass(bore), "of its ring by the least thickness, holes not taken off"
    else:
        raise OpenQuestion(
            "flange-mass",
            f"What does the flange {text!r} weigh? A hub is not in the table.",
            [f"{head}, MASS", f"slip-on flange {size} class {named}",
             f"blind flange {size} class {named}"],
        )  # fmt: skip
    outside = flange.outside * INCH
    told = (
        f"Flange {size} class {named}: {flange.outside:g} in across ({SOURCE}), {weight:.3g} kg "
        f"({basis}); taken as centred on the axis."
    )
    return Fitting(weight, 0.0, outside), told
