"""What a draft would change over a backlog or the answers kept, within the folder of the task."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from ..catalogue.book import accounts
from ..catalogue.book.answers import inputs_of_all
from ..catalogue.book.connect import Book, open_book
from ..catalogue.book.difference import Difference
from ..catalogue.book.place import chosen
from ..catalogue.book.records import Revision
from ..catalogue.errors import InputError
from ..engine.backlog.draft_impact import attach, beside, compared, report_of, sides
from ..engine.backlog.from_answers import write_backlog
from ..engine.backlog.impact import Side, impact_of, models_only
from ..engine.backlog.impact_model import Impact, Source
from ..engine.backlog.impact_page import impact_page
from ..engine.backlog.impact_text import headline
from ..engine.backlog.reading import CHUNK_ROWS, digest_of_file, open_backlog
from ..engine.wording import System
from .backlog_answers import LEAST_ROWS, teller
from .backlogs import written
from .uploads import check_unpacked

KEPT: Final = "answers kept"


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
            path, name = _kept_jobs(book, folder), KEPT
            before, after = models_only(before), models_only(after)
        impact = _over(path, name, before, after, order, teller(folder, path))
        content = report_of(impact, draft, base, changed, others)
        _check_right(book, order["owner"])
        attach(book, draft, content, order["owner"])
    finally:
        book.close()
    page = _page(impact, draft, base, changed, before, "us" if order["units"] == "us" else "si")
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
        before, after, opened.chunks(rows), backlog=Source(name, digest_of_file(path)),
        workers=order["workers"],
        advance=lambda done: tell(done, opened.done / max(opened.size, 1)),
    )  # fmt: skip


def _kept_jobs(book: Book, folder: Path) -> Path:
    """Write the inputs of all answers kept as a backlog.

    Raises:
        InputError: ``answer-unknown`` where none is kept.
    """
    path = folder / "jobs.parquet"
    with book.reading() as connection:
        count = write_backlog(inputs_of_all(connection), path)
    if not count:
        raise InputError("answer-unknown", "the book keeps no answer yet",
                         remedy="Send a backlog.")  # fmt: skip
    return path


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


def _page(
    impact: Impact,
    draft: Revision,
    base: Revision,
    changed: list[Difference],
    side: Side,
    system: System,
) -> str:
    told = side.desk.provenance
    line = (
        f"{told.tool}; {draft.ref} {draft.content[7:15]} against {base.ref} {base.content[7:15]}; "
        f"rules {told.rules[7:15]}; catalogue {told.catalogue[7:15]}"
    )
    return impact_page(
        impact, title=f"What {draft.ref} would change",
        set_lines=[item.text() for item in changed], provenance=line, system=system,
    )  # fmt: skip
