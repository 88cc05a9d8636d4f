"""What a machine brings into a frame: its numbers and limits, and which it states in inches."""

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from ...catalogue.machines.model import LIMITS, MachineModel
from ...catalogue.units.units import FORCE, LENGTH, canonical
from ...rules.model import Vocabulary
from ..arrays import Bools, Codes, Floats
from ..jobs.job_table import Index
from ..statics.turning import LEVELLING, stated_or

# Bending moment under one of n equal radial loads on a ring, / (F R): (1/2)(1/th - cot th)
# with th = pi/n (Timoshenko; Roark, from memory; n = 2 checked against Castigliano).
RING_MOMENT: Final = {n: 0.5 * (n / math.pi - 1 / math.tan(math.pi / n)) for n in range(2, 9)}


def _ring_deflection(jaws: int) -> float:
    half = math.pi / jaws
    return ((half + math.sin(half) * math.cos(half)) / math.sin(half) ** 2 - 2 / half) / 4


# Radial deflection at one of n equal radial loads on a ring, / (F R^3 / EI) (same source).
RING_DEFLECTION: Final = {n: _ring_deflection(n) for n in range(2, 9)}


def _jaw_lever(jaws: int) -> float:
    half = math.pi / (2 * jaws) if jaws % 2 else math.pi / jaws
    return 1 / math.tan(half) / (2 if jaws % 2 else 1)


JAW_LEVER: Final = {n: _jaw_lever(n) for n in range(2, 9)}
"""Half the sum over n jaws of the lever |cos| of each about the axis of bending, at the angle where
it is least: stock turns with its jaws, so it comes to stand at every angle (geometry)."""

NOT_STATED: Final = "not-stated"
"""A fact of a machine that its file leaves out."""

_MACHINE: Final[dict[str, tuple[str, Callable[[MachineModel], float]]]] = {
    "torque_available": ("N*m", lambda model: model.rotary.torque_available),
    "torque_friction": ("N*m", lambda model: model.rotary.torque_friction),
    "lowest_override": ("1", lambda model: model.rotary.lowest_override),
    "ramp_acceleration": ("rad/s^2", lambda model: model.rotary.acceleration),
    "levelling": ("mm", lambda model: stated_or(model.bed.levelling, LEVELLING)),
    "last_station": ("mm", lambda model: model.bed.last_station),
    "jaws": ("1", lambda model: float(model.chuck.jaws)),
    "lowest_jaw_force": ("N", lambda model: model.chuck.lowest_jaw_force),
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


def machine_numbers(machine: MachineModel) -> dict[str, float]:
    """Return the numbers of one machine in canonical units, NaN where it does not state one.

    Inputs of measures have plain names; what rules may name has a dot.
    """
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
        "stop_torque": machine.stop_torque,
        "jaws": float(chuck.jaws),
        "ring_moment": RING_MOMENT[chuck.jaws],
        "ring_deflection": RING_DEFLECTION[chuck.jaws],
        "jaw_force": chuck.jaw_force,
        "jaw_lever": JAW_LEVER[chuck.jaws],
        "lowest_jaw_force": chuck.lowest_jaw_force,
        "jaw_friction": chuck.jaw_friction,
        "grip_length": chuck.grip_length,
        "stub": machine.bed.stub,
        "kerf": machine.cutting.kerf,
        "trim": machine.cutting.trim,
    }


def machine_facts(
    machines: Sequence[MachineModel], machine: Index, vocabulary: Vocabulary
) -> dict[str, Codes]:
    """Return the facts of each row's machine as codes of the vocabulary.

    A rule set older than a fact has none of it, and is asked nothing about it.
    """
    stated = {
        "ramp": [item.rotary.ramp for item in machines],
        "jaw_motion": [item.chuck.jaw_motion or NOT_STATED for item in machines],
        "jaw_hold": [item.chuck.jaw_hold or NOT_STATED for item in machines],
    }
    return {
        name: np.array(
            [vocabulary.facts[name].values.index(value) for value in values], dtype=np.int8
        )[machine]
        for name, values in stated.items()
        if name in vocabulary.facts
    }


# Limits on sizes by their vocabulary name, and where a machine file states them.
_SIZE_LIMITS: Final = {
    f"limit.{name}.{bound}": f"limits.{name}.{bound}"
    for name in ("round_diameter", "swept_diameter", "inside_diameter")
    for bound in ("minimum", "rated", "absolute")
} | {"machine.bore": "chuck.bore"}


def sizes_in_inches(
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


def spreader(machine: Index, rows: int, count: int) -> Callable[[Sequence[float]], Floats]:
    """Return how one number a machine becomes a column; one machine alone needs no copies."""

    def spread(values: Sequence[float]) -> Floats:
        if count == 1:
            return np.broadcast_to(np.float64(values[0]), rows)
        return np.array(values, dtype=np.float64)[machine]

    return spread
