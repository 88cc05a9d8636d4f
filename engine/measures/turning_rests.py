"""Measures of squares and rectangles while they turn, where rests do not turn with them.

No value where every rest carries then as it does while the section stands.
"""

import numpy as np

from ..arrays import Floats
from .registry import measure

_STATICS = "three-moment equation with one-sided supports at their heights; clamped chuck"


@measure(
    title="chuck moment while turning",
    unit="N*m",
    heavy="more",
    formula="|M0| on rests at -drop, or that push their follow force",
    source=_STATICS,
)
def turning_chuck_moment(turning_moment: Floats) -> Floats:
    """Moment on the chuck bearing while the section turns with its rests lowered or yielding."""
    return turning_moment


@measure(
    title="chuck reaction while turning",
    unit="N",
    heavy="more",
    formula="|R0| on rests at -drop, or that push their follow force",
    source=_STATICS,
)
def turning_chuck_reaction(turning_load: Floats) -> Floats:
    """Load on the chuck bearing while the section turns with its rests lowered or yielding."""
    return turning_load


@measure(
    title="droop while turning",
    unit="mm",
    heavy="more",
    formula="EI v'' = M, integrated; thin wall",
    source=_STATICS,
)
def turning_droop(turning_fall: Floats) -> Floats:
    """Largest droop while the section turns with its rests lowered or yielding."""
    return turning_fall


@measure(
    title="drop of the rests",
    unit="mm",
    heavy="none",
    formula="least drop of a lowered rest used",
    source="builder",
)
def rest_drop(lowered_by: Floats) -> Floats:
    """How far the rests used are lowered before the section turns; the least of them."""
    return lowered_by


@measure(
    title="drop of a corner",
    unit="mm",
    heavy="more",
    formula="swept / 2 - shorter side / 2",
    source="geometry",
)
def corner_drop(corner_size: Floats, lowered_by: Floats) -> Floats:
    """How much lower a corner comes than the flat as the section turns over lowered rests."""
    return np.where(np.isnan(lowered_by), np.nan, corner_size)


@measure(
    title="room over lowered rests",
    unit="mm",
    heavy="less",
    formula="least of drop - droop over a lowered rest, at every stage",
    source=_STATICS,
)
def turning_room(turning_gap: Floats) -> Floats:
    """Room between the flat and a lowered rest, droop taken off: corners turn in it."""
    return turning_gap


@measure(
    title="load on a following rest",
    unit="1",
    heavy="more",
    formula="largest Ri / follow force",
    source="three-moment equation with one-sided supports; the worse of clamped and pinned chuck",
)
def follow_use(follow_share: Floats) -> Floats:
    """Load on the fullest rest that follows, over the force that it follows with."""
    return follow_share
