"""Measures of stock that rolls on its supports: the drag, and how it walks along."""

import numpy as np

from ..arrays import GRAVITY, Floats
from .registry import measure


@measure(
    title="drag of the supports",
    unit="N*m",
    heavy="more",
    formula="T = m g R (f / r) / cos(half contact angle); V-cradle m g R share / sin(half angle)",
    source="rolling friction of handbooks; all of the weight counted on supports",
)
def roller_drag(stock_mass: Floats, drag_lever: Floats) -> Floats:
    """Torque that turning the stock on its supports takes; it grows with the weight."""
    return GRAVITY * stock_mass * drag_lever / 1e3


@measure(
    title="axial push of the supports",
    unit="N",
    heavy="more",
    formula="share x m g; no value on the chuck alone, and where nothing rolls",
    source="rollers out of line push along by part of their friction; share: common practice",
)
def axial_push(
    stock_mass: Floats, drag_lever: Floats, walk_share: Floats, carried_alone: Floats
) -> Floats:
    """Force along the axis by which rollers that are out of line make the stock walk."""
    rolls = (drag_lever > 0) & (carried_alone < 1)
    return np.where(rolls, GRAVITY * stock_mass * walk_share, np.nan)


@measure(
    title="grip against walking",
    unit="1",
    heavy="either",
    formula="mu n F / hypot(axial push, (J a + T_unbalance + T_drag) / R)",
    source="Coulomb friction, shared by both directions at once",
)
def walk_grip_factor(
    friction: Floats,
    jaws: Floats,
    jaw_force_setting: Floats,
    grip_radius: Floats,
    rotary_inertia: Floats,
    acceleration_setting: Floats,
    unbalance_torque: Floats,
    roller_drag: Floats,
    axial_push: Floats,
) -> Floats:
    """Force the jaws hold by friction, over what turning and walking ask of it together."""
    around = rotary_inertia * acceleration_setting + unbalance_torque + roller_drag
    return friction * jaws * jaw_force_setting / np.hypot(axial_push, around * 1e3 / grip_radius)
