"""A furnished service and a browser, once for all tests of the pages."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from browsers import running_browser
from cuttable.service.settings import Settings
from house import PATIENCE, House, Visit, furnish, running
from playwright.sync_api import Browser, expect

Visits = Callable[..., Visit]


@pytest.fixture(scope="session")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """A service with accounts."""
    folder = tmp_path_factory.mktemp("house")
    place = furnish(folder)
    with running(Settings(place, folder / "data", rate=100_000)) as url:
        yield House(url, place, folder / "data")


@pytest.fixture(scope="session")
def open_house(house: House) -> Iterator[House]:
    """The same ledger on an open page: no accounts, nothing can be changed."""
    data = house.data.parent / "open"
    settings = Settings(house.place, data, is_open=True, rate=100_000)
    with running(settings) as url:
        yield House(url, house.place, data)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One Chromium for all pages of a file.

    Not one for all files: while it is open its event loop runs in this thread, and tests of other
    folders that come to the same worker run loops of their own.
    """
    expect.set_options(timeout=PATIENCE * 1000)
    with running_browser() as found:
        yield found


@pytest.fixture(scope="session")
def sessions() -> dict[tuple[str, str], Any]:
    """Cookies of people who have signed in, by service and name."""
    return {}


@pytest.fixture
def visits(
    browser: Browser, house: House, sessions: dict[tuple[str, str], Any]
) -> Iterator[Visits]:
    """Windows at the service; every one must have come without trouble."""
    made: list[Visit] = []

    def visit(who: str = "", url: str = house.url, **how: object) -> Visit:
        found = Visit(browser, url, **how)
        made.append(found)
        if not who:
            return found
        if (url, who) in sessions:
            found.context.add_cookies(sessions[url, who])
        else:
            sessions[url, who] = found.sign_in(who).context.cookies()
        found.go("/")
        return found

    yield visit
    trouble = [item for found in made for item in found.trouble]
    for found in made:
        found.close()
    assert not trouble
