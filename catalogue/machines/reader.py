"""Reading a machine file: its tables as the parts of a model, and what they mean together.

Loaded strictly: every problem of the file is told at once, by its dotted key.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final, TypeVar, cast

from ..designations.designations import read_section
from ..errors import CuttableError, OpenQuestion
from ..files.problems import Problems
from ..files.schema import LARGEST, Hole
from ..files.toml_lines import Path
from ..grades.grades import DEFAULT_GRADE, FAMILIES, Grade, find_grade
from ..tables.reader import SectionTables
from ..tables.sections import Section
from ..units.lengths import length, written_inches
from ..units.units import INERTIA, Dimension
from .model import (
    LIMITS,
    UNKNOWN_HANDLING,
    Accessory,
    Bed,
    Chuck,
    Cutting,
    Handling,
    Limit,
    MachineModel,
    Rotary,
    Support,
)
from .schema import (
    AnyLimit,
    BedTable,
    ChuckTable,
    HandlingTable,
    MachineFile,
    Piece,
    RotaryTable,
    SupportTable,
    TimedRamp,
)

UNREADABLE: Final = math.nan


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
        chuck=builder.chuck(file.chuck),
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
    return Handling(
        *(_stated(value) for value in (table.lifting_gear, table.persons, table.catch_mass))
    )


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
            stop_torque=_stated(table.stop_torque),
            stop_time=_stated(table.stop_time),
        )

    def chuck(self, table: ChuckTable) -> Chuck:
        if table.jaw_motion == "pairs" and table.jaws % 2:
            what = f"is 'pairs', but chuck.jaws is {table.jaws}, which makes no pairs."
            self.problems.note(("chuck", "jaw_motion"), what)
        if (table.force_set_by is None) != (table.force_scale is None):
            key = "force_scale" if table.force_scale is None else "force_set_by"
            what = "is missing: what is set, and the force of one jaw for each unit of it."
            self.problems.note(("chuck", key), what)
        return _as(Chuck, table)._replace(
            lowest_jaw_force=_stated(table.lowest_jaw_force), force_scale=_stated(table.force_scale)
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
            levelling=_stated(table.levelling),
        )

    def support(self, path: Path, table: SupportTable) -> Support:
        for key, turns in (("follow_force", "follows"), ("lowered_by", "lowered")):
            if table.turns == turns and getattr(table, key) is None:
                what = f"is missing: a rest that is {turns!r} states it."
                self.problems.note((*path, key), what)
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
            give=_stated(table.give),
            reaction=self.limit((*path, "reaction"), table.reaction),
            turns=table.turns,
            follow_force=_stated(table.follow_force),
            lowered_by=_stated(table.lowered_by),
        )
