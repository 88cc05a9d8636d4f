"""Plans for many lengths at once are those of one length at a time, to the last bit."""

import numpy as np
import pytest
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.inputs import supports
from cuttable.engine.inputs.figures import figures_of
from cuttable.engine.jobs.job import Geometry, Job
from cuttable.engine.jobs.job_table import table_of
from cuttable.engine.jobs.parse import grade_of
from cuttable.engine.statics.support_loads import Carrier, Keyed, usable_supports
from cuttable.engine.statics.support_plan import find_plans
from cuttable.engine.statics.support_plan_many import plan_many

CORE = AssessorCore()
MACHINES = list(CORE.catalogue.machines.values())
FIGURES = figures_of(CORE.rule_set)


@pytest.mark.parametrize("machine", MACHINES, ids=lambda item: item.code)
def test_what_is_settled_is_what_the_planner_finds(machine: object) -> None:
    """Random lengths, weights and stiffnesses: the same stations and the same numbers, or left."""
    dice = np.random.default_rng(11)
    outside = 300.0 if machine.code == "larch-610" else 114.3
    usable = usable_supports(
        Keyed(machine), machine.fitted_as_delivered, "round", outside, FIGURES
    ).best_seated()
    rows = 300
    longest = machine.limit("stock_length").absolute
    length = dice.uniform(0.5 * machine.limit("overhang").rated, longest, rows).round(3)
    # Some exactly at a station, at the end of the bed, at an overhang beyond a station.
    length[:6] = [machine.bed.first_station, longest, 2400.0, 3000.0, 4800.0, 6000.0]
    weight, stiffness = dice.uniform(0.01, 0.8, rows), 10 ** dice.uniform(10, 13, rows)
    bed = Carrier(machine, Geometry(1.0), usable, FIGURES).bed(usable, ())
    found = plan_many(bed, length, weight, stiffness)
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
def test_decisions_do_not_depend_on_it(machine: object, monkeypatch: pytest.MonkeyPatch) -> None:
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
