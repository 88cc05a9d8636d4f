"""An answer on a page: the words that the terminal has too, drawings, and bars."""

from collections.abc import Mapping
from typing import Final, NamedTuple

from markupsafe import Markup

from ...engine.answer.document import Answer, Reply, Verdict
from ...engine.answer.wording import System
from ...engine.answer.words import (
    Card,
    LimitRow,
    card_of,
    short,
    stock_facts,
    stock_line,
)
from ...engine.decision.limit_check import is_over
from ...engine.sheet import bed_drawing
from .theme import MARKS

WIDE: Final = 120.0
"""Width of a bar; the rated limit is at :data:`LIMIT`, and what is over stands beyond it."""
LIMIT: Final = 90.0
OUTLOUD: Final[Mapping[Verdict | None, str]] = {
    Verdict.IN_RANGE: "In range on", Verdict.CONDITIONS: "Allowed with conditions on",
    Verdict.REFUSED: "Refused on", None: "Question open on",
}  # fmt: skip
"""How verdicts begin in a sentence that is read out."""


class Bar(NamedTuple):
    """How full a limit is, as lengths of a bar: nominal, and what the heavy end adds."""

    nominal: float
    heavy: float
    is_over: bool
    text: str


class Shown(NamedTuple):
    """A whole answer.

    Attributes:
        heads: mark, verdict and models, best first.
        drawings: the bed by the id of an answer.
    """

    stock: str
    facts: str
    assumptions: tuple[str, ...]
    heads: tuple[tuple[str, Verdict | None, tuple[str, ...]], ...]
    cards: tuple[Card, ...]
    drawings: Mapping[str, Markup]
    cautions: tuple[str, ...]
    provenance: str
    status: str

    @staticmethod
    def bar(row: LimitRow) -> Bar:
        """Return a bar whose mark is the rated limit; text says what the bar shows."""
        if row.share is None:
            return Bar(0.0, 0.0, is_over=False, text="")
        most = max(row.heavy_share or 0.0, row.share)
        nominal = min(row.share * LIMIT, WIDE)
        return Bar(
            round(nominal, 1), round(min(most * LIMIT, WIDE) - nominal, 1),
            is_over=is_over(most), text=f"{row.percent} {row.over}".strip(),
        )  # fmt: skip


def shown(reply: Reply, system: System) -> Shown | None:
    """Return an answer, given now or kept; None where it was a question."""
    if not reply.verdicts:
        return None
    best, cards = reply.verdicts[0], tuple(card_of(item, system) for item in reply.verdicts)
    heads = tuple(
        (MARKS[verdict or ""], verdict, models)
        for verdict in OUTLOUD
        if (models := tuple(card.model for card in cards if card.verdict == verdict))
    )
    stock, told = stock_line(best.job, system), best.provenance
    said = "; ".join(f"{OUTLOUD[verdict]} {', '.join(models)}" for _, verdict, models in heads)
    return Shown(
        stock=stock,
        facts=stock_facts(best, system),
        assumptions=best.job.assumptions,
        heads=heads,
        cards=cards,
        drawings={
            answer.id: Markup(bed_drawing(answer, system))  # noqa: S704 - ours, and escaped
            for answer in reply.verdicts if _can_load(answer)
        },
        cautions=tuple(dict.fromkeys(text for card in cards for text in card.cautions)),
        provenance=f"{told.tool}; rules {short(told.rules)}; catalogue {short(told.catalogue)}",
        status=f"{stock}. {said}.",
    )  # fmt: skip


def _can_load(answer: Answer) -> bool:
    """Say whether the bed is shown: of a refused job it would read as leave to load it."""
    return answer.verdict != Verdict.REFUSED and answer.setup.is_planned
