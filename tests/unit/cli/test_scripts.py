"""The command in scripts: closed pipes, full disks, errors as JSON, narrow terminals."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., "subprocess.CompletedProcess[str]"]
ENTRY = f'"{sys.executable}" -c "from cuttable.cli.main import run; run()"'
JOB = '"NPS 4 SCH 40" "6 m"'


def shell(line: str) -> "subprocess.CompletedProcess[str]":
    """Run a line in bash, in which CUTTABLE stands for the command."""
    return subprocess.run(
        ["bash", "-c", line.replace("CUTTABLE", ENTRY)],  # noqa: S607
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


@pytest.mark.parametrize("words", [f"check {JOB}", "rules list", "explain", "sections find nps"])
def test_a_reader_that_has_seen_enough_ends_it_quietly(words: str) -> None:
    """Status 141 or that of the whole answer, never 1, which would mean refused."""
    done = shell(f"CUTTABLE {words} | head -1; exit ${{PIPESTATUS[0]}}")
    assert done.returncode in (0, 141)
    assert done.stderr == ""
    assert done.stdout.count("\n") == 1


@pytest.mark.parametrize("end", ["> /dev/full", ">&-"])
@pytest.mark.parametrize("more", ["", " --json"])
def test_output_that_cannot_be_written_is_an_error(end: str, more: str) -> None:
    """Status 2 and one sentence; a script does not take nothing for an answer."""
    done = shell(f"CUTTABLE check {JOB}{more} {end}")
    assert done.returncode == 2
    assert "[output-unwritable]" in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["check", "NPS 4 SCH 41", "6 m"], "section-unknown"),
        (["check", "NPS 4 SCH 40"], "usage-wrong"),
        (["check", "NPS 4 SCH 40", "6 m", "--machine", "birch"], "machine-unknown"),
        (["sections", "show", "nonsense"], "designation-unreadable"),
        (["sections", "show", "4 in pipe"], "question-open"),
        (["machines", "show", "birch"], "machine-unknown"),
        (["rules", "show", "NO-01"], "rule-unknown"),
        (["explain", "ratd"], "measure-unknown"),
        (["compare", "NPS 4 SCH 40", "6 m", "NPS 4 SCH 41", "6 m"], "section-unknown"),
    ],
)
def test_errors_are_json_where_json_was_asked_for(
    cuttable: Run, words: list[str], code: str
) -> None:
    """One object with the stable code; the sentence on stderr too."""
    done = cuttable(*words, "--json")
    assert done.returncode == 2
    content = json.loads(done.stdout)
    error = content["error"]
    assert error["code"] == code
    assert error["text"]
    assert f"[{code}]" not in error["text"]
    assert done.stderr
    assert content["schema"].startswith("cuttable.")


def test_where_of_a_broken_file_is_told(cuttable: Run, tmp_path: Path) -> None:
    """The file and the key stand apart from the sentence."""
    path = tmp_path / "mine.toml"
    path.write_text("schema = 1\n")
    done = cuttable("check", "NPS 4 SCH 40", "6 m", "--machine", str(path), "--json")
    assert json.loads(done.stdout)["error"]["where"] == str(path)


@pytest.mark.parametrize("width", [40, 60, 100])
@pytest.mark.parametrize(
    "words",
    [["check", "NPS 10 XS", "12 m"], ["machines", "show", "rowan-150"], ["rules", "list"],
     ["sections", "find", "NPS 6"]],
    ids=" ".join,
)  # fmt: skip
def test_nothing_runs_past_a_narrow_terminal(cuttable: Run, width: int, words: list[str]) -> None:
    """Tables become blocks; only single words longer than a line may stand out."""
    done = cuttable(*words, env=os.environ | {"COLUMNS": str(width)})
    long = [line for line in done.stdout.splitlines() if len(line) > width]
    assert not [line for line in long if len(max(line.split(), key=len)) < width - 24], long


@pytest.mark.whole_process
def test_plain_ascii_output_holds_what_was_typed(cuttable: Run) -> None:
    """No traceback, no mojibake."""
    plain = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii"}
    done = cuttable("check", "4½ nonsense", "6 m", env=os.environ | plain)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert done.stderr.isascii()


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("INER-01", "Rotary inertia above rated"),
        ("iner-01", "Rotary inertia above rated"),
        ("reduced-rapid", "Something to do"),
        ("reversed-jaws", "An accessory"),
        ("section-unknown", "An error"),
        ("which-wall", "A question"),
        ("heavy end", "mill tolerance"),
        ("rated", "as delivered"),
        ("rotary inertia", "kg*m^2"),
        ("grip", "--grip inside"),
        ("off axis", "--off-axis '12 kg @ 150 mm'"),
    ],
)
def test_explain_knows_measures_codes_and_words(cuttable: Run, name: str, words: str) -> None:
    """Whatever stands in an answer can be asked about."""
    done = cuttable("explain", name)
    assert done.returncode == 0, done.stderr
    assert words in done.stdout


def test_a_sheet_is_for_one_machine(cuttable: Run, tmp_path: Path) -> None:
    """Two are an error, not the last one."""
    done = cuttable(
        "sheet", "NPS 4 SCH 40", "6 m", "--machine", "rowan-150", "--machine", "alder-320",
        "--out", str(tmp_path / "a.pdf"),
    )  # fmt: skip
    assert done.returncode == 2
    assert "2 are named" in done.stderr
    assert not list(tmp_path.iterdir())


def test_the_beginning_of_a_code_names_the_models(cuttable: Run) -> None:
    """Part of a name is not guessed, and is told what it may be."""
    done = cuttable("check", "NPS 4 SCH 40", "6 m", "--machine", "rowan")
    assert done.returncode == 2
    assert "Known: rowan-150" in done.stderr


def test_units_of_a_section(cuttable: Run) -> None:
    """US units throughout."""
    done = cuttable("sections", "show", "NPS 6 SCH 40", "--units", "us")
    assert "in²" in done.stdout
    assert "mm²" not in done.stdout
    assert "cm⁴" not in done.stdout


def test_a_count_below_one_is_refused(cuttable: Run) -> None:
    """--most -3 lists nothing and says why."""
    done = cuttable("sections", "find", "NPS", "--most", "-3")
    assert done.returncode == 2
    assert "--most" in done.stderr
