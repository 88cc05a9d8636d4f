"""What a ledger holds in force, looked up again as time goes on: for whoever asks many times."""

import datetime as dt
import time

from ...catalogue.files.file_source import digest_of
from ...catalogue.ledger.location import Location
from ...catalogue.ledger.snapshot import Snapshot
from ..assessor import AssessorCore
from .ledger_assessor import assessor_of

NEVER = -1e9


class InForce:
    """Catalogue, rules and engine of what is in force; loaded again only when that changes.

    Not for several threads at once: a thread of its own asks it, or who asks holds a lock.

    Args:
        fresh: seconds for which a ledger is not looked at again.

    Attributes:
        key: changes when what is in force does; empty before it was first asked.
        snapshot: the ledger then; None where the limits that the tool brings are asked.
    """

    def __init__(self, fresh: float) -> None:
        self.fresh = fresh
        self.key = ""
        self.snapshot: Snapshot | None = None
        self._assessor: AssessorCore | None = None
        self._place: Location | None = None
        self._looked = NEVER

    def is_fresh(self) -> bool:
        """Say whether the ledger was looked at a moment ago."""
        return time.monotonic() - self._looked < self.fresh

    def forget(self) -> None:
        """Look at the ledger again before the next answer."""
        self._looked = NEVER

    def assessor(self, place: Location | None, *, is_anew: bool = False) -> AssessorCore:
        """Return what answers, of what is in force now.

        Args:
            place: where the ledger is; None for the limits that the tool brings.
            is_anew: look at the ledger even if it was looked at a moment ago.

        Raises:
            FileError: the ledger is missing, damaged, or of another form.
        """
        is_same = place == self._place and self.is_fresh() and not is_anew
        if self._assessor is not None and is_same:
            return self._assessor
        looked = time.monotonic()
        snapshot = None if place is None else Snapshot(place)
        key = _key(snapshot)
        if self._assessor is None or (place, key) != (self._place, self.key):
            self.close()
            self._assessor = _assessor(snapshot)
            self.snapshot, self.key, self._place = snapshot, key, place
        elif snapshot is not None and self.snapshot is not None:
            # The same revisions are in force; what is kept says when they were looked up.
            self.snapshot.mark = snapshot.mark
            snapshot.close()
        self._looked = looked
        return self._assessor

    def close(self) -> None:
        """Let go of the ledger; the next question opens it again."""
        if self.snapshot is not None:
            self.snapshot.close()
        self.snapshot = self._assessor = None


def _assessor(snapshot: Snapshot | None) -> AssessorCore:
    if snapshot is None:
        return AssessorCore()
    try:
        return assessor_of(snapshot)
    except BaseException:
        snapshot.close()
        raise


def _key(snapshot: Snapshot | None) -> str:
    """Return the digest of what is in force: rules begin and end by their dates too."""
    numbers = {} if snapshot is None else snapshot.numbers
    day = dt.datetime.now(dt.UTC).date().isoformat()
    parts = [f"{name}={number} {digest}" for name, (number, digest) in sorted(numbers.items())]
    return digest_of(day.encode(), *(part.encode() for part in parts))
