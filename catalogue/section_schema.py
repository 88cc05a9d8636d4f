"""The schemas of a site's own sections and of the index of curated section tables."""

from typing import Annotated, Literal

from pydantic import ConfigDict, Field

from .machine_schema import SchemaVersion
from .schema import Entry, Length, Table, Text
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


class IndexTable(Table):
    """Where a curated table is from, and what it was checked against."""

    # How its columns are read is the business of the reader of tables.
    model_config = ConfigDict(extra="ignore")

    file: Annotated[Text, Field(description="Its file.", examples=["asme_b36_10m.csv"])]
    title: Annotated[Text, Field(description="What it holds.")]
    standard: Annotated[Text, Field(description="Standard.", examples=["ASME B36.10M"])]
    edition: Annotated[Text, Field(description="Edition.", examples=["2004"])]
    obtained: Annotated[Text, Field(description="How it was obtained.")]
    checked: Annotated[Text, Field(description="What it was compared with, with what result.")]


class IndexFile(Table):
    """The curated section tables."""

    tables: dict[str, Entry[IndexTable]]
