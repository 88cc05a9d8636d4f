"""What the schemas of all files are made of: tables, texts, quantities with their units.

A file's schema is a :class:`Table` whose fields are its keys. Reading is strict: no unknown key,
no text where a number is wanted, no number that is not finite. A quantity is a text with its
unit and becomes a number in the canonical unit of its dimension.
:mod:`~cuttable.catalogue.files.problems` reads data by a schema and tells what is wrong in words.
"""

import datetime as dt
import math
from collections.abc import Callable, Iterator
from copy import copy
from dataclasses import dataclass
from typing import Annotated, Any, Final, Self, TypeVar, cast

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidatorFunctionWrapHandler,
    create_model,
)
from pydantic_core import PydanticCustomError, core_schema

from ..errors import InputError, OpenQuestion
from ..units.quantities import quantity
from ..units.units import (
    ACCELERATION,
    DENSITY,
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    NUMBER,
    SPEED,
    STRESS,
    TIME,
    TORQUE,
    Dimension,
    canonical,
    units_of,
)

TOLD: Final = "told"
"""Type of an error whose message is a whole sentence of ours."""


UNITS: Final = "x-units"
"""Key under which a quantity says its units to the JSON Schema made of it."""


class Hole(float):
    """Stands where a value could not be read, so that the rest can still be checked together.

    It is NaN to every comparison, is false, and has no parts: each of its attributes is a hole
    again. It exists only while the problems of a file are gathered; no answer ever sees one.
    """

    def __new__(cls) -> Self:
        """Make a NaN."""
        return super().__new__(cls, math.nan)

    def __getattr__(self, name: str) -> "Hole":
        if name.startswith("__"):
            raise AttributeError(name)
        return self

    def __iter__(self) -> Iterator[Any]:
        return iter(())

    def __bool__(self) -> bool:
        return False

    def items(self) -> tuple[tuple[str, Any], ...]:
        """Return nothing: a table that could not be read has no entries."""
        return ()


HOLE: Final = Hole()


def _let_hole(value: Any, handler: ValidatorFunctionWrapHandler) -> Any:
    return value if isinstance(value, Hole) else handler(value)


class _HolesStay:
    """Marks what a hole may stand for.

    It says what it is to the library by itself: a validator of the library's is looked at for its
    signature at every field, which is a good part of building a schema.
    """

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_wrap_validator_function(_let_hole, handler(source))


_HOLES_STAY: Final = _HolesStay()


class Table(BaseModel):
    """A table of a file; its fields are the keys that it may have."""

    model_config = ConfigDict(
        strict=True, extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True
    )

    @classmethod
    def __pydantic_init_subclass__(cls, **settings: Any) -> None:
        """Let a hole stand for every field; schemas are built after this, on first use."""
        super().__pydantic_init_subclass__(**settings)
        for field in cls.model_fields.values():
            if _HOLES_STAY not in field.metadata:
                field.metadata.append(_HOLES_STAY)


T = TypeVar("T")
Entry = Annotated[T, _HOLES_STAY]
"""One item of an array, or one named table of a table of tables."""

# Tuples, for what was read is never changed; a file has lists, so these alone are not strict.
Rows = Annotated[tuple[Entry[T], ...], Field(strict=False)]
"""An array of tables."""


def told(what: str) -> PydanticCustomError:
    """Return the error that a validator raises to be told in these words."""
    return PydanticCustomError(TOLD, "{what}", {"what": what})


# --- texts --------------------------------------------------------------------------------


_A_TEXT: Final = "a text in quotes"


@dataclass(frozen=True, slots=True, eq=False)
class Read:
    """Marks a text that a function makes something else of.

    Attributes:
        of_text: the function; what it cannot make it raises as :func:`told`.
        kind: what is wanted, in words.
        schema: what the JSON Schema says beside that it is a text.
    """

    of_text: Callable[[str], Any]
    kind: str
    schema: dict[str, Any]

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        _ = source, handler
        return core_schema.no_info_after_validator_function(
            self.of_text, core_schema.str_schema(strict=True)
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {**handler(schema), **self.schema}


def _one_line(text: str) -> str:
    line = " ".join(text.split())
    if not line:
        raise told("is an empty text.")
    return line


Text = Annotated[str, Read(_one_line, _A_TEXT, {"pattern": r"\S"})]
"""A text on one line that is not empty; runs of white space become one space."""


def _not_empty(text: str) -> str:
    if not text:
        raise told("must hold texts only.")
    return text


Word = Annotated[str, Read(_not_empty, _A_TEXT, {"minLength": 1})]
"""An item of a list of texts."""

Words = Annotated[tuple[Word, ...], Field(strict=False)]
"""A list of texts."""


def _date(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise told(f"must be a date like '2026-11-25', not {text!r:.60}.") from None


Date = Annotated[
    dt.date,
    Read(_date, _A_TEXT, {
        "pattern": r"^\d{4}-?(\d{2}-?\d{2}|W\d{2}-?\d)$", "examples": ["2026-11-25"],
    }),
]  # fmt: skip
"""A day, written as a text like ``2026-11-25``."""

# --- quantities ---------------------------------------------------------------------------

LARGEST: Final = 1e9
"""In the canonical unit of any dimension; no machine, section or grade comes near it."""

_A_NUMBER: Final = r"^\s*\+?\s*[0-9.,¼½¾⅐-⅞]"
_AND_A_UNIT: Final = r"[\s\S]*[^0-9.,\s+-]"


def read_quantity(text: str, dimension: Dimension, *, may_be_zero: bool = False) -> float:
    """Return a quantity above zero in the canonical unit of its dimension.

    Raises:
        PydanticCustomError: no number, no unit or one of another kind, more than one reading,
            below zero, or zero where that is not allowed.
    """
    try:
        found = quantity(text, dimension)
    except InputError as fault:
        raise told(f"{fault.what}. {fault.remedy}") from None
    except OpenQuestion as asked:
        raise told(f"{asked.question.text} Write it without the comma.") from None
    if found < 0 or (found == 0 and not may_be_zero):
        raise told(f"must be above zero, not {text!r}.")
    if found > LARGEST or 0 < found < 1 / LARGEST:
        size = "large" if found > 1 else "small"
        raise told(f"{text!r} is too {size} to be real. Check the number and its unit.")
    return found


A_QUANTITY: Final = "a text with number and unit"


def _quantity(dimension: Dimension, *, may_be_zero: bool = False) -> Read:
    """Return the mark of a number that is written as a text with its unit, e.g. ``"2.1 kN"``."""
    is_pure = dimension == NUMBER

    def read(text: str) -> float:
        return read_quantity(text, dimension, may_be_zero=may_be_zero)

    return Read(read, A_QUANTITY, {
        "pattern": _A_NUMBER + ("" if is_pure else _AND_A_UNIT),
        UNITS: units_of(dimension),
        "examples": ["1" if is_pure else f"1 {canonical(dimension).name}"],
    })  # fmt: skip


Length = Annotated[float, _quantity(LENGTH)]
LengthOrNone = Annotated[float, _quantity(LENGTH, may_be_zero=True)]
Mass = Annotated[float, _quantity(MASS)]
Inertia = Annotated[float, _quantity(INERTIA)]
Force = Annotated[float, _quantity(FORCE)]
Torque = Annotated[float, _quantity(TORQUE)]
TorqueOrNone = Annotated[float, _quantity(TORQUE, may_be_zero=True)]
Speed = Annotated[float, _quantity(SPEED)]
Acceleration = Annotated[float, _quantity(ACCELERATION)]
Time = Annotated[float, _quantity(TIME)]
Number = Annotated[float, _quantity(NUMBER)]
Density = Annotated[float, _quantity(DENSITY)]
Stress = Annotated[float, _quantity(STRESS)]

# --- schemas that are partly another's ----------------------------------------------------


def partial(table: type[Table], *, keep: frozenset[str] = frozenset()) -> type[Table]:
    """Return the schema of a table that states only what differs from one of ``table``.

    Every key may be left out but those of ``keep``; tables within are partial likewise. A value
    that may take several forms (a quantity or a reference piece, a ramp of either kind) is one
    value: it is stated whole or not at all.
    """
    fields: dict[str, Any] = {}
    for name, field in table.model_fields.items():
        changed = copy(field)
        if name not in keep:
            changed.default = None
        fields[name] = (_partial_kind(field.annotation, keep), changed)
    made: Any = create_model(
        f"{table.__name__}InPart", __base__=Table, __doc__=table.__doc__, **fields
    )
    return cast("type[Table]", made)


def _partial_kind(kind: Any, keep: frozenset[str]) -> Any:
    """Return an annotation with its table, ``table | None`` too, made partial."""
    tables = [item for item in (kind, *getattr(kind, "__args__", ())) if is_table(item)]
    if len(tables) != 1:
        return kind
    return partial(tables[0], keep=keep) | None


def is_table(kind: Any) -> bool:
    """Say whether an annotation is that of a table."""
    return isinstance(kind, type) and issubclass(kind, Table)
