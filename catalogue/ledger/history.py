"""The history of a document: its revisions, what each changed, and who did what."""

from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import select

from . import schema
from .blobs import kept
from .difference import Difference, differences
from .lifecycle import (
    approved_documents,
    latest_approved,
    open_drafts,
    revision,
    revisions,
    unknown_document,
)
from .records import Entry, Revision
from .snapshot import Snapshot

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from .database import Ledger


class History(NamedTuple):
    """Everything a ledger knows of a document.

    Attributes:
        revisions: oldest first.
        changes: by revision number, what differs from its base.
        entries: the journal's entries on it, oldest first.
    """

    revisions: list[Revision]
    changes: dict[int, list[Difference]]
    entries: list[Entry]


def history(connection: "Connection", document: str) -> History:
    """Return the history of a document.

    Raises:
        InputError: ``revision-unknown``.
    """
    found = revisions(connection, document)
    if not found:
        raise unknown_document(connection, document)
    table = schema.journal
    rows = connection.execute(
        select(table).where(table.c.document == document).order_by(table.c.entry)
    )
    files: dict[str, dict[str, bytes]] = {}
    for item in found:
        if item.content not in files:
            files[item.content] = kept(connection, item.content, document)
    by_number = {item.number: item for item in found}
    changed = {
        item.number: differences(files[by_number[item.base].content], files[item.content])
        for item in found
        if item.base
    }
    return History(found, changed, [Entry(*row) for row in rows])


def changes(connection: "Connection", old: Revision, new: Revision) -> list[Difference]:
    """Return what differs between two revisions."""
    before = kept(connection, old.content, old.document)
    return differences(before, kept(connection, new.content, new.document))


def standing(item: Revision, found: History, now: str) -> str:
    """Return how a revision stands at a moment, in words."""
    if item.state != "approved":
        return item.state
    if item.effective > now:
        return "approved, not yet in force"
    later = [
        other
        for other in found.revisions
        if other.state == "approved" and other.number > item.number and other.effective <= now
    ]
    return f"superseded by {later[0].number}" if later else "in force"


class Overview(NamedTuple):
    """How a ledger stands: what is in force, what is approved and to come, what is waiting."""

    in_force: list[Revision]
    coming: list[Revision]
    waiting: list[Revision]


def overview(ledger: "Ledger") -> Overview:
    """Return how a ledger stands now.

    Raises:
        FileError: the ledger cannot be read.
    """
    snapshot = Snapshot(ledger.place, now=ledger.clock())
    snapshot.close()
    numbers = {name: number for name, (number, _) in snapshot.numbers.items()}
    with ledger.reading() as connection:
        in_force = [revision(connection, name, number) for name, number in sorted(numbers.items())]
        coming = [
            item
            for name in approved_documents(connection)
            if (item := latest_approved(connection, name)) is not None
            and item.number != numbers.get(name)
        ]
        return Overview(in_force, coming, open_drafts(connection))
