"""The lengths of stock that are in range, and that are allowed, from the shortest to the longest.

Some stock is refused because it is too short, so a length has two ends. Both are found on the whole
verdict, supports planned: the intervals of :mod:`.lengths`, whose borders are then moved outward by
millimetres, as far as the rules allow that do not read supports, if the whole verdict agrees.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...catalogue.machines.model import MachineModel
from ..answer.document import VERDICTS
from ..arrays import Floats
from ..decision.decide import Decision, Engine
from ..decision.inference import RANK
from ..jobs.job import Geometry, Job
from ..jobs.job_table import table_of
from .lengths import LONGEST, STEPS, Interval, length_intervals

COARSE: Final = STEPS["si"]
FINE: Final = 1.0  # mm
HALF_INCH: Final = STEPS["us"]

Window = tuple[float, float]
"""Shortest and longest length, mm, both included."""


class Windows(NamedTuple):
    """Where stock is in range, and where it is allowed (in range or with conditions).

    Windows are told from the shortest length to the longest and do not touch.
    """

    in_range: tuple[Window, ...]
    allowed: tuple[Window, ...]

    @property
    def longest_in_range(self) -> float | None:
        """The longest length in range, mm; None where no length is."""
        return self.in_range[-1][1] if self.in_range else None

    @property
    def longest_allowed(self) -> float | None:
        """The longest length allowed, mm; None where no length is."""
        return self.allowed[-1][1] if self.allowed else None


def windows_of(engine: Engine, job: Job, machine: MachineModel) -> Windows:
    """Return the lengths that a machine takes of a job's stock.

    To 1 mm; to 10 mm where only supports decide.

    Parts, cuts and stations of the job are left out of the question: they belong to one length.
    Both ends of every window are lengths that the whole verdict gives, and so are both rounded
    inward to half an inch, which is how they are shown in feet and inches, if there is one.
    """
    bare = job._replace(parts=(), cuts=(), stations=())
    intervals = length_intervals(engine, bare, machine, COARSE, behind=bare.behind)
    rough = {
        outcome: _joined(intervals, RANK[outcome]) for outcome in ("setting", "conditions")
    }  # fmt: skip
    search = _Ends(engine, bare, machine)
    return Windows(*search.refined([(spans, RANK[outcome]) for outcome, spans in rough.items()]))


def longest_of(machine: MachineModel) -> float:
    """Return how long stock before the chuck face may be at most, mm."""
    stated = machine.limit("stock_length").absolute
    return LONGEST if math.isnan(stated) else stated


def decide_lengths(
    engine: Engine, job: Job, machine: MachineModel, lengths: Floats, *, is_supported: bool = True
) -> Decision:
    """Decide a job, parts and stations left out, at several lengths at once."""
    one = table_of([job], engine.rule_set.vocabulary)
    rows = len(lengths)
    table = one.take(np.zeros(rows, dtype=np.intp))._replace(
        geometries=tuple(Geometry(length, job.behind) for length in lengths.tolist()),
        geometry=np.arange(rows),
    )
    return engine.decide_table(
        table, [machine], np.zeros(rows, dtype=np.intp), is_supported=is_supported
    )


def _joined(intervals: Sequence[Interval], rank: int) -> list[Window]:
    """Return intervals at least as good as a rank, neighbours joined."""
    good = {VERDICTS[outcome] for outcome, bad in RANK.items() if bad <= rank}
    found: list[Window] = []
    for item in intervals:
        if item.verdict not in good:
            continue
        if found and item.low - found[-1][1] < 1.5 * COARSE:
            found[-1] = (found[-1][0], item.high)
        else:
            found.append((item.low, item.high))
    return found


class _Ends:
    """Moves the ends of windows outward by millimetres, within one step of the search.

    A whole verdict plans supports, so it is asked for no more than is needed: what the rules say
    without supports tells how far an end could move at best.
    """

    def __init__(self, engine: Engine, job: Job, machine: MachineModel) -> None:
        self._engine, self._job, self._machine = engine, job, machine
        self._longest = longest_of(machine) + job.behind
        self._known: dict[float, int] = {}

    def refined(self, rough: Sequence[tuple[Sequence[Window], int]]) -> list[tuple[Window, ...]]:
        """Return windows with both ends as far out as the verdict is as good as their rank."""
        places = [self._places(span) for spans, _ in rough for span in spans]
        if not places:
            return [() for _ in rough]
        tried = np.concatenate([end for pair in places for end in pair])
        bare = dict(
            zip(tried.tolist(), self._ranks(tried, is_supported=False).tolist(), strict=True)
        )
        found: list[tuple[int, list[float], list[float]]] = []
        which = [number for number, (spans, _) in enumerate(rough) for _ in spans]
        for number, (lows, highs) in zip(which, places, strict=True):
            most = rough[number][1]
            found.append((number, _unbroken(lows, bare, most), _unbroken(highs, bare, most)))
        # What could be best at all, judged in full at once; mostly it is.
        self._judge([at for _, lows, highs in found
                     for at in (lows[-1], rounded_up(lows[-1]),
                                highs[-1], rounded_down(highs[-1]))])  # fmt: skip
        windows: list[list[Window]] = [[] for _ in rough]
        for number, lows, highs in found:
            most, span = rough[number][1], (lows[-1], highs[-1])
            first = self._outermost(lows, rounded_up, span, most)
            last = self._outermost(highs, rounded_down, span, most)
            if first is not None and last is not None and first <= last:
                windows[number].append((first, last))
        return [tuple(item) for item in windows]

    def _places(self, span: Window) -> tuple[Floats, Floats]:
        """Return where the ends of a window could be, the nearest first."""
        near = span[0] - np.arange(0.0, COARSE, FINE)
        lows = near[near > self._job.behind]
        near = span[1] + np.arange(0.0, COARSE, FINE)
        highs = near[near < self._longest]
        if self._longest - span[1] < COARSE:
            highs = np.append(highs, self._longest)
        return lows, highs

    def _outermost(
        self, places: Sequence[float], rounded: Callable[[float], float], span: Window, rank: int
    ) -> float | None:
        """Return the outermost place if the whole verdict gives it, else the nearest.

        Both it and what is shown in half inches must be given.
        A window may be so short that it holds no half inch; it is then shown as it is.
        """
        for place in dict.fromkeys((places[-1], places[0])):
            shown = rounded(place) if span[0] <= rounded(place) <= span[1] else place
            self._judge([place, shown])
            if max(self._known[place], self._known[shown]) <= rank:
                return place
        return None

    def _judge(self, lengths: Sequence[float]) -> None:
        """Judge lengths in full that are not known yet."""
        new = [length for length in dict.fromkeys(lengths) if length not in self._known]
        if new:
            ranks = self._ranks(np.array(new), is_supported=True)
            self._known |= dict(zip(new, ranks.tolist(), strict=True))

    def _ranks(self, lengths: Floats, *, is_supported: bool) -> NDArray[np.int8]:
        return decide_lengths(
            self._engine, self._job, self._machine, lengths, is_supported=is_supported
        ).ranks


def _unbroken(places: Floats, ranks: Mapping[float, int], most: int) -> list[float]:
    """Return the places that are good as all nearer ones are; the nearest is taken to be."""
    nearest: list[float] = places.tolist()
    count = next((n for n, at in enumerate(nearest) if n and ranks[at] > most), len(nearest))
    return nearest[:count]


def rounded_up(length: float) -> float:
    """Return a length up to half an inch."""
    return math.ceil(length / HALF_INCH - 1e-9) * HALF_INCH


def rounded_down(length: float) -> float:
    """Return a length down to half an inch."""
    return math.floor(length / HALF_INCH + 1e-9) * HALF_INCH
