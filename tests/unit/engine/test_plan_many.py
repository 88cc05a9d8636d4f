"""Plans for many lengths at once are those of one length at a time, to the last bit."""

import numpy as np
import pytest
from cuttable.catalogue.machines.model import MachineModel
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.inputs import supports
from cuttable.engine.inputs.figures import figures_of
from cuttable.engine.jobs.job import Geometry, Job
from cuttable.engine.jobs.job_table import table_of
from cuttable.engine.jobs.parse import grade_of
from cuttable.engine.statics import support_plan, support_plan_many
from cuttable.engine.statics.stocks import Keyed, usable_supports
from cuttable.engine.statics.support_loads import Carrier
from cuttable.engine.statics.support_plan import find_plans
from cuttable.engine.statics.support_plan_many import plan_many

CORE = AssessorCore()
MACHINES = list(CORE.catalogue.machines.values())
FIGURES = figures_of(CORE.rule_set)


@pytest.mark.parametrize("pitch", [1.0, 0.5])
@pytest.mark.parametrize("machine", MACHINES, ids=lambda item: item.code)
def test_what_is_settled_is_what_the_planner_finds(machine: MachineModel, pitch: float) -> None:
    """Random lengths, weights and stiffnesses: the same stations and the same numbers, or left.

    On a finer grid too, where the planner may look through a part of what there is.
    """
    dice = np.random.default_rng(11)
    bed = machine.bed._replace(station_pitch=machine.bed.station_pitch * pitch)
    machine = machine._replace(bed=bed, digest=f"{machine.digest} {pitch}")
    outside = 300.0 if machine.code == "larch-610" else 114.3
    usable = usable_supports(
        Keyed(machine), machine.fitted_as_delivered, "round", outside, FIGURES
    ).best_seated()
    rows = 300
    longest = machine.limit("stock_length").absolute
    length = dice.uniform(200.0, longest, rows).round(3)
    # Some exactly at a station, at the end of the bed, at an overhang beyond a station.
    length[:6] = [machine.bed.first_station, longest, 2400.0, 3000.0, 4800.0, 6000.0]
    weight, stiffness = 10 ** dice.uniform(-2, 0.5, rows), 10 ** dice.uniform(9, 13, rows)
    bed = Carrier(machine, Geometry(1.0), usable, FIGURES).bed(usable, ())
    found = plan_many(bed, length, weight, stiffness)
    if pitch == 1.0:
        assert found.is_settled.mean() > 0.5
    for row in np.flatnonzero(found.is_settled).tolist():
        one = Carrier(machine, Geometry(float(length[row])), usable, FIGURES).bed(usable, ())
        plans = find_plans(one, weight[row : row + 1], stiffness[row : row + 1])
        choice = plans.choices[int(plans.which[0])]
        stations = found.stations[row, : found.supports[row]]
        assert choice.level == "rated"
        assert choice.stations == tuple(stations.tolist())
        for name in ("span", "overhang", "sag", "chuck_reaction", "chuck_moment",
                     "support_reaction", "support_share"):  # fmt: skip
            assert getattr(choice.unit, name)[0] == found.demands[name][row], name


@pytest.mark.parametrize("machine", MACHINES, ids=lambda item: item.code)
def test_decisions_do_not_depend_on_it(
    machine: MachineModel, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Six hundred jobs decided with it and without it: every column of the frame the same."""
    dice = np.random.default_rng(5)
    sections = [
        row.section()
        for row in CORE.catalogue.tables.pipes.values()
        if row.standard == "ASME B36.10M" and row.od_in <= 20
    ]
    jobs = [
        Job(section, grade_of(None, section, CORE.catalogue).grade, float(length))
        for section, length in zip(
            [sections[place] for place in dice.integers(0, len(sections), 600)],
            dice.uniform(900, machine.limit("stock_length").absolute, 600).round(2),
            strict=True,
        )
    ]
    table = table_of(jobs, CORE.rule_set.vocabulary)
    which = np.zeros(len(jobs), dtype=np.intp)
    fast = CORE.engine.decide_table(table, [machine], which)
    monkeypatch.setattr(supports, "MANY", 10**9)
    slow = CORE.engine.decide_table(table, [machine], which)
    assert (fast.ranks == slow.ranks).all()
    for kind in ("given", "heavy", "facts", "numbers"):
        for name, column in getattr(slow.frame, kind).items():
            np.testing.assert_array_equal(getattr(fast.frame, kind)[name], column, err_msg=name)
    for row in range(len(jobs)):
        first, second = (
            item.frame.places[int(item.frame.place[row])] if item.frame.is_carried[row] else ()
            for item in (fast, slow)
        )
        assert first == second


def test_what_the_planner_looks_at_in_part_is_left_to_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where there are more combinations than it looks at, its coarser grid stands."""
    machine = CORE.catalogue.machine("medlar-300")
    monkeypatch.setattr(support_plan, "MOST_CANDIDATES", 5)
    monkeypatch.setattr(support_plan_many, "MOST_CANDIDATES", 5)
    support_plan._menu.cache_clear()
    usable = usable_supports(
        Keyed(machine), machine.fitted_as_delivered, "round", 114.3, FIGURES
    ).best_seated()
    length = np.random.default_rng(3).uniform(2000.0, 9000.0, 200).round(1)
    weight, stiffness = np.full(200, 0.16), np.full(200, 6e11)
    bed = Carrier(machine, Geometry(1.0), usable, FIGURES).bed(usable, ())
    found = plan_many(bed, length, weight, stiffness)
    assert 0 < found.is_settled.sum() < 200
    for row in np.flatnonzero(found.is_settled).tolist():
        one = Carrier(machine, Geometry(float(length[row])), usable, FIGURES).bed(usable, ())
        (choice,) = find_plans(one, weight[:1], stiffness[:1]).choices
        assert choice.stations == tuple(found.stations[row, : found.supports[row]].tolist())
    support_plan._menu.cache_clear()


@pytest.mark.parametrize("few", [1, 2])
def test_equals_that_are_not_looked_at_are_not_passed_over(
    monkeypatch: pytest.MonkeyPatch, few: int
) -> None:
    """Light and stiff stock makes many combinations equal: the first in order stands, or none."""
    machine = CORE.catalogue.machine("medlar-300")
    for name in ("LISTED", "RATED", "MORE"):
        monkeypatch.setattr(support_plan_many, name, few)
    usable = usable_supports(
        Keyed(machine), machine.fitted_as_delivered, "round", 114.3, FIGURES
    ).best_seated()
    length = np.random.default_rng(4).uniform(2000.0, 9000.0, 300).round(-1)
    weight, stiffness = np.full(300, 0.02), np.full(300, 5e13)
    bed = Carrier(machine, Geometry(1.0), usable, FIGURES).bed(usable, ())
    found = plan_many(bed, length, weight, stiffness)
    for row in np.flatnonzero(found.is_settled).tolist():
        one = Carrier(machine, Geometry(float(length[row])), usable, FIGURES).bed(usable, ())
        (choice,) = find_plans(one, weight[:1], stiffness[:1]).choices
        assert choice.stations == tuple(found.stations[row, : found.supports[row]].tolist())
    assert found.is_settled.any()
