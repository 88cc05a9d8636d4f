"""A backlog in Parquet, of any kind of column that can stand for what is typed."""

# Arrow has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false
# pyright: reportUnknownArgumentType=false, reportUnknownParameterType=false
# pyright: reportMissingTypeArgument=false, reportUnknownLambdaType=false

from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute

from ...catalogue.errors import FileError
from .columns import cell_text, date_fault, map_headers
from .opened import CHUNK_ROWS, Backlog
from .spool import Kept, not_a_table

pc: Any = pyarrow.compute


class ParquetFile(Backlog):
    """A backlog in Parquet."""

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

    def tables(self) -> Iterator[tuple[pa.Table, dict[int, tuple[str, str]]]]:
        """Yield tables of text columns under their names, with faults by row."""
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
