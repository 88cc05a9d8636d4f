"""Strict reading of TOML files: every key accounted for, every problem told at once.

A file is read through a :class:`Reader`, which notes what is missing, misspelt, of the wrong
kind or in the wrong unit, with its dotted key. At the end :meth:`Reader.finish` raises one
:class:`~cuttable.catalogue.errors.FileError` that lists them all.

Written here rather than left to a schema library because a limit file wants dotted keys,
units and the nearest allowed key in its messages, and because the tool starts cold for every
question: this costs no start-up time.
"""

import hashlib
from collections.abc import Iterable, Mapping
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any, Final, Protocol, TypeVar, cast

from .errors import FileError, InputError, OpenQuestion
from .nearest import did_you_mean
from .quantities import quantity
from .units import Dimension

T = TypeVar("T", bound=str)

UNREADABLE: Final = float("nan")


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
        reason = fault.strerror or "unreadable"
        raise FileError(
            "file-missing", f"the file cannot be read ({reason})", where=str(path),
            remedy="See its name and folder, and who may read it.",
        ) from None  # fmt: skip


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
    """Files in memory: from a book, not from a folder."""

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
        return tomli.loads(content.decode("utf-8"))
    except UnicodeDecodeError:
        raise FileError(
            "file-damaged", "the file is not UTF-8 text", where=where,
            remedy="Save it as UTF-8 in your editor.",
        ) from None  # fmt: skip
    except tomli.TOMLDecodeError as fault:
        raise FileError(
            "file-damaged",
            f"the file is not valid TOML: {fault}",
            where=where,
            remedy="Check quotes, brackets and that the file is complete.",
        ) from None


class Reader:
    """One table of a TOML file, read key by key.

    Args:
        data: the table.
        where: the file, for messages.
        problems: the list problems are noted in, shared by all tables of a file.
        prefix: dotted key of this table, empty at the top.
    """

    def __init__(
        self, data: dict[str, Any], where: str, problems: list[str] | None = None, prefix: str = ""
    ) -> None:
        self.data = data
        self.where = where
        self.problems: list[str] = [] if problems is None else problems
        self.prefix = prefix
        self.read: set[str] = set()

    def key(self, name: str) -> str:
        """Return the dotted key of ``name`` in this table."""
        return f"{self.prefix}.{name}" if self.prefix else name

    def problem(self, name: str, what: str) -> None:
        """Note a problem at ``name``."""
        self.problems.append(f"{self.key(name) if name else self.prefix or 'file'}: {what}")

    def has(self, name: str) -> bool:
        """Say whether the key is there, and count it as known."""
        self.read.add(name)
        return name in self.data

    def _take(self, name: str, kind: type | tuple[type, ...], kind_name: str) -> Any | None:
        self.read.add(name)
        if name not in self.data:
            self.problem(name, f"is missing; {kind_name} is required.")
            return None
        value = self.data[name]
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            self.problem(name, f"must be {kind_name}, not {value!r:.60}.")
            return None
        return value

    def text(self, name: str, default: str | None = None) -> str:
        """Return a non-empty text."""
        if default is not None and not self.has(name):
            return default
        value = self._take(name, str, "a text in quotes")
        if value is not None and not value.strip():
            self.problem(name, "is an empty text.")
        return " ".join((value or "").split())

    def texts(self, name: str, default: Iterable[str] | None = None) -> list[str]:
        """Return a list of texts."""
        if default is not None and not self.has(name):
            return list(default)
        value = self._take(name, list, "a list of texts")
        items = cast("list[Any]", value or [])
        if not all(isinstance(item, str) and item for item in items):
            self.problem(name, "must hold texts only.")
            return []
        return items

    def choice(self, name: str, allowed: Iterable[T], default: T | None = None) -> T:
        """Return one of ``allowed``."""
        options = list(allowed)
        if default is not None and not self.has(name):
            return default
        value = self._take(name, str, f"one of {', '.join(options)}")
        if value is None:
            return options[0]
        if value not in options:
            hint = did_you_mean(value, options)
            self.problem(name, f"{value!r} is not one of {', '.join(options)}. {hint}".strip())
            return options[0]
        return cast("T", value)

    def boolean(self, name: str) -> bool:
        """Return true or false."""
        return bool(self._take(name, bool, "true or false"))

    def integer(self, name: str, low: int, high: int, default: int | None = None) -> int:
        """Return a whole number from ``low`` to ``high``."""
        if default is not None and not self.has(name):
            return default
        value = self._take(name, int, f"a whole number from {low} to {high}")
        if value is not None and not low <= value <= high:
            self.problem(name, f"must be a whole number from {low} to {high}, not {value}.")
        return low if value is None else int(value)

    def number(self, name: str, low: float, high: float) -> float:
        """Return a pure number in [low, high]."""
        value = self._take(name, (int, float), f"a number from {low:g} to {high:g}")
        if value is not None and not low <= value <= high:
            self.problem(name, f"must be a number from {low:g} to {high:g}, not {value}.")
        return UNREADABLE if value is None else float(value)

    def quantity(
        self, name: str, dimension: Dimension, *, may_be_zero: bool = False, optional: bool = False
    ) -> float:
        """Return a positive quantity in its canonical unit; NaN where it cannot be had."""
        if optional and not self.has(name):
            return UNREADABLE
        value = self._take(name, str, "a text with number and unit")
        if value is None:
            return UNREADABLE
        return self.as_quantity(name, value, dimension, may_be_zero=may_be_zero)

    def as_quantity(
        self, name: str, value: str, dimension: Dimension, *, may_be_zero: bool = False
    ) -> float:
        """Read a text already taken as a quantity."""
        try:
            found = quantity(value, dimension)
        except InputError as fault:
            self.problem(name, f"{fault.what}. {fault.remedy}")
            return UNREADABLE
        except OpenQuestion as asked:
            self.problem(name, f"{asked.question.text} Write it without the comma.")
            return UNREADABLE
        if found < 0 or (found == 0 and not may_be_zero):
            self.problem(name, f"must be above zero, not {value!r}.")
            return UNREADABLE
        return found

    def table(self, name: str, *, optional: bool = False) -> "Reader":
        """Return a sub-table; an empty one where it is missing."""
        if optional and not self.has(name):
            return Reader({}, self.where, self.problems, self.key(name))
        value = self._take(name, dict, "a table")
        if value is None:
            # One problem is enough: do not complain about every key of a missing table.
            return Reader({}, self.where, [], self.key(name))
        return Reader(cast("dict[str, Any]", value), self.where, self.problems, self.key(name))

    def tables(self, name: str, *, optional: bool = False) -> list["Reader"]:
        """Return the tables of an array of tables."""
        if optional and not self.has(name):
            return []
        items = cast("list[Any]", self._take(name, list, "an array of tables") or [])
        readers: list[Reader] = []
        for index, item in enumerate(items):
            key = f"{name}[{index}]"
            if isinstance(item, dict):
                table = cast("dict[str, Any]", item)
                readers.append(Reader(table, self.where, self.problems, self.key(key)))
            else:
                self.problem(key, "must be a table.")
        return readers

    def named_tables(self) -> dict[str, "Reader"]:
        """Return every key of this table as a sub-table by name."""
        return {name: self.table(name) for name in list(self.data)}

    def done(self) -> None:
        """Note every key that nobody asked for."""
        for name in self.data:
            if name not in self.read:
                allowed = ", ".join(sorted(self.read)) or "none"
                hint = did_you_mean(name, self.read, otherwise=f"Allowed here: {allowed}.")
                self.problem(name, f"is not a known key. {hint}")

    def finish(self, what: str) -> None:
        """Raise if any problem was noted.

        Raises:
            FileError: ``file-problems``.
        """
        if self.problems:
            count = len(self.problems)
            noun = "problem" if count == 1 else "problems"
            raise FileError(
                "file-problems",
                f"{what} has {count} {noun}",
                where=self.where,
                problems=list(dict.fromkeys(self.problems)),
            )
