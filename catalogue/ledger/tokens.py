"""Tokens for programs: each does no more than its owner, and ends."""

import datetime as dt
import secrets
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from sqlalchemy import delete, insert, select

from ..errors import InputError
from . import schema
from .accounts import RIGHTS, Person, Right, key_of, person_in
from .credentials import secret_digest
from .database import Writing
from .lifecycle import details
from .records import moment, stamp
from .records import person as tidy

if TYPE_CHECKING:
    from sqlalchemy import Connection

TOKEN_MARK: Final = "cut_"  # noqa: S105 - what every token begins with
LONGEST_TOKEN: Final = dt.timedelta(days=366)


class Token(NamedTuple):
    """A token of a program: what it is for, and until when it holds."""

    id: str
    owner: str
    title: str
    rights: frozenset[Right]
    created: str
    expires: str


def add_token(
    writing: Writing, owner: Person, title: str, rights: frozenset[Right], until: dt.datetime
) -> tuple[Token, str]:
    """Make a token for a program and return it with its secret, which is shown once.

    Raises:
        InputError: ``token-unusable``: more rights than its owner, no end, or too far an end.
    """
    now = moment(writing.at)
    if not rights or not rights <= owner.rights:
        raise InputError("token-unusable", "a token can do no more than its owner",
                         remedy=f"Choose of: {', '.join(sorted(owner.rights))}.")  # fmt: skip
    if not now < until <= now + LONGEST_TOKEN:
        raise InputError("token-unusable", "a token ends within a year",
                         remedy="Name a date within the next 366 days.")  # fmt: skip
    secret = TOKEN_MARK + secrets.token_urlsafe(32)
    token = Token(
        secrets.token_hex(4), owner.name, tidy(title), rights, writing.at, stamp(until)
    )  # fmt: skip
    writing.connection.execute(
        insert(schema.tokens),
        {"id": token.id, "secret": secret_digest(secret), "person": key_of(owner.name),
         "title": token.title, "rights": " ".join(sorted(rights)), "created": token.created,
         "expires": token.expires},
    )  # fmt: skip
    writing.enter("token", "", 0, details(person=owner.name, token=token.id, made=True))
    return token, secret


def tokens(connection: "Connection", owner: str = "") -> list[Token]:
    """Return the tokens of a person, or all."""
    table, persons = schema.tokens, schema.people
    query = select(table, persons.c.name).join(persons, persons.c.key == table.c.person)
    if owner:
        query = query.where(table.c.person == key_of(owner))
    return [_token(row) for row in connection.execute(query.order_by(table.c.created)).mappings()]


def end_token(writing: Writing, token: str, owner: str = "") -> None:
    """Revoke a token: of a person, or any.

    Raises:
        InputError: ``token-unknown``.
    """
    table = schema.tokens
    query = delete(table).where(table.c.id == token)
    if owner:
        query = query.where(table.c.person == key_of(owner))
    # An id is hexadecimal; what is not is not even asked for.
    is_id = token.isascii() and token.isalnum()
    if not is_id or not writing.connection.execute(query).rowcount:
        raise InputError("token-unknown", f"there is no token {token[:20]!r}")
    writing.enter("token", "", 0, details(token=token, ended=True))


def token_of(
    connection: "Connection", secret: str, now: dt.datetime
) -> tuple[Person, frozenset[Right]] | None:
    """Return whose token it is and what it may do; None for none, or one that has ended."""
    if not secret.startswith(TOKEN_MARK):
        return None
    table, persons = schema.tokens, schema.people
    row = (
        connection.execute(
            select(persons, table.c.rights)
            .join(table, table.c.person == persons.c.key)
            .where(table.c.secret == secret_digest(secret), table.c.expires > stamp(now))
        )
        .mappings()
        .first()
    )
    if row is None or not row["is_active"]:
        return None
    owner = person_in(row)
    # What its owner lost since, it lost too.
    return owner, _rights(row["rights"]) & owner.rights


def _rights(text: str) -> frozenset[Right]:
    wanted = text.split()
    return frozenset(right for right in RIGHTS if right in wanted)


def _token(row: Mapping[Any, Any]) -> Token:
    return Token(row["id"], row["name"], row["title"], _rights(row["rights"]),
                 row["created"], row["expires"])  # fmt: skip
