"""Machine models: the limits a builder states, and what the machine is made of.

One TOML file a model, loaded strictly. Every limit has a rated value (works as delivered),
an absolute one (never beyond) and a basis (how the builder knows). A limit may be given as a
reference piece: as much as 6.5 m of NPS 5 SCH 40.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Final, Literal, NamedTuple, cast

from .designations import read_section
from .errors import CuttableError, OpenQuestion
from .grades import DEFAULT_GRADE, FAMILIES, Grade, find_grade
from .quantities import length, written_inches
from .reading import UNREADABLE, Reader
from .sections import Shape
from .tables import SectionTables
from .units import (
    ACCELERATION,
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    NUMBER,
    SPEED,
    TIME,
    TORQUE,
    Dimension,
)

SHAPES: Final[tuple[Shape, ...]] = ("round", "square", "rectangular")
RampKind = Literal["constant-time", "constant-acceleration"]
RAMPS: Final[tuple[RampKind, ...]] = ("constant-time", "constant-acceleration")

# Every limit a machine file may state: its dimension, and whether it has a minimum. A limit
# that is not stated is unknown, and unknown never passes: the rules say what follows.
LIMITS: Final[dict[str, tuple[Dimension, bool]]] = {
    "round_diameter": (LENGTH, True),
    "swept_diameter": (LENGTH, True),
    "inside_diameter": (LENGTH, True),
    "stock_length": (LENGTH, True),
    "stock_mass": (MASS, False),
    "rotary_inertia": (INERTIA, False),
    "chuck_reaction": (FORCE, False),
    "chuck_moment": (TORQUE, False),
    "support_span": (LENGTH, False),
    "overhang": (LENGTH, False),
    "sag": (LENGTH, False),
    "bow": (LENGTH, False),
}


class Limit(NamedTuple):
    """One limit: numbers in the canonical unit, NaN where not stated."""

    minimum: float
    rated: float
    absolute: float
    basis: str


UNSTATED: Final = Limit(math.nan, math.nan, math.nan, "")


class Rotary(NamedTuple):
    """The rotary drive. kg*m^2, rad/s, s or rad/s^2, N*m; lowest_override is a share."""

    fixed_inertia: float
    rapid_speed: float
    ramp: RampKind
    ramp_time: float
    ramp_acceleration: float
    torque_available: float
    torque_friction: float
    lowest_override: float

    @property
    def acceleration(self) -> float:
        """Acceleration of a full rapid ramp in rad/s^2."""
        if self.ramp == "constant-time":
            return self.rapid_speed / self.ramp_time
        return self.ramp_acceleration


class Chuck(NamedTuple):
    """The chuck: number of jaws, force of one jaw in N, friction, sizes in mm."""

    jaws: int
    jaw_force: float
    jaw_friction: float
    grip_length: float
    bore: float
    jaw_wobble: float


class Bed(NamedTuple):
    """The bed, mm from the chuck face."""

    first_station: float
    last_station: float
    station_pitch: float
    stub: float
    rear_room: float
    lowest_centre: float
    highest_centre: float


class Cutting(NamedTuple):
    """What a cut takes, mm."""

    kerf: float
    trim: float
    keep_clear: float


@dataclass(frozen=True)
class Support:
    """A kind of support the model has or can have.

    Its geometry is one of: two rollers (radius and spacing of their centres, mm), a V-cradle
    (angle between its sides, rad), a ring (bore, mm); or none of these, as a lifting rest.
    What is not there is NaN.
    """

    code: str
    title: str
    carries: tuple[Shape, ...]
    count: int
    standard: bool
    roller_radius: float
    roller_spacing: float
    vee_angle: float
    ring_bore: float
    reaction: Limit


class Accessory(NamedTuple):
    """Anything else the model has or can have."""

    code: str
    title: str
    standard: bool


class Handling(NamedTuple):
    """What stock is loaded with: lifting gear in kg, and persons; NaN where not stated."""

    lifting_gear: float
    persons: float


UNKNOWN_HANDLING: Final = Handling(math.nan, math.nan)


class MachineModel(NamedTuple):
    """A machine model at one revision.

    ``code`` is ``model@name`` where an overlay is laid over the model; ``overlay_revision`` is
    then its revision in the book, else 0. ``file`` is the path of a file that a person gave, whose
    limits nobody has released; else empty. ``in_inches`` are the dotted keys of limits on sizes
    that the file writes in inches; stock is compared with them by its printed inches.
    """

    code: str
    title: str
    builder: str
    revision: int
    digest: str
    limits: dict[str, Limit]
    wall: dict[str, Limit]
    rotary: Rotary
    chuck: Chuck
    bed: Bed
    cutting: Cutting
    supports: tuple[Support, ...]
    accessories: tuple[Accessory, ...]
    handling: Handling = UNKNOWN_HANDLING
    overlay_revision: int = 0
    file: str = ""
    in_inches: tuple[str, ...] = ()

    @property
    def named(self) -> str:
        """Its code, told apart from the released model of that code where it is from a file."""
        return f"{self.code} from {self.file}" if self.file else self.code

    @property
    def release(self) -> str:
        """Which revision it is, in words; of a file, that nobody has released it."""
        if self.file:
            return f"from the file {self.file}, not released"
        over = f", site revision {self.overlay_revision}" if self.overlay_revision else ""
        return f"revision {self.revision}{over}"

    def limit(self, name: str) -> Limit:
        """Return a limit, all NaN where the builder has not stated it."""
        return self.limits.get(name, UNSTATED)

    @property
    def offered(self) -> dict[str, str]:
        """Everything that can be fitted: title by code."""
        return {item.code: item.title for item in (*self.supports, *self.accessories)}

    @property
    def fitted_as_delivered(self) -> frozenset[str]:
        """Codes of what every machine of this model has."""
        return frozenset(item.code for item in (*self.supports, *self.accessories) if item.standard)

    def carried_shapes(self, fitted: frozenset[str]) -> frozenset[Shape]:
        """Return the shapes that can turn on the supports fitted."""
        return frozenset(
            shape for support in self.supports if support.code in fitted
            for shape in support.carries
        )  # fmt: skip


def read_machine(
    top: Reader, digest: str, tables: SectionTables, grades: dict[str, Grade]
) -> MachineModel:
    """Read one machine file.

    Raises:
        FileError: ``file-problems``, listing every problem with its dotted key.
    """
    schema = top.integer("schema", 1, 1)
    _ = schema
    code = top.text("model")
    if code and not code.replace("-", "").replace("_", "").isalnum():
        top.problem("model", "may hold letters, digits, hyphens and underscores only.")
    model = MachineModel(
        code=code,
        title=top.text("title"),
        builder=top.text("builder"),
        revision=top.integer("revision", 1, 1_000_000, default=1),
        digest=digest,
        limits=_limits(limits := top.table("limits"), tables, grades),
        wall=_wall_limits(limits),
        rotary=_rotary(top.table("rotary")),
        chuck=_chuck(top.table("chuck")),
        bed=_bed(top.table("bed")),
        cutting=_cutting(top.table("cutting")),
        supports=_supports(top),
        accessories=_accessories(top),
        handling=_handling(top.table("handling", optional=True)),
        in_inches=sizes_in_inches(top.data),
    )
    limits.done()
    top.done()
    codes = [item.code for item in (*model.supports, *model.accessories)]
    for twice in sorted({code for code in codes if codes.count(code) > 1}):
        top.problem("supports", f"the code {twice!r} is used more than once.")
    top.finish(f"machine file {code or 'without model'}".strip())
    return model


def sizes_in_inches(data: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the dotted keys of the limits on sizes that a machine file writes in inches, sorted.

    ``data`` is the file as parsed; what is no text there is passed over, and reported elsewhere.
    """
    names = ("round_diameter", "swept_diameter", "inside_diameter", "wall")
    limits = {name: _table(_table(data, "limits"), name) for name in names}
    texts = dict(_texts(limits, "limits")) | dict(
        _texts({"bore": _table(data, "chuck").get("bore")}, "chuck")
    )
    return tuple(sorted(key for key, text in texts.items() if written_inches(text) is not None))


def _table(data: Mapping[str, Any], name: str) -> dict[str, Any]:
    found = data.get(name)
    return cast("dict[str, Any]", found) if isinstance(found, dict) else {}


def _texts(value: Any, key: str) -> Iterator[tuple[str, str]]:
    """Yield every text in nested tables with its dotted key."""
    if isinstance(value, dict):
        for name, item in cast("dict[str, Any]", value).items():
            yield from _texts(item, f"{key}.{name}")
    elif isinstance(value, str) and not key.endswith(".basis"):
        yield key, value


def _limits(table: Reader, tables: SectionTables, grades: dict[str, Grade]) -> dict[str, Limit]:
    found: dict[str, Limit] = {}
    for name, (dimension, has_minimum) in LIMITS.items():
        if table.has(name):
            found[name] = _limit(
                table.table(name), dimension, has_minimum=has_minimum, piece=(tables, grades)
            )
    return found


def _wall_limits(table: Reader) -> dict[str, Limit]:
    if not table.has("wall"):
        return {}
    walls = table.table("wall")
    found: dict[str, Limit] = {}
    for family in FAMILIES:
        if walls.has(family):
            found[family] = _limit(walls.table(family), LENGTH, has_minimum=False)
    walls.done()
    return found


def _limit(
    table: Reader,
    dimension: Dimension,
    *,
    has_minimum: bool,
    piece: tuple[SectionTables, dict[str, Grade]] | None = None,
) -> Limit:
    def bound(name: str) -> float:
        if isinstance(table.data.get(name), dict) and piece and dimension in (INERTIA, MASS):
            return _reference_piece(table.table(name), dimension, *piece)
        return table.quantity(name, dimension)

    minimum = bound("minimum") if has_minimum and table.has("minimum") else UNREADABLE
    limit = Limit(minimum, bound("rated"), bound("absolute"), table.text("basis"))
    if limit.absolute < limit.rated:
        table.problem("absolute", "is below rated; absolute must be rated or more.")
    if limit.rated < limit.minimum:
        table.problem("rated", "is below minimum.")
    table.done()
    return limit


def _reference_piece(
    table: Reader, dimension: Dimension, tables: SectionTables, grades: dict[str, Grade]
) -> float:
    """Return inertia or mass of a piece named by section, length and grade."""
    texts = {name: table.text(name) for name in ("section", "length")}
    grade_name = table.text("grade", DEFAULT_GRADE)
    table.done()
    if not all(texts.values()):
        return UNREADABLE
    try:
        section = read_section(texts["section"], tables)
        grade = find_grade(grade_name, grades)
        piece_length = length(texts["length"])
    except CuttableError as fault:
        table.problem("", f"{fault.what}. {fault.remedy}".strip())
        return UNREADABLE
    except OpenQuestion as asked:
        choices = ", ".join(asked.question.choices[:6])
        table.problem("", f"{asked.question.text} Write one of: {choices}.")
        return UNREADABLE
    of_section = section.polar_moment / 1e12 if dimension == INERTIA else section.area / 1e6
    return grade.density * of_section * piece_length / 1e3


def _rotary(table: Reader) -> Rotary:
    ramp = table.table("ramp")
    kind = ramp.choice("kind", RAMPS)
    is_timed = kind == "constant-time"
    rotary = Rotary(
        fixed_inertia=table.quantity("fixed_inertia", INERTIA),
        rapid_speed=table.quantity("rapid_speed", SPEED),
        ramp=kind,
        ramp_time=ramp.quantity("time", TIME) if is_timed else UNREADABLE,
        ramp_acceleration=UNREADABLE if is_timed else ramp.quantity("acceleration", ACCELERATION),
        torque_available=table.quantity("torque_available", TORQUE),
        torque_friction=table.quantity("torque_friction", TORQUE, may_be_zero=True),
        lowest_override=table.number("lowest_override", 0.05, 1.0),
    )
    if rotary.torque_friction >= rotary.torque_available:
        table.problem("torque_friction", "leaves nothing of torque_available.")
    ramp.done()
    table.done()
    return rotary


def _chuck(table: Reader) -> Chuck:
    chuck = Chuck(
        jaws=table.integer("jaws", 2, 8),
        jaw_force=table.quantity("jaw_force", FORCE),
        jaw_friction=table.number("jaw_friction", 0.02, 1.0),
        grip_length=table.quantity("grip_length", LENGTH),
        bore=table.quantity("bore", LENGTH, may_be_zero=True),
        jaw_wobble=table.quantity("jaw_wobble", LENGTH, may_be_zero=True),
    )
    table.done()
    return chuck


def _bed(table: Reader) -> Bed:
    stations, centre = table.table("stations"), table.table("centre_height")
    bed = Bed(
        first_station=stations.quantity("first", LENGTH),
        last_station=stations.quantity("last", LENGTH),
        station_pitch=stations.quantity("pitch", LENGTH),
        stub=table.quantity("stub", LENGTH, may_be_zero=True),
        rear_room=table.quantity("rear_room", LENGTH, may_be_zero=True),
        lowest_centre=centre.quantity("minimum", LENGTH, may_be_zero=True),
        highest_centre=centre.quantity("maximum", LENGTH),
    )
    if bed.last_station < bed.first_station:
        stations.problem("last", "is before first.")
    if bed.highest_centre < bed.lowest_centre:
        centre.problem("maximum", "is below minimum.")
    for reader in (stations, centre, table):
        reader.done()
    return bed


def _cutting(table: Reader) -> Cutting:
    cutting = Cutting(
        kerf=table.quantity("kerf", LENGTH),
        trim=table.quantity("trim", LENGTH, may_be_zero=True),
        keep_clear=table.quantity("keep_clear", LENGTH, may_be_zero=True),
    )
    table.done()
    return cutting


def _handling(table: Reader) -> Handling:
    persons = table.integer("persons", 1, 20) if table.has("persons") else UNREADABLE
    handling = Handling(table.quantity("lifting_gear", MASS, optional=True), float(persons))
    table.done()
    return handling


def _supports(top: Reader) -> tuple[Support, ...]:
    supports: list[Support] = []
    for table in top.tables("supports"):
        shapes = table.texts("carries")
        for shape in shapes:
            if shape not in SHAPES:
                table.problem("carries", f"{shape!r} is not one of {', '.join(SHAPES)}.")
        supports.append(
            Support(
                code=table.text("code"),
                title=table.text("title"),
                carries=tuple(cast("list[Shape]", [s for s in shapes if s in SHAPES])),
                count=table.integer("count", 1, 100),
                standard=table.boolean("standard"),
                roller_radius=table.quantity("roller_radius", LENGTH, optional=True),
                roller_spacing=table.quantity("roller_spacing", LENGTH, optional=True),
                vee_angle=table.quantity("vee_angle", NUMBER, optional=True),
                ring_bore=table.quantity("ring_bore", LENGTH, optional=True),
                reaction=_limit(table.table("reaction"), FORCE, has_minimum=False),
            )
        )
        table.done()
    return tuple(supports)


def _accessories(top: Reader) -> tuple[Accessory, ...]:
    found: list[Accessory] = []
    for table in top.tables("accessories", optional=True):
        code, title = table.text("code"), table.text("title")
        found.append(Accessory(code, title, table.boolean("standard")))
        table.done()
    return tuple(found)


def describe(model: MachineModel) -> dict[str, Any]:
    """Return the model as plain data in canonical units, for JSON."""
    return cast("dict[str, Any]", _plain(model))


def _plain(value: Any) -> Any:
    """Return named tuples as tables, and None for numbers that are not there."""
    if hasattr(value, "_asdict"):
        value = value._asdict()
    elif is_dataclass(value):
        value = {item.name: getattr(value, item.name) for item in fields(value)}
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in cast("dict[str, Any]", value).items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in cast("list[Any]", value)]
    return None if isinstance(value, float) and not math.isfinite(value) else value
