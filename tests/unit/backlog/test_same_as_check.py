"""A backlog row gets the answer that ``check`` gives, bad rows included; the batch changes nothing.

Generated jobs: sections, lengths, parts and facts in the ways people write them, some of them
wrong. Row by row, one machine and several, alone and among others, on one process and on two.
"""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from cuttable.catalogue.errors import InputError
from cuttable.engine.answer.document import Answer
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.backlog.asked import Asked
from cuttable.engine.backlog.parse_jobs import COLUMNS, Texts, split
from cuttable.engine.backlog.runner import Runner
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.parse import read_job
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

CORE = AssessorCore()
MACHINES = list(CORE.catalogue.machines.values())

SECTIONS = [
    "NPS 4 SCH 40", "nps 6 sch 80", "6 in XS pipe", "NPS 10 XS", "NPS 20 STD", "tube 20 x 1 mm",
    "tube 60.3 x 2 mm", "DN150 S40", "SHS 100x5 cf", "RHS 150x100x6 cf", "HSS 6x4x1/4",
    "NPS 2 SCH 10S", "2 in x .065 tube", "NPS 1-1/4 SCH 40", "tube 219.1 x 3 mm",
    "4 in pipe", "NPS 4 SCHED 41", "angle 50x5", "", "100 x 3", "tube 50 x 30 mm", "=1+1",
]  # fmt: skip
LENGTHS = [
    "6 m", "20 ft", "21'-0 1/2\"", "6,1 m", "12 m", "240 in", "900 mm", "18 m", "3300 mm", "40 ft",
    "-3 m", "1e308 mm", "NaN", "6", "101 m", "", "6 km",
]  # fmt: skip
COLUMN_TEXTS: dict[str, list[str]] = {
    "section": SECTIONS,
    "length": LENGTHS,
    "grade": ["", "", "A106 B", "304", "S355J2H", "6061-T6", "stainless", "unobtainium"],
    "parts": ["", "", "2*1.2 m", "3*900 mm + 1 m", "10*100 mm", "5*3 m", "0*1 m", "x"],
    "cuts": ["", "", "", "2 m", "4 m + 2 m", "2 m + 2 m", "2 m + 2001.5 mm", "50 m"],
    "stations": ["", "", "", "2 m; 4 m", "1500 mm", "1.5 m; 1.5 m", "90 m"],
    "bow": ["", "", "3 mm", "40 mm", "2 m", "1/2 in"],
    "behind": ["", "", "", "500 mm", "30 m"],
    "off_axis": ["", "", "", "12 kg @ 150 mm", "12 kg"],
    "ends": ["", "", "open", "sealed", "flanged", "bent"],
    "contents": ["", "", "empty", "unknown", "full"],
    "coating": ["", "", "galvanised", "painted", "wet", "gold"],
    "grip": ["", "", "inside", "outside", "above"],
    "fitted": ["", "", "reversed-jaws", "lift-and-index", "wings"],
}
LIKELY = ["section", "length", "grade", "parts"]

rows_of_text = st.lists(
    st.fixed_dictionaries(
        {
            # Mostly good: a row with one fault tells nothing of the rest of it.
            name: st.sampled_from(
                texts[: len(texts) * 2 // 3] * 4 + texts if name in LIKELY else [""] * 20 + texts
            )
            for name, texts in COLUMN_TEXTS.items()
        }
    ),
    min_size=1,
    max_size=6,
)


def columns_of(rows: Sequence[dict[str, str]]) -> dict[str, Texts]:
    """Return rows as the columns that a reader gives."""
    columns: dict[str, Texts] = {}
    for name in COLUMNS:
        values = list(dict.fromkeys(row[name] for row in rows))
        codes = [values.index(row[name]) for row in rows]
        columns[name] = Texts(values, np.array(codes, dtype=np.intp))
    return columns


def answered(
    rows: Sequence[dict[str, str]], machines: Sequence[Any], workers: int = 1, **asked: Any
) -> list[dict[str, Any]]:
    """Return the answer rows of a batch."""
    runner = Runner(CORE, Asked(tuple(machines), has_numbers=True, **asked), workers)
    try:
        return runner.answer(columns_of(rows), len(rows), 1, {}).to_pylist()
    finally:
        runner.close()


def checked(row: dict[str, str], machines: Sequence[Any]) -> list[Answer] | tuple[str, str]:
    """Return what ``check`` says: a verdict a machine, or the code of the error or question."""
    text = JobText(
        row["section"], row["length"], grade=row["grade"] or None,
        parts=split(row["parts"], "+;"), cuts=split(row["cuts"], "+;"),
        stations=split(row["stations"], "+;"), bow=row["bow"], off_axis=row["off_axis"],
        ends=row["ends"], contents=row["contents"], coating=row["coating"],
        fitted=split(row["fitted"], "+;, "), behind=row["behind"], grip=row["grip"],
    )  # fmt: skip
    try:
        job, questions = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
        if job is None:
            return "question", questions[0].code
        answers = [
            CORE.answer(job, [machine], system="si", is_all=False).verdicts for machine in machines
        ]
        CORE.ask(text, [machine.code for machine in machines])
    except InputError as fault:
        return "error", fault.code
    return [found[0] if found else None for found in answers]  # type: ignore[misc]


def agree(row: dict[str, Any], verdict: Answer) -> None:
    """Fail where an answer row and a single verdict differ."""
    assert row["verdict"] == verdict.verdict
    assert row["decided_by"] == (verdict.decided_by or "")
    assert row["governing"] == verdict.governing
    assert row["mitigations"] == "; ".join(item.code for item in verdict.mitigations)
    assert row["missing"] == "; ".join(verdict.missing)
    assert row["grade"] == verdict.job.grade
    measure = verdict.measures.get(verdict.governing)
    if measure is not None:
        assert row["utilisation"] == pytest.approx(measure.utilisation, rel=1e-9)
    for name in ("stock_mass", "rotary_inertia"):
        assert row[name] == pytest.approx(verdict.measures[name].value, rel=1e-9)
        assert row[f"{name}_heavy"] == pytest.approx(verdict.measures[name].heavy, rel=1e-9)
    told = {
        f"{item.code}.{name}": value
        for item in verdict.mitigations
        for name, value in item.values.items()
    }
    written = {name: value for name, value in row.items() if "." in name and value is not None}
    assert written == pytest.approx(told, rel=1e-9)
    if verdict.verdict == "refused":
        assert row["rapid_override"] is None
        assert not row["stations"]
        return
    setup = verdict.setup
    for name in ("rapid_override", "acceleration", "jaw_force", "bow_to_refuse"):
        assert row[name] == pytest.approx(getattr(setup, name), rel=1e-9)
    # A table has the stations of what carries while the stock turns; what only catches parts is
    # told by the answer to one job, with the steps between its cuts.
    carrying = [item for item in setup.supports if item.role != "catches"]
    assert row["stations"] == " + ".join(f"{item.station:.10g} mm" for item in carrying)


@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@given(rows=rows_of_text, machine=st.sampled_from(MACHINES))
def test_every_row_gets_the_answer_of_check(rows: list[dict[str, str]], machine: Any) -> None:
    """Verdict, what decides, mitigations and their numbers, settings and stations; or the fault."""
    for row, text in zip(answered(rows, [machine]), rows, strict=True):
        single = checked(text, [machine])
        if isinstance(single, tuple):
            assert row["error"] == single[1], text
            assert row["error_text"]
            assert row["verdict"] == ""
        elif single[0] is None:  # a rule asks first
            assert row["verdict"] == ""
            assert row["error"] in {rule.code for rule in CORE.rule_set.rules}
        else:
            assert row["error"] == ""
            agree(row, single[0])


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(rows=rows_of_text)
def test_what_stands_beside_a_row_does_not_change_it(rows: list[dict[str, str]]) -> None:
    """A row alone, among others, twice over, and on two processes: the same answer."""
    together = answered(rows * 2, MACHINES)
    count = len(rows) * len(MACHINES)
    assert len(together) == 2 * count
    for first, second in zip(together[:count], together[count:], strict=True):
        assert first | {"row": 0} == second | {"row": 0}
    alone = [answer for row in rows for answer in answered([row], MACHINES)]
    assert [a | {"row": 0} for a in alone] == [a | {"row": 0} for a in together[:count]]


def test_two_processes_give_what_one_gives() -> None:
    """Above the size from which work is shared, and with more lengths than fit in one piece."""
    rows = [
        dict.fromkeys(COLUMNS, "")
        | {"section": SECTIONS[number % 15], "length": f"{900 + number} mm"}
        for number in range(4500)
    ]
    one, two = answered(rows, MACHINES[:1]), answered(rows, MACHINES[:1], workers=2)
    assert one == two
    assert {row["verdict"] for row in one} >= {"in-range", "refused"}


def test_answers_are_in_the_order_of_the_backlog_a_row_a_machine() -> None:
    """Nothing is dropped: the bad row has as many answers as the good one."""
    blank = dict.fromkeys(COLUMNS, "")
    rows = [
        blank | {"section": "NPS 4 SCH 40", "length": "6 m"},
        blank | {"section": "NPS 4 SCH 40", "length": "oops"},
    ]
    answers = answered(rows, MACHINES)
    assert [(a["row"], a["machine"]) for a in answers] == [
        (row, machine.code) for row in (1, 2) for machine in MACHINES
    ]
    assert all(a["error"] for a in answers if a["row"] == 2)


def test_best_keeps_the_smallest_model_with_the_best_verdict() -> None:
    """As the first model of ``check`` is; in range goes before allowed, and that before refused."""
    blank = dict.fromkeys(COLUMNS, "")
    rows = [blank | {"section": text, "length": "12 m"} for text in SECTIONS[:8]]
    best = answered(rows, MACHINES, is_best=True)
    assert [answer["row"] for answer in best] == list(range(1, len(rows) + 1))
    for answer, row in zip(best, rows, strict=True):
        first = CORE.ask(JobText(row["section"], row["length"])).verdicts[0]
        assert (answer["machine"], answer["verdict"]) == (first.machine.model, first.verdict)


def test_nan_is_never_written_as_a_number() -> None:
    """What does not exist is blank."""
    blank = dict.fromkeys(COLUMNS, "")
    rows = [blank | {"section": text, "length": "6 m"} for text in SECTIONS[:15]]
    for answer in answered(rows, MACHINES):
        assert not any(isinstance(v, float) and not math.isfinite(v) for v in answer.values())
