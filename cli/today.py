"""What of a kept answer is different today, and which change it comes from."""

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final, NamedTuple, cast

import typer

from ..catalogue.book.answers import Kept
from ..catalogue.errors import CuttableError, FileError, InputError
from ..engine.answer_text import answer_text
from ..engine.wording import System, show
from .again import leaf_differences
from .keeping import ask_again, desk_again, mark_of
from .kept_words import UNITS, settings, words_of

if TYPE_CHECKING:
    from ..catalogue.book.connect import Book
    from ..catalogue.book.held import Held
    from ..engine.verdict import Provenance

MOST: Final = 12
"""Values, or changes of a revision, that are told by name."""

_BASIS: Final = ("id", "provenance")
"""Parts of a verdict that tell what it rests on, not what it says."""

_TOLD: Final = (
    "verdict", "decided_by", "governing", "mitigations", "findings", "cautions", "close",
    "not_assessed",
)  # fmt: skip
"""Parts that are told in sentences of their own, or follow from what is told."""


class Change(NamedTuple):
    """One model, before and today.

    Attributes:
        model: as it is asked.
        before, after: its whole verdict as plain data; None where there was none.
    """

    model: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None

    @property
    def is_of_verdict(self) -> bool:
        """Say whether the verdict itself is another."""
        return _verdict(self.before) != _verdict(self.after)


def tell_today(book: "Book", kept: Kept, files: dict[str, bytes], *, is_json: bool) -> int:
    """Tell what of an answer is different today, and which change it comes from."""
    desk, held = desk_again(book, files)
    before: dict[str, Any] = json.loads(kept.text)
    after: dict[str, Any] = {"verdicts": [], "questions": []}
    fault: CuttableError | None = None
    try:
        after = json.loads(answer_text(ask_again(desk, kept)))
    except (InputError, FileError) as told:
        if isinstance(told, FileError) and told.code != "file-problems":
            raise  # of the book or the tool, not of what was asked
        fault = told
    changed = changes_of(before, after)
    why = reasons(book, kept, desk.provenance, held, after)
    asked = [] if fault else _questions(before, after)
    is_same = not changed and not asked and fault is None
    if is_json:
        typer.echo(_as_json(kept, before, None if fault else after, changed, why, fault))
    elif is_same:
        typer.echo(f"Answer {kept.answer} of {kept.at[:10]}: today the same.")
        _tell((), (), why, "si")
    elif fault is not None:
        _tell([f"Answer {kept.answer} cannot be answered today: {fault}"], (), why, "si")
    else:
        _tell(asked, changed, why, "us" if kept.inputs["units"] == "us" else "si")
    return 0 if is_same else 1


def _tell(
    lines: Sequence[str], changed: Sequence[Change], why: Sequence[str], system: System
) -> None:
    """Print what is different, other verdicts first, and why."""
    from .render import console
    from .rows import paragraph

    screen = console()
    for line in lines:
        screen.print(paragraph(line, screen.width))
    for item in sorted(changed, key=lambda item: not item.is_of_verdict):
        screen.print(f"{item.model}: {_heading(item)}", soft_wrap=True, markup=False)
        for line in _lines(item, system):
            screen.print(paragraph(line, screen.width, indent=2, mark="- "))
    if why:
        screen.print("Changed since:")
    for line in why:
        screen.print(paragraph(line, screen.width, indent=2, mark="- "))


def _as_json(
    kept: Kept,
    before: Mapping[str, Any],
    after: Mapping[str, Any] | None,
    changed: Sequence[Change],
    why: Sequence[str],
    fault: CuttableError | None,
) -> str:
    items = [
        {
            "model": item.model,
            "before": _essence(item.before),
            "after": _essence(item.after),
            "differences": [
                {"key": key, "before": old, "after": new}
                for key, old, new in leaf_differences(item.before or {}, item.after or {})
            ],
        }
        for item in changed
    ]
    content: dict[str, Any] = {
        "schema": "cuttable.today/1", "answer": kept.answer, "changed": items, "why": list(why),
        "before": before, "after": after,
    }  # fmt: skip
    if fault is not None:
        content["error"] = {"code": fault.code, "text": fault.what, "where": fault.where,
                            "remedy": fault.remedy}  # fmt: skip
    return json.dumps(content, ensure_ascii=False, indent=2)


# --- what differs -------------------------------------------------------------------------


def changes_of(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Change]:
    """Return the models of which anything is different but what the verdict rests on."""
    old, new = _by_model(before), _by_model(after)
    pairs = (Change(name, old.get(name), new.get(name)) for name in dict.fromkeys([*old, *new]))
    return [item for item in pairs if item.before != item.after]


def _by_model(content: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Return verdicts without their basis by model; a model asked twice is numbered."""
    found: dict[str, dict[str, Any]] = {}
    for item in content["verdicts"]:
        machine = item["machine"]
        name = f"{machine['model']} from {machine['file']}" if "file" in machine else (
            machine["model"])  # fmt: skip
        times = sum(1 for known in found if known.partition(", ")[0] == name)
        bare = {key: value for key, value in item.items() if key not in (*_BASIS, "machine")}
        found[f"{name}, asked again ({times})" if times else name] = bare
    return found


def _questions(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    old = [item["text"] for item in before["questions"]]
    new = [item["text"] for item in after["questions"]]
    lines = [f"Now a question is open: {text}" for text in new if text not in old]
    return lines + [f"No longer asked: {text}" for text in old if text not in new]


def _verdict(item: Mapping[str, Any] | None) -> str:
    return "not answered" if item is None else item["verdict"] or "question open"


def _essence(item: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return what counts of a verdict."""
    if item is None:
        return {"verdict": "not answered", "decided_by": None, "governing": "",
                "utilisation": None, "mitigations": []}  # fmt: skip
    measure = item["measures"].get(item["governing"], {})
    return {
        "verdict": _verdict(item),
        "decided_by": item["decided_by"],
        "governing": item["governing"],
        "utilisation": measure.get("utilisation"),
        "mitigations": [mitigation["text"] for mitigation in item["mitigations"]],
    }


# --- in words -----------------------------------------------------------------------------


def _heading(item: Change) -> str:
    before, after = _verdict(item.before), _verdict(item.after)
    return f"{before} → {after}" if item.is_of_verdict else f"{after} as before, but"


def _lines(item: Change, system: System) -> Iterator[str]:
    """Yield what differs: what decides, what is to be done and set.

    Other values are told only under the same verdict: under another one nearly all of them differ.
    """
    if item.before is None or item.after is None:
        return
    before, after = _essence(item.before), _essence(item.after)
    if before["decided_by"] != after["decided_by"]:
        yield f"decided by {before['decided_by'] or 'nothing'} → {after['decided_by'] or 'nothing'}"
    if (before["governing"], before["utilisation"]) != (after["governing"], after["utilisation"]):
        yield f"fullest limit {_full(before)} → {_full(after)}"
    for name in ("mitigations", "findings", "cautions"):
        yield from _gained_and_lost(item.before[name], item.after[name])
    old, new = item.before["setup"], item.after["setup"]
    yield from _supports(old.get("supports", ()), new.get("supports", ()), system)
    first, second = (dict(settings(part, system)) for part in (old, new))
    for name in dict.fromkeys([*first, *second]):
        if first.get(name) != second.get(name):
            yield f"{name} {first.get(name, 'none')} → {second.get(name, 'none')}"
    if not item.is_of_verdict:
        yield from _values(item.before, item.after, system)


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
    if "rule" in part:
        return part["rule"], f"{part['rule']} {part['text']}"
    return part["code"], part["text"]


def _full(item: Mapping[str, Any]) -> str:
    if not item["governing"]:
        return "none"
    name = item["governing"].replace("_", " ")
    used = item["utilisation"]
    return name if used is None else f"{name} {used:.0%}"


def _supports(old: Sequence[Any], new: Sequence[Any], system: System) -> Iterator[str]:
    """Yield where supports stand otherwise, and which ones where those differ too."""
    sides = (old, new)
    places = [", ".join(show(item["station"], "mm", system) for item in side) for side in sides]
    kinds = [", ".join(item["support"] for item in side) for side in sides]
    if places[0] != places[1]:
        yield f"supports at {places[0] or 'no station'} → {places[1] or 'no station'}"
    if set(kinds[0].split(", ")) != set(kinds[1].split(", ")):
        yield f"supports are {kinds[0] or 'none'} → {kinds[1] or 'none'}"


def _values(before: dict[str, Any], after: dict[str, Any], system: System) -> Iterator[str]:
    """Yield values that differ by name, as many as can be read."""
    sides = [{key: value for key, value in side.items() if key not in _TOLD}
             for side in (before, after)]  # fmt: skip
    shown = {f"setup.{name}" for name in UNITS if name in SETTINGS}
    found = [
        (key, old, new) for key, old, new in leaf_differences(sides[0], sides[1])
        if key not in shown and not key.endswith((".station", ".support"))
    ]  # fmt: skip
    # How full a limit is follows from a value that is told.
    told = {key.rpartition(".")[0] for key, _, _ in found if not key.endswith("utilisation")}
    found = [item for item in found if not (
        item[0].endswith("utilisation") and item[0].rpartition(".")[0] in told)]  # fmt: skip
    for key, old, new in found[:MOST]:
        yield f"{words_of(key)} {_value(key, old, before, system)} → " + _value(
            key, new, after, system
        )
    if len(found) > MOST:
        yield f"and {len(found) - MOST} more values: --json tells all"


SETTINGS: Final = ("rapid_override", "acceleration", "jaw_force", "bow_to_refuse")


def _value(key: str, value: Any, whole: Mapping[str, Any], system: System) -> str:
    """Return a value in words, with its unit where it has one."""
    if isinstance(value, dict) and "value" in value:
        return _value(f"{key}.value", cast("dict[str, Any]", value)["value"], whole, system)
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        parts = key.split(".")
        name = parts[-1].partition("[")[0]
        unit = UNITS.get(name, "")
        if parts[0] == "measures":
            unit = "1" if name.endswith("utilisation") else whole["measures"][parts[1]]["unit"]
        style = "%" if name.endswith("utilisation") or name == "rapid_override" else ""
        return show(value, unit, system, style) if unit else f"{value:g}"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


# --- why ----------------------------------------------------------------------------------


def reasons(
    book: "Book", kept: Kept, provenance: "Provenance", held: "Held", after: Mapping[str, Any]
) -> list[str]:
    """Return what has changed since an answer was given, in sentences."""
    from ..catalogue.book.held import Held
    from ..catalogue.book.records import RULES, WHOLE
    from ..catalogue.overlay import MARK

    then = Held(book.place, mark=mark_of(kept), now=book.clock())
    told: list[str] = []
    used = {item["machine"]["model"] for item in after["verdicts"]}
    used |= {model for model, *_ in kept.basis["machines"]}
    documents = {name for model in used for name in (model, model.split(MARK)[0])}
    for document in sorted(documents) + sorted(WHOLE):
        old, new = (side.numbers.get(document, (0, ""))[0] for side in (then, held))
        if new and new != old:
            told.append(_change(book, document, old, new))
    then.close()
    if kept.basis["tool"] != provenance.tool:
        told.append(f"{kept.basis['tool']} → {provenance.tool}")
    if kept.basis["rules"] != provenance.rules and not any(
        line.startswith(f"{RULES}/") for line in told
    ):
        told.append("Rules began or ended by their dates since.")
    return told


def _change(book: "Book", document: str, old: int, new: int) -> str:
    """Return in a sentence what came into force of a document since."""
    from ..catalogue.book import history, lifecycle

    with book.reading() as connection:
        now = lifecycle.revision(connection, document, new)
        by = f"approved by {now.approver} ({now.reason})"
        if not old:
            return f"{now.ref} is new, {by}"
        then = lifecycle.revision(connection, document, old)
        changes = history.changes(connection, then, now)
    listed = "; ".join(item.text() for item in changes[:MOST]) or "nothing but comments"
    more = f"; and {len(changes) - MOST} more" if len(changes) > MOST else ""
    return f"{then.ref} → {now.ref}, {by}: {listed}{more}"
