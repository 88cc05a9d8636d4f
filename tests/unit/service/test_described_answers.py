"""Answers about limits are what the description of the API says they are, key by key."""

from typing import Any

import jsonschema
from service_workshop import Service


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
