"""The README prints what the program prints.

``CUTTABLE_UPDATE_README=1 python -m pytest tests/cli/test_readme.py`` writes the real output
into it.
"""

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., "subprocess.CompletedProcess[str]"]

README = Path(__file__).resolve().parents[3] / "README.md"
_EXAMPLE = re.compile(r"<!-- output: (?P<words>[^\n]+) -->\n```text\n(?P<text>.*?)```", re.DOTALL)


_FILE = re.compile(r"<!-- file: (?P<name>[^\n]+) -->\n```\w*\n(?P<text>.*?)```", re.DOTALL)


def examples() -> list[tuple[str, str]]:
    """Return the words of every example and the output the README gives."""
    found = _EXAMPLE.finditer(README.read_text(encoding="utf-8"))
    return [(match["words"], match["text"]) for match in found]


@pytest.mark.whole_process
@pytest.mark.parametrize("words", [words for words, _ in examples()])
def test_the_readme_shows_the_real_output(words: str, cuttable: Run, tmp_path: Path) -> None:
    """Each example, run by a real process, prints the text below it."""
    for file in _FILE.finditer(README.read_text(encoding="utf-8")):
        (tmp_path / file["name"]).write_text(file["text"], encoding="utf-8")
    done = cuttable(*shlex.split(words), cwd=tmp_path)
    printed = _without_trailing_space(done.stdout)
    assert "Traceback" not in done.stderr
    if os.environ.get("CUTTABLE_UPDATE_README"):
        _write(words, printed)
        return
    shown = dict(examples())[words]
    assert printed == shown


def test_the_readme_has_examples_of_every_command() -> None:
    """A command that is not shown is not finished."""
    text = README.read_text(encoding="utf-8")
    for command in (
        "check",
        "sheet",
        "batch",
        "lengths",
        "section-range",
        "chart",
        "compare",
        "sections",
        "machines",
        "rules",
        "sites",
        "catalogue",
        "grades",
        "impact",
        "whatif",
        "answer",
        "catalogue",
        "ledger",
        "serve",
        "explain",
    ):
        assert f"cuttable {command}" in text or f"output: {command}" in text
    assert len(examples()) >= 9


_STEPS = re.compile(r"<!-- steps -->\n```text\n(?P<text>.*?)```", re.DOTALL)

# What differs each time the steps are run: times, and the digest that rests on them.
_TIME = re.compile(
    r"\d{4}-\d\d-\d\d([T ]\d\d:\d\d)?|(?<=^Head of the journal: )[0-9a-f]{24}", re.MULTILINE
)


def test_the_steps_of_the_readme_print_what_it_shows(tmp_path: Path) -> None:
    """Typed one after the other in a shell, on a ledger of their own; only the times may differ."""
    text = README.read_text(encoding="utf-8")
    (steps,) = _STEPS.findall(text)
    for file in _FILE.finditer(text):
        (tmp_path / file["name"]).write_text(file["text"], encoding="utf-8")
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
        README.write_text(text.replace(steps, shown), encoding="utf-8")
        return
    assert _TIME.sub("DATE", shown) == _TIME.sub("DATE", steps)


def _without_trailing_space(text: str) -> str:
    return "".join(f"{line.rstrip()}\n" for line in text.splitlines())


def _write(words: str, printed: str) -> None:
    text = README.read_text(encoding="utf-8")
    head = f"<!-- output: {words} -->\n```text\n"
    start = text.index(head) + len(head)
    end = text.index("```", start)
    README.write_text(text[:start] + printed + text[end:], encoding="utf-8")
