"""The life of a revision: drafted, submitted, approved by another person, superseded.

Every step is a function on a :class:`~.database.Writing`; what a step refuses, it refuses before
it writes. Nothing is deleted: a draft that is given up is withdrawn.

Long because every step stands beside the others, with what each reads and refuses: who may do what
with a revision, and when, is one table of states, and is read as one.
"""

import datetime as dt
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import func, insert, select, update

from ..errors import InputError
from ..machines.site_overlay import MARK
from . import schema
from .blobs import keep, kept
from .database import Writing
from .records import (
    MAKER,
    WHOLE,
    Revision,
    is_same_person,
    kind_of,
    minute,
    moment,
    person,
    stamp,
    words,
)

if TYPE_CHECKING:
    from sqlalchemy import Connection

TABLE = schema.revisions


# --- reading ------------------------------------------------------------------------------


def revision(connection: "Connection", document: str, number: int) -> Revision:
    """Return a revision.

    Raises:
        InputError: ``revision-unknown``.
    """
    row = connection.execute(
        select(TABLE).where(TABLE.c.document == document, TABLE.c.number == number)
    ).first()
    if row is None:
        known = [item.number for item in revisions(connection, document)]
        if not known:
            raise unknown_document(connection, document)
        raise InputError(
            "revision-unknown",
            f"{document} has no revision {number}",
            remedy=f"It has {', '.join(map(str, known[-12:]))}.",
        )
    return Revision(*row)


def unknown_document(connection: "Connection", document: str) -> InputError:
    """Return the error for a document that is not in the ledger."""
    from ..nearest import did_you_mean

    names = [str(name) for (name,) in connection.execute(select(TABLE.c.document).distinct())]
    hint = did_you_mean(document, names, otherwise=f"It keeps: {', '.join(sorted(names)[:20])}.")
    return InputError("revision-unknown", f"the ledger has no {document!r}", remedy=hint)


def revisions(connection: "Connection", document: str) -> list[Revision]:
    """Return all revisions of a document, oldest first."""
    rows = connection.execute(
        select(TABLE).where(TABLE.c.document == document).order_by(TABLE.c.number)
    )
    return [Revision(*row) for row in rows]


def latest_approved(connection: "Connection", document: str) -> Revision | None:
    """Return the revision approved last, whether in force yet or not."""
    row = connection.execute(
        select(TABLE)
        .where(TABLE.c.document == document, TABLE.c.state == "approved")
        .order_by(TABLE.c.number.desc())
        .limit(1)
    ).first()
    return None if row is None else Revision(*row)


def in_force(connection: "Connection", document: str, at: str) -> Revision | None:
    """Return the revision of a document in force at a moment."""
    row = connection.execute(
        select(TABLE)
        .where(TABLE.c.document == document, TABLE.c.state == "approved", TABLE.c.effective <= at)
        .order_by(TABLE.c.number.desc())
        .limit(1)
    ).first()
    return None if row is None else Revision(*row)


def open_drafts(connection: "Connection") -> list[Revision]:
    """Return all drafts and submitted revisions."""
    rows = connection.execute(
        select(TABLE)
        .where(TABLE.c.state.in_(("draft", "submitted")))
        .order_by(TABLE.c.document, TABLE.c.number)
    )
    return [Revision(*row) for row in rows]


def approved_documents(connection: "Connection") -> list[str]:
    """Return every document that has an approved revision, sorted."""
    rows = connection.execute(
        select(TABLE.c.document).where(TABLE.c.state == "approved").distinct()
    )
    return sorted(str(document) for (document,) in rows)


# --- writing ------------------------------------------------------------------------------


def draft(
    writing: Writing,
    document: str,
    files: Mapping[str, bytes] | None,
    *,
    reason: str,
    evidence: str = "",
) -> Revision:
    """Begin a revision: a copy of the one approved last, or of the files given.

    Raises:
        InputError: ``revision-unknown`` for a new document without files, ``machine-unknown`` for
            a site of no model.
    """
    connection = writing.connection
    base = latest_approved(connection, document)
    if base is None and files is None:
        raise unknown_document(connection, document)
    if kind_of(document) == "overlay":
        _check_model(connection, document)
    content = base.content if base is not None and files is None else keep(connection, files or {})
    highest = connection.execute(
        select(func.max(TABLE.c.number)).where(TABLE.c.document == document)
    ).scalar()
    made = Revision(
        document=document,
        number=(highest or 0) + 1,
        base=base.number if base else 0,
        state="draft",
        content=content,
        reason=words(reason),
        evidence=words(evidence),
        author=writing.who,
        editors="",
        drafted=writing.at,
    )
    connection.execute(insert(TABLE), made._asdict())
    _enter(writing, "draft", made, base=made.base)
    return made


def _check_model(connection: "Connection", document: str) -> None:
    """Refuse a site of a model that the ledger has not."""
    from ..nearest import did_you_mean

    model = document.partition(MARK)[0]
    models = [name for name in approved_documents(connection) if kind_of(name) == "machine"]
    if model not in models:
        raise InputError(
            "machine-unknown", f"there is no model {model!r} to keep a site of",
            remedy=did_you_mean(model, models, otherwise=f"Known: {', '.join(models)}."),
        )  # fmt: skip


def edit(
    writing: Writing,
    document: str,
    number: int,
    *,
    files: Mapping[str, bytes] | None = None,
    reason: str | None = None,
    evidence: str | None = None,
) -> Revision:
    """Change a draft: its files, its reason, its evidence.

    Raises:
        InputError: ``revision-unknown`` or ``revision-state``.
    """
    old = _in_state(writing, document, number, "draft", "edited")
    changes: dict[str, Any] = {}
    if files is not None:
        changes["content"] = keep(writing.connection, files)
    if reason is not None:
        changes["reason"] = words(reason)
    if evidence is not None:
        changes["evidence"] = words(evidence)
    if changes.get("content", old.content) != old.content:
        changes["impact"] = ""  # a report on what it was before says nothing of it
    if old.author == MAKER:
        # It is no longer what the tool brought.
        changes |= {"author": writing.who, "editors": old.editors}
    else:
        changes["editors"] = _with_editor(old, writing.who)
    new = _change(writing, old, **changes)
    _enter(writing, "edit", new)
    return new


def submit(writing: Writing, document: str, number: int, *, effective: str = "") -> Revision:
    """Freeze a draft for approval.

    Args:
        writing: the transaction.
        document: whose.
        number: which.
        effective: stamp of when its author wants it to take effect; empty for at once.

    Raises:
        InputError: ``revision-state``, ``base-superseded``, ``draft-unchanged``,
            ``reason-missing`` or ``effective-past``.
    """
    effective = "" if effective == NOW else effective
    old = _in_state(writing, document, number, "draft", "submitted")
    check_base(writing.connection, old)
    base = latest_approved(writing.connection, document)
    if base is not None and base.content == old.content:
        raise InputError(
            "draft-unchanged", f"{old.ref} is the same as {base.ref}",
            remedy="Edit it first, or withdraw it.",
        )  # fmt: skip
    if not old.reason:
        raise InputError(
            "reason-missing", f"{old.ref} gives no reason",
            remedy="Say why: edit it with --reason TEXT.",
        )  # fmt: skip
    if effective and effective < writing.at:
        raise _past(old.ref, effective)
    new = _change(
        writing, old, state="submitted", submitted=writing.at, wanted=effective,
        editors=_with_editor(old, writing.who),
    )  # fmt: skip
    _enter(writing, "submit", new)
    return new


def give_back(writing: Writing, document: str, number: int, *, reason: str) -> Revision:
    """Give a submitted revision back to its author: it is a draft again.

    Raises:
        InputError: ``revision-state`` or ``reason-missing``.
    """
    old = _in_state(writing, document, number, "submitted", "given back")
    if not words(reason):
        raise InputError("reason-missing", f"no reason is given to give {old.ref} back",
                         remedy="Say why with --reason TEXT.")  # fmt: skip
    new = _change(writing, old, state="draft", submitted="", wanted="")
    _enter(writing, "return", new, reason=words(reason))
    return new


def withdraw(writing: Writing, document: str, number: int, *, reason: str = "") -> Revision:
    """Give up a revision that is not approved. It stays in the ledger.

    Raises:
        InputError: ``revision-state``.
    """
    old = revision(writing.connection, document, number)
    if old.state not in ("draft", "submitted"):
        raise _wrong_state(old, "withdrawn")
    new = _change(writing, old, state="withdrawn")
    _enter(writing, "withdraw", new, reason=words(reason))
    return new


def attach_impact(writing: Writing, document: str, number: int, report: bytes) -> Revision:
    """Attach the report of what a revision would change.

    Raises:
        InputError: ``revision-state``, or ``impact-missing`` where no job was asked.
    """
    old = revision(writing.connection, document, number)
    if old.state not in ("draft", "submitted"):
        raise _wrong_state(old, "given a report")
    if not jobs_of(report)[0]:
        raise InputError(
            "impact-missing", "no job of the backlog asks what the revision changes",
            remedy="Take a backlog with jobs for it that can be read.",
        )  # fmt: skip
    digest = keep(writing.connection, {"impact.json": report})
    new = _change(writing, old, impact=digest)
    _enter(writing, "impact", new, impact=digest)
    return new


def approve(
    writing: Writing,
    document: str,
    number: int,
    *,
    effective: str = "",
    without_impact: str = "",
) -> Revision:
    """Approve a submitted revision; it takes effect at its date.

    Args:
        writing: the transaction, in the name of the approver.
        document: whose.
        number: which.
        effective: stamp; empty for what its author wants, or at once.
        without_impact: why no report of its impact is needed.

    Raises:
        InputError: ``revision-state``, ``own-approval``, ``base-superseded``,
            ``effective-past``, ``effective-overlap``, ``impact-missing`` or ``impact-stale``.
    """
    connection = writing.connection
    old = _in_state(writing, document, number, "submitted", "approved")
    _check_hands(old, writing.who, "approve")
    check_base(connection, old)
    base = latest_approved(connection, document)
    begins = writing.at if effective == NOW else effective
    # What its author wanted may have passed while it waited: then it is for at once.
    begins = begins or max(old.wanted, writing.at)
    if begins < writing.at:
        raise _past(old.ref, begins)
    if base is not None and begins <= base.effective:
        raise InputError(
            "effective-overlap",
            f"{old.ref} would take effect on {minute(base.effective)} or before, "
            f"which is when {base.ref} does",
            where="--effective",
            remedy="Name a later date.",
        )
    _check_impact(connection, old, base, words(without_impact), writing.at)
    new = old._replace(
        state="approved",
        approver=writing.who,
        approved=writing.at,
        effective=begins,
        without_impact=words(without_impact),
        previous=base.digest if base else "",
    )
    new = new._replace(digest=new.own_digest())
    entry = _enter(writing, "approve", new)
    return _change(writing, old, **(new._replace(entry=entry)._asdict()))


def revoke(writing: Writing, document: str, number: int, *, reason: str) -> Revision:
    """Take back an approval before it takes effect: what is in force stays so.

    Only the revision approved last can be revoked, by a person who did not write it; a later
    one rests on it.

    Raises:
        InputError: ``revision-state``, ``own-approval`` or ``reason-missing``.
    """
    old = revision(writing.connection, document, number)
    last = latest_approved(writing.connection, document)
    if old.state != "approved" or old.effective <= writing.at:
        raise _wrong_state(old, "revoked")
    if last is not None and last.number != number:
        raise InputError(
            "revision-state", f"{old.ref} cannot be revoked: {last.ref} rests on it",
            remedy=f"Revoke {last.ref} first.",
        )  # fmt: skip
    _check_hands(old, writing.who, "revoke")
    if not words(reason):
        raise InputError("reason-missing", f"no reason is given to revoke {old.ref}",
                         remedy="Say why with --reason TEXT.")  # fmt: skip
    new = old._replace(state="revoked")
    _enter(writing, "revoke", new, reason=words(reason), entry=old.entry)
    return _change(writing, old, state="revoked")


def put_approved(writing: Writing, made: Revision, action: str) -> Revision:
    """Put a revision approved elsewhere into the ledger: a first release, or from a bundle."""
    placed = made._replace(entry=_enter(writing, action, made))
    writing.connection.execute(insert(TABLE), placed._asdict())
    return placed


def details(**known: object) -> str:
    """Return what an entry of the journal tells beside who, when and what."""
    return json.dumps(known, ensure_ascii=False, sort_keys=True)


def _enter(writing: Writing, action: str, made: Revision, **more: object) -> int:
    """Enter what was done into the journal, with the digest of the whole revision as it is now."""
    told = details(content=made.content, revision=made.own_digest(), **more)
    return writing.enter(action, made.document, made.number, told)


def _change(writing: Writing, old: Revision, **changes: Any) -> Revision:
    writing.connection.execute(
        update(TABLE)
        .where(TABLE.c.document == old.document, TABLE.c.number == old.number)
        .values(**changes)
    )
    return old._replace(**changes)


def _with_editor(old: Revision, who: str) -> str:
    names = [name for name in old.editors.split("\n") if name]
    if not any(is_same_person(name, who) for name in (old.author, *names)):
        names.append(person(who))
    return "\n".join(names)


def _in_state(writing: Writing, document: str, number: int, state: str, verb: str) -> Revision:
    found = revision(writing.connection, document, number)
    if found.state != state:
        raise _wrong_state(found, verb)
    return found


def _wrong_state(found: Revision, verb: str) -> InputError:
    if found.state == "approved":
        told = f"it was approved by {found.approver} on {minute(found.approved)}"
        remedy = f"Draft a new revision of {found.document}."
    elif found.state == "submitted":
        told = f"it was submitted on {minute(found.submitted)} and is frozen"
        remedy = "Another person approves it or gives it back."
    elif found.state == "revoked":
        told, remedy = "its approval was revoked", f"Draft a new revision of {found.document}."
    elif found.state == "withdrawn":
        told, remedy = "it was withdrawn", f"Draft a new revision of {found.document}."
    else:
        told, remedy = "it is a draft", "Submit it first."
    return InputError("revision-state", f"{found.ref} cannot be {verb}: {told}", remedy=remedy)


def _past(ref: str, effective: str) -> InputError:
    return InputError(
        "effective-past",
        f"{ref} cannot take effect on {minute(effective)}, which is past",
        where="--effective",
        remedy="Name a later date, or now.",
    )


def check_base(connection: "Connection", old: Revision) -> None:
    """Refuse a draft whose base is not the revision approved last.

    Raises:
        InputError: ``base-superseded`` with what changed meanwhile.
    """
    base = latest_approved(connection, old.document)
    if base is None or base.number == old.base:
        return
    from .difference import differences

    before = (
        kept(connection, revision(connection, old.document, old.base).content) if old.base else {}
    )
    changed = differences(before, kept(connection, base.content))
    told = "; ".join(item.text() for item in changed[:6]) or "nothing but comments"
    raise InputError(
        "base-superseded",
        f"{old.ref} was drafted from revision {old.base}, but {base.ref} was approved by "
        f"{base.approver} on {minute(base.approved)} meanwhile: {told}",
        remedy=f"Draft a new revision of {old.document} and bring your changes into it.",
    )


def _check_hands(old: Revision, who: str, verb: str) -> None:
    for name in (old.author, *filter(None, old.editors.split("\n"))):
        if is_same_person(name, who):
            raise InputError(
                "own-approval", f"{who} had a hand in {old.ref} and cannot {verb} it",
                remedy=f"Another person must {verb} it.",
            )  # fmt: skip


def _check_impact(
    connection: "Connection", old: Revision, base: Revision | None, without: str, at: str
) -> None:
    if base is None or without:
        return  # a new document changes no answer given so far
    if not old.impact:
        raise InputError(
            "impact-missing",
            f"nobody has seen which answers {old.ref} would change",
            remedy=f"Run: cuttable impact {old.ref} --backlog FILE; "
            "or say --without-impact REASON.",
        )
    (content,) = kept(connection, old.impact).values()
    beside = beside_of(connection, old.document, at)
    if _is_about(content) != (old.content, base.content, beside):
        raise InputError(
            "impact-stale",
            f"the report attached to {old.ref} is about another state of it, of {base.ref} or of "
            "what else is in force",
            remedy=f"Run it again: cuttable impact {old.ref} --backlog FILE.",
        )


def jobs_of(report: bytes) -> tuple[int, int]:
    """Return how many answers a report has looked at, and how many of them change."""
    try:
        totals = json.loads(report)["totals"]
        return int(totals["answers"]), int(totals["changed"])
    except (ValueError, LookupError, TypeError):
        return 0, 0


def _is_about(report: bytes) -> tuple[object, object, object]:
    """Return what a report is about: contents of revision and base, and what was beside them."""
    try:
        about = json.loads(report)["about"]
        return about["content"], about["base"], about["beside"]
    except (ValueError, LookupError, TypeError):
        return None, None, None


def beside_of(connection: "Connection", document: str, at: str) -> dict[str, int]:
    """Return what else answers rest on that a change of a document alters: number by document.

    Rules, catalogue, own sections and grades; with a model its sites, with a site its model, and
    with any of the former every model and site.
    """
    query = (
        select(TABLE.c.document, func.max(TABLE.c.number))
        .where(TABLE.c.state == "approved", TABLE.c.effective <= at)
        .group_by(TABLE.c.document)
    )
    found = {str(name): int(number) for name, number in connection.execute(query)}
    model = document.partition(MARK)[0]

    def counts(name: str) -> bool:
        if name == document:
            return False
        if name in WHOLE or document in WHOLE:
            return True
        return name == model or (MARK not in document and name.startswith(f"{document}{MARK}"))

    return {name: number for name, number in sorted(found.items()) if counts(name)}


NOW: Final = "now"


def wanted_stamp(text: str, now: dt.datetime) -> str:
    """Return the stamp of a date that a person typed; ``now`` for now, empty for none."""
    from .records import read_moment

    if not text.strip():
        return ""
    found = read_moment(text, now)
    return NOW if found == now else stamp(found)


def effective_date(made: Revision) -> dt.datetime:
    """Return when an approved revision takes effect."""
    return moment(made.effective)
