"""An emergency stop: the torque that jaws and tabs take, worked by hand."""

import math
from pathlib import Path
from typing import Final

import numpy as np
import pytest
from cuttable import catalogue as models
from cuttable.catalogue.machines.model import MachineModel
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.decision.decide import Decision
from cuttable.engine.inputs.figures import figures_of
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job import Job
from cuttable.engine.jobs.job_table import geometry_of
from cuttable.engine.jobs.parse import read_job
from cuttable.engine.statics.stocks import Keyed, stock_numbers, stocks_of, usable_supports
from cuttable.engine.statics.support_loads import Carrier
from hypothesis import given, settings
from hypothesis import strategies as st

CORE: Final = AssessorCore()
MODELS: Final = Path(models.__file__).parent / "models"
ROWAN: Final = CORE.catalogue.machine("rowan-150")
UNSTATED: Final = ROWAN._replace(
    rotary=ROWAN.rotary._replace(stop_torque=math.nan, stop_time=math.nan)
)


def job_of(text: JobText) -> Job:
    """Read a job that leaves nothing open."""
    job, questions = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None, questions
    return job


def braking(torque: float) -> MachineModel:
    """rowan-150 with an emergency stop of this torque, N m."""
    rotary = ROWAN.rotary._replace(stop_torque=torque, stop_time=math.nan)
    return ROWAN._replace(rotary=rotary, digest=f"braking-{torque}")


def decided(text: JobText, machine: MachineModel) -> Decision:
    """Decide one job on one machine."""
    return CORE.engine.decide([job_of(text)], [machine])


STRAIGHT: Final = JobText("NPS 4 SCH 40", "3 m", grade="ASTM A53 B", bow="0 mm")
# NPS 4 SCH 40 (114.3 x 6.02 mm): 16.08 kg/m, J = m (Ro^2 + Ri^2) / 2.
INERTIA: Final = 16.08 * 3 * (0.05715**2 + 0.05113**2) / 2


def test_jaws_take_the_share_of_the_stock_in_the_braking_torque() -> None:
    """60 N m on 0.60 kg m^2 of chuck and 0.142 of stock: 60 x 0.142 / 0.742 = 11.5 N m."""
    measured = decided(STRAIGHT, braking(60)).measured
    expected = 60 * INERTIA / (0.60 + INERTIA)
    assert expected == pytest.approx(11.5, abs=0.1)
    assert measured.nominal["stop_jaw_torque"][0] == pytest.approx(expected, rel=2e-3)
    held = 0.20 * 3 * measured.nominal["jaw_force_setting"][0] * 0.05715
    factor = measured.nominal["stop_grip_factor"][0]
    assert factor == pytest.approx(held / expected, rel=2e-3)


def test_a_stated_time_is_that_of_rated_stock_and_the_harder_stop_counts() -> None:
    """45 rpm in 0.4 s with 0.60 + J_rated kg m^2; a stated torque counts where it is more."""
    rated = ROWAN.limit("rotary_inertia").rated
    by_time = (0.60 + rated) * 45 * 2 * math.pi / 60 / 0.4
    assert ROWAN.stop_torque == pytest.approx(by_time, rel=1e-9)
    for torque in (0.5 * by_time, 2 * by_time):
        both = ROWAN._replace(rotary=ROWAN.rotary._replace(stop_torque=torque))
        assert both.stop_torque == pytest.approx(max(torque, by_time), rel=1e-9)


def test_a_stop_that_is_not_stated_is_told_once_and_decides_nothing() -> None:
    """No number of it, no finding, and a line that says it was not assessed."""
    decision = decided(STRAIGHT, UNSTATED)
    assert np.isnan(decision.measured.heavy["stop_grip_factor"][0])
    assert "emergency_stop" in CORE.rule_set.vocabulary.not_assessed
    rules = {CORE.rule_set.rules[found.rule].code for found in decision.of(0).findings}
    assert "STOP-01" not in rules


def test_the_answer_says_that_a_stop_was_not_assessed(tmp_path: Path) -> None:
    """A machine file that leaves it out is as good as before, and the answer says what it lacks."""
    text = (MODELS / "rowan-150.toml").read_text(encoding="utf-8")
    text = text.replace("stop_time ", "# stop_time ")
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    for model, left_out in (("rowan-150", False), (str(path), True)):
        (answer,) = CORE.ask(STRAIGHT, [model]).verdicts
        assert ("emergency_stop" in answer.not_assessed) is left_out


def torque_on_tabs(machine: MachineModel, text: JobText) -> tuple[float, float]:
    """Return N mm on the tabs of the first part, and their width in mm (NaN: none holds)."""
    job = job_of(text)
    figures = figures_of(CORE.rule_set)
    usable = usable_supports(
        Keyed(machine), machine.fitted_as_delivered, "round", job.section.height, figures
    )
    carrier = Carrier(machine, geometry_of(job), usable, figures)
    stocks = stocks_of(np.array([stock_numbers(job.section, job.grade, 0.0)]))
    piece = carrier.free[0]
    return float(carrier.torque(stocks, piece)[0]), float(carrier.tabs(stocks, piece).width[0])


def test_tabs_take_the_stop_where_it_is_harder_than_the_ramp() -> None:
    """A part of 1 m of a bar of 3 m takes its inertia over that of chuck and stock, of 600 N m."""
    text = STRAIGHT._replace(parts=["1 m"])
    trim = ROWAN.cutting.trim / 1e3
    per_metre = 1.1 * INERTIA / 3  # heavy: mass +10 % (ASTM A53)
    ramp = per_metre * ROWAN.rotary.acceleration
    share = per_metre / (0.60 + per_metre * (3 - trim))
    for machine, expected in (
        (UNSTATED, ramp), (braking(1.0), ramp), (braking(600), 600 * share),
    ):  # fmt: skip
        assert torque_on_tabs(machine, text)[0] == pytest.approx(1e3 * expected, rel=2e-3)


def test_tabs_are_wider_or_refused_where_the_stop_asks_for_more() -> None:
    """Ten times the braking torque: never narrower tabs, and at last none that holds."""
    text = STRAIGHT._replace(parts=["1 m"])
    widths = [torque_on_tabs(braking(torque), text)[1] for torque in (1, 3e3, 3e4, 3e6)]
    assert widths[0] < widths[1]
    assert math.isnan(widths[-1])
    at = [f"{0.6 + 0.15 * number:g} m" for number in range(6)]
    text = text._replace(stations=at)  # all there are, none under the part
    assert decided(text, braking(3e6)).measured.nominal["unheld_parts"][0] == 1
    assert decided(text, braking(1)).measured.nominal["unheld_parts"][0] == 0


@settings(deadline=None, max_examples=30)
@given(st.floats(5, 500), st.floats(1, 3))
def test_a_harder_stop_never_holds_better(torque: float, factor: float) -> None:
    """Monotone: more braking torque, more on the jaws and no better grip."""
    soft, hard = (decided(STRAIGHT, braking(item)).measured for item in (torque, torque * factor))
    assert hard.heavy["stop_jaw_torque"][0] >= soft.heavy["stop_jaw_torque"][0]
    assert hard.heavy["stop_grip_factor"][0] <= soft.heavy["stop_grip_factor"][0]


def test_catalogue_machines_state_their_stop() -> None:
    """Every shipped machine says how hard it brakes, harder than its ramp."""
    for machine in CORE.catalogue.machines.values():
        turning = machine.rotary.fixed_inertia + machine.limit("rotary_inertia").rated
        assert machine.stop_torque > turning * machine.rotary.acceleration
