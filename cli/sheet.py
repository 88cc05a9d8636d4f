"""``cuttable sheet``: the one page an operator works from."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal

import click

from ..catalogue.errors import InputError, OpenQuestion
from ..engine.job import JobText
from ..engine.wording import System, system_of
from .desk import open_desk
from .files import write_whole
from .job_options import job_options, section_and_length


@click.command(
    "sheet",
    context_settings={"ignore_unknown_options": True},
    epilog="""\b
Example:
  cuttable sheet "NPS 4 SCH 40" "20 ft" --machine rowan-150 --part "4 ft*3" --out sheet.pdf""",
)
@click.option(
    "--machine", "machines", multiple=True, metavar="CODE|FILE.toml", help="The machine to set up."
)
@job_options
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("sheet.pdf"),
    show_default=True,
    help="File to write: .pdf, .svg or .html.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default=None,
    help="Paper; by default Letter for feet and inches, else A4.",
)
@click.pass_context
def command(
    ctx: click.Context,
    *,
    words: Sequence[str],
    machines: Sequence[str],
    units: System | None,
    out: Path,
    paper: Literal["a4", "letter"] | None,
    **options: Any,
) -> int:
    """Write the set-up sheet of a job on one machine: one page.

    SECTION as the trade writes it, LENGTH with its unit, each in quotes. A refused job gets a
    sheet too; it says why, and not to load.
    """
    section, length = section_and_length(ctx, words)
    system = units or system_of(length)
    from ..engine.sheet.making import kind_of_file, sheet_file

    kind = kind_of_file(out)
    desk = open_desk()
    if len(machines) != 1:
        known = ", ".join(desk.catalogue.model_codes)
        raise InputError(
            "option-needs",
            "a sheet is for one machine"
            + (f", and {len(machines)} are named" if machines else ""),
            remedy=f"Name one: --machine {known}.",
        )  # fmt: skip
    reply = desk.ask(JobText(section, length, **options), machines, system=system)
    if reply.questions:
        question = reply.questions[0]
        raise OpenQuestion(question.code, question.text, question.choices)
    answer = reply.verdicts[0]
    from ..engine.sheet import content_of

    content, made = content_of(answer, system), sheet_file(answer, kind, system, paper)
    write_whole(out, made, "the sheet")
    click.echo(f"{out}: {content.headline.lower()}; {content.stock} on {answer.machine.named}.")
    return 1 if answer.verdict == "refused" else 0
