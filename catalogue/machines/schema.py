"""The schema of a machine file, and of the file of a site that is laid over one.

Every key with what it means, its unit and an example: what editors show comes from here, and so
does what ``cuttable machines validate`` refuses. What values mean together is checked in
:mod:`~cuttable.catalogue.machines.reader`.

Long because every key of a machine file stands here, so that it is read in one place.
"""

from functools import cache
from typing import Annotated, Any, ClassVar, Final, Literal

from pydantic import Discriminator, Field, Tag, create_model

from ..files.schema import (
    Acceleration,
    Force,
    Inertia,
    Length,
    LengthOrNone,
    Mass,
    Number,
    Rows,
    Speed,
    Table,
    Text,
    Time,
    Torque,
    TorqueOrNone,
    Words,
    partial,
)
from ..tables.sections import Shape
from ..units.units import FORCE, INERTIA, LENGTH, MASS, TORQUE, Dimension

SchemaVersion = Annotated[
    int, Field(alias="schema", ge=1, le=1, description="Version of the form of this file: 1.")
]
Code = Annotated[str, Field(examples=["roller-pair"])]
JawMotion = Literal["together", "pairs", "independent"]
JawHold = Literal["locks", "pressure"]
ForceSetBy = Literal["pressure", "key-torque"]
Turns = Literal["with-section", "follows", "lowered"]
GONE: Final = "Nothing reads it any more. It may stay in the file."

# --- limits -------------------------------------------------------------------------------

_RATED: Final = "Works as delivered up to here."
_ABSOLUTE: Final = "Never beyond. Between rated and absolute only with conditions."
_MINIMUM: Final = "The least that works."
_BASIS: Final = "How the builder knows: a drawing, a calculation, a test."

Basis = Annotated[Text, Field(description=_BASIS, examples=["bearing rating"])]


class Piece(Table):
    """A limit given as a reference piece: as much as this piece has."""

    section: Annotated[Text, Field(description="Its section.", examples=["NPS 5 SCH 40"])]
    length: Annotated[Text, Field(description="Its length.", examples=["6.5 m", "21 ft"])]
    grade: Annotated[
        Text | None,
        Field(description="Its grade; ASTM A53 B where none is named.", examples=["ASTM A106 B"]),
    ] = None


def _is_piece(value: Any) -> str:
    return "piece" if isinstance(value, dict | Piece) else "text"


_MassOrPiece = Annotated[
    Annotated[Mass, Tag("text")] | Annotated[Piece, Tag("piece")], Discriminator(_is_piece)
]
_InertiaOrPiece = Annotated[
    Annotated[Inertia, Tag("text")] | Annotated[Piece, Tag("piece")], Discriminator(_is_piece)
]


class LimitTable(Table):
    """A limit of some dimension: what it rates, and how the builder knows."""

    dimension: ClassVar[Dimension]


class SizeLimit(LimitTable):
    """A limit of a size with a least value too."""

    dimension = LENGTH
    minimum: Annotated[Length | None, Field(description=_MINIMUM, examples=["26 mm"])] = None
    rated: Annotated[Length, Field(description=_RATED, examples=["150 mm", "6 in"])]
    absolute: Annotated[Length, Field(description=_ABSOLUTE, examples=["205 mm"])]
    basis: Basis


class LengthLimit(LimitTable):
    """A limit of a length."""

    dimension = LENGTH
    rated: Annotated[Length, Field(description=_RATED, examples=["2.4 m"])]
    absolute: Annotated[Length, Field(description=_ABSOLUTE, examples=["3 m"])]
    basis: Basis


class MassLimit(LimitTable):
    """A limit of mass: a mass, or a reference piece."""

    dimension = MASS
    rated: Annotated[_MassOrPiece, Field(description=_RATED, examples=["280 kg"])]
    absolute: Annotated[_MassOrPiece, Field(description=_ABSOLUTE, examples=["330 kg"])]
    basis: Basis


class InertiaLimit(LimitTable):
    """A limit of rotary inertia: an inertia, or a reference piece."""

    dimension = INERTIA
    rated: Annotated[_InertiaOrPiece, Field(description=_RATED, examples=[
        {"section": "NPS 5 SCH 40", "length": "6.5 m", "grade": "ASTM A53 B"}, "0.64 kg*m^2",
    ])]  # fmt: skip
    absolute: Annotated[_InertiaOrPiece, Field(description=_ABSOLUTE, examples=["1.1 kg*m^2"])]
    basis: Basis


class ForceLimit(LimitTable):
    """A limit of a force."""

    dimension = FORCE
    rated: Annotated[Force, Field(description=_RATED, examples=["2.1 kN"])]
    absolute: Annotated[Force, Field(description=_ABSOLUTE, examples=["2.6 kN"])]
    basis: Basis


class MomentLimit(LimitTable):
    """A limit of a bending moment."""

    dimension = TORQUE
    rated: Annotated[Torque, Field(description=_RATED, examples=["0.9 kN*m"])]
    absolute: Annotated[Torque, Field(description=_ABSOLUTE, examples=["1.2 kN*m"])]
    basis: Basis


AnyLimit = SizeLimit | LengthLimit | MassLimit | InertiaLimit | ForceLimit | MomentLimit


class WallLimits(Table):
    """What wall can be cut, by material family. Rated: pierced anywhere. Absolute: cut from an
    edge.
    """  # noqa: D205 - one sentence too long for a line

    carbon_steel: Annotated[LengthLimit | None, Field(alias="carbon-steel")] = None
    stainless_steel: Annotated[LengthLimit | None, Field(alias="stainless-steel")] = None
    aluminium: LengthLimit | None = None


class Limits(Table):
    """What the machine takes. A limit that is not stated is unknown, and unknown never passes."""

    round_diameter: Annotated[
        SizeLimit | None, Field(description="Outside diameter of round stock.")
    ] = None
    swept_diameter: Annotated[
        SizeLimit | None, Field(description="Circle that stock of another shape sweeps.")
    ] = None
    inside_diameter: Annotated[
        SizeLimit | None, Field(description="Inside diameter that jaws can grip from within.")
    ] = None
    stock_length: Annotated[SizeLimit | None, Field(description="Length of the stock.")] = None
    stock_mass: Annotated[MassLimit | None, Field(description="Mass of the stock.")] = None
    rotary_inertia: Annotated[
        InertiaLimit | None, Field(description="Inertia of the stock about the axis of turning.")
    ] = None
    chuck_reaction: Annotated[
        ForceLimit | None, Field(description="Force of the stock on the chuck, across its axis.")
    ] = None
    chuck_moment: Annotated[
        MomentLimit | None, Field(description="Bending moment of the stock at the chuck.")
    ] = None
    support_span: Annotated[
        LengthLimit | None, Field(description="From one support to the next.")
    ] = None
    overhang: Annotated[
        LengthLimit | None, Field(description="From the last support to the free end.")
    ] = None
    sag: Annotated[LengthLimit | None, Field(description="Sag of the stock.")] = None
    bow: Annotated[LengthLimit | None, Field(description="Bow of the stock.")] = None
    wall: WallLimits | None = None


# --- what the machine is made of ----------------------------------------------------------


class TimedRamp(Table):
    """A full rapid ramp takes the same time whatever the speed."""

    kind: Literal["constant-time"]
    time: Annotated[Time, Field(description="Time to full rapid speed.", examples=["0.6 s"])]


class AcceleratedRamp(Table):
    """A rapid ramp has the same acceleration whatever the speed."""

    kind: Literal["constant-acceleration"]
    acceleration: Annotated[
        Acceleration, Field(description="Acceleration of a rapid ramp.", examples=["8 rad/s^2"])
    ]


def _ramp_kind(value: Any) -> Any:
    # Told by a function: the library's own way wants a key that no hole can stand in for.
    return value.get("kind") if isinstance(value, dict) else getattr(value, "kind", None)  # pyright: ignore[reportUnknownMemberType, reportUnknownVariableType]


class RotaryTable(Table):
    """The rotary drive."""

    fixed_inertia: Annotated[
        Inertia, Field(description="Of chuck and spindle, at the chuck.", examples=["0.6 kg*m^2"])
    ]
    rapid_speed: Annotated[Speed, Field(description="Full rapid speed.", examples=["45 rpm"])]
    ramp: Annotated[
        Annotated[TimedRamp, Tag("constant-time")]
        | Annotated[AcceleratedRamp, Tag("constant-acceleration")],
        Discriminator(_ramp_kind),
        Field(description="How it speeds up and slows down."),
    ]
    torque_available: Annotated[
        Torque, Field(description="Torque the drive has at the chuck.", examples=["30 N*m"])
    ]
    torque_friction: Annotated[
        TorqueOrNone, Field(description="Of it, what friction takes.", examples=["4 N*m"])
    ]
    lowest_override: Annotated[
        float,
        Field(
            ge=0.05, le=1.0, description="Lowest rapid override that runs evenly, as a share.",
            examples=[0.25],
        ),
    ]  # fmt: skip
    stop_torque: Annotated[
        Torque | None,
        Field(
            description="Torque that an emergency stop brakes with, at the chuck. Neither it nor "
            "stop_time stated: whether jaws and tabs hold in such a stop is not assessed.",
            examples=["60 N*m"],
        ),
    ] = None
    stop_time: Annotated[
        Time | None,
        Field(
            description="Time of an emergency stop from full rapid with stock of the rated "
            "inertia. Stated beside stop_torque, the harder stop counts.",
            examples=["0.4 s"],
        ),
    ] = None


class ChuckTable(Table):
    """The chuck."""

    jaws: Annotated[int, Field(ge=2, le=8, description="How many jaws.", examples=[3])]
    jaw_force: Annotated[Force, Field(description="Force of one jaw.", examples=["4.2 kN"])]
    jaw_friction: Annotated[
        float, Field(ge=0.02, le=1.0, description="Friction of jaws on stock.", examples=[0.2])
    ]
    grip_length: Annotated[
        Length, Field(description="Length of stock within the jaws.", examples=["65 mm"])
    ]
    bore: Annotated[
        LengthOrNone, Field(description="Bore that stock can pass through.", examples=["160 mm"])
    ]
    jaw_motion: Annotated[
        JawMotion | None,
        Field(
            description="How its jaws move: all together, in pairs that move by themselves, each "
            "by itself. Not stated: whether they hold a rectangle is not assessed.",
            examples=["together"],
        ),
    ] = None
    jaw_hold: Annotated[
        JawHold | None,
        Field(
            description="What keeps the jaws where they are: they lock themselves (key, scroll, "
            "wedge), or pressure presses them and gives way. Not stated: whether they hold the "
            "moment of stock that the chuck carries alone is not assessed.",
            examples=["locks"],
        ),
    ] = None
    lowest_jaw_force: Annotated[
        Force | None,
        Field(description="Least force of one jaw that can be set.", examples=["500 N"]),
    ] = None
    force_set_by: Annotated[
        ForceSetBy | None,
        Field(description="What the operator sets for the jaw force.", examples=["key-torque"]),
    ] = None
    force_scale: Annotated[
        float | None,
        Field(
            gt=0,
            description="Force of one jaw, N, for each bar of pressure or N*m of key torque.",
            examples=[60.0],
        ),
    ] = None
    jaw_wobble: Annotated[Any, Field(deprecated=GONE, description=GONE)] = None


class Stations(Table):
    """Where supports can stand: every pitch from first to last, from the chuck face."""

    first: Annotated[Length, Field(description="Nearest to the chuck.", examples=["600 mm"])]
    last: Annotated[Length, Field(description="Farthest from the chuck.", examples=["6300 mm"])]
    pitch: Annotated[Length, Field(description="From one to the next.", examples=["150 mm"])]


class CentreHeight(Table):
    """How high above the supports the axis of turning can be."""

    minimum: Annotated[LengthOrNone, Field(description="Lowest.", examples=["20 mm"])]
    maximum: Annotated[Length, Field(description="Highest.", examples=["190 mm"])]


class BedTable(Table):
    """The bed."""

    stations: Stations
    stub: Annotated[
        LengthOrNone, Field(description="Stock at the chuck that no part is cut from.",
                            examples=["150 mm"]),
    ]  # fmt: skip
    rear_room: Annotated[
        LengthOrNone, Field(description="Guarded room behind the chuck.", examples=["2.5 m"])
    ]
    centre_height: CentreHeight
    levelling: Annotated[
        Length | None,
        Field(
            description="How far a support may be off in height once it is sighted. Not stated: "
            "0.5 mm (common practice, no source).",
            examples=["0.5 mm"],
        ),
    ] = None


class CuttingTable(Table):
    """What a cut takes."""

    kerf: Annotated[Length, Field(description="Width of a cut.", examples=["2.2 mm"])]
    trim: Annotated[
        LengthOrNone, Field(description="Cut off the free end first.", examples=["25 mm"])
    ]
    keep_clear: Annotated[
        LengthOrNone, Field(description="From a cut to the nearest support.", examples=["120 mm"])
    ]


class SupportTable(Table):
    """A kind of support that the machine has or can have: rollers, a V-cradle, a ring, a rest."""

    code: Annotated[Text, Field(description="Its code.", examples=["roller-pair"])]
    title: Annotated[Text, Field(description="Its name.", examples=["Roller pair"])]
    carries: Annotated[
        tuple[Shape, ...],
        Field(strict=False, description="Shapes that turn on it.", examples=[["round"]]),
    ]
    count: Annotated[int, Field(ge=1, le=100, description="How many there are.", examples=[3])]
    standard: Annotated[bool, Field(description="Whether every machine of the model has it.")]
    roller_radius: Annotated[
        Length | None, Field(description="Radius of a roller.", examples=["38 mm"])
    ] = None
    roller_spacing: Annotated[
        Length | None, Field(description="Between the centres of two rollers.", examples=["120 mm"])
    ] = None
    vee_angle: Annotated[
        Number | None, Field(description="Between the sides of a V-cradle.", examples=["90 deg"])
    ] = None
    ring_bore: Annotated[
        Length | None, Field(description="Bore of a ring.", examples=["180 mm"])
    ] = None
    reaction: Annotated[ForceLimit, Field(description="Force that one of them carries.")]
    give: Annotated[
        LengthOrNone | None,
        Field(
            description="How far it goes down under its rated load. Not stated: 0.4 mm (common "
            "practice, no source).",
            examples=["0.4 mm"],
        ),
    ] = None
    turns: Annotated[
        Turns | None,
        Field(
            description="What it does while a square or rectangle turns: it turns with the section "
            "and carries it, it follows the profile with a stated force, or it is lowered and "
            "carries nothing. Not stated: it is taken to carry, and that is not assessed.",
            examples=["follows"],
        ),
    ] = None
    follow_force: Annotated[
        Force | None,
        Field(description="Force up to which it carries as it follows.", examples=["4 kN"]),
    ] = None
    lowered_by: Annotated[
        Length | None,
        Field(description="How far it is lowered before the section turns.", examples=["80 mm"]),
    ] = None


class AccessoryTable(Table):
    """Anything else that the machine has or can have."""

    code: Annotated[Text, Field(description="Its code.", examples=["reversed-jaws"])]
    title: Annotated[Text, Field(description="Its name.")]
    standard: Annotated[bool, Field(description="Whether every machine of the model has it.")]


class HandlingTable(Table):
    """What stock is loaded with."""

    lifting_gear: Annotated[
        Mass | None, Field(description="What the lifting gear is for.", examples=["1 t"])
    ] = None
    persons: Annotated[
        int | None, Field(ge=1, le=20, description="Who load by hand.", examples=[2])
    ] = None
    catch_mass: Annotated[
        Mass | None,
        Field(
            description="Of a part that may fall into a bin under the cut if it is shorter than "
            "two diameters. Not stated: 5 kg.",
            examples=["5 kg"],
        ),
    ] = None


Supports = Annotated[Rows[SupportTable], Field(description="Kinds of support, one item each.")]
Accessories = Annotated[Rows[AccessoryTable], Field(description="What else can be fitted.")]


class MachineFile(Table):
    """A machine model: the limits its builder states, and what it is made of."""

    schema_version: SchemaVersion
    model: Annotated[Text, Field(description="Code of the model.", examples=["rowan-150"])]
    title: Annotated[Text, Field(description="What it is called.")]
    builder: Annotated[Text, Field(description="Who builds it.")]
    revision: Annotated[
        int, Field(ge=1, le=1_000_000, description="Of the file, outside a ledger of limits.")
    ] = 1
    limits: Limits
    rotary: RotaryTable
    chuck: ChuckTable
    bed: BedTable
    cutting: CuttingTable
    supports: Supports
    accessories: Accessories = ()
    handling: HandlingTable | None = None


# --- what differs at a site ---------------------------------------------------------------

_OWN_BASIS: Final = frozenset({"basis"})
"""What is stated anew rests on something else than the model's."""

_BY_CODE: Final = frozenset({"code"}) | _OWN_BASIS


class SiteHead(Table):
    """What differs at one site, or of one machine: laid over the file of its model.

    Tables state only what differs; a limit that is stated anew has a basis of its own.
    """

    schema_version: SchemaVersion
    model: Annotated[Text, Field(description="Model it is laid over.", examples=["rowan-150"])]
    overlay: Annotated[
        Text, Field(description="Name of the site or serial number.", examples=["hall-2"])
    ]
    title: Annotated[Text, Field(description="What stands behind the model's title.")]
    fitted: Annotated[
        Words, Field(description="Codes of what is fitted.", examples=[["reversed-jaws"]])
    ] = ()
    removed: Annotated[
        Words, Field(description="Codes of what is taken off.", examples=[["vee-cradle"]])
    ] = ()


CHANGES: Final[dict[str, type[Table]]] = {
    "limits": Limits, "rotary": RotaryTable, "chuck": ChuckTable, "bed": BedTable,
    "cutting": CuttingTable, "handling": HandlingTable,
}  # fmt: skip
"""Tables of a machine file that a site's file may state in part."""

LISTS: Final[dict[str, type[Table]]] = {"supports": SupportTable, "accessories": AccessoryTable}
"""Arrays of tables, whose items go by their code."""


@cache
def site_file() -> type[SiteHead]:
    """Return the schema of a site's file; made on first use, for most questions need none."""
    fields: dict[str, Any] = {
        name: (partial(table, keep=_OWN_BASIS), None) for name, table in CHANGES.items()
    }
    fields |= {
        name: (Rows[partial(table, keep=_BY_CODE)], ())  # pyright: ignore[reportInvalidTypeForm]
        for name, table in LISTS.items()
    }
    return create_model("SiteFile", __base__=SiteHead, __doc__=SiteHead.__doc__, **fields)
