"""What a range chart shows: for each section of a row of sizes, its intervals of length."""

from collections.abc import Sequence
from typing import NamedTuple

from ...catalogue.grades.grades import Grade
from ...catalogue.machines.model import MachineModel
from ...catalogue.tables.sections import Section
from ..decision.decide import Engine
from ..jobs.job import Job
from .lengths import Interval, intervals_of


class ChartRow(NamedTuple):
    """One section and its intervals, shortest first."""

    section: Section
    intervals: tuple[Interval, ...]


class Chart(NamedTuple):
    """One machine's range over sections, smallest first; ``longest`` is where its axis ends."""

    machine: MachineModel
    rows: tuple[ChartRow, ...]
    longest: float


def chart_of(
    sections: Sequence[tuple[Section, Grade]], engine: Engine, machine: MachineModel, step: float
) -> Chart:
    """Return the range of a machine over sections; borders are found to ``step`` mm."""
    jobs = [Job(section, grade, 1000.0) for section, grade in sections]
    found = intervals_of(jobs, engine, machine, step)
    rows = tuple(
        ChartRow(section, tuple(intervals))
        for (section, _), intervals in zip(sections, found, strict=True)
    )
    return Chart(machine, rows, max((item[-1].high for item in found if item), default=0.0))
