"""What would make it fit: longest stock, smallest model, accessories. On the real verdict."""

from collections.abc import Sequence

from ...catalogue.machines.model import MachineModel
from ..decision.decide import Engine
from ..decision.inference import RANK
from ..jobs.job import Job
from .windows import windows_of


def longest_lengths(engine: Engine, job: Job, machine: MachineModel) -> dict[str, float | None]:
    """Return the longest piece of the job's stock that is in range, and that is allowed.

    The far ends of the windows that :func:`.windows.windows_of` finds on the whole verdict. None
    where no length does.
    """
    found = windows_of(engine, job, machine)
    return {"in_range": found.longest_in_range, "allowed": found.longest_allowed}


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
