"""``cuttable check``: the main job."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

import typer

from ..catalogue.errors import InputError
from ..catalogue.machines.site_overlay import MARK
from ..engine.answer.document import Reply, text_of
from ..engine.answer.wording import system_of
from ..engine.assessor import AssessorCore, Chance, is_at_least
from ..engine.jobs.fields import JobText
from .apps import new_app
from .context import open_assessor
from .options import JOB, Json, Machines, UnitsTyped, Who, Words, command, section_and_length

MOST_SITES = 5


app = new_app()


@command(
    app,
    "check",
    fields=JOB,
    takes_negative=True,
    epilog="""\b
Examples:
  cuttable check "NPS 4 SCH 40" "20 ft"
  cuttable check "HSS 6x4x1/4" "12 m" --machine medlar-300 --part "1.2 m*6"
  cuttable check "NPS 6 SCH 40" "6 m" --machine rowan-150 --fitted reversed-jaws --json""",
)
def check(
    ctx: typer.Context,
    *,
    words: Words,
    machines: Machines,
    said: Mapping[str, Any],
    units: UnitsTyped = None,
    at_least: Annotated[
        Literal["in-range", "allowed"],
        typer.Option("--at-least", help="Exit with 1 where the best verdict is below this."),
    ] = "allowed",
    is_traced: Annotated[
        bool, typer.Option("--trace", help="Show every measure with formula and inputs.")
    ] = False,
    has_chance: Annotated[
        bool,
        typer.Option("--chance",
                     help="Tell how likely the mill ships stock over a limit; it ranks, and "
                     "changes no verdict."),
    ] = False,
    lot: Annotated[
        int | None,
        typer.Option("--lot", metavar="N", min=2, max=1_000_000,
                     help="Tell with --chance how likely any of N pieces of one heat is over."),
    ] = None,
    is_kept: Annotated[
        bool,
        typer.Option("--keep", envvar="CUTTABLE_KEEP",
                     help="Keep the answer in the ledger; cuttable answer gives it again."),
    ] = False,
    who: Who = None,
    is_full: Annotated[
        bool, typer.Option("--full", help="Show every limit, however little used.")
    ] = False,
    is_json: Json = False,
) -> int:  # fmt: skip
    """Can this machine cut this stock, and on what conditions?"""
    section, length = section_and_length(ctx, words)
    system = units or system_of(length)
    text = JobText(section, length, **said)
    if lot is not None and not has_chance:
        raise InputError("option-needs", "--lot is about chances",
                         remedy="Add --chance, or leave --lot out.")  # fmt: skip
    chance = Chance(lot) if has_chance else None
    if is_kept:
        from .recording import ask_and_keep

        reply, assessor = ask_and_keep(
            text, machines, system, who, is_traced=is_traced, chance=chance
        )  # fmt: skip
    else:
        assessor = open_assessor()
        reply = assessor.ask(text, machines, system=system, is_traced=is_traced, chance=chance)
    if is_json:
        typer.echo(text_of(reply))
    else:
        from .terminal.layout import print_answer

        print_answer(reply, system, is_full=is_full)
        if not machines:
            _tell_sites(reply, assessor)
    if reply.questions:
        return 2
    return 0 if is_at_least(reply.best, at_least) else 1


def _tell_sites(reply: Reply, assessor: AssessorCore) -> None:
    """Say that machines as they stand at a site were not asked, for only models are."""
    models = {answer.machine.model for answer in reply.verdicts}
    sites = [name for name in assessor.catalogue.overlays if name.partition(MARK)[0] in models]
    if not sites:
        return
    from .terminal.layout import console
    from .terminal.rows import paragraph

    more = len(sites) - MOST_SITES
    named = ", ".join(sites[:MOST_SITES]) + (f" and {more} more" if more > 0 else "")
    out = console()
    text = f"Models only were asked, as released. Sites are asked by --machine: {named}."
    out.print(paragraph(text, out.width), soft_wrap=True)
