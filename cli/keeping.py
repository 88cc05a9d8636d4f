"""Ask a book and keep the answer in it, so that it can be given again."""

from collections.abc import Sequence
from pathlib import Path

import typer

from ..catalogue.book.answers import keep_answers
from ..catalogue.book.held import Held
from ..catalogue.reading import read_bytes
from ..engine.answer.document import Reply
from ..engine.ask import Desk
from ..engine.book_desk import desk_of
from ..engine.job import JobText
from ..engine.keeping import new_answer
from ..engine.wording import System
from .desk import open_book, person


def ask_and_keep(
    text: JobText,
    machines: Sequence[str],
    system: System,
    who: str | None,
    *,
    is_traced: bool = False,
) -> tuple[Reply, Desk]:
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
    reply = desk.ask(text, machines, system=system, is_traced=is_traced)
    (number,) = keep_answers(
        book, asker, [new_answer(reply, desk, held.mark, text, machines, system, given)]
    )
    typer.echo(f"Kept as answer {number}: cuttable answer {number}", err=True)
    return reply, desk
