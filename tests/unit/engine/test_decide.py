"""From conditions to outcomes: accessories, signatures, fullness, and what is not planned."""

import math
from pathlib import Path
from typing import Final

import numpy as np
import pytest
from cuttable.catalogue.machines.model import MachineModel
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.decision.conditions import Scope
from cuttable.engine.decision.decide import Decision, Engine, fullness
from cuttable.engine.decision.decide import _distinct as distinct
from cuttable.engine.inputs.frame import Frame
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job import Job
from cuttable.engine.jobs.parse import read_job
from cuttable.engine.measures import Measured
from cuttable.rules import loader
from cuttable.rules.model import Measure, RuleSet, Served
from hypothesis import given, settings
from hypothesis import strategies as st

CORE: Final = AssessorCore()
SERVED: Final = Served(
    measures={name: Measure(name, "kg", name, "more") for name in ("first", "second", "third")},
    numbers={"limit.first.rated": "kg", "limit.first.absolute": "kg", "limit.first.minimum": "kg"},
    facts={"kind": ("a", "b")}, parameters={}, not_zero=frozenset(), lookups={},
)  # fmt: skip
VOCABULARY: Final = """
schema = 2
[not_assessed]
[limits]
first = { unit = "kg", bounds = ["minimum", "rated", "absolute"] }
[machine]
[material]
[facts]
kind = { values = ["a", "b"], harmless = ["a", "b"] }
[accessories]
jack = "jack"
stand = "stand"
[gauges.first]
demand = "first"
minimum = "limit.first.minimum"
rated = "limit.first.rated"
absolute = "limit.first.absolute"
when = "kind is 'a'"
"""
RULE: Final = """
[rules.{code}]
title = "t"
when = "{name} > 1 kg"
outcome = "conditions"
unknown = "{unknown}"
says = "s"
mitigations = [{mitigations}]
because = "b"
basis = "b"
may_be_wrong_when = "m"
since = "2020-01-01"
"""
MITIGATIONS: Final = """
[mitigations.lift]
title = "t"
text = "T."
basis = "b"
provided_by = "jack"
[mitigations.hold]
title = "t"
text = "T."
basis = "b"
needs = ["lift"]
[mitigations.look]
title = "t"
text = "T."
basis = "b"
provided_by = "stand"
"""


@pytest.fixture(scope="module")
def rule_set(tmp_path_factory: pytest.TempPathFactory) -> RuleSet:
    """Three rules: two ask for what the jack provides, one of them through another mitigation."""
    folder: Path = tmp_path_factory.mktemp("rules")
    (folder / "vocabulary.toml").write_text(VOCABULARY)
    (folder / "cautions.toml").write_text("[cautions]\n")
    (folder / "mitigations.toml").write_text(MITIGATIONS)
    (folder / "topic.toml").write_text(
        RULE.format(code="A", name="first", unknown="never", mitigations='"lift"')
        + RULE.format(code="B", name="second", unknown="conditions", mitigations='"hold"')
        + RULE.format(code="C", name="third", unknown="never", mitigations='"look"')
    )
    return loader.load_rules(SERVED, folder)


def decide(
    rule_set: RuleSet, rows: list[tuple[float, float, float]], jack: list[bool], stand: list[bool]
) -> Decision:
    """Decide rows of three numbers, with what is fitted in each."""
    columns = np.array(rows, dtype=np.float64).T
    numbers = {}
    for name, column in zip(("first", "second", "third"), columns, strict=True):
        numbers[name] = numbers[f"{name}.heavy"] = column
    for bound, value in (("minimum", 0.1), ("rated", 4.0), ("absolute", 5.0)):
        numbers[f"limit.first.{bound}"] = np.full(len(rows), value)
    scope = Scope(
        len(rows), numbers, {"kind": np.zeros(len(rows), dtype=np.int8)}, {"kind": {"a": 0, "b": 1}}
    )
    fitted = {"jack": np.array(jack), "stand": np.array(stand)}
    frame = Frame(len(rows), {}, {}, {}, {}, fitted, np.ones(len(rows), dtype=np.bool_))
    return Engine(rule_set).decide_scope(frame, scope, Measured({}, {}))


def test_a_missing_accessory_refuses_whichever_rule_asks_for_it(rule_set: RuleSet) -> None:
    """The first rule, the second through a need, one that cannot be judged: each one refuses."""
    asking = [(2, 0, 0), (0, 2, 0), (0, math.nan, 0), (2, 2, 2), (0, 0, 0), (0, 0, 2)]
    bare = decide(rule_set, asking, [False] * 6, [False] * 6)
    assert bare.ranks.tolist() == [3, 3, 3, 3, 0, 3]
    missing = [{accessory for _, accessory in bare.of(row).missing} for row in range(6)]
    assert missing == [{"jack"}, {"jack"}, {"jack"}, {"jack", "stand"}, set(), {"stand"}]
    fitted = decide(rule_set, asking, [True] * 6, [True] * 6)
    assert fitted.ranks.tolist() == [1, 1, 1, 1, 0, 1]
    assert fitted.of(1).mitigations == ("lift", "hold")
    assert not any(fitted.of(row).missing for row in range(6))


def test_rows_that_differ_only_in_what_is_fitted_are_told_apart(rule_set: RuleSet) -> None:
    """The same finding, with and without the jack; where none is asked for, they are one."""
    rows = [(2.0, 0.0, 0.0)] * 2 + [(0.0, 0.0, 0.0)] * 2
    found = decide(rule_set, rows, [True, False, True, False], [True] * 4)
    assert found.ranks.tolist() == [1, 3, 0, 0]
    assert found.which[0] != found.which[1]
    assert found.which[2] == found.which[3]
    assert len(found.inferred) == 3


def test_no_rows_are_no_decision(rule_set: RuleSet) -> None:
    """An empty table has no answer and no fault."""
    empty = Engine(rule_set).decide_scope(
        Frame(0, {}, {}, {}, {}, {"jack": np.zeros(0, np.bool_), "stand": np.zeros(0, np.bool_)},
              np.zeros(0, np.bool_)),
        Scope(0, {name: np.zeros(0) for name in ("first", "second", "third")}, {}, {}),
        Measured({}, {}),
    )  # fmt: skip
    assert len(empty.which) == len(empty.ranks) == 0


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 5), st.integers(1, 400), st.integers(1, 6), st.randoms(use_true_random=False))
def test_distinct_signatures_are_those_of_sorting(
    height: int, width: int, values: int, dice: object
) -> None:
    """Codes name the same columns as ``numpy.unique`` does, and where each is first seen."""
    random = np.random.default_rng(dice.randint(0, 2**31))  # type: ignore[attr-defined]
    packed = random.choice(random.integers(0, 256, values), (height, width)).astype(np.uint8)
    code, first = distinct(packed)
    every = [tuple(column) for column in packed.T.tolist()]
    assert len(first) == len(set(every)) == int(code.max()) + 1
    for row, column in enumerate(every):
        place = int(first[code[row]])
        assert every[place] == column
        assert every.index(column) == place


# --- how full a limit is ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("demand", "heavy", "kind", "nominal", "at_heavy"),
    [
        (2.0, 3.0, 0, 0.5, 0.75),  # demand over the rated 4 kg
        (0.05, 0.06, 0, 2.0, 2.0),  # below the least of 0.1 kg by half: twice as full
        (0.5, 0.5, 0, 0.2, 0.2),  # both bounds: 0.125 of rated, 0.2 of the least
        (2.0, 3.0, 1, math.nan, math.nan),  # the limit is not for this kind
        (math.nan, 3.0, 0, math.nan, 0.75),
    ],
)
def test_how_full_a_limit_is(
    rule_set: RuleSet, demand: float, heavy: float, kind: int, nominal: float, at_heavy: float
) -> None:
    """Demand over rated, or the least over the demand; the heavy end by the heavy demand."""
    numbers = {
        "first": demand, "first.heavy": heavy, "limit.first.minimum": 0.1,
        "limit.first.rated": 4.0, "limit.first.absolute": 5.0,
    }  # fmt: skip
    scope = Scope(
        1, {name: np.array([value]) for name, value in numbers.items()},
        {"kind": np.array([kind], dtype=np.int8)}, {"kind": {"a": 0, "b": 1}},
    )  # fmt: skip
    (full,) = fullness(rule_set, scope)
    assert (full.rated[0], full.absolute[0], full.minimum[0]) == (4.0, 5.0, 0.1)
    assert full.nominal[0] == pytest.approx(nominal, nan_ok=True)
    assert full.heavy[0] == pytest.approx(at_heavy, nan_ok=True)


# --- what is planned at all -------------------------------------------------------------------


def read(text: JobText) -> Job:
    """Read a job that leaves no question."""
    job, questions = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None, questions
    return job


def model(code: str) -> MachineModel:
    """Return a shipped model."""
    return CORE.catalogue.machine(code)


@pytest.mark.parametrize(
    ("job", "code", "is_carried"),
    [
        (JobText("NPS 4 SCH 40", "6 m", bow="2 mm"), "rowan-150", True),
        # Refused by size, by a sealed end, by a wall limit that is not stated: none is planned.
        (JobText("NPS 12 STD", "6 m"), "rowan-150", False),
        (JobText("NPS 4 SCH 40", "6 m", ends="sealed"), "rowan-150", False),
        (JobText("tube 8 in x 0.25 in", "6 m", grade="6061"), "larch-610", False),
        # Refused for want of reversed jaws only after everything else: that is planned.
        (JobText("NPS 6 SCH 40", "4 m", bow="1 mm"), "rowan-150", True),
    ],
)
def test_supports_are_planned_only_for_what_nothing_else_refuses(
    job: JobText, code: str, is_carried: bool
) -> None:
    """Stations beside a refusal would be taken for leave to try."""
    decision = CORE.engine.decide([read(job)], [model(code)])
    assert bool(decision.frame.is_carried[0]) is is_carried
    assert np.isfinite(decision.scope.numbers["support_span"][0])
    if not is_carried:
        assert decision.ranks[0] == 3


def test_rows_of_several_models_are_those_of_one_at_a_time() -> None:
    """Each row has its own machine's limits and supports, whatever stands beside it."""
    jobs = [
        read(JobText("NPS 4 SCH 40", "6 m", bow="2 mm")),
        read(JobText("NPS 10 XS", "9 m", bow="2 mm", coating="wet")),
        read(JobText("SHS 100x5", "2 m", fitted=["lift-and-index"])),
    ]
    machines = list(CORE.catalogue.machines.values())
    pairs = [(job, machine) for job in jobs for machine in machines]
    whole = CORE.engine.decide([job for job, _ in pairs], [machine for _, machine in pairs])
    for row, (job, machine) in enumerate(pairs):
        alone = CORE.engine.decide([job], [machine])
        assert whole.of(row) == alone.of(0)
        for name, column in alone.scope.numbers.items():
            np.testing.assert_array_equal(whole.scope.numbers[name][row], column[0], err_msg=name)
        for name, column in alone.frame.facts.items():
            assert whole.frame.facts[name][row] == column[0]
