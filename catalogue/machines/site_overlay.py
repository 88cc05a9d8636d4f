"""What differs at one site: a small file laid over the file of a machine model.

An overlay says what is fitted, and states anew what is not as the model was released: a bigger
chuck, worn rollers, other limits, lifting gear and persons. It is merged into the model's data,
which are then read as strictly as any machine file.
"""

from collections.abc import Mapping
from copy import deepcopy
from typing import Any, Final, cast

from ..files.file_source import parse_toml
from ..files.problems import Problems
from ..files.toml_lines import Path
from ..nearest import did_you_mean
from .schema import CHANGES, LISTS, site_file

MARK: Final = "@"
"""Stands between the code of a model and the name of a site or serial number."""

WHOLE: Final = frozenset({"rated", "ramp"})
"""Tables that are one value: a reference piece, a ramp of another kind."""


def merged(base: Mapping[str, Any], over: bytes, where: str) -> dict[str, Any]:
    """Return a model's data with an overlay's laid over them.

    Args:
        base: the model's file, parsed.
        over: the overlay's file.
        where: the overlay, for messages.

    Raises:
        FileError: ``file-damaged``; ``file-problems``: unknown keys, values that cannot be,
            another model, a code that the model has not.
    """
    data, problems = parse_toml(over, where), Problems(where, over)
    site = problems.read(site_file(), data)
    if site.model and site.model != base.get("model"):
        problems.note(("model",), f"is laid over {base.get('model')!r}.")
    result = deepcopy(dict(base))
    result["title"] = f"{base.get('title', '')}; {site.title}"
    for name in CHANGES:
        if isinstance(data.get(name), dict):
            _lay(result.setdefault(name, {}), data[name], (name,), problems)
    for name in LISTS:
        _lay_list(result, name, _items(data.get(name)), problems)
    _fit(result, site.fitted, site.removed, problems)
    problems.finish("overlay")
    return result


def _lay_list(
    result: dict[str, Any], name: str, items: list[dict[str, Any]], problems: Problems
) -> None:
    """Lay the items of an array of tables over those of the same code; add whole new ones."""
    codes = [str(item.get("code")) for item in items]
    for twice in sorted({code for code in codes if codes.count(code) > 1}):
        problems.note((name,), f"the code {twice!r} is there more than once.")
    for index, item in enumerate(items):
        code = item.get("code")
        known = {str(held.get("code")): held for held in _items(result.get(name))}
        if not isinstance(code, str):
            continue  # the schema has told
        if code in known:
            _lay(known[code], item, (name, index), problems)
        elif {"title", "standard"} <= set(item):
            result.setdefault(name, []).append(deepcopy(item))
        else:
            hint = did_you_mean(code, known, otherwise=f"It has: {', '.join(known)}.")
            problems.note((name, index, "code"), f"the model has no {code!r}. {hint}")


def _fit(
    result: dict[str, Any], fitted: tuple[str, ...], removed: tuple[str, ...], problems: Problems
) -> None:
    """Mark what is fitted and what is taken off."""
    by_code = {str(item.get("code")): item for name in LISTS for item in _items(result.get(name))}
    for both in sorted(set(fitted) & set(removed)):
        problems.note(("removed",), f"{both!r} is fitted too.")
    for key, codes, is_standard in (("fitted", fitted, True), ("removed", removed, False)):
        for code in codes:
            if code not in by_code:
                hint = did_you_mean(code, by_code, otherwise=f"It has: {', '.join(by_code)}.")
                problems.note((key,), f"the model has no accessory {code!r}. {hint}")
            else:
                by_code[code]["standard"] = is_standard


def _items(value: object) -> list[dict[str, Any]]:
    """Return the tables of an array of tables; the schema tells what is none."""
    items = cast("list[object]", value if isinstance(value, list) else [])
    return [cast("dict[str, Any]", item) for item in items if isinstance(item, dict)]


def _lay(into: Any, table: Mapping[str, Any], path: Path, problems: Problems) -> None:
    """Put a table's values into another's; tables within are laid over likewise."""
    if not isinstance(into, dict):
        problems.note(path, "is no table in the model's file.")
        return
    target = cast("dict[str, Any]", into)
    for name, value in table.items():
        if isinstance(value, dict) and isinstance(target.get(name), dict) and name not in WHOLE:
            _lay(target[name], cast("dict[str, Any]", value), (*path, name), problems)
        else:
            target[name] = deepcopy(cast("Any", value))


def check_overlay(content: bytes, where: str, name: str) -> str:
    """Return the model an overlay is for; its name must be that of the file's ``overlay``.

    Raises:
        FileError: ``file-damaged`` or ``file-problems``.
    """
    problems = Problems(where, content)
    site = problems.read(site_file(), parse_toml(content, where))
    if site.overlay and site.overlay != name:
        problems.note(("overlay",), f"is {site.overlay!r}, but the overlay is kept as {name!r}.")
    problems.finish("overlay")
    return site.model
