"""A job read from what people type: questions are asked, what is taken for granted is told.

Long because all kinds of text that a job is made of are read here, beside the table that names
what reads each.
"""

import math
import re
from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial
from typing import Any, Final, NamedTuple, TypeVar

from ...catalogue.errors import InputError, OpenQuestion, Question
from ...catalogue.grades.grades import Grade, default_grade, is_full_name
from ...catalogue.nearest import did_you_mean
from ...catalogue.store import Catalogue
from ...catalogue.tables.sections import Section
from ...catalogue.units.lengths import STOCK, Bounds, length
from ...rules.model import Vocabulary
from .checks import check_positions
from .fields import FIELDS, Field, JobText, Kind
from .fitting import Fitting, read_fitting
from .job import Geometry, Job, Part

T = TypeVar("T")

MOST_PARTS: Final = 10_000

BOW: Final = Bounds(
    Fraction(1000),
    "between 0 and 1 m",
    "The bow is the greatest gap between the stock and a straight line.",
    has_zero=True,
)


@dataclass
class Reading:
    """What comes to light while a job is read: questions, and what was taken for granted.

    Attributes:
        catalogue, vocabulary: what names of sections, grades, facts and accessories mean.
        questions: what must be answered first.
        assumptions: what was taken for granted, as sentences.
        section: the job's, once it is read; the usual grade goes with it.
    """

    catalogue: Catalogue
    vocabulary: Vocabulary
    questions: list[Question] = field(default_factory=list[Question])
    assumptions: list[str] = field(default_factory=list[str])
    section: Section | None = None

    def ask(self, read: Callable[[], T], option: str = "") -> T | None:
        """Return what ``read`` returns, or keep its question and return None.

        The choices are completed by ``option``, so that they can be typed as they stand.
        """
        try:
            return read()
        except OpenQuestion as asked:
            code, text, choices = asked.question
            if option:
                choices = tuple(f"{option} {_quoted(choice)}" for choice in choices)
            # Two parts typed alike raise one question.
            if (question := Question(code, text, choices)) not in self.questions:
                self.questions.append(question)
            return None

    def length(self, text: str, what: str, bounds: Bounds = STOCK) -> float:
        """Read a length; where all but one reading is impossible, take that one and say so."""
        try:
            return length(text, what=what, bounds=bounds)
        except OpenQuestion as asked:
            choices = asked.question.choices
            if len(choices) != 1:
                raise
            self.assumptions.append(
                f"The {what} {text.strip()!r} was read as {choices[0]}: read otherwise, it is not "
                f"{bounds.words}."
            )
            return length(choices[0], what=what, bounds=bounds)

    def place(self, text: str, what: str) -> float:
        """Read a distance from the axis, or a width: on the axis it is zero."""
        return self.length(text, what, STOCK._replace(has_zero=True))

    def known_section(self, text: str) -> Section:
        """Read a section; what its name leaves open and is taken for granted is told."""
        self.section = self.catalogue.section(text)
        if self.section.note:
            self.assumptions.append(f"Section: {self.section.note}.")
        return self.section

    def part(self, text: str) -> Part:
        """Read ``1.2 m*3`` or ``3*1.2 m``.

        Raises:
            InputError: ``parts-unreadable`` or as
                :func:`cuttable.catalogue.units.lengths.length`.
        """
        first = _COUNT_FIRST.fullmatch(text.strip())
        match = first or _PART.fullmatch(text.strip())
        size, count = (match["size"], match["count"]) if match else (text, "")
        number = int(count or 1)
        if not 1 <= number <= MOST_PARTS:
            raise InputError(
                "parts-unreadable",
                f"part {text!r} asks for {number} pieces",
                remedy=f"Ask for 1 to {MOST_PARTS}.",
            )
        with _choices_within("", f"*{count}" if count else ""):
            return Part(self.length(size, "part"), number)

    def off_axis(self, text: str) -> Fitting:
        """Read what is fixed to the stock; what is looked up is told."""
        if not text.strip():
            return Fitting()
        found, told = read_fitting(text, self.place)
        if told:
            self.assumptions.append(told)
        return found


_PART = re.compile(r"(?P<size>.*?)\s*(?:[*x\u00d7]\s*(?P<count>\d{1,5}))?", re.DOTALL)
_COUNT_FIRST = re.compile(r"(?P<count>\d{1,5})\s*[*x\u00d7]\s*(?P<size>.*[a-zA-Z'\"].*)", re.DOTALL)


@contextmanager
def _choices_within(before: str, after: str) -> Generator[None]:
    """Complete the choices of a question by what stood around the text it is about."""
    try:
        yield
    except OpenQuestion as asked:
        code, text, choices = asked.question
        raise OpenQuestion(code, text, [f"{before}{choice}{after}" for choice in choices]) from None


def _quoted(text: str) -> str:
    """Return ``text`` in quotes for a shell."""
    if "'" not in text:
        return f"'{text}'"
    inside = text.replace('"', '\\"')
    return f'"{inside}"'


READERS: Final[dict[Kind, Callable[[Reading, Field, str], Any]]] = {
    "section": lambda reading, _, text: reading.known_section(text),
    "length": lambda reading, field, text: reading.length(text, field.called),
    "grade": lambda reading, _, text: grade_of(text, reading.section, reading.catalogue),
    "part": lambda reading, _, text: reading.part(text),
    "cut": lambda reading, field, text: reading.length(text, field.called),
    "station": lambda reading, field, text: reading.length(text, field.called),
    "bow": lambda reading, field, text: reading.length(text, field.called, BOW),
    "off-axis": lambda reading, _, text: reading.off_axis(text),
    "fact": lambda reading, field, text: read_fact(field.name, text, reading.vocabulary),
    "accessory": lambda reading, _, text: read_accessory(text, reading.vocabulary),
}
"""How one text of each kind of field is read."""

_NOT_STATED: Final[dict[Kind, Any]] = {"length": 0.0, "bow": math.nan, "off-axis": Fitting()}


def read_field(reading: Reading, field: Field, said: str | Sequence[str] | None) -> Any:
    """Return what is said in a field: a tuple where it is a list, cuts with the outermost first.

    None where a question is open about it, which is then among the questions of ``reading``.

    Raises:
        InputError: it cannot be read.
    """

    def read(text: str) -> Any:
        # The choices of a grade name its option themselves.
        option = "" if field.kind == "grade" else field.option
        return reading.ask(partial(READERS[field.kind], reading, field, text), option)

    if not field.is_list:
        text = said if isinstance(said, str) else None
        if field.kind == "grade" and text is None:
            return reading.ask(lambda: grade_of(None, reading.section, reading.catalogue))
        if field.is_required or field.kind == "grade" or (text or "").strip():
            return read(text or "")
        return field.usual if field.kind == "fact" else _NOT_STATED[field.kind]
    found = [item for text in said or () if (item := read(text)) is not None]
    if field.kind == "accessory":
        return frozenset(found)
    return tuple(sorted(found, reverse=True) if field.kind == "cut" else found)


def read_job(
    text: JobText, catalogue: Catalogue, vocabulary: Vocabulary
) -> tuple[Job | None, list[Question]]:
    """Read a job.

    Returns:
        The job and no question, or None and every question that must be answered first.

    Raises:
        InputError: something cannot be read at all; the first such thing found.
    """
    reading = Reading(catalogue, vocabulary)
    read = {field.name: read_field(reading, field, getattr(text, field.name)) for field in FIELDS}
    if reading.questions:
        return None, reading.questions
    grade: TakenGrade = read["grade"]
    fitting: Fitting = read["off_axis"]
    job = Job(
        section=read["section"],
        grade=grade.grade,
        length=read["length"],
        parts=read["parts"],
        cuts=read["cuts"],
        stations=read["stations"],
        bow=read["bow"],
        off_axis_mass=fitting.mass,
        off_axis_distance=fitting.distance,
        off_axis_size=fitting.size,
        ends=read["ends"],
        contents=read["contents"],
        coating=read["coating"],
        fitted=read["fitted"],
        assumptions=(
            *reading.assumptions,
            *_assumptions(text, grade, read["section"].shape, vocabulary),
        ),
        behind=read["behind"],
        grip=read["grip"],
    )
    check_positions(Geometry(job.length, job.behind, job.parts, job.cuts, job.stations))
    return job, []


class TakenGrade(NamedTuple):
    """A grade, and the sentence that says what was taken for granted; empty if nothing."""

    grade: Grade
    assumption: str


def grade_of(text: str | None, section: Section | None, catalogue: Catalogue) -> TakenGrade:
    """Return the grade that is named, or where none is, the one that goes with the section.

    Raises:
        InputError: ``text-empty`` or ``grade-unknown``.
        OpenQuestion: ``which-grade``; its choices are the option that names a grade.
    """
    with _choices_within("--grade '", "'"):
        if text is None:
            return _usual_grade(section, catalogue)
        grade = catalogue.grade(text)
    taken = f"Grade {text.strip()!r} was taken as {grade.name}."
    return TakenGrade(grade, "" if is_full_name(text, grade) else taken)


def _usual_grade(section: Section | None, catalogue: Catalogue) -> TakenGrade:
    if section is not None and section.standard == "ASME B36.19M":
        raise OpenQuestion(
            "which-grade",
            f"{section.designation} is a schedule of stainless pipe. Which grade is it?",
            [g.name for g in catalogue.grades.values() if g.product.name == "ASTM A312"],
        )
    grade = default_grade(section, catalogue.grades)
    product = grade.product.name
    is_own = section is not None and product == section.standard
    basis = "to the section's own standard" if is_own else "with the tolerances of"
    return TakenGrade(
        grade, f"Grade not stated: carbon steel {basis} {product} ({grade.name}) was taken."
    )


def _assumptions(
    text: JobText, grade: TakenGrade, shape: str, vocabulary: Vocabulary
) -> Iterable[str]:
    if grade.assumption:
        yield grade.assumption
    # Rules older than this counted its weight nowhere.
    if text.off_axis.strip() and "fitting_sweep" in vocabulary.measures:
        yield "What is fixed to the stock was counted where along it its weight loads most."
    if not text.bow.strip():
        product = grade.grade.product
        basis = "no number in the product standard: 0.2 % of the length, common practice"
        if (share := product.straight(shape)) is not None:
            basis = f"{product.name}: {share * 100:g} % of the length"
        yield f"Bow not stated: at the heavy end the most that is usual was taken ({basis})."
    if not text.contents.strip() and not text.ends.strip():
        yield "Ends and contents not stated: new, open, clean and empty stock was taken."


def read_fact(name: str, text: str, vocabulary: Vocabulary) -> str:
    """Return the value of a fact; an empty text means not stated.

    Raises:
        InputError: ``choice-unknown``.
    """
    value = text.strip().casefold().replace(" ", "-")
    if not value:
        return "not-stated"
    allowed = vocabulary.facts[name].values
    if value not in allowed:
        raise InputError(
            "choice-unknown",
            f"{name} {text.strip()[:60]!r} is not known",
            remedy=f"Known: {', '.join(allowed)}. {did_you_mean(value, allowed)}".strip(),
        )
    return value


def read_accessory(text: str, vocabulary: Vocabulary) -> str:
    """Return the code of an accessory.

    Raises:
        InputError: ``accessory-unknown``.
    """
    code = text.strip().casefold()
    if code not in vocabulary.accessories:
        known = ", ".join(vocabulary.accessories)
        raise InputError(
            "accessory-unknown",
            f"no accessory {text.strip()[:60]!r} is known",
            remedy=f"Known: {known}. {did_you_mean(code, vocabulary.accessories)}".strip(),
        )
    return code
