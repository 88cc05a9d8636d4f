"""The first administrator of a ledger, and a way in for whoever lost theirs."""

from typing import Final

from ...catalogue.ledger import accounts
from ...catalogue.ledger.database import Ledger

NAME: Final = "Administrator"
"""Name of the first account."""


def first_administrator(ledger: Ledger) -> str:
    """Make the first account where there is none and return its one-time password, else nothing.

    Raises:
        FileError: the ledger cannot be written.
    """
    with ledger.reading() as connection:
        if not accounts.is_empty(connection):
            return ""
    with ledger.writing(NAME) as writing:
        # Another service may have made it since.
        if not accounts.is_empty(writing.connection):
            return ""
        return accounts.add_person(writing, NAME, "administrator")


def one_time_password(ledger: Ledger, who: str, name: str) -> str:
    """Give an account a one-time password, in the name of who runs the tool, and return it.

    Raises:
        InputError: ``account-unknown``.
        FileError: the ledger cannot be written.
    """
    with ledger.writing(who) as writing:
        return accounts.set_password(writing, name)
