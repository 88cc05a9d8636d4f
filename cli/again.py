"""A kept answer worked out again from the revisions of its day, which must agree."""

import json
from collections.abc import Iterator
from itertools import zip_longest
from typing import TYPE_CHECKING, Any, cast

import typer

from ..catalogue.book.answers import Kept
from ..catalogue.book.records import minute
from ..catalogue.errors import CuttableError
from ..engine.answer_text import answer_text
from ..engine.version import VERSION
from .keeping import ask_again, desk_again, mark_of

if TYPE_CHECKING:
    from ..catalogue.book.connect import Book


def tell_again(book: "Book", kept: Kept, files: dict[str, bytes], *, is_json: bool) -> int:
    """Work an answer out again from the revisions of its day, and say whether it agrees."""
    desk, _ = desk_again(book, files, mark_of(kept))
    text = answer_text(ask_again(desk, kept))
    is_same = text == kept.text
    if is_json:
        typer.echo(text)
    elif is_same:
        typer.echo(f"Answer {kept.answer}: the same to the byte, from the revisions of "
                   f"{minute(kept.basis['at'])}.")  # fmt: skip
    if not is_same:
        differing = list(leaf_differences(json.loads(kept.text), json.loads(text)))
        fault = CuttableError(
            "answer-differs",
            f"answer {kept.answer} comes out otherwise: {len(differing)} values differ, first "
            + "; ".join(f"{key}: {_short(old)} → {_short(new)}" for key, old, new in differing[:3]),
            remedy=f"It was given by {kept.basis['tool']}, this is cuttable {VERSION}."
            if kept.basis["tool"] != f"cuttable {VERSION}"
            else "See that nothing was changed: cuttable book verify.",
        )
        typer.echo(f"cuttable: {fault}", err=True)
    return 0 if is_same else 1


def leaf_differences(before: Any, after: Any, key: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Yield dotted key, old and new value of everything that differs in two JSON values.

    A value that is missing on one side is None.
    """
    if isinstance(before, dict) and isinstance(after, dict):
        tables = cast("tuple[dict[str, Any], dict[str, Any]]", (before, after))
        for name in dict.fromkeys([*tables[0], *tables[1]]):
            inner = f"{key}.{name}" if key else name
            yield from leaf_differences(tables[0].get(name), tables[1].get(name), inner)
    elif isinstance(before, list) and isinstance(after, list):
        lists = cast("tuple[list[Any], list[Any]]", (before, after))
        for place, (old, new) in enumerate(zip_longest(*lists)):
            yield from leaf_differences(old, new, f"{key}[{place}]")
    elif before != after:
        yield key, before, after


def _short(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)[:60]
