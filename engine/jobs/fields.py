"""What of a job can be said: one declaration that every front is made from.

The options of commands, the form of the page, the columns of a backlog and the model of the API
follow from :data:`FIELDS`, in this order, which is also the order in which a job is read: the
first thing that cannot be read is what is told. How a kind is read stands in
:mod:`cuttable.engine.jobs.parse`.
"""

from collections.abc import Sequence
from typing import Annotated, Any, Final, Literal, NamedTuple

Kind = Literal[
    "section", "length", "grade", "part", "cut", "station", "bow", "off-axis", "fact", "accessory"
]

LENGTHS: Final[tuple[Kind, ...]] = ("length", "part", "cut", "station", "bow")
"""Kinds of lengths: a column of them may have the unit in its header."""


class Field(NamedTuple):
    """One thing that can be said of a job.

    Attributes:
        kind: how it is read.
        title: what it is called where it is asked for.
        help: a sentence for command line and API.
        example: as it may be typed.
        headers: what people call its column, folded to small letters and digits. Common
            practice, no source.
        option: its option of the command line; empty for what is given by its place.
        metavar: what stands for its value in help.
        what: what errors call it; else its name.
        hint: what the page adds below it.
        usual: the value of a fact where it is not stated.
        faults: error codes that come to light only when the job is read as a whole, and are its.
        is_of_stock: it describes stock of any length, cut or not.
        name: its name, as in :class:`JobText`, the API and backlogs.
        is_list: it may be given several times.
        is_required: there is no job without it.
    """

    kind: Kind
    title: str
    help: str
    example: str
    headers: str
    option: str = ""
    metavar: str = ""
    what: str = ""
    hint: str = ""
    usual: str = "not-stated"
    faults: tuple[str, ...] = ()
    is_of_stock: bool = False
    name: str = ""
    is_list: bool = False
    is_required: bool = False

    @property
    def is_length(self) -> bool:
        """Say whether it is a length, or several."""
        return self.kind in LENGTHS

    @property
    def called(self) -> str:
        """What errors call it."""
        return self.what or self.name


class JobText(NamedTuple):
    """A job as typed; None or, but for the grade, an empty text means not stated."""

    section: Annotated[str, Field(
        "section", "Section", "Section as the trade writes it.", "NPS 12 STD",
        "section size pipe tube profile od pipesize tubesize dimension dimensions designation "
        "sectionsize profil rohr querschnitt tuyau",
        metavar="SECTION", hint="As the trade writes it: NPS 12 STD, HSS 6x4x1/4, 168.3x7.11",
        is_of_stock=True,
    )]  # fmt: skip
    length: Annotated[str, Field(
        "length", "Stock length", "Stock length with its unit.", "40 ft",
        "length len stocklength stocklen barlength pipelength l lg laenge lange longueur",
        metavar="LENGTH", hint="With its unit: 40 ft, 12 m, 21'-6\"", faults=("length-range",),
    )]  # fmt: skip
    grade: Annotated[str | None, Field(
        "grade", "Grade", "Grade; without it the carbon steel the section is sold in.",
        "A106 B",
        "grade mat material steel spec werkstoff guete gute matiere nuance",
        option="--grade", metavar="GRADE", hint="May be left out",
        faults=("grade-unknown",),
        is_of_stock=True,
    )] = None  # fmt: skip
    parts: Annotated[Sequence[str], Field(
        "part", "Parts to cut", "A part to cut, and how many of it.", "1.2 m*3",
        "parts part cutlist pieceslist cutlengths nest teile pieceacouper",
        option="--part", metavar="LENGTH[*N]",
        hint="From the free end: 1.2 m*3. Several: one a line, or ; between",
    )] = ()  # fmt: skip
    cuts: Annotated[Sequence[str], Field(
        "cut", "Or cuts", "A cut, measured from the chuck face outward.", "2.5 m",
        "cuts cut cutpositions cutposition schnitte coupes",
        option="--cut", metavar="POSITION", what="cut position",
        hint="Positions from the chuck face outward", faults=("cuts-outside", "parts-and-cuts"),
    )] = ()  # fmt: skip
    stations: Annotated[Sequence[str], Field(
        "station", "Support stations",
        "A support station of your own, to be judged; without it they are planned.", "1.5 m",
        "stations station supports supportpositions",
        option="--station", metavar="POSITION", what="station",
        hint="To be judged; left out, they are planned", faults=("stations-bad",),
    )] = ()  # fmt: skip
    bow: Annotated[str, Field(
        "bow", "Measured bow", "Measured bow of the stock.", "8 mm",
        "bow straightness camber durchbiegung fleche",
        option="--bow", metavar="LENGTH", is_of_stock=True,
    )] = ""  # fmt: skip
    behind: Annotated[str, Field(
        "length", "Length behind the chuck",
        "Length that passes through the bore and stands behind the chuck face.", "2 m",
        "behind lengthbehind rear",
        option="--behind", metavar="LENGTH", what="length behind",
    )] = ""  # fmt: skip
    off_axis: Annotated[str, Field(
        "off-axis", "Flange or branch",
        "A flange, branch or clamp, with its width across the axis.",
        "12 kg @ 150 mm", "offaxis offaxismass eccentric flange",
        option="--off-axis", metavar="'MASS @ DISTANCE'",
        hint="Mass @ distance from the axis x width, or: blind flange 6 class 150",
    )] = ""  # fmt: skip
    ends: Annotated[str, Field(
        "fact", "Ends", "The ends: open, sealed, flanged or coupled.", "open", "ends end enden",
        option="--end", metavar="KIND", is_of_stock=True,
    )] = ""  # fmt: skip
    contents: Annotated[str, Field(
        "fact", "Contents", "What is in it: empty, unknown, flammable, residue or filled.",
        "empty", "contents content inhalt contenu",
        option="--contents", metavar="KIND", is_of_stock=True,
    )] = ""  # fmt: skip
    coating: Annotated[str, Field(
        "fact", "Coating",
        "What is on it: none, wet, oily, scaled, galvanised, painted, lined …", "galvanised",
        "coating coat surface finish beschichtung revetement",
        option="--coating", metavar="KIND", is_of_stock=True,
    )] = ""  # fmt: skip
    grip: Annotated[str, Field(
        "fact", "Jaws hold from", "Where the jaws hold: outside, or inside.", "inside",
        "grip clamping",
        option="--grip", metavar="KIND", usual="outside", is_of_stock=True,
    )] = ""  # fmt: skip
    fitted: Annotated[Sequence[str], Field(
        "accessory", "Fitted beyond the standard", "An accessory that is fitted.",
        "reversed-jaws", "fitted accessories accessory options zubehoer accessoires",
        option="--fitted", metavar="CODE", faults=("accessory-unknown",), is_of_stock=True,
    )] = ()  # fmt: skip


def fields_of(text: type[Any]) -> tuple[Field, ...]:
    """Return what is declared in a tuple of texts like :class:`JobText`, in its order."""
    usual: dict[str, Any] = text._field_defaults
    found: list[Field] = []
    for name, declared in text.__annotations__.items():
        (field,) = declared.__metadata__
        found.append(field._replace(
            name=name, is_list=usual.get(name) == (), is_required=name not in usual
        ))  # fmt: skip
    return tuple(found)


FIELDS: Final = fields_of(JobText)
"""Everything that can be said of a job, in the order in which it is read."""

OPTION_OF: Final = {field.name: field.option for field in FIELDS}
"""The option of each field on the command line, by its name."""
