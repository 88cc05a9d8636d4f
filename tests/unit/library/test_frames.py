"""``cuttable.check_frame``: tables as people have them, answered as ``batch`` answers files."""

import datetime as dt
import subprocess
import sys
from decimal import Decimal
from pathlib import Path
from typing import Any

import cuttable
import numpy as np
import pandas as pd
import pytest

ONE = ["rowan-150"]


def orders() -> pd.DataFrame:
    """A table with two columns of its own."""
    return pd.DataFrame(
        {
            "customer": ["Ash", "Birch", "Cedar"],
            "size": ["NPS 4 SCH 40", "NPS 10 XS", "no such thing"],
            "len": ["6 m", "12 m", "6 m"],
            "due": pd.to_datetime(["2027-01-04", "2027-01-05", None]),
        },
        index=["a", "b", "c"],
    )


def test_one_row_a_job_and_model_with_all_that_was_there() -> None:
    """Columns and index of the table are kept as they are; nothing of the table is altered."""
    asked = orders()
    found = cuttable.check_frame(asked, machines=["rowan-150", "alder-320"])
    assert list(found.index) == ["a", "a", "b", "b", "c", "c"]
    assert list(found["machine"]) == ["rowan-150", "alder-320"] * 3
    assert list(found.columns[:4]) == list(asked.columns)
    pd.testing.assert_frame_equal(found[asked.columns].iloc[::2], asked)
    pd.testing.assert_frame_equal(asked, orders())
    assert list(found["verdict"].fillna("")) == [
        "in-range", "in-range", "refused", "oversize-allowed-with-conditions", "", "",
    ]  # fmt: skip
    assert list(found["error"].fillna("")) == ["", "", "", "", *["designation-unreadable"] * 2]
    assert found["error_text"].isna().tolist() == [True] * 4 + [False] * 2


def test_each_row_is_what_check_says() -> None:
    """Verdict, what decides, and numbers."""
    frame = pd.DataFrame(
        [
            ("NPS 4 SCH 40", "6 m", "1.2 m*4", ""),
            ("NPS 10 XS", "12 m", "", "8 mm"),
            ("SHS 100x5 cf", "20 ft", "", ""),
            ("NPS 5 SCH 80", "6 m", "", ""),
        ],
        columns=["section", "length", "parts", "bow"],
    )
    found = cuttable.check_frame(frame)
    assert len(found) == 16
    for position, (row, model) in enumerate(
        zip(np.repeat(np.arange(4), 4), found["machine"], strict=True)
    ):
        asked = frame.iloc[int(row)]
        answer = cuttable.check(
            asked["section"], asked["length"], machine=model, bow=asked["bow"],
            parts=[asked["parts"]] if asked["parts"] else [],
        )  # fmt: skip
        line = found.iloc[position]
        assert line["verdict"] == answer.verdict
        assert (line["decided_by"] if isinstance(line["decided_by"], str) else None) == (
            answer.decided_by
        )
        assert line["stock_mass"] == pytest.approx(answer.measures["stock_mass"].value, rel=1e-11)
        if answer.governing:
            assert line["governing"] == answer.governing
            used = answer.measures[answer.governing].utilisation
            assert line["utilisation"] == pytest.approx(used, rel=1e-11)


def test_best_is_the_first_of_check() -> None:
    """One row a job."""
    found = cuttable.check_frame(orders().head(2), best=True)
    assert list(found.index) == ["a", "b"]
    assert list(found["machine"]) == ["rowan-150", "larch-610"]


def test_numbers_of_mitigations_are_columns_where_they_are_wanted() -> None:
    """Otherwise not."""
    plain, more = (
        cuttable.check_frame(orders().head(2), ["alder-320"], numbers=wanted)
        for wanted in (False, True)
    )
    extra = [name for name in more.columns if name not in plain.columns]
    assert "reduced-rapid.rapid_override" in extra
    assert more["reduced-rapid.rapid_override"].iloc[1] == 0.5


@pytest.mark.parametrize(
    ("values", "codes"),
    [
        ([6000, 12000], ["", ""]),
        ([6000.0, np.nan], ["", "text-empty"]),
        (pd.array([6000, None], dtype="Int64"), ["", "text-empty"]),
        (np.array([6000.5, 6000], dtype=np.float32), ["", ""]),
        (pd.Categorical(["6 m", None]), ["", "text-empty"]),
        (pd.array(["6 m", None], dtype="string"), ["", "text-empty"]),
        ([Decimal("6000.5"), "6 m"], ["", ""]),
        ([None, pd.NA], ["text-empty", "text-empty"]),
        ([dt.date(2027, 6, 1), "6 m"], ["cell-is-date", ""]),
        (pd.to_datetime(["2027-06-01", None]), ["cell-is-date", "text-empty"]),
        ([True, 6000], ["length-unreadable", ""]),
        ([float("inf"), "=1+1"], ["length-unreadable", "length-unreadable"]),
        ([b"6 m", "6 m"], ["length-unreadable", ""]),
        ([1, "1"], ["", ""]),
    ],
)
def test_cells_of_every_kind(values: Any, codes: list[str]) -> None:
    """A header with a unit goes to bare numbers; what is missing is not stated; nothing is lost."""
    frame = pd.DataFrame({"section": ["NPS 4 SCH 40"] * 2, "length (mm)": values})
    found = cuttable.check_frame(frame, ["larch-610"])
    assert list(found["error"].fillna("")) == codes


def test_bare_numbers_without_a_unit_are_a_question() -> None:
    """It never guesses."""
    frame = pd.DataFrame({"section": ["NPS 4 SCH 40"], "length": [6]})
    found = cuttable.check_frame(frame, ONE)
    assert found["error"].iloc[0] == "length-unit"
    assert "6 ft" in found["error_text"].iloc[0]


def test_lists_in_cells_are_lists_of_the_job() -> None:
    """Parts as a list; and the text that a file would have."""
    frame = pd.DataFrame(
        {"section": ["NPS 4 SCH 40"] * 2, "length": ["6 m"] * 2,
         "parts": [["1.2 m*2", "0.4 m"], "1.2 m*2 + 0.4 m"]}
    )  # fmt: skip
    found = cuttable.check_frame(frame, ONE)
    assert list(found["error"].fillna("")) == ["", ""]
    numbers = found.select_dtypes("number")
    pd.testing.assert_series_equal(numbers.iloc[0], numbers.iloc[1], check_names=False)


def test_an_empty_table_has_the_columns_of_an_answer() -> None:
    """And no row."""
    whole = cuttable.check_frame(orders(), ONE)
    empty = cuttable.check_frame(orders().head(0), ONE)
    assert empty.empty
    assert list(empty.columns) == list(whole.columns)


def test_an_index_may_repeat_or_have_levels() -> None:
    """It is kept as it is."""
    frame = orders()
    frame.index = pd.Index([7, 7, 7], name="no")
    twice = cuttable.check_frame(frame, ["rowan-150", "alder-320"])
    assert list(twice.index) == [7] * 6
    assert twice.index.name == "no"
    frame.index = pd.MultiIndex.from_tuples([("x", 1), ("x", 2), ("y", 1)], names=["site", "n"])
    levels = cuttable.check_frame(frame, ["rowan-150", "alder-320"])
    assert levels.index.names == ["site", "n"]
    assert list(levels.index[:3]) == [("x", 1), ("x", 1), ("x", 2)]


def test_columns_may_have_levels_or_be_no_text() -> None:
    """All that is written above a column is its header; others are kept."""
    frame = pd.DataFrame(
        [["Ash", "NPS 4 SCH 40", "6 m", 5]],
        columns=pd.MultiIndex.from_tuples(
            [("order", "customer"), ("stock", "section"), ("stock", "length"), ("x", 1)]
        ),
    )
    frame.columns = pd.MultiIndex.from_tuples(
        [("order", "customer"), ("section", ""), ("stock", "length"), ("x", "1")]
    )
    found = cuttable.check_frame(frame, ONE)
    assert found[("verdict", "")].iloc[0] == "in-range"
    assert found[("order", "customer")].iloc[0] == "Ash"
    plain = pd.DataFrame({0: ["x"], "section": ["NPS 4 SCH 40"], "length": ["6 m"], None: [1]})
    assert cuttable.check_frame(plain, ONE)["verdict"].iloc[0] == "in-range"


def test_a_name_that_is_taken_is_kept_and_the_answers_is_told_apart() -> None:
    """The grade that was asked, and the one that was taken."""
    frame = pd.DataFrame(
        {"section": ["NPS 4 SCH 40", "NPS 4 SCH 40"], "length": ["6 m", "6 m"],
         "grade": ["", "A106 B"], "machine": ["alder-320", ""], "job": [1, 1], "order": [2, 3]}
    )  # fmt: skip
    found = cuttable.check_frame(frame, ONE)
    assert list(found["grade"]) == ["", "A106 B"]
    assert list(found["grade_answer"]) == ["ASTM A53 B", "ASTM A106 B"]
    assert list(found["machine_answer"]) == ["alder-320", "rowan-150"]
    again = cuttable.check_frame(found.drop(columns=["grade_answer", "machine_answer"]), ONE)
    assert list(again["verdict_answer"]) == list(found["verdict"])
    with pytest.raises(cuttable.InputError) as twice:
        cuttable.check_frame(again, ONE)
    assert twice.value.code == "column-twice"


@pytest.mark.parametrize(
    ("frame", "code"),
    [
        (pd.DataFrame({"section": ["NPS 4 SCH 40"]}), "column-missing"),
        (pd.DataFrame({"lenght": ["6 m"], "section": ["NPS 4 SCH 40"]}), "column-missing"),
        (pd.DataFrame({"size": ["x"], "section": ["x"], "length": ["6 m"]}), "column-twice"),
        (pd.DataFrame(), "column-missing"),
        ([{"section": "NPS 4 SCH 40", "length": "6 m"}], "type-wrong"),
        (None, "type-wrong"),
    ],
)
def test_a_table_that_cannot_be_asked_is_refused(frame: Any, code: str) -> None:
    """In a sentence with the remedy."""
    with pytest.raises(cuttable.CuttableError) as fault:
        cuttable.check_frame(frame, ONE)
    assert fault.value.code == code
    assert fault.value.remedy


def test_many_rows_keep_their_order_across_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if they were answered at once."""
    from cuttable.engine.library import frames

    rows = 50
    frame = pd.DataFrame(
        {"section": ["NPS 4 SCH 40", "oops", "SHS 100x5 cf", None, "NPS 5 SCH 80"] * 10,
         "length": [f"{1000 + 100 * row} mm" for row in range(rows)]}
    )  # fmt: skip
    frame = frame.astype({"length": object})
    frame.loc[23, "length"] = dt.date(2027, 6, 1)
    whole = cuttable.check_frame(frame, ["rowan-150", "medlar-300"])
    assert list(whole.index[whole["error"] == "cell-is-date"]) == [23, 23]
    monkeypatch.setattr(frames, "CHUNK", 7)
    pieces = cuttable.check_frame(frame, ["rowan-150", "medlar-300"])
    pd.testing.assert_frame_equal(whole, pieces)
    assert list(whole.index) == [row for row in range(rows) for _ in range(2)]


def test_it_answers_as_batch_does(tmp_path: Path) -> None:
    """The same file, read by pandas, and answered by the command."""
    source, target = tmp_path / "orders.csv", tmp_path / "answers.csv"
    lines = [
        "job,size,length (m),mat,fitted", "1,NPS 4 SCH 40,6,A106 B,",
        "2,NPS 6 SCH 40,6,,reversed-jaws",
        "3,4 in pipe,6,,", "4,NPS 10 XS,12,,", "5,NPS 2 SCH 10S,6,,", "6,SHS 150x6 cf,6.5,,wings",
    ]  # fmt: skip
    source.write_text("\n".join(lines) + "\n", encoding="utf-8")
    entry = "from cuttable.cli.main import run; run()"
    subprocess.run(
        [sys.executable, "-c", entry, "batch", str(source), "--out", str(target)],
        check=False, capture_output=True,
    )  # fmt: skip
    told = pd.read_csv(target)
    found = cuttable.check_frame(pd.read_csv(source)).reset_index(drop=True)
    assert len(told) == len(found) == 24
    for name in told.columns.drop(["row", "job"]):
        mine = found[name]
        if told[name].dtype.kind == "f" and mine.dtype.kind == "f":
            np.testing.assert_allclose(mine, told[name], rtol=1e-12, equal_nan=True)
        else:
            assert list(mine.fillna("")) == list(told[name].fillna("")), name


def test_it_needs_no_arrow() -> None:
    """The base install answers tables of pandas."""
    code = (
        "import sys; sys.modules['pyarrow'] = None; import pandas as pd, cuttable; "
        "frame = pd.DataFrame({'section': ['NPS 4 SCH 40'], 'length': ['6 m']}); "
        "assert cuttable.check_frame(frame, ['rowan-150'])['verdict'].iloc[0] == 'in-range'"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
