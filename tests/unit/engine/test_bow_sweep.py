"""What bowed stock sweeps: between supports, and at its free end on the chuck alone."""

from typing import Final

import numpy as np
import pytest
from cuttable.catalogue.machines.model import MachineModel
from cuttable.engine.answer.document import Answer
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job import Job
from cuttable.engine.jobs.parse import read_job

CORE: Final = AssessorCore()
PAIRS: Final = 300
SECTIONS: Final = (
    "NPS 1 SCH 40", "NPS 2 SCH 40", "NPS 4 SCH 40", "NPS 5 SCH 40", "NPS 6 SCH 40", "NPS 8 SCH 40",
    "NPS 10 STD", "NPS 12 STD", "NPS 14 STD", "NPS 24 STD", "tube 200 x 5 mm", "SHS 80x4 cf",
    "SHS 120x5 cf", "RHS 150x100x6 cf",
)  # fmt: skip


def fittings(machine: MachineModel) -> tuple[str, ...]:
    """Return all that a machine offers and that can be named as fitted."""
    return tuple(machine.offered.keys() & CORE.rule_set.vocabulary.accessories.keys())


def one(section: str, length: str, model: str, bow: str = "") -> Answer:
    """Return the verdict of one model; all that it offers is fitted."""
    machine = CORE.catalogue.machine(model)
    job = JobText(section, length, bow=bow, fitted=fittings(machine))
    return CORE.ask(job, [model]).verdicts[0]


def read(section: str, length: float, bow: float, fitted: tuple[str, ...]) -> Job:
    """Read a job."""
    text = JobText(section, f"{length:g} mm", bow=f"{bow:g} mm", fitted=fitted)
    job, questions = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None, questions
    return job


def test_the_free_end_on_the_chuck_alone_sweeps_eight_bows_more() -> None:
    """NPS 12 (323.8 mm) under a head that clears 425 mm: 12.65 mm of bow, and not 13 mm."""
    fits, strikes = (one("NPS 12 STD", "1 m", "alder-320", bow) for bow in ("12 mm", "13 mm"))
    assert not fits.setup.supports
    assert fits.measures["tip_sweep"].value == pytest.approx(323.8 + 96)
    assert strikes.measures["tip_sweep"].value == pytest.approx(323.8 + 104)
    assert fits.verdict == "oversize-allowed-with-conditions"
    assert strikes.verdict == "refused"
    assert strikes.decided_by == "BOW-09"


def test_stock_on_supports_has_no_free_end_of_that_kind() -> None:
    """There the middle sweeps, by twice the bow."""
    answer = one("NPS 12 STD", "6 m", "alder-320", "13 mm")
    assert answer.setup.supports
    assert "tip_sweep" not in answer.measures
    assert answer.measures["bowed_sweep"].value == pytest.approx(323.8 + 26)
    assert answer.verdict != "refused"


def test_the_bow_to_refuse_is_the_least_that_clears() -> None:
    """A bow that is not known refuses nothing: it is told up to where the free end clears.

    Round of 410 mm under 425 mm: 15 / 8 mm, and with the mill's 1 % on the diameter 10.9 / 8 mm,
    both down to 1 mm; 0.2 % of 1.5 m would be 3 mm.
    """
    told = one("tube 410 x 8 mm", "1.5 m", "alder-320")
    assert not told.setup.supports
    assert told.measures["usual_bow"].value == pytest.approx(3.0)
    assert told.measures["tip_bow"].value == 1.0
    assert told.setup.bow_to_refuse == 1.0
    assert "BOW-11" in {item.rule for item in told.findings}
    assert told.verdict == "oversize-allowed-with-conditions"
    asked = {item.code for item in told.mitigations}
    assert "measure-free-end" in asked
    assert not asked & {"measure-bow", "check-bow"}
    assert one("tube 410 x 8 mm", "1.5 m", "alder-320", "3 mm").decided_by == "BOW-09"


def test_more_bow_never_makes_a_verdict_better() -> None:
    """Three hundred pairs of jobs alike but for the bow, on every kind of model and length."""
    dice = np.random.default_rng(20261128)
    models = list(CORE.catalogue.machines.values())
    machines = [models[int(number)] for number in dice.integers(0, len(models), PAIRS)]
    jobs: list[list[Job]] = [[], []]
    for machine in machines:
        section = str(dice.choice(SECTIONS))
        length = round(float(dice.choice([dice.uniform(500, 2500), dice.uniform(2500, 12000)])))
        fitted = fittings(machine) if dice.random() < 0.8 else ()
        less, more = sorted(float(item) for item in dice.uniform(0, 1, 2) ** 2 * 40)
        for side, bow in zip(jobs, (less, more), strict=True):
            side.append(read(section, length, round(bow, 1), fitted))
    before, after = (CORE.engine.decide(side, machines) for side in jobs)
    assert np.all(before.ranks <= after.ranks)
    assert np.sum(before.ranks < after.ranks) >= 20
    is_alone = np.isfinite(after.measured.nominal["tip_sweep"])
    assert np.sum(is_alone & (before.ranks < after.ranks)) >= 5
