"""Take a section as typed apart: kind words, schedule, gauge, finish, and sizes.

Nothing is decided here. :mod:`cuttable.catalogue.designations.designations` decides what the
pieces mean. Long because the patterns stand in one list: the order of all of them matters.
"""

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from ..errors import InputError
from ..nearest import nearest
from ..units.quantities import NUMBER_PATTERN, number, tidy
from ..units.units import unit


class Size(NamedTuple):
    """One size as typed: number, and its unit or empty."""

    value: Fraction
    unit: str
    text: str

    def mm(self, unit_if_bare: str) -> Fraction:
        """Return millimetres, taking ``unit_if_bare`` where none was typed."""
        return self.value * unit(self.unit or unit_if_bare).factor * 1000


@dataclass
class Written:
    """A designation taken apart.

    Attributes:
        text: as typed.
        family: ``nps``, ``dn``, ``hss``, ``chs``, ``shs``, ``rhs`` or empty.
        kind: ``pipe``, ``tube`` or empty.
        form: ``round``, ``square``, ``rectangular`` or empty.
        schedule: ``40``, ``40S``, ``STD`` … or empty.
        gauge: gauge number or empty; ``gauge_system`` names its table or is empty.
        finish: ``hot``, ``cold`` or empty.
        making: words on how it was made (``seamless``, ``DOM``); they change no size.
        is_outside: the first size was said to be an outside diameter.
        sizes: in the order typed.
    """

    text: str
    family: str = ""
    kind: str = ""
    form: str = ""
    schedule: str = ""
    gauge: str = ""
    gauge_system: str = ""
    finish: str = ""
    making: tuple[str, ...] = ()
    is_outside: bool = False
    sizes: list[Size] = field(default_factory=list[Size])


_WORD_NUMBERS = {
    "two": "2",
    "three": "3",
    "four": "4",
    "five": "5",
    "six": "6",
    "eight": "8",
    "ten": "10",
    "twelve": "12",
    "sixteenth": "1/16",
    "eighth": "1/8",
    "quarter": "1/4",
    "three eighths": "3/8",
    "half": "1/2",
    "five eighths": "5/8",
    "three quarter": "3/4",
    "three quarters": "3/4",
}

# How pipe was made decides its tolerances, and so belongs to the grade; no size follows from it.
_MAKING = re.compile(
    r"\b(?:seamless|smls|welded|erw|efw|hfw|[lds]?saw|dom|drawn over mandrel|cold[- ]drawn)\b\.?"
)

# Open and solid sections, by word or by their series. A tube is never suggested for them.
_NOT_HOLLOW = re.compile(
    r"\b(?:angles?|(?:[hiw][- ])?beams?|channels?|(?<!hollow )(?<!hollow-)bars?|rods?|flats?"
    r"|plates?|strips?|tees?|rails?|joists?|girders?|solid|wire)\b"
    r"|^(?:l|w|wf|h|hp|i|c|mc|ub|uc|ipe|ipn|he[abm]|up[en]|pfc)[ -]?(?=\d)"
)

_COATINGS = {
    r"galvani[sz]ed|galv|zinc[- ]coated": "galvanised",
    r"painted|primed|primer": "painted",
    r"lined": "lined",
    r"oiled|oily": "oily",
}
# Only with letters: 304 alone may be a size. Sheet and stainless steel name gauge tables.
_MATERIAL = re.compile(
    r"(?:\b(?:carbon|mild|black|duplex) )?(?<!sheet[ -])(?<!stainless[ -])\bsteel\b|\bapi\b"
    r"|\b(?:tp|ss|aisi) ?3\d\d\w*|\bs ?(?:235|275|355|420|460)\w*|\bp ?(?:195|235|265)\w+"
    r"|\b(?:astm )?s?a[- ]?(?:53|106|312|333|335|358|513|519|554|790|1085)(?!\d)"
)

# A weight class may follow the word schedule: SCH STD, schedule XS.
_CLASS = r"\b(?:sch(?:edule|ed|d)?\.? ?)?"

# Each pattern removes what it matches and says which field it sets. Order matters: longer
# phrases first.
_PHRASES: list[tuple[re.Pattern[str], str, str | None]] = [
    (re.compile(r"\b(?:bs )?en ?10219(?:-[12])?\b|\bcold[- ]formed\b|\bcold\b|\bcf\b"),
     "finish", "cold"),
    (re.compile(r"\b(?:bs )?en ?10210(?:-[12])?\b|\bhot[- ]finished\b|\bhot\b|\bhf\b"),
     "finish", "hot"),
    (re.compile(r"\b(?:asme )?b ?36\.(?:10|19)m?\b|\b(?:astm )?a ?500\b"
                r"|\b(?:en ?10220|iso ?4200)\b"), "", ""),
    (re.compile(_CLASS + r"(?:double[- ]extra[- ](?:strong|heavy)\b|xx[sh]\b)"), "schedule", "XXS"),
    (re.compile(_CLASS + r"(?:extra[- ](?:strong|heavy)\b|x[sh]\b)"), "schedule", "XS"),
    (re.compile(_CLASS + r"(?:std\b|standard (?:weight|wall)\b|standard\b)"), "schedule", "STD"),
    (re.compile(r"\bsch(?:edule|ed|d)?\b\.?"
                r" ?-?(?P<value>\d{1,3} ?s?)(?![\w./])"), "schedule", None),
    (re.compile(r"\bsch(?:edule|ed|d)?\.?(?P<value>\d{1,3}s?)(?![\w./])"), "schedule", None),
    (re.compile(r"(?<![\w.])s ?-?(?P<value>\d{1,3}s?)(?![\w./])"), "schedule", None),
    (re.compile(r"(?<![\w.])(?P<value>(?:5|10|40|80)s)\b"), "schedule", None),
    (re.compile(r"(?<![\w./])(?P<value>\d{1,2}|[234]/0|0{1,4}) ?-?(?:ga\.?|gage|gauge|g)"
                r"(?= |$)"), "gauge", None),
    (re.compile(r"(?<![\w./])(?P<value>\d{1,2}|[234]/0|0{1,4}) ?-?(?=bwg\b)"),
     "gauge", None),
    (re.compile(r"\bbwg\b|\bstubs\b|\bbirmingham\b"), "gauge_system", "bwg"),
    (re.compile(r"\bsheet(?:[- ]steel)?\b|\bmsg\b|\bmanufacturers'? standard\b"),
     "gauge_system", "sheet-steel"),
    (re.compile(r"\bstainless(?:[- ](?:steel|gauge))?\b"), "gauge_system", "stainless"),
    (re.compile(r"\bawg\b|\balumini?um(?:[- ]awg)?\b"), "gauge_system", "aluminium-awg"),
    (re.compile(r"\b(?:circular|round) hollow sections?\b"), "family", "chs"),
    (re.compile(r"\bsquare hollow sections?\b"), "family", "shs"),
    (re.compile(r"\brectangular hollow sections?\b"), "family", "rhs"),
    (re.compile(r"\bhollow structural sections?\b"), "family", "hss"),
    (re.compile(r"\bhollow[- ]bar\b"), "kind", "tube"),
    (re.compile(r"\bnps\b"), "family", "nps"),
    (re.compile(r"\bdn\b"), "family", "dn"),
    (re.compile(r"\bhss\b"), "family", "hss"),
    (re.compile(r"\bchs\b"), "family", "chs"),
    (re.compile(r"\bshs\b"), "family", "shs"),
    (re.compile(r"\brhs\b"), "family", "rhs"),
    (re.compile(r"\b(?:square|sq)\b\.?"), "form", "square"),
    (re.compile(r"\b(?:rectangular|rect|rectangle)\b\.?"), "form", "rectangular"),
    (re.compile(r"\b(?:round|circular)\b|[ø⌀]"), "form", "round"),
    (re.compile(r"\bpip(?:e|es|ing)\b"), "kind", "pipe"),
    (re.compile(r"\btub(?:e|es|ing)\b"), "kind", "tube"),
    (re.compile(r"\bo\.?d\.?(?= |$|x)|\boutside(?: diameter)?\b"), "is_outside", "yes"),
    (re.compile(r"\bnominal(?: wall)?\b|\bbore\b|\bdia(?:meter)?\b\.?"
                r"|\b(?:wall|thick(?:ness)?|wt|thk)\b\.?|\bnom\b\.?"), "", ""),
]  # fmt: skip

# An x between sizes, and not the one in "box" and "six".
_TIMES = r"(?:(?<![a-z])|(?<=in)|(?<=inch)|(?<=mm)|(?<=cm)|(?<=od))x(?![a-z])"
_SOME_WORD_NUMBER = re.compile("|".join(word.split()[0] for word in _WORD_NUMBERS))
_SOME_COATING = re.compile(rf"\b(?:{'|'.join(_COATINGS)})\b")
_SIZE = re.compile(rf"({NUMBER_PATTERN})\s*(\"|'|[a-z]+\.?)?")


def take_apart(text: str) -> Written:
    """Take ``text`` apart.

    Raises:
        InputError: ``text-empty``, ``text-too-long``, ``designation-unreadable``,
            ``unit-unknown``, ``unit-mismatch`` or ``number-unreadable``.
        OpenQuestion: ``decimal-or-thousands``.
    """
    plain = _with_word_numbers(tidy(text))
    _refuse_what_is_no_section(plain, text.strip())
    plain = re.sub(r"(?<=\d)-(?=(?:inch(?:es)?|in|mm|cm)\b)", " ", plain)  # 6-inch
    written = Written(text.strip(), making=tuple(_MAKING.findall(plain)))
    plain = _MAKING.sub(" ", plain)
    plain = re.sub(r"(?<=[a-z])(?=\d)", " ", plain)  # dn150, hss6x4, s40
    plain = re.sub(r"(?<=[\d\"']) ?x ?(?=[\d.])", " x ", plain)
    plain = re.sub(r"(?<=\d)(?=(?:sch|std|xs|xxs|xh|xxh|ga\b|bwg\b|od\b))", " ", plain)
    for pattern, target, value in _PHRASES:
        match = pattern.search(plain)
        if match is None:
            continue
        # A comma keeps the numbers on both sides apart: no 6 304 from NPS 6 SCH 40 304.
        plain = f"{plain[: match.start()]} , {plain[match.end() :]}"
        found = value if value is not None else match["value"].replace(" ", "")
        if target == "schedule":
            found = found.upper()
            if written.schedule and written.schedule != found:
                raise InputError(
                    "designation-unreadable",
                    f"{written.text!r} names two schedules, {written.schedule} and {found}",
                    remedy="Name one.",
                )
        if target == "is_outside":
            written.is_outside = True
        elif target:
            setattr(written, target, getattr(written, target) or found)
    written.sizes = _without_cm(_sizes(plain, written.text))
    return written


def _refuse_what_is_no_section(plain: str, text: str) -> None:
    """Refuse words that belong elsewhere, or name what is no pipe or tube, and say what to do."""
    if match := _NOT_HOLLOW.search(plain):
        raise InputError(
            "section-not-hollow",
            f"{match[0].strip(' -')!r} in {text[:60]!r} names a section that is no pipe or tube",
            remedy="Only pipe and tube are cut: round, square and rectangular.",
        )
    for words, coating in _COATINGS.items() if _SOME_COATING.search(plain) else ():
        if match := re.search(rf"\b(?:{words})\b", plain):
            raise InputError(
                "designation-unreadable",
                f"{match[0]!r} in {text[:60]!r} is a coating, not part of a section",
                remedy=f"Leave it out and add --coating {coating}.",
            )
    if match := _MATERIAL.search(plain):
        raise InputError(
            "designation-unreadable",
            f"{match[0].strip()!r} in {text[:60]!r} is a material, not part of a section",
            remedy="Leave it out and name the grade with --grade, like --grade 'A106 B'.",
        )


def _with_word_numbers(plain: str) -> str:
    if not _SOME_WORD_NUMBER.search(plain):
        return plain
    for word, digits in sorted(_WORD_NUMBERS.items(), key=lambda item: -len(item[0])):
        pattern = rf"\b{word.replace(' ', '[- ]')}\b(?:[- ](?=in))?"
        plain = re.sub(pattern, f"{digits} ", plain)
    return plain


def _sizes(plain: str, text: str) -> list[Size]:
    if re.search(rf"(?:^ *|{_TIMES} ?|, *)-[\d.]", plain):
        raise InputError(
            "section-impossible",
            f"{text!r} has a size below zero",
            remedy="Sizes are above zero; write mixed fractions like 2-1/2.",
        )
    # "12 in, 1/2 in": a comma with a space is a separator, never a decimal comma.
    pieces = re.split(rf" ?{_TIMES} ?|, +|,$| by | [-/] ", f"{plain} ")
    sizes: list[Size] = []
    for piece in pieces:
        rest = _trim(piece)
        while rest:
            match = _SIZE.match(rest)
            if match is None:
                raise _unreadable(rest, text)
            sizes.append(_size(match[1], match[2] or "", text))
            rest = _trim(rest[match.end() :])
    return sizes


def _trim(text: str) -> str:
    """Drop spaces and stray marks, but not the point of ``.065``."""
    return re.sub(r"^[ \-]*(?:\.(?!\d))?|[ .\-]+$", "", " ".join(text.split())).strip()


def _size(digits: str, unit_text: str, text: str) -> Size:
    name = ""
    if unit_text:
        try:
            known = unit(unit_text)
        except InputError:
            raise _unreadable(unit_text, text) from None
        if known.name not in ("mm", "cm", "in"):
            raise InputError(
                "unit-mismatch",
                f"{text!r} has a size in {known.name}",
                remedy="Sizes of a section are in mm or in; its length is given separately.",
            )
        name = known.name
    return Size(number(digits), name, digits)


def _without_cm(sizes: list[Size]) -> list[Size]:
    """Return the sizes in millimetres where any is in centimetres; the trade writes neither."""
    if not any(size.unit == "cm" for size in sizes):
        return sizes
    return [
        Size(size.value * 10, "mm", f"{float(size.value * 10):g}")
        if size.unit in ("", "cm")
        else size
        for size in sizes
    ]


_WORDS = [
    "nps", "dn", "hss", "chs", "shs", "rhs", "pipe", "tube", "square", "rectangular", "round",
    "sch", "schedule", "std", "xs", "xxs", "bwg", "wall", "gauge", "od", "in", "inch", "mm",
]  # fmt: skip


def _unreadable(rest: str, text: str) -> InputError:
    word = re.split(r"[^a-zà-ž]", rest.strip())[0] or rest.strip()
    close = [item for item in nearest(word, _WORDS, 2, cutoff=0.6) if item != word]
    remedy = (
        "Write it like NPS 6 SCH 40, DN 150 SCH 40, HSS 6x4x1/4, SHS 100x5 or 2 x 0.065 in tube."
    )
    if close:
        whole = rf"(?<![a-z]){re.escape(word)}(?![a-z])"
        corrected = [re.sub(whole, item, text.casefold(), count=1) for item in close]
        remedy = f"Did you mean {' or '.join(repr(item) for item in corrected)}?"
    return InputError(
        "designation-unreadable",
        f"{word[:40]!r} in {text[:60]!r} is not a word used in designations",
        remedy=remedy,
    )
