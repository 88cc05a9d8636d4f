"""Who may use the service: people with roles, their sessions, and tokens for programs.

Passwords are kept as Argon2id hashes, the secrets of sessions and tokens as SHA-256: whoever reads
the ledger learns none of them.
"""

import datetime as dt
import hashlib
import hmac
import secrets
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final, Literal, NamedTuple

from sqlalchemy import delete, func, insert, select, update

from ..errors import InputError
from ..nearest import did_you_mean
from . import schema
from .database import Writing
from .lifecycle import details
from .records import person as tidy
from .records import stamp

if TYPE_CHECKING:
    from sqlalchemy import Connection

Right = Literal["ask", "draft", "approve", "admin"]
RIGHTS: Final[tuple[Right, ...]] = ("ask", "draft", "approve", "admin")
ROLES: Final[dict[str, frozenset[Right]]] = {
    "asker": frozenset({"ask"}),
    "engineer": frozenset({"ask", "draft"}),
    "approver": frozenset({"ask", "draft", "approve"}),
    "administrator": frozenset({"ask", "draft", "approve", "admin"}),
}
"""What each role may do."""

SHORTEST: Final = 12
"""Characters of the shortest password taken."""
LONGEST: Final = 200
SESSION: Final = dt.timedelta(hours=12)
"""How long a session lasts."""
TOKEN_MARK: Final = "cut_"  # noqa: S105 - what every token begins with
LONGEST_TOKEN: Final = dt.timedelta(days=366)


class Person(NamedTuple):
    """Somebody with an account."""

    name: str
    role: str
    is_active: bool
    must_change: bool

    @property
    def rights(self) -> frozenset[Right]:
        """What they may do; nothing once the account is closed."""
        return ROLES[self.role] if self.is_active else frozenset()


class Session(NamedTuple):
    """A person who is signed in, and the secret that their forms must carry."""

    person: Person
    csrf: str


class Token(NamedTuple):
    """A token of a program: what it is for, and until when it holds."""

    id: str
    owner: str
    title: str
    rights: frozenset[Right]
    created: str
    expires: str


# --- people -------------------------------------------------------------------------------


def people(connection: "Connection") -> list[Person]:
    """Return all accounts by name."""
    rows = connection.execute(select(schema.people).order_by(schema.people.c.key)).mappings()
    return [_person(row) for row in rows]


def is_empty(connection: "Connection") -> bool:
    """Say whether nobody has an account yet."""
    return not connection.execute(select(func.count()).select_from(schema.people)).scalar()


def add_person(writing: Writing, name: str, role: str, password: str = "") -> str:
    """Make an account and return its password: the one given, else one to be changed at once.

    Raises:
        InputError: ``account-exists``, ``role-unknown``, ``password-weak``, ``person-unknown``.
    """
    shown = tidy(name)
    _check_role(role)
    is_once = not password
    password = password or secrets.token_urlsafe(12)
    _check_password(password, shown)
    if _find(writing.connection, shown) is not None:
        raise InputError("account-exists", f"{shown} has an account already",
                         remedy="Choose another name.")  # fmt: skip
    writing.connection.execute(
        insert(schema.people),
        {"key": _key(shown), "name": shown, "role": role, "password": _hashed(password),
         "is_active": 1, "must_change": int(is_once), "created": writing.at},
    )  # fmt: skip
    writing.enter("account", "", 0, details(person=shown, role=role))
    return password


def set_role(writing: Writing, name: str, role: str) -> None:
    """Give a person another role; their sessions and tokens lose what it does not have.

    Raises:
        InputError: ``account-unknown``, ``role-unknown``, ``last-administrator``.
    """
    _check_role(role)
    found = known(writing.connection, name)
    if found.role == "administrator" and role != "administrator":
        _check_not_last(writing.connection, found)
    _set(writing, found, role=role)
    writing.enter("account", "", 0, details(person=found.name, role=role))


def close_account(writing: Writing, name: str) -> None:
    """Close an account: its sessions and tokens end. What it did stays in its name.

    Raises:
        InputError: ``account-unknown``, ``last-administrator``.
    """
    found = known(writing.connection, name)
    _check_not_last(writing.connection, found)
    _set(writing, found, is_active=0)
    _end_all(writing.connection, found.name)
    writing.enter("account", "", 0, details(person=found.name, closed=True))


def set_password(writing: Writing, name: str, password: str = "") -> str:
    """Set a password, or one to be changed at once; all sessions of the person end.

    Raises:
        InputError: ``account-unknown``, ``password-weak``.
    """
    found = known(writing.connection, name)
    is_once = not password
    password = password or secrets.token_urlsafe(12)
    _check_password(password, found.name)
    _set(writing, found, password=_hashed(password), must_change=int(is_once), is_active=1)
    _end_sessions(writing.connection, found.name)
    writing.enter("account", "", 0, details(person=found.name, changed="the password"))
    return password


def person_of(connection: "Connection", name: str, password: str) -> Person | None:
    """Return the person of a name and password; takes as long for a name nobody has."""
    row = _find(connection, name)
    kept = row["password"] if row is not None else _nobody()
    is_right = _is_password(kept, password[:LONGEST])
    if row is None or not is_right or not row["is_active"]:
        return None
    return _person(row)


def named(connection: "Connection", name: str) -> Person | None:
    """Return the person of a name that something trusted vouches for."""
    row = _find(connection, name)
    return _person(row) if row is not None and row["is_active"] else None


# --- sessions -----------------------------------------------------------------------------


def begin_session(connection: "Connection", who: Person, now: dt.datetime) -> tuple[str, str]:
    """Sign a person in and return the secret of the session and that of its forms."""
    table = schema.sessions
    connection.execute(delete(table).where(table.c.expires <= stamp(now)))
    secret, csrf = secrets.token_urlsafe(32), secrets.token_urlsafe(24)
    connection.execute(
        insert(table),
        {"secret": _digest(secret), "person": _key(who.name), "csrf": csrf,
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
            .where(sessions.c.secret == _digest(secret), sessions.c.expires > stamp(now))
        )
        .mappings()
        .first()
    )
    if row is None or not row["is_active"]:
        return None
    return Session(_person(row), row["csrf"])


def end_session(connection: "Connection", secret: str) -> None:
    """Sign out."""
    table = schema.sessions
    connection.execute(delete(table).where(table.c.secret == _digest(secret)))


_PROCESS: Final = secrets.token_bytes(32)


def form_key_of(name: str) -> str:
    """Return the key of forms for a person a proxy vouches for; it lasts as long as the process."""
    return hmac.new(_PROCESS, _key(name).encode(), "sha256").hexdigest()


# --- tokens -------------------------------------------------------------------------------


def add_token(
    writing: Writing, owner: Person, title: str, rights: frozenset[Right], until: dt.datetime
) -> tuple[Token, str]:
    """Make a token for a program and return it with its secret, which is shown once.

    Raises:
        InputError: ``token-unusable``: more rights than its owner, no end, or too far an end.
    """
    from .records import moment

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
        {"id": token.id, "secret": _digest(secret), "person": _key(owner.name),
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
        query = query.where(table.c.person == _key(owner))
    return [_token(row) for row in connection.execute(query.order_by(table.c.created)).mappings()]


def end_token(writing: Writing, token: str, owner: str = "") -> None:
    """Revoke a token: of a person, or any.

    Raises:
        InputError: ``token-unknown``.
    """
    table = schema.tokens
    query = delete(table).where(table.c.id == token)
    if owner:
        query = query.where(table.c.person == _key(owner))
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
            .where(table.c.secret == _digest(secret), table.c.expires > stamp(now))
        )
        .mappings()
        .first()
    )
    if row is None or not row["is_active"]:
        return None
    owner = _person(row)
    # What its owner lost since, it lost too.
    return owner, _rights(row["rights"]) & owner.rights


# --- within -------------------------------------------------------------------------------


def _rights(text: str) -> frozenset[Right]:
    wanted = text.split()
    return frozenset(right for right in RIGHTS if right in wanted)


def _token(row: Mapping[Any, Any]) -> Token:
    return Token(row["id"], row["name"], row["title"], _rights(row["rights"]),
                 row["created"], row["expires"])  # fmt: skip


def _person(row: Mapping[Any, Any]) -> Person:
    return Person(row["name"], row["role"], bool(row["is_active"]), bool(row["must_change"]))


def _key(name: str) -> str:
    return tidy(name).casefold().replace(" ", "")


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def is_same_secret(first: str, second: str) -> bool:
    """Compare secrets in a time that tells nothing of them."""
    return hmac.compare_digest(first.encode(), second.encode())


def _find(connection: "Connection", name: str) -> Mapping[Any, Any] | None:
    try:
        key = _key(name[:LONGEST])
    except InputError:
        return None
    query = select(schema.people).where(schema.people.c.key == key)
    return connection.execute(query).mappings().first()


def known(connection: "Connection", name: str) -> Person:
    """Return the person of a name, whether the account is open or closed.

    Raises:
        InputError: ``account-unknown``.
    """
    row = _find(connection, name)
    if row is None:
        names = [item.name for item in people(connection)]
        hint = did_you_mean(name, names, otherwise="See the list of accounts.")
        raise InputError(
            "account-unknown", f"nobody has the name {name.strip()[:60]!r}", remedy=hint
        )
    return _person(row)


def _set(writing: Writing, who: Person, **values: str | int) -> None:
    table = schema.people
    writing.connection.execute(update(table).where(table.c.key == _key(who.name)).values(**values))


def _check_role(role: str) -> None:
    if role not in ROLES:
        raise InputError("role-unknown", f"there is no role {role[:40]!r}",
                         remedy=f"Choose of: {', '.join(ROLES)}.")  # fmt: skip


def _check_password(password: str, name: str) -> None:
    if not SHORTEST <= len(password) <= LONGEST or _key(name) in password.casefold():
        raise InputError(
            "password-weak",
            f"a password has {SHORTEST} to {LONGEST} characters and is not built on the name",
            remedy="Choose four words that do not go together.",
        )


def _check_not_last(connection: "Connection", who: Person) -> None:
    table = schema.people
    others = connection.execute(
        select(func.count()).select_from(table).where(
            table.c.role == "administrator", table.c.is_active == 1, table.c.key != _key(who.name)
        )
    ).scalar()  # fmt: skip
    if who.role == "administrator" and not others:
        raise InputError("last-administrator", f"{who.name} is the last administrator",
                         remedy="Make another one first.")  # fmt: skip


def _end_sessions(connection: "Connection", name: str) -> None:
    table = schema.sessions
    connection.execute(delete(table).where(table.c.person == _key(name)))


def _end_all(connection: "Connection", name: str) -> None:
    _end_sessions(connection, name)
    table = schema.tokens
    connection.execute(delete(table).where(table.c.person == _key(name)))


def _hashed(password: str) -> str:
    from argon2 import PasswordHasher

    return PasswordHasher().hash(password)


def _is_password(kept: str, password: str) -> bool:
    from argon2 import PasswordHasher
    from argon2.exceptions import Argon2Error, InvalidHashError

    try:
        return PasswordHasher().verify(kept, password)
    except (Argon2Error, InvalidHashError):
        return False


_NOBODY: list[str] = []


def _nobody() -> str:
    """Return the hash that names nobody has are compared with."""
    if not _NOBODY:
        _NOBODY.append(_hashed(secrets.token_urlsafe(16)))
    return _NOBODY[0]
