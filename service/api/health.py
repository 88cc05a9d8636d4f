"""Is the service alive, can it answer, and what it has counted."""

import asyncio

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest

from ...catalogue.errors import CuttableError, InputError
from ...catalogue.ledger.snapshot import Snapshot
from ..auth.authenticator import authenticator_of, is_from_here
from ..problems import Told
from ..state import state_of

router = APIRouter(tags=["health"])


@router.get("/health/live")
async def live() -> JSONResponse:
    """Say that the process is alive."""
    return JSONResponse({"status": "alive"})


@router.get("/health/ready")
async def ready(request: Request) -> Response:
    """Say whether the ledger can be read, and so questions answered."""

    def look() -> None:
        Snapshot(state_of(request).settings.place).close()

    try:
        await asyncio.to_thread(look)
    except CuttableError as fault:
        # Anybody may ask: where the ledger is, is nobody's business.
        return Told(fault.code, "the ledger cannot be read").response(request.url.path)
    return JSONResponse({"status": "ready"})


@router.get("/metrics")
async def metrics(request: Request) -> Response:
    """Return what was counted, to this machine or an administrator.

    Raises:
        InputError: ``not-allowed``.
    """
    if not is_from_here(request):
        asker = await authenticator_of(request).asker(request)
        if asker is None or "admin" not in asker.rights:
            raise InputError("not-allowed", "metrics are for this machine or an administrator")
    made = generate_latest(state_of(request).metrics.registry)
    return Response(made, media_type=CONTENT_TYPE_LATEST)
