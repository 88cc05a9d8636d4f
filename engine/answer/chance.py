"""Chances in the document, and in words."""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from ...rules.model import RuleSet
from ..decision.chance import BOUNDS, MEASURES, Bound, chances, column_name, no_chance
from ..decision.decide import Decision
from ..decision.mill_chance import HEAT_SHARE, in_lot
from . import document as doc

SMALLEST: Final = 0.001
"""A chance below this, and not nothing, is told as less than this."""


def chances_of(rule_set: RuleSet, decision: Decision, lot: int | None) -> Sequence[doc.Chance]:
    """Return the chances of every row of a decision.

    Args:
        rule_set: the rules decided by.
        decision: the rows.
        lot: pieces of one heat, where more than one is asked about.
    """
    columns = chances(rule_set, decision)
    frame = decision.frame

    def over(measure: str, bound: Bound, row: int) -> doc.ChanceOver | None:
        normal, uniform = (
            float(columns[column_name(measure, bound, law)][row])
            for law in ("normal", "uniform")
        )  # fmt: skip
        if np.isnan(normal) or np.isnan(uniform):
            return None
        if lot is None:
            return doc.ChanceOver(normal=normal, uniform=uniform)
        of_lot = [round(in_lot(chance, lot), 9) for chance in (normal, uniform)]
        return doc.ChanceOver(
            normal=normal, uniform=uniform, lot_normal=of_lot[0], lot_uniform=of_lot[1]
        )

    def chance(row: int) -> doc.Chance:
        reason = no_chance(frame.stocks[int(frame.stock[row])])
        if reason:
            return doc.Chance(limits={}, lot=lot, not_worked_out=reason)
        told = {
            measure: doc.ChanceOfLimits(
                **{bound: over(measure, bound, row) for bound in BOUNDS}
            )
            for measure in MEASURES
        }  # fmt: skip
        known = {name: one for name, one in told.items() if one.rated or one.absolute}
        return doc.Chance(limits=known, lot=lot)

    return [chance(row) for row in range(frame.rows)]


class ChanceRow(NamedTuple):
    """Chances of one measure as texts: one piece, and any of the lot; empty where not known."""

    measure: str
    rated: str
    absolute: str
    lot_rated: str
    lot_absolute: str


class ChanceTold(NamedTuple):
    """Chances in words: a head, a row a measure, and what they are and are not."""

    head: str
    rows: tuple[ChanceRow, ...]
    note: str


def told_of(answer: doc.Answer) -> ChanceTold | None:
    """Return the chances of an answer in words; None where they were not asked for."""
    chance = answer.chance
    if chance is None:
        return None
    if chance.not_worked_out or not chance.limits:
        reason = chance.not_worked_out or "no limit of mass, inertia or wall is known"
        return ChanceTold(f"Chance of being over a limit: not worked out, {reason}.", (), "")
    rows = tuple(
        ChanceRow(
            answer.measures[name].title or name.replace("_", " "),
            _both(one.rated), _both(one.absolute),
            _both(one.rated, is_lot=True), _both(one.absolute, is_lot=True),
        )
        for name, one in chance.limits.items()
    )  # fmt: skip
    note = (
        "First number: sizes bunch about the middle of the mill tolerance. Second: every size "
        "within it is as likely. "
    )
    if chance.lot is not None:
        note += f"Lot of {chance.lot}: {HEAT_SHARE:.0%} of lots are taken as alike throughout. "
    note += "For choosing what to weigh first; it lifts no refusal and no condition."
    return ChanceTold("Chance that the mill ships over the limit:", rows, note)


def _both(over: doc.ChanceOver | None, *, is_lot: bool = False) -> str:
    if over is None:
        return ""
    pair = (over.lot_normal, over.lot_uniform) if is_lot else (over.normal, over.uniform)
    texts = [shown(chance) for chance in pair if chance is not None]
    return " / ".join(dict.fromkeys(texts))


def shown(chance: float) -> str:
    """Return a chance as a percentage; nothing and everything only where they are exact."""
    if chance in (0.0, 1.0):
        return f"{chance:.0%}"
    if chance < SMALLEST:
        return "<0.1%"
    if chance > 1 - SMALLEST:
        return ">99.9%"
    return f"{chance:.0%}" if 0.1 <= chance <= 0.9 else f"{chance:.1%}"
