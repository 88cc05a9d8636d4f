"""What rolling on supports costs: the lever of the drag, and whether stock may walk."""

import math
from collections.abc import Sequence

import numpy as np

from ...catalogue.machines.model import Support
from ..arrays import Floats
from ..jobs.job_table import Index
from ..statics.stocks import Usable


def drag_levers(
    usable: Sequence[Usable], use: Index, outside: Floats, arm: float, ball_drag: float
) -> Floats:
    """Return torque of the drag over the weight on supports, mm, for every row.

    Of the kind of support that the stock sits best on; 0 where it does not roll (rings and rests,
    other shapes). Two rollers: f / r of the force on each, at the stock's radius (rolling
    friction of handbooks); a V-cradle: a share of the force on its balls.

    Args:
        usable: distinct choices of supports, best seat first.
        use: for every row, its place among them.
        outside: diameter of a round, mm; NaN for other shapes.
        arm: lever f of rolling friction, mm.
        ball_drag: drag of a loaded ball over its load.
    """
    radius = np.nan_to_num(outside) / 2
    levers = np.zeros(len(radius))
    for number, item in enumerate(usable):
        if item.supports:
            share = _share(item.supports[0], radius, arm, ball_drag)
            levers = np.where(use == number, share * radius, levers)
    return levers


def _share(support: Support, radius: Floats, arm: float, ball_drag: float) -> Floats:
    """Return the drag at the stock's surface over the weight on the support."""
    if not math.isnan(support.vee_angle):
        return np.full(len(radius), ball_drag / math.sin(support.vee_angle / 2))
    if math.isnan(support.roller_radius) or math.isnan(support.roller_spacing):
        return np.zeros(len(radius))
    sine = support.roller_spacing / 2 / (radius + support.roller_radius)
    # What falls through has no seat; its row is not on this support.
    cosine = np.sqrt(np.maximum(1 - np.minimum(sine, 1.0) ** 2, 1e-6))
    return arm / support.roller_radius / cosine
