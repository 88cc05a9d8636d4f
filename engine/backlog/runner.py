"""From chunks of texts to answer rows: one a job and machine, in input order, none dropped."""

# Arrow has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false
# pyright: reportUnknownArgumentType=false, reportUnknownParameterType=false
# pyright: reportMissingTypeArgument=false, reportUnknownLambdaType=false

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from ...catalogue.errors import InputError
from ...catalogue.machines.model import MachineModel
from ..arrays import Bools, Floats
from ..assessor import AssessorCore
from ..combinations import combined
from ..jobs.checks import check_fitted, check_kerf
from ..jobs.job import Geometry
from ..jobs.job_table import Index, JobTable
from .answer import COUNTED, DETAILS, NUMBERS, WORDS, Answers, rank_codes
from .parse_jobs import Fault, Normaliser, Read, Texts
from .workers import Workers

if TYPE_CHECKING:
    import pyarrow as pa  # only where answers become rows of a file

REFUSED: Final = 3
"""Rank of a refused answer, see :func:`.answer.rank_codes`."""

MOST_KNOWN: Final = 250_000
"""Distinct jobs whose answers are kept from chunk to chunk; then they are worked out anew."""


class Asked(NamedTuple):
    """What is asked of a backlog.

    Attributes:
        machines: models that rows without a machine of their own are asked on.
        is_best: keep only the best answer of each job: the smallest model with the best verdict.
        has_numbers: add a column for every number of every mitigation.
        is_compared: add a number that differs where any measure does.
        is_by_code: a row that names one of ``machines`` by its code is asked on that one, whatever
            else has this code in the catalogue.
        open_to: how many of ``machines``, from the first, rows without a machine of their own are
            asked on; all without.
    """

    machines: tuple[MachineModel, ...]
    is_best: bool = False
    has_numbers: bool = False
    is_compared: bool = False
    is_by_code: bool = False
    open_to: int | None = None

    @property
    def open_machines(self) -> tuple[MachineModel, ...]:
        """The models that rows without a machine of their own are asked on."""
        return self.machines[: self.open_to]


@dataclass
class Tally:
    """What a run came to.

    Attributes:
        jobs, faulty: rows read, and those of them with an error or an open question.
        verdicts: answer rows by verdict; ``best`` jobs by their best verdict.
        decided_by, governing, mitigations, wanting, errors: answer rows by each; mitigations of
            those not refused; wanting counts refusals for nothing but the accessory.
        missing: refused answers by accessory they lack.
        refused_by, refused_alone: refused answers by each thing that refuses them, and by the
            one that does where there is only one.
        taken: rows by what was taken for granted in them.
    """

    jobs: int = 0
    faulty: int = 0
    verdicts: dict[str, int] = field(default_factory=dict[str, int])
    best: dict[str, int] = field(default_factory=dict[str, int])
    decided_by: dict[str, int] = field(default_factory=dict[str, int])
    governing: dict[str, int] = field(default_factory=dict[str, int])
    mitigations: dict[str, int] = field(default_factory=dict[str, int])
    wanting: dict[str, int] = field(default_factory=dict[str, int])
    missing: dict[str, int] = field(default_factory=dict[str, int])
    refused_by: dict[str, int] = field(default_factory=dict[str, int])
    refused_alone: dict[str, int] = field(default_factory=dict[str, int])
    errors: dict[str, int] = field(default_factory=dict[str, int])
    taken: dict[str, int] = field(default_factory=dict[str, int])

    def add(self, name: str, texts: Sequence[str], code: Index, *, is_list: bool = False) -> None:
        """Count the texts of a column; of a list column each of its items."""
        counts = np.bincount(code[code >= 0], minlength=len(texts)).tolist()
        into: dict[str, int] = getattr(self, name)
        for text, count in zip(texts, counts, strict=False):
            for item in text.split("; ") if is_list else [text]:
                if count and item:
                    into[item] = into.get(item, 0) + count


class Decider(Protocol):
    """What decides rows: processes here, or a cluster."""

    def decide(
        self, table: JobTable, machine: MachineModel, *, has_extra: bool
    ) -> list[tuple[Index, Answers]]:
        """Return answers with the rows they are for; together they are all rows."""
        ...

    def close(self) -> None:
        """Let go of what it holds."""
        ...


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
        self._known = _Known(assessor, self._workers)
        self._generation = -1
        self.tally = Tally()

    @property
    def number_names(self) -> tuple[str, ...]:
        """Names of the number columns of an answer."""
        return (*NUMBERS, *self._known.extra_names(self.asked))

    @property
    def schema(self) -> "pa.Schema":
        """The columns of an answer."""
        import pyarrow as pa

        texts = ("job", "machine", *WORDS)
        return pa.schema(
            [pa.field("row", pa.int64())]
            + [pa.field(name, pa.string()) for name in texts]
            + [pa.field(name, pa.float64()) for name in self.number_names]
            + [pa.field(name, pa.string()) for name in ("grade", "error", "error_text")]
        )

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
        return self._batch(columns, first_row, decided)

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
        fault = _Merged(read)
        fault.put(faults)
        own = self._machines_of_rows(columns.get("machine"), rows, fault)
        readable = fault.code[read.rows] < 0
        table, places = read.table.take(np.flatnonzero(readable)), read.rows[readable]
        good = self._check(table, places, own, fault)
        table, places = table.take(good), places[good]
        position: Index = np.full(rows, -1, dtype=np.intp)
        position[places] = self._known.place(table)
        answered = _lay_out(own, len(self.asked.open_machines))
        wanted: list[int] = np.unique(answered.machine).tolist()
        for number in wanted:
            used = np.zeros(self._known.count + 1, dtype=np.bool_)
            used[position[answered.job[answered.machine == number]]] = True  # the last is for -1
            distinct = np.flatnonzero(used[:-1])
            self._known.decide(number, self.machines[number], distinct, self.asked)
        grades = _grades(table, places, rows)
        if self.asked.is_best:
            answered = self._best(answered, position)
        there = _there(answered.machine, position[answered.job], wanted)
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

    def _machines_of_rows(self, texts: Texts | None, rows: int, fault: "_Merged") -> Index:
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
            return Fault(error.code, _sentence(error))
        for number, known in enumerate(self.machines):
            if known.digest == machine.digest:
                return number
        self.machines.append(machine)
        return len(self.machines) - 1

    def _check(self, table: JobTable, places: Index, own: Index, fault: "_Merged") -> Index:
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
            wrong.append(_wrong(geometry, table.fittings[int(table.fitting[row])], machines))
        for row, which in zip(rows.tolist(), code.tolist(), strict=True):
            if (found := wrong[which]) is not None:
                bad[row] = True
                fault.put({int(places[row]): found})
        return np.flatnonzero(~bad)

    def _best(self, answered: "_Rows", position: Index) -> "_Rows":
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

    def _batch(
        self, columns: Mapping[str, Texts], first_row: int, decided: "Decided"
    ) -> "pa.RecordBatch":
        import pyarrow as pa

        job = decided.answered.job
        names = columns.get("job")
        schema = self.schema
        made: dict[str, Any] = {"row": pa.array(job + first_row)}
        made["job"] = pa.nulls(len(job), pa.string())
        if names is not None:
            made["job"] = _taken(names.values, names.code[job])
        codes = [machine.code for machine in self.machines]
        made["machine"] = _taken(codes, decided.answered.machine)
        for name in WORDS:
            made[name] = _taken(*self.words(name, decided))
        for name in schema.names:
            if name not in made and schema.field(name).type == pa.float64():
                made[name] = pa.array(self.numbers(name, decided), from_pandas=True)
        made["grade"] = _taken(*decided.grade)
        errors, code = self.errors(decided)
        for number, name in enumerate(("error", "error_text")):
            made[name] = _taken([item[number] for item in errors], code)
        return pa.record_batch([made[name] for name in schema.names], schema=schema)


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
    fault: "_Merged"
    answered: "_Rows"
    position: Index
    there: "_There"
    grades: tuple[tuple[str, ...], Index]

    @property
    def grade(self) -> tuple[tuple[str, ...], Index]:
        """Names of grades, and the code of each answer row; 0 is blank."""
        texts, code = self.grades
        return ("", *texts), code[self.answered.job] + 1


class _Rows(NamedTuple):
    """Answer rows: the job of each, by its place in the chunk, and its machine."""

    job: Index
    machine: Index

    def take(self, rows: Index) -> "_Rows":
        """Return some of the rows."""
        return _Rows(self.job[rows], self.machine[rows])


class _There(NamedTuple):
    """Where answers are kept: looked up once for all columns.

    Attributes:
        rows: number of answer rows.
        kept: for each machine its number, the answer rows, and the places of their jobs.
    """

    rows: int
    kept: tuple[tuple[int, Index | slice, Index], ...]


def _there(machine: Index, places: Index, numbers: Iterable[int]) -> _There:
    """Return where the answers of rows are kept; a row without a job has none."""
    kept: list[tuple[int, Index | slice, Index]] = []
    for number in numbers:
        mine = np.flatnonzero((machine == number) & (places >= 0))
        if mine.size == len(machine):
            kept.append((number, slice(None), places))
        elif mine.size:
            kept.append((number, mine, places[mine]))
    return _There(len(machine), tuple(kept))


def _lay_out(own: Index, count: int) -> _Rows:
    """Return one row a job and machine: a job's own machine, else each of the first ``count``."""
    times = np.where(own < 0, count, 1)
    job = np.repeat(np.arange(len(own)), times)
    within = np.arange(len(job)) - np.repeat(np.cumsum(times) - times, times)
    return _Rows(job, np.where(own[job] < 0, within, own[job]))


class _Merged:
    """Faults of a chunk from every source; the first that is found stands."""

    def __init__(self, read: Read) -> None:
        self._places = {(item.code, item.text): n for n, item in enumerate(read.faults)}
        self.code: Index = read.fault.copy()

    @property
    def faults(self) -> tuple[tuple[str, str], ...]:
        """Distinct faults: code and text."""
        return tuple(self._places)

    def put(self, faults: Mapping[int, tuple[str, str]]) -> None:
        """Take in faults of single rows; they stand before what was read of the row."""
        for row, wrong in faults.items():
            self.code[row] = self._places.setdefault(wrong, len(self._places))

    def column(self, wrong: Sequence[tuple[str, str] | None], code: Index) -> None:
        """Take in faults of the distinct texts of a column."""
        if any(wrong):
            places = [
                -1 if item is None else self._places.setdefault(item, len(self._places))
                for item in wrong
            ]
            found = np.array(places, dtype=np.intp)[code]
            self.code = np.where(self.code < 0, found, self.code)


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


class _Known:
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
        """Return the names of columns for numbers of mitigations, or for what is compared."""
        if asked.is_compared:
            return (DETAILS,)
        if not asked.has_numbers:
            return ()
        return tuple(
            f"{item.code}.{name}"
            for item in self._assessor.rule_set.mitigations.values()
            for name, _ in item.values
        )

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
        for rows, answers in self._workers.decide(table, machine, has_extra=has_extra):
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

    def words(self, name: str, there: _There) -> tuple[tuple[str, ...], Index]:
        """Return the texts of a word column, and their codes for answer rows; 0 is blank."""
        code: Index = np.zeros(there.rows, dtype=np.intp)
        for number, rows, places in there.kept:
            code[rows] = self._answers[number].words[name][places]
        return tuple(self._texts[name]), code

    def numbers(self, name: str, there: _There) -> Floats:
        """Return a number column for answer rows, NaN for blank."""
        found = np.full(there.rows, np.nan)
        for number, rows, places in there.kept:
            found[rows] = self._answers[number].numbers[name][places]
        return found

    def questions(self, there: _There) -> Index:
        """Return which question is open for each answer row, -1 for none."""
        found: Index = np.full(there.rows, -1, dtype=np.intp)
        for number, rows, places in there.kept:
            found[rows] = self._answers[number].question[places]
        return found


def _columns_of(table: JobTable) -> list[NDArray[Any]]:
    """Return everything that makes a job; the columns that differ most come first."""
    return [
        table.geometry, table.stock, table.bow, table.off_axis_mass, table.off_axis_distance,
        table.fitting, *table.facts.values(),
    ]  # fmt: skip


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


def _wrong(
    geometry: Geometry, fitted: frozenset[str], machines: Sequence[MachineModel]
) -> tuple[str, str] | None:
    """Return what is wrong with cuts or accessories on these machines, None if nothing."""
    try:
        check_fitted(fitted, machines)
        check_kerf(geometry.cuts, machines)
    except InputError as error:
        return error.code, _sentence(error)
    return None


def _sentence(error: InputError) -> str:
    return str(error).removesuffix(f" [{error.code}]")


def _taken(texts: Sequence[str], code: NDArray[Any]) -> "pa.Array":
    """Return the texts of codes as a string array."""
    import pyarrow as pa

    places: Any = pa.array(code.astype(np.int32))
    if isinstance(texts, pa.ChunkedArray):
        known: Any = texts.combine_chunks()
        is_whole = len(code) == len(texts) and bool((code == np.arange(len(code))).all())
        return known if is_whole else known.take(places)
    # A dictionary cast to its texts: three times as fast as taking them.
    coded = pa.DictionaryArray.from_arrays(places, pa.array(texts, type=pa.string()))
    return coded.cast(pa.string())
