"""``cuttable answer``: an answer given before, as it was, again, and today."""

import json
from typing import TYPE_CHECKING

import click

from ..catalogue.book.records import minute
from ..catalogue.errors import InputError
from ..engine.version import VERSION
from .desk import open_book
from .revisions import JSON

if TYPE_CHECKING:
    from ..catalogue.book.answers import Kept
    from ..catalogue.book.connect import Book

RECENT = 20


@click.command(
    "answer",
    epilog="""\b
Examples:
  cuttable answer               the answers kept last
  cuttable answer 17            as it was given
  cuttable answer 17 --again    worked out again from the revisions of that day
  cuttable answer 17 --today    what is different now, and why""",
)
@click.argument("name", metavar="[ANSWER]", required=False, default="")
@click.option("--again", "is_again", is_flag=True,
              help="Work it out again from the revisions of that day.")  # fmt: skip
@click.option("--today", "is_today", is_flag=True, help="What is different now, and why.")
@JSON
def command(name: str, *, is_again: bool, is_today: bool, is_json: bool) -> int:
    """Give an answer again that was kept (check --keep).

    ANSWER is its number, or the id of one of its verdicts. Without it: the answers kept last.

    Exit status of --again and --today: 0 the same, 1 different.
    """
    from ..catalogue.book import answers

    if is_again and is_today:
        raise InputError("option-needs", "--again and --today are two questions",
                         remedy="Ask one at a time.")  # fmt: skip
    book = open_book()
    if not name:
        return _list(book, is_json=is_json)
    with book.reading() as connection:
        kept = answers.find_answer(connection, name)
        files = answers.given_files(connection, kept)
    if is_again or is_today:
        from .again import tell_again
        from .today import tell_today

        tell = tell_again if is_again else tell_today
        return tell(book, kept, files, is_json=is_json)
    if is_json:
        click.echo(kept.text)
        return 0
    print_kept(kept)
    return 0


def _list(book: "Book", *, is_json: bool) -> int:
    from ..catalogue.book import answers
    from ..engine.keeping import asked_words
    from .render import print_rows

    with book.reading() as connection:
        found = answers.recent(connection, RECENT)
    if is_json:
        rows = [{"answer": number, "at": at, "asker": asker, "verdict": verdict or None,
                 "inputs": inputs} for number, at, asker, verdict, inputs in found]  # fmt: skip
        click.echo(json.dumps({"schema": "cuttable.answers/1", "answers": rows},
                              ensure_ascii=False, indent=2))  # fmt: skip
        return 0
    if not found:
        click.echo("No answer is kept yet. Keep one: cuttable check … --keep")
        return 0
    print_rows(
        ("answer", "when (UTC)", "asked by", "best", "what was asked"),
        (
            (str(number), minute(at).removesuffix(" UTC"), asker, verdict or "question open",
             asked_words(inputs))
            for number, at, asker, verdict, inputs in found
        ),
    )  # fmt: skip
    return 0


def print_kept(kept: "Kept") -> None:
    """Print an answer as it was given, by the words of ``check``: every model in full."""
    from ..engine.answer.document import read_reply
    from ..engine.keeping import asked_words
    from .render import console, print_answer
    from .rows import paragraph

    screen = console()
    screen.print(f"Answer {kept.answer}, given to {kept.asker} on {minute(kept.at)} by "
                 f"{kept.basis['tool']}", soft_wrap=True, markup=False)  # fmt: skip
    screen.print(paragraph(asked_words(kept.inputs), screen.width))
    screen.print()
    system = "us" if kept.inputs["units"] == "us" else "si"
    print_answer(read_reply(kept.text), system, is_full=True, is_every=True)
    if kept.basis["tool"] != f"cuttable {VERSION}":
        screen.print(f"This tool is cuttable {VERSION}.")
