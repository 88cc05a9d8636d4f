"""Every problem of a file at once: by its dotted key and line, in words that help.

Data are read by a schema; what a schema cannot say (what two values mean together, whether a
named thing exists) is checked afterwards by functions over whatever could be read. Both note
their problems in one :class:`Problems`, which raises them all at the end.
"""

from collections.abc import Iterable, Sequence
from copy import deepcopy
from typing import Annotated, Any, Final, Literal, TypeVar, cast, get_args, get_origin

from pydantic import Tag, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from ..errors import FileError
from ..nearest import did_you_mean
from .schema import HOLE, TOLD, Hole, Table, is_table
from .toml_lines import Path, lines_of

T = TypeVar("T", bound=Table)

_ROUNDS: Final = 100
"""Nothing is nested as deeply as this."""


class Problems:
    """The problems of one file.

    Args:
        where: the file, for messages.
        content: its bytes, so that lines can be told; None where the data are of several files.
    """

    def __init__(self, where: str, content: bytes | None = None) -> None:
        self.where = where
        self.content = content
        self.noted: list[tuple[Path, str]] = []

    def __bool__(self) -> bool:
        return bool(self.noted)

    def note(self, path: Path, what: str) -> None:
        """Note a problem at a key, named by the keys and numbers that lead to it."""
        self.noted.append((path, what))

    def read(self, schema: type[T], data: dict[str, Any]) -> T:
        """Read data by a schema.

        Problems are noted; what has one is a :class:`~cuttable.catalogue.files.schema.Hole` in the
        table returned, so that the rest can be checked all the same.
        """
        try:
            return schema.model_validate(data)
        except ValidationError as fault:
            for error in fault.errors(include_url=False):
                self.note(*_told(schema, error))
            return _with_holes(schema, data, fault)

    def finish(self, what: str) -> None:
        """Raise if any problem was noted.

        Raises:
            FileError: ``file-problems``.
        """
        if not self.noted:
            return
        lines = {} if self.content is None else lines_of(self.content)
        told = list(dict.fromkeys(
            f"{dotted(path) or 'file'}: {text}{_line(path, lines)}" for path, text in self.noted
        ))  # fmt: skip
        noun = "problem" if len(told) == 1 else "problems"
        raise FileError(
            "file-problems", f"{what} has {len(told)} {noun}", where=self.where, problems=told
        )


def dotted(path: Path) -> str:
    """Return a dotted key: ``supports[0].reaction.rated``."""
    key = ""
    for part in path:
        if isinstance(part, int):
            key += f"[{part}]"
        else:
            shown = part if part.isprintable() else ascii(part)
            key += f".{shown[:80]}" if key else shown[:80]
    return key


def _line(path: Path, lines: dict[Path, int]) -> str:
    """Return the line of a key, or of the nearest table around it that has one."""
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return f" (line {lines[path[:end]]})"
    return ""


# --- what a schema wants, in words ----------------------------------------------------------


def _told(schema: type[Table], error: ErrorDetails) -> tuple[Path, str]:
    """Return the key of an error of pydantic's, and what is wrong in words of ours."""
    path, kind = _followed(schema, error["loc"])
    value: Any = error["input"]
    name = error["type"]
    if name == TOLD:
        return path, error["msg"]
    if name == "extra_forbidden":
        table = _bare(_followed(schema, error["loc"][:-1])[1])
        allowed = sorted(keys_of(table))
        hint = did_you_mean(str(path[-1]), allowed, otherwise=f"Allowed here: {_list(allowed)}.")
        return path, f"is not a known key. {hint}"
    if name == "missing":
        return path, f"is missing; {_wanted(kind)} is required."
    if name in ("union_tag_invalid", "union_tag_not_found") and isinstance(value, dict):
        return _of_kind(path, kind, cast("dict[str, Any]", value))
    options = _options(kind)
    if options and isinstance(value, str):
        hint = did_you_mean(value, options)
        return path, f"{value[:60]!r} is not one of {_list(options)}. {hint}".strip()
    return path, f"must be {_wanted(kind)}, not {value!r:.60}."


def _of_kind(path: Path, union: Any, value: dict[str, Any]) -> tuple[Path, str]:
    """Return what is wrong with the key that says which of several tables one is."""
    options = [get_args(keys_of(_bare(table))["kind"].annotation)[0] for table in _members(union)]
    path = (*path, "kind")
    if "kind" not in value:
        return path, f"is missing; one of {_list(options)} is required."
    given = value["kind"]
    hint = did_you_mean(given, options) if isinstance(given, str) else ""
    return path, f"{given!r:.60} is not one of {_list(options)}. {hint}".strip()


def keys_of(table: type[Table]) -> dict[str, FieldInfo]:
    """Return the fields of a table by their keys in a file; not those that nothing reads."""
    return {
        field.alias or name: field
        for name, field in table.model_fields.items()
        if field.deprecated is None
    }


def _list(words: Iterable[str]) -> str:
    return ", ".join(words) or "none"


def _followed(schema: type[Table], loc: Sequence[str | int]) -> tuple[Path, Any]:
    """Return the path of a place without marks of unions, and the annotation there."""
    path: list[str | int] = []
    here: Any = schema
    for part in loc:
        members = _members(here)
        if members:
            # Where data fit one of several tables, the place names the one they were read as.
            here = next(item for item in members if part in _marks(item))
            continue
        path.append(part)
        here = _within(_bare(here), part)
    return tuple(path), here


def _within(kind: Any, part: str | int) -> Any:
    """Return the annotation of a key or item of what an annotation describes."""
    if is_table(kind):
        fields = {field.alias or name: field for name, field in kind.model_fields.items()}
        field = fields.get(str(part))
        return None if field is None else Annotated[(field.annotation, *field.metadata, field)]
    arguments = [item for item in get_args(kind) if item is not ...]
    return arguments[-1] if arguments else None


def _bare(kind: Any) -> Any:
    """Return an annotation without marks, and without ``| None``."""
    while get_origin(kind) is Annotated:
        kind = get_args(kind)[0]
    rest = [item for item in get_args(kind) if item is not type(None)]
    is_optional = type(None) in get_args(kind) and len(rest) == 1
    return _bare(rest[0]) if is_optional else kind


def _members(kind: Any) -> list[Any]:
    """Return the alternatives of a union; none for what is no union."""
    kind = _bare(kind)
    found = [item for item in get_args(kind) if item is not type(None)]
    is_union = get_origin(kind) not in (tuple, dict, Literal, None) and len(found) > 1
    return found if is_union else []


def _marks(member: Any) -> list[Any]:
    """Return what places call an alternative of a union."""
    return [item.tag for item in get_args(member)[1:] if isinstance(item, Tag)]


def _options(kind: Any) -> tuple[str, ...]:
    kind = _bare(kind)
    return get_args(kind) if get_origin(kind) is Literal else ()


def _wanted(kind: Any) -> str:
    """Return what an annotation wants, in words."""
    members = _members(kind)
    if members:
        # A value that may be a table instead is first of all the plain value.
        return _wanted(members[0])
    marks = list(_all_marks(kind))
    of_ours = next((str(mark.kind) for mark in marks if hasattr(mark, "kind")), "")
    plain = _bare(kind)
    if of_ours or plain in _PLAIN:
        return of_ours or _PLAIN[plain]
    if plain in (int, float):
        low, high = (next(getattr(mark, name) for mark in marks if hasattr(mark, name))
                     for name in ("ge", "le"))  # fmt: skip
        if plain is int:
            return f"a whole number from {low} to {high}"
        return f"a number from {low:g} to {high:g}"
    if get_origin(plain) is Literal:
        return f"one of {_list(get_args(plain))}"
    is_rows = get_origin(plain) is tuple and is_table(_bare(get_args(plain)[0]))
    return "an array of tables" if is_rows else _PLAIN.get(get_origin(plain), "a table")


_PLAIN: Final[dict[Any, str]] = {
    bool: "true or false", str: "a text in quotes", tuple: "a list of texts",
}  # fmt: skip


def _all_marks(kind: Any) -> Iterable[Any]:
    """Yield the marks on an annotation, also those within ``| None``."""
    if get_origin(kind) is Annotated:
        yield from get_args(kind)[1:]
        yield from _all_marks(get_args(kind)[0])
    elif type(None) in get_args(kind):
        for item in get_args(kind):
            yield from _all_marks(item)


# --- reading what can be read ---------------------------------------------------------------


def _with_holes(schema: type[T], data: dict[str, Any], fault: ValidationError) -> T:
    """Return data read by a schema, with holes where they cannot be."""
    data = deepcopy(data)
    for _ in range(_ROUNDS):
        for error in fault.errors(include_url=False):
            path, _kind = _followed(schema, error["loc"])
            if not _punch(data, path, error["type"]):
                return cast("T", HOLE)
        try:
            return schema.model_validate(data)
        except ValidationError as again:
            fault = again
    return cast("T", HOLE)


def _punch(data: dict[str, Any], path: Path, name: str) -> bool:
    """Put a hole at a place, or around it where one is there already and does not help.

    Returns False where nothing is left around it but the file itself.
    """
    while path:
        holder: Any = data
        for part in path[:-1]:
            holder = holder[part]
            if isinstance(holder, Hole):
                return True  # an error before this one has taken all of it out
        last = path[-1]
        if name == "extra_forbidden":
            holder.pop(last, None)
            return True
        is_there = not isinstance(holder, dict) or last in holder
        if not (is_there and isinstance(holder[last], Hole)):
            holder[last] = HOLE
            return True
        path = path[:-1]
    return False
