"""Measures of the jaws against bending, where the chuck alone holds the stock.

Beside a support an edge of a jaw that lifts makes the chuck a pin, which is solved as such; here
nothing else holds. A jaw that is pressed with a force F takes it at one edge of its face at the
most, and holds the stock along the axis by friction; the same friction turns the stock.
"""

import numpy as np

from ..arrays import Floats
from .chuck import jaw_stress
from .registry import measure

_SOURCE = "statics: faces that push and never pull, Coulomb friction; the least of every angle"


@measure(
    title="moment that the jaws hold alone",
    unit="N*m",
    heavy="more",
    formula="m L^2 / 2 where nothing stands under it; M0 over lowered rests, as it turns",
    source="statics, at every stage of severing",
)
def jaw_moment(carried_by_jaws: Floats, turning_grip: Floats) -> Floats:
    """Largest moment of stock that the chuck alone holds; no value where it never does."""
    most = np.fmax(carried_by_jaws, turning_grip)
    return np.where(most > 0, most, np.nan)


@measure(
    title="moment that the jaws can hold",
    unit="N*m",
    heavy="either",
    formula="k (F b + mu F D sqrt(1 - 1 / grip^2)), k = half the sum of |cos| of the jaws",
    source=_SOURCE,
)
def jaw_capacity(
    jaw_lever: Floats,
    jaw_force_setting: Floats,
    grip_length: Floats,
    friction: Floats,
    grip_radius: Floats,
    jaw_slip_factor: Floats,
) -> Floats:
    """Moment that the jaws hold at the force to set, beside the torque of ramp and unbalance."""
    turning = np.minimum(1 / np.maximum(jaw_slip_factor, 1e-9), 1.0)
    along = friction * 2 * grip_radius * np.sqrt(1 - turning**2)
    return jaw_lever * jaw_force_setting * (grip_length + along) / 1e3


@measure(
    title="moment at which a jaw lifts at its edge",
    unit="N*m",
    heavy="none",
    formula="n F b / 12",
    source="statics: even pressure and the bending of n faces; M = F b / 6 lifts the edge of one",
)
def jaw_edge_moment(jaws: Floats, jaw_force_setting: Floats, grip_length: Floats) -> Floats:
    """Moment from which a jaw no longer touches along all of its face."""
    return jaws * jaw_force_setting * grip_length / 12e3


@measure(
    title="jaws against bending",
    unit="1",
    heavy="either",
    formula="moment that the jaws can hold / moment that they hold alone",
    source=_SOURCE,
)
def jaw_moment_factor(jaw_capacity: Floats, jaw_moment: Floats) -> Floats:
    """What the jaws could hold over what they hold alone; no value where they never do."""
    return jaw_capacity / jaw_moment


@measure(
    title="stress under the jaws as set",
    unit="MPa",
    heavy="more",
    formula="M / (b t^2 / 6), M = k F R at the force to set",
    source="ring under equal radial loads (Timoshenko; Roark); heavy: thin wall",
)
def set_jaw_stress(
    ring_moment: Floats,
    jaw_force_setting: Floats,
    mean_radius: Floats,
    grip_length: Floats,
    crush_wall: Floats,
) -> Floats:
    """Bending stress of a round under the jaws at the force to set; none for other shapes."""
    return jaw_stress(ring_moment, jaw_force_setting, mean_radius, grip_length, crush_wall)
