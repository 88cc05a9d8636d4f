"""What a program asks: what is in force in the ledger that is the right one just then."""

from pathlib import Path
from typing import Final

from ...catalogue.ledger.location import Location, chosen
from ..assessor import AssessorCore
from ..review.in_force import InForce

FRESH: Final = 1.0
"""Seconds for which a ledger is not looked at again."""


class Standing:
    """What is in force where a program asks; not for several threads at once.

    Args:
        ledger: a file, ``postgresql://…`` or ``none`` for the limits the tool brings; None for
            the one that the command line would ask.
    """

    def __init__(self, ledger: str | Path | None) -> None:
        self._ledger = None if ledger is None else str(ledger)
        self._in_force = InForce(FRESH)

    @property
    def place(self) -> Location | None:
        """Where the ledger is; None where the limits that the tool brings are asked.

        Raises:
            InputError: ``ledger-place-unknown``.
        """
        place = chosen(self._ledger)
        if place is None or (place.is_default and not place.path.is_file()):
            return None
        return place

    def assessor(self) -> AssessorCore:
        """Return what answers, of what is in force now.

        Raises:
            FileError: the ledger is missing, damaged, or of another form.
        """
        return self._in_force.assessor(self.place)

    def close(self) -> None:
        """Let go of the ledger; the next question opens it again."""
        self._in_force.close()
