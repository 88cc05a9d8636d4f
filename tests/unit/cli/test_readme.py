"""The READMEs print what the program prints.

``CUTTABLE_UPDATE_README=1 python -m pytest -n0 tests/unit/cli/test_readme.py`` writes the real
output into them: of every example, and of the steps. What Python prints is written by hand.
"""

import doctest
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Final, NamedTuple

import pytest
from cuttable.cli.main import COMMANDS

Run = Callable[..., "subprocess.CompletedProcess[str]"]

ROOT: Final = Path(__file__).resolve().parents[3]
ROOMS: Final = ("catalogue", "rules", "engine", "cli", "service", "tests")
README: Final = ROOT / "README.md"
PAGES: Final = (
    README,
    *(page for room in ROOMS for page in sorted((ROOT / room).rglob("README.md"))),
)
"""Every README: that of the root, and one a room."""

_EXAMPLE = re.compile(r"<!-- output: (?P<words>[^\n]+) -->\n```text\n(?P<text>.*?)```", re.DOTALL)
_FILE = re.compile(r"<!-- file: (?P<name>[^\n]+) -->\n```\w*\n(?P<text>.*?)```", re.DOTALL)
_PYTHON = re.compile(r"<!-- python -->\n```python\n(?P<text>.*?)```", re.DOTALL)
_LINK = re.compile(r"\]\((?!https?:)(?P<path>[^)#\s]+)")


class Example(NamedTuple):
    """A command shown on a page, and the output below it."""

    page: Path
    words: str
    shown: str


def examples() -> list[Example]:
    """Return every command that is shown with its output."""
    return [
        Example(page, match["words"], match["text"])
        for page in PAGES
        for match in _EXAMPLE.finditer(page.read_text(encoding="utf-8"))
    ]


def write_files(folder: Path) -> None:
    """Write the files that the pages show; each is shown once."""
    found = [match for page in PAGES for match in _FILE.finditer(page.read_text(encoding="utf-8"))]
    assert len({match["name"] for match in found}) == len(found)
    for match in found:
        (folder / match["name"]).write_text(match["text"], encoding="utf-8")


@pytest.mark.whole_process_when_full
@pytest.mark.parametrize(
    "example", examples(), ids=lambda example: f"{example.page.relative_to(ROOT)} {example.words}"
)
def test_the_readme_shows_the_real_output(example: Example, cuttable: Run, tmp_path: Path) -> None:
    """Each example prints the text below it."""
    write_files(tmp_path)
    done = cuttable(*shlex.split(example.words), cwd=tmp_path)
    printed = _without_trailing_space(done.stdout)
    assert "Traceback" not in done.stderr
    if os.environ.get("CUTTABLE_UPDATE_README"):
        _write(example, printed)
        return
    assert printed == example.shown


def test_no_example_is_shown_twice() -> None:
    """What is said once stays true at once."""
    words = [example.words for example in examples()]
    assert len(words) >= 9
    assert len(set(words)) == len(words)


@pytest.mark.parametrize("command", COMMANDS)
def test_the_readmes_tell_of_every_command(command: str) -> None:
    """A command that is not shown is not finished."""
    text = "".join(page.read_text(encoding="utf-8") for page in PAGES)
    assert f"cuttable {command}" in text or f"output: {command}" in text


def test_the_python_of_the_readme_prints_what_it_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Typed into one notebook, from the first line to the last."""
    monkeypatch.chdir(tmp_path)
    code = "".join(match["text"] for match in _PYTHON.finditer(README.read_text(encoding="utf-8")))
    test = doctest.DocTestParser().get_doctest(code, {}, "README.md", "README.md", 0)
    assert len(test.examples) >= 9
    flags = doctest.NORMALIZE_WHITESPACE
    assert doctest.DocTestRunner(optionflags=flags).run(test).failed == 0


@pytest.mark.parametrize(
    "page", [*PAGES, ROOT / "DEVELOPERS.md"], ids=lambda page: str(page.relative_to(ROOT))
)
def test_links_between_pages_lead_somewhere(page: Path) -> None:
    """A page that was moved is still found."""
    links = [match["path"] for match in _LINK.finditer(page.read_text(encoding="utf-8"))]
    assert [link for link in links if not (page.parent / link).exists()] == []


@pytest.mark.parametrize("room", [*ROOMS, "catalogue/ledger"])
def test_every_room_says_what_is_in_it(room: str) -> None:
    """Whoever opens a folder finds the order in which to read it; nothing of it is left out."""
    text = (ROOT / room / "README.md").read_text(encoding="utf-8")
    parts = [
        path.stem if path.is_file() else f"{path.name}/"
        for path in (ROOT / room).iterdir()
        if path.is_dir() or path.suffix == ".py"
    ]
    hidden = ("__init__", "__pycache__/", "schemas/")
    assert [part for part in parts if part not in hidden and f"`{part}`" not in text] == []


def test_the_first_page_stays_short() -> None:
    """It says what this is and where the rest is; the rest is not on it."""
    assert len(README.read_text(encoding="utf-8").splitlines()) <= 250


_STEPS = re.compile(r"<!-- steps -->\n```text\n(?P<text>.*?)```", re.DOTALL)

# What differs each time the steps are run: times, and the digest that rests on them.
_TIME = re.compile(
    r"\d{4}-\d\d-\d\d([T ]\d\d:\d\d)?|(?<=^Head of the journal: )[0-9a-f]{24}", re.MULTILINE
)


def test_the_steps_of_the_readme_print_what_it_shows(tmp_path: Path) -> None:
    """Typed one after the other in a shell, on a ledger of their own; only the times may differ."""
    page = ROOT / "catalogue" / "ledger" / "README.md"
    text = page.read_text(encoding="utf-8")
    (steps,) = _STEPS.findall(text)
    write_files(tmp_path)
    programs = tmp_path / "programs"
    programs.mkdir()
    program = programs / "cuttable"
    program.write_text(
        f"#!{sys.executable}\nfrom cuttable.cli.main import run\nrun()\n", encoding="utf-8"
    )
    program.chmod(0o755)
    env = {name: value for name, value in os.environ.items() if name != "COLUMNS"} | {
        "PATH": f"{programs}{os.pathsep}{os.environ['PATH']}",
        "CUTTABLE_LEDGER": "plant.db",
    }
    shown = ""
    for line in steps.splitlines():
        if line.startswith("$ "):
            done = subprocess.run(
                ["/bin/bash", "-c", line[2:]], capture_output=True, text=True, encoding="utf-8",
                cwd=tmp_path, env=env, timeout=120, check=False,
            )  # fmt: skip
            assert "Traceback" not in done.stderr
            said = "".join(
                part for part in done.stderr.splitlines(keepends=True)
                if not part.startswith("month.csv: columns")
            )  # fmt: skip
            shown += f"{line}\n{said}{_without_trailing_space(done.stdout)}"
    if os.environ.get("CUTTABLE_UPDATE_README"):
        page.write_text(text.replace(steps, shown), encoding="utf-8")
        return
    assert _TIME.sub("DATE", shown) == _TIME.sub("DATE", steps)


def _without_trailing_space(text: str) -> str:
    return "".join(f"{line.rstrip()}\n" for line in text.splitlines())


def _write(example: Example, printed: str) -> None:
    text = example.page.read_text(encoding="utf-8")
    head = f"<!-- output: {example.words} -->\n```text\n"
    start = text.index(head) + len(head)
    end = text.index("```", start)
    example.page.write_text(text[:start] + printed + text[end:], encoding="utf-8")
