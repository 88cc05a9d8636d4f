"""``cuttable completion``: the script that completes commands and options in a shell."""

import click

SHELLS = ("bash", "zsh", "fish")


@click.command("completion", epilog='Example: eval "$(cuttable completion bash)"')
@click.argument("shell", type=click.Choice(SHELLS))
def command(shell: str) -> int:
    """Print the completion script of a shell; put it in the shell's start-up file."""
    from click.shell_completion import get_completion_class

    from .main import root

    kind = get_completion_class(shell)
    if kind is None:  # pragma: no cover - every shell of the choice has one
        return 2
    click.echo(kind(root, {}, "cuttable", "_CUTTABLE_COMPLETE").source())
    return 0
