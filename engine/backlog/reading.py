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
import hashlib
import io
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute
import pyarrow.csv as arrow_csv

from ...catalogue.errors import FileError
from .columns import DATES, Mapping, cell_text, date_fault, map_headers, with_unit
from .normalise import Texts

pc: Any = pyarrow.compute

CHUNK_ROWS: Final = 250_000
"""Rows worked on at a time."""
BLOCK: Final = 32 << 20
"""Bytes of CSV parsed at a time."""
LONGEST_LINE: Final = 1 << 20
"""Bytes without a line break after which a file is held to be no table."""

_MAGIC: Final = (
    (b"PK\x03\x04", "xlsx"),
    (b"PAR1", "parquet"),
    (b"\xd0\xcf\x11\xe0", "ole"),
    (b"%PDF", "pdf"),
)
_DELIMITERS: Final = ",;\t|"


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

    def __init__(self, path: Path, mapping: Mapping) -> None:
        self.path, self.mapping = path, mapping
        self.size = path.stat().st_size
        self.done = 0
        """Bytes read so far, for a progress bar."""

    def chunks(self, rows: int = CHUNK_ROWS) -> Iterator[Chunk]:
        """Yield the rows in order, so many at a time."""
        waiting: list[tuple[pa.Table, dict[int, tuple[str, str]]]] = []
        count, first = 0, 1
        for whole, faults in self._tables():
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
            columns[name] = Texts(values, codes)
        return Chunk(columns, whole.num_rows, first, faults)


def open_backlog(path: Path, sheet: str = "") -> Backlog:
    """Open a backlog; what it is follows from its content, not from its name.

    Args:
        path: the file.
        sheet: of a workbook, by name; the first one without.

    Raises:
        FileError: ``file-missing``, ``backlog-empty``, ``backlog-not-a-table``,
            ``backlog-encrypted``, ``column-missing``, ``column-twice``.
    """
    try:
        with path.open("rb") as file:
            head = file.read(LONGEST_LINE + 1)
    except IsADirectoryError:
        raise FileError(
            "file-missing", "this is a folder", where=str(path), remedy="Name the file in it."
        ) from None
    except OSError as fault:
        raise _unreadable(path, fault) from None
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
        return _Workbook(path, sheet)
    if kind == "parquet":
        return _Parquet(path)
    return _Csv(path, head, is_pdf=kind == "pdf")


def digest_of_file(path: Path) -> str:
    """Return ``sha256:…`` of what is in a backlog.

    Raises:
        FileError: ``file-missing``.
    """
    try:
        with path.open("rb") as file:
            return f"sha256:{hashlib.file_digest(file, 'sha256').hexdigest()}"
    except OSError as fault:
        raise _unreadable(path, fault) from None


def _unreadable(path: Path, fault: OSError) -> FileError:
    return FileError(
        "file-missing",
        f"the backlog cannot be read ({fault.strerror or 'unknown reason'})",
        where=str(path),
        remedy="Check the name and the folder.",
    )


def _not_a_table(path: Path, what: str) -> FileError:
    return FileError(
        "backlog-not-a-table",
        what,
        where=str(path),
        remedy="Save it as CSV, XLSX or Parquet with a header and a row for each job.",
    )


# --- CSV ----------------------------------------------------------------------------------


class _Csv(Backlog):
    def __init__(self, path: Path, head: bytes, *, is_pdf: bool) -> None:
        self._encoding = _encoding(path, head)
        text = head.decode(self._encoding, errors="replace")
        if is_pdf or ("\x00" in text):
            raise _not_a_table(path, "the file is binary, not a table of text")
        first = text.lstrip("\ufeff").split("\n", 1)[0].rstrip("\r")
        if len(head) > LONGEST_LINE and "\n" not in text:
            raise _not_a_table(path, f"there is no line break within the first {len(head)} bytes")
        self._delimiter = max(_DELIMITERS, key=first.count)
        self._headers = next(csv.reader([first], delimiter=self._delimiter), [])
        super().__init__(path, map_headers(self._headers, str(path)))

    def _tables(self) -> Iterator[tuple[pa.Table, dict[int, tuple[str, str]]]]:
        is_utf8 = self._encoding in ("utf-8", "utf-8-sig")
        rest = b""
        is_first = True
        with self.path.open("rb") as file:
            decoder = codecs.getincrementaldecoder(self._encoding)()
            while block := file.read(BLOCK):
                self.done = file.tell()
                if not is_utf8:
                    block = decoder.decode(block).lstrip("\ufeff").encode()
                data = rest + block
                if is_first:
                    data = data.removeprefix(codecs.BOM_UTF8)
                end = data.rfind(b"\n") + 1
                rest = data[end:]
                data = data[:end]
                if is_first and data:
                    data, is_first = data[data.find(b"\n") + 1 :], False
                if len(rest) > BLOCK:
                    raise _not_a_table(self.path, "a line goes on for more than 32 MB")
                if data:
                    yield self._parsed(data)
        if not is_utf8:
            rest += decoder.decode(b"", final=True).encode()
        if rest.strip() and not is_first:
            yield self._parsed(rest)

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
        if wrong:
            return self._row_by_row(data)
        return table.rename_columns([used[name] for name in table.column_names]), {}

    def _row_by_row(self, data: bytes) -> tuple[pa.Table, dict[int, tuple[str, str]]]:
        text = io.StringIO(data.decode("utf-8", errors="replace"), newline="")
        rows: list[list[str]] = []
        faults: dict[int, tuple[str, str]] = {}
        expected = len(self._headers)
        for row in csv.reader(text, delimiter=self._delimiter):
            if not row:
                continue
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


def _encoding(path: Path, head: bytes) -> str:
    """Return the encoding: as a mark says, else UTF-8 if all of it is, else Windows-1252."""
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):  # fmt: skip
        if head.startswith(mark):
            return name
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        with path.open("rb") as file:
            while block := file.read(4 << 20):
                if not block.isascii():
                    decoder.decode(block)
            decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


# --- Excel --------------------------------------------------------------------------------


class _Workbook(Backlog):
    def __init__(self, path: Path, sheet: str) -> None:
        from python_calamine import CalamineError, CalamineWorkbook

        try:
            book = CalamineWorkbook.from_path(path)
            names: list[str] = book.sheet_names
            if sheet and sheet not in names:
                raise FileError(
                    "file-missing", f"the workbook has no sheet {sheet!r}", where=str(path),
                    remedy=f"It has: {', '.join(names)}.",
                )  # fmt: skip
            rows: Any = book.get_sheet_by_name(sheet or names[0])
        except CalamineError as fault:
            raise _not_a_table(path, f"the workbook cannot be read ({str(fault)[:120]})") from None
        except IndexError:
            raise _not_a_table(path, "the workbook has no sheet") from None
        self._rows: Iterator[list[Any]] = rows.iter_rows()
        self._count: int = rows.total_height
        headers = [cell_text(value) for value in next(self._rows, [])]
        super().__init__(path, map_headers(headers, str(path)))

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
    def __init__(self, path: Path) -> None:
        import pyarrow.parquet as pq

        try:
            self._file = pq.ParquetFile(path)
        except (pa.ArrowInvalid, OSError) as fault:
            raise _not_a_table(
                path, f"the Parquet file cannot be read ({str(fault)[:120]})"
            ) from None
        names = self._file.schema_arrow.names
        super().__init__(path, map_headers(names, str(path)))
        self._names = {names[place]: name for name, place in self.mapping.places.items()}

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


def _as_text(column: Any) -> Any:
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    if pa.types.is_floating(column.type) or pa.types.is_decimal(column.type):
        return pa.array(
            [cell_text(value) if value is not None else "" for value in column.to_pylist()]
        )
    return pc.fill_null(column.cast(pa.string()), "")
