"""Backlogs that are not what they should be: every row is told of, and nothing fails inside."""

import os
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from cuttable.catalogue.errors import FileError
from cuttable.engine.backlog import csv_file
from cuttable.engine.backlog.opened import Chunk
from cuttable.engine.backlog.readers import open_backlog

HEADER = "job,section,length\n"


def read(path: Path, rows: int = 10) -> tuple[list[dict[str, str]], dict[int, str]]:
    """Return all rows as texts, and the codes of faults by row number."""
    found: list[dict[str, str]] = []
    faults: dict[int, str] = {}
    for chunk in open_backlog(path).chunks(rows):
        assert chunk.first_row == len(found) + 1
        faults |= {chunk.first_row + row: code for row, (code, _) in chunk.faults.items()}
        found += rows_of(chunk)
    return found, faults


def rows_of(chunk: Chunk) -> Iterator[dict[str, str]]:
    for row in range(chunk.rows):
        yield {
            name: str(texts.values[int(texts.code[row])]) for name, texts in chunk.columns.items()
        }


def lengths(rows: list[dict[str, str]]) -> list[str]:
    return [row["length"] for row in rows]


# --- text ---------------------------------------------------------------------------------


def test_windows_letters_are_those_of_windows(tmp_path: Path) -> None:
    """Inch marks and dashes stand where Latin-1 has control characters."""
    path = tmp_path / "a.csv"
    text = "job,section,length\n1,NPS 4 – SCH 40,20’-6”\n2,Ø 60 x 2 mm,6 m\n"
    path.write_bytes(text.encode("cp1252"))
    rows, faults = read(path)
    assert not faults
    assert rows[0] == {"job": "1", "section": "NPS 4 – SCH 40", "length": "20’-6”"}
    assert rows[1]["section"] == "Ø 60 x 2 mm"


@pytest.mark.parametrize(
    "content",
    [
        HEADER.encode() + b"1,NPS 4,6 m\n2,NPS \x81,6 m\n3,\xd8 60,6 m\n",  # none in cp1252
        b"\xef\xbb\xbf" + HEADER.encode() + b"1,NPS 4,6 m\n2,NPS \xff,6 m\n3,a,6 m\n",
        "\ufeff".encode("utf-16-le") + f"{HEADER}1,NPS 4,6 m\n2,".encode("utf-16-le")
        + b"\x00\xd8" + "x,6 m\n3,a,6 m\n".encode("utf-16-le"),  # half a pair
    ],
)  # fmt: skip
def test_bytes_that_are_no_text_are_a_fault_of_their_row(tmp_path: Path, content: bytes) -> None:
    """The rows beside it are read."""
    path = tmp_path / "a.csv"
    path.write_bytes(content)
    rows, faults = read(path)
    assert faults == {2: "cell-not-text"}
    assert [row["job"] for row in rows] == ["1", "2", "3"]
    assert lengths(rows)[0] == "6 m"


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_half_a_letter_at_the_end_is_a_fault_of_the_last_row(tmp_path: Path, encoding: str) -> None:
    """An odd number of bytes of UTF-16: a file that was cut off."""
    path = tmp_path / "a.csv"
    path.write_bytes(f"\ufeff{HEADER}1,a,6 m\n2,b,6 m".encode(encoding) + b"\x00")
    rows, faults = read(path)
    assert len(rows) == 2
    assert faults == {2: "cell-not-text"}


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("block", [24, 64, 1 << 20])
def test_lines_that_end_in_any_way_and_anywhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, newline: str, block: int
) -> None:
    """Whatever the pieces are that a file is read in; a header alone has no rows."""
    monkeypatch.setattr(csv_file, "BLOCK", block)
    path = tmp_path / "a.csv"
    lines = ["job,section,length", *(f"{row},NPS 4,{row} m" for row in range(1, 40))]
    path.write_bytes(newline.join([*lines, ""]).encode())
    rows, faults = read(path)
    assert lengths(rows) == [f"{row} m" for row in range(1, 40)]
    assert not faults
    path.write_bytes(f"job,section,length{newline}".encode())
    assert read(path) == ([], {})


def test_a_quotation_mark_that_is_never_closed_loses_no_row(tmp_path: Path) -> None:
    """In a column that is read, in one that is not, and at the end of the file."""
    path = tmp_path / "a.csv"
    for cells in (
        ['1,"NPS 4,6 m,x', "2,NPS 4,6 m,x", '3,"NPS 4,6 m,x', "4,NPS 4,6 m,x"],
        ['1,NPS 4,"6 m,x', "2,NPS 4,6 m,x", "3,NPS 4,6 m,x", "4,NPS 4,6 m,x"],
        ['1,NPS 4,6 m,"x', "2,NPS 4,6 m,x", '3,NPS 4,6 m,"x', "4,NPS 4,6 m,x"],
        ["1,NPS 4,6 m,x", "2,NPS 4,6 m,x", "3,NPS 4,6 m,x", '4,NPS 4,6 m,"x'],
    ):
        path.write_text("\n".join(["job,section,length,note", *cells]) + "\n", encoding="utf-8")
        rows, _ = read(path)
        assert [row["job"] for row in rows] == ["1", "2", "3", "4"], cells
        sound = [row for row, line in zip(rows, cells, strict=True) if '"' not in line]
        assert all(row["length"] == "6 m" for row in sound), cells


def test_a_note_of_several_lines_is_one_cell(tmp_path: Path) -> None:
    """As spreadsheets write it: in a column that is not read."""
    path = tmp_path / "a.csv"
    path.write_text(
        'job,section,length,note\n1,NPS 4,6 m,"one\ntwo, ""three""\n"\n2,NPS 4,5 m,x\n', "utf-8"
    )
    rows, faults = read(path)
    assert lengths(rows) == ["6 m", "5 m"]
    assert not faults


def test_a_cell_without_end_is_a_fault_of_its_row(tmp_path: Path) -> None:
    """Beyond what the standard library's reader takes, in sound rows and beside ragged ones."""
    path = tmp_path / "a.csv"
    for more in ("", "4,ragged\n"):
        path.write_text(f"{HEADER}1,NPS 4,6 m\n2,{'x' * 140_000},6 m\n3,a,5 m\n{more}", "utf-8")
        rows, faults = read(path)
        assert faults.pop(2) == "cell-too-long"
        assert set(faults.values()) <= {"row-ragged"}
        assert lengths(rows)[:3] == ["6 m", "6 m", "5 m"]
    path.write_text(f'{HEADER}1,"{"x" * 140_000}",6 m\n2,"a\nb",6 m\n3,a,5 m\n', "utf-8")
    rows, faults = read(path)
    assert faults[1] == "cell-too-long"
    assert rows[-1]["length"] == "5 m"


def test_a_fault_in_a_later_table_of_a_chunk_keeps_its_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A chunk is put together from several tables; and a table is cut into several chunks."""
    monkeypatch.setattr(csv_file, "BLOCK", 100)
    path = tmp_path / "a.csv"
    lines = [f"{row},NPS 4,{row} m" + (",x" if row in (5, 23, 40) else "") for row in range(1, 60)]
    path.write_text(HEADER + "\n".join(lines) + "\n", encoding="utf-8")
    for rows_at_once in (7, 25, 1000):
        rows, faults = read(path, rows_at_once)
        assert sorted(faults) == [5, 23, 40]
        assert set(faults.values()) == {"row-ragged"}
        assert [row["job"] for row in rows] == [str(row) for row in range(1, 60)]


# --- Parquet ------------------------------------------------------------------------------


def parquet(path: Path, column: Any, **options: Any) -> None:
    count = len(column)
    table = pa.table({
        "job": [str(row) for row in range(count)], "section": ["NPS 4 SCH 40"] * count,
        "length": column,
    })  # fmt: skip
    pq.write_table(table, path, **options)


@pytest.mark.parametrize(
    "column",
    [
        pa.array([["6 m"], ["5 m", "4 m"]]),
        pa.array([{"value": 6}, {"value": 5}]),
        pa.array([[("a", 1)], []], pa.map_(pa.string(), pa.int64())),
    ],
)
def test_columns_of_many_things_are_told_by_name(tmp_path: Path, column: Any) -> None:
    """Lists, structures and maps are nothing that somebody types."""
    path = tmp_path / "a.parquet"
    parquet(path, column)
    with pytest.raises(FileError) as caught:
        open_backlog(path)
    assert caught.value.code == "column-kind"
    assert "'length'" in caught.value.what


def test_columns_of_bytes_are_read_as_text(tmp_path: Path) -> None:
    """Where they are text; others are faults of their rows. Booleans are words."""
    path = tmp_path / "a.parquet"
    parquet(path, pa.array([b"6 m", b"\xff\xfe", None], pa.binary()))
    rows, faults = read(path)
    assert lengths(rows)[0] == "6 m"
    assert faults == {2: "cell-not-text"}
    assert lengths(rows)[2] == ""
    parquet(path, pa.array(["6 m", "5 m"]).dictionary_encode())
    assert lengths(read(path)[0]) == ["6 m", "5 m"]
    parquet(path, pa.array([True, None]))
    assert lengths(read(path)[0]) == ["yes", ""]


def test_a_damaged_row_group_is_told_with_the_row_before_it(tmp_path: Path) -> None:
    """What was read is good; how far it is, the error says."""
    path = tmp_path / "a.parquet"
    count = 4000
    column = pa.array([f"{row * 7919 % 100_003} mm" for row in range(count)])
    parquet(path, column, row_group_size=1000, compression="zstd", use_dictionary=False)
    begin = pq.ParquetFile(path).metadata.row_group(2).column(2).data_page_offset
    whole = bytearray(path.read_bytes())
    whole[begin : begin + 200] = bytes(200)
    path.write_bytes(whole)
    rows: list[int] = []
    chunks = open_backlog(path).chunks(500)
    with pytest.raises(FileError) as caught:
        rows.extend(chunk.rows for chunk in chunks)
    assert caught.value.code == "backlog-damaged"
    assert sum(rows) <= 2000


# --- pipes --------------------------------------------------------------------------------


def fed(path: Path, content: bytes) -> threading.Thread:
    """Make a pipe, and fill it from a thread as a program would."""
    os.mkfifo(path)

    def fill() -> None:
        try:
            path.write_bytes(content)
        except BrokenPipeError:
            return

    thread = threading.Thread(target=fill, daemon=True)
    thread.start()
    return thread


def test_a_pipe_is_read_once_and_whole(tmp_path: Path) -> None:
    """More than any pipe holds at a time; its digest is that of what came through it."""
    whole, pipe = tmp_path / "a.csv", tmp_path / "pipe"
    lines = "".join(f"{row},NPS 4 – x,{row} m\n" for row in range(1, 20_000))
    whole.write_text(HEADER + lines, encoding="cp1252")
    thread = fed(pipe, whole.read_bytes())
    opened = open_backlog(pipe)
    assert opened.digest() == open_backlog(whole).digest()
    rows = [row for chunk in opened.chunks() for row in rows_of(chunk)]
    assert lengths(rows) == [f"{row} m" for row in range(1, 20_000)]
    thread.join(10)


@pytest.mark.parametrize("kind", [".parquet", ".xlsx"])
def test_a_pipe_may_hold_any_kind_of_backlog(tmp_path: Path, kind: str) -> None:
    """What it is follows from its content; a pipe has no ending."""
    source, pipe = tmp_path / f"a{kind}", tmp_path / "pipe"
    if kind == ".parquet":
        parquet(source, pa.array(["6 m", "5 m"]))
    else:
        import xlsxwriter

        with xlsxwriter.Workbook(str(source)) as ledger:
            sheet = ledger.add_worksheet()
            for place, row in enumerate([["job", "section", "length"], ["1", "a", "6 m"]]):
                sheet.write_row(place, 0, row)
    thread = fed(pipe, source.read_bytes())
    assert lengths(read(pipe)[0])[0] == "6 m"
    thread.join(10)


def test_an_empty_pipe_and_one_that_gives_no_line(tmp_path: Path) -> None:
    """The one is empty, the other no table, and neither is waited for without end."""
    for name, content, code in (
        ("empty", b"", "backlog-empty"), ("endless", b"x" * (9 << 20), "backlog-not-a-table"),
    ):  # fmt: skip
        fed(tmp_path / name, content)
        with pytest.raises(FileError) as caught:
            open_backlog(tmp_path / name)
        assert caught.value.code == code


def test_a_long_line_is_a_fault_of_its_row_and_an_endless_one_of_the_file(tmp_path: Path) -> None:
    """20 MB without a line end is a cell too long; 40 MB is no table."""
    path = tmp_path / "a.csv"
    path.write_bytes(f"{HEADER}1,NPS 4,{'9' * (20 << 20)}\n2,NPS 4,2 m\n".encode())
    rows, faults = read(path)
    assert (len(rows), list(faults.values())) == (2, ["cell-too-long"])
    path.write_bytes(f"{HEADER}1,NPS 4,{'9' * (41 << 20)}\n".encode())
    with pytest.raises(FileError) as caught:
        read(path)
    assert caught.value.code == "backlog-not-a-table"
