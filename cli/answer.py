"""``cuttable answer``: an answer given before, as it was, again, and today."""

import json
from typing import TYPE_CHECKING, Annotated

import typer

from ..catalogue.errors import InputError
from ..catalogue.ledger.records import minute
from ..engine.version import VERSION
from .apps import new_app
from .context import open_ledger
from .options import Json, command

if TYPE_CHECKING:
    from ..catalogue.ledger.answers import Kept
    from ..catalogue.ledger.database import Ledger

RECENT = 20


app = new_app()


@command(
    app,
    "answer",
    epilog="""\b
Examples:
  cuttable answer               the answers kept last
  cuttable answer 17            as it was given
  cuttable answer 17 --again    worked out again from the revisions of that day
  cuttable answer 17 --today    what is different now, and why""",
)
def answer(
    name: Annotated[
        str,
        typer.Argument(
            metavar="[ANSWER]", show_default=False,
            help="Its number, or the id of one of its verdicts. Without it: the answers kept last.",
        ),
    ] = "",
    *,
    is_again: Annotated[
        bool, typer.Option("--again", help="Work it out again from the revisions of that day.")
    ] = False,
    is_today: Annotated[
        bool, typer.Option("--today", help="What is different now, and why.")
    ] = False,
    is_json: Json = False,
) -> int:  # fmt: skip
    """An answer given before: as it was, again, and today.

    Answers are kept by check --keep.

    Exit status of --again and --today: 0 the same, 1 different.
    """
    from ..catalogue.ledger import answers

    if is_again and is_today:
        raise InputError("option-needs", "--again and --today are two questions",
                         remedy="Ask one at a time.")  # fmt: skip
    ledger = open_ledger()
    if not name:
        return _list(ledger, is_json=is_json)
    with ledger.reading() as connection:
        kept = answers.find_answer(connection, name)
        files = answers.given_files(connection, kept)
    if is_again or is_today:
        from .reassess import tell_today
        from .replay import tell_again

        tell = tell_again if is_again else tell_today
        return tell(ledger, kept, files, is_json=is_json)
    if is_json:
        typer.echo(kept.text)
        return 0
    print_kept(kept)
    return 0


def _list(ledger: "Ledger", *, is_json: bool) -> int:
    from ..catalogue.ledger import answers
    from ..engine.review.recording import asked_words
    from .terminal.layout import print_rows

    with ledger.reading() as connection:
        found = answers.recent(connection, RECENT)
    if is_json:
        rows = [{"answer": number, "at": at, "asker": asker, "verdict": verdict or None,
                 "inputs": inputs} for number, at, asker, verdict, inputs in found]  # fmt: skip
        typer.echo(json.dumps({"schema": "cuttable.answers/1", "answers": rows},
                              ensure_ascii=False, indent=2))  # fmt: skip
        return 0
    if not found:
        typer.echo("No answer is kept yet. Keep one: cuttable check … --keep")
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
    from ..engine.review.recording import asked_words
    from .terminal.layout import console, print_answer
    from .terminal.rows import paragraph

    screen = console()
    screen.print(f"Answer {kept.answer}, given to {kept.asker} on {minute(kept.at)} by "
                 f"{kept.basis['tool']}", soft_wrap=True, markup=False)  # fmt: skip
    screen.print(paragraph(asked_words(kept.inputs), screen.width))
    screen.print()
    system = "us" if kept.inputs["units"] == "us" else "si"
    print_answer(read_reply(kept.text), system, is_full=True, is_every=True)
    if kept.basis["tool"] != f"cuttable {VERSION}":
        screen.print(f"This tool is cuttable {VERSION}.")
