"""One shape of error: problem details (RFC 9457) with the stable codes of the tool."""

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from pydantic import ValidationError
from starlette.exceptions import HTTPException

from ..catalogue.errors import ERROR_CODES, CuttableError, FileError, InputError, OpenQuestion
from .settings import API

MEDIA: Final = "application/problem+json"

# Status of each code that is not plainly unprocessable input (422).
_STATUS: Final[Mapping[str, int]] = {
    "sign-in-needed": 401, "sign-in-wrong": 401,
    "not-allowed": 403, "own-approval": 403, "form-stale": 403,
    "page-unknown": 404, "revision-unknown": 404, "answer-unknown": 404, "backlog-unknown": 404,
    "rule-unknown": 404, "account-unknown": 404, "token-unknown": 404, "machine-unknown": 404,
    "method-wrong": 405,
    "too-slow": 408,
    "revision-state": 409, "base-superseded": 409, "draft-unchanged": 409,
    "effective-overlap": 409, "effective-past": 409, "impact-missing": 409, "impact-stale": 409,
    "reason-missing": 409, "account-exists": 409, "last-administrator": 409,
    "backlog-stopped": 409,
    "too-large": 413, "kind-wrong": 415,
    "too-many": 429,
    "internal-fault": 500, "inference-failed": 500,
    "ledger-locked": 503, "ledger-missing": 503, "ledger-older": 503, "ledger-newer": 503,
    "ledger-damaged": 503, "ledger-unreachable": 503, "ledger-denied": 503,
    "ledger-unwritable": 503,
    "clock-behind": 503,
}  # fmt: skip

_OF_STATUS: Final[Mapping[int, str]] = {
    400: "request-unreadable", 404: "page-unknown", 405: "method-wrong", 408: "too-slow",
    413: "too-large", 415: "kind-wrong",
}  # fmt: skip
_DETAILS: Final[Mapping[str, str]] = {
    "page-unknown": "there is no such page", "method-wrong": "this method is not taken here",
    "too-slow": "the request took too long", "too-large": "the request is too large",
    "kind-wrong": "content of this kind is not taken here",
}  # fmt: skip


def status_of(code: str) -> int:
    """Return the HTTP status of an error code."""
    return _STATUS.get(code, 422)


def problem(
    code: str,
    detail: str,
    *,
    where: str = "",
    remedy: str = "",
    problems: Sequence[Any] = (),
    instance: str = "",
    choices: Sequence[str] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return an error as problem details."""
    status = status_of(code)
    content: dict[str, Any] = {
        "type": f"urn:cuttable:error:{code}",
        "title": ERROR_CODES[code],
        "status": status,
        "detail": detail,
        "code": code,
    }
    if instance:
        content["instance"] = instance
    more_told: dict[str, Any] = {
        "where": where, "remedy": remedy, "problems": list(problems), "choices": list(choices)
    }  # fmt: skip
    content |= {name: value for name, value in more_told.items() if value}
    more = dict(headers or {})
    if status == 401:
        # Programs only: a browser would ask for a password of its own.
        more["WWW-Authenticate"] = 'Bearer realm="cuttable"'
    return JSONResponse(content, status, headers=more, media_type=MEDIA)


class Told(NamedTuple):
    """What is told of a fault, whatever it is told to.

    Attributes:
        code: stable.
        detail: what is wrong, without full stop.
        where: field or option it sits in.
        remedy: what to do about it.
        problems: each problem of a file or request.
        choices: answers to an open question.
        headers: of the response.
    """

    code: str
    detail: str
    where: str = ""
    remedy: str = ""
    problems: Sequence[Any] = ()
    choices: Sequence[str] = ()
    headers: Mapping[str, str] | None = None

    @property
    def title(self) -> str:
        """What the code means."""
        return ERROR_CODES[self.code]

    def response(self, instance: str = "") -> Response:
        """Return it as problem details."""
        return problem(
            self.code, self.detail, where=self.where, remedy=self.remedy, problems=self.problems,
            choices=self.choices, instance=instance, headers=self.headers,
        )  # fmt: skip


def told_of(fault: Exception) -> Told:
    """Return what is told of a fault; of one that nobody foresaw, nothing from within."""
    if isinstance(fault, OpenQuestion):
        asked = fault.question
        return Told("question-open", asked.text, where=asked.code, choices=asked.choices)
    if isinstance(fault, HTTPException):
        code = _OF_STATUS.get(fault.status_code, "internal-fault")
        detail = _DETAILS.get(code, str(fault.detail)[:200])
        return Told(code, detail, headers=fault.headers)
    if isinstance(fault, ValidationError | RequestValidationError):
        return Told("request-unreadable", "the request is not what the API describes",
                    remedy=f"See {API}/openapi.json.", problems=_places(fault))  # fmt: skip
    if not isinstance(fault, CuttableError):
        remedy = "Tell whoever runs the service, with the id of the request."
        return Told("internal-fault", "the tool failed", remedy=remedy)
    where = fault.where if isinstance(fault, InputError) else ""
    problems = fault.problems if isinstance(fault, FileError) else ()
    headers = {"Retry-After": "1"} if fault.code in ("ledger-locked", "too-many") else None
    # What stands in files of the server is told without their places.
    return Told(fault.code, fault.what, where, fault.remedy, problems, headers=headers)


def _places(fault: ValidationError | RequestValidationError) -> list[dict[str, str]]:
    """Return where a request is wrong, without what was sent: it may hold secrets."""
    found: Sequence[Any] = fault.errors()
    return [
        {"where": ".".join(str(part) for part in item["loc"]), "what": str(item["msg"])[:300]}
        for item in found[:50]
    ]


def is_api(path: str) -> bool:
    """Say whether a path is for programs: they get problem details, not a page."""
    return path.startswith(("/api/", "/health/", "/metrics"))
