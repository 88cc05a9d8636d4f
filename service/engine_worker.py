"""Threads with an assessor of their own, so that engine work never runs on the event loop.

Each worker has one thread and one assessor: nothing of the engine is shared between threads. The
assessor is of what is in force; the ledger is looked at again after a second, and at once after a
change made here.
"""

import asyncio
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import Any, Final, NamedTuple, TypeVar

from ..catalogue.errors import CuttableError
from ..catalogue.ledger.snapshot import Snapshot
from ..engine.assessor import AssessorCore
from ..engine.review.in_force import InForce
from .settings import Settings

T = TypeVar("T")

MOST_KNOWN: Final = 200
"""Things kept with what is in force."""
IDLE: Final = 60.0
"""Seconds after the last question in which the ledger is looked at ahead of the next."""


class Standing(NamedTuple):
    """What is in force: an assessor, the ledger then, and a key that changes when it does.

    ``memo`` is for what is dear to work out and stays the same as long as the key does.
    """

    key: str
    assessor: AssessorCore
    snapshot: Snapshot
    memo: dict[str, Any]

    def known(self, name: str, make: Callable[[], T]) -> T:
        """Return what is kept under a name, made when it is first asked for."""
        if name not in self.memo:
            if len(self.memo) >= MOST_KNOWN:
                self.memo.clear()
            self.memo[name] = make()
        found: T = self.memo[name]
        return found


class EngineWorker:
    """A thread with an assessor."""

    def __init__(self, settings: Settings, name: str) -> None:
        self._settings = settings
        self._thread = ThreadPoolExecutor(1, thread_name_prefix=name)
        self._in_force = InForce(settings.fresh)
        self._standing: Standing | None = None
        self.used = -1e9
        """When it was asked last."""

    @property
    def key(self) -> str:
        """The key of what was in force when the ledger was looked at last."""
        return self._in_force.key

    def is_fresh(self) -> bool:
        """Say whether the ledger was looked at a moment ago."""
        return self._in_force.is_fresh()

    def forget(self) -> None:
        """Look at the ledger again before the next answer."""
        self._in_force.forget()

    def standing(self, *, is_anew: bool = False) -> Standing:
        """Return what is in force; only from the worker's own thread.

        Args:
            is_anew: look at the ledger even if it was looked at a moment ago.

        Raises:
            FileError: the ledger cannot be read.
        """
        assessor = self._in_force.assessor(self._settings.place, is_anew=is_anew)
        snapshot = self._in_force.snapshot
        assert snapshot is not None  # noqa: S101 - a service has a ledger
        if self._standing is None or self._standing.snapshot is not snapshot:
            self._standing = Standing(self._in_force.key, assessor, snapshot, {})
        return self._standing

    async def run(self, work: Callable[[Standing], T]) -> T:
        """Run work with what is in force on the worker's thread, and return what it returns."""
        self.used = time.monotonic()
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._thread, lambda: work(self.standing()))

    async def look(self) -> None:
        """Look at the ledger before somebody has to wait for it."""
        loop = asyncio.get_running_loop()
        with suppress(CuttableError):  # told to whoever asks next
            await loop.run_in_executor(self._thread, lambda: self.standing(is_anew=True))

    def close(self) -> None:
        """End the thread after its last work."""
        # A connection of SQLite belongs to the thread that opened it.
        self._thread.submit(self._let_go)
        self._thread.shutdown(wait=True)

    def _let_go(self) -> None:
        self._in_force.close()
        self._standing = None


class EngineWorkers:
    """One worker for checks, one for what takes longer, so that neither waits for the other."""

    def __init__(self, settings: Settings) -> None:
        self.quick = EngineWorker(settings, "quick")
        self.long = EngineWorker(settings, "long")
        self._fresh = settings.fresh
        self._looking: asyncio.Task[None] | None = None

    def start(self) -> None:
        """Begin to look at the ledger ahead of those who ask."""
        self._looking = asyncio.create_task(self._look())

    async def _look(self) -> None:
        while True:
            await asyncio.sleep(self._fresh / 2)
            if time.monotonic() - self.quick.used < IDLE:
                await self.quick.look()

    def forget(self) -> None:
        """Look at the ledger again: something was changed."""
        self.quick.forget()
        self.long.forget()

    def close(self) -> None:
        """End both."""
        if self._looking is not None:
            self._looking.cancel()
        self.quick.close()
        self.long.close()
