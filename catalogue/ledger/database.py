"""Open a ledger: connections, transactions, and the form of the tables.

Everything is written through :meth:`Ledger.writing`: one transaction that takes the one lock for
writers first, so that what it reads stays true until it ends. A process that dies within it
leaves the ledger as it was.
"""

import datetime as dt
import time
import uuid
from collections.abc import Callable, Generator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import URL, create_engine, event, insert, inspect, select, text, update
from sqlalchemy.exc import ArgumentError

from ..errors import FileError, InputError
from . import schema
from .db_errors import damaged, last_moment, told, url_unreadable
from .location import Location
from .records import Entry, person, stamp

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

FORMS: Final = ("0001", "0002", "0003", "0004")
"""Forms of the tables, oldest first; the last is today's."""

PATIENCE: Final = 5.0
"""Seconds to wait for another writer."""

LOCK: Final = 0x637574
"""Number of the lock that writers of a PostgreSQL ledger take."""

SKEW: Final = dt.timedelta(minutes=5)
"""How far clocks of a team may differ; further back, a clock was set back."""

Clock = Callable[[], dt.datetime]


def utc_now() -> dt.datetime:
    """Return this moment."""
    return dt.datetime.now(dt.UTC)


class Writing:
    """A transaction that writes: connection, person and moment."""

    def __init__(
        self, connection: "Connection", who: str, at: str, entries: int, head: str
    ) -> None:
        self.connection, self.who, self.at = connection, who, at
        self.entries, self.head = entries, head

    def enter(self, action: str, document: str, number: int, details: str = "") -> int:
        """Append an entry to the journal and return its number."""
        entry = Entry(
            self.entries + 1, self.at, self.who, action, document, number, details, self.head
        )
        entry = entry._replace(digest=entry.own_digest())
        self.connection.execute(insert(schema.journal), entry._asdict())
        self.entries, self.head = entry.entry, entry.digest
        return entry.entry


class Ledger:
    """A ledger that is open.

    Args:
        place: where it is.
        clock: tells the time.
        patience: seconds to wait for another writer.
    """

    def __init__(
        self, place: Location, *, clock: Clock = utc_now, patience: float = PATIENCE
    ) -> None:
        self.place, self.clock, self.patience = place, clock, patience
        with told(place):
            self.engine = _engine(place, patience)

    def close(self) -> None:
        """Let go of the connections."""
        self.engine.dispose()

    # --- transactions ---------------------------------------------------------------------

    @contextmanager
    def reading(self) -> "Generator[Connection]":
        """Give a connection that sees one state of the ledger."""
        with told(self.place), self.engine.connect() as connection:
            if self.place.kind == "postgresql":
                connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection

    @contextmanager
    def locked(self) -> "Generator[Connection]":
        """Give a connection within a transaction that holds the lock for writers."""
        with told(self.place), self.engine.connect() as connection:
            if self.place.kind == "sqlite":
                # Pages of a transaction that is not ended never reach the file unjournalled.
                connection.execution_options(is_writing=True)
            else:
                # Whoever waited for the lock must see what its holder wrote.
                connection.execution_options(isolation_level="READ COMMITTED")
            with connection.begin():
                if self.place.kind == "postgresql":
                    connection.execute(
                        text(f"SET LOCAL lock_timeout = {max(1, int(self.patience * 1000))}")
                    )
                    connection.execute(text(f"SELECT pg_advisory_xact_lock({LOCK})"))
                yield connection

    @contextmanager
    def writing(self, who: str) -> Generator[Writing]:
        """Give a transaction in which a person changes the ledger.

        Raises:
            FileError: ``ledger-locked``, ``clock-behind`` and what :func:`told` tells.
        """
        name = person(who)
        with self.locked() as connection:
            row = connection.execute(select(schema.book)).mappings().one()
            at = self.next_moment(row["last_time"])
            writing = Writing(connection, name, at, row["entries"], row["entries_head"])
            yield writing
            if writing.entries == row["entries"]:
                return
            connection.execute(
                update(schema.book).values(
                    last_time=at, entries=writing.entries, entries_head=writing.head
                )
            )

    def next_moment(self, last: str) -> str:
        """Return the moment of the next record: after the last one.

        Raises:
            FileError: ``clock-behind``: this machine's clock was set back.
        """
        now, before = self.clock(), last_moment(last, self.place)
        check_clock(now, before, self.place)
        return stamp(max(now, before + dt.timedelta(microseconds=1)))


def check_clock(now: dt.datetime, last: dt.datetime, place: Location) -> None:
    """Refuse a clock that is far behind the last record of a ledger.

    Raises:
        FileError: ``clock-behind``.
    """
    if now + SKEW < last:
        raise FileError(
            "clock-behind",
            f"this machine's clock says {now:%Y-%m-%d %H:%M} UTC, but the last record of the "
            f"ledger is of {last:%Y-%m-%d %H:%M}",
            where=place.label,
            remedy="Set the clock right: limits in force follow from it.",
        )


def _engine(place: Location, patience: float) -> "Engine":
    if place.kind == "postgresql":
        url = place.text.replace("postgresql://", "postgresql+psycopg://", 1)
        try:
            how = {"connect_timeout": max(2, round(patience)), "client_encoding": "utf8"}
            return create_engine(url, connect_args=how)
        except (ArgumentError, ValueError):
            raise url_unreadable(place) from None
        except ModuleNotFoundError as fault:
            raise InputError(
                "option-needs", f"a ledger in PostgreSQL needs the package {fault.name}",
                remedy="Install it: pip install 'cuttable[postgres]'.",
            ) from None  # fmt: skip
    file = URL.create("sqlite", database=str(place.path))
    engine = create_engine(file, connect_args={"timeout": patience})

    def connected(connection: Any, record: object) -> None:
        _ = record
        # The library would begin transactions late and end them before changes of tables.
        connection.isolation_level = None
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")

    def begun(connection: "Connection") -> None:
        is_writing = connection.get_execution_options().get("is_writing", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if is_writing else "BEGIN")

    event.listen(engine, "connect", connected)
    event.listen(engine, "begin", begun)
    return engine


# --- opening and making -------------------------------------------------------------------


def form_of(connection: "Connection") -> str:
    """Return the form of a ledger's tables; empty where there is no ledger."""
    names = set(inspect(connection).get_table_names())
    if "alembic_version" not in names or "book" not in names:
        return ""
    return str(connection.execute(text("SELECT version_num FROM alembic_version")).scalar() or "")


def open_ledger(place: Location, *, clock: Clock = utc_now, patience: float = PATIENCE) -> Ledger:
    """Open a ledger that is there.

    Raises:
        FileError: ``ledger-missing``, ``ledger-older``, ``ledger-newer``, ``ledger-damaged`` …
    """
    ledger = Ledger(place, clock=clock, patience=patience)
    try:
        check_form(read_form(ledger), place)
    except BaseException:
        ledger.close()
        raise
    return ledger


def read_form(ledger: Ledger) -> str:
    """Return the form of a ledger's tables; empty where there is none, nothing is made."""
    place = ledger.place
    if place.kind == "sqlite" and not place.path.is_file():
        return ""
    with ledger.reading() as connection:
        return form_of(connection)


def check_form(form: str, place: Location) -> None:
    """Refuse a ledger that is not of today's form.

    Raises:
        FileError: ``ledger-missing``, ``ledger-older`` or ``ledger-newer``.
    """
    if not form:
        raise FileError(
            "ledger-missing", "there is no ledger", where=place.label,
            remedy="Make one: cuttable ledger init.",
        )  # fmt: skip
    if form not in FORMS:
        raise FileError(
            "ledger-newer", f"the ledger is of a later form ({form}) than this tool knows",
            where=place.label, remedy="Use the newer cuttable that wrote it.",
        )  # fmt: skip
    if form != FORMS[-1]:
        raise FileError(
            "ledger-older", f"the ledger is of an older form ({form}; today's is {FORMS[-1]})",
            where=place.label,
            remedy="Bring it up: cuttable ledger migrate. A copy of it is kept.",
        )  # fmt: skip


def migrate(connection: "Connection", to: str) -> None:
    """Bring the tables to a later form, within the connection's transaction."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, to)


def make_tables(connection: "Connection", at: str, form: str = FORMS[-1]) -> str:
    """Make an empty ledger within the connection's transaction, and return its id."""
    migrate(connection, form)
    first: dict[str, Any] = {
        "one": 1,
        "id": uuid.uuid4().hex,
        "last_time": at,
        "entries": 0,
        "entries_head": "",
    }
    columns = ", ".join(first)
    values = ", ".join(f":{name}" for name in first)
    connection.execute(text(f"INSERT INTO book ({columns}) VALUES ({values})"), first)  # noqa: S608
    return first["id"]


def copy_name(place: Location, why: str) -> Path:
    """Return an unused name beside a SQLite ledger for a copy of it."""
    day = time.strftime("%Y%m%dT%H%M%S", time.gmtime())
    for number in range(1, 1000):
        path = place.path.with_name(f"{place.path.name}.{why}-{day}-{number}.copy")
        if not path.exists():
            return path
    raise damaged(place, "a thousand copies of this second lie beside it")
