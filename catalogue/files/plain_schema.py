"""The schema of a record as plain data, made of the record itself.

Records (named tuples and data classes) are what the program works with; as JSON they are tables
with the same names. What comes from outside is checked by this schema, and the service describes
its answers by it, so that neither is a second list of their fields.
"""

import math
from dataclasses import MISSING, fields, is_dataclass
from functools import cache
from types import UnionType
from typing import Any, Literal, Union, cast, get_args, get_origin, get_type_hints

from pydantic import BaseModel, ConfigDict, Field, create_model


@cache
def plain_schema(record: type, title: str = "", **more: Any) -> type[BaseModel]:
    """Return the strict schema of a record as plain data.

    Numbers that are not there (NaN) are null, tuples are arrays, records within are tables.

    Args:
        record: a named tuple or data class.
        title: what the schema is called; the record's own name if left out.
        more: fields beside the record's, as type by name.
    """
    hints = get_type_hints(record)
    defaults = _defaults(record)
    told: dict[str, Any] = {
        name: (_plain(hints[name]), _default(defaults[name]) if name in defaults else ...)
        for name in _names(record)
    }
    # By another name within: the library has attributes that are called like keys of ours.
    told |= {f"{name}_": (kind, Field(alias=name)) for name, kind in more.items()}
    made: Any = create_model(
        title or record.__name__,
        __config__=ConfigDict(strict=True, extra="forbid", allow_inf_nan=False),
        __doc__=record.__doc__,
        **told,
    )
    return cast("type[BaseModel]", made)


def _names(record: Any) -> tuple[str, ...]:
    if is_dataclass(record):
        return tuple(item.name for item in fields(record))
    return record._fields


def _defaults(record: Any) -> dict[str, Any]:
    if is_dataclass(record):
        return {item.name: item.default for item in fields(record) if item.default is not MISSING}
    return record._field_defaults


def _default(value: Any) -> Any:
    """Return a default as plain data."""
    if hasattr(value, "_asdict"):
        return {name: _default(item) for name, item in value._asdict().items()}
    if isinstance(value, tuple):
        return [_default(item) for item in cast("tuple[Any, ...]", value)]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _plain(kind: Any) -> Any:
    """Return an annotation as that of plain data."""
    origin, arguments = get_origin(kind), get_args(kind)
    if kind is float:
        return float | None
    if is_dataclass(kind) or hasattr(kind, "_fields"):
        return plain_schema(kind)
    if origin is tuple and arguments[-1] is ...:
        return list[_plain(arguments[0])]  # pyright: ignore[reportInvalidTypeForm]
    if origin is dict:
        return dict[arguments[0], _plain(arguments[1])]  # pyright: ignore[reportInvalidTypeForm]
    if origin in (Union, UnionType):
        return cast("Any", Union)[tuple(_plain(item) for item in arguments)]
    return kind if origin in (None, Literal) else Any
