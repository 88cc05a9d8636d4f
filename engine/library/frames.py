"""A table of pandas answered by the code that answers a backlog."""

# pandas has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false
# pyright: reportUnknownArgumentType=false

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

import numpy as np
import pandas as pd

from ...catalogue.errors import InputError
from ..assessor import AssessorCore
from ..backlog.answer import WORDS
from ..backlog.asked import Asked
from ..backlog.columns import DATES, cell_text, date_fault, map_headers, with_unit
from ..backlog.parse_jobs import Texts
from ..backlog.runner import Decided, Runner
from ..jobs.job_table import Index

CHUNK: Final = 125_000
"""Rows answered at a time."""
TAKEN: Final = "_answer"
"""Ends the name of a column of the answer whose own name is taken."""
_UNUSED: Final = ("job", "quantity")
"""Columns of a backlog file that a table does without: it has an index."""

Faults = dict[int, tuple[str, str]]


def answered(
    assessor: AssessorCore,
    frame: pd.DataFrame,
    names: Sequence[str],
    *,
    is_best: bool,
    has_numbers: bool,
    has_chance: bool,
) -> pd.DataFrame:
    """Answer every row; see :meth:`.assessor.Assessor.check_frame`."""
    if not isinstance(frame, pd.DataFrame):  # pyright: ignore[reportUnnecessaryIsInstance]
        raise InputError(
            "type-wrong", f"a {type(frame).__name__} is no table",
            remedy="Give a pandas DataFrame with a row a job.",
        )  # fmt: skip
    headers = [_header(label) for label in frame.columns]
    mapping = map_headers(headers, "table", required=("section", "length"), unused=_UNUSED)
    asked = Asked(tuple(assessor.machines(names)), is_best, has_numbers, has_chance=has_chance)
    columns: dict[str, Texts] = {}
    faults: Faults = {}
    for name, place in mapping.places.items():
        texts, dates = _column(frame.iloc[:, place])
        for row in dates:
            faults.setdefault(row, date_fault(name))
        if name in mapping.units:
            texts = Texts(with_unit(texts.values, mapping.units[name]), texts.code)
        columns[name] = texts
    runner = Runner(assessor, asked, workers=1)
    pieces: list[pd.DataFrame] = []
    rows: list[Any] = []
    try:
        for start in range(0, max(len(frame), 1), CHUNK):
            stop = min(start + CHUNK, len(frame))
            decided = runner.decide(
                {name: Texts(*_used(item, start, stop)) for name, item in columns.items()},
                stop - start,
                {row - start: told for row, told in faults.items() if start <= row < stop},
            )
            pieces.append(_answers(runner, decided))
            rows.append(decided.answered.job + start)
    finally:
        runner.close()
    return _beside(frame, np.concatenate(rows), pd.concat(pieces, ignore_index=True))


def _header(label: Any) -> str:
    """Return a label as a header: of several levels, all that is written there."""
    parts = label if isinstance(label, tuple) else (label,)
    return " ".join(str(part) for part in parts if str(part).strip())


def _column(series: "pd.Series[Any]") -> tuple[Texts, list[int]]:
    """Return a column as texts, and the rows in which a date stands where none can be."""
    if isinstance(series.dtype, pd.CategoricalDtype):
        codes = np.asarray(series.cat.codes, dtype=np.intp)
        values = [_cell(value) for value in series.cat.categories]
        dated = [isinstance(value, DATES) for value in series.cat.categories]
        return Texts([*values, ""], codes), _rows_of(dated, codes)
    if series.dtype == object:
        # Told apart by what they are: True, 1 and "1" are equal, or alike, to a table.
        cells = series.to_list()
        known: dict[str, int] = {}
        found = [known.setdefault(_cell(value), len(known)) for value in cells]
        dates = [
            row
            for row, value in enumerate(cells)
            if isinstance(value, DATES) and value is not pd.NaT
        ]
        return Texts(list(known) or [""], np.array(found, dtype=np.intp)), dates
    codes, uniques = pd.factorize(series)
    values = [*uniques]
    dated = [isinstance(value, (*DATES, np.datetime64, np.timedelta64)) for value in values]
    places = np.asarray(codes, dtype=np.intp)
    return Texts([*(_cell(value) for value in values), ""], places), _rows_of(dated, places)


def _rows_of(dated: list[bool], codes: Index) -> list[int]:
    if not any(dated):
        return []
    return np.flatnonzero(np.array([*dated, False])[codes]).tolist()


def _cell(value: Any) -> str:
    """Return a cell as it would be typed; nothing where nothing is stated."""
    if isinstance(value, (list, tuple, set, frozenset, np.ndarray)):
        return " + ".join(_cell(item) for item in value)
    if value is None or value is pd.NA or value is pd.NaT or value != value:  # noqa: PLR0124
        return ""
    if isinstance(value, np.floating) and not isinstance(value, float):
        value = float(str(value))  # what it shows, not what it is as a longer number
    elif isinstance(value, (np.bool_, np.str_)):
        value = value.item()
    elif isinstance(value, Decimal):
        return f"{value:f}"
    return cell_text(value)


def _used(texts: Texts, start: int, stop: int) -> tuple[list[str], Index]:
    """Return the texts that some rows use, and the code of each; nothing stated is code -1."""
    known, codes = list(texts.values), texts.code
    used, code = np.unique(
        np.where(codes < 0, len(known) - 1, codes)[start:stop], return_inverse=True
    )
    return [known[place] for place in used.tolist()] or [""], code.astype(np.intp)


def _answers(runner: Runner, decided: Decided) -> pd.DataFrame:
    """Return the columns of the answers of a chunk."""
    codes = [machine.code for machine in runner.machines]
    made: dict[str, Any] = {"machine": _taken(codes, decided.answered.machine)}
    for name in WORDS:
        made[name] = _taken(*runner.words(name, decided))
    for name in runner.number_names:
        made[name] = runner.numbers(name, decided)
    made["grade"] = _taken(*decided.grade)
    errors, code = runner.errors(decided)
    for number, name in enumerate(("error", "error_text")):
        made[name] = _taken([item[number] for item in errors], code)
    return pd.DataFrame(made)


def _taken(texts: Sequence[str], code: Index) -> "pd.Series[Any]":
    """Return the texts of codes as a column of text, blank ones as missing."""
    known = np.array([text or None for text in texts] or [None], dtype=object)
    kind: Any = _TEXT
    return pd.Series(known[code], dtype=kind)


_TEXT: Final = "str" if int(pd.__version__.partition(".")[0]) >= 3 else "object"
"""What pandas keeps text in."""


def _beside(frame: pd.DataFrame, rows: Any, answers: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of the table that were asked with their answers beside them."""
    asked = frame.iloc[rows]
    answers.index = asked.index
    taken: Mapping[Any, None] = dict.fromkeys(frame.columns)
    names = {name: f"{name}{TAKEN}" for name in answers.columns if name in taken}
    twice = [name for name in names.values() if name in taken]
    if twice:
        raise InputError(
            "column-twice", f"the table has a column {twice[0]!r} already",
            remedy="Drop the answers of before, or rename the column.",
        )  # fmt: skip
    answers = answers.rename(columns=names)
    if frame.columns.nlevels > 1:
        blank = ("",) * (frame.columns.nlevels - 1)
        answers.columns = pd.MultiIndex.from_tuples([(name, *blank) for name in answers.columns])
    return pd.concat([asked, answers], axis=1)
