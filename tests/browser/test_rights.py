"""Every page by every role: what is shown, what is refused; the table names every route."""

import datetime as dt
from collections.abc import Iterator
from typing import Any, Final

import httpx
import pytest
from cuttable.catalogue.ledger import accounts, sessions
from cuttable.catalogue.ledger.database import open_ledger
from cuttable.service.pages import routes
from cuttable.service.settings import Settings
from house import PEOPLE, House, furnish, running
from roles import MAY

RIGHTS: Final = {
    "GET /": "ask", "GET /ask/answer": "ask", "GET /sheet": "ask", "POST /ask/keep": "ask",
    "GET /range": "ask",
    "GET /backlogs": "ask", "POST /backlogs": "ask", "GET /backlogs/{name}": "ask",
    "GET /backlogs/{name}/progress": "ask", "POST /backlogs/{name}/cancel": "ask",
    "GET /limits": "ask", "POST /limits": "draft", "GET /limits/{document}": "ask",
    "GET /limits/{document}/{number}": "ask", "POST /limits/{document}/{number}/edit": "draft",
    "POST /limits/{document}/{number}/submit": "draft",
    "POST /limits/{document}/{number}/withdraw": "draft",
    "POST /limits/{document}/{number}/impact": "draft",
    "POST /limits/{document}/{number}/return": "approve",
    "POST /limits/{document}/{number}/approve": "approve",
    "POST /limits/{document}/{number}/revoke": "approve",
    "GET /rules": "ask", "GET /rules/{code}": "ask",
    "GET /answers": "ask", "GET /answers/find": "ask", "GET /answers/{name}": "ask",
    "GET /account": "ask", "POST /account/password": "ask", "POST /account/tokens": "ask",
    "POST /account/tokens/{token}/end": "ask",
    "GET /people": "admin", "POST /people": "admin", "POST /people/change": "admin",
    "GET /sign-in": "", "POST /sign-in": "", "POST /sign-out": "", "GET /static/{name}": "",
}  # fmt: skip
"""The right each route needs; empty for none."""

FILLED: Final = {
    "name": "style.css", "document": "rowan-150", "number": "1", "code": "INER-01", "token": "0",
}  # fmt: skip


def every_route(router: Any = routes.router) -> Iterator[str]:
    """Yield every route of the pages."""
    for route in router.routes:
        inner = getattr(route, "original_router", None) or getattr(route, "router", None)
        if inner is not None and not hasattr(route, "methods"):
            yield from every_route(inner)
        else:
            yield from (f"{method} {route.path}" for method in route.methods - {"HEAD"})


def test_the_table_names_every_route() -> None:
    """No page is without a right that somebody has thought about."""
    assert sorted(every_route()) == sorted(RIGHTS)


@pytest.fixture(scope="module")
def own_house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """A service whose ledger may be changed."""
    folder = tmp_path_factory.mktemp("rights")
    place = furnish(folder)
    with running(Settings(place, folder / "data", rate=100_000)) as url:
        yield House(url, place, folder / "data")


@pytest.fixture(scope="module")
def keys(own_house: House) -> dict[str, tuple[str, str]]:
    """Secret of a session and key of its forms, by role."""
    ledger = open_ledger(own_house.place)
    found: dict[str, tuple[str, str]] = {}
    for name, role in PEOPLE.items():
        with ledger.locked() as connection:
            person = accounts.named(connection, name)
            assert person is not None
            found[role] = sessions.begin_session(connection, person, dt.datetime.now(dt.UTC))
    ledger.close()
    return found


def asked(house: House, route: str, secret: str = "", key: str = "") -> httpx.Response:
    """Ask a route as a browser with a session does."""
    method, _, path = route.partition(" ")
    cookies = {"cuttable_session": secret} if secret else {}
    with httpx.Client(base_url=house.url, cookies=cookies) as client:
        form = {"form_key": key} if method == "POST" else None
        return client.request(method, path.format(**FILLED), data=form)


@pytest.mark.parametrize("role", PEOPLE.values())
@pytest.mark.parametrize("route", [name for name in RIGHTS if name != "POST /sign-out"])
def test_a_role_may_what_the_table_says(
    own_house: House, keys: dict[str, tuple[str, str]], route: str, role: str
) -> None:
    """Whoever has the right is let in; everybody else is told which role is needed.

    Signing out is left aside: it would end the session of the other cases.
    """
    answer = asked(own_house, route, *keys[role])
    right: Any = RIGHTS[route]
    assert answer.status_code < 500
    if not right:
        assert answer.status_code != 403
    elif right in MAY[role]:
        assert answer.status_code not in (401, 403)
    else:
        assert answer.status_code == 403
        assert f"yours is {role}" in answer.text


@pytest.mark.parametrize("route", [name for name, right in RIGHTS.items() if right])
def test_nobody_is_let_in(own_house: House, route: str) -> None:
    """They get the form to sign in, which leads back."""
    answer = asked(own_house, route)
    assert answer.status_code == 401
    assert 'action="/sign-in"' in answer.text


@pytest.mark.parametrize("route", [
    name for name, right in RIGHTS.items() if right and name.startswith("POST")
])  # fmt: skip
def test_no_form_is_taken_without_the_key_of_its_session(
    own_house: House, keys: dict[str, tuple[str, str]], route: str
) -> None:
    """Of an administrator neither: another page may have sent it."""
    secret, _ = keys["administrator"]
    for key in ("", keys["asker"][1]):
        answer = asked(own_house, route, secret, key)
        assert answer.status_code == 403
        assert "not of this session" in answer.text
