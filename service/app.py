"""The application: routes, what goes wrong as one shape of answer, start and end."""

from collections.abc import AsyncGenerator, Iterable, Iterator
from contextlib import asynccontextmanager
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from pydantic import ValidationError
from starlette.exceptions import HTTPException

from ..catalogue.errors import CuttableError, OpenQuestion
from ..engine.version import VERSION
from .api import (
    accounts,
    answers,
    asking,
    backlogs,
    documents,
    finding,
    health,
    impact,
    machines,
    revisions,
    rules,
)
from .auth.authenticator import Authenticator, Ledgers
from .engine_worker import EngineWorkers
from .logs import LOG
from .metrics import Metrics
from .middleware import Guard
from .openapi import PROBLEMS, described
from .pages import routes as pages
from .problems import Told, is_api, status_of, told_of
from .response_cache import ResponseCache
from .settings import API, Settings
from .state import State
from .workers.backlogs import Backlogs

UPLOADS: Final = (backlogs.UPLOAD, *pages.UPLOADS)
"""Paths that take large requests."""


def create_app(settings: Settings) -> FastAPI:
    """Return the application of a service; the ledger is opened when it is first asked."""
    state = _state(settings)

    @asynccontextmanager
    async def alive(app: FastAPI) -> AsyncGenerator[None]:
        _ = app
        await state.backlogs.start()
        state.engine.start()
        try:
            yield
        finally:
            await state.backlogs.close()
            state.engine.close()
            state.ledgers.close()

    app = FastAPI(
        title="cuttable", version=VERSION, lifespan=alive,
        description="Can this rotary pipe and tube cutting machine cut this stock, "
        "and how must it be set up?",
        # Pages that show the description load scripts from other hosts.
        docs_url=None, redoc_url=None, openapi_url=f"{API}/openapi.json",
        redirect_slashes=False,
    )  # fmt: skip
    app.state.all, app.state.authenticator = state, state.authenticator
    for module in (
        asking, finding, machines, documents, revisions, impact, rules, answers, backlogs, accounts,
    ):  # fmt: skip
        app.include_router(module.router, responses=PROBLEMS)
    app.include_router(health.router, include_in_schema=False)
    app.include_router(pages.router, include_in_schema=False)
    for kind in (CuttableError, OpenQuestion, HTTPException, ValidationError,
                 RequestValidationError):  # fmt: skip
        app.add_exception_handler(kind, told)
    app.add_middleware(Guard, settings=settings, metrics=state.metrics, uploads=UPLOADS, tell=told)
    described(app)
    return app


def _state(settings: Settings) -> State:
    ledgers = Ledgers(settings)
    return State(
        settings=settings, ledgers=ledgers, engine=EngineWorkers(settings),
        authenticator=Authenticator(settings, ledgers),
        metrics=Metrics(), response_cache=ResponseCache(), backlogs=Backlogs(settings),
    )  # fmt: skip


async def told(request: Request, fault: Exception) -> Response:
    """Tell what went wrong: problem details to a program, a page to a person."""
    known = told_of(fault)
    if known.code == "method-wrong":
        known = known._replace(headers={"Allow": ", ".join(sorted(_methods(request)))})
    if known.code == "internal-fault":
        LOG.error("request %s failed", request.scope["state"].get("request_id"), exc_info=fault)
    if is_api(request.url.path):
        return known.response(request.url.path)
    page: Response = pages.error_page(
        request, status_of(known.code), known.title, *_sentence(known)
    )
    for name, value in (known.headers or {}).items():
        page.headers.setdefault(name, value)
    return page


def _methods(request: Request) -> set[str]:
    """Return the methods that the path of a request takes."""
    path = request.url.path
    return {
        method
        for route in every_route(request.app.routes)
        if route.path_regex.match(path)
        for method in route.methods
    }


def every_route(routes: Iterable[Any]) -> Iterator[Any]:
    """Yield the routes of an application, those of its routers too."""
    for route in routes:
        inner: Any = getattr(route, "original_router", None)
        if inner is not None:
            yield from every_route(inner.routes)
        elif hasattr(route, "path_regex"):
            yield route


def _sentence(known: Told) -> tuple[str, str]:
    """Return what a page tells: what is wrong and what to do."""
    detail = f"{known.where}: {known.detail}" if known.where else known.detail
    if known.choices:
        return known.detail, f"Choose: {', '.join(known.choices)}."
    if known.problems:
        first = (item if isinstance(item, str) else f"{item['where']}: {item['what']}"
                 for item in known.problems[:5])  # fmt: skip
        detail = f"{detail} ({'; '.join(first)})"
    return detail, known.remedy
