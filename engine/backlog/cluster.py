"""Deciding on a cluster: the same partitions, sent to Dask workers that have the same rules.

A worker that is lost loses no row: the scheduler gives its partitions to another one.
"""

# Dask has no type information; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false
# pyright: reportUnknownArgumentType=false, reportMissingTypeStubs=false

from functools import lru_cache
from typing import Any, Final

import numpy as np

from ...catalogue.errors import CuttableError, InputError
from ...catalogue.machines.model import MachineModel
from ..assessor import AssessorCore
from ..decision.decide import Engine
from ..jobs.job_table import Index, JobTable
from .answer import Answers
from .workers import decide_rows, slim

PARTS_A_THREAD: Final = 2
"""Partitions for each thread of the cluster, so that a slow one holds up less."""


class Cluster:
    """Decides rows on the workers of a Dask scheduler."""

    def __init__(self, address: str, rules_digest: str) -> None:
        try:
            from distributed import Client
        except ImportError as fault:
            raise InputError(
                "option-needs",
                f"a cluster needs the package {fault.name}",
                remedy="Install it: pip install 'cuttable[cluster]'.",
            ) from None
        try:
            self._client: Any = Client(address, timeout=10, set_as_default=False)
        except (OSError, ValueError) as fault:
            raise InputError(
                "cluster-unreachable",
                f"no scheduler answers at {address!r} ({str(fault)[:80]})",
                remedy="Start one with 'dask scheduler', and name it like tcp://host:8786.",
            ) from None
        self._digest = rules_digest

    def decide(
        self, table: JobTable, machine: MachineModel, *, has_extra: bool, has_chance: bool = False
    ) -> list[tuple[Index, Answers]]:
        """Return answers with the rows they are for; together they are all rows."""
        threads = sum(self._client.nthreads().values())
        if not threads:
            raise InputError(
                "cluster-unreachable", "the scheduler has no worker",
                remedy="Start workers with 'dask worker ADDRESS'.",
            )  # fmt: skip
        owner = table.geometry % (threads * PARTS_A_THREAD)
        shares = [np.flatnonzero(owner == number) for number in np.unique(owner).tolist()]
        futures = [
            self._client.submit(
                decide_there, slim(table.take(rows)), machine, self._digest,
                has_extra=has_extra, has_chance=has_chance, pure=False,
            )
            for rows in shares
        ]  # fmt: skip
        found: list[tuple[Index, Answers]] = []
        for rows, parts in zip(shares, self._client.gather(futures), strict=True):
            found += [(rows[part], answers) for part, answers in parts]
        return found

    def close(self) -> None:
        """Leave the cluster; its workers go on."""
        self._client.close()


@lru_cache(maxsize=1)
def _engine() -> tuple[Engine, str]:
    assessor = AssessorCore()
    return assessor.engine, assessor.rule_set.digest


def decide_there(
    table: JobTable,
    machine: MachineModel,
    rules_digest: str,
    *,
    has_extra: bool,
    has_chance: bool = False,
) -> list[tuple[Index, Answers]]:
    """Decide a partition on a worker.

    Raises:
        CuttableError: ``cluster-differs`` where the worker has other rules.
    """
    engine, digest = _engine()
    if digest != rules_digest:
        raise CuttableError(
            "cluster-differs",
            "a worker of the cluster has other rules",
            remedy="Install the same version on every worker.",
        )
    return decide_rows(
        engine, table, machine, np.arange(table.rows), has_extra=has_extra, has_chance=has_chance
    )
