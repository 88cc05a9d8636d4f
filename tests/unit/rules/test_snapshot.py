"""The rule set as it was last reviewed, as text that people read.

A number, a condition or a sentence of the rule files that changes shows here as a difference of
lines, to be looked at by a second person. After that:

    CUTTABLE_UPDATE_SNAPSHOT=1 python -m pytest -n0 tests/unit/rules/test_snapshot.py

writes ``tests/unit/rules/snapshot/`` anew; the difference is reviewed with the commit. Numbers in
sentences are those of one made-up job, whose heavy end lies a tenth beyond nominal, so that a
heavy end that is dropped shows as another number.
"""

import difflib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np
import pytest
from cuttable.catalogue.files.file_source import KeptFiles
from cuttable.engine.answer.wording import Words
from cuttable.engine.decision.conditions import Scope
from cuttable.engine.decision.rule_check import case_scope
from cuttable.engine.inputs.contract import load_rules
from cuttable.rules.cases import CASES, load_cases
from cuttable.rules.expression import names_in
from cuttable.rules.loader import FOLDER
from cuttable.rules.model import RuleSet

SNAPSHOT: Final = Path(__file__).parent / "snapshot"
WANTED: Final = "CUTTABLE_UPDATE_SNAPSHOT"
RULE_SET: Final = load_rules()

# What is not known in the base case has a number here, so that every sentence shows one.
MORE: Final = {
    "needed_length": 1850.0, "part_mass": 30.0, "fitting_parts": 2.0, "lowest_centre": 15.0,
    "highest_centre": 200.0, "bore_needed": 165.0, "tab_stress": 25.0, "length_behind": 700.0,
    "rapid_override": 0.45, "jaw_slip_factor": 1.2, "tip_sweep": 175.0, "tip_bow": 3.0,
    "machine.lifting_gear": 500.0, "machine.persons": 2.0, "turning_chuck_moment": 2000.0,
    "turning_chuck_reaction": 1500.0, "turning_droop": 12.0, "turning_room": 25.0,
    "rest_drop": 60.0, "corner_drop": 20.0, "follow_use": 0.8,
    "jaw_moment": 250.0, "jaw_moment_factor": 1.2, "machine.lowest_jaw_force": 500.0,
    "fitting_sweep": 165.0, "bow_supports_hold": 3.0,
}  # fmt: skip
ONE: Final = b'[[cases]]\nname = "base"\ngiven = {}\nholds = []\nverdict = "in-range"\n'


def sample(rule_set: RuleSet) -> Scope:
    """Return the made-up job: the base case, with a heavy end a tenth beyond nominal."""
    files = {"base.toml": (CASES / "base.toml").read_bytes(), "one.toml": ONE}
    base = case_scope(rule_set, load_cases(rule_set, KeptFiles(files, "made-up job")))
    numbers = {name: np.full(1, MORE.get(name, column[0])) for name, column in base.numbers.items()}
    for name, measure in rule_set.vocabulary.measures.items():
        if measure.has_heavy:
            factor = 0.9 if measure.heavy == "less" else 1.1
            numbers[f"{name}.heavy"] = numbers[name] * factor
    facts = {
        name: np.zeros(1, dtype=np.int8) + fact.values.index(fact.values[-1])
        for name, fact in rule_set.vocabulary.facts.items()
    }
    return base._replace(numbers=numbers, facts=facts)


def parameters_of(rule_set: RuleSet) -> Iterator[str]:
    """Tell every number that rules and engine read."""
    for name, item in sorted(rule_set.parameters.items()):
        yield f"{name} = {item.value:.9g} ({item.unit}), {item.file}.toml"
        yield f"    {item.basis}"
    for name, item in sorted(rule_set.lookups.items()):
        yield f"{name} by {item.by} ({item.unit}), {item.file}.toml"
        for key, value in item.values:
            yield f"    {key}: {value:.9g}"
        for bound, value in item.steps:
            yield f"    up to {bound:.9g}: {value:.9g}"
        if item.steps:
            yield f"    beyond: {item.beyond:.9g}"
        yield f"    {item.basis}"


def rules_of(rule_set: RuleSet) -> Iterator[str]:
    """Tell every rule, with its sentence for the made-up job."""
    words = Words(sample(rule_set), 0, "si")
    for rule in sorted(rule_set.rules, key=lambda item: item.code):
        yield f"{rule.code} {rule.title} [{rule.file}]"
        yield f"    when      {rule.source}"
        yield f"    then      {rule.outcome}; unknown: {rule.unknown}; from {rule.since}"
        if rule.until:
            yield f"    until     {rule.until}"
        for word, items in (
            ("given", rule.given), ("marks", rule.tags), ("asks for", rule.mitigations),
        ):  # fmt: skip
            if items:
                yield f"    {word:<9} {', '.join(items)}"
        yield f"    says      {words.fill(rule.says)}"
        if rule.ask_text:
            yield f"    asks      {rule.ask_text} {' | '.join(rule.ask_choices)}"
        yield f"    because   {rule.because}"
        yield f"    basis     {rule.basis}"
        yield f"    wrong if  {rule.may_be_wrong_when}"


def mitigations_of(rule_set: RuleSet) -> Iterator[str]:
    """Tell what must be done, with the numbers of the made-up job."""
    from cuttable.engine.decision.conditions import number_of

    scope = sample(rule_set)
    words = Words(scope, 0, "si")
    for code, item in sorted(rule_set.mitigations.items()):
        yield f"{code}: {item.title}"
        yield f"    {words.fill(item.text)}"
        fields = [field for field in item.text.fields if not isinstance(field, str)]
        if read := set[str]().union(*(names_in(field) for field in fields)):
            yield f"    reads {', '.join(sorted(read))}"
        for name, node in item.values:
            yield f"    {name} = {float(number_of(node, scope)[0]):.9g}"
        if item.provided_by:
            yield f"    provided by {item.provided_by}"
        for word in ("needs", "replaces", "conflicts"):
            if getattr(item, word):
                yield f"    {word} {', '.join(getattr(item, word))}"
        yield f"    basis: {item.basis}"


def cautions_of(rule_set: RuleSet) -> Iterator[str]:
    """Tell the standing safety lines and when they are printed."""
    for item in rule_set.cautions:
        yield f"{item.code}: {item.text}"
        yield f"    {'only where ' + repr(item.when) if item.when else 'always'}"
        yield f"    {item.source}"


def limits_of(rule_set: RuleSet) -> Iterator[str]:
    """Tell measures, names, facts, accessories, and how full each limit is for the made-up job."""
    from cuttable.engine.decision.decide import fullness

    vocabulary = rule_set.vocabulary
    for name, measure in vocabulary.measures.items():
        yield f"measure {name}: {measure.title}, {measure.unit}, heavy end {measure.heavy}"
    for name, unit in vocabulary.numbers.items():
        if name.partition(".")[0] in ("limit", "machine", "material"):
            yield f"number {name}: {vocabulary.titles[name]}, {unit}"
    for name, fact in vocabulary.facts.items():
        yield f"fact {name}: {', '.join(fact.values)}; harmless: {', '.join(fact.harmless)}"
    for name, title in vocabulary.accessories.items():
        yield f"accessory {name}: {title}"
    for name, text in vocabulary.not_assessed.items():
        yield f"not assessed {name}: {text}"
    for limit_check, full in zip(
        rule_set.limit_checks, fullness(rule_set, sample(rule_set)), strict=True
    ):
        numbers = (full.demand, full.minimum, full.rated, full.absolute, full.nominal, full.heavy)
        shown = " ".join(f"{float(column[0]):.6g}" for column in numbers)
        kind = f"{'chosen ' if limit_check.is_chosen else ''}{limit_check.style}"
        yield f"gauge {limit_check.name} {kind}: {shown}"
        if limit_check.when:
            yield f"    only where {limit_check.when!r}"


PARTS: Final = {
    "parameters": parameters_of, "rules": rules_of, "mitigations": mitigations_of,
    "cautions": cautions_of, "limits": limits_of,
}  # fmt: skip


def differences(rule_set: RuleSet, part: str) -> list[str]:
    """Return the lines that differ from the snapshot."""
    path = SNAPSHOT / f"{part}.txt"
    kept = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    found = list(PARTS[part](rule_set))
    return list(difflib.unified_diff(kept, found, "reviewed", "rule files", lineterm="", n=1))


@pytest.mark.parametrize("part", PARTS)
def test_the_rules_are_as_they_were_reviewed(part: str) -> None:
    """Any other number, condition or sentence is shown line by line."""
    if os.environ.get(WANTED):
        text = "\n".join(PARTS[part](RULE_SET)) + "\n"
        (SNAPSHOT / f"{part}.txt").write_text(text, encoding="utf-8")
        pytest.skip("written anew; review the difference with the commit")
    assert not differences(RULE_SET, part), "\n".join(
        [*differences(RULE_SET, part), f"Reviewed? Then {WANTED}=1 writes {SNAPSHOT} anew."]
    )


@pytest.mark.parametrize(
    ("part", "file", "old", "new", "shown"),
    [
        ("parameters", "drive.toml", 'value = "50 %"', 'value = "51 %"', "+oversize_rapid = 0.51"),
        ("parameters", "stock.toml", '"0.395 kg/m^2"', '"0.396 kg/m^2"', "+    up to 3: 0.396"),
        ("parameters", "jaw.toml", 'wet = "0.10"', 'wet = "0.12"', "+    wet: 0.12"),
        ("rules", "mass.toml", "stock_mass.heavy > limit.stock_mass.rated",
         "stock_mass > limit.stock_mass.rated", "-    when      stock_mass <= limit.stock_mass"),
        ("rules", "drive.toml", "it is {rotary_inertia.heavy}", "it is {rotary_inertia}",
         "tolerance it is 0.3 kg"),
        ("mitigations", "mitigations.toml", "{2 * bow.heavy}", "{bow.heavy}", "moves by 1.1 mm"),
        ("mitigations", "mitigations.toml", "wear a respirator for zinc oxide", "breathe lightly",
         "+    Run the fume extraction at the cut and breathe lightly."),
        ("mitigations", "mitigations.toml", 'stock_length / 2" }', 'stock_length / 3" }',
         "+    beyond = 666.66"),
        ("cautions", "cautions.toml", "fire watch for at least half an hour", "fire watch",
         "-fire: Clear combustibles"),
        ("limits", "vocabulary.toml", 'rated    = "limit.wall.rated"',
         'rated    = "limit.wall.absolute"', "+gauge wall"),
        ("limits", "vocabulary.toml", "chosen   = true\n", "", "+gauge support_span :"),
    ],
)  # fmt: skip
def test_a_changed_rule_file_shows_what_changed(
    tmp_path: Path, part: str, file: str, old: str, new: str, shown: str
) -> None:
    """The difference names the line as it reads, not a digest."""
    folder = tmp_path / "rules"
    folder.mkdir()
    for path in FOLDER.glob("*.toml"):
        shutil.copy(path, folder)
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    assert shown in "\n".join(differences(load_rules(folder), part))


def test_every_sentence_of_the_snapshot_has_its_numbers() -> None:
    """No number is missing in what is reviewed: a dropped value could not be seen there."""
    for part in ("rules", "mitigations", "limits"):
        text = (SNAPSHOT / f"{part}.txt").read_text(encoding="utf-8")
        assert "not stated" not in text.replace("not-stated", "").replace(
            "are not stated for", ""
        ), part
