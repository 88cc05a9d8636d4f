"""Threads with a desk of their own, so that engine work never runs on the event loop.

Each bench has one thread and one desk: nothing of the engine is shared between threads. The desk
is of what is in force; the book is looked at again after a second, and at once after a change
made here.
"""

import asyncio
import datetime as dt
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, TypeVar

from ..catalogue.book.held import Held
from ..catalogue.reading import digest_of
from ..engine.ask import Desk
from ..engine.book_desk import desk_of
from .settings import Settings

T = TypeVar("T")


class Standing(NamedTuple):
    """What is in force: a desk, the book at that moment, and a key that changes when it does."""

    key: str
    desk: Desk
    held: Held


class Bench:
    """A thread with a desk."""

    def __init__(self, settings: Settings, name: str) -> None:
        self._settings = settings
        self._thread = ThreadPoolExecutor(1, thread_name_prefix=name)
        self._standing: Standing | None = None
        self._looked = -1e9
        self.key = ""

    def is_fresh(self) -> bool:
        """Say whether the book was looked at a moment ago."""
        return time.monotonic() - self._looked < self._settings.fresh

    def forget(self) -> None:
        """Look at the book again before the next answer."""
        self._looked = -1e9

    def standing(self) -> Standing:
        """Return what is in force; only from the bench's own thread.

        Raises:
            FileError: the book cannot be read.
        """
        if self._standing is not None and self.is_fresh():
            return self._standing
        looked = time.monotonic()
        held = Held(self._settings.place)
        day = dt.datetime.now(dt.UTC).date().isoformat()
        parts = [f"{name}={number}" for name, (number, _) in sorted(held.numbers.items())]
        key = digest_of(day.encode(), *(part.encode() for part in parts))
        if self._standing is None or self._standing.key != key:
            if self._standing is not None:
                self._standing.held.close()
            self._standing = Standing(key, desk_of(held), held)
            self.key = key
        else:
            # The same revisions are in force; what is kept says when they were looked up.
            self._standing.held.mark = held.mark
            held.close()
        self._looked = looked
        return self._standing

    async def run(self, work: Callable[[Standing], T]) -> T:
        """Run work with what is in force on the bench's thread, and return what it returns."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._thread, lambda: work(self.standing()))

    def close(self) -> None:
        """End the thread after its last work."""
        # A connection of SQLite belongs to the thread that opened it.
        self._thread.submit(self._let_go)
        self._thread.shutdown(wait=True)

    def _let_go(self) -> None:
        if self._standing is not None:
            self._standing.held.close()
            self._standing = None


class Benches:
    """One bench for checks, one for what takes longer, so that neither waits for the other."""

    def __init__(self, settings: Settings) -> None:
        self.quick = Bench(settings, "quick")
        self.long = Bench(settings, "long")

    def forget(self) -> None:
        """Look at the book again: something was changed."""
        self.quick.forget()
        self.long.forget()

    def close(self) -> None:
        """End both."""
        self.quick.close()
        self.long.close()
