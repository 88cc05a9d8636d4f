"""Evaluate conditions on arrays, three-valued: true, false, or not known.

NaN stands for unknown and never reaches a comparison: each comparison masks it, and Kleene's
logic carries *unknown* upward until a rule says what unknown means for it. Numbers meet
limits through one helper with one tolerance, so that stock exactly at a limit is at it
whichever unit it was written in.
"""

from collections.abc import Callable, Mapping
from typing import Final, NamedTuple

import numpy as np

from ..rules.expression import (
    Arithmetic,
    Both,
    Compare,
    Either,
    Extreme,
    FactIs,
    Known,
    Logical,
    Name,
    Not,
    Number,
    Numeric,
)
from ..rules.model import Vocabulary
from .arrays import Bools, Codes, Floats
from .frame import Frame
from .measures import Measured

TOLERANCE: Final = 1e-9
"""Relative difference below which a number counts as equal to its limit."""


class Truth(NamedTuple):
    """A condition for every row: ``yes`` where it holds, ``known`` where it can be judged.

    ``yes`` is never set where ``known`` is not.
    """

    yes: Bools
    known: Bools

    @property
    def unknown(self) -> Bools:
        """Rows that cannot be judged."""
        return ~self.known


class Scope(NamedTuple):
    """What names stand for: number columns, fact columns, and codes of fact values."""

    rows: int
    numbers: Mapping[str, Floats]
    facts: Mapping[str, Codes]
    codes: Mapping[str, Mapping[str, int]]


def fact_codes(vocabulary: Vocabulary) -> dict[str, dict[str, int]]:
    """Return the code of every fact value."""
    return {
        name: {value: code for code, value in enumerate(fact.values)}
        for name, fact in vocabulary.facts.items()
    }


def heavy_names(vocabulary: Vocabulary) -> frozenset[str]:
    """Return the measures that have a heavy end."""
    return frozenset(name for name, item in vocabulary.measures.items() if item.has_heavy)


def scope_of(frame: Frame, measured: Measured, vocabulary: Vocabulary) -> Scope:
    """Name everything that rules can read of a frame and its measures."""
    numbers = dict(frame.numbers)
    numbers.update(measured.nominal)
    numbers.update({f"{name}.heavy": column for name, column in measured.heavy.items()})
    return Scope(frame.rows, numbers, frame.facts, fact_codes(vocabulary))


def exceeds(left: Floats, right: Floats) -> Bools:
    """Say where ``left`` is above ``right`` by more than the tolerance. Finite input only."""
    return left - right > TOLERANCE * np.maximum(np.abs(left), np.abs(right))


def number_of(node: Numeric, scope: Scope) -> Floats:
    """Evaluate a number for every row; NaN where it is not known."""
    match node:
        case Number(value=value):
            return np.full(scope.rows, value)
        case Name(name=name):
            return scope.numbers[name]
        case Extreme(op=op, items=items):
            columns = [number_of(item, scope) for item in items]
            # minimum and maximum carry NaN onward, as they must.
            reduce = np.minimum.reduce if op == "min" else np.maximum.reduce
            return reduce(columns)
        case Arithmetic():
            return _arithmetic(node, scope)


def _arithmetic(node: Arithmetic, scope: Scope) -> Floats:
    left, right = number_of(node.left, scope), number_of(node.right, scope)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        match node.op:
            case "+":
                return left + right
            case "-":
                return left - right
            case "*":
                return left * right * node.scale
            case _:
                return left / right * node.scale


_COMPARE: Final[dict[str, Callable[[Floats, Floats], Bools]]] = {
    ">": exceeds,
    "<": lambda left, right: exceeds(right, left),
    ">=": lambda left, right: ~exceeds(right, left),
    "<=": lambda left, right: ~exceeds(left, right),
}


def truth_of(node: Logical, scope: Scope) -> Truth:
    """Evaluate a condition for every row."""
    match node:
        case Compare(op=op, left=left, right=right):
            a, b = number_of(left, scope), number_of(right, scope)
            known = np.isfinite(a) & np.isfinite(b)
            yes = _COMPARE[op](np.where(known, a, 0.0), np.where(known, b, 0.0))
            return Truth(yes & known, known)
        case FactIs(fact=fact, values=values):
            codes = scope.codes[fact]
            column = scope.facts[fact]
            yes = np.logical_or.reduce([column == codes[value] for value in values])
            return Truth(yes, np.ones(scope.rows, dtype=np.bool_))
        case Known(item=item):
            yes = np.isfinite(number_of(item, scope))
            return Truth(yes, np.ones(scope.rows, dtype=np.bool_))
        case Not(item=item):
            truth = truth_of(item, scope)
            return Truth(~truth.yes & truth.known, truth.known)
        case Both(items=items):
            return _all_of([truth_of(item, scope) for item in items])
        case Either(items=items):
            # Not both not: De Morgan holds in three values too.
            turned = _all_of(
                [Truth(~t.yes & t.known, t.known) for t in (truth_of(i, scope) for i in items)]
            )
            return Truth(~turned.yes & turned.known, turned.known)


def _all_of(truths: list[Truth]) -> Truth:
    yes: Bools = np.logical_and.reduce([truth.yes for truth in truths])
    no: Bools = np.logical_or.reduce([~truth.yes & truth.known for truth in truths])
    return Truth(yes, np.logical_or(yes, no))
