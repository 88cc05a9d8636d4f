"""The command ``cuttable``: its subcommands, and how failures end."""

import atexit
import codecs
import gc
import io
import json
import os
import signal
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from importlib import import_module
from typing import Annotated, Any, Final, NoReturn

# Plugins of pydantic are another program's business, and looking for them reads the metadata of
# every package installed.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")

import typer
from typer.core import TyperCommand
from typer.main import get_command

from ..catalogue.errors import CuttableError, FileError, InputError, OpenQuestion
from ..engine.version import VERSION
from .apps import Group, new_app

STOPPED: Final = 130
"""Exit status of what was stopped from outside, by Ctrl-C."""

# Subcommands are imported when they are used: the tool starts cold for every question.
COMMANDS: Final[dict[str, tuple[str, str]]] = {
    "check": ("check", "Can this machine cut this stock, and on what conditions?"),
    "sheet": ("sheet", "Write the set-up sheet of a job: one page, PDF, SVG or HTML."),
    "lengths": ("lengths", "For which lengths is a section in range, allowed, refused?"),
    "section-range": ("section_range", "Which sections does a machine take at one length?"),
    "chart": ("chart", "Draw a machine's range: sections against lengths."),
    "batch": ("batch", "Answer every job of a backlog: CSV, Excel or Parquet."),
    "whatif": ("whatif", "Which limit refuses most of a backlog, and what would another gain?"),
    "compare": ("compare", "How much heavier, and harder to turn, is one piece than another?"),
    "sections": ("sections", "Find and show pipe and tube sections; add the site's own."),
    "machines": ("machines", "List, show and validate machine models; release their limits."),
    "sites": ("sites", "What differs at one site or serial number; release it."),
    "grades": ("grades", "List grades; add the site's own."),
    "rules": ("rules", "List, show and check the rules; release them."),
    "catalogue": ("catalogue", "List the curated tables; release what a newer tool brings."),
    "impact": ("impact", "Which answers would a draft change?"),
    "answer": ("answer", "An answer given before: as it was, again, and today."),
    "ledger": ("ledger", "The ledger of limits: make, verify, back up, exchange."),
    "serve": ("serve", "Serve the page for people and the API for programs."),
    "schema": ("schema", "Print the form of a kind of file as JSON Schema, for editors."),
    "explain": ("explain", "Explain a measure, a code or a word of an answer."),
}


class _Later(TyperCommand):
    """A command known by its name and a sentence; its module is imported when it is used."""

    def __init__(self, name: str, module: str, about: str) -> None:
        super().__init__(name, help=about, short_help=about)
        self._module = module

    def make_context(
        self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any
    ) -> Any:
        """Return the context of the command itself."""
        module = import_module(f".{self._module}", __package__)
        return get_command(module.app).make_context(info_name, args, parent, **extra)


class _Commands(Group):
    """All commands."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        for name, (module, about) in COMMANDS.items():
            self.add_command(_Later(name, module, about))


app = new_app(
    cls=_Commands,
    add_completion=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog='Example: cuttable check "NPS 4 SCH 40" "20 ft"',
)


def _tell_version(is_asked: bool) -> None:  # noqa: FBT001 - typer gives it by its place
    if is_asked:
        typer.echo(f"cuttable, version {VERSION}")
        raise typer.Exit


@app.callback()
def root(
    *,
    version: Annotated[
        bool,
        typer.Option("--version", callback=_tell_version, is_eager=True,
                     help="Show the version and exit."),
    ] = False,
) -> None:  # fmt: skip
    """Can a rotary pipe and tube cutting machine cut this, and how must it be set up?

    Exit status: 0 answered; 1 answered, and refused on every machine asked; 2 the question
    could not be answered (bad input, an open question, a damaged file).
    """
    _ = version


def run() -> NoReturn:
    """Run the command line; failures become one sentence on stderr and exit status 2."""
    # One question and out: collecting garbage would cost more than it frees, at the end too.
    gc.disable()
    atexit.register(gc.freeze)
    _write_what_can_be_written()
    # A reader that has seen enough (head, less) ends the tool quietly, as every filter ends.
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_DFL)
    try:
        _check_words(sys.argv[1:])
        status = _run()
    except typer.Abort:
        status = STOPPED
    except typer.TyperException as fault:
        _show(fault)
        _tell_scripts("usage-wrong", fault.format_message())
        sys.exit(2)
    except CuttableError as fault:
        typer.echo(f"cuttable: {fault}", err=True)
        problems = fault.problems if isinstance(fault, FileError) else ()
        _tell_scripts(fault.code, fault.what, fault.where, fault.remedy, problems=problems)
        sys.exit(2)
    except OpenQuestion as asked:
        _print_question(asked)
        _tell_scripts("question-open", "a question must be answered first", asked=asked)
        sys.exit(2)
    except Exception as fault:
        if os.environ.get("CUTTABLE_DEBUG"):
            raise
        text = CuttableError(
            "internal-fault",
            f"the tool failed ({type(fault).__name__}: {str(fault)[:200]})",
            remedy="Please report this with the command; CUTTABLE_DEBUG=1 shows where it failed.",
        )
        typer.echo(f"cuttable: {text}", err=True)
        _tell_scripts(text.code, text.what, text.where, text.remedy)
        sys.exit(2)
    if status == STOPPED:
        typer.echo("stopped", err=True)
    sys.exit(status if isinstance(status, int) else 0)


def _show(fault: typer.TyperException) -> None:
    """Tell how a command line is wrong, below the line of its usage."""
    show: Callable[[], None] | None = getattr(fault, "show", None)
    if show is None:
        typer.echo(f"Error: {fault.format_message()}", err=True)
    else:
        show()


def _check_words(words: Sequence[str]) -> None:
    """Refuse what was typed in bytes that are no text.

    Raises:
        InputError: ``usage-wrong``.
    """
    for word in words:
        try:
            word.encode()
        except UnicodeEncodeError:
            shown = word[:60].encode("ascii", "backslashreplace").decode()
            raise InputError(
                "usage-wrong", f"'{shown}' is not valid text",
                remedy="Type it in the encoding of your terminal; rename a file called so.",
            ) from None  # fmt: skip


def _run() -> object:
    """Run the command, and see that what it printed arrived."""
    if sys.stdout is None:  # closed before the tool began
        raise _unwritable("it is closed")
    try:
        status = get_command(app).main(prog_name="cuttable", standalone_mode=False)
        sys.stdout.flush()
    except OSError as fault:
        # What could not be written is dropped, so that ending does not try again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        raise _unwritable(fault.strerror or "unknown reason") from None
    except SystemExit as ended:
        # What the library ends by itself with 1 would be taken for a refused job.
        raise SystemExit(2 if ended.code == 1 else ended.code) from None
    return status


def _unwritable(reason: str) -> CuttableError:
    return CuttableError(
        "output-unwritable",
        f"the answer cannot be written to standard output ({reason})",
        remedy="Send it to a place that has room and is open.",
    )


def _tell_scripts(
    code: str,
    text: str,
    where: str = "",
    remedy: str = "",
    *,
    problems: Sequence[str] = (),
    asked: OpenQuestion | None = None,
) -> None:
    """Print a failure as one JSON object where the command was asked for JSON."""
    if "--json" not in sys.argv or sys.stdout is None:
        return
    content: dict[str, object] = {"schema": "cuttable.error/1"}
    if "check" in sys.argv[1:2]:
        content = {"schema": "cuttable.verdicts/1", "verdicts": [], "questions": []}
    if asked is not None:
        question = asked.question
        content["questions"] = [
            {"code": question.code, "text": question.text, "choices": list(question.choices)}
        ]
    error: dict[str, object] = {"code": code, "text": text, "where": where, "remedy": remedy}
    content["error"] = error | ({"problems": list(problems)} if problems else {})
    # Where even this cannot be written, the sentence on stderr has been.
    with suppress(OSError):
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        sys.stdout.flush()


_PLAIN: Final = {"·": "*", "²": "^2", "³": "^3", "⁴": "^4", "…": "...", "█": "#", "▒": "+"}


def _write_what_can_be_written() -> None:
    """Let output that cannot hold a character hold its nearest plain form instead."""

    def plain(fault: UnicodeError) -> tuple[str, int]:
        if not isinstance(fault, UnicodeEncodeError):
            raise fault
        text = fault.object[fault.start : fault.end]
        return "".join(_PLAIN.get(char, "?") for char in text), fault.end

    codecs.register_error("cuttable-plain", plain)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="cuttable-plain")


def _print_question(asked: OpenQuestion) -> None:
    typer.echo(f"cuttable: {asked.question.text} [{asked.question.code}]", err=True)
    for choice in asked.question.choices:
        typer.echo(f"  {choice}", err=True)
