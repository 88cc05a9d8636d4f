"""Open a backlog as what it is: CSV, Excel or Parquet."""

from pathlib import Path
from typing import Final

from ...catalogue.errors import FileError
from .csv_file import CsvFile
from .opened import Backlog
from .parquet_file import ParquetFile
from .spool import Kept
from .workbook_file import WorkbookFile

_MAGIC: Final = (
    (b"PK\x03\x04", "xlsx"),
    (b"PAR1", "parquet"),
    (b"\xd0\xcf\x11\xe0", "ole"),
    (b"%PDF", "pdf"),
)


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
        return WorkbookFile(kept, sheet)
    if kind == "parquet":
        return ParquetFile(kept)
    return CsvFile(kept, head, is_pdf=kind == "pdf")
