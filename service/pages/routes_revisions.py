"""A revision: what it changes and would change, and the steps of its life."""

import json
from collections import defaultdict
from collections.abc import Awaitable, Callable
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import ValidationError

from ...catalogue.errors import CuttableError, InputError
from ...catalogue.ledger import blobs, history, lifecycle
from ...catalogue.ledger.database import Ledger
from ...catalogue.ledger.records import Revision, check_document, stamp
from ...engine.impact.ranking import OTHER_TITLES
from ..api.backlogs import mine
from ..api.impact import Jobs, ordered_impact
from ..api.revisions import Edit, Step, approve, edit, give_back, revoke, submit, withdraw
from ..auth.authenticator import Asker
from ..problems import status_of
from ..state import state_of
from .faults import Fault, fault_of
from .limits_view import MANY, impact_lines
from .rendering import Approves, Asks, Drafts, page

router = APIRouter()

Number = Annotated[int, Path(ge=1, le=10**9)]
Files = list[tuple[str, str]]


async def _page(
    request: Request, asker: Asker, document: str, number: int, status: int = 200, *,
    against: int = 0, fault: Fault | None = None, step: str = "",
    typed: dict[str, str] | None = None,
) -> HTMLResponse:  # fmt: skip
    name, state = check_document(document), state_of(request)

    def read(ledger: Ledger) -> dict[str, Any]:
        with ledger.reading() as connection:
            found = lifecycle.revision(connection, name, number)
            known = lifecycle.revisions(connection, name)
            base = against or found.base
            other = lifecycle.revision(connection, name, base) if base else None
            changed = history.changes(connection, other, found) if other else []
            report = blobs.kept(connection, found.impact) if found.impact else {}
            files = blobs.kept(connection, found.content, name)
        last = max((item.number for item in known if item.state == "approved"), default=0)
        return {
            "revision": found, "other": other, "known": [item.number for item in known],
            "changed": changed,
            "report": json.loads(next(iter(report.values()))) if report else None,
            "files": [(file, body.decode("utf-8", "replace")) for file, body in files.items()],
            "can_revoke": found.state == "approved" and found.effective > stamp(ledger.clock())
            and found.number == last,
        }  # fmt: skip

    told = await state.ledgers.run(read)
    titles = await state.engine.quick.run(
        lambda standing: {rule.code: rule.title for rule in standing.assessor.rule_set.rules}
    )
    report = told["report"]
    done = [item for item in mine(state, asker)
            if item["state"] == "done" and item["kind"] == "answers"]  # fmt: skip
    ref = told["revision"].ref
    running = [item for item in mine(state, asker) if item.get("revision") == ref
               and item["state"] in ("waiting", "running", "failed")]  # fmt: skip
    return page(
        request, "revision.html", status, **told, name=name, fault=fault, step=step,
        typed=defaultdict(str, typed or {}), done=done, running=running, is_many=name in MANY,
        groups=impact_lines(report, titles | OTHER_TITLES) if report else [],
        had_hand=_had_hand(told["revision"], asker.person.name),
        is_stale=_is_stale(told["revision"], report),
    )  # fmt: skip


def _had_hand(revision: Revision, who: str) -> bool:
    from ...catalogue.ledger.records import is_same_person

    names = [revision.author, *filter(None, revision.editors.split("\n"))]
    return any(is_same_person(name, who) for name in names)


def _is_stale(revision: Revision, report: dict[str, Any] | None) -> bool:
    return report is not None and report["about"]["content"] != revision.content


@router.get("/limits/{document}/{number}")
async def revision(
    request: Request, asker: Asks, document: str, number: Number,
    against: Annotated[int, Query(ge=0, le=10**9)] = 0,
) -> Response:  # fmt: skip
    """Show a revision."""
    return await _page(request, asker, document, number, against=against)


Work = Callable[[dict[str, str]], Awaitable[Any]]


async def _step(
    request: Request, asker: Asker, document: str, number: int, step: str, work: Work
) -> Response:
    """Do a step; what the ledger refuses is told on the revision's page, beside the step."""
    form = await request.form()
    typed = {name: text for name, text in form.items() if isinstance(text, str)}
    try:
        await work(typed)
    except ValidationError:
        fault, status = Fault("A text is too long", "Shorten it."), 422
    except InputError as raised:
        if raised.code == "revision-unknown":
            raise
        fault, status = fault_of(raised), status_of(raised.code)
    except CuttableError as raised:
        fault, status = fault_of(raised), status_of(raised.code)
    else:
        return RedirectResponse(f"/limits/{document}/{number}", 303)
    return await _page(request, asker, document, number, status, fault=fault, step=step,
                       typed=typed)  # fmt: skip


@router.post("/limits/{document}/{number}/edit")
async def edit_form(request: Request, asker: Drafts, document: str, number: Number) -> Response:
    """Change a draft: its file, reason and evidence."""

    async def work(typed: dict[str, str]) -> Any:
        file = typed.get("text")
        return await edit(request, asker, document, number, Edit(
            file=None if file is None else file.replace("\r\n", "\n"),
            reason=typed.get("reason"), evidence=typed.get("evidence"),
        ))  # fmt: skip

    return await _step(request, asker, document, number, "edit", work)


@router.post("/limits/{document}/{number}/submit")
async def submit_form(request: Request, asker: Drafts, document: str, number: Number) -> Response:
    """Freeze a draft for another person to approve."""

    async def work(typed: dict[str, str]) -> Any:
        asked = Step(effective=typed.get("effective", ""))
        return await submit(request, asker, document, number, asked)

    return await _step(request, asker, document, number, "submit", work)


@router.post("/limits/{document}/{number}/withdraw")
async def withdraw_form(request: Request, asker: Drafts, document: str, number: Number) -> Response:
    """Give a revision up."""

    async def work(typed: dict[str, str]) -> Any:
        asked = Step(reason=typed.get("reason", ""))
        return await withdraw(request, asker, document, number, asked)

    return await _step(request, asker, document, number, "withdraw", work)


@router.post("/limits/{document}/{number}/impact")
async def impact_form(request: Request, asker: Drafts, document: str, number: Number) -> Response:
    """Work out which answers a draft would change; the report comes to it when it is done."""

    async def work(typed: dict[str, str]) -> Any:
        jobs = typed.get("jobs", "")
        units: Literal["si", "us"] = "us" if typed.get("units") == "us" else "si"
        asked = Jobs(backlog="" if jobs == "answers" else jobs, answers=jobs == "answers",
                     units=units)  # fmt: skip
        ref = f"{check_document(document)}/{number}"
        return await ordered_impact(state_of(request), asker, ref, asked)

    return await _step(request, asker, document, number, "impact", work)


@router.post("/limits/{document}/{number}/return")
async def return_form(request: Request, asker: Approves, document: str, number: Number) -> Response:
    """Give a submitted revision back to its author."""

    async def work(typed: dict[str, str]) -> Any:
        asked = Step(reason=typed.get("reason", ""))
        return await give_back(request, asker, document, number, asked)

    return await _step(request, asker, document, number, "return", work)


@router.post("/limits/{document}/{number}/approve")
async def approve_form(
    request: Request, asker: Approves, document: str, number: Number
) -> Response:
    """Approve a submitted revision, as a person who had no hand in it."""

    async def work(typed: dict[str, str]) -> Any:
        asked = Step(effective=typed.get("effective", ""),
                     without_impact=typed.get("without_impact", ""))  # fmt: skip
        return await approve(request, asker, document, number, asked)

    return await _step(request, asker, document, number, "approve", work)


@router.post("/limits/{document}/{number}/revoke")
async def revoke_form(request: Request, asker: Approves, document: str, number: Number) -> Response:
    """Take back an approval before it takes effect."""

    async def work(typed: dict[str, str]) -> Any:
        asked = Step(reason=typed.get("reason", ""))
        return await revoke(request, asker, document, number, asked)

    return await _step(request, asker, document, number, "revoke", work)
