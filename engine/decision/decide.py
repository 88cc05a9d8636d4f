"""From jobs and machines to outcomes: one array path for one job and for a million."""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...catalogue.machines.model import MachineModel
from ...rules.expression import names_in
from ...rules.model import RuleSet
from ..arrays import Bools, Floats
from ..inputs.frame import Frame
from ..inputs.pairing import build_frame
from ..inputs.supports import CARRIED_LIMITS, carry_rows
from ..jobs.job import Job
from ..jobs.job_table import Index, JobTable, table_of
from ..measures import REGISTRY, Measured, compute, needs_of
from ..statics.support_loads import UNTROUBLED
from .conditions import (
    Judge,
    Scope,
    Truth,
    number_beside,
    number_of,
    scope_of,
    truth_of,
)
from .inference import RANK, Inference, Inferred, with_needs


class Decision(NamedTuple):
    """What follows for every row of a frame.

    Attributes:
        inferred: what follows, one entry a distinct signature.
        which: for every row, its place in ``inferred``.
        ranks: for every row, how bad the outcome is (see ``RANK``).
    """

    frame: Frame
    scope: Scope
    measured: Measured
    inferred: tuple[Inferred, ...]
    which: NDArray[np.intp]
    ranks: NDArray[np.int8]

    def of(self, row: int) -> Inferred:
        """Return what follows for one row."""
        return self.inferred[int(self.which[row])]


class Fullness(NamedTuple):
    """How full one limit is, for every row; NaN where the limit does not apply."""

    name: str
    demand: Floats
    rated: Floats
    absolute: Floats
    minimum: Floats
    nominal: Floats
    heavy: Floats


class Engine:
    """Decides with one rule set. Keeps what it has inferred once."""

    def __init__(self, rule_set: RuleSet) -> None:
        self.rule_set = rule_set
        self._inference = Inference(rule_set)
        self._uses: Final = _rules_that_need(rule_set)
        self.carried_measures: Final = frozenset(
            name for name in REGISTRY if needs_of(name) & UNTROUBLED.keys()
        )
        late = self.carried_measures | {"seat", *CARRIED_LIMITS}
        late |= {f"{name}.heavy" for name in late}
        self._is_late: Final = [bool(names_in(rule.when) & late) for rule in rule_set.rules]
        self._refuses: Final = [
            (rule.outcome == "refused" and not rule.given,
             rule.unknown == "refused" and not rule.given)
            for rule in rule_set.rules
        ]  # fmt: skip

    def decide(self, jobs: Sequence[Job], machines: Sequence[MachineModel]) -> Decision:
        """Decide ``jobs[i]`` on ``machines[i]`` for every i."""
        places: dict[int, int] = {}
        index = [places.setdefault(id(item), len(places)) for item in machines]
        every = list({id(item): item for item in machines}.values())
        table = table_of(jobs, self.rule_set.vocabulary)
        return self.decide_table(table, every, np.array(index, dtype=np.intp))

    def decide_table(
        self,
        table: JobTable,
        machines: Sequence[MachineModel],
        machine: Index,
        *,
        is_supported: bool = True,
    ) -> Decision:
        """Decide every row of a table on its machine.

        Supports are planned only for stock that nothing else refuses. With ``is_supported``
        false they are left out altogether.
        """
        frame = build_frame(table, machines, machine, self.rule_set)
        early = compute(frame, [name for name in REGISTRY if name not in self.carried_measures])
        truths: list[Truth | None] = [None] * len(self.rule_set.rules)
        self._judge(scope_of(frame, early, self.rule_set.vocabulary), truths, is_late=False)
        if is_supported:
            rows = np.flatnonzero(~self._is_refused(truths, frame.rows))
            frame = carry_rows(frame, table, machines, machine, rows, self.rule_set)
        late = compute(frame, self.carried_measures)
        measured = Measured(early.nominal | late.nominal, early.heavy | late.heavy)
        scope = scope_of(frame, measured, self.rule_set.vocabulary)
        self._judge(scope, truths, is_late=True)
        return self._conclude(frame, scope, measured, [t for t in truths if t is not None])

    def decide_scope(self, frame: Frame, scope: Scope, measured: Measured) -> Decision:
        """Decide every row of a frame whose measures are known."""
        judge = Judge(scope)
        truths = [judge.truth(rule.when) for rule in self.rule_set.rules]
        return self._conclude(frame, scope, measured, truths)

    def _judge(self, scope: Scope, truths: list[Truth | None], *, is_late: bool) -> None:
        """Evaluate the conditions that read how the stock is carried, or all the others."""
        judge = Judge(scope)
        for place, rule in enumerate(self.rule_set.rules):
            if self._is_late[place] is is_late:
                truths[place] = judge.truth(rule.when)

    def _is_refused(self, truths: Sequence[Truth | None], rows: int) -> Bools:
        refused = np.zeros(rows, dtype=np.bool_)
        for truth, (if_yes, if_unknown) in zip(truths, self._refuses, strict=True):
            if truth is None:
                continue
            if if_yes:
                refused |= truth.yes
            if if_unknown:
                refused |= truth.unknown
        return refused

    def _conclude(
        self, frame: Frame, scope: Scope, measured: Measured, truths: Sequence[Truth]
    ) -> Decision:
        """Infer once for each distinct signature and spread what follows."""
        bits = self._signatures(frame, truths)
        # What is false in every row tells no two of them apart.
        varies = [place for place, column in enumerate(bits) if column is not None]
        stack = [column for column in bits if column is not None]
        stacked = np.stack(stack) if stack else np.zeros((1, frame.rows), dtype=np.bool_)
        which, first = _distinct(np.packbits(stacked, axis=0))
        signatures = np.zeros((len(first), len(bits)), dtype=np.bool_)
        if stack:
            signatures[:, varies] = stacked[:, first].T
        keys = np.packbits(signatures, axis=1)
        inferred = [
            self._inference.infer(signature, key.tobytes())
            for signature, key in zip(signatures, keys, strict=True)
        ]
        rank_of = np.array([RANK[item.outcome] for item in inferred], dtype=np.int8)
        return Decision(frame, scope, measured, tuple(inferred), which, rank_of[which])

    def _signatures(self, frame: Frame, truths: Sequence[Truth]) -> list[Bools | None]:
        """Return the columns of a signature: holds, unknown, fitted; None where all are false.

        Accessories that no rule in question asks for are set to fitted, so that they do not
        multiply the distinct signatures.
        """
        holds = [truth.yes if truth.yes.any() else None for truth in truths]
        unknown = [None if truth.judged is None else ~truth.judged for truth in truths]
        fitted: list[Bools | None] = []
        for code, uses in self._uses.items():
            asking = [
                column
                for place in uses
                for column in (holds[place], unknown[place])
                if column is not None
            ]
            needed = np.logical_or.reduce(asking) if asking else np.zeros(frame.rows, np.bool_)
            fitted.append(frame.accessories[code] | ~needed)
        return [*holds, *unknown, *fitted]


def _distinct(packed: NDArray[np.uint8]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return for every column its place among the distinct ones, and where each is first seen.

    Bytes are taken in one at a time and the codes kept dense by a table, which is a few times
    faster than sorting: most bytes are the same in every column.
    """
    columns: int = packed.shape[1]
    code: NDArray[np.intp] = np.zeros(columns, dtype=np.intp)
    count = min(columns, 1)
    for number in range(len(packed) if columns else 0):
        row: NDArray[np.uint8] = packed[number]
        if row.min() < row.max():
            code, count = _with_byte(code, row, count)
    first: NDArray[np.intp] = np.zeros(count, dtype=np.intp)
    first[code[::-1]] = np.arange(columns - 1, -1, -1)
    return code, first


def _with_byte(
    code: NDArray[np.intp], row: NDArray[np.uint8], count: int
) -> tuple[NDArray[np.intp], int]:
    """Return dense codes of pairs of a dense code below ``count`` and a byte, and how many."""
    pairs = code * 256 + row.astype(np.intp)
    seen = np.zeros(count * 256, dtype=np.bool_)
    seen[pairs] = True
    dense: NDArray[np.intp] = np.cumsum(seen, dtype=np.intp) - 1
    return np.take(dense, pairs), int(seen.sum())


def fullness(rule_set: RuleSet, scope: Scope) -> list[Fullness]:
    """Return how full every limit is, in the order of the vocabulary."""
    heavy_numbers = {
        name: scope.numbers.get(f"{name}.heavy", column) for name, column in scope.numbers.items()
    }
    heavy_scope = scope._replace(
        numbers=heavy_numbers,
        inches={name: scope.inches.get(f"{name}.heavy", scope.inches[name])
                for name in scope.inches},
    )  # fmt: skip
    result: list[Fullness] = []
    missing = np.full(scope.rows, np.nan)
    for limit_check in rule_set.limit_checks:
        applies = truth_of(limit_check.when, scope).yes if limit_check.when else np.True_
        demand, rated = number_of(limit_check.demand, scope), number_of(limit_check.rated, scope)
        beside = number_beside(limit_check.demand, [limit_check.rated], scope)
        heavy = number_beside(limit_check.demand, [limit_check.rated], heavy_scope)
        heavy_rated = number_of(limit_check.rated, heavy_scope)
        minimum = number_of(limit_check.minimum, scope) if limit_check.minimum else missing
        absolute = number_of(limit_check.absolute, scope) if limit_check.absolute else missing
        with np.errstate(divide="ignore", invalid="ignore"):
            below = minimum / (
                number_beside(limit_check.demand, [limit_check.minimum], scope)
                if limit_check.minimum
                else demand
            )
            nominal = np.where(applies, np.fmax(beside / rated, below), np.nan)
            at_heavy = np.where(applies, np.fmax(heavy / heavy_rated, below), np.nan)
        result.append(
            Fullness(limit_check.name, demand, rated, absolute, minimum, nominal, at_heavy)
        )
    return result


def _rules_that_need(rule_set: RuleSet) -> dict[str, list[int]]:
    """Return, for each accessory, the rules that lead to a mitigation it provides."""
    uses: dict[str, list[int]] = {code: [] for code in rule_set.vocabulary.accessories}
    for place, rule in enumerate(rule_set.rules):
        needed = with_needs(rule.mitigations, rule_set)
        for accessory in {rule_set.mitigations[code].provided_by for code in needed} - {""}:
            uses[accessory].append(place)
    return uses
