"""Make a ledger, or bring an older one to today's form."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import text

from ..errors import FileError, InputError
from .backup import copy_sqlite
from .database import (
    FORMS,
    Clock,
    Ledger,
    Writing,
    check_form,
    copy_name,
    form_of,
    make_tables,
    migrate,
    read_form,
    utc_now,
)
from .lifecycle import details
from .location import Location
from .records import person, stamp
from .releases import load_first

if TYPE_CHECKING:
    from sqlalchemy import Connection


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
        make_folder(place)
    ledger = Ledger(place, clock=clock)
    try:
        _fill(ledger, name, documents)
    except BaseException:
        ledger.close()
        raise
    return ledger


def make_folder(place: Location) -> None:
    """Make the folder that a SQLite ledger is to stand in.

    Raises:
        FileError: ``ledger-unwritable``.
    """
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
