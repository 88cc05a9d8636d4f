"""Measures of the rotary drive: unbalance, ramp, rapid override."""

import numpy as np

from ..arrays import GRAVITY, Floats
from .registry import measure, round_down


@measure(
    title="unbalance torque",
    unit="N*m",
    heavy="more",
    formula="T = m g (2/3 bow + eccentricity of a seamless wall) + m_off g e",
    source="statics; the centroid of a shallow arc lies 2/3 of its rise above its chord",
)
def unbalance_torque(
    linear_mass: Floats,
    length: Floats,
    bow: Floats,
    eccentricity: Floats,
    off_axis_mass: Floats,
    off_axis_distance: Floats,
) -> Floats:
    """Torque needed to hold the stock still at its worst angle."""
    own = linear_mass * length / 1e3
    return GRAVITY * (own * (bow * 2 / 3 + eccentricity) + off_axis_mass * off_axis_distance) / 1e3


@measure(
    title="drive torque on a full ramp",
    unit="N*m",
    heavy="more",
    formula="T = (J_fixed + J) a + T_friction + T_drag + T_unbalance",
    source="handbook equation for an accelerated rotary load",
)
def drive_torque(
    fixed_inertia: Floats,
    rotary_inertia: Floats,
    ramp: Floats,
    torque_friction: Floats,
    roller_drag: Floats,
    unbalance_torque: Floats,
) -> Floats:
    """Torque that a full rapid ramp asks of the drive."""
    steady = torque_friction + roller_drag + unbalance_torque
    return (fixed_inertia + rotary_inertia) * ramp + steady


@measure(
    title="rapid override",
    unit="1",
    heavy="less",
    formula=(
        "lower of: energy, sqrt((J_fixed + J_rated) / (J_fixed + J)); and for a ramp of constant "
        "time, (T_available - T_friction - T_drag - T_unbalance) / ((J_fixed + J) a); down to "
        "whole steps of the override"
    ),
    source="a stop absorbs J w^2 / 2; a timed ramp needs J w / t; both held to the tuned case",
)
def rapid_override(
    fixed_inertia: Floats,
    reference_inertia: Floats,
    rotary_inertia: Floats,
    ramp: Floats,
    is_timed: Floats,
    torque_available: Floats,
    torque_friction: Floats,
    roller_drag: Floats,
    unbalance_torque: Floats,
    override_step: Floats,
) -> Floats:
    """Share of rapid speed at which the drive can start and stop this stock."""
    turning = fixed_inertia + rotary_inertia
    energy = np.sqrt((fixed_inertia + reference_inertia) / turning)
    free = np.maximum(torque_available - torque_friction - roller_drag - unbalance_torque, 0.0)
    torque = np.where(is_timed > 0, free / (turning * ramp), 1.0)
    return round_down(np.minimum(np.minimum(energy, torque), 1.0), override_step)


@measure(
    title="ramp acceleration to set",
    unit="rad/s^2",
    heavy="less",
    formula=(
        "constant time: a x rapid override; constant acceleration: lower of a and "
        "(T_available - T_friction - T_drag - T_unbalance) / (J_fixed + J), down to whole steps "
        "of setting"
    ),
    source="handbook equation T = J a",
)
def acceleration_setting(
    fixed_inertia: Floats,
    rotary_inertia: Floats,
    ramp: Floats,
    is_timed: Floats,
    torque_available: Floats,
    torque_friction: Floats,
    roller_drag: Floats,
    unbalance_torque: Floats,
    rapid_override: Floats,
    acceleration_step: Floats,
) -> Floats:
    """Acceleration that the ramp has, or must be set to, with this stock."""
    free = np.maximum(torque_available - torque_friction - roller_drag - unbalance_torque, 0.0)
    reachable = free / (fixed_inertia + rotary_inertia)
    # Only a value that must be set is rounded; the delivered ramp stays as it is.
    steady = np.where(reachable >= ramp, ramp, round_down(reachable, acceleration_step))
    return np.where(is_timed > 0, ramp * rapid_override, steady)
