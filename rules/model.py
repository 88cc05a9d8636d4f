"""What a rule set consists of."""

import datetime as dt
import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal, NamedTuple

from .expression import Logical, Numeric

Outcome = Literal["setting", "conditions", "question", "refused"]
HeavyEnd = Literal["more", "less", "either", "none"]
Unknown = Literal["never", "conditions", "question", "refused"]


class Template(NamedTuple):
    """A sentence with computed values in it: literal pieces and expressions by turns.

    ``fields[i]`` stands between ``texts[i]`` and ``texts[i + 1]``. A field is an expression
    or, as a text, the name of a fact; with ``%`` in ``styles[i]`` it is shown as a percentage.
    """

    texts: tuple[str, ...]
    fields: tuple[Numeric | str, ...]
    styles: tuple[str, ...]


class Parameter(NamedTuple):
    """A number that rules use, which the builder can change."""

    name: str
    value: float
    unit: str
    basis: str
    file: str


class Lookup(NamedTuple):
    """A table from which the engine takes a number; see :mod:`.lookup`.

    Attributes:
        unit: of its values, which are kept in the canonical unit.
        by: the fact or the number that it is asked by.
        values: by value of the fact.
        steps: up to and with this size, this value; in the canonical units.
        beyond: above the last step; NaN in a table by a fact.
    """

    name: str
    unit: str
    by: str
    values: tuple[tuple[str, float], ...]
    steps: tuple[tuple[float, float], ...]
    beyond: float
    basis: str
    file: str

    def of(self, fact: str) -> float:
        """Return the number for a value of the fact, NaN where none is listed."""
        return dict(self.values).get(fact, math.nan)

    def at(self, size: float) -> float:
        """Return the number for a size; NaN for a size that is not known."""
        if math.isnan(size):
            return math.nan
        return next((value for bound, value in self.steps if size <= bound), self.beyond)


class Rule(NamedTuple):
    """A declared condition and what follows when it holds.

    Attributes:
        code: permanent.
        when: the condition; ``source`` is its text.
        given: tags of findings that must also be there for the rule to hold.
        tags: marks this rule puts on its finding, for other rules' ``given``.
        unknown: what follows when the condition cannot be judged.
    """

    code: str
    title: str
    source: str
    when: Logical
    given: tuple[str, ...]
    outcome: Outcome
    unknown: Unknown
    says: Template
    tags: tuple[str, ...]
    mitigations: tuple[str, ...]
    ask_text: str
    ask_choices: tuple[str, ...]
    because: str
    basis: str
    may_be_wrong_when: str
    since: dt.date
    until: dt.date | None
    file: str


class Mitigation(NamedTuple):
    """What must be done, as one imperative sentence with its numbers.

    Attributes:
        values: named numbers in the canonical units of their expressions.
        provided_by: accessory that must be fitted, or empty.
        needs: other mitigations that come with it.
        replaces: mitigations it makes superfluous.
        conflicts: mitigations it cannot stand beside.
    """

    code: str
    title: str
    text: Template
    values: tuple[tuple[str, Numeric], ...]
    provided_by: str
    needs: tuple[str, ...]
    replaces: tuple[str, ...]
    conflicts: tuple[str, ...]
    basis: str


class Caution(NamedTuple):
    """A standing safety line. With ``when`` it is printed only where that is not false."""

    code: str
    text: str
    when: Logical | None
    source: str


class Measure(NamedTuple):
    """A measure: its canonical unit, and which way its heavy end lies."""

    name: str
    unit: str
    title: str
    heavy: HeavyEnd

    @property
    def has_heavy(self) -> bool:
        """Whether it has a heavy end at all."""
        return self.heavy != "none"


class Fact(NamedTuple):
    """A fact of the vocabulary: its values, and which of them need no rule."""

    name: str
    values: tuple[str, ...]
    harmless: tuple[str, ...]


class LimitCheck(NamedTuple):
    """How full a limit is: ``demand`` over ``rated``, and where ``absolute`` ends it.

    Attributes:
        name: the measure it belongs to.
        minimum: lower bound of the demand, or None.
        when: rows it applies to, or None for all.
        style: ``%`` to show its numbers as percentages.
        is_chosen: the demand is chosen to fill the limit (spans of a support plan), so that it
            decides a verdict only when it is over.
    """

    name: str
    demand: Numeric
    rated: Numeric
    absolute: Numeric | None
    minimum: Numeric | None
    when: Logical | None
    style: str
    is_chosen: bool


class RuleSet(NamedTuple):
    """Everything that is allowed, with the digest it is known by."""

    vocabulary: "Vocabulary"
    parameters: dict[str, Parameter]
    rules: tuple[Rule, ...]
    mitigations: dict[str, Mitigation]
    cautions: tuple[Caution, ...]
    limit_checks: tuple[LimitCheck, ...]
    digest: str
    lookups: dict[str, Lookup]


class Vocabulary(NamedTuple):
    """The closed set of names. ``numbers`` maps every number name to its unit."""

    measures: dict[str, Measure]
    not_assessed: dict[str, str]
    limits: dict[str, tuple[str, tuple[str, ...]]]
    numbers: dict[str, str]
    titles: dict[str, str]
    facts: dict[str, Fact]
    accessories: dict[str, str]


class Served(NamedTuple):
    """What the engine computes for rules and reads of them: every rule set must fit it.

    Attributes:
        measures: those it computes.
        numbers: unit by name of the limits, machine and material numbers that it fills.
        facts: by fact that it fills, values that must be among those of the vocabulary.
        newer_facts: those of them that a vocabulary may lack, because it is older than they are.
        parameters: unit by name of those it reads; none may be below zero.
        newer_parameters: the same of those that a rule set may lack, because it is older.
        not_zero: those of them that must be above zero.
        lookups: what each table that it reads is asked by, and the unit of its values.
    """

    measures: Mapping[str, Measure]
    numbers: Mapping[str, str]
    facts: Mapping[str, tuple[str, ...]]
    parameters: Mapping[str, str]
    not_zero: frozenset[str]
    lookups: Mapping[str, tuple[str, str]]
    newer_facts: frozenset[str] = frozenset()
    newer_parameters: Mapping[str, str] = MappingProxyType({})
