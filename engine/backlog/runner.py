"""From chunks of texts to answer rows: one a job and machine, in input order, none dropped.

A little long: deciding a chunk, counting it and handing out its columns use the same state.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from ...catalogue.errors import InputError
from ..arrays import Floats
from ..assessor import AssessorCore
from ..combinations import combined
from ..jobs.job_table import Index, JobTable
from .answer import NUMBERS
from .answer_cache import AnswerCache, There, where_kept
from .asked import Asked, Decider
from .parse_jobs import Fault, Normaliser, Read, Texts
from .row_faults import RowFaults, machine_fault, sentence_of
from .tally import Tally
from .workers import Workers

if TYPE_CHECKING:
    import pyarrow as pa  # only where answers become rows of a file

REFUSED: Final = 3
"""Rank of a refused answer, see :func:`.answer.rank_codes`."""


class Runner:
    """Answers chunks one after the other; what was answered once is kept."""

    def __init__(
        self,
        assessor: AssessorCore,
        asked: Asked,
        workers: int | None = None,
        *,
        decider: Decider | None = None,
        normaliser: Normaliser | None = None,
    ) -> None:
        self.assessor, self.asked = assessor, asked
        self._workers = decider or Workers(assessor.engine, workers)
        self.machines = list(asked.machines)
        self._own: dict[str, int | Fault] = {"": -1}
        self._normaliser = normaliser or Normaliser(
            assessor.catalogue, assessor.rule_set.vocabulary
        )
        self._known = AnswerCache(assessor, self._workers)
        self._generation = -1
        self.tally = Tally()

    @property
    def number_names(self) -> tuple[str, ...]:
        """Names of the number columns of an answer."""
        return (*NUMBERS, *self._known.extra_names(self.asked))

    @property
    def schema(self) -> "pa.Schema":
        """The columns of an answer."""
        from .answer_rows import schema_of

        return schema_of(self.number_names)

    def answer(
        self,
        columns: Mapping[str, Texts],
        rows: int,
        first_row: int,
        faults: Mapping[int, tuple[str, str]],
    ) -> "pa.RecordBatch":
        """Answer a chunk.

        Args:
            columns: texts by column name.
            rows: number of rows of the chunk.
            first_row: number of its first row in the file.
            faults: code and text for rows that could not even be taken apart.
        """
        decided = self.decide(columns, rows, faults)
        self.count(decided)
        from .answer_rows import batch_of

        return batch_of(self, columns.get("job"), first_row, decided)

    def read(self, columns: Mapping[str, Texts], rows: int) -> Read:
        """Read a chunk as jobs; runners with one normaliser need to do so only once."""
        return self._normaliser.read(columns, rows)

    def decide(
        self,
        columns: Mapping[str, Texts],
        rows: int,
        faults: Mapping[int, tuple[str, str]],
        read: Read | None = None,
    ) -> "Decided":
        """Decide a chunk; what comes of it can be asked for until the next one is decided.

        Args:
            columns: texts by column name.
            rows: number of rows of the chunk.
            faults: code and text for rows that could not even be taken apart.
            read: the chunk as jobs, where it is read already.
        """
        read = read or self.read(columns, rows)
        if self._normaliser.generation != self._generation:
            self._generation = self._normaliser.generation
            self._known.forget()
        fault = RowFaults(read)
        fault.put(faults)
        own = self._machines_of_rows(columns.get("machine"), rows, fault)
        readable = fault.code[read.rows] < 0
        table, places = read.table.take(np.flatnonzero(readable)), read.rows[readable]
        good = self._check(table, places, own, fault)
        table, places = table.take(good), places[good]
        position: Index = np.full(rows, -1, dtype=np.intp)
        position[places] = self._known.place(table)
        answered = lay_out(own, len(self.asked.open_machines))
        wanted: list[int] = np.unique(answered.machine).tolist()
        for number in wanted:
            used = np.zeros(self._known.count + 1, dtype=np.bool_)
            used[position[answered.job[answered.machine == number]]] = True  # the last is for -1
            distinct = np.flatnonzero(used[:-1])
            self._known.decide(number, self.machines[number], distinct, self.asked)
        grades = _grades(table, places, rows)
        if self.asked.is_best:
            answered = self._best(answered, position)
        there = where_kept(answered.machine, position[answered.job], wanted)
        return Decided(read, fault, answered, position, there, grades)

    def words(self, name: str, decided: "Decided") -> tuple[tuple[str, ...], Index]:
        """Return the texts of a word column, and their codes for the answer rows; 0 is blank.

        From chunk to chunk texts are only added at the end.
        """
        return self._known.words(name, decided.there)

    def numbers(self, name: str, decided: "Decided") -> Floats:
        """Return a number column for the answer rows, NaN for blank."""
        return self._known.numbers(name, decided.there)

    def errors(self, decided: "Decided") -> tuple[list[tuple[str, str]], Index]:
        """Return errors and questions as code and text, and each answer row's; 0 is none."""
        answered, faults = decided.answered, decided.fault.faults
        question = self._known.questions(decided.there)
        code = decided.fault.code[answered.job] + 1
        code = np.where((code == 0) & (question >= 0), question + 1 + len(faults), code)
        return [("", ""), *faults, *self._known.asked], code

    def close(self) -> None:
        """End the worker processes."""
        self._workers.close()

    # --- what is asked --------------------------------------------------------------------

    def _machines_of_rows(self, texts: Texts | None, rows: int, fault: RowFaults) -> Index:
        """Return each row's own machine, -1 where it is asked on all of them."""
        if texts is None:
            return np.full(rows, -1, dtype=np.intp)
        places: list[int] = []
        wrong: list[tuple[str, str] | None] = []
        for text in texts.values:
            known = self._own.get(text.strip())
            if known is None:
                known = self._own[text.strip()] = self._machine(text)
            places.append(known if isinstance(known, int) else -1)
            wrong.append(None if isinstance(known, int) else (known.code, known.text))
        fault.column(wrong, texts.code)
        return np.array(places, dtype=np.intp)[texts.code]

    def _machine(self, text: str) -> int | Fault:
        if self.asked.is_by_code:
            wanted = text.strip().casefold()
            for number, known in enumerate(self.asked.machines):
                if known.code.casefold() == wanted:
                    return number
        try:
            machine = self.assessor.catalogue.machine(text.strip())
        except InputError as error:
            return Fault(error.code, sentence_of(error))
        for number, known in enumerate(self.machines):
            if known.digest == machine.digest:
                return number
        self.machines.append(machine)
        return len(self.machines) - 1

    def _check(self, table: JobTable, places: Index, own: Index, fault: RowFaults) -> Index:
        """Return the rows whose cuts and accessories go with the machines they are asked on."""
        bad = np.zeros(table.rows, dtype=np.bool_)
        of_row = own[places]
        has_cuts = np.array([len(item.cuts) > 1 for item in table.geometries], dtype=np.bool_)
        has_fitted = np.array([bool(item) for item in table.fittings], dtype=np.bool_)
        look = np.zeros(table.rows, dtype=np.bool_)
        if has_cuts.any():
            look |= has_cuts[table.geometry]
        if has_fitted.any():
            look |= has_fitted[table.fitting]
        rows = np.flatnonzero(look)
        columns = [table.geometry[rows], table.fitting[rows], of_row[rows]]
        code, first = combined(columns, len(rows))
        wrong: list[tuple[str, str] | None] = []
        for row in rows[first].tolist():
            mine = int(of_row[row])
            machines = self.asked.open_machines if mine < 0 else (self.machines[mine],)
            geometry = table.geometries[int(table.geometry[row])]
            wrong.append(machine_fault(geometry, table.fittings[int(table.fitting[row])], machines))
        which: list[int] = code.tolist()
        for row, place in zip(rows.tolist(), which, strict=True):
            if (found := wrong[place]) is not None:
                bad[row] = True
                fault.put({int(places[row]): found})
        return np.flatnonzero(~bad)

    def _best(self, answered: "AnswerRows", position: Index) -> "AnswerRows":
        """Keep the best answer of each job: the best verdict, then the smallest model."""
        rank = np.full(len(answered.job), 9, dtype=np.int64)
        for number in range(len(self.machines)):
            mine = np.flatnonzero(answered.machine == number)
            there = position[answered.job[mine]]
            is_known = there >= 0
            rank[mine[is_known]] = self._known.ranks(number)[there[is_known]]
        order = np.lexsort((np.arange(len(rank)), rank, answered.job))
        _, first = np.unique(answered.job[order], return_index=True)
        return answered.take(order[first])

    # --- rows out -------------------------------------------------------------------------

    def count(self, decided: "Decided") -> None:
        """Take a chunk into the tally."""
        tally, fault, answered, position = (
            self.tally, decided.fault, decided.answered, decided.position,
        )  # fmt: skip
        tally.jobs += len(position)
        tally.faulty += int((fault.code >= 0).sum())
        texts = [code for code, _ in fault.faults]
        tally.add("errors", texts, fault.code)
        for sentence, count in decided.read.assumptions.items():
            tally.taken[sentence] = tally.taken.get(sentence, 0) + count
        best = np.full(len(position), 9, dtype=np.int64)
        for number in range(len(self.machines)):
            mine = answered.job[answered.machine == number]
            there = position[mine]
            mine, there = mine[there >= 0], there[there >= 0]
            if not there.size:
                continue
            for name, column in (("verdict", "verdicts"), ("decided_by", "decided_by"),
                                 ("governing", "governing")):  # fmt: skip
                tally.add(column, *self._known.word(name, number, there))
            ranks = self._known.ranks(number)[there]
            able = there[ranks < REFUSED]
            tally.add("mitigations", *self._known.word("mitigations", number, able), is_list=True)
            for name in ("wanting", "missing"):
                tally.add(name, *self._known.word(name, number, there), is_list=True)
            texts, code = self._known.word("refused_by", number, there)
            tally.add("refused_by", texts, code, is_list=True)
            tally.add("refused_alone", ["" if "; " in text else text for text in texts], code)
            np.minimum.at(best, mine, ranks)
        names = ["in-range", "oversize-allowed-with-conditions", "", "refused"]
        tally.add("best", names, np.where(best < 9, best, -1))


class Decided(NamedTuple):
    """A chunk that is decided.

    Attributes:
        read: its rows as jobs.
        fault: why rows have no answer.
        answered: the answer rows.
        position: for every row of the chunk the place of its job among the distinct ones, -1 for
            none.
        there: where the answer of every answer row is kept.
        grades: names of grades, and which one each row of the chunk has.
    """

    read: Read
    fault: RowFaults
    answered: "AnswerRows"
    position: Index
    there: There
    grades: tuple[tuple[str, ...], Index]

    @property
    def grade(self) -> tuple[tuple[str, ...], Index]:
        """Names of grades, and the code of each answer row; 0 is blank."""
        texts, code = self.grades
        return ("", *texts), code[self.answered.job] + 1


class AnswerRows(NamedTuple):
    """Answer rows: the job of each, by its place in the chunk, and its machine."""

    job: Index
    machine: Index

    def take(self, rows: Index) -> "AnswerRows":
        """Return some of the rows."""
        return AnswerRows(self.job[rows], self.machine[rows])


def lay_out(own: Index, count: int) -> AnswerRows:
    """Return one row a job and machine: a job's own machine, else each of the first ``count``."""
    times = np.where(own < 0, count, 1)
    job = np.repeat(np.arange(len(own)), times)
    within = np.arange(len(job)) - np.repeat(np.cumsum(times) - times, times)
    return AnswerRows(job, np.where(own[job] < 0, within, own[job]))


def _grades(table: JobTable, places: Index, rows: int) -> tuple[tuple[str, ...], Index]:
    """Return the names of grades, and for every row of the chunk which one it has."""
    names: dict[str, int] = {}
    of_stock = np.array(
        [names.setdefault(stock.grade.name, len(names)) for stock in table.stocks], dtype=np.intp
    )
    code: Index = np.full(rows, -1, dtype=np.intp)
    if table.rows:
        code[places] = of_stock[table.stock]
    return tuple(names), code
