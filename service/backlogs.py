"""Backlogs that people send: kept in folders, answered one after the other in processes.

The state of each lies in its folder, so a service that is started again finds it: one that was
being answered goes on where it stopped.
"""

import asyncio
import json
import secrets
import shutil
import sys
import time
from collections.abc import AsyncIterator
from contextlib import suppress
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple

from ..catalogue.errors import InputError
from .backlog_process import written
from .settings import Settings

KINDS: Final = (".csv", ".tsv", ".txt", ".xlsx", ".parquet")
MOST_WAITING: Final = 50
"""Backlogs that wait; more are refused."""
KEPT: Final = 30 * 24 * 3600
"""Seconds a backlog is kept after its end."""

State = Literal["waiting", "running", "done", "failed", "stopped"]


class Order(NamedTuple):
    """What is asked of a backlog."""

    name: str
    machines: list[str]
    is_best: bool = False
    sheet: str = ""


class Backlogs:
    """All backlogs of a service.

    Args:
        settings: where they lie, and how many processes one may use.
    """

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.folder = settings.data / "backlogs"
        self._process: asyncio.subprocess.Process | None = None
        self._running = ""
        self._wake = asyncio.Event()
        self._task: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Take up what was left, and wait for more."""
        self.folder.mkdir(parents=True, exist_ok=True)
        self._clear()
        self._task = asyncio.create_task(self._work())
        self._wake.set()

    async def close(self) -> None:
        """Stop the process at work; it goes on when the service is started again."""
        if self._task is not None:
            self._task.cancel()
            with suppress(asyncio.CancelledError):
                await self._task
        await self._end()

    # --- orders ---------------------------------------------------------------------------

    async def take(
        self, order: Order, owner: str, mark: tuple[str, int], content: AsyncIterator[bytes]
    ) -> str:
        """Keep a backlog that is being sent and return its id.

        Raises:
            InputError: ``kind-wrong``, ``too-many``, ``backlog-empty``.
        """
        suffix = Path(order.name).suffix.casefold()
        if suffix not in KINDS:
            raise InputError("kind-wrong", f"{order.name[:60]!r} is no kind of backlog",
                             remedy=f"Send one that ends in {', '.join(KINDS)}.")  # fmt: skip
        if sum(item["state"] == "waiting" for item in self.all()) >= MOST_WAITING:
            raise InputError("too-many", "too many backlogs are waiting", remedy="Try later.")
        name = secrets.token_hex(8)
        coming = self.folder / f".{name}"
        coming.mkdir()
        try:
            size = 0
            with (coming / f"jobs{suffix}").open("wb") as file:
                async for piece in content:
                    size += len(piece)
                    file.write(piece)
            if not size:
                raise InputError("backlog-empty", "the file is empty")  # noqa: TRY301
            written(coming, "order.json", {
                "id": name, "name": _shown(order.name), "file": f"jobs{suffix}",
                "machines": order.machines, "is_best": order.is_best, "sheet": order.sheet,
                "owner": owner, "sent": time.time(), "size": size,
                "book": self.settings.place.text, "at": mark[0], "entries": mark[1],
                "workers": self.settings.workers,
            })  # fmt: skip
            coming.replace(self.folder / name)
        except BaseException:
            shutil.rmtree(coming, ignore_errors=True)
            raise
        self._wake.set()
        return name

    def all(self) -> list[dict[str, Any]]:
        """Return every backlog, the newest first."""
        found = [self._state(path) for path in self.folder.glob("[!.]*") if path.is_dir()]
        return sorted((item for item in found if item), key=lambda item: -item["sent"])

    def one(self, name: str) -> dict[str, Any]:
        """Return how a backlog stands.

        Raises:
            InputError: ``backlog-unknown``.
        """
        found = self._state(self._folder(name))
        if not found:
            raise InputError("backlog-unknown", f"there is no backlog {name[:20]!r}")
        return found

    def file(self, name: str, which: str) -> Path:
        """Return a file of a backlog that is done.

        Raises:
            InputError: ``backlog-unknown``, ``backlog-stopped`` where it is not done.
        """
        state = self.one(name)["state"]
        if state != "done":
            raise InputError("backlog-stopped", f"the backlog is {state}: it has no answers yet",
                             remedy="Wait until it is done.")  # fmt: skip
        return self._folder(name) / which

    async def cancel(self, name: str) -> None:
        """Stop a backlog, or forget one that is done.

        Raises:
            InputError: ``backlog-unknown``.
        """
        state = self.one(name)["state"]
        folder = self._folder(name)
        if state in ("waiting", "running"):
            (folder / "stopped").touch()
            if self._running == name:
                await self._end()
        else:
            shutil.rmtree(folder, ignore_errors=True)

    # --- within ---------------------------------------------------------------------------

    def _folder(self, name: str) -> Path:
        if len(name) != 16 or any(char not in "0123456789abcdef" for char in name):
            raise InputError("backlog-unknown", f"there is no backlog {name[:20]!r}")
        return self.folder / name

    def _state(self, folder: Path) -> dict[str, Any]:
        order = _read(folder / "order.json")
        if not order:
            return {}
        known = {key: order[key] for key in
                 ("id", "name", "machines", "is_best", "owner", "sent", "size")}  # fmt: skip
        progress = _read(folder / "progress.json")
        known |= {"rows": progress.get("rows", 0), "share": progress.get("share", 0.0)}
        fault = _read(folder / "fault.json")
        state: State = "waiting"
        if (folder / "summary.json").exists():
            state, known["share"] = "done", 1.0
        elif fault:
            state, known["fault"] = "failed", fault
        elif (folder / "stopped").exists():
            state = "stopped"
        elif self._running == folder.name:
            state = "running"
        return known | {"state": state}

    async def _work(self) -> None:
        while True:
            await self._wake.wait()
            self._wake.clear()
            while (item := self._next()) is not None:
                await self._answer(item)

    def _next(self) -> str | None:
        waiting = [item for item in self.all() if item["state"] == "waiting"]
        return waiting[-1]["id"] if waiting else None

    async def _answer(self, name: str) -> None:
        folder = self._folder(name)
        self._running = name
        with (folder / "log.txt").open("ab") as log:
            self._process = await asyncio.create_subprocess_exec(
                sys.executable, "-m", "cuttable.service.backlog_process", str(folder),
                stdin=asyncio.subprocess.DEVNULL, stdout=log, stderr=log,
            )  # fmt: skip
        code = await self._process.wait()
        self._process = None
        self._running = ""
        is_told = any((folder / item).exists() for item in ("summary.json", "fault.json"))
        if not is_told and not (folder / "stopped").exists():
            # Killed from outside: it would be killed again, so it is told and not repeated.
            written(folder, "fault.json", {
                "code": "backlog-stopped", "what": f"the process ended with status {code}",
                "remedy": "Send the backlog again.", "problems": [],
            })  # fmt: skip

    async def _end(self) -> None:
        process = self._process
        if process is None:
            return
        with suppress(ProcessLookupError):
            process.terminate()
        try:
            await asyncio.wait_for(process.wait(), 10)
        except TimeoutError:
            with suppress(ProcessLookupError):
                process.kill()

    def _clear(self) -> None:
        """Take away what was half sent, and what is old."""
        for path in self.folder.glob(".*"):
            shutil.rmtree(path, ignore_errors=True)
        for path in self.folder.glob("[!.]*"):
            if time.time() - path.stat().st_mtime > KEPT:
                shutil.rmtree(path, ignore_errors=True)


def _read(path: Path) -> dict[str, Any]:
    try:
        content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return content


def _shown(name: str) -> str:
    """Return a file's name as it is shown: without folders and control characters."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(char for char in last if char.isprintable())[:120]
