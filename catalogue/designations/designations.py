"""What a typed section means.

The rule of the house: never guess. Text with one reading becomes a section; text with two
becomes a question with the readings as choices; text with none becomes an error with the
nearest known designations. What little is taken for granted is said in ``Section.note``.
"""

import re

from ..errors import InputError, OpenQuestion
from ..tables.reader import SectionTables, own_name
from ..tables.sections import Section
from ..units.quantities import comma_readings
from .asked import BOXES, Asked
from .en import en_section
from .hss import hss_section
from .pipe import pipe_section
from .tokenizer import take_apart
from .tube import box_tube, round_tube


def read_section(text: str, tables: SectionTables) -> Section:
    """Read a section as people write it.

    Raises:
        InputError: unreadable, unknown or impossible; the message names the nearest known.
        OpenQuestion: the text has more than one reading.
    """
    if tables.own and own_name(text) in tables.own:
        return tables.own[own_name(text)]
    try:
        # What a table prints is that section; everything else is read word by word.
        printed = tables.typed(text)
        if printed is not None:
            return printed
        written = take_apart(text)
        section = _section(Asked(written, tables))
    except InputError as fault:
        raise _letter_o(text, tables) or fault from None
    except OpenQuestion as asked:
        if asked.question.code != "decimal-or-thousands":
            raise
        choices = _whole_choices(text, tables)
        if not choices:
            raise InputError(
                "designation-unreadable",
                f"{text.strip()[:60]!r} is no section however its commas are read",
                remedy="Write sizes without a thousands mark.",
            ) from None
        if len(choices) > 1:
            raise OpenQuestion(asked.question.code, asked.question.text, choices) from None
        section = read_section(choices[0], tables)
        return _noted(section, f"{text.strip()[:60]!r} can only be {section.designation}")
    if written.making:
        words = " ".join(written.making)
        note = f"'{words}' changes no size; tolerances are those of the grade"
        return _noted(section, note)
    return section


def _noted(section: Section, note: str) -> Section:
    return section._replace(note=f"{section.note}; {note}" if section.note else note)


_LETTER_O = re.compile(r"(?<=\d)o(?![a-z])|(?<![a-z])o(?=\d)", re.IGNORECASE)


def _letter_o(text: str, tables: SectionTables) -> InputError | None:
    """Return the error for a letter O among digits, None where there is none: SCH 4O."""
    corrected = _LETTER_O.sub("0", text)
    if corrected == text:
        return None
    remedy = f"Did you mean {corrected.strip()[:60]!r}?"
    try:
        read_section(corrected, tables)
    except OpenQuestion:
        pass  # readable, and asked about when typed
    except InputError as fault:
        remedy = fault.remedy
    return InputError(
        "designation-unreadable",
        f"{text.strip()[:60]!r} has the letter O where a zero is meant",
        remedy=remedy,
    )


def _whole_choices(text: str, tables: SectionTables) -> list[str]:
    """Return both readings of an open comma as whole designations that can be typed."""
    typed: list[str] = []
    for reading in comma_readings(text):
        try:
            read_section(reading, tables)
        except OpenQuestion as asked:
            typed += asked.question.choices
        except InputError:
            continue
        else:
            typed.append(reading)
    return list(dict.fromkeys(typed))


def _section(asked: Asked) -> Section:
    """Read what was taken apart by the kind of section that it names."""
    written = asked.written
    if written.gauge_system and not written.gauge:
        raise InputError(
            "designation-unreadable",
            f"{written.text!r} names a material or gauge table, but no gauge",
            remedy="Name the material with --grade, the gauge like '11 ga BWG'.",
        )
    if not written.sizes:
        raise InputError(
            "designation-unreadable",
            f"{written.text!r} has no size",
            remedy="Write it like NPS 6 SCH 40, HSS 6x4x1/4 or tube 50 x 3 mm.",
        )
    if written.schedule or written.family in ("nps", "dn"):
        return pipe_section(asked)
    if written.family == "hss":
        return hss_section(asked)
    if written.family in ("chs", "shs", "rhs"):
        return en_section(asked, written.family)
    if len(written.sizes) == 3 or written.form in BOXES:
        return box_tube(asked)
    if written.kind == "pipe" and not written.is_outside:
        return pipe_section(asked)
    return round_tube(asked)
