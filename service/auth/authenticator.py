"""Who is asking, and may they: sessions of people, tokens of programs, a proxy's word, or open."""

import asyncio
import datetime as dt
import threading
import time
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Annotated, Any, Final, NamedTuple, TypeVar

from fastapi import Depends, Request

from ...catalogue.errors import InputError
from ...catalogue.ledger import accounts, credentials, sessions, tokens
from ...catalogue.ledger.accounts import Person, Right
from ...catalogue.ledger.database import Ledger, open_ledger
from ..addresses import HERE, From, Proxies, host_name, is_loopback
from ..middleware import SAFE
from ..settings import Settings

T = TypeVar("T")

COOKIE: Final = "cuttable_session"
FORM_FIELD: Final = "form_key"
FORM_HEADER: Final = "X-Form-Key"
KNOWN_FOR: Final = 5.0
"""Seconds a session or token is known without asking the ledger."""
MOST_KNOWN: Final = 5000
_CHANGING: Final = frozenset({("GET", "/account"), ("POST", "/account/password")})
"""All that a one-time password is good for: a token made with it would outlast it."""
OPEN: Final = Person("open page", "asker", is_active=True, must_change=False)
"""Who asks where there are no accounts."""
TRIES: Final = 8
"""Wrong passwords after which a name or an address has to wait."""
WAIT: Final = 300.0
"""Seconds they wait."""


class Asker(NamedTuple):
    """Who asks: the person, what they may do, and the key their forms must carry.

    ``form_key`` is empty for programs, whose token no browser sends by itself.
    """

    person: Person
    rights: frozenset[Right]
    form_key: str = ""
    secret: str = ""


class Ledgers:
    """The ledger, opened when it is first needed, with threads for its work.

    SQLAlchemy waits; the event loop must not.
    """

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._threads = ThreadPoolExecutor(4, thread_name_prefix="ledger")
        self._ledger: Ledger | None = None
        self._opening = threading.Lock()

    def _open(self) -> Ledger:
        with self._opening:
            if self._ledger is None:
                self._ledger = open_ledger(self._settings.place)
            return self._ledger

    async def run(self, work: Callable[[Ledger], T]) -> T:
        """Run work on the ledger in a thread, and return what it returns."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._threads, lambda: work(self._open()))

    def close(self) -> None:
        """Let go of the ledger."""
        self._threads.shutdown(wait=True, cancel_futures=True)
        if self._ledger is not None:
            self._ledger.close()


class Authenticator:
    """Lets people and programs in."""

    def __init__(self, settings: Settings, ledgers: Ledgers) -> None:
        self.settings, self.ledgers = settings, ledgers
        self._known: OrderedDict[str, tuple[float, Asker | None]] = OrderedDict()
        self._tries: OrderedDict[str, tuple[int, float]] = OrderedDict()
        self._proxies = Proxies(settings)

    def forget(self) -> None:
        """Ask the ledger again who everybody is: an account, session or token was changed."""
        self._known.clear()

    async def asker(self, request: Request) -> Asker | None:
        """Return who asks; None for nobody."""
        if self.settings.is_open:
            return Asker(OPEN, OPEN.rights)
        header = request.headers.get("authorization", "")
        if header[:7].casefold() == "bearer ":
            return await self._known_as(f"token {header[7:].strip()[:200]}", _by_token)
        secret = request.cookies.get(COOKIE, "")[:200]
        if secret:
            found = await self._known_as(f"session {secret}", _by_session)
            if found is not None:
                return found
        if self.settings.header and self._proxies.has(origin_of(request).peer):
            name = request.headers.get(self.settings.header, "")[:200]
            if name:
                return await self._known_as(f"proxy {name}", _by_name)
        return None

    async def _known_as(
        self, key: str, find: Callable[[Ledger, str], Asker | None]
    ) -> Asker | None:
        now = time.monotonic()
        known = self._known.get(key)
        if known is not None and now - known[0] < KNOWN_FOR:
            return known[1]
        what = key.partition(" ")[2]
        found = await self.ledgers.run(lambda ledger: find(ledger, what))
        self._known[key] = (now, found)
        if len(self._known) > MOST_KNOWN:
            self._known.popitem(last=False)
        return found

    # --- guessing passwords ---------------------------------------------------------------

    def check_tries(self, *keys: str) -> None:
        """Refuse a name or address that has guessed too often.

        Raises:
            InputError: ``too-many``.
        """
        for key in keys:
            count, then = self._tries.get(key, (0, 0.0))
            if count >= TRIES and time.monotonic() - then < WAIT:
                raise InputError("too-many", "too many wrong passwords",
                                 remedy="Wait five minutes.")  # fmt: skip

    def tried(self, *keys: str, is_right: bool) -> None:
        """Note whether a password was right."""
        for key in keys:
            count, then = self._tries.pop(key, (0, 0.0))
            now = time.monotonic()
            if not is_right:
                self._tries[key] = (1 if now - then > WAIT else count + 1, now)
            if len(self._tries) > MOST_KNOWN:
                self._tries.popitem(last=False)


def _by_token(ledger: Ledger, secret: str) -> Asker | None:
    with ledger.reading() as connection:
        found = tokens.token_of(connection, secret, dt.datetime.now(dt.UTC))
    return None if found is None else Asker(found[0], found[1])


def _by_session(ledger: Ledger, secret: str) -> Asker | None:
    with ledger.reading() as connection:
        found = sessions.session_of(connection, secret, dt.datetime.now(dt.UTC))
    if found is None:
        return None
    return Asker(found.person, found.person.rights, found.csrf, secret)


def _by_name(ledger: Ledger, name: str) -> Asker | None:
    with ledger.reading() as connection:
        found = accounts.named(connection, name)
    if found is None:
        return None
    # A key of its own for forms: the browser may send the proxy's cookie from anywhere.
    key = sessions.form_key_of(found.name)
    return Asker(found, found.rights, key)


def origin_of(request: Request) -> From:
    """Return where a request comes from."""
    found: From = request.scope["state"]["origin"]
    return found


def is_from_here(request: Request) -> bool:
    """Say whether a request was made on this machine by something that meant it."""
    known = origin_of(request)
    host = host_name(request.headers.get("host", "").encode("latin-1"))
    return is_loopback(known.peer) and not known.is_proxied and host in HERE


def authenticator_of(request: Request) -> Authenticator:
    """Return the authenticator of the service."""
    authenticator: Authenticator = request.app.state.authenticator
    return authenticator


def needs(right: Right) -> Callable[[Request], Awaitable[Asker]]:
    """Return what lets only those in who have a right; forms must carry their key.

    Raises:
        InputError: ``sign-in-needed``, ``not-allowed`` or ``form-stale``.
    """

    async def let_in(request: Request) -> Asker:
        asker = await authenticator_of(request).asker(request)
        if asker is None:
            raise InputError("sign-in-needed", "nobody is signed in",
                             remedy="Sign in, or send a token.")  # fmt: skip
        request.state.who = asker.person.name
        if asker.person.must_change and (request.method, request.url.path) not in _CHANGING:
            raise InputError("not-allowed", "the password must be changed first",
                             remedy="Sign in on the page and choose one.")  # fmt: skip
        if right not in asker.rights:
            raise InputError("not-allowed", f"the role {asker.person.role} may not {right}",
                             remedy="Ask an administrator.")  # fmt: skip
        if request.method not in SAFE and asker.form_key:
            await _check_form(request, asker.form_key)
        return asker

    let_in.right = right  # pyright: ignore[reportFunctionMemberAccess] - read by the tests' table
    return let_in


async def _check_form(request: Request, key: str) -> None:
    given: Any = request.headers.get(FORM_HEADER, "")
    kind = request.headers.get("content-type", "")
    if not given and kind.startswith(("application/x-www-form-urlencoded", "multipart/form-data")):
        form = await request.form()
        given = form.get(FORM_FIELD, "")
    if not isinstance(given, str) or not credentials.is_same_secret(given, key):
        raise InputError("form-stale", "the form is not of this session",
                         remedy="Open the page again and repeat.")  # fmt: skip


CanAsk = Annotated[Asker, Depends(needs("ask"))]
CanDraft = Annotated[Asker, Depends(needs("draft"))]
CanApprove = Annotated[Asker, Depends(needs("approve"))]
CanAdmin = Annotated[Asker, Depends(needs("admin"))]
