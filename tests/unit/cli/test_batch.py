"""``cuttable batch`` by its real process: what it writes, says and ends with."""

import csv
import json
import os
import re
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest

Run = Callable[..., "subprocess.CompletedProcess[str]"]

GOOD = """job,section,length,grade,qty,parts
A1,NPS 4 SCH 40,20 ft,,3,
A2,NPS 10 XS,12 m,,1,
A3,SHS 100x5 cf,6 m,,2,2*1 m
"""


@pytest.fixture
def backlog(tmp_path: Path) -> Path:
    """A small backlog of jobs that can all be read."""
    path = tmp_path / "orders.csv"
    path.write_text(GOOD, encoding="utf-8")
    return path


def answers(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_answers_and_summary(cuttable: Run, backlog: Path, tmp_path: Path) -> None:
    """A row a job and machine; the mapping on stderr, the counts on stdout."""
    out = tmp_path / "answers.csv"
    done = cuttable("batch", str(backlog), "--out", str(out))
    assert done.returncode == 0, done.stderr
    assert "'qty' as quantity" in done.stderr
    assert "3 jobs; 3 can be cut on the best of 4 models" in done.stdout
    for title in ("Answers by verdict", "What decides", "Fullest limit", "What must be done",
                  "Taken for granted"):  # fmt: skip
        assert title in done.stdout
    found = answers(out)
    assert [row["job"] for row in found] == [job for job in ("A1", "A2", "A3") for _ in range(4)]
    assert found[0]["verdict"] == "in-range"


@pytest.mark.parametrize("kind", ["csv", "jsonl", "parquet", "xlsx"])
def test_every_kind_of_file_says_the_same(
    cuttable: Run, backlog: Path, tmp_path: Path, kind: str
) -> None:
    """The verdicts are those of ``check``."""
    out = tmp_path / f"a.{kind}"
    done = cuttable("batch", str(backlog), "--out", str(out), "--machine", "alder-320")
    assert done.returncode == 1, done.stderr  # the square needs rests that are not fitted
    if kind == "csv":
        verdicts = [row["verdict"] for row in answers(out)]
    elif kind == "jsonl":
        verdicts = [json.loads(line)["verdict"] for line in out.read_text().splitlines()]
    elif kind == "parquet":
        verdicts = pq.read_table(out).column("verdict").to_pylist()
    else:
        from python_calamine import CalamineWorkbook

        rows = CalamineWorkbook.from_path(out).get_sheet_by_index(0).to_python()
        verdicts = [row[rows[0].index("verdict")] for row in rows[1:]]
    assert verdicts == ["in-range", "oversize-allowed-with-conditions", "refused"]


def test_bad_rows_keep_their_place_and_end_with_2(cuttable: Run, tmp_path: Path) -> None:
    """Unreadable, ragged, with a question, doubled: each has its row, and the code why."""
    path = tmp_path / "a.csv"
    path.write_text(
        "id;size;len\n1;NPS 4 SCH 40;6 m\n2;nonsense;6 m\n3;4 in pipe;6 m\n4;NPS 4 SCH 40\n"
        "1;NPS 4 SCH 40;6\n", encoding="utf-8",
    )  # fmt: skip
    out = tmp_path / "b.csv"
    done = cuttable("batch", str(path), "--out", str(out), "--machine", "rowan-150")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    found = answers(out)
    assert [row["job"] for row in found] == ["1", "2", "3", "4", "1"]
    assert [row["error"] for row in found] == [
        "", "designation-unreadable", "which-wall", "row-ragged", "length-unit",
    ]  # fmt: skip
    assert re.search(r"4 +in error or with a question", done.stdout)


def test_machine_of_a_row_and_best(cuttable: Run, tmp_path: Path) -> None:
    """A row may name its own machine; --best keeps one answer a job."""
    path = tmp_path / "a.csv"
    path.write_text(
        "job,section,length,machine\n1,NPS 4 SCH 40,6 m,larch-610\n2,NPS 10 XS,12 m,\n"
        "3,NPS 4 SCH 40,6 m,birch\n", encoding="utf-8",
    )  # fmt: skip
    out = tmp_path / "b.csv"
    done = cuttable("batch", str(path), "--out", str(out), "--best")
    assert done.returncode == 2
    found = answers(out)
    assert [(row["job"], row["machine"]) for row in found[:2]] == [
        ("1", "larch-610"), ("2", "larch-610"),
    ]  # fmt: skip
    assert (found[2]["job"], found[2]["error"]) == ("3", "machine-unknown")


@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_the_report_is_a_page(cuttable: Run, backlog: Path, tmp_path: Path, kind: str) -> None:
    """HTML without anything from outside, PDF of one page with its text."""
    report = tmp_path / f"r.{kind}"
    done = cuttable(
        "batch", str(backlog), "--out", str(tmp_path / "a.csv"), "--report", str(report)
    )
    assert done.returncode == 0, done.stderr
    if kind == "html":
        text = report.read_text(encoding="utf-8")
        assert "http" not in text
    else:
        import pypdf

        pages = pypdf.PdfReader(report).pages
        assert len(pages) == 1
        text = pages[0].extract_text()
    assert "3 jobs; 3 can be cut" in text
    assert "What decides" in text


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["{a}", "--out", "{a}"], "choice-unknown"),
        (["{a}", "--out", "{dir}/b.doc"], "output-unwritable"),
        (["{a}", "--out", "{dir}/no/b.csv"], "output-unwritable"),
        (["{dir}/none.csv", "--out", "{dir}/b.csv"], "file-missing"),
        (["{a}", "--out", "{dir}/b.csv", "--machine", "birch"], "machine-unknown"),
        (["{a}", "--out", "{dir}/b.csv", "--report", "{dir}/r.txt"], "choice-unknown"),
    ],
)
def test_what_cannot_be_done_is_told(
    cuttable: Run, backlog: Path, tmp_path: Path, words: list[str], code: str
) -> None:
    """One sentence with a code; no answer file, and no half one."""
    done = cuttable("batch", *(word.format(a=backlog, dir=tmp_path) for word in words))
    assert done.returncode == 2
    assert f"[{code}]" in done.stderr
    assert "Traceback" not in done.stderr
    assert [item.name for item in tmp_path.iterdir()] == ["orders.csv"]


def long_backlog(path: Path, rows: int) -> None:
    lines = [
        f"J{row},tube {20 + row % 180} x 2 mm,{900 + 100 * (row % 50)} mm" for row in range(rows)
    ]
    path.write_text("job,section,length\n" + "\n".join(lines) + "\n", encoding="utf-8")


def test_a_file_system_that_is_full_leaves_the_old_answers(tmp_path: Path) -> None:
    """A limit on file size stands in for a full disk: the error is told, the old file stays."""
    path, out = tmp_path / "a.csv", tmp_path / "b.csv"
    long_backlog(path, 3000)
    out.write_text("old")

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))

    done = subprocess.run(
        [sys.executable, "-c", "from cuttable.cli.main import run; run()", "batch", str(path),
         "--out", str(out), "--machine", "rowan-150"],
        capture_output=True, text=True, timeout=120, check=False, preexec_fn=limit,
    )  # fmt: skip
    assert done.returncode == 2
    assert "[output-unwritable]" in done.stderr
    assert out.read_text() == "old"


def test_a_run_that_is_interrupted_keeps_the_old_answers_and_goes_on(
    cuttable: Run, tmp_path: Path
) -> None:
    """Ctrl-C in the middle: the old file stands; --resume makes the file of a whole run."""
    path, out, whole = (tmp_path / name for name in ("a.csv", "b.csv", "whole.csv"))
    long_backlog(path, 12_000)
    out.write_text("old")
    words = ["batch", str(path), "--machine", "rowan-150", "--machine", "alder-320"]
    environment = os.environ | {"CUTTABLE_CHUNK_ROWS": "2000"}
    process = subprocess.Popen(
        # A job in the background ignores interrupts, and so do its children unless told.
        [sys.executable, "-c", "import signal\n"
         "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
         "from cuttable.cli.main import run\nrun()", *words, "--out", str(out)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment,
    )  # fmt: skip
    journal = tmp_path / ".b.csv.part.json"
    deadline = time.monotonic() + 60
    while process.poll() is None and time.monotonic() < deadline:
        if journal.exists() and json.loads(journal.read_text())["rows"]:
            break
        time.sleep(0.01)
    process.send_signal(signal.SIGINT)
    _, told = process.communicate(timeout=60)
    assert process.returncode == 130, told
    assert out.read_text() == "old"
    assert "--resume continues" in told
    done = cuttable(*words, "--out", str(out), "--resume", env=environment)
    assert done.returncode in (0, 1), done.stderr
    assert cuttable(*words, "--out", str(whole)).returncode == done.returncode
    assert out.read_bytes() == whole.read_bytes()
    assert "12000 jobs" in done.stdout
    assert not journal.exists()


def test_an_empty_backlog_is_answered(cuttable: Run, tmp_path: Path) -> None:
    """A header alone: no rows, a file with the header, status 0."""
    path, out = tmp_path / "a.csv", tmp_path / "b.csv"
    path.write_text("job,section,length\n")
    done = cuttable("batch", str(path), "--out", str(out))
    assert done.returncode == 0, done.stderr
    assert "0 jobs" in done.stdout
    assert out.read_text().startswith('"row","job"')


def test_numbers_of_mitigations_are_columns(cuttable: Run, backlog: Path, tmp_path: Path) -> None:
    """--numbers adds a column for each; blank where it is not asked."""
    out: Any = tmp_path / "a.parquet"
    cuttable("batch", str(backlog), "--out", str(out), "--machine", "alder-320", "--numbers")
    table = pq.read_table(out)
    assert table.column("reduced-rapid.rapid_override").to_pylist() == [None, 0.5, None]


def test_a_row_without_an_answer_weighs_more_than_a_refusal(cuttable: Run, tmp_path: Path) -> None:
    """Refused alone ends with 1; with a row that has no answer beside it, 2, as help says."""
    path, out = tmp_path / "a.csv", tmp_path / "b.csv"
    rows = {
        "refused": "1,NPS 24 STD,18 m",
        "unreadable": "2,nonsense,6 m",
        "asked": "3,pipe 4 in,6 m",
    }
    for names, status in (
        (["refused"], 1), (["refused", "unreadable"], 2), (["unreadable", "refused"], 2),
        (["asked", "refused"], 2), (["unreadable"], 2),
    ):  # fmt: skip
        lines = ["job,section,length", *(rows[name] for name in names)]
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        out.unlink(missing_ok=True)
        done = cuttable("batch", str(path), "--out", str(out), "--machine", "rowan-150")
        assert done.returncode == status, names
    assert "1 job; 0 can be cut" in done.stdout
    said = " ".join(cuttable("batch", "--help").stdout.split())
    assert "2 some job has no answer" in said
    assert "whatever else is refused" in said


def started(words: list[str], **options: Any) -> "subprocess.Popen[str]":
    """Begin the command and go on."""
    return subprocess.Popen(
        [sys.executable, "-c", "from cuttable.cli.main import run; run()", *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **options,
    )  # fmt: skip


@pytest.mark.whole_process
def test_a_backlog_from_a_pipe_is_answered_whole(
    cuttable: Run, backlog: Path, tmp_path: Path
) -> None:
    """On standard input, and as a shell gives the output of a program; by each command."""
    out, whole = tmp_path / "a.csv", tmp_path / "whole.csv"
    words = ["--machine", "alder-320"]
    cuttable("batch", str(backlog), "--out", str(whole), *words)
    done = cuttable("batch", "/dev/stdin", "--out", str(out), *words, input=GOOD)
    assert done.returncode == 1, done.stderr
    assert out.read_bytes() == whole.read_bytes()
    process = subprocess.Popen(
        ["/bin/bash", "-c", '"$0" -c "$1" whatif --backlog <(cat "$2") --machine alder-320 --json',
         sys.executable, "from cuttable.cli.main import run; run()", str(backlog)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    told, fault = process.communicate(timeout=120)
    assert process.returncode == 0, fault
    assert json.loads(told)["state"]["jobs"] == 3


def test_the_backlog_is_never_written_over(cuttable: Run, backlog: Path, tmp_path: Path) -> None:
    """By its name, another name, standard input, or as the report."""
    link = tmp_path / "link.csv"
    link.hardlink_to(backlog)
    page = tmp_path / "orders.html"
    page.write_text(GOOD, encoding="utf-8")
    for words in (
        [str(backlog), "--out", str(backlog)], [str(backlog), "--out", str(link)],
        [str(page), "--out", str(tmp_path / "a.csv"), "--report", str(page)],
        [str(backlog), "--out", str(tmp_path / "b.html"), "--report", str(tmp_path / "b.html")],
    ):  # fmt: skip
        done = cuttable("batch", *words)
        assert (done.returncode, "[choice-unknown]" in done.stderr) == (2, True), words
    assert backlog.read_text(encoding="utf-8") == page.read_text(encoding="utf-8") == GOOD
    assert not (tmp_path / "a.csv").exists()


def test_a_killed_run_is_continued_only_for_the_same_content(cuttable: Run, tmp_path: Path) -> None:
    """Killed without a word: nothing holds its files; a copy of the backlog goes on from there."""
    path, copy, out, whole = (tmp_path / name for name in ("a.csv", "c.csv", "b.csv", "whole.csv"))
    long_backlog(path, 12_000)
    copy.write_bytes(path.read_bytes())
    words = ["--machine", "rowan-150", "--out", str(out), "--workers", "2"]
    environment = os.environ | {"CUTTABLE_CHUNK_ROWS": "2000"}
    process = started(["batch", str(path), *words], env=environment)
    journal = tmp_path / ".b.csv.part.json"
    deadline = time.monotonic() + 100
    while process.poll() is None and time.monotonic() < deadline:
        if journal.exists() and json.loads(journal.read_text())["rows"]:
            break
        time.sleep(0.01)
    process.send_signal(signal.SIGSTOP)  # it can neither end nor go on meanwhile
    busy = cuttable("batch", str(path), *words, env=environment)
    assert "[output-busy]" in busy.stderr
    process.kill()
    process.communicate(timeout=60)
    text = path.read_text()
    path.write_text(text.replace("J11999,", "J11998,"))
    other = cuttable("batch", str(path), *words, "--resume", env=environment)
    assert "[resume-mismatch]" in other.stderr
    done = cuttable("batch", str(copy), *words, "--resume", env=environment)
    assert done.returncode in (0, 1), done.stderr
    cuttable("batch", str(copy), "--machine", "rowan-150", "--out", str(whole))
    assert out.read_bytes() == whole.read_bytes()
    assert sorted(item.name for item in tmp_path.iterdir()) == [
        "a.csv", "b.csv", "c.csv", "whole.csv",
    ]  # fmt: skip
