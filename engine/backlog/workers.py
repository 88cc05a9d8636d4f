"""Deciding on several processors: each worker keeps the plans of the lengths that are its own.

Workers are forked, so that they share catalogue and rules; where that is not safe (anywhere but
on Linux) there are none. Rows go to a worker by their
geometry, which is what plans are kept by; what comes back does not depend on how many there are.
"""

import multiprocessing
import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import Any, Final

import numpy as np

from ...catalogue.errors import CuttableError
from ...catalogue.machines.model import MachineModel
from ..decision.decide import Engine
from ..jobs.job_table import Index, JobTable
from .answer import Answers, answers_of

AT_ONCE: Final = 65_536
"""Rows decided at a time: what a decision needs then stays in the processor's cache."""

WORTH_SHARING: Final = 4_000
"""Rows from which sending them to another process pays."""


class Workers:
    """Decides rows here and in ``count - 1`` other processes."""

    def __init__(self, engine: Engine, count: int | None = None) -> None:
        self._engine = engine
        self._count = (count or _processors()) if sys.platform == "linux" else 1
        self._others: list[tuple[Any, Any]] = []

    def decide(
        self, table: JobTable, machine: MachineModel, *, has_extra: bool, has_chance: bool = False
    ) -> list[tuple[Index, Answers]]:
        """Return answers with the rows they are for; together they are all rows."""
        every = np.arange(table.rows)
        if self._count == 1 or table.rows < WORTH_SHARING:
            return self._here(table, machine, every, has_extra=has_extra, has_chance=has_chance)
        self._start()
        owner = table.geometry % self._count
        shares = [np.flatnonzero(owner == number) for number in range(self._count)]
        for (_, pipe), rows in zip(self._others, shares[1:], strict=True):
            pipe.send((slim(table.take(rows)), machine, has_extra, has_chance))
        found = self._here(table, machine, shares[0], has_extra=has_extra, has_chance=has_chance)
        for (_, pipe), rows in zip(self._others, shares[1:], strict=True):
            for part, answers in self._received(pipe):
                found.append((rows[part], answers))
        return found

    def _here(
        self,
        table: JobTable,
        machine: MachineModel,
        rows: Index,
        *,
        has_extra: bool,
        has_chance: bool = False,
    ) -> list[tuple[Index, Answers]]:
        return decide_rows(
            self._engine, table, machine, rows, has_extra=has_extra, has_chance=has_chance
        )

    def _start(self) -> None:
        if self._others:
            return
        context = multiprocessing.get_context("fork")
        for _ in range(self._count - 1):
            ours, theirs = context.Pipe()
            # Each has a copy of our ends of all pipes: closed, so that they end when we do.
            ends = [pipe for _, pipe in self._others] + [ours]
            process = context.Process(target=_serve, args=(self._engine, theirs, ends), daemon=True)
            process.start()
            theirs.close()
            self._others.append((process, ours))

    @staticmethod
    def _received(pipe: Any) -> Sequence[tuple[Index, Answers]]:
        try:
            kind, result = pipe.recv()
        except EOFError:
            raise CuttableError(
                "internal-fault",
                "a worker process ended before it answered",
                remedy="Run again with --workers 1; memory may have been short.",
            ) from None
        if kind == "fault":
            raise result
        return result

    def close(self) -> None:
        """End the other processes."""
        for process, pipe in self._others:
            with suppress(OSError):
                pipe.send(None)
            pipe.close()
            process.join(timeout=5)
            if process.is_alive():
                process.terminate()
        self._others = []


def _processors() -> int:
    """Return how many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def decide_rows(
    engine: Engine,
    table: JobTable,
    machine: MachineModel,
    rows: Index,
    *,
    has_extra: bool,
    has_chance: bool = False,
) -> list[tuple[Index, Answers]]:
    """Decide some rows, a piece at a time; return the rows of each piece with its answers."""
    found: list[tuple[Index, Answers]] = []
    for start in range(0, len(rows), AT_ONCE):
        part = rows[start : start + AT_ONCE]
        decision = engine.decide_table(
            slim(table.take(part)), [machine], np.zeros(len(part), dtype=np.intp)
        )
        found.append(
            (part, answers_of(engine, decision, has_extra=has_extra, has_chance=has_chance))
        )
    return found


def slim(table: JobTable) -> JobTable:
    """Return the table with only the distinct values that its rows use, to send less."""
    stock_used, stock = np.unique(table.stock, return_inverse=True)
    geometry_used, geometry = np.unique(table.geometry, return_inverse=True)
    stocks: list[int] = stock_used.tolist()
    geometries: list[int] = geometry_used.tolist()
    return table._replace(
        stocks=tuple(table.stocks[place] for place in stocks),
        stock=stock,
        geometries=tuple(table.geometries[place] for place in geometries),
        geometry=geometry,
    )


def _serve(engine: Engine, pipe: Any, ends: Sequence[Any]) -> None:
    """Answer what is sent until the other end closes."""
    for end in ends:
        end.close()
    while True:
        try:
            asked = pipe.recv()
        except (EOFError, KeyboardInterrupt):
            return
        if asked is None:
            return
        table, machine, has_extra, has_chance = asked
        try:
            rows: Index = np.arange(int(table.rows))
            pipe.send(
                (
                    "answers",
                    decide_rows(
                        engine, table, machine, rows, has_extra=has_extra, has_chance=has_chance
                    ),
                )
            )
        except KeyboardInterrupt:
            return
        except Exception as fault:  # noqa: BLE001 - every fault belongs to the asking process
            pipe.send(("fault", fault))
