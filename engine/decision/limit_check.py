"""How full limits are: what is over, what is close, and which measure governs."""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from ..arrays import Bools, Floats
from ..jobs.job_table import Index
from ..tolerance import FULL
from .decide import Decision, Engine, Fullness, fullness

NEAR: Final = 0.9
"""Share of a limit from which it counts as close."""


def is_over(share: float | None) -> bool:
    """Say whether a limit is exceeded; not where nothing is known of it."""
    return share is not None and share > FULL


def is_near(share: float | None, heavy: float | None) -> bool:
    """Say whether a limit is close to full, at nominal or at the heavy end."""
    return share is not None and max(share, heavy or 0.0) >= NEAR


class Governing(NamedTuple):
    """The limit that governs, for every row.

    Attributes:
        names: of all limits that are checked.
        place: 1 + the place in ``names``; 0 for none.
        nominal, heavy: how full it is; NaN where that is not known.
    """

    names: tuple[str, ...]
    place: Index
    nominal: Floats
    heavy: Floats

    def name(self, row: int) -> str:
        """Return the measure that governs a row; empty for none."""
        return ("", *self.names)[int(self.place[row])]


def governing(
    engine: Engine, decision: Decision, full: Sequence[Fullness] | None = None
) -> Governing:
    """Return which limit governs: the largest use at nominal.

    Where all are within rated, the one whose heavy end is the most over. What the planner fills
    on purpose (spans and overhangs) does not govern until it is over, and nothing about supports
    where none were planned.
    """
    full = fullness(engine.rule_set, decision.scope) if full is None else full
    chosen = {
        limit_check.name for limit_check in engine.rule_set.limit_checks if limit_check.is_chosen
    }
    carried, rows = decision.frame.is_carried, decision.frame.rows
    every_row = np.ones(rows, dtype=np.bool_)
    shown = [carried if item.name in engine.carried_measures else every_row for item in full]
    pairs = list(zip(full, shown, strict=True))
    nominal = np.stack([_able(item, there, chosen) for item, there in pairs])
    heavy = np.stack([_heavy_over(item, there) for item, there in pairs])
    best: Index = nominal.argmax(axis=0)
    over: Index = heavy.argmax(axis=0)
    every = np.arange(rows)
    is_heavy = (nominal[best, every] <= FULL) & (heavy[over, every] > -np.inf)
    place: Index = np.where(is_heavy, over, best)
    has_any = nominal.max(axis=0) > -np.inf
    ends = [np.stack([item.nominal for item in full])[place, every],
            np.stack([item.heavy for item in full])[place, every]]  # fmt: skip
    told = [np.where(has_any & np.isfinite(end), end, np.nan) for end in ends]
    names = tuple(item.name for item in full)
    return Governing(names, np.where(has_any, place + 1, 0), told[0], told[1])


def _able(item: Fullness, is_shown: Bools, chosen: set[str]) -> Floats:
    """Return the use of a limit where it can govern, minus infinity elsewhere."""
    counts = np.isfinite(item.nominal) & is_shown
    if item.name in chosen:
        counts &= item.nominal > FULL
    return np.where(counts, item.nominal, -np.inf)


def _heavy_over(item: Fullness, is_shown: Bools) -> Floats:
    """Return the use at the heavy end where it is over, minus infinity elsewhere."""
    counts = np.isfinite(item.heavy) & (item.heavy > FULL) & is_shown
    return np.where(counts, item.heavy, -np.inf)
