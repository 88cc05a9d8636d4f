"""What a load in one place adds where stock is carried: by influence lines.

The influence line of a reaction is the shape of the weightless bar with that support raised by
one (Mueller-Breslau; Maxwell and Betti). It knows no stiffness. Where along the stock a flange or
branch sits is not asked, so the worst place is taken.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np

from ..arrays import Floats
from .beam import Bars, deflection, solve_two_sided

PLACES: Final = 97
"""Places along the stock that are tried; supports and both ends are among them."""


class Reach(NamedTuple):
    """The most that one newton anywhere on the stock adds, the worse chuck end.

    Attributes:
        reaction: on a support, N.
        chuck_reaction: on the chuck, N.
        chuck_moment: on the chuck, N*mm.
        sag: times EI, mm^3: between supports that hold no moment, or at the free end.
    """

    reaction: float
    chuck_reaction: float
    chuck_moment: float
    sag: float


def influence(front: float, stations: Sequence[float], at: Floats) -> tuple[Floats, Floats]:
    """Return what 1 N at each place presses on every support, clamped and pinned.

    Args:
        front: length of the stock, mm.
        stations: supports, ascending, one at least; they hold down too.
        at: (points,) mm from the chuck face.

    Returns:
        Reactions (2, supports, points), and moments at the chuck (2, points), N*mm.
    """
    count = len(stations)
    raised = np.repeat(np.eye(count), 2, axis=0)
    places = np.tile(np.array(stations, dtype=np.float64), (2 * count, 1))
    bars = Bars(
        np.full(2 * count, front), np.zeros(2 * count), np.ones(2 * count), places, raised,
        np.tile([True, False], count),
    )  # fmt: skip
    carried, _ = solve_two_sided(bars)
    line = deflection(bars, carried, np.tile(at, (2 * count, 1)))
    reactions = line.reshape(count, 2, -1).transpose(1, 0, 2)
    held = (reactions * np.array(stations)[None, :, None]).sum(axis=1)
    return reactions, at - held


@lru_cache(maxsize=4096)
def reach(front: float, stations: tuple[float, ...]) -> Reach:
    """Return the most that 1 N anywhere on the stock adds."""
    if not stations:
        return Reach(0.0, 1.0, front, front**3 / 3)
    at = np.union1d(np.linspace(0.0, front, PLACES), stations)
    reactions, moments = influence(front, stations, at)
    chuck = 1 - reactions.sum(axis=1)
    spans = [b - a for a, b in zip((0.0, *stations), stations, strict=False)]
    return Reach(
        float(reactions.max()),
        float(np.abs(chuck).max()),
        float(np.abs(moments).max()),
        max(spans, default=math.nan) ** 3 / 48,
    )
