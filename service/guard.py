"""What every request passes: an id, limits of size, time and rate, safe headers, a line of log.

Plain ASGI, because a layer of a framework for each would cost more than a warm answer does.
"""

import asyncio
import json
import logging
import re
import secrets
import time
from collections import OrderedDict
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any, Final

from prometheus_client import CollectorRegistry, Counter, Histogram

from .problems import problem
from .settings import Settings

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LOG: Final = logging.getLogger("cuttable.service")

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; "
    "font-src 'self'"
)
SHEET_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'none'; img-src data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox"
)
"""For whole files made by the engine that carry their own style: sheets, charts, reports."""

_HEADERS: Final[tuple[tuple[bytes, bytes], ...]] = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=()"),
)
MOST_ADDRESSES: Final = 10_000
"""Addresses whose rate is remembered."""
_ID: Final = re.compile(rb"[A-Za-z0-9-]{8,64}")


class Metrics:
    """What is counted, for ``/metrics``."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self.requests = Counter(
            "cuttable_requests_total", "Requests by route and status.",
            ["method", "route", "status"], registry=self.registry,
        )  # fmt: skip
        self.seconds = Histogram(
            "cuttable_request_seconds", "Time to answer, by route.", ["route"],
            buckets=(0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30), registry=self.registry,
        )  # fmt: skip
        self.answers = Counter(
            "cuttable_answers_total", "Answers by whether they were worked out anew.", ["source"],
            registry=self.registry,
        )  # fmt: skip


class _Rates:
    """A bucket for each address: it empties with every request and fills with time."""

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def is_over(self, address: str) -> bool:
        """Take one request from an address's bucket; say whether it was empty."""
        now = time.monotonic()
        left, then = self._buckets.pop(address, (float(self._rate), now))
        left = min(self._rate, left + (now - then) * self._rate / 60)
        self._buckets[address] = (max(left - 1, 0.0), now)
        if len(self._buckets) > MOST_ADDRESSES:
            self._buckets.popitem(last=False)
        return left < 1


class _TooLarge(Exception):  # noqa: N818 - ends a request from within
    """More of a request came than is taken."""


class Guard:
    """The outermost layer.

    Args:
        app: what it guards.
        settings: limits.
        metrics: what it counts into.
        uploads: paths that take large requests.
    """

    def __init__(
        self, app: App, settings: Settings, metrics: Metrics, uploads: tuple[str, ...]
    ) -> None:
        self.app, self.settings, self.metrics = app, settings, metrics
        self.uploads = uploads
        self.rates = _Rates(settings.rate)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Guard one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        began = time.perf_counter()
        request_id = self._id(scope)
        status = 0
        has_begun = False

        async def sending(message: Message) -> None:
            nonlocal status, has_begun
            if message["type"] == "http.response.start":
                status, has_begun = int(message["status"]), True
                message["headers"] = self._headers(scope, message.get("headers", []), request_id)
            await send(message)

        refusal = self._refusal(scope)
        try:
            if refusal is not None:
                await refusal(scope, receive, sending)
            else:
                await self._limited(scope, receive, sending)
        except (TimeoutError, _TooLarge) as fault:
            code = "too-slow" if isinstance(fault, TimeoutError) else "too-large"
            what = {"too-slow": "the request took too long",
                    "too-large": "the request is too large"}[code]  # fmt: skip
            if not has_begun:
                answer = problem(code, what, instance=scope["path"],
                                 headers={"Connection": "close"})  # fmt: skip
                await answer(scope, receive, sending)
        finally:
            self._count(scope, status, time.perf_counter() - began, request_id)

    def _refusal(self, scope: Scope) -> App | None:
        address = str((scope.get("client") or ("",))[0])
        if self.rates.is_over(address):
            return problem("too-many", "too many requests from this address",
                           instance=scope["path"], remedy="Wait a little.",
                           headers={"Retry-After": "5"})  # fmt: skip
        length = next((value for name, value in scope["headers"] if name == b"content-length"), b"")
        if length and (not length.isdigit() or int(length) > self._most(scope)):
            return problem("too-large", "the request is too large", instance=scope["path"],
                           headers={"Connection": "close"})  # fmt: skip
        return None

    def _most(self, scope: Scope) -> int:
        is_upload = scope["path"] in self.uploads
        return self.settings.most_upload if is_upload else self.settings.most_body

    async def _limited(self, scope: Scope, receive: Receive, send: Send) -> None:
        came, most = 0, self._most(scope)
        deadline = time.monotonic() + self.settings.patience * (5 if most > 2**20 * 16 else 1)

        async def receiving() -> Message:
            nonlocal came
            async with asyncio.timeout(max(deadline - time.monotonic(), 0.01)):
                message = await receive()
            came += len(message.get("body", b""))
            if came > most:
                raise _TooLarge
            return message

        if scope["method"] in ("GET", "HEAD"):
            await self.app(scope, receive, send)  # long answers may stream as long as they like
            return
        await self.app(scope, receiving, send)

    def _id(self, scope: Scope) -> str:
        given = next((value for name, value in scope["headers"] if name == b"x-request-id"), b"")
        request_id = given.decode() if _ID.fullmatch(given) else secrets.token_hex(8)
        scope.setdefault("state", {})["request_id"] = request_id
        return request_id

    def _headers(
        self, scope: Scope, headers: list[tuple[bytes, bytes]], request_id: str
    ) -> list[tuple[bytes, bytes]]:
        names = {name.lower() for name, _ in headers}
        made = [*headers, *(item for item in _HEADERS if item[0] not in names)]
        made.append((b"x-request-id", request_id.encode()))
        if b"content-security-policy" not in names:
            made.append((b"content-security-policy", POLICY.encode()))
        if b"cache-control" not in names:
            made.append((b"cache-control", b"no-store"))
        if self.settings.is_https:
            made.append((b"strict-transport-security", b"max-age=31536000"))
        return made

    def _count(self, scope: Scope, status: int, seconds: float, request_id: str) -> None:
        route = scope.get("route")
        # The pattern, not the path: what people type must not make endless series.
        name = str(getattr(route, "path", "")) or "other"
        self.metrics.requests.labels(scope["method"], name, str(status)).inc()
        self.metrics.seconds.labels(name).observe(seconds)
        if LOG.isEnabledFor(logging.INFO):
            LOG.info("%s", json.dumps({
                "request": request_id, "method": scope["method"], "path": scope["path"],
                "status": status, "ms": round(seconds * 1000, 2),
                "from": (scope.get("client") or ("",))[0],
                "who": scope["state"].get("who", ""),
            }, ensure_ascii=True))  # fmt: skip
