"""The command as its own process: started anew, or forked from one that has imported everything.

Starting Python and importing the program takes several times longer than most commands do. That
every command can be started by itself is tested once a command; the hundreds of others that the
tests tell their stories with are forked from a server. The server is a process of its own with
one thread and no state of any test, so that a command finds what it finds when it is started by
hand: its own memory, file handles, folder and environment.
"""

import atexit
import gc
import importlib
import os
import pickle
import pkgutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, NoReturn

from pydantic import BaseModel

ENTRY: Final = "from cuttable.cli.main import run; run()"
"""What a whole process runs."""

PATIENCE: Final = 120.0
"""Seconds a command may take."""

_PACKAGES: Final = ("catalogue", "rules", "engine", "cli")
_LIBRARIES: Final = (
    "alembic.command", "alembic.config", "psycopg", "pyarrow.csv", "pyarrow.parquet",
    "python_calamine", "rich.progress", "rich.table", "sqlalchemy.dialects.sqlite",
    "sqlalchemy.dialects.postgresql.psycopg", "typst", "xlsxwriter",
)  # fmt: skip
"""What the program imports where it is used."""

_START: Final = (
    "import sys; sys.path.insert(0, sys.argv[1]); import program; program.serve(int(sys.argv[2]))"
)

Done = subprocess.CompletedProcess[str]


def plain_environment() -> dict[str, str]:
    """Return the environment without the width of whatever runs the tests."""
    return {name: value for name, value in os.environ.items() if name != "COLUMNS"}


def run_anew(*words: str, **options: Any) -> Done:
    """Run the command in a new process, as a person does."""
    options.setdefault("env", plain_environment())
    if "input" not in options:
        options.setdefault("stdin", subprocess.DEVNULL)
    return subprocess.run(
        [sys.executable, "-c", ENTRY, *words],
        capture_output=True, text=True, encoding="utf-8",
        timeout=PATIENCE, check=False, **options,
    )  # fmt: skip


class Program:
    """Runs commands forked from a server, which is started when it is first needed.

    One command at a time: a test that wants several at once starts them anew.
    """

    def __init__(self) -> None:
        self._server: subprocess.Popen[bytes] | None = None
        self._line: socket.socket

    def run(
        self, *words: str, cwd: Path | None = None, env: Mapping[str, str] | None = None
    ) -> Done:
        """Run a command and return what ``subprocess.run`` would.

        Raises:
            subprocess.TimeoutExpired: it took longer than a command may; the server is ended
                with it.
        """
        line = self._started()
        told = (words, str(cwd or Path.cwd()), dict(plain_environment() if env is None else env))
        with (
            tempfile.TemporaryFile() as asked,
            tempfile.TemporaryFile() as out,
            tempfile.TemporaryFile() as err,
        ):
            asked.write(pickle.dumps(told))
            asked.seek(0)
            socket.send_fds(line, [b"?"], [asked.fileno(), out.fileno(), err.fileno()])
            try:
                status = line.recv(16)
            except TimeoutError:
                self.close()
                raise subprocess.TimeoutExpired(list(words), PATIENCE) from None
            assert status, "the server that forks commands has ended"
            texts: list[str] = []
            for file in (out, err):
                file.seek(0)
                # As a whole process is read: line ends of any kind are one kind.
                texts.append(file.read().decode().replace("\r\n", "\n").replace("\r", "\n"))
        return subprocess.CompletedProcess(list(words), int(status), texts[0], texts[1])

    def _started(self) -> socket.socket:
        if self._server is None:
            self._line, theirs = socket.socketpair()
            with theirs:
                self._line.settimeout(PATIENCE)
                self._server = subprocess.Popen(
                    [sys.executable, "-c", _START, str(Path(__file__).parent),
                     str(theirs.fileno())],
                    stdin=subprocess.DEVNULL, pass_fds=[theirs.fileno()], start_new_session=True,
                )  # fmt: skip
        return self._line

    def close(self) -> None:
        """End the server and every command that still runs."""
        if self._server is not None:
            self._line.close()
            os.killpg(self._server.pid, signal.SIGKILL)
            self._server.wait()
            self._server = None


# --- the server -------------------------------------------------------------------------------


def serve(handle: int) -> None:
    """Fork a command whenever one is asked for, until the other end is closed."""
    run = _imported()
    line = socket.socket(fileno=handle)
    while True:
        message, handles, _, _ = socket.recv_fds(line, 1, 3)
        if not message:
            return
        child = os.fork()
        if child == 0:
            line.close()
            _become(handles, run)
        for one in handles:
            os.close(one)
        _, status = os.waitpid(child, 0)
        line.send(str(os.waitstatus_to_exitcode(status)).encode())


def _imported() -> Callable[[], object]:
    """Import what commands import, keep it from being touched, and return the program."""
    import cuttable.cli.main

    for name in _PACKAGES:
        package = importlib.import_module(f"cuttable.{name}")
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if ".migrations" not in module.name:
                importlib.import_module(module.name)
    for name in _LIBRARIES:
        importlib.import_module(name)
    # What a command builds on first use, and always the same.
    building = [BaseModel]
    while building:
        kind = building.pop()
        building += kind.__subclasses__()
        if kind is not BaseModel and kind.__module__.startswith("cuttable."):
            kind.model_rebuild()
    gc.collect()
    gc.freeze()
    return cuttable.cli.main.run


def _become(handles: Sequence[int], run: Callable[[], object]) -> NoReturn:
    """Be the command, and end."""
    code = 1
    try:
        with os.fdopen(handles[0], "rb") as asked:
            words, folder, env = pickle.load(asked)  # noqa: S301 - our own
        os.chdir(folder)
        os.environ.clear()
        os.environ.update(env)
        os.dup2(handles[1], 1)
        os.dup2(handles[2], 2)
        signal.signal(signal.SIGINT, signal.default_int_handler)
        sys.argv = ["cuttable", *words]
        sys.stdin = os.fdopen(0, encoding="utf-8", closefd=False)
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
        sys.stderr = os.fdopen(2, "w", encoding="utf-8", errors="backslashreplace", closefd=False)
        try:
            run()
            code = 0
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else int(end.code is not None)
        atexit._run_exitfuncs()
        sys.stdout.flush()
        sys.stderr.flush()
    except BaseException:  # noqa: BLE001 - as the interpreter tells it
        sys.excepthook(*sys.exc_info())
        sys.stderr.flush()
    finally:
        os._exit(code)
