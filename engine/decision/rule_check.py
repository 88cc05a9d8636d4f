"""Check a rule set: run its cases, and look for what cases cannot show.

Nothing here decides a job. It asks the same functions that do, on made-up values: every case,
and a large sample of values just below, at and above every limit.

A little long: every check is a few lines that say what is wrong with a rule set.
"""

import math
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

import numpy as np

from ...catalogue.machines.model import LIMITS
from ...rules.cases import Case
from ...rules.expression import Compare, Name, comparisons_in, facts_in, names_in
from ...rules.model import Rule, RuleSet
from ..answer.document import VERDICTS
from ..arrays import Bools, Floats
from ..inputs.figures import LOOKUPS, NEWER, PARAMETERS
from ..inputs.frame import Frame
from ..measures import Measured
from ..tolerance import TOLERANCE
from .conditions import Scope, Truth, fact_codes, number_of, truth_of
from .decide import Engine, fullness, with_needs
from .inference import RANK, Inferred

NEAR: Final = 0.01
"""A case counts as beside a limit when it is within one per cent of it."""
SAMPLE: Final = 20_000
SEED: Final = 20_261_125


class Problem(NamedTuple):
    """One thing wrong with a rule set: a stable kind, and a sentence."""

    kind: str
    text: str


def check_rules(rule_set: RuleSet, cases: Sequence[Case]) -> list[Problem]:
    """Return everything wrong; empty means clean."""
    scope = case_scope(rule_set, cases)
    truths = [truth_of(rule.when, scope) for rule in rule_set.rules]
    return [
        *failed_cases(rule_set, cases),
        *_uncovered(rule_set, scope, truths),
        *_unused(rule_set),
        *(
            Problem("lookup-not-read", f"nothing reads the lookup {name}")
            for name in rule_set.lookups
            if name not in LOOKUPS
        ),
        *_facts_without_rule(rule_set),
        *_sampled(rule_set, cases),
    ]


def case_scope(rule_set: RuleSet, cases: Sequence[Case]) -> Scope:
    """Return the cases as a scope, one row a case."""
    codes = fact_codes(rule_set.vocabulary)
    numbers: dict[str, Floats] = {
        name: np.array([case.numbers.get(name, math.nan) for case in cases])
        for name in rule_set.vocabulary.numbers
    }
    numbers |= _parameters(rule_set, len(cases))
    facts = {
        name: np.array(
            [codes[name][case.facts.get(name, fact.values[0])] for case in cases], dtype=np.int8
        )
        for name, fact in rule_set.vocabulary.facts.items()
    }
    return Scope(len(cases), numbers, facts, codes)


def _parameters(rule_set: RuleSet, rows: int) -> dict[str, Floats]:
    return {
        f"param.{name}": np.full(rows, item.value) for name, item in rule_set.parameters.items()
    }


def _inferred(engine: Engine, scope: Scope, fitted: dict[str, Bools]) -> list[Inferred]:
    frame = Frame(scope.rows, {}, {}, {}, {}, fitted, np.ones(scope.rows, dtype=np.bool_))
    decision = engine.decide_scope(frame, scope, Measured({}, {}))
    return [decision.of(row) for row in range(scope.rows)]


def failed_cases(rule_set: RuleSet, cases: Sequence[Case]) -> Iterable[Problem]:
    """Run the cases and return those whose expectation is not met."""
    engine, scope = Engine(rule_set), case_scope(rule_set, cases)
    rules = rule_set.rules
    fitted = {
        code: np.array([code in case.fitted for case in cases], dtype=np.bool_)
        for code in rule_set.vocabulary.accessories
    }
    names = {**VERDICTS, "question": "question"}
    for case, result in zip(cases, _inferred(engine, scope, fitted), strict=True):
        holds = {rules[found.rule].code for found in result.findings if not found.is_unknown}
        unknown = {rules[found.rule].code for found in result.findings if found.is_unknown}
        differences = [
            f"{what} {', '.join(sorted(got)) or 'nothing'} instead of "
            f"{', '.join(sorted(wanted)) or 'nothing'}"
            for what, got, wanted in (
                ("holds", holds, set(case.holds)),
                ("cannot judge", unknown, set(case.cannot_judge)),
                ("verdict", {names[result.outcome]}, {case.verdict}),
                (
                    "mitigations",
                    set(result.mitigations),
                    set(result.mitigations if case.mitigations is None else case.mitigations),
                ),
            )
            if got != wanted
        ]
        if differences:
            text = f"{case.file}: {case.name!r}: {'; '.join(differences)}"
            yield Problem("case-failed", text)


def _uncovered(rule_set: RuleSet, scope: Scope, truths: Sequence[Truth]) -> Iterable[Problem]:
    """Find rules no case makes true, and limits without a case close on each side."""
    for rule, truth in zip(rule_set.rules, truths, strict=True):
        if not truth.yes.any():
            yield Problem("never-true", f"{rule.code}: no case makes it true")
        if rule.unknown != "never" and not truth.unknown.any():
            yield Problem("never-unknown", f"{rule.code}: in no case can it not be judged")
        for comparison in comparisons_in(rule.when):
            yield from _one_sided(rule, comparison, scope)
        for fact in facts_in(rule.when):
            codes = scope.codes[fact.fact]
            for value in fact.values:
                if not (scope.facts[fact.fact] == codes[value]).any():
                    yield Problem(
                        "fact-not-tried", f"{rule.code}: no case has {fact.fact} {value!r}"
                    )


def _one_sided(rule: Rule, comparison: Compare, scope: Scope) -> Iterable[Problem]:
    left, right = number_of(comparison.left, scope), number_of(comparison.right, scope)
    known = np.isfinite(left) & np.isfinite(right)
    gap = np.abs(left - right)
    close = known & (gap <= NEAR * np.maximum(np.abs(left), np.abs(right)))
    truth = truth_of(comparison, scope)
    for is_true, word in ((True, "true"), (False, "false")):
        if not (close & (truth.yes == is_true)).any():
            sides = " and ".join(sorted(names_in(comparison)))
            yield Problem(
                "one-sided",
                f"{rule.code}: no case within 1 % makes the comparison of {sides} {word}",
            )


def _unused(rule_set: RuleSet) -> Iterable[Problem]:
    vocabulary = rule_set.vocabulary
    read = set[str]().union(*(names_in(rule.when) for rule in rule_set.rules))
    asked = {code for rule in rule_set.rules for code in rule.mitigations}
    wanted = with_needs(asked, rule_set)
    for name, (_, bounds) in vocabulary.limits.items():
        for bound in bounds:
            if f"limit.{name}.{bound}" not in read:
                yield Problem("limit-not-read", f"no rule reads limit.{name}.{bound}")
    for name in LIMITS:
        if name not in vocabulary.limits and name not in vocabulary.not_assessed:
            yield Problem("limit-not-read", f"machine files state {name}, and no rule knows it")
    for code in rule_set.mitigations:
        if code not in wanted:
            yield Problem("mitigation-not-needed", f"nothing needs the mitigation {code}")
    used = read | set[str]().union(
        *(names_in(node) for item in rule_set.mitigations.values() for _, node in item.values),
        *(
            names_in(limit_check.rated) | names_in(limit_check.demand)
            for limit_check in rule_set.limit_checks
        ),
    )
    for name in rule_set.parameters:
        if f"param.{name}" not in used and name not in (*PARAMETERS, *NEWER):
            yield Problem("parameter-not-read", f"nothing reads the parameter {name}")


def _facts_without_rule(rule_set: RuleSet) -> Iterable[Problem]:
    tested = [fact for rule in rule_set.rules for fact in facts_in(rule.when)]
    for fact in rule_set.vocabulary.facts.values():
        for value in fact.values:
            is_tested = any(item.fact == fact.name and value in item.values for item in tested)
            if not is_tested and value not in fact.harmless and not _by_negation(tested, fact.name):
                yield Problem("gap", f"no rule speaks of {fact.name} {value!r}")


def _by_negation(tested: Sequence[object], name: str) -> bool:
    """Say whether a rule asks what the fact is not (``shape is not 'round'``)."""
    return name == "shape" and bool(tested)


# --- the sample -------------------------------------------------------------------------------


def _sampled(rule_set: RuleSet, cases: Sequence[Case]) -> Iterable[Problem]:
    """Look for gaps and contradictions among values around every limit."""
    base = case_scope(rule_set, cases[:1])
    limits = _limits_by_measure(rule_set, base)
    one_by_one = one_by_one_scope(rule_set, base, limits)
    yield from _gaps(rule_set, one_by_one, _truths(rule_set, one_by_one))
    truths = _truths(rule_set, sample_scope(rule_set, base, limits))
    yield from _conflicts(rule_set, truths)
    yield from _contradictions(rule_set, truths)


def _gaps(rule_set: RuleSet, scope: Scope, truths: Sequence[Truth]) -> Iterable[Problem]:
    """Find a limit that is exceeded while no rule asks for anything."""
    speaks = np.zeros(scope.rows, dtype=np.bool_)
    for rule, truth in zip(rule_set.rules, truths, strict=True):
        if RANK[rule.outcome] >= RANK["conditions"]:
            speaks |= truth.yes
    for full in fullness(rule_set, scope):
        over = np.isfinite(full.nominal) & (full.nominal > 1 + 10 * TOLERANCE)
        silent = np.flatnonzero(over & ~speaks)
        if silent.size:
            row = int(silent[0])
            yield Problem(
                "gap",
                f"{full.name} is over its limit ({full.demand[row]:g} of {full.rated[row]:g}) "
                "and no rule speaks",
            )


def _conflicts(rule_set: RuleSet, truths: Sequence[Truth]) -> Iterable[Problem]:
    """Find mitigations that contradict each other and can both be asked for."""

    def asked(code: str) -> Bools:
        return np.logical_or.reduce(
            [
                truth.yes
                for rule, truth in zip(rule_set.rules, truths, strict=True)
                if code in with_needs(rule.mitigations, rule_set)
            ]
            or [np.zeros(1, dtype=np.bool_)]
        )

    for first, mitigation in rule_set.mitigations.items():
        for second in mitigation.conflicts:
            if (asked(first) & asked(second)).any():
                yield Problem(
                    "contradiction",
                    f"{first} and {second} can both be asked for, and conflict",
                )


def _contradictions(rule_set: RuleSet, truths: Sequence[Truth]) -> Iterable[Problem]:
    """Find rules of which one refuses and one allows on the same limit, and both hold."""
    holds = {rule.code: truth.yes for rule, truth in zip(rule_set.rules, truths, strict=True)}
    pairs = [
        (allow, refuse)
        for allow in rule_set.rules
        for refuse in rule_set.rules
        if allow.outcome == "conditions" and refuse.outcome == "refused"
        and _bounded(allow) & _bounded(refuse)
    ]  # fmt: skip
    for allow, refuse in pairs:
        if (holds[allow.code] & holds[refuse.code]).any():
            names = ", ".join(sorted(_bounded(allow) & _bounded(refuse)))
            yield Problem(
                "contradiction",
                f"{allow.code} allows and {refuse.code} refuses on {names}, and both can hold",
            )


def _bounded(rule: Rule) -> set[str]:
    """Return what a rule holds from above to a limit: ``measure against limit``."""
    return {
        f"{item.left.name} against {limit}"
        for item in comparisons_in(rule.when)
        if isinstance(item.left, Name) and "." not in item.left.name and item.op == ">"
        for limit in _limits(item)
    }


def _limits(comparison: Compare) -> set[str]:
    """Return the limits on the right of a comparison, rated and absolute taken as one."""
    names = names_in(comparison.right)
    return {
        name.rpartition(".")[0] if name.startswith("limit.") else name
        for name in names
        if not name.startswith("param.")
    }


_STEPS: Final = (0.5, 0.9, 0.999, 1.0, 1.001, 1.05, 1.5)


def _truths(rule_set: RuleSet, scope: Scope) -> list[Truth]:
    return [truth_of(rule.when, scope) for rule in rule_set.rules]


def _limits_by_measure(rule_set: RuleSet, base: Scope) -> dict[str, list[float]]:
    """Return the values that any rule compares each measure with, in the base case."""
    limits: dict[str, list[float]] = {}
    for rule in rule_set.rules:
        for comparison in comparisons_in(rule.when):
            if isinstance(comparison.left, Name):
                limit = float(number_of(comparison.right, base)[0])
                if math.isfinite(limit):
                    name = comparison.left.name.removesuffix(".heavy")
                    limits.setdefault(name, []).append(limit)
    return limits


def one_by_one_scope(rule_set: RuleSet, base: Scope, limits: dict[str, list[float]]) -> Scope:
    """Return the base case with one measure around one limit, under one changed fact.

    Nothing else is out of order, so that a rule that speaks speaks of this.
    """
    facts = [
        (name, code)
        for name, fact in rule_set.vocabulary.facts.items()
        for code in range(len(fact.values))
    ]
    changes = [
        (name, limit * step) for name, values in limits.items() for limit in values
        for step in _STEPS
    ]  # fmt: skip
    rows = len(facts) * len(changes)
    numbers = {name: np.repeat(column[:1], rows) for name, column in base.numbers.items()}
    columns = {name: np.repeat(column[:1], rows) for name, column in base.facts.items()}
    for place, (name, value) in enumerate(changes):
        block = slice(place * len(facts), (place + 1) * len(facts))
        numbers[name][block] = value
        if f"{name}.heavy" in numbers:
            numbers[f"{name}.heavy"][block] = value
        for offset, (fact, code) in enumerate(facts):
            columns[fact][block.start + offset] = code
    return Scope(rows, numbers, columns, base.codes)


def sample_scope(rule_set: RuleSet, base: Scope, limits: dict[str, list[float]]) -> Scope:
    """Return values around every limit, of all measures at once, mixed at random."""
    random = np.random.default_rng(SEED)
    numbers = {name: np.repeat(column[:1], SAMPLE) for name, column in base.numbers.items()}
    for name, values in limits.items():
        numbers[name] = random.choice(np.outer(values, _STEPS).ravel(), SAMPLE)
        measure = rule_set.vocabulary.measures.get(name)
        if measure is not None and measure.has_heavy:
            more = np.array([1.0, 1.002, 1.1])
            factors = {"more": more, "less": 1 / more, "either": np.append(more, 1 / more)}
            factor = random.choice(factors[measure.heavy], SAMPLE)
            numbers[f"{name}.heavy"] = numbers[name] * factor
    facts = {
        name: random.integers(0, len(fact.values), SAMPLE).astype(np.int8)
        for name, fact in rule_set.vocabulary.facts.items()
    }
    return Scope(SAMPLE, numbers, facts, base.codes)
