"""Jobs and machines as columns: what every measure and condition reads.

A frame has one row for each pairing of a job with a machine. Numbers are float arrays in
canonical units with NaN for unknown; facts are small integer codes into the vocabulary.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from ..catalogue.grades import Grade, MillRange, mill_range
from ..catalogue.machines import MachineModel
from ..catalogue.sections import Section
from ..rules.model import RuleSet
from .arrays import Bools, Codes, Floats
from .job import Job
from .layout import BY_WEIGHT, UNTROUBLED, Figures, SetUp, set_up

# Common practice, no source: straightness taken where the product standard names none.
USUAL_STRAIGHTNESS = 0.002

# Friction of jaws on a surface that is not clean and dry. Common practice, no source.
POOR_FRICTION = 0.10
POOR_SURFACES = frozenset({"wet", "oily", "scaled", "galvanised", "painted", "lead-free-paint"})

# Mean zinc coating on each face, kg/m2, by wall (ISO 1461, from memory: 45, 55, 70, 85 um).
_ZINC = ((1.5, 0.325), (3.0, 0.395), (6.0, 0.505), (math.inf, 0.610))

# Bending moment under one of n equal radial loads on a ring, / (F R): (1/2)(1/th - cot th)
# with th = pi/n (Timoshenko; Roark, from memory; n = 2 checked against Castigliano).
RING_MOMENT = {n: 0.5 * (n / math.pi - 1 / math.tan(math.pi / n)) for n in range(2, 9)}


def _ring_deflection(jaws: int) -> float:
    half = math.pi / jaws
    return ((half + math.sin(half) * math.cos(half)) / math.sin(half) ** 2 - 2 / half) / 4


# Radial deflection at one of n equal radial loads on a ring, / (F R^3 / EI) (same source).
RING_DEFLECTION = {n: _ring_deflection(n) for n in range(2, 9)}


class Frame(NamedTuple):
    """Columns of equal length.

    Attributes:
        given: nominal inputs of measures by name.
        heavy: those that differ at the heavy end of the mill tolerance.
        facts: codes by fact name.
        numbers: limits and machine numbers by their vocabulary name.
        accessories: by accessory code, whether it is fitted.
        set_ups: how each row is set up; empty where supports were left out.
    """

    rows: int
    given: dict[str, Floats]
    heavy: dict[str, Floats]
    facts: dict[str, Codes]
    numbers: dict[str, Floats]
    accessories: dict[str, Bools]
    set_ups: tuple[SetUp, ...] = ()


@lru_cache(maxsize=65536)
def _stock_inputs(section: Section, grade: Grade, coating: str) -> dict[str, float]:
    """Return inputs that depend on section, grade and coating only; heavy ones as ``h.name``."""
    mill: MillRange = mill_range(section, grade.product)
    area, polar = section.area, section.polar_moment
    coated = 0.0
    if coating == "galvanised":
        per_area = next(mass for wall, mass in _ZINC if section.wall <= wall)
        coated = per_area * section.surface / 1000
    bare = grade.density * area / 1e6
    is_round = section.shape == "round"
    straightness = mill.straightness
    if math.isnan(straightness):
        straightness = USUAL_STRAIGHTNESS
    return {
        "bare_mass": bare,
        "h.bare_mass": bare * mill.mass_ratio,
        "coating_mass": coated,
        "gyration_squared": polar / area,
        "h.gyration_squared": polar / area * mill.gyration_ratio,
        "round_size": section.height if is_round else math.nan,
        "h.round_size": section.height * mill.size_ratio if is_round else math.nan,
        "swept_size": section.swept_diameter,
        "h.swept_size": section.swept_diameter * mill.size_ratio,
        "nominal_wall": section.wall,
        "h.nominal_wall": mill.thick_wall,
        "thin_wall_size": mill.thin_wall,
        "crush_wall": section.wall,
        "h.crush_wall": mill.thin_wall,
        "mean_radius": (section.height - section.wall) / 2 if is_round else math.nan,
        "grip_radius": min(section.height, section.width) / 2,
        "inside_size": section.height - 2 * section.wall if is_round else math.nan,
        "yield_strength": grade.yield_strength,
        "elasticity": grade.elasticity,
        "usual_bow_share": 0.0,
        "h.usual_bow_share": straightness,
        "straightness": straightness,
    }


def build_frame(
    jobs: Sequence[Job],
    machines: Sequence[MachineModel],
    rule_set: RuleSet,
    *,
    is_supported: bool = True,
) -> Frame:
    """Pair ``jobs[i]`` with ``machines[i]`` for every i; both have equal length.

    With ``is_supported`` false, supports are left out: the stock counts as carried without
    trouble, and the frame has no set-ups.
    """
    rows = len(jobs)
    given, heavy = _stock_columns(jobs)
    given |= _job_columns(jobs)
    machine_numbers, machine_given = _machine_columns(machines)
    given |= machine_given
    families = [job.grade.family for job in jobs]
    for bound in ("rated", "absolute"):
        machine_numbers[f"limit.wall.{bound}"] = np.array(
            [
                getattr(machine.wall[family], bound) if family in machine.wall else math.nan
                for machine, family in zip(machines, families, strict=True)
            ]
        )
    poor = np.array([job.coating in POOR_SURFACES for job in jobs], dtype=np.bool_)
    given["friction"] = np.where(
        poor, np.minimum(POOR_FRICTION, given["jaw_friction"]), given["jaw_friction"]
    )
    inside = np.array([job.grip == "inside" for job in jobs], dtype=np.bool_)
    given["grip_radius"] = np.where(inside, given["inside_size"] / 2, given["grip_radius"])
    given["reference_inertia"] = machine_numbers["limit.rotary_inertia.rated"]
    numbers = {
        **machine_numbers,
        "material.yield_strength": given["yield_strength"],
        **{
            f"param.{name}": np.full(rows, parameter.value)
            for name, parameter in rule_set.parameters.items()
        },
    }
    for name in ("crush_share", "unbalance_share"):
        given[name] = numbers[f"param.{name}"]
    fitted = [
        machine.fitted_as_delivered | (job.fitted & machine.offered.keys())
        for job, machine in zip(jobs, machines, strict=True)
    ]
    set_ups: list[SetUp] = []
    if is_supported:
        figures = _figures(rule_set)
        set_ups = [
            set_up(job, machine, codes, figures)
            for job, machine, codes in zip(jobs, machines, fitted, strict=True)
        ]
    supported, heavier = _support_columns(set_ups, rows, given["bare_mass"] / heavy["bare_mass"])
    given |= supported
    heavy |= heavier
    for bound in ("rated", "absolute"):
        numbers[f"limit.support_reaction.{bound}"] = supported[f"reaction_{bound}"]
    seats = [item.seat for item in set_ups] or ["good"] * rows
    facts = _facts(jobs, machines, seats, rule_set)
    accessories = {
        code: np.array([code in codes for codes in fitted], dtype=np.bool_)
        for code in rule_set.vocabulary.accessories
    }
    return Frame(rows, given, heavy, facts, numbers, accessories, tuple(set_ups))


def _stock_columns(jobs: Sequence[Job]) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """Compute each distinct stock once and spread it over the rows."""
    places: dict[tuple[Section, Grade, str], int] = {}
    index = np.array(
        [places.setdefault((job.section, job.grade, job.coating), len(places)) for job in jobs],
        dtype=np.intp,
    )
    distinct = [_stock_inputs(*key) for key in places]
    given: dict[str, Floats] = {}
    heavy: dict[str, Floats] = {}
    for name in distinct[0]:
        column = np.array([item[name] for item in distinct], dtype=np.float64)[index]
        if name.startswith("h."):
            heavy[name[2:]] = column
        else:
            given[name] = column
    return given, heavy


ENGINE_PARAMETERS = frozenset(
    {
        "crush_share",
        "unbalance_share",
        "most_tabs",
        "tab_safety",
        "widest_tab",
        "tab_share",
        "stability_margin",
    }
)
"""Parameters of the rule files that measures and set-ups read, beside the rules."""


def _figures(rule_set: RuleSet) -> Figures:
    values = {name: item.value for name, item in rule_set.parameters.items()}
    return Figures(
        tab_counts=int(values["most_tabs"]),
        tab_safety=values["tab_safety"],
        tab_widest=values["widest_tab"],
        tab_share=values["tab_share"],
        stability_margin=values["stability_margin"],
    )


def _support_columns(
    set_ups: Sequence[SetUp], rows: int, nominal_share: Floats
) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """Return columns of the set-ups: nominal ones, and those that differ at the heavy end."""
    given: dict[str, Floats] = {}
    heavy: dict[str, Floats] = {}
    for name, untroubled in UNTROUBLED.items():
        values = [item.columns[name] for item in set_ups] or [untroubled] * rows
        column = np.array(values, dtype=np.float64)
        if name in BY_WEIGHT:
            heavy[name] = column
            column = column * nominal_share
        given[name] = column
    return given, heavy


def _job_columns(jobs: Sequence[Job]) -> dict[str, Floats]:
    piece_counts = [sum(part.count for part in job.parts) for job in jobs]
    return {
        "length": np.array([job.length for job in jobs]),
        "behind": np.array([job.behind for job in jobs]),
        "bow_stated": np.array([job.bow for job in jobs]),
        "off_axis_mass": np.array([job.off_axis_mass for job in jobs]),
        "off_axis_distance": np.array([job.off_axis_distance for job in jobs]),
        "part_total": np.array(
            [
                sum(part.length * part.count for part in job.parts) if job.parts else math.nan
                for job in jobs
            ]
        ),
        "part_count": np.array(piece_counts, dtype=np.float64),
        "longest_part": np.array([longest_part(job) for job in jobs]),
    }


def longest_part(job: Job) -> float:
    """Return the longest piece that comes free, NaN where no part or cut is known."""
    pieces = [part.length for part in job.parts]
    ends = (job.front, *job.cuts)
    pieces += [outer - inner for outer, inner in pairwise(ends)]
    return max(pieces, default=math.nan)


def _machine_columns(
    machines: Sequence[MachineModel],
) -> tuple[dict[str, Floats], dict[str, Floats]]:
    places: dict[int, int] = {}
    index = np.array(
        [places.setdefault(id(machine), len(places)) for machine in machines], dtype=np.intp
    )
    distinct = list({id(machine): machine for machine in machines}.values())
    columns = [_machine_numbers(machine) for machine in distinct]
    spread = {
        name: np.array([column[name] for column in columns], dtype=np.float64)[index]
        for name in columns[0]
    }
    numbers = {name: column for name, column in spread.items() if "." in name}
    given = {name: column for name, column in spread.items() if "." not in name}
    return numbers, given


def _machine_numbers(machine: MachineModel) -> dict[str, float]:
    rotary, chuck = machine.rotary, machine.chuck
    limits = {
        f"limit.{name}.{bound}": getattr(machine.limit(name), bound)
        for name in (
            "round_diameter", "swept_diameter", "inside_diameter", "stock_length", "stock_mass",
            "rotary_inertia",
            "chuck_reaction", "chuck_moment", "support_span", "overhang", "sag", "bow",
        )
        for bound in ("minimum", "rated", "absolute")
    }  # fmt: skip
    return {
        **limits,
        "machine.torque_available": rotary.torque_available,
        "machine.torque_friction": rotary.torque_friction,
        "machine.lowest_override": rotary.lowest_override,
        "machine.ramp_acceleration": rotary.acceleration,
        "machine.last_station": machine.bed.last_station,
        "machine.bore": machine.chuck.bore,
        "machine.rear_room": machine.bed.rear_room,
        "machine.lowest_centre": machine.bed.lowest_centre,
        "machine.highest_centre": machine.bed.highest_centre,
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


def _facts(
    jobs: Sequence[Job],
    machines: Sequence[MachineModel],
    seats: Sequence[str],
    rule_set: RuleSet,
) -> dict[str, Codes]:
    values: dict[str, list[str]] = {
        "shape": [job.section.shape for job in jobs],
        "family": [job.grade.family for job in jobs],
        "ramp": [machine.rotary.ramp for machine in machines],
        "carried": ["no" if seat == "none" else "yes" for seat in seats],
        "seat": ["good" if seat == "none" else seat for seat in seats],
        "bow_given": ["no" if math.isnan(job.bow) else "yes" for job in jobs],
        "ends": [job.ends for job in jobs],
        "contents": [job.contents for job in jobs],
        "coating": [job.coating for job in jobs],
        "grip": [job.grip for job in jobs],
    }
    facts: dict[str, Codes] = {}
    for name, fact in rule_set.vocabulary.facts.items():
        codes = {value: code for code, value in enumerate(fact.values)}
        facts[name] = np.array([codes[value] for value in values[name]], dtype=np.int8)
    return facts
