"""Answers of two runners for the same chunks, compared column by column as codes.

No row is looked at in Python but the few that are kept as examples. A little long: numbering,
comparing and examples share the codes of one chunk.
"""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from ..arrays import Bools, Floats
from ..backlog.answer import DETAILS
from ..backlog.answer import NUMBERS as TOLD
from ..backlog.opened import Chunk
from ..backlog.runner import Decided, Runner
from ..combinations import combined
from ..jobs.job_table import Index
from .model import Cause, Example, Group, Numbers, kind_of, number, order_of

SAME: Final = 1e-9
"""Relative difference up to which two numbers are one."""

NUMBERS: Final = (*TOLD, DETAILS)

_WORDS: Final = ("verdict", "governing", "mitigations", "missing", "stations")


class _Numbering:
    """Numbers the texts of both sides alike, from chunk to chunk; the empty text is 0."""

    def __init__(self) -> None:
        self._places: dict[str, int] = {"": 0}
        self._seen: tuple[list[int], list[int]] = ([], [])

    @property
    def texts(self) -> list[str]:
        """The texts by their number."""
        return list(self._places)

    def numbered(self, side: int, texts: Sequence[str], code: Index) -> Index:
        """Return numbers for the codes of a column whose texts are only ever added to."""
        seen, places = self._seen[side], self._places
        seen.extend(places.setdefault(text, len(places)) for text in texts[len(seen) :])
        return np.array(seen, dtype=np.intp)[code]

    def of(self, texts: Sequence[str], code: Index) -> Index:
        """Return numbers for the codes of any column."""
        places = self._places
        found = [places.setdefault(text, len(places)) for text in texts]
        return np.array(found, dtype=np.intp)[code]


class _Change:
    """Answers that change in the same way, as they are counted."""

    def __init__(self) -> None:
        self.jobs = 0
        self.governing: dict[tuple[str, str], int] = {}
        self.gained: dict[str, int] = {}
        self.lost: dict[str, int] = {}
        self.missing: dict[str, int] = {}
        self.fitted: dict[str, int] = {}
        self.examples: list[Example] = []

    def cause(self, before: str, after: str) -> Cause:
        """Return what was counted."""
        governing = [(*pair, count) for pair, count in self.governing.items()]
        return Cause(
            before,
            after,
            self.jobs,
            tuple(sorted(governing, key=lambda item: (-item[2], item))),
            _most_first(self.gained),
            _most_first(self.lost),
            _most_first(self.missing),
            _most_first(self.fitted),
            tuple(self.examples),
        )


Pair = tuple[Any, Any]
"""A column of both sides."""


class Comparing:
    """Compares the answers of two runners chunk by chunk; keeps counts and first examples."""

    def __init__(self, first: Runner, second: Runner, examples: int) -> None:
        self._runners = (first, second)
        self._most = examples
        self._numberings = {name: _Numbering() for name in (*_WORDS, "deciding", "grade")}
        self._changes: dict[tuple[str, str, str, str], _Change] = {}
        self.answers = self.faulty = self.unchanged = self.numbers_only = self.changed = 0
        self.columns: dict[str, int] = dict.fromkeys((*NUMBERS, "stations", "grade"), 0)

    def add(self, chunk: Chunk, kept: Index, first: Decided, second: Decided) -> None:
        """Take in a chunk.

        Args:
            chunk: what was decided.
            kept: the place of each of its rows among those that were read.
            first: it on the one side.
            second: it on the other.
        """
        sides = (first, second)
        words = {name: self._words(name, sides) for name in _WORDS}
        words["deciding"], is_other_error, is_error = self._deciding(sides)
        changed = is_other_error
        for name in ("verdict", "deciding", "governing", "mitigations", "missing"):
            changed |= words[name][0] != words[name][1]
        faulty = is_error & ~changed
        numbers = {name: self._numbers(name, sides) for name in NUMBERS}
        differs = {name: _differ(*pair) for name, pair in numbers.items()}
        differs["stations"] = words["stations"][0] != words["stations"][1]
        grades = self._grades(sides)
        differs["grade"] = grades[0] != grades[1]
        only = np.logical_or.reduce(list(differs.values())) & ~changed & ~faulty
        self.answers += len(changed)
        self.changed += int(changed.sum())
        self.faulty += int(faulty.sum())
        numbers_only = int(only.sum())
        self.numbers_only += numbers_only
        self.unchanged = self.answers - self.changed - self.faulty - self.numbers_only
        if numbers_only:
            for name, column in differs.items():
                self.columns[name] += int((column & only).sum())
        rows = np.flatnonzero(changed)
        if rows.size:
            job = first.answered.job
            examples = _Examples(chunk, kept, job, self._machines(first), numbers)
            self._changed(rows, words, examples)

    def groups(self) -> tuple[Group, ...]:
        """Return what was counted, what is newly refused first."""
        causes: dict[tuple[str, str], list[Cause]] = {}
        for (before, after, *deciding), change in self._changes.items():
            causes.setdefault((before, after), []).append(change.cause(*deciding))
        groups = [
            Group(
                kind_of(before, after),
                before,
                after,
                sum(item.jobs for item in items),
                tuple(sorted(items, key=lambda item: (-item.jobs, item.before, item.after))),
            )
            for (before, after), items in causes.items()
        ]
        return tuple(sorted(groups, key=order_of))

    # --- columns of both sides ------------------------------------------------------------

    def _words(self, name: str, sides: tuple[Decided, Decided]) -> Pair:
        numbering = self._numberings[name]
        (one, two), (first, second) = self._runners, sides
        return (
            numbering.numbered(0, *one.words(name, first)),
            numbering.numbered(1, *two.words(name, second)),
        )

    def _numbers(self, name: str, sides: tuple[Decided, Decided]) -> tuple[Floats, Floats]:
        (one, two), (first, second) = self._runners, sides
        return one.numbers(name, first), two.numbers(name, second)

    def _grades(self, sides: tuple[Decided, Decided]) -> Pair:
        numbering = self._numberings["grade"]
        return numbering.of(*sides[0].grade), numbering.of(*sides[1].grade)

    def _deciding(self, sides: tuple[Decided, Decided]) -> tuple[Pair, Bools, Bools]:
        """Return what decides: the rule, else the error or question.

        Also for which rows error or question are other ones, and which have one on both sides.
        """
        numbering = self._numberings["deciding"]
        (errors, code), (other_errors, other_code) = (
            runner.errors(decided) for runner, decided in zip(self._runners, sides, strict=True)
        )
        if errors == other_errors:
            is_other = code != other_code
        else:
            places = {item: place for place, item in enumerate(errors)}
            same = [places.setdefault(item, len(places)) for item in other_errors]
            is_other = code != np.array(same, dtype=np.intp)[other_code]
        found: list[Index] = []
        for side, (told, which) in enumerate(((errors, code), (other_errors, other_code))):
            texts, decided_by = self._runners[side].words("decided_by", sides[side])
            rule = numbering.numbered(side, texts, decided_by)
            if which.any():
                rule = np.where(which > 0, numbering.of([item for item, _ in told], which), rule)
            found.append(rule)
        return (found[0], found[1]), is_other, (code > 0) & (other_code > 0)

    def _machines(self, decided: Decided) -> list[str]:
        codes = [machine.code for machine in self._runners[0].machines]
        machine: list[int] = decided.answered.machine.tolist()
        return [codes[place] for place in machine]

    # --- what changed ---------------------------------------------------------------------

    def _changed(self, rows: Index, words: dict[str, Pair], examples: "_Examples") -> None:
        """Count changed answers by verdict and what decides, before and after."""
        columns = [words[name][side][rows] for name in ("verdict", "deciding") for side in (0, 1)]
        members, which = _combinations(columns)
        verdicts, deciding = self._numberings["verdict"].texts, self._numberings["deciding"].texts
        names = (verdicts, verdicts, deciding, deciding)
        changes: list[_Change] = []
        for member in members:
            key = tuple(texts[code] for texts, code in zip(names, member, strict=True))
            before, after, old, new = key
            changes.append(self._changes.setdefault((before, after, old, new), _Change()))
        for change, count in zip(changes, np.bincount(which).tolist(), strict=True):
            change.jobs += count
        for name in ("governing", "mitigations", "missing"):
            self._count_pairs(name, words[name], rows, which, changes)
        order = np.argsort(which, kind="stable")
        ends = np.cumsum(np.bincount(which))
        for place, change in enumerate(changes):
            start = int(ends[place - 1]) if place else 0
            wanted = min(self._most - len(change.examples), int(ends[place]) - start)
            picked: list[int] = rows[order[start : start + max(wanted, 0)]].tolist()
            change.examples += [examples.of(row) for row in picked]

    def _count_pairs(
        self, name: str, pair: Pair, rows: Index, which: Index, changes: Sequence[_Change]
    ) -> None:
        """Count for each change what a column has before and after."""
        columns = [which, pair[0][rows], pair[1][rows]]
        is_other = columns[1] != columns[2]
        if not is_other.any():
            return
        members, back = _combinations([column[is_other] for column in columns])
        texts = self._numberings[name].texts
        for (place, old, new), count in zip(members, np.bincount(back).tolist(), strict=True):
            change, before, after = changes[place], texts[old], texts[new]
            if name == "governing":
                change.governing[before, after] = change.governing.get((before, after), 0) + count
                continue
            more, less = (
                (change.gained, change.lost)
                if name == "mitigations"
                else (change.missing, change.fitted)
            )
            _count_new(more, before, after, count)
            _count_new(less, after, before, count)


class _Examples:
    """Makes examples of single answers of a chunk."""

    def __init__(
        self,
        chunk: Chunk,
        kept: Index,
        job: Index,
        machines: Sequence[str],
        numbers: dict[str, tuple[Floats, Floats]],
    ) -> None:
        self._chunk, self._kept, self._job = chunk, kept, job
        self._machines, self._numbers = machines, numbers

    def of(self, answer: int) -> Example:
        """Return one answer as an example."""
        row = int(self._job[answer])
        before, after = (
            Numbers(**{name: number(self._numbers[name][side][answer]) for name in Numbers._fields})
            for side in (0, 1)
        )
        return Example(
            int(self._kept[row]) + self._chunk.first_row,
            self._text("job", row),
            self._machines[answer],
            self._text("section", row),
            self._text("length", row),
            before,
            after,
        )

    def _text(self, name: str, row: int) -> str:
        column = self._chunk.columns.get(name)
        if column is None:
            return ""
        value: Any = column.values[int(column.code[row])]
        if hasattr(value, "as_py"):
            value = value.as_py()
        return "" if value is None else str(value).strip()


def _differ(one: Floats, two: Floats) -> Bools:
    """Return where two numbers are not one; blank is equal to blank."""
    differs: Bools = (one != two) & ~(np.isnan(one) & np.isnan(two))
    rows = np.flatnonzero(differs)
    if rows.size:
        a, b = one[rows], two[rows]
        differs[rows] = ~(np.abs(a - b) <= SAME * np.maximum(np.abs(a), np.abs(b)))
    return differs


def _combinations(columns: Sequence[Index]) -> tuple[list[tuple[int, ...]], Index]:
    """Return distinct combinations of codes, and which one each row has."""
    code, first = combined(columns, len(columns[0]))
    members = [tuple(int(column[row]) for column in columns) for row in first.tolist()]
    return members, code


def _count_new(into: dict[str, int], before: str, after: str, count: int) -> None:
    """Count the items of a list that were not in it before."""
    known = before.split("; ")
    for item in after.split("; "):
        if item and item not in known:
            into[item] = into.get(item, 0) + count


def _most_first(counts: dict[str, int]) -> dict[str, int]:
    return dict(sorted(counts.items(), key=lambda item: (-item[1], item[0])))
