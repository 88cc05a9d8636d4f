"""One shape of error: problem details (RFC 9457) with the stable codes of the tool."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from fastapi import Request
from fastapi.responses import JSONResponse, Response

from ..catalogue.errors import ERROR_CODES, CuttableError, FileError, InputError, OpenQuestion

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
    "book-locked": 503, "book-missing": 503, "book-older": 503, "book-newer": 503,
    "book-damaged": 503, "book-unreachable": 503, "book-denied": 503, "book-unwritable": 503,
    "clock-behind": 503,
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
        "title": ERROR_CODES.get(code, "A question must be answered first."),
        "status": status,
        "detail": detail,
        "code": code,
    }
    if instance:
        content["instance"] = instance
    for name, value in (("where", where), ("remedy", remedy), ("problems", list(problems)),
                        ("choices", list(choices))):  # fmt: skip
        if value:
            content[name] = value
    more = dict(headers or {})
    if status == 401:
        more["WWW-Authenticate"] = 'Bearer realm="cuttable"'
    return JSONResponse(content, status, headers=more, media_type=MEDIA)


def problem_of(fault: Exception, instance: str = "") -> Response:
    """Return an error of the tool as problem details.

    What stands in files of the server is told without their places.
    """
    if isinstance(fault, OpenQuestion):
        asked = fault.question
        return problem("question-open", asked.text, where=asked.code, choices=asked.choices,
                       instance=instance)  # fmt: skip
    if not isinstance(fault, CuttableError):
        return problem("internal-fault", "the tool failed", instance=instance,
                       remedy="Tell whoever runs the service, with the id of the request.")  # fmt: skip
    where = fault.where if isinstance(fault, InputError) else ""
    problems = fault.problems if isinstance(fault, FileError) else ()
    headers = {"Retry-After": "1"} if fault.code in ("book-locked", "too-many") else None
    return problem(fault.code, fault.what, where=where, remedy=fault.remedy, problems=problems,
                   instance=instance, headers=headers)  # fmt: skip


def is_api(request: Request) -> bool:
    """Say whether a request is of a program: it gets problem details, not a page."""
    return request.url.path.startswith("/api/")
