"""An answer as a page tells it, made from its JSON, so that old answers look like new ones."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from markupsafe import Markup

from ...engine.ask import Desk
from ...engine.fit_words import fit_sentences
from ...engine.severing import SENTENCES
from ...engine.sheet import bed_drawing
from ...engine.verdict import Verdict, to_json
from ...engine.wording import (
    System,
    levelling,
    percent,
    show,
    show_at_most,
    show_both,
    show_size,
    show_size_both,
)
from .look import MARKS

OUTCOMES: Final = {
    "refused": "refused", "question": "asks", "conditions": "condition", "setting": "setting",
}  # fmt: skip
"""What findings are called, worst first."""
WORTH_SHOWING: Final = 0.5
"""Use of a limit from which it stands in the first table."""
WIDE: Final = 120.0
"""Width of a bar; the rated limit is at :data:`LIMIT`, and what is over stands beyond it."""
LIMIT: Final = 90.0


class Names(NamedTuple):
    """Words for the codes in an answer."""

    measures: Mapping[str, str]
    styles: Mapping[str, str]
    left_out: Mapping[str, str]
    machines: Mapping[str, str]
    supports: Mapping[str, str]
    accessories: Mapping[str, str]


def names_of(desk: Desk) -> Names:
    """Return the words of what is in force."""
    vocabulary = desk.rule_set.vocabulary
    machines = desk.catalogue.machines
    return Names(
        vocabulary.titles,
        {gauge.name: gauge.style for gauge in desk.rule_set.gauges},
        vocabulary.not_assessed,
        {code: model.title for code, model in machines.items()},
        {item.code: item.title for model in machines.values() for item in model.supports},
        vocabulary.accessories,
    )


class Finding(NamedTuple):
    """A rule that holds."""

    outcome: str
    words: str
    rule: str
    text: str


class Bar(NamedTuple):
    """How full a limit is, as lengths of a bar: nominal, and what the heavy end adds."""

    nominal: float
    heavy: float
    is_over: bool
    text: str


class LimitRow(NamedTuple):
    """One limit against this job."""

    title: str
    job: str
    heavy: str
    rated: str
    absolute: str
    bar: Bar
    is_decisive: bool
    is_close: bool


class SupportRow(NamedTuple):
    """A support to be set."""

    station: str
    kind: str
    carries: str
    centre: str


class PartRow(NamedTuple):
    """A part as it comes free."""

    cut: str
    length: str
    behaviour: str
    held: str


class Card(NamedTuple):
    """The verdict of one model."""

    id: str
    verdict: str
    mark: str
    model: str
    title: str
    revision: str
    digest: str
    settings: str
    decided: str
    decided_by: str
    in_range_up_to: str
    allowed_up_to: str
    sentence: str
    findings: tuple[Finding, ...]
    limits: tuple[LimitRow, ...]
    little: tuple[LimitRow, ...]
    supports: tuple[SupportRow, ...]
    support_note: str
    level_note: str
    parts: tuple[PartRow, ...]
    safe_parts: str
    boxes: tuple[str, ...]
    box_title: str
    fits: tuple[str, ...]
    wanted: tuple[str, ...]
    left_out: tuple[str, ...]
    drawing: Markup | None


class Shown(NamedTuple):
    """A whole answer.

    Attributes:
        heads: mark, verdict and models, best first.
    """

    stock: str
    facts: tuple[str, ...]
    assumptions: tuple[str, ...]
    heads: tuple[tuple[str, str, tuple[str, ...]], ...]
    cards: tuple[Card, ...]
    cautions: tuple[str, ...]
    provenance: str
    status: str


def shown(found: Sequence[Verdict], names: Names, system: System) -> Shown:
    """Return an answer that was given now, with what only now can be told: drawings."""
    items = [to_json(verdict) for verdict in found]
    cards: list[Card] = []
    for verdict, item in zip(found, items, strict=True):
        # A refused job is shown without its bed: stations would read as leave to load it.
        can_load = verdict.verdict != "refused" and verdict.set_up.level != "not-planned"
        drawing = Markup(bed_drawing(verdict, system)) if can_load else None  # noqa: S704 - ours
        fits = [line.partition(": --fitted")[0] for line in fit_sentences(verdict, system)]
        card = _Teller(item, names, system).card()
        title, over = verdict.machine.title, verdict.machine.overlay_revision
        revision = card.revision + (f", site revision {over}" if over else "")
        cards.append(card._replace(
            drawing=drawing, fits=tuple(_sentence(line) for line in fits), title=title,
            revision=revision, wanted=tuple(verdict.fit.get("accessories") or ()),
        ))  # fmt: skip
    return _whole(items, cards, system)


def shown_again(content: Mapping[str, Any], names: Names, system: System) -> Shown | None:
    """Return an answer that was kept; None where it was a question."""
    items: list[dict[str, Any]] = list(content["verdicts"])
    if not items:
        return None
    return _whole(items, [_Teller(item, names, system).card() for item in items], system)


def _whole(items: Sequence[Mapping[str, Any]], cards: Sequence[Card], system: System) -> Shown:
    best = items[0]
    job, measures = best["job"], best["measures"]
    heads = tuple(
        (mark, verdict, models)
        for verdict, mark in MARKS.items()
        if (models := tuple(card.model for card in cards if card.verdict == verdict))
    )
    stock = (
        f"{job['section']['designation']}, {show_both(job['stock_length'], 'mm', system)}, "
        f"{job['grade']}"
    )
    told = best["provenance"]
    return Shown(
        stock=stock,
        facts=tuple(_facts(job, measures, system)),
        assumptions=tuple(job.get("assumptions", ())),
        heads=heads,
        cards=tuple(cards),
        cautions=tuple(dict.fromkeys(text for item in items for text in item["cautions"])),
        provenance=f"{told['tool']}; rules {_short(told['rules'])}; "
        f"catalogue {_short(told['catalogue'])}",
        status=f"{stock}. "
        + "; ".join(f"{OUTLOUD[verdict]} {', '.join(models)}" for _, verdict, models in heads)
        + ".",
    )


OUTLOUD: Final = {
    "in-range": "In range on", "oversize-allowed-with-conditions": "Allowed with conditions on",
    "refused": "Refused on", "": "Question open on",
}  # fmt: skip
"""How verdicts begin in a sentence that is read out."""


def _facts(job: Mapping[str, Any], measures: Mapping[str, Any], system: System) -> list[str]:
    section = job["section"]
    names = ("outside_diameter", "height", "width", "wall")
    inches = section.get("inches", {})
    found = [" x ".join(show_size(section[name], inches.get(name), system)
                        for name in names if name in section)]  # fmt: skip
    for name, title, unit in (("stock_mass", "weighs", "kg"),
                              ("rotary_inertia", "rotary inertia", "kg*m^2")):  # fmt: skip
        if name not in measures:
            continue
        item = measures[name]
        text = f"{title} {show_both(item['value'], unit, system)}"
        if item.get("heavy") is not None:
            text += f", heavy end {show(item['heavy'], unit, system, digits=4)}"
        found.append(text)
    return found


def _short(digest: str) -> str:
    return digest.removeprefix("sha256:")[:8]


def _sentence(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


class _Teller:
    """Puts the verdict of one model into words."""

    def __init__(self, item: Mapping[str, Any], names: Names, system: System) -> None:
        self.item, self.names = item, names
        self.system: System = system
        self.measures: Mapping[str, Any] = item["measures"]
        self.setup: Mapping[str, Any] = item["setup"]
        self.verdict: str = item["verdict"] or ""
        self.refusing = {f["rule"] for f in item["findings"] if f["outcome"] == "refused"}

    def card(self) -> Card:
        item, machine = self.item, self.item["machine"]
        fit: Mapping[str, Any] = item["would_fit"]
        limits = self.limits()
        is_moot = self.verdict == "refused" and self.refusing != {"NOT-FITTED"}
        can_set = not is_moot and "supports" in self.setup
        boxes = () if is_moot else tuple(_sentence(box) for box in self.boxes())
        return Card(
            id=item["id"],
            verdict=self.verdict,
            mark=MARKS[self.verdict],
            model=machine["model"],
            title=self.names.machines.get(machine["model"], ""),
            revision=str(machine["revision"])
            + (f", site revision {over}" if (over := machine.get("overlay_revision")) else ""),
            digest=_short(machine["digest"]),
            settings=self.settings(),
            decided=self.decided(),
            decided_by=item["decided_by"] or "",
            in_range_up_to=self.longest(fit, "longest_in_range"),
            allowed_up_to=self.longest(fit, "longest_allowed"),
            sentence=self.sentence(),
            findings=tuple(self.findings()),
            limits=tuple(row for row, is_shown in limits if is_shown),
            little=tuple(row for row, is_shown in limits if not is_shown),
            supports=tuple(self.supports()) if can_set else (),
            support_note=self.support_note() if can_set else "",
            level_note=self.level_note() if can_set else "",
            parts=tuple(self.parts()) if can_set else (),
            safe_parts=self.safe_parts() if can_set else "",
            boxes=boxes,
            box_title="Once fitted, to do" if self.verdict == "refused" else "To do before turning",
            fits=(),
            wanted=tuple(fit.get("accessories") or ()),
            left_out=tuple(self.names.left_out.get(name, name) for name in item["not_assessed"]),
            drawing=None,
        )

    def show(self, value: float | None, unit: str, name: str = "") -> str:
        style = self.names.styles.get(name, "")
        return "" if value is None else show(value, unit, self.system, style, digits=4)

    def measured(self, item: Mapping[str, Any], end: str, name: str) -> str:
        """Return the ``value`` or ``heavy`` end of a measure; a size in the unit's own column."""
        inches = item.get("inches" if end == "value" else "heavy_inches")
        if inches is None:
            return self.show(item.get(end), item["unit"], name)
        return show_size(item[end], inches, self.system, is_printed=end == "value")

    def measure_title(self, name: str) -> str:
        return self.names.measures.get(name, name)

    def longest(self, fit: Mapping[str, Any], name: str) -> str:
        if not fit:
            return f"{show_at_most(self.item['job']['stock_length'], self.system)} or more"
        value = fit.get(name)
        return "no length" if value is None else show_at_most(value, self.system)

    def settings(self) -> str:
        """Return what must be set other than as delivered, where the verdict is in range."""
        words = {"rapid_override": "rapid override", "acceleration": "acceleration",
                 "jaw_force": "jaw force"}  # fmt: skip
        wanted = {name for item in self.item["mitigations"] for name in item["values"]}
        told = [text for name, text in words.items() if name in wanted]
        return f"{' and '.join(told)} to be set" if told and self.verdict == "in-range" else ""

    def decided(self) -> str:
        """Return in few words what decides."""
        measure = self.measures.get(self.item["governing"])
        used = None if measure is None else measure.get("utilisation")
        by = self.item["decided_by"]
        finding = next((f for f in self.item["findings"] if f["rule"] == by), None)
        if by == "NOT-FITTED":
            missing = [f["text"].split(":")[0] for f in self.item["findings"] if f["rule"] == by]
            return " and ".join(missing).lower()
        if self.verdict != "in-range" and (used or 0) <= 1 and finding is not None:
            title: str = finding["title"]
            return title.lower()
        return f"{self.measure_title(self.item['governing'])} {percent(used)}".strip()

    def sentence(self) -> str:
        """Return the number that decides against its limit."""
        name: str = self.item["governing"]
        measure = self.measures.get(name)
        if measure is None or self.item["decided_by"] == "NOT-FITTED":
            return ""  # the finding says it; a number without the accessory would mislead
        unit, value, heavy = measure["unit"], measure["value"], measure.get("heavy")
        rated = measure.get("rated")
        if rated is None:
            against = f"at least {self.show(measure.get('minimum'), unit, name)}"
        else:
            against = f"rated {show_both(rated, unit, self.system)}"
            if measure.get("absolute") is not None:
                against += f", absolute {self.show(measure['absolute'], unit, name)}"
        shown = show_both(value, unit, self.system)
        if measure.get("inches") is not None:
            shown = show_size_both(value, measure["inches"], self.system)
        told = f"{self.measure_title(name)} {shown}"
        if heavy is not None and heavy != value:
            told += f" (heavy end {self.measured(measure, 'heavy', name)})"
        used, most = measure.get("utilisation"), measure.get("heavy_utilisation") or 0.0
        full = percent(used)
        if most > 1 >= (used or 0):
            full += f", {percent(most)} at the heavy end"
        return f"Largest use of a limit: {told}; {against}; {full}."

    def findings(self) -> list[Finding]:
        order = list(OUTCOMES)
        found = sorted(self.item["findings"], key=lambda f: order.index(f["outcome"]))
        return [Finding(f["outcome"], OUTCOMES[f["outcome"]], f["rule"], f["text"]) for f in found]

    def limits(self) -> list[tuple[LimitRow, bool]]:
        rows: list[tuple[LimitRow, bool]] = []
        for name, item in self.measures.items():
            used = item.get("utilisation")
            if used is None and item.get("rated") is None:
                continue
            most = max(used or 0.0, item.get("heavy_utilisation") or 0.0)
            unit, heavy = item["unit"], item.get("heavy")
            is_decisive = name == self.item["governing"]
            rated = self.show(item.get("rated"), unit, name)
            row = LimitRow(
                title=self.measure_title(name),
                job=self.measured(item, "value", name),
                heavy="" if heavy == item["value"] else self.measured(item, "heavy", name),
                rated=rated or f"at least {self.show(item.get('minimum'), unit, name)}",
                absolute=self.show(item.get("absolute"), unit, name),
                bar=bar(used, item.get("heavy_utilisation")),
                is_decisive=is_decisive,
                is_close=name in self.item["close"],
            )
            rows.append((row, most >= WORTH_SHOWING or is_decisive))
        return rows

    def supports(self) -> list[SupportRow]:
        return [
            SupportRow(
                show_both(row["station"], "mm", self.system),
                self.names.supports.get(row["support"], row["support"]),
                "lifts off" if row["lifts_off"] else self.show(row["reaction"], "N"),
                "" if row["centre_height"] is None else self.show(row["centre_height"], "mm"),
            )
            for row in self.setup["supports"]
        ]

    def support_note(self) -> str:
        if not self.setup["supports"]:
            return "No support: the chuck alone carries the stock."
        return {
            "rated": "Positions from the chuck face.",
            "absolute": "Positions from the chuck face; only within absolute limits.",
            "given": "Positions from the chuck face, as given.",
            "none": "No plan satisfies the limits; spread evenly the supports would carry this.",
        }.get(self.setup["plan"], "")

    def level_note(self) -> str:
        tolerance = self.setup.get("height_tolerance")
        return levelling(math.inf if tolerance is None else tolerance, self.system)

    def parts(self) -> list[PartRow]:
        rows: list[PartRow] = []
        for part in self.setup["parts"]:
            tabs = part["tabs"]
            held = "" if part["behaviour"] == "stays" else "nothing: support or sling it"
            if tabs is not None:
                held = f"{tabs['count']} tabs of {self.show(tabs['width'], 'mm')}"
            rows.append(PartRow(self.show(part["cut"], "mm"), self.show(part["length"], "mm"),
                                SENTENCES[part["behaviour"]], held))  # fmt: skip
        return rows

    def safe_parts(self) -> str:
        lengths = [f"{self.show(low, 'mm')} to {self.show(high, 'mm')}"
                   for low, high in self.setup["safe_part_lengths"]]  # fmt: skip
        if self.setup["parts"] or not lengths:
            return ""
        return (
            "No parts were given. A piece cut off the free end of the whole stock stays on its "
            f"supports if it is {', or '.join(lengths)} long; others tip or drop."
        )

    def boxes(self) -> list[str]:
        return [
            item["text"] if not item["provided_by"]
            else f"{item['text'].removesuffix('.')} (accessory {item['provided_by']})"
            for item in self.item["mitigations"]
        ]  # fmt: skip


def bar(share: float | None, heavy: float | None) -> Bar:
    """Return a bar whose mark is the rated limit; text says what the bar shows."""
    if share is None:
        return Bar(0.0, 0.0, is_over=False, text="")
    most = max(heavy or 0.0, share)
    is_heavy = most > 1 + 1e-9 >= share or share == 0
    text = percent(most if is_heavy else share)
    if share > 1 + 1e-9:
        text += " over"
    elif most > 1 + 1e-9:
        text += " heavy over"
    nominal = min(share * LIMIT, WIDE)
    return Bar(round(nominal, 1), round(min(most * LIMIT, WIDE) - nominal, 1),
               is_over=most > 1 + 1e-9, text=text)  # fmt: skip
