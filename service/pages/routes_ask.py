"""Ask: the question as a form, the answer as it is typed, the sheet, keeping it."""

from typing import Annotated, Any, Literal, NamedTuple
from urllib.parse import parse_qs

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import MultiDict

from ...catalogue.errors import CuttableError, InputError, Question
from ...engine.answer.document import Question as Asked
from ...engine.assessor import AssessorCore
from ..api.asking import keep, sheet_response, worker_for
from ..asking import answered, kept_answer
from ..engine_worker import EngineWorker, Standing
from ..state import state_of
from .answer_view import Shown, shown
from .customer import customer_text
from .question_form import (
    FIRST,
    MORE,
    Form,
    Note,
    by_field,
    form_of,
    note_of,
    note_of_fault,
    notes_on,
)
from .rendering import Asks, fragment, page

router = APIRouter()


class Told(NamedTuple):
    """What came of asking: an answer, or what stands in its way."""

    answer: Shown | None
    notes: dict[str, list[Note]]
    mail: str = ""


def told(standing: Standing, form: Form) -> Told:
    """Answer what is typed, or say beside which field what is wrong."""
    assessor = standing.assessor
    notes = notes_on(form, assessor)
    if notes or not form.is_whole:
        return Told(None, by_field(notes))
    try:
        found = answered(standing, form.question())
    except CuttableError as fault:
        return Told(None, by_field([note_of_fault(fault, form)]))
    if found.questions:
        return Told(None, by_field([note_of(_plain(item), form) for item in found.questions]))
    answer = shown(found, form.system)
    mail = customer_text(answer, standing.snapshot.mark.at[:10]) if answer else ""
    return Told(answer, {}, mail)


def _plain(item: Asked) -> Question:
    return Question(item.code, item.text, item.choices)


def models_of(assessor: AssessorCore) -> list[tuple[str, str, bool]]:
    """Return code and title of every model, smallest first, and of every site."""
    catalogue = assessor.catalogue
    found = [(item.code, item.title, False) for item in catalogue.machines.values()]
    for code in catalogue.overlays:
        try:
            found.append((code, catalogue.machine(code).title, True))
        except CuttableError:
            continue  # a site that no longer fits its model is told on the page of limits
    return found


def _choices(assessor: AssessorCore) -> dict[str, Any]:
    vocabulary = assessor.rule_set.vocabulary
    return {
        "models": models_of(assessor),
        "first": FIRST,
        "more": MORE,
        "facts": vocabulary.facts,
        "accessories": sorted(vocabulary.accessories.items()),
    }


def _onward(request: Request, form: Form) -> dict[str, Any]:
    """Return what can be done with an answer."""
    base = request.url.replace(path="/", query="", fragment="")
    if state_of(request).settings.is_https:
        base = base.replace(scheme="https")  # the proxy before the service speaks it
    query = form.query(units=form.system)
    return {
        "share": f"{base}?{query}",
        "query": form.query(),
        "can_keep": not state_of(request).settings.is_open,
    }


def _worker(request: Request, form: Form) -> EngineWorker:
    """Return the worker for what is typed: what takes long keeps nobody waiting."""
    state = state_of(request)
    try:
        return worker_for(state, form.question())
    except InputError:
        return state.engine.quick  # it is refused there, at its field


@router.get("/")
async def ask(request: Request, asker: Asks) -> Response:
    """Show the question and, where it is asked, its answer."""
    _ = asker
    form = form_of(request.query_params)
    if "fill" in request.query_params:
        return RedirectResponse(f"/?{form.query()}", 303)

    def work(standing: Standing) -> tuple[Told, dict[str, Any]]:
        return told(standing, form), _choices(standing.assessor)

    found, choices = await _worker(request, form).run(work)
    return page(request, "ask.html", form=form, **found._asdict(), **choices,
                **_onward(request, form))  # fmt: skip


@router.get("/ask/answer")
async def answer(request: Request, asker: Asks) -> HTMLResponse:
    """Return the answer alone, for a page that is open."""
    _ = asker
    form = form_of(request.query_params)
    found = await _worker(request, form).run(lambda standing: told(standing, form))
    return HTMLResponse(fragment(request, "answer_fragment.html", form=form, **found._asdict(),
                                 **_onward(request, form)))  # fmt: skip


@router.get("/sheet")
async def sheet(
    request: Request,
    asker: Asks,
    kind: Literal["pdf", "svg", "html"] = "pdf",
    paper: Annotated[Literal["a4", "letter"] | None, Query()] = None,
) -> Response:
    """Return the set-up sheet of the job in the address, on its one model."""
    _ = asker
    form = form_of(request.query_params)
    if len(form.machines) != 1:
        raise InputError("option-needs", "a sheet is for one machine",
                         remedy="Ask first, and choose the sheet of a model there.")  # fmt: skip
    return await sheet_response(state_of(request), form.question(), kind, paper)


@router.post("/ask/keep")
async def keep_it(request: Request, asker: Asks) -> Response:
    """Ask again, keep the answer in the ledger, and show it there."""
    sent = await request.form()
    query = sent.get("query", "")
    pairs = parse_qs(query if isinstance(query, str) else "", max_num_fields=2000)
    form = form_of(MultiDict([(name, item) for name, items in pairs.items() for item in items]))
    state = state_of(request)

    def work(standing: Standing) -> Any:
        question = form.question(keep=True)
        return kept_answer(standing, question, answered(standing, question))

    number = await keep(state, asker.person.name, await _worker(request, form).run(work))
    return RedirectResponse(f"/answers/{number}?kept=1", 303)
