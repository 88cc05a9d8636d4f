"""What a program asks: what is in force in a ledger, looked up again as time goes on."""

import datetime as dt
import time
from pathlib import Path
from typing import Final

from ...catalogue.ledger.location import Location, chosen
from ...catalogue.ledger.snapshot import Snapshot
from ..assessor import AssessorCore
from ..review.ledger_assessor import assessor_of

FRESH: Final = 1.0
"""Seconds for which a ledger is not looked at again."""


class Standing:
    """Catalogue, rules and engine of what is in force; loaded again only when that changes.

    Not for several threads at once: who uses it holds a lock.

    Args:
        ledger: a file, ``postgresql://…`` or ``none`` for the limits the tool brings; None for
            the one that the command line would ask.
    """

    def __init__(self, ledger: str | Path | None) -> None:
        self._ledger = None if ledger is None else str(ledger)
        self._assessor: AssessorCore | None = None
        self._held: Snapshot | None = None
        self._key: object = None
        self._place: Location | None = None
        self._looked = -1e9

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
        place = self.place
        is_fresh = time.monotonic() - self._looked < FRESH
        if self._assessor is not None and is_fresh and place == self._place:
            return self._assessor
        looked = time.monotonic()
        snapshot = None if place is None else Snapshot(place)
        # Rules begin and end by their dates too.
        key = (
            place,
            dt.datetime.now(dt.UTC).date(),
            None if snapshot is None else snapshot.numbers,
        )
        if self._assessor is None or key != self._key:
            self.close()
            self._assessor = AssessorCore() if snapshot is None else assessor_of(snapshot)
            self._held, self._key = snapshot, key
        elif snapshot is not None:
            snapshot.close()
        self._place, self._looked = place, looked
        return self._assessor

    def close(self) -> None:
        """Let go of the ledger; the next question opens it again."""
        if self._held is not None:
            self._held.close()
        self._assessor = self._held = self._key = None
