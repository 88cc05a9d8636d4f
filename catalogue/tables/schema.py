"""The schemas of a site's own sections and of the index of curated section tables."""

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from ..files.schema import Entry, Length, Rows, Table, Text, Words
from ..machines.schema import SchemaVersion
from .sections import Shape


class OwnSectionTable(Table):
    """A section of the site's own: shape, sizes, standard and basis."""

    shape: Annotated[Shape, Field(description="Round, square or rectangular.")]
    outside_diameter: Annotated[
        Length | None, Field(description="Of a round.", examples=["210 mm"])
    ] = None
    height: Annotated[
        Length | None, Field(description="Of a square or rectangle.", examples=["100 mm"])
    ] = None
    width: Annotated[
        Length | None, Field(description="Of a square or rectangle.", examples=["50 mm"])
    ] = None
    wall: Annotated[Length, Field(description="Nominal wall.", examples=["8 mm"])]
    corners: Annotated[
        Literal["EN 10219-2", "EN 10210-2", "ASTM A500"] | None,
        Field(description="Whose corners a square or rectangle has."),
    ] = None
    standard: Annotated[Text, Field(description="Standard or drawing of its dimensions.")]
    basis: Annotated[Text, Field(description="How its sizes are known.")]


class OwnSectionFile(Table):
    """Sections of the site's own, by name, beside the curated tables."""

    schema_version: SchemaVersion
    sections: dict[str, Entry[OwnSectionTable]]


_Columns = Annotated[Words, Field(description="Columns of the file, in order.")]
_Column = Annotated[Text, Field(description="Column of the file.")]


class ColumnTable(Table):
    """Column of a size in millimetres, in inches, or one of each."""

    mm: _Column | None = None
    inches: Annotated[_Column | None, Field(alias="in")] = None


class RadiiTable(Table):
    """Corner radii as multiples of the wall."""

    outer: Annotated[float, Field(ge=0, le=4, description="Outside.")]
    inner: Annotated[float, Field(ge=0, le=4, description="Inside.")]
    smallest_outer: Annotated[float, Field(ge=0, le=4, description="Least outside permitted.")]


class RangeTable(Table):
    """Where a range shows a row."""

    family: Text
    size: Text
    wall: Text


CornersOf = Literal["EN 10219-2", "EN 10210-2", "ASTM A500"]
Role = Literal["", "pipe", "hss", "hollow", "round", "inch-tube", "metric-tube", "gauges"]
"""How typed text that is not written as printed finds a row.

``pipe`` by nominal size and schedule (columns nps, dn, schedule); ``hss`` by inches; ``hollow`` by
millimetres, hot or cold; ``round`` by outside and wall where no hollow section is; the tubes are
offered where a wall is missing; ``gauges`` is no section table. A table without a role is found
as it is printed.
"""


def _is_radii(value: Any) -> str:
    return "radii" if isinstance(value, dict | RadiiTable) else "standard"


_Corners = Annotated[
    Annotated[CornersOf, Tag("standard")] | Annotated[RadiiTable, Tag("radii")],
    Discriminator(_is_radii),
]


class KindTable(Table):
    """What the rows of a table are that have certain cells."""

    when: Annotated[
        dict[str, Entry[Annotated[tuple[str, ...], Field(strict=False)]]],
        Field(description="Cells that a row of this kind has, by column."),
    ] = Field(default_factory=dict)
    shape: Annotated[Shape, Field(description="Round, square or rectangular.")]
    outside: ColumnTable | None = None
    height: ColumnTable | None = None
    width: ColumnTable | None = None
    wall: ColumnTable
    corners: Annotated[
        _Corners | None, Field(description="Standard whose corners it has, or radii by wall.")
    ] = None
    designation: Annotated[Text, Field(description="How a row is written, with {column}.")]
    also_written: Annotated[Words, Field(description="Other ways to write it.")] = ()
    is_typed: Annotated[bool, Field(description="Whether it can be typed so.")] = True
    standard: Annotated[Text | None, Field(description="Where not the table's.")] = None
    note: Annotated[Text | None, Field(description="Said with the section.")] = None
    range: RangeTable | None = None


class IndexTable(Table):
    """A curated table: where it is from, what it was checked against, and what its rows are."""

    file: Annotated[Text, Field(description="Its file.", examples=["asme_b36_10m.csv"])]
    title: Annotated[Text, Field(description="What it holds.")]
    standard: Annotated[Text, Field(description="Standard.", examples=["ASME B36.10M"])]
    edition: Annotated[Text, Field(description="Edition.", examples=["2004"])]
    obtained: Annotated[Text, Field(description="How it was obtained.")]
    checked: Annotated[Text, Field(description="What it was compared with, with what result.")]
    columns: _Columns | None = None
    role: Annotated[Role, Field(description="How typed text finds a row.")] = ""
    finish: Annotated[Literal["", "hot", "cold"], Field(description="How it is formed.")] = ""
    unless_in: Annotated[
        Words, Field(description="Tables whose sizes are taken from there instead.")
    ] = ()
    sections: Rows[KindTable] = ()


class IndexFile(Table):
    """The curated section tables."""

    tables: dict[str, Entry[IndexTable]]
