"""Intervals of length against judging every step; sections of a table at one length."""

import random
from itertools import pairwise

import numpy as np
import pytest
from cuttable.catalogue.tables.families import FAMILIES
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.backlog.answer import answers_of
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job import Geometry, Job
from cuttable.engine.jobs.job_table import table_of
from cuttable.engine.jobs.parse import grade_of, read_job
from cuttable.engine.search.chart import chart_of
from cuttable.engine.search.lengths import STEPS, Interval, length_intervals
from cuttable.engine.search.section_range import section_range

CORE = AssessorCore()
MACHINES = list(CORE.catalogue.machines.values())
SECTIONS = [
    "NPS 1 SCH 40", "NPS 3 XS", "NPS 4 SCH 40", "NPS 5 STD", "NPS 8 SCH 60", "NPS 10 XS",
    "NPS 12 STD", "NPS 20 SCH 10", "tube 20 x 1 mm", "tube 35 x 1.5 mm", "tube 200 x 3 mm",
    "SHS 100x5 cf", "RHS 150x100x6 cf", "HSS 6x4x1/4",
]  # fmt: skip


def job_of(section: str, **more: str) -> Job:
    job, _ = read_job(JobText(section, "1 m", **more), CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None
    return job


def every_step(job: Job, machine: object, step: float, count: int) -> list[tuple[str, str]]:
    """Return verdict and deciding rule at every step, each planned by itself."""
    one = table_of([job], CORE.rule_set.vocabulary)
    lengths = step * np.arange(1.0, count + 1.0)
    table = one.take(np.zeros(count, dtype=np.intp))._replace(
        geometries=tuple(Geometry(length) for length in lengths.tolist()),
        geometry=np.arange(count),
    )
    decision = CORE.engine.decide_table(table, [machine], np.zeros(count, dtype=np.intp))
    words = answers_of(CORE.engine, decision, has_extra=False).words
    columns = []
    for name in ("verdict", "decided_by"):
        texts, code = words[name]
        columns.append([texts[place] for place in code.tolist()])
    return list(zip(*columns, strict=True))


def told_at(intervals: list[Interval], length: float) -> tuple[str, str]:
    found = [item for item in intervals if item.low - 1e-6 <= length <= item.high + 1e-6]
    assert len(found) == 1, length
    return found[0].verdict, found[0].decided_by


@pytest.mark.parametrize("seed", range(10))
def test_intervals_are_those_of_judging_every_step(seed: int) -> None:
    """Ten random sections and machines, 10 mm or half an inch: the same at every step."""
    dice = random.Random(seed)
    section, machine = dice.choice(SECTIONS), dice.choice(MACHINES)
    step = dice.choice(list(STEPS.values()))
    job = job_of(section)
    intervals = length_intervals(CORE.engine, job, machine, step)
    count = round(intervals[-1].high / step)
    for place, expected in enumerate(every_step(job, machine, step, count)):
        assert told_at(intervals, step * (place + 1)) == expected, (section, machine.code)


@pytest.mark.parametrize("machine", MACHINES, ids=lambda item: item.code)
def test_intervals_follow_each_other_without_a_gap(machine: object) -> None:
    """From the first step to the longest stock the bed takes; neighbours differ."""
    for section in SECTIONS:
        intervals = length_intervals(CORE.engine, job_of(section), machine, 10.0)
        assert intervals[0].low == 10.0
        assert intervals[-1].high == machine.limit("stock_length").absolute
        for first, second in pairwise(intervals):
            assert second.low == first.high + 10.0
            assert (first.verdict, first.decided_by, first.missing) != (
                second.verdict, second.decided_by, second.missing,
            )  # fmt: skip


def test_borders_are_those_of_check() -> None:
    """The last length in range is; ten millimetres more are not."""
    intervals = length_intervals(
        CORE.engine, job_of("NPS 10 XS"), CORE.catalogue.machine("alder-320"), 10.0
    )
    last = next(item for item in intervals if item.verdict == "in-range").high
    for length, expected in ((last, "in-range"), (last + 10, "oversize-allowed-with-conditions")):
        answer = CORE.ask(JobText("NPS 10 XS", f"{length} mm"), ["alder-320"])
        assert answer.verdicts[0].verdict == expected


def test_what_is_said_of_the_stock_holds_for_every_length() -> None:
    """Sealed ends are refused at every length; galvanising shortens the range."""
    machine = CORE.catalogue.machine("alder-320")
    sealed = length_intervals(CORE.engine, job_of("NPS 4 SCH 40", ends="sealed"), machine, 10.0)
    assert {item.verdict for item in sealed} == {"refused"}
    plain, zinc = (
        next(
            item.high
            for item in length_intervals(CORE.engine, job_of("NPS 10 XS", **more), machine, 10.0)
            if item.decided_by == "INER-03"
        )
        for more in ({}, {"coating": "galvanised"})
    )
    assert zinc < plain


@pytest.mark.parametrize("family", FAMILIES)
def test_the_sections_of_a_family_get_the_verdict_of_check(family: str) -> None:
    """All in one decision: each as if it were asked alone."""
    members = FAMILIES[family](CORE.catalogue.tables)
    stocks = [
        (item.section, grade_of(None, item.section, CORE.catalogue).grade) for item in members
    ]
    for machine in MACHINES[:2]:
        found = section_range(stocks, CORE.engine, machine, 6000.0)
        assert len(found) == len(members) > 20
        for place in random.Random(3).sample(range(len(members)), 6):
            section, grade = stocks[place]
            answer = CORE.answer(Job(section, grade, 6000.0), [machine], system="si", is_all=False)
            verdict = answer.verdicts[0]
            assert (found[place].verdict, found[place].decided_by) == (
                verdict.verdict, verdict.decided_by or "",
            )  # fmt: skip


def test_a_chart_has_the_intervals_of_each_section() -> None:
    """Planned together or alone: the same."""
    machine = CORE.catalogue.machine("medlar-300")
    stocks = [(job_of(name).section, job_of(name).grade) for name in SECTIONS[-3:]]
    chart = chart_of(stocks, CORE.engine, machine, 10.0)
    for name, row in zip(SECTIONS[-3:], chart.rows, strict=True):
        assert list(row.intervals) == length_intervals(CORE.engine, job_of(name), machine, 10.0)
    assert chart.longest == 9600.0
