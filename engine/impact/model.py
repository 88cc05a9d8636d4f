"""What a change comes to for a backlog, as plain data."""

import math
from typing import Any, Final, NamedTuple

from .ranking import Refusal

REFUSED: Final = "refused"
CONDITIONS: Final = "oversize-allowed-with-conditions"
IN_RANGE: Final = "in-range"

KINDS: Final[tuple[str, ...]] = (
    "newly-refused",
    "newly-conditional",
    "no-answer",
    "lifted",
    "other",
)
"""Kinds of groups in their order: what gets worse, what gets better, the rest."""

WORSE: Final = KINDS[:3]
"""Kinds of groups in which jobs get worse."""

TOTALS: Final = (
    "jobs", "not_asked", "answers", "faulty", "unchanged", "numbers_only", "changed",
)  # fmt: skip
"""Counts of an impact."""

_RANK: Final = {IN_RANGE: 0, CONDITIONS: 1, REFUSED: 2}


class Source(NamedTuple):
    """A backlog: its file's name and ``sha256:…`` of its content."""

    name: str
    digest: str


class Revision(NamedTuple):
    """A machine model as it was asked."""

    code: str
    revision: int
    digest: str


class State(NamedTuple):
    """One of the states that are compared, and what it comes to.

    Attributes:
        machines: the models asked.
        rules, catalogue: digests.
        jobs: rows asked, with those that have no answer.
        faulty: rows that cannot be read.
        verdicts: answers by verdict, empty for an open question.
        ranking: what refuses, the most first.
    """

    machines: tuple[Revision, ...]
    rules: str
    catalogue: str
    jobs: int
    faulty: int
    verdicts: dict[str, int]
    ranking: tuple[Refusal, ...]


class Numbers(NamedTuple):
    """Numbers of one answer; None for what is blank. Shares, kg, kg*m^2, share."""

    utilisation: float | None
    heavy_utilisation: float | None
    stock_mass: float | None
    rotary_inertia: float | None
    rapid_override: float | None


class Example(NamedTuple):
    """A job whose answer changes; ``row`` is 1 for the first below the header."""

    row: int
    job: str
    machine: str
    section: str
    length: str
    before: Numbers
    after: Numbers


class Cause(NamedTuple):
    """Answers that change in the same way.

    Attributes:
        before, after: what decides: a rule, ``NOT-FITTED``, ``CONFLICT``, the code of an error or
            question, or empty for nothing.
        jobs: how many answers.
        governing: measures that govern, before and after, with the number of answers.
        gained, lost: mitigations with the number of answers.
        missing, fitted: accessories that are lacking now, and that no longer are.
        examples: the first of them.
    """

    before: str
    after: str
    jobs: int
    governing: tuple[tuple[str, str, int], ...]
    gained: dict[str, int]
    lost: dict[str, int]
    missing: dict[str, int]
    fitted: dict[str, int]
    examples: tuple[Example, ...]


class Group(NamedTuple):
    """Answers whose verdict changes alike; empty is no verdict. ``kind`` is one of ``KINDS``."""

    kind: str
    before: str
    after: str
    jobs: int
    causes: tuple[Cause, ...]


class Names(NamedTuple):
    """What codes are called."""

    deciding: dict[str, str]
    measures: dict[str, str]
    mitigations: dict[str, str]
    accessories: dict[str, str]

    def joined(self, other: "Names") -> "Names":
        """Return the names of both; those of ``other`` stand first."""
        return Names(*(mine | theirs for mine, theirs in zip(self, other, strict=True)))


class Impact(NamedTuple):
    """What changes between two states over a backlog.

    ``answers`` is the sum of ``faulty``, ``unchanged``, ``numbers_only`` and ``changed``: one for
    each job and machine asked.

    Attributes:
        backlog: what was asked.
        before, after: the states.
        jobs: rows read.
        not_asked: rows that name a model that was not asked about.
        answers: answers compared.
        faulty: answers without a verdict on either side, for the same reason.
        unchanged: answers that are the same.
        numbers_only: answers of which only numbers, stations or the grade taken differ.
        changed: answers of which verdict, what decides, what governs, mitigations, missing
            accessories, or the error or question differ.
        columns: of the answers in ``numbers_only``, how many differ in each column.
        groups: the changed ones; what is newly refused first.
        names: what their codes are called.
    """

    backlog: Source
    before: State
    after: State
    jobs: int
    not_asked: int
    answers: int
    faulty: int
    unchanged: int
    numbers_only: int
    changed: int
    columns: dict[str, int]
    groups: tuple[Group, ...]
    names: Names

    def count(self, *kinds: str) -> int:
        """Return how many answers are in groups of these kinds."""
        return sum(group.jobs for group in self.groups if group.kind in kinds)

    def to_json(self) -> dict[str, Any]:
        """Return everything as data for JSON."""
        return {
            "schema": "cuttable.impact/1",
            "backlog": {**self.backlog._asdict(), "rows": self.jobs},
            "before": state_json(self.before),
            "after": state_json(self.after),
            "totals": {name: getattr(self, name) for name in TOTALS},
            "numbers_only": self.columns,
            "groups": [_group_json(group) for group in self.groups],
        }  # fmt: skip


def state_json(state: State) -> dict[str, Any]:
    """Return a state as data for JSON."""
    return {
        "machines": [
            {"model": item.code, "revision": item.revision, "digest": item.digest}
            for item in state.machines
        ],
        "rules": state.rules,
        "catalogue": state.catalogue,
        "jobs": state.jobs,
        "faulty": state.faulty,
        "verdicts": state.verdicts,
        "refused_by": [
            {**item._asdict(), "keys": list(item.keys)} for item in state.ranking
        ],
    }  # fmt: skip


def _group_json(group: Group) -> dict[str, Any]:
    return {
        "kind": group.kind,
        "before": group.before,
        "after": group.after,
        "jobs": group.jobs,
        "causes": [_cause_json(cause) for cause in group.causes],
    }


def _cause_json(cause: Cause) -> dict[str, Any]:
    return {
        "decided_by": {"before": cause.before, "after": cause.after},
        "jobs": cause.jobs,
        "governing": [
            {"before": before, "after": after, "jobs": jobs}
            for before, after, jobs in cause.governing
        ],
        "mitigations": {"gained": cause.gained, "lost": cause.lost},
        "accessories": {"missing": cause.missing, "no_longer_missing": cause.fitted},
        "examples": [
            {**item._asdict(), "before": item.before._asdict(), "after": item.after._asdict()}
            for item in cause.examples
        ],
    }


def kind_of(before: str, after: str) -> str:
    """Return what kind of change it is from one verdict to another; empty is no verdict."""
    if before != after and after == REFUSED:
        return "newly-refused"
    if before == IN_RANGE and after == CONDITIONS:
        return "newly-conditional"
    if before and not after:
        return "no-answer"
    if before and after and _RANK[after] < _RANK[before]:
        return "lifted"
    return "other"


def order_of(group: Group) -> tuple[int, int, str, str]:
    """Sort key that puts what is newly refused first, and of one kind the largest."""
    return KINDS.index(group.kind), -group.jobs, group.before, group.after


def number(value: float) -> float | None:
    """Return a number, None for one that is blank."""
    return float(value) if math.isfinite(value) else None
