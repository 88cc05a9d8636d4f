"""Backlog texts to jobs as columns: each distinct text is read once.

What :func:`cuttable.engine.jobs.parse.read_job` does for one job is done here column by column,
with the same readers in the same order, so that a row gets the error or question that ``check``
gives for it. Nothing is dropped: a row that cannot be read keeps its place with its fault. Long,
because every step hands its distinct texts and their codes to the next.
"""

import math
import re
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple, TypeVar

import numpy as np

from ...catalogue.errors import InputError, OpenQuestion, Question
from ...catalogue.grades.grades import Grade
from ...catalogue.store import Catalogue
from ...catalogue.tables.sections import Section
from ...catalogue.units.lengths import plain_length
from ...rules.model import Vocabulary
from ..arrays import Codes, Floats
from ..combinations import combined
from ..jobs.checks import check_positions
from ..jobs.fields import FIELDS, Field
from ..jobs.fitting import Fitting
from ..jobs.job import Geometry
from ..jobs.job_table import JOB_FACTS, Index, JobTable, Stock
from ..jobs.parse import Reading, grade_of, read_field

K = TypeVar("K", bound=Hashable)

COLUMNS: Final = tuple(field.name for field in FIELDS)
"""Columns that make a job, in the order in which ``check`` reads them."""

BETWEEN: Final = "+;"
"""What parts the things of a cell that holds several; accessories may have commas or spaces."""

MOST_KEPT: Final = 120_000
"""Distinct texts, stocks or geometries kept from chunk to chunk; then they are read anew."""


class Texts(NamedTuple):
    """One column of a chunk: distinct texts, and the place of each row's text among them."""

    values: Sequence[str]
    code: Index


class Fault(NamedTuple):
    """Why a row has no verdict: an error, or a question that must be answered first."""

    code: str
    text: str


class Read(NamedTuple):
    """A chunk as jobs.

    Attributes:
        table: one row a readable job.
        rows: the place of each of them in the chunk.
        faults, fault: distinct faults, and for every row of the chunk its place among them,
            -1 for a row that was read.
        assumptions: how many rows each thing was taken for granted in.
    """

    table: JobTable
    rows: Index
    faults: tuple[Fault, ...]
    fault: Index
    assumptions: Mapping[str, int]


class _Found(NamedTuple):
    """What came of reading one text."""

    value: Any
    error: Fault | None = None
    question: Fault | None = None
    assumptions: tuple[str, ...] = ()


class Normaliser:
    """Reads chunks; what was read once is kept."""

    def __init__(self, catalogue: Catalogue, vocabulary: Vocabulary) -> None:
        self._catalogue, self._vocabulary = catalogue, vocabulary
        self._kept: dict[str, dict[Any, _Found]] = {}
        self._forget()

    def _forget(self) -> None:
        self._kept = {name: {} for name in (*COLUMNS, "geometry")}
        self._stocks: dict[Stock, int] = {}
        self._geometries: dict[Geometry, int] = {}
        self._fittings: dict[frozenset[str], int] = {}
        self.generation = getattr(self, "generation", 0) + 1

    def read(self, columns: Mapping[str, Texts], rows: int) -> Read:
        """Read a chunk.

        Args:
            columns: texts by column name; a column that is not there is not stated.
            rows: number of rows.

        ``generation`` changes when stocks and geometries are numbered anew.
        """
        if (
            max(len(self._stocks), len(self._geometries), *map(len, self._kept.values()))
            > MOST_KEPT
        ):
            self._forget()
        texts = {
            name: columns.get(name) or Texts([""], np.zeros(rows, dtype=np.intp))
            for name in COLUMNS
        }
        faults = _Faults(rows)
        found = {
            field.name: self._column(field, texts[field.name])
            for field in FIELDS
            if field.kind != "grade"
        }
        grades, grade = self._grades(texts["section"], texts["grade"], found["section"])
        found["grade"] = grades
        codes = {name: text.code for name, text in texts.items()} | {"grade": grade}
        for name in COLUMNS:
            faults.errors(found[name], codes[name])
        for name in COLUMNS:
            faults.questions(found[name], codes[name])
        faults.settle()
        rows_read = np.flatnonzero(faults.fault < 0)
        geometry = self._geometry(found, codes, rows_read, faults)
        is_good = faults.fault[rows_read] < 0
        rows_read, geometry = rows_read[is_good], geometry[is_good]
        table = self._table(found, codes, rows_read, geometry)
        return Read(
            table,
            rows_read,
            faults.distinct(),
            faults.fault,
            self._counted(found, codes, rows_read),
        )

    # --- columns --------------------------------------------------------------------------

    def _column(self, field: Field, texts: Texts) -> list[_Found]:
        """Read the distinct texts of a column."""
        kept = self._kept[field.name]
        marks = f"{BETWEEN}, " if field.kind == "accessory" else BETWEEN

        def read(reading: Reading, text: str) -> Any:
            return read_field(reading, field, split(text, marks) if field.is_list else text)

        result: list[_Found] = []
        reading, is_length = self._reading(), field.kind == "length"
        for text in texts.values:
            known = kept.get(text)
            if known is None and is_length and (size := plain_length(text)) is not None:
                known = kept[text] = _Found(size)
            elif known is None:
                known = kept[text] = self._read(text, read, reading)
                if reading.questions or reading.assumptions:
                    reading = self._reading()
            result.append(known)
        return result

    def _grades(
        self, section: Texts, grade: Texts, sections: Sequence[_Found]
    ) -> tuple[list[_Found], Index]:
        """Read the grades: what is usual where none is stated depends on the section."""
        code, first = combined((section.code, grade.code), len(grade.code))
        kept = self._kept["grade"]
        result: list[_Found] = []
        for which_section, which_grade in _members((section.code, grade.code), first):
            text = grade.values[which_grade]
            found: Section | None = sections[which_section].value
            key = (text, None if text.strip() else found)
            known = kept.get(key)
            if known is None:
                known = kept[key] = self._read(
                    text, lambda reading, item, found=found: self._grade(reading, item, found)
                )
            result.append(known)
        return result, code

    def _grade(self, reading: Reading, text: str, section: Section | None) -> Grade:
        taken = grade_of(text if text.strip() else None, section, self._catalogue)
        if taken.assumption:
            reading.assumptions.append(taken.assumption)
        return taken.grade

    def _reading(self) -> Reading:
        return Reading(self._catalogue, self._vocabulary)

    def _read(
        self, text: str, read: Callable[[Reading, str], Any], reading: Reading | None = None
    ) -> _Found:
        """Read one text and keep what comes of it; ``reading`` is one to which nothing came yet."""
        reading = self._reading() if reading is None else reading
        try:
            value = read(reading, text)
        except OpenQuestion as asked:
            return _Found(None, question=_asked([*reading.questions, asked.question][0]))
        except InputError as fault:
            return _Found(
                None, error=Fault(fault.code, str(fault).removesuffix(f" [{fault.code}]"))
            )
        if reading.questions:
            return _Found(None, question=_asked(reading.questions[0]))
        return _Found(value, assumptions=tuple(reading.assumptions))

    # --- jobs -----------------------------------------------------------------------------

    def _geometry(
        self,
        found: Mapping[str, Sequence[_Found]],
        codes: Mapping[str, Index],
        rows: Index,
        faults: "_Faults",
    ) -> Index:
        """Return the place of each row's geometry; impossible ones are faults."""
        names = ("length", "behind", "parts", "cuts", "stations")
        if all(len(found[name]) == 1 and not found[name][0].value for name in names[1:]):
            return self._whole(found["length"], codes["length"][rows])
        columns = [codes[name][rows] for name in names]
        code, first = combined(columns, len(rows))
        results: list[_Found] = []
        for member in _members(columns, first):
            geometry = Geometry(
                *(found[name][place].value for name, place in zip(names, member, strict=True))
            )
            known = self._kept["geometry"].get(geometry)
            if known is None:
                known = self._kept["geometry"][geometry] = self._read(
                    "", lambda _, __, item=geometry: self._numbered(item)
                )
            results.append(known)
        faults.late(results, code, rows)
        places = [-1 if item.error else int(item.value) for item in results]
        return np.array(places, dtype=np.intp)[code]

    def _whole(self, lengths: Sequence[_Found], code: Index) -> Index:
        """Return the places of stock that is not cut: nothing of it can be impossible."""
        known = self._geometries
        places = [
            -1 if item.value is None else known.setdefault(Geometry(item.value), len(known))
            for item in lengths
        ]
        return np.array(places, dtype=np.intp)[code]

    def _numbered(self, geometry: Geometry) -> int:
        check_positions(geometry)
        return self._geometries.setdefault(geometry, len(self._geometries))

    def _table(
        self,
        found: Mapping[str, Sequence[_Found]],
        codes: Mapping[str, Index],
        rows: Index,
        geometry: Index,
    ) -> JobTable:
        """Return the readable rows as a table."""
        columns = [codes[name][rows] for name in ("section", "grade", "coating")]
        code, first = combined(columns, len(rows))
        stocks: list[int] = []
        for section, grade, coating in _members(columns, first):
            # The section's note is about the text; stocks that are alike are one.
            stock = Stock(
                found["section"][section].value._replace(note=""),
                found["grade"][grade].value,
                found["coating"][coating].value,
            )
            stocks.append(self._stocks.setdefault(stock, len(self._stocks)))
        fittings = [
            -1 if item.error else self._fittings.setdefault(item.value, len(self._fittings))
            for item in found["fitted"]
        ]
        off_axis = np.array(
            [item.value or Fitting() for item in found["off_axis"]], dtype=np.float64
        ).reshape(-1, 3)[codes["off_axis"][rows]]
        return JobTable(
            tuple(self._stocks),
            np.array(stocks, dtype=np.intp)[code],
            tuple(self._geometries),
            geometry,
            tuple(self._fittings),
            np.array(fittings, dtype=np.intp)[codes["fitted"][rows]],
            bow=_numbers(found["bow"])[codes["bow"][rows]],
            off_axis_mass=off_axis[:, 0],
            off_axis_distance=off_axis[:, 1],
            off_axis_size=off_axis[:, 2],
            facts={name: self._fact(name, found[name])[codes[name][rows]] for name in JOB_FACTS},
        )

    def _fact(self, name: str, found: Sequence[_Found]) -> Codes:
        values = self._vocabulary.facts[name].values
        codes = [0 if item.error else values.index(item.value) for item in found]
        return np.array(codes, dtype=np.int8)

    def _counted(
        self, found: Mapping[str, Sequence[_Found]], codes: Mapping[str, Index], rows: Index
    ) -> dict[str, int]:
        """Return in how many readable rows each thing was taken for granted."""
        counted: dict[str, int] = {}
        for name in COLUMNS:
            if not any(item.assumptions for item in found[name]):
                continue
            times = np.bincount(codes[name][rows], minlength=len(found[name])).tolist()
            for item, count in zip(found[name], times, strict=True):
                for sentence in item.assumptions:
                    counted[sentence] = counted.get(sentence, 0) + count
        return {sentence: count for sentence, count in counted.items() if count}


class _Faults:
    """The first fault of every row, in the order in which ``check`` would find it."""

    def __init__(self, rows: int) -> None:
        self._places: dict[Fault, int] = {}
        self.fault: Index = np.full(rows, -1, dtype=np.intp)
        self._question: Index = np.full(rows, -1, dtype=np.intp)

    def errors(self, found: Sequence[_Found], code: Index) -> None:
        """Take in the errors of one column."""
        self.fault = self._first(self.fault, [item.error for item in found], code)

    def questions(self, found: Sequence[_Found], code: Index) -> None:
        """Take in the questions of one column."""
        self._question = self._first(self._question, [item.question for item in found], code)

    def settle(self) -> None:
        """Let questions stand where there is no error."""
        self.fault = np.where(self.fault < 0, self._question, self.fault)

    def late(self, found: Sequence[_Found], code: Index, rows: Index) -> None:
        """Take in errors that show only once a row is read as a whole."""
        self.fault[rows] = self._first(self.fault[rows], [item.error for item in found], code)

    def _first(self, known: Index, faults: Sequence[Fault | None], code: Index) -> Index:
        if not any(faults):
            return known
        places = [
            -1 if fault is None else self._places.setdefault(fault, len(self._places))
            for fault in faults
        ]
        return np.where(known < 0, np.array(places, dtype=np.intp)[code], known)

    def distinct(self) -> tuple[Fault, ...]:
        """Return the distinct faults."""
        return tuple(self._places)


def _members(columns: Sequence[Index], rows: Index) -> Iterable[tuple[int, ...]]:
    """Return the codes that stand in some rows of several columns."""
    return zip(*(column[rows].tolist() for column in columns), strict=True)


def split(text: str, marks: str) -> list[str]:
    """Return the pieces of a cell that holds several things; empty ones are left out."""
    return [piece for piece in re.split(f"[{re.escape(marks)}]", text) if piece.strip()]


def _asked(question: Question) -> Fault:
    choices = f" Choose: {'; '.join(question.choices)}." if question.choices else ""
    return Fault(question.code, f"{question.text}{choices}")


def _numbers(found: Sequence[_Found]) -> Floats:
    return np.array(
        [math.nan if item.value is None else item.value for item in found], dtype=np.float64
    )
