"""The pages' routes."""

from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, Response

router = APIRouter(tags=["pages"])

UPLOADS: Final[tuple[str, ...]] = ()
"""Paths of pages that take a backlog."""


def error_page(request: Request, status: int, title: str, detail: str, remedy: str) -> Response:
    """Return a page that tells what went wrong and what to do."""
    _ = request
    return PlainTextResponse("\n".join(filter(None, (title, detail, remedy))), status)
