"""A kept answer asked again, of the revisions of its day or of today, and why it differs."""

from pathlib import Path
from typing import Final

from ...catalogue.book import history, lifecycle
from ...catalogue.book.answers import Kept
from ...catalogue.book.connect import Book
from ...catalogue.book.held import Held, Mark
from ...catalogue.book.records import RULES, WHOLE
from ...catalogue.overlay import MARK
from ..answer.document import Provenance, Reply, read_reply, text_of
from ..ask import Desk
from ..book_desk import desk_of
from ..keeping import question_of

MOST: Final = 12
"""Changes of a revision that are told by name."""


def mark_of(kept: Kept) -> Mark:
    """Return the point in the book's life that an answer rests on."""
    return Mark(kept.basis["at"], kept.basis["entries"])


def desk_for(held: Held, files: dict[str, bytes]) -> Desk:
    """Return the desk to ask again at.

    Args:
        held: the book at a moment.
        files: machine files that were given by path, as they were then.

    Raises:
        CuttableError: the book is damaged.
    """
    desk = desk_of(held)
    desk.catalogue.given_files |= {str(Path(name)): content for name, content in files.items()}
    return desk


def ask_again(desk: Desk, kept: Kept) -> Reply:
    """Ask a desk what was asked.

    Raises:
        CuttableError: the job cannot be read there.
    """
    job, machines, units = question_of(kept)
    return desk.ask(job, machines, system=units)


def text_again(desk: Desk, kept: Kept) -> str:
    """Return the answer worked out again as text, with the keys it was kept with.

    It is the same to the byte where nothing else is different.

    Raises:
        CuttableError: the job cannot be read there, or the kept text is no answer.
    """
    return text_of(ask_again(desk, kept), read_reply(kept.text).form)


def reasons(book: Book, kept: Kept, provenance: Provenance, after: Reply) -> list[str]:
    """Return what has changed since an answer was given, in sentences.

    Args:
        book: that keeps the answer.
        kept: the answer.
        provenance: what an answer of today rests on.
        after: the answer of today; empty where there is none.
    """
    then, now = Held(book.place, mark=mark_of(kept), now=book.clock()), Held(
        book.place, now=book.clock()
    )  # fmt: skip
    told: list[str] = []
    used = {item.machine.model for item in after.verdicts}
    used |= {model for model, *_ in kept.basis["machines"]}
    documents = {name for model in used for name in (model, model.split(MARK)[0])}
    for document in [*sorted(documents), *sorted(WHOLE)]:
        old, new = (side.numbers.get(document, (0, ""))[0] for side in (then, now))
        if new and new != old:
            told.append(_change(book, document, old, new))
    then.close()
    now.close()
    if kept.basis["tool"] != provenance.tool:
        told.append(f"{kept.basis['tool']} → {provenance.tool}")
    is_told = any(line.startswith(f"{RULES}/") for line in told)
    if kept.basis["rules"] != provenance.rules and not is_told:
        told.append("Rules began or ended by their dates since.")
    return told


def _change(book: Book, document: str, old: int, new: int) -> str:
    """Return in a sentence what came into force of a document since."""
    with book.reading() as connection:
        now = lifecycle.revision(connection, document, new)
        by = f"approved by {now.approver} ({now.reason})"
        if not old:
            return f"{now.ref} is new, {by}"
        then = lifecycle.revision(connection, document, old)
        changes = history.changes(connection, then, now)
    listed = "; ".join(item.text() for item in changes[:MOST]) or "nothing but comments"
    more = f"; and {len(changes) - MOST} more" if len(changes) > MOST else ""
    return f"{then.ref} → {now.ref}, {by}: {listed}{more}"
