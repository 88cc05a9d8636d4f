"""Signed bundles: documents with their whole history, from one ledger to another.

A bundle is a folder or a zip with ``manifest.json`` (what is in it, with the digest of every
file), ``manifest.sig`` (an Ed25519 signature of the manifest) and the files it names
(:mod:`.bundle_writing`). All of it is read and checked before anything is written
(:mod:`.bundle_reading`), and then written in one transaction.
"""

from typing import TYPE_CHECKING, Final, NamedTuple

from ..errors import InputError
from .blobs import keep_packed
from .database import Writing
from .lifecycle import put_approved, revisions
from .records import Revision, is_same_person, minute
from .signing import trusted_keys

if TYPE_CHECKING:
    from sqlalchemy import Connection

SCHEMA: Final = "cuttable.bundle/1"
MANIFEST: Final = "manifest.json"
SIGNATURE: Final = "manifest.sig"


class Bundle(NamedTuple):
    """A bundle that was read and is whole.

    Attributes:
        key: fingerprint of the key that signed it.
        by, made: who made it, and when.
        histories: approved revisions by document, oldest first.
        packed: contents by digest: packing and bytes.
    """

    key: str
    by: str
    made: str
    histories: dict[str, list[Revision]]
    packed: dict[str, tuple[str, bytes]]


class Taken(NamedTuple):
    """What importing a bundle came to: revisions that are new, and documents known already."""

    added: list[Revision]
    known: list[str]


def plan_bundle(connection: "Connection", bundle: Bundle, who: str) -> Taken:
    """Return what taking a bundle would come to.

    Raises:
        InputError: ``bundle-untrusted``, ``own-approval`` where one person both trusts a key and
            takes what it signed, or ``bundle-diverged``.
    """
    trusting = {key: by for key, _, _, by in trusted_keys(connection)}
    if bundle.key not in trusting:
        raise InputError(
            "bundle-untrusted",
            f"the bundle is signed by {bundle.by} with a key this ledger does not trust: "
            f"{bundle.key}",
            remedy="Compare the fingerprint with them, then: cuttable ledger trust FINGERPRINT "
            "--name NAME.",
        )
    if is_same_person(trusting[bundle.key], who):
        raise InputError(
            "own-approval",
            f"{who} has trusted the key, and cannot take what it signed",
            remedy="Limits take two persons: another one imports the bundle.",
        )
    added: list[Revision] = []
    known: list[str] = []
    for document, history in bundle.histories.items():
        mine = revisions(connection, document)
        approved = [item for item in mine if item.state == "approved"]
        shared = min(len(approved), len(history))
        for own, theirs in zip(approved[:shared], history[:shared], strict=True):
            if own.digest != theirs.digest:
                raise _diverged(own, theirs)
        fresh = history[shared:]
        if not fresh:
            known.append(document)
            continue
        taken = {item.number: item for item in mine if item.number >= fresh[0].number}
        for item in fresh:
            if item.number in taken:
                raise InputError(
                    "bundle-diverged",
                    f"{item.ref} is approved in the bundle, but {taken[item.number].state} here",
                    remedy="Nothing was changed. Of a document that comes from another ledger no "
                    "revision is drafted here.",
                )
        added += fresh
    return Taken(added, known)


def take_bundle(writing: Writing, bundle: Bundle) -> Taken:
    """Put into a ledger what a bundle has and the ledger has not.

    Raises:
        InputError: what :func:`plan_bundle` tells; nothing is changed.
    """
    plan = plan_bundle(writing.connection, bundle, writing.who)
    for item in plan.added:
        for digest in filter(None, (item.content, item.impact)):
            keep_packed(writing.connection, digest, *bundle.packed[digest])
    return plan._replace(added=[put_approved(writing, item, "import") for item in plan.added])


def _diverged(own: Revision, theirs: Revision) -> InputError:
    return InputError(
        "bundle-diverged",
        f"{own.document} has two histories: here {own.ref} was approved by {own.approver} on "
        f"{minute(own.approved)}, in the bundle {theirs.ref} by {theirs.approver} on "
        f"{minute(theirs.approved)}",
        remedy="Nothing was changed. Agree which ledger leads for this document.",
    )
