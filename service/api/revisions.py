"""Revisions: drafts, and the steps of their life until they are approved or given up."""

from collections.abc import Callable
from typing import Annotated, Final

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field

from ...catalogue.errors import InputError
from ...catalogue.ledger import lifecycle
from ...catalogue.ledger.database import Ledger, Writing
from ...catalogue.ledger.records import CATALOGUE, RULES, Revision, check_document
from ...engine.review import revision_check
from ..auth.authenticator import CanApprove, CanDraft
from ..content import Responses, sends
from ..settings import API
from ..state import state_of
from .documents import Document, Number, Standing, plain

router = APIRouter(prefix=API, tags=["limits"])

Long = Annotated[str, Field(max_length=20_000)]
STANDS: Final[Responses] = sends(Standing, what="How the revision stands now")


class Draft(BaseModel):
    """A draft: a copy of the revision approved last, or of the file given."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [
        {"document": "rowan-150", "reason": "drive tuned anew", "evidence": "overload test 31"},
    ]})  # fmt: skip

    document: Annotated[str, Field(max_length=100)]
    reason: Long = ""
    evidence: Long = ""
    file: Annotated[str, Field(max_length=200_000)] | None = None


class Edit(BaseModel):
    """What of a draft is to be changed; what is left out stays."""

    model_config = ConfigDict(extra="forbid")

    file: Annotated[str, Field(max_length=200_000)] | None = None
    reason: Long | None = None
    evidence: Long | None = None


class Step(BaseModel):
    """What goes with a step of a revision."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [
        {"effective": "2027-01-01"}, {"without_impact": "spelling only"},
    ]})  # fmt: skip

    effective: Annotated[str, Field(max_length=40)] = ""
    reason: Long = ""
    without_impact: Long = ""


@router.post("/revisions", status_code=201, response_model=None, responses=sends(Standing, 201))
async def draft(request: Request, asker: CanDraft, asked: Draft) -> Standing:
    """Begin a revision."""
    name = check_document(asked.document)
    files = None if asked.file is None else {f"{name}.toml": asked.file.encode()}
    if files is not None and name in (RULES, CATALOGUE):
        raise InputError("option-needs", f"the {name} are many files",
                         remedy="Draft them with the command line.")  # fmt: skip

    def step(writing: Writing, _: Ledger) -> Revision:
        return lifecycle.draft(writing, name, files, reason=asked.reason, evidence=asked.evidence)

    return await _stepped(request, asker.person.name, step)


@router.patch("/revisions/{document}/{number}", response_model=None, responses=STANDS)
async def edit(
    request: Request, asker: CanDraft, document: Document, number: Number, asked: Edit
) -> Standing:
    """Edit a draft."""
    name = check_document(document)
    files = None if asked.file is None else {f"{name}.toml": asked.file.encode()}
    if files is not None and name in (RULES, CATALOGUE):
        raise InputError("option-needs", f"the {name} are many files",
                         remedy="Edit them with the command line.")  # fmt: skip

    def step(writing: Writing, _: Ledger) -> Revision:
        return lifecycle.edit(
            writing, name, number, files=files, reason=asked.reason, evidence=asked.evidence
        )

    return await _stepped(request, asker.person.name, step)


@router.post("/revisions/{document}/{number}/submit", response_model=None, responses=STANDS)
async def submit(
    request: Request, asker: CanDraft, document: Document, number: Number, asked: Step
) -> Standing:
    """Freeze a draft for another person to approve."""
    name = check_document(document)

    def step(writing: Writing, ledger: Ledger) -> Revision:
        return revision_check.submit(ledger, writing, name, number, effective=asked.effective)

    return await _stepped(request, asker.person.name, step)


@router.post("/revisions/{document}/{number}/return", response_model=None, responses=STANDS)
async def give_back(
    request: Request, asker: CanApprove, document: Document, number: Number, asked: Step
) -> Standing:
    """Give a submitted revision back to its author."""
    name = check_document(document)

    def step(writing: Writing, _: Ledger) -> Revision:
        return lifecycle.give_back(writing, name, number, reason=asked.reason)

    return await _stepped(request, asker.person.name, step)


@router.post("/revisions/{document}/{number}/withdraw", response_model=None, responses=STANDS)
async def withdraw(
    request: Request, asker: CanDraft, document: Document, number: Number, asked: Step
) -> Standing:
    """Give up a revision that is not approved."""
    name = check_document(document)

    def step(writing: Writing, _: Ledger) -> Revision:
        return lifecycle.withdraw(writing, name, number, reason=asked.reason)

    return await _stepped(request, asker.person.name, step)


@router.post("/revisions/{document}/{number}/approve", response_model=None, responses=STANDS)
async def approve(
    request: Request, asker: CanApprove, document: Document, number: Number, asked: Step
) -> Standing:
    """Approve a submitted revision, as a person who had no hand in it."""
    name = check_document(document)

    def step(writing: Writing, ledger: Ledger) -> Revision:
        return revision_check.approve(
            ledger, writing, name, number,
            effective=asked.effective, without_impact=asked.without_impact,
        )  # fmt: skip

    return await _stepped(request, asker.person.name, step)


@router.post("/revisions/{document}/{number}/revoke", response_model=None, responses=STANDS)
async def revoke(
    request: Request, asker: CanApprove, document: Document, number: Number, asked: Step
) -> Standing:
    """Take back an approval before it takes effect, as a person who did not write it."""
    name = check_document(document)

    def step(writing: Writing, _: Ledger) -> Revision:
        return lifecycle.revoke(writing, name, number, reason=asked.reason)

    return await _stepped(request, asker.person.name, step)


async def _stepped(
    request: Request, who: str, step: Callable[[Writing, Ledger], Revision]
) -> Standing:
    """Do a step of a revision in one transaction, in a person's name."""
    state = state_of(request)

    def work(ledger: Ledger) -> Revision:
        with ledger.writing(who) as writing:
            return step(writing, ledger)

    made = await state.ledgers.run(work)
    state.changed()
    return plain(made)
