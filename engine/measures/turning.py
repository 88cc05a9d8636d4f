"""Measures of bowed stock that turns on its supports, and of supports that are a little off.

They are worked out with the set-up (:mod:`cuttable.engine.statics.turning`); here they get names.
"""

import numpy as np

from ..arrays import Floats
from .registry import measure, round_down

_STATICS = (
    "three-moment equation with settlements, supports that give and never pull, pinned chuck; the "
    "worse of 0.4 and 3 times the stiffness stated (common practice, no source)"
)


@measure(
    title="bow up to which every support carries",
    unit="mm",
    heavy="none",
    formula="least R / |dR / dbow|, at every stage of severing, down to whole steps of measuring",
    source=_STATICS,
)
def bow_all_carry(turning_carry_bow: Floats, bow_step: Floats) -> Floats:
    """Bow above which the stock leaves a support on one side of each turn; no value for one."""
    return round_down(turning_carry_bow, bow_step)


@measure(
    title="bow up to which the stock stays in its rollers",
    unit="mm",
    heavy="none",
    formula=(
        "least R sin(half angle between contacts) / |dR / dbow|, at every stage of severing, down "
        "to whole steps of measuring"
    ),
    source=f"{_STATICS}; sideways force over load is at most the tangent of the half angle",
)
def bow_held_down(turning_hold_bow: Floats, bow_step: Floats) -> Floats:
    """Bow above which the stock may climb out of its rollers unless it is held down."""
    return round_down(turning_hold_bow, bow_step)


@measure(
    title="bow up to which no support is overloaded",
    unit="mm",
    heavy="none",
    formula=(
        "bow at which some Ri passes its absolute, heights off by the levelling, at any roll "
        "angle; no value where none does at the bow counted with; down to whole steps of measuring"
    ),
    source=_STATICS,
)
def bow_supports_hold(turning_overload_bow: Floats, bow_step: Floats) -> Floats:
    """Bow above which a support may carry more than its absolute, the stiffer they are."""
    held = round_down(turning_overload_bow, bow_step)
    return np.where(np.isfinite(held), held, np.nan)


@measure(
    title="bow to sight against",
    unit="mm",
    heavy="either",
    formula="lower of bow to refuse above, and that on the chuck alone",
    source="an answer holds for the bow it counts with",
)
def bow_to_sight(bow_to_refuse: Floats, tip_bow: Floats) -> Floats:
    """Bow above which the piece is not loaded."""
    return np.fmin(bow_to_refuse, tip_bow)


@measure(
    title="load on a support while bowed stock turns, of its rated",
    unit="1",
    heavy="none",
    formula="largest Ri / rated at any roll angle, heights off by the levelling; heavy end",
    source=_STATICS,
)
def turning_rated_load(turning_rated_use: Floats) -> Floats:
    """Load on the fullest support with the stated bow; no value where none is stated."""
    return turning_rated_use


@measure(
    title="load on a support while bowed stock turns, of its absolute",
    unit="1",
    heavy="none",
    formula="largest Ri / absolute at any roll angle, heights off by the levelling; heavy end",
    source=_STATICS,
)
def turning_absolute_load(turning_absolute_use: Floats) -> Floats:
    """Load on the fullest support with the stated bow; no value where none is stated."""
    return turning_absolute_use


@measure(
    title="load on a support while bowed stock turns, of its absolute, at least",
    unit="1",
    heavy="none",
    formula="as turning_absolute_load, for the stiffness of the supports that is kindest",
    source=_STATICS,
)
def sure_turning_load(turning_sure_use: Floats) -> Floats:
    """What of that load does not depend on how far supports give; of more bow than is usual."""
    return turning_sure_use


@measure(
    title="levelling needed",
    unit="mm",
    heavy="none",
    formula=(
        "error of height, up to the one stated, at which no support passes its absolute load; half "
        "of it where that is less than stated, for the bow needs room too"
    ),
    source=_STATICS,
)
def levelling_needed(turning_level: Floats) -> Floats:
    """How far supports may be off in height; no value for a single one."""
    return turning_level


@measure(
    title="levelling needed, at least",
    unit="mm",
    heavy="none",
    formula="as levelling_needed, for the stiffness of the supports that is kindest",
    source=_STATICS,
)
def sure_levelling(turning_sure_level: Floats) -> Floats:
    """What of the levelling needed does not depend on how far supports give."""
    return turning_sure_level
