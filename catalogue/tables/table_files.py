"""The files of section tables: read once and when needed, row by row as their index says.

Loading trusts nothing and reports file and row.
"""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from functools import cache, cached_property
from pathlib import Path
from typing import Any, Final

from ..errors import FileError
from ..files.file_source import Files, files_of, parse_toml
from ..files.problems import Problems
from .sections import Section
from .table_form import is_described, read_forms
from .table_rows import Form, Pool, Row, typed_key

FOLDER: Final = Path(__file__).parent
INDEX: Final = "index.toml"


@cache
def shipped_forms() -> dict[str, Form]:
    """Return the entries of the index that the tool brings."""
    where, content = str(FOLDER / INDEX), (FOLDER / INDEX).read_bytes()
    return read_forms(parse_toml(content, where), Problems(where, content))


class TableFiles:
    """All section tables of one folder.

    Args:
        folder: where index and CSV files lie; the built-in tables by default.
        own: sections of the site's own, by the name they are asked by.

    Raises:
        FileError: ``file-missing``, ``file-damaged`` or ``file-problems``, on first use of a
            table.
    """

    def __init__(
        self, folder: Path | Files = FOLDER, own: Mapping[str, Section] | None = None
    ) -> None:
        self.files = files_of(folder)
        self.own: Mapping[str, Section] = own or {}
        self._read: dict[str, list[Row]] = {}
        self._typed: dict[str, dict[str, Row]] = {}
        self._pools: dict[tuple[tuple[str, ...], tuple[str, ...], str], Pool] = {}

    # --- tables as the index says --------------------------------------------------------------

    @cached_property
    def _index(self) -> dict[str, Any]:
        return parse_toml(self.files.read(INDEX), self.files.where(INDEX))

    @cached_property
    def forms(self) -> dict[str, Form]:
        """The entries of the index by table, in its order."""
        problems = Problems(self.files.where(INDEX), self.files.read(INDEX))
        return read_forms(self._index, problems, shipped_forms)

    @property
    def are_described(self) -> bool:
        """Whether the index says what the columns of its tables are."""
        return any(is_described(entry) for entry in self._index.get("tables", {}).values())

    def _cells(self, form: Form) -> list[dict[str, str]]:
        """Return the rows of a file by column, checked for their number of cells."""
        path = self.files.where(form.file)
        try:
            text = self.files.read(form.file).decode("utf-8")
        except UnicodeDecodeError as fault:
            raise FileError(
                "file-missing", f"section table cannot be read ({fault})", where=path
            ) from None
        reader = csv.DictReader(io.StringIO(text), restkey="", restval=None)
        rows = list(reader)
        if not rows or tuple(reader.fieldnames or ()) != form.columns:
            raise FileError(
                "file-damaged",
                f"section table must have rows under the columns {', '.join(form.columns)}",
                where=path,
            )
        for line, row in enumerate(rows, start=2):
            if "" in row or None in row.values():
                raise FileError(
                    "file-damaged", "row has more or fewer cells than columns",
                    where=f"{path}, line {line}",
                )  # fmt: skip
        return rows

    def rows(self, name: str) -> list[Row]:
        """Return the rows of a section table, in its order."""
        if name not in self._read:
            form = self.forms[name]
            where = self.files.where(form.file)
            self._read[name] = [
                self._row(cells, form, f"{where}:{line}")
                for line, cells in enumerate(self._cells(form), start=2)
            ]
        return self._read[name]

    def _row(self, cells: Mapping[str, str], form: Form, where: str) -> Row:
        kind = next((kind for kind in form.kinds if kind.fits(cells)), None)
        if kind is None:
            raise FileError("file-damaged", "row is of no kind its entry names", where=where)
        try:
            return Row(cells, kind, form, where)
        except (ValueError, ZeroDivisionError) as fault:
            raise FileError("file-damaged", f"row is wrong ({fault})", where=where) from None

    def of_role(self, *roles: str) -> Iterable[Row]:
        """Return the rows of every table with one of the roles, in the order of the index."""
        for name, form in self.forms.items():
            if form.role in roles:
                yield from self.rows(name)

    def typed(self, text: str) -> Section | None:
        """Return the section that is written just so in a table, None where none is.

        Tables come in the order of the index; :meth:`every_section` refuses two that write
        different sections alike.

        Raises:
            InputError: ``text-too-long``.
            FileError: as for the class.
        """
        key = typed_key(text)
        for name, form in self.forms.items():
            if not form.may_begin(key):
                continue
            row = self._as_typed(name).get(key)
            if row is not None and not self._is_elsewhere(row):
                return row.section
        return None

    def _as_typed(self, name: str) -> dict[str, Row]:
        if name not in self._typed:
            written: dict[str, Row] = {}
            for row in self.rows(name):
                for key in row.typed_keys() if row.kind.is_typed else ():
                    _refuse_another(row, written.setdefault(key, row))
            self._typed[name] = written
        return self._typed[name]

    def _is_elsewhere(self, row: Row) -> bool:
        """Say whether a table that goes before has the same size of this shape."""
        return any((row.sizes, row.kind.shape) in self._sizes[name] for name in row.form.unless_in)

    @cached_property
    def _sizes(self) -> dict[str, frozenset[tuple[tuple[float, float, float], str]]]:
        """Sizes and shapes of every table that another one gives way to."""
        names = {name for form in self.forms.values() for name in form.unless_in}
        return {
            name: frozenset((row.sizes, row.kind.shape) for row in self.rows(name))
            for name in names
        }

    def pool(self, *roles: str, shapes: Sequence[str], finish: str = "") -> Pool:
        """Return the rows that near ones are looked for among: of roles, shapes, and a finish."""
        key = (roles, tuple(shapes), finish)
        if key not in self._pools:
            rows = [
                row
                for row in self.of_role(*roles)
                if row.kind.shape in shapes
                and (not finish or row.form.finish == finish)
                and not self._is_elsewhere(row)
            ]
            # Hot finished first, as where both are found.
            rows.sort(key=lambda row: ("hot", "cold", "").index(row.form.finish))
            self._pools[key] = Pool(rows)
        return self._pools[key]

    def family(self, name: str) -> list[Row]:
        """Return the rows that a range of this name shows, smallest first."""
        rows = [
            row
            for table, form in self.forms.items()
            if any(kind.family == name for kind in form.kinds)
            for row in self.rows(table)
            if row.kind.family == name
        ]
        return sorted(rows, key=lambda row: row.sizes)

    def every_section(self) -> Iterable[Section]:
        """Return all sections of all tables, in the order of the tables.

        Raises:
            FileError: as for the class, and where two sections are written alike.
        """
        yield from self.own.values()
        written: dict[str, Row] = {}
        for name, form in self.forms.items():
            if not form.kinds:
                continue
            for key, row in self._as_typed(name).items():
                if not self._is_elsewhere(row):
                    _refuse_another(row, written.setdefault(key, row))
            yield from (row.section for row in self.rows(name) if not self._is_elsewhere(row))


def _refuse_another(row: Row, first: Row) -> None:
    """Refuse a row that is written as another section is.

    Raises:
        FileError: ``file-damaged``.
    """
    if (first.sizes, first.kind.shape) != (row.sizes, row.kind.shape):
        raise FileError(
            "file-damaged",
            f"{row.designation!r} is written like another section, of {first.where}",
            where=row.where,
            remedy="Let the designation name what tells them apart.",
        )
