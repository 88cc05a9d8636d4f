"""What databases complain of, as the family of errors people can act on."""

import sqlite3
from collections.abc import Generator
from contextlib import contextmanager
from typing import Any

from ..errors import CuttableError, FileError
from .place import Place

_DAMAGED = ("malformed", "not a database", "file is encrypted", "corrupt", "disk i/o error")
_DENIED = ("authentication", "no password supplied", "permission denied", "not permitted",
           "does not exist")  # fmt: skip


@contextmanager
def told(place: Place) -> Generator[None]:
    """Turn faults of the database, of whichever library, into errors with a remedy."""
    try:
        yield
    except CuttableError:
        raise
    except sqlite3.Error as fault:
        raise _of_sqlite(str(fault), place) from None
    except Exception as fault:
        library = type(fault).__module__.partition(".")[0]
        if library == "sqlalchemy":
            original: Any = getattr(fault, "orig", None) or fault
            if isinstance(original, sqlite3.Error):
                raise _of_sqlite(str(original), place) from None
            raise _of_server(original, place) from None
        if library == "psycopg":
            raise _of_server(fault, place) from None
        raise


def _of_sqlite(text: str, place: Place) -> CuttableError:
    low = text.casefold()
    if "locked" in low or "busy" in low:
        return FileError(
            "book-locked", "another program is writing in the book", where=place.label,
            remedy="Try again; if it stays so, see who has the file open.",
        )  # fmt: skip
    if any(word in low for word in _DAMAGED):
        return damaged(place, text)
    if "full" in low:
        return FileError(
            "book-unwritable", "there is no room left for the book", where=place.label,
            remedy="Nothing was changed. Make room and try again.",
        )  # fmt: skip
    if "readonly" in low or "unable to open" in low:
        return FileError(
            "book-unwritable", f"the book cannot be opened for writing ({text})",
            where=place.label, remedy="See who may write the file and its folder.",
        )  # fmt: skip
    return damaged(place, text)


def damaged(place: Place, reason: str) -> FileError:
    """Return the error for a damaged book, naming the newest backup there is."""
    backups = newest_backups(place)
    remedy = (
        f"The newest backup is {backups[0]}: cuttable book restore {backups[0]}"
        if backups
        else "Restore a backup: cuttable book restore FILE."
    )
    return FileError(
        "book-damaged", f"the book is damaged ({' '.join(reason.split())[:200]})",
        where=place.label, remedy=remedy,
    )  # fmt: skip


def newest_backups(place: Place) -> list[str]:
    """Return backups and copies beside a SQLite book, the newest first."""
    if place.kind != "sqlite":
        return []
    found = place.path.parent.glob(f"{place.path.name}.*.copy")
    try:
        dated = [(path.stat().st_mtime_ns, str(path)) for path in found]
    except OSError:
        return []
    return [path for _, path in sorted(dated, reverse=True)]


def _of_server(fault: Any, place: Place) -> CuttableError:
    text = " ".join(str(fault).split())[:300]
    low = text.casefold()
    state = getattr(fault, "sqlstate", None) or ""
    if state.startswith(("57P", "08")) or ("connection" in low and "refused" in low):
        code, what = "book-unreachable", "the database does not answer"
        remedy = "Nothing was changed. See that the server runs and can be reached."
    elif state in ("55P03", "40P01", "57014") or "lock timeout" in low:
        code, what = "book-locked", "another program is writing in the book"
        remedy = "Try again; if it stays so, see who is connected."
    elif state.startswith("53"):
        code, what = "book-unwritable", "the database has no room left"
        remedy = "Nothing was changed. Make room and try again."
    elif state.startswith("28") or any(word in low for word in _DENIED):
        code, what = "book-denied", "the database does not let this user in"
        remedy = "See user, password, database and rights in the URL of the book."
    elif state in ("25006", "42501"):
        code, what = "book-unwritable", "this user may not write in the book"
        remedy = "Ask the owner of the database for the right to write."
    elif not state:
        code, what = "book-unreachable", "the database does not answer"
        remedy = "Nothing was changed. See that the server runs and can be reached."
    else:
        code, what = "book-damaged", "the database refused"
        remedy = "See that it holds a book: cuttable book status."
    return FileError(code, f"{what} ({text})", where=place.label, remedy=remedy)
