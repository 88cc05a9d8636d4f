"""A service on a real socket with people, backlogs and drafts, and a browser to visit it with."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, NamedTuple

from cuttable.catalogue.ledger import accounts
from cuttable.catalogue.ledger.creation import make_ledger
from cuttable.catalogue.ledger.location import Location
from cuttable.catalogue.ledger.shipped import brought
from cuttable.catalogue.store import FOLDER
from cuttable.rules.loader import FOLDER as RULES_FOLDER
from cuttable.service.serving import bound, server_of
from cuttable.service.settings import Settings
from playwright.sync_api import Browser, BrowserContext, Page

PATIENCE: Final = 120.0
"""Seconds to wait for what must come: a guard against waiting for ever, no goal."""
PASSWORD: Final = "slate orchard kettle nine"  # noqa: S105 - of invented people
PEOPLE: Final = {
    "Ada Quill": "asker", "Eli Marsh": "engineer", "Pia Holm": "approver",
    "Ravi Stone": "administrator",
}  # fmt: skip


class House(NamedTuple):
    """A service that runs: where, and what its ledger is."""

    url: str
    place: Location
    data: Path


def furnish(folder: Path) -> Location:
    """Make a ledger with the first release and an account of each role."""
    place = Location("sqlite", str(folder / "ledger.db"))
    ledger = make_ledger(place, "Ravi Stone", brought(FOLDER, RULES_FOLDER))
    with ledger.writing("Ravi Stone") as writing:
        for name, role in PEOPLE.items():
            accounts.add_person(writing, name, role, PASSWORD)
    ledger.close()
    return place


@contextmanager
def running(settings: Settings) -> Iterator[str]:
    """Serve on a free port of this machine."""
    listening: socket.socket = bound("127.0.0.1", 0)
    port: int = listening.getsockname()[1]
    server = server_of(settings)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    until = time.monotonic() + PATIENCE
    while not server.started and time.monotonic() < until and thread.is_alive():
        time.sleep(0.02)
    assert server.started
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join(PATIENCE)
        listening.close()


class Visit:
    """A browser at a service; what goes wrong in it is collected.

    Attributes:
        trouble: complaints of the console, errors of scripts, requests to other hosts.
    """

    def __init__(self, browser: Browser, url: str, *, width: int = 1280, is_dark: bool = False,
                 has_scripts: bool = True) -> None:  # fmt: skip
        self.url, self.trouble = url, list[str]()
        self.context: BrowserContext = browser.new_context(
            viewport={"width": width, "height": 900}, accept_downloads=True,
            color_scheme="dark" if is_dark else "light", java_script_enabled=has_scripts,
        )  # fmt: skip
        self.context.set_default_timeout(PATIENCE * 1000)
        self.page: Page = self.context.new_page()
        self.page.on("console", lambda told: self._complain(told.type, told.text))
        self.page.on("pageerror", lambda fault: self.trouble.append(str(fault)))
        self.page.on("request", lambda asked: self._look(asked.url))

    def _complain(self, kind: str, text: str) -> None:
        # A page of an error is answered with its status, which the browser tells too.
        if kind in ("error", "warning") and "the server responded with a status of" not in text:
            self.trouble.append(text)

    def _look(self, url: str) -> None:
        if not url.startswith((self.url, "data:", "blob:")):
            self.trouble.append(url)

    def go(self, path: str) -> Page:
        """Open a page of the service."""
        self.page.goto(f"{self.url}{path}")
        return self.page

    def sign_in(self, name: str, password: str = PASSWORD) -> "Visit":
        """Sign in as people do."""
        page = self.go("/sign-in")
        page.get_by_label("Name").fill(name)
        page.get_by_label("Password").fill(password)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(lambda url: "/sign-in" not in url)
        return self

    def close(self) -> None:
        """Close the browser's window."""
        self.context.close()
