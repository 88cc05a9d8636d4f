"""Limits: what is in force, revisions and their life, impact, rules and their pages."""

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Query, Request
from fastapi import Path as InPath
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field

from ...catalogue.errors import InputError
from ...catalogue.files.file_source import KeptFiles
from ...catalogue.files.plain_schema import plain_schema
from ...catalogue.ledger import blobs, history, lifecycle
from ...catalogue.ledger.database import Ledger, Writing
from ...catalogue.ledger.records import (
    CATALOGUE,
    RULES,
    Revision,
    check_document,
    parse_ref,
    read_moment,
    stamp,
)
from ...catalogue.ledger.snapshot import Snapshot
from ...catalogue.machines.model import MachineModel, describe
from ...catalogue.nearest import did_you_mean
from ...engine.assessor import AssessorCore
from ...engine.review import revision_check
from ...engine.review.ledger_assessor import assessor_of, rule_files
from ...rules.cases import load_cases
from ...rules.model import Rule
from ..auth.authenticator import Asker, CanApprove, CanAsk, CanDraft
from ..engine_worker import Standing
from ..paging import LISTED, Page, paged
from ..settings import API
from ..state import State, state_of
from ..workers.backlogs import ImpactOrder
from .backlogs import one_of

router = APIRouter(prefix=API, tags=["limits"])

Number = Annotated[int, InPath(ge=1, le=1_000_000_000, examples=[1])]
Document = Annotated[str, InPath(max_length=100, examples=["rowan-150"])]
Code = Annotated[str, InPath(max_length=40, examples=["MASS-01"])]
Long = Annotated[str, Field(max_length=20_000)]

# Answers are described by the records they are made of; they are sent as they are.
MACHINE: Final[dict[int | str, dict[str, Any]]] = {
    200: {"model": plain_schema(MachineModel, "Machine", schema=Literal["cuttable.machine/1"])}
}
STANDS: Final[dict[int | str, dict[str, Any]]] = {
    200: {"model": plain_schema(Revision, "Standing", ref=str)}
}
BEGUN: Final[dict[int | str, dict[str, Any]]] = {201: STANDS[200]}


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


class Jobs(BaseModel):
    """The jobs that an impact looks at: those of a backlog, or of the answers kept."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [
        {"answers": True}, {"backlog": "0123456789abcdef", "units": "us"},
    ]})  # fmt: skip

    backlog: Annotated[str, Field(max_length=40)] = ""
    answers: bool = False
    units: Literal["si", "us"] = "si"


class Step(BaseModel):
    """What goes with a step of a revision."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [
        {"effective": "2027-01-01"}, {"without_impact": "spelling only"},
    ]})  # fmt: skip

    effective: Annotated[str, Field(max_length=40)] = ""
    reason: Long = ""
    without_impact: Long = ""


def plain(item: Revision) -> dict[str, Any]:
    """Return a revision as data."""
    return item._asdict() | {"ref": item.ref}


@router.get("/machines", responses=LISTED)
async def machines(
    request: Request,
    asker: CanAsk,
    page: Page,
    as_of: Annotated[str, Query(max_length=40)] = "",
) -> Response:
    """List models in force, smallest first; as they were at a moment where `as_of` is given."""
    _ = asker

    def work(standing: Standing) -> tuple[str, list[dict[str, Any]]]:
        catalogue = _assessor_at(standing, as_of).catalogue
        rows = [
            {"model": item.code, "title": item.title, "builder": item.builder,
             "revision": item.revision, "digest": item.digest}
            for item in catalogue.machines.values()
        ]  # fmt: skip
        rows += [
            {"model": code, "title": (over := catalogue.machine(code)).title,
             "builder": over.builder, "revision": over.revision,
             "overlay_revision": over.overlay_revision, "digest": over.digest}
            for code in catalogue.overlays
        ]  # fmt: skip
        return standing.key, rows

    key, rows = await state_of(request).benches.quick.run(work)
    return paged(request, rows, page, key)


@router.get("/machines/{code}", response_model=None, responses=MACHINE)
async def machine(
    request: Request,
    asker: CanAsk,
    code: Document,
    as_of: Annotated[str, Query(max_length=40)] = "",
) -> dict[str, Any]:
    """Return a model in force, every limit with its basis."""
    _ = asker

    def work(standing: Standing) -> dict[str, Any]:
        return describe(_assessor_at(standing, as_of).catalogue.machine(code))

    found = await state_of(request).benches.quick.run(work)
    return {"schema": "cuttable.machine/1", **found}


def _assessor_at(standing: Standing, as_of: str) -> AssessorCore:
    if not as_of:
        return standing.assessor
    at = read_moment(as_of, dt.datetime.now(dt.UTC), option="as_of")
    snapshot = Snapshot(standing.snapshot.place, at=at)
    return assessor_of(snapshot)


@router.get("/documents", responses=LISTED)
async def documents(request: Request, asker: CanAsk, page: Page) -> Response:
    """List what is in force, and what is waiting for approval or still drafted."""
    _ = asker

    def work(ledger: Ledger) -> list[dict[str, Any]]:
        stands = history.overview(ledger)
        return [plain(item) for item in (*stands.in_force, *stands.waiting)]

    return paged(request, await state_of(request).ledgers.run(work), page)


@router.get("/documents/{document}/history")
async def history_of(request: Request, asker: CanAsk, document: Document) -> dict[str, Any]:
    """Who changed what of a document, when, why, and who approved it."""
    _ = asker
    name = check_document(document)

    def work(ledger: Ledger) -> dict[str, Any]:
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


@router.get("/revisions/{document}/{number}")
async def revision(
    request: Request, asker: CanAsk, document: Document, number: Number
) -> dict[str, Any]:
    """Return a revision with its files, and what differs from its base."""
    _ = asker

    def work(ledger: Ledger) -> dict[str, Any]:
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


@router.get("/revisions/{document}/{number}/differences/{other}")
async def differences(
    request: Request, asker: CanAsk, document: Document, number: Number, other: Number
) -> dict[str, Any]:
    """Return what differs between two revisions, in words and units."""
    _ = asker
    name = check_document(document)

    def work(ledger: Ledger) -> dict[str, Any]:
        with ledger.reading() as connection:
            old = lifecycle.revision(connection, name, number)
            new = lifecycle.revision(connection, name, other)
            changed = history.changes(connection, old, new)
        return {"schema": "cuttable.difference/1", "before": old.ref, "after": new.ref,
                "differences": [item._asdict() for item in changed]}  # fmt: skip

    return await state_of(request).ledgers.run(work)


@router.post("/revisions", status_code=201, response_model=None, responses=BEGUN)
async def draft(request: Request, asker: CanDraft, asked: Draft) -> dict[str, Any]:
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
) -> dict[str, Any]:
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
) -> dict[str, Any]:
    """Freeze a draft for another person to approve."""
    name = check_document(document)

    def step(writing: Writing, ledger: Ledger) -> Revision:
        return revision_check.submit(ledger, writing, name, number, effective=asked.effective)

    return await _stepped(request, asker.person.name, step)


@router.post("/revisions/{document}/{number}/return", response_model=None, responses=STANDS)
async def give_back(
    request: Request, asker: CanApprove, document: Document, number: Number, asked: Step
) -> dict[str, Any]:
    """Give a submitted revision back to its author."""
    name = check_document(document)

    def step(writing: Writing, _: Ledger) -> Revision:
        return lifecycle.give_back(writing, name, number, reason=asked.reason)

    return await _stepped(request, asker.person.name, step)


@router.post("/revisions/{document}/{number}/withdraw", response_model=None, responses=STANDS)
async def withdraw(
    request: Request, asker: CanDraft, document: Document, number: Number, asked: Step
) -> dict[str, Any]:
    """Give up a revision that is not approved."""
    name = check_document(document)

    def step(writing: Writing, _: Ledger) -> Revision:
        return lifecycle.withdraw(writing, name, number, reason=asked.reason)

    return await _stepped(request, asker.person.name, step)


@router.post("/revisions/{document}/{number}/approve", response_model=None, responses=STANDS)
async def approve(
    request: Request, asker: CanApprove, document: Document, number: Number, asked: Step
) -> dict[str, Any]:
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
) -> dict[str, Any]:
    """Take back an approval before it takes effect, as a person who did not write it."""
    name = check_document(document)

    def step(writing: Writing, _: Ledger) -> Revision:
        return lifecycle.revoke(writing, name, number, reason=asked.reason)

    return await _stepped(request, asker.person.name, step)


@router.post("/revisions/{document}/{number}/impact", status_code=202)
async def impact(
    request: Request, asker: CanDraft, document: Document, number: Number, asked: Jobs
) -> dict[str, Any]:
    """Work out which answers a draft would change; the report is attached to it when it is done.

    How far it is, is told under /backlogs/{id}.
    """
    return await ordered_impact(state_of(request), asker, f"{check_document(document)}/{number}",
                                asked)  # fmt: skip


async def ordered_impact(state: State, asker: Asker, ref: str, asked: Jobs) -> dict[str, Any]:
    """Queue an impact and return how it stands.

    Raises:
        InputError: ``option-needs``, ``revision-unknown``, ``revision-state``,
            ``backlog-unknown``, ``too-many``.
    """
    if bool(asked.backlog) == asked.answers:
        raise InputError("option-needs", "name the jobs to look at: a backlog, or the answers kept",
                         remedy="Give one of backlog and answers.")  # fmt: skip
    if asked.backlog:
        one_of(state, asker, asked.backlog)
    document, number = parse_ref(ref)

    def look(ledger: Ledger) -> None:
        with ledger.reading() as connection:
            found = lifecycle.revision(connection, document, number)
            if found.state not in ("draft", "submitted"):
                raise InputError(
                    "revision-state", f"{found.ref} is {found.state}: it is no draft any more",
                    remedy="Compare it with the revision before it.",
                )  # fmt: skip

    await state.ledgers.run(look)
    order = ImpactOrder(ref, asked.backlog, asked.units)
    made = state.backlogs.take_impact(order, asker.person.name)
    return state.backlogs.one(made)


async def _stepped(
    request: Request, who: str, step: Callable[[Writing, Ledger], Revision]
) -> dict[str, Any]:
    """Do a step of a revision in one transaction, in a person's name."""
    state = state_of(request)

    def work(ledger: Ledger) -> Revision:
        with ledger.writing(who) as writing:
            return step(writing, ledger)

    made = await state.ledgers.run(work)
    state.changed()
    return plain(made)


# --- rules --------------------------------------------------------------------------------


@router.get("/rules", responses=LISTED)
async def rules(request: Request, asker: CanAsk, page: Page) -> Response:
    """List the rules in force, by topic."""
    _ = asker

    def work(standing: Standing) -> tuple[str, list[dict[str, Any]]]:
        return standing.key, [plain_rule(rule) for rule in standing.assessor.rule_set.rules]

    key, rows = await state_of(request).benches.quick.run(work)
    return paged(request, rows, page, key)


@router.get("/rules/{code}")
async def rule(request: Request, asker: CanAsk, code: Code) -> dict[str, Any]:
    """Return a rule's page: condition, outcome, why, what lifts it, the cases that prove it."""
    _ = asker

    def work(standing: Standing) -> dict[str, Any]:
        return rule_page(standing, code)

    return await state_of(request).benches.quick.run(work)


def rule_page(standing: Standing, code: str) -> dict[str, Any]:
    """Return a rule with its cases and mitigations.

    Raises:
        InputError: ``rule-unknown``.
    """
    rule_set = standing.assessor.rule_set
    known = {item.code: item for item in rule_set.rules}
    found = known.get(code.strip().upper())
    if found is None:
        raise InputError("rule-unknown", f"there is no rule {code.strip()[:40]!r}",
                         remedy=did_you_mean(code, known))  # fmt: skip
    place = rule_files(standing.snapshot)
    where = (
        place / "cases"
        if isinstance(place, Path)
        else KeptFiles(
            {name.removeprefix("cases/"): place.read(name) for name in place.names("cases/*")},
            place.where("cases"),
        )
    )
    cases = [
        {"name": case.name, "verdict": case.verdict,
         "holds": found.code in case.holds, "cannot_judge": found.code in case.cannot_judge}
        for case in load_cases(rule_set, where)
        if found.code in (*case.holds, *case.cannot_judge)
    ]  # fmt: skip
    mitigations = [
        {"code": item.code, "title": item.title, "basis": item.basis,
         "provided_by": item.provided_by or None}
        for name in found.mitigations
        if (item := rule_set.mitigations.get(name)) is not None
    ]  # fmt: skip
    return plain_rule(found) | {"cases": cases, "lifted_by": mitigations}


def plain_rule(item: Rule) -> dict[str, Any]:
    """Return a rule as data."""
    return {
        "code": item.code, "title": item.title, "when": item.source, "outcome": item.outcome,
        "unknown": item.unknown, "mitigations": list(item.mitigations), "because": item.because,
        "basis": item.basis, "may_be_wrong_when": item.may_be_wrong_when,
        "since": item.since.isoformat(), "until": item.until.isoformat() if item.until else None,
        "file": item.file,
    }  # fmt: skip
