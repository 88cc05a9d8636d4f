"""Which support catches which part, where it stands until then, and what is done before each cut.

Whether parts are caught at all is worked out in :mod:`..statics.catching`; here the same is told
support by support. Spare ones stand ready for the first parts; what is needed beyond them is moved
up between cuts, from where it has done its work.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from ...catalogue.machines.model import Support
from ..statics.catching import loose_of, places_of
from ..statics.part_release import Behaviour, Piece
from ..statics.stocks import Usable
from ..statics.support_loads import Carrier
from ..statics.support_plan import Choice


class Step(NamedTuple):
    """One thing that is done before a cut.

    Attributes:
        cut: which cut, 1 for the first.
        action: ``move`` a support to another station, or ``raise`` one to contact.
        station: mm, where it stands; of a move, where it stood.
        to: mm, where it is moved to; NaN where it stays.
        support: what it is.
    """

    cut: int
    action: Literal["move", "raise"]
    station: float
    to: float
    support: Support


class Catcher(NamedTuple):
    """A support that carries nothing while the stock turns.

    Attributes:
        station: mm, where it stands at first.
        load: N, the most that it takes of any part.
    """

    station: float
    support: Support
    load: float


class Told(NamedTuple):
    """How parts are held, one entry each, and what is done for it."""

    behaviours: tuple[Behaviour, ...]
    takers: tuple[Literal["supports", "bin"] | None, ...]
    catchers: tuple[Catcher, ...]
    steps: tuple[Step, ...]


@dataclass(eq=False)
class _Unit:
    """One support: where it stands now, and what it takes while it catches."""

    support: Support
    first: float
    now: float
    load: float = 0.0


def tell_steps(
    carrier: Carrier,
    choice: Choice,
    usable: Usable,
    weight: float,
    free: Sequence[Piece],
    standing: Sequence[tuple[float, Support]],
) -> Told:
    """Return what catches each part, and the steps.

    Args:
        carrier: of the job.
        choice: the stations that carry, and what may catch.
        usable: the supports that those are dealt from.
        weight: heavy end, N/mm.
        free: the parts as they are freed, with what they do when nothing catches them.
        standing: what carries, and where.
    """
    alone = Told(tuple(piece.behaviour for piece in free), (None,) * len(free), (), ())
    if choice.catching is None or not free:
        return alone
    pool = choice.catching.pool
    bed = carrier.bed(usable, (True,) * len(free))
    needs, loose = loose_of(bed, choice.catching, choice.stations, np.array([weight]))
    carrying = [_Unit(item, at, at) for at, item in standing]
    left = list(carrier.usable.supports)
    for item in carrying:
        if item.support in left:  # more stations may be given than there are supports
            left.remove(item.support)
    strong = [item for item in left if item.reaction.rated >= pool.rated]
    spare = [_Unit(item, math.nan, math.nan) for item in strong]
    behaviours, takers = list(alone.behaviours), list(alone.takers)
    steps: list[Step] = []
    end = bed.length
    for number, piece in enumerate(free):
        stage, end = end, min(end, piece.inner)
        if loose[0, number] or piece.behaviour == "stays":
            continue
        behaviours[number] = "caught"
        if not needs.demand[0, number]:
            takers[number] = "bin"
            continue
        takers[number] = "supports"
        places = places_of(bed, pool, choice.stations, number, weight)
        taken: list[_Unit] = []
        for at, load in places:
            ready = [*spare, *(item for item in carrying if item.now >= stage)]
            unit = _nearest([item for item in ready if item not in taken], at, pool.rated)
            taken.append(unit)
            if math.isnan(unit.now):
                unit.first = at
            elif unit.now != at:
                steps.append(Step(number + 1, "move", unit.now, at, unit.support))
            unit.now, unit.load = at, max(unit.load, load)
            steps.append(Step(number + 1, "raise", at, math.nan, unit.support))
    catchers = tuple(
        Catcher(item.first, item.support, item.load) for item in spare if item.load > 0
    )
    return Told(tuple(behaviours), tuple(takers), catchers, tuple(steps))


def _nearest(ready: Sequence[_Unit], at: float, rated: float) -> _Unit:
    """Return the support to catch with: one that stands there, else a spare one, else the nearest.

    There is always one: what nothing is left for counts as loose.
    """
    strong = [item for item in ready if item.support.reaction.rated >= rated]

    def order(unit: _Unit) -> tuple[bool, bool, float]:
        is_new = math.isnan(unit.now)
        return unit.now != at, not is_new, 0.0 if is_new else abs(unit.now - at)

    return min(strong, key=order)
