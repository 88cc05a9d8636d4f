"""What is sent: kept on disk piece by piece, and refused where it is plainly no backlog.

Whether it can be read is found out by the process that reads it, within its limits of memory;
here nothing is unpacked.
"""

import zipfile
from collections.abc import AsyncIterator
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ...catalogue.errors import FileError, InputError

if TYPE_CHECKING:
    from pyarrow.parquet import ParquetFile

KINDS: Final = (".csv", ".tsv", ".txt", ".xlsx", ".parquet")
_BEGINS: Final = {".xlsx": b"PK\x03\x04", ".parquet": b"PAR1"}
_NO_TEXT: Final = (b"PK\x03\x04", b"PAR1", b"%PDF", b"\x1f\x8b", b"BZh", b"\xfd7zXZ\x00",
                   b"7z\xbc\xaf", b"\x28\xb5\x2f\xfd", b"\x7fELF", b"\x89PNG")  # fmt: skip
MOST_UNPACKED: Final = 4 * 2**30
"""Bytes that a workbook or Parquet file may come to when it is unpacked."""
MOST_ROWS: Final = 50_000_000
MOST_FILES: Final = 10_000
"""Files within a workbook."""


def check_name(name: str) -> str:
    """Return the ending of a backlog's name.

    Raises:
        InputError: ``kind-wrong``.
    """
    suffix = Path(name.replace("\\", "/")).suffix.casefold()
    if suffix not in KINDS:
        shown = "".join(char for char in name[:60] if char.isprintable())
        raise InputError("kind-wrong", f"{shown!r} is no kind of backlog",
                         remedy=f"Send one that ends in {', '.join(KINDS)}.")  # fmt: skip
    return suffix


def shown_name(name: str) -> str:
    """Return a file's name as it is shown: without folders and control characters."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(char for char in last if char.isprintable())[:120]


async def kept_upload(path: Path, content: AsyncIterator[bytes]) -> int:
    """Write what is being sent to a file and return its size.

    Raises:
        InputError: ``kind-wrong`` where the content is not what the name says,
            ``backlog-empty``, ``output-unwritable``.
    """
    size, head = 0, b""
    try:
        with path.open("wb") as file:
            async for piece in content:
                size += len(piece)
                file.write(piece)
                if len(head) < 8:
                    head += piece[:8]
                    if len(head) >= 8:
                        _check_begin(path.suffix, head)
    except OSError as fault:
        raise InputError(
            "output-unwritable", f"the backlog cannot be kept ({fault.strerror})",
            remedy="Tell whoever runs the service.",
        ) from None  # fmt: skip
    if not size:
        raise InputError("backlog-empty", "the file is empty")
    _check_begin(path.suffix, head)
    return size


def _check_begin(suffix: str, head: bytes) -> None:
    wanted = _BEGINS.get(suffix)
    is_it = head.startswith(wanted) if wanted else not head.startswith(_NO_TEXT)
    if not is_it:
        raise InputError("kind-wrong", f"the content is not what a name with {suffix} says",
                         remedy="Save it as CSV, XLSX or Parquet.")  # fmt: skip


def check_unpacked(path: Path) -> None:
    """Refuse a file that comes to too much when it is unpacked, by what it says of itself.

    One that lies meets the limit of memory of the process that reads it.

    Raises:
        FileError: ``too-large``.
    """
    if path.suffix == ".xlsx" and zipfile.is_zipfile(path):
        try:
            with zipfile.ZipFile(path) as whole:
                items = whole.infolist()
        except (zipfile.BadZipFile, OSError, ValueError):
            return  # told by whoever reads it
        if len(items) > MOST_FILES:
            raise _too_large("the workbook holds too many files")
        if sum(item.file_size for item in items) > MOST_UNPACKED:
            raise _too_large("the workbook unpacks to more than is taken")
    elif path.suffix == ".parquet":
        import pyarrow as pa
        import pyarrow.parquet as pq

        try:
            whole_file = pq.ParquetFile(path)
        except (pa.ArrowInvalid, OSError):
            return
        _check_parquet(whole_file)


def _check_parquet(found: "ParquetFile") -> None:
    about = found.metadata
    if about.num_rows > MOST_ROWS:
        raise _too_large(f"the file has {about.num_rows} rows")
    groups = (about.row_group(number) for number in range(about.num_row_groups))
    if sum(group.total_byte_size for group in groups) > MOST_UNPACKED:
        raise _too_large("the file unpacks to more than is taken")


def _too_large(what: str) -> FileError:
    return FileError("too-large", what, remedy="Send it in parts.")
