"""A rule set must fit the engine: names, units, facts, parameters; told as it loads."""

import re
import shutil
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest
from cuttable.catalogue.errors import FileError
from cuttable.catalogue.files.file_source import KeptFiles
from cuttable.engine.answer.document import plain
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.inputs.contract import SERVED, load_rules
from cuttable.engine.inputs.figures import LOOKUPS, MEASURED, PARAMETERS
from cuttable.engine.inputs.machine import NUMBERS
from cuttable.engine.inputs.pairing import build_frame
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job_table import table_of
from cuttable.engine.measures import GIVEN, REGISTRY
from cuttable.rules.loader import EARLIER, FOLDER
from cuttable.rules.model import RuleSet


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the rule files that a test can damage."""
    target = tmp_path / "rules"
    target.mkdir()
    for path in FOLDER.glob("*.toml"):
        shutil.copy(path, target)
    return target


def change(folder: Path, file: str, old: str, new: str) -> None:
    """Replace a text that stands in a file."""
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def problems_of(folder: Path, file: str = "vocabulary.toml") -> str:
    """Return what is told of a file of rules that do not load."""
    with pytest.raises(FileError) as caught:
        load_rules(folder)
    assert caught.value.code == "file-problems"
    assert caught.value.where.endswith(file)
    return "\n".join(caught.value.problems)


def without(text: str, tables: Iterable[str]) -> str:
    """Return TOML without some of its tables."""
    for table in tables:
        text, count = re.subn(rf"(?m)^\[{re.escape(table)}\]\n(?:[^\[#\n].*\n)*\n?", "", text)
        assert count == 1, table
    return text


def measures_table() -> str:
    """Return the measures as a vocabulary of the first schema stated them."""
    rows = (
        f'{name} = {{ unit = "{item.declared.unit}", heavy = "{item.declared.heavy}", '
        f'title = "{item.declared.title}" }}'
        for name, item in REGISTRY.items()
    )
    return "[measures]\n" + "\n".join(rows) + "\n\n"


def to_first_schema(folder: Path) -> None:
    """Write a copy of the rules as they were before files stated what the program had fixed."""
    earlier = (EARLIER / "schema_1.toml").read_text(encoding="utf-8")
    tables = re.findall(r"(?m)^\[((?:parameters|lookups)\.\w+)\]", earlier)
    assert len(tables) == len(set(tables)) == 11
    for path in folder.glob("*.toml"):
        text = path.read_text(encoding="utf-8")
        text = without(text, [name for name in tables if f"[{name}]" in text])
        if path.name == "vocabulary.toml":
            text = text.replace("schema = 2\n", measures_table())
        path.write_text(text, encoding="utf-8")


JOBS = [
    JobText("NPS 6 SCH 40", "6 m", coating="galvanised"),
    JobText("NPS 4 SCH 40", "20 ft", coating="wet", parts=["600 mm*3", "1.2 m"]),
    JobText("NPS 2 SCH 40", "3 m", coating="scaled", off_axis="4 kg @ 60 mm"),
    JobText("NPS 10 XS", "8 m", cuts=["2500 mm", "1500 mm"]),
    JobText("SHS 100x100x5 cf", "4 m", fitted=["lift-and-index"]),
]


def test_rules_of_the_first_schema_answer_as_they_did(folder: Path) -> None:
    """A ledger keeps rule sets without measures, and without what the program then fixed."""
    to_first_schema(folder)
    old, new = AssessorCore(rules=folder), AssessorCore()
    assert old.rule_set.digest != new.rule_set.digest
    for job in JOBS:
        answers = [[plain(item) for item in assessor.ask(job).verdicts] for assessor in (old, new)]
        for verdict in (*answers[0], *answers[1]):
            del verdict["id"], verdict["provenance"]
        assert answers[0] == answers[1]
        assert answers[0]


def test_a_measure_left_out_of_an_old_vocabulary_is_not_in_its_answers(folder: Path) -> None:
    """What a kept rule set does not know of is computed, but neither named nor shown by it."""
    to_first_schema(folder)
    row = next(line for line in measures_table().splitlines() if line.startswith("jaw_deflection"))
    change(folder, "vocabulary.toml", row + "\n", "")
    verdict = AssessorCore(rules=folder).ask(JOBS[0], ["alder-320"]).verdicts[0]
    assert "jaw_deflection" not in verdict.measures
    assert "jaw_slip_factor" in verdict.measures


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('stock_mass = { unit = "kg"', 'stock_mass = { unit = "lb"',
         "measures.stock_mass.unit: is 'lb', but it is computed in kg. Write 'kg'."),
        ('stock_mass = { unit = "kg", heavy = "more"', 'stock_mass = { unit = "kg", heavy = "none"',
         "measures.stock_mass.heavy: is 'none', but the heavy end is computed as 'more'."),
        ("stock_mass = {", "stok_mass = {",
         "measures.stok_mass: this version computes no such measure. Did you mean 'stock_mass'"),
    ],
)  # fmt: skip
def test_an_old_vocabulary_is_checked_against_the_measures(
    folder: Path, old: str, new: str, said: str
) -> None:
    """Another unit or heavy end than is computed would shift every limit in silence."""
    to_first_schema(folder)
    change(folder, "vocabulary.toml", old, new)
    assert said in problems_of(folder)


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("vocabulary.toml", "schema = 2\n", 'schema = 2\n[measures]\nbow = { unit = "mm" }\n',
         "measures: is not a known key"),
        ("vocabulary.toml", "schema = 2", "schema = 3", "schema: must be a whole number from 1 to"),
        ("vocabulary.toml", 'rear_room         = { unit = "mm"', 'rear_space = { unit = "mm"',
         "machine.rear_space: this version fills no such number. Did you mean"),
        ("vocabulary.toml", 'bore              = { unit = "mm"', 'bore = { unit = "m"',
         "machine.bore.unit: is 'm', but it is filled in mm. Write 'mm'."),
        ("vocabulary.toml", 'sag            = { unit = "mm"', 'sag = { unit = "in"',
         "limits.sag.unit: is 'in', but it is filled in mm."),
        ("vocabulary.toml", 'stock_mass     = { unit = "kg", bounds = ["rated", "absolute"] }',
         'stock_mass = { unit = "kg", bounds = ["rated", "absolute", "greatest"] }',
         "limits.stock_mass: this version fills no such number"),
        ("vocabulary.toml", 'values = ["good", "wedged", "shallow"]', 'values = ["good", "wedged"]',
         "facts.seat.values: 'shallow' is missing"),
        ("vocabulary.toml", "grip     = { values", "grasp = { values",
         "facts.grasp: this version fills no such fact. Did you mean"),
        ("vocabulary.toml", "grip     = { values", "grasp = { values", "facts.grip: is missing"),
        ("severing.toml", "[parameters.tab_step]", "[parameters.tab_stop]",
         "parameters.tab_step: is missing; the engine reads it. State it in a topic file, in mm."),
        ("severing.toml", 'value = "25 %"\nunit = "1"', 'value = "25 mm"\nunit = "mm"',
         "tab_share.unit: is 'mm', but the engine reads it as a pure number. Write '1'."),
        ("severing.toml", "[parameters.tab_share]", "[parameters.tab_shore]",
         "tab_share: is missing; the engine reads it. State it in a topic file, as a pure number."),
        ("severing.toml", 'value = "8"', 'value = "0"',
         "parameters.tab_safety.value: must be above zero."),
        ("drive.toml", 'value = "0.01 rad/s^2"', 'value = "0 rad/s^2"',
         "parameters.acceleration_step.value: must be above zero."),
        ("stock.toml", "[lookups.zinc_mass]", "[lookups.zink_mass]",
         "lookups.zinc_mass: is missing; the engine reads it. State it in a topic file, by wall."),
        ("stock.toml", 'by = "wall"', 'by = "thin_wall"',
         "lookups.zinc_mass.by: is 'thin_wall', but the engine asks by wall."),
        ("jaw.toml", 'by = "coating"\nunit = "1"', 'by = "coating"\nunit = "%"',
         "lookups.surface_friction.unit: is '%'. Write '1'."),
    ],
)  # fmt: skip
def test_rules_that_do_not_fit_the_engine_are_told_with_key_and_remedy(
    folder: Path, file: str, old: str, new: str, said: str
) -> None:
    """A name nobody fills, a unit of another size, a number nobody states."""
    change(folder, file, old, new)
    assert said in problems_of(folder, "vocabulary.toml" if "is missing;" in said else file)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"3 mm" = "0.395 kg/m^2"', '"3 kg" = "0.395 kg/m^2"', "lookups.zinc_mass.values.3 kg: "),
        ('"3 mm" = "0.395 kg/m^2"', '"3 mm" = "0.395 kg/m"', "lookups.zinc_mass.values.3 mm: "),
        ('"3 mm" = "0.395', '"9 mm" = "0.395', "lookups.zinc_mass.values: must go from the small"),
        ('beyond = "0.610 kg/m^2"\n', "", "lookups.zinc_mass.beyond: is missing"),
        ('by = "wall"', 'by = "wal"', "'wal' is neither a fact nor a number of the vocabulary"),
        ('unit = "kg/m^2"', 'unit = "kg/n^2"', "lookups.zinc_mass.unit: unit 'kg/n^2' is not"),
    ],
)  # fmt: skip
def test_a_damaged_lookup_is_told_with_its_key(folder: Path, old: str, new: str, said: str) -> None:
    """A table that would give a wrong number, or none, does not load."""
    change(folder, "stock.toml", old, new)
    assert said in problems_of(folder, "stock.toml")


def test_a_value_no_surface_has_is_told(folder: Path) -> None:
    """A misspelt coating would leave that surface with the friction of a clean one."""
    change(folder, "jaw.toml", 'oily = "0.10"', 'olly = "0.10"')
    with pytest.raises(FileError, match=r"(?s)surface_friction\.values\.olly.*oily"):
        load_rules(folder)


def test_the_check_finds_a_lookup_that_nothing_reads(folder: Path) -> None:
    """A table that looks like a limit and is none would mislead whoever edits it."""
    from cuttable.engine.decision.rule_check import check_rules
    from cuttable.rules.cases import load_cases

    with (folder / "wall.toml").open("a", encoding="utf-8") as file:
        file.write('\n[lookups.idle]\nby = "shape"\nunit = "1"\nvalues = {}\nbasis = "x"\n')
    rule_set = load_rules(folder)
    found = [item for item in check_rules(rule_set, load_cases(rule_set)) if "idle" in item.text]
    assert [item.kind for item in found] == ["lookup-not-read"]


def test_rules_kept_in_a_ledger_are_checked_alike() -> None:
    """Files that come from a ledger are named by their place in it."""
    contents = {path.name: path.read_bytes() for path in FOLDER.glob("*.toml")}
    contents["vocabulary.toml"] = contents["vocabulary.toml"].replace(
        b'rear_room         = { unit = "mm"', b'rear_room = { unit = "kg"'
    )
    with pytest.raises(FileError) as caught:
        load_rules(KeptFiles(contents, "ledger plant.db, rules/3"))
    assert caught.value.where == "ledger plant.db, rules/3, vocabulary.toml"
    assert "machine.rear_room.unit: is 'kg', but it is filled in mm." in caught.value.problems[0]


def test_rules_older_than_a_fact_of_machines_are_read(folder: Path) -> None:
    """They ask nothing of how jaws move, and do not say that it was left out."""
    text = (folder / "vocabulary.toml").read_text(encoding="utf-8")
    text = "".join(
        line for line in text.splitlines(True) if not line.startswith(("jaw_motion", "jaw_hold"))
    )
    (folder / "vocabulary.toml").write_text(text, encoding="utf-8")
    jaw = (folder / "jaw.toml").read_text(encoding="utf-8")
    start, end = jaw.index("[rules.GRIP-04]"), jaw.index("[rules.BORE-01]")
    (folder / "jaw.toml").write_text(jaw[:start] + jaw[end:], encoding="utf-8")
    (folder / "jaw_moment.toml").unlink()
    gauge = text.index("[gauges.jaw_moment_factor]")
    text = text[:gauge] + text[text.index("[gauges.needed_length]") :]
    (folder / "vocabulary.toml").write_text(text, encoding="utf-8")
    old = AssessorCore(rules=folder)
    job = JobText("RHS 100x60x4 cf", "3 m", fitted=["lift-and-index"])
    assert old.ask(job, ["alder-320"]).verdicts[0].verdict == "in-range"
    assert AssessorCore().ask(job, ["alder-320"]).verdicts[0].missing == ("filler-pads",)


# --- the engine against itself ----------------------------------------------------------------


def frame_of_jobs() -> tuple[RuleSet, object]:
    """Return the shipped rules and a frame of one job on every model."""
    from cuttable.engine.jobs.parse import read_job

    assessor = AssessorCore()
    job, _ = read_job(JOBS[0], assessor.catalogue, assessor.rule_set.vocabulary)
    machines = list(assessor.catalogue.machines.values())
    assert job is not None
    table = table_of([job] * len(machines), assessor.rule_set.vocabulary)
    return assessor.rule_set, build_frame(
        table, machines, np.arange(len(machines)), assessor.rule_set
    )


def test_a_frame_fills_exactly_what_is_declared() -> None:
    """Given columns, numbers and facts are those that measures and rules are told of."""
    rule_set, frame = frame_of_jobs()
    between = {"jaw_friction", "reaction_rated", "reaction_absolute"}  # read within the frame
    assert set(frame.given) - between == set(GIVEN)
    assert set(frame.heavy) <= set(frame.given)
    parameters = {f"param.{name}" for name in rule_set.parameters}
    assert set(frame.numbers) - parameters == set(NUMBERS)
    assert set(frame.facts) == set(SERVED.facts)


def test_every_figure_of_the_engine_is_read() -> None:
    """A figure that no code reads would be demanded of rule sets for nothing."""
    inputs = {name for item in REGISTRY.values() for name in item.inputs}
    assert set(MEASURED) <= inputs
    tree = FOLDER.parent / "engine"
    text = "\n".join(path.read_text(encoding="utf-8") for path in tree.rglob("*.py"))
    for name in (set(PARAMETERS) | set(LOOKUPS)) - set(MEASURED):
        assert f'["{name}"]' in text


def test_measures_are_listed_in_the_order_of_an_answer() -> None:
    """The order of an answer's measures is what scripts have seen so far."""
    assert list(REGISTRY)[:4] == ["linear_mass", "stock_mass", "rotary_inertia", "round_diameter"]
    last = list(REGISTRY).index("jaw_deflection")
    assert list(REGISTRY)[last : last + 2] == ["jaw_deflection", "jaw_slip_factor"]
    assert list(load_rules().vocabulary.measures) == list(REGISTRY)
    assert {item.declared.name for item in REGISTRY.values()} == set(REGISTRY)
