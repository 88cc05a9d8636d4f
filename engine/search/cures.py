"""What would make a refused job go, found by trying it: every cure is one the whole verdict gives.

All single changes are decided together, in one decision on arrays: first by the rules that do not
read supports, and what is left, the least change of each kind, as a whole. Only where none is
enough are the next ones tried, and pairs: what is fitted or cleaned, with each other change.
"""

import math
from collections.abc import Sequence
from itertools import groupby, islice
from typing import Final, NamedTuple

import numpy as np

from ...catalogue.machines.model import MachineModel
from ..answer.document import VERDICTS, Cure, CureChange, CureKind, Fit
from ..answer.wording import System
from ..decision.decide import Engine
from ..decision.inference import RANK
from ..jobs.job import Job
from ..jobs.job_table import table_of
from .moves import carrying
from .trials import Trial, fitting, planned, trials_of, unplanned
from .windows import windows_of

ORDER: Final[tuple[CureKind, ...]] = (
    "stations", "stock", "accessories", "grip", "order", "bow", "off-axis", "behind", "length",
    "parts", "model",
)  # fmt: skip
"""Kinds of changes, the least trouble first."""
AT_ONCE: Final = (1, 3)
"""How many of each kind are judged whole, supports planned, at first and if none is enough."""
RISING: Final[frozenset[CureKind]] = frozenset({"bow", "off-axis"})
"""Kinds whose trials get worse with their number: all below the one that is told do as well."""
MOST_PAIRS: Final = 2
ALLOWED: Final = RANK["conditions"]
OUTCOMES: Final = {rank: outcome for outcome, rank in RANK.items()}


class Refused(NamedTuple):
    """A job that a model refuses.

    Attributes:
        missing: accessories that are needed and not fitted.
        fit: what would fit, parts and stations aside.
        system: units that changes are typed in.
    """

    job: Job
    machine: MachineModel
    missing: Sequence[str]
    fit: Fit
    system: System


Pair = tuple[tuple[Trial, ...], Trial]
"""What is changed first, if anything, and the job with all changes."""


class Judged(NamedTuple):
    """A changed job and how bad its outcome is; ``base`` is what was changed first."""

    base: tuple[Trial, ...]
    trial: Trial
    rank: int


def cures_of(engine: Engine, refused: Refused) -> tuple[Cure, ...]:
    """Return what would make a refused job go, the least trouble first."""
    found = _Search(engine, refused).singles()
    if not found:
        found = _Search(engine, refused).pairs()
    return (*found, *_model(refused))


class _Search:
    def __init__(self, engine: Engine, refused: Refused) -> None:
        self._engine, self._refused = engine, refused
        self._job, self._machine = refused.job, refused.machine
        self._system: System = refused.system

    def singles(self) -> list[Cure]:
        """Return the best change of each kind that alone is enough."""
        lengths = self._refused.fit.lengths_allowed
        trials = self._carried(trials_of(self._job, self._machine, lengths, self._system))
        if self._job.stations:
            trials += self._planned(self._job)
        found = best_of(self._judged([((), trial) for trial in trials]))
        return [
            Cure(changes=(trial.change,), verdict=VERDICTS[OUTCOMES[rank]])
            for _, trial, rank in found
        ]

    def pairs(self) -> list[Cure]:
        """Return the best pairs of a change of the set-up or stock and another one."""
        pairs: list[Pair] = []
        for base in self._bases():
            job = base.job
            whole = job._replace(parts=(), cuts=(), stations=())
            # What is fitted or cleaned changes the lengths; where supports stand does not.
            lengths = (
                self._refused.fit.lengths_allowed
                if base.kind == "stations"
                else windows_of(self._engine, whole, self._machine).allowed
            )
            second = self._carried(trials_of(job, self._machine, lengths, self._system))
            pairs += [((base,), trial) for trial in second if trial.kind != base.kind]
        return [
            Cure(
                changes=(*(item.change for item in base), trial.change),
                verdict=VERDICTS[OUTCOMES[rank]],
            )
            for base, trial, rank in islice(best_of(self._judged(pairs)), MOST_PAIRS)
        ]

    def _bases(self) -> list[Trial]:
        """Return changes that, with another one, may be enough."""
        job, machine = self._job, self._machine
        offered = [code for code in self._refused.missing if code in machine.offered]
        supports = [
            item.code for item in machine.supports
            if job.section.shape in item.carries
            and item.code not in machine.fitted_as_delivered | job.fitted
        ]  # fmt: skip
        sets = dict.fromkeys((tuple(offered), tuple(supports)))
        found = [fitting(job, codes, float(len(codes))) for codes in sets if codes]
        if job.stations:
            found.append(unplanned(job))
        every = trials_of(job, machine, (), self._system)
        return found + [trial for trial in every if trial.kind == "stock"]

    def _planned(self, job: Job) -> list[Trial]:
        """Return the job with supports where the planner would put them."""
        decision = self._engine.decide([job._replace(stations=())], [self._machine])
        place = decision.frame.place
        if place is None or place[0] < 0 or decision.ranks[0] > ALLOWED:
            return []
        return [
            planned(job, decision.frame.places[int(place[0])], self._machine, self._system)
        ]  # fmt: skip

    def _carried(self, trials: Sequence[Trial]) -> list[Trial]:
        """Return trials without those moves of supports that do not carry."""
        kept = [trial for trial in trials if trial.kind != "stations"]
        moves = [trial for trial in trials if trial.kind == "stations"]
        for _, group in groupby(moves, key=lambda trial: len(trial.change.stations)):
            alike = list(group)
            stations = [trial.change.stations for trial in alike]
            ok = carrying(self._engine.rule_set, alike[0].job, self._machine, stations)
            kept += [trial for trial, does in zip(alike, ok.tolist(), strict=True) if does]
        return kept

    def _judged(self, pairs: Sequence[Pair]) -> list[Judged]:
        """Judge changed jobs whole: the least changes of each kind first."""
        bare = self._ranks([trial.job for _, trial in pairs], is_supported=False)
        left = _enough([Judged(*pair, rank) for pair, rank in zip(pairs, bare, strict=True)])
        left.sort(key=_effort)
        found: list[Judged] = []
        done = 0
        for most in AT_ONCE:
            some: list[Pair] = []
            for kind in ORDER:
                mine = [(base, trial) for base, trial, _ in left if trial.kind == kind]
                # What differs in bow or fitting only shares its supports: all of it at once.
                many = (0 if done else len(mine)) if kind in RISING else most
                some += mine[done : done + many]
            done += most
            ranks = self._ranks([trial.job for _, trial in some], is_supported=True)
            found += [Judged(*pair, rank) for pair, rank in zip(some, ranks, strict=True)]
            if any(item.rank <= ALLOWED for item in found):
                break
        return found

    def _ranks(self, jobs: Sequence[Job], *, is_supported: bool) -> list[int]:
        """Decide all jobs at once."""
        if not jobs:
            return []
        table = table_of(jobs, self._engine.rule_set.vocabulary)
        here = np.zeros(len(jobs), dtype=np.intp)
        decision = self._engine.decide_table(
            table, [self._machine], here, is_supported=is_supported
        )
        ranks: list[int] = decision.ranks.tolist()
        return ranks


def _effort(judged: Judged) -> float:
    return sum(item.effort for item in judged.base) + judged.trial.effort


def _enough(judged: Sequence[Judged]) -> list[Judged]:
    """Return what is enough; of rising numbers, up to the first that is not."""
    over: dict[tuple[int, CureKind], float] = {}
    for base, trial, rank in judged:
        if trial.kind in RISING and rank > ALLOWED:
            key = (id(base[0]) if base else 0, trial.kind)
            over[key] = min(over.get(key, math.inf), trial.change.most or 0.0)
    return [
        item for item in judged
        if item.rank <= ALLOWED
        and (item.trial.change.most or 0.0)
        < over.get((id(item.base[0]) if item.base else 0, item.trial.kind), math.inf)
    ]  # fmt: skip


def best_of(judged: Sequence[Judged]) -> list[Judged]:
    """Return of each kind what is enough and takes the least, in the order of kinds."""
    enough = _enough(judged)
    return [
        min(mine, key=_effort)
        for kind in ORDER
        if (mine := [item for item in enough if item.trial.kind == kind])
    ]


def _model(refused: Refused) -> list[Cure]:
    """Return the smallest model that takes the job as it is: found already."""
    fit = refused.fit
    for outcome, code in (
        ("setting", fit.smallest_model_in_range), ("conditions", fit.smallest_model_allowed),
    ):  # fmt: skip
        if code is not None:
            change = CureChange(kind="model", say={}, names=(code,))
            return [Cure(changes=(change,), verdict=VERDICTS[outcome])]
    return []
