"""The shipped rules in other engines, each at its best, against the project's own decision.

Run by hand: ``python tests/benchmarks/engines.py [--rows N] [--rounds N]``. Engines that are not
installed are left out by name: ``pip install zen-engine common-expression-language rule-engine``.

What is the same for all: the jobs, the measures (worked out before and not counted) and the
conditions of every rule, translated so that each says exactly whether the rule holds, also where a
number is not known. Every answer of every engine is compared with ours; one that differs ends the
run with status 1. What is for the peers: they get their own kind of input ready made, conditions
compiled once and joined to one expression a job, their batch call where they have one, the best of
several ways to ask and the best of several rounds; they do not say which conditions cannot be
judged, and do not chain. What is measured of durable_rules is chaining alone: it is given what
holds. Ours is the median round, asked for many jobs at once as a backlog is. The first factor is
that of all we do, the second that of the decision alone, which is what the others are asked.
"""

import argparse
import decimal
import importlib.util
import json
import random
import statistics
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.decision.conditions import Judge
from cuttable.engine.decision.decide import Decision
from cuttable.engine.decision.inference import Inference
from cuttable.engine.jobs.job import Job
from cuttable.engine.jobs.job_table import JobTable, table_of
from cuttable.engine.jobs.parse import grade_of
from cuttable.engine.measures import Measured
from cuttable.rules import expression as ex

Ask = Callable[[], list[list[bool]]]


class Task(NamedTuple):
    """What all engines are asked.

    Attributes:
        machine: of each job, its place in ``machines``.
        expected: of each job and rule, whether it holds.
        contexts: of each job, its numbers and facts by name, None for a number not known.
        open_names: names that are not known of some job.
    """

    assessor: AssessorCore
    table: JobTable
    machines: list[Any]
    machine: Any
    decision: Decision
    expected: list[list[bool]]
    contexts: list[dict[str, Any]]
    open_names: frozenset[str]


def task_of(rows: int) -> Task:
    """Return jobs of pipes in lengths of a tenth of a metre, on the shipped machines in turn."""
    assessor, dice = AssessorCore(), random.Random(3)
    sections = [row.section() for row in assessor.catalogue.tables.pipes.values()
                if row.standard == "ASME B36.10M"]  # fmt: skip
    jobs = [
        Job(
            section, grade_of(None, section, assessor.catalogue).grade, 100.0 * dice.randint(5, 130)
        )
        for section in dice.choices(sections, k=rows)
    ]
    machines = list(assessor.catalogue.machines.values())
    machine = np.arange(rows, dtype=np.intp) % len(machines)
    table = table_of(jobs, assessor.rule_set.vocabulary)
    decision = assessor.engine.decide_table(table, machines, machine)
    scope = decision.scope
    judge = Judge(scope)
    expected = np.array([judge.truth(rule.when).yes for rule in assessor.rule_set.rules]).T.tolist()
    words = {name: {code: text for text, code in values.items()}
             for name, values in scope.codes.items()}  # fmt: skip
    used = {name for rule in assessor.rule_set.rules for name in ex.names_in(rule.when)}
    columns = {
        plain(name): [value if known else None
                      for value, known in zip(c.tolist(), np.isfinite(c).tolist(), strict=True)]
        for name, c in scope.numbers.items() if name in used
    } | {
        name: [words[name][code] for code in c.tolist()] for name, c in scope.facts.items()
    }  # fmt: skip
    contexts = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    open_names = frozenset(name for name, column in columns.items() if None in column)
    return Task(assessor, table, machines, machine, decision, expected, contexts, open_names)


def plain(name: str) -> str:
    """Return a name as other languages can write it."""
    return name.replace(".", "_")


# --- conditions in other languages ----------------------------------------------------------


class Language(NamedTuple):
    """How a language writes what ours writes."""

    both: str
    either: str
    no: str
    null: str


ZEN: Final = Language(" and ", " or ", "!", "null")
CEL: Final = Language(" && ", " || ", "!", "null")
RULE_ENGINE: Final = Language(" and ", " or ", "not ", "null")

_OPPOSITE: Final = {"<": ">=", ">": "<=", "<=": ">", ">=": "<", "==": "!=", "!=": "=="}


class Writer:
    """Writes conditions of ours in another language.

    The text holds exactly where ours does: comparisons of what is not known are guarded, and a
    denial is carried down to them, for what is not known is not so and not otherwise.
    """

    def __init__(self, language: Language, open_names: frozenset[str]) -> None:
        self.language, self.open_names = language, open_names

    def holds(self, node: Any, *, is_denied: bool = False) -> str:
        """Return the text of a condition, or of its contrary."""
        match node:
            case ex.Compare(op=op, left=left, right=right):
                mark = _OPPOSITE[op] if is_denied else op
                return self._guarded(node, f"{self._number(left)} {mark} {self._number(right)}")
            case ex.FactIs(fact=fact, values=values):
                mark, join = ("!=", "both") if is_denied else ("==", "either")
                parts = [f"{fact} {mark} {json.dumps(value)}" for value in values]
                return self._joined(join, parts)
            case ex.Known(item=item):
                mark, join = ("==", "either") if is_denied else ("!=", "both")
                parts = [f"{name} {mark} {self.language.null}" for name in self._open(item)]
                return self._joined(join, parts or ["1 == 2" if is_denied else "1 == 1"])
            case ex.Not(item=item):
                return self.holds(item, is_denied=not is_denied)
            case ex.Both(items=items) | ex.Either(items=items):
                is_both = isinstance(node, ex.Both) is not is_denied
                parts = [self.holds(item, is_denied=is_denied) for item in items]
                return self._joined("both" if is_both else "either", parts)
        raise TypeError(node)

    def _guarded(self, node: Any, text: str) -> str:
        known = [f"{name} != {self.language.null}" for name in self._open(node)]
        return self._joined("both", [*known, text])

    def _open(self, node: Any) -> list[str]:
        return sorted({plain(name) for name in ex.names_in(node)} & self.open_names)

    def _joined(self, join: str, parts: Sequence[str]) -> str:
        return f"({getattr(self.language, join).join(parts)})"

    def _number(self, node: Any) -> str:
        match node:
            case ex.Number(value=value):
                text = format(decimal.Decimal(repr(float(value))), "f")
                return text if "." in text else f"{text}.0"
            case ex.Name(name=name):
                return plain(name)
            case ex.Extreme(op=op, items=items):
                first, second = map(self._number, items)
                mark = "<" if op == "min" else ">"
                return f"({first} {mark} {second} ? {first} : {second})"
            case ex.Arithmetic(op=op, left=left, right=right):
                return f"({self._number(left)} {op} {self._number(right)})"
        raise TypeError(node)


def texts_of(task: Task, language: Language) -> list[str]:
    """Return every condition in a language."""
    writer = Writer(language, task.open_names)
    return [writer.holds(rule.when) for rule in task.assessor.rule_set.rules]


# --- the engines ----------------------------------------------------------------------------


def zen_ways(task: Task) -> Iterator[tuple[str, Ask]]:
    """Yield the ways to ask zen-engine, which is written in Rust."""
    import zen

    joined = f"[{', '.join(texts_of(task, ZEN))}]"
    compiled = zen.compile_expression(joined)
    yield (
        "one compiled expression a job",
        lambda: [compiled.evaluate(context) for context in task.contexts],
    )
    packed = [json.dumps(context).encode() for context in task.contexts]
    yield (
        "one compiled expression a job, jobs packed before",
        lambda: [compiled.evaluate(context) for context in packed],
    )
    nodes = [
        {"id": "in", "type": "inputNode", "name": "in", "position": {"x": 0, "y": 0}},
        {"id": "rules", "type": "expressionNode", "name": "rules", "position": {"x": 0, "y": 0},
         "content": {"expressions": [{"id": "all", "key": "all", "value": joined}]}},
        {"id": "out", "type": "outputNode", "name": "out", "position": {"x": 0, "y": 0}},
    ]  # fmt: skip
    edges = [{"id": f"{a}-{b}", "type": "edge", "sourceId": a, "targetId": b}
             for a, b in (("in", "rules"), ("rules", "out"))]  # fmt: skip
    graph = {"contentType": "application/vnd.gorules.decision", "nodes": nodes, "edges": edges}
    engine = zen.ZenEngine({"loader": {"type": "static", "content": {"rules": graph}}})
    requests: list[Any] = [{"key": "rules", "context": context} for context in task.contexts]
    yield (
        "its batch call",
        lambda: [found["data"]["result"]["all"] for found in engine.evaluate_batch(requests)],
    )


def cel_ways(task: Task) -> Iterator[tuple[str, Ask]]:
    """Yield the ways to ask common-expression-language, which is written in Rust."""
    import cel

    texts = texts_of(task, CEL)
    joined = cel.compile(f"[{', '.join(texts)}]")
    yield (
        "one compiled expression a job",
        lambda: [joined.execute(context) for context in task.contexts],
    )
    single = [cel.compile(text) for text in texts]
    ready = [cel.Context(variables=context) for context in task.contexts]
    yield (
        "a compiled expression a rule",
        lambda: [[program.execute(context) for program in single] for context in ready],
    )
    yield (
        "one compiled expression a job, contexts made before",
        lambda: [joined.execute(context) for context in ready],
    )


def rule_engine_ways(task: Task) -> Iterator[tuple[str, Ask]]:
    """Yield the way to ask rule-engine, which is written in Python and asks a rule at a time."""
    import rule_engine

    rules = [rule_engine.Rule(text) for text in texts_of(task, RULE_ENGINE)]
    yield (
        "a compiled rule after the other",
        lambda: [[rule.matches(context) for rule in rules] for context in task.contexts],
    )


PEERS: Final[dict[str, tuple[str, Callable[[Task], Iterator[tuple[str, Ask]]]]]] = {
    "zen-engine": ("zen", zen_ways),
    "common-expression-language": ("cel", cel_ways),
    "rule-engine": ("rule_engine", rule_engine_ways),
}
"""Engines by the name they are installed by: the module, and the ways to ask."""


# --- measuring ------------------------------------------------------------------------------


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return seconds, and what was made."""
    began = time.perf_counter()
    found = work()
    return time.perf_counter() - began, found


def line(*cells: object) -> None:
    """Print a row of the table."""
    name, way, rate, whole, decision, differ = map(str, cells)
    print(f"{name:<28}{way:<66}{rate:>10}{whole:>9}{decision:>12}{differ:>8}", flush=True)


def ours_whole(task: Task, rounds: int) -> float:
    """Return verdicts a second of all of it: measures, conditions, supports, chaining."""

    def once() -> None:
        task.assessor.engine.decide_table(task.table, task.machines, task.machine)

    return len(task.contexts) / statistics.median(timed(once)[0] for _ in range(rounds))


def ours_decision(task: Task, rounds: int) -> float:
    """Return verdicts a second where the measures are given, as they are to the others."""
    found = task.decision

    def once() -> None:
        task.assessor.engine.decide_scope(found.frame, found.scope, Measured({}, {}))

    return len(task.contexts) / statistics.median(timed(once)[0] for _ in range(rounds))


def durable(task: Task, rounds: int) -> tuple[float, int]:
    """Return jobs a second that durable_rules chains, and how many outcomes differ from ours.

    Each job is one call with its facts in a batch, without the memory of ours for what was
    inferred before.
    """
    rule_set = task.assessor.rule_set
    inference = Inference(rule_set)
    judge = Judge(task.decision.scope)
    bits = task.assessor.engine._signatures(
        task.decision.frame, [judge.truth(rule.when) for rule in rule_set.rules]
    )
    width = 2 * len(rule_set.rules)
    part = tuple(range(width))
    signatures = [
        tuple(column is not None and bool(column[row]) for column in bits)
        for row in range(len(task.contexts))
    ]

    def once() -> list[Any]:
        return [inference._chain(part, bits[:width], bits[width:]) for bits in signatures]

    best, found = min((timed(once) for _ in range(rounds)), key=lambda pair: pair[0])
    outcomes = [inference._result(out).outcome for out in found]
    differ = sum(mine != task.decision.of(row).outcome for row, mine in enumerate(outcomes))
    return len(signatures) / best, differ


def main() -> int:
    """Measure, print, and say whether all agree."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", type=int, default=4000, help="jobs that every engine is asked")
    parser.add_argument("--many", type=int, default=200_000, help="jobs that ours is asked")
    parser.add_argument("--rounds", type=int, default=5)
    asked = parser.parse_args()
    task, many = task_of(asked.rows), task_of(asked.many)
    rules = len(task.assessor.rule_set.rules)
    print(f"{rules} rules, {asked.rows} jobs; {len(task.decision.inferred)} of their signatures "
          f"are distinct; ours with {asked.many}")  # fmt: skip
    line("engine", "what it does, and how it is asked", "jobs/s", "all x", "decision x", "differ")
    whole, decision = ours_whole(many, asked.rounds), ours_decision(many, asked.rounds)

    def tell(name: str, way: str, rate: float, differ: object) -> None:
        line(name, way, f"{rate:,.0f}", f"{whole / rate:.3g}", f"{decision / rate:.3g}", differ)

    tell("ours, all of it", "measures, conditions, supports, chaining", whole, "-")
    tell("ours, the decision", "conditions, chaining", decision, "-")
    rate, wrong = durable(task, asked.rounds)
    tell("durable_rules", "chaining; the facts of a job in one call", rate, wrong)
    for name, (module, ways) in PEERS.items():
        if importlib.util.find_spec(module) is None:
            line(name, "not installed", "-", "-", "-", "-")
            continue
        tried: list[tuple[float, str, int]] = []
        for way, ask in ways(task):
            found = [timed(ask) for _ in range(asked.rounds)]
            differ = sum(
                bool(theirs) is not mine
                for row, told in zip(task.expected, found[0][1], strict=True)
                for mine, theirs in zip(row, told, strict=True)
            )
            tried.append((asked.rows / min(seconds for seconds, _ in found), way, differ))
        best = max(tried)
        tell(name, f"conditions; {best[1]}", best[0], best[2])
        wrong += sum(differ for _, _, differ in tried)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
