"""An assessor that asks what a ledger holds in force at a moment."""

import datetime as dt
from pathlib import Path

from ...catalogue.errors import InputError
from ...catalogue.files.file_source import Files, KeptFiles
from ...catalogue.ledger.records import CATALOGUE, RULES, moment
from ...catalogue.ledger.shipped import CATALOGUE_FILES, RULE_FILES, brought_digest
from ...catalogue.ledger.snapshot import Snapshot
from ...catalogue.store import FOLDER as CATALOGUE_FOLDER
from ...catalogue.store import Catalogue
from ...rules.loader import FOLDER as RULES_FOLDER
from ..assessor import AssessorCore


def assessor_of(snapshot: Snapshot, on: dt.date | None = None) -> AssessorCore:
    """Return the assessor for what a ledger holds.

    Args:
        snapshot: the ledger at a moment.
        on: day of the rules; else the day of that moment.

    Raises:
        InputError: ``revision-unknown`` where nothing was in force then.
    """
    catalogue = Catalogue(catalogue_files(snapshot), models=snapshot, own=snapshot.own)
    return AssessorCore(catalogue, rule_files(snapshot), on or moment(snapshot.mark.at).date())


def catalogue_files(snapshot: Snapshot) -> Path | Files:
    """Return the curated tables and grades in force; the tool's own where they are the same."""
    return _files(snapshot, CATALOGUE, CATALOGUE_FOLDER, CATALOGUE_FILES)


def rule_files(snapshot: Snapshot) -> Path | Files:
    """Return the rules in force; the tool's own where they are the same."""
    return _files(snapshot, RULES, RULES_FOLDER, RULE_FILES)


def _files(
    snapshot: Snapshot, document: str, folder: Path, patterns: tuple[str, ...]
) -> Path | Files:
    digest = snapshot.digest(document)
    if not digest:
        raise InputError(
            "revision-unknown",
            f"the ledger has nothing in force on {snapshot.mark.at[:16].replace('T', ' ')} UTC",
            where=snapshot.label,
            remedy="Ask for a later date: cuttable machines history MODEL tells which.",
        )
    if digest == brought_digest(folder, patterns):
        return folder
    number = snapshot.numbers[document][0]
    return KeptFiles(snapshot.files(document), f"{snapshot.label}, {document}/{number}")
