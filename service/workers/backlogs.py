"""Backlogs that people send, and impacts over them: kept in folders, worked off one by one.

Each is worked on in a process of its own, so that a million rows starve nobody who asks for one.
Its state lies in its folder, so a service that is started again finds it: what was being worked
on goes on where it stopped.
"""

import asyncio
import json
import os
import secrets
import shutil
import signal
import sys
import time
from collections.abc import AsyncIterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple

from ...catalogue.errors import InputError
from ...catalogue.ledger.location import VARIABLE
from ..middleware import LOG
from ..settings import Settings
from .uploads import check_name, kept_upload

MOST_WAITING: Final = 50
"""Tasks that wait; more are refused."""
MOST_OF_ONE: Final = 10
"""Tasks of one person that wait."""
MOST_TRIES: Final = 3
"""Times a task is begun: one that ends the whole service each time is not begun again."""
KEPT: Final = 30 * 24 * 3600
"""Seconds a task is kept after its end."""
PROCESS: Final = "cuttable.service.workers.backlog_process"
TOLD: Final = ("id", "kind", "name", "machines", "is_best", "owner", "sent", "size", "revision")
"""What of an order is shown."""

State = Literal["waiting", "running", "done", "failed", "stopped"]
Kind = Literal["answers", "impact"]
_ENDED: Final = frozenset({"done", "failed", "stopped"})


class Order(NamedTuple):
    """What is asked of a backlog that is sent."""

    name: str
    machines: list[str]
    is_best: bool = False
    sheet: str = ""


class ImpactOrder(NamedTuple):
    """What is asked of an impact.

    Attributes:
        revision: the draft, ``rowan-150/2``.
        backlog: id of the backlog whose jobs are looked at; empty for the answers kept.
        units: of the report.
    """

    revision: str
    backlog: str = ""
    units: str = "si"


def written(folder: Path, name: str, content: Mapping[str, Any]) -> None:
    """Write a small JSON file, whole or not at all."""
    beside = folder / f".{name}.part"
    beside.write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
    beside.replace(folder / name)


def read(path: Path) -> dict[str, Any]:
    """Return a small JSON file; nothing where there is none."""
    try:
        content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return content


class Backlogs:
    """All backlogs and impacts of a service.

    Args:
        settings: where they lie, and how many processes one may use.
    """

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.folder = settings.data / "backlogs"
        self._process: asyncio.subprocess.Process | None = None
        self._running = ""
        self._is_closing = False
        self._wake = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self._ended: dict[str, dict[str, Any]] = {}
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
        if self._running and self._process is not None:
            self._tried(self._folder(self._running), -1)  # it was not its fault
        await self._end()
        for task in (self._task, *self._converting.values()):
            if task is not None:
                task.cancel()
                with suppress(asyncio.CancelledError):
                    await task

    # --- orders ---------------------------------------------------------------------------

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
                "kind": "answers", "name": _shown(order.name), "file": f"jobs{suffix}",
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

    def all(self) -> list[dict[str, Any]]:
        """Return every task, the newest first."""
        found = [self._state(path) for path in self.folder.glob("[!.]*") if path.is_dir()]
        return sorted((item for item in found if item), key=lambda item: -item["sent"])

    def one(self, name: str) -> dict[str, Any]:
        """Return how a task stands.

        Raises:
            InputError: ``backlog-unknown``.
        """
        found = self._state(self._folder(name))
        if not found:
            raise _unknown(name)
        return dict(found)

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
            task = asyncio.create_task(self._convert(source.parent, kind))
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
        if state in _ENDED:
            if self._running == name and self._process is not None:
                await self._process.wait()  # its answers are there, but it is not gone yet
            self._ended.pop(name, None)
            shutil.rmtree(folder, ignore_errors=True)
            return
        (folder / "stopped").touch()
        if self._running == name:
            await self._end()

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

    def _state(self, folder: Path) -> dict[str, Any]:
        ended = self._ended.get(folder.name)
        if ended is not None and folder.is_dir():
            return ended
        order = read(folder / "order.json")
        if not order:
            return {}
        known = {key: order[key] for key in TOLD if key in order}
        progress = read(folder / "progress.json")
        known |= {"rows": progress.get("rows", 0), "share": progress.get("share", 0.0)}
        fault = read(folder / "fault.json")
        state: State = "waiting"
        if (folder / "summary.json").exists():
            state, known["share"] = "done", 1.0
        elif fault:
            state, known["fault"] = "failed", fault
        elif (folder / "stopped").exists():
            state = "stopped"
        elif self._running == folder.name:
            state = "running"
        known["state"] = state
        if state in _ENDED and self._running != folder.name:
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
            code = await self._process_over(folder)
        finally:
            self._running = ""
        if not folder.is_dir():
            return  # forgotten meanwhile
        is_told = any((folder / item).exists() for item in ("summary.json", "fault.json"))
        if not is_told and not (folder / "stopped").exists() and not self._is_closing:
            # Killed from outside: it would be killed again, so it is told and not repeated.
            what = f"the process that worked on it ended with status {code}"
            if code in (-signal.SIGABRT, -signal.SIGSEGV, -signal.SIGKILL):
                what += "; it may need more memory than there is"
            self._fail(folder, what)

    async def _process_over(self, folder: Path, *more: str) -> int:
        process = await self._begun(folder, *more)
        self._process = process
        try:
            return await process.wait()
        finally:
            self._process = None

    async def _begun(self, folder: Path, *more: str) -> asyncio.subprocess.Process:
        """Begin a process on a folder; it ends when this one does, whatever ends this one."""
        told = {
            # Not on the command line and not in a file: it may hold a password.
            VARIABLE: self.settings.place.text,
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

    async def _convert(self, folder: Path, kind: str) -> None:
        process = await self._begun(folder, "--convert", kind)
        try:
            await process.wait()
        except asyncio.CancelledError:
            _kill(process, signal.SIGKILL)
            raise

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

    async def _end(self) -> None:
        process = self._process
        if process is None:
            return
        _kill(process, signal.SIGTERM, is_group=False)
        try:
            await asyncio.wait_for(process.wait(), 10)
        except TimeoutError:
            pass
        finally:
            _kill(process, signal.SIGKILL)

    def _clear(self) -> None:
        """Take away what was half sent, and what is old."""
        for path in self.folder.glob(".*"):
            shutil.rmtree(path, ignore_errors=True)
        for path in self.folder.glob("[!.]*"):
            if time.time() - path.stat().st_mtime > KEPT:
                shutil.rmtree(path, ignore_errors=True)


def _kill(process: asyncio.subprocess.Process, number: int, *, is_group: bool = True) -> None:
    """Send a signal to a process, or to it and all that it began."""
    with suppress(ProcessLookupError, PermissionError):
        if is_group:
            os.killpg(process.pid, number)
        else:
            process.send_signal(number)


def _unknown(name: str) -> InputError:
    return InputError("backlog-unknown", f"there is no backlog {name[:20]!r}")


def _shown(name: str) -> str:
    """Return a file's name as it is shown: without folders and control characters."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(char for char in last if char.isprintable())[:120]
