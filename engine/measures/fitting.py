"""Measures of what is fixed to the stock: the circle that it sweeps."""

import numpy as np

from ..arrays import Floats
from .registry import measure


@measure(
    title="circle swept by what is fixed to the stock",
    unit="mm",
    heavy="more",
    formula=(
        "2 e + s; width s not said: 2 e, heavy: s = 2 e - swept diameter, as far outward as in "
        "to the stock; no value where nothing is fixed"
    ),
    source="geometry",
)
def fitting_sweep(
    off_axis_mass: Floats,
    off_axis_distance: Floats,
    off_axis_size: Floats,
    swept_size: Floats,
    unsaid_width: Floats,
) -> Floats:
    """Circle that a flange, branch or clamp sweeps as the stock turns."""
    unsaid = unsaid_width * np.maximum(2 * off_axis_distance - swept_size, 0.0)
    size = np.where(np.isnan(off_axis_size), unsaid, off_axis_size)
    return np.where(off_axis_mass > 0, 2 * off_axis_distance + size, np.nan)


@measure(
    title="width of what is fixed to the stock",
    unit="mm",
    heavy="none",
    formula="s; no value where it is not said",
    source="given",
)
def fitting_width(off_axis_size: Floats) -> Floats:
    """Greatest width of a flange, branch or clamp across the axis."""
    return off_axis_size
