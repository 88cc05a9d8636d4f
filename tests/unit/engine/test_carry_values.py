"""How stock is carried, by value: numbers of the stock, supports, cuts, and what rules read.

Statics and geometry worked here from handbook formulas; figures of rowan-150 are those of its
file: stations 600 to 6300 mm by 150, stub 150, trim 25, kerf 2.2, keep clear 120 mm; three roller
pairs of 1.8/2.3 kN (r 38, s 120 mm), three V-cradles of 0.6/0.8 kN.
"""

import math
from typing import Final

import numpy as np
import pytest
from cuttable.catalogue.designations.designations import read_section
from cuttable.catalogue.machines.model import MachineModel
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.inputs.figures import figures_of
from cuttable.engine.jobs.job import Geometry, Part
from cuttable.engine.statics.part_release import Piece
from cuttable.engine.statics.stocks import (
    MOST_STATIONS,
    Keyed,
    Stocks,
    Usable,
    cuts_of,
    dealt,
    grid_of,
    parts_fitting,
    stock_numbers,
    stocks_of,
    usable_supports,
)
from cuttable.engine.statics.support_loads import HOPELESS, Carrier, Carry

G: Final = 9.80665
CORE: Final = AssessorCore()
ROWAN: Final = CORE.catalogue.machine("rowan-150")
FIGURES: Final = figures_of(CORE.rule_set)
PAIRS: Final = usable_supports(Keyed(ROWAN), frozenset({"roller-pair"}), "round", 114.3, FIGURES)


def stocks(weight: float, outside: float = 114.3, rows: int = 1) -> Stocks:
    """Return stocks of this weight (N/mm), an EI of 6e11 N mm^2 and a tube of 6.02 mm."""
    tube = (54.14, 5.27, 359.1, 240.0, weight / G)
    numbers = (weight, 6e11, outside, *tube, weight / G * 2900.0, weight, 6e11)
    return stocks_of(np.array([numbers] * rows))


def carry(
    geometry: Geometry, weight: float = 0.2, machine: MachineModel = ROWAN, usable: Usable = PAIRS,
    outside: float = 114.3,
) -> Carry:  # fmt: skip
    """Carry one stock."""
    return Carrier(machine, geometry, usable, FIGURES).carry(stocks(weight, outside))


def column(found: Carry, name: str) -> float:
    """Return what rules read."""
    return float(found.columns[name][0])


# --- numbers of the stock ---------------------------------------------------------------------


def test_numbers_of_a_pipe() -> None:
    """NPS 4 SCH 40 (114.3 x 6.02 mm) of ASTM A53: mass +10 %, thinnest wall -12.5 %.

    Weight counts at the heavy end, stiffness and tabs with the thin wall.
    """
    pipe = read_section("NPS 4 SCH 40", CORE.catalogue.tables)
    grade = CORE.catalogue.grades["ASTM A53 B"]
    numbers = stock_numbers(pipe, grade, 0.5)
    weight, stiffness, outside, radius, wall, girth, strength, mass, turning, *nominal = numbers
    area = math.pi * (114.3 - 6.02) * 6.02
    heavy = 7850e-9 * area * 1.1 + 0.5e-3  # kg/mm
    assert mass == pytest.approx(heavy, rel=1e-9)
    assert weight == pytest.approx(heavy * G, rel=1e-9)
    second = math.pi / 64 * (114.3**4 - (114.3 - 2 * 6.02) ** 4)
    assert stiffness == pytest.approx(200e3 * second * 0.875, rel=1e-9)
    light = 7850e-9 * area + 0.5e-3
    assert nominal == pytest.approx([light * G, 200e3 * second], rel=1e-9)
    assert (outside, strength) == (114.3, 240.0)
    assert radius == pytest.approx((114.3 - 6.02) / 2)
    assert wall == pytest.approx(6.02 * 0.875)
    assert girth == pytest.approx(math.pi * 114.3)
    inertia = ((114.3 / 2) ** 2 + (114.3 / 2 - 6.02) ** 2) / 2
    assert turning == pytest.approx(heavy * inertia, rel=1e-9)


def test_numbers_of_a_rectangle() -> None:
    """RHS 150 x 100 x 6: bends about its weaker axis, tabs stand in the nearer pair of flats."""
    box = read_section("RHS 150x100x6 cf", CORE.catalogue.tables)
    grade = CORE.catalogue.grades["ASTM A53 B"]
    _, stiffness, outside, radius, wall, girth, *_ = stock_numbers(box, grade, 0.0)
    # Izz 444 cm4 (UK national section tables, three digits).
    assert stiffness == pytest.approx(grade.elasticity * 444e4 * wall / 6, rel=2e-3)
    assert outside == 150
    assert radius == 100 / 2 - 6 / 2
    assert girth == 2 * (150 + 100)


# --- supports that can be used ----------------------------------------------------------------


def test_the_best_seat_comes_first_and_then_the_strongest() -> None:
    """At 60.3 mm rollers wedge, V-cradles sit well: weaker, but first. At 114.3 both do."""
    fitted = ROWAN.fitted_as_delivered
    small = usable_supports(Keyed(ROWAN), fitted, "round", 60.3, FIGURES)
    assert [item.code for item in small.supports] == ["vee-cradle"] * 3 + ["roller-pair"] * 3
    assert small.seats == ("good",) * 3 + ("wedged",) * 3
    large = usable_supports(Keyed(ROWAN), fitted, "round", 141.3, FIGURES)
    assert [item.code for item in large.supports] == ["roller-pair"] * 3 + ["vee-cradle"] * 3
    assert large.best_seated().supports == large.supports[:3]
    assert small.strongest_first()[0].code == "roller-pair"
    assert usable_supports(Keyed(ROWAN), fitted, "square", 100.0, FIGURES) == Usable((), ())
    # Below 2 (s/2 - r) = 44 mm a round falls between the rollers.
    tiny = usable_supports(Keyed(ROWAN), frozenset({"roller-pair"}), "round", 42.0, FIGURES)
    assert tiny == Usable((), ())
    rest = usable_supports(Keyed(ROWAN), frozenset({"lift-and-index"}), "square", 100.0, FIGURES)
    assert rest.seats == ("flat",) * 2


def test_supports_are_dealt_strongest_first_and_the_weakest_stands_for_more() -> None:
    """With more stations than supports the last kind is counted again; STAND-02 refuses them."""
    both = usable_supports(Keyed(ROWAN), ROWAN.fitted_as_delivered, "round", 60.3, FIGURES)
    assert [item.code for item in dealt(both, 4)] == ["roller-pair"] * 3 + ["vee-cradle"]
    assert len(dealt(both, 8)) == 8
    assert [item.code for item in dealt(both, 8)][6:] == ["vee-cradle"] * 2
    assert dealt(both, 0) == ()


# --- cuts and parts ---------------------------------------------------------------------------


def test_cuts_follow_from_the_parts() -> None:
    """From 3000 mm: trim 25, then part, kerf 2.2, part. What does not fit has no cut."""
    geometry = Geometry(3000.0, 0.0, (Part(600.0, 2), Part(900.0, 1)))
    assert cuts_of(geometry, ROWAN) == pytest.approx((2375.0, 1772.8, 870.6))
    assert cuts_of(replace_behind(geometry, 500.0), ROWAN) == pytest.approx((1875.0, 1272.8, 370.6))
    assert cuts_of(Geometry(700.0, 0.0, (Part(600.0, 3),)), ROWAN) == pytest.approx((75.0,))
    assert cuts_of(Geometry(625.0, 0.0, (Part(600.0, 1),)), ROWAN) == ()
    given = Geometry(3000.0, 0.0, (), (2500.0, 1200.0, 3000.0))
    assert cuts_of(given, ROWAN) == (2500.0, 1200.0)


def replace_behind(geometry: Geometry, behind: float) -> Geometry:
    """Return the geometry with some of it behind the chuck."""
    return geometry._replace(behind=behind)


@pytest.mark.parametrize(
    ("length", "count"),
    [
        (150 + 25 + 2 * 602.2 + 902.2, 3.0),
        (150 + 25 + 2 * 602.2 + 902.2 - 1e-7, 3.0),  # as good as exactly
        (150 + 25 + 2 * 602.2 + 902.2 - 1e-3, 2.0),
        (150 + 25 + 602.2, 1.0),
        (150 + 25 + 602.1, 0.0),
    ],
)
def test_how_many_parts_come_out(length: float, count: float) -> None:
    """Stub, trim, and a kerf for each part."""
    parts = (Part(600.0, 2), Part(900.0, 1))
    assert parts_fitting(Geometry(length, 0.0, parts), ROWAN) == count
    assert parts_fitting(Geometry(length + 300, 300.0, parts), ROWAN) == count
    assert math.isnan(parts_fitting(Geometry(length), ROWAN))


# --- what rules read --------------------------------------------------------------------------


def test_one_support_under_a_bar() -> None:
    """A span a of 1200 mm and an overhang c of 800 mm; the worse of both chuck ends counts.

    Pinned: R = w L^2 / (2 a). Clamped: the propped cantilever with an overhang,
    R = w (3 a / 8 + c + 3 c^2 / (4 a)) (Roark; AISC T3-23, from memory).
    """
    weight, length, span = 0.2, 2000.0, 1200.0
    over = length - span
    found = carry(Geometry(length, stations=(span,)), weight)
    pinned = weight * length**2 / (2 * span)
    clamped = weight * (3 * span / 8 + over + 3 * over**2 / (4 * span))
    assert column(found, "carried_reaction") == pytest.approx(max(pinned, clamped), rel=1e-9)
    chuck = max(abs(weight * length - pinned), abs(weight * length - clamped))
    assert column(found, "carried_chuck_reaction") == pytest.approx(chuck, rel=1e-9)
    moment = abs(weight * span**2 / 8 - weight * over**2 / 4)
    assert column(found, "carried_chuck_moment") == pytest.approx(moment / 1e3, rel=1e-9)
    assert column(found, "carried_span") == span
    assert column(found, "carried_overhang") == over
    assert column(found, "carried_lifted") == 0
    assert column(found, "stations_spare") == 2
    # The most loaded of one is what the one support bears: its own rating.
    assert column(found, "reaction_rated") == pytest.approx(1800.0)
    assert column(found, "reaction_absolute") == pytest.approx(2300.0)
    assert column(found, "tab_strength") == 240.0 / 8


def test_loads_grow_with_weight_and_sag_with_weight_over_stiffness() -> None:
    """Twice as heavy is twice the load; the spans stay."""
    geometry = Geometry(4000.0, stations=(1200.0, 2700.0))
    one, two = carry(geometry, 0.2), carry(geometry, 0.4)
    for name in ("carried_reaction", "carried_chuck_reaction", "carried_chuck_moment",
                 "carried_sag"):  # fmt: skip
        assert column(two, name) == pytest.approx(2 * column(one, name), rel=1e-12)
        assert column(one, name) > 0
    stiff = stocks(0.2)._replace(stiffness=np.array([1.2e12]))
    soft = Carrier(ROWAN, geometry, PAIRS, FIGURES).carry(stiff)
    assert column(soft, "carried_sag") == pytest.approx(column(one, "carried_sag") / 2, rel=1e-12)


@pytest.mark.parametrize("behind", [300.0, 1500.0])
def test_what_stands_behind_adds_to_the_load_and_its_moment_counts_where_larger(
    behind: float,
) -> None:
    """W b more on the bearing; the moment is the larger of front and w b^2 / 2."""
    front = 900.0
    alone = carry(Geometry(front))
    through = carry(Geometry(front + behind, behind))
    more = column(through, "carried_chuck_reaction") - column(alone, "carried_chuck_reaction")
    assert more == pytest.approx(0.2 * behind)
    expected = 0.2 * max(front, behind) ** 2 / 2 / 1e3
    assert column(through, "carried_chuck_moment") == pytest.approx(expected)


def test_the_weakest_support_with_its_share_gives_the_rating() -> None:
    """Supports of two strengths: the rating that counts is the reaction over the fullest share."""
    both = usable_supports(Keyed(ROWAN), ROWAN.fitted_as_delivered, "round", 114.3, FIGURES)
    few = Usable(
        (both.supports[0], next(item for item in both.supports if item.code == "vee-cradle")),
        ("good", "good"),
    )
    # Equal loads on two stations: the second one stands on the weaker kind, which is fuller.
    found = carry(Geometry(4000.0, stations=(1400.0, 3200.0)), 0.2, usable=few)
    top = column(found, "carried_reaction")
    share = top / column(found, "reaction_rated")
    assert 600.0 <= column(found, "reaction_rated") <= 1800.0
    loads = Carrier(ROWAN, Geometry(4000.0, stations=(1400.0, 3200.0)), few, FIGURES)
    unit = loads._unit((1400.0, 3200.0), few, ())
    assert share == pytest.approx(0.2 * float(unit.support_share[0]), rel=1e-12)
    # Each against what it bears at most itself, not by the reserve of the strongest kind.
    assert column(found, "reaction_absolute") == pytest.approx(
        top / (0.2 * float(unit.absolute_share[0])), rel=1e-12
    )
    assert column(found, "reaction_absolute") == pytest.approx(top / share * 800 / 600)


def test_without_supports_nothing_is_rated() -> None:
    """The chuck alone: no support's rating, no height, and no seat."""
    found = carry(Geometry(900.0), usable=Usable((), ()))
    for name in ("reaction_rated", "reaction_absolute", "centre_low", "centre_high"):
        assert math.isnan(column(found, name))
    assert found.seats == ("none",)
    assert column(found, "stations_spare") == 0


def test_heights_are_those_of_the_kinds_in_use() -> None:
    """Rollers: sqrt((R + r)^2 - (s/2)^2); V of 90 degrees: R / sin 45 (geometry)."""
    both = usable_supports(Keyed(ROWAN), ROWAN.fitted_as_delivered, "round", 114.3, FIGURES)
    on_rollers = math.sqrt((57.15 + 38) ** 2 - 60**2)
    in_vee = 57.15 / math.sin(math.pi / 4)
    three = carry(Geometry(3300.0, stations=(900.0, 1800.0, 2700.0)), usable=both)
    assert column(three, "centre_low") == pytest.approx(on_rollers)
    assert column(three, "centre_high") == pytest.approx(on_rollers)
    four = carry(Geometry(4200.0, stations=(900.0, 1800.0, 2700.0, 3600.0)), usable=both)
    assert column(four, "centre_low") == pytest.approx(min(on_rollers, in_vee))
    assert column(four, "centre_high") == pytest.approx(max(on_rollers, in_vee))


@pytest.mark.parametrize(
    ("stations", "blocked"),
    [
        ((600.0, 1500.0), 0), ((599.0, 1500.0), 1), ((600.0, 6301.0), 1), ((600.0, 6300.0), 0),
        # A cut at 2000 keeps 120 mm clear on both sides, and exactly there is clear.
        ((1880.0,), 0), ((1881.0,), 1), ((2119.0,), 1), ((2120.0,), 0), ((1881.0, 2119.0), 2),
    ],
)  # fmt: skip
def test_where_no_support_may_stand(stations: tuple[float, ...], blocked: int) -> None:
    """Off the bed, or nearer to a cut than the file says."""
    geometry = Geometry(6400.0, cuts=(2000.0,), stations=stations)
    assert column(carry(geometry), "stations_blocked") == blocked


def test_stations_of_the_bed() -> None:
    """600 to 6300 by 150 mm are 39 stations, the last among them; a fine pitch is cut off."""
    grid = grid_of(ROWAN)
    assert (grid[0], grid[1], grid[-1], len(grid)) == (600.0, 750.0, 6300.0, 39)
    bed = ROWAN.bed._replace(station_pitch=1.0)
    assert len(grid_of(ROWAN._replace(bed=bed))) == MOST_STATIONS
    short = ROWAN.bed._replace(last_station=6299.0)
    assert grid_of(ROWAN._replace(bed=short))[-1] == 6150.0


# --- whether it is planned at all -------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "mass", "is_worth"),
    [
        (6500.0, 300.0, True),
        (6500.0, 330.0 * HOPELESS * 0.999, True),
        (6500.0, 330.0 * HOPELESS * 1.001, False),
        (6500.0 * (1 + 5e-10), 100.0, True),
        (6501.0, 100.0, False),
    ],
)
def test_what_is_hopeless_is_not_planned(length: float, mass: float, is_worth: bool) -> None:
    """Longer than absolute, or half as heavy again as absolute: refused whatever stands there."""
    carrier = Carrier(ROWAN, Geometry(length), PAIRS, FIGURES)
    weight = np.array([mass * G / length])
    assert bool(carrier._is_worth_planning(weight)[0]) is is_worth


def test_without_a_plan_supports_are_spread_evenly() -> None:
    """Stations near L k / (n + 0.6), on the grid, each once; none without supports."""
    carrier = Carrier(ROWAN, Geometry(6000.0), PAIRS, FIGURES)
    assert carrier._spread(3) == (1650.0, 3300.0, 4950.0)
    assert carrier._spread(0) == ()
    assert Carrier(ROWAN, Geometry(500.0), PAIRS, FIGURES)._spread(3) == ()
    assert Carrier(ROWAN, Geometry(700.0), PAIRS, FIGURES)._spread(3) == (600.0,)


def test_a_plan_with_all_kinds_is_sought_where_the_first_kind_has_none() -> None:
    """Six metres need more than the three V-cradles that seat 60.3 mm best can bear."""
    both = usable_supports(Keyed(ROWAN), ROWAN.fitted_as_delivered, "round", 60.3, FIGURES)
    light = carry(Geometry(6000.0), 0.1, usable=both, outside=60.3)
    assert {item.code for item in light.supports[0].supports} == {"vee-cradle"}
    assert light.choices[0].level == "rated"
    heavy = carry(Geometry(6000.0), 0.45, usable=both, outside=60.3)
    assert {item.code for item in heavy.supports[0].supports} == {"vee-cradle", "roller-pair"}
    assert heavy.choices[0].level in ("rated", "absolute")
    assert (light.seats, heavy.seats) == (("good",), ("wedged",))


# --- parts as they come free ------------------------------------------------------------------


def stopping(per_length: float, length: float, turns: float) -> float:
    """Share of a part in the braking torque of an emergency stop, N mm; lengths in mm.

    Rated stock stops from 45 rpm in 0.4 s (file); the chuck has 0.60 kg m^2.
    """
    braking = (0.60 + ROWAN.limit("rotary_inertia").rated) * 45 * 2 * math.pi / 60 / 0.4
    return 1e3 * braking * per_length * length / (0.60e6 + per_length * turns)


@pytest.mark.parametrize("braked", [True, False])
def test_torque_that_starts_or_stops_a_part(braked: bool) -> None:
    """J per length x length x the ramp: 45 rpm in 0.6 s (file), N mm; in a stop its share."""
    rotary = ROWAN.rotary if braked else ROWAN.rotary._replace(stop_time=math.nan)
    carrier = Carrier(ROWAN._replace(rotary=rotary), Geometry(3000.0), PAIRS, FIGURES)
    some = stocks(0.2)
    ramp = 45 * 2 * math.pi / 60 / 0.6
    expected = 0.2 / G * 2900.0 * 600.0 * ramp / 1e3
    if braked:
        assert stopping(0.2 / G * 2900.0, 600.0, 2800.0) > expected
        expected = stopping(0.2 / G * 2900.0, 600.0, 2800.0)
    piece = Piece(2200.0, 2800.0, 2500.0, (), "drops")
    assert float(carrier.torque(some, piece)[0]) == pytest.approx(expected)


def test_parts_that_hang_are_counted_once_each() -> None:
    """Three short parts off the end of a bar that two stations hold: tabs hold every one.

    No station lies to each side of the centre of parts of 200 mm, and 7 kg are too much for a bin.
    """
    parts = (Part(200.0, 3),)
    found = carry(Geometry(3000.0, 0.0, parts, stations=(900.0, 1800.0)), 0.35)
    assert (column(found, "parts_tabbed"), column(found, "parts_unheld")) == (3, 0)
    assert 0 < column(found, "worst_tab_stress") <= 30
    long = carry(Geometry(6400.0, 0.0, (Part(3000.0, 1),), stations=(900.0, 1800.0)), 1.5)
    assert (column(long, "parts_tabbed"), column(long, "parts_unheld")) == (0, 1)
    # The strongest there could be: four of 25 mm or a quarter of the girth, shared by four.
    width = min(25.0, 0.25 * 359.1 / 4)
    area, weight = 4 * width * 5.27, 1.5 * 3000.0
    ramp = 45 * 2 * math.pi / 60 / 0.6
    torque = max(
        1.5 / G * 2900.0 * 3000.0 * ramp / 1e3,
        stopping(1.5 / G * 2900.0, 3000.0, 6400.0 - ROWAN.cutting.trim),
    )
    bending = 2 * weight * 1500.0 / (area * 54.14)
    shear = weight / area + torque / (area * 54.14)
    expected = math.sqrt(bending**2 + 3 * shear**2)
    assert column(long, "worst_tab_stress") == pytest.approx(expected, rel=1e-9)
    stays = carry(
        Geometry(6000.0, 0.0, (Part(2400.0, 1),), stations=(900.0, 2100.0, 4200.0, 5400.0))
    )
    assert column(stays, "parts_tabbed") == column(stays, "parts_unheld") == 0
    assert math.isnan(column(stays, "worst_tab_stress"))


def test_stocks_of_one_geometry_get_their_own_answer() -> None:
    """Light and heavy beside each other: as each alone, tabs and stations included."""
    geometry = Geometry(6000.0, 0.0, (Part(900.0, 2),))
    carrier = Carrier(ROWAN, geometry, PAIRS, FIGURES)
    weights = [0.05, 0.4, 0.9, 3.0]
    rows = [stocks(weight) for weight in weights]
    together = stocks(1.0, rows=len(weights))
    together = Stocks(
        *(
            np.concatenate([getattr(row, name) for row in rows])
            for name in ("weight", "stiffness", "outside")
        ),
        type(together.tubes)(
            *(np.concatenate(columns) for columns in zip(*(row.tubes for row in rows), strict=True))
        ),
        *(
            np.concatenate([getattr(row, name) for row in rows])
            for name in ("turning", "nominal_weight", "nominal_stiffness")
        ),
    )
    whole = carrier.carry(together)
    for number, row in enumerate(rows):
        alone = carrier.carry(row)
        for name in alone.columns:
            np.testing.assert_array_equal(whole.columns[name][number], alone.columns[name][0])
        assert whole.choices[whole.which[number]].stations == alone.choices[alone.which[0]].stations


def test_machines_are_the_same_when_their_files_are() -> None:
    """The key of a machine is its content, not its name."""
    assert Keyed(ROWAN) == Keyed(ROWAN._replace(title="other"))
    assert hash(Keyed(ROWAN)) == hash(Keyed(ROWAN._replace(title="other")))
    assert Keyed(ROWAN) != Keyed(ROWAN._replace(digest="sha256:0"))
    assert Keyed(ROWAN) != ROWAN
