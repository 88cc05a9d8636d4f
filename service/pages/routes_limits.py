"""Limits: what is in force and what waits, and the history of a document."""

from collections import defaultdict
from typing import Any, Literal

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import ValidationError

from ...catalogue.errors import CuttableError
from ...catalogue.ledger import history
from ...catalogue.ledger.database import Ledger
from ...catalogue.ledger.records import (
    Entry,
    check_document,
    kind_of,
    stamp,
)
from ...engine.answer.wording import System
from ..api.documents import plain
from ..api.revisions import Draft, draft
from ..engine_worker import Standing
from ..problems import status_of
from ..state import state_of
from .faults import Fault, fault_of
from .limits_view import MANY, grouped, limit_lines, step_words
from .rendering import Asks, Drafts, page

router = APIRouter()


async def _overview(
    request: Request, status: int = 200, *, fault: Fault | None = None,
    typed: dict[str, str] | None = None,
) -> HTMLResponse:  # fmt: skip
    stands = await state_of(request).ledgers.run(history.overview)
    rows, coming, waiting = ([plain(item) for item in part] for part in stands)
    return page(
        request, "limits.html", status, groups=grouped(rows), coming=coming, waiting=waiting,
        fault=fault, typed=defaultdict(str, typed or {}),
    )  # fmt: skip


@router.get("/limits")
async def limits(request: Request, asker: Asks) -> Response:
    """List what is in force, what is coming and what is waiting."""
    _ = asker
    return await _overview(request)


@router.post("/limits")
async def begin(request: Request, asker: Drafts) -> Response:
    """Begin a revision: of a document that there is, or of a new model or site."""
    form = await request.form()
    typed = {name: text for name, text in form.items() if isinstance(text, str)}
    file = typed.get("text", "").replace("\r\n", "\n")
    try:
        made = await draft(request, asker, Draft(
            document=typed.get("document", ""), reason=typed.get("reason", ""),
            evidence=typed.get("evidence", ""), file=file or None,
        ))  # fmt: skip
    except ValidationError:
        fault = Fault("The draft is longer than any file of limits", "Shorten it.")
        return await _overview(request, 422, fault=fault, typed=typed)
    except CuttableError as fault:
        return await _overview(request, status_of(fault.code), fault=fault_of(fault), typed=typed)
    return RedirectResponse(f"/limits/{made['document']}/{made['number']}", 303)


@router.get("/limits/{document}")
async def document(
    request: Request, asker: Asks, document: str, units: Literal["si", "us"] = "si"
) -> Response:
    """Show a document: its limits in force where it is a machine, its revisions, who did what."""
    _ = asker
    name = check_document(document)
    state = state_of(request)

    def read(ledger: Ledger) -> tuple[history.History, str]:
        with ledger.reading() as connection:
            return history.history(connection, name), stamp(ledger.clock())

    def machine(standing: Standing) -> tuple[str, list[Any], Fault | None]:
        if kind_of(name) not in ("machine", "overlay") or name not in standing.snapshot.numbers:
            return "", [], None
        try:
            model = standing.assessor.catalogue.machine(name)
        except CuttableError as fault:  # a site that no longer fits its model
            return "", [], fault_of(fault)
        return model.title, limit_lines(standing.assessor, model, units), None

    found, now = await state.ledgers.run(read)
    title, lines, fault = await state.engine.quick.run(machine)
    revisions = [
        {"item": item, "standing": history.standing(item, found, now),
         "changes": [change.text() for change in found.changes.get(item.number, [])]}
        for item in reversed(found.revisions)
    ]  # fmt: skip

    def link(system: System) -> str:
        return f"/limits/{name}?units={system}"

    return page(
        request, "document.html", name=name, title=title, lines=lines, fault=fault, units=units,
        revisions=revisions, link=link, is_many=name in MANY,
        journal=[_told(entry) for entry in reversed(found.entries)],
    )  # fmt: skip


def _told(entry: Entry) -> dict[str, Any]:
    import json

    details: Any = json.loads(entry.details) if entry.details else {}
    return {"at": entry.at, "words": step_words(entry), "number": entry.number,
            "reason": details.get("reason", "")}  # fmt: skip
