"""What a section table is made of, as its entry in ``tables/index.toml`` says.

A table is a CSV file and an entry: which column holds which size in which unit, of what shape
the rows are, how a row is written, and where ranges show it. Nothing of one table stands in
Python, so a table is added with data alone.
"""

from collections.abc import Callable, Mapping
from typing import Any, Final

from ..files.problems import Problems
from ..files.schema import Hole
from ..files.toml_lines import Path
from .schema import ColumnTable, IndexFile, IndexTable, KindTable
from .sections import A500, COLD_FORMED, HOT_FINISHED, Corners
from .table_rows import FIELD, Column, Form, Kind

CORNERS: Final[dict[str, Corners]] = {
    "EN 10219-2": COLD_FORMED, "EN 10210-2": HOT_FINISHED, "ASTM A500": A500,
}  # fmt: skip
"""Corner radii of product standards; an entry may also give its own, as multiples of the wall."""


def is_described(entry: Mapping[str, Any]) -> bool:
    """Say whether an entry says what the columns are; it did not in the first form of an index."""
    return "columns" in entry


def read_forms(
    data: dict[str, Any],
    problems: Problems,
    shipped: Callable[[], Mapping[str, Form]] | None = None,
) -> dict[str, Form]:
    """Read the entries of an index of tables, in its order.

    An entry that says nothing of its columns is of an index kept before entries did: it has the
    ``shipped`` form of that name.

    Raises:
        FileError: ``file-problems``.
    """
    forms: dict[str, Form] = {}
    for name, table in problems.read(IndexFile, data).tables.items():
        if table.columns is not None:
            forms[name] = _Entry(("tables", name), problems).form(name, table, table.columns)
            continue
        known = None if shipped is None else shipped().get(name)
        if known is None:
            what = "is missing; a list of the columns is required."
            problems.note(("tables", name, "columns"), what)
        else:
            forms[name] = known
    for form in forms.values():
        for other in form.unless_in:
            if other not in forms:
                path = ("tables", form.name, "unless_in")
                problems.note(path, f"{other!r} is no table of the index.")
    problems.finish("index of tables")
    return forms


class _Entry:
    """Makes the form of one entry, and checks what its texts mean together."""

    def __init__(self, path: Path, problems: Problems) -> None:
        self.path, self.problems = path, problems

    def form(self, name: str, table: IndexTable, columns: tuple[str, ...]) -> Form:
        form = Form(
            name=name,
            file=table.file,
            columns=columns,
            role=table.role,
            finish=table.finish,
            unless_in=table.unless_in,
            kinds=tuple(
                self.kind((*self.path, "sections", index), item, columns, table.standard)
                for index, item in enumerate(table.sections)
            ),
        )
        if table.role != "gauges" and table.sections == ():
            what = "is empty; at least one kind of section is required."
            self.problems.note((*self.path, "sections"), what)
        return form

    def kind(self, path: Path, table: KindTable, columns: tuple[str, ...], standard: str) -> Kind:
        is_round = table.shape == "round"
        names = ("outside", "wall") if is_round else ("height", "width", "wall")
        forms = tuple(
            form for form in (table.designation, *table.also_written) if not isinstance(form, Hole)
        )
        for name in {"outside", "height", "width", "corners"} - {
            *names,
            "" if is_round else "corners",
        }:
            if getattr(table, name) is not None and not isinstance(table.shape, Hole):
                what = f"is nothing that a {table.shape} section has."
                self.problems.note((*path, name), what)
        note, shown = table.note or "", table.range
        kind = Kind(
            when=dict(table.when.items()),
            shape=table.shape,
            sizes=tuple(
                self.column((*path, name), getattr(table, name), columns) for name in names
            ),
            corners=None if is_round else self.corners((*path, "corners"), table),
            forms=forms,
            is_typed=table.is_typed,
            standard=table.standard or standard,
            note=note,
            family=shown.family if shown else "",
            family_size=shown.size if shown else "",
            family_wall=shown.wall if shown else "",
            begins=tuple(" ".join(form.partition("{")[0].split()).casefold() for form in forms),
        )
        for keys, text in (
            *((("designation",), form) for form in forms), (("note",), note),
            (("range", "size"), kind.family_size), (("range", "wall"), kind.family_wall),
        ):  # fmt: skip
            named = [] if isinstance(text, Hole) else [match[1] for match in FIELD.finditer(text)]
            self.check_columns((*path, *keys), named, columns)
        self.check_columns((*path, "when"), [name for name, _ in table.when.items()], columns)
        return kind

    def check_columns(self, path: Path, named: list[str], columns: tuple[str, ...]) -> None:
        for name in named:
            if name not in columns and not isinstance(columns, Hole):
                what = f"{name!r} is not one of the columns {', '.join(columns)}."
                self.problems.note(path, what)

    def column(self, path: Path, table: ColumnTable | None, columns: tuple[str, ...]) -> Column:
        """Return ``wall = { mm = "wall_mm", in = "wall_in" }``, either unit or both."""
        if table is None:
            self.problems.note(path, "is missing; a table is required.")
            return Column("", "")
        if isinstance(table, Hole):
            return Column("", "")
        column = Column(table.mm or "", table.inches or "")
        if table.mm is None and table.inches is None:
            self.problems.note(path, "must name a column in mm, in inches, or one of each.")
        self.check_columns(path, [item for item in column if item], columns)
        return column

    def corners(self, path: Path, table: KindTable) -> Corners | None:
        """Return the radii of a standard, or those stated as multiples of the wall."""
        radii = table.corners
        if radii is None:
            self.problems.note(path, f"is missing; one of {', '.join(CORNERS)} is required.")
        if radii is None or isinstance(radii, Hole):
            return None
        if isinstance(radii, str):
            return CORNERS[radii]
        pair = (radii.outer, radii.inner)
        smallest = radii.smallest_outer
        return Corners((pair, pair, pair), (smallest, smallest, smallest))
