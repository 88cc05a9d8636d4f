"""Backlogs: send one, watch it, read its answers, stop it."""

import asyncio
from collections.abc import AsyncIterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Final, Literal, NotRequired, cast

from fastapi import APIRouter, Query, Request
from fastapi.responses import FileResponse, HTMLResponse, Response

from ...catalogue.errors import InputError
from ..asking import check_names
from ..auth.authenticator import Asker, CanAsk
from ..content import Content, lists, sends
from ..middleware import SHEET_POLICY
from ..paging import Page, paged
from ..settings import API
from ..state import State, state_of
from ..workers.backlog_rows import BacklogRows, rows_of
from ..workers.task_folder import BacklogStands, Order, read
from .impact_report import ImpactReport, Totals

router = APIRouter(prefix=API, tags=["backlogs"])

UPLOAD: Final = f"{API}/backlogs"
KINDS: Final = {
    "csv": "text/csv; charset=utf-8",
    "parquet": "application/vnd.apache.parquet",
    "jsonl": "application/x-ndjson",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
_READER: Final = ThreadPoolExecutor(1, thread_name_prefix="rows")


class TableOfCounts(Content):
    """Counts under a title, the largest first."""

    title: str
    rows: list[tuple[str, int]]


class BacklogSummary(Content):
    """What a backlog came to; of an impact, headline and totals."""

    headline: str
    mapping: NotRequired[str]
    """Which column was read as what, in a sentence."""
    jobs: NotRequired[list[tuple[str, int]]]
    """How the jobs divide."""
    tables: NotRequired[list[TableOfCounts]]
    taken: NotRequired[list[tuple[str, int]]]
    """What was taken for granted, and in how many rows."""
    verdicts: NotRequired[dict[str, int]]
    """Answers by verdict; the empty name is an open question."""
    totals: NotRequired[Totals]


class BacklogWhole(BacklogStands):
    """How a backlog stands, and what it came to when it is done."""

    summary: NotRequired[BacklogSummary]
    impact: NotRequired[ImpactReport]
    """Of an impact, the report that is attached to the draft."""


@router.post("/backlogs", status_code=201, response_model=None,
             responses=sends(BacklogStands, 201), openapi_extra={
    "requestBody": {"required": True, "content": {"application/octet-stream": {
        "schema": {"type": "string", "format": "binary"}}}},
})  # fmt: skip
async def send(
    request: Request,
    asker: CanAsk,
    name: Annotated[str, Query(min_length=1, max_length=200, description="The file's name")],
    machine: Annotated[list[str] | None, Query(max_length=50)] = None,
    *,
    best: Annotated[bool, Query(description="Keep only the best answer of each job")] = False,
    sheet: Annotated[str, Query(max_length=100)] = "",
) -> BacklogStands:
    """Send a backlog as the body of the request: CSV, Excel or Parquet, told by its name."""
    state = state_of(request)
    if state.settings.is_open:
        raise InputError("not-allowed", "an open page takes no backlogs",
                         remedy="Use the command line: cuttable batch.")  # fmt: skip
    made = await take(state, asker, Order(name, machine or [], best, sheet), request.stream())
    return state.backlogs.one(made)


async def take(state: State, asker: Asker, order: Order, content: AsyncIterator[bytes]) -> str:
    """Check what is asked of a backlog and keep it; returns its id.

    Raises:
        InputError: a machine is not known, or what :meth:`Backlogs.take` tells.
    """
    check_names(order.machines)

    def look(standing: Any) -> tuple[str, int]:
        standing.assessor.machines(order.machines)
        mark = standing.snapshot.mark
        return mark.at, mark.entries

    mark = await state.engine.quick.run(look)
    return await state.backlogs.take(order, asker.person.name, mark, content)


@router.get("/backlogs", responses=lists(BacklogStands))
async def every(request: Request, asker: CanAsk, page: Page) -> Response:
    """List the backlogs, the newest first."""
    return paged(request, mine(state_of(request), asker), page)


def mine(state: State, asker: Asker) -> list[BacklogStands]:
    """Return the backlogs a person may see: their own; an administrator all."""
    found = state.backlogs.all()
    if "admin" in asker.rights:
        return found
    return [item for item in found if item["owner"] == asker.person.name]


def one_of(state: State, asker: Asker, name: str) -> BacklogStands:
    """Return a backlog that a person may see.

    Raises:
        InputError: ``backlog-unknown``.
    """
    found = state.backlogs.one(name)
    if found["owner"] != asker.person.name and "admin" not in asker.rights:
        raise InputError("backlog-unknown", f"there is no backlog {name[:20]!r}")
    return found


@router.get("/backlogs/{name}", response_model=None, responses=sends(BacklogWhole))
async def one(request: Request, asker: CanAsk, name: str) -> BacklogWhole:
    """Return how far a backlog is, and its summary when it is done."""
    state = state_of(request)
    found: BacklogWhole = {**one_of(state, asker, name)}
    if found["state"] == "done":
        found["summary"] = cast("BacklogSummary", read(state.backlogs.file(name, "summary.json")))
        if found["kind"] == "impact":
            found["impact"] = cast("ImpactReport", read(state.backlogs.file(name, "impact.json")))
    return found


@router.delete("/backlogs/{name}", status_code=204)
async def stop(request: Request, asker: CanAsk, name: str) -> Response:
    """Stop a backlog that is waiting or running; forget one that has ended."""
    state = state_of(request)
    one_of(state, asker, name)
    await state.backlogs.cancel(name)
    return Response(status_code=204)


@router.get("/backlogs/{name}/answers", response_model=None, responses=sends(BacklogRows))
async def answers(
    request: Request,
    asker: CanAsk,
    name: str,
    page: Page,
    verdict: Annotated[str, Query(max_length=40)] = "",
    machine: Annotated[str, Query(max_length=100)] = "",
    text: Annotated[str, Query(max_length=100, description="Part of job, rule or error")] = "",
    sort: Annotated[str, Query(max_length=40, description="Column; -column for falling")] = "",
) -> BacklogRows:
    """Return answers of a backlog that is done, filtered and sorted."""
    state = state_of(request)
    one_of(state, asker, name)
    path = state.backlogs.file(name, "answers.parquet")
    work = partial(rows_of, path, verdict=verdict, machine=machine, text=text, sort=sort,
                   first=page.first, count=page.most)  # fmt: skip
    # One after the other: each may hold a column of millions of rows.
    return await asyncio.get_running_loop().run_in_executor(_READER, work)


@router.get("/backlogs/{name}/file", response_class=Response, responses={
    200: {"content": {kind: {} for kind in KINDS.values()}},
})  # fmt: skip
async def file(
    request: Request,
    asker: CanAsk,
    name: str,
    kind: Literal["csv", "xlsx", "parquet", "jsonl"] = "csv",
) -> Response:
    """Download all answers of a backlog."""
    state = state_of(request)
    found = one_of(state, asker, name)
    path = await state.backlogs.converted(name, kind)
    stem = Path(found["name"]).stem or "backlog"
    plain = "".join(char if char.isascii() and (char.isalnum() or char in "-_") else "_"
                    for char in stem)  # fmt: skip
    return FileResponse(path, media_type=KINDS[kind], filename=f"{plain}-answers.{kind}")


@router.get("/backlogs/{name}/report", response_class=HTMLResponse)
async def report(request: Request, asker: CanAsk, name: str) -> Response:
    """Return the summary as a page with charts."""
    state = state_of(request)
    one_of(state, asker, name)
    path = state.backlogs.file(name, "report.html")
    return Response(path.read_bytes(), media_type="text/html; charset=utf-8",
                    headers={"Content-Security-Policy": SHEET_POLICY})  # fmt: skip


__all__ = ["UPLOAD", "router", "rows_of"]
