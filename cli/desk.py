"""Which limits are asked: those of a book, or those the tool brings.

``--book`` is an option of every command; without it and without the environment variable, a
person's own book is asked if there is one.
"""

import getpass
import os
from contextvars import ContextVar
from typing import TYPE_CHECKING, Final

import typer

from ..catalogue.book.place import Place, chosen, place_of
from ..catalogue.errors import InputError
from ..catalogue.store import Catalogue
from ..engine.ask import Desk

if TYPE_CHECKING:
    import datetime as dt

    from ..catalogue.book.connect import Book
    from ..catalogue.book.held import Held

PERSON: Final = "CUTTABLE_PERSON"
"""Environment variable with the name of the person who asks and signs."""

MAKER: Final = "cuttable"
"""Name of nobody: the author of the releases that the tool brings."""

_NAMED: ContextVar[str | None] = ContextVar("book", default=None)


def name_book(text: str | None) -> None:
    """Take the book that a command line names; None for none named.

    Raises:
        InputError: it cannot be a place.
    """
    if text is not None:
        place_of(text)  # refused before anything is done
    _NAMED.set(text)


def book_place() -> Place | None:
    """Return the place of the book that is asked; None for no book."""
    return chosen(_NAMED.get())


def named_place() -> Place:
    """Return the place of the book that is asked.

    Raises:
        InputError: ``book-missing`` where no book is asked.
    """
    place = book_place()
    if place is None:
        raise InputError(
            "book-missing", "no book is asked: 'none' is named", where="--book",
            remedy="Name one: --book PATH.",
        )  # fmt: skip
    return place


def held_book(*, at: "dt.datetime | None" = None) -> "Held | None":
    """Return what the book that is asked holds; None where the tool's own limits are.

    Raises:
        FileError: the book named is not there, or cannot be read.
    """
    place = book_place()
    if place is None or (place.is_default and not place.path.is_file()):
        return None
    from ..catalogue.book.held import Held

    return Held(place, at=at)


def open_desk(*, at: "dt.datetime | None" = None) -> Desk:
    """Return the desk that answers: of the book that is asked, else of the tool's own limits."""
    held = held_book(at=at)
    if held is None:
        return Desk()
    from ..engine.book_desk import desk_of

    return desk_of(held, None if at is None else at.date())


def open_catalogue(*, at: "dt.datetime | None" = None) -> Catalogue:
    """Return the catalogue that is asked."""
    return open_desk(at=at).catalogue


def open_book(*, is_made: bool = False) -> "Book":
    """Return the book that is asked, open for its history and for writing.

    Args:
        is_made: make a person's own book on first use.

    Raises:
        InputError: ``book-missing`` where no book is asked.
        FileError: the book cannot be opened.
    """
    place = named_place()
    from ..catalogue.book import connect

    if is_made and place.is_default and not place.path.is_file():
        from ..catalogue.book.making import make_book

        book = make_book(place, person(None), brought_here())
        typer.echo(f"Your book of limits was made: {place.label}", err=True)
        return book
    return connect.open_book(place)


def brought_here() -> dict[str, dict[str, bytes]]:
    """Return files by document: everything this tool brings."""
    from ..catalogue.book.brought import brought
    from ..catalogue.store import FOLDER
    from ..rules.loader import FOLDER as RULES_FOLDER

    return brought(FOLDER, RULES_FOLDER)


def person(named: str | None) -> str:
    """Return who asks or signs: named by option, by the environment, or as logged in.

    Raises:
        InputError: ``person-unknown``.
    """
    from ..catalogue.book.records import is_same_person
    from ..catalogue.book.records import person as tidy

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

    from ..catalogue.book.records import read_moment

    now = dt.datetime.now(dt.UTC)
    found = read_moment(text, now, option="--as-of")
    is_day = len(text.strip()) == 10 and found != now
    # A day as a whole: what was in force when it ended.
    return found + dt.timedelta(days=1, microseconds=-1) if is_day else found
