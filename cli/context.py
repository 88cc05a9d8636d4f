"""Which limits are asked: those of a ledger, or those the tool brings.

``--ledger`` is an option of every command; without it and without the environment variable, a
person's own ledger is asked if there is one.
"""

import getpass
import os
from contextvars import ContextVar
from typing import TYPE_CHECKING, Final

import typer

from ..catalogue.errors import InputError
from ..catalogue.ledger.location import Location, chosen, location_of
from ..catalogue.store import Catalogue
from ..engine.assessor import AssessorCore

if TYPE_CHECKING:
    import datetime as dt

    from ..catalogue.ledger.database import Ledger
    from ..catalogue.ledger.snapshot import Snapshot

PERSON: Final = "CUTTABLE_PERSON"
"""Environment variable with the name of the person who asks and signs."""

MAKER: Final = "cuttable"
"""Name of nobody: the author of the releases that the tool brings."""

_NAMED: ContextVar[str | None] = ContextVar("ledger", default=None)


def name_ledger(text: str | None) -> None:
    """Take the ledger that a command line names; None for none named.

    Raises:
        InputError: it cannot be a place.
    """
    if text is not None:
        location_of(text)  # refused before anything is done
    _NAMED.set(text)


def ledger_location() -> Location | None:
    """Return the place of the ledger that is asked; None for no ledger."""
    return chosen(_NAMED.get())


def named_place() -> Location:
    """Return the place of the ledger that is asked.

    Raises:
        InputError: ``ledger-missing`` where no ledger is asked.
    """
    place = ledger_location()
    if place is None:
        raise InputError(
            "ledger-missing", "no ledger is asked: 'none' is named", where="--ledger",
            remedy="Name one: --ledger PATH.",
        )  # fmt: skip
    return place


def ledger_snapshot(*, at: "dt.datetime | None" = None) -> "Snapshot | None":
    """Return what the ledger that is asked holds; None where the tool's own limits are.

    Raises:
        FileError: the ledger named is not there, or cannot be read.
    """
    place = ledger_location()
    if place is None or (place.is_default and not place.path.is_file()):
        return None
    from ..catalogue.ledger.snapshot import Snapshot

    return Snapshot(place, at=at)


def open_assessor(*, at: "dt.datetime | None" = None) -> AssessorCore:
    """Return the assessor that answers: of the ledger asked, else of the tool's own limits."""
    snapshot = ledger_snapshot(at=at)
    if snapshot is None:
        return AssessorCore()
    from ..engine.review.ledger_assessor import assessor_of

    return assessor_of(snapshot, None if at is None else at.date())


def open_catalogue(*, at: "dt.datetime | None" = None) -> Catalogue:
    """Return the catalogue that is asked."""
    return open_assessor(at=at).catalogue


def open_ledger(*, is_made: bool = False) -> "Ledger":
    """Return the ledger that is asked, open for its history and for writing.

    Args:
        is_made: make a person's own ledger on first use.

    Raises:
        InputError: ``ledger-missing`` where no ledger is asked.
        FileError: the ledger cannot be opened.
    """
    place = named_place()
    from ..catalogue.ledger import database

    if is_made and place.is_default and not place.path.is_file():
        from ..catalogue.ledger.creation import make_ledger

        ledger = make_ledger(place, person(None), brought_here())
        typer.echo(f"Your ledger of limits was made: {place.label}", err=True)
        return ledger
    return database.open_ledger(place)


def brought_here() -> dict[str, dict[str, bytes]]:
    """Return files by document: everything this tool brings."""
    from ..catalogue.ledger.shipped import brought
    from ..catalogue.store import FOLDER
    from ..rules.loader import FOLDER as RULES_FOLDER

    return brought(FOLDER, RULES_FOLDER)


def person(named: str | None) -> str:
    """Return who asks or signs: named by option, by the environment, or as logged in.

    Raises:
        InputError: ``person-unknown``.
    """
    from ..catalogue.ledger.records import is_same_person
    from ..catalogue.ledger.records import person as tidy

    name = os.environ.get(PERSON, "") if named is None else named
    if named is None and not name.strip():
        try:
            name = getpass.getuser()
        except (OSError, KeyError, ImportError):
            name = ""
    found = tidy(name)
    if is_same_person(found, MAKER):
        raise InputError(
            "person-unknown", f"{found!r} is the tool's own name, for what it brings",
            remedy="Name the person with --as NAME, or set CUTTABLE_PERSON.",
        )  # fmt: skip
    return found


def as_of(text: str) -> "dt.datetime | None":
    """Return the moment of ``--as-of``; None where it is not given.

    Raises:
        InputError: ``date-unreadable``.
    """
    if not text:
        return None
    import datetime as dt

    from ..catalogue.ledger.records import read_moment

    now = dt.datetime.now(dt.UTC)
    found = read_moment(text, now, option="--as-of")
    is_day = len(text.strip()) == 10 and found != now
    # A day as a whole: what was in force when it ended.
    return found + dt.timedelta(days=1, microseconds=-1) if is_day else found
