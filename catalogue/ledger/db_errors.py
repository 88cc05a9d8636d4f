"""What databases complain of, as the family of errors people can act on."""

import datetime as dt
import sqlite3
from collections.abc import Generator
from contextlib import contextmanager
from typing import Any

from ..errors import CuttableError, FileError, InputError
from .location import Location
from .records import moment

_DENIED = ("authentication", "no password supplied", "pg_hba.conf", "does not exist",
           "not permitted to log in")  # fmt: skip
"""What a server says that lets nobody in; it gives no code before it has let somebody in."""


@contextmanager
def told(place: Location) -> Generator[None]:
    """Turn faults of the database, of whichever library, into errors with a remedy."""
    try:
        yield
    except CuttableError:
        raise
    except sqlite3.Error as fault:
        raise _of_sqlite(fault, place) from None
    except UnicodeDecodeError:
        # Of a name in a damaged file, in words that the library wanted to say about it.
        raise damaged(place, "text in it cannot be read") from None
    except Exception as fault:
        library = type(fault).__module__.partition(".")[0]
        if library not in ("sqlalchemy", "psycopg"):
            raise
        original: Any = getattr(fault, "orig", None) or fault
        if isinstance(original, sqlite3.Error):
            raise _of_sqlite(original, place) from None
        if type(original).__module__.partition(".")[0] == "psycopg":
            raise _of_server(original, place) from None
        # The library's own complaint: there is not what it must find.
        raise damaged(place, str(original)) from None


def _of_sqlite(fault: sqlite3.Error, place: Location) -> CuttableError:
    text = " ".join(str(fault).split())
    name = str(getattr(fault, "sqlite_errorname", ""))
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")) or "locked" in text:
        return FileError(
            "ledger-locked", "another program is writing in the ledger", where=place.label,
            remedy="Try again; if it stays so, see who has the file open.",
        )  # fmt: skip
    if name in ("SQLITE_FULL", "SQLITE_IOERR_WRITE", "SQLITE_IOERR_FSYNC", "SQLITE_IOERR_TRUNCATE"):
        return FileError(
            "ledger-unwritable", f"there is no room left for the ledger ({text})",
            where=place.label,
            remedy="Nothing was changed. Make room and try again.",
        )  # fmt: skip
    if name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM", "SQLITE_AUTH")):
        return FileError(
            "ledger-unwritable", f"the ledger cannot be opened for writing ({text})",
            where=place.label, remedy="See who may write the file and its folder.",
        )  # fmt: skip
    return damaged(place, text)


def url_unreadable(place: Location) -> InputError:
    """Return the error for a URL of a database that cannot be read."""
    return InputError(
        "ledger-place-unknown", "the URL of the ledger cannot be read", where=place.label,
        remedy="Write it like postgresql://user@host:5432/database; "
        "write @ : / and % of a password as %40 %3A %2F %25.",
    )  # fmt: skip


def last_moment(text: str, place: Location) -> dt.datetime:
    """Return when the last record of a ledger was made.

    Raises:
        FileError: ``ledger-damaged``.
    """
    try:
        return moment(text)
    except (ValueError, TypeError):
        raise damaged(place, "when its last record was made cannot be read") from None


def damaged(place: Location, reason: str) -> FileError:
    """Return the error for a damaged ledger, naming the newest backup there is."""
    backups = newest_backups(place)
    if not backups and _is_other_file(place):
        return FileError(
            "ledger-damaged", "this is no ledger: the file does not begin as one",
            where=place.label,
            remedy="Name the ledger: --ledger PATH. If it was one, restore a backup: "
            "cuttable ledger restore FILE.",
        )  # fmt: skip
    remedy = (
        f"The newest backup is {backups[0]}: cuttable ledger restore {backups[0]}"
        if backups
        else "Restore a backup: cuttable ledger restore FILE."
    )
    return FileError(
        "ledger-damaged", f"the ledger is damaged ({' '.join(reason.split())[:200]})",
        where=place.label, remedy=remedy,
    )  # fmt: skip


_HEADER = b"SQLite format 3\0"


def _is_other_file(place: Location) -> bool:
    """Say whether there is a file at the place that does not begin as a SQLite ledger does."""
    if place.kind != "sqlite":
        return False
    try:
        with place.path.open("rb") as file:
            return file.read(len(_HEADER)) != _HEADER
    except OSError:
        return False


def newest_backups(place: Location) -> list[str]:
    """Return backups and copies beside a SQLite ledger, the newest first.

    Not the copies that a restore keeps: they are of a ledger that was not wanted any more.
    """
    if place.kind != "sqlite":
        return []
    names = (f"{place.path.name}.{why}-*.copy" for why in ("backup", "before-migration"))
    found = [path for name in names for path in place.path.parent.glob(name)]
    try:
        dated = [(path.stat().st_mtime_ns, str(path)) for path in found]
    except OSError:
        return []
    return [path for _, path in sorted(dated, reverse=True)]


def _of_server(fault: Any, place: Location) -> CuttableError:
    text = place.hidden(" ".join(str(fault).split()))[:300]
    low = text.casefold()
    state = getattr(fault, "sqlstate", None) or ""
    if not state and type(fault).__name__ == "ProgrammingError":
        return url_unreadable(place)
    if (
        state.startswith("28")
        or state == "3D000"
        or (not state and any(word in low for word in _DENIED))
    ):
        code, what = "ledger-denied", "the database does not let this user in"
        remedy = "See user, password and database in the URL of the ledger."
    elif state == "42501":
        code, what = "ledger-denied", "this user has no right to what the ledger needs"
        remedy = "Ask the owner of the database for the right to read and write its tables."
    elif state == "25006":
        code, what = "ledger-unwritable", "the database takes no changes"
        remedy = "Nothing was changed. See whether this is a copy of the server that only reads."
    elif state in ("55P03", "40P01", "40001", "57014"):
        code, what = "ledger-locked", "another program is writing in the ledger"
        remedy = "Try again; if it stays so, see who is connected."
    elif state.startswith("53") and state != "53300":
        code, what = "ledger-unwritable", "the database has no room left"
        remedy = "Nothing was changed. Make room and try again."
    elif not state or state.startswith(("57P", "08", "53")):
        code, what = "ledger-unreachable", "the database does not answer"
        remedy = "See that the server runs and can be reached; what was not finished is not done."
    else:
        return damaged(place, text)
    return FileError(code, f"{what} ({text})", where=place.label, remedy=remedy)
