"""The first release: what the tool brings, as the first revisions of a ledger.

Its records are the same in every ledger, so that the histories of two ledgers have one beginning
and bundles can be exchanged.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from .blobs import keep
from .lifecycle import draft as begin
from .lifecycle import latest_approved, open_drafts, put_approved, submit
from .records import MAKER, Revision

if TYPE_CHECKING:
    from .database import Writing

RELEASED: Final = "2026-11-25T00:00:00.000000Z"
"""When the first release takes effect: the day the tool was first released."""


def load_first(writing: "Writing", documents: Mapping[str, Mapping[str, bytes]]) -> int:
    """Put the first release into an empty ledger, and return the number of revisions."""
    for document, files in documents.items():
        made = Revision(
            document=document,
            number=1,
            base=0,
            state="approved",
            content=keep(writing.connection, files),
            reason="First release",
            evidence="",
            author=MAKER,
            editors="",
            drafted=RELEASED,
            submitted=RELEASED,
            approver="first release",
            approved=RELEASED,
            effective=RELEASED,
        )
        put_approved(writing, made._replace(digest=made.own_digest()), "release")
    return len(documents)


def renew(
    writing: "Writing", documents: Mapping[str, Mapping[str, bytes]], tool: str
) -> tuple[list[Revision], list[str]]:
    """Submit what this tool brings and the ledger has not: another person approves it.

    Returns the submitted revisions, and the documents that were changed here since they were
    brought, which are left alone.
    """
    made: list[Revision] = []
    left: list[str] = []
    asking = writing.who
    waiting = {
        (item.document, item.content, item.base)
        for item in open_drafts(writing.connection)
        if item.author == MAKER
    }
    for document, files in documents.items():
        digest = keep(writing.connection, files)
        last = latest_approved(writing.connection, document)
        if last is not None and last.content == digest:
            continue
        if last is not None and last.author != MAKER:
            left.append(document)
            continue
        if (document, digest, last.number if last else 0) in waiting:
            continue
        # The tool is the author, and whoever takes its release over has a hand in it.
        writing.who = MAKER
        drafted = begin(writing, document, files, reason=f"Brought by {tool}")
        writing.who = asking
        made.append(submit(writing, document, drafted.number))
    return made, left
