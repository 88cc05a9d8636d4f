"""Units: names, aliases, exact factors, and conversion that loses nothing."""

from fractions import Fraction

import pytest
from cuttable.catalogue.errors import InputError
from cuttable.catalogue.units.units import (
    _ALIASES,
    _CANONICAL,
    _UNITS,
    LENGTH,
    MASS,
    TORQUE,
    canonical,
    convert,
    has_canonical,
    ratio_to_canonical,
    unit,
)
from hypothesis import given, settings
from hypothesis import strategies as st

FUZZ = settings(max_examples=300, deadline=None, derandomize=True, database=None)

SAME_KIND = [
    (first, second)
    for first, (dimension, _) in _UNITS.items()
    for second, (other, _) in _UNITS.items()
    if dimension == other
]


@pytest.mark.parametrize(
    ("name", "in_si"),
    [
        ("in", Fraction(254, 10_000)),
        ("ft", Fraction(3048, 10_000)),
        ("mm", Fraction(1, 1000)),
        ("lb", Fraction(45_359_237, 10**8)),
        ("lbf", Fraction(45_359_237, 10**8) * Fraction(980_665, 10**5)),
        ("psi", Fraction(45_359_237 * 980_665, 10**13) / Fraction(254, 10_000) ** 2),
        ("lb*ft^2", Fraction(45_359_237, 10**8) * Fraction(3048, 10_000) ** 2),
        ("t", Fraction(1000)),
        ("%", Fraction(1, 100)),
    ],
)
def test_factors_are_the_defined_ones(name: str, in_si: Fraction) -> None:
    """International inch and pound and standard gravity, exact to the last digit."""
    assert unit(name).factor == in_si


@pytest.mark.parametrize("name", sorted(_UNITS))
def test_every_unit_is_found_in_any_case(name: str) -> None:
    """Capitals, spaces and a trailing full stop do not make a unit unknown."""
    for text in (name, name.upper(), name.lower(), f" {name}. "):
        assert unit(text).name == name


@pytest.mark.parametrize("alias", sorted(_ALIASES))
def test_every_alias_leads_to_a_unit(alias: str) -> None:
    """No alias points at a unit that does not exist."""
    assert unit(alias).name == _ALIASES[alias]


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("kg·m²", "kg*m^2"),
        ("kgm2", "kg*m^2"),
        ("N·m", "N*m"),
        ("Nm", "N*m"),
        ("N-m", "N*m"),
        ("lbf-ft", "lbf*ft"),
        ("ft-lbf", "lbf*ft"),
        ("N/mm²", "N/mm^2"),
        ("kg/m³", "kg/m^3"),
        ("r/min", "rpm"),
        ("''", "in"),
        ("In.", "in"),
    ],
)
def test_units_as_people_write_them(text: str, name: str) -> None:
    """Raised digits, middle dots and hyphens are read."""
    assert unit(text).name == name


@pytest.mark.parametrize("text", ["", " ", "furlong", "mmm", "k", "°", "m" * 5000])
def test_unknown_unit_is_refused(text: str) -> None:
    """What is no unit is an input error with a way out."""
    with pytest.raises(InputError) as found:
        unit(text)
    assert found.value.code == "unit-unknown"
    assert found.value.remedy


def test_unknown_unit_names_the_nearest() -> None:
    """A slip of the finger is answered with the unit probably meant."""
    with pytest.raises(InputError, match="Did you mean 'inch'"):
        unit("inhc")


@pytest.mark.parametrize(
    ("value", "source", "target", "wanted"),
    [
        (1.0, "in", "mm", 25.4),
        (20.0, "ft", "m", 6.096),
        (1000.0, "mm", "ft", 1000 / 304.8),
        (1.0, "lb", "kg", 0.45359237),
        (1.0, "kg*m^2", "lb*ft^2", 23.730360404),
        (100.0, "N*m", "lbf*ft", 73.756214928),
        (50.0, "ksi", "MPa", 344.73786466),
        (60.0, "rpm", "rad/s", 6.283185307179586),
        (180.0, "deg", "rad", 3.141592653589793),
        (0.0, "ft", "mm", 0.0),
    ],
)
def test_convert_known_values(value: float, source: str, target: str, wanted: float) -> None:
    """Conversions agree with published factors."""
    assert convert(value, source, target) == pytest.approx(wanted, rel=1e-10)


@FUZZ
@given(st.sampled_from(SAME_KIND), st.floats(-1e12, 1e12, allow_subnormal=False))
def test_convert_there_and_back(pair: tuple[str, str], value: float) -> None:
    """There and back again is the same number but for the last bits."""
    first, second = pair
    back = convert(convert(value, first, second), second, first)
    assert back == pytest.approx(value, rel=1e-15, abs=1e-300)


@FUZZ
@given(st.sampled_from(sorted(_UNITS)), st.floats(-1e300, 1e300))
def test_convert_to_the_same_unit_changes_nothing(name: str, value: float) -> None:
    """A unit converted into itself gives the very same float."""
    assert convert(value, name, name) == value


def test_convert_between_kinds_is_refused() -> None:
    """A torque is not a moment of inertia, and a length is not a mass."""
    for first, second in (("mm", "kg"), ("N*m", "kg*m^2"), ("kg", "N")):
        with pytest.raises(InputError) as found:
            convert(1.0, first, second)
        assert found.value.code == "unit-mismatch"


def test_canonical_units_exist_and_are_their_own() -> None:
    """The unit a dimension is held in has that dimension."""
    for dimension, name in _CANONICAL.items():
        assert canonical(dimension).name == name
        assert canonical(dimension).dimension == dimension
        assert has_canonical(dimension)
    assert not has_canonical((7, 7, 7))
    assert {canonical(LENGTH).name, canonical(MASS).name, canonical(TORQUE).name} == {
        "mm",
        "kg",
        "N*m",
    }


def test_every_unit_has_a_canonical_one() -> None:
    """Nothing can be typed that the program has no unit to hold it in."""
    for name, (dimension, factor) in _UNITS.items():
        assert has_canonical(dimension), name
        top, bottom = ratio_to_canonical(name, dimension) or (0, 1)
        assert Fraction(top, bottom) == factor / canonical(dimension).factor


def test_ratio_is_only_given_for_exact_names_of_the_dimension() -> None:
    """The short cut for files steps aside where a name needs care."""
    assert ratio_to_canonical("in", LENGTH) == (127, 5)
    assert ratio_to_canonical("kg", LENGTH) is None
    assert ratio_to_canonical("inches", LENGTH) is None
