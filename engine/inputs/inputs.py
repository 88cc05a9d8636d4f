"""Jobs and machines as columns: what every measure and condition reads.

A frame has one row for each pairing of a job with a machine. Numbers are float arrays in
canonical units with NaN for unknown; facts are small integer codes into the vocabulary. What
is the same for many rows is worked out once and spread.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise
from types import MappingProxyType
from typing import Final, NamedTuple

import numpy as np

from ...catalogue.grades.grades import Grade, MillRange, mill_range
from ...catalogue.machines.model import LIMITS, MachineModel
from ...catalogue.tables.sections import Section
from ...catalogue.units.units import FORCE, LENGTH, canonical
from ...rules.model import Lookup, RuleSet
from ..arrays import Bools, Codes, Floats
from ..jobs.job_table import Index, JobTable, Stock, part_total
from ..jobs.parse import Geometry
from ..statics.support_loads import (
    BY_WEIGHT,
    UNTROUBLED,
    Carrier,
    Keyed,
    Stocks,
    Usable,
    carry_many,
    parts_fitting,
    stock_numbers,
    stocks_of,
    usable_supports,
)
from .figures import MEASURED, Figures, StockFigures, figures_of, stock_figures_of

# Bending moment under one of n equal radial loads on a ring, / (F R): (1/2)(1/th - cot th)
# with th = pi/n (Timoshenko; Roark, from memory; n = 2 checked against Castigliano).
RING_MOMENT: Final = {n: 0.5 * (n / math.pi - 1 / math.tan(math.pi / n)) for n in range(2, 9)}

MANY: Final = 64
"""Rows from which stock that is not cut is planned for all its lengths at once."""

CARRIED_LIMITS: Final = ("limit.support_reaction.rated", "limit.support_reaction.absolute")
"""Limits that follow from the supports chosen."""


def _ring_deflection(jaws: int) -> float:
    half = math.pi / jaws
    return ((half + math.sin(half) * math.cos(half)) / math.sin(half) ** 2 - 2 / half) / 4


# Radial deflection at one of n equal radial loads on a ring, / (F R^3 / EI) (same source).
RING_DEFLECTION: Final = {n: _ring_deflection(n) for n in range(2, 9)}


NO_ROWS: Final[Index] = np.zeros(0, dtype=np.intp)


class Frame(NamedTuple):
    """Columns of equal length.

    Attributes:
        given: nominal inputs of measures by name.
        heavy: those that differ at the heavy end of the mill tolerance.
        facts: codes by fact name.
        numbers: limits and machine numbers by their vocabulary name.
        accessories: by accessory code, whether it is fitted.
        is_carried: rows whose supports were planned or judged; elsewhere the stock counts as
            carried without trouble.
        places, place: distinct tuples of stations, and which one a row has; -1 where not carried.
        stocks, stock: distinct stocks, and which one a row has.
        in_inches: by the name of a limit on a size, rows whose machine states it in inches;
            a limit that no machine of the frame states in inches is not there.
    """

    rows: int
    given: dict[str, Floats]
    heavy: dict[str, Floats]
    facts: dict[str, Codes]
    numbers: dict[str, Floats]
    accessories: dict[str, Bools]
    is_carried: Bools
    places: tuple[tuple[float, ...], ...] = ()
    place: Index | None = None
    stocks: tuple[Stock, ...] = ()
    stock: Index = NO_ROWS
    in_inches: Mapping[str, Bools] = MappingProxyType({})


def coating_mass(section: Section, coating: str, zinc: Lookup) -> float:
    """Return the mass of zinc in kg/m; 0 where the stock is not galvanised.

    ``zinc`` is the mass on one face by the wall, kg/m^2.
    """
    if coating != "galvanised":
        return 0.0
    return zinc.at(section.wall) * section.surface / 1000


@lru_cache(maxsize=65536)
def size_inputs(section: Section, grade: Grade, *, by_inches: bool = False) -> dict[str, float]:
    """Return the inputs that are sizes, mm; heavy ones as ``h.name``.

    ``by_inches`` takes the printed inches times 25.4 in place of the printed millimetres; the
    mill tolerance keeps its share of the size.
    """
    mill = mill_range(section, grade.product)
    thick = mill.thick_wall
    if by_inches:
        thick *= section.by_inches.wall / section.wall
        section = section.by_inches
    is_round = section.shape == "round"
    outside = section.height if is_round else math.nan
    swept = section.swept_diameter
    return {
        "round_size": outside,
        "h.round_size": outside * mill.size_ratio,
        "swept_size": swept,
        "h.swept_size": swept * mill.size_ratio,
        "nominal_wall": section.wall,
        "h.nominal_wall": thick,
        "inside_size": outside - 2 * section.wall,
    }


@lru_cache(maxsize=65536)
def _stock_inputs(
    section: Section, grade: Grade, coating: str, figures: StockFigures
) -> dict[str, float]:
    """Return inputs that depend on section, grade and coating only; heavy ones as ``h.name``."""
    mill: MillRange = mill_range(section, grade.product)
    area, polar = section.area, section.polar_moment
    bare = grade.density * area / 1e6
    is_round = section.shape == "round"
    straightness = mill.straightness
    if math.isnan(straightness):
        straightness = figures.straightness
    return size_inputs(section, grade) | {
        "bare_mass": bare,
        "h.bare_mass": bare * mill.mass_ratio,
        "coating_mass": coating_mass(section, coating, figures.zinc_mass),
        "gyration_squared": polar / area,
        "h.gyration_squared": polar / area * mill.gyration_ratio,
        "thin_wall_size": mill.thin_wall,
        "crush_wall": section.wall,
        "h.crush_wall": mill.thin_wall,
        "mean_radius": (section.height - section.wall) / 2 if is_round else math.nan,
        "grip_radius": min(section.height, section.width) / 2,
        "yield_strength": grade.yield_strength,
        "elasticity": grade.elasticity,
        "usual_bow_share": 0.0,
        "h.usual_bow_share": straightness,
        "straightness": straightness,
    }


def build_frame(
    table: JobTable, machines: Sequence[MachineModel], machine: Index, rule_set: RuleSet
) -> Frame:
    """Pair each row of a table with a machine; the stock counts as carried without trouble.

    Args:
        table: the jobs.
        machines: distinct machines.
        machine: for every row, the place of its machine among them.
        rule_set: for parameters and vocabulary.
    """
    rows, vocabulary = table.rows, rule_set.vocabulary
    given, heavy = _stock_columns(table, stock_figures_of(rule_set))
    given |= _job_columns(table)
    spread = _spreader(machine, rows, len(machines))
    columns = [_machine_numbers(item) for item in machines]
    names = columns[0] if columns else {}
    machine_columns = {name: spread([column[name] for column in columns]) for name in names}
    given |= {name: column for name, column in machine_columns.items() if "." not in name}
    numbers = {name: column for name, column in machine_columns.items() if "." in name}
    family = np.array(
        [vocabulary.facts["family"].values.index(item.grade.family) for item in table.stocks],
        dtype=np.int8,
    )[table.stock]
    for bound in ("rated", "absolute"):
        walls = np.array(
            [
                [
                    getattr(item.wall[name], bound) if name in item.wall else math.nan
                    for name in vocabulary.facts["family"].values
                ]
                for item in machines
            ]
        )
        numbers[f"limit.wall.{bound}"] = walls[machine, family]
    surface = rule_set.lookups["surface_friction"]
    most = np.array([surface.of(item.coating) for item in table.stocks])[table.stock]
    given["parts_fitting"] = np.array(
        [[parts_fitting(item, model) for item in table.geometries] for model in machines],
        dtype=np.float64,
    )[machine, table.geometry]
    clean = given["jaw_friction"]
    given["friction"] = np.where(np.isnan(most), clean, np.minimum(most, clean))
    grips = vocabulary.facts["grip"].values
    inside = table.facts["grip"] == grips.index("inside")
    given["grip_radius"] = np.where(inside, given["inside_size"] / 2, given["grip_radius"])
    given["reference_inertia"] = numbers["limit.rotary_inertia.rated"]
    numbers["material.yield_strength"] = given["yield_strength"]
    for name, parameter in rule_set.parameters.items():
        numbers[f"param.{name}"] = np.broadcast_to(parameter.value, rows)
    for name in MEASURED:
        given[name] = numbers[f"param.{name}"]
    for name, value in UNTROUBLED.items():
        given[name] = np.broadcast_to(value, rows)
    for bound in ("rated", "absolute"):
        numbers[f"limit.support_reaction.{bound}"] = given[f"reaction_{bound}"]
    fitted = [
        [item.fitted_as_delivered | (codes & item.offered.keys()) for codes in table.fittings]
        for item in machines
    ]
    accessories = {
        code: np.array([[code in codes for codes in row] for row in fitted], dtype=np.bool_)[
            machine, table.fitting
        ]
        for code in vocabulary.accessories
    }
    shapes = vocabulary.facts["shape"].values
    bow_given = vocabulary.facts["bow_given"].values
    ramps = vocabulary.facts["ramp"].values
    carried = vocabulary.facts["carried"].values
    usable, use = _usable(table, machines, machine, fitted, figures_of(rule_set))
    facts = table.facts | {
        "shape": np.array(
            [shapes.index(item.section.shape) for item in table.stocks], dtype=np.int8
        )[table.stock],
        "family": family,
        "ramp": np.array([ramps.index(item.rotary.ramp) for item in machines], dtype=np.int8)[
            machine
        ],
        "bow_given": np.where(
            np.isnan(table.bow), bow_given.index("no"), bow_given.index("yes")
        ).astype(np.int8),
        "carried": np.array(
            [carried.index("yes" if item.supports else "no") for item in usable], dtype=np.int8
        )[use],
        "seat": np.zeros(rows, dtype=np.int8),
    }
    return Frame(
        rows, given, heavy, facts, numbers, accessories, np.zeros(rows, dtype=np.bool_),
        stocks=table.stocks, stock=table.stock,
        in_inches=_in_inches(machines, machine, vocabulary.facts["family"].values, family),
    )  # fmt: skip


# Limits on sizes by their vocabulary name, and where a machine file states them.
_SIZE_LIMITS: Final = {
    f"limit.{name}.{bound}": f"limits.{name}.{bound}"
    for name in ("round_diameter", "swept_diameter", "inside_diameter")
    for bound in ("minimum", "rated", "absolute")
} | {"machine.bore": "chuck.bore"}


def _in_inches(
    machines: Sequence[MachineModel], machine: Index, families: Sequence[str], family: Codes
) -> dict[str, Bools]:
    """Return by limit the rows whose machine states it in inches; none where no machine does."""
    if not any(item.in_inches for item in machines):
        return {}
    found: dict[str, Bools] = {}
    for name, key in _SIZE_LIMITS.items():
        stated = np.array([key in item.in_inches for item in machines], dtype=np.bool_)
        if stated.any():
            found[name] = stated[machine]
    for bound in ("rated", "absolute"):
        stated = np.array(
            [
                [f"limits.wall.{name}.{bound}" in item.in_inches for name in families]
                for item in machines
            ],
            dtype=np.bool_,
        )
        if stated.any():
            found[f"limit.wall.{bound}"] = stated[machine, family]
    return found


def _spreader(machine: Index, rows: int, count: int) -> Callable[[Sequence[float]], Floats]:
    """Return how one number a machine becomes a column; one machine alone needs no copies."""

    def spread(values: Sequence[float]) -> Floats:
        if count == 1:
            return np.broadcast_to(np.float64(values[0]), rows)
        return np.array(values, dtype=np.float64)[machine]

    return spread


def _stock_columns(
    table: JobTable, figures: StockFigures
) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """Compute each distinct stock once and spread it over the rows."""
    inputs = [_stock_inputs(*stock, figures) for stock in table.stocks]
    given: dict[str, Floats] = {}
    heavy: dict[str, Floats] = {}
    for name in inputs[0] if inputs else ():
        column = np.array([item[name] for item in inputs], dtype=np.float64)[table.stock]
        if name.startswith("h."):
            heavy[name[2:]] = column
        else:
            given[name] = column
    return given, heavy


def carry_rows(
    frame: Frame,
    table: JobTable,
    machines: Sequence[MachineModel],
    machine: Index,
    rows: Index,
    rule_set: RuleSet,
) -> Frame:
    """Return the frame with the supports of some rows planned, or judged where given.

    Rows of one machine, geometry and choice of supports are planned together.
    """
    if not rows.size:
        return frame
    figures, vocabulary = figures_of(rule_set), rule_set.vocabulary
    zinc = rule_set.lookups["zinc_mass"]
    part = table.take(rows)
    machine = machine[rows]
    fitted = [
        [item.fitted_as_delivered | (codes & item.offered.keys()) for codes in table.fittings]
        for item in machines
    ]
    usable, use = _usable(part, machines, machine, fitted, figures)
    numbers = np.array(
        [
            stock_numbers(item.section, item.grade, coating_mass(item.section, item.coating, zinc))
            for item in table.stocks
        ]
    )
    stocks = stocks_of(numbers[part.stock])
    columns = {name: np.empty(len(rows)) for name in UNTROUBLED}
    seats = vocabulary.facts["seat"].values
    seat = np.zeros(len(rows), dtype=np.int8)
    places: dict[tuple[float, ...], int] = {}
    place: Index = np.full(frame.rows, -1, dtype=np.intp)
    into = (columns, seat, places, place, rows)
    left = _carry_whole(part, stocks, machines, (machine, use), usable, rule_set, into)
    key = (machine * len(table.geometries) + part.geometry) * len(usable) + use
    _, first, back = np.unique(key[left], return_index=True, return_inverse=True)
    order = left[np.argsort(back, kind="stable")]
    first = left[first]
    ends = np.cumsum(np.bincount(back, minlength=len(first)))
    for number, row in enumerate(first.tolist()):
        members = order[(ends[number - 1] if number else 0) : ends[number]]
        carrier = Carrier(
            machines[int(machine[row])],
            table.geometries[int(part.geometry[row])],
            usable[int(use[row])],
            figures,
        )
        carry = carrier.carry(stocks.take(members))
        for name, column in carry.columns.items():
            columns[name][members] = column
        codes = [seats.index(name) if name in seats else 0 for name in carry.seats]
        seat[members] = np.array(codes, dtype=np.int8)[carry.which]
        numbers_of = [places.setdefault(item.stations, len(places)) for item in carry.choices]
        place[rows[members]] = np.array(numbers_of, dtype=np.intp)[carry.which]
    given, heavy, limits = dict(frame.given), dict(frame.heavy), dict(frame.numbers)
    nominal = _nominal_share(frame, rows)
    for name, column in columns.items():
        full = np.array(given[name])
        if name in BY_WEIGHT:
            at_heavy = np.array(full)
            at_heavy[rows] = column
            heavy[name] = at_heavy
        full[rows] = column * nominal if name in BY_WEIGHT else column
        given[name] = full
    for bound in ("rated", "absolute"):
        limits[f"limit.support_reaction.{bound}"] = given[f"reaction_{bound}"]
    facts = dict(frame.facts)
    facts["seat"] = np.array(facts["seat"])
    facts["seat"][rows] = seat
    is_carried = frame.is_carried.copy()
    is_carried[rows] = True
    return frame._replace(
        given=given, heavy=heavy, numbers=limits, facts=facts, is_carried=is_carried,
        places=tuple(places), place=place,
    )  # fmt: skip


Into = tuple[dict[str, Floats], Codes, dict[tuple[float, ...], int], Index, Index]
"""Columns, seats, distinct stations, which ones a row has, and the rows of the frame."""


def _carry_whole(
    part: JobTable,
    stocks: Stocks,
    machines: Sequence[MachineModel],
    who: tuple[Index, Index],
    usable: Sequence[Usable],
    rule_set: RuleSet,
    into: Into,
) -> Index:
    """Plan stock that is not cut, of many lengths at once; return the rows that are left."""
    columns, seat, places, place, rows = into
    machine, use = who
    figures, seats = figures_of(rule_set), rule_set.vocabulary.facts["seat"].values
    is_whole = np.array(
        [not (g.parts or g.cuts or g.stations or g.behind) for g in part.geometries], dtype=np.bool_
    )[part.geometry]
    length = np.array([item.length for item in part.geometries])[part.geometry]
    is_left = np.ones(len(rows), dtype=np.bool_)
    kind = machine * len(usable) + use
    # Not numpy's unique: it imports masked arrays, a thirtieth of a cold start.
    kinds: list[int] = np.flatnonzero(np.bincount(kind[is_whole])).tolist()
    for number in kinds:
        mine = np.flatnonzero(is_whole & (kind == number))
        model, supports = machines[number // len(usable)], usable[number % len(usable)]
        if len(mine) < MANY:
            continue
        planned = carry_many(model, supports, figures, length[mine], stocks.take(mine))
        settled = mine[planned.is_settled]
        if not settled.size:
            continue
        is_left[settled] = False
        for name, column in planned.columns.items():
            columns[name][settled] = column
        # A seat is that of a support that is used; the chuck alone is no bad seat.
        codes = [0, seats.index(planned.seat)]
        used = np.array([bool(item) for item in planned.stations], dtype=np.intp)[planned.which]
        seat[settled] = np.array(codes, dtype=np.int8)[used]
        numbers = [places.setdefault(item, len(places)) for item in planned.stations]
        place[rows[settled]] = np.array(numbers, dtype=np.intp)[planned.which]
    return np.flatnonzero(is_left)


def _nominal_share(frame: Frame, rows: Index) -> Floats:
    """Return nominal / heavy mass per length of some rows."""
    zinc = frame.given["coating_mass"][rows]
    return (frame.given["bare_mass"][rows] + zinc) / (frame.heavy["bare_mass"][rows] + zinc)


def _usable(
    table: JobTable,
    machines: Sequence[MachineModel],
    machine: Index,
    fitted: Sequence[Sequence[frozenset[str]]],
    figures: Figures,
) -> tuple[tuple[Usable, ...], Index]:
    """Return the distinct choices of supports, and which one each row has."""
    shapes = [(item.section.shape, item.section.height) for item in table.stocks]
    kinds = {kind: number for number, kind in enumerate(dict.fromkeys(shapes))}
    kind_of = np.array([kinds[item] for item in shapes], dtype=np.intp)
    kind = list(kinds)
    key = (machine * len(table.fittings) + table.fitting) * len(kind) + kind_of[table.stock]
    values, back = np.unique(key, return_inverse=True)
    found: dict[Usable, int] = {}
    place: list[int] = []
    every: list[int] = values.tolist()
    for value in every:
        rest, which_kind = divmod(value, len(kind))
        which_machine, which_fitting = divmod(rest, len(table.fittings))
        usable = usable_supports(
            Keyed(machines[which_machine]),
            fitted[which_machine][which_fitting],
            *kind[which_kind],
            figures,
        )
        place.append(found.setdefault(usable, len(found)))
    return tuple(found), np.array(place, dtype=np.intp)[back]


def _job_columns(table: JobTable) -> dict[str, Floats]:
    geometries = table.geometries

    def spread(values: Sequence[float]) -> Floats:
        return np.array(values, dtype=np.float64)[table.geometry]

    return {
        "length": spread([item.length for item in geometries]),
        "behind": spread([item.behind for item in geometries]),
        "bow_stated": table.bow,
        "off_axis_mass": table.off_axis_mass,
        "off_axis_distance": table.off_axis_distance,
        "part_total": spread([part_total(item) for item in geometries]),
        "part_count": spread([sum(part.count for part in item.parts) for item in geometries]),
        "longest_part": spread([longest_part(item) for item in geometries]),
    }


def longest_part(geometry: Geometry) -> float:
    """Return the longest piece that comes free, NaN where no part or cut is known."""
    if not geometry.parts and not geometry.cuts:
        return math.nan
    pieces = [part.length for part in geometry.parts]
    ends = (geometry.front, *geometry.cuts)
    pieces += [outer - inner for outer, inner in pairwise(ends)]
    return max(pieces, default=math.nan)


_MACHINE: Final[dict[str, tuple[str, Callable[[MachineModel], float]]]] = {
    "torque_available": ("N*m", lambda model: model.rotary.torque_available),
    "torque_friction": ("N*m", lambda model: model.rotary.torque_friction),
    "lowest_override": ("1", lambda model: model.rotary.lowest_override),
    "ramp_acceleration": ("rad/s^2", lambda model: model.rotary.acceleration),
    "last_station": ("mm", lambda model: model.bed.last_station),
    "bore": ("mm", lambda model: model.chuck.bore),
    "rear_room": ("mm", lambda model: model.bed.rear_room),
    "lowest_centre": ("mm", lambda model: model.bed.lowest_centre),
    "highest_centre": ("mm", lambda model: model.bed.highest_centre),
    "lifting_gear": ("kg", lambda model: model.handling.lifting_gear),
    "persons": ("1", lambda model: model.handling.persons),
}
"""Unit and source of the numbers of a machine that rules may name."""

_BOUNDS: Final = ("minimum", "rated", "absolute")

NUMBERS: Final[dict[str, str]] = {
    **{
        f"limit.{name}.{bound}": canonical(dimension).name
        for name, (dimension, _) in LIMITS.items()
        for bound in _BOUNDS
    },
    **{
        f"limit.{name}.{bound}": canonical(dimension).name
        for name, dimension in (("wall", LENGTH), ("support_reaction", FORCE))
        for bound in ("rated", "absolute")
    },
    **{f"machine.{name}": unit for name, (unit, _) in _MACHINE.items()},
    "material.yield_strength": "MPa",
}
"""Unit by name of every number that a frame holds for rules, beside measures and parameters."""


def _machine_numbers(machine: MachineModel) -> dict[str, float]:
    rotary, chuck = machine.rotary, machine.chuck
    limits = {
        f"limit.{name}.{bound}": getattr(machine.limit(name), bound)
        for name in LIMITS
        for bound in _BOUNDS
    }
    return {
        **limits,
        **{f"machine.{name}": number(machine) for name, (_, number) in _MACHINE.items()},
        "swept_absolute": machine.limit("swept_diameter").absolute,
        "bow_absolute": machine.limit("bow").absolute,
        "fixed_inertia": rotary.fixed_inertia,
        "ramp": rotary.acceleration,
        "is_timed": float(rotary.ramp == "constant-time"),
        "torque_available": rotary.torque_available,
        "torque_friction": rotary.torque_friction,
        "jaws": float(chuck.jaws),
        "ring_moment": RING_MOMENT[chuck.jaws],
        "ring_deflection": RING_DEFLECTION[chuck.jaws],
        "jaw_force": chuck.jaw_force,
        "jaw_friction": chuck.jaw_friction,
        "grip_length": chuck.grip_length,
        "stub": machine.bed.stub,
        "kerf": machine.cutting.kerf,
        "trim": machine.cutting.trim,
    }
