"""A service to ask: in this process, over a ledger of its own, with somebody of each role."""

import asyncio
import datetime as dt
import shutil
import socket
import threading
import time
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, NamedTuple, TypeVar

import anyio
import httpx
from cuttable.catalogue.ledger import accounts, sessions
from cuttable.catalogue.ledger.creation import make_ledger
from cuttable.catalogue.ledger.database import Ledger, open_ledger
from cuttable.catalogue.ledger.location import Location
from cuttable.catalogue.ledger.tokens import add_token
from cuttable.cli.context import brought_here
from cuttable.service.app import create_app
from cuttable.service.serving import bound, server_of
from cuttable.service.settings import Settings

T = TypeVar("T")

# Loaded when it is first used, which pytest's own loader does not survive in another thread.
_ = anyio.open_file

HERE: Final = "127.0.0.1"
ELSEWHERE: Final = "192.0.2.7"
PATIENCE: Final = 240.0
"""Seconds to wait for what must come: a guard against waiting for ever, no goal."""
PASSWORD: Final = "four words nobody says"  # noqa: S105 - of invented people
PEOPLE: Final = {
    "Ask": "asker", "Eng": "engineer", "App": "approver", "Adm": "administrator",
}  # fmt: skip
"""Somebody of each role, by name."""
JOB: Final = {"section": "NPS 4 SCH 40", "length": "20 ft", "machines": ["rowan-150"]}
CSV: Final = b"job,section,length\nA,NPS 4 SCH 40,20 ft\nB,NPS 10 XS,12 m\nC,6 in pipe,6 m\n"


class Template(NamedTuple):
    """A ledger with people in it, and the secrets of their tokens by role. Nothing writes in it."""

    path: Path
    tokens: dict[str, str]

    def copied(self, folder: Path) -> Path:
        """Return a copy of the ledger for one test."""
        return Path(shutil.copy(self.path, folder / "ledger.db"))


def made_template(folder: Path) -> Template:
    """Make the ledger that tests copy."""
    ledger = make_ledger(Location("sqlite", str(folder / "template.db")), "Ada", brought_here())
    tokens = add_people(ledger)
    ledger.close()
    return Template(folder / "template.db", tokens)


def add_people(ledger: Ledger) -> dict[str, str]:
    """Give somebody of each role an account and a token."""
    tokens: dict[str, str] = {}
    until = dt.datetime.now(dt.UTC) + dt.timedelta(days=30)
    for name, role in PEOPLE.items():
        with ledger.writing("Ada") as writing:
            accounts.add_person(writing, name, role, PASSWORD)
            person = accounts.known(writing.connection, name)
            _, secret = add_token(writing, person, "test", person.rights, until)
            tokens[role] = secret
    return tokens


class Service:
    """The application, asked as a server would ask it."""

    def __init__(self, settings: Settings, tokens: dict[str, str]) -> None:
        self.settings, self.tokens = settings, tokens
        self.app = create_app(settings)
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever)
        self._alive: Any = self.app.router.lifespan_context(self.app)

    def start(self) -> None:
        """Start it."""
        self._thread.start()
        self.run(self._alive.__aenter__())

    def close(self) -> None:
        """End it as a server ends it."""
        self.run(self._alive.__aexit__(None, None, None))
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()

    def run(self, work: Coroutine[Any, Any, T]) -> T:
        """Run something on the loop of the service."""
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(PATIENCE)

    def ask(
        self,
        method: str,
        path: str,
        *,
        role: str = "",
        client: str = HERE,
        cookies: dict[str, str] | None = None,
        headers: dict[str, str] | None = None,
        host: str = "localhost:8460",
        **content: Any,
    ) -> httpx.Response:
        """Send a request and return the answer; with the token of a role where one is named."""
        told = dict(headers or {})
        if role:
            told["Authorization"] = f"Bearer {self.tokens[role]}"
        if cookies:
            told["Cookie"] = "; ".join(f"{name}={value}" for name, value in cookies.items())

        async def sent() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, client=(client, 5000))
            async with httpx.AsyncClient(
                transport=transport, base_url=f"http://{host}", timeout=PATIENCE
            ) as asker:
                return await asker.request(method, path, headers=told, **content)

        return self.run(sent())

    def api(self, method: str, path: str, role: str = "administrator", **content: Any) -> Any:
        """Send a request to the API and return what came, which must be a success."""
        found = self.ask(method, f"/api/v1{path}", role=role, **content)
        assert found.is_success, found.text
        return found.json() if found.content else None

    def sent(self, content: bytes = CSV, name: str = "jobs.csv", **more: Any) -> str:
        """Send a backlog and return its id."""
        told = {"name": name, **more}
        found = self.ask("POST", "/api/v1/backlogs", role="asker", params=told, content=content,
                         headers={"Content-Type": "application/octet-stream"})  # fmt: skip
        assert found.status_code == 201, found.text
        return str(found.json()["id"])

    def ended(self, name: str, role: str = "administrator", seconds: float = PATIENCE) -> Any:
        """Return how a backlog stands once it has ended."""
        return waited(
            lambda: self.api("GET", f"/backlogs/{name}", role),
            lambda found: found["state"] in ("done", "failed", "stopped"), seconds,
        )  # fmt: skip

    def ledger(self) -> Ledger:
        """Open the ledger of the service beside it."""
        return open_ledger(self.settings.place)


def signed_in(service: Service, name: str, password: str = PASSWORD) -> tuple[str, str]:
    """Begin a session in the ledger and return its secret and the key of its forms."""
    ledger = service.ledger()
    try:
        with ledger.locked() as connection:
            person = accounts.person_of(connection, name, password)
            assert person is not None
            return sessions.begin_session(connection, person, dt.datetime.now(dt.UTC))
    finally:
        ledger.close()


def waited(look: Callable[[], T], is_it: Callable[[T], bool], seconds: float = PATIENCE) -> T:
    """Look again and again until something is so, and return what was seen."""
    until = time.monotonic() + seconds
    while not is_it(found := look()):
        assert time.monotonic() < until, f"not in {seconds} s: {found}"
        time.sleep(0.05)
    return found


@contextmanager
def service_of(folder: Path, template: Template, **settings: Any) -> Iterator[Service]:
    """Give a service over a copy of the ledger."""
    path = folder / "ledger.db"
    if not path.exists():
        template.copied(folder)
    place = Location("sqlite", str(path))
    with running(Service(Settings(place, folder / "data", **settings), template.tokens)) as found:
        yield found


@contextmanager
def running(service: Service) -> Iterator[Service]:
    """Start a service, give it, and end it."""
    service.start()
    try:
        yield service
    finally:
        service.close()


@contextmanager
def server_over(settings: Settings) -> Iterator[int]:
    """Give the port of a real server on this machine."""
    listening = bound(HERE, 0)
    server = server_of(settings)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        waited(lambda: server.started, bool)
        yield int(listening.getsockname()[1])
    finally:
        server.should_exit = True
        thread.join(PATIENCE)
        listening.close()
        assert not thread.is_alive()


def connected(port: int) -> socket.socket:
    """Return a connection to a real server."""
    return socket.create_connection((HERE, port), timeout=30)
