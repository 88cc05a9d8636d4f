"""Answers for many jobs as columns: one row a job and machine, in words that are codes.

What :mod:`cuttable.engine.answer` tells of one job in sentences is told here in codes and
numbers, from the same decision and by the same functions (:mod:`cuttable.engine.decision`).
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...rules.model import RuleSet
from ..answer.document import VERDICTS
from ..arrays import Floats
from ..decision.chance import chances
from ..decision.decide import Decision, Engine
from ..decision.deciding import asking, decided_by, missing, refused_by, wanting
from ..decision.inference import RANK, Inferred
from ..decision.limit_check import governing
from ..decision.settings import OVERRIDE, SETTINGS, mitigation_numbers, settings
from ..inputs.supports import CARRIED_LIMITS
from ..jobs.job_table import Index

MEASURES: Final = ("stock_mass", "rotary_inertia")
"""Measures that every answer has, nominal and heavy."""

NUMBERS: Final = (
    "utilisation", "heavy_utilisation", *SETTINGS,
    *(f"{name}{end}" for name in MEASURES for end in ("", "_heavy")),
)  # fmt: skip
"""Number columns of an answer."""

WORDS: Final = ("verdict", "decided_by", "governing", "mitigations", "missing", "stations")
"""Text columns of an answer."""

DETAILS: Final = "details"
"""A number that stands for everything else of a set-up; only where answers are compared."""

COUNTED: Final = ("wanting", "refused_by")
"""Text columns that are only counted: accessories whose lack is all that refuses, and
everything that refuses."""


class Answers(NamedTuple):
    """Answers for rows on one machine.

    Attributes:
        words: for each text column its distinct texts, and each row's place among them.
        numbers: columns, NaN for blank.
        question: for every row the place of its open question in ``questions``, else -1.
        extra: numbers of mitigations by ``code.name``, NaN where the mitigation is not asked, and
            chances by ``chance_…``; where they are asked for.
    """

    words: dict[str, tuple[tuple[str, ...], Index]]
    numbers: dict[str, Floats]
    questions: tuple[tuple[str, str], ...]
    question: Index
    extra: dict[str, Floats]


def answers_of(
    engine: Engine, decision: Decision, *, has_extra: bool, has_chance: bool = False
) -> Answers:
    """Return the answers of a decision."""
    return _Answering(engine, decision).answers(has_extra=has_extra, has_chance=has_chance)


class _Answering:
    def __init__(self, engine: Engine, decision: Decision) -> None:
        self.engine, self.rule_set, self.decision = engine, engine.rule_set, decision
        self.rows = decision.frame.rows
        self.which = decision.which

    def answers(self, *, has_extra: bool, has_chance: bool) -> Answers:
        decision, inferred = self.decision, self.decision.inferred
        verdicts = [
            "" if item.outcome == "question" else VERDICTS[item.outcome].value for item in inferred
        ]
        chief = governing(self.engine, decision)
        places = [format_stations(item) for item in decision.frame.places]
        place = decision.frame.place
        if place is None:
            place = np.full(self.rows, -1, dtype=np.intp)
        is_refused = decision.ranks == RANK["refused"]
        extra = mitigation_numbers(self.engine, decision, None if has_extra else (OVERRIDE,))
        numbers = {"utilisation": chief.nominal, "heavy_utilisation": chief.heavy}
        for name, column in settings(self.engine, decision, extra).items():
            numbers[name] = np.where(is_refused, np.nan, column)
        for name in MEASURES:
            numbers[name] = decision.measured.nominal[name]
            numbers[f"{name}_heavy"] = decision.measured.heavy[name]
        questions, question = self.questions()
        more = extra | {DETAILS: self.details()} if has_extra else {}
        if has_chance:
            more |= chances(self.rule_set, decision)
        return Answers(
            words={
                "verdict": self.spread(verdicts),
                "decided_by": self.spread([decided_by(item, self.rule_set) for item in inferred]),
                "governing": (("", *chief.names), chief.place),
                "mitigations": self.spread(["; ".join(item.mitigations) for item in inferred]),
                "missing": self.spread(["; ".join(missing(item)) for item in inferred]),
                "wanting": self.spread(
                    ["; ".join(wanting(item, self.rule_set)) for item in inferred]
                ),
                "refused_by": self.spread(
                    ["; ".join(refused_by(item, self.rule_set)) for item in inferred]
                ),
                "stations": (("", *places), np.where(is_refused, 0, place + 1)),
            },
            numbers=numbers,
            questions=questions,
            question=question,
            extra=more,
        )

    def spread(self, texts: Sequence[str]) -> tuple[tuple[str, ...], Index]:
        """Return distinct texts and the place of each row's text, from one text a signature."""
        places: dict[str, int] = {}
        of_signature = [places.setdefault(text, len(places)) for text in texts]
        return tuple(places), np.array(of_signature, dtype=np.intp)[self.which]

    def details(self) -> Floats:
        """Return a number that stands for every measure of a row, to the bit.

        Answers that are compared say nothing of reactions, heights or tabs; where any of them
        differs, this does. 53 bits, so that a float holds it.
        """
        measured, numbers = self.decision.measured, self.decision.scope.numbers
        names = sorted(measured.nominal)
        columns = [measured.nominal[name] for name in names]
        columns += [measured.heavy[name] for name in names if name in measured.heavy]
        columns += [numbers[name] for name in CARRIED_LIMITS if name in numbers]
        total = np.zeros(self.rows, dtype=np.uint64)
        for column in columns:
            plain = (
                np.where(np.isfinite(column), column, -1.0) + 0.0
            )  # one kind of nothing and zero
            total ^= np.ascontiguousarray(plain, dtype=np.float64).view(np.uint64)
            total *= np.uint64(0x9E3779B97F4A7C15)
            total ^= total >> np.uint64(29)
        return (total >> np.uint64(11)).astype(np.float64)

    def questions(self) -> tuple[tuple[tuple[str, str], ...], Index]:
        """Return the open questions that rules ask, and which one each row has."""
        found: dict[tuple[str, str], int] = {}
        places: list[int] = []
        for item in self.decision.inferred:
            place = -1
            if item.outcome == "question":
                place = found.setdefault(question_of(item, self.rule_set), len(found))
            places.append(place)
        return tuple(found), np.array(places, dtype=np.intp)[self.which]


def question_of(inferred: Inferred, rule_set: RuleSet) -> tuple[str, str]:
    """Return code and text of the first question that a rule asks."""
    for rule in asking(inferred, rule_set):
        return rule.code, f"{rule.ask_text} Choose: {'; '.join(rule.ask_choices)}."
    return "", ""


def format_stations(stations: Sequence[float]) -> str:
    """Return stations in mm as a cell that can be read back."""
    return " + ".join(f"{station:.10g} mm" for station in stations)


def rank_codes(answers: Answers) -> NDArray[np.int8]:
    """Return for every row how good its verdict is: 0 best; open questions and faults last."""
    texts, code = answers.words["verdict"]
    order = {VERDICTS["setting"]: 0, VERDICTS["conditions"]: 1, "": 2, VERDICTS["refused"]: 3}
    return np.array([order[text] for text in texts], dtype=np.int8)[code]
