"""The first administrator of a book, and a way in for whoever lost theirs."""

from typing import Final

from ..catalogue.book import accounts
from ..catalogue.book.connect import Book

NAME: Final = "Administrator"
"""Name of the first account."""


def first_administrator(book: Book) -> str:
    """Make the first account where there is none and return its one-time password, else nothing.

    Raises:
        FileError: the book cannot be written.
    """
    with book.reading() as connection:
        if not accounts.is_empty(connection):
            return ""
    with book.writing(NAME) as writing:
        # Another service may have made it since.
        if not accounts.is_empty(writing.connection):
            return ""
        return accounts.add_person(writing, NAME, "administrator")


def one_time_password(book: Book, who: str, name: str) -> str:
    """Give an account a one-time password, in the name of who runs the tool, and return it.

    Raises:
        InputError: ``account-unknown``.
        FileError: the book cannot be written.
    """
    with book.writing(who) as writing:
        return accounts.set_password(writing, name)
