"""Write answers to CSV, JSON Lines, Parquet or Excel: the old file or a whole new one.

Rows go to a file beside the target, with a journal of how far it is good; at the end it is moved
into place. A run that was stopped is continued from the journal, and what comes of it is the
same, byte for byte. Long, because the four kinds of file share one life, best read in one piece.
"""

# Arrow has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false
# pyright: reportUnknownArgumentType=false, reportUnknownParameterType=false
# pyright: reportMissingTypeArgument=false, reportUnknownLambdaType=false

import json
import os
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute
import pyarrow.csv as arrow_csv

from ...catalogue.errors import FileError
from .working_files import Journal, Lock, refuse, to_disk, writable

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
        FileError: ``output-unwritable``, ``output-busy`` where another run writes there,
            ``resume-mismatch``, ``resume-damaged``.
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
        self.rows_done = 0
        """Rows of the backlog whose answers are written."""
        self.note: dict[str, Any] = {}
        with writable(path):
            if not path.parent.is_dir():
                refuse(path, "the folder does not exist", "Make it, or choose another.")
            if path.is_dir():
                refuse(path, "this is a folder", "Name a file in it.")
        self._lock = Lock(path)
        try:
            with writable(path):
                self._journal = Journal(path)
                self._begin_or_resume(key, is_resumed=is_resumed)
        except BaseException:
            self._lock.release()
            raise

    def _begin_or_resume(self, key: Mapping[str, Any], *, is_resumed: bool) -> None:
        """Go on where a stopped run ended, or begin with nothing."""
        state, part = self._journal.state, self._journal.part
        if is_resumed and state.get("rows") and part is not None and part.exists():
            if state["key"] != json.loads(json.dumps(key)):
                raise FileError(
                    "resume-mismatch",
                    "the stopped run was about another backlog, or asked in another way",
                    where=str(self.path),
                    remedy="Ask as before, or leave out --resume to begin anew.",
                )
            self._part = part
            if not self._is_as_long_as(state):
                raise FileError(
                    "resume-damaged",
                    f"{part.name} holds less than its journal says",
                    where=str(self.path),
                    remedy="Leave out --resume to begin anew.",
                )
            self.rows_done, self.note = int(state["rows"]), dict(state["note"])
            self._open(state)
            return
        self._part = self._journal.begin(key)
        try:
            self._open({})
        except BaseException:
            self._journal.discard()
            raise

    def write(self, batch: pa.RecordBatch, rows_done: int, note: Mapping[str, Any]) -> None:
        """Add answers; ``rows_done`` rows of the backlog are then done.

        ``note`` is kept with them and given back when the run is continued.
        """
        with writable(self.path):
            self._add(batch)
            self.rows_done, self.note = rows_done, dict(note)
            # The answers are on the disk before the journal tells of them.
            self._journal.write({"rows": rows_done, "note": self.note, **self._mark()})

    def finish(self) -> None:
        """Move the whole file into place."""
        with writable(self.path):
            whole = self._close()
            to_disk(whole)
            whole.replace(self.path)
            to_disk(self.path.parent)
            self._journal.discard()
            self._lock.release()

    def abandon(self) -> None:
        """Close without a result; what is written can be continued."""
        try:
            with writable(self.path):
                self._close_early()
                if not self.rows_done:
                    self._journal.discard()
        finally:
            self._lock.release()

    # --- what differs by kind -------------------------------------------------------------

    def _open(self, state: Mapping[str, Any]) -> None:
        """Open what is written to: anew, or as far as the journal of a stopped run says."""
        raise NotImplementedError

    def _is_as_long_as(self, state: Mapping[str, Any]) -> bool:
        """Say whether everything is there that the journal tells of."""
        raise NotImplementedError

    def _add(self, batch: pa.RecordBatch) -> None:
        raise NotImplementedError

    def _mark(self) -> dict[str, Any]:
        """Return what the journal needs to continue here, once it is on the disk."""
        raise NotImplementedError

    def _close(self) -> Path:
        """Return the whole file, to be moved into place."""
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
            written, ``output-busy``, ``resume-mismatch``, ``resume-damaged``.
    """
    kinds: dict[str, type[Answers]] = {
        ".csv": _CsvAnswers, ".jsonl": _JsonAnswers, ".parquet": _ParquetAnswers,
        ".xlsx": _SheetAnswers,
    }  # fmt: skip
    kind = kinds.get(path.suffix.casefold())
    if kind is None:
        refuse(path, "the ending is none the tool writes", f"End it in {', '.join(KINDS)}.")
    return kind(path, schema, typed=typed, key=key, is_resumed=is_resumed)


class _Stream(Answers):
    """A file that grows at its end, and is cut back to the last mark when continued."""

    def _open(self, state: Mapping[str, Any]) -> None:
        self._file = self._part.open("r+b" if state else "xb")
        if state:
            self._file.truncate(int(state["bytes"]))
            self._file.seek(0, os.SEEK_END)
        self._begin(is_new=not state)

    def _is_as_long_as(self, state: Mapping[str, Any]) -> bool:
        return self._part.is_file() and self._part.stat().st_size >= int(state["bytes"])

    def _begin(self, *, is_new: bool) -> None:
        _ = is_new

    def _mark(self) -> dict[str, Any]:
        self._file.flush()
        os.fsync(self._file.fileno())
        return {"bytes": self._file.tell()}

    def _close(self) -> Path:
        self._file.close()
        return self._part

    def _close_early(self) -> None:
        self._file.close()


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

    def _open(self, state: Mapping[str, Any]) -> None:
        self._sizes: list[int] = list(state.get("sizes", []))
        # What was written behind the last mark is written over, and no part of the whole.
        if not state:
            self._part.mkdir()

    def _pieces(self) -> list[Path]:
        return [self._part / f"{number:06d}.arrow" for number in range(len(self._sizes))]

    def _is_as_long_as(self, state: Mapping[str, Any]) -> bool:
        self._sizes = list(state["sizes"])
        pairs = zip(self._pieces(), self._sizes, strict=True)
        return all(piece.is_file() and piece.stat().st_size == size for piece, size in pairs)

    def _add(self, batch: pa.RecordBatch) -> None:
        piece = self._part / f"{len(self._sizes):06d}.arrow"
        with pa.OSFile(str(piece), "wb") as sink, pa.ipc.new_file(sink, self.schema) as writer:
            writer.write_batch(batch)
        to_disk(piece)
        self._sizes.append(piece.stat().st_size)

    def _mark(self) -> dict[str, Any]:
        to_disk(self._part)
        return {"sizes": self._sizes}

    def _batches(self) -> Iterator[pa.RecordBatch]:
        for piece in self._pieces():
            with pa.memory_map(str(piece)) as source:
                reader = pa.ipc.open_file(source)
                for place in range(reader.num_record_batches):
                    yield reader.get_batch(place)

    def _close(self) -> Path:
        whole = self._part / "whole"
        self._join(whole)
        return whole

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
            refuse(
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
