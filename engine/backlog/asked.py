"""What is asked of a backlog, and what decides it."""

from typing import NamedTuple, Protocol

from ...catalogue.machines.model import MachineModel
from ..jobs.job_table import Index, JobTable
from .answer import Answers


class Asked(NamedTuple):
    """What is asked of a backlog.

    Attributes:
        machines: models that rows without a machine of their own are asked on.
        is_best: keep only the best answer of each job: the smallest model with the best verdict.
        has_numbers: add a column for every number of every mitigation.
        is_compared: add a number that differs where any measure does.
        is_by_code: a row that names one of ``machines`` by its code is asked on that one, whatever
            else has this code in the catalogue.
        open_to: how many of ``machines``, from the first, rows without a machine of their own are
            asked on; all without.
        has_chance: add columns for how likely delivered stock is over limits.
    """

    machines: tuple[MachineModel, ...]
    is_best: bool = False
    has_numbers: bool = False
    is_compared: bool = False
    is_by_code: bool = False
    open_to: int | None = None
    has_chance: bool = False

    @property
    def open_machines(self) -> tuple[MachineModel, ...]:
        """The models that rows without a machine of their own are asked on."""
        return self.machines[: self.open_to]


class Decider(Protocol):
    """What decides rows: processes here, or a cluster."""

    def decide(
        self, table: JobTable, machine: MachineModel, *, has_extra: bool, has_chance: bool = False
    ) -> list[tuple[Index, Answers]]:
        """Return answers with the rows they are for; together they are all rows."""
        ...

    def close(self) -> None:
        """Let go of what it holds."""
        ...
