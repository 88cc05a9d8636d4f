"""What every request passes: an id, limits of size, time and rate, safe headers, a line of log.

Plain ASGI, because a layer of a framework for each would cost more than a warm answer does.
"""

import asyncio
import functools
import ipaddress
import logging
import re
import secrets
import time
from collections import OrderedDict
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any, Final, NamedTuple

from fastapi import Request
from fastapi.responses import Response
from prometheus_client import CollectorRegistry, Counter, Histogram
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect

from ..catalogue.errors import InputError
from .settings import API, Settings

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]
Tell = Callable[[Request, Exception], Awaitable[Response]]

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
    (b"content-security-policy", POLICY.encode()),
    (b"cache-control", b"no-store"),
)
MOST_ADDRESSES: Final = 10_000
"""Addresses whose rate is remembered."""
LARGE: Final = 2**24
"""Bytes above which a request may take longer to come."""
GONE: Final = 499
"""Status that is counted for whoever left before the answer."""
FORMS: Final = ("application/x-www-form-urlencoded", "multipart/form-data")
HERE: Final = frozenset({"localhost", "127.0.0.1", "[::1]"})
"""Names by which a browser on this machine calls this machine."""
SAFE: Final = frozenset({"GET", "HEAD", "OPTIONS"})
"""Methods that change nothing."""
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
        self._known: dict[tuple[str, str, int], tuple[Any, Any]] = {}

    def count(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count a request; looking its series up by name each time would be dear."""
        key = (method, route, status)
        found = self._known.get(key)
        if found is None:
            found = (self.requests.labels(method, route, str(status)), self.seconds.labels(route))
            self._known[key] = found
        found[0].inc()
        found[1].observe(seconds)


class From(NamedTuple):
    """Where a request comes from.

    Attributes:
        peer: address of the other end of the connection.
        client: address of the asker, as a trusted proxy tells it; else the same.
        is_proxied: a proxy handed it on, trusted or not.
    """

    peer: str
    client: str
    is_proxied: bool


class Proxies:
    """Addresses whose word is taken for where a request comes from and who asks."""

    def __init__(self, settings: Settings) -> None:
        self._networks = [ipaddress.ip_network(item, strict=False) for item in settings.proxies]
        self._known: dict[str, bool] = {}

    def has(self, address: str) -> bool:
        """Say whether an address is one of them."""
        if not self._networks:
            return False
        found = self._known.get(address)
        if found is None:
            try:
                there = ipaddress.ip_address(address)
            except ValueError:
                return False
            mapped = getattr(there, "ipv4_mapped", None)
            found = any((mapped or there) in network for network in self._networks)
            if len(self._known) < MOST_ADDRESSES:
                self._known[address] = found
        return found

    def origin(self, scope: Scope) -> From:
        """Return where a request comes from: the last address that is no trusted proxy."""
        peer = str((scope.get("client") or ("",))[0])
        told = [value for name, value in scope["headers"] if name == b"x-forwarded-for"]
        is_proxied = bool(told) or any(name == b"forwarded" for name, _ in scope["headers"])
        client = peer
        if told and self.has(peer):
            for item in reversed(b",".join(told).decode("latin-1").split(",")):
                client = item.strip()[:64]
                if not self.has(client):
                    break
        return From(peer, client, is_proxied)


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


def host_name(host: bytes) -> str:
    """Return the name of a Host header without its port, in small letters."""
    text = host.decode("latin-1").strip().lower()
    return text.partition("]")[0] + "]" if text.startswith("[") else text.partition(":")[0]


def is_same_origin(head: dict[bytes, bytes]) -> bool:
    """Say whether a request comes from a page of this service, or from no page at all."""
    if head.get(b"sec-fetch-site", b"same-origin") not in (b"same-origin", b"none"):
        return False
    origin = head.get(b"origin")
    if origin is None:
        return True
    return origin.lower().partition(b"://")[2] == head.get(b"host", b"").strip().lower()


@functools.lru_cache(maxsize=MOST_ADDRESSES)
def counted_as(address: str) -> str:
    """Return the name under which an address is counted, however it is written.

    An IPv4 address within IPv6 is that IPv4 address; of IPv6 a customer has a whole /64.
    """
    try:
        there = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(there, ipaddress.IPv4Address):
        return str(there)
    if there.ipv4_mapped is not None:
        return str(there.ipv4_mapped)
    return str(ipaddress.IPv6Address(int(there) >> 64 << 64))


def is_loopback(address: str) -> bool:
    """Say whether an address is of this machine."""
    try:
        there = ipaddress.ip_address(address)
    except ValueError:
        return False
    mapped = getattr(there, "ipv4_mapped", None)
    return bool((mapped or there).is_loopback)
