"""What differs at one site: a small file laid over the file of a machine model.

An overlay says what is fitted, and states anew what is not as the model was released: a bigger
chuck, worn rollers, other limits, lifting gear and persons. It is merged into the model's data,
which are then read as strictly as any machine file.
"""

from collections.abc import Mapping
from copy import deepcopy
from typing import Any, Final, cast

from .errors import FileError
from .nearest import did_you_mean
from .reading import Reader

MARK: Final = "@"
"""Stands between the code of a model and the name of a site or serial number."""

CHANGES: Final = ("limits", "rotary", "chuck", "bed", "cutting", "handling")
"""Tables of a machine file that an overlay may state in part."""

LISTS: Final = ("supports", "accessories")
"""Arrays of tables, whose items go by their code."""


WHOLE: Final = frozenset({"rated", "ramp"})
"""Tables that are one value: a reference piece, a ramp of another kind."""


def merged(base: Mapping[str, Any], over: Mapping[str, Any], where: str) -> dict[str, Any]:
    """Return a model's data with an overlay's laid over them.

    Args:
        base: the model's file, parsed.
        over: the overlay's file, parsed.
        where: the overlay, for messages.

    Raises:
        FileError: ``file-problems``: unknown keys, another model, a code that the model has not.
    """
    top = Reader(dict(over), where)
    top.integer("schema", 1, 1)
    model, _, title = top.text("model"), top.text("overlay"), top.text("title")
    if model and model != base.get("model"):
        top.problem("model", f"is laid over {base.get('model')!r}.")
    result = deepcopy(dict(base))
    result["title"] = f"{base.get('title', '')}; {title}"
    for name in CHANGES:
        if top.has(name):
            table = top.table(name)
            if name == "limits":
                _check_basis(table)
            _lay(result.setdefault(name, {}), table)
    for name in LISTS:
        _lay_list(top, name, result)
    _fit(top, result)
    top.done()
    top.finish("overlay")
    return result


def _lay_list(top: Reader, name: str, result: dict[str, Any]) -> None:
    """Lay the items of an array of tables over those of the same code."""
    items = top.tables(name, optional=True)
    codes = [str(item.data.get("code")) for item in items]
    for twice in sorted({code for code in codes if codes.count(code) > 1}):
        top.problem(name, f"the code {twice!r} is there more than once.")
    for item in items:
        reaction = item.data.get("reaction")
        if isinstance(reaction, dict) and "basis" not in reaction:
            item.problem("reaction.basis", "is missing: what is stated anew has its own basis.")
        _lay_item(result.setdefault(name, []), item)


def _fit(top: Reader, result: dict[str, Any]) -> None:
    """Mark what is fitted and what is taken off."""
    by_code = {str(item.get("code")): item for name in LISTS for item in _items(result.get(name))}
    fitted, removed = top.texts("fitted", default=()), top.texts("removed", default=())
    for both in sorted(set(fitted) & set(removed)):
        top.problem("removed", f"{both!r} is fitted too.")
    for key, codes, is_standard in (("fitted", fitted, True), ("removed", removed, False)):
        for code in codes:
            if code not in by_code:
                hint = did_you_mean(code, by_code, otherwise=f"It has: {', '.join(by_code)}.")
                top.problem(key, f"the model has no accessory {code!r}. {hint}")
            else:
                by_code[code]["standard"] = is_standard


def _check_basis(limits: Reader) -> None:
    """Note every limit that states a number anew under the model's basis."""
    for name, value in limits.data.items():
        if not isinstance(value, dict):
            continue
        stated = cast("dict[str, Any]", value)
        if name == "wall":
            _check_basis(Reader(stated, limits.where, limits.problems, limits.key(name)))
        elif "basis" not in stated:
            limits.problem(f"{name}.basis", "is missing: what is stated anew has its own basis.")


def _items(value: object) -> list[dict[str, Any]]:
    """Return the tables of an array of tables; the reader tells later what is none."""
    items = cast("list[object]", value if isinstance(value, list) else [])
    return [cast("dict[str, Any]", item) for item in items if isinstance(item, dict)]


def _lay(into: Any, table: Reader) -> None:
    """Put a table's values into another's; tables within are laid over likewise."""
    if not isinstance(into, dict):
        table.problem("", "is no table in the model's file.")
        return
    target = cast("dict[str, Any]", into)
    for name, value in table.data.items():
        if isinstance(value, dict) and isinstance(target.get(name), dict) and name not in WHOLE:
            _lay(target[name], table.table(name))
        else:
            target[name] = deepcopy(cast("Any", value))


def _lay_item(items: Any, table: Reader) -> None:
    """Lay an item over the one of its code, or add a whole new one."""
    code = table.text("code")
    known = {str(item.get("code")): item for item in _items(items)}
    if code in known:
        _lay(known[code], table)
    elif {"title", "standard"} <= set(table.data):
        items.append(deepcopy(table.data))
    else:
        hint = did_you_mean(code, known, otherwise=f"It has: {', '.join(known)}.")
        table.problem("code", f"the model has no {code!r}. {hint}")


def check_overlay(content: Mapping[str, Any], where: str, name: str) -> str:
    """Return the model an overlay is for; its name must be that of the file's ``overlay``.

    Raises:
        FileError: ``file-problems``.
    """
    top = Reader(dict(content), where)
    model, said = top.text("model"), top.text("overlay")
    if said and said != name:
        top.problem("overlay", f"is {said!r}, but the overlay is kept as {name!r}.")
    if top.problems:
        raise FileError(
            "file-problems", "overlay is wrong", where=where, problems=tuple(top.problems)
        )
    return model
