"""Long stock through the bore: parts cut in several clampings, the stock pushed out between.

Each clamping is a job of its own, with what is left of the stock, what of it stands behind the
chuck and the cuts that are made then, and gets the whole verdict. As many parts as go are cut in
each.
"""

import math
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Final, Literal, NamedTuple

import numpy as np

from ...catalogue.machines.model import MachineModel
from ..answer.document import VERDICTS, Clamping, Clampings, Forbidden, PartWanted
from ..answer.wording import System
from ..decision.decide import Decision, Engine
from ..decision.deciding import decided_by, refused_by
from ..decision.inference import RANK
from ..decision.limit_check import governing
from ..jobs.job import Job, Part
from ..jobs.job_table import table_of
from ..tolerance import FULL
from .trials import exact_text, rounded_length
from .windows import longest_of

AMPLE: Final = 1e7
"""mm: more than any stock needs; a number that is not finite would count as not stated."""
MOST: Final = 8
"""Clampings that are looked for."""
REARS: Final = 4
"""Lengths behind the chuck that are tried for each."""
FEWER: Final = 3
"""Numbers of parts that are tried for each of them, from the most that come out."""
WHOLE: Final = 3
"""Trials that are judged with their supports at a time."""
ALLOWED: Final = RANK["conditions"]
OUTCOMES: Final = {rank: outcome for outcome, rank in RANK.items()}


class Left(NamedTuple):
    """What is left before a clamping.

    Attributes:
        length: of the stock, mm.
        behind: mm of it that stood behind the chuck before; infinite for the first clamping.
        parts: lengths still to be cut, from the free end.
        is_whole: nothing is cut yet, so the free end is still to be trimmed.
    """

    length: float
    behind: float
    parts: tuple[float, ...]
    is_whole: bool


class Step(NamedTuple):
    """A clamping that is tried: its job, and where parts are cut off in it."""

    job: Job
    cuts: tuple[float, ...]

    @property
    def parts(self) -> int:
        """How many parts are cut in it."""
        return len(self.cuts)


def clampings_of(
    engine: Engine, job: Job, machine: MachineModel, system: System
) -> Clampings | None:
    """Return the clampings that all parts of stock too long for the bed are cut in.

    Where the chuck or the room behind it forbids it, how many clampings would be needed and what
    forbids them. None where the stock is not too long, its cuts or supports are given, or no number
    of clampings is enough.
    """
    is_long = job.front > machine.limit("stock_length").absolute * FULL
    if not is_long or not job.parts or job.stations:
        return None
    steps = _steps(engine, job, machine, system)
    if steps:
        # In one clamping it is a matter of what stands behind the chuck: a cure of its own.
        return _told(engine, steps, machine) if len(steps) > 1 else None
    # Would it do with an open chuck and room behind it? How it is carried is not asked.
    chuck = machine.chuck._replace(bore=AMPLE)
    bed = machine.bed._replace(rear_room=AMPLE)
    open_one = machine._replace(chuck=chuck, bed=bed, digest=f"{machine.digest}-open")
    steps = _steps(engine, job, open_one, system, is_supported=False)
    forbidden = _forbidden(engine, steps, machine)
    return Clampings(needed=len(steps), forbidden=forbidden) if forbidden else None


def _forbidden(
    engine: Engine, steps: Sequence[Step], machine: MachineModel
) -> tuple[Forbidden, ...]:
    """Return what of a machine forbids clampings: bore or room, else the rules that refuse."""
    if not steps:
        return ()
    decision = _decided(engine, [step.job for step in steps], machine)
    bore = float(np.fmax.reduce(decision.measured.heavy["bore_needed"]))
    rear = max(step.job.behind for step in steps)
    kinds: tuple[tuple[Literal["bore", "rear-room"], float, float], ...] = (
        ("bore", bore, machine.chuck.bore), ("rear-room", rear, machine.bed.rear_room),
    )  # fmt: skip
    found = tuple(
        Forbidden(kind=kind, needed=_exact(needed), room=room if math.isfinite(room) else None)
        for kind, needed, room in kinds
        if not needed <= room * FULL
    )
    titles = {rule.code: rule.title for rule in engine.rule_set.rules}
    codes = dict.fromkeys(
        code for row in range(len(steps))
        for code in refused_by(decision.of(row), engine.rule_set) if code in titles
    )  # fmt: skip
    return found or tuple(
        Forbidden(kind="rule", rule=code, title=titles[code]) for code in codes
    )  # fmt: skip


def _told(engine: Engine, steps: Sequence[Step], machine: MachineModel) -> Clampings:
    """Return clampings as the document has them, each judged once more, all together."""
    decision = _decided(engine, [step.job for step in steps], machine)
    chief = governing(engine, decision)
    found: list[Clamping] = []
    before: Step | None = None
    for row, step in enumerate(steps):
        job = step.job
        pushed = None if before is None else before.job.behind - job.behind
        share = float(chief.nominal[row])
        inferred = decision.of(row)
        place = -1 if decision.frame.place is None else int(decision.frame.place[row])
        found.append(Clamping(
            ahead=_exact(job.front), behind=job.behind,
            pushed=None if pushed is None else _exact(pushed),
            parts=_wanted(_piece_lengths(step, machine)),
            cuts=step.cuts, say=_say(job),
            verdict=VERDICTS[inferred.outcome],
            decided_by=decided_by(inferred, engine.rule_set) or None,
            governing=chief.name(row),
            utilisation=share if math.isfinite(share) else None,
            stations=decision.frame.places[place] if place >= 0 else (),
        ))  # fmt: skip
        before = step
    last = steps[-1]
    return Clampings(
        needed=len(steps),
        steps=tuple(found),
        verdict=VERDICTS[OUTCOMES[int(decision.ranks.max())]],
        remnant=_left_of(last, machine),
    )


def _steps(
    engine: Engine, job: Job, machine: MachineModel, system: System, *, is_supported: bool = True
) -> list[Step]:
    """Return the clampings one after the other; none where they do not reach all parts."""
    every = tuple(part.length for part in job.parts for _ in range(part.count))
    left, found = Left(job.length, math.inf, every, is_whole=True), list[Step]()
    while left.parts and len(found) < MOST:
        tried = list(_tried(job, left, machine, system))
        step = _best(engine, tried, machine, is_supported=is_supported)
        if step is None:
            return []
        found.append(step)
        left = Left(
            _left_of(step, machine), step.job.behind, left.parts[step.parts :], is_whole=False
        )
    return [] if left.parts else found


def _tried(job: Job, left: Left, machine: MachineModel, system: System) -> Iterator[Step]:
    """Yield what one clamping could be: lengths behind the chuck, and how many parts are cut."""
    least = max(left.length - longest_of(machine), 0.0)
    most = min(machine.bed.rear_room, left.behind, left.length - machine.bed.stub)
    seen: set[float] = set()
    for number in range(REARS):
        wanted = least + max(most - least, 0.0) * number / (REARS - 1)
        # More behind, so that the front is no longer than the bed; at most what there is room for.
        is_up = number < REARS - 1
        behind = rounded_length(wanted, system, is_up=is_up)[1] if wanted > 0 else 0.0
        if behind in seen or behind > most + 1e-6 or not math.isfinite(behind):
            continue
        seen.add(behind)
        cuts = _cuts(left, left.length - behind, machine)
        for count in range(len(cuts), max(len(cuts) - FEWER, 0), -1):
            piece = job._replace(length=left.length, behind=behind)
            if left.is_whole:
                # Parts begin inside the trim; what is cut later begins at a clean end.
                piece = piece._replace(parts=_parts(left.parts[:count]))
            else:
                piece = piece._replace(parts=(), cuts=cuts[:count])
            yield Step(piece, cuts[:count])


def _cuts(left: Left, front: float, machine: MachineModel) -> tuple[float, ...]:
    """Return where parts are cut off, from the free end, as far as the stub."""
    cutting, found = machine.cutting, list[float]()
    place = front - (cutting.trim if left.is_whole else 0.0)
    for part in left.parts:
        place -= part
        if place - cutting.kerf < machine.bed.stub - 1e-6:
            break
        found.append(_exact(place))
        place -= cutting.kerf
    return tuple(found)


def _best(
    engine: Engine, tried: Sequence[Step], machine: MachineModel, *, is_supported: bool
) -> Step | None:
    """Return the clamping with most parts, of these the best verdict, that is allowed."""
    if not tried:
        return None
    bare = _decided(engine, [step.job for step in tried], machine, is_supported=False).ranks
    left = [step for step, rank in zip(tried, bare.tolist(), strict=True) if rank <= ALLOWED]
    left.sort(key=lambda step: (-step.parts, step.job.behind))
    if not is_supported:
        return left[0] if left else None
    for start in range(0, len(left), WHOLE):
        some = left[start : start + WHOLE]
        ranks = _decided(engine, [step.job for step in some], machine).ranks.tolist()
        good = [(-step.parts, rank, step.job.behind, step)
                for step, rank in zip(some, ranks, strict=True) if rank <= ALLOWED]  # fmt: skip
        if good:
            return min(good, key=lambda item: item[:3])[3]
    return None


def _left_of(step: Step, machine: MachineModel) -> float:
    """Return the length of stock that a clamping leaves; a cut is as wide as the kerf."""
    return _exact(step.cuts[-1] - machine.cutting.kerf + step.job.behind)


def _decided(
    engine: Engine, jobs: Sequence[Job], machine: MachineModel, *, is_supported: bool = True
) -> Decision:
    table = table_of(jobs, engine.rule_set.vocabulary)
    here = np.zeros(len(jobs), dtype=np.intp)
    return engine.decide_table(table, [machine], here, is_supported=is_supported)


def _piece_lengths(step: Step, machine: MachineModel) -> list[float]:
    """Return the lengths of the parts that are cut, from the free end."""
    if step.job.parts:
        return [part.length for part in step.job.parts for _ in range(part.count)]
    kerf, outer = machine.cutting.kerf, step.job.front
    found: list[float] = []
    for cut in step.cuts:
        found.append(_exact(outer - cut))
        outer = cut - kerf
    return found


def _parts(lengths: Sequence[float]) -> tuple[Part, ...]:
    return tuple(Part(size, len(list(alike))) for size, alike in groupby(lengths))


def _wanted(lengths: Sequence[float]) -> tuple[PartWanted, ...]:
    return tuple(
        PartWanted(length=part.length, count=part.count) for part in _parts(lengths)
    )  # fmt: skip


def _say(job: Job) -> dict[str, tuple[str, ...]]:
    """Return what is typed to ask about one clamping alone."""
    return {
        "length": (exact_text(job.length),),
        "behind": (exact_text(job.behind),) if job.behind else (),
        "parts": tuple(f"{exact_text(part.length)}*{part.count}" for part in job.parts),
        "cuts": tuple(exact_text(cut) for cut in job.cuts),
    }


def _exact(value: float) -> float:
    """Return a length without the noise of adding."""
    return round(value, 6)
