"""What a ledger holds in force at a moment, read with nothing but the database's own library.

Every question starts cold, and the library that keeps the history takes nearly as long to load as
the question takes to answer. So this reads the few rows that an answer needs by itself;
``tests/ledger`` holds it to the same answer as the rest.
"""

import datetime as dt
import sqlite3
from collections.abc import Mapping, Sequence
from copy import copy
from functools import cached_property
from typing import Any, NamedTuple

from ..errors import InputError
from ..machines.site_overlay import MARK
from ..store import ModelFile, Own
from .db_errors import damaged, last_moment, told
from .location import Location
from .records import CATALOGUE, GRADES, RULES, SECTIONS, WHOLE, minute, stamp, unpack_kept

FORM = "0004"
"""The form of tables that is read; the same as the last of :data:`.database.FORMS`."""

_IN_FORCE = (
    "SELECT r.document, r.number, r.content FROM revisions r JOIN ("
    "SELECT a.document, max(a.number) AS number FROM revisions a "
    "WHERE a.effective <= ? AND a.entry <= ? AND (a.state = 'approved' OR (a.state = 'revoked' "
    # Revoked after the mark was made: until then it was in force by the clock that made it.
    "AND EXISTS (SELECT 1 FROM journal j WHERE j.document = a.document AND j.number = a.number "
    "AND j.action = 'revoke' AND j.entry > ?))) GROUP BY a.document"
    ") f ON f.document = r.document AND f.number = r.number"
)


class Mark(NamedTuple):
    """A point in a ledger's life: a moment, and how many entries its journal had.

    Both, because a revision may be approved later with a clock that is a little behind.
    """

    at: str
    entries: int


class Snapshot:
    """What is in force at a moment; the ledger's models, rules, sections and grades.

    Args:
        place: where the ledger is.
        mark: the point to look from; else now.
        at: a moment to look from, with all that the ledger knows today; else now.
        now: this moment, for tests.

    Raises:
        FileError: ``ledger-missing``, ``ledger-older``, ``clock-behind`` and what
            :func:`~.faults.told` tells.
    """

    def __init__(
        self,
        place: Location,
        *,
        mark: Mark | None = None,
        at: dt.datetime | None = None,
        now: dt.datetime | None = None,
    ) -> None:
        self.place = place
        self.beside: dict[str, tuple[str, bytes]] = {}
        with told(place):
            self._connection = _connect(place)
            try:
                self.mark = self._mark(mark, at, now or dt.datetime.now(dt.UTC))
                self.numbers: dict[str, tuple[int, str]] = {
                    document: (number, content)
                    for document, number, content in self._rows(
                        _IN_FORCE, (*self.mark, self.mark.entries)
                    )
                }
            except BaseException:
                self._connection.close()
                raise

    def close(self) -> None:
        """Let go of the connection."""
        self._connection.close()

    def _mark(self, mark: Mark | None, at: dt.datetime | None, now: dt.datetime) -> Mark:
        """Return the point to look from, once the form of the tables is known to be today's."""
        form = self._form()
        if form != FORM:
            from .database import check_form

            check_form(form, self.place)
        if mark is not None:
            return mark
        found = self._rows("SELECT last_time, entries FROM book")
        if not found:
            raise damaged(self.place, "it does not tell where its journal ends")
        ((text, entries),) = found
        last = last_moment(text, self.place)
        if at is None and now < last:
            from .database import check_clock

            check_clock(now, last, self.place)
            at = last
        if at is not None and at < last:
            # As the ledger then knew it: what was imported later with an earlier date was not
            # there.
            ((entries,),) = self._rows(
                "SELECT coalesce(max(entry), 0) FROM journal WHERE at <= ?", (stamp(at),)
            )
        return Mark(stamp(at or now), entries)

    def _form(self) -> str:
        try:
            rows = self._rows("SELECT version_num FROM alembic_version")
        except Exception as fault:
            # The one complaint that means there is no ledger; everything else is a fault.
            if "no such table" in str(fault) or getattr(fault, "sqlstate", "") == "42P01":
                return ""
            raise
        return str(rows[0][0]) if rows else ""

    def _rows(self, query: str, values: Sequence[Any] = ()) -> list[Any]:
        if self.place.kind == "postgresql":
            query = query.replace("?", "%s")
        cursor = self._connection.cursor()
        cursor.execute(query, tuple(values))
        return cursor.fetchall()

    def content(self, digest: str, document: str) -> dict[str, bytes]:
        """Return kept files by name.

        Raises:
            FileError: ``ledger-damaged``.
        """
        if digest in self.beside:
            return unpack_kept(*self.beside[digest], document, digest)
        with told(self.place):
            rows = self._rows("SELECT packing, body FROM contents WHERE digest = ?", (digest,))
            if not rows:
                raise damaged(self.place, f"the content of {document} is missing")
            return unpack_kept(rows[0][0], bytes(rows[0][1]), document, digest)

    def files(self, document: str) -> dict[str, bytes]:
        """Return the files of the revision in force of a document that there is."""
        return self.content(self.numbers[document][1], document)

    def digest(self, document: str) -> str:
        """Return the digest of the content in force; empty where there is none."""
        return self.numbers.get(document, (0, ""))[1]

    def file(self, document: str) -> ModelFile | None:
        """Return the one file of a document in force, None where there is none."""
        if document not in self.numbers:
            return None
        number = self.numbers[document][0]
        (content,) = self.files(document).values()
        return ModelFile(content, f"{self.label}, {document}/{number}", number)

    def with_revision(self, document: str, number: int, content: str) -> "Snapshot":
        """Return what would be held were a revision in force: ``content`` is its digest."""
        return self.with_numbers({document: (number, content)}, {})

    def with_numbers(
        self,
        numbers: Mapping[str, tuple[int, str]],
        packed: Mapping[str, tuple[str, bytes]],
    ) -> "Snapshot":
        """Return what would be held were other revisions in force.

        Args:
            numbers: number and content by document.
            packed: contents that the ledger does not have yet, as it would keep them, by digest.
        """
        other = copy(self)
        other.numbers = self.numbers | dict(numbers)
        other.beside = self.beside | dict(packed)
        other.__dict__.pop("_machines", None)
        return other

    def scheduled(self) -> list[tuple[str, str, int, str]]:
        """Return what takes effect after this moment: when, document, number, content; in order."""
        with told(self.place):
            return [
                (row[0], row[1], row[2], row[3])
                for row in self._rows(
                    "SELECT effective, document, number, content FROM revisions "
                    "WHERE state = 'approved' AND effective > ? ORDER BY effective, document",
                    (self.mark.at,),
                )
            ]

    @property
    def label(self) -> str:
        """How to call the ledger in messages."""
        return f"ledger {self.place.label}"

    # --- as the catalogue's models --------------------------------------------------------

    @cached_property
    def _machines(self) -> list[str]:
        return sorted(name for name in self.numbers if name not in WHOLE)

    def codes(self) -> list[str]:
        """Return the codes of all models in force."""
        return [name for name in self._machines if MARK not in name]

    def overlays(self) -> list[str]:
        """Return ``model@name`` for every overlay in force."""
        return [name for name in self._machines if MARK in name]

    def model(self, code: str) -> ModelFile:
        """Return the file of a model in force."""
        found = self.file(code)
        if found is None:
            raise InputError(
                "machine-unknown", f"no revision of {code!r} is in force on {minute(self.mark.at)}",
                remedy=f"See: cuttable machines history {code}.",
            )  # fmt: skip
        return found

    def overlay(self, code: str) -> ModelFile:
        """Return the file of an overlay in force."""
        return self.model(code)

    @property
    def own(self) -> Own:
        """Sections and grades of the site's own."""
        return Own(self.file(SECTIONS), self.file(GRADES))

    @property
    def rules_digest(self) -> str:
        """Digest of the rule files in force."""
        return self.digest(RULES)

    @property
    def catalogue_digest(self) -> str:
        """Digest of the curated tables and grades in force."""
        return self.digest(CATALOGUE)


def _connect(place: Location) -> Any:
    if place.kind == "postgresql":
        try:
            import psycopg
        except ModuleNotFoundError as fault:
            raise InputError(
                "option-needs", f"a ledger in PostgreSQL needs the package {fault.name}",
                remedy="Install it: pip install 'cuttable[postgres]'.",
            ) from None  # fmt: skip
        connection = psycopg.connect(
            place.text, connect_timeout=5, autocommit=True, client_encoding="utf8"
        )
        connection.execute("SET default_transaction_read_only = on")
        return connection
    from urllib.parse import quote

    if not place.path.is_file():
        from .database import check_form

        check_form("", place)
    # Opened for writing where that is allowed: what a writer that was killed left half done is
    # taken back by whoever opens the ledger next.
    where = f"file:{quote(str(place.path.absolute()))}"
    # Who asks from several threads asks one at a time; SQLite itself does not mind which it is.
    try:
        connection = sqlite3.connect(
            f"{where}?mode=rw", uri=True, timeout=5, check_same_thread=False
        )
    except sqlite3.OperationalError:
        connection = sqlite3.connect(
            f"{where}?mode=ro", uri=True, timeout=5, check_same_thread=False
        )
    return connection
