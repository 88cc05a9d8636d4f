"""Measures of bow: what is counted with, what the machine takes, what it sweeps."""

import numpy as np

from ..arrays import GRAVITY, Floats
from .registry import measure, round_down


@measure(
    title="bow",
    unit="mm",
    heavy="more",
    formula="stated bow; not stated: 0, heavy: usual straightness x L",
    source="straightness of the product standard, else the usual straightness of the rules",
)
def bow(bow_stated: Floats, usual_bow_share: Floats, length: Floats) -> Floats:
    """Mid-offset of the stock from a straight line."""
    return np.where(np.isnan(bow_stated), usual_bow_share * length, bow_stated)


@measure(
    title="usual bow",
    unit="mm",
    heavy="none",
    formula="straightness x L",
    source="straightness of the product standard, else the usual straightness of the rules",
)
def usual_bow(straightness: Floats, length: Floats) -> Floats:
    """Bow that this kind of stock may be sold with."""
    return straightness * length


@measure(
    title="circle swept with the bow",
    unit="mm",
    heavy="more",
    formula="swept diameter + 2 bow",
    source="geometry: the middle turns off the axis",
)
def bowed_sweep(swept_size: Floats, bow: Floats) -> Floats:
    """Circle that bowed stock sweeps at its middle."""
    return swept_size + 2 * bow


@measure(
    title="bow allowed",
    unit="mm",
    heavy="either",
    formula=(
        "least of: 3/2 T_left / (m g), T_left the lower of share x (T_available - T_friction) and "
        "what the ramp at this setting and the drag leave, less the torque of off-axis mass and "
        "eccentric wall; (absolute swept - swept) "
        "/ 2; absolute bow; down to whole steps of measuring"
    ),
    source="statics and geometry; share is common practice, no source",
)
def bow_allowed(
    fixed_inertia: Floats,
    rotary_inertia: Floats,
    acceleration_setting: Floats,
    torque_available: Floats,
    torque_friction: Floats,
    roller_drag: Floats,
    unbalance_share: Floats,
    linear_mass: Floats,
    length: Floats,
    eccentricity: Floats,
    off_axis_mass: Floats,
    off_axis_distance: Floats,
    swept_size: Floats,
    swept_absolute: Floats,
    bow_absolute: Floats,
    bow_step: Floats,
) -> Floats:
    """Bow up to which drive, head and guards take the stock at this setting."""
    free = torque_available - torque_friction
    ramp_leaves = free - roller_drag - (fixed_inertia + rotary_inertia) * acceleration_setting
    own = linear_mass * length / 1e3
    beside = GRAVITY * (off_axis_mass * off_axis_distance + own * eccentricity) / 1e3
    left = np.maximum(np.minimum(unbalance_share * free, ramp_leaves) - beside, 0.0)
    held = 1.5 * left / (own * GRAVITY) * 1e3
    clears = np.maximum(swept_absolute - swept_size, 0.0) / 2
    return round_down(np.minimum(np.minimum(held, clears), bow_absolute), bow_step)


@measure(
    title="bow to refuse above",
    unit="mm",
    heavy="either",
    formula=(
        "lower of bow allowed and the bow counted with: stated, else usual; down to whole steps of "
        "measuring"
    ),
    source="an answer holds for the bow it counts with",
)
def bow_to_refuse(
    bow_allowed: Floats, bow_stated: Floats, usual_bow: Floats, bow_step: Floats
) -> Floats:
    """Bow above which this answer no longer holds, and the piece is not loaded."""
    counted = np.where(np.isnan(bow_stated), usual_bow, bow_stated)
    # Nobody measures less than one step.
    return round_down(np.minimum(bow_allowed, np.maximum(counted, bow_step)), bow_step)


@measure(
    title="circle swept by the free end on the chuck alone",
    unit="mm",
    heavy="more",
    formula="swept diameter + 8 bow; no value for stock on supports",
    source="geometry: a shallow arc that leaves the chuck along the axis ends 4 bows beside it",
)
def tip_sweep(swept_size: Floats, bow: Floats, carried_alone: Floats) -> Floats:
    """Circle that the free end of bowed stock sweeps where no support stands under it."""
    return np.where(carried_alone > 0, swept_size + 8 * bow, np.nan)


@measure(
    title="bow to refuse above on the chuck alone",
    unit="mm",
    heavy="either",
    formula=(
        "lower of bow to refuse above and (absolute swept - swept) / 8, down to whole steps of "
        "measuring; no value for stock on supports"
    ),
    source="geometry, as the circle swept by the free end",
)
def tip_bow(
    bow_to_refuse: Floats,
    swept_size: Floats,
    swept_absolute: Floats,
    carried_alone: Floats,
    bow_step: Floats,
) -> Floats:
    """Bow above which stock that the chuck alone carries is not loaded."""
    clears = np.maximum(swept_absolute - swept_size, 0.0) / 8
    least = round_down(np.minimum(bow_to_refuse, clears), bow_step)
    return np.where(carried_alone > 0, least, np.nan)
