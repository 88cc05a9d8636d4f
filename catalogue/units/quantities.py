"""The text people write quantities in, read exactly.

Text becomes an exact rational number, is converted with exact factors, and rounded to a
float once. So ``3/4 in`` is 19.05 mm to the last bit, and stock written in inches meets a
limit written in millimetres on equal terms.
"""

import re
import unicodedata
from collections.abc import Sequence
from fractions import Fraction
from typing import Final, NamedTuple

from ..errors import InputError, OpenQuestion
from .units import LENGTH, NUMBER, Dimension, canonical, ratio_to_canonical, unit

LONGEST_TEXT: Final = 200

_VULGAR = {
    char: f" {int(fraction.numerator)}/{int(fraction.denominator)}"
    for char in "¼½¾⅐⅑⅒⅓⅔⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞"
    for fraction in [Fraction(unicodedata.numeric(char)).limit_denominator(16)]
}
_LOOKALIKES = str.maketrans(
    {
        "⁄": "/", "∕": "/", "′": "'", "’": "'", "‘": "'", "´": "'", "`": "'",
        "″": '"', "”": '"', "“": '"', "„": '"', "×": "x", "✕": "x", "⨯": "x",
        "–": "-", "—": "-", "−": "-", "‐": "-", "‑": "-", "\u00a0": " ", "\u202f": " ",
        "\u2009": " ", "\t": " ", "\n": " ", "\r": " ",
        **_VULGAR,
    }
)  # fmt: skip


def tidy(text: str) -> str:
    """Return ``text`` with look-alike characters replaced, spaces folded, lower case.

    Raises:
        InputError: ``text-empty`` or ``text-too-long``.
    """
    if len(text) > LONGEST_TEXT:
        raise InputError(
            "text-too-long",
            f"a text of {len(text)} characters was given where at most {LONGEST_TEXT} make sense",
            remedy="Give one section or one length at a time.",
        )
    # Marks first: the compatibility form would glue the 1 of one-half to the digit before it,
    # and turn a double prime into two single ones.
    plain = unicodedata.normalize("NFKC", text.translate(_LOOKALIKES)).translate(_LOOKALIKES)
    plain = " ".join(plain.replace("''", '"').split()).casefold()
    if not plain:
        raise InputError("text-empty", "the text is empty", remedy="Write a section or a length.")
    return plain


# What a number can look like; `number` below decides what it means.
NUMBER_PATTERN: Final = (
    r"(?:\d+[ -]+\d+/\d+"  # 2-1/2, 2 1/2
    r"|\d+/\d+"  # 3/4
    r"|\d{1,3}(?: \d{3})+(?:[.,]\d+)?(?![\d/])"  # 12 000
    r"|\d[\d.,]*(?:e[+-]?\d{1,3}(?![\w]))?"  # 12  1,200.5  6.1e3
    r"|[.,]\d+)"  # .065
)
_MIXED = re.compile(r"(\d+)[ -]+(\d+)/(\d+)")
_FRACTION = re.compile(r"(\d+)/(\d+)")
_DECIMAL = re.compile(r"(\d*)(?:\.(\d*))?(?:e([+-]?\d{1,3}))?")
_GROUPED = re.compile(r"\d{1,3}([ ,.])\d{3}(?:\1\d{3})*")


def number(text: str) -> Fraction:
    """Read one number exactly: decimal, fraction, mixed fraction, decimal comma, groups.

    Raises:
        InputError: ``number-unreadable``.
        OpenQuestion: ``decimal-or-thousands`` where one comma stands before three digits.
    """
    plain = text.strip()
    if match := _MIXED.fullmatch(plain):
        whole, top, bottom = (int(part) for part in match.groups())
        return whole + _ratio(top, bottom, plain)
    if match := _FRACTION.fullmatch(plain):
        top, bottom = (int(part) for part in match.groups())
        return _ratio(top, bottom, plain)
    match = _DECIMAL.fullmatch(_with_point(plain))
    if match is None or not any(character.isdigit() for character in plain):
        raise InputError(
            "number-unreadable",
            f"{plain!r} is not a number",
            remedy="Write 6.1, 6,1, 3/4 or 2-1/2.",
        )
    whole_text, part, exponent = match.groups(default="")
    value = Fraction(int(f"{whole_text}{part}" or "0"), 10 ** len(part))
    return value * Fraction(10) ** int(exponent or 0)


def _ratio(top: int, bottom: int, text: str) -> Fraction:
    if bottom == 0:
        raise InputError("number-unreadable", f"{text!r} divides by zero")
    return Fraction(top, bottom)


def _with_point(text: str) -> str:
    """Return a decimal text with a point and no group marks."""
    commas, points = text.count(","), text.count(".")
    if commas and points:
        decimal = max(text.rfind(","), text.rfind("."))
        whole = text[:decimal]
        mark = "," if text[decimal] == "." else "."
        if _GROUPED.fullmatch(whole) and mark in whole and text[decimal] not in whole:
            return f"{whole.replace(mark, '')}.{text[decimal + 1 :]}"
        return "?"
    if commas + points > 1 or " " in text:
        whole, mark, part = text, "", ""
        if " " in text and commas + points == 1:
            whole, mark, part = text.replace(",", ".").partition(".")
        if _GROUPED.fullmatch(whole):
            return re.sub(r"[ ,.]", "", whole) + mark + part
        return "?"
    if commas:
        whole, _, part = text.partition(",")
        if len(part) == 3 and part.isdigit() and 1 <= len(whole) <= 3 and whole.strip("0"):
            raise OpenQuestion(
                "decimal-or-thousands",
                f"Is the comma in {text!r} a decimal comma or a thousands mark?",
                [f"{whole}.{part}", f"{whole}{part}"],
            )
        return f"{whole}.{part}"
    return text


_QUANTITY = re.compile(rf"([+-]?)\s*({NUMBER_PATTERN})\s*(.*)")
_MIXED_QUANTITY = re.compile(r"\d+[ -]+\d+/\d+\s*(?:[a-z'\"]+\.?)?")  # 2-1/2 in is no range


# What files hold: a plain decimal and a unit. Read without the machinery for typed text.
_PLAIN = re.compile(r"(\d+)(?:\.(\d+))? ?([a-zA-Z%][a-zA-Z0-9%^*/]*|1)?")


def _plain_quantity(text: str, dimension: Dimension) -> float | None:
    """Return a plainly written quantity, None where the text needs more care."""
    match = _PLAIN.fullmatch(text)
    if match is None or len(text) > LONGEST_TEXT:
        return None
    whole, part, unit_text = match.groups(default="")
    ratio = ratio_to_canonical(unit_text or "1", dimension)
    if ratio is None:
        return None
    # Division of two integers is correctly rounded: exact until here, rounded once.
    return int(whole + part) * ratio[0] / (10 ** len(part) * ratio[1])


def quantity(text: str, dimension: Dimension) -> float:
    """Read ``2.1 kN`` and the like; the result is in the canonical unit of ``dimension``.

    A pure number (``dimension`` NUMBER) may stand without unit or with ``%``.

    Raises:
        InputError: ``number-unreadable``, ``unit-unknown`` or ``unit-mismatch``.
        OpenQuestion: ``decimal-or-thousands``.
    """
    known = _plain_quantity(text, dimension)
    if known is not None:
        return known
    plain = tidy(text)
    match = _QUANTITY.fullmatch(plain)
    wanted = canonical(dimension)
    if match is None:
        raise InputError(
            "number-unreadable",
            f"{text.strip()!r} is not a number with a unit",
            remedy=_written_like("12", dimension),
        )
    sign, digits, unit_text = match.groups()
    if not unit_text and dimension != NUMBER:
        raise InputError(
            "unit-mismatch",
            f"{text.strip()!r} has no unit",
            remedy=_written_like(digits, dimension),
        )
    given = unit(unit_text or "1", dimension)
    if given.dimension != dimension:
        raise InputError(
            "unit-mismatch",
            f"{text.strip()!r} is not in a unit of this kind",
            remedy=_written_like(digits, dimension),
        )
    try:
        exact = number(digits) * given.factor / wanted.factor
    except OpenQuestion as asked:
        code, question, _ = asked.question
        raise OpenQuestion(code, question, comma_readings(text)) from None
    return _to_float(-exact if sign == "-" else exact, text)


def _written_like(digits: str, dimension: Dimension) -> str:
    """Return the remedy that shows a quantity as it is written; a pure number has no unit."""
    if dimension == NUMBER:
        return f"Write it like '{digits}', or with a percent sign."
    return f"Write it like '{digits} {canonical(dimension).name}'."


INCH_UNITS: Final = frozenset({"in", "ft"})
"""Units of length in which a size is one of the inch column of its standard."""


def written_inches(text: str) -> Fraction | None:
    """Return the inches, exactly, of a length that is written in inches or feet.

    None for a length in another unit, and for what cannot be read.
    """
    try:
        match = _QUANTITY.fullmatch(tidy(text))
        if match is None or match[1] == "-":
            return None
        given = unit(match[3] or "1", LENGTH)
        if given.name not in INCH_UNITS:
            return None
        return number(match[2]) * given.factor / unit("in").factor
    except (InputError, OpenQuestion):
        return None


def _to_float(exact: Fraction, text: str) -> float:
    try:
        return float(exact)
    except OverflowError:
        raise InputError("value-range", f"{text.strip()!r} is too large") from None


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
_OPEN_COMMA = re.compile(r"(?<![\d.,])(\d{1,3}),(\d{3})(?![\d.,])")


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
    plain = _plain_length(text)
    if plain is not None and 0 < plain < SURELY_SHORT and bounds is STOCK:
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


def _plain_length(text: str) -> float | None:
    """Return the millimetres of a plain decimal with a unit; None for every other text.

    Most lengths are such, and this is thirty times as fast as reading what people may write
    besides. A quotient of whole numbers is rounded once, as a fraction would be.
    """
    match = _PLAIN_LENGTH.fullmatch(text)
    if match is None:
        return None
    whole, part, unit_text = match[1], match[2] or "", match[3]
    if len(part) == 3 and len(whole) <= 3:
        return None  # it may be thousands
    return int(whole + part) * _PLAIN_UNITS[unit_text] / 10 ** (len(part) + 4)


def _out_of_range(text: str, what: str, bounds: Bounds) -> InputError:
    return InputError(
        "length-range",
        f"{what} {text.strip()[:40]!r} is not {bounds.words}",
        remedy=bounds.remedy,
    )


def comma_readings(text: str) -> list[str]:
    """Return a text with its open commas read both ways; none if no comma is open.

    Who writes one decimal comma writes every comma so: all are read alike.
    """
    plain = tidy(text)
    if not _OPEN_COMMA.search(plain):
        return []
    return [_OPEN_COMMA.sub(rf"\1{mark}\2", plain) for mark in (".", "")]


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
    match = _QUANTITY.fullmatch(plain)
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
