"""Measures of the rotary drive: bow, unbalance, ramp, rapid override."""

import numpy as np

from ..arrays import GRAVITY, Floats
from .registry import measure

_STEP = 0.05  # rapid override knobs have steps of 5 %
_CLOSE = 1e-9


def _round_down(values: Floats, step: float) -> Floats:
    """Round down to whole steps; a value a hair below a step counts as on it."""
    return np.round(np.floor(values / step * (1 + _CLOSE)) * step, 10)


@measure(
    formula="stated bow; not stated: 0, heavy: usual straightness x L",
    source="straightness of the product standard, else 0.2 % (common practice, no source)",
)
def bow(bow_stated: Floats, usual_bow_share: Floats, length: Floats) -> Floats:
    """Mid-offset of the stock from a straight line."""
    return np.where(np.isnan(bow_stated), usual_bow_share * length, bow_stated)


@measure(
    formula="straightness x L",
    source="straightness of the product standard, else 0.2 % (common practice, no source)",
)
def usual_bow(straightness: Floats, length: Floats) -> Floats:
    """Bow that this kind of stock may be sold with."""
    return straightness * length


@measure(formula="swept diameter + 2 bow", source="geometry: the middle turns off the axis")
def bowed_sweep(swept_size: Floats, bow: Floats) -> Floats:
    """Circle that bowed stock sweeps at its middle."""
    return swept_size + 2 * bow


@measure(
    formula="T = m g (2/3 bow) + m_off g e",
    source="statics; the centroid of a shallow arc lies 2/3 of its rise above its chord",
)
def unbalance_torque(
    linear_mass: Floats,
    length: Floats,
    bow: Floats,
    off_axis_mass: Floats,
    off_axis_distance: Floats,
) -> Floats:
    """Torque needed to hold the stock still at its worst angle."""
    own = linear_mass * length / 1e3
    return GRAVITY * (own * bow * 2 / 3 + off_axis_mass * off_axis_distance) / 1e3


@measure(
    formula="T = (J_fixed + J) a + T_friction + T_unbalance",
    source="handbook equation for an accelerated rotary load",
)
def drive_torque(
    fixed_inertia: Floats,
    rotary_inertia: Floats,
    ramp: Floats,
    torque_friction: Floats,
    unbalance_torque: Floats,
) -> Floats:
    """Torque that a full rapid ramp asks of the drive."""
    return (fixed_inertia + rotary_inertia) * ramp + torque_friction + unbalance_torque


@measure(
    formula=(
        "lower of: energy, sqrt((J_fixed + J_rated) / (J_fixed + J)); and for a ramp of constant "
        "time, (T_available - T_friction - T_unbalance) / ((J_fixed + J) a); down to 5 %"
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
    unbalance_torque: Floats,
) -> Floats:
    """Share of rapid speed at which the drive can start and stop this stock."""
    turning = fixed_inertia + rotary_inertia
    energy = np.sqrt((fixed_inertia + reference_inertia) / turning)
    free = np.maximum(torque_available - torque_friction - unbalance_torque, 0.0)
    torque = np.where(is_timed > 0, free / (turning * ramp), 1.0)
    return _round_down(np.minimum(np.minimum(energy, torque), 1.0), _STEP)


@measure(
    formula=(
        "constant time: a x rapid override; constant acceleration: lower of a and "
        "(T_available - T_friction - T_unbalance) / (J_fixed + J), down to 0.01 rad/s^2"
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
    unbalance_torque: Floats,
    rapid_override: Floats,
) -> Floats:
    """Acceleration that the ramp has, or must be set to, with this stock."""
    free = np.maximum(torque_available - torque_friction - unbalance_torque, 0.0)
    reachable = free / (fixed_inertia + rotary_inertia)
    # Only a value that must be set is rounded; the delivered ramp stays as it is.
    steady = np.where(reachable >= ramp, ramp, _round_down(reachable, 0.01))
    return np.where(is_timed > 0, ramp * rapid_override, steady)


@measure(
    formula=(
        "least of: 3/2 T_left / (m g), T_left the lower of share x (T_available - T_friction) and "
        "what the ramp at this setting leaves, less the off-axis torque; (absolute swept - swept) "
        "/ 2; absolute bow; down to 1 mm"
    ),
    source="statics and geometry; share is common practice, no source",
)
def bow_allowed(
    fixed_inertia: Floats,
    rotary_inertia: Floats,
    acceleration_setting: Floats,
    torque_available: Floats,
    torque_friction: Floats,
    unbalance_share: Floats,
    linear_mass: Floats,
    length: Floats,
    off_axis_mass: Floats,
    off_axis_distance: Floats,
    swept_size: Floats,
    swept_absolute: Floats,
    bow_absolute: Floats,
) -> Floats:
    """Bow up to which drive, head and guards take the stock at this setting."""
    free = torque_available - torque_friction
    ramp_leaves = free - (fixed_inertia + rotary_inertia) * acceleration_setting
    beside = GRAVITY * off_axis_mass * off_axis_distance / 1e3
    left = np.maximum(np.minimum(unbalance_share * free, ramp_leaves) - beside, 0.0)
    own = linear_mass * length / 1e3
    held = 1.5 * left / (own * GRAVITY) * 1e3
    clears = np.maximum(swept_absolute - swept_size, 0.0) / 2
    return _round_down(np.minimum(np.minimum(held, clears), bow_absolute), 1.0)


@measure(
    formula="lower of bow allowed and the bow counted with: stated, else usual; down to 1 mm",
    source="an answer holds for the bow it counts with",
)
def bow_to_refuse(bow_allowed: Floats, bow_stated: Floats, usual_bow: Floats) -> Floats:
    """Bow above which this answer no longer holds, and the piece is not loaded."""
    counted = np.where(np.isnan(bow_stated), usual_bow, bow_stated)
    return _round_down(np.minimum(bow_allowed, np.maximum(counted, 1.0)), 1.0)
