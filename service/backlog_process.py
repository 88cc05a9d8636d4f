"""A backlog in a process of its own: ``python -m cuttable.service.backlog_process FOLDER``.

So that a million rows starve nobody who asks for one. What it has done is written down chunk by
chunk; started again it goes on from there.
"""

import json
import os
import signal
import sys
import traceback
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any

from ..catalogue.book.held import Held, Mark
from ..catalogue.book.place import place_of
from ..catalogue.errors import CuttableError, FileError
from ..engine.backlog.reading import CHUNK_ROWS, open_backlog
from ..engine.backlog.run import Asked, Runner, Tally
from ..engine.backlog.summary import html_report, summary_of
from ..engine.backlog.writing import open_answers
from ..engine.book_desk import desk_of

LEAST_ROWS = 50_000


def written(folder: Path, name: str, content: dict[str, Any]) -> None:
    """Write a small JSON file, whole or not at all."""
    beside = folder / f".{name}.part"
    beside.write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
    beside.replace(folder / name)


def work(folder: Path) -> None:
    """Answer the backlog of a folder.

    Raises:
        CuttableError: what is wrong with it.
    """
    order: dict[str, Any] = json.loads((folder / "order.json").read_text(encoding="utf-8"))
    place = place_of(order["book"])
    assert place is not None  # noqa: S101 - a service has a book
    held = Held(place, mark=Mark(order["at"], order["entries"]))
    desk = desk_of(held)
    asked = Asked(tuple(desk.machines(order["machines"])), order["is_best"])
    opened = open_backlog(folder / order["file"], order["sheet"])
    runner = Runner(desk, asked, order["workers"])
    answers = open_answers(
        folder / "answers.parquet", runner.schema, typed=("job", "error_text"),
        key={"mark": [order["at"], order["entries"]], "provenance": list(desk.provenance)},
        is_resumed=True,
    )  # fmt: skip
    try:
        if answers.rows_done:
            runner.tally = Tally(**answers.note)
        done_before = answers.rows_done
        models = 1 if asked.is_best else len(asked.machines)
        for chunk in opened.chunks(max(CHUNK_ROWS // (4 * models), LEAST_ROWS)):
            last = chunk.first_row + chunk.rows - 1
            if last <= done_before:
                continue
            batch = runner.answer(chunk.columns, chunk.rows, chunk.first_row, chunk.faults)
            answers.write(batch, last, asdict(runner.tally))
            share = opened.done / max(opened.size, 1)
            written(folder, "progress.json", {"rows": runner.tally.jobs, "share": min(share, 1.0)})
        answers.finish()
    except BaseException:
        answers.abandon()
        raise
    finally:
        runner.close()
    summary = summary_of(runner.tally, desk.rule_set, len(asked.machines))
    provenance = desk.provenance
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


def _ended(*_: object) -> None:
    sys.exit(143)


def main() -> None:
    """Run, and write down how it ended."""
    folder = Path(sys.argv[1])
    with suppress(OSError, AttributeError):
        os.nice(10)
    signal.signal(signal.SIGTERM, _ended)
    try:
        work(folder)
    except CuttableError as fault:
        problems = list(fault.problems) if isinstance(fault, FileError) else []
        written(folder, "fault.json", {"code": fault.code, "what": fault.what,
                                       "remedy": fault.remedy, "problems": problems})  # fmt: skip
        sys.exit(2)
    except Exception:  # noqa: BLE001 - told to the service, which tells the person
        traceback.print_exc()
        written(folder, "fault.json", {"code": "internal-fault", "what": "the tool failed",
                                       "remedy": "", "problems": []})  # fmt: skip
        sys.exit(3)


if __name__ == "__main__":
    main()
