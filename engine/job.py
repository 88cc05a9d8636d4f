"""A job: one piece of stock, and what is to be cut from it, read from what people type."""

import math
import re
from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial
from itertools import pairwise
from typing import Final, NamedTuple, TypeVar

from ..catalogue.errors import InputError, OpenQuestion, Question
from ..catalogue.grades import Grade, default_grade, is_full_name
from ..catalogue.machines import MachineModel
from ..catalogue.nearest import did_you_mean
from ..catalogue.quantities import STOCK, Bounds, length, quantity
from ..catalogue.sections import Section
from ..catalogue.store import Catalogue
from ..catalogue.units import MASS
from ..rules.model import Vocabulary

T = TypeVar("T")

MOST_PARTS: Final = 10_000

BOW: Final = Bounds(
    Fraction(1000),
    "between 0 and 1 m",
    "The bow is the greatest gap between the stock and a straight line.",
    has_zero=True,
)


@dataclass(frozen=True)
class Part:
    """Parts of one length, mm."""

    length: float
    count: int


class JobText(NamedTuple):
    """A job as typed; None or, but for the grade, an empty text means not stated."""

    section: str
    length: str
    grade: str | None = None
    parts: Sequence[str] = ()
    cuts: Sequence[str] = ()
    stations: Sequence[str] = ()
    bow: str = ""
    off_axis: str = ""
    ends: str = ""
    contents: str = ""
    coating: str = ""
    fitted: Sequence[str] = ()
    behind: str = ""
    grip: str = ""


class Job(NamedTuple):
    """A job read and complete.

    Attributes:
        bow: mid-offset in mm, NaN where not stated.
        off_axis_mass, off_axis_distance: a flange, branch or clamp, kg and mm; 0 for none.
        ends, contents, coating: values of the facts of the vocabulary.
        fitted: codes of accessories the job or site says are fitted.
        assumptions: what was taken for granted, as sentences for the answer.
        behind: length that passes through the chuck and stands behind it, mm.
        grip: ``outside`` or ``inside``, where the jaws hold.
    """

    section: Section
    grade: Grade
    length: float
    parts: tuple[Part, ...] = ()
    cuts: tuple[float, ...] = ()
    stations: tuple[float, ...] = ()
    bow: float = math.nan
    off_axis_mass: float = 0.0
    off_axis_distance: float = 0.0
    ends: str = "not-stated"
    contents: str = "not-stated"
    coating: str = "not-stated"
    fitted: frozenset[str] = frozenset()
    assumptions: tuple[str, ...] = ()
    behind: float = 0.0
    grip: str = "outside"

    @property
    def front(self) -> float:
        """Length in front of the chuck face, which supports carry and the head reaches."""
        return self.length - self.behind


@dataclass
class Reading:
    """What comes to light while a job is read: questions, and what was taken for granted."""

    questions: list[Question] = field(default_factory=list[Question])
    assumptions: list[str] = field(default_factory=list[str])

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

    def lengths(self, texts: Sequence[str], what: str, option: str) -> list[float]:
        """Read all lengths that can be read, and keep the questions of the others."""
        found = [self.ask(partial(self.length, item, what), option) for item in texts]
        return [item for item in found if item is not None]

    def part(self, text: str) -> Part:
        """Read ``1.2 m*3`` or ``3*1.2 m``.

        Raises:
            InputError: ``parts-unreadable`` or as :func:`cuttable.catalogue.quantities.length`.
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

    def off_axis(self, text: str) -> tuple[float, float]:
        """Read ``12 kg @ 150 mm`` as mass in kg and distance in mm."""
        if not text.strip():
            return 0.0, 0.0
        mass, mark, distance = (part.strip() for part in text.partition("@"))
        if not mark:
            raise InputError(
                "value-range",
                f"off-axis mass {text.strip()!r} has no distance",
                remedy="Write it like '12 kg @ 150 mm': mass, and distance from the axis.",
            )
        with _choices_within("", f" @ {distance}"):
            weight = quantity(mass, MASS)
        if not 0 < weight <= 100_000:
            raise InputError(
                "value-range",
                f"off-axis mass {mass!r} is not above zero and at most 100 t",
                remedy="Leave it out where nothing is fixed beside the axis.",
            )
        with _choices_within(f"{mass} @ ", ""):
            return weight, self.length(distance, "distance from the axis")


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


def read_job(
    text: JobText, catalogue: Catalogue, vocabulary: Vocabulary
) -> tuple[Job | None, list[Question]]:
    """Read a job.

    Returns:
        The job and no question, or None and every question that must be answered first.

    Raises:
        InputError: something cannot be read at all; the first such thing found.
    """
    reading = Reading()
    ask = reading.ask
    section = ask(lambda: catalogue.section(text.section))
    if section is not None and section.note:
        reading.assumptions.append(f"Section: {section.note}.")
    stock_length = ask(lambda: reading.length(text.length, "length"))
    grade = ask(lambda: grade_of(text.grade, section, catalogue))
    parts = [ask(partial(reading.part, item), "--part") for item in text.parts]
    cuts = reading.lengths(text.cuts, "cut position", "--cut")
    stations = reading.lengths(text.stations, "station", "--station")
    bow = (
        ask(lambda: reading.length(text.bow, "bow", BOW), "--bow") if text.bow.strip() else math.nan
    )
    behind = reading.lengths(
        [text.behind] if text.behind.strip() else [], "length behind", "--behind"
    )
    off_axis = ask(lambda: reading.off_axis(text.off_axis), "--off-axis")
    facts = [
        read_fact(name, value, vocabulary)
        for name, value in (
            ("ends", text.ends),
            ("contents", text.contents),
            ("coating", text.coating),
            ("grip", text.grip or "outside"),
        )
    ]
    fitted = [read_accessory(item, vocabulary) for item in text.fitted]
    # Nothing of these is None without a question; naming them keeps the types honest.
    if (
        reading.questions
        or section is None
        or stock_length is None
        or grade is None
        or bow is None
        or off_axis is None
    ):
        return None, reading.questions
    job = Job(
        section=section,
        grade=grade.grade,
        length=stock_length,
        parts=tuple(part for part in parts if part is not None),
        cuts=tuple(sorted(cuts, reverse=True)),
        stations=tuple(stations),
        bow=bow,
        off_axis_mass=off_axis[0],
        off_axis_distance=off_axis[1],
        ends=facts[0],
        contents=facts[1],
        coating=facts[2],
        fitted=frozenset(fitted),
        assumptions=(*reading.assumptions, *_assumptions(text, grade)),
        behind=sum(behind),
        grip=facts[3],
    )
    check_positions(Geometry(job.length, job.behind, job.parts, job.cuts, job.stations))
    return job, []


class Geometry(NamedTuple):
    """What of a job decides where things stand, mm: the same for stock of any section.

    Attributes:
        length: of the stock.
        behind: length that stands behind the chuck face.
        parts: in their order from the free end; ``cuts`` where positions were given instead.
        stations: given by the asker, else empty.
    """

    length: float
    behind: float = 0.0
    parts: tuple[Part, ...] = ()
    cuts: tuple[float, ...] = ()
    stations: tuple[float, ...] = ()

    @property
    def front(self) -> float:
        """Length in front of the chuck face."""
        return self.length - self.behind


def check_positions(geometry: Geometry) -> None:
    """Refuse positions that cannot be.

    Raises:
        InputError: ``length-range``, ``cuts-outside``, ``stations-bad``.
    """
    if geometry.behind >= geometry.length:
        raise InputError(
            "length-range",
            f"{geometry.behind:g} mm behind the chuck leave nothing of {geometry.length:g} mm "
            "in front",
            remedy="Give the length that stands behind the chuck face.",
        )
    if geometry.parts and geometry.cuts:
        raise InputError(
            "parts-and-cuts",
            "parts and cut positions are both given",
            remedy="Give the parts in their order from the free end, or the positions of the cuts.",
        )
    _check_cuts(geometry)
    _check_stations(geometry)


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


def _assumptions(text: JobText, grade: TakenGrade) -> Iterable[str]:
    if grade.assumption:
        yield grade.assumption
    if not text.bow.strip():
        product = grade.grade.product
        basis = "no number in the product standard: 0.2 % of the length, common practice"
        if product.straightness is not None:
            basis = f"{product.name}: {product.straightness * 100:g} % of the length"
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


def _check_cuts(job: Geometry) -> None:
    for cut in job.cuts:
        if cut >= job.front:
            raise InputError(
                "cuts-outside",
                f"a cut at {cut:g} mm lies beyond the stock of {job.front:g} mm",
                remedy="Positions are measured from the chuck face outward.",
            )
    for outer, inner in pairwise(job.cuts):
        if outer - inner < 1.0:
            raise InputError(
                "cuts-outside", f"two cuts lie at {inner:g} mm", remedy="Give each cut once."
            )


def _check_stations(job: Geometry) -> None:
    for station in job.stations:
        if station > job.front:
            raise InputError(
                "stations-bad",
                f"a station at {station:g} mm lies beyond the stock of {job.length:g} mm",
                remedy="Positions are measured from the chuck face outward.",
            )
    if len(set(job.stations)) < len(job.stations):
        raise InputError("stations-bad", "a station is given twice", remedy="Give it once.")


def check_kerf(cuts: Sequence[float], machines: Sequence[MachineModel]) -> None:
    """Refuse cuts that are nearer than the narrowest kerf of the machines asked.

    Raises:
        InputError: ``cuts-outside``.
    """
    kerf = min((machine.cutting.kerf for machine in machines), default=0.0)
    for outer, inner in pairwise(cuts):
        if outer - inner < kerf:
            raise InputError(
                "cuts-outside",
                f"cuts at {inner:g} and {outer:g} mm are nearer than a cut is wide ({kerf:g} mm)",
                remedy="Leave at least a kerf between cuts.",
            )


def check_fitted(fitted: frozenset[str], machines: Sequence[MachineModel]) -> None:
    """Refuse accessories that none of the machines asked can have.

    Raises:
        InputError: ``accessory-unknown``.
    """
    for code in sorted(fitted):
        if not any(code in machine.offered for machine in machines):
            models = ", ".join(machine.code for machine in machines)
            raise InputError(
                "accessory-unknown",
                f"{code!r} is not offered for {models}",
                remedy="Leave it out, or name a model that can have it.",
            )
