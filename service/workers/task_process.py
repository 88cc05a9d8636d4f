"""The processes that work on tasks: begun on a folder, waited for, ended."""

import asyncio
import os
import signal
import sys
from contextlib import suppress
from pathlib import Path
from typing import Final

from ...catalogue.ledger.location import VARIABLE

PROCESS: Final = "cuttable.service.workers.backlog_process"
PATIENCE: Final = 10.0
"""Seconds a process has to end by itself when it is told to."""


class TaskProcess:
    """The process at work on a task, if there is one.

    Args:
        ledger: where the ledger is, as the process is told.
    """

    def __init__(self, ledger: str) -> None:
        self._ledger = ledger
        self._process: asyncio.subprocess.Process | None = None

    @property
    def is_there(self) -> bool:
        """Say whether one was begun and is not known to be gone."""
        return self._process is not None

    async def over(self, folder: Path) -> int:
        """Work on a folder, and return the status that the process ended with."""
        self._process = await self._begun(folder)
        try:
            return await self._process.wait()
        finally:
            self._process = None

    async def gone(self) -> None:
        """Wait until it is gone."""
        if self._process is not None:
            await self._process.wait()

    async def end(self) -> None:
        """Tell it to end, and see to it that nothing of it is left."""
        process = self._process
        if process is None:
            return
        _kill(process, signal.SIGTERM, is_group=False)
        try:
            await asyncio.wait_for(process.wait(), PATIENCE)
        except TimeoutError:
            pass
        finally:
            _kill(process, signal.SIGKILL)

    async def convert(self, folder: Path, kind: str) -> None:
        """Write the answers of a folder as another kind of file, in a process beside."""
        process = await self._begun(folder, "--convert", kind)
        try:
            await process.wait()
        except asyncio.CancelledError:
            _kill(process, signal.SIGKILL)
            raise

    async def _begun(self, folder: Path, *more: str) -> asyncio.subprocess.Process:
        """Begin a process on a folder; it ends when this one does, whatever ends this one."""
        told = {
            # Not on the command line and not in a file: it may hold a password.
            VARIABLE: self._ledger,
            # So that the limit of memory is of what is used, not of what is set aside.
            "ARROW_DEFAULT_MEMORY_POOL": "system", "MALLOC_ARENA_MAX": "2",
            "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1",
        }  # fmt: skip
        with (folder / "log.txt").open("ab") as log:
            return await asyncio.create_subprocess_exec(
                sys.executable, "-m", PROCESS, str(folder), *more,
                stdin=asyncio.subprocess.PIPE, stdout=log, stderr=log,
                env=os.environ | told, start_new_session=True,
            )  # fmt: skip


def why_ended(status: int) -> str:
    """Say how a process ended that left no word."""
    what = f"the process that worked on it ended with status {status}"
    if status in (-signal.SIGABRT, -signal.SIGSEGV, -signal.SIGKILL):
        what += "; it may need more memory than there is"
    return what


def _kill(process: asyncio.subprocess.Process, number: int, *, is_group: bool = True) -> None:
    """Send a signal to a process, or to it and all that it began."""
    with suppress(ProcessLookupError, PermissionError):
        if is_group:
            os.killpg(process.pid, number)
        else:
            process.send_signal(number)
