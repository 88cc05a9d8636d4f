"""Where files come from, a folder or a ledger, and what TOML is in them.

What the TOML must be is told by schemas: see :mod:`~cuttable.catalogue.files.schema` and
:mod:`~cuttable.catalogue.files.problems`.
"""

import hashlib
from collections.abc import Mapping
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any, Final, Protocol, cast

from ..errors import FileError


def digest_of(*contents: bytes) -> str:
    """Return ``sha256:…`` over contents, each length-prefixed so that cuts cannot shift."""
    total = hashlib.sha256()
    for content in contents:
        total.update(len(content).to_bytes(8, "big"))
        total.update(content)
    return f"sha256:{total.hexdigest()}"


def read_bytes(path: Path) -> bytes:
    """Return a file's bytes.

    Raises:
        FileError: ``file-missing``.
    """
    try:
        return path.read_bytes()
    except IsADirectoryError:
        raise FileError(
            "file-missing", "it is a folder, and a file is wanted", where=str(path),
            remedy="Name a file in it.",
        ) from None  # fmt: skip
    except OSError as fault:
        raise unreadable(path, fault) from None


def unreadable(path: Path, fault: OSError) -> FileError:
    """Return the error for a file that the system does not give."""
    return FileError(
        "file-missing", f"the file cannot be read ({fault.strerror or 'unreadable'})",
        where=str(path), remedy="See its name and folder, and who may read it.",
    )  # fmt: skip


class Files(Protocol):
    """Files by name, wherever they are kept."""

    def names(self, pattern: str) -> list[str]:
        """Return the sorted names that fit a pattern, e.g. ``tables/*.csv``."""
        ...

    def read(self, name: str) -> bytes:
        """Return a file's bytes; ``file-missing`` where there is no such file."""
        ...

    def where(self, name: str) -> str:
        """Return what to call the file in a message; the place of all of them for no name."""
        ...


class Folder:
    """Files of a folder on disk."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def names(self, pattern: str) -> list[str]:
        """Return the sorted names that fit a pattern."""
        return sorted(path.relative_to(self.path).as_posix() for path in self.path.glob(pattern))

    def read(self, name: str) -> bytes:
        """Return a file's bytes."""
        return read_bytes(self.path / name)

    def where(self, name: str) -> str:
        """Return the file's path."""
        return str(self.path / name if name else self.path)


class KeptFiles:
    """Files in memory: from a ledger, not from a folder."""

    def __init__(self, contents: Mapping[str, bytes], place: str) -> None:
        self.contents, self.place = contents, place

    def names(self, pattern: str) -> list[str]:
        """Return the sorted names that fit a pattern; ``*`` stays within one folder."""
        return sorted(
            name
            for name in self.contents
            if name.count("/") == pattern.count("/") and fnmatchcase(name, pattern)
        )

    def read(self, name: str) -> bytes:
        """Return a file's bytes."""
        if name not in self.contents:
            raise FileError(
                "file-missing", "there is no such file", where=self.where(name),
                remedy="A revision must have it: see what the one before it has.",
            )  # fmt: skip
        return self.contents[name]

    def where(self, name: str) -> str:
        """Return the place and the file's name."""
        return f"{self.place}, {name}" if name else self.place


def files_of(place: Path | Files) -> Files:
    """Return the files of a folder, or those already given."""
    return Folder(place) if isinstance(place, Path) else place


def parse_toml(content: bytes, where: str) -> dict[str, Any]:
    """Parse TOML.

    Raises:
        FileError: ``file-damaged`` with the line and column of the fault.
    """
    import tomli  # the compiled reader: several times faster than the one in the library

    try:
        return _not_too_deep(tomli.loads(content.decode("utf-8")))
    except UnicodeDecodeError:
        raise FileError(
            "file-damaged", "the file is not UTF-8 text", where=where,
            remedy="Save it as UTF-8 in your editor.",
        ) from None  # fmt: skip
    except RecursionError:
        raise FileError(
            "file-damaged", "tables or lists in the file are nested deeper than any that is read",
            where=where, remedy="Check that its brackets and dots are what was meant.",
        ) from None  # fmt: skip
    except ValueError as fault:  # the parser's own, and numbers of thousands of digits
        raise FileError(
            "file-damaged",
            f"the file is not valid TOML: {fault}",
            where=where,
            remedy="Check quotes, brackets and that the file is complete.",
        ) from None


_DEEPEST: Final = 20
"""Levels of tables; the deepest file has five."""


def _not_too_deep(data: dict[str, Any]) -> dict[str, Any]:
    """Return what was parsed if it can be walked safely.

    Raises:
        RecursionError: tables and lists are nested too deeply.
    """
    level: list[Any] = [data]
    for _ in range(_DEEPEST):
        level = [
            inner
            for item in level
            for inner in (cast("dict[str, Any]", item).values() if isinstance(item, dict) else item)
            if isinstance(inner, dict | list)
        ]
        if not level:
            return data
    raise RecursionError
