"""How commands are declared: nothing is imported too early, and every help says what is needed."""

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from typing import Any, get_args

import pytest
from cuttable.catalogue.tables.families import FAMILIES, Family
from cuttable.cli.main import COMMANDS, app
from typer.main import get_command

Run = Callable[..., "subprocess.CompletedProcess[str]"]

_LOADED = """
import sys
from cuttable.cli.main import run
try:
    run()
except SystemExit:
    print(*sorted(sys.modules), sep="\\n", file=sys.stderr)
"""


def loaded(*words: str, **env: str) -> set[str]:
    """Return the modules that are loaded when a command line has been answered."""
    done = subprocess.run(
        [sys.executable, "-c", _LOADED, *words],
        capture_output=True, text=True, timeout=120, check=False, env=os.environ | env,
    )  # fmt: skip
    return set(done.stderr.splitlines())


def command_modules() -> set[str]:
    return {f"cuttable.cli.{module}" for module, _ in COMMANDS.values()}


@pytest.mark.parametrize("words", [("--help",), (), ("--version",), ("chekc",), ("--nope",)])
def test_the_list_of_commands_loads_no_command(words: tuple[str, ...]) -> None:
    """Nor numbers, tables or colours."""
    found = loaded(*words)
    assert "typer" in found
    assert not found & command_modules()
    assert not found & {"numpy", "pydantic", "rich", "click", "sqlalchemy"}


def test_completion_of_commands_loads_no_command() -> None:
    """It is asked for at every press of a key."""
    env = {"_CUTTABLE_COMPLETE": "complete_bash", "COMP_WORDS": "cuttable c", "COMP_CWORD": "1"}
    assert not loaded(**env) & command_modules()


def test_a_command_loads_no_other_command() -> None:
    """Nor what it does not need."""
    found = loaded("check", "NPS 4 SCH 40", "6 m", "--machine", "rowan-150", "--json")
    assert found & command_modules() == {"cuttable.cli.check"}
    heavy = {"rich", "click", "sqlalchemy", "pandas", "pyarrow", "fastapi", "numpy.ma"}
    assert not found & heavy


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("cuttable ch", ["check", "chart"]),
        ("cuttable machines va", ["validate"]),
        ("cuttable ledger re", ["restore", "renew"]),
        ("cuttable check --mach", ["--machine"]),
        ("cuttable check --units ", ["si", "us"]),
        ("cuttable whatif --machine rowan", ["rowan-150"]),
        ("cuttable sheet NPS 6m --machine al", ["alder-320"]),
        ("cuttable nonsense ", []),
    ],
)
def test_a_shell_completes_commands_options_and_choices(
    cuttable: Run, typed: str, wanted: list[str]
) -> None:
    """As bash asks for it."""
    place = len(typed.split(" ")) - 1
    env = os.environ | {
        "_CUTTABLE_COMPLETE": "complete_bash", "COMP_WORDS": typed, "COMP_CWORD": str(place),
    }  # fmt: skip
    done = cuttable(env=env)
    assert done.stderr == ""
    if wanted:
        assert sorted(done.stdout.split()) == sorted(wanted)
    else:
        assert not set(done.stdout.split()) - set(COMMANDS)


def commands() -> Iterator[tuple[str, Any]]:
    """Give every command with the words by which it is called, groups too."""
    for name, (module, _) in COMMANDS.items():
        found: Any = get_command(import_module(f"cuttable.cli.{module}").app)
        yield name, found
        for inner in getattr(found, "commands", {}):
            yield f"{name} {inner}", found.commands[inner]


EVERY = dict(commands())


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_the_list_says_what_the_help_says(name: str) -> None:
    """One sentence, in two places: the list of commands does not load what it lists."""
    assert EVERY[name].help.splitlines()[0] == COMMANDS[name][1]


@pytest.mark.parametrize("name", sorted(EVERY))
def test_every_command_tells_what_can_be_typed(name: str) -> None:
    """What each argument and option is for, by names that shells and people can type."""
    found = EVERY[name]
    assert found.help.strip()
    assert found.rich_markup_mode is None
    for item in found.params:
        assert item.help.strip(), f"{name}: {item.name} is not told"
        assert item.help.rstrip().endswith((".", "]", "…")), f"{name}: {item.name}"
    options = [option for item in found.params for option in item.opts]
    assert len(options) == len(set(options))
    if hasattr(found, "commands"):
        return
    assert "--ledger" in options
    assert found.epilog
    assert f"cuttable {name}" in found.epilog


def test_the_commands_are_those_of_the_application() -> None:
    """In the order of the list."""
    whole: Any = get_command(app)
    assert list(whole.commands) == list(COMMANDS)


def test_families_that_can_be_typed_are_those_there_are() -> None:
    """The names stand as a type, for the option, beside the table."""
    assert get_args(Family) == tuple(FAMILIES)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["machines", "shwo", "rowan-150"], "Did you mean 'show'"),
        (["machines", "nonsense"], "There are: list, show"),
        (["ledger", "verfy"], "Did you mean 'verify'"),
        (["lengths", "NPS 6 SCH 40", "--machin", "rowan-150"], "Did you mean '--machine'"),
        (["machines", "list", "--unit", "us"], "Did you mean '--units'"),
        (["batch", "a.csv", "--out", "b.csv", "--workers", "0"], "0 is not in the range"),
        (["chart", "--machine", "rowan-150", "--family", "pip"], "'pipe'"),
        (["machines", "list", "rowan-150"], "rowan-150"),
        (["sheet", "NPS 6 SCH 40", "6 m", "--paper", "a5"], "'a4', 'letter'"),
        (["machines"], "Usage: cuttable machines"),
        (["--ledger", "none", "check"], "Options stand behind the command"),
        (["check", "NPS 6 SCH 40", "6 m", "--part"], "Usage: cuttable check"),
        (["rules", "list", "--json=yes"], "Usage: cuttable rules list"),
        ([], "Usage: cuttable"),
    ],
)  # fmt: skip
def test_what_is_misspelt_is_told_below_the_usage(
    cuttable: Run, words: list[str], said: str
) -> None:
    """On standard error only, with what was probably meant; groups as the whole."""
    done = cuttable(*words)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("Usage: cuttable")
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_a_negative_length_is_no_option(cuttable: Run) -> None:
    """It is read, and refused as a length."""
    done = cuttable("check", "NPS 6 SCH 40", "-6 m")
    assert "[length-range]" in done.stderr


def test_both_words_for_help(cuttable: Run) -> None:
    """-h and --help, of the whole, of a group and of a command; on standard output."""
    for words in ([], ["machines"], ["machines", "show"], ["check"]):
        short, long = cuttable(*words, "-h"), cuttable(*words, "--help")
        assert short.returncode == long.returncode == 0
        assert short.stdout == long.stdout
        assert short.stdout.startswith("Usage: cuttable")
        assert "\x1b" not in short.stdout
        assert "─" not in short.stdout


def test_help_fits_a_narrow_terminal(cuttable: Run) -> None:
    """But for examples, which are to be copied."""
    done = cuttable("check", "--help", env=os.environ | {"COLUMNS": "60"})
    lines = [line for line in done.stdout.splitlines() if not line.startswith("    cuttable")]
    assert max(map(len, lines)) <= 60


def test_what_the_library_ends_by_itself_is_no_refusal(cuttable: Run) -> None:
    """Status 1 means refused on every machine; a shell that is not known is a fault."""
    done = cuttable(env=os.environ | {"_CUTTABLE_COMPLETE": "complete_cobol"})
    assert done.returncode == 2
    assert "cobol" in done.stderr
