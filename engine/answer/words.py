"""An answer in words: the one presenter, of answers given now and of answers kept.

The terminal, pages, sheets and mails lay out what is said here. An answer of an earlier form has
no titles: there its codes stand for them. One file, however long: two presenters would differ.
"""

import math
from collections.abc import Sequence
from typing import Final, Literal, NamedTuple

from ..decision.deciding import NOT_FITTED
from ..decision.limit_check import is_over
from ..statics.part_release import SENTENCES
from ..tolerance import FULL
from .clamping_words import clamping_sentences
from .cure_words import cure_sentences
from .document import (
    Answer,
    Finding,
    Fit,
    JobAsked,
    Measure,
    Outcome,
    Part,
    SetUp,
    Step,
    Verdict,
)
from .plan_reason import held_by_steps
from .wording import (
    System,
    levelling,
    percent,
    show,
    show_at_most,
    show_both,
    show_longest,
    show_shortest,
    show_size,
    show_size_both,
    show_window,
)

VERDICT_WORDS: Final = {
    Verdict.IN_RANGE: "in range",
    Verdict.CONDITIONS: "allowed with conditions",
    Verdict.REFUSED: "refused",
    None: "question open",
}
WORDS_BY_NAME: Final = {str(verdict or ""): told for verdict, told in VERDICT_WORDS.items()}
"""The same by the name that tables hold; an open question has an empty one."""
OUTCOMES: Final[dict[Outcome, str]] = {
    "refused": "refused", "question": "asks", "conditions": "condition", "setting": "setting",
}  # fmt: skip
"""What findings are called, worst first."""
PLANS: Final = {
    "rated": "Supports, from the chuck face",
    "absolute": "Supports, from the chuck face (only within absolute limits)",
    "given": "Supports as given, from the chuck face",
    "none": "No plan satisfies the limits; spread evenly the supports would carry",
}
NO_SUPPORT: Final = "No support: the chuck alone carries the stock."
ALARMS: Final = {"rapid_override": "rapid override", "acceleration": "acceleration",
                 "jaw_force": "jaw force"}  # fmt: skip
"""Settings that are told beside the verdict where they are to be other than as delivered."""
SETTINGS: Final = {
    "rapid_override": ("rapid override", "1"),
    "acceleration": ("ramp acceleration", "rad/s^2"),
    "jaw_force": ("jaw force, each", "N"),
    "bow_to_refuse": ("refuse if bowed more than", "mm"),
}
WORTH_SHOWING: Final = 0.5
"""Use of a limit from which a short answer shows it."""
MODELS: Final = {
    "smallest_model_in_range": "in range", "smallest_model_allowed": "allowed with conditions",
}  # fmt: skip


class LimitRow(NamedTuple):
    """A limit against this job; ``percent`` and ``over`` tell its use."""

    title: str
    job: str
    heavy: str
    rated: str
    absolute: str
    share: float | None
    heavy_share: float | None
    percent: str
    over: str
    is_decisive: bool
    is_close: bool
    is_little: bool


class SupportRow(NamedTuple):
    """A support to be set."""

    station: str
    station_both: str
    code: str
    title: str
    carries: str
    centre: str


class PartRow(NamedTuple):
    """A part as it comes free."""

    cut: str
    length: str
    behaviour: str
    held: str


class Card(NamedTuple):
    """The answer of one model in words; what does not apply is empty.

    Attributes:
        named: the model, told apart from a released one where it is from a file.
        settings: what must be set other than as delivered, where it is in range.
        decided: in few words what decides; ``sentence`` is the number that decides.
        supports_head: what the table of supports is; instead of it, that there are none.
        study: why numbers stand beside a refusal.
        told_settings: what the machine is set to, name and value.
        boxes: what must be done; ``box_note`` why nothing is to be done for a refusal.
        wanted: accessories that would make it allowed.
    """

    id: str
    verdict: Verdict | None
    model: str
    named: str
    title: str
    release: str
    digest: str
    settings: str
    decided: str
    in_range_up_to: str
    allowed_up_to: str
    sentence: str
    findings: tuple[Finding, ...]
    limits: tuple[LimitRow, ...]
    supports_head: str
    supports: tuple[SupportRow, ...]
    level_note: str
    study: str
    told_settings: tuple[tuple[str, str], ...]
    parts: tuple[PartRow, ...]
    safe_parts: str
    boxes: tuple[str, ...]
    box_note: str
    fits: tuple[str, ...]
    wanted: tuple[str, ...]
    questions: tuple[str, ...]
    left_out: tuple[str, ...]
    cautions: tuple[str, ...]
    basis: str


def card_of(answer: Answer, system: System, *, has_options: bool = False) -> Card:
    """Return the answer of one model in words.

    Args:
        answer: the document.
        system: units of its numbers; its sentences have the units it was asked in.
        has_options: name the options of the command line that help on.
    """
    return _Teller(answer, system, has_options=has_options).card()


def stock_line(job: JobAsked, system: System) -> str:
    """Return what was asked about, in a line."""
    length = show_both(job.stock_length, "mm", system)
    return f"{job.section.designation}, {length}, {job.grade}"


def stock_facts(answer: Answer, system: System) -> str:
    """Return size, mass and rotary inertia of the stock, with the heavy end."""
    told = [section_size(answer.job, system)]
    mass, inertia = (answer.measures.get(name) for name in ("stock_mass", "rotary_inertia"))
    if mass is not None:
        told.append(show_both(mass.value, mass.unit, system) + _heavy(mass, system))
    if inertia is not None:
        value = show(inertia.value, inertia.unit, system, digits=4)
        told.append(f"rotary inertia {value}{_heavy(inertia, system)}")
    return "; ".join(told)


def _heavy(measure: Measure, system: System) -> str:
    if measure.heavy is None:
        return ""
    return f", heavy end {show(measure.heavy, measure.unit, system, digits=4)}"


def section_size(job: JobAsked, system: System) -> str:
    """Return outside and wall as they are printed in the unit asked for."""
    sizes, inches = job.section.sizes, job.section.inches
    printed = inches.sizes if inches else (None,) * len(sizes)
    return " x ".join(
        show_size(size, inch, system) for size, inch in zip(sizes, printed, strict=True)
    )


def is_moot(answer: Answer) -> bool:
    """Say whether it is refused for more than an accessory that is not fitted.

    Numbers to set a machine by, beside such a refusal, would be taken for leave to try.
    """
    refusing = {item.rule for item in answer.findings if item.outcome == "refused"}
    return answer.verdict == Verdict.REFUSED and refusing != {NOT_FITTED}


def boxes(answer: Answer) -> tuple[str, ...]:
    """Return what must be done as sentences; nothing where no setting lifts a refusal."""
    if is_moot(answer):
        return ()
    return tuple(
        f"{item.text.removesuffix('.')}"
        f"{f' (accessory {item.provided_by})' if item.provided_by else ''}."
        for item in answer.mitigations
    )


def told_settings(setup: SetUp, system: System) -> tuple[tuple[str, str], ...]:
    """Return what the machine is set to, name and value."""
    dial = jaw_dial(setup, system)
    return tuple(
        (
            SETTINGS[name][0],
            show(value, SETTINGS[name][1], system, "%", digits=4)
            + (f" ({dial})" if dial and name == "jaw_force" else ""),
        )
        for name, value in setup.settings.items()
    )


def jaw_dial(setup: SetUp, system: System) -> str:
    """Return what the operator sets for the jaw force, never more than it; empty if not stated."""
    value = setup.jaw_set_to
    if value is None or value <= 0:
        return ""
    if setup.jaw_set_by == "key-torque":
        return f"key torque {show(_three_digits(value), 'N*m', system, digits=3)}"
    told = value * BAR / PSI if system == "us" else value
    return f"pressure {_three_digits(told):g} {'psi' if system == 'us' else 'bar'}"


BAR: Final = 1e5
PSI: Final = 6894.757
"""Pa (pound-force and inch of 1959)."""


def _three_digits(value: float) -> float:
    """Return three digits of a number that is set at most, rounded down."""
    step = 10.0 ** (math.floor(math.log10(value)) - 2)
    return float(f"{math.floor(value / step * FULL) * step:.12g}")


def fit_sentences(answer: Answer, system: System, *, has_options: bool = False) -> tuple[str, ...]:
    """Return what would make it fit; empty where nothing was looked for."""
    fit, job = answer.would_fit, answer.job
    if fit is None:
        return ()
    apart = ", parts and stations aside" if job.parts or job.cuts or job.stations else ""
    if fit.longest_allowed is None:
        found = [f"No length of this section is allowed on this model as fitted{apart}."]
    else:
        found = [f"This section on this model{apart}: {_lengths(fit, system)}."]
    for key, words in MODELS.items():
        model = getattr(fit, key) or "none in the catalogue"
        found.append(f"Smallest model that has this job {words}: {model}.")
    cures = cure_sentences(answer.cures, job, system, has_options=has_options)
    found += (*cures, *clamping_sentences(answer.clampings, system))
    # Where cures were looked for, what is fitted is one of them.
    if fit.accessories and not cures:
        how = f": --fitted {' --fitted '.join(fit.accessories)}" if has_options else "."
        found.append(f"With {' and '.join(fit.accessories)} fitted it is allowed{how}")
    return tuple(found)


TURNING: Final = {
    "bow_held_down": "hold it down",
    "bow_all_carry": "it leaves supports in each turn",
    "bow_supports_hold": "stiff supports are overloaded",
}
"""Measures of bow, from the least on, and what stock does above each."""


def _lengths(fit: Fit, system: System) -> str:
    """Return the lengths that are in range and allowed, some of which are."""
    good, most = fit.lengths_in_range, fit.lengths_allowed
    if not most:
        # An answer of the first form knows the longest lengths only.
        longest = fit.longest_in_range
        within = "at no length" if longest is None else f"up to {show_at_most(longest, system)}"
        return (
            f"in range {within}, "
            f"allowed with conditions up to {show_at_most(fit.longest_allowed or 0.0, system)}"
        )
    told = " and ".join(show_window(window, system) for window in most)
    if not good:
        return f"in range at no length, allowed with conditions {told}"
    within = " and ".join(show_window(window, system) for window in good)
    if within == told:
        return f"in range {within}, and at no other length"
    if len(good) == len(most) == 1 and good[0][0] == most[0][0]:
        return (
            f"in range {within}, "
            f"allowed with conditions up to {show_at_most(most[0][1], system)}"
        )  # fmt: skip
    return f"in range {within}; allowed, in part with conditions, {told}"


def held_by(
    part: Part, system: System, steps: Sequence[Step] = (),
    nothing: str = "nothing: support or sling it",
) -> str:  # fmt: skip
    """Return what holds a part as it comes free; empty where it stays by itself."""
    if part.behaviour == "caught":
        return held_by_steps(steps, system) or "the bin"
    if part.tabs is not None:
        return f"{part.tabs.count} tabs of {show(part.tabs.width, 'mm', system, digits=4)}"
    return "" if part.behaviour == "stays" else nothing


def plan_head(setup: SetUp) -> str:
    """Return what the table of supports is, and in a few words why they stand so."""
    head, reason = PLANS[setup.plan], setup.plan_reason
    if not reason:
        return head
    return f"{head[:-1]}; {reason})" if head.endswith(")") else f"{head} ({reason})"


def steps_before(setup: SetUp, cut: int) -> tuple[Step, ...]:
    """Return what is done before a cut, 1 for the first."""
    return tuple(step for step in setup.steps if step.cut == cut)


def safe_lengths(setup: SetUp, system: System) -> tuple[str, ...]:
    """Return the lengths that stay when cut off the free end of the whole stock."""
    return tuple(
        f"{show(low, 'mm', system)} to {show(high, 'mm', system)}"
        for low, high in setup.safe_part_lengths
    )


def levelling_of(answer: Answer, system: System) -> str:
    """Say how well supports must be levelled, what more bow does, what kinds differ by in height.

    Empty where none is sensitive, and all that carry are alike.
    """
    tolerance = answer.setup.height_tolerance
    level = levelling(math.inf if tolerance is None else tolerance, system)
    told = (level, turning_of(answer, system), shim_of(answer.setup, system))
    return " ".join(filter(None, told))


def turning_of(answer: Answer, system: System) -> str:
    """Say what stock does on its supports above which bow, where this answer takes more."""
    setup = answer.setup
    counted = setup.bow_to_refuse if answer.job.bow is None else answer.job.bow
    found: list[str] = []
    for name, what in TURNING.items():
        measure = answer.measures.get(name)
        bow = None if measure is None else measure.value
        if bow is not None and counted is not None and bow < counted:
            mark = "" if found else ":"
            found.append(f"above {show(bow, 'mm', system, digits=2)}{mark} {what}")
    return f"Bow {'; '.join(found)}." if found else ""


def shim_of(setup: SetUp, system: System) -> str:
    """Return by how much kinds that carry one straight piece must be shimmed to each other."""
    heights = {
        item.support: item.centre_height
        for item in setup.supports
        if item.role != "catches" and item.centre_height is not None
    }
    highest = max(heights, key=lambda code: heights[code], default="")
    told = [
        f"{show(heights[highest] - height, 'mm', system, digits=4)} under each {code}"
        for code, height in heights.items()
        if heights[highest] - height > 0.05
    ]
    return f"Shim to the height of the {highest}: {', '.join(told)}." if told else ""


def use_of(share: float | None, heavy: float | None) -> tuple[str, str]:
    """Return how full a limit is, and whether it is over; of the heavy end where that decides."""
    if share is None:
        return "", ""
    most = max(heavy or 0.0, share)
    told = percent(most if most > FULL >= share or share == 0 else share)
    if is_over(share):
        return told, "over"
    return told, "heavy over" if is_over(most) else ""


def basis_line(answer: Answer) -> str:
    """Return what the answer rests on, in a line."""
    told, machine = answer.provenance, answer.machine
    return (
        f"Answer {answer.id}; {told.tool}; rules {short(told.rules)}; "
        f"catalogue {short(told.catalogue)}; {machine.model} {short(machine.digest)}"
    )


def short(digest: str) -> str:
    """Return a digest as it is shown to people."""
    return digest.removeprefix("sha256:")[:8]


def title_of(name: str, measure: Measure | None = None) -> str:
    """Return a measure in words."""
    return (measure.title if measure else None) or name.replace("_", " ")


class _Teller:
    """Puts the answer of one model into words."""

    def __init__(self, answer: Answer, system: System, *, has_options: bool) -> None:
        self.answer, self.setup, self.measures = answer, answer.setup, answer.measures
        self.system: System = system
        self.has_options = has_options

    def card(self) -> Card:
        answer, machine, setup = self.answer, self.answer.machine, self.setup
        moot = is_moot(answer)
        can_see = setup.is_planned and (not moot or setup.plan == "given")
        return Card(
            id=answer.id,
            verdict=answer.verdict,
            model=machine.model,
            named=machine.named,
            title=machine.title or "",
            release=machine.release,
            digest=short(machine.digest),
            settings=self.alarms(),
            decided=self.decided(),
            in_range_up_to=self.longest("longest_in_range"),
            allowed_up_to=self.longest("longest_allowed"),
            sentence=self.sentence(),
            findings=tuple(
                sorted(answer.findings, key=lambda item: list(OUTCOMES).index(item.outcome))
            ),
            limits=tuple(self.limits()),
            supports_head=self.supports_head() if can_see else "",
            supports=tuple(self.supports()) if can_see else (),
            level_note=levelling_of(answer, self.system) if can_see and setup.supports else "",
            study="To study the refusal only; this job must not be loaded."
            if moot and can_see else "",
            told_settings=told_settings(setup, self.system) if can_see and not moot else (),
            parts=tuple(self.parts()) if can_see else (),
            safe_parts=self.safe_parts() if can_see else "",
            boxes=boxes(answer),
            box_note="No setting lifts the refusal." if moot and answer.mitigations else "",
            fits=fit_sentences(answer, self.system, has_options=self.has_options),
            wanted=(answer.would_fit and answer.would_fit.accessories) or (),
            questions=tuple(f"{item.text} {' | '.join(item.choices)}" for item in answer.questions),
            left_out=answer.left_out or tuple(
                name.replace("_", " ") for name in answer.not_assessed
            ),
            cautions=answer.cautions,
            basis=basis_line(answer),
        )  # fmt: skip

    def show(self, value: float | None, unit: str, style: str | None = None) -> str:
        return "" if value is None else show(value, unit, self.system, style or "", digits=4)

    def size(self, measure: Measure, end: Literal["value", "heavy"]) -> str:
        """Return an end of a measure; of a size of stock, in the column of the unit."""
        inches = measure.inches if end == "value" else measure.heavy_inches
        value = measure.value if end == "value" else measure.heavy
        if inches is None or value is None:
            return self.of_measure(value, measure)
        return show_size(value, inches, self.system, is_printed=end == "value")

    def of_measure(self, value: float | None, measure: Measure) -> str:
        return self.show(value, measure.unit, measure.style)

    def both(self, value: float, unit: str) -> str:
        return show_both(value, unit, self.system)

    def alarms(self) -> str:
        """Return what must be set other than as delivered, where the verdict is in range."""
        wanted = {name for item in self.answer.mitigations for name in item.values}
        told = [words for name, words in ALARMS.items() if name in wanted]
        is_told = told and self.answer.verdict == Verdict.IN_RANGE
        return f"{' and '.join(told)} to be set" if is_told else ""

    def longest(self, name: str) -> str:
        fit: Fit | None = self.answer.would_fit
        if fit is None:
            if self.answer.verdict is None:
                return ""
            return f"{show_at_most(self.answer.job.stock_length, self.system)} or more"
        value: float | None = getattr(fit, name)
        if value is None:
            return "no length"
        windows = fit.lengths_in_range if name == "longest_in_range" else fit.lengths_allowed
        if not windows:
            return show_at_most(value, self.system)
        told = show_longest((windows[-1][0], value), self.system)
        if self.answer.job.stock_length < windows[0][0]:
            told += f", from {show_shortest(windows[0], self.system)}"
        return told

    def decided(self) -> str:
        answer = self.answer
        measure = self.measures.get(answer.governing)
        finding = next((f for f in answer.findings if f.rule == answer.decided_by), None)
        if answer.decided_by == NOT_FITTED and finding is not None:
            # An answer of the first form has the accessories in its sentence only.
            lacking = ", ".join(answer.missing)
            return f"needs {lacking}" if lacking else finding.text.partition(":")[0].lower()
        is_full = measure is not None and is_over(measure.utilisation)
        if answer.verdict != Verdict.IN_RANGE and not is_full and finding is not None:
            return finding.title.lower()
        used = "" if measure is None else f" {percent(measure.utilisation)}"
        return f"{title_of(answer.governing, measure)}{used}"

    def sentence(self) -> str:
        """Return the number that decides against its limit."""
        name = self.answer.governing
        item = self.measures.get(name)
        if item is None or self.answer.decided_by == NOT_FITTED:
            return ""  # the finding says it; a number without the accessory would mislead
        if item.rated is None:
            against = f"at least {self.of_measure(item.minimum, item)}"
        else:
            against = f"rated {self.both(item.rated, item.unit)}"
            if item.absolute is not None:
                against += f", absolute {self.of_measure(item.absolute, item)}"
        heavy = ""
        if item.heavy is not None and item.heavy != item.value:
            heavy = f" (heavy end {self.size(item, 'heavy')})"
        used = percent(item.utilisation)
        if is_over(item.heavy_utilisation) and not is_over(item.utilisation):
            used += f", {percent(item.heavy_utilisation)} at the heavy end"
        value = self.both(item.value, item.unit)
        if item.inches is not None:
            value = show_size_both(item.value, item.inches, self.system)
        return f"Largest use of a limit: {title_of(name, item)} {value}{heavy}; {against}; {used}."

    def limits(self) -> list[LimitRow]:
        rows: list[LimitRow] = []
        for name, item in self.measures.items():
            share, heavy_share = item.utilisation, item.heavy_utilisation
            if share is None and item.rated is None:
                continue
            used, over = use_of(share, heavy_share)
            is_decisive = name == self.answer.governing
            rated = self.of_measure(item.rated, item)
            rows.append(LimitRow(
                title=title_of(name, item),
                job=self.size(item, "value"),
                heavy="" if item.heavy == item.value else self.size(item, "heavy"),
                rated=rated or f"min {self.of_measure(item.minimum, item)}",
                absolute=self.of_measure(item.absolute, item),
                share=share, heavy_share=heavy_share, percent=used, over=over,
                is_decisive=is_decisive,
                is_close=name in self.answer.close,
                is_little=max(share or 0.0, heavy_share or 0.0) < WORTH_SHOWING
                and not is_decisive,
            ))  # fmt: skip
        return rows

    def supports_head(self) -> str:
        return plan_head(self.setup) if self.setup.supports else NO_SUPPORT

    def supports(self) -> list[SupportRow]:
        return [
            SupportRow(
                station=self.show(item.station, "mm"),
                station_both=self.both(item.station, "mm"),
                code=item.support,
                title=item.title or item.support,
                carries="lifts off"
                if item.lifts_off
                else "catches " * (item.role == "catches") + self.show(item.reaction, "N"),
                centre=self.show(item.centre_height, "mm"),
            )
            for item in self.setup.supports
        ]

    def parts(self) -> list[PartRow]:
        return [
            PartRow(self.show(part.cut, "mm"), self.show(part.length, "mm"),
                    SENTENCES[part.behaviour],
                    held_by(part, self.system, steps_before(self.setup, number)))
            for number, part in enumerate(self.setup.parts, start=1)
        ]  # fmt: skip

    def safe_parts(self) -> str:
        lengths = safe_lengths(self.setup, self.system)
        if self.setup.parts or not lengths:
            return ""
        hint = " (--part)" if self.has_options else ""
        return (
            f"No parts were given{hint}. A piece cut off the free end of the whole stock stays on "
            f"its supports if it is {', or '.join(lengths)} long; others tip or drop."
        )
