"""The rule set as a whole: its cases, its checks, its vocabulary."""

import datetime as dt
import math
import re
import shutil
from pathlib import Path

import pytest
from cuttable.catalogue.errors import FileError, InputError
from cuttable.catalogue.machines.model import LIMITS
from cuttable.catalogue.units.quantities import quantity
from cuttable.catalogue.units.units import unit
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.decision.rule_check import check_rules, failed_cases
from cuttable.engine.inputs.contract import load_rules
from cuttable.engine.jobs.parse import JobText
from cuttable.engine.measures import GIVEN, REGISTRY
from cuttable.rules.cases import CASES, Case, load_cases
from cuttable.rules.loader import FOLDER
from cuttable.rules.model import RuleSet

RULE_SET = load_rules()
ALL_CASES = load_cases(RULE_SET)


@pytest.fixture
def rules_copy(tmp_path: Path) -> Path:
    """A copy of the rule files that a test can damage."""
    target = tmp_path / "rules"
    target.mkdir()
    for path in FOLDER.glob("*.toml"):
        shutil.copy(path, target)
    shutil.copytree(CASES, target / "cases")
    return target


def damage(folder: Path, file: str, old: str, new: str) -> RuleSet:
    """Replace a text that stands in a file, and load the rules again."""
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return load_rules(folder)


def problems(rule_set: RuleSet, cases: list[Case] | None = None) -> dict[str, list[str]]:
    """Return what the check finds, by kind."""
    found: dict[str, list[str]] = {}
    for problem in check_rules(rule_set, cases or load_cases(rule_set)):
        found.setdefault(problem.kind, []).append(problem.text)
    return found


def test_the_shipped_rules_are_clean() -> None:
    """Every case holds, every limit has a case on each side, nothing is dead or missing."""
    assert check_rules(RULE_SET, ALL_CASES) == []


@pytest.mark.parametrize("case", ALL_CASES, ids=lambda case: case.name)
def test_a_case_fails_when_its_expectation_is_changed(case: Case) -> None:
    """No case is one that cannot fail: with the verdict turned round it does."""
    other = "refused" if case.verdict != "refused" else "in-range"
    changed = case._replace(verdict=other)
    assert [item.kind for item in failed_cases(RULE_SET, [changed])] == ["case-failed"]
    assert not list(failed_cases(RULE_SET, [case]))


def test_vocabulary_and_registry_name_the_same_measures() -> None:
    """Every measure of the vocabulary is computed, and every computed one is in it."""
    assert set(RULE_SET.vocabulary.measures) == set(REGISTRY)


def test_every_input_of_a_measure_is_described() -> None:
    """Inputs are other measures or described given columns."""
    inputs = {name for item in REGISTRY.values() for name in item.inputs}
    assert inputs <= set(REGISTRY) | set(GIVEN)
    assert set(GIVEN) <= inputs


def test_every_machine_limit_is_read_or_listed_as_not_assessed() -> None:
    """A limit the builder states is never passed over in silence."""
    vocabulary = RULE_SET.vocabulary
    assert set(LIMITS) <= set(vocabulary.limits) | set(vocabulary.not_assessed)


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("size.toml", "round_diameter < limit", "round_diamter < limit", "round_diameter"),
        ("size.toml", "shape is 'round'", "shape is 'rund'", "rund"),
        ("mass.toml", "> limit.stock_mass.rated", "> stock_length", "kg and mm"),
        ("wall.toml", 'outcome = "refused"', 'outcome = "refuse"', "refused"),
        ("wall.toml", 'unknown = "refused"', 'unkown = "refused"', "unkown"),
        ("wall.toml", '"edge-start"', '"egde-start"', "edge-start"),
        ("drive.toml", 'given = ["oversize"]', 'given = ["oversized"]', "oversize"),
        ("drive.toml", 'value = "50 %"', 'value = "50 kg"', "oversize_rapid"),
        ("drive.toml", "param.half_bed", "param.half_bad", "param.half_bed"),
        ("stock.toml", 'since = "2026-11-25"', 'since = "25.11.2026"', "2026-11-25"),
        ("mitigations.toml", 'provided_by = "reversed-jaws"', 'provided_by = "jaws"', "jaws"),
        ("mitigations.toml", "{round_diameter}", "{round_diameter", "outcome"),
        ("vocabulary.toml", 'unit = "N*m"', 'unit = "N*n"', "N*n"),
    ],
)  # fmt: skip
def test_a_typo_in_a_rule_file_is_refused_with_file_key_and_hint(
    rules_copy: Path, file: str, old: str, new: str, words: str
) -> None:
    """A misspelt name, unit, key or code cannot make a rule that sleeps."""
    if words == "outcome":
        # A bracket left open is plain text: the sentence shows it, and nothing breaks.
        rule_set = damage(rules_copy, file, old, new)
        assert rule_set.rules
        return
    with pytest.raises(FileError) as caught:
        damage(rules_copy, file, old, new)
    assert caught.value.code == "file-problems"
    assert file in str(caught.value)
    assert words in str(caught.value)


def test_a_half_written_rule_file_is_refused_with_its_line(rules_copy: Path) -> None:
    """Damaged TOML names file and line."""
    path = rules_copy / "wall.toml"
    path.write_text(path.read_text(encoding="utf-8")[:690], encoding="utf-8")
    with pytest.raises(FileError, match=r"wall\.toml.*(line \d+|at end of document)"):
        load_rules(rules_copy)


def test_an_empty_rule_set_is_an_error_and_not_a_pass(rules_copy: Path) -> None:
    """Without rules nothing may pass."""
    for path in rules_copy.glob("*.toml"):
        if path.stem not in ("vocabulary", "mitigations", "cautions"):
            path.unlink()
    text = (rules_copy / "vocabulary.toml").read_text(encoding="utf-8")
    cut = text.index("[gauges.unbalance_torque]")
    (rules_copy / "vocabulary.toml").write_text(text[:cut], encoding="utf-8")
    (rules_copy / "mitigations.toml").write_text("[mitigations]\n", encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_rules(rules_copy)
    assert caught.value.code == "rule-set-empty"


def test_rules_are_in_force_from_their_date() -> None:
    """Before the day the rules begin, none is in force, and that is an error."""
    with pytest.raises(FileError) as caught:
        load_rules(on=dt.date(2026, 11, 24))
    assert caught.value.code == "rule-set-empty"
    assert load_rules(on=dt.date(2026, 11, 25)).rules


def test_a_rule_ends_on_the_day_it_is_good_until(rules_copy: Path) -> None:
    """A rule with an end is left out from that day on, and the digest tells."""
    old = 'since = "2026-11-25"\n\n[rules.WALL-02]'
    new = 'since = "2026-11-25"\nuntil = "2027-01-01"\n\n[rules.WALL-02]'
    damage(rules_copy, "wall.toml", old, new)
    before = load_rules(rules_copy, on=dt.date(2026, 12, 31))
    after = load_rules(rules_copy, on=dt.date(2027, 1, 1))
    assert "WALL-01" in {rule.code for rule in before.rules}
    assert "WALL-01" not in {rule.code for rule in after.rules}
    assert before.digest != after.digest


def test_the_digest_changes_with_any_rule_file(rules_copy: Path) -> None:
    """Provenance names exactly these rules."""
    before = load_rules(rules_copy).digest
    after = damage(rules_copy, "drive.toml", 'value = "50 %"', 'value = "45 %"').digest
    assert before != after


def test_the_check_finds_a_gap(rules_copy: Path) -> None:
    """A limit that nobody speaks of is found by the sample."""
    rule_set = damage(
        rules_copy, "mass.toml", 'when = "stock_mass > limit.stock_mass.absolute"',
        'when = "stock_mass > 2 * limit.stock_mass.absolute"',
    )  # fmt: skip
    assert any("stock_mass" in text for text in problems(rule_set)["gap"])


def test_the_check_finds_a_contradiction(rules_copy: Path) -> None:
    """Allowed and refused on the same limit at once is found."""
    rule_set = damage(
        rules_copy, "wall.toml", "wall > limit.wall.rated and wall <= limit.wall.absolute",
        "wall > limit.wall.rated",
    )  # fmt: skip
    assert any("WALL-01" in text and "WALL-02" in text
               for text in problems(rule_set)["contradiction"])  # fmt: skip


def test_the_check_finds_mitigations_that_conflict(rules_copy: Path) -> None:
    """Two things that must be done and cannot be together are found."""
    rule_set = damage(
        rules_copy, "mitigations.toml", "[mitigations.lower-gently]",
        '[mitigations.lower-gently]\nconflicts = ["reduced-rapid"]',
    )  # fmt: skip
    assert any("lower-gently" in text for text in problems(rule_set)["contradiction"])


def test_the_check_finds_what_nothing_needs(rules_copy: Path) -> None:
    """A mitigation and a parameter that no rule uses are found."""
    with (rules_copy / "mitigations.toml").open("a", encoding="utf-8") as file:
        file.write('\n[mitigations.idle]\ntitle = "x"\ntext = "X."\nbasis = "x"\n')
    with (rules_copy / "wall.toml").open("a", encoding="utf-8") as file:
        file.write('\n[parameters.idle]\nvalue = "1"\nunit = "1"\nbasis = "x"\n')
    found = problems(load_rules(rules_copy))
    assert found["mitigation-not-needed"]
    assert found["parameter-not-read"]


def test_the_check_finds_a_rule_without_cases(rules_copy: Path) -> None:
    """A rule no case makes true, and a limit with a case on one side only, are found."""
    (rules_copy / "cases" / "wall.toml").unlink()
    rule_set = load_rules(rules_copy)
    found = problems(rule_set, load_cases(rule_set, rules_copy / "cases"))
    assert any("WALL-01" in text for text in found["never-true"])
    assert any("WALL-01" in text for text in found["one-sided"])


_WRITTEN = re.compile(r"\d+(?:\.\d+)?(?: ?(?:[a-z]+(?:\^\d)?|%))?")


def stated(rule_set: RuleSet) -> list[str]:
    """Return the numbers in sentences that are those of a parameter, in the same kind of unit."""
    found: list[str] = []
    sentences = {rule.code: rule.says for rule in rule_set.rules}
    sentences |= {code: item.text for code, item in rule_set.mitigations.items()}
    for code, sentence in sentences.items():
        for number in _WRITTEN.findall(" ".join(sentence.texts)):
            for parameter in rule_set.parameters.values():
                try:
                    value = quantity(number, unit(parameter.unit).dimension)
                except InputError:
                    continue  # a number of something else: persons, metres for kilograms
                if math.isclose(value, parameter.value, rel_tol=1e-6):
                    found.append(f"{code}: {number} is param.{parameter.name}")
    return found


def test_no_sentence_states_a_parameter_by_itself() -> None:
    """A builder who changes a parameter changes every sentence that tells it."""
    assert stated(RULE_SET) == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("{param.shallow_seat / 1 deg} degrees", "40 degrees",
         "SEAT-01: 40 degrees is param.shallow_seat"),
        ("{param.wedged_seat / 1 deg} degrees", "100 deg", "SEAT-02: 100 deg is param.wedged_seat"),
    ],
)  # fmt: skip
def test_a_sentence_that_states_a_parameter_is_found(
    rules_copy: Path, old: str, new: str, said: str
) -> None:
    """As the sentences on seats did, when their numbers were parameters already."""
    assert said in stated(damage(rules_copy, "supports.toml", old, new))


def test_a_sentence_follows_its_parameter(rules_copy: Path) -> None:
    """Where a round is wedged beyond 90 degrees, the sentence says 90."""
    damage(rules_copy, "supports.toml", 'value = "100 deg"', 'value = "90 deg"')
    # Stations that are given are dealt to the strongest kind, rollers, which wedge NPS 2.
    job = JobText("NPS 2 SCH 160", "21 ft", stations=["1.8 m", "3.9 m", "5.7 m"])
    answer = AssessorCore(rules=rules_copy).ask(job, ["rowan-150"])
    told = [item.text for item in answer.verdicts[0].findings if item.rule == "SEAT-02"]
    assert ["more than 90 degrees apart" in text for text in told] == [True]


def test_a_case_with_an_unknown_name_is_an_error(rules_copy: Path) -> None:
    """A misspelt case cannot pass by testing nothing."""
    path = rules_copy / "cases" / "wall.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('wall = "10 mm"', 'wal = "10 mm"', 1), encoding="utf-8")
    with pytest.raises(FileError, match="wal"):
        load_cases(RULE_SET, rules_copy / "cases")
