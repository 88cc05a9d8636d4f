"""Write answers to CSV, JSON Lines, Parquet or Excel: the old file or a whole new one.

Rows go to a file beside the target, with a journal of how far it is good; at the end it is moved
into place. A run that was stopped is continued from the journal, and what comes of it is the
same, byte for byte.
"""

# Arrow has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false
# pyright: reportUnknownArgumentType=false, reportUnknownParameterType=false
# pyright: reportMissingTypeArgument=false, reportUnknownLambdaType=false

import json
import os
import shutil
from collections.abc import Generator, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, NoReturn

import pyarrow as pa
import pyarrow.compute
import pyarrow.csv as arrow_csv

from ...catalogue.errors import FileError

pc: Any = pyarrow.compute

KINDS: Final = (".csv", ".jsonl", ".parquet", ".xlsx")
SHEET_ROWS: Final = 1_048_575
"""Rows below the header that a worksheet holds."""

_RISKY: Final = r"^[=+\-@\t\r]"
_NUMBER: Final = r"^[+-]?\d+(?:[.,]\d+)?$"


class Answers:
    """Answers on their way into a file.

    Args:
        path: where they go at the end.
        schema: their columns.
        typed: columns with text that somebody typed: it must not become a formula.
        key: what the answers are about; a stopped run is continued only for the same.
        is_resumed: continue a stopped run.

    Raises:
        FileError: ``output-unwritable``, ``resume-mismatch``.
    """

    def __init__(
        self,
        path: Path,
        schema: pa.Schema,
        *,
        typed: Sequence[str],
        key: Mapping[str, Any],
        is_resumed: bool,
    ) -> None:
        self.path, self.schema, self._typed = path, schema, typed
        self._part = path.with_name(f".{path.name}.part")
        self._journal = path.with_name(f".{path.name}.part.json")
        self._key = dict(key)
        self.rows_done = 0
        """Rows of the backlog whose answers are written."""
        self.note: dict[str, Any] = {}
        self._state: dict[str, Any] = {}
        with _writable(path):
            if not path.parent.is_dir():
                _refuse(path, "the folder does not exist", "Make it, or choose another.")
            if path.is_dir():
                _refuse(path, "this is a folder", "Name a file in it.")
            if is_resumed:
                self._resume()
            else:
                self._discard()
            self._open()

    def write(self, batch: pa.RecordBatch, rows_done: int, note: Mapping[str, Any]) -> None:
        """Add answers; ``rows_done`` rows of the backlog are then done.

        ``note`` is kept with them and given back when the run is continued.
        """
        with _writable(self.path):
            self._add(batch)
            self.rows_done, self.note = rows_done, dict(note)
            self._state = {
                "key": self._key, "rows": rows_done, "note": self.note, **self._mark(),
            }  # fmt: skip
            beside = self._journal.with_suffix(".tmp")
            beside.write_text(json.dumps(self._state), encoding="utf-8")
            beside.replace(self._journal)

    def finish(self) -> None:
        """Move the whole file into place."""
        with _writable(self.path):
            self._close()
            self._part.replace(self.path)
            self._discard()

    def abandon(self) -> None:
        """Close without a result; what is written can be continued."""
        with _writable(self.path):
            self._close_early()
        if not self._state:
            self._discard()

    def _resume(self) -> None:
        try:
            state = json.loads(self._journal.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            self._discard()
            return
        if state.get("key") != self._key:
            raise FileError(
                "resume-mismatch",
                "the stopped run was about another backlog, or asked in another way",
                where=str(self.path),
                remedy="Ask as before, or leave out --resume to begin anew.",
            )
        self._state, self.rows_done, self.note = state, int(state["rows"]), state["note"]

    def _discard(self) -> None:
        self._journal.unlink(missing_ok=True)
        if self._part.is_dir():
            shutil.rmtree(self._part)
        self._part.unlink(missing_ok=True)
        self._state = {}

    # --- what differs by kind -------------------------------------------------------------

    def _open(self) -> None:
        raise NotImplementedError

    def _add(self, batch: pa.RecordBatch) -> None:
        raise NotImplementedError

    def _mark(self) -> dict[str, Any]:
        """Return what the journal needs to continue here."""
        raise NotImplementedError

    def _close(self) -> None:
        raise NotImplementedError

    def _close_early(self) -> None:
        raise NotImplementedError


def open_answers(
    path: Path,
    schema: pa.Schema,
    *,
    typed: Sequence[str],
    key: Mapping[str, Any],
    is_resumed: bool = False,
) -> Answers:
    """Open a file for answers; its kind follows from the ending.

    Raises:
        FileError: ``output-unwritable`` for an unknown ending or a place that cannot be
            written, ``resume-mismatch``.
    """
    kinds: dict[str, type[Answers]] = {
        ".csv": _CsvAnswers, ".jsonl": _JsonAnswers, ".parquet": _ParquetAnswers,
        ".xlsx": _SheetAnswers,
    }  # fmt: skip
    kind = kinds.get(path.suffix.casefold())
    if kind is None:
        _refuse(path, "the ending is none the tool writes", f"End it in {', '.join(KINDS)}.")
    return kind(path, schema, typed=typed, key=key, is_resumed=is_resumed)


def _refuse(path: Path, what: str, remedy: str) -> NoReturn:
    raise FileError("output-unwritable", what, where=str(path), remedy=remedy)


@contextmanager
def _writable(path: Path) -> Generator[None]:
    try:
        yield
    except OSError as fault:
        _refuse(
            path,
            f"the answers cannot be written ({fault.strerror or str(fault)[:80]})",
            "Make room or choose another place; --resume continues what was begun.",
        )


class _Stream(Answers):
    """A file that grows at its end, and is cut back to the last mark when continued."""

    def _open(self) -> None:
        self._file = self._part.open("r+b" if self._state else "wb")
        if self._state:
            self._file.truncate(int(self._state["bytes"]))
            self._file.seek(0, os.SEEK_END)
        self._begin(is_new=not self._state)

    def _begin(self, *, is_new: bool) -> None:
        _ = is_new

    def _mark(self) -> dict[str, Any]:
        self._file.flush()
        return {"bytes": self._file.tell()}

    def _close(self) -> None:
        self._file.close()

    _close_early = _close


class _CsvAnswers(_Stream):
    def _begin(self, *, is_new: bool) -> None:
        options = arrow_csv.WriteOptions(include_header=is_new, quoting_style="needed")
        self._writer = arrow_csv.CSVWriter(self._file, self.schema, write_options=options)

    def _add(self, batch: pa.RecordBatch) -> None:
        self._writer.write(self._safe(batch))

    def _safe(self, batch: pa.RecordBatch) -> pa.RecordBatch:
        """Keep typed text from being read as a formula by a spreadsheet."""
        columns = list(batch.columns)
        for name in self._typed:
            place = batch.schema.get_field_index(name)
            text = columns[place]
            risky = pc.and_(
                pc.match_substring_regex(text, _RISKY),
                pc.invert(pc.match_substring_regex(text, _NUMBER)),
            )
            if pc.any(risky).as_py():
                columns[place] = pc.if_else(risky, pc.binary_join_element_wise("'", text, ""), text)
        return pa.record_batch(columns, schema=batch.schema)


class _JsonAnswers(_Stream):
    def _add(self, batch: pa.RecordBatch) -> None:
        lines = [
            json.dumps(row, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
            for row in batch.to_pylist()
        ]
        if lines:
            self._file.write(("\n".join(lines) + "\n").encode())


class _Parts(Answers):
    """A folder of numbered pieces that become one file at the end."""

    def _open(self) -> None:
        self._count = int(self._state.get("parts", 0))
        self._part.mkdir(exist_ok=True)
        for piece in self._part.iterdir():
            if not piece.stem.isdigit() or int(piece.stem) >= self._count:
                piece.unlink()

    def _add(self, batch: pa.RecordBatch) -> None:
        piece = self._part / f"{self._count:06d}.arrow"
        with pa.OSFile(str(piece), "wb") as sink, pa.ipc.new_file(sink, self.schema) as writer:
            writer.write_batch(batch)
        self._count += 1

    def _mark(self) -> dict[str, Any]:
        return {"parts": self._count}

    def _batches(self) -> Iterator[pa.RecordBatch]:
        for number in range(self._count):
            with pa.memory_map(str(self._part / f"{number:06d}.arrow")) as source:
                reader = pa.ipc.open_file(source)
                for place in range(reader.num_record_batches):
                    yield reader.get_batch(place)

    def _close(self) -> None:
        whole = self._part.with_suffix(".whole")
        self._join(whole)
        shutil.rmtree(self._part)
        whole.replace(self._part)

    def _close_early(self) -> None:
        pass

    def _join(self, whole: Path) -> None:
        raise NotImplementedError


class _ParquetAnswers(_Parts):
    def _join(self, whole: Path) -> None:
        import pyarrow.parquet as pq

        with pq.ParquetWriter(whole, self.schema) as writer:
            for batch in self._batches():
                writer.write_batch(batch)


class _SheetAnswers(_Parts):
    def _add(self, batch: pa.RecordBatch) -> None:
        self._rows = getattr(self, "_rows", 0) + batch.num_rows
        if self._rows > SHEET_ROWS:
            _refuse(
                self.path, f"a worksheet holds {SHEET_ROWS} answers and no more",
                "Write CSV or Parquet, or ask fewer machines.",
            )  # fmt: skip
        super()._add(batch)

    def _join(self, whole: Path) -> None:
        import xlsxwriter

        options = {
            "constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
            "strings_to_numbers": False,
        }  # fmt: skip
        with xlsxwriter.Workbook(str(whole), options) as book:
            sheet = book.add_worksheet("answers")
            sheet.freeze_panes(1, 0)
            bold = book.add_format({"bold": True})
            for place, name in enumerate(self.schema.names):
                sheet.write_string(0, place, name, bold)
            row = 1
            for batch in self._batches():
                columns = [column.to_pylist() for column in batch.columns]
                is_text = [pa.types.is_string(column.type) for column in batch.columns]
                for values in zip(*columns, strict=True):
                    for place, value in enumerate(values):
                        if value is None or value == "":
                            continue
                        if is_text[place]:
                            sheet.write_string(row, place, value)
                        else:
                            sheet.write_number(row, place, value)
                    row += 1
