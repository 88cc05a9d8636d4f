"""What is sent in bad faith or by mistake: too much, too slow, of the wrong kind, or dressed up."""

import json
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import httpx
import pytest
from cuttable.catalogue.errors import ERROR_CODES
from cuttable.service import connection
from cuttable.service.connection import connections
from cuttable.service.problems import Told, status_of
from cuttable.service.settings import Settings
from service_workshop import HERE, JOB, Service, Template, connected, server_over, waited

Made = Callable[..., AbstractContextManager[Service]]

DRESSED = [
    "<script>alert(1)</script>", "'\"><img src=x onerror=alert(1)>", '=HYPERLINK("x")',
    "{{7*7}}", "${7*7}", "'; DROP TABLE people; --", "\x00", "\x1b[31m", "\u202e", "%s%n",
    "../../etc",
    "\r\nSet-Cookie: a=b", "a" * 200, "∞", "NaN", "1e999", "٣ m", "-1 m",
]  # fmt: skip
FIELDS = ["section", "length", "grade", "bow", "off_axis", "ends", "contents", "coating",
          "behind", "grip"]  # fmt: skip
LISTS = ["parts", "cuts", "stations", "fitted", "machines"]


@pytest.mark.parametrize("text", DRESSED)
@pytest.mark.parametrize("field", [*FIELDS, *LISTS])
def test_any_text_in_any_field_is_answered_as_json(asked: Service, field: str, text: str) -> None:
    question = JOB | {field: [text] if field in LISTS else text}
    found = asked.ask("POST", "/api/v1/check", role="asker", json=question)
    assert found.status_code in (200, 404, 422), found.text
    assert found.headers["content-type"] in ("application/json", "application/problem+json")
    assert found.headers["x-content-type-options"] == "nosniff"
    assert "set-cookie" not in found.headers
    assert isinstance(found.json(), dict)


@pytest.mark.parametrize("text", DRESSED)
@pytest.mark.parametrize("path", ["/sections?text={}", "/grades?text={}", "/machines?as_of={}",
                                  "/machines/{}", "/rules/{}", "/answers/{}",
                                  "/documents/{}/history",
                                  "/revisions/{}/1", "/chart?machine={}",
                                  "/chart?machine=rowan-150&wall={}", "/backlogs/{}"])  # fmt: skip
def test_any_text_in_any_address_is_answered(asked: Service, path: str, text: str) -> None:
    from urllib.parse import quote

    found = asked.ask("GET", "/api/v1" + path.format(quote(text, safe="")), role="asker")
    assert found.status_code in (200, 404, 422), found.text
    assert "text/html" not in found.headers["content-type"]


@pytest.mark.parametrize("text", DRESSED)
def test_any_text_in_a_reason_is_kept_as_it_is_or_refused(service: Service, text: str) -> None:
    draft = {"document": "rowan-150", "reason": text, "evidence": text}
    found = service.ask("POST", "/api/v1/revisions", role="engineer", json=draft)
    assert found.status_code in (201, 422), found.text


@pytest.mark.parametrize("text", DRESSED)
def test_any_text_as_a_name_is_kept_or_refused(service: Service, text: str) -> None:
    found = service.ask("POST", "/api/v1/people", role="administrator", json={"name": text})
    assert found.status_code in (201, 422), found.text
    token = service.ask("POST", "/api/v1/tokens", role="asker", json={"title": text})
    assert token.status_code in (201, 422), token.text


@pytest.mark.parametrize("name", ["x.toml", "/etc/passwd.toml", "..\\x.toml", " /a.TOML ", "a/b"])
def test_no_name_of_a_machine_reads_a_file_of_the_server(asked: Service, name: str) -> None:
    for path, content in (("check", JOB | {"machines": [name]}),
                          ("lengths", JOB | {"machines": [name]}),
                          ("sheet", JOB | {"machines": [name]})):  # fmt: skip
        found = asked.ask("POST", f"/api/v1/{path}", role="asker", json=content)
        assert found.json()["code"] == "machine-unknown"
    for query in ({"machine": name}, {"machine": "rowan-150", "against": name}):
        found = asked.ask("GET", "/api/v1/chart", role="asker", params=query)
        assert found.json()["code"] == "machine-unknown"
    found = asked.ask("POST", "/api/v1/backlogs", role="asker", content=b"a,b\n",
                      params={"name": "a.csv", "machine": name},
                      headers={"Content-Type": "text/csv"})  # fmt: skip
    assert found.json()["code"] == "machine-unknown"


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"[]", b"null", b'"x"', b"1e999", b"\xff\xfe", b'{"section": 1}',
     b'{"section": "x"}', b'{"section": "\\ud800", "length": "1 m"}', b"[" * 100_000,
     b'{"section": "a", "length": "b", "unknown": 1}',
     b'{"section": "a", "length": "b", "parts": ' + json.dumps(["x"] * 201).encode() + b"}"],
)  # fmt: skip
def test_a_question_that_is_none_is_told_where(asked: Service, content: bytes) -> None:
    found = asked.ask("POST", "/api/v1/check", role="asker", content=content,
                      headers={"Content-Type": "application/json"})  # fmt: skip
    assert found.status_code == 422
    told = found.json()
    assert told["code"] == "request-unreadable"
    assert all(item["what"] for item in told["problems"])


@pytest.mark.parametrize(
    "kind", ["", "text/plain", "text/xml", "application/x-www-form-urlencoded",
             "multipart/form-data; boundary=x", "application/octet-stream", "nonsense"],
)  # fmt: skip
def test_content_of_another_kind_is_not_taken(asked: Service, kind: str) -> None:
    headers = {"Content-Type": kind} if kind else {}
    found = asked.ask("POST", "/api/v1/check", role="asker", content=json.dumps(JOB),
                      headers=headers)  # fmt: skip
    assert (found.status_code, found.json()["code"]) == (415, "kind-wrong")
    form = asked.ask("POST", "/sign-in", content=b"{}",
                     headers={"Content-Type": "application/json"})  # fmt: skip
    assert form.status_code == 415


@pytest.mark.parametrize("kind", ["multipart/form-data; boundary=x", "application/json",
                                  "application/x-www-form-urlencoded"])  # fmt: skip
def test_a_form_is_no_backlog(asked: Service, kind: str) -> None:
    found = asked.ask("POST", "/api/v1/backlogs?name=x.csv", role="asker", content=b"x",
                      headers={"Content-Type": kind})  # fmt: skip
    assert found.status_code == 415


def test_too_much_is_refused_before_and_while_it_comes(made: Made) -> None:
    with made(most_body=2000, most_upload=5000) as service:
        long = JOB | {"section": "x" * 3000}
        found = service.ask("POST", "/api/v1/check", role="asker", json=long)
        assert (found.status_code, found.json()["code"]) == (413, "too-large")

        async def pieces() -> Any:
            for _ in range(100):
                yield b"x" * 100

        for path in ("/api/v1/check", "/api/v1/tokens", "/api/v1/backlogs?name=a.csv"):
            kind = "text/csv" if "backlogs" in path else "application/json"
            found = service.ask("POST", path, role="asker", content=pieces(),
                                headers={"Content-Type": kind})  # fmt: skip
            assert (found.status_code, found.json()["code"]) == (413, "too-large"), path
        assert not list((service.settings.data / "backlogs").iterdir())
        found = service.ask("POST", "/api/v1/check", role="asker", json=JOB,
                            headers={"Content-Length": "many"})  # fmt: skip
        assert found.status_code == 413


def test_who_asks_too_often_waits_and_nobody_else(made: Made) -> None:
    with made(rate=20) as service:
        statuses = [service.ask("GET", "/health/live").status_code for _ in range(25)]
        assert statuses[:20] == [200] * 20
        assert statuses[-1] == 429
        found = service.ask("GET", "/health/live")
        assert found.headers["retry-after"]
        assert found.json()["code"] == "too-many"
        assert service.ask("GET", "/health/live", client="192.0.2.9").status_code == 200
        # One customer has a whole network of addresses of the new kind.
        for number in range(20):
            service.ask("GET", "/health/live", client=f"2001:db8:1:2::{number:x}")
        assert service.ask("GET", "/health/live", client="2001:db8:1:2::ff").status_code == 429


def test_every_answer_has_an_id_and_safe_headers(asked: Service) -> None:
    for path in ("/health/live", "/api/v1/me", "/api/v1/nothing", "/nothing"):
        found = asked.ask("GET", path, headers={"X-Request-Id": "abcdef-123456"})
        assert found.headers["x-request-id"] == "abcdef-123456"
        assert "default-src 'none'" in found.headers["content-security-policy"]
        assert "'unsafe" not in found.headers["content-security-policy"]
        assert found.headers["cache-control"]
        assert found.headers["cross-origin-opener-policy"] == "same-origin"
        assert "server" not in found.headers
        assert "access-control-allow-origin" not in found.headers
    for given in ("x", "a b c d e f g h", "<script>", "a" * 65, "ä" * 10):
        found = asked.ask("GET", "/health/live", headers={"X-Request-Id": given.encode()})  # type: ignore[dict-item]
        assert found.headers["x-request-id"] != given


@pytest.mark.parametrize("method", ["TRACE", "CONNECT", "PUT", "OPTIONS", "FOO"])
def test_other_methods_are_not_taken(asked: Service, method: str) -> None:
    found = asked.ask(method, "/api/v1/check")
    assert (found.status_code, found.json()["code"]) == (405, "method-wrong")


@pytest.mark.parametrize("path", ["/api/v1/../../etc/passwd", "/static/../app.py",
                                  "/static/%2e%2e/app.py", "/static/..%2fapp.py", "//etc/passwd",
                                  "/api/v1//check", "/%00", "/api/v1/check/"])  # fmt: skip
def test_no_path_leads_out(asked: Service, path: str) -> None:
    found = asked.ask("GET", path)
    assert found.status_code in (401, 404, 405)
    assert b"def create_app" not in found.content


@pytest.mark.parametrize("code", sorted(ERROR_CODES))
def test_every_code_is_told_in_one_shape(code: str) -> None:
    made = Told(code, "what is wrong", "where", "what to do", ("one", "two"), ("a", "b"))
    found = made.response("/api/v1/x")
    told = json.loads(bytes(found.body))
    assert found.media_type == "application/problem+json"
    assert told == {
        "type": f"urn:cuttable:error:{code}", "title": ERROR_CODES[code],
        "status": found.status_code, "detail": "what is wrong", "code": code,
        "instance": "/api/v1/x", "where": "where", "remedy": "what to do",
        "problems": ["one", "two"], "choices": ["a", "b"],
    }  # fmt: skip
    assert status_of(code) == found.status_code
    assert 400 <= found.status_code < 600


def test_a_fault_of_the_tool_tells_nothing_from_within(
    service: Service, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    from cuttable.service.api import asking

    def broken(*_: object) -> None:
        message = "the secret of /srv/place"
        raise RuntimeError(message)

    monkeypatch.setattr(asking, "answered", broken)
    found = service.ask("POST", "/api/v1/check", role="asker", json=JOB)
    assert (found.status_code, found.json()["code"]) == (500, "internal-fault")
    assert "secret" not in found.text
    assert found.headers["x-request-id"] in caplog.text
    assert "the secret of /srv/place" in caplog.text


def test_without_its_ledger_a_service_says_so(service: Service) -> None:
    assert service.ask("GET", "/health/ready").status_code == 200
    service.settings.place.path.rename(service.settings.place.path.with_suffix(".away"))
    found = service.ask("GET", "/health/ready", client="192.0.2.9")
    assert (found.status_code, found.json()["code"]) == (503, "ledger-missing")
    assert str(service.settings.place.path) not in found.text
    assert service.ask("GET", "/health/live").status_code == 200


# --- slow and many, over real connections ---------------------------------------------------


@pytest.fixture
def port(tmp_path: Path, template: Template, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A real server with little patience."""
    from cuttable.catalogue.ledger.location import Location
    from cuttable.service import serving

    def quick(**numbers: Any) -> type[connection.Connection]:
        short = {"head_seconds": 0.5, "body_seconds": 1.5, "read_seconds": 0.5, "most_of_one": 30}
        return connections(**(numbers | short))

    monkeypatch.setattr(serving, "connections", quick)
    monkeypatch.setattr(serving, "KEEP_ALIVE", 1)
    place = Location("sqlite", str(template.copied(tmp_path)))
    with server_over(Settings(place, tmp_path / "data", patience=0.5, rate=100_000)) as found:
        yield found


def until_closed(sent: socket.socket) -> bytes:
    """Return what comes until the other end hangs up."""
    came = b""
    sent.settimeout(20)
    try:
        while piece := sent.recv(65_536):
            came += piece
    except ConnectionResetError:
        pass
    return came


@pytest.mark.parametrize("begun", [b"", b"GET / HT", b"GET /health/live HTTP/1.1\r\nHost: x\r\n"])
def test_a_request_that_never_comes_ends(port: int, begun: bytes) -> None:
    with connected(port) as slow:
        slow.sendall(begun)
        assert until_closed(slow) == b""


def test_a_head_that_comes_byte_by_byte_ends(port: int) -> None:
    with connected(port) as slow:
        waited(lambda: _takes_more(slow), lambda takes: not takes, 20)


def test_a_second_request_on_a_connection_is_bounded_too(port: int) -> None:
    with connected(port) as slow:
        slow.sendall(b"GET /health/live HTTP/1.1\r\nHost: x\r\n\r\n")
        came = b""
        while not came.endswith(b"}"):
            came += slow.recv(65_536)
        assert came.startswith(b"HTTP/1.1 200")
        slow.sendall(b"GET /health/li")
        assert until_closed(slow) == b""


HEAD = (b"POST /api/v1/check HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
        b"Content-Length: 1000\r\nAuthorization: Bearer %s\r\n\r\n")  # fmt: skip


def test_a_body_that_comes_too_slowly_is_told_so(port: int, template: Template) -> None:
    with connected(port) as slow:
        slow.sendall(HEAD % template.tokens["asker"].encode() + b"{")
        came = until_closed(slow)
    assert came.startswith(b"HTTP/1.1 408")
    assert b"too-slow" in came


def test_a_body_that_nobody_reads_does_not_hold_the_connection(port: int) -> None:
    with connected(port) as slow:
        slow.sendall(HEAD % b"none")
        stop = threading.Event()

        def drip() -> None:
            while not stop.wait(0.2):
                try:
                    slow.sendall(b" ")
                except OSError:
                    return

        thread = threading.Thread(target=drip)
        thread.start()
        came = until_closed(slow)
        stop.set()
        thread.join()
    assert came.startswith(b"HTTP/1.1 401")


def test_a_reader_who_does_not_read_is_let_go(port: int, template: Template) -> None:
    ask = (f"GET /api/v1/sections?count=500 HTTP/1.1\r\nHost: x\r\n"
           f"Authorization: Bearer {template.tokens['asker']}\r\n\r\n").encode()  # fmt: skip
    with connected(port) as lazy:
        lazy.sendall(ask * 100)
        waited(lambda: _takes_more(lazy), lambda takes: not takes)


def _takes_more(sent: socket.socket) -> bool:
    try:
        sent.sendall(b"G")
    except OSError:
        return False
    return True


def test_one_address_does_not_take_all_connections(port: int) -> None:
    many = [connected(port) for _ in range(40)]
    try:
        waited(lambda: sum(_is_closed(item) for item in many), lambda closed: closed >= 10)
    finally:
        for item in many:
            item.close()
    waited(lambda: _is_alive(port), bool)


def _is_closed(sent: socket.socket) -> bool:
    sent.settimeout(0.001)
    try:
        return sent.recv(1) == b""
    except (TimeoutError, BlockingIOError):
        return False
    except OSError:
        return True


def _is_alive(port: int) -> bool:
    try:
        return httpx.get(f"http://{HERE}:{port}/health/live", timeout=5).status_code == 200
    except httpx.HTTPError:
        return False


def test_slow_clients_keep_nobody_out_for_long(port: int) -> None:
    slow = [connected(port) for _ in range(29)]
    for item in slow:
        item.sendall(b"GET / HTTP/1.1\r\n")
    assert _is_alive(port)
    waited(lambda: all(_is_closed(item) for item in slow), bool, 20)
    for item in slow:
        item.close()


@pytest.mark.parametrize(
    "sent",
    [b"nonsense\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n", b"\x16\x03\x01\x00\xa5\x01",
     b"GET / HTTP/1.1\r\nHost: a\r\nContent-Length: 1\r\nTransfer-Encoding: chunked\r\n\r\n",
     b"GET / HTTP/1.1\r\nHost: a\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\n",
     b"GET /" + b"a" * 100_000, b"GET / HTTP/1.1\r\nX: " + b"a" * 100_000,
     b"GET / HTTP/1.1\r\nHost : a\r\n\r\n"],
)  # fmt: skip
def test_what_is_no_request_is_refused(port: int, sent: bytes) -> None:
    with connected(port) as other:
        other.sendall(sent)
        came = until_closed(other)
    assert came == b"" or came.split()[1] in (b"400", b"404", b"401"), came[:100]
    assert _is_alive(port)
