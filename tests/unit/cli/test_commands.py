"""Every command by its real process: what it prints, and how it ends."""

import json
import os
import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., "subprocess.CompletedProcess[str]"]
MODELS = Path(__file__).resolve().parents[3] / "catalogue" / "models"

COMMANDS = [
    ["check"], ["sheet"], ["batch"], ["lengths"], ["section-range"],
    ["chart"], ["compare"], ["sections", "find"], ["sections", "show"],
    ["machines", "list"],
    ["machines", "show"], ["machines", "validate"], ["rules", "list"], ["rules", "show"],
    ["rules", "check"], ["explain"],
]  # fmt: skip


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_every_command_has_help_with_an_example(cuttable: Run, words: list[str]) -> None:
    """Help says what it does and shows one use."""
    done = cuttable(*words, "--help")
    assert done.returncode == 0
    assert "Example" in done.stdout
    assert f"cuttable {words[0]}" in done.stdout


def test_check_says_verdict_deciding_number_boxes_and_cautions(cuttable: Run) -> None:
    """The parts of an answer, in the order a reader needs them."""
    done = cuttable("check", "NPS 10 XS", "12 m", "--machine", "alder-320")
    assert done.returncode == 0
    assert done.stderr == ""
    places = [
        done.stdout.index(text)
        for text in (
            "ALLOWED WITH CONDITIONS", "NPS 10 XS", "rotary inertia 16.61", "INER-01",
            "Supports, from", "[ ] ", "in range 800 mm to 8447 mm", "Cautions",
        )
    ]  # fmt: skip
    assert places == sorted(places)


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (["NPS 4 SCH 40", "20 ft"], 0),
        (["NPS 10 XS", "12 m", "--machine", "alder-320"], 0),
        (["NPS 10 XS", "12 m", "--machine", "alder-320", "--at-least", "in-range"], 1),
        (["NPS 10 XS", "12 m", "--machine", "rowan-150"], 1),
        (["NPS 4 SCH 40", "20 ft", "--end", "sealed"], 1),
        (["4 in pipe", "20 ft"], 2),
        (["NPS 4 SCH 40", "20"], 2),
        (["NPS 4 SCH 40", "20 ft", "--coating", "painted"], 2),
        (["NPS 4 SCH 40", "20 ft", "--machine", "nothing"], 2),
    ],
)
def test_exit_status(cuttable: Run, words: list[str], status: int) -> None:
    """0 answered, 1 refused or below --at-least, 2 could not be answered; --json the same."""
    assert cuttable("check", *words).returncode == status
    assert cuttable("check", *words, "--json").returncode == status


def test_json_is_one_object_and_nothing_else(cuttable: Run) -> None:
    """Scripts read stdout whole."""
    done = cuttable("check", "NPS 4 SCH 40", "20 ft", "--json", "--trace")
    answer = json.loads(done.stdout)
    assert answer["schema"] == "cuttable.verdicts/1"
    assert len(answer["verdicts"]) == 4
    assert answer["questions"] == []
    assert answer["verdicts"][0]["trace"]
    assert done.stderr == ""


def test_a_question_in_json_has_code_text_and_choices(cuttable: Run) -> None:
    """And no verdict."""
    answer = json.loads(cuttable("check", "12 in x .5", "40 ft", "--json").stdout)
    assert answer["verdicts"] == []
    assert answer["questions"][0]["code"] == "pipe-or-tube"
    assert answer["questions"][0]["choices"] == ["NPS 12 XS", "tube 12 x 0.5 in"]


def test_units_switch(cuttable: Run) -> None:
    """Either system, whichever the length was typed in."""
    metric = cuttable("check", "NPS 4 SCH 40", "20 ft", "--units", "si").stdout
    shop = cuttable("check", "NPS 4 SCH 40", "6 m", "--units", "us").stdout
    assert "114.3 mm x 6.02 mm" in metric
    assert "4.5 in x 0.237 in" in shop
    assert "19'-8" in shop


@pytest.mark.parametrize(
    ("what", "told"),
    [
        (["--part", "1.2 m*2", "--part", "2*0.5 m"],
         ("parts", [{"length": 1200.0, "count": 2}, {"length": 500.0, "count": 2}])),
        (["--cut", "3 m"], ("cuts", [3000.0])),
    ],
    ids=["parts", "cuts"],
)  # fmt: skip
def test_all_the_options_together(
    cuttable: Run, what: list[str], told: tuple[str, list[Any]]
) -> None:
    """Everything that can be said of a job is read and told back."""
    answer = json.loads(
        cuttable(
            "check", "NPS 4 SCH 40", "6 m", "--machine", "rowan-150", "--machine", "alder-320",
            "--grade", "A106 B", *what,
            "--station", "2 m", "--bow", "5 mm", "--off-axis", "3 kg @ 100 mm", "--end", "open",
            "--contents", "empty", "--coating", "wet", "--fitted", "wide-roller-pair", "--json",
        ).stdout
    )  # fmt: skip
    job = answer["verdicts"][0]["job"]
    assert len(answer["verdicts"]) == 2
    assert job["grade"] == "ASTM A106 B"
    assert job[told[0]] == told[1]
    assert job["bow"] == 5.0
    assert job["off_axis"] == {"mass": 3.0, "distance": 100.0}
    assert (job["ends"], job["contents"], job["coating"]) == ("open", "empty", "wet")
    assert job["fitted"] == ["wide-roller-pair"]


def test_a_machine_of_ones_own(cuttable: Run, tmp_path: Path) -> None:
    """A file is asked like a model, and validated with a sentence."""
    path = tmp_path / "mine.toml"
    text = (MODELS / "rowan-150.toml").read_text(encoding="utf-8")
    path.write_text(text.replace('"rowan-150"', '"mine"'), encoding="utf-8")
    done = cuttable("check", "NPS 4 SCH 40", "20 ft", "--machine", str(path))
    assert done.returncode == 0
    assert "IN RANGE  mine" in done.stdout
    assert "valid machine file of mine" in cuttable("machines", "validate", str(path)).stdout


def test_a_wrong_machine_file_lists_every_problem(cuttable: Run, tmp_path: Path) -> None:
    """Three faults, three lines, one run."""
    path = tmp_path / "mine.toml"
    text = (MODELS / "rowan-150.toml").read_text(encoding="utf-8")
    text = text.replace("[limits.sag]", "[limits.sagg]").replace('"330 kg"', '"33 kg"')
    path.write_text(text.replace('bore         = "160 mm"', 'bore = "160 N"'), encoding="utf-8")
    done = cuttable("machines", "validate", str(path))
    assert done.returncode == 2
    assert "3 problems" in done.stderr
    for words in ("limits.sagg", "limits.stock_mass.absolute", "chuck.bore"):
        assert words in done.stderr


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["sections", "find", "NPS", "6", "SCH", "40"], "NPS 6 SCH 40"),
        (["sections", "find", "168.3", "7.11"], "NPS 6 SCH 40"),
        (["sections", "find", "hss 6x4"], "HSS 6x4x1/4"),
        (["sections", "show", "HSS 6x4x1/4"], "15.62 lb/ft"),
        (["sections", "show", "2 in x 11 bwg", "--units", "us"], "tube 2 x 0.12 in"),
        (["machines", "list", "--units", "us"], "rowan-150"),
        (["machines", "show", "larch-610"], "constant acceleration"),
        (["rules", "list"], "INER-01"),
        (["rules", "show", "iner-01"], "Inertia just above the rated limit is oversize"),
        (["rules", "show", "seat-01"], "param.shallow_seat  40 deg: common practice"),
        (["rules", "show", "jaw-01"], "param.crush_share  0.6: common practice"),
        (["rules", "check"], "clean"),
        (["explain"], "rotary_inertia"),
        (["explain", "rapid override"], "sqrt((J_fixed + J_rated)"),
        (["explain", "length-range"], "100 m"),
        (["--version"], "cuttable"),
        (["--help"], "check"),
    ],
)
def test_commands_print_what_they_are_for(cuttable: Run, words: list[str], expected: str) -> None:
    """One characteristic text of each."""
    done = cuttable(*words)
    assert done.returncode == 0, done.stderr
    assert expected in done.stdout


@pytest.mark.parametrize(
    "words",
    [
        ["sections", "find", "NPS 6"], ["sections", "show", "NPS 6 SCH 40"], ["machines", "list"],
        ["machines", "show", "rowan-150"], ["rules", "list"], ["rules", "show", "SIZE-01"],
        ["rules", "check"], ["explain", "stock_mass"],
        ["compare", "NPS 6 SCH 40", "6 m", "NPS 8 SCH 40", "6 m"],
    ],
    ids=" ".join,
)  # fmt: skip
def test_data_commands_print_json_with_a_schema(cuttable_json: Any, words: list[str]) -> None:
    """One object, named by its schema."""
    assert cuttable_json(*words)["schema"].startswith("cuttable.")


def test_what_is_held_to_be_equal_is_told_apart(cuttable: Run) -> None:
    """Common practice, no source: 10 ft of NPS 8 Sch 80 turns about like 24 ft of NPS 6 Sch 80.

    The ratio is 1.088, and "about" would hide 9 %.
    """
    done = cuttable("compare", "NPS 8 SCH 80", "10 ft", "NPS 6 SCH 80", "24 ft")
    assert "1.088" in done.stdout
    assert "8.8 % harder" in done.stdout


def test_nothing_found_says_so(cuttable: Run) -> None:
    """A search without result is an answer, and ends with 1."""
    done = cuttable("sections", "find", "NPS", "99")
    assert done.returncode == 1
    assert "No section" in done.stdout


STARTED: dict[str, tuple[list[str], str]] = {
    "check": (["NPS 4 SCH 40", "6 m", "--machine", "rowan-150"], "NPS 4 SCH 40"),
    "sheet": (["NPS 4 SCH 40", "6 m", "--machine", "rowan-150", "--out", "a.html"], "a.html"),
    "lengths": (["NPS 4 SCH 40", "--machine", "rowan-150"], "in range"),
    "section-range": (["--machine", "rowan-150", "--length", "6 m"], "NPS"),
    "chart": (["--machine", "rowan-150", "--out", "a.svg"], "a.svg"),
    "batch": (["jobs.csv", "--out", "answers.csv"], "1 job"),
    "whatif": (["--backlog", "jobs.csv", "--machine", "rowan-150"], "1 job"),
    "compare": (["NPS 6 SCH 40", "6 m", "NPS 4 SCH 40", "6 m"], "times as hard"),
    "sections": (["show", "NPS 4 SCH 40"], "114.3"),
    "machines": (["show", "rowan-150"], "rowan-150"),
    "sites": (["list", "--ledger", "own.db"], "No site"),
    "grades": (["list"], "A53"),
    "rules": (["show", "INER-01"], "Rotary inertia above rated"),
    "catalogue": (["list"], "B36.10"),
    "impact": (["rowan-150/1", "--answers", "--ledger", "own.db"], "[revision-state]"),
    "answer": (["1", "--ledger", "own.db"], "[answer-unknown]"),
    "ledger": (["verify", "--ledger", "own.db"], "as it was written"),
    "serve": (["--ledger", "mysql://x/y"], "[ledger-place-unknown]"),
    "explain": (["rated"], "as delivered"),
    "schema": (["machine"], '"title": "Machine file"'),
}
"""Words after each command that make it do its work, and what it then says."""


@pytest.mark.whole_process
@pytest.mark.parametrize("name", STARTED)
def test_a_command_starts_by_itself(cuttable: Run, tmp_path: Path, name: str) -> None:
    """In a process that has imported nothing before: what a command needs, it imports itself."""
    words, said = STARTED[name]
    (tmp_path / "jobs.csv").write_text("job,section,length\n1,NPS 4 SCH 40,6 m\n")
    if "own.db" in words:
        made = cuttable("ledger", "init", "--ledger", "own.db", cwd=tmp_path)
        assert made.returncode == 0, made.stderr
    done = cuttable(name, *words, cwd=tmp_path)
    assert said in done.stdout + done.stderr
    assert done.returncode == (2 if said.startswith("[") else 0), done.stderr


def test_every_command_is_started_by_itself(cuttable: Run) -> None:
    """The table above names each command that the help names."""
    listed = cuttable("--help").stdout.partition("Commands")[2]
    assert set(re.findall(r"^\W{2,}([a-z-]+) {2,}\w", listed, re.MULTILINE)) == set(STARTED)


def test_a_reader_that_stops_early_is_no_fault(cuttable: Run, tmp_path: Path) -> None:
    """Piping into head ends quietly."""
    done = subprocess.run(
        ["/bin/sh", "-c", f"'{_python()}' -c 'from cuttable.cli.main import run; run()' "
                          "sections find NPS | head -1"],
        capture_output=True, text=True, check=False, cwd=tmp_path, timeout=60,
    )  # fmt: skip
    assert done.stderr == ""
    assert cuttable("--version").returncode == 0


def _python() -> str:
    import sys

    return sys.executable


def test_a_check_loads_no_heavy_library_and_starts_no_thread(tmp_path: Path) -> None:
    """No pandas, Arrow or SQLAlchemy on the way, and one thread at the end."""
    code = (
        "import sys, threading\n"
        "from cuttable.cli.main import run\n"
        "sys.argv = ['cuttable', 'check', 'NPS 4 SCH 40', '20 ft', '--machine', 'rowan-150']\n"
        "try:\n    run()\nexcept SystemExit:\n    pass\n"
        "heavy = {'pandas', 'sqlalchemy', 'fastapi', 'pyarrow'} & set(sys.modules)\n"
        "print('HEAVY', sorted(heavy), threading.active_count(), file=sys.stderr)\n"
    )
    done = subprocess.run(
        [_python(), "-c", code], capture_output=True, text=True, check=False, cwd=tmp_path
    )
    assert "HEAVY [] 1" in done.stderr


@pytest.mark.parametrize(
    ("name", "start"), [("a.pdf", b"%PDF"), ("a.svg", b"<svg"), ("a.html", b"<!doctype html>")]
)
def test_sheet_writes_the_kind_its_name_says(
    cuttable: Run, tmp_path: Path, name: str, start: bytes
) -> None:
    """PDF, SVG and HTML from the same job, by file ending."""
    out = tmp_path / name
    done = cuttable(
        "sheet", "NPS 4 SCH 40", "20 ft", "--machine", "medlar-300", "--part", "4 ft*3",
        "--out", str(out),
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert out.read_bytes().startswith(start)
    assert "in range" in done.stdout


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["NPS 4 SCH 40", "20 ft"], "option-needs"),
        (["NPS 4 SCH 40", "20 ft", "--machine", "rowan-150", "--out", "x.docx"], "choice-unknown"),
        (["NPS 4 SCH 40", "20 ft", "--machine", "rowan-150", "--out", "none/x.pdf"],
         "output-unwritable"),
        (["4 in pipe", "20 ft", "--machine", "rowan-150"], "which-wall"),
    ],
)  # fmt: skip
def test_sheet_says_what_it_lacks(
    cuttable: Run, tmp_path: Path, words: list[str], code: str
) -> None:
    """No machine, no such kind, no such folder, an open question."""
    done = cuttable("sheet", *words, cwd=tmp_path)
    assert done.returncode == 2
    assert code in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["--station", "7 m"], "stations-bad"),
        (["--station", "2 m", "--station", "2 m"], "stations-bad"),
        (["--cut", "7 m"], "cuts-outside"),
        (["--cut", "2 m", "--cut", "2000.5 mm"], "cuts-outside"),
    ],
)
def test_stations_and_cuts_that_cannot_be_are_refused(
    cuttable: Run, words: list[str], code: str
) -> None:
    """Off the stock, doubled, or nearer than a cut is wide."""
    done = cuttable("check", "NPS 4 SCH 40", "6 m", "--machine", "rowan-150", *words)
    assert done.returncode == 2
    assert code in done.stderr


def test_a_station_on_a_cut_is_refused_with_the_reason(cuttable: Run) -> None:
    """A support under a cut is cut, or the part on it falls."""
    done = cuttable(
        "check", "NPS 4 SCH 40", "6 m", "--machine", "rowan-150", "--cut", "3 m",
        "--station", "2 m", "--station", "3 m", "--station", "5 m",
    )  # fmt: skip
    assert done.returncode == 1
    assert "STAND-01" in done.stdout


@pytest.mark.whole_process
def test_output_that_cannot_hold_a_character_holds_its_plain_form(cuttable: Run) -> None:
    """A terminal without UTF-8 gets *, ^2 and #, and no fault."""
    plain = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = cuttable("check", "NPS 4 SCH 40", "6 m", "--machine", "rowan-150", env=plain)
    assert done.returncode == 0, done.stderr
    assert "kg*m^2" in done.stdout
    assert "###" in done.stdout


def test_a_narrow_terminal_is_kept_to(cuttable: Run) -> None:
    """Paragraphs and lists wrap to the width there is."""
    narrow = {**os.environ, "COLUMNS": "70"}
    done = cuttable("check", "NPS 10 XS", "12 m", "--machine", "alder-320", env=narrow)
    lines = done.stdout.splitlines()
    assert max(len(line) for line in lines if line.lstrip().startswith(("!", "[ ]"))) <= 70
    assert not any(line.endswith(" ") for line in lines)


def test_chances_are_told_where_they_are_asked_for(cuttable: Run) -> None:
    """A block of text, a key of JSON; a lot without them is a mistake."""
    words = ["check", "NPS 6 SCH 40", "30 ft", "--machine", "rowan-150"]
    assert "Chance" not in cuttable(*words).stdout
    told = cuttable(*words, "--chance", "--lot", "12").stdout
    assert "Chance that the mill ships over the limit:" in told
    assert "any of lot over rated" in told
    answer = json.loads(cuttable(*words, "--chance", "--json").stdout)["verdicts"][0]
    assert answer["chance"]["limits"]["rotary_inertia"]["rated"] == {"normal": 1.0, "uniform": 1.0}
    wrong = cuttable(*words, "--lot", "12")
    assert wrong.returncode == 2
    assert "[option-needs]" in wrong.stderr
    assert "--chance" in wrong.stderr
