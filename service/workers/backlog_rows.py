"""Rows of answers for a page: filtered and sorted without holding all of them.

Only the columns that a filter or an order reads are read for all rows; whole rows are read for
those that are shown.
"""

from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ...catalogue.errors import InputError
from ..content import Content

compute: Any = pc
numpy: Any = np
SEARCHED: Final = ("job", "decided_by", "error", "error_text", "mitigations")
"""Columns in which a text is looked for."""
STEP: Final = 131_072


class BacklogRows(Content):
    """A part of the answers of a backlog."""

    total: int
    """How many fit."""
    first: int
    """Rows left out."""
    columns: list[str]
    items: list[dict[str, str | int | float | None]]
    """Rows by column."""


def rows_of(
    path: Path, *, verdict: str, machine: str, text: str, sort: str, first: int, count: int
) -> BacklogRows:
    """Return a part of the answers in a file, with how many fit.

    Raises:
        InputError: ``choice-unknown`` for a column that is not there.
    """
    whole: Any = pq.ParquetFile(path)
    names: list[str] = whole.schema_arrow.names
    column = sort.removeprefix("-")
    if column and column not in names:
        raise InputError("choice-unknown", f"there is no column {column[:40]!r}",
                         remedy=f"There are: {', '.join(names)}.")  # fmt: skip
    found = _fitting(whole, verdict, machine, text)
    total = whole.metadata.num_rows if found is None else len(found)
    if column:
        found = _ordered(whole, found, column, is_falling=sort.startswith("-"))
    if found is None:
        wanted = numpy.arange(min(first, total), min(first + count, total))
    else:
        wanted = found[first : first + count]
    return {"total": total, "first": first, "columns": names, "items": _taken(whole, wanted)}


def _fitting(whole: Any, verdict: str, machine: str, text: str) -> Any:
    """Return the numbers of the rows that fit, None for all of them."""
    exact = {"verdict": verdict, "machine": machine}
    columns = [name for name, value in exact.items() if value]
    columns += SEARCHED if text else ()
    if not columns:
        return None
    parts: list[Any] = []
    before = 0
    for batch in whole.iter_batches(STEP, columns=columns):
        keep: Any = pa.scalar(True)
        for name, value in exact.items():
            if value:
                wanted = "" if value == "none" else value
                keep = compute.and_(keep, compute.equal(batch[name], wanted))
        if text:
            keep = compute.and_(keep, _has(batch, text))
        mask = compute.fill_null(keep, False).to_numpy(zero_copy_only=False)
        parts.append(numpy.flatnonzero(mask) + before)
        before += batch.num_rows
    return numpy.concatenate(parts) if parts else numpy.arange(0)


def _has(batch: Any, text: str) -> Any:
    found: Any = pa.scalar(False)
    for name in SEARCHED:
        has = compute.match_substring(batch[name], text, ignore_case=True)
        found = compute.or_(found, compute.fill_null(has, False))
    return found


def _ordered(whole: Any, found: Any, column: str, *, is_falling: bool) -> Any:
    table: Any = whole.read(columns=[column])
    if found is not None:
        table = table.take(found)
    keys = [(column, "descending" if is_falling else "ascending")]
    order = compute.sort_indices(table, sort_keys=keys).to_numpy()
    return order if found is None else found[order]


def _taken(whole: Any, wanted: Any) -> list[dict[str, Any]]:
    """Return whole rows by their numbers, in the order of the numbers."""
    about = whole.metadata
    sizes: list[int] = [about.row_group(number).num_rows for number in range(about.num_row_groups)]
    begins: Any = numpy.concatenate(([0], numpy.cumsum(sizes)))
    items: list[dict[str, Any]] = [{}] * len(wanted)
    group_of: Any = numpy.searchsorted(begins, wanted, side="right") - 1
    for group in numpy.unique(group_of).tolist():
        places: Any = numpy.flatnonzero(group_of == group)
        rows: Any = whole.read_row_group(group).take(wanted[places] - begins[group]).to_pylist()
        for place, row in zip(places.tolist(), rows, strict=True):
            items[place] = row
    return items
