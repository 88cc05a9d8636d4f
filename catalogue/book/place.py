"""Where a book is: a SQLite file, or a PostgreSQL database."""

import os
import re
import sys
from pathlib import Path
from typing import Final, Literal, NamedTuple

from ..errors import InputError

VARIABLE: Final = "CUTTABLE_BOOK"
"""Environment variable that names the book where no option does."""

NO_BOOK: Final = "none"
"""What to name for no book: the limits that the tool brings."""

_SCHEME = re.compile(r"([a-z][a-z0-9+]*)://", re.IGNORECASE)
_PASSWORD = re.compile(r"(://[^:/@]*):[^@]*@")


class Place(NamedTuple):
    """Where a book is.

    Attributes:
        kind: of database.
        text: the path of a SQLite file, or a URL ``postgresql://…`` as libpq takes it.
        is_default: nobody named it.
    """

    kind: Literal["sqlite", "postgresql"]
    text: str
    is_default: bool = False

    @property
    def label(self) -> str:
        """How to call it in messages: without its password."""
        return _PASSWORD.sub(r"\1:***@", self.text)

    @property
    def path(self) -> Path:
        """The file of a SQLite book."""
        return Path(self.text)


def place_of(text: str) -> Place | None:
    """Return the place a path or URL names; None for ``none``.

    Raises:
        InputError: ``text-empty``, or ``book-place-unknown`` for another kind of database.
    """
    text = text.strip()
    if not text:
        raise InputError("text-empty", "the name of the book is empty", where="--book")
    if text.casefold() == NO_BOOK:
        return None
    scheme = _SCHEME.match(text)
    if scheme is None:
        return Place("sqlite", text)
    name, rest = scheme[1].casefold(), text[scheme.end() :]
    if name == "sqlite":
        return Place("sqlite", rest.removeprefix("/"))
    if name in ("postgresql", "postgres", "postgresql+psycopg"):
        return Place("postgresql", f"postgresql://{rest}")
    raise InputError(
        "book-place-unknown",
        f"a book cannot be kept in {scheme[1]!r}",
        where="--book",
        remedy="Name the path of a file, or postgresql://user@host/database.",
    )


def default_path() -> Path:
    """Return where a person's own book is kept: the user's data folder."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "cuttable" / "book.db"


def chosen(option: str | None) -> Place | None:
    """Return the place named by an option, else by the environment, else the default."""
    text = option or os.environ.get(VARIABLE, "")
    if text.strip():
        return place_of(text)
    return Place("sqlite", str(default_path()), is_default=True)
