"""Evaluate conditions on arrays, three-valued: true, false, or not known.

NaN stands for unknown and never reaches a comparison: each comparison masks it, and Kleene's
logic carries *unknown* upward until a rule says what unknown means for it. Numbers meet
limits through one helper with one tolerance, so that stock exactly at a limit is at it
whichever unit it was written in.
"""

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np

from ...rules.expression import (
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
    names_in,
)
from ...rules.model import Vocabulary
from ..arrays import Bools, Codes, Floats
from ..inputs.frame import Frame
from ..measures import Measured
from ..measures.inch_column import inch_columns
from ..tolerance import TOLERANCE


class Truth(NamedTuple):
    """A condition for every row: ``yes`` where it holds, ``judged`` where it can be judged.

    ``yes`` is never set where it cannot. ``judged`` is None where every row can be, which is
    nearly always so.
    """

    yes: Bools
    judged: Bools | None

    @property
    def known(self) -> Bools:
        """Rows that can be judged."""
        return np.ones(len(self.yes), dtype=np.bool_) if self.judged is None else self.judged

    @property
    def unknown(self) -> Bools:
        """Rows that cannot be judged."""
        return np.zeros(len(self.yes), dtype=np.bool_) if self.judged is None else ~self.judged


class Scope(NamedTuple):
    """What names stand for: number columns, fact columns, and codes of fact values.

    Attributes:
        inches: sizes by their printed inches, in mm; empty where nothing is compared in inches.
        in_inches: by limit, rows in which it was written in inches.
    """

    rows: int
    numbers: Mapping[str, Floats]
    facts: Mapping[str, Codes]
    codes: Mapping[str, Mapping[str, int]]
    inches: Mapping[str, Floats] = MappingProxyType({})
    in_inches: Mapping[str, Bools] = MappingProxyType({})

    def by_inches(self) -> "Scope":
        """Return the scope in which every size is that of the printed inches."""
        return self._replace(numbers={**self.numbers, **self.inches})


def fact_codes(vocabulary: Vocabulary) -> dict[str, dict[str, int]]:
    """Return the code of every fact value."""
    return {
        name: {value: code for code, value in enumerate(fact.values)}
        for name, fact in vocabulary.facts.items()
    }


def scope_of(frame: Frame, measured: Measured, vocabulary: Vocabulary) -> Scope:
    """Name everything that rules can read of a frame and its measures."""
    numbers = dict(frame.numbers)
    numbers.update(measured.nominal)
    numbers.update({f"{name}.heavy": column for name, column in measured.heavy.items()})
    codes = fact_codes(vocabulary)
    if not frame.in_inches:
        return Scope(frame.rows, numbers, frame.facts, codes)
    inches = inch_columns(frame)
    return Scope(frame.rows, numbers, frame.facts, codes, inches, frame.in_inches)


def exceeds(left: Floats, right: Floats) -> Bools:
    """Say where ``left`` is above ``right`` by more than the tolerance. Finite input only."""
    return left > right + TOLERANCE * np.abs(right)


def number_of(node: Numeric, scope: Scope) -> Floats:
    """Evaluate a number for every row; NaN where it is not known."""
    match node:
        case Number(value=value):
            return np.broadcast_to(np.float64(value), scope.rows)
        case Name(name=name):
            return scope.numbers[name]
        case Extreme(op=op, items=items):
            columns = [number_of(item, scope) for item in items]
            # minimum and maximum carry NaN onward, as they must.
            reduce = np.minimum.reduce if op == "min" else np.maximum.reduce
            return reduce(columns)
        case Arithmetic():
            return _arithmetic(node, scope)


def number_beside(node: Numeric, limits: Iterable[Numeric], scope: Scope) -> Floats:
    """Evaluate a number that is set against limits, each size in the column of their unit.

    In rows where one of ``limits`` was written in inches a size is that of the printed inches,
    elsewhere that of the printed millimetres.
    """
    found = number_of(node, scope)
    if not scope.in_inches:
        return found
    names = {name for limit in limits for name in names_in(limit)}
    masks = [scope.in_inches[name] for name in names if name in scope.in_inches]
    if not masks or not names_in(node) & scope.inches.keys():
        return found
    is_inch = np.logical_or.reduce(masks)
    return np.where(is_inch, number_of(node, scope.by_inches()), found)


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


def truth_of(node: Logical, scope: Scope) -> Truth:
    """Evaluate one condition for every row; for many on one scope see :class:`Judge`."""
    return Judge(scope).truth(node)


class Judge:
    """Evaluates conditions on one scope. What several of them share is found once.

    Inside, ``known`` is None where every row can be judged, which is nearly always so.
    """

    def __init__(self, scope: Scope) -> None:
        self._scope = scope
        self._finite: dict[int, tuple[Floats, Bools | None]] = {}
        self._compared: dict[Compare, tuple[Bools, Bools | None]] = {}
        self._all: Bools = np.ones(scope.rows, dtype=np.bool_)

    def truth(self, node: Logical) -> Truth:
        """Evaluate a condition for every row."""
        return Truth(*self._judge(node))

    def _judge(self, node: Logical) -> tuple[Bools, Bools | None]:
        match node:
            case Compare():
                found = self._compared.get(node)
                if found is None:
                    found = self._compared[node] = self._compare(node)
                return found
            case FactIs(fact=fact, values=values):
                codes, column = self._scope.codes[fact], self._scope.facts[fact]
                yes = column == codes[values[0]]
                for value in values[1:]:
                    yes = yes | (column == codes[value])
                return yes, None
            case Known(item=item):
                known = self._known(number_of(item, self._scope))
                return (self._all if known is None else known), None
            case Not(item=item):
                yes, known = self._judge(item)
                return (~yes if known is None else ~yes & known), known
            case Both(items=items):
                return self._all_of([self._judge(item) for item in items])
            case Either(items=items):
                # Not both not: De Morgan holds in three values too.
                turned = [self._judge(Not(item)) for item in items]
                yes, known = self._all_of(turned)
                return (~yes if known is None else ~yes & known), known

    def _compare(self, node: Compare) -> tuple[Bools, Bools | None]:
        """Compare two numbers; NaN makes every comparison false, and what is false unknown."""
        both = (node.left, node.right)
        left, right = (number_beside(side, both, self._scope) for side in both)
        # One limit for all rows is one number.
        bound: Any = right[0] if right.size and right.strides == (0,) else right
        slack = TOLERANCE * np.abs(bound)
        with np.errstate(invalid="ignore"):
            match node.op:
                case ">":
                    yes = left > bound + slack
                case "<":
                    yes = left < bound - slack
                case ">=":
                    yes = left >= bound - slack
                case _:
                    yes = left <= bound + slack
        known = _both(self._known(left), self._known(right))
        return (yes if known is None else yes & known), known

    def _known(self, column: Floats) -> Bools | None:
        """Return where a column is finite, None where it is throughout."""
        found = self._finite.get(id(column))
        if found is not None and found[0] is column:
            return found[1]
        known: Bools | None
        if column.size and column.strides == (0,):
            known = None if np.isfinite(column[0]) else np.zeros(len(column), dtype=np.bool_)
        else:
            known = np.isfinite(column)
            known = None if known.all() else known
        self._finite[id(column)] = (column, known)
        return known

    def _all_of(self, truths: list[tuple[Bools, Bools | None]]) -> tuple[Bools, Bools | None]:
        yes = truths[0][0]
        for other, _ in truths[1:]:
            yes = yes & other
        if all(known is None for _, known in truths):
            return yes, None
        known = yes.copy()
        for holds, judged in truths:
            # One part that is false settles it, whatever is not known of the others.
            known |= ~holds if judged is None else ~holds & judged
        return yes, (None if known.all() else known)


def _both(left: Bools | None, right: Bools | None) -> Bools | None:
    if left is None or right is None:
        return right if left is None else left
    return left & right
