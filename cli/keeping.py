"""Ask a book and keep the answer in it, so that it can be given again."""

from collections.abc import Sequence
from pathlib import Path

import typer

from ..catalogue.book.answers import Kept, keep_answers
from ..catalogue.book.connect import Book
from ..catalogue.book.held import Held, Mark
from ..catalogue.reading import read_bytes
from ..engine.ask import Answer, Desk
from ..engine.book_desk import desk_of
from ..engine.job import JobText
from ..engine.keeping import new_answer, question_of
from ..engine.wording import System
from .desk import open_book, person


def ask_and_keep(
    text: JobText, machines: Sequence[str], system: System, who: str | None
) -> tuple[Answer, Desk]:
    """Return the answer of the book that is asked, and the desk; the answer is kept there.

    Raises:
        CuttableError: the job cannot be read, or the book cannot be written: then there is no
            answer, for one that is not kept could not be given again.
    """
    asker = person(who)
    book = open_book(is_made=True)
    held = Held(book.place, now=book.clock())
    desk = desk_of(held)
    given = {name: read_bytes(Path(name)) for name in machines
             if name.casefold().endswith(".toml")}  # fmt: skip
    desk.catalogue.given_files |= {str(Path(name)): content for name, content in given.items()}
    answer = desk.ask(text, machines, system=system)
    (number,) = keep_answers(
        book, asker, [new_answer(answer, desk, held.mark, text, machines, system, given)]
    )
    typer.echo(f"Kept as answer {number}: cuttable answer {number}", err=True)
    return answer, desk


def mark_of(kept: Kept) -> Mark:
    """Return the point in the book's life that an answer rests on."""
    return Mark(kept.basis["at"], kept.basis["entries"])


def desk_again(book: Book, files: dict[str, bytes], mark: Mark | None = None) -> tuple[Desk, Held]:
    """Return the desk to ask again at, of a point in the book's life or of today.

    Args:
        book: where the answer is kept.
        files: machine files that were given by path, as they were then.
        mark: the point; today without.

    Raises:
        CuttableError: the book is damaged.
    """
    held = Held(book.place, mark=mark, now=book.clock())
    desk = desk_of(held)
    desk.catalogue.given_files |= {str(Path(name)): content for name, content in files.items()}
    return desk, held


def ask_again(desk: Desk, kept: Kept) -> Answer:
    """Ask a desk what was asked.

    Raises:
        CuttableError: the job cannot be read there.
    """
    job, machines, units = question_of(kept)
    return desk.ask(job, machines, system=units)
