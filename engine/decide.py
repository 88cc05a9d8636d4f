"""From jobs and machines to outcomes: one array path for one job and for a million."""

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..catalogue.machines import MachineModel
from ..rules.model import RuleSet
from .arrays import Bools, Floats
from .conditions import Scope, Truth, number_of, scope_of, truth_of
from .frame import Frame, build_frame
from .inference import RANK, Inference, Inferred
from .job import Job
from .measures import Measured


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

    def decide(self, jobs: Sequence[Job], machines: Sequence[MachineModel]) -> Decision:
        """Decide ``jobs[i]`` on ``machines[i]`` for every i."""
        return self.decide_frame(build_frame(jobs, machines, self.rule_set))

    def decide_frame(self, frame: Frame) -> Decision:
        """Decide every row of a frame."""
        return self.decide_scope(frame, *scope_of(frame, self.rule_set))

    def decide_scope(self, frame: Frame, scope: Scope, measured: Measured) -> Decision:
        """Decide every row of a frame whose measures are known."""
        truths = [truth_of(rule.when, scope) for rule in self.rule_set.rules]
        bits = self._signatures(frame, truths)
        packed = np.ascontiguousarray(np.packbits(bits, axis=1))
        keys = packed.view(np.dtype((np.void, packed.shape[1]))).ravel()
        _, first, which = np.unique(keys, return_index=True, return_inverse=True)
        inferred = tuple(
            self._inference.infer(tuple(bits[row].tolist()), packed[row].tobytes()) for row in first
        )
        rank_of = np.array([RANK[item.outcome] for item in inferred], dtype=np.int8)
        return Decision(frame, scope, measured, inferred, which, rank_of[which])

    def _signatures(self, frame: Frame, truths: Sequence[Truth]) -> Bools:
        """Return one row of booleans a row: holds, unknown, fitted.

        Accessories that no rule in question asks for are set to fitted, so that they do not
        multiply the distinct signatures.
        """
        holds = [truth.yes for truth in truths]
        unknown = [truth.unknown for truth in truths]
        fitted = [
            frame.accessories[code]
            | ~np.logical_or.reduce([truths[place].yes | truths[place].unknown for place in uses])
            if uses
            else np.ones(frame.rows, dtype=np.bool_)
            for code, uses in self._uses.items()
        ]
        return np.stack([*holds, *unknown, *fitted], axis=1)


def fullness(rule_set: RuleSet, scope: Scope) -> list[Fullness]:
    """Return how full every limit is, in the order of the vocabulary."""
    heavy_numbers = {
        name: scope.numbers.get(f"{name}.heavy", column) for name, column in scope.numbers.items()
    }
    heavy_scope = scope._replace(numbers=heavy_numbers)
    result: list[Fullness] = []
    missing = np.full(scope.rows, np.nan)
    for gauge in rule_set.gauges:
        applies = truth_of(gauge.when, scope).yes if gauge.when else np.True_
        demand, rated = number_of(gauge.demand, scope), number_of(gauge.rated, scope)
        heavy = number_of(gauge.demand, heavy_scope)
        heavy_rated = number_of(gauge.rated, heavy_scope)
        minimum = number_of(gauge.minimum, scope) if gauge.minimum else missing
        absolute = number_of(gauge.absolute, scope) if gauge.absolute else missing
        with np.errstate(divide="ignore", invalid="ignore"):
            below = minimum / demand
            nominal = np.where(applies, np.fmax(demand / rated, below), np.nan)
            at_heavy = np.where(applies, np.fmax(heavy / heavy_rated, below), np.nan)
        result.append(Fullness(gauge.name, demand, rated, absolute, minimum, nominal, at_heavy))
    return result


def with_needs(codes: Iterable[str], rule_set: RuleSet) -> set[str]:
    """Return mitigations with everything they need, however far."""
    found = set(codes)
    todo = list(found)
    while todo:
        for code in rule_set.mitigations[todo.pop()].needs:
            if code not in found:
                found.add(code)
                todo.append(code)
    return found


def _rules_that_need(rule_set: RuleSet) -> dict[str, list[int]]:
    """Return, for each accessory, the rules that lead to a mitigation it provides."""
    uses: dict[str, list[int]] = {code: [] for code in rule_set.vocabulary.accessories}
    for place, rule in enumerate(rule_set.rules):
        needed = with_needs(rule.mitigations, rule_set)
        for accessory in {rule_set.mitigations[code].provided_by for code in needed} - {""}:
            uses[accessory].append(place)
    return uses
