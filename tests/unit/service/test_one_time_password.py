"""A password that somebody else made is good for one thing: choosing one's own."""

import re

import pytest
from cuttable.service.auth.authenticator import COOKIE, FORM_FIELD, FORM_HEADER
from service_workshop import JOB, Service, signed_in

NEW = "other four words here"
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


@pytest.fixture
def once(service: Service) -> tuple[str, str, str]:
    """An engineer with a new one-time password: it, the secret of a session, the key of forms."""
    made = service.api("PATCH", "/people/Eng", json={"new_password": True})
    secret, key = signed_in(service, "Eng", made["password"])
    return made["password"], secret, key


@pytest.mark.parametrize(
    ("method", "path", "content"),
    [
        ("GET", "/", None), ("GET", "/limits", None), ("GET", "/answers", None),
        ("GET", "/accounts", None), ("GET", "/account/tokens", None),
        ("POST", "/account/tokens", "title=mine&rights=ask&days=30"),
        ("POST", "/account/tokens/1/end", ""),
        ("GET", "/api/v1/me", None), ("GET", "/api/v1/tokens", None),
        ("POST", "/api/v1/tokens", {"title": "mine"}), ("POST", "/api/v1/check", JOB),
        ("POST", "/api/v1/revisions", {"document": "rowan-150", "reason": "x"}),
    ],
)  # fmt: skip
def test_it_opens_nothing_else(
    service: Service, once: tuple[str, str, str], method: str, path: str,
    content: str | dict[str, str] | None,
) -> None:  # fmt: skip
    """No page, no request of a program, and above all no token: it would outlast the password."""
    _, secret, key = once
    if isinstance(content, str):
        found = service.ask(method, path, cookies={COOKIE: secret}, headers=FORM,
                            content=f"{content}&{FORM_FIELD}={key}")  # fmt: skip
    else:
        found = service.ask(method, path, cookies={COOKIE: secret}, json=content,
                            headers={FORM_HEADER: key})  # fmt: skip
    assert found.status_code in (403, 404, 405), found.text[:300]
    assert service.api("GET", "/tokens", "administrator")["items"] == before(service)


def before(service: Service) -> list[object]:
    """Return the tokens that the service was furnished with: one for each role."""
    found = service.api("GET", "/tokens", "administrator")["items"]
    assert {item["title"] for item in found} == {"test"}
    return found


def test_it_is_changed_on_the_page_of_the_account(
    service: Service, once: tuple[str, str, str]
) -> None:
    """The page says so; with a password of one's own everything opens, and the old one is dead."""
    password, secret, key = once
    shown = service.ask("GET", "/account", cookies={COOKIE: secret})
    assert shown.status_code == 200
    assert "for one time" in shown.text
    assert not re.search('action="/account/tokens"', shown.text)
    done = service.ask(
        "POST", "/account/password", cookies={COOKIE: secret}, headers=FORM,
        content=f"old={password.replace(' ', '+')}&new={NEW.replace(' ', '+')}&{FORM_FIELD}={key}",
    )  # fmt: skip
    assert done.status_code == 303, done.text[:300]
    fresh = done.cookies[COOKIE]
    assert service.ask("GET", "/api/v1/me", cookies={COOKIE: fresh}).status_code == 200
    assert service.ask("GET", "/api/v1/me", cookies={COOKIE: secret}).status_code == 401
    with pytest.raises(AssertionError):
        signed_in(service, "Eng", password)


def test_tokens_of_before_wait_until_it_is_changed(service: Service, once: object) -> None:
    """Whoever resets a password means to stop what acts in that name."""
    _ = once
    found = service.ask("GET", "/api/v1/me", role="engineer")
    assert found.status_code == 403
    assert found.json()["code"] == "not-allowed"
