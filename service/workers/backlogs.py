"""Backlogs that people send, and impacts over them: kept in folders, worked off one by one.

Each is worked on in a process of its own, so that a million rows starve nobody who asks for one.
Its state lies in its folder, so a service that is started again finds it: what was being worked
on goes on where it stopped.
"""

import asyncio
import os
import secrets
import shutil
import time
from collections.abc import AsyncIterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from ...catalogue.errors import InputError
from ..logs import LOG
from ..settings import Settings
from .task_folder import ENDED, BacklogStands, ImpactOrder, Order, read, standing_of, written
from .task_process import TaskProcess, why_ended
from .uploads import check_name, kept_upload, shown_name

MOST_WAITING: Final = 50
"""Tasks that wait; more are refused."""
MOST_OF_ONE: Final = 10
"""Tasks of one person that wait."""
MOST_TRIES: Final = 3
"""Times a task is begun: one that ends the whole service each time is not begun again."""
KEPT: Final = 30 * 24 * 3600
"""Seconds a task is kept after its end."""


class Backlogs:
    """All backlogs and impacts of a service.

    Args:
        settings: where they lie, and how many processes one may use.
    """

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.folder = settings.data / "backlogs"
        self._process = TaskProcess(settings.place.text)
        self._running = ""
        self._is_closing = False
        self._wake = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self._ended: dict[str, BacklogStands] = {}
        self._converting: dict[tuple[str, str], asyncio.Task[None]] = {}

    async def start(self) -> None:
        """Take up what was left, and wait for more."""
        self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._clear()
        self._task = asyncio.create_task(self._work())
        self._wake.set()

    async def close(self) -> None:
        """Stop the process at work; it goes on when the service is started again."""
        self._is_closing = True
        if self._running and self._process.is_there:
            self._tried(self._folder(self._running), -1)  # it was not its fault
        await self._process.end()
        for task in (self._task, *self._converting.values()):
            if task is not None:
                task.cancel()
                with suppress(asyncio.CancelledError):
                    await task

    async def take(
        self, order: Order, owner: str, mark: tuple[str, int], content: AsyncIterator[bytes]
    ) -> str:
        """Keep a backlog that is being sent and return its id.

        Raises:
            InputError: ``kind-wrong``, ``too-many``, ``backlog-empty``, ``output-unwritable``.
        """
        suffix = check_name(order.name)
        self._check_room(owner)
        coming = self._coming()
        try:
            size = await kept_upload(coming / f"jobs{suffix}", content)
            return self._placed(coming, {
                "kind": "answers", "name": shown_name(order.name), "file": f"jobs{suffix}",
                "machines": order.machines, "is_best": order.is_best, "sheet": order.sheet,
                "owner": owner, "size": size, "at": mark[0], "entries": mark[1],
            })  # fmt: skip
        except BaseException:
            shutil.rmtree(coming, ignore_errors=True)
            raise

    def take_impact(self, order: ImpactOrder, owner: str) -> str:
        """Queue an impact and return its id.

        Raises:
            InputError: ``backlog-unknown``, ``too-many``.
        """
        self._check_room(owner)
        asked: dict[str, Any] = {
            "kind": "impact", "name": "answers kept", "revision": order.revision,
            "units": order.units, "owner": owner, "size": 0, "machines": [], "is_best": False,
        }  # fmt: skip
        coming = self._coming()
        try:
            if order.backlog:
                asked |= self._same_jobs(order.backlog, coming)
            return self._placed(coming, asked)
        except BaseException:
            shutil.rmtree(coming, ignore_errors=True)
            raise

    def all(self) -> list[BacklogStands]:
        """Return every task, the newest first."""
        found = [self._state(path) for path in self.folder.glob("[!.]*") if path.is_dir()]
        return sorted((item for item in found if item), key=lambda item: -item["sent"])

    def one(self, name: str) -> BacklogStands:
        """Return how a task stands.

        Raises:
            InputError: ``backlog-unknown``.
        """
        found = self._state(self._folder(name))
        if not found:
            raise _unknown(name)
        return found.copy()

    def file(self, name: str, which: str) -> Path:
        """Return a file of a task that is done.

        Raises:
            InputError: ``backlog-unknown``; ``backlog-stopped`` where it is not done;
                ``page-unknown`` where tasks of this kind have no such file.
        """
        state = self.one(name)["state"]
        if state != "done":
            raise InputError("backlog-stopped", f"the backlog is {state}: it has no answers",
                             remedy="Wait until it is done, or send it again.")  # fmt: skip
        found = self._folder(name) / which
        if not found.exists():
            raise InputError("page-unknown", "this is an impact: it has a report and no answers")
        return found

    async def converted(self, name: str, kind: str) -> Path:
        """Return the answers as a file of a kind; made in a process when it is first asked for.

        Raises:
            InputError: what :meth:`file` tells; ``output-unwritable`` where the answers do not
                fit into such a file.
        """
        source = self.file(name, "answers.parquet")
        path = source.with_suffix(f".{kind}")
        if path == source or path.exists():
            return path
        key = (name, kind)
        task = self._converting.get(key)
        if task is None:
            task = asyncio.create_task(self._process.convert(source.parent, kind))
            self._converting[key] = task
            task.add_done_callback(lambda _: self._converting.pop(key, None))
        await asyncio.shield(task)  # whoever leaves does not stop it for the others
        fault = read(source.parent / f"fault-{kind}.json")
        if fault or not path.exists():
            what = str(fault.get("what") or "the answers cannot be written as such a file")
            raise InputError("output-unwritable", what,
                             remedy=str(fault.get("remedy", "")))  # fmt: skip
        return path

    async def cancel(self, name: str) -> None:
        """Stop a task, or forget one that has ended.

        Raises:
            InputError: ``backlog-unknown``.
        """
        state = self.one(name)["state"]
        folder = self._folder(name)
        if state in ENDED:
            if self._running == name:
                await self._process.gone()  # its answers are there, but it is not gone yet
            self._ended.pop(name, None)
            shutil.rmtree(folder, ignore_errors=True)
            return
        (folder / "stopped").touch()
        if self._running == name:
            await self._process.end()

    # --- within ---------------------------------------------------------------------------

    def _folder(self, name: str) -> Path:
        if len(name) != 16 or any(char not in "0123456789abcdef" for char in name):
            raise _unknown(name)
        return self.folder / name

    def _check_room(self, owner: str) -> None:
        waiting = [item for item in self.all() if item["state"] in ("waiting", "running")]
        own = sum(item["owner"] == owner for item in waiting)
        if len(waiting) >= MOST_WAITING or own >= MOST_OF_ONE:
            raise InputError("too-many", "too many backlogs are waiting",
                             remedy="Try again when some are done.")  # fmt: skip

    def _coming(self) -> Path:
        found = self.folder / f".{secrets.token_hex(8)}"
        try:
            found.mkdir(mode=0o700)
        except OSError as fault:
            raise InputError(
                "output-unwritable", f"nothing can be kept ({fault.strerror})",
                remedy="Tell whoever runs the service.",
            ) from None  # fmt: skip
        return found

    def _same_jobs(self, name: str, coming: Path) -> dict[str, Any]:
        """Give the file of a backlog a name of its own in another folder: it may be taken away."""
        source = self._folder(name)
        known = read(source / "order.json")
        if known.get("kind") != "answers":
            raise _unknown(name)
        os.link(source / known["file"], coming / known["file"])
        return {name: known[name] for name in ("name", "file", "sheet", "size")}

    def _placed(self, coming: Path, order: Mapping[str, Any]) -> str:
        name = coming.name[1:]
        settings = self.settings
        written(coming, "order.json", {
            "id": name, "sent": time.time(), "workers": settings.backlog_workers,
            "most_memory": settings.most_memory, **order,
        })  # fmt: skip
        coming.replace(self.folder / name)
        self._wake.set()
        return name

    def _state(self, folder: Path) -> BacklogStands | None:
        ended = self._ended.get(folder.name)
        if ended is not None and folder.is_dir():
            return ended
        is_running = self._running == folder.name
        known = standing_of(folder, is_running=is_running)
        if known and known["state"] in ENDED and not is_running:
            self._ended[folder.name] = known
        return known

    async def _work(self) -> None:
        while True:
            await self._wake.wait()
            self._wake.clear()
            while not self._is_closing and (item := self._next()) is not None:
                try:
                    await self._answer(item)
                except Exception:  # noqa: BLE001
                    # Whatever went wrong with one, the others have their turn.
                    LOG.exception("backlog %s", item)
                    with suppress(OSError):
                        self._fail(self._folder(item), "it could not be begun or ended")

    def _next(self) -> str | None:
        waiting = [item for item in self.all() if item["state"] == "waiting"]
        return waiting[-1]["id"] if waiting else None

    async def _answer(self, name: str) -> None:
        folder = self._folder(name)
        if self._tried(folder, 1) > MOST_TRIES:
            self._fail(folder, "the service ended each time it was begun")
            return
        self._running = name
        try:
            code = await self._process.over(folder)
        finally:
            self._running = ""
        if not folder.is_dir():
            return  # forgotten meanwhile
        is_told = any((folder / item).exists() for item in ("summary.json", "fault.json"))
        if not is_told and not (folder / "stopped").exists() and not self._is_closing:
            # Killed from outside: it would be killed again, so it is told and not repeated.
            self._fail(folder, why_ended(code))

    def _fail(self, folder: Path, what: str) -> None:
        written(folder, "fault.json", {
            "code": "backlog-stopped", "what": what, "remedy": "Send it again, in parts.",
            "problems": [],
        })  # fmt: skip

    def _tried(self, folder: Path, more: int) -> int:
        count = int(read(folder / "tries.json").get("tries", 0)) + more
        with suppress(OSError):
            written(folder, "tries.json", {"tries": count})
        return count

    def _clear(self) -> None:
        """Take away what was half sent, and what is old."""
        for path in self.folder.glob(".*"):
            shutil.rmtree(path, ignore_errors=True)
        for path in self.folder.glob("[!.]*"):
            if time.time() - path.stat().st_mtime > KEPT:
                shutil.rmtree(path, ignore_errors=True)


def _unknown(name: str) -> InputError:
    return InputError("backlog-unknown", f"there is no backlog {name[:20]!r}")
