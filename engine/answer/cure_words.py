"""What would make a refused job go, in sentences."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from ..jobs.fields import OPTION_OF
from .document import Cure, CureChange, CureKind, JobAsked, PartWanted, Verdict
from .wording import System, show, show_at_least, show_at_most, show_window

MOST_TOLD: Final = 3
"""Cures that are told; the document has all of them."""
VERDICTS: Final[Mapping[Verdict, str]] = {
    Verdict.IN_RANGE: "in range", Verdict.CONDITIONS: "allowed with conditions",
}  # fmt: skip
STOCK: Final[Mapping[str, str]] = {
    "ends": "the ends opened and vented",
    "contents": "the stock emptied, cleaned and certified",
    "lined": "the lining removed",
    "lead-paint": "the lead paint stripped by a licensed contractor",
}
"""What is done about the state of stock."""


def cure_sentences(
    cures: Sequence[Cure], job: JobAsked, system: System, *, has_options: bool
) -> tuple[str, ...]:
    """Return the first cures in sentences; what the lengths and models of a fit tell is left out.

    Args:
        cures: of an answer.
        job: as it was asked.
        system: units of the numbers.
        has_options: name the options of the command line.
    """
    told = [cure for cure in cures if not _is_told_elsewhere(cure)]
    return tuple(_sentence(cure, job, system, has_options=has_options) for cure in told[:MOST_TOLD])


def _is_told_elsewhere(cure: Cure) -> bool:
    """Say whether it is a length of whole stock, or another model, alone."""
    (first, *more) = cure.changes
    return not more and (
        first.kind == "model" or (first.kind == "length" and first.least != first.most)
    )


def _sentence(cure: Cure, job: JobAsked, system: System, *, has_options: bool) -> str:
    what = " and ".join(_words(change, job, system) for change in cure.changes)
    typed = [text for change in cure.changes for text in _options(change)]
    options = f" ({' '.join(typed)})" if has_options and typed else ""
    return f"Would go with {what}: {VERDICTS[cure.verdict]}{options}."


def _words(change: CureChange, job: JobAsked, system: System) -> str:
    return _TELLERS[change.kind](change, job, system)


def _stations(change: CureChange, _: JobAsked, system: System) -> str:
    moved = [show(place, "mm", system) for place in change.moved]
    if len(moved) > 1:
        return f"the support at {moved[0]} moved to {moved[1]}"
    if moved:
        return f"the support at {moved[0]} taken away"
    if not change.stations:
        return "supports where they are planned"
    places = _listed([show(place, "mm", system) for place in change.stations])
    return f"supports at {places}"


def _length(change: CureChange, job: JobAsked, system: System) -> str:
    least, most = change.least or 0.0, change.most or 0.0
    if least == most:
        return f"stock of {show(most, 'mm', system)}"
    window = show_window((least, most), system)
    if job.stock_length > most:
        return f"stock of at most {show_at_most(most, system)} ({window})"
    return f"stock of at least {show_at_least(least, system)} ({window})"


def _stock(change: CureChange, job: JobAsked, _: System) -> str:
    return STOCK.get(change.names[0]) or STOCK[job.coating or ""]


def _accessories(change: CureChange, _job: JobAsked, _: System) -> str:
    return f"{_listed(change.names)} fitted"


def _grip(change: CureChange, _job: JobAsked, _: System) -> str:
    return f"the jaws holding from {change.names[0]}"


def _model(change: CureChange, _job: JobAsked, _: System) -> str:
    return change.names[0]


def _bow(change: CureChange, _: JobAsked, system: System) -> str:
    return f"a bow of at most {show(change.most or 0.0, 'mm', system)}"


def _off_axis(change: CureChange, _: JobAsked, system: System) -> str:
    return f"at most {show(change.most or 0.0, 'kg', system)} beside the axis"


def _behind(change: CureChange, _: JobAsked, system: System) -> str:
    told = show(change.most, "mm", system) if change.most else "nothing"
    return f"{told} behind the chuck"


def _order(change: CureChange, _: JobAsked, system: System) -> str:
    return f"the parts cut in the order {parts_told(change.parts, system)}"


def _fewer(change: CureChange, job: JobAsked, system: System) -> str:
    count, every = (sum(part.count for part in parts) for parts in (change.parts, job.parts))
    return f"{count} of the {every} parts ({parts_told(change.parts, system)})"


_TELLERS: Final[Mapping[CureKind, Callable[[CureChange, JobAsked, System], str]]] = {
    "stations": _stations,
    "stock": _stock,
    "accessories": _accessories,
    "grip": _grip,
    "order": _order,
    "bow": _bow,
    "off-axis": _off_axis,
    "behind": _behind,
    "length": _length,
    "parts": _fewer,
    "model": _model,
}


def parts_told(parts: Sequence[PartWanted], system: System) -> str:
    """Return parts in their order, with how many there are of each."""
    return ", ".join(
        show(part.length, "mm", system) + (f"*{part.count}" if part.count > 1 else "")
        for part in parts
    )


def _listed(texts: Sequence[str]) -> str:
    *first, last = texts
    return f"{', '.join(first)} and {last}" if first else last


def _options(change: CureChange) -> list[str]:
    """Return what is typed where it is short."""
    if change.kind not in ("accessories", "stock", "grip", "bow", "behind"):
        return []
    return [
        f"{OPTION_OF[name]} {_quoted(text)}"
        for name, texts in change.say.items() for text in texts
    ]  # fmt: skip


def _quoted(text: str) -> str:
    if text.replace("-", "").isalnum():
        return text
    return f"'{text}'" if "'" not in text else '"' + text.replace('"', '\\"') + '"'
