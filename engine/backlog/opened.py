"""An opened backlog, whatever kind of file it is: its columns, and its rows in chunks.

Memory does not grow with the file. Cells come as texts, each distinct one once.
"""

# Arrow has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false
# pyright: reportUnknownArgumentType=false, reportUnknownParameterType=false
# pyright: reportMissingTypeArgument=false, reportUnknownLambdaType=false

from collections.abc import Iterator, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute

from ...catalogue.errors import FileError
from .columns import Mapping, with_unit
from .parse_jobs import Texts
from .spool import Kept

pc: Any = pyarrow.compute

CHUNK_ROWS: Final = 250_000
"""Rows worked on at a time."""
LONGEST_CELL: Final = 1 << 17
"""Letters of a cell that is read: the longest list of parts there may be has fewer."""


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
        self.kept = kept
        self.size = kept.path.stat().st_size
        self.done = 0
        """Bytes read so far, for a progress bar."""

    def digest(self) -> str:
        """Return ``sha256:…`` of what is in the file."""
        return self.kept.digest()

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

    def tables(self) -> Iterator[tuple[pa.Table, dict[int, tuple[str, str]]]]:
        """Yield tables of text columns under their names, with faults by row."""
        raise NotImplementedError

    def _sound_tables(self) -> Iterator[tuple[pa.Table, dict[int, tuple[str, str]]]]:
        """Yield the tables; where the file is damaged, say behind which row."""
        done = 0
        try:
            for table, faults in self.tables():
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
