"""Answers that were kept: as given, again, today."""

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import RedirectResponse, Response

from ...catalogue.errors import CuttableError
from ...catalogue.ledger import answers
from ...catalogue.ledger.database import Ledger
from ...engine.answer.differences import changes, lines, question_lines
from ...engine.answer.document import Provenance, read_reply
from ...engine.answer.wording import SYSTEMS
from ...engine.review.recording import asked_words
from ...engine.review.replay import reasons
from ...engine.version import VERSION
from ..api.answers import asked_again, find
from ..engine_worker import Standing
from ..paging import Page
from ..state import state_of
from .answer_view import Shown, shown
from .asked_words import query_of
from .faults import fault_of
from .rendering import Asks, page

router = APIRouter()


@router.get("/answers")
async def recent(request: Request, asker: Asks, part: Page) -> Response:
    """List the answers kept last, the newest first."""
    _ = asker

    def work(ledger: Ledger) -> tuple[int, list[Any]]:
        with ledger.reading() as connection:
            found = answers.recent(connection, part.most, part.first)
            return answers.count_of(connection), found

    total, found = await state_of(request).ledgers.run(work)
    rows = [
        {"number": number, "at": at, "asker": who, "verdict": verdict, "asked": asked_words(inputs)}
        for number, at, who, verdict, inputs in found
    ]  # fmt: skip

    def link(first: int) -> str:
        return f"/answers?first={first}&count={part.most}"

    return page(request, "answers.html", rows=rows, first=part.first, count=part.most,
                total=total, link=link)  # fmt: skip


@router.get("/answers/find")
async def find_answer(asker: Asks, number: Annotated[str, Query(max_length=40)] = "") -> Response:
    """Lead to an answer by its number or the id of a verdict."""
    _ = asker
    return RedirectResponse(f"/answers/{quote(number.strip(), safe='') or '0'}", 303)


@router.get("/answers/{name}")
async def one(request: Request, asker: Asks, name: str, see: str = "") -> Response:
    """Show an answer as it was given; again, or as it would be today, where that is asked."""
    _ = asker
    kept, files = await find(request, name)
    given = read_reply(kept.text)
    state = state_of(request)
    system = SYSTEMS[1] if kept.inputs["units"] == "us" else SYSTEMS[0]

    def work(standing: Standing) -> tuple[Shown | None, str, Provenance]:
        made = ""
        if see in ("again", "today"):
            made = asked_again(standing.snapshot, kept, files, is_today=see == "today")
        return shown(given, system), made, standing.assessor.provenance

    told: dict[str, Any] = {
        "is_same": None, "changed": [], "other_questions": [], "why": [], "fault": None,
    }  # fmt: skip
    try:
        answer, made, basis = await state.engine.long.run(work)
    except CuttableError as fault:  # it cannot be worked out any more: what was given stands
        see, told["fault"] = "", fault_of(fault)
        answer, made, basis = await state.engine.long.run(work)
    if see == "again":
        told["is_same"] = made == kept.text
    if see == "today":
        after = read_reply(made)
        told["changed"] = [(item, tuple(lines(item, system))) for item in changes(given, after)]
        told["other_questions"] = question_lines(given, after)
        told["is_same"] = not told["changed"] and not told["other_questions"]
        told["why"] = await state.ledgers.run(lambda ledger: reasons(ledger, kept, basis, after))
    is_other_tool = kept.basis["tool"] != f"cuttable {VERSION}"
    return page(
        request, "answer.html", kept=kept, answer=answer, questions=given.questions,
        asked=asked_words(kept.inputs), query=query_of(kept.inputs), see=see, **told,
        is_new="kept" in request.query_params, other_tool=is_other_tool,
    )  # fmt: skip
