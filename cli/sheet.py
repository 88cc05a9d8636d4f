"""``cuttable sheet``: the one page an operator works from."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from ..catalogue.errors import InputError, OpenQuestion
from ..engine.answer.wording import system_of
from ..engine.jobs.fields import JobText
from .apps import new_app
from .context import open_assessor
from .files import write_whole
from .options import JOB, UnitsTyped, Words, command, machine_codes, section_and_length

app = new_app()


@command(
    app,
    "sheet",
    fields=JOB,
    takes_negative=True,
    epilog="""\b
Example:
  cuttable sheet "NPS 4 SCH 40" "20 ft" --machine rowan-150 --part "4 ft*3" --out sheet.pdf""",
)
def sheet(
    ctx: typer.Context,
    *,
    words: Words,
    machines: Annotated[
        list[str],
        typer.Option("--machine", metavar="CODE|FILE.toml", autocompletion=machine_codes,
                     default_factory=list, show_default=False, help="The machine to set up."),
    ],
    said: Mapping[str, Any],
    units: UnitsTyped = None,
    out: Annotated[
        Path,
        typer.Option("--out", metavar="FILE", dir_okay=False,
                     help="File to write: .pdf, .svg or .html."),
    ] = Path("sheet.pdf"),
    paper: Annotated[
        Literal["a4", "letter"] | None,
        typer.Option("--paper", help="Paper; by default Letter for feet and inches, else A4."),
    ] = None,
) -> int:  # fmt: skip
    """Write the set-up sheet of a job: one page, PDF, SVG or HTML.

    It is for one machine. A refused job gets a sheet too; it says why, and not to load.
    """
    section, length = section_and_length(ctx, words)
    system = units or system_of(length)
    from ..engine.sheet.rendering import kind_of_file, sheet_file

    kind = kind_of_file(out)
    assessor = open_assessor()
    if len(machines) != 1:
        known = ", ".join(assessor.catalogue.model_codes)
        raise InputError(
            "option-needs",
            "a sheet is for one machine"
            + (f", and {len(machines)} are named" if machines else ""),
            remedy=f"Name one: --machine {known}.",
        )  # fmt: skip
    reply = assessor.ask(JobText(section, length, **said), machines, system=system)
    if reply.questions:
        question = reply.questions[0]
        raise OpenQuestion(question.code, question.text, question.choices)
    answer = reply.verdicts[0]
    from ..engine.sheet import content_of

    content, made = content_of(answer, system), sheet_file(answer, kind, system, paper)
    write_whole(out, made, "the sheet")
    typer.echo(f"{out}: {content.headline.lower()}; {content.stock} on {answer.machine.named}.")
    return 1 if answer.verdict == "refused" else 0
