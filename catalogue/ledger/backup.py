"""Copies of a ledger, and verified backups: whole or not at all."""

import contextlib
import sqlite3
from collections.abc import Generator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, insert, select

from ..errors import FileError
from ..files.targets import check_new
from . import schema
from .database import (
    PATIENCE,
    Ledger,
    make_tables,
)
from .db_errors import told
from .location import Location
from .records import stamp
from .verify import Report, verify

if TYPE_CHECKING:
    from sqlalchemy import Connection

TABLES = (
    schema.book, schema.contents, schema.revisions, schema.journal,
    schema.answers, schema.answer_names, schema.keys, schema.people, schema.tokens,
)  # fmt: skip
"""Tables that a backup has: all but the sessions, which end with it."""
ROWS = 5_000
"""Rows copied at a time."""


def copy_sqlite(source: Path, target: Path) -> None:
    """Copy a SQLite ledger while others may write in it; the copy appears whole or not at all.

    Raises:
        FileError: ``output-unwritable``, ``ledger-locked`` or ``ledger-damaged``.
    """
    place = Location("sqlite", str(source))
    with new_beside(target, "part") as beside:
        with (
            told(place),
            contextlib.closing(sqlite3.connect(source, timeout=PATIENCE)) as reading,
            contextlib.closing(sqlite3.connect(beside)) as writing,
        ):
            reading.backup(writing, progress=_impatient)
        beside.replace(target)


def _impatient(status: int, remaining: int, total: int) -> None:
    """Give up on a ledger that stays locked; by itself, copying would wait for ever."""
    _ = remaining, total
    if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        raise sqlite3.OperationalError("database is locked")


@contextlib.contextmanager
def new_beside(target: Path, why: str) -> Generator[Path]:
    """Give a new file beside the one that is to be made; it is gone in the end.

    Raises:
        FileError: ``output-unwritable``.
    """
    beside = target.with_name(f".{target.name}.{why}")
    journal = beside.with_name(f"{beside.name}-journal")
    try:
        for path in (journal, beside):
            path.unlink(missing_ok=True)
        beside.touch()
        yield beside
    except OSError as fault:
        raise unwritable(target, fault.strerror or "it cannot be written") from None
    except FileError as fault:
        if fault.code == "ledger-unwritable":
            raise unwritable(target, fault.what) from None
        raise
    finally:
        for path in (journal, beside):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)


def unwritable(target: Path, reason: str) -> FileError:
    """Return the error for a copy that cannot be written."""
    return FileError(
        "output-unwritable", f"the copy cannot be written ({reason})", where=str(target),
        remedy="Choose a folder that exists, can be written and has room.",
    )  # fmt: skip


def back_up(ledger: Ledger, target: Path, *, is_verified: bool = True) -> Report:
    """Write a backup: a SQLite ledger with the same rows, whichever database the ledger is in.

    The backup is verified before it takes its name, but where it is a copy of what a restore
    replaces.

    Raises:
        InputError: ``output-exists``.
        FileError: ``output-unwritable`` or ``ledger-damaged``.
    """
    check_new(target)
    with new_beside(target, "backup") as beside:
        place = Location("sqlite", str(beside))
        if ledger.place.kind == "sqlite":
            copy_sqlite(ledger.place.path, beside)
        else:
            with (
                contextlib.closing(Ledger(place)) as copying,
                ledger.reading() as source,
                copying.locked() as made,
            ):
                make_tables(made, stamp(ledger.clock()))
                copy_rows(source, made)
        with contextlib.closing(Ledger(place)) as opened:
            report = verify(opened)
        if report.problems and is_verified:
            raise FileError(
                "ledger-damaged", "the ledger is damaged; no backup was made of it",
                where=ledger.place.label, remedy="Restore an earlier backup.",
                problems=report.problems[:20],
            )  # fmt: skip
        beside.replace(target)
    return report


def copy_rows(source: "Connection", target: "Connection") -> None:
    """Replace all rows of one ledger by those of another; who is signed in is signed out."""
    for table in (schema.sessions, *reversed(TABLES)):
        target.execute(delete(table))
    for table in TABLES:
        with source.execute(select(table), execution_options={"yield_per": ROWS}) as rows:
            for part in rows.mappings().partitions(ROWS):
                batch: list[dict[str, Any]] = [dict(row) for row in part]
                target.execute(insert(table), batch)
