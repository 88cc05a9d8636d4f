"""How round stock sits on its supports: centre height, contact angle, whether it fits.

Lengths in mm, angles in rad. Heights are those of the stock's centre above the support datum:
the line of the roller centres, the point of the V, the middle of the ring.
"""

import math
from typing import Final, Literal, NamedTuple

from ...catalogue.machines.model import Support
from ..inputs.figures import SeatAngles

Seat = Literal["good", "falls-through", "wedged", "shallow", "too-large", "flat"]

NAMED_SEATS: Final = ("good", "wedged", "shallow")
"""Seats on which stock may turn that rules are told of by name."""


class Seated(NamedTuple):
    """How a diameter sits on one kind of support.

    Attributes:
        centre: height of the stock's centre above the datum, mm; NaN where it does not sit.
        included: angle between the two contacts, NaN where there are none.
        each: load on each of the two contacts / load on the support.
    """

    seat: Seat
    centre: float
    included: float
    each: float

    @property
    def is_usable(self) -> bool:
        """Whether stock may turn on it at all."""
        return self.seat in ("good", "wedged", "shallow", "flat")


_NOT: Final = math.nan


def seated(support: Support, diameter: float, angles: SeatAngles) -> Seated:
    """Return how a round of this diameter sits on a support.

    Between two rollers it is shallow, good or wedged by the ``angles``.

    Roller pair: h = sqrt((R + r)^2 - (s/2)^2), half angle asin(s/2 / (R + r)), each roller
    N = W / (2 cos half). V-cradle: h = R / sin(half the angle of the V). Ring: centred.
    Source: statics and geometry.
    """
    radius = diameter / 2
    if not math.isnan(support.ring_bore):
        fits = diameter < support.ring_bore
        return Seated("good" if fits else "too-large", 0.0 if fits else _NOT, _NOT, _NOT)
    if not math.isnan(support.vee_angle):
        half = math.pi / 2 - support.vee_angle / 2
        centre = radius / math.sin(support.vee_angle / 2)
        return Seated("good", centre, 2 * half, 1 / (2 * math.cos(half)))
    if math.isnan(support.roller_radius) or math.isnan(support.roller_spacing):
        return Seated("flat", _NOT, _NOT, _NOT)
    reach, half_spacing = radius + support.roller_radius, support.roller_spacing / 2
    if radius <= half_spacing - support.roller_radius or reach <= half_spacing:
        return Seated("falls-through", _NOT, _NOT, _NOT)
    half = math.asin(half_spacing / reach)
    centre = math.sqrt(reach**2 - half_spacing**2)
    included = 2 * half
    seat: Seat = "good"
    if included < angles.shallow:
        seat = "shallow"
    elif included > angles.wedged:
        seat = "wedged"
    return Seated(seat, centre, included, 1 / (2 * math.cos(half)))


def flat_heights(height: float, width: float, swept: float) -> tuple[float, float, float]:
    """Return centre heights of a square or rectangle on a flat rest: side, edge, corner down.

    ``swept`` is the swept diameter: on a corner the centre is half of it above the rest.
    """
    return height / 2, width / 2, swept / 2
