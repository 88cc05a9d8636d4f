"""What of a kept answer is different now, and which change of the book it comes from."""

from collections.abc import Iterator, Mapping
from typing import Any, Final, NamedTuple

from ...catalogue.book import history, lifecycle
from ...catalogue.book.answers import Kept
from ...catalogue.book.connect import Book
from ...catalogue.book.records import WHOLE, stamp
from ...catalogue.errors import CuttableError
from ...catalogue.overlay import MARK
from ...engine.wording import percent

MOST: Final = 12


class Changed(NamedTuple):
    """A model whose answer is another: verdicts, and what else in sentences."""

    model: str
    before: str
    after: str
    lines: tuple[str, ...]


def changed_verdicts(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Changed]:
    """Return the models whose verdict, deciding rule, fullest limit or mitigations differ."""
    old, new = ({item["machine"]["model"]: item for item in side["verdicts"]}
                for side in (before, after))  # fmt: skip
    found: list[Changed] = []
    for model in dict.fromkeys([*old, *new]):
        lines = list(_lines(old.get(model), new.get(model)))
        first, second = _verdict(old.get(model)), _verdict(new.get(model))
        if lines or first != second:
            found.append(Changed(model, first, second, tuple(lines)))
    return found


def _verdict(item: Mapping[str, Any] | None) -> str:
    return "none" if item is None else item["verdict"] or ""


def _lines(old: Mapping[str, Any] | None, new: Mapping[str, Any] | None) -> Iterator[str]:
    if old is None or new is None:
        return
    if old["decided_by"] != new["decided_by"]:
        yield f"decided by {old['decided_by'] or 'nothing'} → {new['decided_by'] or 'nothing'}"
    if _full(old) != _full(new):
        yield f"fullest limit {_full(old)} → {_full(new)}"
    first, second = ([m["text"] for m in side["mitigations"]] for side in (old, new))
    for text in first:
        if text not in second:
            yield f"no longer: {text}"
    for text in second:
        if text not in first:
            yield f"now: {text}"


def _full(item: Mapping[str, Any]) -> str:
    name: str = item["governing"]
    if not name:
        return "none"
    used = item["measures"].get(name, {}).get("utilisation")
    return f"{name.replace('_', ' ')} {percent(used)}".strip()


def reasons(book: Book, kept: Kept, after: Mapping[str, Any]) -> list[str]:
    """Return the revisions that came into force since an answer was given, in sentences."""
    told: list[str] = []
    used = {item["machine"]["model"] for item in after["verdicts"]}
    used |= {model for model, *_ in kept.basis["machines"]}
    documents = sorted({name for model in used for name in (model, model.split(MARK)[0])})
    now = stamp(book.clock())
    with book.reading() as connection:
        for document in [*documents, *sorted(WHOLE)]:
            try:
                then = lifecycle.in_force(connection, document, kept.basis["at"])
                today = lifecycle.in_force(connection, document, now)
            except CuttableError:
                continue
            if then is None or today is None or then.number == today.number:
                continue
            changes = history.changes(connection, then, today)
            listed = "; ".join(item.text() for item in changes[:MOST]) or "nothing but comments"
            told.append(
                f"{then.ref} → {today.ref}, approved by {today.approver} ({today.reason}): {listed}"
            )
    return told
