"""A process that dies in the middle of any write leaves the old state or the new, never between.

A child process does one thing and dies at its n-th point: before and after every statement and
every commit, within statements and copies (SQLite), around every file that is moved or deleted,
at every length a file can have, or at any time at all. Then the ledger is opened and every row
compared with what it was before and with what it is after.

The suite takes a part of the points, spread over the whole deed, the first and the last among
them; ``python -m pytest tests/unit/ledger/test_kills.py --full`` takes as many as there are, or
120.
"""

import contextlib
import os
import random
import resource
import shutil
import signal
import sqlite3
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import psycopg
import pytest
from cuttable.catalogue.errors import FileError
from cuttable.catalogue.ledger import backup
from cuttable.catalogue.ledger import lifecycle as life
from cuttable.catalogue.ledger.answers import keep_answers
from cuttable.catalogue.ledger.backup import back_up
from cuttable.catalogue.ledger.bundle import Bundle, take_bundle
from cuttable.catalogue.ledger.creation import bring_up
from cuttable.catalogue.ledger.database import FORMS, Ledger, migrate
from cuttable.catalogue.ledger.location import Location
from cuttable.catalogue.ledger.records import Revision, pack
from cuttable.catalogue.ledger.releases import renew
from cuttable.catalogue.ledger.restore import restore
from cuttable.catalogue.ledger.signing import trust
from cuttable.catalogue.ledger.verify import verify
from ledger_workshop import (
    FIRST,
    Child,
    Clock,
    Databases,
    PostgresDatabases,
    Rows,
    SqliteDatabases,
    approved,
    first_release,
    machine,
    older_form,
    opened,
    quick_folder,
    report_on,
    rows,
    some_answers,
    whole_life,
)
from sqlalchemy import event
from sqlalchemy.engine import Engine
from sqlalchemy.engine.default import DefaultDialect

KILLED = 77
"""Status of a process that died at its point."""

# --- what is done -------------------------------------------------------------------------------


def step(who: str, do: Callable[..., object], *words: Any, **more: Any) -> Callable[..., None]:
    """Return what takes one step of a revision's life."""

    def work(place: Location, backup: Path) -> None:
        _ = backup
        ledger = opened(place)
        with ledger.writing(who) as writing:
            do(writing, *words, **more)
        ledger.close()

    return work


def edit_and_submit(writing: Any) -> None:
    """Take two steps in one transaction."""
    life.edit(writing, "alder-320", 2, files={"x": machine("alder-320", mass="777 kg")})
    life.submit(writing, "alder-320", 2)


def keep(place: Location, backup: Path) -> None:
    """Keep answers, one of them with a file."""
    _ = backup
    ledger = opened(place)
    new = some_answers(3, start=50)
    keep_answers(ledger, "Ana", [*new, new[0]._replace(files={"own.toml": b"schema = 1\n"})])
    ledger.close()


def bring(place: Location, backup: Path) -> None:
    """Bring a ledger up to today's form."""
    _ = backup
    with contextlib.closing(Ledger(place, clock=Clock())) as ledger:
        bring_up(ledger)


def put_back(place: Location, backup: Path) -> None:
    """Restore a backup; what was in a server's database is kept in a file first."""
    old = backup.with_name("new.copy") if place.kind == "postgresql" else None
    restore(place, backup, "Lee", clock=Clock(), copy=old)


def save(place: Location, backup: Path) -> None:
    """Back a ledger up; the target is seen whole or not at all."""
    ledger = opened(place)
    back_up(ledger, backup.with_name("new.copy"))
    ledger.close()


class Deed(NamedTuple):
    """Something that writes: what it is done to (by name and maker), and what is done."""

    base: str
    make: Callable[[Location], None]
    do: Callable[[Location, Path], object]


def nothing(place: Location) -> None:
    """Make nothing."""
    _ = place


def damaged_file(place: Location) -> None:
    """Make a file that is no ledger any more."""
    whole_life(place)
    content = place.path.read_bytes()
    place.path.write_bytes(b"\0" * 100 + content[100:])


FOREIGN = "sha256:" + "ab" * 32
"""The key of another ledger."""


def trusting(place: Location) -> None:
    """Make a ledger that trusts another one."""
    first_release(place)
    ledger = opened(place)
    with ledger.writing("Kim") as writing:
        trust(writing, FOREIGN, "North works")
    ledger.close()


def foreign_bundle() -> Bundle:
    """Return a bundle with the history of a model that the ledger does not have."""
    packed: dict[str, tuple[str, bytes]] = {}
    history: list[Revision] = []
    for number in (1, 2, 3):
        digest, packing, body = pack({"x": machine("quince-80", mass=f"{number} t")})
        packed[digest] = (packing, body)
        at = f"2026-11-2{number}T08:00:00.000000Z"
        made = Revision(
            "quince-80", number, number - 1, "approved", digest, "more", "", "Ana", "", at, at, "",
            "Bo", at, at, "", "a test", history[-1].digest if history else "",
        )  # fmt: skip
        history.append(made._replace(digest=made.own_digest()))
    return Bundle(FOREIGN, "Ana", "today", {"quince-80": history}, packed)


NEWER = FIRST | {
    "rules": {"rolling.toml": b"[parameters]\nslow = 0.6\n", "cases/rolling.toml": b""},
    "larch-500": {"larch-500.toml": machine("larch-500")},
}
DEEDS = {
    "make": Deed("nothing", nothing, lambda place, _: first_release(place)),
    "draft": Deed(
        "life", whole_life,
        step("Ana", life.draft, "rowan-150", {"x": machine(mass="1 t")}, reason="more"),
    ),
    "edit": Deed(
        "life", whole_life,
        step("Cem", life.edit, "alder-320", 2, files={"x": machine(mass="2 t")}, reason="other"),
    ),
    "submit": Deed("life", whole_life, step("Ana", edit_and_submit)),
    "return": Deed(
        "life", whole_life, step("Bo", life.give_back, "larch-610", 1, reason="too much"),
    ),
    "withdraw": Deed("life", whole_life, step("Ana", life.withdraw, "alder-320", 2)),
    "impact": Deed(
        "life", whole_life,
        step("Ana", life.attach_impact, "larch-610", 1, report_on("sha256:1", "sha256:2")),
    ),
    "approve": Deed("life", whole_life, step("Bo", life.approve, "larch-610", 1)),
    "trust": Deed("life", whole_life, step("Ana", trust, "ab" * 32, "Hollin")),
    "import": Deed("trusting", trusting, step("Lee", take_bundle, foreign_bundle())),
    "renew": Deed("first", first_release, step("Ana", renew, NEWER, "cuttable 9")),
    "keep": Deed("first", first_release, keep),
    "keep more": Deed("life", whole_life, keep),
    "migrate": Deed("form 0001", older_form(FORMS[0]), bring),
    "restore": Deed("first", first_release, put_back),
    "restore to nothing": Deed("nothing", nothing, put_back),
    "restore over damage": Deed("damaged", damaged_file, put_back),
    "back up": Deed("life", whole_life, save),
}  # fmt: skip
ON_SERVERS = [name for name in DEEDS if name != "restore over damage"]
"""Deeds that can be done to a server's databases: not those that only a file can suffer."""
EVERYWHERE = [
    *(("sqlite", name) for name in DEEDS), *(("postgresql", name) for name in ON_SERVERS)
]  # fmt: skip


# --- where it dies ------------------------------------------------------------------------------


class Points:
    """Counts the points a deed passes, and acts at one of them."""

    def __init__(self, at: int, act: Callable[[], None]) -> None:
        self.at, self.act = at, act
        self.kinds: list[str] = []

    def pass_(self, kind: str) -> None:
        """Pass a point."""
        self.kinds.append(kind)
        if len(self.kinds) == self.at:
            self.act()


def around(points: Points, owner: Any, name: str) -> None:
    """Pass a point before and after every call of a function."""
    inner = getattr(owner, name)

    def outer(*words: Any, **more: Any) -> Any:
        points.pass_(f"before {name}")
        found = inner(*words, **more)
        points.pass_(f"after {name}")
        return found

    setattr(owner, name, outer)


def watch(points: Points, steps: int) -> None:
    """Pass points wherever this process writes; it is a child that ends soon."""

    def at_statement(*words: Any) -> None:
        _ = words
        points.pass_("statement")

    event.listen(Engine, "before_cursor_execute", at_statement)
    event.listen(Engine, "after_cursor_execute", at_statement)
    event.listen(Engine, "begin", at_statement)
    around(points, DefaultDialect, "do_commit")
    around(points, DefaultDialect, "do_rollback")
    for name in ("replace", "unlink", "touch", "mkdir"):
        around(points, Path, name)
    around(points, shutil, "copy2")

    class Copying(sqlite3.Connection):
        def backup(self, target: sqlite3.Connection, **more: Any) -> None:  # type: ignore[override]
            progress = more.pop("progress", None)

            def on(*words: int) -> None:
                points.pass_("copying")
                if progress:
                    progress(*words)

            points.pass_("before copying")
            super().backup(target, pages=4, progress=on, **more)
            points.pass_("after copying")

    connect = sqlite3.connect

    def connected(*words: Any, **more: Any) -> sqlite3.Connection:
        found = connect(*words, **({"factory": Copying} | more))
        found.set_progress_handler(lambda: points.pass_("step"), steps)
        return found

    backup.sqlite3 = Module(sqlite3, connected)  # type: ignore[assignment]

    def opened_(connection: Any, record: object) -> None:
        _ = record
        if isinstance(connection, sqlite3.Connection):
            connection.set_progress_handler(lambda: points.pass_("step"), steps)

    event.listen(Engine, "connect", opened_)


class Module:
    """A module with another ``connect``."""

    def __init__(self, module: Any, connect: Callable[..., Any]) -> None:
        self._module, self.connect = module, connect

    def __getattr__(self, name: str) -> Any:
        return getattr(self._module, name)


def same_ids() -> None:
    """Let a ledger that is made get the same name each time, so that states can be compared."""
    uuid.uuid4 = lambda: uuid.UUID(int=7)  # type: ignore[assignment]


def die() -> None:
    """End at once: no handler, no rollback, no closing."""
    os._exit(KILLED)


# --- what is left -------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def file_of_a_whole_life() -> bytes:
    """Return the backup that is restored, made once."""
    with tempfile.TemporaryDirectory() as folder:
        return SqliteDatabases(Path(folder)).copy_of("life", whole_life).path.read_bytes()


class Bench:
    """One deed, done again and again."""

    def __init__(self, databases: Databases, name: str, folder: Path) -> None:
        self.databases, self.deed, self.folder = databases, DEEDS[name], folder
        self.backup = folder / "life.copy"
        self.backup.write_bytes(file_of_a_whole_life())
        self.place = self.new()
        self.before = self.state()
        self.killed = 0
        self.changed = self.is_changed = False
        place = self.new()
        self.kinds = Child(lambda: self._run(place, 0, die)).outcome().value
        self.clear()
        self.states = [self.before, *self._between(), rows(databases, place)]
        assert self.states[-1] != self.before or name == "back up"

    def new(self) -> Location:
        """Return a place in the state before."""
        if self.deed.base == "nothing":
            return self.databases.empty()
        return self.databases.copy_of(self.deed.base, self.deed.make)

    def _between(self) -> Iterator[Rows]:
        """Yield the states of a migration that goes step by step."""
        if self.deed.do is bring:
            place = self.new()
            for form in FORMS[1:-1]:
                with contextlib.closing(Ledger(place)) as ledger, ledger.locked() as connection:
                    migrate(connection, form)
                yield rows(self.databases, place)

    def clear(self) -> None:
        """Take away a backup or a copy that was made."""
        (self.folder / "new.copy").unlink(missing_ok=True)

    def _run(self, place: Location, at: int, act: Callable[[], None], steps: int = 60) -> list[str]:
        same_ids()
        points = Points(at, act)
        watch(points, steps)
        self.deed.do(place, self.backup)
        return points.kinds

    def state(self) -> Rows | bytes:
        """Return every row; of a file that is damaged, its bytes."""
        try:
            found = rows(self.databases, self.place)
        except sqlite3.DatabaseError:
            return self.place.path.read_bytes()
        return found if any(found.values()) else {}

    def kill_at(self, point: int) -> None:
        """Die at a point, and look at what is left."""
        outcome = Child(lambda: self._run(self.place, point, die)).outcome()
        assert outcome.status == KILLED, (outcome, point)
        self.look(point)

    def look(self, point: object) -> None:
        """Look at what is left of a deed that was not finished."""
        self.killed += 1
        state = self.state()
        assert state in self.states, point
        if state == self.states[-1] or self.databases.kind == "sqlite":
            self.check(state)
        for copy in self.place.path.parent.glob("*.copy") if self.place.kind == "sqlite" else ():
            self.check_copy(copy)
        new = Location("sqlite", str(self.folder / "new.copy"))
        if new.path.exists():
            assert rows(SqliteDatabases(self.folder), new) == self.before
            self.clear()
        if state != self.before or self.databases.kind == "sqlite":
            self.databases.drop()
            self.place = self.new()

    def check(self, state: Rows | bytes) -> None:
        """Verify a ledger, and go on with what was not done."""
        if isinstance(state, bytes) or not state:
            return
        if state["alembic_version"] == [(FORMS[-1],)]:
            with contextlib.closing(opened(self.place)) as ledger:
                assert verify(ledger).problems == ()
        if self.databases.kind == "sqlite":
            with contextlib.closing(self.databases.raw(self.place)) as connection:
                assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]

    def check_copy(self, copy: Path) -> None:
        """See that a copy that has its name is whole."""
        if isinstance(self.before, bytes):
            assert copy.read_bytes() == self.before[: copy.stat().st_size]
        else:
            assert rows(self.databases, Location("sqlite", str(copy))) in self.states

    def goes_on(self) -> None:
        """See that after all the deaths the deed can be done."""
        self.clear()
        outcome = Child(lambda: self._run(self.place, 0, die)).outcome()
        assert outcome.fault is None
        assert self.state() == self.states[-1]


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder for backups."""
    found = quick_folder()
    yield found
    shutil.rmtree(found)


class Cuts(NamedTuple):
    """How many of the points of a deed are tried, and how finely.

    Attributes:
        between: points between statements, by kind of database.
        within: points within statements and copies.
        ended: statements at which the server ends the connection.
        turns: times a process is killed whenever it may be.
        lengths: bytes from one length of a file to the next: of small files, and of larger ones.
    """

    between: dict[str, int]
    within: int
    ended: int
    turns: int
    lengths: tuple[int, int]


DECISIVE = ("before do_commit", "after do_commit", "before replace", "after replace")
"""Points that are always among those tried: on one side of them nothing is done, or all."""

FEWEST = 30
"""Points between statements that the shortest deed (a key that is trusted) passes."""

SOME = Cuts({"sqlite": 20, "postgresql": 14}, 6, 6, 3, (3000, 24_400))
ALL = Cuts({"sqlite": 120, "postgresql": 60}, 25, 12, 6, (1500, 6100))


@pytest.fixture(scope="session")
def cuts(is_full: bool) -> Cuts:
    """How many points are tried."""
    return ALL if is_full else SOME


def spread(points: list[int], most: int) -> list[int]:
    """Return not more than so many points, the first and the last among them."""
    if len(points) <= most:
        return points
    return [points[round(place * (len(points) - 1) / (most - 1))] for place in range(most)]


@pytest.mark.parametrize(("databases", "name"), EVERYWHERE, indirect=["databases"])
def test_a_deed_that_is_cut_off_is_done_or_not_done(
    databases: Databases, folder: Path, name: str, cuts: Cuts
) -> None:
    """At every statement and commit and file, and at many places within statements."""
    bench = Bench(databases, name, folder)
    within = {place for place, kind in enumerate(bench.kinds, 1) if kind in ("step", "copying")}
    between = [place for place in range(1, len(bench.kinds) + 1) if place not in within]
    decisive = {place for place, kind in enumerate(bench.kinds, 1) if kind in DECISIVE}
    chosen = {
        *spread(between, cuts.between[databases.kind]), *spread(sorted(within), cuts.within),
        *decisive,
    }  # fmt: skip
    for point in sorted(chosen):
        bench.kill_at(point)
    bench.goes_on()
    assert decisive, "no commit was seen"
    assert len(between) >= FEWEST, "writing is watched at fewer places than it has"
    assert bench.killed == len(chosen) >= min(len(between), cuts.between[databases.kind])


@pytest.mark.parametrize("name", DEEDS)
def test_a_writer_of_files_may_die_at_every_length(
    sqlite: SqliteDatabases, folder: Path, name: str, cuts: Cuts
) -> None:
    """The system ends it where a file would grow beyond a length: within a commit as well."""
    bench = Bench(sqlite, name, folder)

    def limited(limit: int) -> Callable[[], object]:
        def work() -> object:
            same_ids()
            signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
            return bench.deed.do(bench.place, bench.backup)

        return work

    limit, ended = 0, False
    while not ended:
        outcome = Child(limited(limit)).outcome()
        if outcome.status == -signal.SIGXFSZ:
            bench.look(limit)
        else:
            assert outcome.fault is None, (limit, outcome)
            ended = True
        limit += cuts.lengths[limit >= 12_000]
    assert bench.killed > 3
    sqlite.drop()


@pytest.mark.parametrize(("databases", "name"), EVERYWHERE, indirect=["databases"])
def test_a_writer_may_be_killed_at_any_time(
    databases: Databases, folder: Path, name: str, cuts: Cuts
) -> None:
    """By the system, without a word, whatever it and the server are doing."""
    bench, dice = Bench(databases, name, folder), random.Random(name)
    for turn in range(cuts.turns):
        child = Child(lambda: bench.deed.do(bench.place, bench.backup))
        time.sleep(dice.random() * 0.02 * (turn + 1))
        child.kill()
        outcome = child.outcome()
        assert outcome.status == -signal.SIGKILL or outcome.fault is None
        settle(databases, bench.place)
        if outcome.status == -signal.SIGKILL and name != "make":
            bench.look(turn)
        elif outcome.status == -signal.SIGKILL:  # its name is another each time
            state = bench.state()
            bench.killed += 1
            assert not state or len(state["revisions"]) == len(FIRST)
            databases.drop()
            bench.place = bench.new()
        else:
            databases.drop()
            bench.clear()
            bench.place = bench.new()
    assert bench.killed <= cuts.turns


def settle(databases: Databases, place: Location) -> None:
    """Wait until a server has done with those who died."""
    if not isinstance(databases, PostgresDatabases):
        return
    name = place.text.partition("@/")[2].partition("?")[0]
    query = f"SELECT count(*) FROM pg_stat_activity WHERE datname = '{name}'"  # noqa: S608
    while databases.ask(query) != [(0,)]:
        time.sleep(0.01)


# --- the server dies ------------------------------------------------------------------------------


def server_side(bench: Bench, point: int, end: Callable[[int], None]) -> Callable[[], object]:
    """Return a deed whose server process is ended at a point, by another connection."""
    pids: list[int] = []

    def remember(connection: Any, record: object) -> None:
        _ = record
        if isinstance(connection, psycopg.Connection):
            pids.append(connection.info.backend_pid)

    def act() -> None:
        for pid in pids:
            with contextlib.suppress(ProcessLookupError):  # it has ended already
                end(pid)

    def work() -> object:
        event.listen(Engine, "connect", remember)
        return bench._run(bench.place, point, act)

    return work


@pytest.mark.parametrize("name", ON_SERVERS)
def test_a_server_may_end_a_connection_at_every_statement(
    postgres: PostgresDatabases, folder: Path, name: str, cuts: Cuts
) -> None:
    """It is told as an error, and nothing is done; or it was done already."""
    bench = Bench(postgres, name, folder)
    chosen = [place for place, kind in enumerate(bench.kinds, 1)
              if kind == "statement" or "commit" in kind]  # fmt: skip
    for point in spread(chosen, cuts.ended):

        def end(pid: int) -> None:
            postgres.ask(f"SELECT pg_terminate_backend({pid}, 5000)")

        outcome = Child(server_side(bench, point, end)).outcome()
        if outcome.fault is not None:
            assert isinstance(outcome.fault, FileError), outcome.fault
            assert outcome.fault.code == "ledger-unreachable"
        settle(postgres, bench.place)
        bench.look(point)
    bench.goes_on()
    assert bench.killed == min(len(chosen), cuts.ended) > 5
    postgres.drop()


@pytest.mark.parametrize("name", ["make", "approve", "keep", "restore", "migrate"])
def test_a_server_may_crash(postgres: PostgresDatabases, folder: Path, name: str) -> None:
    """One of its processes is killed, all of it starts again; what was promised is there."""
    bench = Bench(postgres, name, folder)
    chosen = [place for place, kind in enumerate(bench.kinds, 1)
              if kind == "statement" or "commit" in kind]  # fmt: skip
    for point in (chosen[len(chosen) // 2], chosen[-3]):
        outcome = Child(
            server_side(bench, point, lambda pid: os.kill(pid, signal.SIGKILL))
        ).outcome()
        if outcome.fault is not None:
            assert isinstance(outcome.fault, FileError), outcome.fault
            assert outcome.fault.code == "ledger-unreachable"
        wait_for(postgres)
        bench.look(point)
    bench.goes_on()
    assert bench.killed == 2
    postgres.drop()


def wait_for(postgres: PostgresDatabases) -> None:
    """Wait until a server that crashed answers again."""
    until = time.monotonic() + 240
    while True:
        try:
            postgres.ask("SELECT 1")
        except psycopg.OperationalError:
            assert time.monotonic() < until
            time.sleep(0.05)
        else:
            return


def test_a_ledger_that_was_approved_stays_approved(databases: Databases) -> None:
    """What somebody was told is done, is done: the process may die right after."""
    place = databases.copy_of("life", whole_life)

    def work() -> None:
        ledger = opened(place)
        with ledger.reading() as connection:
            made = life.revision(connection, "larch-610", 1)
        approved(ledger, made)
        os._exit(KILLED)

    assert Child(work).outcome().status == KILLED
    ledger = opened(place)
    with ledger.reading() as connection:
        assert life.revision(connection, "larch-610", 1).state == "approved"
    assert verify(ledger).problems == ()
    ledger.close()
