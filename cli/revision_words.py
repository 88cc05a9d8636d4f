"""What is told of revisions: their history, what differs, what must still be put right."""

import json
from typing import TYPE_CHECKING, Any

import typer

from ..catalogue.errors import FileError, InputError
from ..catalogue.ledger.records import minute
from .revision_kind import group_of
from .terminal.rows import counted

if TYPE_CHECKING:
    from ..catalogue.ledger.database import Ledger
    from ..catalogue.ledger.difference import Difference
    from ..catalogue.ledger.records import Entry, Revision


def print_json(schema: str, **content: Any) -> None:
    """Print one JSON object."""
    typer.echo(json.dumps({"schema": schema, **content}, ensure_ascii=False, indent=2))


def report_told(ledger: "Ledger", item: "Revision") -> str:
    """Return what a report has looked at, in words."""
    from ..catalogue.ledger import blobs, lifecycle

    with ledger.reading() as connection:
        (report,) = blobs.kept(connection, item.impact, item.ref).values()
    answers, changed = lifecycle.jobs_of(report)
    return f"{counted(answers, 'answer')} looked at, {changed} of them changed"


def print_history(found: Any, now: str) -> None:
    """Print the revisions of a document and what was done with them."""
    from ..catalogue.ledger import history as told
    from .terminal.layout import console, print_rows
    from .terminal.rows import paragraph

    screen = console()
    print_rows(
        ("revision", "standing", "in force from", "author", "approver", "why"),
        (
            (item.ref, told.standing(item, found, now), item.effective[:10], item.author,
             item.approver, item.reason.replace("\n", " "))
            for item in found.revisions
        ),
    )  # fmt: skip
    for item in found.revisions:
        changed = found.changes.get(item.number, [])
        if not item.base or not changed:
            continue
        screen.print(f"\n{item.ref} against {item.document}/{item.base}")
        for change in changed[:12]:
            screen.print(paragraph(change.text(), screen.width, indent=2, mark="- "))
        if len(changed) > 12:
            group = group_of(item.document)
            screen.print(f"  and {len(changed) - 12} more: cuttable {group} diff {item.ref}")
        if item.evidence:
            screen.print(paragraph(f"Evidence: {item.evidence}", screen.width, indent=2))
        if item.without_impact:
            text = f"Approved without a report of its impact: {item.without_impact}"
            screen.print(paragraph(text, screen.width, indent=2))
    screen.print("")
    print_rows(("when (UTC)", "who", "did", "revision"), (_entry_row(e) for e in found.entries))


def _entry_row(entry: "Entry") -> tuple[str, ...]:
    return (minute(entry.at).removesuffix(" UTC"), entry.who, entry.action,
            f"{entry.document}/{entry.number}")  # fmt: skip


def print_differences(
    before: str, after: str, changed: "list[Difference]", *, is_same: bool
) -> None:
    """Print what differs between two revisions."""
    from .terminal.layout import console
    from .terminal.rows import paragraph

    screen = console()
    if is_same:
        screen.print(f"{before} and {after} are the same.")
        return
    if not changed:
        from ..catalogue.ledger.difference import NOTHING

        screen.print(f"{before} → {after}: {NOTHING} differs.")
        return
    screen.print(f"{before} → {after}")
    for item in changed:
        screen.print(paragraph(item.text(), screen.width, indent=2, mark="- "))


def tell_problems(ledger: "Ledger", revision: "Revision") -> None:
    """Tell what must still be put right in a draft before it can be submitted."""
    from ..catalogue.ledger import lifecycle
    from ..engine.review.revision_check import check_revision

    try:
        with ledger.reading() as connection:
            lifecycle.check_base(connection, revision)
            check_revision(ledger, connection, revision)
    except (FileError, InputError) as fault:
        typer.echo(f"Before it can be submitted: {fault}", err=True)


def tell_coming(ledger: "Ledger", made: "Revision") -> None:
    """Say that a draft was made from a revision that no answer rests on yet."""
    from ..catalogue.ledger import lifecycle

    if not made.base:
        return
    with ledger.reading() as connection:
        told = coming(ledger, lifecycle.revision(connection, made.document, made.base))
    if told:
        typer.echo(told, err=True)


def coming(ledger: "Ledger", base: "Revision") -> str:
    """Return in a sentence that a revision is approved but not yet in force; else nothing."""
    from ..catalogue.ledger.records import stamp

    if base.effective <= stamp(ledger.clock()):
        return ""
    return (
        f"{base.ref}, which it is drafted from, is approved but not in force before "
        f"{minute(base.effective)}."
    )
