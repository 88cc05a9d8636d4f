"""A backlog in a sheet of an Excel workbook."""

# Arrow has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false
# pyright: reportUnknownArgumentType=false, reportUnknownParameterType=false
# pyright: reportMissingTypeArgument=false, reportUnknownLambdaType=false

from collections.abc import Iterator
from typing import Any

import pyarrow as pa

from ...catalogue.errors import FileError
from .columns import DATES, cell_text, date_fault, map_headers
from .opened import CHUNK_ROWS, Backlog
from .spool import Kept, not_a_table


class WorkbookFile(Backlog):
    """A backlog in a workbook."""

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

    def tables(self) -> Iterator[tuple[pa.Table, dict[int, tuple[str, str]]]]:
        """Yield tables of text columns under their names, with faults by row."""
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
