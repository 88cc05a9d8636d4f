"""On which line of a TOML file each key stands, for messages about its value.

The parsers give values without places. Here a file that is already known to be valid is gone
through once more, statement by statement, and only when there is something to complain about.
Keys within inline tables and arrays have the line of the key in front.
"""

import re
from typing import Final

import tomli

Path = tuple[str | int, ...]
"""Keys, and numbers of items of arrays of tables, that lead to a value."""

# Texts first, for they may hold anything; a comment ends with its line.
_TOKEN: Final = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|#[^\n]*"
    r"|[\[\]{}\n=]"
    r"|[^\[\]{}\n=\"'#]+",
    re.DOTALL,
)


def lines_of(content: bytes) -> dict[Path, int]:
    """Return the line of every key, array item and table of a valid TOML file, from 1."""
    text = content.decode("utf-8").replace("\r\n", "\n")
    found: dict[Path, int] = {}
    items: dict[Path, int] = {}
    table: Path = ()
    number = 1
    for statement in _statements(text):
        line = number + statement[: len(statement) - len(statement.lstrip())].count("\n")
        number += statement.count("\n")
        plain = statement.strip()
        if plain.startswith("["):
            table = _header(plain, items)
            found.setdefault(table, line)
        elif "=" in plain:
            found.setdefault((*table, *_parts(_key(plain))), line)
    return found


def _statements(text: str) -> list[str]:
    """Return the statements of a file, each with the line ends before it."""
    statements: list[str] = []
    current: list[str] = []
    depth, has_value = 0, False
    for match in _TOKEN.finditer(text):
        piece = match[0]
        if piece.startswith("#"):
            continue
        depth += (piece in ("[", "{")) - (piece in ("]", "}"))
        has_value = has_value or bool(piece.strip())
        if piece == "\n" and depth == 0 and has_value:
            statements.append("".join(current))
            current, has_value = [piece], False
            continue
        current.append(piece)
    statements.append("".join(current))
    return statements


def _header(plain: str, items: dict[Path, int]) -> Path:
    """Return the path of a table's header; of an array of tables, with the item's number."""
    is_item = plain.startswith("[[")
    parts = _parts(plain.strip("[] \t\n"))
    path: Path = ()
    for index, part in enumerate(parts):
        path = (*path, part)
        is_last = index == len(parts) - 1
        if is_last and is_item:
            items[path] = items.get(path, -1) + 1
        if path in items:
            path = (*path, items[path])
    return path


def _key(plain: str) -> str:
    """Return what stands before the equals sign of a statement."""
    end = 0
    for match in _TOKEN.finditer(plain):
        if match[0] == "=":
            break
        end = match.end()
    return plain[:end]


def _parts(key: str) -> tuple[str, ...]:
    """Return a dotted key's parts, as the parser reads them."""
    inner: object = tomli.loads(f"{key} = 0")
    parts: list[str] = []
    while isinstance(inner, dict):
        ((part, inner),) = inner.items()  # pyright: ignore[reportUnknownVariableType]
        parts.append(str(part))  # pyright: ignore[reportUnknownArgumentType]
    return tuple(parts)
