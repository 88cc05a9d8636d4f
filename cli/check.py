"""``cuttable check``: the main job."""

from collections.abc import Sequence
from typing import Any

import click

from ..catalogue.overlay import MARK
from ..engine.answer.document import Reply, text_of
from ..engine.ask import Desk, is_at_least
from ..engine.job import JobText
from ..engine.wording import System, system_of
from .desk import AS, open_desk
from .job_options import job_options, section_and_length

MOST_SITES = 5


@click.command(
    "check",
    context_settings={"ignore_unknown_options": True},
    epilog="""\b
Examples:
  cuttable check "NPS 4 SCH 40" "20 ft"
  cuttable check "HSS 6x4x1/4" "12 m" --machine medlar-300 --part "1.2 m*6"
  cuttable check "NPS 6 SCH 40" "6 m" --machine rowan-150 --fitted reversed-jaws --json""",
)
@click.option(
    "--machine",
    "machines",
    multiple=True,
    metavar="CODE|FILE.toml",
    help="Model to ask; repeat for several. Without it: every model, best first.",
)
@job_options
@click.option(
    "--at-least",
    type=click.Choice(["in-range", "allowed"]),
    default="allowed",
    help="Exit with 1 where the best verdict is below this.",
)
@click.option(
    "--trace", "is_traced", is_flag=True, help="Show every measure with formula and inputs."
)
@click.option(
    "--keep", "is_kept", is_flag=True, envvar="CUTTABLE_KEEP",
    help="Keep the answer in the book; cuttable answer gives it again. [CUTTABLE_KEEP=1]",
)  # fmt: skip
@AS
@click.option("--full", "is_full", is_flag=True, help="Show every limit, however little used.")
@click.option("--json", "is_json", is_flag=True, help="Print one JSON object and nothing else.")
@click.pass_context
def command(
    ctx: click.Context,
    *,
    words: Sequence[str],
    machines: Sequence[str],
    units: System | None,
    at_least: str,
    is_kept: bool,
    who: str | None,
    is_traced: bool,
    is_full: bool,
    is_json: bool,
    **options: Any,
) -> int:
    """Can this machine cut this stock, and on what conditions?

    SECTION as the trade writes it, LENGTH with its unit, each in quotes.
    """
    section, length = section_and_length(ctx, words)
    system = units or system_of(length)
    text = JobText(section, length, **options)
    if is_kept:
        from .keeping import ask_and_keep

        reply, desk = ask_and_keep(text, machines, system, who, is_traced=is_traced)
    else:
        desk = open_desk()
        reply = desk.ask(text, machines, system=system, is_traced=is_traced)
    if is_json:
        click.echo(text_of(reply))
    else:
        from .render import print_answer

        print_answer(reply, system, is_full=is_full)
        if not machines:
            _tell_sites(reply, desk)
    if reply.questions:
        return 2
    return 0 if is_at_least(reply.best, at_least) else 1


def _tell_sites(reply: Reply, desk: Desk) -> None:
    """Say that machines as they stand at a site were not asked, for only models are."""
    models = {answer.machine.model for answer in reply.verdicts}
    sites = [name for name in desk.catalogue.overlays if name.partition(MARK)[0] in models]
    if not sites:
        return
    from .render import console
    from .rows import paragraph

    more = len(sites) - MOST_SITES
    named = ", ".join(sites[:MOST_SITES]) + (f" and {more} more" if more > 0 else "")
    out = console()
    text = f"Models only were asked, as released. Sites are asked by --machine: {named}."
    out.print(paragraph(text, out.width), soft_wrap=True)
