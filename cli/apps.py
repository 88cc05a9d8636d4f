"""Applications of commands: how they are put together, and how what is typed wrong is told."""

from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

from ..catalogue.nearest import did_you_mean


class Misuse(typer.BadParameter):
    """What was typed is no command line; the sentence is told as it stands."""

    def format_message(self) -> str:
        """Return the sentence."""
        return self.message


class Command(TyperCommand):
    """A command whose usage names its arguments as its help does."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """Return what stands behind the command in the line of its usage."""
        _ = ctx
        named = [item.metavar or "" for item in self.params if item.param_type_name == "argument"]
        return ["[OPTIONS]", *named]

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read what was typed."""
        try:
            return super().parse_args(ctx, args)
        except typer.TyperException as fault:
            raise _hinted(fault, ctx) from None


class Group(TyperGroup):
    """Commands; a misspelt one is told which was probably meant."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read what was typed."""
        try:
            return super().parse_args(ctx, args)
        except typer.TyperException as fault:
            raise _hinted(fault, ctx) from None

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Return the command that is named."""
        if not ctx.resilient_parsing and args[0] not in self.commands:
            known = list(self.commands)
            hint = did_you_mean(args[0], known, otherwise=f"There are: {', '.join(known)}.")
            raise Misuse(f"There is no command {args[0]!r}. {hint}", ctx)
        return super().resolve_command(ctx, args)


def _hinted(fault: typer.TyperException, ctx: typer.Context) -> typer.TyperException:
    """Return a fault of reading the options with the command it is of, and what was meant."""
    option = getattr(fault, "option_name", "")
    if option and option not in _options(ctx):
        return no_option(ctx, option)
    return fault if getattr(fault, "ctx", None) else Misuse(fault.format_message(), ctx)


def _options(ctx: typer.Context) -> list[str]:
    params = ctx.command.get_params(ctx)
    return [option for item in params for option in item.opts if option.startswith("-")]


def no_option(ctx: typer.Context, word: str) -> Misuse:
    """Return the fault of an option that a command has not."""
    hint = did_you_mean(word, _options(ctx))
    if isinstance(ctx.command, Group):
        hint = f"{hint} Options stand behind the command they are for.".lstrip()
    return Misuse(f"There is no option {word!r}. {hint}".strip(), ctx)


def new_app(about: str | None = None, **settings: Any) -> typer.Typer:
    """Return an application for one command, or for a group of them with a text about it."""
    plain: dict[str, Any] = {
        "cls": Group, "rich_markup_mode": None, "add_completion": False,
        "pretty_exceptions_enable": False, "no_args_is_help": True,
    }  # fmt: skip
    if about is not None:
        plain["help"] = about
    return typer.Typer(**plain | settings)
