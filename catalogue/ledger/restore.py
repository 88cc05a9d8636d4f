"""Put a backup in the place of a ledger, and say before what that takes away."""

import contextlib
import datetime as dt
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import inspect, select, text, update

from ..errors import FileError, InputError
from . import schema
from .backup import back_up, copy_rows, copy_sqlite, new_beside, unwritable
from .creation import make_folder
from .database import (
    FORMS,
    Clock,
    Ledger,
    Writing,
    check_form,
    copy_name,
    form_of,
    make_tables,
    open_ledger,
    utc_now,
)
from .lifecycle import details
from .location import Location
from .records import moment, person, stamp
from .verify import Report, verify

if TYPE_CHECKING:
    from sqlalchemy import Connection


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
        make_folder(place)
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
            raise unwritable(copy, trouble.strerror or "it cannot be written") from None
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
    with new_beside(place.path, "restoring") as beside:
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
