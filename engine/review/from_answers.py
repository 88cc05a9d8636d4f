"""Answers given so far as a backlog: what was asked, a row for each model it was asked on."""

# Arrow has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

import pyarrow as pa
import pyarrow.parquet as pq

from ...catalogue.errors import InputError
from ...catalogue.ledger.answers import inputs_of_all
from ...catalogue.ledger.database import Ledger
from ..backlog.parse_jobs import COLUMNS

NAMES: Final = ("job", "machine", *COLUMNS)
STEP: Final = 50_000
"""Rows written at a time."""


KEPT: Final = "answers kept"
"""What such a backlog is called."""


def write_kept(ledger: Ledger, path: Path, *, remedy: str) -> None:
    """Write the inputs of all answers a ledger keeps as a Parquet backlog.

    Args:
        ledger: the ledger.
        path: the file.
        remedy: what to do where it keeps none.

    Raises:
        InputError: ``answer-unknown`` where none is kept.
    """
    with ledger.reading() as connection:
        count = write_backlog(inputs_of_all(connection), path)
    if not count:
        raise InputError("answer-unknown", "the ledger keeps no answer yet", remedy=remedy)


def write_backlog(answers: Iterable[tuple[int, str]], path: Path) -> int:
    """Write inputs of answers as a Parquet backlog and return the number of its rows.

    Args:
        answers: number and inputs (JSON, as the ledger keeps them).
        path: the file.

    An answer asked on machine files given by path is left out for those: they are no revision
    of the ledger.
    """
    schema = pa.schema([pa.field(name, pa.string()) for name in NAMES])
    rows: list[dict[str, str]] = []
    count = 0
    with pq.ParquetWriter(path, schema) as writer:
        for number, text in answers:
            inputs = json.loads(text)
            job = _cells(inputs["job"]) | {"job": str(number)}
            machines = inputs["machines"]
            named = [name for name in machines if not name.casefold().endswith(".toml")]
            rows += [job | {"machine": name} for name in named] if machines else [job]
            if len(rows) >= STEP:
                writer.write_table(pa.Table.from_pylist(rows, schema=schema))
                count += len(rows)
                rows = []
        if rows:
            writer.write_table(pa.Table.from_pylist(rows, schema=schema))
            count += len(rows)
    return count


def _cells(job: Mapping[str, str | list[str]]) -> dict[str, str]:
    """Return a job as typed as the cells of a backlog."""
    return {
        name: " + ".join(value) if isinstance(value, list) else str(value)
        for name, value in job.items()
    }
