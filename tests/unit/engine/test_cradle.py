"""How rounds sit on rollers, in a V and in a ring.

Geometry and statics; worked values with their source are in ``beam_values.json``. Bounds of the
included angle (40 and 100 degrees) are common practice, no source.
"""

import json
import math
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import pytest
from cuttable.catalogue.machines.model import UNSTATED, Support
from cuttable.engine.inputs.contract import load_rules
from cuttable.engine.inputs.figures import SeatAngles, figures_of
from cuttable.engine.statics import seating
from cuttable.engine.statics.seating import Seated, flat_heights
from hypothesis import given, settings
from hypothesis import strategies as st

VALUES: Final[dict[str, Any]] = json.loads(
    Path(__file__).with_name("beam_values.json").read_text(encoding="utf-8")
)


def seated(item: Support, diameter: float) -> Seated:
    """Seat a round by the angles named at the top."""
    return seating.seated(item, diameter, SeatAngles(math.radians(40), math.radians(100)))


def support(**geometry: float) -> Support:
    """Return a support of this geometry; what is not given is not there."""
    nothing = dict.fromkeys(("roller_radius", "roller_spacing", "vee_angle", "ring_bore"), math.nan)
    return Support("one", "One", ("round",), 1, True, reaction=UNSTATED, **nothing | geometry)


def rollers(radius: float = 38.0, spacing: float = 150.0) -> Support:
    """Return a pair of rollers; radius 38 and spacing 150 mm are those of the worked values."""
    return support(roller_radius=radius, roller_spacing=spacing)


@pytest.mark.parametrize("row", VALUES["rollers"], ids=lambda row: str(row["id"]))
def test_rows_of_worked_seats(row: dict[str, Any]) -> None:
    """Every worked seat is met within its tolerance; the source stands in the row."""
    values = row["inputs"]
    if "vee_angle_deg" in values:
        item = support(vee_angle=math.radians(values["vee_angle_deg"]))
    else:
        item = rollers(values["roller_radius"], values["roller_spacing"])
    if row["read"] == "drop":
        low, high = 0.0, 500.0
        for _ in range(60):
            middle = (low + high) / 2
            falls = seated(item, middle).seat == "falls-through"
            low, high = (middle, high) if falls else (low, middle)
        found = low
    else:
        seat = seated(item, values["diameter"])
        found = {
            "centre": seat.centre,
            "half": math.degrees(seat.included / 2),
            "each": seat.each,
        }[row["read"]]
    assert found == pytest.approx(row["expected"], rel=row["tolerance_pct"] / 100)


def test_round_falls_through_below_twice_the_half_spacing_less_the_radius() -> None:
    """Below 2 (s/2 - r) = 74 mm a round falls between the rollers, above it sits wedged."""
    for diameter in (10.0, 60.3, 73.999, 74.0):
        seat = seated(rollers(), diameter)
        assert seat.seat == "falls-through"
        assert not seat.is_usable
        assert math.isnan(seat.centre)
    seat = seated(rollers(), 74.001)
    assert seat.seat == "wedged"
    assert seat.is_usable
    assert seat.centre == pytest.approx(math.sqrt(75.0005**2 - 75**2))


@pytest.mark.parametrize(("degrees", "below", "above"), [(40, "shallow", "good"),
                                                         (100, "good", "wedged")])  # fmt: skip
def test_seat_classes_on_both_sides(degrees: float, below: str, above: str) -> None:
    """The class changes at 40 and at 100 degrees included (common practice, no source)."""
    at = 2 * (75 / math.sin(math.radians(degrees / 2)) - 38)  # diameter of that included angle
    wider, narrower = seated(rollers(), at - 0.01), seated(rollers(), at + 0.01)
    assert math.degrees(wider.included) == pytest.approx(degrees, abs=0.02)
    assert (narrower.seat, wider.seat) == (below, above)
    assert narrower.included < math.radians(degrees) < wider.included
    assert narrower.is_usable
    assert wider.is_usable
    angles = figures_of(load_rules()).seat_angles
    shipped = {40: angles.shallow, 100: angles.wedged}[int(degrees)]
    assert math.degrees(shipped) == pytest.approx(degrees)


@pytest.mark.parametrize(
    ("diameter", "included", "seat"),
    [
        (60.3, math.nan, "falls-through"),
        (88.9, 130.9, "wedged"),
        (114.3, 104.0, "wedged"),
        (168.3, 75.8, "good"),
        (219.1, 61.1, "good"),
        (323.8, 44.1, "good"),
        (406.4, 36.2, "shallow"),
    ],
)
def test_seats_of_pipe_sizes(diameter: float, included: float, seat: str) -> None:
    """Included angle 2 asin(s/2 / (R + r)) of common pipe on r 38, s 150 mm, computed."""
    found = seated(rollers(), diameter)
    assert found.seat == seat
    assert math.degrees(found.included) == pytest.approx(included, abs=0.06, nan_ok=True)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.floats(10, 120), st.floats(0, 300), st.floats(1, 900))
def test_two_rollers_carry_the_load_and_touch(radius: float, gap: float, above: float) -> None:
    """Both rollers are touched, their forces lift the load, and half goes to each side."""
    spacing = 2 * radius + gap
    diameter = max(gap, 0.0) + above
    seat = seated(rollers(radius, spacing), diameter)
    assert seat.is_usable
    assert math.hypot(seat.centre, spacing / 2) == pytest.approx(diameter / 2 + radius)
    assert 2 * seat.each * math.cos(seat.included / 2) == pytest.approx(1)
    assert seat.each >= 0.5


def test_centre_rises_as_the_diameter_grows() -> None:
    """On rollers and in a V a larger round stands higher, and its rollers carry less each."""
    for item in (rollers(), support(vee_angle=math.radians(90))):
        seats = [seated(item, 75.0 + 5 * number) for number in range(100)]
        centres = [seat.centre for seat in seats]
        assert all(b > a for a, b in pairwise(centres))
        included = [seat.included for seat in seats]
        assert all(b <= a for a, b in pairwise(included))
    ring = support(ring_bore=700.0)
    assert {seated(ring, 75.0 + 5 * number).centre for number in range(100)} == {0.0}


@pytest.mark.parametrize("degrees", [60, 90, 120, 150])
def test_round_in_a_vee_touches_both_sides(degrees: float) -> None:
    """The centre is R / sin(half the angle of the V) above its point, each side R away."""
    half = math.radians(degrees) / 2
    seat = seated(support(vee_angle=2 * half), 168.3)
    assert seat.seat == "good"
    assert seat.centre == pytest.approx(84.15 / math.sin(half))
    assert seat.centre * math.sin(half) == pytest.approx(84.15)  # distance to a side
    # Contact forces stand square to the sides: their upward parts sin(half) carry the load.
    assert 2 * seat.each * math.sin(half) == pytest.approx(1)
    assert seat.included == pytest.approx(math.pi - 2 * half)


def test_ring_takes_what_is_smaller_than_its_bore() -> None:
    """A ring centres what goes through it and takes nothing else."""
    ring = support(ring_bore=170.0)
    inside, same, larger = (seated(ring, diameter) for diameter in (169.99, 170.0, 170.01))
    assert inside.seat == "good"
    assert inside.centre == 0.0
    assert math.isnan(inside.each)
    assert {same.seat, larger.seat} == {"too-large"}
    assert not same.is_usable
    assert math.isnan(larger.centre)


def test_flat_rest_carries_without_a_centre() -> None:
    """A support without geometry is a flat rest."""
    seat = seated(support(), 168.3)
    assert seat.seat == "flat"
    assert seat.is_usable
    assert math.isnan(seat.centre)


@pytest.mark.parametrize("row", VALUES["swept"], ids=lambda row: str(row["id"]))
def test_heights_of_a_box_on_a_flat_rest(row: dict[str, Any]) -> None:
    """On a side the centre is half that side high, on a corner half the swept circle."""
    values = row["inputs"]
    width, height, radius = float(values["B"]), float(values["H"]), float(values["ro"])
    swept = 2 * (math.hypot(width / 2 - radius, height / 2 - radius) + radius)
    assert swept == pytest.approx(row["expected"], rel=row["tolerance_pct"] / 100)
    found = flat_heights(height, width, swept)
    assert found == pytest.approx((height / 2, width / 2, row["expected"] / 2), rel=1e-3)
    assert max(found) == found[2]
