"""Answers about limits are what the description of the API says they are, key by key."""

import re
from typing import Any, Final

import jsonschema
from service_workshop import CSV, JOB, Service


def schema_of(service: Service, method: str, path: str, status: str) -> dict[str, Any]:
    """Return the schema of an answer as the API describes it, with what it refers to."""
    found = service.ask("GET", "/api/v1/openapi.json").json()
    answer = found["paths"][f"/api/v1{path}"][method]["responses"][status]
    return {**answer["content"]["application/json"]["schema"], "components": found["components"]}


def test_a_machine_is_described_to_the_last_number(service: Service) -> None:
    """Every limit with its basis; a client knows the names before it asks."""
    schema = schema_of(service, "get", "/machines/{code}", "200")
    machine = schema["components"]["schemas"]["Machine"]
    assert machine["additionalProperties"] is False
    assert {"schema", "code", "limits", "wall", "chuck", "supports"} <= set(machine["required"])
    for item in service.api("GET", "/machines", "asker")["items"]:
        answer = service.api("GET", f"/machines/{item['model']}", "asker")
        jsonschema.validate(answer, schema)
        del answer["limits"]["stock_mass"]["basis"]
        assert list(jsonschema.Draft202012Validator(schema).iter_errors(answer))


def test_a_step_of_a_revision_is_described(service: Service) -> None:
    """Drafted, edited and withdrawn: one description of how a revision stands."""
    begun = schema_of(service, "post", "/revisions", "201")
    made = service.api("POST", "/revisions", "engineer",
                       json={"document": "larch-610", "reason": "described"})  # fmt: skip
    jsonschema.validate(made, begun)
    path = f"/revisions/larch-610/{made['number']}"
    edited = service.api("PATCH", path, "engineer", json={"reason": "told better"})
    jsonschema.validate(
        edited, schema_of(service, "patch", "/revisions/{document}/{number}", "200")
    )
    answer = service.api("POST", f"{path}/withdraw", "engineer", json={"reason": "described"})
    jsonschema.validate(
        answer, schema_of(service, "post", "/revisions/{document}/{number}/withdraw", "200")
    )
    assert (answer["ref"], answer["state"]) == (f"larch-610/{made['number']}", "withdrawn")


NO_JSON: Final = {
    "POST /sheet", "GET /chart", "GET /backlogs/{name}/file", "GET /backlogs/{name}/report",
    "DELETE /backlogs/{name}", "DELETE /tokens/{token}",
}  # fmt: skip
"""Routes that answer with a drawing, a page, a file or nothing."""


class Checked:
    """Asks a service and checks each answer by what the description says of its route."""

    def __init__(self, service: Service) -> None:
        self.service = service
        self.description = service.ask("GET", "/api/v1/openapi.json").json()
        self.paths = {path.removeprefix("/api/v1"): methods
                      for path, methods in self.description["paths"].items()}  # fmt: skip
        self.asked: set[str] = set()

    def api(self, method: str, path: str, role: str = "administrator", **more: Any) -> Any:
        """Ask the API; the answer is as described, or the test fails."""
        answer = self.service.api(method, path, role, **more)
        bare = path.partition("?")[0]
        # The route with the fewest names to be filled in is the one that is meant.
        route = min((one for one in self.paths if fits(one, bare) and method.lower()
                     in self.paths[one]), key=lambda one: one.count("{"))  # fmt: skip
        responses = self.paths[route][method.lower()]["responses"]
        told = next(told for status, told in responses.items() if status.startswith("2"))
        schema = told["content"]["application/json"]["schema"]
        jsonschema.validate(answer, schema | {"components": self.description["components"]})
        self.asked.add(f"{method} {route}")
        return answer


def fits(route: str, path: str) -> bool:
    """Say whether a path is one of a route."""
    return re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", route), path) is not None


def test_every_answer_is_what_the_description_says(service: Service) -> None:
    """Each route is asked for what fills its answer, and every key and type is as described."""
    ask = Checked(service)
    for path in ("/me", "/families", "/people", "/documents", "/tokens", "/rules?count=500",
                 "/grades?text=a53", "/sections?text=nps+4", "/sections?text=hss"):  # fmt: skip
        assert ask.api("GET", path)
    for path in ("/machines", "/machines/rowan-150", "/rules/MASS-01",
                 "/documents/rowan-150/history"):  # fmt: skip
        assert ask.api("GET", path)
    assert ask.api("POST", "/check", json=JOB)["verdicts"]
    assert ask.api("POST", "/lengths", json=JOB)["machines"][0]["intervals"]

    person = ask.api("POST", "/people", json={"name": "Ines Alder", "role": "engineer"})
    assert person["password"]
    assert "password" not in ask.api("PATCH", "/people/Ines Alder", json={"role": "asker"})
    token = ask.api("POST", "/tokens", json={"title": "nightly"})
    assert [item["title"] for item in ask.api("GET", "/tokens")["items"]] == ["test", "nightly"]
    assert token["secret"]

    assert ask.api("POST", "/check", json={**JOB, "keep": True})["verdicts"]
    (line,) = ask.api("GET", "/answers")["items"]
    for end in ("", "/text", "/again", "/today"):
        assert ask.api("GET", f"/answers/{line['answer']}{end}")

    backlog = ask.api("POST", "/backlogs?name=jobs.csv", content=CSV,
                      headers={"Content-Type": "application/octet-stream"})["id"]  # fmt: skip
    service.ended(backlog)
    assert ask.api("GET", f"/backlogs/{backlog}")["summary"]["tables"]
    assert ask.api("GET", "/backlogs")["items"]
    assert ask.api("GET", f"/backlogs/{backlog}/answers")["items"]

    made = ask.api("POST", "/revisions", json={"document": "rowan-150", "reason": "tried"})
    path = f"/revisions/rowan-150/{made['number']}"
    file = ask.api("GET", path)["files"]["rowan-150.toml"]
    assert 'rated    = "280 kg"' in file
    lighter = file.replace('rated    = "280 kg"', 'rated    = "90 kg"')
    ask.api("PATCH", path, json={"file": lighter})
    assert ask.api("GET", f"{path}/differences/{made['base']}")["differences"]
    impact = ask.api("POST", f"{path}/impact", json={"backlog": backlog})
    assert service.ended(impact["id"])["state"] == "done"
    assert ask.api("GET", f"/backlogs/{impact['id']}")["impact"]["groups"]
    assert ask.api("GET", path)["report"]["groups"]
    assert ask.api("GET", "/documents/rowan-150/history")["revisions"][-1]["changes"]
    ask.api("POST", f"{path}/submit", "engineer", json={"effective": "2099-01-01"})
    ask.api("POST", f"{path}/return", "approver", json={"reason": "say more"})
    ask.api("POST", f"{path}/submit", "engineer", json={"effective": "2099-01-01"})
    ask.api("POST", f"{path}/approve", "approver", json={})
    ask.api("POST", f"{path}/revoke", "approver", json={"reason": "not now"})
    made = ask.api("POST", "/revisions", json={"document": "larch-610", "reason": "tried"})
    ask.api("POST", f"/revisions/larch-610/{made['number']}/withdraw", json={"reason": "not ever"})

    known = {f"{method.upper()} {path}" for path, methods in ask.paths.items()
             for method in methods}  # fmt: skip
    assert ask.asked == known - NO_JSON
