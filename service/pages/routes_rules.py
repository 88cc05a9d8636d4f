"""Rules: the list by topic, and each rule's page."""

from pathlib import PurePosixPath
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from ..api.rules import plain_rule, rule_page
from ..engine_worker import Standing
from ..state import state_of
from .rendering import Asks, page

router = APIRouter()

OUTCOMES = {
    "setting": "ordinary set-up", "conditions": "allowed with conditions",
    "question": "asks first", "refused": "refuses", "never": "does not hold",
}  # fmt: skip


def topic_of(file: str) -> str:
    """Return the topic a rule's file is about, in words."""
    return PurePosixPath(file).stem.replace("-", " ").replace("_", " ").capitalize()


@router.get("/rules")
async def rules(
    request: Request, asker: Asks, text: Annotated[str, Query(max_length=100)] = ""
) -> Response:
    """List the rules in force by topic; with a text those that tell of it."""
    _ = asker
    words = text.casefold().split()

    def work(standing: Standing) -> dict[str, list[Any]]:
        topics: dict[str, list[Any]] = {}
        for rule in standing.assessor.rule_set.rules:
            item = plain_rule(rule)
            told = " ".join(
                str(item[name]) for name in ("code", "title", "when", "because", "basis")
            ).casefold()
            if all(word in told for word in words):
                topics.setdefault(topic_of(rule.file), []).append(item)
        return topics

    topics = await state_of(request).engine.quick.run(work)
    count = sum(len(items) for items in topics.values())
    return page(request, "rules.html", topics=topics, text=text, outcomes=OUTCOMES, count=count)


@router.get("/rules/{code}")
async def rule(request: Request, asker: Asks, code: str) -> Response:
    """Show a rule: condition, outcome, why, what lifts it, the cases that prove it."""
    _ = asker
    found = await state_of(request).engine.quick.run(lambda standing: rule_page(standing, code))
    return page(request, "rule.html", rule=found, outcomes=OUTCOMES,
                topic=topic_of(found["file"]))  # fmt: skip
