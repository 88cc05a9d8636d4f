"""What every request passes: an id, limits of size, time and rate, safe headers, a line of log.

Plain ASGI, because a layer of a framework for each would cost more than a cached answer does.
"""

import asyncio
import logging
import re
import secrets
import time
from collections import OrderedDict
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any, Final

from fastapi import Request
from fastapi.responses import Response
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect

from ..catalogue.errors import InputError
from .addresses import (
    HERE,
    MOST_ADDRESSES,
    From,
    Proxies,
    Scope,
    counted_as,
    host_name,
    is_loopback,
    is_same_origin,
)
from .logs import LOG
from .metrics import Metrics
from .settings import API, Settings

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]
Tell = Callable[[Request, Exception], Awaitable[Response]]

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
    (b"content-security-policy", POLICY.encode()),
    (b"cache-control", b"no-store"),
)
LARGE: Final = 2**24
"""Bytes above which a request may take longer to come."""
GONE: Final = 499
"""Status that is counted for whoever left before the answer."""
FORMS: Final = ("application/x-www-form-urlencoded", "multipart/form-data")
SAFE: Final = frozenset({"GET", "HEAD", "OPTIONS"})
"""Methods that change nothing."""
_ID: Final = re.compile(rb"[A-Za-z0-9-]{8,64}")


class _Rates:
    """A bucket for each address: it empties with every request and fills with time."""

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def is_over(self, address: str) -> bool:
        """Take one request from an address's bucket; say whether it was empty."""
        address = counted_as(address)
        now = time.monotonic()
        left, then = self._buckets.pop(address, (float(self._rate), now))
        left = min(self._rate, left + (now - then) * self._rate / 60)
        self._buckets[address] = (max(left - 1, 0.0), now)
        if len(self._buckets) > MOST_ADDRESSES:
            self._buckets.popitem(last=False)
        return left < 1


class Guard:
    """The outermost layer.

    Args:
        app: what it guards.
        settings: limits.
        metrics: what it counts into.
        uploads: paths that take large requests of any kind.
        tell: makes the response for a fault.
    """

    def __init__(
        self, app: App, settings: Settings, metrics: Metrics, uploads: tuple[str, ...], tell: Tell
    ) -> None:
        self.app, self.settings, self.metrics, self.tell = app, settings, metrics, tell
        self.uploads = uploads
        self.rates = _Rates(settings.rate)
        self.proxies = Proxies(settings)
        self._always = _HEADERS + (
            ((b"strict-transport-security", b"max-age=31536000"),) if settings.is_https else ()
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Guard one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        began = time.perf_counter()
        request_id = self._id(scope)
        status = 0

        async def sending(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = int(message["status"])
                message["headers"] = self._headers(message.get("headers", []), request_id)
            await send(message)

        try:
            refusal = self._refusal(scope)
            if refusal is not None:
                await self._told(refusal, scope, receive, sending)
            else:
                await self.app(scope, self._limited(scope, receive), sending)
        except ClientDisconnect:
            status = GONE  # nobody is there to be told
        except Exception as fault:
            if status:  # half an answer is out: the connection ends with it
                LOG.exception("request %s broke off", request_id)
                raise
            await self._told(fault, scope, receive, sending)
        finally:
            self._count(scope, status, time.perf_counter() - began, request_id)

    async def _told(self, fault: Exception, scope: Scope, receive: Receive, send: Send) -> None:
        answer = await self.tell(Request(scope, receive), fault)
        await answer(scope, receive, send)

    # --- before -----------------------------------------------------------------------------

    def _refusal(self, scope: Scope) -> Exception | None:
        """Return why a request is not taken, from its head alone."""
        known = self.proxies.origin(scope)
        scope["state"]["origin"] = known
        if self.rates.is_over(known.client):
            return InputError("too-many", "too many requests from this address",
                              remedy="Wait a little.")  # fmt: skip
        head: dict[bytes, bytes] = dict(scope["headers"])
        if self.settings.is_open and (why := _from_elsewhere(scope, known, head)):
            return InputError("not-allowed", why, remedy="Open it on this machine.")
        if scope["method"] in ("GET", "HEAD"):
            return None
        length = head.get(b"content-length", b"")
        if length and (not length.isdigit() or int(length) > self._most(scope)):
            return _closing(413)
        has_body = length not in (b"", b"0") or b"transfer-encoding" in head
        if has_body and not self._is_taken(scope["path"], head.get(b"content-type", b"")):
            return HTTPException(415)
        return None

    def _is_taken(self, path: str, given: bytes) -> bool:
        """Say whether content of a kind is taken at a path."""
        kind = given.split(b";")[0].strip().lower().decode("latin-1")
        if path.startswith(API):
            if path in self.uploads:
                return kind not in (*FORMS, "application/json")
            return kind == "application/json" or kind.endswith("+json")
        return kind in FORMS

    def _most(self, scope: Scope) -> int:
        is_upload = scope["path"] in self.uploads
        return self.settings.most_upload if is_upload else self.settings.most_body

    def _limited(self, scope: Scope, receive: Receive) -> Receive:
        """Return what receives a request within the limits of size and time."""
        if scope["method"] in ("GET", "HEAD"):
            return receive
        came, is_done, most = 0, False, self._most(scope)
        patience = self.settings.patience * (5 if most > LARGE else 1)
        deadline = time.monotonic() + patience

        async def receiving() -> Message:
            nonlocal came, is_done
            if is_done:
                return await receive()  # waits for the other end to hang up: as long as it likes
            try:
                async with asyncio.timeout(max(deadline - time.monotonic(), 0.01)):
                    message = await receive()
            except TimeoutError:
                raise _closing(408) from None
            came += len(message.get("body", b""))
            if came > most:
                raise _closing(413)
            is_done = not message.get("more_body", False)
            return message

        return receiving

    def _id(self, scope: Scope) -> str:
        given = next((value for name, value in scope["headers"] if name == b"x-request-id"), b"")
        request_id = given.decode() if _ID.fullmatch(given) else secrets.token_hex(8)
        scope.setdefault("state", {})["request_id"] = request_id
        return request_id

    # --- after ------------------------------------------------------------------------------

    def _headers(
        self, headers: list[tuple[bytes, bytes]], request_id: str
    ) -> list[tuple[bytes, bytes]]:
        names = {name for name, _ in headers}
        made = [*headers, *(item for item in self._always if item[0] not in names)]
        made.append((b"x-request-id", request_id.encode()))
        return made

    def _count(self, scope: Scope, status: int, seconds: float, request_id: str) -> None:
        # The pattern, not the path: what people type must not make endless series.
        route = str(getattr(scope.get("route"), "path", "")) or "other"
        method = scope["method"] if scope["method"] in _METHODS else "other"
        self.metrics.count(method, route, status, seconds)
        if LOG.isEnabledFor(logging.INFO):
            state = scope["state"]
            LOG.info("request", extra={"told": {
                "request": request_id, "method": method, "path": scope["path"][:500],
                "status": status, "ms": round(seconds * 1000, 2),
                "from": state["origin"].client if "origin" in state else "",
                "who": state.get("who", ""),
            }})  # fmt: skip


_METHODS: Final = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})


def _closing(status: int) -> HTTPException:
    """Return a refusal after which the connection ends: the rest of the request is not read."""
    return HTTPException(status, headers={"Connection": "close"})


def _from_elsewhere(scope: Scope, known: From, head: dict[bytes, bytes]) -> str:
    """Say why a request does not come from this machine; empty where it does.

    A page elsewhere can make a browser here send requests under a name of its own that leads
    here; its name, or where it says it comes from, gives it away.
    """
    if known.is_proxied or not is_loopback(known.peer):
        return "an open page is for the machine it runs on"
    if host_name(head.get(b"host", b"")) not in HERE:
        return "an open page is called by the name localhost"
    if scope["method"] not in SAFE and not is_same_origin(head):
        return "the request comes from another page"
    return ""
