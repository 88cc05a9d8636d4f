"""What differs between two answers to the same question: one comparison for every screen."""

import json
from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest
from typing import Any, Final, NamedTuple, cast

from .document import Answer, Reply, Support, plain, read_reply, text_of
from .wording import System, percent, show
from .words import title_of, told_settings

MOST: Final = 12
"""Values that are told by name."""
UNITS: Final = {
    "rapid_override": "1", "acceleration": "rad/s^2", "jaw_force": "N", "bow_to_refuse": "mm",
    "station": "mm", "reaction": "N", "centre_height": "mm", "reaction_per_mm": "N",
    "chuck_reaction": "N", "chuck_moment": "N*m", "sag": "mm", "tip_deflection": "mm",
    "height_tolerance": "mm", "safe_part_lengths": "mm", "remnant": "mm", "cut": "mm",
    "length": "mm", "width": "mm", "stress": "MPa", "stock_length": "mm", "behind": "mm",
    "bow": "mm", "mass": "kg", "distance": "mm", "height": "mm", "wall": "mm",
    "outside_diameter": "mm", "cuts": "mm", "stations": "mm", "longest_in_range": "mm",
    "longest_allowed": "mm", "ahead": "mm", "pushed": "mm",
    "least": "mm", "most": "mm",
    "moved": "mm", "lengths_in_range": "mm",
    "lengths_allowed": "mm", "trim": "mm", "stub": "mm", "last_station": "mm",
}  # fmt: skip
"""Units of the numbers of an answer by the last part of their name; measures tell their own."""
_BASIS: Final = ("id", "provenance", "machine")
"""Parts of an answer that tell what it rests on, not what it says."""
_TOLD: Final = (
    "verdict", "decided_by", "governing", "mitigations", "findings", "cautions", "close",
    "not_assessed", "left_out", "missing", "questions",
)  # fmt: skip
"""Parts that are told in sentences of their own, or follow from what is told."""
_SETTINGS: Final = ("rapid_override", "acceleration", "jaw_force", "bow_to_refuse")


class Change(NamedTuple):
    """One model, before and after.

    Attributes:
        model: as it is asked.
        before, after: its answers, in the same form; None where there was none.
    """

    model: str
    before: Answer | None
    after: Answer | None

    @property
    def is_of_verdict(self) -> bool:
        """Say whether the verdict itself is another."""
        return verdict_words(self.before) != verdict_words(self.after)

    @property
    def heading(self) -> str:
        """The verdict before and after."""
        before, after = verdict_words(self.before), verdict_words(self.after)
        return f"{before} → {after}" if self.is_of_verdict else f"{after} as before, but"


def changes(before: Reply, after: Reply) -> list[Change]:
    """Return the models of which anything is different but what the answer rests on.

    An answer of an earlier form is compared by what that form tells.
    """
    old, new = _by_model(before), _by_model(in_form(after, before.form))
    pairs = (Change(name, old.get(name), new.get(name)) for name in dict.fromkeys([*old, *new]))
    return [item for item in pairs if said(item.before) != said(item.after)]


def question_lines(before: Reply, after: Reply) -> list[str]:
    """Return which questions are open now and which no longer, in sentences."""
    old, new = ([item.text for item in side.questions] for side in (before, after))
    lines = [f"Now a question is open: {text}" for text in new if text not in old]
    return lines + [f"No longer asked: {text}" for text in old if text not in new]


def in_form(reply: Reply, form: int) -> Reply:
    """Return a reply with what a form tells, and nothing that came later."""
    return reply if form == reply.form else read_reply(text_of(reply, form))


def said(answer: Answer | None) -> dict[str, Any]:
    """Return what an answer says, without what it rests on, as plain data."""
    if answer is None:
        return {}
    return {key: value for key, value in plain(answer).items() if key not in _BASIS}


def _by_model(reply: Reply) -> dict[str, Answer]:
    """Return answers by model; a model asked twice is numbered."""
    found: dict[str, Answer] = {}
    for answer in reply.verdicts:
        name = answer.machine.named
        times = sum(1 for known in found if known.partition(", ")[0] == name)
        found[f"{name}, asked again ({times})" if times else name] = answer
    return found


def verdict_words(answer: Answer | None) -> str:
    """Return the verdict as a word that scripts can read."""
    if answer is None:
        return "not answered"
    return "question open" if answer.verdict is None else answer.verdict.value


def essence(answer: Answer | None) -> dict[str, Any]:
    """Return what counts of an answer, as plain data."""
    if answer is None:
        return {"verdict": verdict_words(None), "decided_by": None, "governing": "",
                "utilisation": None, "mitigations": []}  # fmt: skip
    measure = answer.measures.get(answer.governing)
    return {
        "verdict": verdict_words(answer),
        "decided_by": answer.decided_by,
        "governing": answer.governing,
        "utilisation": None if measure is None else measure.utilisation,
        "mitigations": [mitigation.text for mitigation in answer.mitigations],
    }


def leaf_differences(before: Any, after: Any, key: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Yield dotted key, old and new value of everything that differs in two JSON values.

    A value that is missing on one side is None.
    """
    if isinstance(before, dict) and isinstance(after, dict):
        tables = cast("tuple[dict[str, Any], dict[str, Any]]", (before, after))
        for name in dict.fromkeys([*tables[0], *tables[1]]):
            inner = f"{key}.{name}" if key else name
            yield from leaf_differences(tables[0].get(name), tables[1].get(name), inner)
    elif isinstance(before, list) and isinstance(after, list):
        lists = cast("tuple[list[Any], list[Any]]", (before, after))
        for place, (old, new) in enumerate(zip_longest(*lists)):
            yield from leaf_differences(old, new, f"{key}[{place}]")
    elif before != after:
        yield key, before, after


# --- in words -----------------------------------------------------------------------------


def lines(change: Change, system: System) -> Iterator[str]:
    """Yield what differs: what decides, what is to be done and set.

    Other values are told only under the same verdict: under another one nearly all of them differ.
    """
    before, after = change.before, change.after
    if before is None or after is None:
        return
    if before.decided_by != after.decided_by:
        yield f"decided by {before.decided_by or 'nothing'} → {after.decided_by or 'nothing'}"
    old, new = (_fullest(answer) for answer in (before, after))
    if old != new:
        yield f"fullest limit {old} → {new}"
    for name in ("mitigations", "findings", "cautions"):
        yield from _gained_and_lost(getattr(before, name), getattr(after, name))
    yield from _supports(before.setup.supports, after.setup.supports, system)
    first, second = (dict(told_settings(answer.setup, system)) for answer in (before, after))
    for name in dict.fromkeys([*first, *second]):
        if first.get(name) != second.get(name):
            yield f"{name} {first.get(name, 'none')} → {second.get(name, 'none')}"
    if not change.is_of_verdict:
        yield from _values(before, after, system)


def _fullest(answer: Answer) -> str:
    measure = answer.measures.get(answer.governing)
    if measure is None:
        return "none"
    return f"{title_of(answer.governing, measure)} {percent(measure.utilisation)}".strip()


def _gained_and_lost(old: Sequence[Any], new: Sequence[Any]) -> Iterator[str]:
    """Yield sentences that are no longer there, and those that are new."""
    first, second = ([_named(part) for part in side] for side in (old, new))
    stays = {name for name, _ in second}
    for name, text in first:
        # What says the same with other numbers is told once, as it is now.
        if (name, text) not in second and name not in stays:
            yield f"no longer: {text}"
    yield from (f"now: {text}" for name, text in second if (name, text) not in first)


def _named(part: Any) -> tuple[str, str]:
    """Return the code of a sentence of an answer, and the sentence."""
    if isinstance(part, str):
        return part, part
    code: str = part.rule if hasattr(part, "rule") else part.code
    return code, f"{code} {part.text}" if hasattr(part, "rule") else part.text


def _supports(old: Sequence[Support], new: Sequence[Support], system: System) -> Iterator[str]:
    """Yield where supports stand otherwise, and which ones where those differ too."""
    sides = (old, new)
    places = [", ".join(show(item.station, "mm", system) for item in side) for side in sides]
    kinds = [list(dict.fromkeys(item.support for item in side)) for side in sides]
    if places[0] != places[1]:
        yield f"supports at {places[0] or 'no station'} → {places[1] or 'no station'}"
    if set(kinds[0]) != set(kinds[1]):
        yield " → ".join(f"{'' if place else 'supports are '}{', '.join(kind) or 'none'}"
                         for place, kind in enumerate(kinds))  # fmt: skip


def _values(before: Answer, after: Answer, system: System) -> Iterator[str]:
    """Yield values that differ by name, as many as can be read."""
    sides = [{key: value for key, value in said(side).items() if key not in _TOLD}
             for side in (before, after)]  # fmt: skip
    shown = {f"setup.{name}" for name in _SETTINGS}
    found = [
        (key, old, new) for key, old, new in leaf_differences(sides[0], sides[1])
        if key not in shown and not key.endswith((".station", ".support", ".title"))
    ]  # fmt: skip
    # How full a limit is follows from a value that is told.
    told = {key.rpartition(".")[0] for key, _, _ in found if not key.endswith("utilisation")}
    found = [item for item in found if not (
        item[0].endswith("utilisation") and item[0].rpartition(".")[0] in told)]  # fmt: skip
    for key, old, new in found[:MOST]:
        first, second = (_value(key, value, answer, system)
                         for value, answer in ((old, before), (new, after)))  # fmt: skip
        yield f"{words_of(key)} {first} → {second}"
    if len(found) > MOST:
        yield f"and {len(found) - MOST} more values: --json tells all"


def words_of(key: str) -> str:
    """Return a dotted key in words: ``measures.stock_mass.rated`` is ``stock mass, rated``."""
    plain_key = key.removeprefix("measures.").removeprefix("setup.")
    names = plain_key.replace("]", "").split(".")
    counted = [f"{name} {int(place) + 1}" if place else name
               for name, _, place in (part.partition("[") for part in names)]  # fmt: skip
    return ", ".join(counted).replace("_", " ")


def _value(key: str, value: Any, answer: Answer, system: System) -> str:
    """Return a value in words, with its unit where it has one."""
    if isinstance(value, Mapping) and "value" in value:
        return _value(f"{key}.value", cast("Mapping[str, Any]", value)["value"], answer, system)
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        parts = key.split(".")
        name = parts[-1].partition("[")[0]
        unit = UNITS.get(name, "")
        if parts[0] == "measures":
            unit = "1" if name.endswith("utilisation") else answer.measures[parts[1]].unit
        style = "%" if name.endswith("utilisation") or name == "rapid_override" else ""
        return show(value, unit, system, style) if unit else f"{value:g}"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
