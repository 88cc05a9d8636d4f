"""``cuttable whatif`` by its real process: what a setting lifts, what refuses most, bad input."""

import json
import os
import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cuttable.catalogue.store import FOLDER

Run = Callable[..., "subprocess.CompletedProcess[str]"]
Ask = Callable[..., Any]

JOBS = (
    ("A1", "NPS 4 SCH 40", "20 ft"),
    ("A2", "NPS 5 SCH 160", "6 m"),
    ("A3", "NPS 5 SCH 80", "6 m"),
    ("A4", "NPS 4 SCH 40", "7 m"),
    ("A5", "NPS 6 SCH 40", "6 m"),
    ("A6", "tube 20 x 2 mm", "3 m"),
    ("A7", "NPS 3 XXS", "6.4 m"),
)
SETTINGS = {
    "limits.rotary_inertia.absolute": "1.8 kg*m^2",
    "limits.stock_length.absolute": "7.5 m",
    "limits.wall.carbon-steel.absolute": "20 mm",
}
MACHINE = "rowan-150"


@pytest.fixture
def backlog(tmp_path: Path) -> Path:
    """A small backlog, with one row for another model and one that cannot be read."""
    lines = ["job,section,length,machine", *(f"{','.join(job)}," for job in JOBS)]
    lines += ["B1,NPS 4 SCH 40,6 m,alder-320", "B2,nonsense,6 m,", "B3,NPS 2 STD,3 m,ROWAN-150"]
    path = tmp_path / "orders.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def amended(tmp_path: Path) -> Path:
    """The machine file with the values of ``SETTINGS``, changed by hand."""
    text = (FOLDER / "models" / f"{MACHINE}.toml").read_text(encoding="utf-8")
    for key, value in SETTINGS.items():
        table, _, name = key.rpartition(".")
        start = text.index(f"[{table}]")
        begin = text.index(f"{name} ", start)
        end = text.index("\n", begin)
        text = f'{text[:begin]}{name} = "{value}"{text[end:]}'
    path = tmp_path / "amended.toml"
    path.write_text(text, encoding="utf-8")
    return path


def words_of(*settings: str) -> list[str]:
    return [word for setting in settings for word in ("--set", setting)]


ALL = words_of(*(f"{key}={value}" for key, value in SETTINGS.items()))


def whatif(run: Run, backlog: Path, *words: str) -> "subprocess.CompletedProcess[str]":
    return run("whatif", "--machine", MACHINE, "--backlog", str(backlog), *words)


def test_what_is_lifted_is_what_check_says_of_an_amended_file(
    cuttable: Run, cuttable_json: Ask, backlog: Path, amended: Path
) -> None:
    """Job by job, before and after."""
    done = whatif(cuttable, backlog, *ALL, "--json")
    assert done.returncode == 0, done.stderr
    impact = json.loads(done.stdout)["impact"]
    found = {
        item["job"]: (group["before"], group["after"], cause["decided_by"])
        for group in impact["groups"]
        for cause in group["causes"]
        for item in cause["examples"]
    }
    lifted = 0
    for job, section, length in JOBS:
        before, after = (
            cuttable_json("check", section, length, "--machine", machine)["verdicts"][0]
            for machine in (MACHINE, str(amended))
        )
        if (before["verdict"], before["decided_by"]) != (after["verdict"], after["decided_by"]):
            assert found[job] == (
                before["verdict"],
                after["verdict"],
                {"before": before["decided_by"], "after": after["decided_by"]},
            )
            lifted += before["verdict"] == "refused" != after["verdict"]
    assert lifted >= 2
    assert lifted == sum(group["jobs"] for group in impact["groups"] if group["kind"] == "lifted")
    totals = impact["totals"]
    assert (totals["jobs"], totals["not_asked"], totals["faulty"]) == (10, 1, 1)


def test_it_is_told_in_words(cuttable: Run, backlog: Path) -> None:
    """What was set, what is lifted with examples, what gets worse, what refuses then and now."""
    done = whatif(cuttable, backlog, *ALL, "--set", "limits.stock_mass.rated=50 kg")
    assert done.returncode == 0, done.stderr
    assert "columns job, section, length, machine" in done.stderr
    text = done.stdout
    assert 'limits.stock_length.absolute: "6.5 m" → "7.5 m"' in text
    assert "10 jobs, 1 of another model" in text
    assert "Lifted: " in text
    assert "No longer in range" in text
    assert re.search(r"^ +4 +A4 +NPS 4 SCH 40 +7 m +\d+", text, re.MULTILINE)
    assert "Which limit refuses most, before" in text
    assert "And after" in text
    assert not any(line != line.rstrip() for line in text.splitlines())


def test_nothing_gets_worse_is_said(cuttable: Run, backlog: Path) -> None:
    """And where nothing is lifted, that too."""
    done = whatif(cuttable, backlog, *ALL)
    assert "Nothing gets worse." in done.stdout
    done = whatif(cuttable, backlog, "--set", "limits.stock_mass.rated=50 kg")
    assert "No refusal and no condition is lifted." in done.stdout


def test_without_a_setting_it_ranks_what_refuses(cuttable: Run, backlog: Path) -> None:
    """And names the keys to try; trying one works."""
    done = whatif(cuttable, backlog)
    assert done.returncode == 0, done.stderr
    assert "Which limit refuses most: " in done.stdout
    assert "(LEN-03)" in done.stdout
    assert "--set limits.round_diameter.minimum=..." in done.stdout
    assert 'now "26 mm"' in done.stdout
    smaller = whatif(cuttable, backlog, "--set", "limits.round_diameter.minimum=15 mm", "--json")
    state = json.loads(whatif(cuttable, backlog, "--json").stdout)
    assert state["schema"] == "cuttable.whatif/1"
    assert state["settings"] == []
    assert state["state"]["jobs"] == 9
    (entry,) = [item for item in state["state"]["refused_by"] if item["code"] == "SIZE-01"]
    assert (entry["jobs"], entry["alone"]) == (1, 1)
    assert json.loads(smaller.stdout)["impact"]["before"] == state["state"]


def test_a_machine_file_is_asked_as_a_model_is(cuttable: Run, backlog: Path, amended: Path) -> None:
    """A row that names its model is asked on the file; set back, everything is as it was."""
    back = [
        "--set", "limits.rotary_inertia.absolute=1.1 kg*m^2",
        "--set", "limits.stock_length.absolute=6.5 m",
        "--set", "limits.wall.carbon-steel.absolute=16 mm",
    ]  # fmt: skip
    words = ["whatif", "--machine", str(amended), "--backlog", str(backlog), "--json"]
    there = json.loads(cuttable(*words, *back).stdout)["impact"]
    assert there["totals"]["not_asked"] == 1
    here = json.loads(whatif(cuttable, backlog, *ALL, "--json").stdout)["impact"]
    assert there["before"]["verdicts"] == here["after"]["verdicts"]
    assert there["before"]["refused_by"] == here["after"]["refused_by"]


def test_the_report_is_a_page(cuttable: Run, backlog: Path, tmp_path: Path) -> None:
    """Beside what is printed."""
    page = tmp_path / "what.html"
    done = whatif(cuttable, backlog, *ALL, "--report", str(page), "--units", "us")
    assert done.returncode == 0, done.stderr
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!doctype html>")
    assert "orders.csv" in text
    assert "lb·ft²" in text
    assert "Lifted" in text
    assert "src=" not in text
    assert "href=" not in text


@pytest.mark.parametrize("kind", ["xlsx", "parquet"])
def test_other_files_say_the_same(cuttable: Run, backlog: Path, tmp_path: Path, kind: str) -> None:
    """A workbook by its sheet, and Parquet."""
    import pyarrow.csv as arrow_csv
    import pyarrow.parquet as pq
    import xlsxwriter

    table = arrow_csv.read_csv(
        backlog, convert_options=arrow_csv.ConvertOptions(strings_can_be_null=False)
    )
    path, words = tmp_path / f"a.{kind}", list[str]()
    if kind == "parquet":
        pq.write_table(table, path)
    else:
        words = ["--sheet", "June"]
        with xlsxwriter.Workbook(str(path)) as ledger:
            ledger.add_worksheet("May")
            sheet = ledger.add_worksheet("June")
            for place, row in enumerate(zip(*table.to_pydict().values(), strict=True), start=1):
                sheet.write_row(place, 0, ["" if cell is None else str(cell) for cell in row])
            sheet.write_row(0, 0, table.column_names)
    one = json.loads(whatif(cuttable, backlog, *ALL, "--json").stdout)["impact"]
    two = json.loads(whatif(cuttable, path, *ALL, *words, "--json").stdout)["impact"]
    assert one.pop("backlog")["digest"] != two.pop("backlog")["digest"]
    assert one == two


def test_chunks_and_processes_change_nothing(cuttable: Run, backlog: Path) -> None:
    """One row at a time and all at once."""
    one = whatif(cuttable, backlog, *ALL, "--json", "--workers", "1")
    env = os.environ | {"CUTTABLE_CHUNK_ROWS": "1"}
    words = ["whatif", "--machine", MACHINE, "--backlog", str(backlog), *ALL, "--json"]
    assert cuttable(*words, env=env).stdout == one.stdout


@pytest.mark.parametrize(
    ("setting", "code", "words"),
    [
        ("limits.stock_mas.rated=3 kg", "setting-unknown", "'limits.stock_mass.rated'"),
        ("limits.stock_mass.rated=3 m", "file-problems", "limits.stock_mass.rated: '3 m'"),
        ("chuck.jaws=four", "setting-unreadable", "chuck.jaws must be a number"),
        ("chuck.jaws", "setting-unreadable", "sets no value"),
        ("limits.stock_mass.rated=900 kg", "file-problems", "with limits.stock_mass.rated="),
        ("supports.roler-pair.count=2", "setting-unknown", "'supports.roller-pair.count'"),
    ],
)
def test_a_setting_that_is_none_is_refused(
    cuttable: Run, backlog: Path, setting: str, code: str, words: str
) -> None:
    """With code, key and what would do; before the backlog is read."""
    done = whatif(cuttable, backlog, "--set", setting, "--json")
    assert done.returncode == 2
    assert f"[{code}]" in done.stderr
    assert words in done.stderr
    assert "columns" not in done.stderr
    assert json.loads(done.stdout)["error"]["code"] == code
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (None, "file-missing"),
        (b"", "backlog-empty"),
        (b"job,size of it,length\n1,NPS 4,6 m\n", "column-missing"),
        (b"job,section,profile,length\n1,NPS 4,NPS 4,6 m\n", "column-twice"),
        (b"\x00\x01\x02" * 50, "backlog-not-a-table"),
        (b"PK\x03\x04 not a workbook", "backlog-not-a-table"),
    ],
)
@pytest.mark.parametrize("is_set", [True, False])
def test_a_backlog_that_is_none_is_refused(
    cuttable: Run, tmp_path: Path, content: bytes | None, code: str, *, is_set: bool
) -> None:
    """Missing, empty, without a column: as batch says it."""
    path = tmp_path / "a.csv"
    if content is not None:
        path.write_bytes(content)
    done = whatif(cuttable, path, *(ALL if is_set else ()))
    assert done.returncode == 2
    assert f"[{code}]" in done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr


def test_a_header_without_rows_is_answered(cuttable: Run, tmp_path: Path) -> None:
    """Nothing was asked."""
    path = tmp_path / "a.csv"
    path.write_text("job,section,length\n", encoding="utf-8")
    done = whatif(cuttable, path, *ALL)
    assert done.returncode == 0, done.stderr
    assert "0 jobs: 0 change" in done.stdout
    assert whatif(cuttable, path).returncode == 0


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["--report", "a.pdf", *ALL], "choice-unknown"),
        (["--report", "a.html"], "option-needs"),
        (["--report", "no/such/folder/a.html", *ALL], "output-unwritable"),
        (["--sheet", "June", "--workers", "0"], "usage-wrong"),
        (["--machine", "rowan-15"], "machine-unknown"),
        (["--machine", "none.toml"], "file-missing"),
    ],
)
def test_other_slips(
    cuttable: Run, backlog: Path, tmp_path: Path, words: list[str], code: str
) -> None:
    """Each with its code."""
    asked = ["whatif", "--machine", MACHINE, "--backlog", str(backlog), *words]
    done = cuttable(*asked, "--json", cwd=tmp_path)
    assert done.returncode == 2
    assert json.loads(done.stdout)["error"]["code"] == code
    assert "Traceback" not in done.stderr
