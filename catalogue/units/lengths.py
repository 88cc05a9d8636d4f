"""The text people write lengths in: feet and inches, metres and the rest, ranges, counts.

What has two readings is asked about, and its choices can be typed as they stand.
"""

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import Final, NamedTuple

from ..errors import InputError, OpenQuestion
from .quantities import NUMBER_PATTERN, QUANTITY, comma_readings, number, tidy
from .units import LENGTH, unit

INCH_UNITS: Final = frozenset({"in", "ft"})
"""Units of length in which a size is one of the inch column of its standard."""


def written_inches(text: str) -> Fraction | None:
    """Return the inches, exactly, of a length that is written in inches or feet.

    None for a length in another unit, and for what cannot be read.
    """
    try:
        match = QUANTITY.fullmatch(tidy(text))
        if match is None or match[1] == "-":
            return None
        given = unit(match[3] or "1", LENGTH)
        if given.name not in INCH_UNITS:
            return None
        return number(match[2]) * given.factor / unit("in").factor
    except (InputError, OpenQuestion):
        return None


_MIXED_QUANTITY = re.compile(r"\d+[ -]+\d+/\d+\s*(?:[a-z'\"]+\.?)?")  # 2-1/2 in is no range
_FEET_AND_INCHES = re.compile(
    rf"([+-]?)\s*({NUMBER_PATTERN})\s*(?:'|ft\.?|feet|foot)\s*-?\s*"
    rf"({NUMBER_PATTERN})\s*(?:\"|in\.?|inch|inches)?"
)
_UNIT_PATTERN = r"(?:'|\"|(?!e)[a-z]+\.?)"
_RANGE = re.compile(
    rf"({NUMBER_PATTERN})\s*({_UNIT_PATTERN})?\s*(?:-|\bto\b)\s*"
    rf"({NUMBER_PATTERN})\s*({_UNIT_PATTERN})"
)
_BARE_PAIR = re.compile(rf"({NUMBER_PATTERN})\s*(?:-|\bto\b)\s*({NUMBER_PATTERN})")
_COUNTED = re.compile(
    r"(?P<count>\d+)\s*(?:x|\*|pcs?\b\.?|pieces?\b|off\b)\s*(?:of\b\s*)?(?P<one>\S.*)"
    r"|(?P<one_>.*\S)\s*[x*]\s*(?P<count_>\d+)\s*(?:pcs?|pieces?)?\.?"
)
_METRES_AND_REST = re.compile(rf"(\d+)\s*m\s*(?:and\b\s*|\+\s*)?({NUMBER_PATTERN})\s*(mm|cm)")
_GROUP_OR_DECIMAL = re.compile(r"[1-9]\d{0,2}\.\d{3}")


class Bounds(NamedTuple):
    """Between what a length must lie, exactly in mm; ``words`` say so in messages."""

    most: Fraction
    words: str
    remedy: str
    has_zero: bool = False

    def hold(self, size: Fraction) -> bool:
        """Say whether ``size`` lies within, and is no hair above zero that floats lose."""
        # A hair of room: the longest stock, written in inches, is not beyond itself.
        most = self.most * (1 + Fraction(1, 10**15))
        return (0 < size <= most and float(size) > 0) or (self.has_zero and size == 0)


STOCK: Final = Bounds(
    Fraction(100_000), "above zero and at most 100 m", "Check the number and its unit."
)


def length(text: str, *, what: str = "length", bounds: Bounds = STOCK) -> float:
    """Read a length as people write it and return millimetres.

    Understands ``21'-0 1/2"``, ``21.5 ft``, ``6,1 m``, ``12m``, ``240 in``, ``2-1/2"``.

    Raises:
        InputError: ``length-unreadable``, ``length-range``, ``unit-unknown`` …
        OpenQuestion: ``length-unit``, ``decimal-or-thousands``, ``random-length``; its choices
            can be typed as they stand.
    """
    if bounds is STOCK and (plain := plain_length(text)) is not None:
        return plain
    try:
        exact = _exact_length(text, what, bounds)
    except OpenQuestion as asked:
        choices = _typed_choices(text, asked.question.choices, what, bounds)
        if not choices:
            raise _out_of_range(text, what, bounds) from None
        raise OpenQuestion(asked.question.code, asked.question.text, choices) from None
    if not bounds.hold(exact):
        raise _out_of_range(text, what, bounds)
    return float(exact)


# Millimetres of a unit as a whole number of ten-thousandths.
_PLAIN_UNITS: Final = {"mm": 10_000, "cm": 100_000, "m": 10_000_000, "in": 254_000,
                       "ft": 3_048_000}  # fmt: skip
_PLAIN_LENGTH = re.compile(r" *([0-9]{1,9})(?:\.([0-9]{1,9}))? ?(mm|cm|m|in|ft) *")
SURELY_SHORT: Final = 99_999.0
"""mm below which a length is within bounds, whatever is lost in rounding."""


def plain_length(text: str) -> float | None:
    """Return the millimetres of a plain decimal with a unit, as :func:`length` would.

    None for every other text, and where it is not surely within the bounds of stock. Most lengths
    are such, and this is thirty times as fast as reading what people may write besides. A quotient
    of whole numbers is rounded once, as a fraction would be.
    """
    match = _PLAIN_LENGTH.fullmatch(text)
    if match is None:
        return None
    whole, part, unit_text = match[1], match[2] or "", match[3]
    if len(part) == 3 and len(whole) <= 3:
        return None  # it may be thousands
    size = int(whole + part) * _PLAIN_UNITS[unit_text] / 10 ** (len(part) + 4)
    return size if 0 < size < SURELY_SHORT else None


def _out_of_range(text: str, what: str, bounds: Bounds) -> InputError:
    return InputError(
        "length-range",
        f"{what} {text.strip()[:40]!r} is not {bounds.words}",
        remedy=bounds.remedy,
    )


def _decimal(whole: str, part: str) -> str:
    """Return a decimal that nobody takes for thousands: three places become fewer, or four."""
    short = part.rstrip("0")
    return whole if not short else f"{whole}.{short}{'0' if len(short) == 3 else ''}"


def _typed_choices(text: str, choices: Sequence[str], what: str, bounds: Bounds) -> list[str]:
    """Return the choices as whole lengths that are read without a further question."""
    choices = comma_readings(text) or choices
    typed: list[str] = []
    for choice in choices:
        try:
            length(choice, what=what, bounds=bounds)
        except OpenQuestion as asked:
            typed += asked.question.choices
        except InputError:
            continue  # out of range: no choice
        else:
            typed.append(choice)
    return list(dict.fromkeys(typed))


def _exact_length(text: str, what: str, bounds: Bounds) -> Fraction:
    """Read a length of any sign or size as exact millimetres; see :func:`length`."""
    plain = tidy(text)
    size = _of_two_units(plain, text, what)
    if size is not None:
        return size
    if not _MIXED_QUANTITY.fullmatch(plain):
        _refuse_two_numbers(plain, text, what)
    match = QUANTITY.fullmatch(plain)
    if match is None:
        raise _unreadable(text, what)
    sign, digits, unit_text = match.groups()
    if not unit_text:
        if sign == "-":
            raise _out_of_range(text, what, bounds)
        number(digits)  # no number is worse than no unit
        raise OpenQuestion(
            "length-unit",
            f"In which unit is the {what} {text.strip()!r}?",
            [f"{digits} {name}" for name in ("ft", "m", "in", "mm")],
        )
    if " " in unit_text.strip():
        raise _unreadable(text, what)  # more words, more numbers: not one length
    given = unit(unit_text, LENGTH)
    if given.dimension != LENGTH:
        raise InputError(
            "unit-mismatch",
            f"{what} {text.strip()!r} is in {given.name}, which is not a unit of length",
            remedy="Write mm, cm, m, in or ft.",
        )
    value = number(digits)
    if given.name == "mm" and sign != "-" and _GROUP_OR_DECIMAL.fullmatch(digits):
        _ask_about_point(digits, bounds)
    return (-value if sign == "-" else value) * given.factor * 1000


def _of_two_units(plain: str, text: str, what: str) -> Fraction | None:
    """Read ``20'-6"`` and ``6 m 100 mm``; None where the text is neither."""
    if match := _FEET_AND_INCHES.fullmatch(plain):
        feet, inches = number(match[2]), number(match[3])
        if inches >= 12:
            raise InputError(
                "length-unreadable",
                f"{what} {text.strip()!r} has 12 inches or more beside feet",
                remedy="Write feet with less than 12 inches, or inches alone.",
            )
        size = (feet * 12 + inches) * Fraction(254, 10)
        return -size if match[1] == "-" else size
    if match := _METRES_AND_REST.fullmatch(plain):
        rest = number(match[2]) * unit(match[3]).factor * 1000
        return int(match[1]) * 1000 + rest if rest < 1000 else None
    return None


def _unreadable(text: str, what: str) -> InputError:
    return InputError(
        "length-unreadable",
        f"{what} {text.strip()!r} cannot be read",
        remedy="Write it like 20 ft, 21'-6\", 6.1 m, 6,1 m or 6100 mm.",
    )


def _ask_about_point(digits: str, bounds: Bounds) -> None:
    """Ask whether ``6.000 mm`` is six millimetres or six metres.

    Only in millimetres, where the point is a thousands mark in half of the world: three places
    are common in inches and metres. Where six metres are out of ``bounds`` nothing is open.
    """
    whole, _, part = digits.partition(".")
    if bounds.hold(Fraction(whole + part)):
        raise OpenQuestion(
            "decimal-or-thousands",
            f"Is the point in {digits!r} a decimal point or a thousands mark?",
            [f"{_decimal(whole, part)} mm", f"{whole}{part} mm"],
        )


def _refuse_two_numbers(plain: str, text: str, what: str) -> None:
    """Ask or refuse where a text has two lengths, or a count and a length.

    Raises:
        InputError: ``length-unreadable``.
        OpenQuestion: ``random-length``.
    """
    if match := _RANGE.fullmatch(plain):
        first, second = f"{match[1]} {match[2] or match[4]}", f"{match[3]} {match[4]}"
        choices = [second, first]
        if _is_feet(match[2] or match[4]) and _is_feet(match[4]) and _inches(match[3]):
            choices.append(f"{match[1]}'-{match[3]}\"")
        raise OpenQuestion(
            "random-length",
            f"Random lengths {text.strip()!r}: how long is the longest piece to be loaded?"
            if what == "length"
            else f"{what} {text.strip()!r} is a range. Which of it is meant?",
            choices,
        )
    if match := _BARE_PAIR.fullmatch(plain):
        raise InputError(
            "length-unreadable",
            f"{what} {text.strip()!r} has two numbers and no unit",
            remedy=f"Write {match[1]}'-{match[2]}\" for feet and inches, or one with its unit."
            if _inches(match[2])
            else f"Write the longest with its unit, like {match[2]} ft.",
        )
    if match := _COUNTED.fullmatch(plain):
        one, count = match["one"] or match["one_"], match["count"] or match["count_"]
        raise InputError(
            "length-unreadable",
            f"{what} {text.strip()!r} names more than one piece",
            remedy=f"Give the length of one, like {one}; parts to be cut from it are said with "
            f"--part, like {one}*{count}.",
        )


def _is_feet(text: str) -> bool:
    return unit(text).name == "ft"


def _inches(digits: str) -> bool:
    """Say whether a number can stand behind feet."""
    return "," not in digits and number(digits) < 12
