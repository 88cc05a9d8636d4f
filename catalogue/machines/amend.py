"""A machine file with some of its values set otherwise: what would it be like with …?

Values are named by dotted path as messages name them (``limits.stock_mass.rated``); an item of
an array of tables by its code (``supports.roller-pair.count``). What comes of it is read as
strictly as any machine file.
"""

from collections.abc import Iterator, Sequence
from copy import deepcopy
from typing import Any, Final, NamedTuple, cast

from ..errors import FileError, InputError
from ..files.file_source import digest_of, parse_toml
from ..files.problems import Problems
from ..grades.grades import FAMILIES
from ..nearest import did_you_mean
from ..store import Catalogue, ModelFile
from .model import LIMITS, MachineModel
from .reader import read_machine
from .site_overlay import merged

LONGEST: Final = 400
"""Characters of a setting; nothing of a machine file is longer."""

_FIXED: Final = ("schema", "model")
_BOUNDS: Final = ("rated", "absolute", "basis")
_NEW: Final = frozenset(
    {f"limits.{name}.{bound}" for name in LIMITS for bound in _BOUNDS}
    | {f"limits.{name}.minimum" for name, (_, has_minimum) in LIMITS.items() if has_minimum}
    | {f"limits.wall.{family}.{bound}" for family in FAMILIES for bound in _BOUNDS}
)
"""Keys that may be stated where the file leaves them out."""

_PIECES: Final = frozenset(name for name in _NEW if name.endswith((".rated", ".absolute")))
"""Keys that hold a text or the table of a reference piece."""


class Change(NamedTuple):
    """One value that is set: as it would be written in the file; ``before`` empty for none."""

    key: str
    before: str
    after: str


def amended(data: dict[str, Any], settings: Sequence[str]) -> dict[str, Any]:
    """Return the data of a machine file with values set.

    Args:
        data: the parsed file; it stays as it is.
        settings: texts like ``limits.stock_mass.rated=320 kg``.

    Raises:
        InputError: ``setting-unknown`` for a key that is not there, ``setting-unreadable``.
    """
    return _amended(data, settings)[0]


def changes(data: dict[str, Any], settings: Sequence[str]) -> tuple[Change, ...]:
    """Return what settings change in the data of a machine file.

    Raises:
        InputError: as for :func:`amended`.
    """
    return _amended(data, settings)[1]


def machine_data(content: bytes, where: str, over: ModelFile | None = None) -> dict[str, Any]:
    """Return the data of a machine file, with an overlay laid over it where there is one.

    Raises:
        FileError: ``file-damaged``, or ``file-problems`` of the overlay.
    """
    data = parse_toml(content, where)
    return data if over is None else merged(data, over.content, over.where)


def written_at(data: dict[str, Any], key: str) -> str:
    """Return a value of a machine file as it is written there; empty where it is not stated."""
    for known, holder, name in _leaves(data, ""):
        if known == key:
            return _written(holder[name])
    return ""


def amended_machine(
    catalogue: Catalogue,
    content: bytes,
    where: str,
    settings: Sequence[str],
    *,
    over: ModelFile | None = None,
) -> MachineModel:
    """Return the machine of a file with values set.

    Args:
        catalogue: for the sections and grades of reference pieces.
        content: the file as it is.
        where: its path, for messages.
        settings: texts like ``limits.stock_mass.rated=320 kg``.
        over: an overlay that lies over the file.

    Raises:
        InputError: as for :func:`amended`.
        FileError: ``file-damaged``; ``file-problems`` where the machine would not be valid.
    """
    data, made = _amended(machine_data(content, where, over), settings)
    # Spaces and quotes in a setting are no difference, and with nothing set the file is as it was.
    laid = [] if over is None else [over.content]
    set_to = [f"{item.key}={item.after}".encode() for item in made]
    digest = digest_of(content, *laid, *set_to)
    try:
        problems = Problems(where)
        return read_machine(data, problems, digest, catalogue.tables, catalogue.grades)
    except FileError as fault:
        if not made:
            raise
        told = ", ".join(f"{item.key}={item.after}" for item in made)
        raise FileError(
            fault.code,
            f"with {told} the machine file has {_counted(len(fault.problems))}",
            where=where,
            problems=[_by_code(problem, data) for problem in fault.problems],
        ) from None


def _amended(
    data: dict[str, Any], settings: Sequence[str]
) -> tuple[dict[str, Any], tuple[Change, ...]]:
    result, made = deepcopy(data), list[Change]()
    for setting in settings:
        key, text = _taken_apart(setting)
        if any(item.key == key for item in made):
            raise InputError("setting-unreadable", f"{key} is set twice", remedy="Set it once.")
        holder, name = _holder(result, key)
        old = holder.get(name)
        value = _value(key, text, old)
        made.append(Change(key, "" if old is None else _written(old), _written(value)))
        holder[name] = value
    return result, tuple(made)


def _taken_apart(setting: str) -> tuple[str, str]:
    """Return key and value text of a setting."""
    key, mark, text = setting.partition("=")
    key, text = key.strip(), text.strip()
    if len(setting) > LONGEST or not setting.isprintable() or not (key and mark and text):
        shown = "".join(char if char.isprintable() else "?" for char in setting)
        raise InputError(
            "setting-unreadable",
            f"{shown.strip()[:60]!r} sets no value",
            remedy='Write a key and a value, like limits.stock_mass.rated="320 kg".',
        )
    return key, text


def _holder(data: dict[str, Any], key: str) -> tuple[dict[str, Any], str]:
    """Return the table that holds the value of a key, and the value's name in it.

    The table of a limit that is not stated is made.
    """
    if key in _FIXED:
        raise InputError(
            "setting-unknown",
            f"{key} says which file this is, and cannot be set",
            remedy="Copy the file, and change it there.",
        )
    for known, holder, name in _leaves(data, ""):
        if known == key:
            return holder, name
    if key in _NEW:
        *path, name = key.split(".")
        holder = data
        for part in path:
            below = holder.setdefault(part, {})
            if not isinstance(below, dict):
                break
            holder = cast("dict[str, Any]", below)
        else:
            return holder, name
    known = [known for known, _, _ in _leaves(data, "") if known not in _FIXED]
    within = [name for name in dict.fromkeys([*known, *sorted(_NEW)]) if name.startswith(f"{key}.")]
    if within:
        raise InputError(
            "setting-unknown",
            f"{key} is a table, not a value",
            remedy=f"Set one of {', '.join(within[:6])}.",
        )
    hint = did_you_mean(
        key,
        dict.fromkeys([*known, *_NEW]),
        otherwise="'cuttable machines validate' and the file itself show the keys.",
    )
    raise InputError("setting-unknown", f"the machine file has no key {key[:80]!r}", remedy=hint)


def _leaves(table: dict[str, Any], prefix: str) -> Iterator[tuple[str, dict[str, Any], str]]:
    """Yield every value with its dotted key, the table that holds it and its name there.

    The table of a reference piece is a value and holds values.
    """
    for name, value in table.items():
        key = f"{prefix}{name}"
        if isinstance(value, dict):
            if key in _PIECES:
                yield key, table, name
            yield from _leaves(cast("dict[str, Any]", value), f"{key}.")
        elif _is_tables(value):
            for item in cast("list[dict[str, Any]]", value):
                yield from _leaves(item, f"{key}.{item.get('code', '')}.")
        else:
            yield key, table, name


def _is_tables(value: Any) -> bool:
    items = cast("list[Any]", value) if isinstance(value, list) else []
    return bool(items) and all(isinstance(item, dict) for item in items)


def _value(key: str, text: str, old: Any) -> Any:
    """Return a value of the kind of the old one; without one, what the text is in TOML or a text.

    Raises:
        InputError: ``setting-unreadable``.
    """
    is_quoted = text[0] in "\"'"
    if (isinstance(old, str) and not is_quoted) and not (key in _PIECES and text[0] == "{"):
        return text
    value = _parsed(text)
    if old is None or isinstance(old, dict):
        if value is None and (is_quoted or text[0] in "{["):
            raise _unreadable(key, text, "a value")
        return text if value is None else value
    if not _is_of_kind(value, old, may_be_piece=key in _PIECES):
        is_number = isinstance(old, int | float) and not isinstance(old, bool)
        kind = "a number" if is_number else _KINDS.get(type(old).__name__, "a value")
        raise _unreadable(key, text, kind)
    return value


def _is_of_kind(value: Any, old: Any, *, may_be_piece: bool) -> bool:
    """Say whether a value may stand for the old one."""
    if isinstance(old, bool) or isinstance(value, bool):
        return isinstance(old, bool) and isinstance(value, bool)
    # A number may be written with or without a point; whether the file takes it, its reader says.
    if isinstance(old, int | float):
        return isinstance(value, int | float)
    return isinstance(value, type(old)) or (may_be_piece and isinstance(value, str | dict))


_KINDS: Final = {"str": "a text", "bool": "true or false", "list": 'a list like ["round"]'}


def _parsed(text: str) -> Any:
    """Return a text as a TOML value, None where it is none."""
    import tomli

    try:
        found = tomli.loads(f"value = {text}")
    except tomli.TOMLDecodeError:
        return None
    return found["value"] if len(found) == 1 else None


def _unreadable(key: str, text: str, kind: str) -> InputError:
    return InputError(
        "setting-unreadable",
        f"{key} must be {kind}, not {text[:60]!r}",
        remedy=f"Write {key}= and {kind} behind it.",
    )


def _written(value: Any) -> str:
    """Return a value as a machine file would have it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{escaped}"'
    if isinstance(value, dict):
        items = cast("dict[str, Any]", value).items()
        return f"{{ {', '.join(f'{name} = {_written(item)}' for name, item in items)} }}"
    if isinstance(value, list):
        return f"[{', '.join(map(_written, cast('list[Any]', value)))}]"
    return str(value)


def _counted(count: int) -> str:
    return f"{count} problem{'' if count == 1 else 's'}"


def _by_code(problem: str, data: dict[str, Any]) -> str:
    """Name an item of an array of tables by its code, as settings do."""
    for name, value in data.items():
        if problem.startswith(f"{name}[") and _is_tables(value):
            number, mark, rest = problem.removeprefix(f"{name}[").partition("]")
            if mark and number.isdigit():
                return f"{name}.{value[int(number)].get('code', number)}{rest}"
    return problem
