"""Measures of the chuck's grip: the dent under the jaws, grip against slip."""

import numpy as np

from ..arrays import Floats
from .registry import measure


@measure(
    title="dent under the jaws",
    unit="mm",
    heavy="more",
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
    title="grip against slip",
    unit="1",
    heavy="either",
    formula="mu n F R / (J a + T_unbalance + T_drag)",
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
    roller_drag: Floats,
) -> Floats:
    """Torque the jaws hold by friction, over what ramp, unbalance and supports ask for."""
    held = friction * jaws * jaw_force_setting * grip_radius / 1e3
    asked = rotary_inertia * acceleration_setting + unbalance_torque + roller_drag
    # Nothing asked (no ramp possible and no unbalance) is no grip problem.
    return held / np.maximum(asked, 1e-9)
