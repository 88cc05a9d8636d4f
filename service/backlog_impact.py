"""What a draft would change over a backlog or the answers kept, within the folder of the task."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..catalogue.book import accounts
from ..catalogue.book.connect import Book, open_book
from ..catalogue.book.place import chosen
from ..catalogue.errors import InputError
from ..engine.backlog.draft_impact import (
    attach,
    beside,
    compared,
    draft_page,
    report_of,
    sides,
)
from ..engine.backlog.from_answers import KEPT, write_kept
from ..engine.backlog.impact import Side, impact_of, models_only
from ..engine.backlog.impact_model import Impact, Source
from ..engine.backlog.impact_text import headline
from ..engine.backlog.reading import CHUNK_ROWS, open_backlog
from .backlog_answers import LEAST_ROWS, teller
from .backlogs import written
from .uploads import check_unpacked


def compare(folder: Path, order: dict[str, Any]) -> None:
    """Work out what a draft would change, and attach it to the draft in the asker's name.

    Raises:
        CuttableError: what is wrong with the draft or the jobs, or that the asker may not draft
            any more.
    """
    place = chosen(None)
    assert place is not None  # noqa: S101 - a service has a book
    book = open_book(place)
    try:
        draft, base, changed = compared(book, order["revision"])
        others = beside(book, draft)
        before, after = sides(book, draft, base)
        if "file" in order:
            path, name = folder / order["file"], order["name"]
            check_unpacked(path)
        else:
            path, name = folder / "jobs.parquet", KEPT
            write_kept(book, path, remedy="Send a backlog.")
            before, after = models_only(before), models_only(after)
        impact = _over(path, name, before, after, order, teller(folder, path))
        content = report_of(impact, draft, base, changed, others)
        _check_right(book, order["owner"])
        attach(book, draft, content, order["owner"])
    finally:
        book.close()
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


def _check_right(book: Book, owner: str) -> None:
    """Refuse to write in the name of somebody who may not draft any more.

    Raises:
        InputError: ``not-allowed``.
    """
    with book.reading() as connection:
        found = accounts.named(connection, owner)
    if found is None or "draft" not in found.rights:
        raise InputError("not-allowed", f"{owner} may not draft any more",
                         remedy="Ask an administrator.")  # fmt: skip
