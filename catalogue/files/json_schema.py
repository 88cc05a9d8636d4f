"""Schemas of files as JSON Schema, for editors that complete and check what is typed.

What a JSON Schema cannot say (what two values mean together, whether a unit is of the right
kind, whether a section exists) the tool still checks when it reads the file. A schema never
refuses a file that the tool takes.
"""

from typing import Any, Final, cast

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from .schema import UNITS, Table

DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"


class _ForFiles(GenerateJsonSchema):
    """TOML has no null: what may be left out is left out."""

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        if schema.get("default", ...) is None:
            return self.generate_inner(schema["schema"])
        return super().default_schema(schema)

    def field_title_should_be_set(self, schema: Any) -> bool:
        _ = schema
        return False  # a title that repeats the key says nothing


def json_schema(table: type[Table], title: str) -> dict[str, Any]:
    """Return the JSON Schema of a file."""
    made = table.model_json_schema(by_alias=True, schema_generator=_ForFiles)
    _tell_units(made)
    return {"$schema": DIALECT, **made, "title": title}


def _tell_units(node: Any) -> None:
    """Say of every quantity in which units it may be written."""
    if isinstance(node, list):
        for item in cast("list[Any]", node):
            _tell_units(item)
    elif isinstance(node, dict):
        table = cast("dict[str, Any]", node)
        units = table.pop(UNITS, None)
        if units:
            said = f"{table.get('description', '')} Number and unit: {', '.join(units)}."
            table["description"] = said.strip()
        for item in table.values():
            _tell_units(item)
