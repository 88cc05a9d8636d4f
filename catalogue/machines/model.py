"""Machine models: the limits a builder states, and what the machine is made of.

One TOML file a model, read by :mod:`.reader`. Every limit has a rated value (works as delivered),
an absolute one (never beyond) and a basis (how the builder knows). A limit may be given as a
reference piece: as much as 6.5 m of NPS 5 SCH 40.
"""

import math
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Final, Literal, NamedTuple, cast, get_args

from ..files.schema import is_table
from ..tables.sections import Shape
from ..units.units import Dimension
from . import naming
from .schema import (
    ForceSetBy,
    JawHold,
    JawMotion,
    Limits,
    LimitTable,
    Turns,
)

RampKind = Literal["constant-time", "constant-acceleration"]
RAMPS: Final[tuple[RampKind, ...]] = get_args(RampKind)
JAW_MOTIONS: Final[tuple[JawMotion, ...]] = get_args(JawMotion)
JAW_HOLDS: Final[tuple[JawHold, ...]] = get_args(JawHold)
SHAPES: Final[tuple[Shape, ...]] = get_args(Shape)

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
    """The rotary drive. kg*m^2, rad/s, s or rad/s^2, N*m; lowest_override is a share.

    ``stop_torque`` and ``stop_time`` are of an emergency stop, NaN where not stated.
    """

    fixed_inertia: float
    rapid_speed: float
    ramp: RampKind
    ramp_time: float
    ramp_acceleration: float
    torque_available: float
    torque_friction: float
    lowest_override: float
    stop_torque: float = math.nan
    stop_time: float = math.nan

    @property
    def acceleration(self) -> float:
        """Acceleration of a full rapid ramp in rad/s^2."""
        if self.ramp == "constant-time":
            return self.rapid_speed / self.ramp_time
        return self.ramp_acceleration


class Chuck(NamedTuple):
    """The chuck: number of jaws, force of one jaw in N, friction, sizes in mm.

    ``jaw_motion`` says how the jaws move, ``jaw_hold`` what keeps them where they are,
    ``force_set_by`` what is set for their force, with ``force_scale`` N of one jaw for each bar or
    N*m of it; None or NaN where the builder has not stated it.
    """

    jaws: int
    jaw_force: float
    jaw_friction: float
    grip_length: float
    bore: float
    jaw_motion: JawMotion | None = None
    jaw_hold: JawHold | None = None
    lowest_jaw_force: float = math.nan
    force_set_by: ForceSetBy | None = None
    force_scale: float = math.nan


class Bed(NamedTuple):
    """The bed, mm from the chuck face.

    ``levelling`` is how far supports may be off in height once they are sighted, NaN where the
    builder has not stated it.
    """

    first_station: float
    last_station: float
    station_pitch: float
    stub: float
    rear_room: float
    lowest_centre: float
    highest_centre: float
    levelling: float = math.nan


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
    What is not there is NaN. ``give`` is how far it goes down under its rated load, mm, NaN where
    the builder has not stated it.

    ``turns`` says what it does while a square or rectangle turns, None where that is not stated;
    ``follow_force`` is in N, ``lowered_by`` in mm.
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
    give: float = math.nan
    turns: Turns | None = None
    follow_force: float = math.nan
    lowered_by: float = math.nan


class Accessory(NamedTuple):
    """Anything else the model has or can have."""

    code: str
    title: str
    standard: bool


USUAL_CATCH_MASS: Final = 5.0
"""kg that a bin under the cut takes where none is stated (common practice, no source)."""


class Handling(NamedTuple):
    """What stock is loaded with: lifting gear in kg, and persons; NaN where not stated.

    ``catch_mass`` is the mass of a part in kg that a bin under the cut takes.
    """

    lifting_gear: float
    persons: float
    catch_mass: float = math.nan

    @property
    def caught_mass(self) -> float:
        """Mass that a bin takes, as stated or as is usual."""
        return USUAL_CATCH_MASS if math.isnan(self.catch_mass) else self.catch_mass


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
        return naming.named(self.code, self.file)

    @property
    def release(self) -> str:
        """Which revision it is, in words; of a file, that nobody has released it."""
        return naming.release(self.revision, self.overlay_revision, self.file)

    def limit(self, name: str) -> Limit:
        """Return a limit, all NaN where the builder has not stated it."""
        return self.limits.get(name, UNSTATED)

    @property
    def stop_torque(self) -> float:
        """Torque that an emergency stop brakes with at the chuck, N*m; NaN where not stated.

        A stop time is that of stock of the rated inertia from full rapid. Stated in both ways,
        the harder stop counts.
        """
        rotary = self.rotary
        turning = rotary.fixed_inertia + self.limit("rotary_inertia").rated
        stated = (rotary.stop_torque, turning * rotary.rapid_speed / rotary.stop_time)
        return max((torque for torque in stated if math.isfinite(torque)), default=math.nan)

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
