"""Make a ledger, bring an older one to today's form, back one up, restore one."""

import contextlib
import datetime as dt
import shutil
import sqlite3
from collections.abc import Callable, Generator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from sqlalchemy import delete, insert, inspect, select, text, update

from ..errors import FileError, InputError
from ..files.targets import check_new
from . import schema
from .database import (
    FORMS,
    PATIENCE,
    Clock,
    Ledger,
    Writing,
    check_form,
    copy_name,
    form_of,
    make_tables,
    migrate,
    open_ledger,
    read_form,
    utc_now,
)
from .db_errors import told
from .lifecycle import details
from .location import Location
from .records import moment, person, stamp
from .releases import load_first
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


def make_ledger(
    place: Location,
    who: str,
    documents: Mapping[str, Mapping[str, bytes]],
    *,
    clock: Clock = utc_now,
) -> Ledger:
    """Make a ledger with its first release, in one transaction.

    Raises:
        InputError: ``ledger-exists``.
        FileError: what opening and writing tell.
    """
    name = person(who)
    if place.kind == "sqlite":
        _make_folder(place)
    ledger = Ledger(place, clock=clock)
    try:
        _fill(ledger, name, documents)
    except BaseException:
        ledger.close()
        raise
    return ledger


def _make_folder(place: Location) -> None:
    try:
        place.path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise FileError(
            "ledger-unwritable", f"the folder cannot be made ({fault.strerror})",
            where=str(place.path.parent), remedy="Choose another place with --ledger PATH.",
        ) from None  # fmt: skip


def _fill(ledger: Ledger, name: str, documents: Mapping[str, Mapping[str, bytes]]) -> None:
    with ledger.locked() as connection:
        if form_of(connection):
            raise InputError(
                "ledger-exists", "there is a ledger already", where=ledger.place.label,
                remedy="See it: cuttable ledger status.",
            )  # fmt: skip
        _check_encoding(connection, ledger.place)
        at = stamp(ledger.clock())
        made = make_tables(connection, at)
        writing = Writing(connection, name, at, 0, "")
        writing.enter("init", "", 0, details(book=made))
        load_first(writing, documents)
        connection.execute(
            text("UPDATE book SET entries = :entries, entries_head = :head"),
            {"entries": writing.entries, "head": writing.head},
        )


def _check_encoding(connection: "Connection", place: Location) -> None:
    """Refuse a database that cannot hold every name that people have."""
    if place.kind != "postgresql":
        return
    encoding = str(connection.execute(text("SHOW server_encoding")).scalar())
    if encoding != "UTF8":
        raise InputError(
            "ledger-place-unknown", f"the database keeps text as {encoding}, a ledger needs UTF8",
            where=place.label,
            remedy="Make it with: CREATE DATABASE … ENCODING 'UTF8' TEMPLATE template0.",
        )  # fmt: skip


def bring_up(ledger: Ledger) -> tuple[str, Path | None]:
    """Bring an older ledger to today's form, all steps in one transaction.

    So a second one who does it finds it done, and one copy is kept, of the ledger as it was.
    Returns the form it had, and the copy that was kept (SQLite).

    Raises:
        FileError: ``ledger-missing`` or ``ledger-newer``.
    """
    before = read_form(ledger)
    if before == FORMS[-1]:
        return before, None
    if before not in FORMS:
        check_form(before, ledger.place)
    copy = None
    with ledger.locked() as connection:
        form = form_of(connection)
        if form != FORMS[-1] and ledger.place.kind == "sqlite":
            copy = copy_name(ledger.place, "before-migration")
            copy_sqlite(ledger.place.path, copy)
        for step in FORMS[FORMS.index(form) + 1 :]:
            migrate(connection, step)
    return before, copy


def copy_sqlite(source: Path, target: Path) -> None:
    """Copy a SQLite ledger while others may write in it; the copy appears whole or not at all.

    Raises:
        FileError: ``output-unwritable``, ``ledger-locked`` or ``ledger-damaged``.
    """
    place = Location("sqlite", str(source))
    with _beside(target, "part") as beside:
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
def _beside(target: Path, why: str) -> Generator[Path]:
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
        raise _unwritable(target, fault.strerror or "it cannot be written") from None
    except FileError as fault:
        if fault.code == "ledger-unwritable":
            raise _unwritable(target, fault.what) from None
        raise
    finally:
        for path in (journal, beside):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)


def _unwritable(target: Path, reason: str) -> FileError:
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
    with _beside(target, "backup") as beside:
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


class Loss(NamedTuple):
    """What a restore would take away.

    Attributes:
        is_other: the backup is of another ledger.
        entries, answers: journal entries and kept answers that the backup does not have.
    """

    is_other: bool
    entries: int
    answers: int

    def __bool__(self) -> bool:
        """Say whether anything is lost."""
        return self.is_other or self.entries > 0 or self.answers > 0


def loss(place: Location, backup: Path) -> Loss:
    """Return what restoring a backup would take away; nothing where the ledger cannot be read."""

    def heads(which: Location) -> tuple[str, int, int]:
        with contextlib.closing(open_ledger(which)) as ledger, ledger.reading() as connection:
            row = connection.execute(select(schema.book)).mappings().one()
            return row["id"], row["entries"], row["answers"]

    name, entries, answers = heads(Location("sqlite", str(backup)))
    try:
        ours = heads(place)
    except FileError:
        return Loss(is_other=False, entries=0, answers=0)
    return Loss(ours[0] != name, ours[1] - entries, ours[2] - answers)


def restore(
    place: Location, backup: Path, who: str, *, clock: Clock = utc_now, copy: Path | None = None
) -> tuple[Report, Path | None]:
    """Put a backup in the place of a ledger; the ledger that was there is kept as a copy.

    Rows are replaced in one transaction, which waits for other writers and is waited for. The
    journal tells of it, in a person's name.

    Args:
        place: of the ledger.
        backup: a SQLite ledger.
        who: the person.
        clock: tells the time.
        copy: where the ledger that is there is kept; needed for a database that holds one.

    Raises:
        InputError: ``option-needs`` where no copy is named for a database.
        FileError: ``backup-damaged``, ``ledger-locked`` and what opening and writing tell.
    """
    name = person(who)
    report = check_backup(backup)

    def note(connection: "Connection") -> None:
        _note_restore(connection, name, report, clock)

    if place.kind == "sqlite":
        _make_folder(place)
        if not place.path.exists():
            _put_file(place, backup, note)
            return report, None
        copy = copy or copy_name(place, "before-restore")
    try:
        _replace_rows(place, backup, copy, clock, note)
    except FileError as fault:
        if place.kind != "sqlite" or copy is None or fault.code != "ledger-damaged":
            raise
        try:
            # As it is, damage included: it may be wanted to see what happened.
            shutil.copy2(place.path, copy)
        except OSError as trouble:
            raise _unwritable(copy, trouble.strerror or "it cannot be written") from None
        _put_file(place, backup, note)
    return report, copy


def _note_restore(connection: "Connection", who: str, report: Report, clock: Clock) -> None:
    """Enter a restore into the journal, in its transaction; the clock may be behind the backup."""
    row = connection.execute(select(schema.book)).mappings().one()
    at = stamp(max(clock(), moment(row["last_time"]) + dt.timedelta(microseconds=1)))
    writing = Writing(connection, who, at, row["entries"], row["entries_head"])
    writing.enter("restore", "", 0, details(entries=report.entries, answers=report.answers))
    connection.execute(
        update(schema.book).values(last_time=at, entries=writing.entries, entries_head=writing.head)
    )


def _keep_copy(place: Location, copy: Path | None, clock: Clock, form: str) -> None:
    """Write a copy of the ledger in a database, before its rows are replaced."""
    if form != FORMS[-1]:
        return  # empty, or refused for its form
    if copy is None:
        raise InputError(
            "option-needs", "the ledger that is there must be kept",
            remedy="Name a file for a copy of it: --copy FILE.",
        )  # fmt: skip
    with contextlib.closing(Ledger(place, clock=clock)) as there:
        back_up(there, copy, is_verified=False)  # it may be damaged, and be wanted


Note = Callable[["Connection"], None]


def _replace_rows(
    place: Location, backup: Path, copy: Path | None, clock: Clock, note: Note
) -> None:
    with (
        contextlib.closing(Ledger(Location("sqlite", str(backup)))) as source,
        contextlib.closing(Ledger(place, clock=clock)) as target,
        target.locked() as writing,
    ):
        form = form_of(writing)
        # Copied under the lock: what a writer has just done is in the copy or in the ledger.
        if place.kind == "postgresql":
            _keep_copy(place, copy, clock, form)
        elif copy is not None:
            copy_sqlite(place.path, copy)
            if form != FORMS[-1]:
                for name, _ in reversed(inspect(writing).get_sorted_table_and_fkc_names()):
                    if name:
                        writing.execute(text(f'DROP TABLE "{name}"'))
                form = ""
        if not form:
            make_tables(writing, stamp(clock()))
        else:
            check_form(form, place)
        with source.reading() as reading:
            copy_rows(reading, writing)
        note(writing)


def _put_file(place: Location, backup: Path, note: Note) -> None:
    """Put a copy of a backup where there is no ledger, or one that is damaged."""
    with _beside(place.path, "restoring") as beside:
        copy_sqlite(backup, beside)
        with (
            contextlib.closing(Ledger(Location("sqlite", str(beside)))) as made,
            made.locked() as rows,
        ):
            note(rows)
        # A half-done change of the damaged file goes with it.
        place.path.with_name(f"{place.path.name}-journal").unlink(missing_ok=True)
        beside.replace(place.path)


def check_backup(backup: Path) -> Report:
    """Return what a backup holds.

    Raises:
        FileError: ``file-missing`` or ``backup-damaged``.
    """
    if not backup.is_file():
        raise FileError("file-missing", "there is no such backup", where=str(backup))
    try:
        with contextlib.closing(open_ledger(Location("sqlite", str(backup)))) as opened:
            report = verify(opened)
    except FileError as fault:
        if fault.code in ("ledger-older", "ledger-newer"):
            raise
        raise FileError(
            "backup-damaged", f"the backup cannot be read: {fault.what}", where=str(backup),
            remedy="Nothing was changed. Take another backup.",
        ) from None  # fmt: skip
    if report.problems:
        raise FileError(
            "backup-damaged", "the backup is not as it was written", where=str(backup),
            remedy="Nothing was changed. Take another backup.", problems=report.problems[:20],
        )  # fmt: skip
    return report
