"""The API is as it describes itself: requests made from the description, good and bad."""

import os
from pathlib import Path
from typing import Any, Final

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from service_workshop import Service, Template, service_of

CASES: Final = int(os.environ.get("CUTTABLE_SCHEMA_CASES", "6"))
"""Requests made for each operation."""
CHECKS: Final = [
    not_a_server_error, status_code_conformance, content_type_conformance,
    response_schema_conformance, response_headers_conformance,
]  # fmt: skip


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory, template: Template) -> Any:
    """A service whose description requests are made from."""
    folder = tmp_path_factory.mktemp("described")
    with service_of(folder, template, rate=10_000_000) as service:
        yield service


@pytest.fixture(scope="module")
def schema(described: Service) -> Any:
    """The description of the API."""
    found = described.ask("GET", "/api/v1/openapi.json").json()
    return schemathesis.openapi.from_dict(found)


def test_every_operation_is_described_with_its_problems(described: Service) -> None:
    found = described.ask("GET", "/api/v1/openapi.json").json()
    assert found["openapi"].startswith("3.1")
    for path, methods in found["paths"].items():
        for method, operation in methods.items():
            assert operation["summary"], (method, path)
            assert {"4XX", "5XX"} <= set(operation["responses"]), (method, path)
            assert "422" not in operation["responses"]


def test_examples_of_the_description_are_taken(described: Service) -> None:
    found = described.ask("GET", "/api/v1/openapi.json").json()
    body = found["paths"]["/api/v1/check"]["post"]["requestBody"]["content"]["application/json"]
    for example in body["examples"].values():
        answer = described.ask("POST", "/api/v1/check", role="asker", json=example["value"])
        assert answer.status_code == 200


def test_requests_made_from_the_description_are_answered_as_it_says(
    described: Service, schema: Any
) -> None:
    count = 0
    for result in schema.get_all_operations():
        count += tried(described, result.ok())
    assert count >= CASES * len(list(schema.get_all_operations())) // 2


def tried(described: Service, operation: Any) -> int:
    """Send requests made for an operation and check what comes back; returns how many."""
    count = 0

    @settings(
        max_examples=CASES, deadline=None, database=None, derandomize=True,
        phases=(Phase.explicit, Phase.generate), suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @schemathesis_given(operation)
    def sent(case: Any) -> None:
        nonlocal count
        count += 1
        told = case.as_transport_kwargs(base_url="http://localhost")
        response = described.ask(
            told["method"], told["url"].removeprefix("http://localhost"), role="administrator",
            headers={str(k): str(v) for k, v in told["headers"].items()
                     if str(k).casefold() not in ("authorization", "content-length")},
            params=told.get("params"), **content_of(told),
        )  # fmt: skip
        case.validate_response(response, checks=CHECKS)

    sent()
    return count


def schemathesis_given(operation: Any) -> Any:
    """Return what gives a test requests of an operation, those that break its rules too."""
    from hypothesis import given, strategies
    from schemathesis.generation.modes import GenerationMode

    good = operation.as_strategy(generation_mode=GenerationMode.POSITIVE)
    try:
        bad = operation.as_strategy(generation_mode=GenerationMode.NEGATIVE)
    except Exception:  # noqa: BLE001 - an operation that no request can break
        return given(case=good)
    return given(case=strategies.one_of(good, bad))


def content_of(told: dict[str, Any]) -> dict[str, Any]:
    """Return the content of a request."""
    if told.get("json") is not None:
        return {"json": told["json"]}
    return {"content": told["data"]} if told.get("data") is not None else {}


__all__ = ["Path"]
