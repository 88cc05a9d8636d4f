"""Clampings of stock too long for the bed, in sentences."""

from .cure_words import VERDICTS, parts_told
from .document import Clamping, Clampings, Forbidden
from .wording import System, show


def clamping_sentences(told: Clampings | None, system: System) -> tuple[str, ...]:
    """Return how long stock is cut in several clampings, or what forbids it; else nothing."""
    if told is None:
        return ()
    if told.verdict is None:
        closed = [item for item in told.forbidden if item.kind == "bore" and item.room == 0]
        what = "; ".join(_forbidden(item, system) for item in closed or told.forbidden)
        how = (
            "come out in one clamping, with stock behind the chuck" if told.needed == 1
            else f"take {told.needed} clampings, pushed out between"
        )  # fmt: skip
        return (f"Its parts would {how}: {what}.",)
    left = "" if told.remnant is None else f", {show(told.remnant, 'mm', system)} left in the jaws"
    head = f"Would go in {told.needed} clampings{left}: {VERDICTS[told.verdict]}."
    return (head, *(_step(n, item, system) for n, item in enumerate(told.steps, start=1)))


def _step(number: int, item: Clamping, system: System) -> str:
    pushed = ""
    if item.pushed is not None:
        pushed = f"push the stock out {show(item.pushed, 'mm', system)}, clamp again; "
    behind = f"{show(item.behind, 'mm', system)} behind" if item.behind else "nothing behind"
    stations = ", ".join(show(place, "mm", system) for place in item.stations)
    supports = f"supports at {stations}" if stations else "no support"
    decided = f" ({item.decided_by})" if item.decided_by else ""
    ahead = show(item.ahead, "mm", system)
    return (
        f"Clamping {number}: {pushed}{ahead} ahead of the chuck, {behind}; {supports}; "
        f"cut {parts_told(item.parts, system)}: {VERDICTS[item.verdict]}{decided}."
    )


def _forbidden(item: Forbidden, system: System) -> str:
    if item.kind == "rule":
        return f"{item.title} ({item.rule})"
    needed = show(item.needed or 0.0, "mm", system)
    if item.kind == "bore":
        has = (
            "the bore is not stated" if item.room is None
            else "this chuck is closed" if item.room == 0
            else f"this chuck has {show(item.room, 'mm', system)}"
        )  # fmt: skip
        return f"it needs a spindle bore of {needed}, and {has}"
    room = "is not stated" if item.room is None else f"is {show(item.room, 'mm', system)}"
    return f"{needed} would stand behind the chuck, where the room {room}"
