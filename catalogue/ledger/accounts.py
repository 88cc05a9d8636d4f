"""Who may use the service: people with roles.

Beside them their :mod:`.sessions` and the :mod:`.tokens` of programs.
"""

import secrets
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final, Literal, NamedTuple

from sqlalchemy import delete, func, insert, select, update

from ..errors import InputError
from ..nearest import did_you_mean
from . import schema
from .credentials import hashed, is_password, nobody
from .database import Writing
from .lifecycle import details
from .records import person as tidy

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


def people(connection: "Connection") -> list[Person]:
    """Return all accounts by name."""
    rows = connection.execute(select(schema.people).order_by(schema.people.c.key)).mappings()
    return [person_in(row) for row in rows]


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
        {"key": key_of(shown), "name": shown, "role": role, "password": hashed(password),
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
    _set(writing, found, password=hashed(password), must_change=int(is_once), is_active=1)
    _end_sessions(writing.connection, found.name)
    writing.enter("account", "", 0, details(person=found.name, changed="the password"))
    return password


def person_of(connection: "Connection", name: str, password: str) -> Person | None:
    """Return the person of a name and password; takes as long for a name nobody has."""
    row = _find(connection, name)
    kept = row["password"] if row is not None else nobody()
    is_right = is_password(kept, password[:LONGEST])
    if row is None or not is_right or not row["is_active"]:
        return None
    return person_in(row)


def named(connection: "Connection", name: str) -> Person | None:
    """Return the person of a name that something trusted vouches for."""
    row = _find(connection, name)
    return person_in(row) if row is not None and row["is_active"] else None


# --- within -------------------------------------------------------------------------------


def person_in(row: Mapping[Any, Any]) -> Person:
    """Return the person of a row of the accounts."""
    return Person(row["name"], row["role"], bool(row["is_active"]), bool(row["must_change"]))


def key_of(name: str) -> str:
    """Return what an account is known by: the name, however it is spaced and in any case."""
    return tidy(name).casefold().replace(" ", "")


def _find(connection: "Connection", name: str) -> Mapping[Any, Any] | None:
    try:
        key = key_of(name[:LONGEST])
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
    return person_in(row)


def _set(writing: Writing, who: Person, **values: str | int) -> None:
    table = schema.people
    writing.connection.execute(
        update(table).where(table.c.key == key_of(who.name)).values(**values)
    )


def _check_role(role: str) -> None:
    if role not in ROLES:
        raise InputError("role-unknown", f"there is no role {role[:40]!r}",
                         remedy=f"Choose of: {', '.join(ROLES)}.")  # fmt: skip


def _check_password(password: str, name: str) -> None:
    if not SHORTEST <= len(password) <= LONGEST or key_of(name) in password.casefold():
        raise InputError(
            "password-weak",
            f"a password has {SHORTEST} to {LONGEST} characters and is not built on the name",
            remedy="Choose four words that do not go together.",
        )


def _check_not_last(connection: "Connection", who: Person) -> None:
    table = schema.people
    others = connection.execute(
        select(func.count()).select_from(table).where(
            table.c.role == "administrator", table.c.is_active == 1, table.c.key != key_of(who.name)
        )
    ).scalar()  # fmt: skip
    if who.role == "administrator" and not others:
        raise InputError("last-administrator", f"{who.name} is the last administrator",
                         remedy="Make another one first.")  # fmt: skip


def _end_sessions(connection: "Connection", name: str) -> None:
    table = schema.sessions
    connection.execute(delete(table).where(table.c.person == key_of(name)))


def _end_all(connection: "Connection", name: str) -> None:
    _end_sessions(connection, name)
    table = schema.tokens
    connection.execute(delete(table).where(table.c.person == key_of(name)))
