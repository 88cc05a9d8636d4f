"""``cuttable serve`` as somebody starts it: first account, quiet end, and what it refuses."""

import contextlib
import json
import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from service_workshop import CSV, PATIENCE, Template, bound, waited

ENTRY = "from cuttable.cli.main import run; run()"


class Started:
    """A service in a process of its own."""

    def __init__(self, home: Path, *words: str) -> None:
        self.said, self.log = home / "said", home / "log"
        with self.said.open("wb") as said, self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-P", "-u", "-c", ENTRY, "serve", "--port", "0", *words],
                env=environment(home), stdout=said, stderr=log, cwd=home,
            )  # fmt: skip
        text = waited(self.text, lambda told: "Serving" in told or self.process.poll() is not None)
        found = re.search(r"http://127\.0\.0\.1:(\d+)/", text)
        assert found, self.log.read_text()
        self.root = f"http://127.0.0.1:{found[1]}"
        waited(self.is_up, bool)

    def text(self) -> str:
        """What it said."""
        return self.said.read_text()

    def is_up(self) -> bool:
        """Whether it answers."""
        with contextlib.suppress(httpx.HTTPError):
            return httpx.get(f"{self.root}/health/ready", timeout=10).status_code == 200
        return False

    def lines(self) -> list[dict[str, object]]:
        """What it logged."""
        return [json.loads(line) for line in self.log.read_text().splitlines()
                if line.startswith("{")]  # fmt: skip

    def end(self, number: int = signal.SIGTERM) -> int:
        """Tell it to end and return how it did."""
        self.process.send_signal(number)
        return self.process.wait(PATIENCE)


def environment(home: Path) -> dict[str, str]:
    """Return an environment in which a person has nothing yet."""
    known = {name: value for name, value in os.environ.items() if name != "CUTTABLE_LEDGER"}
    return known | {"XDG_DATA_HOME": str(home), "HOME": str(home)}


@contextlib.contextmanager
def started(home: Path, *words: str) -> Iterator[Started]:
    """Give a service that is started, and see that it is gone afterwards."""
    found = Started(home, *words)
    try:
        yield found
    finally:
        if found.process.poll() is None:
            found.process.kill()
            found.process.wait(30)


def test_the_first_start_makes_a_ledger_and_an_account_with_a_password_once(tmp_path: Path) -> None:
    with started(tmp_path) as first:
        password = re.search(r"Administrator, one-time password (\S+)", first.text())
        assert password is not None
        assert len(password[1]) >= 12
        assert httpx.get(f"{first.root}/api/v1/me").status_code == 401
        assert first.end() == 0
        assert password[1] not in first.log.read_text()
    with started(tmp_path) as again:
        assert "password" not in again.text()
        assert again.end(signal.SIGINT) == 0
    assert (tmp_path / "cuttable/service").stat().st_mode & 0o077 == 0


def test_what_it_logs_is_json_with_the_id_of_each_request(tmp_path: Path) -> None:
    with started(tmp_path, "--open") as service:
        answer = httpx.get(f"{service.root}/api/v1/machines?secret=x")
        assert answer.status_code == 200
        assert service.end() == 0
        line = next(item for item in service.lines() if item.get("path") == "/api/v1/machines")
    assert line["request"] == answer.headers["x-request-id"]
    assert (line["method"], line["status"], line["from"]) == ("GET", 200, "127.0.0.1")
    assert "secret" not in json.dumps(line)


def test_a_backlog_goes_on_after_the_service_was_killed(tmp_path: Path, template: Template) -> None:
    big = CSV + b"D,NPS 4 STD,6 m\n" * 400_000
    head = {"Authorization": f"Bearer {template.tokens['asker']}", "Content-Type": "text/csv"}
    words = ("--ledger", str(template.copied(tmp_path)), "--data", str(tmp_path / "data"))
    with started(tmp_path, *words) as first:
        sent = httpx.post(f"{first.root}/api/v1/backlogs?name=a.csv", content=big, headers=head)
        path = f"/api/v1/backlogs/{sent.json()['id']}"
        waited(lambda: httpx.get(first.root + path, headers=head).json(),
               lambda item: item["rows"] > 0)  # fmt: skip
        first.process.kill()
        first.process.wait(30)
    with started(tmp_path, *words) as again:
        done = waited(lambda: httpx.get(again.root + path, headers=head).json(),
                      lambda item: item["state"] not in ("running", "waiting"))  # fmt: skip
        assert done["state"] == "done"
        assert done["rows"] == 400_003
        assert again.end() == 0


def refused(home: Path, *words: str) -> str:
    """Return what is said of a start that is refused."""
    done = subprocess.run(
        [sys.executable, "-c", ENTRY, "serve", *words], env=environment(home), cwd=home,
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 2, done.stdout
    return done.stderr


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--open", "--host", "0.0.0.0"), "address-unusable"),  # noqa: S104
        (("--open", "--host", "example.invalid"), "address-unusable"),
        (("--open", "--proxy-header", "X-User", "--trusted-proxy", "10.0.0.1"), "option-needs"),
        (("--proxy-header", "X-User"), "option-needs"),
        (("--trusted-proxy", "proxy.example"), "address-unusable"),
        (("--host", "192.0.2.1"), "address-unusable"),
        (("--ledger", "missing.db"), "ledger-missing"),
        (("--ledger", "none"), "ledger-missing"),
        (("--one-time-password", "Nobody"), "account-unknown"),
    ],
)
def test_a_start_that_cannot_be(tmp_path: Path, words: tuple[str, ...], code: str) -> None:
    assert f"[{code}]" in refused(tmp_path, *words)


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    with contextlib.closing(bound("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        assert "[address-unusable]" in refused(tmp_path, "--port", str(port))


def test_a_lost_password_is_replaced_on_the_machine(tmp_path: Path, template: Template) -> None:
    done = subprocess.run(
        [sys.executable, "-c", ENTRY, "serve", "--ledger", str(template.copied(tmp_path)),
         "--one-time-password", "adm"],
        env=environment(tmp_path), capture_output=True, text=True, timeout=PATIENCE, check=True,
    )  # fmt: skip
    assert re.fullmatch(r"One-time password of adm: \S{12,}\n", done.stdout)


def test_without_its_packages_it_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from cuttable.catalogue.errors import InputError
    from cuttable.cli import serve

    def missing(name: str) -> None:
        raise ModuleNotFoundError(name=name)

    monkeypatch.setattr(serve, "import_module", missing)
    with pytest.raises(InputError, match=r"pip install 'cuttable\[service\]'"):
        serve.check_installed()


def test_connections_can_be_made_in_the_newer_form_of_addresses() -> None:
    if not socket.has_ipv6:
        pytest.skip("this machine has no addresses of this form")
    with contextlib.closing(bound("::1", 0)) as made:
        assert made.family == socket.AF_INET6
