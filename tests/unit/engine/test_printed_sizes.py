"""Sizes stand in two printed columns: a limit is compared, and a size shown, in the right one."""

import json
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from cuttable.catalogue.machines.model import MachineModel
from cuttable.catalogue.tables.sections import Section
from cuttable.engine.answer.document import Answer, plain
from cuttable.engine.answer.making import answers as made
from cuttable.engine.answer.wording import System
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.backlog.answer import answers_of
from cuttable.engine.decision.decide import fullness
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job import Job
from cuttable.engine.jobs.parse import read_job
from cuttable.engine.sheet.content import content_of

MODEL = (Path(__file__).resolve().parents[3] / "catalogue/models/alder-320.toml").read_text()
CORE = AssessorCore()
PIPES = list(CORE.catalogue.tables.pipes.values())

# Outside diameters in inches, ASME B36.10M and B36.19M (from memory of the standard; those of
# tests/published/values.json are the same): what NPS means up to 12, and its own number above.
OUTSIDE_INCHES = {
    "1/8": "0.405", "1/4": "0.54", "3/8": "0.675", "1/2": "0.84", "3/4": "1.05", "1": "1.315",
    "1-1/4": "1.66", "1-1/2": "1.9", "2": "2.375", "2-1/2": "2.875", "3": "3.5", "3-1/2": "4",
    "4": "4.5", "5": "5.563", "6": "6.625", "8": "8.625", "10": "10.75", "12": "12.75",
} | {str(size): str(size) for size in range(14, 50, 2)}  # fmt: skip


def machine(*limits: tuple[str, dict[str, str]]) -> MachineModel:
    """Return the model with some limits written otherwise."""
    text = MODEL
    for name, bounds in limits:
        lines = "".join(f'{bound} = "{value}"\n' for bound, value in bounds.items())
        table = rf"(\[limits\.{re.escape(name)}\][^\n]*\n)(?:(?:minimum|rated|absolute)[^\n]*\n)+"
        text, count = re.subn(table, lambda match, lines=lines: match[1] + lines, text)
        assert count == 1, name
    return CORE.catalogue.machine_content(text.encode(), "test")


def at(name: str, value: str) -> MachineModel:
    """Return a model that takes one size and no other."""
    bounds = ("rated", "absolute") if name.startswith("wall") else ("minimum", "rated", "absolute")
    return machine((name, dict.fromkeys(bounds, value)))


def piece(section: str, length: str = "1 m", **more: str) -> Job:
    """Read a job."""
    text = JobText(section, length, grade="A53 B", **more)
    job, questions = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None, questions
    return job


def broken(jobs: Sequence[Job], machines: Sequence[MachineModel]) -> list[set[str]]:
    """Return the rules that hold for each pair, decided together as a backlog is."""
    decision = CORE.engine.decide(jobs, machines)
    rules = CORE.rule_set.rules
    return [
        {rules[found.rule].code for found in decision.of(row).findings} for row in range(len(jobs))
    ]


def told(section: str, model: MachineModel, system: System, **more: str) -> Answer:
    """Return the answer of one job, in words."""
    job = piece(section, **more)
    decision = CORE.engine.decide([job], [model])
    return made(CORE.engine, decision, [job], [model], CORE.provenance, system)[0]


OUTSIDE_RULES = {"SIZE-01", "SIZE-02", "SIZE-03"}
WALL_RULES = {"WALL-01", "WALL-02"}


def test_every_row_of_pipe_keeps_both_printed_columns() -> None:
    """Outside and wall in inches are the printed ones, and masses follow the millimetres."""
    assert len(PIPES) == 382
    for row in PIPES:
        section = row.section()
        outside = OUTSIDE_INCHES[row.nps]
        assert section.inches == (float(outside), float(outside), float(row.wall_in))
        assert (section.height, section.wall) == (row.od, row.wall)
        wall = f"{float(row.wall_in):g}"
        assert section.printed("us") == f"{outside} in x {wall} in", row
        assert section.printed("si") == f"{row.od:g} mm x {row.wall:g} mm", row


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_every_pipe_is_at_a_limit_of_its_printed_outside(unit: str) -> None:
    """A machine for one size takes it in both units; a hair less or more it refuses."""
    rows = list({(row.nps, row.od): row for row in PIPES}.values())
    jobs = [Job(row.section(), piece("NPS 6 STD").grade, 1000.0) for row in rows]
    printed = [OUTSIDE_INCHES[row.nps] if unit == "in" else f"{row.od:g}" for row in rows]
    step = 0.001 if unit == "in" else 0.1
    for off, wanted in ((0.0, set[str]()), (-step, {"SIZE-03"}), (step, {"SIZE-01"})):
        models = [
            at("round_diameter", f"{text if not off else f'{float(text) + off:.4f}'} {unit}")
            for text in printed
        ]
        for row, codes in zip(rows, broken(jobs, models), strict=True):
            assert codes & OUTSIDE_RULES == wanted, (row.nps, unit, off)


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_every_pipe_is_at_a_limit_of_its_printed_wall(unit: str) -> None:
    """A wall that can be pierced up to the printed number is pierced, in both units."""
    grade = piece("NPS 6 STD").grade
    walls = {(row.wall_in, row.wall): row for row in PIPES}
    rows = list(walls.values())
    jobs = [Job(row.section(), grade, 1000.0) for row in rows]
    texts = [f"{float(row.wall_in):g}" if unit == "in" else f"{row.wall:g}" for row in rows]
    models = [at("wall.carbon-steel", f"{text} {unit}") for text in texts]
    for row, codes in zip(rows, broken(jobs, models), strict=True):
        assert not codes & WALL_RULES, row
    thinner = [at("wall.carbon-steel", f"{float(text) - 0.0006:.5f} {unit}") for text in texts]
    for row, codes in zip(rows, broken(jobs, thinner), strict=True):
        assert codes & WALL_RULES == {"WALL-02"}, row


def test_a_machine_rated_in_inches_takes_the_pipe_of_that_size() -> None:
    """NPS 6 is 6.625 in and 168.3 mm; 6.625 in is 168.275 mm. It is at its limit, not beyond."""
    inches, millimetres = at("round_diameter", "6.625 in"), at("round_diameter", "168.3 mm")
    converted = at("round_diameter", "168.275 mm")
    assert inches.in_inches == tuple(
        f"limits.round_diameter.{bound}" for bound in ("absolute", "minimum", "rated")
    )
    assert millimetres.in_inches == ()
    job = piece("NPS 6 SCH 40")
    found = broken([job] * 3, [inches, millimetres, converted])
    assert [codes & OUTSIDE_RULES for codes in found] == [set(), set(), {"SIZE-03"}]
    for model in (inches, millimetres):
        measure = told("NPS 6 SCH 40", model, "si").measures["round_diameter"]
        assert measure.utilisation == pytest.approx(1, abs=1e-12)
        # 1 % of ASTM A53, in either column.
        assert measure.heavy_utilisation == pytest.approx(1.01, abs=1e-12)
        assert measure.value == 168.3
        assert measure.inches == 6.625


@pytest.mark.parametrize(
    ("limit", "value", "section", "rules"),
    [
        # A pipe of 18 in is printed 457 mm: 17.992 in.
        ("round_diameter", "457 mm", "NPS 18 STD", OUTSIDE_RULES),
        ("round_diameter", "18 in", "NPS 18 STD", OUTSIDE_RULES),
        ("round_diameter", "1.5 ft", "NPS 18 STD", OUTSIDE_RULES),
        # Metric stock has one column; 6 5/8 in is 168.275 mm, and the stock 168.3 mm.
        ("round_diameter", "168.3 mm", "CHS 168.3x8 cf", OUTSIDE_RULES),
        ("round_diameter", "6.626 in", "CHS 168.3x8 cf", OUTSIDE_RULES),
        # Typed and tabulated inches are exact in both.
        ("round_diameter", "2.625 in", "tube 2-5/8 in x 0.083 in", OUTSIDE_RULES),
        ("round_diameter", "66.675 mm", "tube 2-5/8 in x 0.083 in", OUTSIDE_RULES),
        ("wall.carbon-steel", "3/16 in", "HSS 6x4x3/16", WALL_RULES),
        ("wall.carbon-steel", "0.1875 in", "HSS 6x4x3/16", WALL_RULES),
        ("wall.carbon-steel", "4.7625 mm", "HSS 6x4x3/16", WALL_RULES),
    ],
)  # fmt: skip
def test_sizes_at_a_limit_are_at_it(limit: str, value: str, section: str, rules: set[str]) -> None:
    """Each unit finds its own column; nothing printed is refused by its own size."""
    if "6.626" in value:  # no exact inch is a metric size: only the upper limits are asked
        model = machine((limit, {"minimum": "1 in", "rated": value, "absolute": value}))
    else:
        model = at(limit, value)
    assert not broken([piece(section)], [model])[0] & rules


def test_the_heavy_end_grows_from_the_column_of_the_limit() -> None:
    """NPS 18 may come 1 % over: 18.18 in and 461.57 mm, which is 18.172 in."""
    job = piece("NPS 18 STD")
    heavy = {
        "18.18 in": False, "18.179 in": True, "461.57 mm": False, "461.5 mm": True,
    }  # fmt: skip
    models = [machine(("round_diameter", {"rated": "10 in", "absolute": text})) for text in heavy]
    found = broken([job] * len(models), models)
    assert ["SIZE-05" in codes for codes in found] == list(heavy.values())


def test_one_bound_in_inches_and_the_other_in_millimetres() -> None:
    """Every bound is compared in its own unit."""
    model = machine(
        ("round_diameter", {"minimum": "457 mm", "rated": "457 mm", "absolute": "18 in"})
    )
    assert not broken([piece("NPS 18 STD")], [model])[0] & OUTSIDE_RULES


def test_grip_from_within_and_passing_through_use_the_column_of_their_limit() -> None:
    """The inside of NPS 6 SCH 40 is 6.065 in; the bore of the chuck may be written in inches."""
    inside = at("inside_diameter", "6.065 in")
    found = broken([piece("NPS 6 SCH 40", grip="inside")], [inside])[0]
    assert not found & {"GRIP-01", "GRIP-02", "GRIP-03"}
    swept = 6.625 * 1.01  # 1 % of A53, in inches; no bow
    text = re.sub(r'(?m)^(bore\s*=\s*)"[^"]*"', rf'\1"{swept:.5f} in"', MODEL)
    model = CORE.catalogue.machine_content(text.encode(), "test")
    assert model.in_inches == ("chuck.bore",)
    job = piece("NPS 6 SCH 40", "6 m", behind="2 m", bow="0 mm")
    less = re.sub(r'(?m)^(bore\s*=\s*)"[^"]*"', rf'\1"{swept - 0.001:.5f} in"', MODEL)
    narrow = CORE.catalogue.machine_content(less.encode(), "test")
    found_both = broken([job, job], [model, narrow])
    assert ["BORE-01" in codes for codes in found_both] == [False, True]


def test_a_square_is_compared_by_its_inches() -> None:
    """HSS has one column; a limit of its own sweep in inches takes it."""
    section = CORE.catalogue.section("HSS 4x4x1/4")
    text = f"{section.swept_diameter / 25.4:.9f} in"
    codes = broken([piece("HSS 4x4x1/4")], [at("swept_diameter", text)])[0]
    assert not codes & {"SIZE-06", "SIZE-07", "SIZE-08"}


def test_a_backlog_answers_as_one_job_does() -> None:
    """Many jobs on machines of both units together, and each alone: the same answer and use."""
    models = [
        at("round_diameter", "6.625 in"), at("round_diameter", "168.3 mm"),
        at("round_diameter", "18 in"), at("round_diameter", "457 mm"), machine(),
    ]  # fmt: skip
    sections = ["NPS 6 SCH 40", "NPS 18 STD", "CHS 168.3x8 cf", "HSS 4x4x1/4", "NPS 12 STD"]
    pairs = [(piece(section), model) for section in sections for model in models]
    together = CORE.engine.decide([job for job, _ in pairs], [model for _, model in pairs])
    answers = answers_of(CORE.engine, together, has_extra=True)
    for row, (job, model) in enumerate(pairs):
        alone = CORE.engine.decide([job], [model])
        assert together.of(row) == alone.of(0), (job.section.designation, row)
        for many, one in zip(
            fullness(CORE.rule_set, together.scope), fullness(CORE.rule_set, alone.scope),
            strict=True,
        ):  # fmt: skip
            assert repr(many.nominal[row]) == repr(one.nominal[0]), many.name
            assert repr(many.heavy[row]) == repr(one.heavy[0]), many.name
        verdict = made(CORE.engine, alone, [job], [model], CORE.provenance, "us")[0]
        texts, codes = answers.words["verdict"]
        assert texts[int(codes[row])] == verdict.verdict


@pytest.mark.parametrize("row", PIPES[::7], ids=lambda row: row.designation)
def test_sentences_and_sheets_show_the_printed_size(row: Any) -> None:
    """A refusal names the outside in the unit asked for, as the standard prints it."""
    outside = OUTSIDE_INCHES[row.nps]
    small = machine(
        ("round_diameter", {"minimum": "0.1 in", "rated": "0.2 in", "absolute": "0.3 in"})
    )
    for system, text in (("us", f"{outside} in"), ("si", f"{row.od:g} mm")):
        verdict = told(row.designation, small, system)
        said = next(item.text for item in verdict.findings if item.rule == "SIZE-03")
        assert f"Outside diameter {text} is" in said
        sheet = content_of(verdict, system)
        wall = f"{float(row.wall_in):g} in" if system == "us" else f"{row.wall:g} mm"
        assert sheet.subtitle.startswith(f"{text} x {wall} (")


def test_a_limit_that_would_mislead_is_shown_as_written_too() -> None:
    """In SI units 168.3 mm within 168.28 mm reads wrong: the limit was written 6.625 in."""
    model = at("round_diameter", "6.625 in")
    said = {item.rule: item.text for item in told("NPS 6 SCH 40", model, "si").findings}
    assert "168.3 mm is within the absolute 168.28 mm (6.625 in)" in said["SIZE-05"]
    said = {item.rule: item.text for item in told("NPS 6 SCH 40", model, "us").findings}
    assert "6.625 in is within the absolute 6.625 in, but" in said["SIZE-05"]
    said = {item.rule: item.text for item in told("NPS 6 SCH 40", machine(), "si").findings}
    assert "SIZE-05" not in said


def test_the_json_answer_adds_inches_and_keeps_its_numbers() -> None:
    """Millimetres stay what they were, and so does the name of the answer; inches are added."""
    answer = plain(told("NPS 12 STD", machine(), "us"))
    assert answer["job"]["section"]["outside_diameter"] == 323.8
    assert answer["job"]["section"]["inches"] == {"outside_diameter": 12.75, "wall": 0.375}
    measure = answer["measures"]["round_diameter"]
    assert (measure["value"], measure["inches"]) == (323.8, 12.75)
    assert measure["heavy_inches"] == pytest.approx(12.75 * 1.01)
    assert answer["measures"]["wall"]["inches"] == 0.375
    assert "inches" not in answer["measures"]["stock_mass"]
    metric = plain(told("CHS 168.3x8 cf", machine(), "us"))
    assert "inches" not in json.dumps(metric)


@pytest.mark.parametrize(
    ("text", "us", "si"),
    [
        ("NPS 12 STD", "12.75 in x 0.375 in", "323.8 mm x 9.53 mm"),
        ("NPS 6 SCH 40S", "6.625 in x 0.28 in", "168.3 mm x 7.11 mm"),
        ("NPS 48 STD", "48 in x 0.375 in", "1219 mm x 9.53 mm"),
        ("HSS 6x4x3/16", "6 in x 4 in x 0.1875 in", "152.4 mm x 101.6 mm x 4.76 mm"),
        ("HSS 4x6x5/16", "6 in x 4 in x 0.3125 in", "152.4 mm x 101.6 mm x 7.94 mm"),
        ("tube 2 x 0.065 in", "2 in x 0.065 in", "50.8 mm x 1.65 mm"),
        ("tube 2 x 4 x 0.12 in", "4 in x 2 in x 0.12 in", "101.6 mm x 50.8 mm x 3.05 mm"),
        ("CHS 168.3x8 cf", "6.626 in x 0.315 in", "168.3 mm x 8 mm"),
        ("tube 50 x 3 mm", "1.969 in x 0.118 in", "50 mm x 3 mm"),
        ("SHS 100x5 hf", "3.937 in x 3.937 in x 0.197 in", "100 mm x 100 mm x 5 mm"),
    ],
)
def test_printed_sizes_in_both_units(text: str, us: str, si: str) -> None:
    """As the standard prints it where it does, else converted."""
    section = CORE.catalogue.section(text)
    assert (section.printed("us"), section.printed("si")) == (us, si)


def test_own_sections_keep_the_unit_they_were_written_in(
    own: Callable[[str], dict[str, Section]],
) -> None:
    """Inches of an own section are kept to the digit; what is in millimetres is converted."""
    found = own(
        '[sections."RING A"]\nshape = "round"\noutside_diameter = "8-1/4 in"\nwall = "0.313 in"\n'
        'standard = "drawing"\nbasis = "taped"\n'
        '[sections."RING B"]\nshape = "round"\noutside_diameter = "8.25 in"\nwall = "8 mm"\n'
        'standard = "drawing"\nbasis = "taped"\n'
        '[sections."RING C"]\nshape = "round"\noutside_diameter = "210 mm"\nwall = "8 mm"\n'
        'standard = "drawing"\nbasis = "taped"\n'
        '[sections."FRAME D"]\nshape = "rectangular"\nheight = "3 in"\nwidth = "4.5 in"\n'
        'wall = "3/16 in"\ncorners = "ASTM A500"\nstandard = "drawing"\nbasis = "taped"\n'
    )
    assert found["ringa"].inches == (8.25, 8.25, 0.313)
    assert found["ringb"].inches == pytest.approx((8.25, 8.25, 8 / 25.4))
    assert found["ringc"].inches is None
    assert found["framed"].inches == (4.5, 3.0, 0.1875)
    assert found["ringa"].height == 209.55


@pytest.fixture
def own() -> Callable[[str], dict[str, Section]]:
    """Read a file of own sections."""
    from cuttable.catalogue.tables.own_sections import read_own_sections

    def read(text: str) -> dict[str, Section]:
        content = f"schema = 1\n[sections]\n{text}".encode()
        return read_own_sections(content, "own.toml", CORE.catalogue.tables)

    return read
