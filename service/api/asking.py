"""Ask: check, lengths, sheet, chart."""

import json
import time
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from ...catalogue.errors import InputError, OpenQuestion
from ...engine.answer.document import text_of
from ...engine.answer.reasons import lengths_content
from ...engine.jobs.parse import read_job
from ...engine.search.charting import charts_of
from ...engine.search.lengths import STEPS, length_intervals
from ...engine.sheet.rendering import sheet_file
from ..asking import EXAMPLE, Question, answered, check_names, kept_answer
from ..auth.authenticator import CanAsk
from ..content import ANSWER, QUESTION_REF, Content, sends
from ..engine_worker import EngineWorker, Standing
from ..middleware import SHEET_POLICY
from ..paging import tagged
from ..settings import API
from ..state import State, state_of

router = APIRouter(prefix=API, tags=["asking"])
BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {"application/json": {"schema": QUESTION_REF,
                                         "examples": {"a job": {"value": EXAMPLE}}}},
    }
}  # fmt: skip
MEDIA = {"pdf": "application/pdf", "svg": "image/svg+xml", "html": "text/html; charset=utf-8",
         "png": "image/png"}  # fmt: skip


class LengthRange(Content):
    """Lengths from `low` to `high` (mm, both included) that get the same answer."""

    low: float
    high: float
    verdict: str
    """Empty where a question stands before it."""
    decided_by: str
    """The rule that decides; empty where it is in range."""
    governing: str
    """The measure with the largest utilisation at the high end."""
    utilisation: float | None
    """Of that measure there."""
    missing: list[str]
    """Accessories needed and not fitted."""


class LengthsOnMachine(Content):
    """What lengths a model takes."""

    model: str
    revision: int
    digest: str
    intervals: list[LengthRange]


class Lengths(Content):
    """For which stock lengths a section is in range, allowed or refused."""

    schema: Literal["cuttable.lengths/1"]
    section: str
    grade: str
    step: float
    """mm: borders are found to this."""
    machines: list[LengthsOnMachine]


def question_in(body: bytes) -> Question:
    """Read a question.

    Raises:
        ValidationError: it is not what the API describes.
    """
    return Question.model_validate_json(body)


@router.post("/check", responses=ANSWER, openapi_extra=BODY)
async def check(request: Request, asker: CanAsk) -> Response:
    """Can these machines cut this stock, and on what conditions?

    Verdicts best first; or the questions that must be answered first. With `keep` the answer is
    kept in the ledger, and `Location` says where.
    """
    state, body = state_of(request), await request.body()
    quick = state.engine.quick
    if quick.is_fresh() and (known := state.response_cache.get(quick.key, body)) is not None:
        quick.used = time.monotonic()
        state.metrics.answers.labels("known").inc()
        return Response(known, media_type="application/json")
    question = question_in(body)

    def work(standing: Standing) -> tuple[str, bytes, Any]:
        answer = answered(standing, question)
        kept = kept_answer(standing, question, answer) if question.keep else None
        return standing.key, text_of(answer).encode(), kept

    known = None
    if not quick.is_fresh() and not question.keep:
        key = await quick.run(lambda standing: standing.key)
        known = state.response_cache.get(key, body)
    if known is not None:
        state.metrics.answers.labels("known").inc()
        return Response(known, media_type="application/json")
    key, text, kept = await worker_for(state, question).run(work)
    state.metrics.answers.labels("new").inc()
    headers: dict[str, str] = {}
    if kept is not None:
        number = await keep(state, asker.person.name, kept)
        headers["Location"] = f"{API}/answers/{number}"
    else:
        state.response_cache.put(key, body, text)
    return Response(text, media_type="application/json", headers=headers)


def worker_for(state: State, question: Question) -> EngineWorker:
    """Return the worker for a question: what takes long keeps nobody waiting who asks briefly."""
    return state.engine.long if question.is_heavy else state.engine.quick


async def keep(state: State, asker: str, new: Any) -> int:
    """Keep an answer in the ledger and return its number.

    Raises:
        InputError: ``not-allowed`` on an open page, which changes nothing.
    """
    from ...catalogue.ledger.answers import keep_answers

    if state.settings.is_open:
        raise InputError("not-allowed", "an open page keeps no answers",
                         remedy="Leave out keep.")  # fmt: skip
    numbers = await state.ledgers.run(lambda ledger: keep_answers(ledger, asker, [new]))
    return numbers[0]


@router.post("/lengths", openapi_extra=BODY, responses=sends(Lengths))
async def lengths(request: Request, asker: CanAsk) -> Response:
    """For which stock lengths is a section in range, allowed, refused, and what decides?

    The length of the question is not used.
    """
    _ = asker
    question = question_in(await request.body())
    question.check_machines()

    def work(standing: Standing) -> bytes:
        assessor = standing.assessor
        job, questions = read_job(
            question.text()._replace(length="1 m"), assessor.catalogue, assessor.rule_set.vocabulary
        )
        if job is None:
            raise OpenQuestion(questions[0].code, questions[0].text, questions[0].choices)
        system = question.units or "si"
        found = [(machine, length_intervals(assessor.engine, job, machine, STEPS[system]))
                 for machine in assessor.machines(question.machines)]  # fmt: skip
        return json.dumps(lengths_content(job, found, system), allow_nan=False).encode()

    made = await state_of(request).engine.long.run(work)
    return Response(made, media_type="application/json")


@router.post("/sheet", openapi_extra=BODY, response_class=Response, responses={
    200: {"content": {"application/pdf": {}, "image/svg+xml": {}, "text/html": {}}},
})  # fmt: skip
async def sheet(
    request: Request,
    asker: CanAsk,
    kind: Literal["pdf", "svg", "html"] = "pdf",
    paper: Literal["a4", "letter"] | None = None,
) -> Response:
    """Return the one-page set-up sheet of a job on one machine."""
    _ = asker
    question = question_in(await request.body())
    if len(question.machines) != 1:
        raise InputError("option-needs", "a sheet is for one machine",
                         remedy="Name one in machines.")  # fmt: skip
    return await sheet_response(state_of(request), question, kind, paper)


async def sheet_response(
    state: State,
    question: Question,
    kind: Literal["pdf", "svg", "html"],
    paper: Literal["a4", "letter"] | None = None,
) -> Response:
    """Make a sheet and return it, named by its answer.

    Raises:
        OpenQuestion: something must be said first.
    """

    def work(standing: Standing) -> tuple[str, bytes]:
        answer = answered(standing, question)
        if answer.questions:
            asked = answer.questions[0]
            raise OpenQuestion(asked.code, asked.text, asked.choices)
        one = answer.verdicts[0]
        return one.id, sheet_file(one, kind, question.system, paper)

    name, made = await state.engine.long.run(work)
    headers = {"Content-Disposition": f'inline; filename="sheet-{name}.{kind}"'}
    if kind != "pdf":
        headers["Content-Security-Policy"] = SHEET_POLICY
    return Response(made, media_type=MEDIA[kind], headers=headers)


@router.get("/chart", response_class=Response, responses={
    200: {"content": {"image/svg+xml": {}, "image/png": {}, "text/html": {}}},
})  # fmt: skip
async def chart(
    request: Request,
    asker: CanAsk,
    machine: Annotated[str, Query(max_length=100)],
    against: Annotated[str, Query(max_length=100)] = "",
    family: Annotated[str, Query(max_length=20)] = "pipe",
    wall: Annotated[str, Query(max_length=40)] = "",
    grade: Annotated[str, Query(max_length=100)] = "",
    units: Literal["si", "us"] = "si",
    kind: Literal["svg", "png", "html"] = "svg",
) -> Response:
    """Draw a machine's range: sections against lengths."""
    _ = asker
    names = [machine, *([against] if against else [])]
    check_names(names)

    def work(standing: Standing) -> tuple[str, bytes]:
        models = standing.assessor.machines(names)
        drawn = charts_of(standing.assessor, models, family=family, wall=wall, grade=grade or None,
                          system=units)  # fmt: skip
        if kind == "html":
            return standing.key, drawn.page(units).encode()
        return standing.key, drawn.picture(kind, units)

    key, made = await state_of(request).engine.long.run(work)
    headers = {} if kind == "png" else {"Content-Security-Policy": SHEET_POLICY}
    return tagged(request, made, MEDIA[kind], key, headers)
