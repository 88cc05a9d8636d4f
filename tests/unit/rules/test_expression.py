"""The expression language: what it reads, what it refuses, and its three values."""

import math

import numpy as np
import pytest
from cuttable.catalogue.errors import InputError
from cuttable.catalogue.units.units import LENGTH, MASS, NUMBER, Dimension
from cuttable.engine.decision.conditions import Scope, number_of, truth_of
from cuttable.rules.expression import Names, asked_about_in, names_in, parse_condition, parse_number
from hypothesis import given
from hypothesis import strategies as st

DIMENSIONS: dict[str, Dimension] = {"a": LENGTH, "b": LENGTH, "m": MASS, "n": NUMBER}
SHAPES = ("round", "square")


def number(name: str) -> Dimension:
    """Return the dimension of a name of these tests."""
    if name not in DIMENSIONS:
        raise InputError("measure-unknown", f"the name {name!r} is not known")
    return DIMENSIONS[name]


NAMES = Names(number, lambda name: SHAPES if name == "shape" else None)


def judge(text: str, **values: float) -> bool | None:
    """Return true, false, or None for unknown."""
    numbers = {name: np.array([values.get(name, math.nan)]) for name in DIMENSIONS}
    facts = {"shape": np.array([0], dtype=np.int8)}
    scope = Scope(1, numbers, facts, {"shape": {"round": 0, "square": 1}})
    truth = truth_of(parse_condition(text, NAMES), scope)
    return bool(truth.yes[0]) if truth.known[0] else None


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("a > b", True),
        ("a < b", False),
        ("a - b <= 10 mm", True),
        ("a > 0.01 m and m > 1 kg", True),
        ("a > 21 mm", False),
        ("not a > b", False),
        ("a > b or m > 100 kg", True),
        ("(a > b and m > 100 kg) or n >= 50 %", True),
        ("(a + b) * 2 > 59 mm", True),
        ("a * b > 199 mm * 1 mm", True),
        ("a / b > 1.9", True),
        ("min(a, b) < 11 mm and max(a, b) > 19 mm", True),
        ("shape is 'round'", True),
        ("shape is not 'round'", False),
        ("shape in ('square', 'round')", True),
        ("known(a)", True),
    ],
)
def test_expressions_mean_what_they_say(text: str, expected: bool) -> None:
    """Values: a 20 mm, b 10 mm, m 5 kg, n 0.5, a round."""
    assert judge(text, a=20.0, b=10.0, m=5.0, n=0.5) is expected


@pytest.mark.parametrize(
    "text",
    [
        "a > m", "a + m > 1 mm", "a > 1 kg", "a > 1", "a * b > 1 mm", "c > 1 mm",
        "a >", "a > b b", "a = b", "a", "shape is round", "shape is 'oval'", "min(a, m) > 1 mm",
        "__import__('os')", "a.real > 1 mm", "a > b; b", "(a > b", "known(a > b)", "", "1 > ;",
    ],
)  # fmt: skip
def test_what_is_wrong_is_refused(text: str) -> None:
    """Unknown names, units that do not match and broken syntax are told when rules load."""
    with pytest.raises(InputError):
        parse_condition(text, NAMES)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("a > b", None),
        ("not a > b", None),
        ("a > b and m > 1 kg", None),
        ("a > b and m > 100 kg", False),
        ("a > b or m > 1 kg", True),
        ("a > b or m > 100 kg", None),
        ("known(a)", False),
        ("not known(a)", True),
        ("known(a) and a > b", False),
        ("min(a, b) > 1 mm", None),
        ("a - b > 1 mm", None),
    ],
)
def test_unknown_is_neither_true_nor_false(text: str, expected: bool | None) -> None:
    """Kleene's logic: a is not known, b 10 mm, m 5 kg."""
    assert judge(text, b=10.0, m=5.0, n=0.5) is expected


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_nan_and_infinity_never_pass_a_comparison(value: float) -> None:
    """Only finite numbers are compared; everything else is unknown."""
    results = [judge(f"a {op} 10 mm", a=value) for op in ("<", "<=", ">", ">=")]
    if math.isfinite(value):
        assert None not in results
        assert results[0] is not results[3]
        assert results[1] is not results[2]
    else:
        assert results == [None] * 4


@given(st.floats(min_value=1e-3, max_value=1e6), st.integers(-4, 4))
def test_a_number_within_the_tolerance_of_its_limit_is_at_it(limit: float, steps: int) -> None:
    """Differences of the last bits decide nothing."""
    value = limit * (1 + steps * 1e-11)
    assert judge("a > b", a=value, b=limit) is False
    assert judge("a >= b", a=value, b=limit) is True


def test_division_by_zero_is_unknown() -> None:
    """It neither raises nor passes."""
    assert judge("a / b > 1", a=1.0, b=0.0) is None


def test_products_keep_canonical_units() -> None:
    """A newton millimetre is a thousandth of a newton metre."""
    scope = Scope(1, {"a": np.array([1000.0])}, {}, {})
    node = parse_number("a * 2 N", NAMES)
    assert number_of(node, scope)[0] == pytest.approx(2.0)


def test_names_are_listed() -> None:
    """Every name a condition reads is known to the checks."""
    node = parse_condition("a > b and shape is 'round' or not known(m)", NAMES)
    assert names_in(node) == {"a", "b", "shape", "m"}
    assert asked_about_in(node) == {"m"}
    assert asked_about_in(parse_condition("known(a) and not (known(m + m) or b > a)", NAMES)) == {
        "a", "m",
    }  # fmt: skip


@pytest.mark.parametrize(
    "text",
    [
        "a > 1e999 mm", "a > 1e-999 mm", "a > 1e999999999999 mm", "n > 1e61 %", "n > 1e61",
        f"n > {'9' * 41}", f"{'(' * 21}a > b{')' * 21}", f"{'(' * 400}n{')' * 400} > 1",
        f"{'not ' * 400}a > b", f"a > {'(' * 21}b{')' * 21}",
    ],
)  # fmt: skip
def test_what_nobody_means_is_refused_before_it_is_worked_out(text: str) -> None:
    """Numbers beyond every measure and brackets beyond reading: an error at once, and short."""
    with pytest.raises(InputError) as fault:
        judge(text)
    assert fault.value.code == "value-range"
    assert len(str(fault.value)) < 300


def test_what_is_just_within_is_read() -> None:
    """The bounds themselves are allowed."""
    assert judge(f"{'(' * 20}a > b{')' * 20}", a=2.0, b=1.0) is True
    assert judge(f"{'not ' * 20}a > b", a=2.0, b=1.0) is True
    assert judge("a < 1e60 mm and a > 1e-60 mm", a=1.0) is True
