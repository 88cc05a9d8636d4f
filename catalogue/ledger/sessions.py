"""Sessions of people who are signed in to the service."""

import datetime as dt
import hmac
import secrets
from typing import TYPE_CHECKING, Final, NamedTuple

from sqlalchemy import delete, insert, select

from . import schema
from .accounts import Person, key_of, person_in
from .credentials import secret_digest
from .records import stamp

if TYPE_CHECKING:
    from sqlalchemy import Connection

SESSION: Final = dt.timedelta(hours=12)
"""How long a session lasts."""


class Session(NamedTuple):
    """A person who is signed in, and the secret that their forms must carry."""

    person: Person
    csrf: str


def begin_session(connection: "Connection", who: Person, now: dt.datetime) -> tuple[str, str]:
    """Sign a person in and return the secret of the session and that of its forms."""
    table = schema.sessions
    connection.execute(delete(table).where(table.c.expires <= stamp(now)))
    secret, csrf = secrets.token_urlsafe(32), secrets.token_urlsafe(24)
    connection.execute(
        insert(table),
        {"secret": secret_digest(secret), "person": key_of(who.name), "csrf": csrf,
         "expires": stamp(now + SESSION)},
    )  # fmt: skip
    return secret, csrf


def session_of(connection: "Connection", secret: str, now: dt.datetime) -> Session | None:
    """Return the session of a secret, None where there is none any more."""
    sessions, table = schema.sessions, schema.people
    row = (
        connection.execute(
            select(table, sessions.c.csrf)
            .join(sessions, sessions.c.person == table.c.key)
            .where(sessions.c.secret == secret_digest(secret), sessions.c.expires > stamp(now))
        )
        .mappings()
        .first()
    )
    if row is None or not row["is_active"]:
        return None
    return Session(person_in(row), row["csrf"])


def end_session(connection: "Connection", secret: str) -> None:
    """Sign out."""
    table = schema.sessions
    connection.execute(delete(table).where(table.c.secret == secret_digest(secret)))


_PROCESS: Final = secrets.token_bytes(32)


def form_key_of(name: str) -> str:
    """Return the key of forms for a person a proxy vouches for; it lasts as long as the process."""
    return hmac.new(_PROCESS, key_of(name).encode(), "sha256").hexdigest()
