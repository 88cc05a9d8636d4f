"""The schemas of grades, the curated ones and the site's own, and of mill tolerances."""

from typing import Annotated, Literal, NamedTuple

from pydantic import Field

from ..files.schema import (
    A_QUANTITY,
    UNITS,
    Density,
    Entry,
    Length,
    Number,
    Read,
    Rows,
    Stress,
    Table,
    Text,
    Words,
    read_quantity,
)
from ..machines.schema import SchemaVersion
from ..units.units import LENGTH, NUMBER, units_of

Family = Literal["carbon-steel", "stainless-steel", "aluminium"]


class GradeTable(Table):
    """A grade: what a metre weighs, how stiff it is, when it yields, which family cuts it."""

    family: Annotated[Family, Field(description="Material family: which wall limit holds.")]
    product: Annotated[
        Text, Field(description="Product standard of tolerances.toml.", examples=["ASTM A53"])
    ]
    density: Annotated[Density, Field(description="Density.", examples=["7850 kg/m^3"])]
    elasticity: Annotated[Stress, Field(description="Modulus of elasticity.", examples=["200 GPa"])]
    yield_strength: Annotated[
        Stress,
        Field(alias="yield", description="Least yield strength guaranteed.", examples=["240 MPa"]),
    ]
    source: Annotated[Text, Field(description="Where the numbers are from.")]
    status: Annotated[Text, Field(description="Seen, or from memory.", examples=["seen"])]
    aliases: Annotated[
        Words, Field(description="Other names of this very grade.", examples=[["1.4401"]])
    ]


class GradeFile(Table):
    """The curated grades, by name."""

    schema_version: SchemaVersion = 1
    grades: dict[str, Entry[GradeTable]]


class OwnGradeFile(Table):
    """Grades of the site's own, by name, beside the curated ones."""

    schema_version: SchemaVersion
    grades: dict[str, Entry[GradeTable]]


# --- mill tolerances ----------------------------------------------------------------------


class Deviation(NamedTuple):
    """A permitted deviation: a share of the size, or a length in mm; the other is 0."""

    share: float
    length: float


def _share_or_length(text: str) -> Deviation:
    """Return a deviation that is written with a percent sign or a unit of length."""
    is_share = "%" in text
    value = read_quantity(text, NUMBER if is_share else LENGTH)
    return Deviation(value, 0.0) if is_share else Deviation(0.0, value)


_Off = Annotated[
    Deviation,
    Read(_share_or_length, A_QUANTITY, {
        "pattern": r"[0-9]", "examples": ["1 %", "0.4 mm"], UNITS: ["%", *units_of(LENGTH)],
    }),
]  # fmt: skip


class BandTable(Table):
    """What is permitted up to a size; the first band that covers a section counts."""

    outside_up_to: Annotated[
        Length | None, Field(description="Up to this outside size.", examples=["48.3 mm"])
    ] = None
    wall_up_to: Annotated[
        Length | None, Field(description="Up to this wall.", examples=["5 mm"])
    ] = None
    ratio_up_to: Annotated[
        float | None, Field(ge=0, le=0.5, description="Up to this wall / outside size.")
    ] = None
    plus: Annotated[
        _Off | None, Field(description="Above nominal. Of a wall, left out: the mass decides.")
    ] = None
    minus: Annotated[_Off, Field(description="Below nominal.")]
    at_least: Annotated[
        Length | None, Field(description="Of a share, no less than this.", examples=["0.5 mm"])
    ] = None
    at_most: Annotated[
        Length | None, Field(description="Of a share, no more than this.", examples=["10 mm"])
    ] = None


class MassTable(Table):
    """Permitted deviation of the weighed mass."""

    plus: Annotated[Number, Field(description="Above nominal.", examples=["10 %"])]
    minus: Annotated[Number, Field(description="Below nominal.", examples=["3.5 %"])]


_Bands = Rows[BandTable]


class ProductTable(Table):
    """A product standard: how far a delivered piece may be off its nominal size."""

    source: Annotated[Text, Field(description="Where the numbers are from.")]
    status: Annotated[Text, Field(description="Seen, or from memory.", examples=["seen"])]
    size: Annotated[_Bands, Field(description="Of the outside, by size.")]
    size_shaped: Annotated[
        _Bands, Field(description="Of the sides of a square or rectangle, where they differ.")
    ] = ()
    wall: Annotated[_Bands, Field(description="Of the wall, by outside, wall or their ratio.")]
    wall_shaped: Annotated[
        _Bands, Field(description="Of the wall of a square or rectangle, where they differ.")
    ] = ()
    mass: Annotated[
        MassTable | None, Field(description="Left out: the heavy end follows from size and wall.")
    ] = None
    straightness: Annotated[
        Number | None, Field(description="Greatest bow / length.", examples=["0.2 %"])
    ] = None
    straightness_shaped: Annotated[
        Number | None,
        Field(description="Of a square or rectangle, where it differs.", examples=["0.15 %"]),
    ] = None
    seamless: Annotated[
        bool, Field(description="Whether it may be delivered seamless, with an eccentric wall.")
    ] = False


class ToleranceFile(Table):
    """Mill tolerances of the product standards, by name."""

    products: dict[str, Entry[ProductTable]]
