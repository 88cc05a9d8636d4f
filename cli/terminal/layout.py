"""The answer on a terminal: verdict first, then the number that decides, then what to do."""

import os
import sys
from collections.abc import Iterable, Sequence
from typing import Final

from rich.console import Console
from rich.text import Text

from ...engine.answer.document import Answer, Question, Reply, Traced, TracedNumber, Verdict
from ...engine.answer.wording import System, show
from ...engine.answer.words import (
    OUTCOMES,
    VERDICT_WORDS,
    Card,
    LimitRow,
    card_of,
    stock_facts,
    stock_line,
)
from .rows import Cell, columns, paragraph

STYLES: Final = {
    Verdict.IN_RANGE: "bold green",
    Verdict.CONDITIONS: "bold yellow",
    Verdict.REFUSED: "bold red",
    None: "bold magenta",
}
BAR: Final = 10
WIDEST: Final = 100


def console() -> Console:
    """Return a console on stdout that wraps at a readable width."""
    out = Console(highlight=False, emoji=False)
    is_told = out.is_terminal or "COLUMNS" in os.environ
    if out.width > WIDEST or not is_told:
        out = Console(highlight=False, emoji=False, width=WIDEST)
    return out


def is_plain() -> bool:
    """Say whether the output cannot show block characters."""
    return "utf" not in (sys.stdout.encoding or "").casefold()


def print_answer(
    reply: Reply, system: System, *, is_full: bool = False, is_every: bool = False
) -> None:
    """Print an answer, or the questions that stand before it.

    Args:
        reply: given now, or kept.
        system: units of its numbers.
        is_full: show every limit, however little used.
        is_every: tell every model in full, not only the best.
    """
    out = console()
    if reply.questions:
        _print_questions(out, reply.questions)
    if not reply.verdicts:
        return
    cards = [card_of(answer, system, has_options=True) for answer in reply.verdicts]
    writer = _Writer(out, is_full=is_full)
    best = cards[0]
    if len(cards) > 1:
        writer.headlines(cards)
        writer.stock(reply.verdicts[0], system)
        writer.summary(cards)
        out.print()
    writer.headline(best)
    if len(cards) == 1:
        writer.stock(reply.verdicts[0], system)
    told: set[str] = set()
    for place, (card, answer) in enumerate(zip(cards, reply.verdicts, strict=True)):
        if place and not is_every:
            break
        if place:
            out.print()
            writer.headline(card)
        writer.verdict(card)
        if answer.chance is not None:
            writer.chance(answer)
        if answer.trace:
            writer.trace(answer.trace, system)
        writer.close(card, [text for text in card.cautions if text not in told])
        told |= {*card.cautions}


def _print_questions(out: Console, questions: Sequence[Question]) -> None:
    head = Text(VERDICT_WORDS[None].upper(), style=STYLES[None])
    out.print(head.append(" no verdict until this is answered", "default"), soft_wrap=True)
    for question in questions:
        out.print()
        text = f"{question.text} [{question.code}]"
        out.print(paragraph(text, out.width), soft_wrap=True)
        for choice in question.choices:
            out.print(Text(f"  {choice}"))


class _Writer:
    def __init__(self, out: Console, *, is_full: bool) -> None:
        self.out, self.is_full = out, is_full

    def line(self, text: str, indent: int = 2, *, mark: str = "", style: str = "") -> None:
        """Print one wrapped paragraph; a mark hangs before it."""
        self.put(paragraph(text, self.out.width, indent=indent, mark=mark, style=style))

    def wrap(self, text: Text) -> None:
        """Print a styled line, wrapped where it is too long."""
        for line in text.wrap(self.out, self.out.width):
            line.rstrip()
            self.put(line)

    def put(self, text: Text) -> None:
        """Print text that is wrapped already."""
        self.out.print(text, soft_wrap=True)

    def table(self, rows: Sequence[Sequence[Cell]], heads: Sequence[str], indent: int = 0) -> None:
        """Print aligned columns."""
        self.put(columns(rows, self.out.width, heads=heads, indent=indent))

    def headlines(self, cards: Sequence[Card]) -> None:
        """Say in one line a verdict which models have it."""
        for verdict, words in VERDICT_WORDS.items():
            models = [card.named for card in cards if card.verdict == verdict]
            if models:
                head = Text(words.upper(), STYLES[verdict])
                self.out.print(head.append(f" {', '.join(models)}", "default"))

    def headline(self, card: Card) -> None:
        """Print the verdict of one model."""
        head = Text(VERDICT_WORDS[card.verdict].upper(), style=STYLES[card.verdict])
        if card.settings:
            head.append(f", {card.settings}", style="bold yellow")
        head.append(f"  {card.model}", style="bold default")
        title = f"{card.title}, " if card.title else ""
        head.append(f"  {title}{card.release}", style="not bold default")
        self.wrap(head)

    def stock(self, answer: Answer, system: System) -> None:
        """Say what was asked about, in numbers."""
        self.wrap(Text(stock_line(answer.job, system), "bold"))
        self.line(stock_facts(answer, system), 0)
        for assumption in answer.job.assumptions:
            self.line(assumption, 0, mark="- ", style="dim")

    def summary(self, cards: Sequence[Card]) -> None:
        """Print one line a model."""
        rows: list[list[Cell]] = [
            [
                card.named,
                Text(VERDICT_WORDS[card.verdict], style=STYLES[card.verdict]),
                card.decided,
                card.in_range_up_to,
                card.allowed_up_to,
            ]
            for card in cards
        ]
        self.out.print()
        self.table(rows, ("model", "verdict", "decided by", "in range up to", "allowed up to"))

    def verdict(self, card: Card) -> None:
        """Print one verdict in full, below its head."""
        if card.sentence:
            self.line(card.sentence)
        self.findings(card)
        for question in card.questions:
            self.line(f"Question open: {question}")
        self.limits(card)
        self.supports(card)
        self.to_do(card)
        if card.fits:
            self.out.print()
        for sentence in card.fits:
            self.line(sentence)

    def findings(self, card: Card) -> None:
        """Print the rules that hold, worst first."""
        rows: list[list[Cell]] = []
        for item in card.findings:
            style = {"refused": "red", "conditions": "yellow"}.get(item.outcome, "dim")
            rows.append(
                [Text(OUTCOMES[item.outcome], style=style), Text(item.rule, "dim"), item.text]
            )
        if rows:
            self.table(rows, (), 2)

    def limits(self, card: Card) -> None:
        """Print how full each limit is."""
        shown = [row for row in card.limits if self.is_full or not row.is_little]
        left_out = len(card.limits) - len(shown)
        rows: list[list[Cell]] = [
            [row.title, row.job, row.heavy, row.rated, row.absolute, _bar(row)] for row in shown
        ]
        self.out.print()
        if rows:
            self.table(rows, ("limit", "this job", "heavy end", "rated", "absolute", "used"), 2)
        if left_out:
            more = "more limits are" if left_out > 1 else "more limit is"
            self.line(f"{left_out} {more} less than half used (--full shows them).")

    def supports(self, card: Card) -> None:
        """Print where supports stand, what each carries, what is set, and what the parts do."""
        if not card.supports_head:
            return
        self.out.print()
        if card.study:
            self.line(card.study)
            self.out.print()
        self.line(card.supports_head if not card.supports else f"{card.supports_head}:")
        if card.supports:
            rows = [[row.station, row.code, row.carries, row.centre] for row in card.supports]
            self.table(rows, ("station", "support", "carries", "centre height"), 4)
        if card.level_note:
            self.line(card.level_note, 4)
        if card.told_settings:
            told = "; ".join(f"{name} {value}" for name, value in card.told_settings)
            self.line(f"Settings: {told}.")
        if card.safe_parts:
            self.line(card.safe_parts)
        if card.parts:
            self.line("Parts as they come free:")
            self.table(card.parts, ("cut at", "length", "the part", "held by"), 4)

    def to_do(self, card: Card) -> None:
        """Print what must be done as boxes to tick."""
        if not card.boxes and not card.box_note:
            return
        self.out.print()
        if card.box_note:
            self.line(card.box_note)
            return
        self.line("Once fitted, to do:" if card.verdict == Verdict.REFUSED else "To do:")
        for text in card.boxes:
            self.line(text, mark="[ ] ")

    def chance(self, answer: Answer) -> None:
        """Print how likely delivered stock is over a limit, where it was asked for."""
        from ...engine.answer.chance import told_of

        told = told_of(answer)
        if told is None:
            return
        self.out.print()
        self.line(told.head)
        if told.rows:
            of_lot = any(row.lot_rated or row.lot_absolute for row in told.rows)
            heads = ["limit", "over rated", "over absolute"]
            heads += ["any of lot over rated", "over absolute"] * of_lot
            rows = [list(row if of_lot else row[:3]) for row in told.rows]
            self.table(rows, heads, 4)
        if told.note:
            self.line(told.note, 4)

    def trace(self, entries: Sequence[Traced], system: System) -> None:
        """Print every measure with formula and inputs."""
        self.out.print()
        self.line("How each number came about", 0, style="bold")
        for entry in entries:
            self.line(f"{entry.name} = {_traced(entry, system)}", style="bold")
            self.line(f"{entry.formula}  [{entry.source}]", 4)
            inputs = "; ".join(
                f"{name} {_traced(item, system)}" for name, item in entry.inputs.items()
            )
            self.line(inputs, 4, style="dim")

    def close(self, card: Card, cautions: Sequence[str]) -> None:
        """Print what was not assessed, cautions and provenance."""
        self.out.print()
        if card.left_out:
            self.line(f"Not assessed, and not passed: {', '.join(card.left_out)}.", 0)
        if cautions:
            self.out.print("Cautions:")
        for caution in cautions:
            self.line(caution, mark="! ")
        self.line(card.basis, 0, style="dim")


def _traced(entry: Traced | TracedNumber, system: System) -> str:
    if entry.value is None:
        return "not known"
    text = show(entry.value, entry.unit, system)
    if entry.heavy is None:
        return text
    return f"{text} (heavy {show(entry.heavy, entry.unit, system)})"


def _bar(row: LimitRow) -> Text:
    """Return a bar whose full length is the rated limit, with the heavy end as a lighter tail."""
    if row.share is None:
        return Text("")
    full, part, empty = ("#", "+", ".") if is_plain() else ("█", "▒", "·")
    cells = min(round(row.share * BAR), BAR)
    tail = max(min(round((row.heavy_share or row.share) * BAR), BAR) - cells, 0)
    bar = Text(f"{row.percent:>6} ")
    bar.append(full * cells + part * tail + empty * (BAR - cells - tail))
    return bar.append(f" {row.over}") if row.over else bar


def print_rows(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Print a plain table."""
    out = console()
    out.print(columns([list(row) for row in rows], out.width, heads=heads), soft_wrap=True)
