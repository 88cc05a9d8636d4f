"""The small closed language that rules are written in.

    shape is 'round' and round_diameter > limit.round_diameter.rated
    known(needed_length) and needed_length > usable_length
    min(param.oversize_rapid, rapid_override.heavy)
    coating in ('galvanised', 'wet') and stock_length > 6 m

Numbers and arithmetic, ``< <= > >=``, ``is``, ``is not`` and ``in`` for facts, ``and``,
``or``, ``not``, ``known(...)``, ``min``, ``max``. Names come from the closed vocabulary;
units are checked when the text is parsed. Nothing is ever evaluated as Python.

Long because the tree, its parser and the questions asked of it are one language, read together.
"""

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Final, NamedTuple, NoReturn

from ..catalogue.errors import InputError
from ..catalogue.units.units import NUMBER, Dimension, canonical, has_canonical, unit


class Number(NamedTuple):
    """A number in the canonical unit of its dimension."""

    value: float
    dimension: Dimension


class Name(NamedTuple):
    """A measure, limit, parameter or machine number, by its full name."""

    name: str
    dimension: Dimension


class Arithmetic(NamedTuple):
    """``left op right``; for products ``scale`` keeps the result in its canonical unit."""

    op: str
    left: "Numeric"
    right: "Numeric"
    dimension: Dimension
    scale: float


class Extreme(NamedTuple):
    """``min`` or ``max`` of several numbers of one dimension."""

    op: str
    items: tuple["Numeric", ...]
    dimension: Dimension


Numeric = Number | Name | Arithmetic | Extreme


class Compare(NamedTuple):
    """``left op right`` for two numbers of one dimension."""

    op: str
    left: Numeric
    right: Numeric


class FactIs(NamedTuple):
    """A fact has one of these values."""

    fact: str
    values: tuple[str, ...]


class Known(NamedTuple):
    """A number is known (stated by the builder, or given by the asker)."""

    item: Numeric


class Not(NamedTuple):
    """Negation."""

    item: "Logical"


class Both(NamedTuple):
    """``and`` of several conditions."""

    items: tuple["Logical", ...]


class Either(NamedTuple):
    """``or`` of several conditions."""

    items: tuple["Logical", ...]


Logical = Compare | FactIs | Known | Not | Both | Either
Node = Numeric | Logical


class Names(NamedTuple):
    """What names mean: dimension of a number, or values of a fact.

    ``number`` and ``fact`` raise ``InputError`` for an unknown name.
    """

    number: Callable[[str], Dimension]
    fact: Callable[[str], tuple[str, ...] | None]


_TOKEN: Final = re.compile(
    r"\s*(?:(?P<number>\d+(?:\.\d+)?(?:e-?\d+)?)|(?P<name>[A-Za-z_][\w]*(?:\.[A-Za-z_][\w]*)*)"
    r"|(?P<text>'[^']*'|\"[^\"]*\")|(?P<op><=|>=|[-+*/()<>,%])|(?P<bad>\S))"
)
DEEPEST: Final = 20
"""Brackets within brackets that an expression may have."""
LONGEST_NUMBER: Final = 40
MOST_POWER: Final = 60
"""Characters and power of ten of a number: far beyond any limit, well within a float."""
MOST_SHOWN: Final = 120
"""Characters of an expression that an error shows."""

_WORDS: Final = frozenset({"and", "or", "not", "is", "in", "known", "min", "max"})


def parse_condition(text: str, names: Names) -> Logical:
    """Parse a condition.

    Raises:
        InputError: ``designation-unreadable`` never; ``value-range`` for a syntax fault,
            ``measure-unknown`` for a name, ``unit-mismatch`` for units that do not match.
    """
    parser = _Parser(text, names)
    node = parser.either()
    parser.end()
    return node


def parse_number(text: str, names: Names) -> Numeric:
    """Parse an arithmetic expression; see :func:`parse_condition`."""
    parser = _Parser(text, names)
    node = parser.total()
    parser.end()
    return node


class _Parser:
    def __init__(self, text: str, names: Names) -> None:
        self.text = text
        self.names = names
        self.tokens: list[tuple[str, str]] = []
        for match in _TOKEN.finditer(text):
            kind = str(match.lastgroup)
            if kind == "bad":
                self.fail(f"{match[kind]!r} has no meaning here")
            self.tokens.append((kind, match[kind]))
        self.at = 0
        self.check_depth()

    def check_depth(self) -> None:
        """Refuse what nests deeper than anybody reads, before it is descended into."""
        depth = nots = 0
        for _, word in self.tokens:
            depth += {"(": 1, ")": -1}.get(word, 0)
            nots = nots + 1 if word == "not" else 0
            if max(depth, nots) > DEEPEST:
                self.fail(f"brackets or 'not' nest more than {DEEPEST} deep")

    def fail(self, what: str) -> NoReturn:
        shown = self.text if len(self.text) <= MOST_SHOWN else f"{self.text[:MOST_SHOWN]}…"
        raise InputError("value-range", f"{what} in {shown!r}")

    def peek(self) -> str:
        return self.tokens[self.at][1] if self.at < len(self.tokens) else ""

    def take(self) -> tuple[str, str]:
        if self.at >= len(self.tokens):
            self.fail("the expression ends too early")
        self.at += 1
        return self.tokens[self.at - 1]

    def accept(self, word: str) -> bool:
        if self.peek() == word:
            self.at += 1
            return True
        return False

    def expect(self, word: str) -> None:
        if not self.accept(word):
            self.fail(f"{word!r} is expected before {self.peek() or 'the end'!r}")

    def end(self) -> None:
        if self.at < len(self.tokens):
            self.fail(f"{self.peek()!r} is not expected")

    # conditions ---------------------------------------------------------------------------

    def either(self) -> Logical:
        items = [self.both()]
        while self.accept("or"):
            items.append(self.both())
        return items[0] if len(items) == 1 else Either(tuple(items))

    def both(self) -> Logical:
        items = [self.negated()]
        while self.accept("and"):
            items.append(self.negated())
        return items[0] if len(items) == 1 else Both(tuple(items))

    def negated(self) -> Logical:
        if self.accept("not"):
            return Not(self.negated())
        return self.comparison()

    def comparison(self) -> Logical:
        if self.accept("known"):
            self.expect("(")
            item = self.total()
            self.expect(")")
            return Known(item)
        kind, name = self.tokens[self.at] if self.at < len(self.tokens) else ("", "")
        if kind == "name" and name not in _WORDS and self.names.fact(name) is not None:
            return self.fact()
        if self.peek() == "(":
            before = self.at
            try:
                self.at += 1
                node = self.either()
                self.expect(")")
            except InputError:
                self.at = before  # it was arithmetic in brackets after all
            else:
                return node
        left = self.total()
        _, op = self.take()
        if op not in ("<", "<=", ">", ">="):
            self.fail(f"a comparison is expected, not {op!r}")
        right = self.total()
        self.same(left, right)
        return Compare(op, left, right)

    def fact(self) -> Logical:
        _, name = self.take()
        allowed = self.names.fact(name) or ()
        if self.accept("is"):
            is_negated = self.accept("not")
            values = (self.fact_value(name, allowed),)
            return Not(FactIs(name, values)) if is_negated else FactIs(name, values)
        self.expect("in")
        self.expect("(")
        several = [self.fact_value(name, allowed)]
        while self.accept(","):
            several.append(self.fact_value(name, allowed))
        self.expect(")")
        return FactIs(name, tuple(several))

    def fact_value(self, name: str, allowed: tuple[str, ...]) -> str:
        kind, token = self.take()
        value = token[1:-1]
        if kind != "text":
            self.fail(f"a value in quotes is expected after {name}")
        if value not in allowed:
            self.fail(f"{value!r} is not a value of {name} ({', '.join(allowed)})")
        return value

    # numbers ------------------------------------------------------------------------------

    def same(self, left: Numeric, right: Numeric) -> None:
        if left.dimension != right.dimension:
            raise InputError(
                "unit-mismatch",
                f"{_unit_name(left.dimension)} and {_unit_name(right.dimension)} do not go "
                f"together in {self.text!r}",
            )

    def total(self) -> Numeric:
        node = self.product()
        while self.peek() in ("+", "-"):
            _, op = self.take()
            right = self.product()
            self.same(node, right)
            node = Arithmetic(op, node, right, node.dimension, 1.0)
        return node

    def product(self) -> Numeric:
        node = self.single()
        while self.peek() in ("*", "/"):
            _, op = self.take()
            node = _multiply(op, node, self.single())
        return node

    def single(self) -> Numeric:
        kind, token = self.take()
        if kind == "op" and token == "(":  # noqa: S105 - a bracket is no password
            node = self.total()
            self.expect(")")
            return node
        if kind == "number":
            return self.literal(token)
        if token in ("min", "max"):
            return self.extreme(token)
        if kind == "name" and token not in _WORDS:
            return Name(token, self.names.number(token))
        return self.fail(f"a number or name is expected, not {token!r}")

    def extreme(self, op: str) -> Numeric:
        self.expect("(")
        items = [self.total()]
        while self.accept(","):
            items.append(self.total())
            self.same(items[0], items[-1])
        self.expect(")")
        return Extreme(op, tuple(items), items[0].dimension)

    def exact(self, digits: str) -> Fraction:
        """Return a number exactly; one that nothing measured has is refused before it is built."""
        mantissa, _, power = digits.partition("e")
        if len(mantissa) > LONGEST_NUMBER or len(power) > 4 or abs(int(power or 0)) > MOST_POWER:
            self.fail(f"the number {digits[:MOST_SHOWN]} is larger or finer than any measure")
        return Fraction(digits)

    def literal(self, digits: str) -> Numeric:
        """Read a number and, if one follows, its unit (which may hold ``*``, ``/``, ``^``)."""
        number = self.exact(digits)
        if self.accept("%"):
            return Number(float(number / 100), NUMBER)
        kind, token = self.tokens[self.at] if self.at < len(self.tokens) else ("", "")
        if kind != "name" or token in _WORDS:
            return Number(float(number), NUMBER)
        self.at += 1
        given = unit(token)
        factor = given.factor / canonical(given.dimension).factor
        return Number(float(number * factor), given.dimension)


def _factor(dimension: Dimension) -> Fraction:
    return canonical(dimension).factor if has_canonical(dimension) else Fraction(1)


def _multiply(op: str, left: Numeric, right: Numeric) -> Numeric:
    sign = 1 if op == "*" else -1
    mass, size, time = (a + sign * b for a, b in zip(left.dimension, right.dimension, strict=True))
    dimension = (mass, size, time)
    scale = _factor(left.dimension) * _factor(right.dimension) ** sign / _factor(dimension)
    return Arithmetic(op, left, right, dimension, float(scale))


def _unit_name(dimension: Dimension) -> str:
    if dimension == NUMBER:
        return "a pure number"
    return canonical(dimension).name if has_canonical(dimension) else "a unit without a name"


def names_in(node: Node) -> set[str]:
    """Return every number name and fact that a tree reads."""
    match node:
        case Number():
            return set()
        case Name(name=name):
            return {name}
        case FactIs(fact=fact):
            return {fact}
        case Arithmetic(left=left, right=right) | Compare(left=left, right=right):
            return names_in(left) | names_in(right)
        case Known(item=item) | Not(item=item):
            return names_in(item)
        case Extreme(items=items) | Both(items=items) | Either(items=items):
            return set[str]().union(*(names_in(item) for item in items))


def asked_about_in(node: Logical) -> set[str]:
    """Return the names that a condition asks about with ``known``: it is judged without them."""
    match node:
        case Known(item=item):
            return names_in(item)
        case Not(item=item):
            return asked_about_in(item)
        case Both(items=items) | Either(items=items):
            return set[str]().union(*(asked_about_in(item) for item in items))
        case Compare() | FactIs():
            return set()


def comparisons_in(node: Logical) -> list[Compare]:
    """Return the comparisons of a condition in reading order."""
    match node:
        case Compare():
            return [node]
        case Not(item=item):
            return comparisons_in(item)
        case Both(items=items) | Either(items=items):
            return [found for item in items for found in comparisons_in(item)]
        case FactIs() | Known():
            return []


def facts_in(node: Logical) -> list[FactIs]:
    """Return the fact tests of a condition in reading order."""
    match node:
        case FactIs():
            return [node]
        case Not(item=item):
            return facts_in(item)
        case Both(items=items) | Either(items=items):
            return [found for item in items for found in facts_in(item)]
        case Compare() | Known():
            return []
