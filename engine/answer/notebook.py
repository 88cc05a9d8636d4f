"""An answer as a notebook shows it: one line, or a small table."""

from collections.abc import Iterable
from html import escape
from typing import Final

from .document import Answer
from .words import VERDICT_WORDS, card_of, stock_facts, stock_line

MOST: Final = 400
"""Characters of a line at the most."""


def line_of(answer: Answer) -> str:
    """Return an answer in one line: verdict, model, stock, and what decides."""
    units = answer.units or "si"
    card = card_of(answer, units)
    text = (
        f"<Answer {answer.verdict or 'question open'}: {stock_line(answer.job, units)} on "
        f"{card.named}; {card.decided or 'nothing decides'}>"
    )
    return text if len(text) < MOST else f"{text[: MOST - 3]}…>"


def html_of(answer: Answer) -> str:
    """Return an answer as HTML: verdict, limits that are used, what must be done, cautions."""
    units = answer.units or "si"
    card = card_of(answer, units)
    rows = [
        (row.title, row.job, row.heavy, row.rated, row.absolute, row.percent)
        for row in card.limits
        if not row.is_little
    ]
    heads = ("limit", "this job", "heavy end", "rated", "absolute", "used")
    body = "".join(_row(row, "td") for row in rows)
    return (
        f"<div><p><strong>{escape(VERDICT_WORDS[answer.verdict])}</strong> {escape(card.named)}, "
        f"{escape(card.release)}<br>{escape(stock_line(answer.job, units))}<br>"
        f"{escape(stock_facts(answer, units))}</p><p>{escape(card.sentence)}</p>"
        f"{_items('To do', card.boxes)}{_items('Questions', card.questions)}"
        f"<table><thead>{_row(heads, 'th')}</thead><tbody>{body}</tbody></table>"
        f"<details><summary>{len(card.cautions)} cautions</summary>"
        f"{_items('', card.cautions)}</details><p><small>{escape(card.basis)}</small></p></div>"
    )


def _row(cells: Iterable[str], kind: str) -> str:
    return f"<tr>{''.join(f'<{kind}>{escape(cell)}</{kind}>' for cell in cells)}</tr>"


def _items(head: str, texts: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f"{escape(head)}<ul>{items}</ul>" if items else ""
