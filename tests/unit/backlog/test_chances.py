"""Columns of chances: what ``check`` tells of one job, for every row, however it is worked out."""

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from cuttable import check_frame
from cuttable.engine.assessor import AssessorCore, Chance
from cuttable.engine.backlog.asked import Asked
from cuttable.engine.backlog.parse_jobs import Texts
from cuttable.engine.backlog.runner import Runner
from cuttable.engine.decision.chance import BOUNDS, COLUMNS, MEASURES, column_name
from cuttable.engine.decision.mill_chance import LAWS
from cuttable.engine.jobs.fields import JobText

CORE = AssessorCore()
MACHINES = [CORE.catalogue.machine(code) for code in ("rowan-150", "alder-320")]
SECTIONS = ("NPS 6 SCH 40", "NPS 10 XS", "NPS 12 XS", "HSS 4x4x1/4", "168.3x7.1", "nonsense")
GRADES = ("", "A106 B", "P235TR1", "")


def jobs(count: int) -> list[dict[str, str]]:
    return [
        {
            "section": SECTIONS[row % len(SECTIONS)],
            "length": f"{3000 + 37 * row} mm",
            "grade": GRADES[row % len(GRADES)],
            "coating": "galvanised" if row % 5 == 0 else "",
            "off_axis": "8 kg @ 170 mm x 60 mm" if row % 7 == 0 else "",
        }
        for row in range(count)
    ]


def answered(rows: list[dict[str, str]], workers: int, **asked: Any) -> list[dict[str, Any]]:
    columns = {
        name: Texts([row[name] for row in rows], np.arange(len(rows))) for name in rows[0]
    }  # fmt: skip
    runner = Runner(CORE, Asked(tuple(MACHINES), **asked), workers)
    try:
        return runner.answer(columns, len(rows), 1, {}).to_pylist()
    finally:
        runner.close()


def test_a_row_has_the_chances_of_check_to_the_bit() -> None:
    rows = jobs(180)
    found = answered(rows, 1, has_chance=True)
    compared = between = 0
    for number, answer in enumerate(found):
        row, machine = rows[number // 2], MACHINES[number % 2]
        if answer["error"]:
            assert all(answer[name] is None for name in COLUMNS)
            continue
        text = JobText(**{**row, "grade": row["grade"] or None})
        (verdict,) = CORE.ask(text, [machine.code], chance=Chance()).verdicts
        assert verdict.chance is not None
        for measure in MEASURES:
            for bound in BOUNDS:
                of = verdict.chance.limits.get(measure)
                told = None if of is None else getattr(of, bound)
                for law in LAWS:
                    value = None if told is None else getattr(told, law)
                    assert answer[column_name(measure, bound, law)] == value
                    compared += value is not None
                    between += value is not None and 0 < value < 1
    assert compared > 1500
    assert between > 30


def test_other_columns_are_what_they_are_without_chances() -> None:
    rows = jobs(40)
    plain, told = answered(rows, 1), answered(rows, 1, has_chance=True)
    assert [{k: v for k, v in row.items() if k not in COLUMNS} for row in told] == plain
    assert not set(COLUMNS) & plain[0].keys()
    both = answered(rows, 1, has_chance=True, has_numbers=True)
    assert [{k: row[k] for k in told[0]} for row in both] == told
    assert len(both[0]) > len(told[0])


def test_other_processes_tell_the_same() -> None:
    rows = jobs(4500)
    assert answered(rows, 2, has_chance=True, is_best=True) == answered(
        rows, 1, has_chance=True, is_best=True
    )


def test_a_frame_has_them_where_they_are_asked_for() -> None:
    frame = pd.DataFrame(jobs(6))
    assert not set(COLUMNS) & set(check_frame(frame, machine="rowan-150").columns)
    found = check_frame(frame, machine="rowan-150", chance=True)
    assert set(COLUMNS) <= set(found.columns)
    value = found["chance_wall_rated_normal"].iloc[1]
    assert value == pytest.approx(1.0)
    assert math.isnan(found["chance_wall_rated_normal"].iloc[3])
