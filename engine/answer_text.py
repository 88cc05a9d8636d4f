"""An answer as the one JSON object that scripts rely on (schema ``cuttable.verdicts/1``)."""

import json
from typing import TYPE_CHECKING, Any, Final

from ..catalogue.errors import Question
from .verdict import to_json

if TYPE_CHECKING:
    from .ask import Answer, Desk

SCHEMA: Final = "cuttable.verdicts/1"


def answer_text(answer: "Answer", desk: "Desk | None" = None) -> str:
    """Return an answer as JSON text; with the trace of every measure where a desk is given."""
    found = [to_json(verdict) for verdict in answer.verdicts]
    content: dict[str, Any] = {
        "schema": SCHEMA,
        "verdicts": found,
        "questions": [_question(question) for question in answer.questions],
    }
    if desk is not None:
        from .trace import trace

        for item, verdict in zip(found, answer.verdicts, strict=True):
            item["trace"] = trace(desk, verdict.job, verdict.machine)
    return json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False)


def _question(question: Question) -> dict[str, Any]:
    return {"code": question.code, "text": question.text, "choices": list(question.choices)}
