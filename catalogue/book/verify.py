"""Prove that a book is as it was written: every digest, every chain, and both heads."""

import json
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, NamedTuple

from sqlalchemy import select, text

from ..reading import digest_of
from . import schema
from .answers import answer_digest
from .records import Entry, Revision, digest_of_files, unpack

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from .connect import Book

STEP = 20_000
"""Rows fetched at a time."""


class Report(NamedTuple):
    """What was looked at, and what is wrong with it."""

    revisions: int
    contents: int
    entries: int
    answers: int
    problems: tuple[str, ...]


def verify(book: "Book") -> Report:
    """Check every digest and chain.

    Raises:
        FileError: ``book-damaged`` where the database itself cannot be read.
    """
    with book.reading() as connection:
        problems: list[str] = []
        if book.place.kind == "sqlite":
            found = connection.execute(text("PRAGMA quick_check(5)")).scalars().all()
            if found != ["ok"]:
                problems += [f"database: {line}" for line in found]
        heads = connection.execute(select(schema.book)).mappings().one()
        contents = _contents(connection, problems)
        entries = _journal(connection, heads, problems)
        revisions = _revisions(connection, contents, entries, problems)
        answers = _answers(connection, heads, contents, problems)
        return Report(revisions, len(contents), len(entries), answers, tuple(problems))


def _contents(connection: "Connection", problems: list[str]) -> set[str]:
    found: set[str] = set()
    for digest, packing, body in connection.execute(select(schema.contents)):
        found.add(digest)
        try:
            kept = unpack(packing, bytes(body), "file")
            own = digest_of_files(kept) if packing == "set" else digest_of(bytes(body))
        except ValueError:
            own = ""
        if own != digest:
            problems.append(f"content {digest[:19]}…: not what was kept")
    return found


def _journal(connection: "Connection", heads: Any, problems: list[str]) -> list[Entry]:
    rows = connection.execute(select(schema.journal).order_by(schema.journal.c.entry))
    entries = [Entry(*row) for row in rows]
    previous, expected = "", 1
    for entry in entries:
        if entry.entry != expected:
            problems.append(f"journal: {_span(expected, entry.entry - 1)} missing")
        elif entry.previous != previous:
            problems.append(f"journal, entry {entry.entry}: does not follow the one before it")
        if entry.own_digest() != entry.digest:
            problems.append(f"journal, entry {entry.entry}: changed after it was written")
        previous, expected = entry.digest, entry.entry + 1
    if expected - 1 < heads["entries"]:
        problems.append(f"journal: {_span(expected, heads['entries'])} missing")
    elif previous != heads["entries_head"] or expected - 1 != heads["entries"]:
        problems.append("journal: the last entry is not the one the book ends with")
    return entries


def _span(first: int, last: int) -> str:
    return f"entry {first} is" if first == last else f"entries {first} to {last} are"


def _revisions(
    connection: "Connection", contents: set[str], entries: list[Entry], problems: list[str]
) -> int:
    table = schema.revisions
    rows = connection.execute(select(table).order_by(table.c.document, table.c.number))
    found = {(item.document, item.number): item for item in (Revision(*row) for row in rows)}
    last: dict[str, str] = {}
    for item in found.values():
        for what, digest in (("content", item.content), ("report", item.impact)):
            if digest and digest not in contents:
                problems.append(f"{item.ref}: its {what} is missing")
        if item.state != "approved":
            continue
        if item.own_digest() != item.digest:
            problems.append(f"{item.ref}: changed after it was approved")
        if item.previous != last.get(item.document, ""):
            problems.append(f"{item.ref}: does not follow the revision approved before it")
        last[item.document] = item.digest
    _told(found, entries, problems)
    return len(found)


STATE_AFTER = {
    "draft": "draft", "edit": "draft", "submit": "submitted", "return": "draft",
    "withdraw": "withdrawn", "approve": "approved", "release": "approved", "import": "approved",
}  # fmt: skip


def _told(
    found: dict[tuple[str, int], Revision], entries: list[Entry], problems: list[str]
) -> None:
    """Compare the revisions with what the journal tells of them."""
    states: dict[tuple[str, int], tuple[str, dict[str, Any]]] = {}
    for entry in entries:
        key = (entry.document, entry.number)
        if entry.action in STATE_AFTER:
            try:
                details: dict[str, Any] = json.loads(entry.details)
            except ValueError:
                details = {}
            states[key] = (STATE_AFTER[entry.action], details | {"entry": entry.entry})
    for key, (state, details) in states.items():
        item = found.get(key)
        name = f"{key[0]}/{key[1]}"
        if item is None:
            problems.append(f"{name}: missing, though the journal tells of it")
        elif item.state != state:
            problems.append(f"{name}: is {item.state}, though the journal says {state}")
        elif item.content != details.get("content"):
            problems.append(f"{name}: its content is not what the journal says")
        elif state == "approved" and (
            item.digest != details.get("revision") or item.entry != details["entry"]
        ):
            problems.append(f"{name}: is not what was approved")
    problems += [f"{item.ref}: the journal tells nothing of it"
                 for key, item in found.items() if key not in states]  # fmt: skip


def _answers(connection: "Connection", heads: Any, contents: set[str], problems: list[str]) -> int:
    previous, expected, count = "", 1, 0
    for number, at, asker, verdict, inputs, basis, pattern, body, before, digest in _rows(
        connection
    ):
        count += 1
        if number != expected or before != previous:
            if number != expected:
                problems.append(f"answers: {expected} to {number - 1} missing")
            else:
                problems.append(f"answer {number}: does not follow the one before it")
        if answer_digest(
            number, at, asker, verdict, inputs, basis, pattern, body, before
        ) != digest:  # fmt: skip
            problems.append(f"answer {number}: changed after it was kept")
        if pattern not in contents:
            problems.append(f"answer {number}: the content it needs is missing")
        previous, expected = digest, number + 1
    if expected - 1 < heads["answers"]:
        problems.append(f"answers: {expected} to {heads['answers']} missing")
    elif previous != heads["answers_head"] or expected - 1 != heads["answers"]:
        problems.append("answers: the last is not the one the book ends with")
    return count


def _rows(connection: "Connection") -> Iterator[Any]:
    """Yield all kept answers in order, as the database's own library gives them."""
    last = 0
    mark = ":last"
    query = f"SELECT * FROM answers WHERE answer > {mark} ORDER BY answer LIMIT {STEP}"  # noqa: S608
    while True:
        rows = connection.execute(text(query), {"last": last}).all()
        if not rows:
            return
        yield from rows
        last = rows[-1][0]
