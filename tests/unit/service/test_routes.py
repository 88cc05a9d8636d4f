"""Every pair of route and role behaves as this table says, and no route is missing from it."""

from typing import Any, Final

import httpx
import pytest
from cuttable.service.app import create_app, every_route
from cuttable.service.auth.authenticator import COOKIE, FORM_HEADER
from roles import MAY
from service_workshop import Service, signed_in

API: Final[dict[str, str]] = {
    "GET /api/v1/openapi.json": "",
    "POST /api/v1/check": "ask",
    "POST /api/v1/lengths": "ask",
    "POST /api/v1/sheet": "ask",
    "GET /api/v1/chart": "ask",
    "GET /api/v1/sections": "ask",
    "GET /api/v1/grades": "ask",
    "GET /api/v1/families": "ask",
    "GET /api/v1/machines": "ask",
    "GET /api/v1/machines/{code}": "ask",
    "GET /api/v1/documents": "ask",
    "GET /api/v1/documents/{document}/history": "ask",
    "GET /api/v1/revisions/{document}/{number}": "ask",
    "GET /api/v1/revisions/{document}/{number}/differences/{other}": "ask",
    "POST /api/v1/revisions": "draft",
    "PATCH /api/v1/revisions/{document}/{number}": "draft",
    "POST /api/v1/revisions/{document}/{number}/submit": "draft",
    "POST /api/v1/revisions/{document}/{number}/withdraw": "draft",
    "POST /api/v1/revisions/{document}/{number}/impact": "draft",
    "POST /api/v1/revisions/{document}/{number}/return": "approve",
    "POST /api/v1/revisions/{document}/{number}/approve": "approve",
    "POST /api/v1/revisions/{document}/{number}/revoke": "approve",
    "GET /api/v1/rules": "ask",
    "GET /api/v1/rules/{code}": "ask",
    "GET /api/v1/answers": "ask",
    "GET /api/v1/answers/{name}": "ask",
    "GET /api/v1/answers/{name}/text": "ask",
    "GET /api/v1/answers/{name}/again": "ask",
    "GET /api/v1/answers/{name}/today": "ask",
    "POST /api/v1/backlogs": "ask",
    "GET /api/v1/backlogs": "ask",
    "GET /api/v1/backlogs/{name}": "ask",
    "DELETE /api/v1/backlogs/{name}": "ask",
    "GET /api/v1/backlogs/{name}/answers": "ask",
    "GET /api/v1/backlogs/{name}/file": "ask",
    "GET /api/v1/backlogs/{name}/report": "ask",
    "GET /api/v1/me": "ask",
    "GET /api/v1/tokens": "ask",
    "POST /api/v1/tokens": "ask",
    "DELETE /api/v1/tokens/{token}": "ask",
    "GET /api/v1/people": "admin",
    "POST /api/v1/people": "admin",
    "PATCH /api/v1/people/{name}": "admin",
    "GET /health/live": "",
    "GET /health/ready": "",
    "GET /metrics": "",  # for this machine, or an administrator: see test_access
}
"""The right that each route of the API needs; empty for everybody."""

PAGES: Final[dict[str, str]] = {
    "GET /static/{name}": "",
    "GET /": "ask",
    "GET /ask/answer": "ask",
    "POST /ask/keep": "ask",
    "GET /sheet": "ask",
    "GET /range": "ask",
    "GET /backlogs": "ask",
    "POST /backlogs": "ask",
    "GET /backlogs/{name}": "ask",
    "GET /backlogs/{name}/progress": "ask",
    "POST /backlogs/{name}/cancel": "ask",
    "GET /limits": "ask",
    "POST /limits": "draft",
    "GET /limits/{document}": "ask",
    "GET /limits/{document}/{number}": "ask",
    "POST /limits/{document}/{number}/edit": "draft",
    "POST /limits/{document}/{number}/submit": "draft",
    "POST /limits/{document}/{number}/withdraw": "draft",
    "POST /limits/{document}/{number}/impact": "draft",
    "POST /limits/{document}/{number}/return": "approve",
    "POST /limits/{document}/{number}/approve": "approve",
    "POST /limits/{document}/{number}/revoke": "approve",
    "GET /rules": "ask",
    "GET /rules/{code}": "ask",
    "GET /answers": "ask",
    "GET /answers/find": "ask",
    "GET /answers/{name}": "ask",
    "GET /sign-in": "",
    "POST /sign-in": "",
    "POST /sign-out": "",
    "GET /account": "ask",
    "POST /account/password": "ask",
    "POST /account/tokens": "ask",
    "POST /account/tokens/{token}/end": "ask",
    "GET /people": "admin",
    "POST /people": "admin",
    "POST /people/change": "admin",
}
"""The right that each page needs; empty for everybody."""

TABLE: Final = API | PAGES
WITH_PASSWORD: Final = frozenset({"POST /sign-in", "POST /account/password"})
"""Forms that are refused for the password they lack, whoever sends them."""
VALUES: Final = {"{number}": "1", "{other}": "1"}


def declared(asked: Service) -> dict[str, str]:
    """Return the right that each route asks for, as the code has it."""
    found: dict[str, str] = {}
    for route in every_route(create_app(asked.settings).routes):
        dependant = getattr(route, "dependant", None)
        rights = [
            right
            for item in (dependant.dependencies if dependant else ())
            if (right := getattr(item.call, "right", ""))
        ]
        assert len(rights) <= 1, route.path
        for method in route.methods - {"HEAD"}:
            found[f"{method} {route.path}"] = "".join(rights)
    return found


def test_the_table_has_every_route_with_its_right(asked: Service) -> None:
    assert declared(asked) == TABLE


def pairs() -> list[tuple[str, str]]:
    """Return each route with each role, and with nobody."""
    return [(route, role) for route in TABLE for role in ("", *MAY)]


@pytest.mark.parametrize(("route", "role"), pairs())
def test_a_route_lets_in_who_the_table_says(asked: Service, route: str, role: str) -> None:
    right = TABLE[route]
    found = asked_for(asked, route, role=role)
    if route in WITH_PASSWORD:
        assert found.status_code in (401, 403, 422, 429)
    elif not right:
        assert found.status_code not in (401, 403)
    elif not role:
        assert found.status_code == 401
    elif right in MAY[role]:
        assert found.status_code not in (401, 403), found.text
    else:
        assert found.status_code == 403
    assert found.status_code < 500, found.text
    if route.split()[1].startswith("/api/") and found.status_code >= 400:
        assert_problem(found)


CHANGING: Final = [route for route, right in TABLE.items() if right and route[:3] != "GET"]


@pytest.fixture(scope="module")
def session(asked: Service) -> tuple[str, str]:
    """The secret of a session of the administrator and the key of its forms."""
    return signed_in(asked, "Adm")


@pytest.mark.parametrize("route", CHANGING)
@pytest.mark.parametrize("key", ["", "wrong", "right"])
def test_a_session_changes_nothing_without_the_key_of_its_forms(
    asked: Service, session: tuple[str, str], route: str, key: str
) -> None:
    secret, form_key = session
    headers = {FORM_HEADER: form_key if key == "right" else key} if key else {}
    found = asked_for(asked, route, cookies={COOKIE: secret}, headers=headers)
    if key == "right" and route in WITH_PASSWORD:
        assert found.status_code in (401, 422, 429)
    elif key == "right":
        assert found.status_code not in (401, 403), found.text
    else:
        assert found.status_code == 403
        if route.split()[1].startswith("/api/"):
            assert found.json()["code"] == "form-stale"


def asked_for(asked: Service, route: str, **more: Any) -> httpx.Response:
    """Ask for a route with values that name nothing."""
    method, path = route.split()
    for name, value in VALUES.items():
        path = path.replace(name, value)
    path = path.replace("{", "no-").replace("}", "")
    headers = dict(more.pop("headers", {}))
    content = b""
    if method != "GET":
        if path == "/api/v1/backlogs":
            headers["Content-Type"] = "application/octet-stream"
        elif path.startswith("/api/"):
            headers["Content-Type"], content = "application/json", b"{}"
        else:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
    return asked.ask(method, path, headers=headers, content=content, **more)


def assert_problem(found: httpx.Response) -> None:
    """Assert that an answer is problem details with a stable code."""
    assert found.headers["content-type"] == "application/problem+json"
    told = found.json()
    assert told["status"] == found.status_code
    assert told["type"] == f"urn:cuttable:error:{told['code']}"
    assert told["title"]
    assert told["detail"]
