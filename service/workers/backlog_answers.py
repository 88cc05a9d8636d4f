"""Answer a backlog within its folder, and write its answers as other kinds of file."""

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import astuple
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from ...catalogue.errors import FileError
from ...catalogue.ledger.location import chosen
from ...catalogue.ledger.snapshot import Mark, Snapshot
from ...engine.backlog.asked import Asked
from ...engine.backlog.opened import CHUNK_ROWS
from ...engine.backlog.pipeline import answer_all
from ...engine.backlog.readers import open_backlog
from ...engine.backlog.runner import Runner
from ...engine.backlog.summary import html_report, summary_of
from ...engine.backlog.writers import Answers, open_answers
from ...engine.review.ledger_assessor import assessor_of
from .task_folder import written
from .uploads import check_unpacked

LEAST_ROWS: Final = 50_000
TYPED: Final = ("job", "error_text")
"""Columns with text that somebody typed."""


def answer(folder: Path, order: dict[str, Any]) -> None:
    """Answer the backlog of a folder; what is answered already is not answered again.

    Raises:
        CuttableError: what is wrong with it.
    """
    path = folder / order["file"]
    check_unpacked(path)
    place = chosen(None)
    assert place is not None  # noqa: S101 - a service has a ledger
    assessor = assessor_of(Snapshot(place, mark=Mark(order["at"], order["entries"])))
    asked = Asked(tuple(assessor.machines(order["machines"])), order["is_best"])
    opened = open_backlog(path, order["sheet"])
    runner = Runner(assessor, asked, order["workers"])
    answers = _begun_or_anew(
        folder / "answers.parquet", runner.schema,
        {"mark": [order["at"], order["entries"]], "provenance": list(astuple(assessor.provenance))},
    )  # fmt: skip
    try:
        tell = teller(folder, path)
        models = 1 if asked.is_best else len(asked.machines)
        answer_all(
            opened, runner, answers, rows_at_once=max(CHUNK_ROWS // (4 * models), LEAST_ROWS),
            advance=lambda rows: tell(rows, opened.done / max(opened.size, 1)),
        )  # fmt: skip
        answers.finish()
    except BaseException:
        answers.abandon()
        raise
    finally:
        runner.close()
    summary = summary_of(runner.tally, assessor.rule_set, len(asked.machines))
    provenance = assessor.provenance
    line = f"{provenance.tool}; rules {provenance.rules[7:15]}"
    page = html_report(summary, about=order["name"], provenance=line)
    (folder / "report.html").write_text(page, encoding="utf-8")
    written(folder, "summary.json", {
        "headline": summary.headline,
        "mapping": opened.mapping.sentence(),
        "jobs": [list(row) for row in summary.jobs],
        "tables": [{"title": table.title, "rows": [list(row) for row in table.rows]}
                   for table in summary.tables],
        "taken": [list(row) for row in summary.taken],
        "verdicts": runner.tally.verdicts,
    })  # fmt: skip


def _begun_or_anew(path: Path, schema: pa.Schema, key: Mapping[str, Any]) -> Answers:
    """Go on with answers that were begun, unless some of them were lost with the machine."""
    try:
        return open_answers(path, schema, typed=TYPED, key=key, is_resumed=True)
    except FileError as fault:
        if fault.code != "resume-damaged":
            raise
    return open_answers(path, schema, typed=TYPED, key=key)


def teller(folder: Path, path: Path) -> Callable[[int, float], None]:
    """Return what writes down how far a task is: rows done, and the share of the file read."""
    total = rows_in(path)

    def tell(rows: int, share: float) -> None:
        # Pieces of a file are read ahead; rows tell better what is done.
        done = rows / total if total else share
        written(folder, "progress.json", {"rows": rows, "share": min(done, 1.0)})

    return tell


def rows_in(path: Path) -> int:
    """Return about how many rows a backlog has; 0 where that takes reading all of it."""
    if path.suffix == ".xlsx":
        return 0
    if path.suffix == ".parquet":
        with suppress(pa.ArrowInvalid, OSError):
            return int(pq.ParquetFile(path).metadata.num_rows)
        return 0
    with path.open("rb") as file:
        blocks = iter(lambda: file.read(1 << 20), b"")
        return max(sum(block.count(b"\n") for block in blocks) - 1, 1)


def convert(source: Path, target: Path) -> None:
    """Write answers as another kind of file: text never becomes a formula.

    Raises:
        FileError: ``output-unwritable``, where a worksheet cannot hold them.
    """
    whole: Any = pq.ParquetFile(source)
    made = open_answers(target, whole.schema_arrow, typed=TYPED, key={}, is_resumed=False)
    done = 0
    try:
        for batch in whole.iter_batches(65_536):
            done += batch.num_rows
            made.write(batch, done, {})
        made.finish()
    except BaseException:
        made.abandon()
        raise
