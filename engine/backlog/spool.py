"""A backlog as a file that can be read more than once: what comes through a pipe is kept first.

A pipe gives what it holds to whoever reads it first, and nothing to the next one; the kind of a
backlog, its encoding and its digest each take reading it.
"""

import hashlib
import stat
import tempfile
import weakref
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Final

from ...catalogue.errors import FileError

LONGEST_LINE: Final = 1 << 20
"""Bytes without a line break after which a file is held to be no table."""
STEP: Final = 4 << 20


class Kept:
    """A backlog that can be read again and again.

    Attributes:
        name: what it was called by whoever asked.
        path: the file to read: the one that was named, or a copy of what came through a pipe.
    """

    def __init__(self, name: Path) -> None:
        """Open it.

        Raises:
            FileError: ``file-missing``; ``backlog-not-a-table`` where a pipe gives no line break.
        """
        self.name = self.path = name
        with telling(name):
            mode = name.stat().st_mode
            if stat.S_ISDIR(mode):
                raise FileError(
                    "file-missing", "this is a folder", where=str(name),
                    remedy="Name the file in it.",
                )  # fmt: skip
            if not stat.S_ISREG(mode):
                copy = _copied(name)
                weakref.finalize(self, copy.close)
                self.path = Path(copy.name)

    def head(self) -> bytes:
        """Return the beginning.

        Raises:
            FileError: ``file-missing``.
        """
        with telling(self.name), self.path.open("rb") as file:
            return file.read(LONGEST_LINE + 1)

    def digest(self) -> str:
        """Return ``sha256:…`` of all that is in it.

        Raises:
            FileError: ``file-missing``.
        """
        with telling(self.name), self.path.open("rb") as file:
            return f"sha256:{hashlib.file_digest(file, 'sha256').hexdigest()}"


@contextmanager
def telling(path: Path) -> Generator[None]:
    """Tell what the system says of a file that cannot be read as an error of it.

    Raises:
        FileError: ``file-missing``.
    """
    try:
        yield
    except OSError as fault:
        raise FileError(
            "file-missing",
            f"the backlog cannot be read ({fault.strerror or 'unknown reason'})",
            where=str(path),
            remedy="Check the name and the folder.",
        ) from None


def not_a_table(path: Path, what: str) -> FileError:
    """Return the error of a file that is no backlog at all."""
    return FileError(
        "backlog-not-a-table",
        what,
        where=str(path),
        remedy="Save it as CSV, XLSX or Parquet with a header and a row for each job.",
    )


def _copied(name: Path) -> IO[bytes]:
    """Keep all that comes through a pipe in a file that goes away when it is closed."""
    copy = tempfile.NamedTemporaryFile(prefix="cuttable-", suffix=".backlog")  # noqa: SIM115
    try:
        with name.open("rb", buffering=0) as pipe:
            for piece in _pieces(pipe, name):
                copy.write(piece)
        copy.flush()
    except BaseException:
        copy.close()
        raise
    return copy


def _pieces(pipe: IO[bytes], name: Path) -> Iterator[bytes]:
    """Yield what comes through a pipe; one that gives no line is not waited for without end."""
    size, has_line = 0, False
    while piece := pipe.read(STEP):
        yield piece
        has_line = has_line or b"\n" in piece or b"\r" in piece
        size += len(piece)
        if not has_line and size > LONGEST_LINE:
            raise not_a_table(name, f"there is no line break within the first {size} bytes")
