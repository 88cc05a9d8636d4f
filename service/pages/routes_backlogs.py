"""Backlog: send a file, watch it, filter and sort its answers, take them away."""

import time
from collections.abc import AsyncIterator
from typing import Annotated, Any, Final, Literal, NamedTuple
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import UploadFile

from ...catalogue.errors import CuttableError, InputError
from ...engine.answer.wording import percent
from ...engine.backlog.summary import shortened
from ...engine.impact.ranking import OTHER_TITLES
from ..api.backlogs import answers, mine, one_of, take
from ..auth.authenticator import Asker
from ..engine_worker import Standing
from ..paging import PageOf
from ..problems import status_of
from ..state import state_of
from ..workers.task_folder import BacklogStands, Order, read
from .faults import Fault, fault_of
from .rendering import Asks, fragment, page
from .routes_ask import models_of

router = APIRouter()

COLUMNS: Final = (
    ("row", "Row"), ("job", "Job"), ("machine", "Model"), ("verdict", "Verdict"),
    ("decided_by", "Decided by"), ("governing", "Fullest limit"), ("utilisation", "Used"),
    ("heavy_utilisation", "Used, heavy end"), ("mitigations", "To do"),
)  # fmt: skip
"""Columns of answers that the page shows; the file has all."""
PIECE: Final = 2**20
PART: Final = 50


async def _list(
    request: Request, asker: Asker, status: int = 200, *, fault: Fault | None = None,
    chosen: tuple[str, ...] = (), is_best: bool = False,
) -> HTMLResponse:  # fmt: skip
    state = state_of(request)
    models = await state.engine.quick.run(lambda standing: models_of(standing.assessor))
    found = [_told(item) for item in mine(state, asker)]
    return page(
        request, "backlogs.html", status, models=models, backlogs=found, fault=fault,
        chosen=chosen, is_best=is_best, can_send=not state.settings.is_open,
    )  # fmt: skip


def _told(item: BacklogStands) -> dict[str, Any]:
    sent = time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(item["sent"]))
    what = f"impact of {item.get('revision')}" if item["kind"] == "impact" else ""
    return {**item, "when": sent, "what": what}


@router.get("/backlogs")
async def backlogs(request: Request, asker: Asks) -> Response:
    """List the backlogs, and the form to send one."""
    return await _list(request, asker)


@router.post("/backlogs")
async def send(request: Request, asker: Asks) -> Response:
    """Keep a backlog that is sent, and lead to where it is watched."""
    state = state_of(request)
    form = await request.form()
    given = form.get("file")
    machines = [item for item in form.getlist("machines") if isinstance(item, str)][:50]
    is_best = form.get("best") == "yes"
    sheet = form.get("sheet", "")
    try:
        if state.settings.is_open:
            raise InputError("not-allowed", "an open page takes no backlogs",
                             remedy="Use the command line: cuttable batch.")  # fmt: skip
        if not isinstance(given, UploadFile) or not given.filename:
            raise InputError("backlog-empty", "no file was chosen",
                             remedy="Choose one, or drop it on the form.")  # fmt: skip
        order = Order(given.filename[:200], machines, is_best,
                      sheet[:100] if isinstance(sheet, str) else "")  # fmt: skip
        name = await take(state, asker, order, _pieces(given))
    except CuttableError as fault:
        return await _list(request, asker, status_of(fault.code), fault=fault_of(fault),
                           chosen=tuple(machines), is_best=is_best)  # fmt: skip
    return RedirectResponse(f"/backlogs/{name}", 303)


async def _pieces(given: UploadFile) -> AsyncIterator[bytes]:
    while piece := await given.read(PIECE):
        yield piece


@router.get("/backlogs/{name}/progress")
async def progress(request: Request, asker: Asks, name: str) -> HTMLResponse:
    """Return how far a backlog is, for a page that is open."""
    found = one_of(state_of(request), asker, name)
    return HTMLResponse(fragment(request, "_progress.html", item=_told(found)))


@router.post("/backlogs/{name}/cancel")
async def cancel(request: Request, asker: Asks, name: str) -> Response:
    """Stop a backlog that is waiting or running; forget one that has ended."""
    state = state_of(request)
    before = one_of(state, asker, name)["state"]
    await state.backlogs.cancel(name)
    is_there = before in ("waiting", "running")
    return RedirectResponse(f"/backlogs/{name}" if is_there else "/backlogs", 303)


@router.get("/backlogs/{name}")
async def backlog(
    request: Request,
    asker: Asks,
    name: str,
    verdict: Annotated[
        Literal["", "in-range", "oversize-allowed-with-conditions", "refused", "none"], Query()
    ] = "",
    machine: Annotated[str, Query(max_length=100)] = "",
    text: Annotated[str, Query(max_length=100)] = "",
    sort: Annotated[str, Query(max_length=40)] = "",
    first: Annotated[int, Query(ge=0, le=100_000_000)] = 0,
) -> Response:
    """Show a backlog: how far it is, or its summary and answers."""
    state = state_of(request)
    item = _told(one_of(state, asker, name))
    if item["state"] != "done":
        return page(request, "backlog.html", item=item, summary=None)
    summary = read(state.backlogs.file(name, "summary.json"))
    if item["kind"] == "impact":
        document, _, number = str(item["revision"]).rpartition("/")
        return page(request, "impact.html", item=item, summary=summary,
                    revision=f"/limits/{document}/{number}")  # fmt: skip
    known = {column for column, _ in COLUMNS}
    sort = sort if sort.removeprefix("-") in known else ""
    found = await answers(request, asker, name, PageOf(first, PART), verdict, machine, text, sort)
    asked = {"verdict": verdict, "machine": machine, "text": text, "sort": sort}

    def link(place: int = 0, **changes: str) -> str:
        pairs = {key: value for key, value in (asked | changes).items() if value}
        return f"/backlogs/{name}?{urlencode(pairs | ({'first': place} if place else {}))}#answers"

    def sort_link(column: str) -> str:
        return link(sort=f"-{column}" if sort == column else column)

    words = await _words(request, item)
    tables = [(table["title"], shortened([tuple(row) for row in table["rows"]]))
              for table in summary["tables"]]  # fmt: skip
    return page(
        request, "backlog.html", item=item, summary=summary, tables=tables, asked=asked,
        rows=[_cells(row, words) for row in found["items"]], total=found["total"], first=first,
        count=PART, columns=COLUMNS, link=link, sort_link=sort_link,
        models=words.models,
    )  # fmt: skip


class _Words(NamedTuple):
    """Titles by code, and the models asked."""

    models: list[str]
    rules: dict[str, str]
    measures: dict[str, str]
    mitigations: dict[str, str]


async def _words(request: Request, item: dict[str, Any]) -> _Words:
    def work(standing: Standing) -> _Words:
        rule_set = standing.assessor.rule_set
        every = [code for code, _, is_site in models_of(standing.assessor) if not is_site]
        return _Words(
            list(item["machines"]) or every,
            {rule.code: rule.title for rule in rule_set.rules} | OTHER_TITLES,
            dict(rule_set.vocabulary.titles),
            {code: mitigation.title for code, mitigation in rule_set.mitigations.items()},
        )

    return await state_of(request).engine.quick.run(work)


def _cells(row: dict[str, Any], words: _Words) -> dict[str, Any]:
    """Return an answer as the page shows it: what it does not say is blank."""
    code = row["decided_by"] or ""
    to_do = ", ".join(
        words.mitigations.get(name, name).lower() for name in (row["mitigations"] or "").split("; ")
    )
    if row["verdict"] == "refused":
        # What would have to be done for a job that is refused is of no use; what lacks is.
        to_do = f"needs {row['missing'].replace(';', ',')}" if row["missing"] else ""
    return row | {
        "utilisation": percent(row["utilisation"]),
        "heavy_utilisation": percent(row["heavy_utilisation"]),
        "governing": words.measures.get(row["governing"] or "", row["governing"] or ""),
        "decision": words.rules.get(code, code),
        "mitigations": to_do,
    }
