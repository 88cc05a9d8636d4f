"""The service over a ledger in PostgreSQL: the same answers, the same steps."""

import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from cuttable.catalogue.ledger.creation import make_ledger
from cuttable.cli.context import brought_here
from cuttable.service.settings import Settings
from service_workshop import CSV, JOB, Service, Template, add_people, running, service_of

sys.path.insert(0, str(Path(__file__).parents[1] / "ledger"))

from ledger_workshop import PostgresDatabases, postgres_server


@pytest.fixture(scope="module")
def team(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service over a ledger in PostgreSQL."""
    folder = tmp_path_factory.mktemp("team")
    with postgres_server() as uri:
        place = PostgresDatabases(uri).empty()
        ledger = make_ledger(place, "Ada", brought_here())
        tokens = add_people(ledger)
        ledger.close()
        with running(Service(Settings(place, folder), tokens)) as found:
            yield found
    shutil.rmtree(folder)


def test_answers_are_the_same_as_of_a_file(team: Service, asked: Service) -> None:
    first, second = (
        item.ask("POST", "/api/v1/check", role="asker", json=JOB).content for item in (team, asked)
    )
    assert first == second


def test_limits_are_drafted_compared_and_approved(team: Service) -> None:
    sent = team.ask("POST", "/api/v1/backlogs?name=a.csv", role="engineer", content=CSV,
                    headers={"Content-Type": "text/csv"}).json()["id"]  # fmt: skip
    assert team.ended(sent)["state"] == "done"
    made = team.api("POST", "/revisions", "engineer",
                    json={"document": "rowan-150", "reason": "drive"})  # fmt: skip
    path = f"/revisions/rowan-150/{made['number']}"
    text = team.api("GET", path)["files"]["rowan-150.toml"].replace('"280 kg"', '"90 kg"', 1)
    team.api("PATCH", path, "engineer", json={"file": text})
    impact = team.api("POST", f"{path}/impact", "engineer", json={"backlog": sent})
    assert team.ended(impact["id"])["state"] == "done"
    team.api("POST", f"{path}/submit", "engineer", json={})
    assert team.api("POST", f"{path}/approve", "approver", json={})["state"] == "approved"
    answer = team.api("POST", "/check", "asker", json=JOB)
    assert answer["verdicts"][0]["machine"]["revision"] == 2


def test_the_password_of_the_database_is_in_no_file_of_a_backlog(team: Service) -> None:
    name = team.sent()
    team.ended(name)
    folder = team.settings.data / "backlogs" / name
    for path in folder.iterdir():
        assert b"postgresql" not in path.read_bytes(), path.name


def test_text_that_the_database_cannot_hold_is_refused(team: Service) -> None:
    for method, path, content in (
        ("POST", "/api/v1/revisions", {"document": "rowan-150", "reason": "a\x00b"}),
        ("POST", "/api/v1/people", {"name": "a\x00b"}),
        ("POST", "/api/v1/tokens", {"title": "a\x00b"}),
        ("POST", "/api/v1/check", JOB | {"section": "NPS 4\x00SCH 40", "keep": True}),
        ("GET", "/api/v1/answers/a%00b", None),
        ("GET", "/api/v1/documents/a%00b/history", None),
        ("DELETE", "/api/v1/tokens/a%00b", None),
        ("PATCH", "/api/v1/people/a%00b", {"closed": True}),
    ):  # fmt: skip
        found = team.ask(method, path, role="administrator", json=content)
        assert found.status_code in (200, 201, 404, 422), (path, found.text)


def test_a_file_and_a_server_have_the_same_first_release(
    team: Service, tmp_path: Path, template: Template
) -> None:
    with service_of(tmp_path, template) as other:
        mine, theirs = (
            [(item["document"], item["content"]) for item in
             service.api("GET", "/documents", "asker")["items"] if item["number"] == 1]
            for service in (team, other)
        )  # fmt: skip
    assert set(mine) <= set(theirs)
