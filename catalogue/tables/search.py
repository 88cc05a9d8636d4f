"""Find sections by what people remember of them: a size, a schedule, a standard."""

import re
from functools import lru_cache

from ..errors import InputError
from ..units.quantities import tidy
from .reader import SectionTables
from .sections import Section

_DN = re.compile(r"\bdn\s*(\d+)\b")
_SCHEDULE = re.compile(r"\b(?:sch(?:edule)?\.?|s)\s*(?=\d)")


def find_sections(text: str, tables: SectionTables) -> list[Section]:
    """Return sections of which every word of ``text`` is part, in the order of the tables.

    Words are compared with the designation, the standard, and the sizes in mm.

    Raises:
        InputError: ``text-empty`` or ``text-too-long``.
    """
    plain = re.sub(r"(?<=\d),(?=\d)", ".", tidy(text))  # a decimal comma, no list
    dn = _DN.search(plain)
    # Mixed numbers are one word, as designations print them: 2 1/2 is 2-1/2.
    joined = re.sub(r"(?<![\d./-])(\d+) +(?=\d+/\d)", r"\1-", _DN.sub(" ", plain))
    words = _words(_SCHEDULE.sub(" sch ", joined))
    if not words and dn is None:
        raise InputError("text-empty", f"{text!r} has no word to search for")
    found = [section for section in tables.every_section() if _matches(section, words)]
    return [section for section in found if _has_dn(section, dn[1], tables)] if dn else found


def _has_dn(section: Section, dn: str, tables: SectionTables) -> bool:
    """Say whether a section is pipe of this DN, of ASME or of series 1 of EN 10220."""
    nps = next((name for name, row in tables.nominal_sizes.items() if row[3] == dn), None)
    if section.designation.startswith("NPS "):
        return nps is not None and section.designation.startswith(f"NPS {nps} ")
    is_pipe = section.shape == "round" and section.standard.startswith("EN ")
    return is_pipe and section.height == tables.dn_of_series_1.get(dn)


def _words(text: str) -> list[str]:
    return [
        word.rstrip(".") for word in re.split(r"[\s,;]+|(?<=\d)x(?=[\d.])|\"", text)
        if word.strip(".x")
    ]  # fmt: skip


@lru_cache(maxsize=16_384)
def _described(section: Section) -> frozenset[str]:
    """Return the words that a section is found by."""
    described = (
        f"{section.designation} {section.standard} {section.shape} {section.note} "
        f"{section.height:g} {section.width:g} {section.wall:g} "
    ).casefold()
    return frozenset(re.split(r"\s/\s|\s+|(?<=\d)x(?=[\d.])", described))


def _matches(section: Section, words: list[str]) -> bool:
    have = _described(section)
    # Sizes must match whole, so that 6 does not find 16; words may be beginnings.
    return all(
        word in have
        or any(item.startswith(f"{word}-") and len(word) > 3 for item in have)
        or (not word[0].isdigit() and any(item.startswith(word) for item in have))
        for word in words
    )
