"""A kept answer worked out again: of that day, which must agree, or of today."""

import json
from collections.abc import Iterator, Mapping
from itertools import zip_longest
from typing import TYPE_CHECKING, Any, cast

import click

from ..catalogue.book.answers import Kept
from ..catalogue.errors import CuttableError
from ..engine.answer_text import answer_text
from ..engine.version import VERSION
from .keeping import ask_again

if TYPE_CHECKING:
    from ..catalogue.book.connect import Book
    from ..catalogue.book.held import Held

MOST = 12


def tell_again(book: "Book", kept: Kept, files: dict[str, bytes], *, is_json: bool) -> int:
    """Work an answer out again from the revisions of its day, and say whether it agrees."""
    answer, _, _ = ask_again(book, kept, files, is_today=False)
    text = answer_text(answer)
    is_same = text == kept.text
    if is_json:
        click.echo(text)
    elif is_same:
        click.echo(f"Answer {kept.answer}: the same to the byte, from the revisions of "
                   f"{kept.basis['at'][:16]} UTC.")  # fmt: skip
    if not is_same:
        differing = list(leaf_differences(json.loads(kept.text), json.loads(text)))
        fault = CuttableError(
            "answer-differs",
            f"answer {kept.answer} comes out otherwise: {len(differing)} values differ, first "
            + "; ".join(f"{key}: {old} → {new}" for key, old, new in differing[:3]),
            remedy=f"It was given by {kept.basis['tool']}, this is cuttable {VERSION}."
            if kept.basis["tool"] != f"cuttable {VERSION}"
            else "See that nothing was changed: cuttable book verify.",
        )
        click.echo(f"cuttable: {fault}", err=True)
    return 0 if is_same else 1


def tell_today(book: "Book", kept: Kept, files: dict[str, bytes], *, is_json: bool) -> int:
    """Tell what of an answer is different today, and which change it comes from."""
    answer, desk, held = ask_again(book, kept, files, is_today=True)
    before: dict[str, Any] = json.loads(kept.text)
    after: dict[str, Any] = json.loads(answer_text(answer))
    changed = changed_verdicts(before, after)
    why = reasons(book, kept, desk.provenance, held, after)
    if is_json:
        content = {"schema": "cuttable.today/1", "answer": kept.answer, "changed": changed,
                   "why": why, "before": before, "after": after}  # fmt: skip
        click.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 1 if changed else 0
    from .render import console
    from .rows import paragraph

    screen = console()
    if not changed:
        screen.print(f"Answer {kept.answer} of {kept.at[:10]}: today the same.")
    for item in changed:
        screen.print(f"{item['model']}: {item['before']['verdict']} → {item['after']['verdict']}",
                     soft_wrap=True)  # fmt: skip
        for line in _lines(item):
            screen.print(paragraph(line, screen.width, indent=2, mark="- "))
    if why:
        screen.print("Changed since:")
        for line in why:
            screen.print(paragraph(line, screen.width, indent=2, mark="- "))
    return 1 if changed else 0


def changed_verdicts(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the models whose verdict, deciding rule, measure or mitigations are different."""
    old, new = _by_model(before), _by_model(after)
    changed: list[dict[str, Any]] = []
    for model in dict.fromkeys([*old, *new]):
        first, second = _essence(old.get(model)), _essence(new.get(model))
        if first != second:
            changed.append({"model": model, "before": first, "after": second})
    if not changed and before["questions"] != after["questions"]:
        changed.append({"model": "all", "before": _essence(None), "after": _essence(None)})
    return changed


def _by_model(content: Mapping[str, Any]) -> dict[str, Any]:
    return {item["machine"]["model"]: item for item in content["verdicts"]}


def _essence(item: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return what counts of a verdict."""
    if item is None:
        return {"verdict": "not answered", "decided_by": None, "governing": "",
                "utilisation": None, "mitigations": []}  # fmt: skip
    measure = item["measures"].get(item["governing"], {})
    return {
        "verdict": item["verdict"] or "question open",
        "decided_by": item["decided_by"],
        "governing": item["governing"],
        "utilisation": measure.get("utilisation"),
        "mitigations": [mitigation["text"] for mitigation in item["mitigations"]],
    }


def _lines(item: Mapping[str, Any]) -> Iterator[str]:
    before, after = item["before"], item["after"]
    if before["decided_by"] != after["decided_by"]:
        yield f"decided by {before['decided_by'] or 'nothing'} → {after['decided_by'] or 'nothing'}"
    if (before["governing"], before["utilisation"]) != (after["governing"], after["utilisation"]):
        yield f"fullest limit {_full(before)} → {_full(after)}"
    for text in before["mitigations"]:
        if text not in after["mitigations"]:
            yield f"no longer: {text}"
    for text in after["mitigations"]:
        if text not in before["mitigations"]:
            yield f"now: {text}"


def _full(item: Mapping[str, Any]) -> str:
    if not item["governing"]:
        return "none"
    name = item["governing"].replace("_", " ")
    used = item["utilisation"]
    return name if used is None else f"{name} {used:.0%}"


def reasons(
    book: "Book", kept: Kept, provenance: Any, held: "Held", after: Mapping[str, Any]
) -> list[str]:
    """Return what has changed since an answer was given, in sentences."""
    from ..catalogue.book import history, lifecycle
    from ..catalogue.book.records import RULES, WHOLE
    from ..catalogue.overlay import MARK

    told: list[str] = []
    used = {item["machine"]["model"] for item in after["verdicts"]}
    used |= {model for model, *_ in kept.basis["machines"]}
    documents = {name for model in used for name in (model, model.split(MARK)[0])}
    with book.reading() as connection:
        for document in sorted(documents) + sorted(WHOLE):
            try:
                then = lifecycle.in_force(connection, document, kept.basis["at"])
            except CuttableError:
                continue
            number = held.numbers.get(document, (0, ""))[0]
            if then is None or not number or number == then.number:
                continue
            now = lifecycle.revision(connection, document, number)
            changes = history.changes(connection, then, now)
            listed = "; ".join(item.text() for item in changes[:MOST]) or "nothing but comments"
            told.append(
                f"{then.ref} → {now.ref}, approved by {now.approver} ({now.reason}): {listed}"
            )
    if kept.basis["tool"] != provenance.tool:
        told.append(f"{kept.basis['tool']} → {provenance.tool}")
    if kept.basis["rules"] != provenance.rules and not any(
        line.startswith(f"{RULES}/") for line in told
    ):
        told.append("Rules began or ended by their dates since.")
    return told


def leaf_differences(before: Any, after: Any, key: str = "") -> Iterator[tuple[str, str, str]]:
    """Yield dotted key, old and new value of everything that differs in two JSON values."""
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
        yield key, json.dumps(before)[:60], json.dumps(after)[:60]
