"""Where a ledger is: a SQLite file, or a PostgreSQL database."""

import os
import re
import sys
from pathlib import Path
from typing import Final, Literal, NamedTuple
from urllib.parse import unquote

from ..errors import InputError

VARIABLE: Final = "CUTTABLE_LEDGER"
"""Environment variable that names the ledger where no option does."""

NO_LEDGER: Final = "none"
"""What to name for no ledger: the limits that the tool brings."""

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


class Location(NamedTuple):
    """Where a ledger is.

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
        """The file of a SQLite ledger, whatever folder the tool runs in and its name looks like."""
        return Path(self.text).absolute()


def location_of(text: str) -> Location | None:
    """Return the place a path or URL names; None for ``none``.

    Raises:
        InputError: ``text-empty``, or ``ledger-place-unknown`` for another kind of database.
    """
    text = text.strip()
    if not text:
        raise InputError(
            "text-empty", "the name of the ledger is empty", where="--ledger",
            remedy=f"Name a file or a database, or {NO_LEDGER!r} for the limits the tool brings.",
        )  # fmt: skip
    if text.casefold() == NO_LEDGER:
        return None
    _check_text(text)
    scheme = _SCHEME.match(text)
    if scheme is None:
        if _ALMOST.match(text):
            raise InputError(
                "ledger-place-unknown", "the URL of the ledger has not :// after its kind",
                where="--ledger", remedy=_FORMS,
            )  # fmt: skip
        return Location("sqlite", _expanded(text))
    name, rest = scheme[1].casefold(), text[scheme.end() :]
    if name == "sqlite":
        return Location("sqlite", _expanded(rest.removeprefix("/")))
    if name in ("postgresql", "postgres", "postgresql+psycopg"):
        return Location("postgresql", f"postgresql://{rest}")
    raise InputError(
        "ledger-place-unknown",
        f"a ledger cannot be kept in {scheme[1]!r}",
        where="--ledger",
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
            "ledger-place-unknown", "the name of the ledger is not valid text", where="--ledger",
            remedy=_FORMS,
        ) from None  # fmt: skip


def default_path() -> Path:
    """Return where a person's own ledger is kept: the user's data folder."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "cuttable" / "ledger.db"


def chosen(option: str | None) -> Location | None:
    """Return the place named by an option, else by the environment, else the default."""
    text = option or os.environ.get(VARIABLE, "")
    if text.strip():
        return location_of(text)
    return Location("sqlite", str(default_path()), is_default=True)
