"""What decides, what refuses and what is asked, from what follows of one signature."""

from collections.abc import Iterator
from typing import Final, cast

from ...rules.model import Outcome, Rule, RuleSet
from .inference import Found, Inferred

NOT_FITTED: Final = "NOT-FITTED"
"""What refuses where an accessory is needed and not fitted."""
CONFLICT: Final = "CONFLICT"
"""What refuses where two mitigations contradict each other."""


def outcome_of(found: Found, rule_set: RuleSet) -> Outcome:
    """Return what a rule that holds, or cannot be judged, means."""
    rule = rule_set.rules[found.rule]
    # What is unknown and may not matter ("never") is not found at all.
    return cast("Outcome", rule.unknown) if found.is_unknown else rule.outcome


def decided_by(inferred: Inferred, rule_set: RuleSet) -> str:
    """Return what decides; empty for in range.

    What is not fitted comes first: the rest is how things would be without it.
    """
    if inferred.outcome == "setting":
        return ""
    if inferred.outcome == "refused":
        return next(iter(refused_by(inferred, rule_set)), "")
    return next((rule.code for rule in _rules_of(inferred, rule_set, inferred.outcome)), "")


def refused_by(inferred: Inferred, rule_set: RuleSet) -> tuple[str, ...]:
    """Return everything that refuses, the one that decides first; nothing where not refused."""
    if inferred.outcome != "refused":
        return ()
    found = [NOT_FITTED] if inferred.missing else []
    found += [CONFLICT] if inferred.conflicts else []
    found += [rule.code for rule in _rules_of(inferred, rule_set, "refused")]
    return tuple(dict.fromkeys(found))


def missing(inferred: Inferred) -> tuple[str, ...]:
    """Return accessories that are needed and not fitted."""
    return tuple(dict.fromkeys(accessory for _, accessory in inferred.missing))


def wanting(inferred: Inferred, rule_set: RuleSet) -> tuple[str, ...]:
    """Return missing accessories where nothing else refuses."""
    is_alone = refused_by(inferred, rule_set) in ((), (NOT_FITTED,))
    return missing(inferred) if is_alone else ()


def asking(inferred: Inferred, rule_set: RuleSet) -> tuple[Rule, ...]:
    """Return the rules whose questions are open; none where something refuses anyway."""
    if inferred.outcome != "question":
        return ()
    return tuple(_rules_of(inferred, rule_set, "question"))


def _rules_of(inferred: Inferred, rule_set: RuleSet, outcome: Outcome) -> Iterator[Rule]:
    for found in inferred.findings:
        if outcome_of(found, rule_set) == outcome:
            yield rule_set.rules[found.rule]
