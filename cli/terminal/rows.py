"""Aligned columns and hanging paragraphs as styled text, without trailing space.

Small and quick on purpose: an answer is a few dozen rows, and the tool starts for each one.
"""

import textwrap
from collections.abc import Sequence
from typing import Final

from rich.text import Text

Cell = str | Text
GAP: Final = 2
NARROWEST: Final = 12


def counted(count: int, noun: str) -> str:
    """Return ``1 revision`` or ``2 revisions``; ``entry`` becomes ``entries``."""
    if count == 1:
        return f"1 {noun}"
    return f"{count} {noun[:-1]}ies" if noun.endswith("y") else f"{count} {noun}s"


def paragraph(text: str, width: int, *, indent: int = 0, mark: str = "", style: str = "") -> Text:
    """Return a wrapped paragraph; ``mark`` hangs before its first line."""
    first = " " * indent + mark
    lines = textwrap.wrap(
        text,
        max(width, indent + len(mark) + NARROWEST),
        initial_indent=first,
        subsequent_indent=" " * len(first),
        break_long_words=False,
        break_on_hyphens=False,
    )
    return Text("\n".join(lines) or first.rstrip(), style=style)


def columns(
    rows: Sequence[Sequence[Cell]], width: int, *, heads: Sequence[str] = (), indent: int = 0
) -> Text:
    """Return rows as aligned columns; the widest column wraps where they do not fit.

    Where even wrapped they do not, each row becomes a block with a line for each of its cells.
    """
    table = [[_text(cell) for cell in row] for row in rows]
    titles = [Text(head, style="dim") for head in heads]
    everything = [titles, *table] if heads else table
    if not everything:
        return Text()
    count = max(len(row) for row in everything)
    widths = [max((len(row[n]) for row in everything if n < len(row)), default=0)
              for n in range(count)]  # fmt: skip
    room = width - indent - GAP * (count - 1)
    least = [max(_least(row[n]) for row in everything if n < len(row)) for n in range(count)]
    while sum(widths) > room:
        able = [n for n in range(count) if widths[n] > least[n]]
        if not able:
            break
        widths[max(able, key=lambda n: widths[n])] -= 1
    result = Text()
    if sum(widths) > room:
        for row in table:
            _add_block(result, row, heads, width, indent)
        result.right_crop(1)
        return result
    for row in everything:
        _add_row(result, row, widths, indent)
    result.right_crop(1)
    return result


def _add_block(
    result: Text, row: Sequence[Text], heads: Sequence[str], width: int, indent: int
) -> None:
    """Add one row as a block: its first cell, then every other one under its head."""
    for place, cell in enumerate(row):
        if not cell.plain.strip():
            continue
        head = f"{heads[place]}: " if place and place < len(heads) and heads[place] else ""
        block = paragraph(
            f"{head}{cell.plain}", width, indent=indent + (2 if place else 0), style=str(cell.style)
        )
        result.append_text(block)
        result.append("\n")


def _add_row(result: Text, row: Sequence[Text], widths: Sequence[int], indent: int) -> None:
    """Add one row, which takes as many lines as its longest cell."""
    cells = [_wrapped(cell, size) for cell, size in zip(row, widths, strict=False)]
    for line in range(max((len(cell) for cell in cells), default=0)):
        built = Text(" " * indent)
        for cell, size in zip(cells, widths, strict=False):
            piece = cell[line] if line < len(cell) else Text()
            built.append_text(piece)
            built.append(" " * (size - len(piece) + GAP))
        built.rstrip()
        result.append_text(built)
        result.append("\n")


def _least(cell: Text) -> int:
    """Return the width that a cell needs: its longest word, and no less than a short line."""
    longest = max((len(word) for word in cell.plain.split()), default=0)
    return max(longest, min(len(cell), NARROWEST))


def _wrapped(cell: Text, size: int) -> list[Text]:
    if len(cell) <= size:
        return [cell]
    lines = textwrap.wrap(cell.plain, size, break_on_hyphens=False)
    return [Text(line, style=cell.style) for line in lines]


def _text(cell: Cell) -> Text:
    return cell if isinstance(cell, Text) else Text(cell)
