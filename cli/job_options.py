"""The options by which a job is described, shared by the commands that take one."""

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import click

from ..catalogue.errors import InputError
from ..catalogue.nearest import did_you_mean
from ..engine.wording import SYSTEMS

F = TypeVar("F", bound=Callable[..., Any])

Option = Callable[[Any], Any]

_STOCK: dict[str, Option] = {
    "grade": click.option("--grade", default=None, metavar="G",
                          help="Grade, e.g. 'A106 B', 304, S355J2H."),
    "bow": click.option("--bow", default="", metavar="LENGTH", help="Measured bow of the stock."),
    "grip": click.option("--grip", default="", metavar="KIND",
                         help="outside (default) or inside."),
    "ends": click.option("--end", "ends", default="", metavar="KIND",
                         help="open, sealed, flanged or coupled."),
    "contents": click.option("--contents", default="", metavar="KIND",
                             help="empty, unknown, flammable, residue or filled."),
    "coating": click.option("--coating", default="", metavar="KIND",
                            help="none, wet, oily, scaled, galvanised, painted, lined …"),
    "fitted": click.option("--fitted", multiple=True, metavar="CODE",
                           help="An accessory that is fitted."),
}  # fmt: skip

_OPTIONS: list[Option] = [
    click.argument("words", nargs=-1, metavar="SECTION LENGTH"),
    _STOCK["grade"],
    click.option("--part", "parts", multiple=True, metavar="LENGTH[*N]", help="Parts to cut."),
    click.option("--cut", "cuts", multiple=True, metavar="POSITION",
                 help="A cut, measured from the chuck face outward."),
    click.option("--station", "stations", multiple=True, metavar="POSITION",
                 help="A support station of your own, to be judged; without it they are planned."),
    _STOCK["bow"],
    click.option("--off-axis", default="", metavar="'MASS @ DISTANCE'",
                 help="A flange, branch or clamp beside the axis."),
    click.option("--behind", default="", metavar="LENGTH",
                 help="Length that passes through the bore and stands behind the chuck face."),
    _STOCK["grip"], _STOCK["ends"], _STOCK["contents"], _STOCK["coating"], _STOCK["fitted"],
    click.option("--units", type=click.Choice(SYSTEMS), default=None,
                 help="Units to show; by default those the length was typed in."),
]  # fmt: skip


def stock_options(function: F) -> F:
    """Add the options that describe stock of any length."""
    for option in reversed(_STOCK.values()):
        function = option(function)
    return function


def job_options(function: F) -> F:
    """Add the arguments and options that describe a job."""
    for option in reversed(_OPTIONS):
        function = option(function)
    return function


def section_and_length(ctx: click.Context, words: Sequence[str]) -> tuple[str, str]:
    """Return section and length, or say how to type them."""
    name = ctx.command.name
    for word in words:
        if word.startswith("-") and not word[1:2].isdigit() and word != "-":
            known = [option for item in ctx.command.params for option in item.opts]
            hint = did_you_mean(word, known)
            raise click.UsageError(f"There is no option {word!r}. {hint}".strip(), ctx)
    if len(words) == 2:
        return words[0], words[1]
    if len(words) < 2:
        raise click.UsageError(
            f'Name a section and a length, like: cuttable {name} "NPS 4 SCH 40" "20 ft"', ctx
        )
    raise InputError(
        "designation-unreadable",
        f"{len(words)} words were given where a section and a length were expected",
        remedy=f'Put each in quotes, like: cuttable {name} "NPS 4 SCH 40" "20 ft".',
    )
