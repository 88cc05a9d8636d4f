"""From typed text to verdicts: the whole path, through the same code as the command."""

import math
from pathlib import Path

import numpy as np
import pytest
from cuttable.catalogue.errors import FileError
from cuttable.catalogue.files.file_source import Folder
from cuttable.catalogue.machines.model import MachineModel
from cuttable.catalogue.store import Catalogue, FolderModels
from cuttable.engine.answer.document import Answer, Reply, plain
from cuttable.engine.answer.making import answers
from cuttable.engine.assessor import AssessorCore, is_at_least
from cuttable.engine.decision.decide import fullness
from cuttable.engine.decision.inference import RANK
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job import Job
from cuttable.engine.jobs.parse import read_job
from cuttable.engine.search.fit import longest_lengths
from hypothesis import given, settings
from hypothesis import strategies as st

MODELS = Path(__file__).resolve().parents[3] / "catalogue" / "models"

CORE = AssessorCore()
MACHINES = list(CORE.catalogue.machines.values())

SECTIONS = [
    "NPS 1 SCH 40", "NPS 2 SCH 40", "NPS 4 SCH 40", "NPS 4 XXS", "NPS 6 SCH 40", "NPS 8 SCH 80",
    "NPS 10 XS", "NPS 12 STD", "NPS 16 SCH 40", "NPS 24 STD", "HSS 6x4x1/4", "SHS 100x5",
    "RHS 150x100x6", "tube 2 x 0.065 in", "tube 152.4 x 2.11 mm", "CHS 168.3x8",
]  # fmt: skip
GRADES = [None, "A106 B", "304", "6061", "EN 10219 S355J2H"]


def ask(section: str, length: str, *machines: str, **more: str) -> Reply:
    """Ask the built-in assessor."""
    return CORE.ask(JobText(section, length, **more), machines)


def one(section: str, length: str, machine: str, **more: str) -> Answer:
    """Return the verdict of one model."""
    return ask(section, length, machine, **more).verdicts[0]


def machine_with(tmp_path: Path, *changes: tuple[str, str], model: str = "rowan-150") -> str:
    """Write a changed copy of a model and return its path."""
    text = (MODELS / f"{model}.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    path = tmp_path / "changed.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_the_contract_of_the_json_answer() -> None:
    """Every key scripts rely on is there, in the units promised."""
    answer = plain(one("NPS 4 SCH 40", "6 m", "rowan-150"))
    assert answer["verdict"] == "in-range"
    assert answer["machine"]["model"] == "rowan-150"
    assert answer["machine"]["revision"] == 1
    assert answer["machine"]["digest"].startswith("sha256:")
    section = answer["job"]["section"]
    assert section == {
        "designation": "NPS 4 SCH 40", "shape": "round", "outside_diameter": 114.3,
        "wall": 6.02, "standard": "ASME B36.10M",
        "inches": {"outside_diameter": 4.5, "wall": 0.237},
    }  # fmt: skip
    assert answer["job"]["grade"] == "ASTM A53 B"
    assert answer["job"]["stock_length"] == 6000.0
    inertia = answer["measures"]["rotary_inertia"]
    assert inertia["unit"] == "kg*m^2"
    assert inertia["value"] == pytest.approx(0.2836, abs=2e-4)
    assert inertia["heavy"] == pytest.approx(0.3182, abs=2e-4)
    assert inertia["rated"] == pytest.approx(0.6438, abs=1e-4)
    assert inertia["absolute"] == 1.1
    assert inertia["utilisation"] == pytest.approx(0.4405, abs=2e-4)
    assert {"findings", "mitigations", "cautions", "setup", "not_assessed"} <= set(answer)
    assert set(answer["provenance"]) == {"tool", "rules", "catalogue"}
    for mitigation in answer["mitigations"]:
        assert set(mitigation) == {"code", "text", "values", "provided_by"}


def test_what_is_not_assessed_is_listed() -> None:
    """Everything is assessed for a round; for a flat side, crushing under the jaws is not."""
    assert not one("NPS 4 SCH 40", "6 m", "rowan-150").not_assessed
    assert one("SHS 100x5", "6 m", "medlar-300").not_assessed == ("jaw_stress",)


@pytest.mark.parametrize(
    ("section", "jaws", "decided", "left_out"),
    [
        ("RHS 100x60x4 cf", 4, None, ("jaw_stress", "jaw_motion")),
        ("SHS 80x4 cf", 4, None, ("jaw_stress",)),
        ("SHS 80x4 cf", 6, None, ("jaw_stress", "jaw_motion")),
        ("NPS 3 SCH 40", 6, None, ()),
        ("SHS 80x4 cf", 3, "GRIP-04", ("jaw_stress", "supports")),
        ("RHS 100x60x4 cf", 2, "GRIP-04", ("jaw_stress", "supports")),
    ],
)
def test_how_jaws_move_is_not_assessed_where_it_decides_and_is_not_stated(
    tmp_path: Path, section: str, jaws: int, decided: str | None, left_out: tuple[str, ...]
) -> None:
    """A rectangle in four jaws; a square is held however they move, and three hold neither."""
    changes = ("jaws         = 4", f"jaws = {jaws}"), ('jaw_motion   = "pairs"', "")
    found = one(section, "3 m", machine_with(tmp_path, *changes, model="medlar-300"))
    assert (found.decided_by, found.not_assessed) == (decided, left_out)
    assert (found.verdict == "refused") == (decided is not None)


def test_every_answer_says_where_supports_stand() -> None:
    """Stations lie on the bed's grid and the stock, and each carries within its rating."""
    for verdict in ask("NPS 6 SCH 40", "6 m").verdicts:
        setup, machine = verdict.setup, CORE.catalogue.machine(verdict.machine.model)
        supports = {item.code: item for item in machine.supports}
        if verdict.verdict != "in-range":
            continue
        assert setup.plan == "rated"
        for item in setup.supports:
            steps = (item.station - machine.bed.first_station) / machine.bed.station_pitch
            assert steps == pytest.approx(round(steps))
            assert item.station < verdict.job.stock_length
            assert 0 < item.reaction <= supports[item.support].reaction.rated


def test_stations_given_by_the_asker_are_judged() -> None:
    """Good stations pass, a free end far too long is refused."""
    good = CORE.ask(
        JobText("NPS 4 SCH 40", "6 m", stations=["1650 mm", "3450 mm", "5250 mm"]), ["rowan-150"]
    ).verdicts[0]
    assert good.verdict == "in-range"
    assert [item.station for item in good.setup.supports] == [1650.0, 3450.0, 5250.0]
    poor = CORE.ask(JobText("NPS 4 SCH 40", "6 m", stations=["1650 mm"]), ["rowan-150"])
    assert "HANG-02" in {item.rule for item in poor.verdicts[0].findings}


def test_parts_say_what_they_do_and_what_holds_them() -> None:
    """Each part stays, or is held by tabs, or the job is refused."""
    verdict = CORE.ask(JobText("NPS 4 SCH 40", "6 m", parts=["0.3 m*4"]), ["rowan-150"]).verdicts[0]
    assert len(verdict.setup.parts) == 4
    for part in verdict.setup.parts:
        assert part.behaviour == "stays" or (part.tabs is not None and part.tabs.count >= 3)
    heavy = CORE.ask(JobText("NPS 12 STD", "12 m", parts=["4.4 m*2"]), ["alder-320"]).verdicts[0]
    for part in heavy.setup.parts:
        assert part.behaviour == "stays" or part.tabs is None


def test_no_grade_is_carbon_steel_with_a53_tolerances_and_says_so() -> None:
    """What is taken for granted stands in the answer."""
    verdict = one("NPS 4 SCH 40", "6 m", "rowan-150")
    assert any("ASTM A53" in text for text in verdict.job.assumptions)
    stated = one("NPS 4 SCH 40", "6 m", "rowan-150", grade="A53 B")
    assert not any("Grade not stated" in text for text in stated.job.assumptions)
    assert stated.verdict == verdict.verdict


@pytest.mark.parametrize(
    "length", ["20 ft", "20'", "20'-0\"", "240 in", '240"', "6096 mm", "6.096 m", "6,096 m",
               "609.6 cm", "20 feet"],
)  # fmt: skip
def test_stock_exactly_at_a_length_limit_is_in_range_in_every_unit(
    tmp_path: Path, length: str
) -> None:
    """A limit of 20 ft is met by 20 ft however it is written."""
    changes = [('rated    = "6.5 m"\nabsolute = "6.5 m"', 'rated = "20 ft"\nabsolute = "20 ft"')]
    machine = machine_with(tmp_path, *changes)
    assert one("NPS 4 SCH 40", length, machine).verdict == "in-range"
    assert one("NPS 4 SCH 40", "6096.1 mm", machine).verdict == "refused"


@pytest.mark.parametrize("section", ["tube 3/4 x 0.065 in", "tube 0.75 x 0.065 in",
                                     "tube 19.05 x 1.651 mm"])  # fmt: skip
@pytest.mark.parametrize("limit", ["3/4 in", "0.75 in", "19.05 mm"])
def test_stock_exactly_at_a_diameter_limit_gets_one_verdict(
    tmp_path: Path, section: str, limit: str
) -> None:
    """Three quarters of an inch is 19.05 mm to the last bit, on both sides of the limit."""
    machine = machine_with(tmp_path, ('minimum  = "26 mm"', f'minimum  = "{limit}"'))
    verdict = one(section, "3 m", machine)
    assert "SIZE-01" not in {item.rule for item in verdict.findings}
    smaller = one("tube 19 x 1.651 mm", "3 m", machine)
    assert "SIZE-01" in {item.rule for item in smaller.findings}


def test_a_limit_met_at_nominal_and_exceeded_when_heavy_is_a_condition(tmp_path: Path) -> None:
    """Near 1.00 the mill tolerance decides: weigh it, or use the derated setting."""
    machine = machine_with(tmp_path, ('rated    = "280 kg"', 'rated    = "100 kg"'))
    verdict = one("NPS 4 SCH 40", "6 m", machine)
    assert verdict.verdict == "oversize-allowed-with-conditions"
    assert "MASS-03" in {item.rule for item in verdict.findings}
    assert verdict.governing == "stock_mass"


def test_a_family_without_a_wall_limit_never_passes() -> None:
    """larch-610 states no wall limit for aluminium: unknown is refused, with the reason."""
    verdict = one("NPS 12 STD", "6 m", "larch-610", grade="6061")
    assert verdict.verdict == "refused"
    assert any("not stated" in item.text for item in verdict.findings)


def test_an_accessory_turns_a_refusal_into_conditions() -> None:
    """Oversize stock asks for reversed jaws and wide supports; fitted, it is allowed."""
    bare = one("NPS 6 SCH 40", "3 m", "rowan-150")
    assert bare.verdict == "refused"
    assert bare.decided_by == "NOT-FITTED"
    assert set(bare.would_fit.accessories) == {"reversed-jaws", "wide-roller-pair"}
    fitted = CORE.ask(
        JobText("NPS 6 SCH 40", "3 m", fitted=bare.would_fit.accessories), ["rowan-150"]
    ).verdicts[0]
    assert fitted.verdict == "oversize-allowed-with-conditions"
    codes = {item.code for item in fitted.mitigations}
    assert {"builder-review", "reduced-rapid"} <= codes
    override = next(item for item in fitted.mitigations if item.code == "reduced-rapid")
    assert override.values["rapid_override"] <= 0.5


def test_oversize_stock_longer_than_half_the_bed_needs_support_beyond_its_middle() -> None:
    """12 m of NPS 10 XS on the mid-size model is oversize by inertia."""
    verdict = one("NPS 10 XS", "12 m", "alder-320")
    assert verdict.verdict == "oversize-allowed-with-conditions"
    assert verdict.governing == "rotary_inertia"
    assert "support-beyond-middle" in {item.code for item in verdict.mitigations}


@pytest.mark.parametrize(
    ("field", "value", "rule"),
    [
        ("ends", "sealed", "ENDS-01"),
        ("contents", "unknown", "CONT-01"),
        ("contents", "flammable", "CONT-02"),
        ("coating", "lined", "COAT-01"),
        ("coating", "cadmium", "COAT-02"),
        ("coating", "beryllium", "COAT-02"),
        ("coating", "lead paint", "COAT-03"),
    ],
)
def test_what_no_setting_lifts_is_refused_on_every_model(field: str, value: str, rule: str) -> None:
    """Nothing fitted and no setting helps."""
    for verdict in ask("NPS 4 SCH 40", "6 m", **{field: value}).verdicts:
        assert verdict.verdict == "refused"
        assert rule in {item.rule for item in verdict.findings}


def test_an_open_question_gives_no_verdict() -> None:
    """Paint of unknown kind must be told first."""
    answer = ask("NPS 4 SCH 40", "6 m", coating="painted")
    assert not answer.verdicts
    assert answer.questions[0].choices


def test_stainless_schedules_ask_for_the_grade() -> None:
    """40S is never carbon steel by default: density and wall limits would be wrong."""
    answer = ask("NPS 4 SCH 40S", "6 m")
    assert answer.questions[0].code == "which-grade"
    assert ask("NPS 4 SCH 40S", "6 m", grade="304").verdicts


def test_galvanised_stock_is_heavier_and_grips_less() -> None:
    """Zinc adds mass, and the jaws hold at the friction of a poor surface."""
    bare, zinc = (
        one("NPS 2 SCH 40", "6 m", "rowan-150", coating=coating).measures
        for coating in ("none", "galvanised")
    )
    assert zinc["stock_mass"].value > bare["stock_mass"].value  # type: ignore[operator]
    assert zinc["jaw_slip_factor"].value < bare["jaw_slip_factor"].value  # type: ignore[operator]


def test_a_known_bow_lowers_the_override_of_a_timed_ramp() -> None:
    """Unbalance takes torque that the ramp then lacks."""
    straight = one("NPS 5 SCH 40", "6 m", "rowan-150", bow="0 mm")
    bent = one("NPS 5 SCH 40", "6 m", "rowan-150", bow="25 mm")
    assert straight.measures["rapid_override"].value == 1.0
    assert bent.measures["rapid_override"].value < 1.0  # type: ignore[operator]


def test_parts_that_do_not_fit_are_refused_by_how_much() -> None:
    """Trim, stub and kerfs are counted."""
    fits = CORE.ask(JobText("NPS 4 SCH 40", "6 m", parts=["1.9 m*3"]), ["rowan-150"]).verdicts[0]
    assert fits.verdict == "in-range"
    short = CORE.ask(JobText("NPS 4 SCH 40", "6 m", parts=["1.95 m*3"]), ["rowan-150"]).verdicts[0]
    assert short.verdict == "refused"
    text = next(item.text for item in short.findings if item.rule == "LEN-05")
    # 3 x 1950 + 3 x 2.2 kerf = 5856.6; 6000 - 150 stub - 25 trim = 5825; short by 31.6 mm.
    assert "31.6 mm too little" in text


def test_models_come_best_first_and_smallest_first_within_a_verdict() -> None:
    """The first line is the one to sell."""
    found = [verdict.machine.model for verdict in ask("NPS 6 SCH 40", "20 ft").verdicts]
    assert found == ["medlar-300", "alder-320", "larch-610", "rowan-150"]


def test_the_governing_measure_has_the_largest_utilisation() -> None:
    """Unless only a heavy end is over its limit."""
    for section in SECTIONS:
        for verdict in ask(section, "6 m").verdicts:
            known = {
                name: item.utilisation
                for name, item in verdict.measures.items()
                if item.utilisation is not None
            }
            if max(known.values()) > 1:
                assert known[verdict.governing] == max(known.values())


def test_every_verdict_explains_itself() -> None:
    """Findings carry values, basis and a rule; a refusal names what decided it."""
    for section in SECTIONS:
        for verdict in ask(section, "12 m").verdicts:
            assert verdict.governing in verdict.measures
            for item in verdict.findings:
                assert item.text
                assert item.basis
            if verdict.verdict == "refused":
                assert verdict.decided_by


def test_the_same_question_has_the_same_answer_and_name() -> None:
    """The id is made of inputs and digests, and of nothing else."""
    first = plain(one("NPS 4 SCH 40", "20 ft", "rowan-150"))
    again = plain(AssessorCore().ask(JobText("NPS 4 SCH 40", "20 ft"), ["rowan-150"]).verdicts[0])
    assert first == again
    other = plain(one("NPS 4 SCH 40", "21 ft", "rowan-150"))
    assert other["id"] != first["id"]


def test_a_changed_machine_file_changes_digest_and_id(tmp_path: Path) -> None:
    """Provenance tells revisions apart even when the number was forgotten."""
    machine = machine_with(tmp_path, ('rated    = "280 kg"', 'rated    = "281 kg"'))
    changed, shipped = (one("NPS 4 SCH 40", "6 m", name) for name in (machine, "rowan-150"))
    assert changed.machine.digest != shipped.machine.digest
    assert changed.id != shipped.id


def test_the_longest_length_is_where_the_verdict_turns() -> None:
    """In range at the length found, no longer a millimetre beyond."""
    for section, machine in (("NPS 10 XS", "alder-320"), ("NPS 24 STD", "larch-610")):
        found = longest_lengths(CORE.engine, job_of(section, "12 m"), model(machine))["in_range"]
        assert found is not None
        assert one(section, f"{found:g} mm", machine).verdict == "in-range"
        assert one(section, f"{found + 1:g} mm", machine).verdict != "in-range"


def test_the_trace_shows_what_the_answer_says() -> None:
    """Traced and untraced numbers are the same."""
    reply = CORE.ask(JobText("NPS 10 XS", "12 m"), ["alder-320"], is_traced=True)
    verdict = reply.verdicts[0]
    assert not reply.untraced.verdicts[0].trace
    traced = {entry.name: entry for entry in verdict.trace}
    for name, item in verdict.measures.items():
        assert traced[name].value == item.value
        assert traced[name].formula
        assert traced[name].inputs


@pytest.mark.parametrize(
    ("verdict", "wanted", "expected"),
    [
        ("in-range", "in-range", True),
        ("oversize-allowed-with-conditions", "in-range", False),
        ("oversize-allowed-with-conditions", "allowed", True),
        ("refused", "allowed", False),
        ("", "allowed", False),
    ],
)
def test_at_least(verdict: str, wanted: str, expected: bool) -> None:
    """What a script may ask for at the least."""
    assert is_at_least(verdict, wanted) is expected


# --- properties -----------------------------------------------------------------------------


def job_of(section: str, length: str, grade: str | None = None, **more: str) -> Job:
    """Read a job."""
    text = JobText(section, length, grade=grade, **more)
    job, questions = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None, questions
    return job


def model(code: str) -> MachineModel:
    """Return a built-in model."""
    return CORE.catalogue.machines[code]


jobs = st.builds(
    job_of,
    st.sampled_from(SECTIONS),
    st.floats(100, 20_000).map(lambda mm: f"{mm:.1f} mm"),
    st.sampled_from(GRADES),
    bow=st.sampled_from(["", "0 mm", "5 mm", "40 mm"]),
    off_axis=st.sampled_from(["", "5 kg @ 100 mm", "60 kg @ 300 mm"]),
    coating=st.sampled_from(["", "wet", "galvanised", "lined", "lead-free-paint"]),
)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(jobs, st.sampled_from(MACHINES)), min_size=1, max_size=12))
def test_a_batch_gives_the_verdicts_of_single_checks(
    pairs: list[tuple[Job, MachineModel]],
) -> None:
    """One path for one job and for many: the same answers to the byte."""
    items, machines = [pair[0] for pair in pairs], [pair[1] for pair in pairs]
    engine = CORE.engine
    together = engine.decide(items, machines)
    batch = answers(engine, together, items, machines, CORE.provenance, "si")
    for job, machine, found in zip(items, machines, batch, strict=True):
        decision = engine.decide([job], [machine])
        alone = answers(engine, decision, [job], [machine], CORE.provenance, "si")[0]
        assert plain(found) == plain(alone)


@settings(max_examples=60, deadline=None)
@given(jobs, st.sampled_from(MACHINES), st.floats(1.001, 3.0))
def test_longer_stock_is_never_easier(job: Job, machine: MachineModel, factor: float) -> None:
    """Mass, inertia and unbalance grow, override and grip fall, and no refusal is lifted."""
    # As straight for its length: the same bow of a longer piece is of a straighter one.
    longer = job._replace(length=job.length * factor, bow=job.bow * factor)
    decision = CORE.engine.decide([job, longer], [machine, machine])
    measured = decision.measured
    for name in ("stock_mass", "rotary_inertia", "unbalance_torque", "drive_torque"):
        for column in (measured.nominal[name], measured.heavy[name]):
            assert column[1] >= column[0] * (1 - 1e-12)
    for name in ("rapid_override", "acceleration_setting"):
        for column in (measured.nominal[name], measured.heavy[name]):
            assert column[1] <= column[0]
    short = machine.limit("stock_length").minimum
    if job.length >= short:
        assert decision.ranks[1] >= decision.ranks[0]


@settings(max_examples=60, deadline=None)
@given(jobs, st.sampled_from(MACHINES))
def test_the_heavy_end_is_never_the_lighter_one(job: Job, machine: MachineModel) -> None:
    """Demands are at least nominal, and what is left is at most nominal."""
    measured = CORE.engine.decide([job], [machine]).measured
    for name, measure in CORE.rule_set.vocabulary.measures.items():
        nominal, heavy = measured.nominal[name][0], measured.heavy.get(name, [math.nan])[0]
        if measure.heavy == "more" and math.isfinite(nominal):
            assert heavy >= nominal * (1 - 1e-12)
        elif measure.heavy == "less" and math.isfinite(nominal):
            assert heavy <= nominal * (1 + 1e-12)


@settings(max_examples=40, deadline=None)
@given(jobs, st.sampled_from(MACHINES))
def test_an_in_range_job_exceeds_nothing(job: Job, machine: MachineModel) -> None:
    """In range means: at most rated, at the heavy end too."""
    decision = CORE.engine.decide([job], [machine])
    if decision.ranks[0] > RANK["setting"]:
        return
    for full in fullness(CORE.rule_set, decision.scope):
        if full.name == "unbalance_torque" and math.isnan(job.bow):
            continue  # the heavy end stands for a bow that the to-do list has measured
        assert not full.nominal[0] > 1 + 1e-9, full.name
        assert not full.heavy[0] > 1 + 1e-9, full.name


def test_measures_do_not_warn_about_odd_numbers() -> None:
    """NaN and zero pass through without noise; pytest turns warnings into errors."""
    job = job_of("SHS 100x5", "1 m")
    decision = CORE.engine.decide([job] * len(MACHINES), MACHINES)
    assert np.isnan(decision.measured.nominal["jaw_stress"]).all()


def test_a_catalogue_of_ones_own_is_enough(tmp_path: Path) -> None:
    """The engine opens no file: another catalogue folder is another catalogue."""
    import shutil

    source = MODELS.parent
    for name in ("tables", "models"):
        shutil.copytree(source / name, tmp_path / name)
    for name in ("grades.toml", "tolerances.toml"):
        shutil.copy(source / name, tmp_path)
    (tmp_path / "models" / "larch-610.toml").unlink()
    assessor = AssessorCore(Catalogue(tmp_path))
    codes = {
        verdict.machine.model for verdict in assessor.ask(JobText("NPS 4 STD", "6 m")).verdicts
    }
    assert codes == {"rowan-150", "medlar-300", "alder-320"}


# --- passing through, gripping inside, lengths that stay --------------------------------------


def test_stock_that_passes_through_is_judged_by_its_front(tmp_path: Path) -> None:
    """Eight metres fit a bed of 6.5 with two behind the chuck; without bore or room they do not."""
    through = one("NPS 4 SCH 40", "8 m", "rowan-150", behind="2 m", bow="2 mm")
    assert through.verdict == "in-range"
    assert through.measures["stock_length"].value == 6000.0
    assert through.measures["stock_mass"].value == pytest.approx(128.6, rel=1e-3)
    assert all(item.station < 6000 for item in through.setup.supports)
    assert "LEN-03" in {item.rule for item in one("NPS 4 SCH 40", "8 m", "rowan-150").findings}
    closed = machine_with(tmp_path, ('bore         = "160 mm"', 'bore         = "0 mm"'))
    refused = one("NPS 4 SCH 40", "8 m", closed, behind="2 m")
    assert "BORE-01" in {item.rule for item in refused.findings}
    far = one("NPS 4 SCH 40", "9 m", "rowan-150", behind="3 m")
    assert "BORE-02" in {item.rule for item in far.findings}


def test_gripping_inside_needs_a_stated_range() -> None:
    """alder-320 states one; rowan-150 does not, and unknown never passes."""
    held = one("NPS 10 XS", "6 m", "alder-320", grip="inside")
    assert held.verdict == "in-range"
    outside = one("NPS 10 XS", "6 m", "alder-320")
    assert held.measures["jaw_slip_factor"].value < outside.measures["jaw_slip_factor"].value  # type: ignore[operator]
    unstated = one("NPS 4 SCH 40", "6 m", "rowan-150", grip="inside")
    assert unstated.verdict == "refused"


def test_lengths_said_to_stay_do_stay() -> None:
    """Each end of each interval, cut on the same stations, stays; just outside it does not."""
    verdict = one("NPS 4 SCH 40", "6 m", "rowan-150")
    stations = [f"{item.station:g} mm" for item in verdict.setup.supports]
    assert verdict.setup.safe_part_lengths
    for low, high in verdict.setup.safe_part_lengths:
        for size, stays in ((low, True), (high, True), (low - 130, False)):
            job = JobText("NPS 4 SCH 40", "6 m", cuts=[f"{6000 - size:g} mm"], stations=stations)
            piece = CORE.ask(job, ["rowan-150"]).verdicts[0].setup.parts[0]
            assert (piece.behaviour == "stays") is stays


def test_how_many_parts_fit_is_said() -> None:
    """Three of 1.95 m do not come out of six metres; two do."""
    verdict = CORE.ask(JobText("NPS 4 SCH 40", "6 m", parts=["1.95 m*3"]), ["rowan-150"])
    text = next(i.text for i in verdict.verdicts[0].findings if i.rule == "LEN-05")
    assert "2 of the parts fit" in text


def test_more_supports_are_named_where_they_would_make_a_plan(tmp_path: Path) -> None:
    """With one roller pair and no cradles a long pipe finds no plan; the wide ones are offered."""
    machine = machine_with(
        tmp_path,
        ('carries        = ["round"]\ncount          = 3\nstandard       = true',
         'carries        = ["round"]\ncount          = 1\nstandard       = true'),
        ('carries   = ["round"]\ncount     = 3', 'carries   = ["square"]\ncount     = 3'),
    )  # fmt: skip
    verdict = one("NPS 5 SCH 40", "6 m", machine)
    assert verdict.verdict == "refused"
    assert verdict.setup.plan == "none"
    assert "wide-roller-pair" in verdict.would_fit.accessories


def test_cuts_nearer_than_a_kerf_are_refused() -> None:
    """Two cuts 1.5 mm apart are one."""
    from cuttable.catalogue.errors import InputError

    with pytest.raises(InputError, match="kerf"):
        CORE.ask(JobText("NPS 4 SCH 40", "6 m", cuts=["3 m", "3001.5 mm"]), ["rowan-150"])


def test_a_model_that_was_not_asked_is_read_only_to_find_one_that_takes_the_job(
    tmp_path: Path,
) -> None:
    """What fits needs no other model; what does not is looked for among all of them."""
    machine_with(tmp_path)
    (tmp_path / "larch-610.toml").write_text("model = 1", encoding="utf-8")
    assessor = AssessorCore(Catalogue(models=FolderModels(Folder(tmp_path))))
    assert assessor.ask(JobText("NPS 4 SCH 40", "20 ft"), ["changed"]).best == "in-range"
    with pytest.raises(FileError, match="larch-610"):
        assessor.ask(JobText("NPS 10 XS", "12 m"), ["changed"])
