"""Forward chaining with durable_rules, and the only module that knows of it.

Conditions have been judged before they come here; what is chained is meaning: a condition
that holds makes a finding, a finding asks for mitigations, a mitigation may need another or
an accessory, an accessory that is not fitted refuses the job, two mitigations may contradict.

The library has sharp edges (version 2.0.28, each seen by experiment), so it is used in one
narrow way: a host without timer threads, one state slot with a parked one beside it, a
catch-all rule that always fires, every condition present as an explicit boolean and nothing
else (no floats, no missing keys, no negation by absence), at most 60 booleans a fact, results
kept outside its state, faults read back from the state it returns, its ruleset deleted when
ours is dropped, and a lock around it all.

Long, because these precautions only hold together.
"""

import os
import sys
import threading
import time
import weakref
from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import contextmanager
from typing import Any, Final, NamedTuple, cast

import numpy as np

from ...catalogue.errors import CuttableError
from ...rules.model import Outcome, RuleSet
from ..arrays import Bools


@contextmanager
def _loaded_lazily() -> Generator[None]:
    """Load a shared library without asking for the symbols that nothing calls.

    The library's extension names ``PyEval_CallObject``, which Python 3.13 has no more, in the
    part for an external store of facts, which is never used here. Bound as it loads, it fails;
    bound at the first call, it is never missed. The flags are the process's, so they are put
    back at once.

    Raises:
        CuttableError: ``inference-unloadable``.
    """
    before = sys.getdlopenflags() if hasattr(sys, "getdlopenflags") else None
    if before is not None:
        sys.setdlopenflags((before & ~os.RTLD_NOW) | os.RTLD_LAZY)
    try:
        yield
    except ImportError as fault:
        raise _unloadable(fault) from fault
    finally:
        if before is not None:
            sys.setdlopenflags(before)


def _unloadable(fault: ImportError) -> CuttableError:
    if isinstance(fault, ModuleNotFoundError):
        remedy = (
            "Install it where this Python looks: pip install durable_rules==2.0.28; it is built "
            "from source, with a C compiler and the headers of this Python."
        )
    else:
        remedy = (
            "Build it anew for this Python: pip install --force-reinstall --no-binary :all: "
            "--no-deps durable_rules==2.0.28. On Python 3.13 it can be loaded only where symbols "
            "are bound when they are called: unset LD_BIND_NOW, and do not link it with -z now."
        )
    return CuttableError(
        "inference-unloadable",
        f"the inference library durable_rules cannot be loaded ({str(fault)[:200]})",
        remedy=remedy,
    )


with _loaded_lazily():
    import durable_rules_engine  # pyright: ignore[reportMissingTypeStubs, reportMissingImports]
    from durable import engine as durable  # pyright: ignore[reportMissingTypeStubs]

# Its clock is asked only how long something took, and in a way that warns from Python 3.12 on.
durable._unix_now = time.monotonic  # noqa: SLF001 # pyright: ignore[reportPrivateUsage]

_KEYS_PER_FACT: Final = 60  # more than 64 matches of one fact raise error 303
_MOST_FIRST_CONDITIONS: Final = 500  # 512 distinct ones loop for ever
_MOST_RULES_ON_ONE: Final = 250  # 256 rules on one condition crash

# The library is untyped: what is used of it is named once.
_core: Any = durable_rules_engine

RANK: Final[dict[str, int]] = {"setting": 0, "conditions": 1, "question": 2, "refused": 3}


class Found(NamedTuple):
    """A rule that holds, or one that cannot be judged, by its place in the rule set."""

    rule: int
    is_unknown: bool


class Inferred(NamedTuple):
    """What follows from one signature.

    Attributes:
        findings: in the order of the rule set.
        mitigations: codes in the order of the rule set, superfluous ones left out.
        missing: pairs of mitigation and the accessory it needs that is not fitted.
        conflicts: pairs of mitigations that contradict each other.
        outcome: the worst of all.
    """

    findings: tuple[Found, ...]
    mitigations: tuple[str, ...]
    missing: tuple[tuple[str, str], ...]
    conflicts: tuple[tuple[str, str], ...]
    outcome: Outcome


class _InlineHost(durable.Host):  # type: ignore[misc]  # the library has no types
    def _run(self) -> None:
        """Start no timer threads: facts are judged in the call that asserts them."""


class Inference:
    """The chaining part of one rule set.

    Raises:
        CuttableError: ``rule-set-too-large`` beyond what the library handles safely.
    """

    def __init__(self, rule_set: RuleSet) -> None:
        self._rule_set = rule_set
        self._accessories = tuple(rule_set.vocabulary.accessories)
        self._lock = threading.Lock()
        self._out: list[tuple[str, Any]] = []
        self._memo: dict[bytes, Inferred] = {}
        self._names = self._atom_names()
        self._parts = _parts_of(rule_set)
        self._part_memo: dict[tuple[Any, ...], list[tuple[str, Any]]] = {}
        program = self._program()
        self._check_size(program)
        self._host: Any = _InlineHost({"cuttable": program})
        handle = self._host.get_ruleset("cuttable")._handle  # noqa: SLF001 # pyright: ignore[reportPrivateUsage]
        weakref.finalize(self, _delete, handle)
        # A parked slot beside the working one: without it each deletion trims the heap.
        for sid in ("1", "parked"):
            self._host.assert_fact("cuttable", {"job": True, "sid": sid})
        self._host.delete_state("cuttable", "1")
        self._out.clear()

    @property
    def width(self) -> int:
        """Number of booleans in a signature: holds and unknown of each rule, accessories."""
        return 2 * len(self._rule_set.rules) + len(self._accessories)

    def infer(self, signature: Sequence[bool] | Bools, key: bytes) -> Inferred:
        """Return what follows from a signature: all holds, all unknowns, all fitted.

        Args:
            signature: ``width`` booleans.
            key: the same booleans packed, for the memo.

        Raises:
            CuttableError: ``inference-failed``; no verdict is better than a wrong one.
        """
        known = self._memo.get(key)
        if known is None:
            known = self._memo[key] = self._run(tuple(np.asarray(signature, np.bool_).tolist()))
        return known

    def _run(self, signature: tuple[bool, ...]) -> Inferred:
        """Chain part by part: rules of different parts have no tag and no conflict in common.

        Forward chaining without negation only adds, so what follows from all conditions is the
        union of what follows from the conditions of each part. There are far fewer distinct
        parts than distinct signatures.
        """
        count = len(self._rule_set.rules)
        fitted = signature[2 * count :]
        out: list[tuple[str, Any]] = []
        for number, part in enumerate(self._parts):
            bits = tuple(map(signature.__getitem__, part))
            if not any(bits):
                continue
            key = (number, bits, fitted)
            found = self._part_memo.get(key)
            if found is None:
                found = self._part_memo[key] = self._chain(part, bits, fitted)
            out += found
        return self._result(out)

    def _chain(
        self, part: tuple[int, ...], bits: tuple[bool, ...], fitted: tuple[bool, ...]
    ) -> list[tuple[str, Any]]:
        """Return what the engine says follows from the conditions of one part."""
        places = (*part, *range(2 * len(self._rule_set.rules), self.width))
        facts = self._facts(list(zip(places, (*bits, *fitted), strict=True)))
        with self._lock:
            self._out.clear()
            try:
                state = self._host.assert_facts("cuttable", facts)
            except Exception as fault:
                raise _failed(fault) from fault
            finally:
                self._forget()
            if not state or "exception" in state:
                raise _failed(state and state["exception"])
            return list(self._out)

    def _forget(self) -> None:
        try:
            self._host.delete_state("cuttable", "1")
        except _core.error as fault:
            raise _failed(fault) from fault

    def _facts(self, bits: list[tuple[int, bool]]) -> list[dict[str, Any]]:
        pairs = [(self._names[place], value) for place, value in bits]
        return [
            {
                "job": True,
                "sid": "1",
                "id": f"f{start}",
                **dict(pairs[start : start + _KEYS_PER_FACT]),
            }
            for start in range(0, len(pairs), _KEYS_PER_FACT)
        ]

    def _atom_names(self) -> list[str]:
        rules = range(len(self._rule_set.rules))
        return [
            *(f"t{rule}" for rule in rules),
            *(f"u{rule}" for rule in rules),
            *(f"a{place}" for place in range(len(self._accessories))),
        ]

    # --- the program ----------------------------------------------------------------------

    def _program(self) -> dict[str, Any]:
        program: dict[str, Any] = {}
        for place, rule in enumerate(self._rule_set.rules):
            for mark, is_unknown in (("t", False), ("u", True)):
                if is_unknown and rule.unknown == "never":
                    continue
                conditions: list[dict[str, Any]] = [{"c0": {f"{mark}{place}": True}}]
                for number, tag in enumerate(rule.given, start=1):
                    conditions.append({f"c{number}": {"tag": tag}})
                # What cannot be judged is lifted by mitigations only where the rule says so;
                # otherwise their numbers would be unknown too.
                is_lifted = not is_unknown or rule.unknown == "conditions"
                mitigations = rule.mitigations if is_lifted else ()
                program[f"{mark}{place}"] = {
                    "all": conditions,
                    "run": self._found(Found(place, is_unknown), rule.tags, mitigations),
                }
        for place, mitigation in enumerate(self._rule_set.mitigations.values()):
            code = mitigation.code
            here = {"mitigation": code}
            program[f"m{place}"] = {
                "all": [{"m": here}],
                "run": self._note("mitigation", code, needs=mitigation.needs),
            }
            if mitigation.provided_by:
                accessory = self._accessories.index(mitigation.provided_by)
                program[f"p{place}"] = {
                    "all": [{"m": here}, {"f": {f"a{accessory}": False}}],
                    "run": self._note("missing", (code, mitigation.provided_by)),
                }
            for number, other in enumerate(mitigation.conflicts):
                program[f"x{place}-{number}"] = {
                    "all": [{"m": here}, {"o": {"mitigation": other}}],
                    "run": self._note("conflict", (code, other)),
                }
        program["~default"] = {"all": [{"p0": {"job": True}}], "run": _nothing, "pri": 9999}
        return program

    def _found(
        self, found: Found, tags: tuple[str, ...], mitigations: tuple[str, ...]
    ) -> Callable[[Any], None]:
        def run(context: Any) -> None:
            self._out.append(("finding", found))
            _put_all("tag", tags, context)
            _put_all("mitigation", mitigations, context)

        return run

    def _note(self, kind: str, value: object, needs: tuple[str, ...] = ()) -> Callable[[Any], None]:
        def run(context: Any) -> None:
            self._out.append((kind, value))
            _put_all("mitigation", needs, context)

        return run

    def _check_size(self, program: dict[str, Any]) -> None:
        first = {str(next(iter(item["all"][0].values()))) for item in program.values()}
        used: dict[str, int] = {}
        for item in program.values():
            for condition in item["all"]:
                key = str(next(iter(condition.values())))
                used[key] = used.get(key, 0) + 1
        if len(first) > _MOST_FIRST_CONDITIONS or max(used.values()) > _MOST_RULES_ON_ONE:
            raise CuttableError(
                "rule-set-too-large",
                f"the rule set has {len(first)} first conditions and up to {max(used.values())} "
                f"rules on one; {_MOST_FIRST_CONDITIONS} and {_MOST_RULES_ON_ONE} are safe",
                remedy="Join rules, or split the set by machine.",
            )

    # --- results --------------------------------------------------------------------------

    def _result(self, out: list[tuple[str, Any]]) -> Inferred:
        def of(kind: str) -> list[Any]:
            return list(dict.fromkeys(value for name, value in out if name == kind))

        rules, declared = self._rule_set.rules, self._rule_set.mitigations
        findings: list[Found] = sorted(
            of("finding"), key=lambda found: (found.rule, found.is_unknown)
        )
        wanted = set(of("mitigation"))
        replaced = {old for code in wanted for old in declared[code].replaces}
        kept = tuple(code for code in declared if code in wanted - replaced)
        missing = tuple(pair for pair in of("missing") if pair[0] in kept)
        conflicts = tuple(
            sorted(pair for pair in of("conflict") if pair[0] in kept and pair[1] in kept)
        )
        outcomes = [
            rules[found.rule].unknown if found.is_unknown else rules[found.rule].outcome
            for found in findings
        ]
        worst: Outcome = "setting"
        for outcome in outcomes:
            if outcome != "never" and RANK[outcome] > RANK[worst]:
                worst = cast("Outcome", outcome)
        if missing or conflicts:
            worst = "refused"
        order = {code: place for place, code in enumerate(declared)}
        missing = tuple(sorted(missing, key=lambda pair: order[pair[0]]))
        return Inferred(tuple(findings), kept, missing, conflicts, worst)


def _parts_of(rule_set: RuleSet) -> list[tuple[int, ...]]:
    """Return the places in a signature of rules that can meet: by a tag, or in a conflict.

    Each part lists *holds* and *unknown* of its rules.
    """
    rules = rule_set.rules
    marks = [{*rule.tags, *rule.given} for rule in rules]
    pairs = [
        (code, other) for code, item in rule_set.mitigations.items() for other in item.conflicts
    ]
    for mark, rule in zip(marks, rules, strict=True):
        wanted = with_needs(rule.mitigations, rule_set)
        mark |= {f"{one} against {other}" for one, other in pairs if {one, other} & wanted}
    parts: list[tuple[set[str], list[int]]] = []
    for place, mark in enumerate(marks):
        meets = [part for part in parts if part[0] & mark]
        joined = (mark.union(*(part[0] for part in meets)), [place])
        for part in meets:
            joined[1].extend(part[1])
            parts.remove(part)
        parts.append(joined)
    count = len(rules)
    return [(*sorted(places), *(count + place for place in sorted(places))) for _, places in parts]


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


def _put_all(kind: str, codes: tuple[str, ...], context: Any) -> None:
    """Assert derived facts; one that no rule reads, or that is there already, is no fault."""
    for code in codes:
        try:
            context.assert_fact({kind: code})
        except (durable.MessageNotHandledException, durable.MessageObservedException):
            continue


def _nothing(context: Any) -> None:
    _ = context


def _delete(handle: Any) -> None:
    _core.delete_ruleset(handle)


def _failed(fault: object) -> CuttableError:
    return CuttableError(
        "inference-failed",
        f"the inference engine reported a fault ({str(fault)[:200]})",
        remedy="No verdict was given. Please report the job that caused it.",
    )
