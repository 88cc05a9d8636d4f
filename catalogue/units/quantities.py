"""The text people write quantities in, read exactly.

Text becomes an exact rational number, is converted with exact factors, and rounded to a
float once. So ``3/4 in`` is 19.05 mm to the last bit, and stock written in inches meets a
limit written in millimetres on equal terms.
"""

import re
import unicodedata
from fractions import Fraction
from typing import Final

from ..errors import InputError, OpenQuestion
from .units import NUMBER, Dimension, canonical, ratio_to_canonical, unit

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


QUANTITY: Final = re.compile(rf"([+-]?)\s*({NUMBER_PATTERN})\s*(.*)")
"""Sign, number and unit of a text that was tidied."""


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
    match = QUANTITY.fullmatch(plain)
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


def _to_float(exact: Fraction, text: str) -> float:
    try:
        return float(exact)
    except OverflowError:
        raise InputError("value-range", f"{text.strip()!r} is too large") from None


_OPEN_COMMA: Final = re.compile(r"(?<![\d.,])(\d{1,3}),(\d{3})(?![\d.,])")


def comma_readings(text: str) -> list[str]:
    """Return a text with its open commas read both ways; none if no comma is open.

    Who writes one decimal comma writes every comma so: all are read alike.
    """
    plain = tidy(text)
    if not _OPEN_COMMA.search(plain):
        return []
    return [_OPEN_COMMA.sub(rf"\1{mark}\2", plain) for mark in (".", "")]
