"""Backlog files as people save them, and answer files: whole or not at all, never a formula."""

import csv
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import xlsxwriter
from cuttable.catalogue.errors import CuttableError, FileError
from cuttable.engine.backlog.readers import open_backlog
from cuttable.engine.backlog.writers import KINDS, open_answers
from python_calamine import CalamineWorkbook

ROWS = [
    ["job", "section", "length"],
    ["1", "NPS 4 SCH 40", "6 m"],
    ["2", "tube 60,3 x 2 mm", "6,1 m"],
    ["3", "Ø 100 x 3", "21'-0 1/2\""],
]


def read(path: Path, rows: int = 10) -> tuple[list[dict[str, str]], dict[int, tuple[str, str]]]:
    """Return all rows of a backlog as texts, and the faults by row number."""
    found: list[dict[str, str]] = []
    faults: dict[int, tuple[str, str]] = {}
    for chunk in open_backlog(path).chunks(rows):
        assert chunk.first_row == len(found) + 1
        faults |= {chunk.first_row + row: fault for row, fault in chunk.faults.items()}
        found += [
            {name: str(texts.values[int(texts.code[row])]) for name, texts in chunk.columns.items()}
            for row in range(chunk.rows)
        ]
    return found, faults


def text_of(rows: list[list[str]], delimiter: str = ",") -> str:
    lines = []
    for row in rows:
        cells = [
            '"' + cell.replace('"', '""') + '"' if any(c in cell for c in f'{delimiter}"') else cell
            for cell in row
        ]
        lines.append(delimiter.join(cells))
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-be", "utf-16-le"]
)
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_csv_in_any_delimiter_and_encoding(
    tmp_path: Path, delimiter: str, encoding: str, newline: str
) -> None:
    """Decimal commas, inch marks and letters beyond ASCII come through as typed."""
    path = tmp_path / "a.csv"
    mark = "\ufeff" if encoding in ("utf-16-be", "utf-16-le") else ""
    path.write_bytes((mark + text_of(ROWS, delimiter)).replace("\n", newline).encode(encoding))
    found, faults = read(path)
    assert not faults
    assert [list(row.values()) for row in found] == ROWS[1:]


def test_a_file_without_a_last_line_break_loses_no_row(tmp_path: Path) -> None:
    """The last row is there."""
    path = tmp_path / "a.csv"
    path.write_text(text_of(ROWS).rstrip("\n"), encoding="utf-8")
    assert len(read(path)[0]) == 3


def test_an_inch_mark_in_an_unquoted_cell_is_kept(tmp_path: Path) -> None:
    """Spreadsheets quote it; people do not."""
    path = tmp_path / "a.csv"
    path.write_text('job,section,length\n1,6" sch 40,20 ft\n2,NPS 4 SCH 40,21\'-6"\n', "utf-8")
    found, faults = read(path)
    assert not faults
    assert [row["section"] for row in found] == ['6" sch 40', "NPS 4 SCH 40"]
    assert found[1]["length"] == "21'-6\""


def test_ragged_rows_keep_their_place(tmp_path: Path) -> None:
    """Too few and too many cells: told by row; the rows between are read."""
    path = tmp_path / "a.csv"
    path.write_text("job,section,length\n1,a,b\n2,a\n3,a,b,c\n4,x,y\n", "utf-8")
    found, faults = read(path)
    assert [row["job"] for row in found] == ["1", "2", "3", "4"]
    assert sorted(faults) == [2, 3]
    assert {code for code, _ in faults.values()} == {"row-ragged"}
    assert "2 cells where the header has 3" in faults[2][1]


@pytest.mark.parametrize(
    ("headers", "expected"),
    [
        (["Job No", "OD", "Len"], {}),
        (["order", "Size", "Stock length (mm)"], {"length": "mm"}),
        (["ID", "profile", "length_ft"], {"length": "ft"}),
        (["Pos.", "Rohr", "Länge"], {}),
    ],
)
def test_headers_people_use(tmp_path: Path, headers: list[str], expected: dict[str, str]) -> None:
    """Other names, case, marks; a unit in the header goes to bare numbers only."""
    path = tmp_path / "a.csv"
    path.write_text(text_of([headers, ["1", "x", "6000"], ["2", "x", "6 m"]]), "utf-8")
    backlog = open_backlog(path)
    assert set(backlog.mapping.places) == {"job", "section", "length"}
    assert backlog.mapping.units == expected
    found, _ = read(path)
    unit = expected.get("length")
    assert [row["length"] for row in found] == [f"6000 {unit}" if unit else "6000", "6 m"]


def write_xlsx(path: Path, rows: list[list[Any]]) -> None:
    with xlsxwriter.Workbook(str(path)) as ledger:
        sheet = ledger.add_worksheet()
        day = ledger.add_format({"num_format": "d mmm yyyy"})
        for number, row in enumerate(rows):
            for place, value in enumerate(row):
                if value == "DATE":
                    sheet.write_number(number, place, 45000, day)
                elif isinstance(value, str) and value.startswith("="):
                    sheet.write_formula(number, place, value, value="6 m")
                else:
                    sheet.write(number, place, value)


def test_workbook_cells_come_as_they_would_be_typed(tmp_path: Path) -> None:
    """Numbers without tails, formulas by their value; a date is a fault of its row."""
    path = tmp_path / "a.xlsx"
    rows: list[list[Any]] = [
        ["job", "section", "length"], [1, "tube 168.3 x 7.11 mm", 6000], [2, 168.3, "=A1"],
        [3, "NPS 4 SCH 40", "DATE"],
    ]  # fmt: skip
    write_xlsx(path, rows)
    found, faults = read(path)
    assert [row["job"] for row in found] == ["1", "2", "3"]
    assert (found[0]["length"], found[1]["section"], found[1]["length"]) == ("6000", "168.3", "6 m")
    assert list(faults) == [3]
    assert faults[3][0] == "cell-is-date"


def test_parquet_numbers_become_text_and_chunks_follow_each_other(tmp_path: Path) -> None:
    """Row numbers go on from chunk to chunk."""
    path = tmp_path / "a.parquet"
    table = pa.table(
        {"job": list(range(25)), "section": ["NPS 4 SCH 40"] * 25, "length (mm)": [6000.5] * 25}
    )
    pq.write_table(table, path, row_group_size=7)
    found, faults = read(path, rows=5)
    assert not faults
    assert [row["job"] for row in found] == [str(number) for number in range(25)]
    assert found[0]["length"] == "6000.5 mm"


def bad_files() -> dict[str, tuple[str, Callable[[Path], None]]]:
    """Return what may be wrong with a whole file: the code, and how it is made."""

    def zipped(path: Path) -> None:
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("a.txt", "nothing")

    no_length = "job,section,lenght\n1,2,3\n"
    return {
        "empty": ("backlog-empty", lambda path: path.write_bytes(b"")),
        "blank": ("backlog-empty", lambda path: path.write_bytes(b"\n \n")),
        "binary": ("backlog-not-a-table", lambda path: path.write_bytes(bytes(range(256)) * 8)),
        "zip": ("backlog-not-a-table", zipped),
        "encrypted": ("backlog-encrypted", lambda path: path.write_bytes(b"\xd0\xcf\x11\xe0" * 99)),
        "pdf": ("backlog-not-a-table", lambda path: path.write_bytes(b"%PDF-1.7\n1,2,3\n")),
        "cut off": ("backlog-not-a-table", lambda path: path.write_bytes(b"PAR1" + b"x" * 99)),
        "one line": ("backlog-not-a-table", lambda path: path.write_bytes(b"a,b," * 400_000)),
        "no length": ("column-missing", lambda path: path.write_text(no_length)),
        "twice": ("column-twice", lambda path: path.write_text("job,od,size,length\n1,2,3,4\n")),
        "folder": ("file-missing", lambda path: path.mkdir()),
        "missing": ("file-missing", lambda _: None),
    }  # fmt: skip


@pytest.mark.parametrize("name", bad_files())
def test_bad_files_are_told_in_one_sentence(tmp_path: Path, name: str) -> None:
    """A stable code, the file, the remedy."""
    code, make = bad_files()[name]
    path = tmp_path / "a.csv"
    make(path)
    with pytest.raises(FileError) as caught:
        open_backlog(path)
    assert caught.value.code == code
    assert caught.value.where == str(path)
    if name == "no length":
        assert "lenght" in str(caught.value)


def test_a_header_alone_is_a_backlog_of_no_rows(tmp_path: Path) -> None:
    """No error: there is nothing to do."""
    path = tmp_path / "a.csv"
    path.write_text("job,section,length\n")
    assert read(path) == ([], {})


# --- answers ------------------------------------------------------------------------------

SCHEMA = pa.schema(
    [("row", pa.int64()), ("job", pa.string()), ("use", pa.float64()), ("error_text", pa.string())]
)


def batch(first: int, count: int = 3) -> pa.RecordBatch:
    """Return some answers with texts that a spreadsheet would take for formulas."""
    jobs = ["=1+1", "+cmd", "-5", "@x", "plain", "-4 in", "\tx", "\rx"]
    rows = range(first, first + count)
    return pa.record_batch(
        [
            pa.array(rows, pa.int64()),
            pa.array([jobs[row % len(jobs)] for row in rows]),
            pa.array([None if row % 2 else row / 3 for row in rows], pa.float64()),
            pa.array(["" for _ in rows]),
        ],
        schema=SCHEMA,
    )


def written(path: Path, steps: int = 4, *, stop_at: int | None = None, resume: bool = False) -> int:
    """Write answers in steps; stop before one of them if asked to. Returns where it began."""
    answers = open_answers(
        path, SCHEMA, typed=("job", "error_text"), key={"about": "x"}, is_resumed=resume
    )
    began = answers.rows_done
    for step in range(steps):
        if 3 * (step + 1) <= answers.rows_done:
            continue
        if step == stop_at:
            answers.abandon()
            return began
        answers.write(batch(3 * step), 3 * (step + 1), {"n": step})
    answers.finish()
    return began


def part_of(folder: Path) -> Path:
    """Return what a stopped run has written so far."""
    (part,) = folder.glob(".broken.*.part")
    return part


@pytest.mark.parametrize("kind", KINDS)
def test_a_stopped_run_is_continued_to_the_same_file(tmp_path: Path, kind: str) -> None:
    """Byte for byte for text and Parquet; the old file stands until then; nothing is left over."""
    whole, broken = tmp_path / f"whole{kind}", tmp_path / f"broken{kind}"
    written(whole)
    broken.write_text("old")
    written(broken, stop_at=2)
    assert broken.read_text() == "old"
    assert written(broken, resume=True) == 6
    if kind != ".xlsx":  # a workbook holds the time it was made
        assert broken.read_bytes() == whole.read_bytes()
    assert sorted(item.name for item in tmp_path.iterdir()) == [f"broken{kind}", f"whole{kind}"]


@pytest.mark.parametrize("kind", KINDS)
def test_rows_written_after_the_last_mark_are_written_again(tmp_path: Path, kind: str) -> None:
    """What a killed process left behind the journal is cut away."""
    whole, broken = tmp_path / f"whole{kind}", tmp_path / f"broken{kind}"
    written(whole)
    written(broken, stop_at=2)
    part = part_of(tmp_path)
    if part.is_dir():
        (part / "000002.arrow").write_bytes(b"half")
        (part / "whole").write_bytes(b"half")
    else:
        with part.open("ab") as file:
            file.write(b"6,half a li")
    written(broken, resume=True)
    if kind != ".xlsx":
        assert broken.read_bytes() == whole.read_bytes()


def test_another_question_is_not_continued(tmp_path: Path) -> None:
    """The journal says what it is about."""
    path = tmp_path / "a.csv"
    written(path, stop_at=2)
    with pytest.raises(CuttableError) as caught:
        open_answers(path, SCHEMA, typed=(), key={"about": "y"}, is_resumed=True)
    assert caught.value.code == "resume-mismatch"


def test_typed_text_is_no_formula_in_any_format(tmp_path: Path) -> None:
    """CSV gets an apostrophe, unless it is a plain number; a workbook gets text cells."""
    for kind in (".csv", ".xlsx", ".parquet", ".jsonl"):
        written(tmp_path / f"a{kind}", steps=3)
    with (tmp_path / "a.csv").open(newline="") as file:
        jobs = [row["job"] for row in csv.DictReader(file)]
    assert jobs == ["'=1+1", "'+cmd", "-5", "'@x", "plain", "'-4 in", "'\tx", "'\rx", "'=1+1"]
    raw = zipfile.ZipFile(tmp_path / "a.xlsx").read("xl/worksheets/sheet1.xml").decode()
    assert "<f>" not in raw
    ledger = CalamineWorkbook.from_path(tmp_path / "a.xlsx").get_sheet_by_index(0).to_python()
    assert [row[1] for row in ledger[1:7]] == ["=1+1", "+cmd", "-5", "@x", "plain", "-4 in"]
    lines = (tmp_path / "a.jsonl").read_text().splitlines()
    assert [json.loads(line)["use"] for line in lines][:3] == [0.0, None, 2 / 3]
    assert pq.read_table(tmp_path / "a.parquet").num_rows == 9


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    """No folder, a folder, an unknown ending: told before anything is worked out."""
    (tmp_path / "folder.csv").mkdir()
    for path in (tmp_path / "no" / "a.csv", tmp_path / "folder.csv", tmp_path / "a.doc"):
        with pytest.raises(CuttableError) as caught:
            open_answers(path, SCHEMA, typed=(), key={})
        assert caught.value.code == "output-unwritable"


def held(path: Path, **options: Any) -> Any:
    typed = ("job", "error_text")
    return open_answers(path, SCHEMA, typed=typed, key={"about": "x"}, **options)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("is_resumed", [False, True])
def test_a_second_run_to_one_file_is_refused(
    tmp_path: Path, kind: str, *, is_resumed: bool
) -> None:
    """Neither loses anything; when the first has ended the second may begin."""
    path, whole = tmp_path / f"a{kind}", tmp_path / f"whole{kind}"
    written(whole)
    first = held(path)
    first.write(batch(0), 3, {"n": 0})
    with pytest.raises(FileError) as caught:
        held(path, is_resumed=is_resumed)
    assert caught.value.code == "output-busy"
    for step in range(1, 4):
        first.write(batch(3 * step), 3 * (step + 1), {"n": step})
    first.finish()
    if kind != ".xlsx":
        assert path.read_bytes() == whole.read_bytes()
    held(path).abandon()
    assert sorted(item.name for item in tmp_path.iterdir()) == [f"a{kind}", f"whole{kind}"]


@pytest.mark.parametrize("kind", KINDS)
def test_what_the_tool_did_not_write_is_left_alone(tmp_path: Path, kind: str) -> None:
    """Files that have the names working files once had, or have now, by chance."""
    path = tmp_path / f"a{kind}"
    others = [tmp_path / f".a{kind}{end}" for end in (".part", ".whole", ".lock", ".part.tmp")]
    for other in others:
        other.write_text("mine")
    written(path)
    written(path, stop_at=1)
    written(path, resume=True)
    assert [other.read_text() for other in others] == ["mine"] * len(others)
    assert len(list(tmp_path.iterdir())) == len(others) + 1


@pytest.mark.parametrize("content", ["mine", "[]", "{}", '{"rows": 3, "part": "x"}'])
@pytest.mark.parametrize("is_resumed", [False, True])
def test_a_file_in_the_place_of_the_journal_is_told_of(
    tmp_path: Path, content: str, *, is_resumed: bool
) -> None:
    """It is no journal of the tool's, so it is neither read as one nor written over."""
    path, other = tmp_path / "a.csv", tmp_path / ".a.csv.part.json"
    other.write_text(content)
    with pytest.raises(FileError) as caught:
        held(path, is_resumed=is_resumed)
    assert caught.value.code == "output-unwritable"
    assert other.name in caught.value.what
    assert [item.name for item in tmp_path.iterdir()] == [other.name]
    assert other.read_text() == content


@pytest.mark.parametrize("kind", KINDS)
def test_a_part_that_is_shorter_than_its_journal_says_is_not_continued(
    tmp_path: Path, kind: str
) -> None:
    """Rows that the journal tells of were lost: told, and begun anew only when asked to."""
    path = tmp_path / f"broken{kind}"
    written(path, stop_at=2)
    part = part_of(tmp_path)
    piece = max(part.iterdir()) if part.is_dir() else part
    with piece.open("r+b") as file:
        file.truncate(piece.stat().st_size - 1)
    with pytest.raises(FileError) as caught:
        held(path, is_resumed=True)
    assert caught.value.code == "resume-damaged"
    assert part.exists()
    assert written(path) == 0
    assert [item.name for item in tmp_path.iterdir()] == [path.name]


def test_a_run_begun_anew_takes_away_what_the_stopped_one_left(tmp_path: Path) -> None:
    """And nothing is left of a run that ended before it had written anything."""
    path = tmp_path / "broken.csv"
    written(path, stop_at=2)
    part = part_of(tmp_path)
    answers = held(path)
    assert answers.rows_done == 0
    assert not part.exists()
    answers.abandon()
    assert not list(tmp_path.iterdir())
