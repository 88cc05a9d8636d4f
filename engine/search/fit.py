"""What would make it fit: longest stock, smallest model, accessories. On the real verdict."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...catalogue.machines.model import MachineModel
from ..arrays import Floats
from ..decision.decide import Engine
from ..decision.inference import RANK
from ..jobs.job import Geometry, Job
from ..jobs.job_table import table_of

COARSE: Final = 10.0  # mm
FINE: Final = 1.0  # mm
LONGEST: Final = 100_000.0  # mm


def longest_lengths(engine: Engine, job: Job, machine: MachineModel) -> dict[str, float | None]:
    """Return the longest piece of the job's stock that is in range, and that is allowed.

    Every length on a grid is judged by all rules but those on supports, and the last step is
    refined to 1 mm. The longest one found is then planned with its supports and judged by the
    whole rule set; where that does not hold, shorter ones are tried by halving. So the result
    is one that the verdict itself gives. Parts, cuts and stations are left out of the
    question: they belong to one length. None where no length does.
    """
    bare = job._replace(parts=(), cuts=(), stations=())
    stated = machine.limit("stock_length").absolute
    longest = LONGEST if math.isnan(stated) else stated
    grid = np.arange(COARSE, longest + COARSE / 2, COARSE)
    if grid[-1] < longest:
        grid = np.append(grid, longest)
    grid[-1] = min(grid[-1], longest)
    ranks = _ranks(engine, bare, machine, grid)
    found: dict[str, float | None] = {}
    for name, outcome in (("in_range", "setting"), ("allowed", "conditions")):
        places = np.flatnonzero(ranks <= RANK[outcome])
        if not places.size:
            found[name] = None
            continue
        last = float(grid[places[-1]])
        fine = np.arange(last, min(last + COARSE, longest) + FINE / 2, FINE)
        good = np.flatnonzero(_ranks(engine, bare, machine, fine) <= RANK[outcome])
        lengths = np.append(grid[places], fine[good[-1]])
        found[name] = _longest_supported(engine, bare, machine, lengths, RANK[outcome])
    return found


def _longest_supported(
    engine: Engine, job: Job, machine: MachineModel, lengths: Floats, rank: int
) -> float | None:
    """Return the longest of ``lengths`` (ascending) that supports carry too."""

    def is_good(length: float) -> bool:
        piece = job._replace(length=length)
        return int(engine.decide([piece], [machine]).ranks[0]) <= rank

    if is_good(float(lengths[-1])):
        return float(lengths[-1])
    low, high = -1, len(lengths) - 1  # what is good below low is not known to be bad
    while high - low > 1:
        middle = (low + high) // 2
        if is_good(float(lengths[middle])):
            low = middle
        else:
            high = middle
    return None if low < 0 else float(lengths[low])


def _ranks(engine: Engine, job: Job, machine: MachineModel, lengths: Floats) -> NDArray[np.int8]:
    """Return how bad each length is, supports left out."""
    one = table_of([job], engine.rule_set.vocabulary)
    rows = len(lengths)
    table = one.take(np.zeros(rows, dtype=np.intp))._replace(
        geometries=tuple(Geometry(length, job.behind) for length in lengths.tolist()),
        geometry=np.arange(rows),
    )
    return engine.decide_table(
        table, [machine], np.zeros(rows, dtype=np.intp), is_supported=False
    ).ranks


def smallest_models(
    engine: Engine, job: Job, machines: Sequence[MachineModel]
) -> dict[str, str | None]:
    """Return the first of ``machines`` that has the job in range, and that allows it."""
    ranks = engine.decide([job] * len(machines), machines).ranks
    return {
        name: next(
            (
                machine.code
                for machine, rank in zip(machines, ranks, strict=True)
                if rank <= RANK[outcome]
            ),
            None,
        )
        for name, outcome in (("in_range", "setting"), ("allowed", "conditions"))
    }


def with_accessories(
    engine: Engine, job: Job, machine: MachineModel, missing: Sequence[str]
) -> tuple[str, ...]:
    """Return the accessories that, fitted together, would turn a refusal into a yes.

    Empty where they would not, or are not offered for this model.
    """
    offered = [code for code in missing if code in machine.offered]
    if not offered or len(offered) < len(missing):
        return ()
    fitted = job._replace(fitted=job.fitted | set(offered))
    rank = int(engine.decide([fitted], [machine]).ranks[0])
    return tuple(offered) if rank <= RANK["conditions"] else ()


def more_supports(job: Job, machine: MachineModel) -> tuple[str, ...]:
    """Return supports offered for this shape and not fitted, which might make a plan possible."""
    fitted = machine.fitted_as_delivered | job.fitted
    return tuple(
        support.code
        for support in machine.supports
        if job.section.shape in support.carries and support.code not in fitted
    )
