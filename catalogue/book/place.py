"""Where a book is: a SQLite file, or a PostgreSQL database."""

import os
import re
import sys
from pathlib import Path
from typing import Final, Literal, NamedTuple
from urllib.parse import unquote

from ..errors import InputError

VARIABLE: Final = "CUTTABLE_BOOK"
"""Environment variable that names the book where no option does."""

NO_BOOK: Final = "none"
"""What to name for no book: the limits that the tool brings."""

_SCHEME = re.compile(r"([a-z][a-z0-9+]*)://", re.IGNORECASE)
_ALMOST = re.compile(
    r"(?:(?:postgres(?:ql)?|sqlite|mysql|mariadb|oracle|mssql)(?:\+\w*)?:|[a-z][a-z0-9+]+:/.*@)",
    re.IGNORECASE,
)
"""What was meant as a URL and is none; as the name of a file it would be told, password and all."""
_PASSWORDS = (
    re.compile(r"://[^:/@]*:([^@]*)@"),
    re.compile(r"://[^:/@]*:(.*)@"),  # as far as it may go where an @ in it is not written as %40
    re.compile(r"[?&](?:ssl)?password=([^&]*)", re.IGNORECASE),
)


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
        return self.text if self.kind == "sqlite" else self.hidden(self.text)

    def hidden(self, text: str) -> str:
        """Return a message about the place with its passwords taken out of it."""
        found = {str(match[1]) for pattern in _PASSWORDS for match in pattern.finditer(self.text)}
        # Whoever reads a password with signs in it as something else tells pieces of it.
        found |= {piece for password in found for piece in re.split(r"[@:/?#]", password)}
        for password in sorted(found | {unquote(item) for item in found}, key=len, reverse=True):
            if password:
                word = f"(?<![A-Za-z0-9]){re.escape(password)}(?![A-Za-z0-9])"
                text = re.sub(word, "***", text)
        return text

    @property
    def path(self) -> Path:
        """The file of a SQLite book, whatever folder the tool runs in and its name looks like."""
        return Path(self.text).absolute()


def place_of(text: str) -> Place | None:
    """Return the place a path or URL names; None for ``none``.

    Raises:
        InputError: ``text-empty``, or ``book-place-unknown`` for another kind of database.
    """
    text = text.strip()
    if not text:
        raise InputError(
            "text-empty", "the name of the book is empty", where="--book",
            remedy=f"Name a file or a database, or {NO_BOOK!r} for the limits the tool brings.",
        )  # fmt: skip
    if text.casefold() == NO_BOOK:
        return None
    _check_text(text)
    scheme = _SCHEME.match(text)
    if scheme is None:
        if _ALMOST.match(text):
            raise InputError(
                "book-place-unknown", "the URL of the book has not :// after its kind",
                where="--book", remedy=_FORMS,
            )  # fmt: skip
        return Place("sqlite", _expanded(text))
    name, rest = scheme[1].casefold(), text[scheme.end() :]
    if name == "sqlite":
        return Place("sqlite", _expanded(rest.removeprefix("/")))
    if name in ("postgresql", "postgres", "postgresql+psycopg"):
        return Place("postgresql", f"postgresql://{rest}")
    raise InputError(
        "book-place-unknown",
        f"a book cannot be kept in {scheme[1]!r}",
        where="--book",
        remedy=_FORMS,
    )


_FORMS: Final = "Name the path of a file, or postgresql://user@host/database."


def _expanded(text: str) -> str:
    """Return a path with ``~`` as the folder it stands for: a file may have it, no shell does."""
    if not text.startswith("~"):
        return text
    try:
        return str(Path(text).expanduser())
    except RuntimeError:  # nobody is called so
        return text


def _check_text(text: str) -> None:
    """Refuse a name in bytes that are no text, as the environment may hold them."""
    try:
        text.encode()
    except UnicodeEncodeError:
        raise InputError(
            "book-place-unknown", "the name of the book is not valid text", where="--book",
            remedy=_FORMS,
        ) from None  # fmt: skip


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
