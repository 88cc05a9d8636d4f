"""Who is let in: tokens, sessions, a proxy's word, an open page; and what ends it."""

import datetime as dt
from collections.abc import Callable
from contextlib import AbstractContextManager

import pytest
from cuttable.catalogue.errors import InputError
from cuttable.catalogue.ledger import accounts, sessions, tokens
from cuttable.service.auth import accounts_flow
from cuttable.service.auth.authenticator import COOKIE, FORM_HEADER, KNOWN_FOR, TRIES, Asker
from fastapi import Request, Response
from service_workshop import (
    ELSEWHERE,
    HERE,
    JOB,
    PASSWORD,
    Service,
    Template,
    service_of,
    signed_in,
)

Made = Callable[..., AbstractContextManager[Service]]


# --- tokens -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "given",
    ["", "Bearer", "Bearer ", "Bearer x", "Bearer cut_", "Bearer cut_" + "A" * 43, "Basic QTpi",
     "bearer cut_\x7f", "Bearer " + "cut_" * 5000],
)  # fmt: skip
def test_a_token_that_is_none_lets_nobody_in(asked: Service, given: str) -> None:
    found = asked.ask("GET", "/api/v1/me", headers={"Authorization": given})
    assert found.status_code == 401
    assert found.headers["www-authenticate"].startswith("Bearer")


def test_a_token_needs_no_key_of_a_form(service: Service) -> None:
    made = service.api("POST", "/tokens", "asker", json={"title": "orders", "days": 1})
    found = service.ask("DELETE", f"/api/v1/tokens/{made['id']}",
                        headers={"Authorization": f"Bearer {made['secret']}"})  # fmt: skip
    assert found.status_code == 204


def test_the_secret_of_a_token_is_shown_once_and_kept_nowhere(service: Service) -> None:
    made = service.api("POST", "/tokens", "asker", json={"title": "orders"})
    assert made["secret"].startswith("cut_")
    assert "secret" not in str(service.api("GET", "/tokens", "asker"))
    assert made["secret"].encode() not in service.settings.place.path.read_bytes()
    assert made["secret"][4:].encode() not in service.settings.place.path.read_bytes()


def test_a_token_has_no_more_rights_than_its_owner(service: Service) -> None:
    for rights in (["draft"], ["ask", "admin"], ["approve"]):
        found = service.ask("POST", "/api/v1/tokens", role="asker",
                            json={"title": "x", "rights": rights})  # fmt: skip
        assert found.json()["code"] == "token-unusable"


def test_a_token_makes_no_token_that_may_do_more_than_itself(service: Service) -> None:
    made = service.api("POST", "/tokens", "administrator", json={"title": "x", "rights": ["ask"]})
    found = service.ask("POST", "/api/v1/tokens", json={"title": "y", "rights": ["ask", "admin"]},
                        headers={"Authorization": f"Bearer {made['secret']}"})  # fmt: skip
    assert found.json()["code"] == "token-unusable"
    narrow = service.ask("GET", "/api/v1/people",
                         headers={"Authorization": f"Bearer {made['secret']}"})  # fmt: skip
    assert narrow.status_code == 403


@pytest.mark.parametrize("days", [0, -1, 367, 10**9])
def test_a_token_ends_within_a_year(asked: Service, days: int) -> None:
    found = asked.ask("POST", "/api/v1/tokens", role="asker", json={"title": "x", "days": days})
    assert found.json()["code"] == "request-unreadable"


def test_a_token_that_has_expired_or_was_revoked_is_none(service: Service) -> None:
    ledger = service.ledger()
    now = dt.datetime.now(dt.UTC)
    with ledger.writing("Ada") as writing:
        person = accounts.known(writing.connection, "Ask")
        _, secret = tokens.add_token(
            writing, person, "short", person.rights, now + dt.timedelta(hours=1)
        )
    found = service.ask("GET", "/api/v1/me", headers={"Authorization": f"Bearer {secret}"})
    assert found.status_code == 200
    with ledger.reading() as connection:
        later = now + dt.timedelta(hours=1, seconds=1)
        assert tokens.token_of(connection, secret, later) is None
    ledger.close()
    own = service.api("GET", "/tokens", "asker")["items"]
    for item in own:
        service.ask("DELETE", f"/api/v1/tokens/{item['id']}", role="administrator")
    assert service.ask("GET", "/api/v1/me", role="asker").status_code == 401


def test_a_token_of_somebody_else_is_unknown_but_to_administrators(service: Service) -> None:
    made = service.api("POST", "/tokens", "asker", json={"title": "x"})
    path = f"/api/v1/tokens/{made['id']}"
    assert service.ask("DELETE", path, role="engineer").json()["code"] == "token-unknown"
    assert service.ask("DELETE", path, role="administrator").status_code == 204


# --- accounts -----------------------------------------------------------------------------


def test_a_closed_account_is_out_at_once(service: Service) -> None:
    secret, _ = signed_in(service, "Eng")
    assert service.ask("GET", "/api/v1/me", cookies={COOKIE: secret}).status_code == 200
    assert service.ask("GET", "/api/v1/me", role="engineer").status_code == 200
    service.api("PATCH", "/people/eng", json={"closed": True})
    assert service.ask("GET", "/api/v1/me", cookies={COOKIE: secret}).status_code == 401
    assert service.ask("GET", "/api/v1/me", role="engineer").status_code == 401


def test_a_role_that_is_lowered_counts_in_sessions_and_tokens_at_once(service: Service) -> None:
    secret, key = signed_in(service, "Eng")
    draft = {"document": "rowan-150", "reason": "x"}
    headers = {FORM_HEADER: key}
    first = service.ask("POST", "/api/v1/revisions", json=draft, cookies={COOKIE: secret},
                        headers=headers)  # fmt: skip
    assert first.status_code == 201
    service.api("PATCH", "/people/Eng", json={"role": "asker"})
    again = service.ask("POST", "/api/v1/revisions", json=draft, cookies={COOKIE: secret},
                        headers=headers)  # fmt: skip
    assert again.status_code == 403
    assert service.ask("POST", "/api/v1/revisions", json=draft, role="engineer").status_code == 403


def test_a_new_password_ends_sessions_and_must_be_changed(service: Service) -> None:
    secret, _ = signed_in(service, "Eng")
    made = service.api("PATCH", "/people/Eng", json={"new_password": True})
    assert made["must_change"] is True
    assert service.ask("GET", "/api/v1/me", cookies={COOKIE: secret}).status_code == 401
    other, _ = signed_in(service, "Eng", made["password"])
    found = service.ask("GET", "/api/v1/me", cookies={COOKIE: other})
    assert (found.status_code, found.json()["code"]) == (403, "not-allowed")


def test_the_last_administrator_stays(service: Service) -> None:
    for change in ({"role": "asker"}, {"closed": True}):
        found = service.ask("PATCH", "/api/v1/people/Adm", role="administrator", json=change)
        assert (found.status_code, found.json()["code"]) == (409, "last-administrator")


@pytest.mark.parametrize("change", [{}, {"closed": True, "new_password": True}, {"closed": False}])
def test_a_change_of_nothing_is_refused(asked: Service, change: dict[str, bool]) -> None:
    found = asked.ask("PATCH", "/api/v1/people/Eng", role="administrator", json=change)
    assert found.status_code == 422


def test_an_account_that_is_there_is_not_made_again(service: Service) -> None:
    made = service.api("POST", "/people", json={"name": "Bo Ek", "role": "asker"})
    assert len(made["password"]) >= 12
    found = service.ask("POST", "/api/v1/people", role="administrator", json={"name": "bo  EK"})
    assert (found.status_code, found.json()["code"]) == (409, "account-exists")


# --- signing in ---------------------------------------------------------------------------


class Form:
    """Sends the form to sign in, as a page would."""

    def __init__(self, service: Service) -> None:
        self.service = service

    def sent(
        self, name: str, password: str, client: str = HERE, **headers: str
    ) -> tuple[Asker, str]:
        """Sign in and return who did, and the secret of the session."""
        return self.service.run(
            accounts_flow.sign_in(self.request(client, **headers), name, password)
        )

    def request(self, client: str = HERE, **headers: str) -> Request:
        """Return the request that a guard would hand on."""
        from cuttable.service.addresses import From

        told = {"host": "localhost:8460"} | {
            name.replace("_", "-"): value for name, value in headers.items()
        }
        return Request({
            "type": "http", "method": "POST", "path": "/sign-in", "query_string": b"",
            "headers": [(name.encode(), value.encode()) for name, value in told.items()],
            "app": self.service.app, "state": {"origin": From(client, client, is_proxied=False)},
        })  # fmt: skip


def test_who_signs_in_gets_a_session_of_their_own_each_time(service: Service) -> None:
    form = Form(service)
    asker, first = form.sent("eng", PASSWORD)
    _, second = form.sent("Eng", PASSWORD)
    assert asker.person.name == "Eng"
    assert first != second
    for secret in (first, second):
        assert service.ask("GET", "/api/v1/me", cookies={COOKIE: secret}).status_code == 200
    assert service.ask("GET", "/api/v1/me", cookies={COOKIE: "planted"}).status_code == 401


def test_a_secret_that_was_planted_is_never_taken_over(service: Service) -> None:
    form = Form(service)
    _, secret = form.sent("Eng", PASSWORD, cookie=f"{COOKIE}=planted")
    assert service.ask("GET", "/api/v1/me", cookies={COOKIE: secret}).status_code == 200
    assert service.ask("GET", "/api/v1/me", cookies={COOKIE: "planted"}).status_code == 401


def test_who_signs_out_is_out(service: Service) -> None:
    form = Form(service)
    asker, secret = form.sent("Eng", PASSWORD)
    service.run(accounts_flow.sign_out(form.request(), asker))
    assert service.ask("GET", "/api/v1/me", cookies={COOKIE: secret}).status_code == 401


@pytest.mark.parametrize("name", ["Eng", "nobody", "", "\x00", "a" * 5000])
def test_a_wrong_name_and_a_wrong_password_are_told_alike(service: Service, name: str) -> None:
    with pytest.raises(InputError) as told:
        Form(service).sent(name, "not the password")
    assert (told.value.code, told.value.what) == (
        "sign-in-wrong", "name and password do not go together",
    )  # fmt: skip


def test_who_guesses_waits_even_with_the_right_password(service: Service) -> None:
    form = Form(service)
    for _ in range(TRIES):
        with pytest.raises(InputError, match="sign-in-wrong"):
            form.sent("Eng", "guess")
    for client, name in ((ELSEWHERE, "Eng"), (HERE, "App")):
        with pytest.raises(InputError, match="too-many"):
            form.sent(name, PASSWORD, client)
    form.sent("App", PASSWORD, ELSEWHERE)


@pytest.mark.parametrize(
    "headers",
    [{"origin": "https://elsewhere.example"}, {"origin": "null"}, {"sec_fetch_site": "cross-site"},
     {"sec_fetch_site": "same-site"}, {"origin": "http://localhost:1"}],
)  # fmt: skip
def test_no_other_page_signs_anybody_in(service: Service, headers: dict[str, str]) -> None:
    with pytest.raises(InputError, match="form-stale"):
        Form(service).sent("Eng", PASSWORD, **headers)


def test_own_pages_sign_in(service: Service) -> None:
    Form(service).sent("Eng", PASSWORD, origin="http://localhost:8460",
                       sec_fetch_site="same-origin")  # fmt: skip


def test_a_changed_password_ends_the_other_sessions(service: Service) -> None:
    form = Form(service)
    _, other = form.sent("Eng", PASSWORD)
    asker, _ = form.sent("Eng", PASSWORD)
    for new in ("short", PASSWORD, "", "engine words four more"):
        with pytest.raises(InputError, match="password-weak"):
            service.run(accounts_flow.change_password(form.request(), asker, PASSWORD, new))
    with pytest.raises(InputError, match="sign-in-wrong"):
        service.run(accounts_flow.change_password(form.request(), asker, "wrong", "x" * 20))
    _, secret = service.run(
        accounts_flow.change_password(form.request(), asker, PASSWORD, "other four words here")
    )
    assert service.ask("GET", "/api/v1/me", cookies={COOKIE: other}).status_code == 401
    assert service.ask("GET", "/api/v1/me", cookies={COOKIE: secret}).status_code == 200
    form.sent("Eng", "other four words here")


@pytest.mark.parametrize("is_https", [False, True])
def test_the_cookie_is_kept_from_scripts_and_other_pages(made: Made, *, is_https: bool) -> None:
    with made(is_https=is_https) as service:
        response = Response()
        accounts_flow.set_cookie(Form(service).request(), response, "secret")
        cookie = response.headers["set-cookie"].casefold()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert ("secure" in cookie.split("; ")) is is_https
        live = service.ask("GET", "/health/live")
        assert ("strict-transport-security" in live.headers) is is_https


# --- a proxy's word -----------------------------------------------------------------------

PROXY = "10.0.0.5"
HEADER = "X-Remote-User"


def test_the_word_of_a_proxy_is_taken_from_trusted_addresses_only(made: Made) -> None:
    with made(header=HEADER, proxies=(PROXY, "fd00::/8")) as service:
        told = {HEADER: "Eng"}
        for client, status in ((PROXY, 200), ("fd00::7", 200), (HERE, 401), (ELSEWHERE, 401)):
            found = service.ask("GET", "/api/v1/me", headers=told, client=client)
            assert found.status_code == status, client
        for name in ("", "nobody", "x" * 3000):
            found = service.ask("GET", "/api/v1/me", headers={HEADER: name}, client=PROXY)
            assert found.status_code == 401


def test_without_the_option_no_header_is_believed(asked: Service) -> None:
    for header in (HEADER, "X-Forwarded-User", "Remote-User"):
        assert asked.ask("GET", "/api/v1/me", headers={header: "Adm"}).status_code == 401


def test_what_a_proxy_vouches_for_needs_the_key_of_its_forms(made: Made) -> None:
    with made(header=HEADER, proxies=(PROXY,)) as service:
        asked = {"title": "x"}
        found = service.ask("POST", "/api/v1/tokens", json=asked, headers={HEADER: "Eng"},
                            client=PROXY)  # fmt: skip
        assert found.json()["code"] == "form-stale"
        key = sessions.form_key_of("Eng")
        found = service.ask("POST", "/api/v1/tokens", json=asked, client=PROXY,
                            headers={HEADER: "Eng", FORM_HEADER: key})  # fmt: skip
        assert found.status_code == 201
        other = service.ask("POST", "/api/v1/tokens", json=asked, client=PROXY,
                            headers={HEADER: "App", FORM_HEADER: key})  # fmt: skip
        assert other.json()["code"] == "form-stale"


def test_addresses_behind_a_trusted_proxy_are_told_apart(made: Made) -> None:
    with made(proxies=(PROXY,), rate=10) as service:
        told = {"X-Forwarded-For": "203.0.113.1, 198.51.100.9"}
        for _ in range(10):
            service.ask("GET", "/health/live", client=PROXY, headers=told)
        full = service.ask("GET", "/health/live", client=PROXY, headers=told)
        assert full.status_code == 429
        other = {"X-Forwarded-For": "203.0.113.1, 198.51.100.10"}
        assert service.ask("GET", "/health/live", client=PROXY, headers=other).status_code == 200
        # An address that is no trusted proxy cannot choose whom it is counted for.
        for number in range(10):
            service.ask("GET", "/health/live", client=ELSEWHERE,
                        headers={"X-Forwarded-For": f"198.51.100.{number}"})  # fmt: skip
        found = service.ask("GET", "/health/live", client=ELSEWHERE,
                            headers={"X-Forwarded-For": "198.51.100.200"})  # fmt: skip
        assert found.status_code == 429


# --- metrics ------------------------------------------------------------------------------


def test_metrics_are_for_this_machine_and_administrators(asked: Service) -> None:
    assert b"cuttable_requests_total" in asked.ask("GET", "/metrics").content
    assert asked.ask("GET", "/metrics", client=ELSEWHERE).status_code == 403
    assert asked.ask("GET", "/metrics", client=ELSEWHERE, role="engineer").status_code == 403
    assert asked.ask("GET", "/metrics", client=ELSEWHERE, role="administrator").is_success
    through = asked.ask("GET", "/metrics", headers={"X-Forwarded-For": ELSEWHERE})
    assert through.status_code == 403
    assert asked.ask("GET", "/metrics", host="rebound.example").status_code == 403


# --- an open page -------------------------------------------------------------------------


def test_an_open_page_answers_this_machine_only(made: Made) -> None:
    with made(is_open=True) as service:
        for host in ("localhost:8460", "127.0.0.1:8460", "[::1]:8460", "LOCALHOST"):
            found = service.ask("POST", "/api/v1/check", json=JOB, host=host)
            assert found.status_code == 200, host
        for host in ("rebound.example", "localhost.example", "192.0.2.1", "127.0.0.1.example"):
            found = service.ask("POST", "/api/v1/check", json=JOB, host=host)
            assert found.json()["code"] == "not-allowed", host
        assert service.ask("POST", "/api/v1/check", json=JOB, client=ELSEWHERE).status_code == 403
        through = service.ask("POST", "/api/v1/check", json=JOB,
                              headers={"X-Forwarded-For": HERE})  # fmt: skip
        assert through.status_code == 403
        other = service.ask("POST", "/api/v1/check", json=JOB,
                            headers={"Origin": "https://elsewhere.example"})  # fmt: skip
        assert other.status_code == 403


def test_an_open_page_changes_nothing(made: Made) -> None:
    with made(is_open=True) as service:
        before = service.settings.place.path.read_bytes()
        for method, path, content in (
            ("POST", "/check", JOB | {"keep": True}), ("POST", "/tokens", {"title": "x"}),
            ("DELETE", "/tokens/x", None), ("POST", "/people", {"name": "x"}),
            ("POST", "/revisions", {"document": "rowan-150"}),
            ("POST", "/revisions/rowan-150/1/approve", {}),
        ):  # fmt: skip
            found = service.ask(method, f"/api/v1{path}", json=content,
                                role="administrator")  # fmt: skip
            assert found.status_code == 403, path
        sent = service.ask("POST", "/api/v1/backlogs?name=x.csv", content=b"x",
                           headers={"Content-Type": "text/csv"})  # fmt: skip
        assert sent.status_code == 403
        with pytest.raises(InputError, match="not-allowed"):
            Form(service).sent("Adm", PASSWORD)
        assert service.settings.place.path.read_bytes() == before


def test_what_another_process_closes_is_out_within_seconds(
    tmp_path: object, template: Template, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pathlib import Path

    from cuttable.service.auth import authenticator

    assert KNOWN_FOR <= 10
    monkeypatch.setattr(authenticator, "KNOWN_FOR", 0.0)
    with service_of(Path(str(tmp_path)), template) as service:
        assert service.ask("GET", "/api/v1/me", role="engineer").status_code == 200
        ledger = service.ledger()
        with ledger.writing("Ada") as writing:
            accounts.close_account(writing, "Eng")
        ledger.close()
        assert service.ask("GET", "/api/v1/me", role="engineer").status_code == 401
