"""What a section table is made of, as its entry in ``tables/index.toml`` says.

A table is a CSV file and an entry: which column holds which size in which unit, of what shape
the rows are, how a row is written, and where ranges show it. Nothing of one table stands in
Python, so a table is added with data alone.
"""

from collections.abc import Callable, Mapping
from typing import Any, Final, cast

from .reading import Reader
from .sections import A500, COLD_FORMED, HOT_FINISHED, Corners, Shape
from .table_rows import FIELD, Column, Form, Kind

SHAPES: Final[tuple[Shape, ...]] = ("round", "square", "rectangular")
CORNERS: Final[dict[str, Corners]] = {
    "EN 10219-2": COLD_FORMED, "EN 10210-2": HOT_FINISHED, "ASTM A500": A500,
}  # fmt: skip
"""Corner radii of product standards; an entry may also give its own, as multiples of the wall."""

ROLES: Final = ("", "pipe", "hss", "hollow", "round", "inch-tube", "metric-tube", "gauges")
"""How typed text that is not written as printed finds a row.

``pipe`` by nominal size and schedule (columns nps, dn, schedule); ``hss`` by inches; ``hollow`` by
millimetres, hot or cold; ``round`` by outside and wall where no hollow section is; the tubes are
offered where a wall is missing; ``gauges`` is no section table. A table without a role is found
as it is printed.
"""


def is_described(entry: Mapping[str, Any]) -> bool:
    """Say whether an entry says what the columns are; it did not in the first form of an index."""
    return "columns" in entry


def read_forms(
    top: Reader, shipped: Callable[[], Mapping[str, Form]] | None = None
) -> dict[str, Form]:
    """Read the entries of an index of tables, in its order.

    An entry that says nothing of its columns is of an index kept before entries did: it has the
    ``shipped`` form of that name.

    Raises:
        FileError: ``file-problems``.
    """
    forms: dict[str, Form] = {}
    for name, table in top.table("tables").named_tables().items():
        if shipped is not None and not is_described(table.data):
            known = shipped().get(name)
            if known is None:
                table.problem("columns", "is missing; a list of the columns is required.")
            else:
                forms[name] = known
            continue
        forms[name] = _form(name, table)
    for form in forms.values():
        for other in form.unless_in:
            if other not in forms:
                top.problem(f"tables.{form.name}.unless_in", f"{other!r} is no table of the index.")
    top.finish("index of tables")
    return forms


def _form(name: str, table: Reader) -> Form:
    columns = tuple(table.texts("columns"))
    standard = table.text("standard")
    role = table.choice("role", ROLES, "")
    form = Form(
        name=name,
        file=table.text("file"),
        columns=columns,
        role=role,
        finish=table.choice("finish", ("", "hot", "cold"), ""),
        unless_in=tuple(table.texts("unless_in", ())),
        kinds=tuple(
            _kind(item, columns, standard)
            for item in table.tables("sections", optional=role == "gauges")
        ),
    )
    if role != "gauges" and not form.kinds and not table.problems:
        table.problem("sections", "is empty; at least one kind of section is required.")
    for text in ("title", "edition", "obtained", "checked"):
        table.text(text)
    table.done()
    return form


def _kind(table: Reader, columns: tuple[str, ...], standard: str) -> Kind:
    shape = table.choice("shape", SHAPES)
    is_round = shape == "round"
    names = ("outside", "wall") if is_round else ("height", "width", "wall")
    sizes = tuple(_column(table, name, columns) for name in names)
    forms = (table.text("designation"), *table.texts("also_written", ()))
    shown = table.table("range", optional=True)
    kind = Kind(
        when=_when(table, columns),
        shape=shape,
        sizes=sizes,
        corners=None if is_round else _corners(table),
        forms=forms,
        is_typed=table.boolean("is_typed") if table.has("is_typed") else True,
        standard=table.text("standard", standard),
        note=table.text("note", ""),
        family=shown.text("family") if shown.data else "",
        family_size=shown.text("size") if shown.data else "",
        family_wall=shown.text("wall") if shown.data else "",
        begins=tuple(" ".join(form.partition("{")[0].split()).casefold() for form in forms),
    )
    for key, text in (
        *(("designation", form) for form in forms), ("note", kind.note),
        ("range.size", kind.family_size), ("range.wall", kind.family_wall),
    ):  # fmt: skip
        _check_columns(table, key, [match[1] for match in FIELD.finditer(text)], columns)
    shown.done()
    table.done()
    return kind


def _check_columns(table: Reader, key: str, named: list[str], columns: tuple[str, ...]) -> None:
    for name in named:
        if name not in columns:
            table.problem(key, f"{name!r} is not one of the columns {', '.join(columns)}.")


def _column(table: Reader, name: str, columns: tuple[str, ...]) -> Column:
    """Read ``wall = { mm = "wall_mm", in = "wall_in" }``, either unit or both."""
    units = table.table(name)
    column = Column(units.text("mm", ""), units.text("in", ""))
    if isinstance(table.data.get(name), dict) and column == Column("", ""):
        table.problem(name, "must name a column in mm, in inches, or one of each.")
    _check_columns(table, name, [item for item in column if item], columns)
    units.done()
    return column


def _when(table: Reader, columns: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Read the cells that a row of this kind has; an empty text is an empty cell."""
    cells = table.table("when", optional=True)
    _check_columns(table, "when", list(cells.data), columns)
    found: dict[str, tuple[str, ...]] = {}
    for name, value in cells.data.items():
        items = cast("list[Any]", value) if isinstance(value, list) else [None]
        if not all(isinstance(item, str) for item in items):
            cells.problem(name, "must be a list of texts.")
        found[name] = tuple(str(item) for item in items)
    return found


def _corners(table: Reader) -> Corners:
    """Read a product standard whose radii hold, or radii as multiples of the wall."""
    if not isinstance(table.data.get("corners"), dict):
        return CORNERS[table.choice("corners", CORNERS)]
    radii = table.table("corners")
    outer, inner = radii.number("outer", 0, 4), radii.number("inner", 0, 4)
    smallest = radii.number("smallest_outer", 0, 4)
    radii.done()
    pair = (outer, inner)
    return Corners((pair, pair, pair), (smallest, smallest, smallest))
