"""Conditions on arrays: one tolerance at every limit, and three-valued logic."""

import itertools
import math
from collections.abc import Mapping
from typing import Final

import numpy as np
import pytest
from cuttable.catalogue.units.units import LENGTH
from cuttable.engine.decision.conditions import Judge, Scope, Truth, number_of, truth_of
from cuttable.rules.expression import Names, parse_condition, parse_number

NAMES: Final = Names(
    number=lambda _: LENGTH, fact=lambda name: ("a", "b", "c") if name == "kind" else None
)


def scope_of(kind: int = 0, **numbers: float) -> Scope:
    """Return one row of numbers and a fact."""
    columns = {name: np.array([value], dtype=np.float64) for name, value in numbers.items()}
    codes = {"kind": {"a": 0, "b": 1, "c": 2}}
    return Scope(1, columns, {"kind": np.array([kind], dtype=np.int8)}, codes)


def judged(text: str, kind: int = 0, **numbers: float) -> bool | None:
    """Evaluate a condition for one row; None where it cannot be judged."""
    truth = truth_of(parse_condition(text, NAMES), scope_of(kind, **numbers))
    assert not (truth.yes & truth.unknown).any()
    return bool(truth.yes[0]) if truth.known[0] else None


# At a limit counts as at it: the tolerance is one part in a thousand million, relative to the
# limit. A part in three thousand million is within it, three parts are not.
WITHIN, BEYOND = 3e-10, 3e-9


@pytest.mark.parametrize("limit", [19.05, 1e-3, 6500.0, 1e7])
@pytest.mark.parametrize(
    ("op", "below", "just_below", "at", "just_above", "above"),
    [
        (">", False, False, False, False, True),
        ("<", True, False, False, False, False),
        (">=", False, True, True, True, True),
        ("<=", True, True, True, True, False),
    ],
)
def test_a_number_at_its_limit_is_at_it_and_a_hair_beyond_is_not(
    op: str, limit: float, *, below: bool, just_below: bool, at: bool, just_above: bool, above: bool
) -> None:
    """Neither no tolerance nor one of a millionth has these answers."""
    found = [
        judged(f"x {op} y", x=limit * (1 + factor), y=limit)
        for factor in (-BEYOND, -WITHIN, 0.0, WITHIN, BEYOND)
    ]
    assert found == [below, just_below, at, just_above, above]


@pytest.mark.parametrize("op", [">", "<", ">=", "<="])
def test_one_limit_for_all_rows_is_the_same_limit(op: str) -> None:
    """A limit spread over the rows without copies is judged as one of copies."""
    x = np.array([1 - BEYOND, 1 - WITHIN, 1.0, 1 + WITHIN, 1 + BEYOND, math.nan]) * 19.05
    node = parse_condition(f"x {op} y", NAMES)
    spread = np.broadcast_to(np.float64(19.05), 6)
    found = [truth_of(node, Scope(6, {"x": x, "y": y}, {}, {})) for y in (spread, np.array(spread))]
    for name in ("yes", "known", "unknown"):
        np.testing.assert_array_equal(getattr(found[0], name), getattr(found[1], name))
    assert found[0].unknown.tolist() == [False] * 5 + [True]


def test_a_negative_limit_has_its_tolerance_on_both_sides() -> None:
    """The tolerance is a share of the size of the limit, whichever sign it has."""
    assert judged("x > y", x=-10.0 + 3e-8, y=-10.0) is True
    assert judged("x > y", x=-10.0 + 3e-9, y=-10.0) is False
    assert judged("x < y", x=-10.0 - 3e-8, y=-10.0) is True
    assert judged("x < y", x=-10.0 - 3e-9, y=-10.0) is False


VALUES: Final[Mapping[str, tuple[str, bool | None]]] = {
    "true": ("t > o", True), "false": ("o > t", False), "unknown": ("n > o", None),
}  # fmt: skip
NUMBERS: Final = {"t": 2.0, "o": 1.0, "n": math.nan}


def kleene_and(left: bool | None, right: bool | None) -> bool | None:
    """Kleene's conjunction: false settles it, else unknown does."""
    if left is False or right is False:
        return False
    return None if left is None or right is None else True


@pytest.mark.parametrize(("left", "right"), list(itertools.product(VALUES, repeat=2)))
def test_three_valued_logic(left: str, right: str) -> None:
    """Kleene's tables of and, or and not, all nine pairs (Kleene 1952, from memory)."""
    (one, a), (two, b) = VALUES[left], VALUES[right]
    turned = kleene_and(None if a is None else not a, None if b is None else not b)
    assert judged(f"{one} and {two}", **NUMBERS) is kleene_and(a, b)
    assert judged(f"{one} or {two}", **NUMBERS) is (None if turned is None else not turned)
    assert judged(f"not {one}", **NUMBERS) is (None if a is None else not a)
    assert judged(f"{one} and {two} and {one}", **NUMBERS) is kleene_and(a, b)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("op", [">", "<", ">=", "<="])
def test_what_is_no_number_passes_no_limit_on_either_side(op: str, value: float) -> None:
    """Neither a measure nor a limit that is not a finite number is ever compared."""
    assert judged(f"x {op} y", x=value, y=5.0) is None
    assert judged(f"x {op} y", x=5.0, y=value) is None
    column = np.array([value])
    spread = np.broadcast_to(np.float64(value), 1)
    node = parse_condition(f"x {op} y", NAMES)
    for left, right in ((np.array([5.0]), spread), (spread, np.array([5.0])), (column, spread)):
        truth = truth_of(node, Scope(1, {"x": left, "y": right}, {}, {}))
        assert truth.unknown.all()
        assert not truth.yes.any()


def test_known_and_facts_are_always_judged() -> None:
    """Whether something is known can be said of everything; a fact has one of its values."""
    assert judged("known(n)", **NUMBERS) is False
    assert judged("known(t)", **NUMBERS) is True
    assert judged("known(t - n)", **NUMBERS) is False
    assert judged("not known(n)", **NUMBERS) is True
    for code, name in enumerate("abc"):
        assert judged(f"kind is '{name}'", code) is True
        assert judged(f"kind is '{name}'", (code + 1) % 3) is False
        assert judged(f"kind is not '{name}'", code) is False
    assert [judged("kind in ('a', 'c')", code) for code in range(3)] == [True, False, True]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("x + y", 8.0), ("x - y", 4.0), ("min(x, y)", 2.0), ("max(x, y)", 6.0),
        ("min(x, y, z)", math.nan), ("max(x, y, z)", math.nan), ("x + z", math.nan),
    ],
)  # fmt: skip
def test_arithmetic_carries_what_is_not_known(text: str, expected: float) -> None:
    """A number that is made of one not known is not known."""
    scope = scope_of(x=6.0, y=2.0, z=math.nan)
    found = float(number_of(parse_number(text, NAMES), scope)[0])
    assert found == pytest.approx(expected, nan_ok=True)


def test_ratios_and_products_keep_their_canonical_unit() -> None:
    """6 mm x 2 mm is 12 mm^2, and 6 mm / 2 mm is 3; by nothing is not known, not infinite."""
    scope = scope_of(x=6.0, y=2.0, z=0.0)
    assert float(number_of(parse_number("x * y", NAMES), scope)[0]) == pytest.approx(12.0)
    assert float(number_of(parse_number("x / y", NAMES), scope)[0]) == pytest.approx(3.0)
    assert judged("x / z > 5", x=6.0, z=0.0) is None


def test_what_several_conditions_share_is_found_once_and_alike() -> None:
    """A judge that has seen a comparison gives the same answer again, and to another condition."""
    scope = scope_of(**NUMBERS)
    judge = Judge(scope)
    texts = ["t > o", "n > o", "t > o and n > o", "t > o or n > o", "not n > o"]
    nodes = [parse_condition(text, NAMES) for text in texts]

    def plain(truth: Truth) -> tuple[bool, bool]:
        return bool(truth.yes[0]), bool(truth.known[0])

    first = [plain(judge.truth(node)) for node in nodes]
    assert first == [plain(judge.truth(node)) for node in nodes]
    assert first == [plain(truth_of(node, scope)) for node in nodes]
    assert first == [(True, True), (False, False), (False, False), (True, True), (False, False)]
