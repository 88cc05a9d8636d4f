"""Answers for many jobs as columns: one row a job and machine, in words that are codes.

What :mod:`cuttable.engine.verdict` tells of one job in sentences is told here in codes and
numbers, from the same decision.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...rules.model import RuleSet
from ..arrays import Bools, Floats
from ..conditions import number_of
from ..decide import Decision, Engine, Fullness, fullness
from ..frame import CARRIED_LIMITS
from ..inference import RANK, Inferred
from ..table import Index
from ..verdict import VERDICTS

SETTINGS: Final = {
    "rapid_override": "rapid_override",
    "acceleration": "acceleration_setting",
    "jaw_force": "jaw_force_setting",
    "bow_to_refuse": "bow_to_refuse",
}
"""Columns of settings, and the measure each is; blank where a job is refused."""

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
        extra: numbers of mitigations by ``code.name``, NaN where the mitigation is not asked.
    """

    words: dict[str, tuple[tuple[str, ...], Index]]
    numbers: dict[str, Floats]
    questions: tuple[tuple[str, str], ...]
    question: Index
    extra: dict[str, Floats]


def answers_of(engine: Engine, decision: Decision, *, has_extra: bool) -> Answers:
    """Return the answers of a decision."""
    return _Answering(engine, decision).answers(has_extra=has_extra)


class _Answering:
    def __init__(self, engine: Engine, decision: Decision) -> None:
        self.engine, self.rule_set, self.decision = engine, engine.rule_set, decision
        self.rows = decision.frame.rows
        self.which = decision.which

    def answers(self, *, has_extra: bool) -> Answers:
        decision, inferred = self.decision, self.decision.inferred
        verdicts = [
            "" if item.outcome == "question" else VERDICTS[item.outcome] for item in inferred
        ]
        governing, utilisation, heavy = self.governing()
        names = ("", *(gauge.name for gauge in self.rule_set.gauges))
        places = [format_stations(item) for item in decision.frame.places]
        place = decision.frame.place
        if place is None:
            place = np.full(self.rows, -1, dtype=np.intp)
        is_refused = decision.ranks == RANK["refused"]
        extra = self.extra(is_all=has_extra)
        numbers = {"utilisation": utilisation, "heavy_utilisation": heavy}
        for name, column in self.settings(extra).items():
            numbers[name] = np.where(is_refused, np.nan, column)
        for name in MEASURES:
            numbers[name] = decision.measured.nominal[name]
            numbers[f"{name}_heavy"] = decision.measured.heavy[name]
        questions, question = self.questions()
        return Answers(
            words={
                "verdict": self.spread(verdicts),
                "decided_by": self.spread([decided_by(item, self.rule_set) for item in inferred]),
                "governing": (names, governing),
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
            extra=extra | {DETAILS: self.details()} if has_extra else {},
        )

    def spread(self, texts: Sequence[str]) -> tuple[tuple[str, ...], Index]:
        """Return distinct texts and the place of each row's text, from one text a signature."""
        places: dict[str, int] = {}
        of_signature = [places.setdefault(text, len(places)) for text in texts]
        return tuple(places), np.array(of_signature, dtype=np.intp)[self.which]

    def governing(self) -> tuple[Index, Floats, Floats]:
        """Return for every row the gauge that governs (0: none) and how full its limit is.

        As in a single answer: the largest utilisation; where all are within rated, the gauge
        whose heavy end is the most over.
        """
        full = fullness(self.rule_set, self.decision.scope)
        chosen = {gauge.name for gauge in self.rule_set.gauges if gauge.is_chosen}
        nominal = np.stack([self.known(item, item.nominal, chosen) for item in full])
        heavy = np.stack([self.heavy_over(item) for item in full])
        best: Index = nominal.argmax(axis=0)
        over: Index = heavy.argmax(axis=0)
        every = np.arange(self.rows)
        is_over = (nominal[best, every] <= 1 + 1e-9) & (heavy[over, every] > -np.inf)
        place: Index = np.where(is_over, over, best)
        has_any = nominal.max(axis=0) > -np.inf
        utilisation = np.stack([item.nominal for item in full])[place, every]
        at_heavy = np.stack([item.heavy for item in full])[place, every]
        return (
            np.where(has_any, place + 1, 0),
            np.where(has_any & np.isfinite(utilisation), utilisation, np.nan),
            np.where(has_any & np.isfinite(at_heavy), at_heavy, np.nan),
        )

    def is_shown(self, item: Fullness) -> Bools:
        if item.name not in self.engine.carried_measures:
            return np.ones(self.rows, dtype=np.bool_)
        return self.decision.frame.is_carried

    def known(self, item: Fullness, values: Floats, chosen: set[str]) -> Floats:
        """Return utilisations that can govern, minus infinity elsewhere."""
        counts = np.isfinite(values) & self.is_shown(item)
        if item.name in chosen:
            counts &= values > 1 + 1e-9
        return np.where(counts, values, -np.inf)

    def heavy_over(self, item: Fullness) -> Floats:
        counts = np.isfinite(item.heavy) & (item.heavy > 1 + 1e-9) & self.is_shown(item)
        return np.where(counts, item.heavy, -np.inf)

    def extra(self, *, is_all: bool) -> dict[str, Floats]:
        """Return the numbers of mitigations; only those that are settings unless all are asked."""
        result: dict[str, Floats] = {}
        asked: dict[str, Bools] = {}
        for mitigation in self.rule_set.mitigations.values():
            for name, node in mitigation.values:
                if not (is_all or name == "rapid_override"):
                    continue
                code = mitigation.code
                if code not in asked:
                    has = [code in item.mitigations for item in self.decision.inferred]
                    asked[code] = np.array(has, dtype=np.bool_)[self.which]
                column = number_of(node, self.decision.scope)
                result[f"{code}.{name}"] = np.where(
                    asked[code] & np.isfinite(column), column, np.nan
                )
        return result

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

    def settings(self, extra: dict[str, Floats]) -> dict[str, Floats]:
        """Return what the machine is to be set to: at the heavy end, and no faster than told."""
        measured = self.decision.measured
        result: dict[str, Floats] = {}
        for column, measure in SETTINGS.items():
            values = measured.heavy.get(measure, measured.nominal[measure])
            values = np.where(np.isfinite(values), values, measured.nominal[measure])
            if column == "rapid_override":
                values = np.fmax(values, self.decision.scope.numbers["machine.lowest_override"])
                for name, told in extra.items():
                    if name.endswith(".rapid_override"):
                        values = np.fmin(np.where(np.isnan(values), 1.0, values), told)
            result[column] = np.where(np.isfinite(values), values, np.nan)
        return result

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


def decided_by(inferred: Inferred, rule_set: RuleSet) -> str:
    """Return the rule that decides, as in a single answer; empty for in range."""
    if inferred.outcome == "setting":
        return ""
    if inferred.outcome == "refused" and inferred.missing:
        return "NOT-FITTED"
    if inferred.outcome == "refused" and inferred.conflicts:
        return "CONFLICT"
    for found in inferred.findings:
        rule = rule_set.rules[found.rule]
        if (rule.unknown if found.is_unknown else rule.outcome) == inferred.outcome:
            return rule.code
    return ""


def refused_by(inferred: Inferred, rule_set: RuleSet) -> tuple[str, ...]:
    """Return everything that refuses, the one that decides first; nothing where not refused."""
    if inferred.outcome != "refused":
        return ()
    found = ["NOT-FITTED"] if inferred.missing else []
    found += ["CONFLICT"] if inferred.conflicts else []
    for item in inferred.findings:
        rule = rule_set.rules[item.rule]
        if (rule.unknown if item.is_unknown else rule.outcome) == "refused":
            found.append(rule.code)
    return tuple(dict.fromkeys(found))


def missing(inferred: Inferred) -> tuple[str, ...]:
    """Return accessories that are needed and not fitted."""
    return tuple(dict.fromkeys(accessory for _, accessory in inferred.missing))


def wanting(inferred: Inferred, rule_set: RuleSet) -> tuple[str, ...]:
    """Return missing accessories where nothing else refuses."""
    for found in inferred.findings:
        rule = rule_set.rules[found.rule]
        if (rule.unknown if found.is_unknown else rule.outcome) == "refused":
            return ()
    return () if inferred.conflicts else missing(inferred)


def question_of(inferred: Inferred, rule_set: RuleSet) -> tuple[str, str]:
    """Return code and text of the first question that a rule asks."""
    for found in inferred.findings:
        rule = rule_set.rules[found.rule]
        if (rule.unknown if found.is_unknown else rule.outcome) == "question":
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
