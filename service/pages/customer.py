"""An answer as a sentence to a customer: no promise beyond the verdict, and every condition."""

from collections.abc import Sequence
from typing import Final

from ...engine.answer.document import Verdict
from ...engine.answer.words import Card
from .answer_view import Shown

_OPENINGS: Final = {
    Verdict.IN_RANGE: "It is within the range of {models} as delivered.",
    Verdict.CONDITIONS: "It can be cut on {models} only under these conditions:",
    Verdict.REFUSED: "It is refused on {models}.",
    None: "It cannot be judged on {models} before a question is answered.",
}


def customer_text(answer: Shown, date: str) -> str:
    """Return plain text that can be mailed as it stands."""
    lines = [f"You asked about {answer.stock}."]
    for card in answer.cards:
        where = f"the {card.model} ({card.title})" if card.title else f"the {card.model}"
        lines += ["", _OPENINGS[card.verdict].format(models=where)]
        lines += _details(card)
    if answer.assumptions:
        lines += ["", "This was taken for granted; tell us if it is not so:"]
        lines += [f"- {text}" for text in answer.assumptions]
    left_out = dict.fromkeys(
        text for card in answer.cards if card.verdict != Verdict.REFUSED for text in card.left_out
    )
    if left_out:
        lines += ["", f"Not assessed, and not passed: {', '.join(left_out)}."]
    lines += [
        "",
        f"This is engineering help from the limits in force on {date}, not a release and no "
        "offer: local codes, the builder's manual and the judgement of licensed people come "
        "before it.",
        f"Answer {', '.join(card.id for card in answer.cards)}; {answer.provenance}.",
    ]
    return "\n".join(lines)


def _details(card: Card) -> Sequence[str]:
    if card.verdict == Verdict.REFUSED:
        reasons = [item.text for item in card.findings if item.outcome == "refused"]
        return [f"- {text}" for text in dict.fromkeys(reasons)]
    if card.verdict == Verdict.IN_RANGE and card.boxes:
        return ["Ordinary set-up:", *(f"- {text}" for text in card.boxes)]
    return [f"- {text}" for text in card.boxes]
