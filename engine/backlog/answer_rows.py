"""Answers of a chunk as rows of a file: the columns it has, and an Arrow batch of them."""

# Arrow has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false
# pyright: reportUnknownArgumentType=false

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from .answer import WORDS
from .parse_jobs import Texts
from .runner import Decided, Runner


def schema_of(number_names: Sequence[str]) -> pa.Schema:
    """Return the columns of an answer that has these numbers."""
    texts = ("job", "machine", *WORDS)
    return pa.schema(
        [pa.field("row", pa.int64())]
        + [pa.field(name, pa.string()) for name in texts]
        + [pa.field(name, pa.float64()) for name in number_names]
        + [pa.field(name, pa.string()) for name in ("grade", "error", "error_text")]
    )


def batch_of(
    runner: Runner, names: Texts | None, first_row: int, decided: Decided
) -> pa.RecordBatch:
    """Return the answers of a chunk, one row each.

    Args:
        runner: what decided it.
        names: the chunk's column of job names, where it has one.
        first_row: number of its first row in the file.
        decided: the chunk; no other was decided since.
    """
    job = decided.answered.job
    schema = runner.schema
    made: dict[str, Any] = {"row": pa.array(job + first_row)}
    made["job"] = pa.nulls(len(job), pa.string())
    if names is not None:
        made["job"] = _taken(names.values, names.code[job])
    codes = [machine.code for machine in runner.machines]
    made["machine"] = _taken(codes, decided.answered.machine)
    for name in WORDS:
        made[name] = _taken(*runner.words(name, decided))
    for name in runner.number_names:
        made[name] = pa.array(runner.numbers(name, decided), from_pandas=True)
    made["grade"] = _taken(*decided.grade)
    errors, code = runner.errors(decided)
    for number, name in enumerate(("error", "error_text")):
        made[name] = _taken([item[number] for item in errors], code)
    return pa.record_batch([made[name] for name in schema.names], schema=schema)


def _taken(texts: Sequence[str], code: NDArray[Any]) -> "pa.Array[Any]":
    """Return the texts of codes as a string array."""
    places: Any = pa.array(code.astype(np.int32))
    if isinstance(texts, pa.ChunkedArray):
        known: Any = texts.combine_chunks()
        is_whole = len(code) == len(texts) and bool((code == np.arange(len(code))).all())
        return known if is_whole else known.take(places)
    # A dictionary cast to its texts: three times as fast as taking them.
    coded = pa.DictionaryArray.from_arrays(places, pa.array(texts, type=pa.string()))
    return coded.cast(pa.string())
