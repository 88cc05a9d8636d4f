"""Chances against SciPy's distributions, and what must hold of any chance."""

import math
from functools import cache

import numpy as np
import pytest
from cuttable.catalogue.grades.tolerances import MillSpread
from cuttable.engine.decision import mill_chance
from cuttable.engine.decision.mill_chance import (
    HEAT_SHARE,
    LAWS,
    WALL,
    Law,
    Quantity,
    chance_over,
    in_lot,
    inertia_per_length,
    mass_per_length,
)
from numpy.typing import NDArray
from scipy.stats import norm, qmc, truncnorm


def a53(outside: float, wall: float) -> MillSpread:
    """ASTM A53: size 1 %, wall 12.5 %, mass 10 %, each either way."""
    area = wall * (outside - wall)
    return MillSpread(
        (outside * 0.99, outside * 1.01), (wall * 0.875, wall * 1.125), (area * 0.9, area * 1.1)
    )


NPS_6 = (168.3, 7.11)
INERTIA = inertia_per_length(7850, 0)
MASS = mass_per_length(7850, 0)


@pytest.mark.parametrize(
    ("law", "expected"), [("normal", (0.0047, 0.0756, 0.392)), ("uniform", (0.0429, 0.210, 0.446))]
)
def test_check_values_of_a53(law: Law, expected: tuple[float, ...]) -> None:
    """Worked out anew with SciPy, 2^20 Sobol points (the next test); three digits."""
    nominal = INERTIA.of(*NPS_6)
    limits = nominal / np.array([0.92, 0.95, 0.99])
    found = chance_over(a53(*NPS_6), INERTIA, limits, law)
    assert found == pytest.approx(expected, abs=5e-4, rel=0.012)


@cache
def places(law: Law) -> NDArray[np.float64]:
    """2^20 places in the ranges of outside and wall."""
    points = qmc.Sobol(2, scramble=True, rng=7).random_base2(20)
    return points if law == "uniform" else (truncnorm(-3, 3).ppf(points) + 3) / 6


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize(
    "spread",
    [
        a53(*NPS_6),
        a53(21.3, 2.77)._replace(outside=(20.9, 21.7)),
        # ASTM A106 of 219.1 mm: +1.59/-0.79 mm, mass +10/-3.5 %.
        MillSpread((218.31, 220.69), (7.16, 9.2), (1723 * 0.965, 1723 * 1.1)),
        # Thick wall, no mass tolerance: EN 10216-1, wall 12.5 %.
        MillSpread((59.7, 60.9), (14.0, 18.0), (0.0, math.inf)),
    ],
    ids=["NPS 6", "NPS 1/2", "one-sided", "thick"],
)
def test_the_same_as_a_million_draws(spread: MillSpread, law: Law) -> None:
    """``scipy.stats.qmc`` and ``truncnorm``, 2^20 points."""
    place = places(law)
    (small, large), (thin, thick), (least, most) = spread
    outside, wall = small + (large - small) * place[:, 0], thin + (thick - thin) * place[:, 1]
    area = wall * (outside - wall)
    kept = (area >= least) & (area <= most)
    zinc = 0.9
    inner = outside - 2 * wall
    own = 7850e-6 * math.pi * area + zinc
    drawn = {
        "mass": (mass_per_length(7850, zinc), own),
        "inertia": (inertia_per_length(7850, zinc), own * (outside**2 + inner**2) / 8),
        "wall": (WALL, wall),
    }
    for name, (quantity, every) in drawn.items():
        values = every[kept]
        limits = np.quantile(values, [0.001, 0.2, 0.5, 0.9, 0.99, 0.999])
        found = chance_over(spread, quantity, limits, law)
        assert found == pytest.approx([(values > limit).mean() for limit in limits], abs=1e-4), name


def test_the_normal_law_alone() -> None:
    """A size that does not vary leaves the truncated normal of the wall (``scipy.stats.norm``)."""
    spread = MillSpread((100.0, 100.0), (4.0, 6.0), (0.0, math.inf))
    limits = np.array([4.2, 5.0, 5.5, 5.9])
    cut = norm.cdf(-3)
    expected = (norm.sf((limits - 5) * 3) - cut) / (1 - 2 * cut)
    assert chance_over(spread, WALL, limits, "normal") == pytest.approx(expected, abs=1e-6)
    uniform = chance_over(spread, WALL, limits, "uniform")
    assert uniform == pytest.approx((6 - limits) / 2, abs=1e-9)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("quantity", [INERTIA, MASS, WALL], ids=["inertia", "mass", "wall"])
def test_falls_with_the_limit_from_one_to_nothing(quantity: Quantity, law: Law) -> None:
    limits = np.concatenate([np.linspace(0.5, 1.5, 2001) * quantity.of(*NPS_6), [np.inf]])
    found = chance_over(a53(*NPS_6), quantity, limits, law)
    assert ((found >= 0) & (found <= 1)).all()
    assert (np.diff(found) <= 0).all()
    assert (found[0], found[-2], found[-1]) == (1, 0, 0)
    assert 0 < found[1000] < 1
    one_by_one = [chance_over(a53(*NPS_6), quantity, limits[i : i + 1], law) for i in range(2002)]
    assert np.concatenate(one_by_one).tolist() == found.tolist()


def test_a_limit_below_nothing_is_always_passed() -> None:
    """What is fixed beside the axis can use up a limit before the stock itself."""
    for quantity in (INERTIA, MASS):
        assert chance_over(a53(*NPS_6), quantity, np.array([-5.0]), "normal").tolist() == [1]


def test_no_limit_no_number() -> None:
    found = chance_over(a53(*NPS_6), MASS, np.array([np.nan, 1.0]), "uniform")
    assert np.isnan(found[0])
    assert found[1] == 1


def test_what_no_mill_can_roll_has_no_number() -> None:
    spread = a53(*NPS_6)._replace(area=(1e6, 2e6))
    assert np.isnan(chance_over(spread, MASS, np.array([28.0]), "normal")).all()


def test_pieces_above_the_mass_limit_are_left_out() -> None:
    over = MASS.of(*NPS_6) * 1.1001
    assert chance_over(a53(*NPS_6), MASS, np.array([over]), "uniform")[0] == 0
    free = a53(*NPS_6)._replace(area=(0.0, math.inf))
    assert chance_over(free, MASS, np.array([over]), "uniform")[0] > 0.02


@pytest.mark.parametrize("law", LAWS)
def test_twice_as_many_diameters_change_nothing(law: Law, monkeypatch: pytest.MonkeyPatch) -> None:
    limits = np.linspace(0.85, 1.15, 301) * INERTIA.of(*NPS_6)
    found = chance_over(a53(*NPS_6), INERTIA, limits, law)
    monkeypatch.setattr(mill_chance, "NODES", 2 * mill_chance.NODES)
    assert np.abs(chance_over(a53(*NPS_6), INERTIA, limits, law) - found).max() < 1e-4


def test_a_lot_of_one_heat() -> None:
    """Half of lots alike: between one piece's chance and that of pieces drawn apart."""
    assert in_lot(0.1, 1) == pytest.approx(0.1)
    assert in_lot(0.1, 2) == pytest.approx(HEAT_SHARE * 0.1 + (1 - HEAT_SHARE) * 0.19)
    assert [in_lot(chance, 50) for chance in (0.0, 1.0)] == [0, 1]
    told = [in_lot(0.02, pieces) for pieces in range(1, 200)]
    assert told == sorted(told)
    assert all(0.02 <= one <= 1 - 0.98**n + 1e-12 for n, one in enumerate(told, 1))
