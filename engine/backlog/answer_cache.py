"""Answers of distinct jobs, kept from chunk to chunk; and where in there those of rows are."""

from collections.abc import Iterable
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...catalogue.machines.model import MachineModel
from ..arrays import Bools, Floats
from ..assessor import AssessorCore
from ..combinations import combined
from ..decision.chance import COLUMNS as CHANCES
from ..jobs.job_table import Index, JobTable
from .answer import COUNTED, DETAILS, NUMBERS, WORDS, Answers, rank_codes
from .asked import Asked, Decider

MOST_KNOWN: Final = 250_000
"""Distinct jobs whose answers are kept from chunk to chunk; then they are worked out anew."""


class There(NamedTuple):
    """Where answers are kept: looked up once for all columns.

    Attributes:
        rows: number of answer rows.
        kept: for each machine its number, the answer rows, and the places of their jobs.
    """

    rows: int
    kept: tuple[tuple[int, Index | slice, Index], ...]


def where_kept(machine: Index, places: Index, numbers: Iterable[int]) -> There:
    """Return where the answers of rows are kept; a row without a job has none."""
    kept: list[tuple[int, Index | slice, Index]] = []
    for number in numbers:
        mine = np.flatnonzero((machine == number) & (places >= 0))
        if mine.size == len(machine):
            kept.append((number, slice(None), places))
        elif mine.size:
            kept.append((number, mine, places[mine]))
    return There(len(machine), tuple(kept))


class _Columns:
    """Answers of one machine for distinct jobs, by their place; filled as they are asked for."""

    def __init__(self) -> None:
        self.is_done: Bools = np.zeros(0, dtype=np.bool_)
        self.rank: NDArray[np.int8] = np.zeros(0, dtype=np.int8)
        self.question: NDArray[np.int32] = np.zeros(0, dtype=np.int32)
        self.words: dict[str, NDArray[np.int32]] = {
            name: np.zeros(0, dtype=np.int32) for name in (*WORDS, *COUNTED)
        }
        self.numbers: dict[str, Floats] = {}

    def grow(self, count: int) -> None:
        """Make room for so many jobs."""
        more = count - len(self.is_done)
        if more <= 0:
            return
        self.is_done = np.append(self.is_done, np.zeros(more, dtype=np.bool_))
        self.rank = np.append(self.rank, np.zeros(more, dtype=np.int8))
        self.question = np.append(self.question, np.full(more, -1, dtype=np.int32))
        for name, column in self.words.items():
            self.words[name] = np.append(column, np.zeros(more, dtype=np.int32))
        for name, numbers in self.numbers.items():
            self.numbers[name] = np.append(numbers, np.full(more, np.nan))


class AnswerCache:
    """Distinct jobs with their answers on every machine asked so far.

    Bounded: when too many are known all are forgotten, so that memory does not grow with the
    file. Answers do not depend on it.
    """

    def __init__(self, assessor: AssessorCore, workers: Decider) -> None:
        self._assessor, self._workers = assessor, workers
        self._asked: dict[tuple[str, str], int] = {}
        self._texts: dict[str, dict[str, int]] = {name: {"": 0} for name in (*WORDS, *COUNTED)}
        self.forget()

    def forget(self) -> None:
        """Start anew: stocks and geometries have other numbers, or there are too many."""
        self._table: JobTable | None = None
        self._answers: dict[int, _Columns] = {}

    @property
    def count(self) -> int:
        """Number of distinct jobs."""
        return 0 if self._table is None else self._table.rows

    @property
    def asked(self) -> tuple[tuple[str, str], ...]:
        """Questions that rules ask: code and text."""
        return tuple(self._asked)

    def extra_names(self, asked: Asked) -> tuple[str, ...]:
        """Return the names of columns for mitigations and chances, or for what is compared."""
        if asked.is_compared:
            return (DETAILS,)
        numbers = (
            f"{item.code}.{name}"
            for item in self._assessor.rule_set.mitigations.values()
            for name, _ in item.values
            if asked.has_numbers
        )
        return (*(CHANCES if asked.has_chance else ()), *numbers)

    # --- distinct jobs --------------------------------------------------------------------

    def place(self, table: JobTable) -> Index:
        """Return the place of each job among the distinct ones; new ones are added."""
        code, first = combined(_columns_of(table), table.rows)
        if self._table is not None and self._table.rows + len(first) > MOST_KNOWN:
            self.forget()
        fresh = table.take(first)
        # The rows known before come first, so what is alike in both has their place.
        both = fresh if self._table is None else self._table.joined(fresh)
        known = both.rows - len(first)
        if not known:
            self._table = both
            return code
        again, first_again = combined(_columns_of(both), both.rows)
        is_new = first_again >= known
        places: Index = np.where(is_new, 0, first_again)
        places[is_new] = known + np.arange(int(is_new.sum()))
        self._table = both.take(np.concatenate([np.arange(known), first_again[is_new]]))
        return places[again[known:]][code]

    # --- answers --------------------------------------------------------------------------

    def decide(self, number: int, machine: MachineModel, places: Index, asked: Asked) -> None:
        """Answer those of the distinct jobs at ``places`` that are not answered yet."""
        columns = self._answers.setdefault(number, _Columns())
        if self._table is None:
            return
        columns.grow(self.count)
        todo = places[~columns.is_done[places]]
        if not todo.size:
            return
        for name in (*NUMBERS, *self.extra_names(asked)):
            if name not in columns.numbers:
                columns.numbers[name] = np.full(len(columns.is_done), np.nan)
        table = self._table.take(todo)
        has_extra = asked.has_numbers or asked.is_compared
        for rows, answers in self._workers.decide(
            table, machine, has_extra=has_extra, has_chance=asked.has_chance
        ):
            self._put(columns, todo[rows], answers)

    def _put(self, columns: _Columns, rows: Index, answers: Answers) -> None:
        for name, (texts, code) in answers.words.items():
            known = self._texts[name]
            codes = [known.setdefault(text, len(known)) for text in texts]
            columns.words[name][rows] = np.array(codes, dtype=np.int32)[code]
        for name, column in (*answers.numbers.items(), *answers.extra.items()):
            if name in columns.numbers:
                columns.numbers[name][rows] = column
        if answers.questions:
            asked = [self._asked.setdefault(item, len(self._asked)) for item in answers.questions]
            columns.question[rows] = np.array([*asked, -1], dtype=np.int32)[answers.question]
        columns.rank[rows] = rank_codes(answers)
        columns.is_done[rows] = True

    def ranks(self, number: int) -> NDArray[np.int8]:
        """Return how good the verdict of every distinct job is on a machine."""
        return self._answers[number].rank

    def word(self, name: str, number: int, places: Index) -> tuple[tuple[str, ...], Index]:
        """Return the texts of a word column, and their codes for jobs on one machine."""
        return tuple(self._texts[name]), self._answers[number].words[name][places].astype(np.intp)

    def words(self, name: str, there: There) -> tuple[tuple[str, ...], Index]:
        """Return the texts of a word column, and their codes for answer rows; 0 is blank."""
        code: Index = np.zeros(there.rows, dtype=np.intp)
        for number, rows, places in there.kept:
            code[rows] = self._answers[number].words[name][places]
        return tuple(self._texts[name]), code

    def numbers(self, name: str, there: There) -> Floats:
        """Return a number column for answer rows, NaN for blank."""
        found = np.full(there.rows, np.nan)
        for number, rows, places in there.kept:
            found[rows] = self._answers[number].numbers[name][places]
        return found

    def questions(self, there: There) -> Index:
        """Return which question is open for each answer row, -1 for none."""
        found: Index = np.full(there.rows, -1, dtype=np.intp)
        for number, rows, places in there.kept:
            found[rows] = self._answers[number].question[places]
        return found


def _columns_of(table: JobTable) -> list[NDArray[Any]]:
    """Return everything that makes a job; the columns that differ most come first."""
    return [
        table.geometry, table.stock, table.bow, table.off_axis_mass, table.off_axis_distance,
        table.off_axis_size, table.fitting, *table.facts.values(),
    ]  # fmt: skip
