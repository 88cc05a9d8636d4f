"""Measures of an emergency stop: it brakes harder than a programmed ramp."""

import numpy as np

from ..arrays import Floats
from .registry import measure


@measure(
    title="torque on the jaws in an emergency stop",
    unit="N*m",
    heavy="more",
    formula="T_stop J / (J_fixed + J) + T_unbalance; no value where the stop is not stated",
    source="statics: the brake stops chuck and stock together; the jaws transmit the stock's share",
)
def stop_jaw_torque(
    stop_torque: Floats,
    fixed_inertia: Floats,
    rotary_inertia: Floats,
    unbalance_torque: Floats,
) -> Floats:
    """Torque that the jaws transmit while an emergency stop brakes the stock."""
    share = rotary_inertia / (fixed_inertia + rotary_inertia)
    return stop_torque * share + unbalance_torque


@measure(
    title="grip in an emergency stop",
    unit="1",
    heavy="either",
    formula="mu n F R / torque on the jaws in an emergency stop",
    source="Coulomb friction, as the grip against slip",
)
def stop_grip_factor(
    friction: Floats,
    jaws: Floats,
    jaw_force_setting: Floats,
    grip_radius: Floats,
    stop_jaw_torque: Floats,
) -> Floats:
    """Torque the jaws hold by friction, over the torque of an emergency stop."""
    held = friction * jaws * jaw_force_setting * grip_radius / 1e3
    return held / np.maximum(stop_jaw_torque, 1e-9)
