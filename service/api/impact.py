"""What a draft would change: worked out in the background, and attached to it as a report."""

from typing import Annotated, Literal

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field

from ...catalogue.errors import InputError
from ...catalogue.ledger import lifecycle
from ...catalogue.ledger.database import Ledger
from ...catalogue.ledger.records import check_document, parse_ref
from ..auth.authenticator import Asker, CanDraft
from ..content import sends
from ..settings import API
from ..state import State, state_of
from ..workers.task_folder import BacklogStands, ImpactOrder
from .backlogs import one_of
from .documents import Document, Number

router = APIRouter(prefix=API, tags=["limits"])


class Jobs(BaseModel):
    """The jobs that an impact looks at: those of a backlog, or of the answers kept."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [
        {"answers": True}, {"backlog": "0123456789abcdef", "units": "us"},
    ]})  # fmt: skip

    backlog: Annotated[str, Field(max_length=40)] = ""
    answers: bool = False
    units: Literal["si", "us"] = "si"


@router.post("/revisions/{document}/{number}/impact", status_code=202, response_model=None,
             responses=sends(BacklogStands, 202))  # fmt: skip
async def impact(
    request: Request, asker: CanDraft, document: Document, number: Number, asked: Jobs
) -> BacklogStands:
    """Work out which answers a draft would change; the report is attached to it when it is done.

    How far it is, is told under /backlogs/{id}.
    """
    return await ordered_impact(state_of(request), asker, f"{check_document(document)}/{number}",
                                asked)  # fmt: skip


async def ordered_impact(state: State, asker: Asker, ref: str, asked: Jobs) -> BacklogStands:
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
