"""Machine models: the limits a builder states, and what the machine is made of.

One TOML file a model, loaded strictly. Every limit has a rated value (works as delivered),
an absolute one (never beyond) and a basis (how the builder knows). A limit may be given as a
reference piece: as much as 6.5 m of NPS 5 SCH 40.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Final, Literal, NamedTuple, TypeVar, cast, get_args

from ..designations.designations import read_section
from ..errors import CuttableError, OpenQuestion
from ..files.problems import Problems
from ..files.schema import LARGEST, Hole, is_table
from ..files.toml_lines import Path
from ..grades.grades import DEFAULT_GRADE, FAMILIES, Grade, find_grade
from ..tables.reader import SectionTables
from ..tables.sections import Section, Shape
from ..units.lengths import length, written_inches
from ..units.units import INERTIA, Dimension
from .schema import (
    AnyLimit,
    BedTable,
    HandlingTable,
    Limits,
    LimitTable,
    MachineFile,
    Piece,
    RotaryTable,
    SupportTable,
    TimedRamp,
)

RampKind = Literal["constant-time", "constant-acceleration"]
RAMPS: Final[tuple[RampKind, ...]] = get_args(RampKind)
SHAPES: Final[tuple[Shape, ...]] = get_args(Shape)
UNREADABLE: Final = math.nan

LIMITS: Final[dict[str, tuple[Dimension, bool]]] = {
    name: (kind.dimension, "minimum" in kind.model_fields)
    for name, field in Limits.model_fields.items()
    for kind in getattr(field.annotation, "__args__", ())
    if is_table(kind) and issubclass(kind, LimitTable)
}
"""Every limit a machine file may state: its dimension, and whether it has a minimum."""


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
    then its revision in the ledger, else 0. ``file`` is the path of a file that a person gave,
    whose limits nobody has released; else empty. ``in_inches`` are the dotted keys of limits on
    sizes that the file writes in inches; stock is compared with them by its printed inches.
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
    data: dict[str, Any],
    problems: Problems,
    digest: str,
    tables: SectionTables,
    grades: dict[str, Grade],
) -> MachineModel:
    """Read the data of a machine file.

    Args:
        data: the parsed file.
        problems: knows the file; what is wrong is noted there.
        digest: what the model is known by.
        tables: sections of reference pieces.
        grades: their grades.

    Raises:
        FileError: ``file-problems``, listing every problem with its dotted key.
    """
    file = problems.read(MachineFile, data)
    builder = _Builder(problems, tables, grades)
    code = "" if isinstance(file.model, Hole) else file.model
    if code and not code.replace("-", "").replace("_", "").isalnum():
        problems.note(("model",), "may hold letters, digits, hyphens and underscores only.")
    walls = file.limits.wall or ()
    model = MachineModel(
        code=code,
        title=file.title,
        builder=file.builder,
        revision=file.revision,
        digest=digest,
        limits={
            name: builder.limit(("limits", name), limit)
            for name in LIMITS
            if (limit := getattr(file.limits, name)) is not None
        },
        wall={
            family: builder.limit(("limits", "wall", family), limit)
            for family in FAMILIES
            if walls and (limit := getattr(walls, family.replace("-", "_"))) is not None
        },
        rotary=builder.rotary(file.rotary),
        chuck=_as(Chuck, file.chuck),
        bed=builder.bed(file.bed),
        cutting=_as(Cutting, file.cutting),
        supports=tuple(
            builder.support(("supports", index), support)
            for index, support in enumerate(file.supports)
        ),
        accessories=tuple(_as(Accessory, item) for item in file.accessories),
        handling=_handling(file.handling),
        in_inches=sizes_in_inches(data),
    )
    codes = [item.code for item in (*model.supports, *model.accessories)]
    for twice in sorted({code for code in codes if code and codes.count(code) > 1}):
        problems.note(("supports",), f"the code {twice!r} is used more than once.")
    problems.finish(f"machine file {code or 'without model'}")
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


_Found = TypeVar("_Found")
_Part = TypeVar("_Part", Chuck, Cutting, Accessory)


def _as(kind: type[_Part], table: Any) -> _Part:
    """Return a table whose keys are the fields of a part."""
    return kind(*(getattr(table, name) for name in kind._fields))


def _handling(table: HandlingTable | None) -> Handling:
    if table is None:
        return UNKNOWN_HANDLING
    return Handling(*(_stated(value) for value in (table.lifting_gear, table.persons)))


def _stated(value: float | None) -> float:
    return UNREADABLE if value is None else float(value)


class _Builder:
    """Makes the parts of a model of their tables, and checks what values mean together."""

    def __init__(self, problems: Problems, tables: SectionTables, grades: dict[str, Grade]) -> None:
        self.problems, self.tables, self.grades = problems, tables, grades

    def limit(self, path: Path, table: AnyLimit) -> Limit:
        bounds: dict[str, float] = {}
        for name in ("minimum", "rated", "absolute"):
            value: Any = getattr(table, name, None)
            bounds[name] = (
                self.piece((*path, name), value, table.dimension)
                if isinstance(value, Piece)
                else _stated(value)
            )
        limit = Limit(**bounds, basis=table.basis)
        if limit.absolute < limit.rated:
            self.problems.note(
                (*path, "absolute"), "is below rated; absolute must be rated or more."
            )
        if limit.rated < limit.minimum:
            self.problems.note((*path, "rated"), "is below minimum.")
        return limit

    def piece(self, path: Path, piece: Piece, dimension: Dimension) -> float:
        """Return inertia or mass of a reference piece."""
        section = self.read((*path, "section"), piece.section, self._section)
        grade = self.read((*path, "grade"), piece.grade or DEFAULT_GRADE, self._grade)
        piece_length = self.read((*path, "length"), piece.length, length)
        if isinstance(piece.grade, Hole) or section is None or grade is None:
            return UNREADABLE
        if piece_length is None:
            return UNREADABLE
        of_section = section.polar_moment / 1e12 if dimension == INERTIA else section.area / 1e6
        found = grade.density * of_section * piece_length / 1e3
        if found < 1 / LARGEST:
            what = f"{piece.length!r} is too small to be real. Check the number and its unit."
            self.problems.note((*path, "length"), what)
        return found

    def _section(self, text: str) -> Section:
        return read_section(text, self.tables)

    def _grade(self, text: str) -> Grade:
        return find_grade(text, self.grades)

    def read(self, path: Path, text: str, reader: Callable[[str], _Found]) -> _Found | None:
        """Return what a reader of typed text finds; None where that is a problem."""
        if isinstance(text, Hole):
            return None
        try:
            return reader(text)
        except CuttableError as fault:
            self.problems.note(path, f"{fault.what}. {fault.remedy}".strip())
        except OpenQuestion as asked:
            choices = ", ".join(asked.question.choices[:6])
            self.problems.note(path, f"{asked.question.text} Write one of: {choices}.")
        return None

    def rotary(self, table: RotaryTable) -> Rotary:
        ramp = table.ramp
        is_timed = isinstance(ramp, TimedRamp)
        if table.torque_friction >= table.torque_available:
            self.problems.note(("rotary", "torque_friction"), "leaves nothing of torque_available.")
        return Rotary(
            fixed_inertia=table.fixed_inertia,
            rapid_speed=table.rapid_speed,
            ramp=ramp.kind,
            ramp_time=ramp.time if is_timed else UNREADABLE,
            ramp_acceleration=UNREADABLE if is_timed else ramp.acceleration,
            torque_available=table.torque_available,
            torque_friction=table.torque_friction,
            lowest_override=table.lowest_override,
        )

    def bed(self, table: BedTable) -> Bed:
        stations, centre = table.stations, table.centre_height
        if stations.last < stations.first:
            self.problems.note(("bed", "stations", "last"), "is before first.")
        if centre.maximum < centre.minimum:
            self.problems.note(("bed", "centre_height", "maximum"), "is below minimum.")
        return Bed(
            first_station=stations.first,
            last_station=stations.last,
            station_pitch=stations.pitch,
            stub=table.stub,
            rear_room=table.rear_room,
            lowest_centre=centre.minimum,
            highest_centre=centre.maximum,
        )

    def support(self, path: Path, table: SupportTable) -> Support:
        return Support(
            code=table.code,
            title=table.title,
            carries=table.carries,
            count=table.count,
            standard=table.standard,
            roller_radius=_stated(table.roller_radius),
            roller_spacing=_stated(table.roller_spacing),
            vee_angle=_stated(table.vee_angle),
            ring_bore=_stated(table.ring_bore),
            reaction=self.limit((*path, "reaction"), table.reaction),
        )


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
