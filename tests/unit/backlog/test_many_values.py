"""Every column of a job with more distinct values than any code is wide, in one chunk and several.

What stands in a row must be that row's own answer: rows are numbered to be decided once, and a
number that two of them share gives one of them the other's verdict.
"""

from collections.abc import Callable

import numpy as np
import pytest
from cuttable.engine.backlog.asked import Asked
from cuttable.engine.backlog.parse_jobs import COLUMNS, Normaliser, Texts
from cuttable.engine.backlog.runner import Runner
from cuttable.engine.combinations import combined
from cuttable.engine.jobs.job import Geometry
from hypothesis import given, settings
from hypothesis import strategies as st

from .test_same_as_check import CORE, agree, checked

ROWS = 70_000
"""More than 16 bits hold."""
SAMPLED = 2
"""Rows of each chunk that are asked of ``check``, which takes some 30 ms for one."""
ROWAN = CORE.catalogue.machine("rowan-150")
NORMALISER = Normaliser(CORE.catalogue, CORE.rule_set.vocabulary)
"""One for all cases: reading a section takes 0.15 ms, and they are numbered by it anew."""

PLAIN = dict.fromkeys(COLUMNS, "") | {"section": "NPS 2 SCH 40", "length": "3 m"}
PLANNED = ("parts", "cuts", "stations", "behind")
"""Columns for each value of which supports are planned anew, 10 ms each: asked of stock that is
refused for its size, where none are."""


def plain(name: str) -> dict[str, str]:
    """Return what the other columns hold in the case of one."""
    return PLAIN | ({"section": "NPS 20 STD"} if name in PLANNED else {})


def spelt(*words: str) -> Callable[[int], str]:
    """Return a function that writes one of the words, behind ever other blanks and tabs."""

    def write(number: int) -> str:
        blanks = f"{number:017b}".translate({ord("0"): " ", ord("1"): "\t"})
        return blanks + words[number % len(words)]

    return write


# Each writes 70,000 texts of which no two are the same, and which mean as many jobs where the
# column can mean as many.
TEXTS: dict[str, Callable[[int], str]] = {
    "section": lambda number: f"tube {20 + number / 500:.3f} x 2 mm",
    "length": lambda number: f"{1000 + number / 10:.1f} mm",
    "grade": spelt("astm a106 grade b", "304"),
    "parts": lambda number: f"{100 + number / 50:.2f} mm",
    "cuts": lambda number: f"{200 + number / 50:.2f} mm",
    "stations": lambda number: f"{600 + number / 50:.2f} mm",
    "bow": lambda number: f"{number / 1000:.3f} mm",
    "behind": lambda number: f"{(number + 1) / 100:.2f} mm",
    "off_axis": lambda number: f"{1 + number / 1000:.3f} kg @ {50 + number % 7} mm",
    "ends": spelt("sealed", "flanged"),
    "contents": spelt("flammable", "unknown"),
    "coating": spelt("galvanised", "lead-free-paint", "wet"),
    "grip": spelt("outside", "inside"),
    "fitted": spelt("reversed-jaws", "roller-pair", "roller-pair+reversed-jaws"),
}


def test_every_column_of_a_job_has_a_case() -> None:
    """A column added later is not forgotten here; and no text stands twice."""
    assert set(TEXTS) == set(COLUMNS)
    for name, write in TEXTS.items():
        assert len({write(number) for number in range(ROWS)}) == ROWS, name


@pytest.mark.parametrize("rows_at_once", [ROWS, 30_000])
@pytest.mark.parametrize("name", COLUMNS)
def test_as_many_values_as_rows(name: str, rows_at_once: int) -> None:
    """Each row has the numbers of its own job; rows from all over are asked of ``check``.

    The last chunk is the first rows again, which were numbered before.
    """
    runner = Runner(CORE, Asked((ROWAN,), has_numbers=True), 1, normaliser=NORMALISER)
    write = TEXTS[name]
    dice = np.random.default_rng(70_000)
    begins = [*range(0, ROWS, rows_at_once), 0]
    try:
        for begin in begins:
            numbers = range(begin, min(begin + rows_at_once, ROWS))
            count = len(numbers)
            columns = {
                key: Texts([text], np.zeros(count, np.intp)) for key, text in plain(name).items()
            }
            columns[name] = Texts([write(number) for number in numbers], np.arange(count))
            batch = runner.answer(columns, count, begin + 1, {})
            assert batch.column("row").to_pylist() == [number + 1 for number in numbers]
            _see_that_each_is_its_own(runner, columns, count)
            for row in dice.choice(count, SAMPLED, replace=False).tolist():
                _is_as_check_says(batch.slice(row, 1).to_pylist()[0], numbers[row], name)
    finally:
        runner.close()


def _see_that_each_is_its_own(runner: Runner, columns: dict[str, Texts], count: int) -> None:
    """Compare what is kept of the distinct jobs with what was read, row by row."""
    read = runner.read(columns, count)
    decided = runner.decide(columns, count, {}, read)
    known = runner._known._table
    assert known is not None
    good = read.rows[decided.position[read.rows] >= 0]
    table = read.table.take(np.flatnonzero(decided.position[read.rows] >= 0))
    there = known.take(decided.position[good])
    for one, other in (
        (there.stock, table.stock), (there.geometry, table.geometry),
        (there.fitting, table.fitting), (there.bow, table.bow),
        (there.off_axis_mass, table.off_axis_mass),
        (there.off_axis_distance, table.off_axis_distance),
        *((there.facts[fact], column) for fact, column in table.facts.items()),
    ):  # fmt: skip
        np.testing.assert_array_equal(one, other)


def _is_as_check_says(row: dict[str, object], number: int, name: str) -> None:
    single = checked(plain(name) | {name: TEXTS[name](number)}, [ROWAN])
    if isinstance(single, tuple):
        assert row["error"] == single[1]
        assert not row["verdict"]
    elif single[0] is not None:
        assert row["error"] == ""
        agree(row, single[0])
    else:  # a rule asks first
        assert row["error"]
        assert not row["verdict"]


def test_many_values_in_all_columns_that_make_a_geometry() -> None:
    """Five columns with 7,000 values each: 10^19 combinations are more than 64 bits tell apart."""
    count = 7_000
    dice = np.random.default_rng(5)
    columns = {key: Texts([text], np.zeros(count, np.intp)) for key, text in PLAIN.items()}
    texts: dict[str, Callable[[int], str]] = {
        "length": lambda number: f"{9000 + number / 10:.1f} mm",
        "behind": lambda number: f"{(number + 1) / 100:.2f} mm",
        "cuts": TEXTS["cuts"],
        "stations": TEXTS["stations"],
    }
    for name, write in texts.items():
        code = dice.permutation(count)
        columns[name] = Texts([write(number) for number in range(count)], code)
    # Parts and cuts are never given together; blank cells with ever more blanks are texts too.
    columns["parts"] = Texts([" " * number for number in range(count)], dice.permutation(count))
    runner = Runner(CORE, Asked((ROWAN,)), 1)
    try:
        read = runner.read(columns, count)
    finally:
        runner.close()
    assert len(read.rows) == count
    for row in range(count):
        found = read.table.geometries[int(read.table.geometry[row])]
        values = {name: write(int(columns[name].code[row])) for name, write in texts.items()}
        expected = {name: float(text.removesuffix(" mm")) for name, text in values.items()}
        assert found == Geometry(
            expected["length"], expected["behind"], (),
            (expected["cuts"],), (expected["stations"],),
        )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(
    rows=st.integers(1, 300),
    widths=st.lists(st.integers(1, 2**62), min_size=1, max_size=6),
    seed=st.integers(0, 2**32 - 1),
)
def test_combinations_are_those_that_a_set_tells_apart(
    rows: int, widths: list[int], seed: int
) -> None:
    """Columns of any width, with floats, infinities, and nothing: as Python tells rows apart."""
    dice = np.random.default_rng(seed)
    columns = [dice.integers(-width, width, rows) for width in widths]
    columns.append(dice.choice([0.0, 1.5, np.nan, np.inf, -np.inf, 1e300], rows))
    columns.append(dice.integers(0, 2, rows).astype(np.int8))
    columns = [dice.choice(column, rows) for column in columns]
    code, first = combined(columns, rows)
    seen: dict[tuple[bytes, ...], int] = {}
    expected = [
        seen.setdefault(tuple(column[row].tobytes() for column in columns), row)
        for row in range(rows)
    ]
    assert first[code].tolist() == expected
    assert sorted(first.tolist()) == sorted(seen.values())


def test_no_rows_and_no_columns_have_combinations() -> None:
    """Nothing is distinct in nothing; rows without columns are all alike."""
    assert [item.tolist() for item in combined([np.zeros(0)], 0)] == [[], []]
    assert [item.tolist() for item in combined([], 3)] == [[0, 0, 0], [0]]


def test_pairs_of_codes_of_a_large_table_do_not_overflow() -> None:
    """A table with 2^18 rows, each column all distinct in another order: as many combinations."""
    rows = 1 << 18
    dice = np.random.default_rng(1)
    half = [dice.permutation(np.repeat(np.arange(rows // 2), 2)) for _ in range(4)]
    code, first = combined(half, rows)
    pairs = np.stack([column[first] for column in half])
    assert len(np.unique(pairs, axis=1).T) == len(first)
    for column in half:
        np.testing.assert_array_equal(column[first][code], column)
