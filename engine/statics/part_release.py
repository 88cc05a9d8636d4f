"""What happens to each part as it comes free, and the tabs that hold it until it is lifted.

Lengths in mm from the chuck face, masses in kg, stresses in MPa.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

import numpy as np

from ..arrays import GRAVITY, Floats
from ..inputs.figures import TabRules

Behaviour = Literal["stays", "tips-inner-end-up", "tips-inner-end-down", "drops", "caught"]

SENTENCES: Final[dict[Behaviour, str]] = {
    "stays": "stays on its supports",
    "tips-inner-end-up": "tips outward: its inner end rises and strikes the head",
    "tips-inner-end-down": "tips inward: its inner end drops",
    "drops": "drops: no support is under it",
    "caught": "is caught",
}


class Piece(NamedTuple):
    """A piece that comes free.

    Attributes:
        inner, outer: its ends.
        centre: its centre of mass.
        supports: stations under it.
        behaviour: what it does when nothing else holds it.
    """

    inner: float
    outer: float
    centre: float
    supports: tuple[float, ...]
    behaviour: Behaviour

    @property
    def length(self) -> float:
        """Length of the piece."""
        return self.outer - self.inner


def pieces(
    length: float,
    cuts: Sequence[float],
    stations: Sequence[float],
    margin: float,
    kerf: float = 0.0,
) -> list[Piece]:
    """Return the pieces that come free, in the order of ``cuts``.

    A cut frees what lies between it and the nearest end or earlier cut outward of it. With
    cuts in another order than from the free end, a later cut farther out frees a piece of what
    has fallen already; it is told like any other.

    Args:
        length: length of the stock.
        cuts: positions in the order they are made.
        stations: positions of supports.
        margin: a support counts as beyond the centre of mass from this distance.
        kerf: width of a cut, on the chuck side of its position.
    """
    ends = [length]
    found: list[Piece] = []
    for cut in cuts:
        outer = min(end for end in ends if end > cut)
        ends.append(cut)
        if outer != length:
            outer = max(outer - kerf, cut)
        under = tuple(sorted(s for s in stations if cut < s < outer))
        centre = (cut + outer) / 2
        found.append(Piece(cut, outer, centre, under, behaviour_of(centre, under, margin)))
    return found


def behaviour_of(centre: float, supports: Sequence[float], margin: float) -> Behaviour:
    """Return what a free piece does: it stays only if two supports straddle its centre.

    Source: statics. On a single support, or with the centre above one, a piece is at best in
    unstable balance and counts as tipping outward, the way that strikes the head.
    """
    if not supports:
        return "drops"
    is_inside = min(supports) <= centre - margin
    is_outside = max(supports) >= centre + margin
    if is_inside and is_outside:
        return "stays"
    return "tips-inner-end-up" if is_inside or not is_outside else "tips-inner-end-down"


class Tube(NamedTuple):
    """What tabs are cut from, arrays of one a tube: mm, mm, mm, MPa, kg/mm."""

    mean_radius: Floats
    wall: Floats
    girth: Floats
    yield_strength: Floats
    linear_mass: Floats


@dataclass(frozen=True)
class Tabs:
    """Tabs that hold a piece; ``stress`` is the equivalent stress in them."""

    count: int
    width: float
    stress: float
    allowed: float


def tab_stress(
    tube: Tube, length: float, torque: Floats | float, count: float, width: Floats | float
) -> Floats:
    """Return the equivalent (von Mises) stress in equal tabs that hold a free piece, MPa.

    Bending of the overhanging piece about the ring of tabs, shear from its weight, torsion
    from starting it: sigma = 2 W x / (n w t R), tau = W / (n w t) + T / (n w t R). For three or
    more equal tabs the ring of tabs has the same second moment at every roll angle,
    n A R^2 / 2. Source: strength of materials.

    Args:
        tube: the tube.
        length: length of the free piece, mm.
        torque: torque in N*mm that starts or holds the piece.
        count: number of tabs.
        width: width of one along the girth, mm.
    """
    weight = tube.linear_mass * length * GRAVITY
    area = count * width * tube.wall
    bending = 2 * weight * (length / 2) / (area * tube.mean_radius)
    shear = weight / area + torque / (area * tube.mean_radius)
    return np.sqrt(bending**2 + 3 * shear**2)


def tabs_of(
    tubes: Tube, length: float, torque: Floats, kerf: float, rules: TabRules
) -> tuple[Floats, Floats, Floats]:
    """Return the fewest and then narrowest tabs that hold a piece of each tube.

    Widths go up in whole steps from the larger of the kerf and the narrowest that the wall asks
    for. Stress falls with the width of all tabs together, so the narrowest follows without search.

    Returns:
        Count, width of one in mm, stress in MPa; NaN where no tabs hold it.
    """
    allowed = tubes.yield_strength / rules.safety
    step = rules.step
    narrowest = np.maximum(kerf, rules.narrowest * tubes.wall)
    least = np.maximum(1.0, np.ceil(narrowest / step - 1e-9)) * step
    needed = tab_stress(tubes, length, torque, 1, 1.0) / allowed
    count, width, stress = (np.full(len(allowed), np.nan) for _ in range(3))
    for number in rules.counts:
        widest = np.minimum(rules.widest, rules.largest_share * tubes.girth / number)
        most = np.floor(widest / step) * step
        wide = np.maximum(least, np.ceil(needed / number / step * (1 - 1e-12)) * step)
        good = np.isnan(count) & (wide <= most)
        count = np.where(good, float(number), count)
        width = np.where(good, wide, width)
        stress = np.where(good, tab_stress(tubes, length, torque, number, wide), stress)
    return count, width, stress


def tabs_for(tube: Tube, length: float, torque: float, kerf: float, rules: TabRules) -> Tabs | None:
    """Return the tabs of one tube, None if none can hold the piece; see :func:`tabs_of`."""
    one = Tube(*(np.atleast_1d(np.asarray(value, dtype=np.float64)) for value in tube))
    found = tabs_of(one, length, np.array([torque]), kerf, rules)
    count, width, stress = (float(column[0]) for column in found)
    if math.isnan(count):
        return None
    return Tabs(int(count), width, stress, float(one.yield_strength[0]) / rules.safety)
