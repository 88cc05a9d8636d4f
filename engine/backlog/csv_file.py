"""A backlog in CSV, whatever its encoding, delimiter and line ends.

A row that cannot be taken apart keeps its place with its fault.
"""

# Arrow has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false
# pyright: reportUnknownArgumentType=false, reportUnknownParameterType=false
# pyright: reportMissingTypeArgument=false, reportUnknownLambdaType=false

import codecs
import csv
import re
from collections.abc import Iterator
from typing import Any, Final, Literal

import pyarrow as pa
import pyarrow.csv as arrow_csv

from .columns import map_headers
from .csv_rows import count_lines, rows_of
from .opened import Backlog
from .spool import LONGEST_LINE, Kept, not_a_table, telling

BLOCK: Final = 8 << 20
"""Bytes parsed at a time: the first rows are worked on while the rest is read."""
LONGEST_ROW: Final = 32 << 20
"""Bytes without a line end that are no table."""

_DELIMITERS: Final = ",;\t|"
_LINE_END: Final = re.compile(r"\r\n|\r|\n")
_HEADER: Final = re.compile(rb"[^\r\n]*(?:\r\n|\r|\n)")


class CsvFile(Backlog):
    """A backlog in CSV."""

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

    def tables(self) -> Iterator[tuple[pa.Table, dict[int, tuple[str, str]]]]:
        """Yield tables of text columns under their names, with faults by row."""
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
            if len(rest) > LONGEST_ROW:
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
        with self.kept.path.open("rb") as file:
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
