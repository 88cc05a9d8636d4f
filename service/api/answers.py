"""Answers that were kept: as given, again, today."""

import json
from typing import Annotated, Literal, NotRequired, cast

from fastapi import APIRouter, Request
from fastapi import Path as InPath
from fastapi.responses import Response

from ...catalogue.ledger import answers
from ...catalogue.ledger.answers import Kept
from ...catalogue.ledger.database import Ledger
from ...catalogue.ledger.snapshot import Snapshot
from ...engine.review.replay import assessor_for, mark_of, text_again
from ..auth.authenticator import CanAsk
from ..content import ANSWER, Content, GivenAnswer, lists, sends
from ..paging import Page, part_of
from ..settings import API
from ..state import state_of

Name = Annotated[str, InPath(max_length=40, examples=["1"],
                             description="Its number, or the id of a verdict")]  # fmt: skip
router = APIRouter(prefix=API, tags=["answers"])


class Inputs(Content):
    """What was asked."""

    job: dict[str, str | list[str]]
    """As it was typed, by field."""
    machines: list[str]
    units: Literal["si", "us"]


class Basis(Content):
    """What an answer rests on."""

    at: str
    """The moment whose limits were asked."""
    entries: int
    """How many entries the journal had then."""
    tool: str
    rules: str
    """Digest."""
    catalogue: str
    """Digest."""
    machines: list[tuple[str, int, str]]
    """Model, revision and digest."""
    files: NotRequired[dict[str, str]]
    """Machine files that were given by path, with their digests."""


class KeptLine(Content):
    """An answer that was kept, in a line."""

    answer: int
    at: str
    asker: str
    verdict: str | None
    """The best; null where a question is open."""
    inputs: Inputs


class KeptAnswer(Content):
    """An answer as it was given."""

    answer: int
    at: str
    asker: str
    inputs: Inputs
    basis: Basis
    given: GivenAnswer


class AskedAgain(Content):
    """Whether an answer worked out again is the same to the byte."""

    answer: int
    is_same: bool


class AskedToday(AskedAgain):
    """An answer as it was and as it would be today."""

    before: GivenAnswer
    after: GivenAnswer


@router.get("/answers", responses=lists(KeptLine))
async def recent(request: Request, asker: CanAsk, page: Page) -> Response:
    """List the answers kept last, the newest first."""
    _ = asker

    def work(ledger: Ledger) -> tuple[int, list[KeptLine]]:
        with ledger.reading() as connection:
            found = answers.recent(connection, page.most, page.first)
            total = answers.count_of(connection)
        rows: list[KeptLine] = [
            {"answer": number, "at": at, "asker": who, "verdict": verdict or None,
             "inputs": cast("Inputs", inputs)}
            for number, at, who, verdict, inputs in found
        ]  # fmt: skip
        return total, rows

    total, rows = await state_of(request).ledgers.run(work)
    return part_of(request, rows, page, total)


@router.get("/answers/{name}", response_model=None, responses=sends(KeptAnswer))
async def one(request: Request, asker: CanAsk, name: Name) -> KeptAnswer:
    """Return an answer as it was given, by its number or the id of a verdict."""
    _ = asker
    kept, _ = await find(request, name)
    return {
        "answer": kept.answer, "at": kept.at, "asker": kept.asker,
        "inputs": cast("Inputs", kept.inputs), "basis": cast("Basis", kept.basis),
        "given": json.loads(kept.text),
    }  # fmt: skip


@router.get("/answers/{name}/text", responses=ANSWER)
async def text(request: Request, asker: CanAsk, name: Name) -> Response:
    """Return the answer to the byte."""
    _ = asker
    kept, _ = await find(request, name)
    return Response(kept.text, media_type="application/json")


@router.get("/answers/{name}/again", response_model=None, responses=sends(AskedAgain))
async def again(request: Request, asker: CanAsk, name: Name) -> AskedAgain:
    """Work an answer out again from the revisions of its day; it must be the same."""
    _ = asker
    kept, files = await find(request, name)
    made = await state_of(request).engine.long.run(
        lambda standing: asked_again(standing.snapshot, kept, files, is_today=False)
    )
    return {"answer": kept.answer, "is_same": made == kept.text}


@router.get("/answers/{name}/today", response_model=None, responses=sends(AskedToday))
async def today(request: Request, asker: CanAsk, name: Name) -> AskedToday:
    """Return an answer as it was and as it would be today."""
    _ = asker
    kept, files = await find(request, name)
    made = await state_of(request).engine.long.run(
        lambda standing: asked_again(standing.snapshot, kept, files, is_today=True)
    )
    return {"answer": kept.answer, "is_same": made == kept.text,
            "before": json.loads(kept.text), "after": json.loads(made)}  # fmt: skip


async def find(request: Request, name: str) -> tuple[Kept, dict[str, bytes]]:
    """Return a kept answer and the machine files it was given.

    Raises:
        InputError: ``answer-unknown``.
    """

    def work(ledger: Ledger) -> tuple[Kept, dict[str, bytes]]:
        with ledger.reading() as connection:
            kept = answers.find_answer(connection, name)
            return kept, answers.given_files(connection, kept)

    return await state_of(request).ledgers.run(work)


def asked_again(snapshot: Snapshot, kept: Kept, files: dict[str, bytes], *, is_today: bool) -> str:
    """Return the answer's text worked out again, with the keys it was kept with."""
    there = Snapshot(snapshot.place, mark=None if is_today else mark_of(kept))
    try:
        return text_again(assessor_for(there, files), kept)
    finally:
        there.close()
