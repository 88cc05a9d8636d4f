"""Records and the chains that hold them together.

Every entry of the journal and every kept answer carries the digest of the one before it, and so
does every approved revision within its document. What was changed or taken out later breaks the
chain there, and ``verify`` says where.
"""

import datetime as dt
import re
import unicodedata
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from ..errors import FileError, InputError
from ..files.file_source import digest_of
from ..machines.site_overlay import MARK

RULES: Final = "rules"
CATALOGUE: Final = "catalogue"
SECTIONS: Final = "sections"
GRADES: Final = "grades"
WHOLE: Final = (RULES, CATALOGUE, SECTIONS, GRADES)
"""Documents of which a ledger has one each; every other document is a machine or an overlay."""

MAKER: Final = "cuttable"
"""Who the tool's own releases are by; nobody else may be called so."""

STATES: Final = ("draft", "submitted", "approved", "withdrawn", "revoked")


class Revision(NamedTuple):
    """One revision of a document. Texts that do not exist yet are empty; times are UTC.

    Attributes:
        document: a model code, ``model@name`` for an overlay, or one of :data:`WHOLE`.
        base: number of the approved revision it was drafted from; 0 for the first.
        state: one of :data:`STATES`.
        content: digest of the files.
        wanted: when its author wants it to take effect.
        previous: digest of the revision approved before it.
        entry: number of the journal entry that approved it, 0 before.
    """

    document: str
    number: int
    base: int
    state: str
    content: str
    reason: str
    evidence: str
    author: str
    editors: str
    drafted: str
    submitted: str = ""
    wanted: str = ""
    approver: str = ""
    approved: str = ""
    effective: str = ""
    impact: str = ""
    without_impact: str = ""
    previous: str = ""
    digest: str = ""
    entry: int = 0

    @property
    def ref(self) -> str:
        """How people name it: ``rowan-150/3``."""
        return f"{self.document}/{self.number}"

    def own_digest(self) -> str:
        """Return the digest of everything that was approved."""
        fields = self._replace(digest="", entry=0, state="approved")
        return digest_of(*(str(value).encode() for value in fields))


class Entry(NamedTuple):
    """One entry of the journal: who did what, when."""

    entry: int
    at: str
    who: str
    action: str
    document: str
    number: int
    details: str
    previous: str
    digest: str = ""

    def own_digest(self) -> str:
        """Return the digest of the entry."""
        return digest_of(*(str(value).encode() for value in self[:-1]))


def kind_of(document: str) -> str:
    """Return ``machine``, ``overlay``, ``rules``, ``catalogue``, ``sections`` or ``grades``."""
    if document in WHOLE:
        return document
    return "overlay" if MARK in document else "machine"


_CODE = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}(@[a-z0-9][a-z0-9_.-]{0,38})?")


def check_document(document: str) -> str:
    """Return a document's name as it is kept: small letters.

    Raises:
        InputError: ``name-unusable``.
    """
    name = document.strip().casefold()
    if not _CODE.fullmatch(name):
        raise InputError(
            "name-unusable",
            f"{document.strip()[:60]!r} cannot be the name of a model",
            remedy="Use up to 40 letters, digits, hyphens; for a site MODEL@NAME.",
        )
    return name


def parse_ref(text: str) -> tuple[str, int]:
    """Read ``rowan-150/3``.

    Raises:
        InputError: ``revision-unknown``.
    """
    document, slash, number = text.strip().casefold().rpartition("/")
    if not slash or not number.isdecimal() or len(number) > 9:
        raise InputError(
            "revision-unknown",
            f"{text.strip()[:60]!r} names no revision",
            remedy="Write it like rowan-150/3: document, slash, number.",
        )
    return check_document(document), int(number)


def person(text: str) -> str:
    """Return a person's name as it is kept: one line, spaces tidied.

    Raises:
        InputError: ``person-unknown`` where nothing is left.
    """
    plain = unicodedata.normalize("NFKC", text)
    plain = "".join(char if char.isprintable() else " " for char in plain)
    name = " ".join(plain.split())[:80]
    if not name:
        raise InputError(
            "person-unknown", "nobody is named who does this",
            remedy="Name the person with --as NAME, or set CUTTABLE_PERSON.",
        )  # fmt: skip
    return name


def is_same_person(first: str, second: str) -> bool:
    """Say whether two names are one person's: letters, not their case or spacing, count."""
    return _letters(first) == _letters(second)


def _letters(name: str) -> str:
    return "".join(person(name).casefold().split())


def words(text: str) -> str:
    """Return free text as it is kept: without control characters but line ends, tidied."""
    lines = unicodedata.normalize("NFC", text).splitlines()
    kept = ("".join(char for char in line if char.isprintable()).strip() for line in lines)
    return "\n".join(kept).strip()[:20_000]


def stamp(moment: dt.datetime) -> str:
    """Return a moment as text that sorts as time runs."""
    # Not strftime: it writes the year 226 with three digits, which sorts after 2026.
    return moment.astimezone(dt.UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def minute(text: str) -> str:
    """Return a stamp as people read it, ``2026-11-25 08:00 UTC``; a text that is none as it is."""
    return f"{text[:10]} {text[11:16]} UTC" if text[11:16] else text


def moment(text: str) -> dt.datetime:
    """Return the moment of a stamp."""
    return dt.datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=dt.UTC)


def read_moment(text: str, now: dt.datetime, *, option: str = "--effective") -> dt.datetime:
    """Read ``now``, ``2026-12-01`` (its first moment, UTC) or a date with time and zone.

    Today's date is now: its first moment has passed.

    Raises:
        InputError: ``date-unreadable``.
    """
    plain = text.strip()
    if plain.casefold() in ("now", "today") or plain == now.date().isoformat():
        return now
    try:
        found = dt.datetime.fromisoformat(plain)
        if found.tzinfo is None:
            found = found.replace(tzinfo=dt.UTC)
        return found.astimezone(dt.UTC)
    except (ValueError, OverflowError):
        raise InputError(
            "date-unreadable", f"{plain[:40]!r} is no date", where=option,
            remedy="Write it like 2026-12-01, or 2026-12-01T06:00+01:00.",
        ) from None  # fmt: skip


def pack(files: Mapping[str, bytes]) -> tuple[str, str, bytes]:
    """Return digest, packing and bytes under which files are kept.

    One file is kept as it is, and its digest is the file's own; several as one JSON object.

    Raises:
        InputError: ``name-unusable`` for a file that is not UTF-8 text.
    """
    import json

    if len(files) == 1:
        ((name, content),) = files.items()
        _ = name
        return digest_of(content), "file", content
    texts: dict[str, str] = {}
    for name, content in sorted(files.items()):
        try:
            texts[name] = content.decode("utf-8")
        except UnicodeDecodeError:
            raise InputError("name-unusable", f"{name} is not UTF-8 text") from None
    body = json.dumps(texts, ensure_ascii=False, sort_keys=True).encode()
    return digest_of_files(files), "set", body


def digest_of_files(files: Mapping[str, bytes]) -> str:
    """Return the digest under which several files are kept."""
    return digest_of(*(part for name in sorted(files) for part in (name.encode(), files[name])))


def unpack(packing: str, body: bytes, document: str) -> dict[str, bytes]:
    """Return kept files by name; a file kept alone is named by its document."""
    if packing == "file":
        return {f"{document}.toml": body}
    import json

    texts: dict[str, Any] = json.loads(body)
    return {name: str(text).encode() for name, text in texts.items()}


def unpack_kept(packing: str, body: bytes, document: str, digest: str) -> dict[str, bytes]:
    """Return kept files by name, if they are what was kept under a digest.

    Raises:
        FileError: ``ledger-damaged``: they are not. No answer may rest on them.
    """
    try:
        files = unpack(packing, body, document)
        own = digest_of_files(files) if packing == "set" else digest_of(body)
    except (ValueError, AttributeError, RecursionError):
        own, files = "", {}
    if own != digest:
        raise FileError(
            "ledger-damaged", f"the content of {document or 'a record'} is not what was kept",
            remedy="See what else is wrong: cuttable ledger verify. Then restore a backup.",
        )  # fmt: skip
    return files
