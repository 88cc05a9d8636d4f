"""The README prints what the program prints.

``CUTTABLE_UPDATE_README=1 python -m pytest tests/cli/test_readme.py`` writes the real output
into it.
"""

import os
import re
import shlex
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., "subprocess.CompletedProcess[str]"]

README = Path(__file__).resolve().parents[2] / "README.md"
_EXAMPLE = re.compile(r"<!-- output: (?P<words>[^\n]+) -->\n```text\n(?P<text>.*?)```", re.DOTALL)


_FILE = re.compile(r"<!-- file: (?P<name>[^\n]+) -->\n```\w*\n(?P<text>.*?)```", re.DOTALL)


def examples() -> list[tuple[str, str]]:
    """Return the words of every example and the output the README gives."""
    found = _EXAMPLE.finditer(README.read_text(encoding="utf-8"))
    return [(match["words"], match["text"]) for match in found]


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
        "explain",
        "completion",
    ):
        assert f"cuttable {command}" in text or f"output: {command}" in text
    assert len(examples()) >= 9


def _without_trailing_space(text: str) -> str:
    return "".join(f"{line.rstrip()}\n" for line in text.splitlines())


def _write(words: str, printed: str) -> None:
    text = README.read_text(encoding="utf-8")
    head = f"<!-- output: {words} -->\n```text\n"
    start = text.index(head) + len(head)
    end = text.index("```", start)
    README.write_text(text[:start] + printed + text[end:], encoding="utf-8")
