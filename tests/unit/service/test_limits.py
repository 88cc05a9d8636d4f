"""Limits over HTTP: a draft, its impact, its approval by another person, and two at once."""

import json
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from service_workshop import CSV, JOB, Service, waited


def drafted(service: Service, role: str = "engineer") -> str:
    """Draft a lower limit of mass and return its path."""
    made = service.api("POST", "/revisions", role,
                       json={"document": "rowan-150", "reason": "drive tuned anew"})  # fmt: skip
    path = f"/revisions/rowan-150/{made['number']}"
    text = service.api("GET", path, role)["files"]["rowan-150.toml"]
    assert '"280 kg"' in text
    lower = text.replace('"280 kg"', '"90 kg"', 1)
    service.api("PATCH", path, role, json={"file": lower})
    return path


def attached(service: Service, path: str, **asked: object) -> Any:
    """Work out the impact of a draft and return how it ended."""
    made = service.api("POST", f"{path}/impact", "engineer", json=asked)
    assert made["kind"] == "impact"
    return service.ended(made["id"])


def test_a_draft_is_compared_submitted_and_approved_by_another_person(service: Service) -> None:
    backlog = sent_by_engineer(service)
    path = drafted(service)
    done = attached(service, path, backlog=backlog)
    assert done["state"] == "done", done
    assert done["impact"]["totals"]["changed"] > 0
    assert done["impact"]["about"]["draft"] == "rowan-150/2"
    assert done["summary"]["headline"]
    report = service.api("GET", path, "engineer")["report"]
    assert report == done["impact"]
    page = service.ask("GET", f"/api/v1/backlogs/{done['id']}/report", role="engineer")
    assert page.headers["content-type"].startswith("text/html")
    assert "sandbox" in page.headers["content-security-policy"]
    service.api("POST", f"{path}/submit", "engineer", json={})
    own = service.ask("POST", f"/api/v1{path}/approve", role="engineer", json={})
    assert own.status_code == 403
    approved = service.api("POST", f"{path}/approve", "approver", json={})
    assert (approved["state"], approved["approver"]) == ("approved", "App")
    answer = service.api("POST", "/check", "asker", json=JOB)
    assert answer["verdicts"][0]["machine"]["revision"] == 2
    history = service.api("GET", "/documents/rowan-150/history", "asker")
    assert [item["action"] for item in history["journal"]][-3:] == ["impact", "submit", "approve"]
    assert {item["who"] for item in history["journal"]} >= {"Eng", "App"}


def sent_by_engineer(service: Service) -> str:
    """Send a backlog as the engineer and return its id once it is answered."""
    found = service.ask("POST", "/api/v1/backlogs?name=orders.csv", role="engineer", content=CSV,
                        headers={"Content-Type": "text/csv"})  # fmt: skip
    service.ended(found.json()["id"])
    return str(found.json()["id"])


def test_the_impact_over_answers_kept(service: Service) -> None:
    path = drafted(service)
    nothing = attached(service, path, answers=True)
    assert (nothing["state"], nothing["fault"]["code"]) == ("failed", "answer-unknown")
    kept = service.ask("POST", "/api/v1/check", role="asker", json=JOB | {"keep": True})
    assert kept.headers["location"] == "/api/v1/answers/1"
    done = attached(service, path, answers=True, units="us")
    assert done["state"] == "done"
    assert done["impact"]["totals"]["jobs"] == 1
    assert service.api("GET", path, "engineer")["report"]["about"]["draft"] == "rowan-150/2"


def test_an_impact_keeps_its_jobs_when_the_backlog_is_forgotten(service: Service) -> None:
    backlog = sent_by_engineer(service)
    path = drafted(service)
    made = service.api("POST", f"{path}/impact", "engineer", json={"backlog": backlog})
    service.api("DELETE", f"/backlogs/{backlog}", "engineer")
    assert service.ended(made["id"])["state"] == "done"


def test_an_impact_has_no_answers(service: Service) -> None:
    backlog = sent_by_engineer(service)
    done = attached(service, drafted(service), backlog=backlog)
    for part in ("answers", "file"):
        found = service.ask("GET", f"/api/v1/backlogs/{done['id']}/{part}", role="engineer")
        assert found.json()["code"] == "page-unknown"
    again = service.ask("POST", "/api/v1/revisions/rowan-150/2/impact", role="engineer",
                        json={"backlog": done["id"]})  # fmt: skip
    assert again.json()["code"] == "backlog-unknown"


@pytest.mark.parametrize(
    ("asked", "code"),
    [({}, "option-needs"), ({"answers": True, "backlog": "0" * 16}, "option-needs"),
     ({"backlog": "0" * 16}, "backlog-unknown"), ({"backlog": "../.."}, "backlog-unknown"),
     ({"answers": True, "extra": 1}, "request-unreadable"),
     ({"answers": True, "units": "cubits"}, "request-unreadable")],
)  # fmt: skip
def test_an_impact_that_cannot_be(service: Service, asked: dict[str, object], code: str) -> None:
    path = drafted(service)
    found = service.ask("POST", f"/api/v1{path}/impact", role="engineer", json=asked)
    assert found.json()["code"] == code


def test_no_impact_of_what_is_approved_or_of_somebody_elses_backlog(service: Service) -> None:
    found = service.ask("POST", "/api/v1/revisions/rowan-150/1/impact", role="engineer",
                        json={"answers": True})  # fmt: skip
    assert (found.status_code, found.json()["code"]) == (409, "revision-state")
    other = service.sent()
    path = drafted(service)
    found = service.ask("POST", f"/api/v1{path}/impact", role="engineer", json={"backlog": other})
    assert found.json()["code"] == "backlog-unknown"


def test_an_impact_is_not_attached_for_who_may_not_draft_any_more(service: Service) -> None:
    big = b"job,section,length\n" + b"a,NPS 4 STD,6 m\n" * 300_000
    found = service.ask("POST", "/api/v1/backlogs?name=big.csv", role="administrator", content=big,
                        headers={"Content-Type": "text/csv"})  # fmt: skip
    backlog = found.json()["id"]
    path = drafted(service)
    waited(lambda: service.api("GET", f"/backlogs/{backlog}"), lambda item: item["rows"] > 0)
    service.api("PATCH", "/people/Eng", json={"role": "administrator"})
    made = service.api("POST", f"{path}/impact", "engineer", json={"answers": True})
    service.ask("POST", "/api/v1/check", role="asker", json=JOB | {"keep": True})
    service.api("PATCH", "/people/Eng", json={"role": "asker"})
    service.api("DELETE", f"/backlogs/{backlog}")
    done = service.ended(made["id"])
    assert (done["state"], done["fault"]["code"]) == ("failed", "not-allowed")
    assert service.api("GET", path)["report"] is None


def test_two_approvals_at_once_do_not_both_win(service: Service) -> None:
    path = drafted(service)
    service.api("POST", f"{path}/submit", "engineer", json={})

    def approve(role: str) -> Any:
        return service.ask("POST", f"/api/v1{path}/approve", role=role,
                           json={"without_impact": "tried in both shifts"})  # fmt: skip

    with ThreadPoolExecutor(8) as threads:
        found = list(threads.map(approve, ["approver", "administrator"] * 4))
    assert sorted(item.status_code for item in found) == [200] + [409] * 7
    assert {item.json()["code"] for item in found if item.is_error} == {"revision-state"}


def test_a_revision_is_given_back_withdrawn_or_revoked(service: Service) -> None:
    path = drafted(service)
    service.api("POST", f"{path}/submit", "engineer", json={})
    back = service.ask("POST", f"/api/v1{path}/return", role="approver", json={})
    assert back.json()["code"] == "reason-missing"
    assert service.api("POST", f"{path}/return", "approver", json={"reason": "too low"})[
        "state"] == "draft"  # fmt: skip
    service.api("POST", f"{path}/submit", "engineer", json={"effective": "2099-01-01"})
    service.api("POST", f"{path}/approve", "approver", json={"without_impact": "x"})
    gone = service.api("POST", f"{path}/revoke", "approver", json={"reason": "not needed"})
    assert gone["state"] == "revoked"
    other = drafted(service)
    assert service.api("POST", f"{other}/withdraw", "engineer", json={})["state"] == "withdrawn"


def test_a_draft_that_is_no_machine_is_told_with_every_problem(service: Service) -> None:
    path = drafted(service)
    service.api("PATCH", path, "engineer", json={"file": "code = 'rowan-150'\nnonsense = 1\n"})
    found = service.ask("POST", f"/api/v1{path}/submit", role="engineer", json={})
    assert found.status_code == 422
    assert len(found.json()["problems"]) > 1
    assert "/" + "work" not in found.text


def test_lists_tell_that_nothing_has_changed(service: Service) -> None:
    for path in ("/machines", "/rules", "/sections", "/grades", "/documents"):
        first = service.ask("GET", f"/api/v1{path}?count=3", role="asker")
        tag = first.headers["etag"]
        same = service.ask("GET", f"/api/v1{path}?count=3", role="asker",
                           headers={"If-None-Match": f'"other", {tag}'})  # fmt: skip
        assert (same.status_code, same.content) == (304, b"")
        assert same.headers["etag"] == tag
    path = drafted(service)
    service.api("POST", f"{path}/submit", "engineer", json={})
    tag = service.ask("GET", "/api/v1/machines", role="asker").headers["etag"]
    service.api("POST", f"{path}/approve", "approver", json={"without_impact": "x"})
    found = service.ask("GET", "/api/v1/machines", role="asker", headers={"If-None-Match": tag})
    assert found.status_code == 200


@pytest.mark.parametrize("path", ["/rules", "/sections", "/machines", "/grades", "/documents"])
def test_pages_of_a_list_make_the_whole(asked: Service, path: str) -> None:
    whole: list[Any] = []
    following: str | None = f"/api/v1{path}?count={7 if path != '/sections' else 400}"
    while following is not None:
        part = asked.ask("GET", following, role="asker").json()
        assert part["first"] == len(whole)
        whole += part["items"]
        following = part.get("next")
    assert len(whole) == part["total"]
    assert len({json.dumps(item) for item in whole}) == len(whole)


@pytest.mark.parametrize("query", ["first=-1", "count=0", "count=501", "first=x", "count=1e9",
                                   "first=99999999999999999999"])  # fmt: skip
def test_a_page_that_is_none_is_refused(asked: Service, query: str) -> None:
    found = asked.ask("GET", f"/api/v1/rules?{query}", role="asker")
    assert (found.status_code, found.json()["code"]) == (422, "request-unreadable")


def test_answers_kept_are_given_again_and_as_of_today(service: Service) -> None:
    given = service.ask("POST", "/api/v1/check", role="asker", json=JOB | {"keep": True})
    assert service.ask("GET", "/api/v1/answers/1/text", role="asker").content == given.content
    assert service.api("GET", "/answers/1/again", "asker")["is_same"] is True
    verdict = given.json()["verdicts"][0]["id"]
    assert service.api("GET", f"/answers/{verdict}", "asker")["answer"] == 1
    path = drafted(service)
    service.api("POST", f"{path}/submit", "engineer", json={})
    service.api("POST", f"{path}/approve", "approver", json={"without_impact": "x"})
    today = service.api("GET", "/answers/1/today", "asker")
    assert today["is_same"] is False
    assert today["before"] != today["after"]
    assert service.api("GET", "/answers/1/again", "asker")["is_same"] is True
    assert service.api("GET", "/answers", "asker")["items"][0]["asker"] == "Ask"


def test_answers_kept_are_listed_in_parts(service: Service) -> None:
    for feet in range(5, 12):
        service.api("POST", "/check", "asker", json=JOB | {"length": f"{feet} ft", "keep": True})
    first = service.api("GET", "/answers", "asker", params={"count": 3})
    assert (first["total"], [item["answer"] for item in first["items"]]) == (7, [7, 6, 5])
    last = service.api("GET", "/answers", "asker", params={"first": 6, "count": 3})
    assert ([item["answer"] for item in last["items"]], "next" in last) == ([1], False)


def test_limits_as_they_were(service: Service) -> None:
    path = drafted(service)
    service.api("POST", f"{path}/submit", "engineer", json={})
    made = service.api("POST", f"{path}/approve", "approver", json={"without_impact": "x"})
    now = service.api("GET", "/machines/rowan-150", "asker")
    before = service.api("GET", "/machines/rowan-150", "asker",
                         params={"as_of": made["drafted"]})  # fmt: skip
    assert (before["revision"], now["revision"]) == (1, 2)
