"""The description of the API names what every route takes and answers, down to the last key."""

from collections.abc import Iterator
from typing import Any, Final

import pytest
from cuttable.catalogue.ledger.location import Location
from cuttable.service.app import create_app
from cuttable.service.settings import Settings

JSON: Final = ("application/json", "application/problem+json")
WITHOUT_CONTENT: Final = {"204", "304"}
Schema = dict[str, Any]


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory) -> Schema:
    """The description; nothing is asked of the ledger for it."""
    folder = tmp_path_factory.mktemp("described")
    place = Location("sqlite", str(folder / "none.db"))
    return create_app(Settings(place=place, data=folder)).openapi()


def vague(schema: Any, path: str) -> Iterator[str]:
    """Yield where a schema leaves open what stands there."""
    if not isinstance(schema, dict) or not schema:
        yield path
        return
    if "$ref" in schema:
        return
    for word in ("anyOf", "allOf", "oneOf"):
        if word in schema:
            for number, item in enumerate(schema[word]):
                yield from vague(item, f"{path}/{word}/{number}")
            return
    kind = schema.get("type")
    if kind is None and not {"const", "enum"} & set(schema):
        yield path
    elif kind == "object":
        yield from vague_object(schema, path)
    elif kind == "array":
        items = schema.get("prefixItems") or [schema.get("items")]
        for number, item in enumerate(items):
            yield from vague(item, f"{path}/items/{number}")


def vague_object(schema: Schema, path: str) -> Iterator[str]:
    """Yield where a table does not name its keys, or says nothing of their values."""
    properties, others = schema.get("properties"), schema.get("additionalProperties")
    if not properties and schema.get("maxProperties") != 0 and not isinstance(others, dict):
        yield path
    if isinstance(others, dict):
        yield from vague(others, f"{path}/*")
    for name, item in (properties or {}).items():
        yield from vague(item, f"{path}/{name}")


@pytest.mark.parametrize(
    ("schema", "where"),
    [
        ({}, "x"),
        ({"type": "object"}, "x"),
        ({"type": "object", "additionalProperties": True}, "x"),
        ({"type": "object", "properties": {"a": {"title": "A"}}}, "x/a"),
        ({"type": "object", "additionalProperties": {}}, "x/*"),
        ({"type": "array"}, "x/items/0"),
        ({"type": "array", "items": {"type": "object"}}, "x/items/0"),
        ({"anyOf": [{"type": "string"}, {"type": "object"}]}, "x/anyOf/1"),
    ],
)
def test_what_is_left_open_is_found(schema: Schema, where: str) -> None:
    """The check can fail: each way of saying nothing is known to it."""
    assert list(vague(schema, "x")) == [where]


def test_no_answer_is_an_object_of_unknown_keys(described: Schema) -> None:
    """A client made of the description knows every key before it asks."""
    found: list[str] = []
    count = 0
    for path, methods in described["paths"].items():
        for method, operation in methods.items():
            for status, response in operation["responses"].items():
                told = response.get("content", {})
                if status not in WITHOUT_CONTENT and not told:
                    found.append(f"{method} {path} {status}: no content")
                for media, content in told.items():
                    if media in JSON:
                        count += 1
                        found += vague(content.get("schema"), f"{method} {path} {status}")
    assert found == []
    assert count > 3 * len(described["paths"])  # its own answers, and both kinds of problem


def test_no_request_is_an_object_of_unknown_keys(described: Schema) -> None:
    """Nor is anything that is sent; files are bytes."""
    found: list[str] = []
    for path, methods in described["paths"].items():
        for method, operation in methods.items():
            for item in operation.get("parameters", []):
                found += vague(item["schema"], f"{method} {path} {item['name']}")
            for content in operation.get("requestBody", {}).get("content", {}).values():
                found += vague(content["schema"], f"{method} {path}")
    assert found == []


def test_every_part_is_told_whole(described: Schema) -> None:
    """What answers refer to is there, and leaves nothing open either."""
    parts = described["components"]["schemas"]
    assert [where for name, part in parts.items() for where in vague(part, name)] == []
    text = str(described)
    assert [name for name in parts if f"'#/components/schemas/{name}'" not in text] == []
    assert sorted(refs_of(described) - set(parts)) == []
    assert [name for name in parts if "__" in name] == []  # two parts of one name


def refs_of(schema: Any) -> set[str]:
    """Return the names of all parts that something refers to."""
    if isinstance(schema, dict):
        own = {str(schema["$ref"]).rsplit("/", 1)[1]} if "$ref" in schema else set[str]()
        return own.union(*(refs_of(item) for item in schema.values()))
    return set[str]().union(*map(refs_of, schema)) if isinstance(schema, list) else set()
