"""What a draft would change over a backlog or the answers kept, within the folder of the task."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from ...catalogue.errors import InputError
from ...catalogue.ledger import accounts
from ...catalogue.ledger.database import Ledger, open_ledger
from ...catalogue.ledger.location import chosen
from ...engine.backlog.opened import CHUNK_ROWS
from ...engine.backlog.readers import open_backlog
from ...engine.impact.impact import Side, impact_of, models_only
from ...engine.impact.model import Impact, Source
from ...engine.impact.text import headline
from ...engine.review.draft_impact import (
    attach,
    beside,
    compared,
    draft_page,
    report_of,
    sides,
)
from ...engine.review.from_answers import KEPT, write_kept
from .backlog_answers import LEAST_ROWS, teller
from .task_folder import written
from .uploads import check_unpacked


def compare(folder: Path, order: dict[str, Any]) -> None:
    """Work out what a draft would change, and attach it to the draft in the asker's name.

    Raises:
        CuttableError: what is wrong with the draft or the jobs, or that the asker may not draft
            any more.
    """
    place = chosen(None)
    assert place is not None  # noqa: S101 - a service has a ledger
    ledger = open_ledger(place)
    try:
        draft, base, changed = compared(ledger, order["revision"])
        others = beside(ledger, draft)
        before, after = sides(ledger, draft, base)
        if "file" in order:
            path, name = folder / order["file"], order["name"]
            check_unpacked(path)
        else:
            path, name = folder / "jobs.parquet", KEPT
            write_kept(ledger, path, remedy="Send a backlog.")
            before, after = models_only(before), models_only(after)
        impact = _over(path, name, before, after, order, teller(folder, path))
        content = report_of(impact, draft, base, changed, others)
        _check_right(ledger, order["owner"])
        attach(ledger, draft, content, order["owner"])
    finally:
        ledger.close()
    page = draft_page(
        impact, draft, base, changed, before, "us" if order["units"] == "us" else "si"
    )
    (folder / "report.html").write_text(page, encoding="utf-8")
    written(folder, "impact.json", content)
    written(folder, "summary.json", {"headline": headline(impact), "totals": content["totals"]})


def _over(
    path: Path,
    name: str,
    before: Side,
    after: Side,
    order: dict[str, Any],
    tell: Callable[[int, float], None],
) -> Impact:
    opened = open_backlog(path, order.get("sheet", ""))
    rows = max(CHUNK_ROWS // (4 * max(len(before.machines), 1)), LEAST_ROWS)
    return impact_of(
        before, after, opened.chunks(rows), backlog=Source(name, opened.digest()),
        workers=order["workers"],
        advance=lambda done: tell(done, opened.done / max(opened.size, 1)),
    )  # fmt: skip


def _check_right(ledger: Ledger, owner: str) -> None:
    """Refuse to write in the name of somebody who may not draft any more.

    Raises:
        InputError: ``not-allowed``.
    """
    with ledger.reading() as connection:
        found = accounts.named(connection, owner)
    if found is None or "draft" not in found.rights:
        raise InputError("not-allowed", f"{owner} may not draft any more",
                         remedy="Ask an administrator.")  # fmt: skip
