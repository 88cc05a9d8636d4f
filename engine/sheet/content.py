"""What stands on the sheet: texts and numbers, ready to be set, in no layout yet."""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from ...catalogue.machines import MachineModel
from ..fit_words import fit_sentences
from ..job import Job
from ..severing import SENTENCES, Piece, Tabs
from ..verdict import Verdict, setup_of
from ..wording import System, levelling, show

HEADLINES: Final = {
    "in-range": "In range",
    "oversize-allowed-with-conditions": "Allowed with conditions",
    "refused": "Refused: do not load",
    "": "Question open: do not load",
}
MEASURED: Final = (
    "Outside measured", "Wall measured", "Bow measured", "Mass weighed", "Heat or tag",
)  # fmt: skip
SIGNED: Final = ("Set up by", "Checked by", "Date")
MOST_ROWS: Final = 12


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
    verdict: str
    model: str
    stock: str
    subtitle: str
    figures: tuple[Figure, ...]
    supports: tuple[SupportRow, ...]
    support_note: str
    parts: tuple[PartRow, ...]
    sequence: tuple[str, ...]
    reasons: tuple[str, ...]
    fits: tuple[str, ...]
    boxes: tuple[str, ...]
    cautions: tuple[str, ...]
    fields: tuple[str, ...]
    provenance: str


def both(value: float, unit: str, system: System, *, digits: int = 4) -> Both:
    """Return a quantity in both systems; ``other`` is empty where they read the same."""
    second: System = "us" if system == "si" else "si"
    shop, other = (show(value, unit, which, digits=digits) for which in (system, second))
    return Both(shop, "" if other == shop else other)


def content_of(verdict: Verdict, system: System) -> Content:
    """Return what stands on the sheet of a verdict."""
    job, machine, set_up = verdict.job, verdict.machine, verdict.set_up
    mass = verdict.measures["stock_mass"]
    heavy = show(mass.heavy or 0.0, "kg", system, digits=4)
    reasons = [item.text for item in verdict.findings if item.outcome != "setting"]
    content = Content(
        headline=HEADLINES[verdict.verdict],
        verdict=verdict.verdict,
        model=f"{machine.code}, {machine.title}, {machine.release}",
        stock=f"{job.section.designation}, {show(job.length, 'mm', system)}, {job.grade.name}",
        subtitle=_subtitle(job, heavy, system),
        figures=() if verdict.verdict == "refused" else tuple(_figures(verdict, system)),
        supports=tuple(
            SupportRow(
                str(number),
                both(item.station, "mm", system),
                item.support.title,
                Both("", "") if math.isnan(item.centre) else both(item.centre, "mm", system),
                Both("lifts off", "") if item.is_lifted else both(item.reaction, "N", system),
            )
            for number, item in enumerate(set_up.standing, start=1)
        ),
        support_note=_support_note(verdict, system),
        parts=tuple(_parts(set_up.pieces, set_up.tabs, system)),
        sequence=tuple(_sequence(job, machine, verdict, system)),
        reasons=tuple(dict.fromkeys(reasons)),
        fits=(),
        boxes=tuple(item.text for item in verdict.mitigations),
        cautions=verdict.cautions,
        fields=(*MEASURED, *SIGNED),
        provenance=(
            f"Answer {verdict.id}; {verdict.provenance.tool}; "
            f"rules {_short(verdict.provenance.rules)}; "
            f"catalogue {_short(verdict.provenance.catalogue)}; "
            f"{machine.code} {machine.release} {_short(machine.digest)}"
        ),
    )  # fmt: skip
    if verdict.verdict != "refused":
        return content
    # A page that gives settings for a refused job, or fields to sign that it is set up, would be
    # taken for leave to load it. What is measured may be filled in, to ask again with.
    return content._replace(
        supports=(), parts=(), sequence=(), boxes=(),
        fits=tuple(fit_sentences(verdict, system)), fields=MEASURED,
        support_note="No settings and no stations are given: this job must not be loaded.",
    )  # fmt: skip


def _short(digest: str) -> str:
    return digest.removeprefix("sha256:")[:8]


def _subtitle(job: Job, heavy: str, system: System) -> str:
    second: System = "us" if system == "si" else "si"
    texts = [job.section.printed(which) for which in (system, second)]
    return f"{texts[0]} ({texts[1]}); weighs up to {heavy}"


def _figures(verdict: Verdict, system: System) -> list[Figure]:
    settings = setup_of(verdict)
    measures = verdict.measures
    found = [Figure("Rapid override", Both(f"{settings['rapid_override'] * 100:.0f} %", ""))]
    if verdict.machine.rotary.ramp == "constant-acceleration":
        found.append(Figure("Ramp acceleration", both(settings["acceleration"], "rad/s^2", system)))
    found.append(Figure("Jaw force, each", both(settings["jaw_force"], "N", system)))
    centres = {item.centre for item in verdict.set_up.standing if not math.isnan(item.centre)}
    if len(centres) == 1:
        found.append(Figure("Centre over datum", both(centres.pop(), "mm", system)))
    elif not centres and verdict.job.section.shape != "round" and verdict.set_up.standing:
        section = verdict.job.section
        found.append(Figure("Centre, side down", both(section.height / 2, "mm", system)))
    found.append(Figure("Refuse if bowed more than", both(settings["bow_to_refuse"], "mm", system)))
    mass = measures["stock_mass"]
    found.append(Figure("Lifting gear for", both(mass.heavy or 0.0, "kg", system)))
    return found


def _support_note(verdict: Verdict, system: System) -> str:
    set_up = verdict.set_up
    if not set_up.standing:
        return "No support: the chuck alone carries the stock."
    notes = {
        "rated": "Positions from the chuck face.",
        "absolute": "Positions from the chuck face; within absolute limits only.",
        "given": "Positions from the chuck face, as given.",
        "none": "No plan satisfies the limits: this is how evenly spread supports would carry.",
    }
    note = notes[set_up.level]
    level = levelling(set_up.height_tolerance, system)
    if level:
        note += f" {level} The free end may lie a little lower, so that slag runs out."
    return note


def _parts(pieces: Sequence[Piece], tabs: Sequence[Tabs | None], system: System) -> list[PartRow]:
    """Return rows, parts that follow each other and are alike as one."""
    groups: list[list[tuple[Piece, Tabs | None]]] = []
    for piece, tab in zip(pieces, tabs, strict=True):
        last = groups[-1][-1] if groups else None
        if last and _alike(last, (piece, tab)):
            groups[-1].append((piece, tab))
        else:
            groups.append([(piece, tab)])
    rows: list[PartRow] = []
    for group in groups[:MOST_ROWS]:
        piece, tab = group[0]
        first, last_cut = (show(item[0].inner, "mm", system) for item in (group[0], group[-1]))
        held = "" if piece.behaviour == "stays" else "NOTHING: sling or support it first"
        if tab is not None:
            held = f"{tab.count} tabs of {show(tab.width, 'mm', system)}"
        rows.append(
            PartRow(
                first if len(group) == 1 else f"{first} to {last_cut}",
                str(len(group)),
                both(piece.length, "mm", system),
                SENTENCES[piece.behaviour],
                held,
            )
        )
    left = sum(len(group) for group in groups[MOST_ROWS:])
    if left:
        rows.append(PartRow("", str(left), Both("", ""), "more parts: see the full answer", ""))
    return rows


def _alike(first: tuple[Piece, Tabs | None], second: tuple[Piece, Tabs | None]) -> bool:
    (a, tab), (b, other) = first, second
    return a.behaviour == b.behaviour and tab == other and abs(a.length - b.length) < 0.05


def _sequence(job: Job, machine: MachineModel, verdict: Verdict, system: System) -> list[str]:
    """Return the steps of the job in order."""
    set_up, cutting = verdict.set_up, machine.cutting
    steps = ["Set side guides about 6 mm (1/4 in) clear of the stock, load, and close the jaws."]
    steps.append("Probe the diameter: use the measured one, not the nominal.")
    origin = show(job.front - cutting.trim, "mm", system)
    steps.append(
        f"Set the origin inside the trim: {origin} from the chuck face, "
        f"{show(cutting.trim, 'mm', system)} in from the free end."
    )
    if set_up.cuts:
        remnant = set_up.cuts[-1]
        order = "from the free end inward" if list(set_up.cuts) == sorted(
            set_up.cuts, reverse=True) else "in the order given"  # fmt: skip
        steps.append(f"Cut {order}; let each part cool and take it off before the next cut.")
        steps.append(f"Left in the chuck: {show(remnant, 'mm', system)}.")
        stub = machine.bed.stub
        if remnant < stub:
            steps.append("The last cut lies within the stub: move the stock out and clamp again.")
    else:
        lengths = ", ".join(
            f"{show(low, 'mm', system)} to {show(high, 'mm', system)}"
            for low, high in set_up.safe_parts
        )
        steps.append(
            "No cuts were given. Lengths that stay when cut off the free end: "
            f"{lengths or 'none'}; others tip or drop."
        )
    return steps
