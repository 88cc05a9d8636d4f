"""What differs between two revisions, in words and units."""

import math
from collections.abc import Iterator, Mapping
from typing import Any, Final, NamedTuple, cast

from ..errors import CuttableError, FileError, OpenQuestion
from ..files.file_source import parse_toml
from ..units.quantities import quantity
from ..units.units import Dimension, unit

NOTHING: Final = "nothing but comments or layout"


class Difference(NamedTuple):
    """One value that differs.

    Attributes:
        key: where, dotted, e.g. ``limits.stock_mass.rated``; with the file's name before it
            where a revision has several files.
        before, after: the values as written; empty where there is none.
        change: by how much, e.g. ``+40 kg, +14.3 %``; empty where that means nothing.
    """

    key: str
    before: str
    after: str
    change: str = ""

    def text(self) -> str:
        """Return it as a sentence's part."""
        file, mark, key = self.key.rpartition(": ")
        name = f"{file}{mark}{key.replace('_', ' ').replace('.', ', ')}"
        if not self.before:
            return f"{name}: {self.after} (new)"
        if not self.after:
            return f"{name}: {self.before} (taken out)"
        change = f" ({self.change})" if self.change else ""
        return f"{name}: {self.before} → {self.after}{change}"


def differences(before: Mapping[str, bytes], after: Mapping[str, bytes]) -> list[Difference]:
    """Return what differs between two revisions' files, in the order of the files."""
    is_one = len(before) <= 1 and len(after) <= 1
    found: list[Difference] = []
    if is_one:
        pairs = [("", next(iter(before.values()), b""), next(iter(after.values()), b""))]
    else:
        names = dict.fromkeys([*before, *after])
        pairs = [(name, before.get(name, b""), after.get(name, b"")) for name in names]
    for name, old, new in pairs:
        if old != new:
            found += _of_file(name, old, new)
    return found


def _of_file(name: str, old: bytes, new: bytes) -> Iterator[Difference]:
    if name.endswith(".csv"):
        yield from _of_lines(name, old, new)
        return
    try:
        first, second = (dict(_leaves(parse_toml(item, name))) for item in (old, new))
    except FileError:
        yield from _of_lines(name, old, new)
        return
    for key in dict.fromkeys([*first, *second]):
        before, after = first.get(key), second.get(key)
        if before != after:
            where = f"{name}: {key}" if name else key
            yield Difference(where, _shown(before), _shown(after), _change(before, after))


def _of_lines(name: str, old: bytes, new: bytes) -> Iterator[Difference]:
    """Return lines of a table that went and came."""
    first, second = (item.decode("utf-8", "replace").splitlines() for item in (old, new))
    gone, come = set(first) - set(second), set(second) - set(first)
    for line in first:
        if line in gone:
            yield Difference(name or "line", line, "")
    for line in second:
        if line in come:
            yield Difference(name or "line", "", line)


def _leaves(value: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    """Return every value with its dotted key; items of arrays of tables go by their code."""
    if isinstance(value, dict):
        for name, item in cast("dict[str, Any]", value).items():
            yield from _leaves(item, f"{key}.{name}" if key else name)
    elif isinstance(value, list) and any(isinstance(item, dict) for item in cast("Any", value)):
        for place, item in enumerate(cast("list[Any]", value)):
            table = cast("dict[str, Any]", item if isinstance(item, dict) else {})
            name = str(table.get("code", place))
            yield from _leaves(item, f"{key}.{name}")
    else:
        yield key, value


def _shown(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_shown(item) for item in cast("list[Any]", value)) or "none"
    return str(value)


def _change(before: Any, after: Any) -> str:
    """Return by how much a number with its unit changed, in the unit it has after."""
    old, new = _number(before), _number(after)
    if old is None or new is None or old[1] != new[1]:
        return ""
    factor, name = new[2], new[3]
    delta = (new[0] - old[0]) / factor
    if not math.isfinite(delta) or delta == 0:
        return "the same in another unit" if delta == 0 and before != after else ""
    told = f"{delta:+.6g} {name}".strip()
    return f"{told}, {100 * (new[0] - old[0]) / abs(old[0]):+.3g} %" if old[0] else told


def _number(value: Any) -> tuple[float, Dimension | None, float, str] | None:
    """Return value in the canonical unit, its dimension, and the unit it is written in."""
    if isinstance(value, bool):
        return None
    if isinstance(value, int | float):
        return float(value), None, 1.0, ""
    if not isinstance(value, str) or not value[:1].isdigit():
        return None
    digits = value.lstrip("0123456789.,/ -")
    try:
        known = unit(digits.strip())
        found = quantity(value, known.dimension)
        factor = quantity(f"1 {known.name}", known.dimension)
    except (CuttableError, OpenQuestion):
        return None
    return found, known.dimension, factor, known.name
