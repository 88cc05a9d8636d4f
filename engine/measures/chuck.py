"""Measures of the chuck: stress under the jaws, force to set, grip against slip."""

import numpy as np

from ..arrays import Floats
from .registry import measure


@measure(
    formula="M / (b t^2 / 6), M = k F R, k = (1/2)(1/th - cot th), th = pi / jaws",
    source="ring under equal radial loads (Timoshenko; Roark); heavy: thin wall",
)
def jaw_stress(
    ring_moment: Floats,
    jaw_force: Floats,
    mean_radius: Floats,
    grip_length: Floats,
    crush_wall: Floats,
) -> Floats:
    """Bending stress of a round under the jaws at full jaw force; no value for other shapes."""
    moment = ring_moment * jaw_force * mean_radius
    return moment / (grip_length * crush_wall**2 / 6)


@measure(
    formula="d F R^3 / (E I), d = ((th + sin th cos th) / sin^2 th - 2 / th) / 4, I = b t^3 / 12",
    source="ring under equal radial loads (Timoshenko; Roark); heavy: thin wall",
)
def jaw_deflection(
    ring_deflection: Floats,
    jaw_force_setting: Floats,
    mean_radius: Floats,
    grip_length: Floats,
    crush_wall: Floats,
    elasticity: Floats,
) -> Floats:
    """How far the jaws push the wall of a round in, at the force to set."""
    moment = grip_length * crush_wall**3 / 12
    return ring_deflection * jaw_force_setting * mean_radius**3 / (elasticity * moment)


@measure(
    formula="lower of full force and the force at which the thin wall reaches share x yield",
    source="ring formula solved for the force; rounded down to 10 N",
)
def jaw_force_setting(
    ring_moment: Floats,
    jaw_force: Floats,
    mean_radius: Floats,
    grip_length: Floats,
    thin_wall: Floats,
    yield_strength: Floats,
    crush_share: Floats,
) -> Floats:
    """Force of one jaw to set."""
    section_modulus = grip_length * thin_wall**2 / 6
    bearable = crush_share * yield_strength * section_modulus / (ring_moment * mean_radius)
    rounded = np.floor(bearable / 10 * (1 + 1e-9)) * 10
    # Only rounds have a ring to crush; where there is none the full force stands.
    return np.where(np.isnan(bearable) | (bearable >= jaw_force), jaw_force, rounded)


@measure(
    formula="mu n F R / (J a + T_unbalance)",
    source="Coulomb friction; VDI 3106 as reproduced in chuck data",
)
def jaw_slip_factor(
    friction: Floats,
    jaws: Floats,
    jaw_force_setting: Floats,
    grip_radius: Floats,
    rotary_inertia: Floats,
    acceleration_setting: Floats,
    unbalance_torque: Floats,
) -> Floats:
    """Torque the jaws hold by friction, over the torque that ramp and unbalance ask for."""
    held = friction * jaws * jaw_force_setting * grip_radius / 1e3
    asked = rotary_inertia * acceleration_setting + unbalance_torque
    # Nothing asked (no ramp possible and no unbalance) is no grip problem.
    return held / np.maximum(asked, 1e-9)
