"""How commands are declared: the options they share, and those that describe a job."""

import inspect
import shlex
from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from pathlib import Path
from typing import Annotated, Any, Final, TypeVar

import typer

from ..catalogue.errors import CuttableError, InputError
from ..engine.answer.wording import System
from ..engine.jobs.fields import FIELDS, Field
from .apps import Command, Misuse, no_option
from .context import name_ledger, open_catalogue

F = TypeVar("F", bound=Callable[..., int])

JOB: Final = tuple(field for field in FIELDS if field.option)
"""What can be said of a job besides section and length."""
STOCK: Final = tuple(field for field in JOB if field.is_of_stock)
"""What of it describes stock of any length."""
GRADE: Final = tuple(field for field in JOB if field.kind == "grade")


def machine_codes() -> list[str]:
    """Return the codes that a shell may complete a machine to; none where they cannot be read."""
    try:
        catalogue = open_catalogue()
    except CuttableError:
        return []
    return [*catalogue.model_codes, *catalogue.overlays]


# --- options that several commands have ---------------------------------------------------

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Units = Annotated[System, typer.Option("--units", help="Units to show.")]
UnitsTyped = Annotated[
    System | None,
    typer.Option("--units", help="Units to show; by default those the length was typed in."),
]
Machine = Annotated[
    str,
    typer.Option(
        "--machine", metavar="CODE|FILE.toml", autocompletion=machine_codes,
        help="The machine to ask.",
    ),
]  # fmt: skip
Machines = Annotated[
    list[str],
    typer.Option(
        "--machine", metavar="CODE|FILE.toml", autocompletion=machine_codes,
        default_factory=list, show_default=False,
        help="Model to ask; repeat for several. Without it: every model.",
    ),
]  # fmt: skip
Who = Annotated[
    str | None,
    typer.Option(
        "--as", metavar="NAME",
        help="Who does this; else CUTTABLE_PERSON, else who is logged in.",
    ),
]  # fmt: skip
Sheet = Annotated[
    str,
    typer.Option("--sheet", metavar="NAME", help="Sheet of a workbook; else the first."),
]
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers", metavar="N", min=1, help="Processes to use; else one for each processor."
    ),
]
Report = Annotated[
    Path | None,
    typer.Option("--report", metavar="FILE.html", help="Write what changes as a page too."),
]
Words = Annotated[
    list[str],
    typer.Argument(
        metavar="SECTION LENGTH", default_factory=list, show_default=False,
        help="The section as the trade writes it, the length with its unit, each in quotes.",
    ),
]  # fmt: skip
Section = Annotated[
    str, typer.Argument(metavar="SECTION", help="The section as the trade writes it, in quotes.")
]
_LEDGER = inspect.Parameter(
    "ledger", inspect.Parameter.KEYWORD_ONLY, default=None,
    annotation=Annotated[str | None, typer.Option(
        "--ledger", metavar="PATH|URL",
        help="Ledger of limits to ask: a file, postgresql://…, or 'none' for the limits the tool "
        "brings. Else CUTTABLE_LEDGER, else your own ledger if there is one.",
    )],
)  # fmt: skip
"""The option of every command."""

SAID = "said"
"""Parameter of a command that takes what is said of a job, as texts by name of field."""


def command(
    app: typer.Typer,
    name: str,
    *,
    epilog: str,
    fields: Sequence[Field] = (),
    fixed: Mapping[str, str] | None = None,
    help: str | None = None,  # noqa: A002 - as typer calls it
    takes_negative: bool = False,
) -> Callable[[F], F]:
    """Add a function to an application as a command, with the option that every command has.

    Args:
        app: the application.
        name: what is typed.
        epilog: examples.
        fields: what can be said of a job; it stands for the parameter ``said``.
        fixed: parameters that are not offered, and what the function is given for them.
        help: what its help says; else what its docstring says.
        takes_negative: arguments may begin with a minus.
    """
    always = dict(fixed or {})

    def declare(function: F) -> F:
        own = inspect.signature(function, eval_str=True)
        offered: list[inspect.Parameter] = []
        for item in own.parameters.values():
            if item.name == SAID:
                offered += [_parameter(field) for field in fields]
            elif item.name not in always:
                offered.append(item.replace(kind=inspect.Parameter.KEYWORD_ONLY))
        offered.append(_LEDGER)

        @wraps(function)
        def run(**given: Any) -> int:
            name_ledger(given.pop(_LEDGER.name))
            if fields:
                given[SAID] = {field.name: given.pop(field.name) for field in fields}
            return function(**always, **given)

        # What typer reads: the parameters as they are offered.
        run.__dict__["__signature__"] = own.replace(parameters=offered)
        run.__annotations__ = {item.name: item.annotation for item in offered}
        settings = {"ignore_unknown_options": True} if takes_negative else None
        first, *_ = (help or function.__doc__ or "").splitlines()
        app.command(
            name, cls=Command, help=help, short_help=first, epilog=epilog, context_settings=settings
        )(run)
        return function

    return declare


def _parameter(field: Field) -> inspect.Parameter:
    """Return a field of a job as a parameter of a command."""
    about = field.help
    if field.kind not in ("fact", "accessory"):
        about += f" E.g. {shlex.quote(field.example)}."
    more: dict[str, Any] = {"metavar": field.metavar, "help": about}
    usual: Any = None if field.kind == "grade" else ""
    kind: Any = str | None
    if field.is_list:
        more |= {"default_factory": list, "show_default": False}
        usual, kind = inspect.Parameter.empty, list[str]
    return inspect.Parameter(
        field.name, inspect.Parameter.KEYWORD_ONLY, default=usual,
        annotation=Annotated[kind, typer.Option(field.option, **more)],
    )  # fmt: skip


def section_and_length(ctx: typer.Context, words: Sequence[str]) -> tuple[str, str]:
    """Return section and length, or say how to type them."""
    name = ctx.command.name
    for word in words:
        if word.startswith("-") and not word[1:2].isdigit() and word != "-":
            raise no_option(ctx, word)
    if len(words) == 2:
        return words[0], words[1]
    if len(words) < 2:
        raise Misuse(
            f'Name a section and a length, like: cuttable {name} "NPS 4 SCH 40" "20 ft"', ctx
        )
    raise InputError(
        "designation-unreadable",
        f"{len(words)} words were given where a section and a length were expected",
        remedy=f'Put each in quotes, like: cuttable {name} "NPS 4 SCH 40" "20 ft".',
    )
