"""Measures of the chuck's force: what to set, and stress under the jaws."""

import numpy as np

from ..arrays import Floats
from .registry import measure, round_down


@measure(
    title="jaw force to set",
    unit="N",
    heavy="none",
    formula=(
        "lower of full force and the force at which the thin wall reaches share x yield, "
        "but not below the lowest that can be set"
    ),
    source="ring formula solved for the force; rounded down to whole steps of setting",
)
def jaw_force_setting(
    ring_moment: Floats,
    jaw_force: Floats,
    mean_radius: Floats,
    grip_length: Floats,
    thin_wall: Floats,
    yield_strength: Floats,
    crush_share: Floats,
    jaw_force_step: Floats,
    lowest_jaw_force: Floats,
) -> Floats:
    """Force of one jaw to set."""
    section_modulus = grip_length * thin_wall**2 / 6
    bearable = crush_share * yield_strength * section_modulus / (ring_moment * mean_radius)
    # Where the builder states no lowest force, none is known to be too low.
    rounded = np.fmin(np.fmax(round_down(bearable, jaw_force_step), lowest_jaw_force), jaw_force)
    # Only rounds have a ring to crush; where there is none the full force stands.
    return np.where(np.isnan(bearable) | (bearable >= jaw_force), jaw_force, rounded)


@measure(
    title="stress under the jaws",
    unit="MPa",
    heavy="more",
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
