"""A job: one piece of stock, and what is to be cut from it, read from what people type."""

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple, TypeVar

from ..catalogue.errors import InputError, OpenQuestion, Question
from ..catalogue.grades import DEFAULT_GRADE, Grade
from ..catalogue.nearest import did_you_mean
from ..catalogue.quantities import exact_length, length, quantity
from ..catalogue.sections import Section
from ..catalogue.store import Catalogue
from ..catalogue.units import MASS
from ..rules.model import Vocabulary

T = TypeVar("T")

MOST_PARTS: Final = 10_000


@dataclass(frozen=True)
class Part:
    """Parts of one length, mm."""

    length: float
    count: int


class JobText(NamedTuple):
    """A job as typed; empty texts mean not stated."""

    section: str
    length: str
    grade: str = ""
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


def read_job(
    text: JobText, catalogue: Catalogue, vocabulary: Vocabulary
) -> tuple[Job | None, list[Question]]:
    """Read a job.

    Returns:
        The job and no question, or None and every question that must be answered first.

    Raises:
        InputError: something cannot be read at all; the first such thing found.
    """
    questions: list[Question] = []

    def ask(read: Callable[[], T]) -> T | None:
        try:
            return read()
        except OpenQuestion as asked:
            questions.append(asked.question)
            return None

    section = ask(lambda: catalogue.section(text.section))
    stock_length = ask(lambda: length(text.length))
    grade = ask(lambda: _grade(text.grade, section, catalogue))
    parts = ask(lambda: [read_part(item) for item in text.parts])
    cuts = ask(lambda: [length(item, what="cut position") for item in text.cuts])
    stations = ask(lambda: [length(item, what="station") for item in text.stations])
    bow = ask(lambda: _bow(text.bow))
    behind = ask(lambda: length(text.behind, what="length behind") if text.behind.strip() else 0.0)
    off_axis = ask(lambda: _off_axis(text.off_axis))
    facts = [
        _fact(name, value, vocabulary)
        for name, value in (
            ("ends", text.ends),
            ("contents", text.contents),
            ("coating", text.coating),
            ("grip", text.grip or "outside"),
        )
    ]
    fitted = [_accessory(item, vocabulary) for item in text.fitted]
    if section is None or stock_length is None or grade is None or questions:
        return None, questions
    if (
        off_axis is None or bow is None or behind is None
    ):  # unreachable without a question; keeps types honest
        return None, questions
    job = Job(
        section=section,
        grade=grade,
        length=stock_length,
        parts=tuple(parts or ()),
        cuts=tuple(sorted(cuts or (), reverse=True)),
        stations=tuple(stations or ()),
        bow=bow,
        off_axis_mass=off_axis[0],
        off_axis_distance=off_axis[1],
        ends=facts[0],
        contents=facts[1],
        coating=facts[2],
        fitted=frozenset(fitted),
        assumptions=tuple(_assumptions(text, section, grade)),
        behind=behind,
        grip=facts[3],
    )
    if behind >= stock_length:
        raise InputError(
            "length-range",
            f"{behind:g} mm behind the chuck leave nothing of {stock_length:g} mm in front",
            remedy="Give the length that stands behind the chuck face.",
        )
    _check_cuts(job)
    _check_stations(job)
    return job, []


def _grade(text: str, section: Section | None, catalogue: Catalogue) -> Grade:
    if text.strip():
        return catalogue.grade(text)
    if section is not None and section.standard == "ASME B36.19M":
        raise OpenQuestion(
            "which-grade",
            f"{section.designation} is a schedule of stainless pipe. Which grade is it?",
            [
                f"--grade '{grade.name}'"
                for grade in catalogue.grades.values()
                if grade.product.name == "ASTM A312"
            ],
        )
    return catalogue.grade(DEFAULT_GRADE)


def _assumptions(text: JobText, section: Section, grade: Grade) -> Iterable[str]:
    if section.note:
        yield f"Section: {section.note}."
    if not text.grade.strip():
        yield (
            f"Grade not stated: carbon steel with the tolerances of {grade.product.name} "
            f"({grade.name}) was taken."
        )
    if not text.bow.strip():
        share = grade.product.straightness
        basis = "no number in the product standard: 0.2 % of the length, common practice"
        if share is not None:
            basis = f"{grade.product.name}: {share * 100:g} % of the length"
        yield f"Bow not stated: at the heavy end the most that is usual was taken ({basis})."
    if not text.contents.strip() and not text.ends.strip():
        yield "Ends and contents not stated: new, open, clean and empty stock was taken."


_PART = re.compile(r"(.*?)\s*(?:[*x\u00d7]\s*(\d{1,5}))?", re.DOTALL)
_COUNT_FIRST = re.compile(r"(\d{1,5})\s*[*x\u00d7]\s*(.*[a-zA-Z'\"].*)", re.DOTALL)


def read_part(text: str) -> Part:
    """Read ``1.2 m*3`` or ``3*1.2 m``.

    Raises:
        InputError: ``parts-unreadable`` or as :func:`cuttable.catalogue.quantities.length`.
    """
    first = _COUNT_FIRST.fullmatch(text.strip())
    match = None if first else _PART.fullmatch(text.strip())
    size, count = (first[2], first[1]) if first else (match[1], match[2]) if match else (text, "")
    number = int(count or 1)
    if not 1 <= number <= MOST_PARTS:
        raise InputError(
            "parts-unreadable",
            f"part {text!r} asks for {number} pieces",
            remedy=f"Ask for 1 to {MOST_PARTS}.",
        )
    return Part(length(size, what="part"), number)


def _bow(text: str) -> float:
    if not text.strip():
        return math.nan
    bow = float(exact_length(text, what="bow"))
    if not 0 <= bow <= 1000:
        raise InputError(
            "length-range",
            f"bow {text.strip()!r} is not between 0 and 1 m",
            remedy="The bow is the greatest gap between the stock and a straight line.",
        )
    return bow


def _off_axis(text: str) -> tuple[float, float]:
    if not text.strip():
        return 0.0, 0.0
    mass, mark, distance = text.partition("@")
    if not mark:
        raise InputError(
            "value-range",
            f"off-axis mass {text.strip()!r} has no distance",
            remedy="Write it like '12 kg @ 150 mm': mass, and distance from the axis.",
        )
    weight = quantity(mass, MASS)
    if not 0 < weight <= 100_000:
        raise InputError(
            "value-range",
            f"off-axis mass {mass.strip()!r} is not above zero and at most 100 t",
            remedy="Leave it out where nothing is fixed beside the axis.",
        )
    return weight, length(distance, what="distance from the axis")


def _fact(name: str, text: str, vocabulary: Vocabulary) -> str:
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


def _accessory(text: str, vocabulary: Vocabulary) -> str:
    code = text.strip().casefold()
    if code not in vocabulary.accessories:
        known = ", ".join(vocabulary.accessories)
        raise InputError(
            "accessory-unknown",
            f"no accessory {text.strip()[:60]!r} is known",
            remedy=f"Known: {known}. {did_you_mean(code, vocabulary.accessories)}".strip(),
        )
    return code


def _check_cuts(job: Job) -> None:
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


def _check_stations(job: Job) -> None:
    for station in job.stations:
        if station > job.front:
            raise InputError(
                "stations-bad",
                f"a station at {station:g} mm lies beyond the stock of {job.length:g} mm",
                remedy="Positions are measured from the chuck face outward.",
            )
    if len(set(job.stations)) < len(job.stations):
        raise InputError("stations-bad", "a station is given twice", remedy="Give it once.")
