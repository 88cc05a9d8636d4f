"""Read a backlog in chunks: CSV, Excel or Parquet, whatever its encoding and delimiter.

Memory does not grow with the file. Cells come as texts, each distinct one once. A row that
cannot be taken apart keeps its place with its fault.
"""

# Arrow has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false
# pyright: reportUnknownArgumentType=false, reportUnknownParameterType=false
# pyright: reportMissingTypeArgument=false, reportUnknownLambdaType=false

import codecs
import csv
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute
import pyarrow.csv as arrow_csv

from ...catalogue.errors import FileError
from .columns import DATES, Mapping, cell_text, date_fault, map_headers, with_unit
from .csv_rows import count_lines, rows_of
from .parse_jobs import Texts
from .spool import LONGEST_LINE, Kept, not_a_table, telling

pc: Any = pyarrow.compute

CHUNK_ROWS: Final = 250_000
"""Rows worked on at a time."""
BLOCK: Final = 32 << 20
"""Bytes of CSV parsed at a time."""
LONGEST_CELL: Final = 1 << 17
"""Letters of a cell that is read: the longest list of parts there may be has fewer."""

_MAGIC: Final = (
    (b"PK\x03\x04", "xlsx"),
    (b"PAR1", "parquet"),
    (b"\xd0\xcf\x11\xe0", "ole"),
    (b"%PDF", "pdf"),
)
_DELIMITERS: Final = ",;\t|"
_LINE_END: Final = re.compile(r"\r\n|\r|\n")
_HEADER: Final = re.compile(rb"[^\r\n]*(?:\r\n|\r|\n)")


class Chunk(NamedTuple):
    """Some rows of a backlog.

    Attributes:
        columns: distinct texts and codes, by column name.
        rows: number of rows.
        first_row: number of the first of them, 1 for the first below the header.
        faults: code and text for rows that could not be taken apart.
    """

    columns: dict[str, Texts]
    rows: int
    first_row: int
    faults: dict[int, tuple[str, str]]


class Backlog:
    """An opened backlog: what its columns are, and its rows."""

    def __init__(self, kept: Kept, mapping: Mapping) -> None:
        self.path, self.mapping = kept.name, mapping
        self._kept = kept
        self.size = kept.path.stat().st_size
        self.done = 0
        """Bytes read so far, for a progress bar."""

    def digest(self) -> str:
        """Return ``sha256:…`` of what is in the file."""
        return self._kept.digest()

    def chunks(self, rows: int = CHUNK_ROWS) -> Iterator[Chunk]:
        """Yield the rows in order, so many at a time.

        Raises:
            FileError: ``backlog-damaged`` where the file cannot be read any further,
                ``backlog-not-a-table``.
        """
        waiting: list[tuple[pa.Table, dict[int, tuple[str, str]]]] = []
        count, first = 0, 1
        for whole, faults in self._sound_tables():
            begin = 0
            while begin < whole.num_rows:
                table = whole.slice(begin, rows - count)
                end = begin + table.num_rows
                waiting.append(
                    (table, {n - begin: f for n, f in faults.items() if begin <= n < end})
                )
                count, begin = count + table.num_rows, end
                if count == rows:
                    yield self._chunk(waiting, first)
                    first, count, waiting = first + count, 0, []
        if count:
            yield self._chunk(waiting, first)

    def _tables(self) -> Iterator[tuple[pa.Table, dict[int, tuple[str, str]]]]:
        """Yield tables of text columns under their names, with faults by row."""
        raise NotImplementedError

    def _sound_tables(self) -> Iterator[tuple[pa.Table, dict[int, tuple[str, str]]]]:
        """Yield the tables; where the file is damaged, say behind which row."""
        done = 0
        try:
            for table, faults in self._tables():
                yield table, faults
                done += table.num_rows
        except MemoryError:  # of Arrow too: the file is not damaged, but too large
            raise
        except (pa.ArrowException, OSError) as fault:
            raise FileError(
                "backlog-damaged",
                f"the file cannot be read behind row {done} ({str(fault)[:120]})",
                where=str(self.path),
                remedy="Save it again where it comes from, or send it anew.",
            ) from None

    def _chunk(
        self, tables: Sequence[tuple[pa.Table, dict[int, tuple[str, str]]]], first: int
    ) -> Chunk:
        faults: dict[int, tuple[str, str]] = {}
        before = 0
        for table, wrong in tables:
            faults |= {row + before: fault for row, fault in wrong.items()}
            before += table.num_rows
        whole = pa.concat_tables([table for table, _ in tables])
        columns: dict[str, Texts] = {}
        for name in whole.column_names:
            column = whole.column(name)
            if name == "job":
                # Nearly every text is distinct: keep them as they are.
                whole_column: Any = column
                columns[name] = Texts(whole_column, np.arange(len(column)))
                continue
            encoded: Any = pc.dictionary_encode(pc.fill_null(column, ""))
            encoded = encoded.unify_dictionaries().combine_chunks()
            if isinstance(encoded, pa.ChunkedArray):
                encoded = encoded.chunk(0)
            values: list[str] = encoded.dictionary.to_pylist()
            if name in self.mapping.units:
                values = with_unit(values, self.mapping.units[name])
            codes = encoded.indices.to_numpy(zero_copy_only=False).astype(np.intp)
            values = _readable(name, values, codes, faults)
            columns[name] = Texts(values, codes)
        return Chunk(columns, whole.num_rows, first, faults)


def _readable(
    name: str, values: list[str], codes: Any, faults: dict[int, tuple[str, str]]
) -> list[str]:
    """Return the texts of a column; those that nobody can have typed are faults of their rows."""
    if name == "quantity":
        return values
    wrong: dict[int, tuple[str, str]] = {}
    for place, text in enumerate(values):
        if len(text) > LONGEST_CELL:
            wrong[place] = (
                "cell-too-long",
                f"the {name} has {len(text)} letters. A cell has at most {LONGEST_CELL}.",
            )
        elif "\ufffd" in text:
            wrong[place] = (
                "cell-not-text",
                f"the {name} holds bytes that are no text. Save the file as UTF-8.",
            )
    if not wrong:
        return values
    for row in np.flatnonzero(np.isin(codes, list(wrong))).tolist():
        faults.setdefault(row, wrong[int(codes[row])])
    return ["" if place in wrong else text for place, text in enumerate(values)]


def open_backlog(path: Path, sheet: str = "") -> Backlog:
    """Open a backlog; what it is follows from its content, not from its name.

    What comes through a pipe is read whole and kept for as long as the backlog is open.

    Args:
        path: the file.
        sheet: of a workbook, by name; the first one without.

    Raises:
        FileError: ``file-missing``, ``backlog-empty``, ``backlog-not-a-table``,
            ``backlog-encrypted``, ``column-missing``, ``column-twice``, ``column-kind``.
    """
    kept = Kept(path)
    head = kept.head()
    if not head.strip():
        raise FileError(
            "backlog-empty", "the file is empty", where=str(path),
            remedy="A backlog has a header with job, section and length, and a row for each job.",
        )  # fmt: skip
    kind = next((name for magic, name in _MAGIC if head.startswith(magic)), "csv")
    if kind == "ole":
        raise FileError(
            "backlog-encrypted",
            "the workbook is encrypted, or in the format of before 2007",
            where=str(path),
            remedy="Save it without a password as .xlsx or .csv.",
        )
    if kind == "xlsx":
        return _Workbook(kept, sheet)
    if kind == "parquet":
        return _Parquet(kept)
    return _Csv(kept, head, is_pdf=kind == "pdf")


# --- CSV ----------------------------------------------------------------------------------


class _Csv(Backlog):
    def __init__(self, kept: Kept, head: bytes, *, is_pdf: bool) -> None:
        self._encoding = _encoding(kept, head)
        text = head.decode(self._encoding, errors="replace").lstrip("\ufeff")
        if is_pdf or ("\x00" in text):
            raise not_a_table(kept.name, "the file is binary, not a table of text")
        if len(head) > LONGEST_LINE and not _LINE_END.search(text):
            what = f"there is no line break within the first {len(head)} bytes"
            raise not_a_table(kept.name, what)
        first = _LINE_END.split(text, maxsplit=1)[0]
        self._delimiter = max(_DELIMITERS, key=first.count)
        try:
            self._headers = next(csv.reader([first], delimiter=self._delimiter), [])
        except csv.Error:
            raise not_a_table(kept.name, "the first line is no header") from None
        super().__init__(kept, map_headers(self._headers, str(kept.name)))

    def _tables(self) -> Iterator[tuple[pa.Table, dict[int, tuple[str, str]]]]:
        rest = b""
        is_first = True
        for block in self._blocks():
            data = rest + block
            if is_first:
                header = _HEADER.match(data)
                if header is None:
                    rest = data
                    continue
                data, is_first = data[header.end() :], False
            # A file with other line ends has no \n at all.
            end = (data.rfind(b"\n") if b"\n" in data else data.rfind(b"\r")) + 1
            rest, data = data[end:], data[:end]
            if len(rest) > BLOCK:
                raise not_a_table(self.path, "a line goes on for more than 32 MB")
            if data:
                yield self._parsed(data)
        if rest.strip() and not is_first:
            yield self._parsed(rest)

    def _blocks(self) -> Iterator[bytes]:
        """Yield the text as UTF-8, without a mark at its beginning."""
        is_utf8 = self._encoding in ("utf-8", "utf-8-sig")
        decoder = codecs.getincrementaldecoder(self._encoding)(errors="replace")
        is_first = True
        with self._kept.path.open("rb") as file:
            while block := file.read(BLOCK):
                self.done = file.tell()
                if not is_utf8:
                    block = decoder.decode(block).encode()
                yield block.removeprefix(codecs.BOM_UTF8) if is_first else block
                is_first = False
        if not is_utf8:
            yield decoder.decode(b"", final=True).encode()

    def _parsed(self, data: bytes) -> tuple[pa.Table, dict[int, tuple[str, str]]]:
        """Parse whole lines: fast where every row is sound, else row by row."""
        wrong: list[int] = []

        def ragged(row: Any) -> Literal["skip"]:
            wrong.append(row.actual_columns)
            return "skip"

        names = [f"c{place}" for place in range(len(self._headers))]
        used = {f"c{place}": name for name, place in self.mapping.places.items()}
        try:
            lines: Any = pa.py_buffer(data)
            table = arrow_csv.read_csv(
                lines,
                read_options=arrow_csv.ReadOptions(column_names=names, block_size=4 << 20),
                parse_options=arrow_csv.ParseOptions(
                    delimiter=self._delimiter, invalid_row_handler=ragged, ignore_empty_lines=True
                ),
                convert_options=arrow_csv.ConvertOptions(
                    include_columns=list(used),
                    column_types=dict.fromkeys(used, pa.string()),
                    strings_can_be_null=False,
                ),
            )
        except pa.ArrowInvalid:
            return self._row_by_row(data)
        if wrong or table.num_rows != count_lines(data):
            return self._row_by_row(data)
        return table.rename_columns([used[name] for name in table.column_names]), {}

    def _row_by_row(self, data: bytes) -> tuple[pa.Table, dict[int, tuple[str, str]]]:
        text = data.decode("utf-8", errors="replace")
        rows: list[list[str]] = []
        faults: dict[int, tuple[str, str]] = {}
        expected = len(self._headers)
        used = self.mapping.places.values()
        for row in rows_of(text, self._delimiter, expected, used):
            if len(row) != expected:
                faults[len(rows)] = (
                    "row-ragged",
                    f"the row has {len(row)} cells where the header has {expected}. "
                    "Quote cells that hold the delimiter.",
                )
            rows.append([*row, *[""] * expected][:expected])
        columns = {
            name: pa.array([row[place] for row in rows], type=pa.string())
            for name, place in self.mapping.places.items()
        }
        return pa.table(columns), faults


def _encoding(kept: Kept, head: bytes) -> str:
    """Return the encoding: as a mark says, else UTF-8 if all of it is, else Windows-1252."""
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):  # fmt: skip
        if head.startswith(mark):
            return name
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        with telling(kept.name), kept.path.open("rb") as file:
            while block := file.read(4 << 20):
                if not block.isascii():
                    decoder.decode(block)
            decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


# --- Excel --------------------------------------------------------------------------------


class _Workbook(Backlog):
    def __init__(self, kept: Kept, sheet: str) -> None:
        from python_calamine import CalamineError, CalamineWorkbook

        path = kept.name
        try:
            with kept.path.open("rb") as file:
                book = CalamineWorkbook.from_filelike(file)
            names: list[str] = book.sheet_names
            if sheet and sheet not in names:
                raise FileError(
                    "file-missing", f"the workbook has no sheet {sheet!r}", where=str(path),
                    remedy=f"It has: {', '.join(names)}.",
                )  # fmt: skip
            rows: Any = book.get_sheet_by_name(sheet or names[0])
        except CalamineError as fault:
            raise not_a_table(path, f"the workbook cannot be read ({str(fault)[:120]})") from None
        except IndexError:
            raise not_a_table(path, "the workbook has no sheet") from None
        self._rows: Iterator[list[Any]] = rows.iter_rows()
        self._count: int = rows.total_height
        headers = [cell_text(value) for value in next(self._rows, [])]
        super().__init__(kept, map_headers(headers, str(path)))

    def _tables(self) -> Iterator[tuple[pa.Table, dict[int, tuple[str, str]]]]:
        places = self.mapping.places
        columns: dict[str, list[str]] = {name: [] for name in places}
        faults: dict[int, tuple[str, str]] = {}
        count, seen = 0, 0
        for row in self._rows:
            seen += 1
            texts = {name: row[place] if place < len(row) else "" for name, place in places.items()}
            if not any(value != "" for value in texts.values()):
                continue
            for name, value in texts.items():
                if name not in ("job", "quantity") and isinstance(value, DATES):
                    faults.setdefault(count, date_fault(name))
                columns[name].append(cell_text(value))
            count += 1
            if count == CHUNK_ROWS:
                self.done = int(self.size * seen / max(self._count, 1))
                yield pa.table(columns), faults
                columns, faults, count = {name: [] for name in places}, {}, 0
        self.done = self.size
        if count:
            strings = {name: pa.array(column, pa.string()) for name, column in columns.items()}
            yield pa.table(strings), faults


# --- Parquet ------------------------------------------------------------------------------


class _Parquet(Backlog):
    def __init__(self, kept: Kept) -> None:
        import pyarrow.parquet as pq

        path = kept.name
        try:
            self._file = pq.ParquetFile(kept.path)
            schema = self._file.schema_arrow
        except MemoryError:
            raise
        except (pa.ArrowException, OSError) as fault:
            raise not_a_table(
                path, f"the Parquet file cannot be read ({str(fault)[:120]})"
            ) from None
        names = schema.names
        super().__init__(kept, map_headers(names, str(path)))
        self._names = {names[place]: name for name, place in self.mapping.places.items()}
        for header in self._names:
            kind = schema.field(header).type
            if not _has_texts(kind):
                raise FileError(
                    "column-kind", f"the column {header!r} holds {str(kind)[:60]}, not text",
                    where=str(path), remedy="Write it as text, as it would be typed.",
                )  # fmt: skip

    def _tables(self) -> Iterator[tuple[pa.Table, dict[int, tuple[str, str]]]]:
        total = max(self._file.metadata.num_rows, 1)
        seen = 0
        for batch in self._file.iter_batches(CHUNK_ROWS, columns=list(self._names)):
            seen += batch.num_rows
            self.done = int(self.size * seen / total)
            columns: dict[str, pa.Array] = {}
            faults: dict[int, tuple[str, str]] = {}
            for name, column in zip(batch.schema.names, batch.columns, strict=True):
                known = self._names[name]
                if pa.types.is_temporal(column.type) and known not in ("job", "quantity"):
                    is_there = column.is_valid().to_numpy(zero_copy_only=False)
                    for row in np.flatnonzero(is_there).tolist():
                        faults.setdefault(row, date_fault(known))
                columns[known] = _as_text(column)
            yield pa.table(columns), faults


def _has_texts(kind: Any) -> bool:
    """Say whether the cells of a column of this kind can stand for what is typed."""
    is_of = pa.types
    if is_of.is_dictionary(kind):
        return _has_texts(kind.value_type)
    return _is_binary(kind) or any(
        test(kind)
        for test in (
            is_of.is_string, is_of.is_large_string, is_of.is_string_view, is_of.is_integer,
            is_of.is_floating, is_of.is_decimal, is_of.is_boolean, is_of.is_temporal,
            is_of.is_null,
        )
    )  # fmt: skip


def _is_binary(kind: Any) -> bool:
    is_of = pa.types
    return any(
        test(kind)
        for test in (
            is_of.is_binary, is_of.is_large_binary, is_of.is_binary_view,
            is_of.is_fixed_size_binary,
        )
    )  # fmt: skip


def _as_text(column: Any) -> Any:
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    kind = column.type
    if _is_binary(kind):
        cells = [b"" if value is None else value for value in column.to_pylist()]
        return pa.array([cell.decode("utf-8", errors="replace") for cell in cells], pa.string())
    if pa.types.is_floating(kind) or pa.types.is_decimal(kind) or pa.types.is_boolean(kind):
        cells = ["" if value is None else cell_text(value) for value in column.to_pylist()]
        return pa.array(cells, pa.string())
    return pc.fill_null(column.cast(pa.string()), "")
