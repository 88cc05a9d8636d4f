"""The answer on a terminal: verdict first, then the number that decides, then what to do."""

import math
import os
import sys
from collections.abc import Iterable, Sequence
from typing import Any

from rich.console import Console
from rich.text import Text

from ..catalogue.errors import Question
from ..engine.ask import Answer, Desk
from ..engine.fit_words import fit_sentences
from ..engine.severing import SENTENCES
from ..engine.verdict import MeasureValue, Verdict
from ..engine.wording import (
    System,
    levelling,
    percent,
    show,
    show_at_most,
    show_both,
    show_size,
    show_size_both,
)
from .rows import Cell, columns, paragraph

WORDS = {
    "in-range": "IN RANGE",
    "oversize-allowed-with-conditions": "ALLOWED WITH CONDITIONS",
    "refused": "REFUSED",
    "": "QUESTION OPEN",
}
STYLES = {
    "in-range": "bold green",
    "oversize-allowed-with-conditions": "bold yellow",
    "refused": "bold red",
    "": "bold magenta",
}
BAR = 10
WORTH_SHOWING = 0.5
"""Use of a limit from which a short answer shows it."""
WIDEST = 100


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
    answer: Answer, desk: Desk, system: System, *, is_traced: bool, is_full: bool
) -> None:
    """Print an answer, or the questions that stand before it."""
    out = console()
    if answer.questions:
        _print_questions(out, answer.questions)
        return
    writer = _Writer(out, desk, system, is_full=is_full)
    best, *others = answer.verdicts
    if others:
        writer.headlines(answer.verdicts)
        writer.stock(best)
        writer.summary(answer.verdicts)
        out.print()
    writer.headline(best)
    if not others:
        writer.stock(best)
    writer.verdict(best)
    if is_traced:
        writer.trace(best)
    writer.close(best)


def _print_questions(out: Console, questions: Sequence[Question]) -> None:
    head = Text(WORDS[""], style=STYLES[""])
    out.print(head.append(" no verdict until this is answered", "default"), soft_wrap=True)
    for question in questions:
        out.print()
        text = f"{question.text} [{question.code}]"
        out.print(paragraph(text, out.width), soft_wrap=True)
        for choice in question.choices:
            out.print(Text(f"  {choice}"))


class _Writer:
    def __init__(self, out: Console, desk: Desk, system: System, *, is_full: bool) -> None:
        self.out = out
        self.is_full = is_full
        self.desk = desk
        self.vocabulary = desk.rule_set.vocabulary
        self.styles = {gauge.name: gauge.style for gauge in desk.rule_set.gauges}
        self.system: System = system

    def show(self, value: float | None, unit: str, name: str = "") -> str:
        style = self.styles.get(name, "")
        return "" if value is None else show(value, unit, self.system, style, digits=4)

    def heavy(self, item: MeasureValue, name: str) -> str:
        """Return the heavy end of a measure; of a size, in the column of the unit."""
        if item.heavy is None or item.heavy_inches is None:
            return self.show(item.heavy, item.unit, name)
        return show_size(item.heavy, item.heavy_inches, self.system, is_printed=False)

    def longest(self, value: float | None) -> str:
        """Return a length found by search, rounded down."""
        return "no length" if value is None else show_at_most(value, self.system)

    def line(self, text: str | Text, indent: int = 2) -> None:
        """Print one wrapped paragraph."""
        plain, style = (text.plain, str(text.style)) if isinstance(text, Text) else (text, "")
        self.put(paragraph(plain, self.out.width, indent=indent, style=style))

    def wrap(self, text: Text) -> None:
        """Print a styled line, wrapped where it is too long."""
        for line in text.wrap(self.out, self.out.width):
            line.rstrip()
            self.put(line)

    def put(self, text: Text) -> None:
        """Print text that is wrapped already."""
        self.out.print(text, soft_wrap=True)

    def headlines(self, verdicts: Sequence[Verdict]) -> None:
        """Say in one line a verdict which models have it."""
        for name, words in WORDS.items():
            models = [item.machine.named for item in verdicts if item.verdict == name]
            if models:
                self.out.print(Text(words, STYLES[name]).append(f" {', '.join(models)}", "default"))

    def headline(self, verdict: Verdict) -> None:
        """Print the verdict of one model."""
        machine = verdict.machine
        head = Text(WORDS[verdict.verdict], style=STYLES[verdict.verdict])
        settings = _settings(verdict)
        if verdict.verdict == "in-range" and settings:
            head.append(f", {' and '.join(settings)} to be set", style="bold yellow")
        head.append(f"  {machine.code}", style="bold default")
        head.append(f"  {machine.title}, {machine.release}", style="not bold default")
        self.wrap(head)

    def stock(self, verdict: Verdict) -> None:
        """Say what was asked about, in numbers."""
        job, measures = verdict.job, verdict.measures
        section = job.section
        shown = section.printed(self.system)
        self.wrap(
            Text(f"{section.designation}, {self.both(job.length, 'mm')}, {job.grade.name}", "bold")
        )
        mass, inertia = measures["stock_mass"], measures["rotary_inertia"]
        self.line(
            Text(
                f"{shown}; {self.both(mass.value, 'kg')}, heavy end {self.show(mass.heavy, 'kg')}; "
                f"rotary inertia {self.show(inertia.value, 'kg*m^2')}, "
                f"heavy end {self.show(inertia.heavy, 'kg*m^2')}"
            ),
            0,
        )
        for assumption in job.assumptions:
            self.put(paragraph(assumption, self.out.width, mark="- ", style="dim"))

    def both(self, value: float | None, unit: str) -> str:
        return "" if value is None else show_both(value, unit, self.system)

    def summary(self, verdicts: Sequence[Verdict]) -> None:
        """Print one line a model."""
        rows: list[list[Cell]] = []
        for verdict in verdicts:
            fit = verdict.fit
            rows.append(
                [
                    verdict.machine.named,
                    Text(WORDS[verdict.verdict].lower(), style=STYLES[verdict.verdict]),
                    self.decision(verdict),
                    self.longest(fit.get("longest_in_range")) if fit else self.at_least(verdict),
                    self.longest(fit.get("longest_allowed")) if fit else self.at_least(verdict),
                ]
            )
        heads = ("model", "verdict", "decided by", "in range up to", "allowed up to")
        self.out.print()
        self.put(columns(rows, self.out.width, heads=heads))

    def at_least(self, verdict: Verdict) -> str:
        return f"{show_at_most(verdict.job.length, self.system)} or more"

    def title(self, name: str) -> str:
        return self.vocabulary.titles.get(name, name)

    def decision(self, verdict: Verdict) -> str:
        """Return in few words what decides."""
        measure = verdict.measures.get(verdict.governing)
        over = measure is not None and (measure.utilisation or 0) > 1
        if verdict.missing and verdict.decided_by == "NOT-FITTED":
            return f"needs {', '.join(verdict.missing)}"
        if verdict.verdict != "in-range" and not over:
            finding = next(item for item in verdict.findings if item.rule == verdict.decided_by)
            return finding.title.lower()
        used = "" if measure is None else f" {percent(measure.utilisation)}"
        return f"{self.title(verdict.governing)}{used}"

    def verdict(self, verdict: Verdict) -> None:
        """Print one verdict in full."""
        self.deciding(verdict)
        self.findings(verdict)
        self.limits(verdict)
        self.supports(verdict)
        self.to_do(verdict)
        self.fit(verdict)

    def deciding(self, verdict: Verdict) -> None:
        """Print the number that decides against its limit."""
        if verdict.decided_by == "NOT-FITTED":
            return  # the finding says it; a number without the accessory would mislead
        measure = verdict.measures.get(verdict.governing)
        if measure is None or measure.value is None:
            return
        name, unit = verdict.governing, measure.unit
        value = self.both(measure.value, unit)
        if measure.inches is not None:
            value = show_size_both(measure.value, measure.inches, self.system)
        if measure.rated is None:
            against = f"at least {self.show(measure.minimum, unit, name)}"
        else:
            against = f"rated {self.both(measure.rated, unit)}"
            if measure.absolute is not None:
                against += f", absolute {self.show(measure.absolute, unit, name)}"
        heavy = ""
        if measure.heavy is not None and measure.heavy != measure.value:
            shown = self.heavy(measure, name)
            heavy = f" (heavy end {shown})"
        used = percent(measure.utilisation)
        if (measure.heavy_utilisation or 0) > 1 >= (measure.utilisation or 0):
            used += f", {percent(measure.heavy_utilisation)} at the heavy end"
        self.line(f"Largest use of a limit: {self.title(name)} {value}{heavy}; {against}; {used}.")

    def findings(self, verdict: Verdict) -> None:
        """Print the rules that hold, worst first."""
        words = {"refused": "refused", "question": "asks", "conditions": "condition",
                 "setting": "setting"}  # fmt: skip
        order = list(words)
        rows: list[list[Cell]] = []
        for item in sorted(verdict.findings, key=lambda item: order.index(item.outcome)):
            style = {"refused": "red", "conditions": "yellow"}.get(item.outcome, "dim")
            rows.append([Text(words[item.outcome], style=style), Text(item.rule, "dim"), item.text])
        if rows:
            self.put(columns(rows, self.out.width, indent=2))

    def limits(self, verdict: Verdict) -> None:
        """Print how full each limit is."""
        rows: list[list[Cell]] = []
        left_out = 0
        for name, item in verdict.measures.items():
            if item.utilisation is None and item.rated is None:
                continue
            used = max(item.utilisation or 0.0, item.heavy_utilisation or 0.0)
            if not self.is_full and used < WORTH_SHOWING and name != verdict.governing:
                left_out += 1
                continue
            rated = self.show(item.rated, item.unit, name)
            if item.rated is None:
                rated = f"min {self.show(item.minimum, item.unit, name)}"
            heavy = item.heavy if item.heavy != item.value else None
            rows.append(
                [
                    self.title(name),
                    self.show(item.value, item.unit, name)
                    if item.value is None or item.inches is None
                    else show_size(item.value, item.inches, self.system),
                    "" if heavy is None else self.heavy(item, name),
                    rated,
                    self.show(item.absolute, item.unit, name),
                    _bar(item.utilisation, item.heavy_utilisation),
                ]
            )
        self.out.print()
        if rows:
            heads = ("limit", "this job", "heavy end", "rated", "absolute", "used")
            self.put(columns(rows, self.out.width, heads=heads, indent=2))
        if left_out:
            more = "more limits are" if left_out > 1 else "more limit is"
            self.line(f"{left_out} {more} less than half used (--full shows them).")

    def supports(self, verdict: Verdict) -> None:
        """Print where supports stand, what each carries, and what the parts do."""
        set_up = verdict.set_up
        if verdict.verdict == "refused" and not _only_accessories(verdict):
            # Numbers to set a machine by, beside a refusal, would be taken for leave to try.
            if not set_up.is_given:
                return
            self.out.print()
            self.line("To study the refusal only; this job must not be loaded.")
        self.out.print()
        if not set_up.standing:
            self.line("No support: the chuck alone carries the stock.")
        else:
            words = {
                "rated": "Supports, from the chuck face",
                "absolute": "Supports, from the chuck face (only within absolute limits)",
                "given": "Supports as given, from the chuck face",
                "none": "No plan satisfies the limits; spread evenly the supports would carry",
            }
            self.line(f"{words[set_up.level]}:")
            standing: list[list[Cell]] = [
                [
                    self.show(item.station, "mm"),
                    item.support.code,
                    "lifts off" if item.is_lifted else self.show(item.reaction, "N"),
                    "" if math.isnan(item.centre) else self.show(item.centre, "mm"),
                ]
                for item in set_up.standing
            ]
            heads = ("station", "support", "carries", "centre height")
            self.put(columns(standing, self.out.width, heads=heads, indent=4))
            if set_up.height_tolerance < math.inf:
                self.line(levelling(set_up.height_tolerance, self.system), 4)
        if not set_up.pieces:
            lengths = [
                f"{self.show(low, 'mm')} to {self.show(high, 'mm')}"
                for low, high in set_up.safe_parts
            ]
            if lengths:
                self.line(
                    "No parts were given (--part). A piece cut off the free end of the whole stock "
                    f"stays on its supports if it is {', or '.join(lengths)} long; "
                    "others tip or drop."
                )
            return
        self.line("Parts as they come free:")
        rows: list[list[Cell]] = []
        for piece, tabs in zip(set_up.pieces, set_up.tabs, strict=True):
            held = "" if piece.behaviour == "stays" else "nothing: support or sling it"
            if tabs is not None:
                held = f"{tabs.count} tabs of {self.show(tabs.width, 'mm')}"
            rows.append(
                [
                    self.show(piece.inner, "mm"),
                    self.show(piece.length, "mm"),
                    SENTENCES[piece.behaviour],
                    held,
                ]
            )
        heads = ("cut at", "length", "the part", "held by")
        self.put(columns(rows, self.out.width, heads=heads, indent=4))

    def to_do(self, verdict: Verdict) -> None:
        """Print what must be done as boxes to tick."""
        if not verdict.mitigations:
            return
        self.out.print()
        is_moot = verdict.verdict == "refused" and not _only_accessories(verdict)
        if is_moot:
            self.line("No setting lifts the refusal.")
            return
        head = "Once fitted, to do" if verdict.verdict == "refused" else "To do"
        self.line(f"{head}:")
        for item in verdict.mitigations:
            needs = f" (accessory {item.provided_by})" if item.provided_by else ""
            self.hanging("[ ] ", f"{item.text.removesuffix('.')}{needs}.")

    def hanging(self, mark: str, text: str) -> None:
        """Print a paragraph with a mark hanging before it."""
        self.put(paragraph(text, self.out.width, indent=2, mark=mark))

    def fit(self, verdict: Verdict) -> None:
        """Print what would make it fit."""
        sentences = fit_sentences(verdict, self.system)
        if sentences:
            self.out.print()
        for sentence in sentences:
            self.line(sentence)

    def trace(self, verdict: Verdict) -> None:
        """Print every measure with formula and inputs."""
        from ..engine.trace import trace

        self.out.print()
        self.line(Text("How each number came about", style="bold"), 0)
        for entry in trace(self.desk, verdict.job, verdict.machine):
            self.line(Text(f"{entry['name']} = {self.traced(entry)}", style="bold"))
            self.line(Text(f"{entry['formula']}  [{entry['source']}]"), 4)
            inputs = "; ".join(
                f"{name} {self.traced(item)}" for name, item in entry["inputs"].items()
            )
            self.line(Text(inputs, style="dim"), 4)

    def traced(self, entry: dict[str, Any]) -> str:
        if entry["value"] is None:
            return "not known"
        text = show(entry["value"], entry["unit"], self.system)
        heavy = entry.get("heavy")
        return (
            text if heavy is None else f"{text} (heavy {show(heavy, entry['unit'], self.system)})"
        )

    def close(self, verdict: Verdict) -> None:
        """Print what was not assessed, cautions and provenance."""
        self.out.print()
        words = [self.vocabulary.not_assessed[name] for name in verdict.not_assessed]
        if words:
            self.line(f"Not assessed, and not passed: {', '.join(words)}.", 0)
        self.out.print("Cautions:")
        for caution in verdict.cautions:
            self.hanging("! ", caution)
        provenance = verdict.provenance
        self.line(
            Text(
                f"Answer {verdict.id}; {provenance.tool}; rules {_short(provenance.rules)}; "
                f"catalogue {_short(provenance.catalogue)}; "
                f"{verdict.machine.code} {_short(verdict.machine.digest)}",
                style="dim",
            ),
            0,
        )


def _settings(verdict: Verdict) -> list[str]:
    """Return what the machine must be set to other than as delivered, in few words."""
    names = {"rapid_override": "rapid override", "acceleration": "acceleration",
             "jaw_force": "jaw force"}  # fmt: skip
    wanted = {name for item in verdict.mitigations for name in item.values}
    return [words for name, words in names.items() if name in wanted]


def _only_accessories(verdict: Verdict) -> bool:
    refusing = {item.rule for item in verdict.findings if item.outcome == "refused"}
    return refusing == {"NOT-FITTED"}


def _short(digest: str) -> str:
    return digest.removeprefix("sha256:")[:8]


def _bar(share: float | None, heavy: float | None) -> Text:
    """Return a bar whose full length is the rated limit, with the heavy end as a lighter tail."""
    if share is None:
        return Text("")
    full, part, empty = ("#", "+", ".") if is_plain() else ("█", "▒", "·")
    cells = min(round(share * BAR), BAR)
    tail = max(min(round((heavy or share) * BAR), BAR) - cells, 0)
    is_heavy = (heavy or 0.0) > 1 + 1e-9 >= share or share == 0
    bar = Text(f"{percent(heavy if is_heavy and heavy else share):>6} ")
    bar.append(full * cells + part * tail + empty * (BAR - cells - tail))
    if share > 1 + 1e-9 or (heavy or 0) > 1 + 1e-9:
        bar.append(" over" if share > 1 + 1e-9 else " heavy over")
    return bar


def print_rows(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Print a plain table."""
    out = console()
    out.print(columns([list(row) for row in rows], out.width, heads=heads), soft_wrap=True)
