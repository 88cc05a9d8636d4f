"""Stock that rolls on its supports: drag, walking, and the eccentric wall of seamless tube."""

import math
from typing import Final

import pytest
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.decision.decide import Decision
from cuttable.engine.inputs.stock import eccentricity
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.parse import read_job

CORE: Final = AssessorCore()
G: Final = 9.80665


def decided(text: JobText, model: str) -> Decision:
    """Decide one job on one model."""
    job, questions = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None, questions
    return CORE.engine.decide([job], [CORE.catalogue.machine(model)])


def measured(text: JobText, model: str, name: str, end: str = "nominal") -> float:
    """Return one measure."""
    return float(getattr(decided(text, model).measured, end)[name][0])


HEAVY: Final = JobText("NPS 12 STD", "12 m", grade="ASTM A53 B", bow="0 mm")
MASS: Final = 73.86 * 12  # kg, ASME B36.10M


def test_drag_of_rollers_grows_with_the_weight() -> None:
    """W R (f / r) / cos(half angle), alder-320: r = 60, 240 mm apart, f = 0.5 mm (handbooks)."""
    radius = 323.8 / 2
    cosine = math.cos(math.asin(120 / (radius + 60)))
    expected = MASS * G * radius / 1e3 * 0.5 / 60 / cosine
    assert expected == pytest.approx(14.0, abs=0.2)
    assert measured(HEAVY, "alder-320", "roller_drag") == pytest.approx(expected, rel=1e-3)
    half = HEAVY._replace(length="6 m")
    assert measured(half, "alder-320", "roller_drag") == pytest.approx(expected / 2, rel=1e-3)


def test_a_vee_cradle_drags_by_its_balls() -> None:
    """NPS 1-1/2 falls through the rollers of rowan-150 (26.. 44 mm): 2 % of W / sin 45 deg."""
    small = JobText("CHS 33.7x3.2 hf", "3 m", bow="0 mm")
    mass = measured(small, "rowan-150", "stock_mass")
    expected = mass * G * 0.0337 / 2 * 0.02 / math.sin(math.pi / 4)
    assert measured(small, "rowan-150", "roller_drag") == pytest.approx(expected, rel=1e-6)


def test_what_does_not_roll_has_no_drag_and_does_not_walk() -> None:
    """A square on lifting rests."""
    square = JobText("SHS 100x5 cf", "6 m", bow="0 mm")
    assert measured(square, "medlar-300", "roller_drag") == 0
    assert math.isnan(measured(square, "medlar-300", "axial_push"))


def test_rollers_out_of_line_push_along() -> None:
    """15 % of 886 kg: 1.3 kN; the jaws hold it together with the torque."""
    push = measured(HEAVY, "alder-320", "axial_push")
    assert push == pytest.approx(0.15 * MASS * G, rel=1e-3)
    assert push == pytest.approx(1300, rel=0.01)
    found = decided(HEAVY, "alder-320").measured.nominal
    torque = found["rotary_inertia"][0] * found["acceleration_setting"][0] + found["roller_drag"][0]
    asked = math.sqrt(push**2 + (torque / 0.1619) ** 2)
    held = 0.20 * 4 * found["jaw_force_setting"][0]
    assert found["walk_grip_factor"][0] == pytest.approx(held / asked, rel=1e-3)
    alone = JobText("NPS 3 SCH 40", "900 mm", bow="0 mm")
    assert math.isnan(measured(alone, "rowan-150", "axial_push"))


def test_jaws_that_do_not_hold_the_push_leave_the_job_in_range_with_a_stop() -> None:
    """Thin wet tube is held lightly: a stop or a mark to watch, and no refusal for it."""
    thin = JobText("tube 6 in x 0.065 in", "6 m", grade="ASTM A500 B", bow="0 mm", coating="wet")
    decision = decided(thin, "rowan-150")
    codes = {CORE.rule_set.rules[item.rule].code: item for item in decision.of(0).findings}
    assert decision.measured.heavy["walk_grip_factor"][0] < 1.5
    assert CORE.rule_set.rules[codes["WALK-01"].rule].outcome == "setting"
    assert "stop-or-mark" in decision.of(0).mitigations


def test_an_eccentric_wall_counts_for_seamless_rounds_at_the_heavy_end() -> None:
    """NPS 6 SCH 40: 10 % of the wall moves the centre 3.7 mm; 6.2 N m on 20 ft (statics)."""
    job, _ = read_job(
        JobText("NPS 6 SCH 40", "20 ft", grade="ASTM A106 B", bow="0 mm"),
        CORE.catalogue, CORE.rule_set.vocabulary,
    )  # fmt: skip
    assert job is not None
    off = eccentricity(job.section, job.grade, 0.10)
    assert off == pytest.approx(3.7, abs=0.05)
    assert 28.26 * 6.096 * G * off / 1e3 == pytest.approx(6.2, abs=0.1)
    text = JobText("NPS 6 SCH 40", "20 ft", grade="ASTM A106 B", bow="0 mm")
    decision = decided(text, "alder-320").measured
    assert decision.nominal["unbalance_torque"][0] == 0
    heavy = 1.10 * 28.26 * 6.096 * G * 0.6 * off / 1e3
    assert decision.heavy["unbalance_torque"][0] == pytest.approx(heavy, rel=2e-3)


@pytest.mark.parametrize(
    ("section", "grade"),
    [("NPS 6 SCH 40", "ASTM A500 B"), ("SHS 100x5 hf", "EN 10210 S355J2H")],
)
def test_welded_tube_and_flat_sides_have_no_eccentric_wall(section: str, grade: str) -> None:
    """A strip is as thick all round; flat sides are not counted."""
    text = JobText(section, "6 m", grade=grade, bow="0 mm")
    assert measured(text, "medlar-300", "unbalance_torque", "heavy") == 0


@pytest.mark.parametrize(
    ("section", "share"),
    [("SHS 100x5 cf", 0.0015), ("RHS 150x100x6 cf", 0.0015), ("CHS 168.3x8 cf", 0.002)],
)
def test_squares_and_rectangles_of_en_10219_are_straighter_than_rounds(
    section: str, share: float
) -> None:
    """EN 10219-2 (seen on pages that reproduce its table): 0.15 % against 0.20 % of the length."""
    text = JobText(section, "6 m", grade="EN 10219 S355J2H")
    assert measured(text, "medlar-300", "usual_bow") == pytest.approx(6000 * share)
    (answer,) = CORE.ask(text, ["medlar-300"]).verdicts
    assert f"{share * 100:g} % of the length" in " ".join(answer.job.assumptions)


def test_a_wall_of_a_large_cold_formed_round_is_ten_per_cent_at_most_two_millimetres() -> None:
    """EN 10219-2 above 406.4 mm, from memory of its table: 10 %, at most 2 mm."""
    for wall, minus in ((10.0, 1.0), (20.0, 2.0), (30.0, 2.0)):
        text = JobText(f"CHS 508x{wall:g}", "6 m", grade="EN 10219 S355J2H")
        assert measured(text, "larch-610", "thin_wall") == pytest.approx(wall - minus)
