"""The files of a run beside its answers: a lock, a journal, and what is written so far.

Each has a name of its own. What stands in the way and was not written by the tool is left alone,
and so is what another run is writing at the moment.
"""

import json
import os
import secrets
import shutil
from collections.abc import Generator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final, NoReturn, cast

from ...catalogue.errors import FileError

MARK: Final = "cuttable answers"
"""What a journal of ours begins with."""


def refuse(path: Path, what: str, remedy: str, *, code: str = "output-unwritable") -> NoReturn:
    """Raise the error of answers that cannot be written.

    Raises:
        FileError: always.
    """
    raise FileError(code, what, where=str(path), remedy=remedy)


@contextmanager
def writable(path: Path) -> Generator[None]:
    """Tell what the system says of a file that cannot be written as an error of the answers.

    Raises:
        FileError: ``output-unwritable``.
    """
    try:
        yield
    except OSError as fault:
        refuse(
            path,
            f"the answers cannot be written ({fault.strerror or str(fault)[:80]})",
            "Make room or choose another place; --resume continues what was begun.",
        )


def to_disk(path: Path) -> None:
    """See that a file, or what a folder lists, is on the disk and not only on its way there."""
    if os.name == "nt":  # a folder cannot be opened there, a file only to be written
        return
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


_HELD: Final[set[int]] = set()


def _let_go() -> None:
    """Close the locks of the process that this one was forked from: it alone holds them."""
    for number in _HELD:
        os.close(number)
    _HELD.clear()


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_let_go)


class Lock:
    """Held as long as answers are written: by one run at a time, also when it is killed.

    Raises:
        FileError: ``output-busy``, ``output-unwritable``.
    """

    def __init__(self, target: Path) -> None:
        self._path = target.with_name(f".{target.name}.lock")
        with writable(target):
            self._number = self._opened(target)
        _HELD.add(self._number)

    def _opened(self, target: Path) -> int:
        while True:
            number = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
            if not _is_locked(number):
                os.close(number)
                refuse(
                    target, "another run is writing these answers",
                    "Wait until it has ended, or give --out another name.", code="output-busy",
                )  # fmt: skip
            # The run before may have taken the file away after it was opened here.
            with suppress(FileNotFoundError):
                if os.path.samestat(os.fstat(number), self._path.stat()):
                    return number
            os.close(number)

    def release(self) -> None:
        """Let the next run have it."""
        if self._number not in _HELD:  # let go of already, or a fork of whoever holds it
            return
        _HELD.remove(self._number)
        if not os.fstat(self._number).st_size:  # ours are empty
            self._path.unlink(missing_ok=True)
        os.close(self._number)
        self._number = -1


def _is_locked(number: int) -> bool:
    """Lock an open file; say whether nobody else has."""
    try:
        import fcntl
    except ImportError:  # no such locks on this system
        return True
    try:
        fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # a file system without locks
        return True
    return True


class Journal:
    """How far the answers are written, and where; it is replaced whole, never half.

    Args:
        target: where the answers go at the end.

    Raises:
        FileError: ``output-unwritable`` where a file that is no journal has its name.
    """

    def __init__(self, target: Path) -> None:
        self._target = target
        self._path = target.with_name(f".{target.name}.part.json")
        self.state: dict[str, Any] = self._read()

    def _read(self) -> dict[str, Any]:
        if not self._path.exists() and not self._path.is_symlink():
            return {}
        state: Any = None
        with suppress(OSError, ValueError):
            state = json.loads(self._path.read_bytes())
        known = cast("dict[str, Any]", state) if isinstance(state, dict) else {}
        if known.get("mark") != MARK:
            refuse(
                self._target, f"{self._path.name} is in the way, and the tool did not write it",
                "Move it away, or give --out another name.",
            )  # fmt: skip
        return known

    @property
    def part(self) -> Path | None:
        """What the answers are written to, None where no run has begun."""
        name = str(self.state.get("part", ""))
        if not name or Path(name).name != name:
            return None
        return self._target.with_name(name)

    def begin(self, key: Mapping[str, Any]) -> Path:
        """Take back what a run before left, and return a new name to write to."""
        self.discard()
        name = f".{self._target.name}.{secrets.token_hex(6)}.part"
        self.state = {"mark": MARK, "part": name, "key": dict(key), "rows": 0, "note": {}}
        self.write({})
        return self._target.with_name(name)

    def write(self, changed: Mapping[str, Any]) -> None:
        """Note how far the answers are; what it tells of must be on the disk before."""
        self.state |= changed
        beside = self._path.with_name(f".{self._target.name}.{secrets.token_hex(6)}.tmp")
        try:
            with beside.open("x", encoding="utf-8") as file:
                file.write(json.dumps(self.state))
                file.flush()
                os.fsync(file.fileno())
            beside.replace(self._path)
        except OSError:
            beside.unlink(missing_ok=True)
            raise
        to_disk(self._path.parent)

    def discard(self) -> None:
        """Take away the journal and what it tells of, and nothing else."""
        if not self.state:
            return
        part = self.part
        self._path.unlink(missing_ok=True)
        self.state = {}
        if part is None:
            return
        if part.is_dir() and not part.is_symlink():
            shutil.rmtree(part)
        else:
            part.unlink(missing_ok=True)
