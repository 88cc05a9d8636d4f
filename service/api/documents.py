"""Documents of the ledger: what is in force of them, their revisions and their history."""

import json
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Request
from fastapi import Path as InPath
from fastapi.responses import Response

from ...catalogue.files.plain_schema import plain_schema
from ...catalogue.ledger import blobs, history, lifecycle
from ...catalogue.ledger.database import Ledger
from ...catalogue.ledger.records import Entry, Revision, check_document, stamp
from ..auth.authenticator import CanAsk
from ..content import Content, lists, sends
from ..paging import Page, paged
from ..settings import API
from ..state import state_of
from .impact_report import Differs, ImpactReport

router = APIRouter(prefix=API, tags=["limits"])

Number = Annotated[int, InPath(ge=1, le=1_000_000_000, examples=[1])]
Document = Annotated[str, InPath(max_length=100, examples=["rowan-150"])]

if TYPE_CHECKING:
    Standing = dict[str, Any]
    StandingInHistory = dict[str, Any]
    WholeRevision = dict[str, Any]
    JournalEntry = dict[str, Any]
else:
    # Described by the records they are made of, so that there is no second list of their keys.
    Standing = plain_schema(Revision, "Standing", ref=str)
    StandingInHistory = plain_schema(
        Revision, "StandingInHistory", ref=str, standing=str, changes=list[Differs]
    )
    WholeRevision = plain_schema(
        Revision, "WholeRevision", ref=str, files=dict[str, str], differences=list[Differs],
        report=ImpactReport | None,
    )  # fmt: skip
    JournalEntry = plain_schema(Entry, "JournalEntry")


class History(Content):
    """Who changed what of a document, when, why, and who approved it."""

    schema: Literal["cuttable.history/1"]
    document: str
    revisions: list[StandingInHistory]
    """Oldest first; with what each changed of the one it was drafted from."""
    journal: list[JournalEntry]
    """Oldest first."""


class Differences(Content):
    """What differs between two revisions, in words and units."""

    schema: Literal["cuttable.difference/1"]
    before: str
    """MODEL/NUMBER."""
    after: str
    differences: list[Differs]


def plain(item: Revision) -> Standing:
    """Return a revision as data."""
    return item._asdict() | {"ref": item.ref}


@router.get("/documents", responses=lists(Standing))
async def documents(request: Request, asker: CanAsk, page: Page) -> Response:
    """List what is in force, and what is waiting for approval or still drafted."""
    _ = asker

    def work(ledger: Ledger) -> list[Standing]:
        stands = history.overview(ledger)
        return [plain(item) for item in (*stands.in_force, *stands.waiting)]

    return paged(request, await state_of(request).ledgers.run(work), page)


@router.get("/documents/{document}/history", response_model=None, responses=sends(History))
async def history_of(request: Request, asker: CanAsk, document: Document) -> History:
    """Who changed what of a document, when, why, and who approved it."""
    _ = asker
    name = check_document(document)

    def work(ledger: Ledger) -> History:
        with ledger.reading() as connection:
            found = history.history(connection, name)
        now = stamp(ledger.clock())
        return {
            "schema": "cuttable.history/1",
            "document": name,
            "revisions": [
                plain(item) | {
                    "standing": history.standing(item, found, now),
                    "changes": [c._asdict() for c in found.changes.get(item.number, [])],
                }
                for item in found.revisions
            ],
            "journal": [entry._asdict() for entry in found.entries],
        }  # fmt: skip

    return await state_of(request).ledgers.run(work)


@router.get("/revisions/{document}/{number}", response_model=None, responses=sends(WholeRevision))
async def revision(
    request: Request, asker: CanAsk, document: Document, number: Number
) -> WholeRevision:
    """Return a revision with its files, and what differs from its base."""
    _ = asker

    def work(ledger: Ledger) -> WholeRevision:
        with ledger.reading() as connection:
            found = lifecycle.revision(connection, check_document(document), number)
            files = blobs.kept(connection, found.content, found.document)
            changed: list[Any] = []
            if found.base:
                base = lifecycle.revision(connection, found.document, found.base)
                changed = history.changes(connection, base, found)
            report = blobs.kept(connection, found.impact) if found.impact else {}
        return plain(found) | {
            "files": {name: content.decode("utf-8", "replace") for name, content in files.items()},
            "differences": [item._asdict() for item in changed],
            "report": json.loads(next(iter(report.values()))) if report else None,
        }

    return await state_of(request).ledgers.run(work)


@router.get(
    "/revisions/{document}/{number}/differences/{other}",
    response_model=None,
    responses=sends(Differences),
)
async def differences(
    request: Request, asker: CanAsk, document: Document, number: Number, other: Number
) -> Differences:
    """Return what differs between two revisions, in words and units."""
    _ = asker
    name = check_document(document)

    def work(ledger: Ledger) -> Differences:
        with ledger.reading() as connection:
            old = lifecycle.revision(connection, name, number)
            new = lifecycle.revision(connection, name, other)
            changed = history.changes(connection, old, new)
        return {"schema": "cuttable.difference/1", "before": old.ref, "after": new.ref,
                "differences": [item._asdict() for item in changed]}  # fmt: skip

    return await state_of(request).ledgers.run(work)
