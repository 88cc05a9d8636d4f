"""For which lengths a section is in range, allowed, refused, and what decides in each interval.

Every border is found on the verdict itself, supports planned, never on one formula.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...catalogue.machines.model import MachineModel
from ..arrays import Floats
from ..backlog.answer import Answers, answers_of
from ..decision.decide import Engine
from ..jobs.job import Geometry, Job
from ..jobs.job_table import Index, JobTable, table_of
from ..statics.stocks import grid_of

LONGEST: Final = 100_000.0
"""mm: how far is looked on a machine that states no longest stock."""

STEPS: Final = {"si": 10.0, "us": 12.7}
"""mm: intervals are told to 10 mm, or to half an inch."""


class Interval(NamedTuple):
    """Lengths from ``low`` to ``high`` (mm, both included) that get the same answer.

    Attributes:
        verdict: empty where a question stands before it.
        decided_by: the rule that decides; empty where it is in range.
        governing: the measure with the largest utilisation at the high end.
        utilisation: of that measure there, NaN for none.
        missing: accessories needed and not fitted.
    """

    low: float
    high: float
    verdict: str
    decided_by: str
    governing: str
    utilisation: float
    missing: str


class Judged(NamedTuple):
    """Answers at some lengths, and a number that is the same where the answer is."""

    lengths: Floats
    answers: Answers
    kind: Index


def length_intervals(
    engine: Engine, job: Job, machine: MachineModel, step: float, *, behind: float = 0.0
) -> list[Interval]:
    """Return the intervals of length for a section on a machine, shortest first.

    Parts, cuts and stations of the job are left out: they belong to one length. What the job
    says of bow, ends, contents, coating and accessories holds for every length.

    Args:
        engine: decides.
        job: section, grade and what is known of the stock.
        machine: the machine.
        step: mm; borders are found to this.
        behind: mm of every length that stand behind the chuck face.
    """
    return intervals_of([job], engine, machine, step, behind=behind)[0]


def intervals_of(
    jobs: Sequence[Job], engine: Engine, machine: MachineModel, step: float, *, behind: float = 0.0
) -> list[list[Interval]]:
    """Return the intervals of several jobs on a machine; lengths are planned together."""
    one = table_of(
        [job._replace(parts=(), cuts=(), stations=(), behind=0.0) for job in jobs],
        engine.rule_set.vocabulary,
    )
    search = _Search(engine, one, machine, step, behind)
    return [search.intervals(number) for number in range(len(jobs))]


class _Search:
    """Judges lengths where something can change, then halves between different neighbours.

    Within one pitch of the bed a longer piece only gets harder to carry, so its verdict can
    change once; a new station may make it easier again. So both ends of every pitch are
    judged, and what the rules say without supports at every step.
    """

    def __init__(
        self, engine: Engine, table: JobTable, machine: MachineModel, step: float, behind: float
    ) -> None:
        self._engine, self._table, self._machine = engine, table, machine
        self._behind = behind
        stated = machine.limit("stock_length").absolute
        longest = LONGEST if math.isnan(stated) else stated
        # One step beyond the end tells what decides there.
        self._steps: Floats = step * np.arange(
            math.floor(behind / step + 1e-9) + 1.0,
            math.floor((longest + behind) / step + 1e-9) + 2.0,
        )
        self._found = self._judge_ends()

    def intervals(self, number: int) -> list[Interval]:
        """Return the intervals of one job."""
        known = self._found[number]
        while True:
            middle = [
                (low + high) // 2
                for low, high in pairwise(sorted(known))
                if high > low + 1 and known[low][0][:3] != known[high][0][:3]
            ]
            if not middle:
                break
            self._judge(np.array([number]), np.array(middle, dtype=np.intp), known_of=[known])
        return self._joined(known)

    def _judge_ends(self) -> list[dict[int, tuple[tuple[str, ...], float]]]:
        """Judge every job at both ends of every pitch and where other rules change."""
        steps = self._steps
        stations = np.array(grid_of(self._machine), dtype=np.float64) + self._behind
        before = np.searchsorted(steps, stations, side="right") - 1
        places = {0, len(steps) - 1, *before.tolist(), *(before + 1).tolist()}
        jobs = np.arange(self._table.rows)
        every = np.repeat(jobs, len(steps))
        bare = self._answers(every, np.tile(np.arange(len(steps)), len(jobs)), is_supported=False)
        kinds = _kinds(bare).reshape(len(jobs), len(steps))
        changes = np.flatnonzero((np.diff(kinds, axis=1) != 0).any(axis=0))
        places |= {*changes.tolist(), *(changes + 1).tolist()}
        chosen = np.array(sorted(p for p in places if 0 <= p < len(steps)), dtype=np.intp)
        found: list[dict[int, tuple[tuple[str, ...], float]]] = [{} for _ in jobs]
        self._judge(jobs, chosen, known_of=found)
        return found

    def _judge(
        self,
        jobs: Index,
        places: Index,
        known_of: Sequence[dict[int, tuple[tuple[str, ...], float]]],
    ) -> None:
        """Judge some jobs at some steps and keep what came of it."""
        job = np.repeat(jobs, len(places))
        place = np.tile(places, len(jobs))
        answers = self._answers(job, place, is_supported=True)
        texts: list[list[str]] = []
        for name in ("verdict", "decided_by", "missing", "governing"):
            words, code = answers.words[name]
            codes: list[int] = code.tolist()
            texts.append([words[item] for item in codes])
        numbers = answers.numbers["utilisation"].tolist()
        row = 0
        for known in known_of:
            for step in places.tolist():
                kind = (texts[0][row], texts[1][row], texts[2][row])
                known[step] = ((*kind, texts[3][row]), numbers[row])
                row += 1

    def _answers(self, job: Index, place: Index, *, is_supported: bool) -> Answers:
        lengths = self._steps[place]
        distinct, geometry = np.unique(lengths, return_inverse=True)
        table = self._table.take(job)._replace(
            geometries=tuple(Geometry(length, self._behind) for length in distinct.tolist()),
            geometry=geometry,
        )
        decision = self._engine.decide_table(
            table, [self._machine], np.zeros(len(job), dtype=np.intp), is_supported=is_supported
        )
        return answers_of(self._engine, decision, has_extra=False)

    def _joined(self, known: dict[int, tuple[tuple[str, ...], float]]) -> list[Interval]:
        """Join neighbours of the same kind; the step beyond the end is dropped."""
        result: list[Interval] = []
        steps, low = self._steps, 0
        places = sorted(known)
        for place, following in zip(places, [*places[1:], -1], strict=True):
            (verdict, decided_by, missing, governing), used = known[place]
            if following >= 0 and known[following][0][:3] == (verdict, decided_by, missing):
                continue
            if place == places[-1] and place == len(steps) - 1:
                place -= 1  # noqa: PLW2901 - the step beyond the end
                if place < low:
                    break
            result.append(
                Interval(float(steps[low]), float(steps[place]), verdict, decided_by, governing,
                         used, missing)
            )  # fmt: skip
            low = place + 1
        return result


def _kinds(answers: Answers) -> NDArray[np.intp]:
    """Return a number for each row that is the same where verdict and rule are."""
    kind = np.zeros(len(answers.question), dtype=np.intp)
    for name in ("verdict", "decided_by", "missing"):
        texts, code = answers.words[name]
        kind = kind * len(texts) + code
    return kind
