"""Make a book, bring an older one to today's form, back one up, restore one."""

import contextlib
import shutil
import sqlite3
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, insert, select, text

from ..errors import FileError, InputError
from . import schema
from .connect import (
    FORMS,
    Book,
    Clock,
    Writing,
    check_form,
    copy_name,
    form_of,
    make_tables,
    migrate,
    open_book,
    read_form,
    utc_now,
)
from .faults import told
from .lifecycle import details
from .place import Place
from .records import person, stamp
from .releases import load_first
from .verify import Report, verify

if TYPE_CHECKING:
    from sqlalchemy import Connection

TABLES = (
    schema.book, schema.contents, schema.revisions, schema.journal,
    schema.answers, schema.answer_names, schema.keys,
)  # fmt: skip
ROWS = 5_000
"""Rows copied at a time."""


def make_book(
    place: Place,
    who: str,
    documents: Mapping[str, Mapping[str, bytes]],
    *,
    clock: Clock = utc_now,
) -> Book:
    """Make a book with its first release, in one transaction.

    Raises:
        InputError: ``book-exists``.
        FileError: what opening and writing tell.
    """
    name = person(who)
    if place.kind == "sqlite":
        try:
            place.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise FileError(
                "book-unwritable", f"the folder cannot be made ({fault.strerror})",
                where=str(place.path.parent), remedy="Choose another place with --book PATH.",
            ) from None  # fmt: skip
    book = Book(place, clock=clock)
    with book.locked() as connection:
        if form_of(connection):
            raise InputError(
                "book-exists", "there is a book already", where=place.label,
                remedy="See it: cuttable book status.",
            )  # fmt: skip
        at = stamp(clock())
        made = make_tables(connection, at)
        writing = Writing(connection, name, at, 0, "")
        writing.enter("init", "", 0, details(book=made))
        load_first(writing, documents)
        connection.execute(
            text("UPDATE book SET entries = :entries, entries_head = :head"),
            {"entries": writing.entries, "head": writing.head},
        )
    return book


def bring_up(book: Book) -> tuple[str, Path | None]:
    """Bring an older book to today's form, each step in one transaction.

    Returns the form it had, and the copy that was kept (SQLite).

    Raises:
        FileError: ``book-missing`` or ``book-newer``.
    """
    before = read_form(book)
    if before == FORMS[-1]:
        return before, None
    if before not in FORMS:
        check_form(before, book.place)
    copy = None
    if book.place.kind == "sqlite":
        copy = copy_name(book.place, "before-migration")
        copy_sqlite(book.place.path, copy)
    while True:
        with book.locked() as connection:
            form = form_of(connection)
            if form == FORMS[-1]:
                return before, copy
            migrate(connection, FORMS[FORMS.index(form) + 1])


def copy_sqlite(source: Path, target: Path) -> None:
    """Copy a SQLite book while others may write in it; the copy appears whole or not at all.

    Raises:
        FileError: ``output-unwritable`` or ``book-damaged``.
    """
    place = Place("sqlite", str(source))
    beside = target.with_name(f".{target.name}.part")
    try:
        beside.unlink(missing_ok=True)
        with (
            told(place),
            contextlib.closing(sqlite3.connect(source, timeout=5)) as reading,
            contextlib.closing(sqlite3.connect(beside)) as writing,
        ):
            reading.backup(writing)
        beside.replace(target)
    except OSError as fault:
        raise FileError(
            "output-unwritable", f"the copy cannot be written ({fault.strerror})",
            where=str(target), remedy="Choose a folder that exists and can be written.",
        ) from None  # fmt: skip
    finally:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)


def back_up(book: Book, target: Path) -> Report:
    """Write a backup: a SQLite book with the same rows, whichever database the book is in.

    The backup is verified before it takes its name.

    Raises:
        InputError: ``output-exists``.
        FileError: ``output-unwritable`` or ``book-damaged``.
    """
    if target.exists():
        raise InputError(
            "output-exists", "there is a file of this name", where=str(target),
            remedy="Give the backup another name.",
        )  # fmt: skip
    beside = target.with_name(f".{target.name}.part")
    place = Place("sqlite", str(beside))
    try:
        beside.unlink(missing_ok=True)
        if book.place.kind == "sqlite":
            copy_sqlite(book.place.path, beside)
        else:
            copying = Book(place)
            with book.reading() as source, copying.locked() as made:
                make_tables(made, stamp(book.clock()))
                copy_rows(source, made)
            copying.close()
        opened = Book(place)
        report = verify(opened)
        opened.close()
        if report.problems:
            raise FileError(
                "book-damaged", "the book is damaged; no backup was made of it",
                where=book.place.label, remedy="Restore an earlier backup.",
                problems=report.problems[:20],
            )  # fmt: skip
        beside.replace(target)
    except OSError as fault:
        raise FileError(
            "output-unwritable", f"the backup cannot be written ({fault.strerror})",
            where=str(target), remedy="Choose a folder that exists and can be written.",
        ) from None  # fmt: skip
    finally:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
    return report


def copy_rows(source: "Connection", target: "Connection") -> None:
    """Replace all rows of one book by those of another."""
    for table in reversed(TABLES):
        target.execute(delete(table))
    for table in TABLES:
        rows = source.execution_options(yield_per=ROWS).execute(select(table)).mappings()
        for part in rows.partitions(ROWS):
            batch: list[dict[str, Any]] = [dict(row) for row in part]
            target.execute(insert(table), batch)


def restore(place: Place, backup: Path, *, clock: Clock = utc_now) -> tuple[Report, Path | None]:
    """Put a backup in the place of a book; the book that was there is kept as a copy (SQLite).

    Raises:
        FileError: ``backup-damaged`` and what opening and writing tell.
    """
    report = check_backup(backup)
    if place.kind == "sqlite":
        copy = None
        if place.path.exists():
            copy = copy_name(place, "before-restore")
            try:
                # As it is, damage included: it may be wanted to see what happened.
                shutil.copy2(place.path, copy)
            except OSError as fault:
                raise FileError(
                    "output-unwritable", f"the book cannot be copied ({fault.strerror})",
                    where=str(copy), remedy="Make room beside the book.",
                ) from None  # fmt: skip
        place.path.parent.mkdir(parents=True, exist_ok=True)
        journal = place.path.with_name(f"{place.path.name}-journal")
        copy_sqlite_over(backup, place.path, journal)
        return report, copy
    source = Book(Place("sqlite", str(backup)))
    target = Book(place, clock=clock)
    with source.reading() as reading, target.locked() as writing:
        if not form_of(writing):
            make_tables(writing, stamp(clock()))
        check_form(form_of(writing), place)
        copy_rows(reading, writing)
    source.close()
    target.close()
    return report, None


def copy_sqlite_over(backup: Path, path: Path, journal: Path) -> None:
    """Put a copy of a backup in place of a file; a half-done change of the old file goes too."""
    beside = path.with_name(f".{path.name}.restoring")
    copy_sqlite(backup, beside)
    with contextlib.suppress(sqlite3.Error), contextlib.closing(sqlite3.connect(path)) as old:
        # Ends what a killed writer left half done, so that no journal of the old file is left.
        old.execute("BEGIN IMMEDIATE")
        old.execute("ROLLBACK")
    journal.unlink(missing_ok=True)  # of a file that is damaged and goes
    beside.replace(path)


def check_backup(backup: Path) -> Report:
    """Return what a backup holds.

    Raises:
        FileError: ``file-missing`` or ``backup-damaged``.
    """
    if not backup.is_file():
        raise FileError("file-missing", "there is no such backup", where=str(backup))
    try:
        opened = open_book(Place("sqlite", str(backup)))
        report = verify(opened)
        opened.close()
    except FileError as fault:
        if fault.code in ("book-older", "book-newer"):
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
