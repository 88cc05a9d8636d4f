"""All pages, and the page that says what went wrong."""

from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from . import (
    routes_answers,
    routes_ask,
    routes_backlogs,
    routes_limits,
    routes_people,
    routes_range,
    routes_revisions,
    routes_rules,
    static,
)
from .rendering import asker_of, own_path, page, roles_with

UPLOADS: Final = ("/backlogs",)
"""Paths of pages that take large requests."""

router = APIRouter()
for part in (static, routes_ask, routes_range, routes_backlogs, routes_limits, routes_revisions,
             routes_rules, routes_answers, routes_people):  # fmt: skip
    router.include_router(part.router)

_TITLES: Final = {
    401: "Sign in", 403: "Not allowed", 404: "Not found", 405: "Not taken here",
    408: "Too slow", 409: "Not in this state", 413: "Too large", 415: "Not of this kind",
    422: "Cannot be read", 429: "Too many requests", 503: "The ledger cannot be asked",
}  # fmt: skip


def title_of(status: int) -> str:
    """Return the title of the page for a status."""
    return _TITLES.get(status, "The tool failed" if status >= 500 else "This did not work")


def error_page(request: Request, status: int, title: str, detail: str, remedy: str) -> HTMLResponse:
    """Return the page that says what went wrong; for nobody signed in, the page to sign in."""
    if status == 401:
        # After a form that was sent, back to where it stood: it cannot be sent again unseen.
        there = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        back = own_path(there if request.method == "GET" else "/")
        return page(request, "sign_in.html", 401, back=back, told=None, name="", links=())
    asker = asker_of(request)
    must_change = asker is not None and asker.person.must_change
    wanted = getattr(request.state, "wanted", None) if status == 403 else None
    is_missing = wanted is not None and asker is not None and wanted not in asker.rights
    return page(
        request, "error.html", status, title=title.rstrip("."), detail=_sentence(detail),
        remedy=remedy,
        must_change=must_change, roles=roles_with(wanted) if wanted and is_missing else [],
        request_id=getattr(request.state, "request_id", ""), status_code=status,
    )  # fmt: skip


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "?", "!")) else f"{text}."


__all__ = ["UPLOADS", "error_page", "router", "title_of"]
