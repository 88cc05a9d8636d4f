"""What stands on the sheet: texts and numbers, ready to be set, in no layout yet."""

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

from ..answer.document import Answer, JobAsked, Measure, Part, SetUp, Verdict
from ..answer.plan_reason import step_lines
from ..answer.wording import System, show
from ..answer.words import (
    NO_SUPPORT,
    fit_sentences,
    held_by,
    jaw_dial,
    levelling_of,
    plan_head,
    safe_lengths,
    section_size,
    short,
)
from ..statics.part_release import SENTENCES

HEADLINES: Final = {
    Verdict.IN_RANGE: "In range",
    Verdict.CONDITIONS: "Allowed with conditions",
    Verdict.REFUSED: "Refused: do not load",
    None: "Question open: do not load",
}
MEASURED: Final = (
    "Outside measured", "Wall measured", "Bow measured", "Mass weighed", "Heat or tag",
)  # fmt: skip
SIGNED: Final = ("Set up by", "Checked by", "Date")
MOST_ROWS: Final = 12


MARKS: Final[Mapping[Verdict | None, str]] = {
    Verdict.IN_RANGE: "#1c6b3a", Verdict.REFUSED: "#a3261b",
}  # fmt: skip
"""The colour of a verdict; all others have that of conditions."""


class Both(NamedTuple):
    """A quantity in the shop's units, and in the other ones."""

    shop: str
    other: str


class Figure(NamedTuple):
    """One big number with what it is."""

    title: str
    value: Both


class SupportRow(NamedTuple):
    """One support to be set."""

    number: str
    station: Both
    kind: str
    centre: Both
    carries: Both


class PartRow(NamedTuple):
    """One part, or several alike, as they come free."""

    cuts: str
    how_many: str
    length: Both
    behaviour: str
    held: str


class Content(NamedTuple):
    """Everything on the sheet."""

    headline: str
    verdict: Verdict | None
    model: str
    stock: str
    subtitle: str
    figures: tuple[Figure, ...]
    supports: tuple[SupportRow, ...]
    support_note: str
    parts: tuple[PartRow, ...]
    sequence: tuple[str, ...]
    between: tuple[str, ...]
    reasons: tuple[str, ...]
    fits: tuple[str, ...]
    boxes: tuple[str, ...]
    cautions: tuple[str, ...]
    fields: tuple[str, ...]
    provenance: str

    @property
    def mark(self) -> str:
        """The colour of the verdict."""
        return MARKS.get(self.verdict, "#8a5a00")

    @property
    def has_centres(self) -> bool:
        """Say whether any support is set by the height of a centre: flat rests are not."""
        return any(row.centre.shop for row in self.supports)


def both(value: float, unit: str, system: System, *, digits: int = 4) -> Both:
    """Return a quantity in both systems; ``other`` is empty where they read the same."""
    second: System = "us" if system == "si" else "si"
    shop, other = (show(value, unit, which, digits=digits) for which in (system, second))
    return Both(shop, "" if other == shop else other)


def content_of(answer: Answer, system: System) -> Content:
    """Return what stands on the sheet of an answer."""
    job, machine, setup, told = answer.job, answer.machine, answer.setup, answer.provenance
    reasons = [item.text for item in answer.findings if item.outcome != "setting"]
    is_refused = answer.verdict == Verdict.REFUSED
    content = Content(
        headline=HEADLINES[answer.verdict],
        verdict=answer.verdict,
        model=", ".join(filter(None, (machine.model, machine.title, machine.release))),
        stock=f"{job.section.designation}, {show(job.stock_length, 'mm', system)}, {job.grade}",
        subtitle=_subtitle(job, answer.measures["stock_mass"], system),
        figures=() if is_refused else tuple(_figures(answer, system)),
        supports=tuple(_supports(setup, system)),
        support_note=_support_note(answer, system),
        parts=tuple(_parts(setup.parts, system)),
        sequence=() if is_refused else tuple(_sequence(job, setup, system)),
        between=() if is_refused else _between(setup, system),
        reasons=tuple(dict.fromkeys(reasons)),
        fits=(),
        boxes=tuple(item.text for item in answer.mitigations),
        cautions=answer.cautions,
        fields=(*MEASURED, *SIGNED),
        provenance=(
            f"Answer {answer.id}; {told.tool}; rules {short(told.rules)}; "
            f"catalogue {short(told.catalogue)}; "
            f"{machine.model} {machine.release} {short(machine.digest)}"
        ),
    )  # fmt: skip
    if not is_refused:
        return content
    # A page that gives settings for a refused job, or fields to sign that it is set up, would be
    # taken for leave to load it. What is measured may be filled in, to ask again with.
    return content._replace(
        supports=(), parts=(), boxes=(),
        fits=fit_sentences(answer, system, has_options=True), fields=MEASURED,
        support_note="No settings and no stations are given: this job must not be loaded.",
    )  # fmt: skip


def _subtitle(job: JobAsked, mass: Measure, system: System) -> str:
    second: System = "us" if system == "si" else "si"
    texts = [section_size(job, which) for which in (system, second)]
    return f"{texts[0]} ({texts[1]}); weighs up to {_up_to(mass, system).shop}"


def _up_to(mass: Measure, system: System) -> Both:
    """Return the mass at the heavy end, which lifting gear must hold."""
    return both(mass.value if mass.heavy is None else mass.heavy, mass.unit, system)


def _figures(answer: Answer, system: System) -> list[Figure]:
    setup, section = answer.setup, answer.job.section
    found: list[Figure] = []
    told = setup.settings
    if "rapid_override" in told:
        found.append(Figure("Rapid override", Both(f"{told['rapid_override'] * 100:.0f} %", "")))
    if "acceleration" in told:
        found.append(Figure("Ramp acceleration", both(told["acceleration"], "rad/s^2", system)))
    if "jaw_force" in told:
        found.append(Figure("Jaw force, each", both(told["jaw_force"], "N", system)))
    if dial := jaw_dial(setup, system):
        what, _, number = dial.rpartition(" ")[0].rpartition(" ")
        found.append(Figure(f"Jaw {what}", Both(f"{number} {dial.rpartition(' ')[2]}", "")))
    centres = {item.centre_height for item in setup.supports} - {None}
    if len(centres) == 1:
        found.append(Figure("Centre over datum", both(centres.pop() or 0.0, "mm", system)))
    elif not centres and section.height is not None and setup.supports:
        found.append(Figure("Centre, side down", both(section.height / 2, "mm", system)))
    if setup.bow_to_refuse is not None:
        found.append(Figure("Refuse if bowed more than", both(setup.bow_to_refuse, "mm", system)))
    mass = answer.measures["stock_mass"]
    return [*found, Figure("Lifting gear for", _up_to(mass, system))]


def _supports(setup: SetUp, system: System) -> list[SupportRow]:
    return [
        SupportRow(
            str(number),
            both(item.station, "mm", system),
            item.title or item.support,
            Both("", "") if item.centre_height is None else both(item.centre_height, "mm", system),
            Both("lifts off", "")
            if item.lifts_off
            else _load(both(item.reaction, "N", system), is_caught=item.role == "catches"),
        )
        for number, item in enumerate(setup.supports, start=1)
    ]


def _load(load: Both, *, is_caught: bool) -> Both:
    return load._replace(shop=f"catches {load.shop}") if is_caught else load


def _support_note(answer: Answer, system: System) -> str:
    setup = answer.setup
    if not setup.supports:
        return NO_SUPPORT
    note, level = f"{plan_head(setup)}.", levelling_of(answer, system)
    if level:
        note += f" {level} The free end may lie a little lower, so that slag runs out."
    return note


def _parts(parts: Sequence[Part], system: System) -> list[PartRow]:
    """Return rows, parts that follow each other and are alike as one."""
    groups: list[list[Part]] = []
    for part in parts:
        if groups and _are_alike(groups[-1][-1], part):
            groups[-1].append(part)
        else:
            groups.append([part])
    rows = [
        PartRow(
            " to ".join(dict.fromkeys(show(part.cut, "mm", system)
                                      for part in (group[0], group[-1]))),
            str(len(group)),
            both(group[0].length, "mm", system),
            SENTENCES[group[0].behaviour],
            _held(group[0], system),
        )
        for group in groups[:MOST_ROWS]
    ]  # fmt: skip
    left = sum(len(group) for group in groups[MOST_ROWS:])
    if left:
        rows.append(PartRow("", str(left), Both("", ""), "more parts: see the full answer", ""))
    return rows


def _held(part: Part, system: System) -> str:
    if part.taker == "supports":
        return "supports raised: see the steps"
    return held_by(part, system, nothing="NOTHING: sling or support it first")


def _are_alike(first: Part, second: Part) -> bool:
    is_same = (first.behaviour, first.tabs, first.taker) == (
        second.behaviour, second.tabs, second.taker
    )  # fmt: skip
    return is_same and abs(first.length - second.length) < 0.05


BEFORE_LAST_TAB: Final = "Tick before the last tab of each cut, with the rotation stopped"


def _between(setup: SetUp, system: System) -> tuple[str, ...]:
    """Return what is to be ticked before each cut."""
    told = step_lines(setup, system)
    left = len(told) - MOST_ROWS
    return (*told[:MOST_ROWS], *(["Further cuts: see the full answer."] if left > 0 else []))


def _sequence(job: JobAsked, setup: SetUp, system: System) -> list[str]:
    """Return the steps of the job in order."""
    steps = [
        "Set side guides about 6 mm (1/4 in) clear of the stock, load, and close the jaws.",
        "Probe the diameter: use the measured one, not the nominal.",
    ]
    if setup.trim is not None:
        steps.append(
            f"Set the origin inside the trim: {show(job.front - setup.trim, 'mm', system)} from "
            f"the chuck face, {show(setup.trim, 'mm', system)} in from the free end."
        )
    cuts = [part.cut for part in setup.parts]
    if not cuts:
        lengths = ", ".join(safe_lengths(setup, system))
        return [*steps, "No cuts were given. Lengths that stay when cut off the free end: "
                f"{lengths or 'none'}; others tip or drop."]  # fmt: skip
    is_inward = cuts == sorted(cuts, reverse=True)
    order = "from the free end inward" if is_inward else "in the order given"
    steps += [
        f"Cut {order}; let each part cool and take it off before the next cut.",
        f"Left in the chuck: {show(cuts[-1], 'mm', system)}.",
    ]
    if setup.stub is not None and cuts[-1] < setup.stub:
        steps.append("The last cut lies within the stub: move the stock out and clamp again.")
    return steps
