"""Prove that a ledger is as it was written: every digest, every chain, and both heads.

Rows are read as the database's own library gives them: what somebody changed past the tool may
be of any kind, and must be told, not stumbled over.
"""

import json
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, NamedTuple, cast

from . import schema
from .answers import answer_digest
from .records import Entry, Revision, pack, unpack

if TYPE_CHECKING:
    from sqlalchemy import Connection, Table

    from .database import Ledger

STEP = 400
"""Rows fetched at a time; more of them are slower, for they leave the processor's caches."""


class Report(NamedTuple):
    """What was looked at, and what is wrong with it."""

    revisions: int
    contents: int
    entries: int
    answers: int
    problems: tuple[str, ...]


class Heads(NamedTuple):
    """What the ledger says of itself: its name, its last record, and where its chains end."""

    id: object = ""
    last_time: object = ""
    entries: int = 0
    entries_head: object = ""
    answers: int = 0
    answers_head: object = ""


def verify(ledger: "Ledger") -> Report:
    """Check every digest and chain.

    Raises:
        FileError: ``ledger-damaged`` where the database itself cannot be read.
    """
    with ledger.reading() as connection:
        problems: list[str] = []
        if ledger.place.kind == "sqlite":
            found = [*connection.exec_driver_sql("PRAGMA quick_check(5)").scalars()]
            # Of tables that are looked up by their index: that index and table are the same.
            for name in ("revisions", "contents", "keys"):
                query = f"PRAGMA integrity_check({name})"
                found += connection.exec_driver_sql(query).scalars().all()
            problems += [f"database: {line}" for line in dict.fromkeys(found) if line != "ok"]
        heads = _heads(connection, problems)
        contents = _contents(connection, problems)
        entries = _journal(connection, heads, problems)
        revisions = _revisions(connection, contents, entries, problems)
        _keys(connection, entries, problems)
        answers, last = _answers(connection, heads, contents, problems)
        if heads.last_time != max(last, entries[-1].at if entries else "", key=str):
            problems.append("ledger: its last moment is not that of its last record")
        return Report(revisions, len(contents), len(entries), answers, tuple(problems))


def last_entry(ledger: "Ledger") -> str:
    """Return the digest of the last entry of the journal.

    Written down elsewhere, it proves later that nothing before it was changed or cut off.
    """
    with ledger.reading() as connection:
        return str(connection.exec_driver_sql("SELECT entries_head FROM book").scalar() or "")


def has_entry(ledger: "Ledger", digest: str) -> bool:
    """Say whether an entry of the journal has a digest, whole or the beginning of it."""
    wanted = digest.strip().casefold().removeprefix("sha256:")
    if len(wanted) < SHORTEST or any(char not in "0123456789abcdef" for char in wanted):
        return False
    with ledger.reading() as connection:
        found = connection.exec_driver_sql("SELECT digest FROM journal").scalars()
        return any(str(item).startswith(f"sha256:{wanted}") for item in found)


SHORTEST = 12
"""Digits of a digest that name an entry."""


def _rows(connection: "Connection", table: "Table", key: str) -> Iterator[Any]:
    """Yield the rows of a table in the order of its key."""
    columns = ", ".join(column.name for column in table.columns)
    query = f"SELECT {columns} FROM {table.name} ORDER BY {key}"  # noqa: S608 - our own names
    with connection.exec_driver_sql(query, execution_options={"yield_per": STEP}) as found:
        for part in found.partitions(STEP):
            yield from part


def _heads(connection: "Connection", problems: list[str]) -> Heads:
    fields = ", ".join(Heads._fields)
    found = connection.exec_driver_sql(f"SELECT {fields} FROM book").all()  # noqa: S608
    if len(found) != 1:
        problems.append("ledger: the row that tells where its chains end is missing")
        return Heads()
    heads = Heads(*found[0])
    if isinstance(cast("object", heads.entries), int) and isinstance(
        cast("object", heads.answers), int
    ):
        return heads
    problems.append("ledger: the row that tells where its chains end cannot be read")
    return Heads()


def _contents(connection: "Connection", problems: list[str]) -> set[str]:
    found: set[str] = set()
    for digest, packing, body in _rows(connection, schema.contents, "digest"):
        found.add(digest)
        if not _is_as_kept(digest, packing, body):
            problems.append(f"content {str(digest)[:19]}…: not what was kept")
    return found


def _is_as_kept(digest: object, packing: object, body: object) -> bool:
    if packing not in ("file", "set") or not isinstance(body, bytes):
        return False
    try:
        return pack(unpack(str(packing), body, "file")) == (digest, packing, body)
    except (ValueError, AttributeError, RecursionError):
        return False


def _journal(connection: "Connection", heads: Heads, problems: list[str]) -> list[Entry]:
    entries = [Entry(*row) for row in _rows(connection, schema.journal, "entry")]
    previous, expected = "", 1
    for entry in entries:
        if entry.entry != expected:
            problems.append(f"journal: {_span(expected, entry.entry - 1)} missing")
        elif entry.previous != previous:
            problems.append(f"journal, entry {entry.entry}: does not follow the one before it")
        if entry.own_digest() != entry.digest:
            problems.append(f"journal, entry {entry.entry}: changed after it was written")
        previous, expected = entry.digest, entry.entry + 1
    if expected - 1 < heads.entries:
        problems.append(f"journal: {_span(expected, heads.entries)} missing")
    elif previous != heads.entries_head or expected - 1 != heads.entries:
        problems.append("journal: the last entry is not the one the ledger ends with")
    first = _details(entries[0]) if entries else {}
    if first.get("book") != heads.id:
        problems.append("ledger: its name is not the one its journal begins with")
    return entries


def _span(first: int, last: int) -> str:
    return f"entry {first} is" if first == last else f"entries {first} to {last} are"


def _details(entry: Entry) -> dict[str, Any]:
    """Return what an entry tells beside who, when and what; nothing where it cannot be read."""
    try:
        found = json.loads(entry.details)
    except (ValueError, TypeError, RecursionError):
        return {}
    return cast("dict[str, Any]", found) if isinstance(found, dict) else {}


def _revisions(
    connection: "Connection", contents: set[str], entries: list[Entry], problems: list[str]
) -> int:
    rows = _rows(connection, schema.revisions, "document, number")
    found = {(item.document, item.number): item for item in (Revision(*row) for row in rows)}
    last: dict[str, str] = {}
    for item in found.values():
        for what, digest in (("content", item.content), ("report", item.impact)):
            if digest and digest not in contents:
                problems.append(f"{item.ref}: its {what} is missing")
        if item.state not in ("approved", "revoked"):
            if item.digest or item.entry != 0:
                problems.append(f"{item.ref}: is marked as approved, but is {item.state}")
            continue
        if item.own_digest() != item.digest:
            problems.append(f"{item.ref}: changed after it was approved")
        if item.state == "revoked":
            continue  # what was approved after it follows the one before it
        if item.previous != last.get(item.document, ""):
            problems.append(f"{item.ref}: does not follow the revision approved before it")
        last[item.document] = item.digest
    _told(found, entries, problems)
    return len(found)


STATE_AFTER = {
    "draft": "draft", "edit": "draft", "submit": "submitted", "return": "draft", "impact": "",
    "withdraw": "withdrawn", "approve": "approved", "release": "approved", "import": "approved",
    "revoke": "revoked",
}  # fmt: skip
"""The state a revision has after an action; empty: the one it had."""


def _told(
    found: dict[tuple[str, int], Revision], entries: list[Entry], problems: list[str]
) -> None:
    """Compare the revisions with what the journal tells of them."""
    states: dict[tuple[str, int], tuple[str, Entry]] = {}
    for entry in entries:
        key = (entry.document, entry.number)
        if entry.action in STATE_AFTER:
            before = states[key][0] if key in states else ""
            states[key] = (STATE_AFTER[entry.action] or before, entry)
    for key, (state, entry) in states.items():
        item = found.get(key)
        name, told = f"{key[0]}/{key[1]}", _details(entry)
        if item is None:
            problems.append(f"{name}: missing, though the journal tells of it")
        elif item.state != state:
            problems.append(f"{name}: is {item.state}, though the journal says {state}")
        elif item.content != told.get("content"):
            problems.append(f"{name}: its content is not what the journal says")
        elif item.own_digest() != told.get("revision"):
            problems.append(f"{name}: is not what the journal says")
        elif (state == "approved" and item.entry != entry.entry) or (
            state == "revoked" and item.entry != told.get("entry")
        ):
            problems.append(f"{name}: names another entry of the journal than the one it is of")
    problems += [f"{item.ref}: the journal tells nothing of it"
                 for key, item in found.items() if key not in states]  # fmt: skip


def _keys(connection: "Connection", entries: list[Entry], problems: list[str]) -> None:
    """Compare the keys whose bundles are taken with what the journal tells of them."""
    told = {
        (details.get("key"), details.get("name"), entry.at, entry.who)
        for entry in entries
        if entry.action == "trust"
        for details in (_details(entry),)
    }
    found = {tuple(row) for row in _rows(connection, schema.keys, "key")}
    problems += [f"key {str(key[0])[:19]}…: the journal tells nothing of it"
                 for key in sorted(found - told, key=str)]  # fmt: skip
    problems += [f"key {str(key[0])[:19]}…: missing, though the journal tells of it"
                 for key in sorted(told - found, key=str)]  # fmt: skip


def _answers(
    connection: "Connection", heads: Heads, contents: set[str], problems: list[str]
) -> tuple[int, str]:
    """Check the chain of answers, and return how many there are and when the last was given."""
    previous, expected, count, at = "", 1, 0, ""
    for number, at, asker, verdict, inputs, basis, pattern, body, before, digest in _rows(
        connection, schema.answers, "answer"
    ):
        count += 1
        if number != expected:
            problems.append(f"answers: {expected} to {number - 1} missing")
        elif before != previous:
            problems.append(f"answer {number}: does not follow the one before it")
        if not isinstance(body, bytes) or digest != answer_digest(
            number, at, asker, verdict, inputs, basis, pattern, body, before
        ):
            problems.append(f"answer {number}: changed after it was kept")
        if pattern not in contents or not _given(basis) <= contents:
            problems.append(f"answer {number}: the content it needs is missing")
        previous, expected = digest, number + 1
    if expected - 1 < heads.answers:
        problems.append(f"answers: {expected} to {heads.answers} missing")
    elif previous != heads.answers_head or expected - 1 != heads.answers:
        problems.append("answers: the last is not the one the ledger ends with")
    return count, at


def _given(basis: object) -> set[str]:
    """Return the digests of machine files that were given by path."""
    if not isinstance(basis, str) or '"files":{"' not in basis:
        return set()  # spares nearly every answer the reading of its basis
    try:
        return set(json.loads(basis)["files"].values())
    except (ValueError, LookupError, AttributeError, TypeError):
        return set()
