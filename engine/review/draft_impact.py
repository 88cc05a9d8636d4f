"""What a draft of the ledger would change: the two states to compare, and the report of it."""

import json
from typing import Any

from ...catalogue.errors import InputError
from ...catalogue.ledger import history, lifecycle
from ...catalogue.ledger.database import Ledger
from ...catalogue.ledger.difference import Difference
from ...catalogue.ledger.records import Revision, kind_of, parse_ref, stamp
from ...catalogue.ledger.snapshot import Snapshot
from ...catalogue.machines.site_overlay import MARK
from ..answer.wording import System
from ..impact.impact import Side
from ..impact.model import Impact
from ..impact.page import impact_page
from .ledger_assessor import assessor_of
from .revision_check import check_revision


def compared(ledger: Ledger, ref: str) -> tuple[Revision, Revision, list[Difference]]:
    """Return the draft, what it is compared with, and what differs.

    Raises:
        InputError: ``revision-unknown``, ``revision-state`` or ``base-superseded``.
        FileError: the draft cannot be read.
    """
    document, number = parse_ref(ref)
    with ledger.reading() as connection:
        draft = lifecycle.revision(connection, document, number)
        if draft.state not in ("draft", "submitted"):
            raise InputError(
                "revision-state", f"{draft.ref} is {draft.state}: it is no draft any more",
                remedy=f"Compare revisions: cuttable machines diff {draft.ref}.",
            )  # fmt: skip
        base = lifecycle.latest_approved(connection, document)
        if base is None:
            raise InputError(
                "revision-state", f"{draft.ref} is the first revision: no answer rests on it yet",
                remedy="It can be approved without a report.",
            )  # fmt: skip
        lifecycle.check_base(connection, draft)
        check_revision(ledger, connection, draft)
        return draft, base, history.changes(connection, base, draft)


def sides(ledger: Ledger, draft: Revision, base: Revision) -> tuple[Side, Side]:
    """Return the state with the revision approved last, and the one with the draft."""
    snapshot = Snapshot(ledger.place, now=ledger.clock())

    def side(revision: Revision) -> Side:
        there: Snapshot = snapshot.with_revision(
            revision.document, revision.number, revision.content
        )
        assessor = assessor_of(there)
        kind = kind_of(revision.document)
        if kind == "machine":
            over = [name for name in there.overlays()
                    if name.startswith(f"{revision.document}{MARK}")]  # fmt: skip
            names = [revision.document, *over]
        elif kind == "overlay":
            names = [revision.document]
        else:
            names = [*there.codes(), *there.overlays()]
        return Side(assessor, tuple(assessor.catalogue.machine(name) for name in names))

    return side(base), side(draft)


def beside(ledger: Ledger, draft: Revision) -> dict[str, int]:
    """Return what else is in force that the report will rest on; asked before the work begins."""
    with ledger.reading() as connection:
        return lifecycle.beside_of(connection, draft.document, stamp(ledger.clock()))


def report_of(
    impact: Impact,
    draft: Revision,
    base: Revision,
    changed: list[Difference],
    others: dict[str, int],
) -> dict[str, Any]:
    """Return the report that is attached to a draft.

    It says what else was in force: it holds only as long as that does.
    """
    return impact.to_json() | {
        "about": {
            "draft": draft.ref,
            "content": draft.content,
            "base": base.content,
            "base_revision": base.ref,
            "beside": others,
            "differences": [item._asdict() for item in changed],
        }
    }


def draft_page(
    impact: Impact,
    draft: Revision,
    base: Revision,
    changed: list[Difference],
    side: Side,
    system: System,
) -> str:
    """Return what a draft would change as a page; ``side`` tells what the answers rest on."""
    told = side.assessor.provenance
    line = (
        f"{told.tool}; {draft.ref} {draft.content[7:15]} against {base.ref} {base.content[7:15]}; "
        f"rules {told.rules[7:15]}; catalogue {told.catalogue[7:15]}"
    )
    return impact_page(
        impact, title=f"What {draft.ref} would change",
        set_lines=[item.text() for item in changed], provenance=line, system=system,
    )  # fmt: skip


def attach(ledger: Ledger, draft: Revision, content: dict[str, Any], who: str) -> None:
    """Attach the report, unless the draft was changed while it was made.

    Raises:
        InputError: ``impact-stale``.
    """
    text = json.dumps(content, ensure_ascii=False, sort_keys=True, allow_nan=False)
    with ledger.writing(who) as writing:
        now = lifecycle.revision(writing.connection, draft.document, draft.number)
        if now.content != draft.content:
            raise InputError(
                "impact-stale", f"{draft.ref} was changed meanwhile",
                remedy=f"Run it again: cuttable impact {draft.ref}.",
            )  # fmt: skip
        lifecycle.attach_impact(writing, draft.document, draft.number, text.encode())
