"""A desk that asks what a book holds in force at a moment."""

import datetime as dt
from pathlib import Path

from ..catalogue.book.brought import CATALOGUE_FILES, RULE_FILES, brought_digest
from ..catalogue.book.held import Held
from ..catalogue.book.records import CATALOGUE, RULES, moment
from ..catalogue.errors import InputError
from ..catalogue.reading import Files, KeptFiles
from ..catalogue.store import FOLDER as CATALOGUE_FOLDER
from ..catalogue.store import Catalogue
from ..rules.loader import FOLDER as RULES_FOLDER
from .ask import Desk


def desk_of(held: Held, on: dt.date | None = None) -> Desk:
    """Return the desk for what a book holds.

    Args:
        held: the book at a moment.
        on: day of the rules; else the day of that moment.

    Raises:
        InputError: ``revision-unknown`` where nothing was in force then.
    """
    catalogue = Catalogue(catalogue_files(held), models=held, own=held.own)
    return Desk(catalogue, rule_files(held), on or moment(held.mark.at).date())


def catalogue_files(held: Held) -> Path | Files:
    """Return the curated tables and grades in force; the tool's own where they are the same."""
    return _files(held, CATALOGUE, CATALOGUE_FOLDER, CATALOGUE_FILES)


def rule_files(held: Held) -> Path | Files:
    """Return the rules in force; the tool's own where they are the same."""
    return _files(held, RULES, RULES_FOLDER, RULE_FILES)


def _files(held: Held, document: str, folder: Path, patterns: tuple[str, ...]) -> Path | Files:
    digest = held.digest(document)
    if not digest:
        raise InputError(
            "revision-unknown",
            f"the book has nothing in force on {held.mark.at[:16].replace('T', ' ')} UTC",
            where=held.label,
            remedy="Ask for a later date: cuttable machines history MODEL tells which.",
        )
    if digest == brought_digest(folder, patterns):
        return folder
    number = held.numbers[document][0]
    return KeptFiles(held.files(document), f"{held.label}, {document}/{number}")
