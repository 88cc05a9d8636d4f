"""Machines in force, and as they were at a moment."""

import datetime as dt
from typing import Annotated, Any, Literal, NotRequired

from fastapi import APIRouter, Query, Request
from fastapi import Path as InPath
from fastapi.responses import Response

from ...catalogue.files.plain_schema import plain_schema
from ...catalogue.ledger.records import read_moment
from ...catalogue.ledger.snapshot import Snapshot
from ...catalogue.machines.model import MachineModel, describe
from ...engine.assessor import AssessorCore
from ...engine.review.ledger_assessor import assessor_of
from ..auth.authenticator import CanAsk
from ..content import Content, lists, sends
from ..engine_worker import Standing
from ..paging import Page, paged
from ..settings import API
from ..state import state_of

router = APIRouter(prefix=API, tags=["limits"])

Code = Annotated[str, InPath(max_length=100, examples=["rowan-150"])]
AsOf = Annotated[str, Query(max_length=40)]


class MachineLine(Content):
    """A model in force; or a model as a site has it, MODEL@SITE."""

    model: str
    title: str
    builder: str
    revision: int
    overlay_revision: NotRequired[int]
    """Of what the site lays over the model."""
    digest: str
    """Of its content."""


MACHINE = plain_schema(MachineModel, "Machine", schema=Literal["cuttable.machine/1"])


@router.get("/machines", responses=lists(MachineLine))
async def machines(request: Request, asker: CanAsk, page: Page, as_of: AsOf = "") -> Response:
    """List models in force, smallest first; as they were at a moment where `as_of` is given."""
    _ = asker

    def work(standing: Standing) -> tuple[str, list[MachineLine]]:
        catalogue = _assessor_at(standing, as_of).catalogue
        rows: list[MachineLine] = [
            {"model": item.code, "title": item.title, "builder": item.builder,
             "revision": item.revision, "digest": item.digest}
            for item in catalogue.machines.values()
        ]  # fmt: skip
        for code in catalogue.overlays:
            over = catalogue.machine(code)
            rows.append({"model": code, "title": over.title, "builder": over.builder,
                         "revision": over.revision, "overlay_revision": over.overlay_revision,
                         "digest": over.digest})  # fmt: skip
        return standing.key, rows

    key, rows = await state_of(request).engine.quick.run(work)
    return paged(request, rows, page, key)


@router.get("/machines/{code}", response_model=None, responses=sends(MACHINE))
async def machine(
    request: Request, asker: CanAsk, code: Code, as_of: AsOf = ""
) -> dict[str, Any]:  # fmt: skip
    """Return a model in force, every limit with its basis."""
    _ = asker

    def work(standing: Standing) -> dict[str, Any]:
        return describe(_assessor_at(standing, as_of).catalogue.machine(code))

    found = await state_of(request).engine.quick.run(work)
    return {"schema": "cuttable.machine/1", **found}


def _assessor_at(standing: Standing, as_of: str) -> AssessorCore:
    if not as_of:
        return standing.assessor
    at = read_moment(as_of, dt.datetime.now(dt.UTC), option="as_of")
    snapshot = Snapshot(standing.snapshot.place, at=at)
    return assessor_of(snapshot)
