"""A kept answer asked again, of the revisions of its day or of today, and why it differs."""

from pathlib import Path
from typing import Final

from ...catalogue.ledger import history, lifecycle
from ...catalogue.ledger.answers import Kept
from ...catalogue.ledger.database import Ledger
from ...catalogue.ledger.records import RULES, WHOLE
from ...catalogue.ledger.snapshot import Mark, Snapshot
from ...catalogue.machines.site_overlay import MARK
from ..answer.document import Provenance, Reply, read_reply, text_of
from ..assessor import AssessorCore
from .ledger_assessor import assessor_of
from .recording import question_of

MOST: Final = 12
"""Changes of a revision that are told by name."""


def mark_of(kept: Kept) -> Mark:
    """Return the point in the ledger's life that an answer rests on."""
    return Mark(kept.basis["at"], kept.basis["entries"])


def assessor_for(snapshot: Snapshot, files: dict[str, bytes]) -> AssessorCore:
    """Return the assessor to ask again at.

    Args:
        snapshot: the ledger at a moment.
        files: machine files that were given by path, as they were then.

    Raises:
        CuttableError: the ledger is damaged.
    """
    assessor = assessor_of(snapshot)
    assessor.catalogue.given_files |= {str(Path(name)): content for name, content in files.items()}
    return assessor


def ask_again(assessor: AssessorCore, kept: Kept) -> Reply:
    """Ask an assessor what was asked.

    Raises:
        CuttableError: the job cannot be read there.
    """
    job, machines, units = question_of(kept)
    return assessor.ask(job, machines, system=units)


def text_again(assessor: AssessorCore, kept: Kept) -> str:
    """Return the answer worked out again as text, with the keys it was kept with.

    It is the same to the byte where nothing else is different.

    Raises:
        CuttableError: the job cannot be read there, or the kept text is no answer.
    """
    return text_of(ask_again(assessor, kept), read_reply(kept.text).form)


def reasons(ledger: Ledger, kept: Kept, provenance: Provenance, after: Reply) -> list[str]:
    """Return what has changed since an answer was given, in sentences.

    Args:
        ledger: that keeps the answer.
        kept: the answer.
        provenance: what an answer of today rests on.
        after: the answer of today; empty where there is none.
    """
    then, now = Snapshot(ledger.place, mark=mark_of(kept), now=ledger.clock()), Snapshot(
        ledger.place, now=ledger.clock()
    )  # fmt: skip
    told: list[str] = []
    used = {item.machine.model for item in after.verdicts}
    used |= {model for model, *_ in kept.basis["machines"]}
    documents = {name for model in used for name in (model, model.split(MARK)[0])}
    for document in [*sorted(documents), *sorted(WHOLE)]:
        old, new = (side.numbers.get(document, (0, ""))[0] for side in (then, now))
        if new and new != old:
            told.append(_change(ledger, document, old, new))
    then.close()
    now.close()
    if kept.basis["tool"] != provenance.tool:
        told.append(f"{kept.basis['tool']} → {provenance.tool}")
    is_told = any(line.startswith(f"{RULES}/") for line in told)
    if kept.basis["rules"] != provenance.rules and not is_told:
        told.append("Rules began or ended by their dates since.")
    return told


def _change(ledger: Ledger, document: str, old: int, new: int) -> str:
    """Return in a sentence what came into force of a document since."""
    with ledger.reading() as connection:
        now = lifecycle.revision(connection, document, new)
        by = f"approved by {now.approver} ({now.reason})"
        if not old:
            return f"{now.ref} is new, {by}"
        then = lifecycle.revision(connection, document, old)
        changes = history.changes(connection, then, now)
    listed = "; ".join(item.text() for item in changes[:MOST]) or "nothing but comments"
    more = f"; and {len(changes) - MOST} more" if len(changes) > MOST else ""
    return f"{then.ref} → {now.ref}, {by}: {listed}{more}"
