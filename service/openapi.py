"""The description of the API: what every route may answer, and how a program signs in."""

from typing import Any, Final

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from ..engine.answer.document import answer_schemas
from .asking import Question
from .problems import MEDIA

_PROBLEM: Final[dict[str, Any]] = {
    "type": "object",
    "title": "Problem",
    "description": "What is wrong (RFC 9457). Programs switch on `code`; people read `detail`.",
    "required": ["type", "title", "status", "detail", "code"],
    "properties": {
        "type": {"type": "string", "examples": ["urn:cuttable:error:length-unreadable"]},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "code": {"type": "string", "examples": ["length-unreadable"]},
        "instance": {"type": "string"},
        "where": {"type": "string"},
        "remedy": {"type": "string"},
        "choices": {"type": "array", "items": {"type": "string"}},
        "problems": {
            "type": "array",
            "items": {
                "anyOf": [
                    {"type": "string"},
                    {
                        "type": "object",
                        "properties": {"where": {"type": "string"}, "what": {"type": "string"}},
                        "required": ["where", "what"],
                    },
                ]
            },
        },
    },
}
_REF: Final = {"$ref": "#/components/schemas/Problem"}


def _told(what: str) -> dict[str, Any]:
    return {"description": what, "content": {MEDIA: {"schema": _REF}}}


PROBLEMS: Final[dict[int | str, dict[str, Any]]] = {
    "4XX": _told("The request cannot be answered; `code` tells why."),
    "5XX": _told("The service cannot answer now."),
}
"""What every route may answer beside its own."""


def _answer_parts() -> dict[str, Any]:
    """Return the schemas of an answer; its parts are named apart from those of other documents.

    A support of an answer is what it carries, a support of a machine file what it can carry.
    """
    parts = answer_schemas("#/components/schemas/Answer.")
    whole = parts.pop("Reply")
    return {"Reply": whole} | {f"Answer.{name}": part for name, part in parts.items()}


def described(app: FastAPI) -> None:
    """Let the application describe itself, with the shape of problems and the tokens."""

    def made() -> dict[str, Any]:
        if app.openapi_schema is None:
            found = get_openapi(
                title=app.title, version=app.version, description=app.description,
                routes=app.routes,
            )  # fmt: skip
            parts = found.setdefault("components", {})
            schemas = parts.setdefault("schemas", {})
            schemas |= {"Problem": _PROBLEM, "Question": Question.model_json_schema()}
            schemas |= _answer_parts()
            parts["securitySchemes"] = {
                "token": {"type": "http", "scheme": "bearer",
                          "description": "A token of an account, made under /api/v1/tokens."},
            }  # fmt: skip
            found["security"] = [{"token": []}]
            app.openapi_schema = found
        return app.openapi_schema

    app.openapi = made
