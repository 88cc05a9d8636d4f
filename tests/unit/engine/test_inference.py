"""Chaining: findings, mitigations, accessories, conflicts, and the library's hazards."""

import itertools
import random
import threading
from pathlib import Path

import numpy as np
import pytest
from cuttable.catalogue.errors import CuttableError
from cuttable.engine.decision.inference import Found, Inference, Inferred
from cuttable.engine.inputs.contract import load_rules
from cuttable.rules import loader
from cuttable.rules.model import Measure, RuleSet, Served

# An engine that computes one measure and fills one fact: enough for chaining.
SERVED = Served(
    measures={"stock_mass": Measure("stock_mass", "kg", "mass", "none")},
    numbers={}, facts={"coating": ("a", "b")}, parameters={}, not_zero=frozenset(), lookups={},
)  # fmt: skip
ORDER = ["setting", "conditions", "question", "refused"]
"""Outcomes, the worst last."""

HEAD = """
schema = 2
[not_assessed]
[limits]
[machine]
[material]
[facts]
coating = { values = ["a", "b"], harmless = ["a", "b"] }
[accessories]
jack = "jack"
stand = "stand"
[gauges]
"""
RULE = """
[rules.{code}]
title = "t"
when = "stock_mass > {limit} kg"
outcome = "{outcome}"
unknown = "{unknown}"
says = "s"
tags = [{tags}]
given = [{given}]
mitigations = [{mitigations}]
because = "b"
basis = "b"
may_be_wrong_when = "m"
since = "2020-01-01"
"""
MITIGATION = """
[mitigations.{code}]
title = "t"
text = "T."
basis = "b"
{more}
"""


def build(folder: Path, rules: list[str], mitigations: list[str]) -> RuleSet:
    """Write a small rule set and load it."""
    (folder / "vocabulary.toml").write_text(HEAD)
    (folder / "cautions.toml").write_text("[cautions]\n")
    (folder / "mitigations.toml").write_text("[mitigations]\n" + "".join(mitigations))
    (folder / "topic.toml").write_text("".join(rules))
    return loader.load_rules(SERVED, folder)


def rule(
    code: str,
    *mitigations: str,
    outcome: str = "conditions",
    unknown: str = "refused",
    tags: str = "",
    given: str = "",
) -> str:
    """Return the text of a rule."""
    names = ", ".join(f'"{name}"' for name in mitigations)
    return RULE.format(
        code=code, limit=1, outcome=outcome, unknown=unknown, mitigations=names,
        tags=f'"{tags}"' if tags else "", given=f'"{given}"' if given else "",
    )  # fmt: skip


def mitigation(code: str, more: str = "") -> str:
    """Return the text of a mitigation."""
    return MITIGATION.format(code=code, more=more)


def infer(
    rule_set: RuleSet, holds: set[str], *, unknown: frozenset[str] = frozenset(),
    fitted: frozenset[str] = frozenset(),
) -> Inferred:  # fmt: skip
    """Infer from named rules that hold."""
    codes = [item.code for item in rule_set.rules]
    signature = (
        *(code in holds for code in codes),
        *(code in unknown for code in codes),
        *(code in fitted for code in rule_set.vocabulary.accessories),
    )
    key = np.packbits(np.array(signature)).tobytes()
    return Inference(rule_set).infer(signature, key)


def test_nothing_holds_nothing_follows(tmp_path: Path) -> None:
    """The catch-all keeps a quiet job from being a fault."""
    rules = build(tmp_path, [rule("A", "m1")], [mitigation("m1")])
    assert infer(rules, set()) == Inferred((), (), (), (), "setting")


def test_a_finding_asks_for_its_mitigations_and_what_they_need(tmp_path: Path) -> None:
    """Needs are followed through several steps."""
    rules = build(
        tmp_path,
        [rule("A", "m1")],
        [
            mitigation("m1", 'needs = ["m2"]'),
            mitigation("m2", 'needs = ["m3"]'),
            mitigation("m3"),
            mitigation("m4"),
        ],
    )
    assert infer(rules, {"A"}).mitigations == ("m1", "m2", "m3")


def test_needs_that_go_round_in_a_circle_end(tmp_path: Path) -> None:
    """Two mitigations that need each other come once each."""
    rules = build(
        tmp_path,
        [rule("A", "m1")],
        [mitigation("m1", 'needs = ["m2"]'), mitigation("m2", 'needs = ["m1"]')],
    )
    assert infer(rules, {"A"}).mitigations == ("m1", "m2")


def test_an_accessory_that_is_not_fitted_refuses(tmp_path: Path) -> None:
    """Also when it is only needed by what a mitigation needs."""
    rules = build(
        tmp_path,
        [rule("A", "m1")],
        [mitigation("m1", 'needs = ["m2"]'), mitigation("m2", 'provided_by = "jack"')],
    )
    assert infer(rules, {"A"}).outcome == "refused"
    assert infer(rules, {"A"}).missing == (("m2", "jack"),)
    assert infer(rules, {"A"}, fitted=frozenset({"stand"})).outcome == "refused"
    assert infer(rules, {"A"}, fitted=frozenset({"jack"})).outcome == "conditions"


def test_mitigations_that_conflict_refuse(tmp_path: Path) -> None:
    """Each alone is a condition; both together are none that can be met."""
    rules = build(
        tmp_path,
        [rule("A", "m1"), rule("B", "m2")],
        [mitigation("m1", 'conflicts = ["m2"]'), mitigation("m2")],
    )
    assert infer(rules, {"A"}).outcome == "conditions"
    assert infer(rules, {"B"}).outcome == "conditions"
    both = infer(rules, {"A", "B"})
    assert both.outcome == "refused"
    assert both.conflicts == (("m1", "m2"),)


def test_a_mitigation_that_is_replaced_is_left_out_with_its_accessory(tmp_path: Path) -> None:
    """What is superfluous asks for nothing."""
    rules = build(
        tmp_path,
        [rule("A", "m1"), rule("B", "m2")],
        [mitigation("m1", 'provided_by = "jack"'), mitigation("m2", 'replaces = ["m1"]')],
    )
    result = infer(rules, {"A", "B"})
    assert result.mitigations == ("m2",)
    assert result.missing == ()
    assert result.outcome == "conditions"


def test_a_rule_on_a_tag_waits_for_the_finding(tmp_path: Path) -> None:
    """Its own condition is not enough, nor is the tag."""
    rules = build(
        tmp_path,
        [rule("A", "m1", tags="big"), rule("B", "m2", given="big")],
        [mitigation("m1"), mitigation("m2")],
    )
    assert infer(rules, {"B"}).findings == ()
    assert infer(rules, {"A"}).mitigations == ("m1",)
    assert infer(rules, {"A", "B"}).mitigations == ("m1", "m2")


@pytest.mark.parametrize("unknown", ["conditions", "refused", "question"])
def test_unknown_means_what_the_rule_says(tmp_path: Path, unknown: str) -> None:
    """An unknown is a finding of its own, with the outcome the rule gives it."""
    text = rule("A", "m1", unknown=unknown)
    if unknown == "question":
        text += 'ask = "Which?"\nchoices = ["x"]\n'
    rules = build(tmp_path, [text], [mitigation("m1")])
    result = infer(rules, set(), unknown=frozenset({"A"}))
    assert result.outcome == unknown
    assert result.findings[0].is_unknown


def test_the_worst_outcome_is_the_verdict(tmp_path: Path) -> None:
    """Setting, conditions, question, refused, in this order."""
    names = ORDER
    texts = [
        rule(name.upper(), "m1", outcome=name)
        + ('ask = "Which?"\nchoices = ["x"]\n' if name == "question" else "")
        for name in names
    ]
    rules = build(tmp_path, texts, [mitigation("m1")])
    for count in (1, 2, 3):
        for chosen in itertools.combinations(names, count):
            worst = chosen[-1]
            assert infer(rules, {name.upper() for name in chosen}).outcome == worst


def test_all_conditions_of_the_shipped_rules_at_once() -> None:
    """More conditions hold than one fact may match: they are spread over several facts."""
    rule_set = load_rules()
    everything = {item.code for item in rule_set.rules}
    result = infer(rule_set, everything, unknown=frozenset(everything))
    assert {found.rule for found in result.findings} == set(range(len(rule_set.rules)))


def test_the_engine_agrees_with_plain_python_on_random_signatures() -> None:
    """An oracle without the library: findings, mitigations, accessories, conflicts, outcome."""
    rule_set = load_rules()
    seen: set[str] = set()
    outcomes: set[str] = set()
    inference = Inference(rule_set)
    accessories = list(rule_set.vocabulary.accessories)
    dice = random.Random(7)
    rules, all_fitted = range(len(rule_set.rules)), [True] * len(accessories)
    none = [False] * len(rules)
    asked = [(none, none, all_fitted)]
    for alone in ([place == number for place in rules] for number in rules):
        asked += [(alone, none, all_fitted), (none, alone, all_fitted)]
    for _ in range(300):
        share = dice.choice([0.02, 0.1, 0.5])
        holds = [dice.random() < share for _ in rules]
        unknown = [not held and dice.random() < share / 2 for held in holds]
        asked.append((holds, unknown, [dice.random() < 0.5 for _ in accessories]))
    for holds, unknown, fitted in asked:
        signature = (*holds, *unknown, *fitted)
        result = inference.infer(signature, np.packbits(np.array(signature)).tobytes())
        assert result == _oracle(rule_set, holds, unknown, fitted)
        seen |= {name for name, value in result._asdict().items() if value}
        outcomes.add(result.outcome)
    # Or it would compare what is always empty.
    never = set() if any(m.conflicts for m in rule_set.mitigations.values()) else {"conflicts"}
    assert seen == set(Inferred._fields) - never
    used = {item.outcome for item in rule_set.rules} | {item.unknown for item in rule_set.rules}
    assert outcomes == {"setting", *used} - {"never"}


def test_the_oracle_is_met_by_small_rule_sets_of_every_kind(tmp_path: Path) -> None:
    """Needs in circles, chains of replacing, conflicts of what is needed, tags nobody gives."""
    dice = random.Random(11)
    seen: set[str] = set()
    for number in range(25):
        folder = tmp_path / str(number)
        folder.mkdir()
        rule_set = _random_rules(folder, dice)
        inference = Inference(rule_set)
        for _ in range(12):
            signature = [dice.random() < 0.4 for _ in range(inference.width)]
            count = len(rule_set.rules)
            holds = signature[:count]
            unknown = [
                bit and not held
                for bit, held in zip(signature[count : 2 * count], holds, strict=True)
            ]
            fitted = signature[2 * count :]
            whole = (*holds, *unknown, *fitted)
            result = inference.infer(whole, np.packbits(np.array(whole)).tobytes())
            assert result == _oracle(rule_set, holds, unknown, fitted), (number, whole)
            seen |= {name for name, value in result._asdict().items() if value}
    assert seen == set(Inferred._fields)


def _random_rules(folder: Path, dice: random.Random) -> RuleSet:
    """Return a small rule set whose mitigations need, replace and contradict each other."""
    codes = [f"m{place}" for place in range(6)]

    def some(most: int, but: str) -> str:
        chosen = dice.sample([code for code in codes if code != but], dice.randint(0, most))
        return ", ".join(f'"{code}"' for code in chosen)

    mitigations = [
        mitigation(
            code,
            f"needs = [{some(2, code)}]\nreplaces = [{some(1, code)}]\n"
            f"conflicts = [{some(1, code)}]\n"
            + dice.choice(["", 'provided_by = "jack"\n', 'provided_by = "stand"\n']),
        )
        for code in codes
    ]
    rules = [
        rule(
            f"R{place}", *dice.sample(codes, dice.randint(1, 2)),
            outcome=dice.choice(["setting", "conditions"]),
            unknown=dice.choice(["never", "conditions", "refused"]),
            tags=dice.choice(["", "big", "long"]), given=dice.choice(["", "", "big"]),
        )
        for place in range(6)
    ]  # fmt: skip
    # A tag must be given by a rule that waits for none.
    rules.append(rule("R6", "m0", tags="big"))
    return build(folder, rules, mitigations)


def _oracle(
    rule_set: RuleSet, holds: list[bool], unknown: list[bool], fitted: list[bool]
) -> Inferred:
    """Return what follows, written as plain sets: closures, then what is left out, then the worst.

    A replaced mitigation still asks for what it needs; only itself is left out.
    """
    found = [
        (place, is_unknown)
        for place, item in enumerate(rule_set.rules)
        for is_unknown in (False, True)
        if (unknown if is_unknown else holds)[place]
        and not (is_unknown and item.unknown == "never")
    ]
    tags: set[str] = set()
    while True:
        active = [pair for pair in found if set(rule_set.rules[pair[0]].given) <= tags]
        given = {tag for place, _ in active for tag in rule_set.rules[place].tags}
        if given <= tags:
            break
        tags |= given
    wanted = {
        code
        for place, is_unknown in active
        if not is_unknown or rule_set.rules[place].unknown == "conditions"
        for code in rule_set.rules[place].mitigations
    }
    while more := {need for code in wanted for need in rule_set.mitigations[code].needs} - wanted:
        wanted |= more
    replaced = {old for code in wanted for old in rule_set.mitigations[code].replaces}
    kept = [code for code in rule_set.mitigations if code in wanted - replaced]
    have = dict(zip(rule_set.vocabulary.accessories, fitted, strict=True))
    missing = [
        (code, accessory)
        for code in kept
        if (accessory := rule_set.mitigations[code].provided_by) and not have[accessory]
    ]
    conflicts = sorted(
        (code, other) for code in kept for other in rule_set.mitigations[code].conflicts
        if other in kept
    )  # fmt: skip
    outcomes = [
        rule_set.rules[place].unknown if is_unknown else rule_set.rules[place].outcome
        for place, is_unknown in active
    ]
    worst = max(outcomes, key=ORDER.index, default="setting")
    return Inferred(
        tuple(Found(place, is_unknown) for place, is_unknown in active), tuple(kept),
        tuple(missing), tuple(conflicts), "refused" if missing or conflicts else worst,
    )  # fmt: skip


def test_one_engine_serves_several_threads() -> None:
    """The lock keeps the one state slot to one job at a time."""
    rule_set = load_rules()
    inference = Inference(rule_set)
    width = inference.width
    wrong: list[int] = []

    def work(offset: int) -> None:
        for place in range(offset, len(rule_set.rules), 4):
            signature = tuple(number == place for number in range(width))
            key = np.packbits(np.array(signature)).tobytes()
            result = inference.infer(signature, key)
            rules = {found.rule for found in result.findings}
            expected = set() if rule_set.rules[place].given else {place}
            if rules != expected:
                wrong.append(place)

    threads = [threading.Thread(target=work, args=(offset,)) for offset in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not wrong


def test_no_thread_is_left_behind() -> None:
    """The stock host of the library would start timer threads."""
    before = threading.active_count()
    Inference(load_rules())
    assert threading.active_count() == before


def test_engines_that_are_dropped_free_their_rules() -> None:
    """Building and dropping engines many times works."""
    rule_set = load_rules()
    for _ in range(20):
        Inference(rule_set)


def test_a_rule_set_too_large_for_the_library_is_refused(tmp_path: Path) -> None:
    """Beyond the safe size the library would loop for ever; we say so instead."""
    rules = [rule(f"R{number}", "m1") for number in range(260)]
    rule_set = build(tmp_path, rules, [mitigation("m1")])
    with pytest.raises(CuttableError) as caught:
        Inference(rule_set)
    assert caught.value.code == "rule-set-too-large"
