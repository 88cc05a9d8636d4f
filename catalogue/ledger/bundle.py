"""Signed bundles: documents with their whole history, from one ledger to another.

A bundle is a folder or a zip with ``manifest.json`` (what is in it, with the digest of every
file), ``manifest.sig`` (an Ed25519 signature of the manifest) and the files it names. All of it
is read and checked before anything is written, and then written in one transaction.
"""

import base64
import contextlib
import datetime as dt
import io
import json
import os
import re
import zipfile
import zlib
from collections.abc import Generator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple, cast

from sqlalchemy import insert, select

from ..errors import FileError, InputError
from ..files.file_source import digest_of
from . import schema
from .blobs import keep_packed
from .database import SKEW, Clock, Writing, utc_now
from .lifecycle import put_approved, revisions
from .records import (
    Revision,
    check_document,
    digest_of_files,
    is_same_person,
    minute,
    moment,
    person,
    unpack,
    words,
)

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from sqlalchemy import Connection

SCHEMA: Final = "cuttable.bundle/1"
MANIFEST: Final = "manifest.json"
SIGNATURE: Final = "manifest.sig"
LARGEST: Final = 64 * 2**20
"""Bytes of one file; more is no bundle of limits."""
LARGEST_OF_ALL: Final = 256 * 2**20
"""Bytes of all files together."""
LARGEST_NUMBER: Final = 1_000_000
_NAME: Final = re.compile(r"contents/[0-9a-f]{64}")


class Bundle(NamedTuple):
    """A bundle that was read and is whole.

    Attributes:
        key: fingerprint of the key that signed it.
        by, made: who made it, and when.
        histories: approved revisions by document, oldest first.
        packed: contents by digest: packing and bytes.
    """

    key: str
    by: str
    made: str
    histories: dict[str, list[Revision]]
    packed: dict[str, tuple[str, bytes]]


class Taken(NamedTuple):
    """What importing a bundle came to: revisions that are new, and documents known already."""

    added: list[Revision]
    known: list[str]


# --- keys ---------------------------------------------------------------------------------


def key_path(folder: Path) -> Path:
    """Return where a person's signing key is kept: beside their own ledger."""
    return folder / "signing-key.pem"


def signing_key(path: Path) -> "Ed25519PrivateKey":
    """Return a person's key; it is made on first use, readable by them alone.

    Raises:
        FileError: ``key-unusable`` or ``output-unwritable``.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    if not path.exists():
        key = Ed25519PrivateKey.generate()
        pem = key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
        beside = path.with_name(f".{path.name}.{os.getpid()}.part")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "wb") as file:
                file.write(pem)
            # Linked, not renamed: a key that another process made meanwhile stays.
            with contextlib.suppress(FileExistsError):
                os.link(beside, path)
            beside.unlink()
        except OSError as fault:
            raise FileError(
                "output-unwritable", f"the key cannot be written ({fault.strerror})",
                where=str(path), remedy="Name another place with --key FILE.",
            ) from None  # fmt: skip
    try:
        found = serialization.load_pem_private_key(path.read_bytes(), password=None)
    except (OSError, ValueError, TypeError):
        found = None
    if not isinstance(found, Ed25519PrivateKey):
        raise FileError(
            "key-unusable", "the file holds no Ed25519 key", where=str(path),
            remedy="Name another file with --key, or let one be made.",
        )  # fmt: skip
    return found


def fingerprint(public: bytes) -> str:
    """Return the name of a public key that people can compare."""
    return digest_of(public)


def public_bytes(key: "Ed25519PrivateKey") -> bytes:
    """Return the 32 bytes of a key's public half."""
    from cryptography.hazmat.primitives import serialization

    return key.public_key().public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw)


def trusted_keys(connection: "Connection") -> list[tuple[str, str, str, str]]:
    """Return fingerprint, name, since when and by whom, of keys whose bundles are taken."""
    table = schema.keys
    rows = connection.execute(
        select(table.c.key, table.c.name, table.c.since, table.c.who).order_by(table.c.since)
    )
    return [(row[0], row[1], row[2], row[3]) for row in rows]


def trust(writing: Writing, key: str, name: str) -> None:
    """Take bundles signed with a key from now on.

    Raises:
        InputError: ``key-unusable``.
    """
    wanted = key.strip().casefold()
    hexes = wanted.removeprefix("sha256:")
    if len(hexes) != 64 or any(char not in "0123456789abcdef" for char in hexes):
        raise InputError(
            "key-unusable", f"{key.strip()[:80]!r} is no fingerprint of a key",
            remedy="It is sha256: and 64 digits; whoever made the bundle reads it to you from: "
            "cuttable ledger key.",
        )  # fmt: skip
    wanted = f"sha256:{hexes}"
    table = schema.keys
    if writing.connection.execute(select(table.c.key).where(table.c.key == wanted)).first():
        return
    writing.connection.execute(
        insert(table), {"key": wanted, "name": person(name), "since": writing.at,
                        "who": writing.who},
    )  # fmt: skip
    writing.enter("trust", "", 0, json.dumps({"key": wanted, "name": person(name)}))


# --- making -------------------------------------------------------------------------------


def bundle_files(
    connection: "Connection",
    documents: Sequence[str],
    key: "Ed25519PrivateKey",
    *,
    by: str,
    made: str,
) -> dict[str, bytes]:
    """Return the files of a bundle of documents with all their approved revisions.

    Raises:
        InputError: ``revision-unknown``.
    """
    from .lifecycle import unknown_document

    files: dict[str, bytes] = {}
    told: list[dict[str, Any]] = []
    table = schema.contents
    for document in documents:
        approved = [item for item in revisions(connection, document) if item.state == "approved"]
        if not approved:
            raise unknown_document(connection, document)
        for item in approved:
            record = item._asdict()
            record.pop("entry")
            told.append(record)
            for digest in filter(None, (item.content, item.impact)):
                name = f"contents/{digest.removeprefix('sha256:')}"
                if name not in files:
                    row = connection.execute(
                        select(table.c.packing, table.c.body).where(table.c.digest == digest)
                    ).first()
                    if row is None:
                        raise FileError("ledger-damaged", f"the content of {item.ref} is missing",
                                        remedy="See: cuttable ledger verify.")  # fmt: skip
                    files[name] = f"{row[0]}\n".encode() + bytes(row[1])
    manifest = {
        "schema": SCHEMA,
        "by": by,
        "made": made,
        "key": base64.b64encode(public_bytes(key)).decode(),
        "files": {name: digest_of(content) for name, content in sorted(files.items())},
        "revisions": told,
    }
    content = json.dumps(manifest, ensure_ascii=False, sort_keys=True, indent=1).encode()
    files[MANIFEST] = content
    files[SIGNATURE] = base64.b64encode(key.sign(content)) + b"\n"
    return files


def write_bundle(files: Mapping[str, bytes], target: Path) -> None:
    """Write a bundle as a zip where the name ends in ``.zip``, else as a folder. Whole or not.

    Raises:
        InputError: ``output-exists``.
        FileError: ``output-unwritable``.
    """
    import shutil

    if target.exists():
        raise InputError("output-exists", "there is such a file already", where=str(target),
                         remedy="Choose another name.")  # fmt: skip
    beside = target.with_name(f".{target.name}.part")
    try:
        if target.suffix.casefold() == ".zip":
            made = io.BytesIO()
            with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
                for name, content in sorted(files.items()):
                    # The same bundle is the same file, whenever it is written.
                    packed.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), content)
            beside.write_bytes(made.getvalue())
        else:
            if beside.exists():
                shutil.rmtree(beside)
            for name, content in files.items():
                path = beside / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(content)
        beside.replace(target)
    except OSError as fault:
        if beside.is_dir():
            shutil.rmtree(beside, ignore_errors=True)
        else:
            with contextlib.suppress(OSError):
                beside.unlink(missing_ok=True)
        raise FileError(
            "output-unwritable", f"the bundle cannot be written ({fault.strerror})",
            where=str(target), remedy="Choose a folder that exists and can be written.",
        ) from None  # fmt: skip


# --- reading ------------------------------------------------------------------------------


def read_bundle(source: Path, *, clock: Clock = utc_now) -> Bundle:
    """Read a bundle and check all of it: signature, every file, every record.

    The signature first: nothing else of what a stranger sends is looked at before it.

    Raises:
        FileError: ``file-missing`` or ``bundle-damaged``.
    """
    with _opened(source) as there:
        manifest_bytes, signature = there.read(MANIFEST, LARGEST), there.read(SIGNATURE, 1000)
        try:
            manifest = cast("dict[str, Any]", json.loads(manifest_bytes))
            if manifest["schema"] != SCHEMA:
                raise _damaged(source, f"it is of another form ({str(manifest['schema'])[:40]})")
            public = base64.b64decode(manifest["key"], validate=True)
            _check_signature(source, public, signature, manifest_bytes)
            files = _named_files(source, there, cast("dict[str, str]", manifest["files"]))
            histories = _histories(
                cast("list[dict[str, Any]]", manifest["revisions"]), clock() + SKEW
            )
            packed = {name: _unpacked(content) for name, content in files.items()}
            _check_contents(source, histories, packed)
            by, made = person(str(manifest["by"])), str(manifest["made"])[:27]
        except FileError:
            raise
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as fault:
            reason = f"its manifest cannot be read ({type(fault).__name__})"
            raise _damaged(source, reason) from None
    contents = {f"sha256:{name.removeprefix('contents/')}": item for name, item in packed.items()}
    return Bundle(fingerprint(public), by, made, histories, contents)


def _damaged(source: Path, reason: str) -> FileError:
    return FileError(
        "bundle-damaged", f"the bundle is damaged: {reason}", where=str(source),
        remedy="Nothing was changed. Have it sent again.",
    )  # fmt: skip


class _Folder:
    """The files of a bundle that is a folder."""

    def __init__(self, source: Path) -> None:
        self.source = source

    def names(self) -> set[str]:
        """Return the names of all files there are, and of links, which no bundle has."""
        return {path.relative_to(self.source).as_posix()
                for path in self.source.rglob("*")
                if path.is_symlink() or not path.is_dir()}  # fmt: skip

    def read(self, name: str, most: int) -> bytes:
        """Return a file of at most so many bytes."""
        path = self.source / name
        if path.is_symlink() or not path.is_file():
            raise _damaged(self.source, f"{name[:90]} is missing")
        if path.stat().st_size > most:
            raise _damaged(self.source, "it is larger than any bundle")
        return path.read_bytes()


class _Zip:
    """The files of a bundle that is a zip."""

    def __init__(self, source: Path, packed: zipfile.ZipFile) -> None:
        self.source, self._packed = source, packed

    def names(self) -> set[str]:
        """Return the names of all files there are."""
        return {item.filename for item in self._packed.infolist() if not item.is_dir()}

    def read(self, name: str, most: int) -> bytes:
        """Return a file of at most so many bytes, whatever the zip says of its size."""
        try:
            found = self._packed.getinfo(name)
        except KeyError:
            raise _damaged(self.source, f"{name[:90]} is missing") from None
        with self._packed.open(found) as file:
            content = file.read(most + 1)
        if len(content) > most:
            raise _damaged(self.source, "it is larger than any bundle")
        return content


@contextlib.contextmanager
def _opened(source: Path) -> Generator[_Folder | _Zip]:
    """Give the files of a bundle, a folder or a zip."""
    if source.is_dir():
        yield _Folder(source)
        return
    if not source.is_file():
        raise FileError("file-missing", "there is no such bundle", where=str(source),
                        remedy="Name the zip or folder that you were sent.")  # fmt: skip
    try:
        with zipfile.ZipFile(source) as packed:
            yield _Zip(source, packed)
    except FileError:
        raise
    except (zipfile.BadZipFile, OSError, ValueError, EOFError, NotImplementedError,
            RuntimeError, zlib.error):  # fmt: skip
        raise _damaged(source, "it is no zip, or cut off") from None


def _named_files(source: Path, files: _Folder | _Zip, named: Mapping[str, str]) -> dict[str, bytes]:
    """Return the files a manifest names, each as it says; there may be no others."""
    stray = sorted(files.names() - set(named) - {MANIFEST, SIGNATURE})
    if stray:
        raise _damaged(source, f"{stray[0][:90]} is not in its manifest")
    found: dict[str, bytes] = {}
    left = LARGEST_OF_ALL
    for name, digest in named.items():
        if not _NAME.fullmatch(name):
            raise _damaged(source, f"{name[:90]} is no name of a file in it")
        found[name] = files.read(name, min(LARGEST, left))
        left -= len(found[name])
        if digest_of(found[name]) != digest:
            raise _damaged(source, f"{name[:90]} was changed")
    return found


def _check_signature(source: Path, public: bytes, signature: bytes, manifest: bytes) -> None:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    decoded = base64.b64decode(signature.removesuffix(b"\n"), validate=True)
    if base64.b64encode(decoded) + b"\n" != signature:
        raise _damaged(source, "its signature was changed")  # another way to write the same
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(decoded, manifest)
    except InvalidSignature:
        raise _damaged(source, "its signature does not fit: it was changed") from None


def _unpacked(content: bytes) -> tuple[str, bytes]:
    packing, _, body = content.partition(b"\n")
    if packing not in (b"file", b"set"):
        raise ValueError
    return packing.decode(), body


def _histories(records: list[dict[str, Any]], now: dt.datetime) -> dict[str, list[Revision]]:
    """Return the revisions by document, each record checked.

    Raises:
        ValueError, TypeError: a record is not as any ledger would have made it.
    """
    from ..files.plain_schema import plain_schema

    schema_of_record = plain_schema(Revision)
    found: dict[str, list[Revision]] = {}
    for record in records:
        item = Revision(**schema_of_record.model_validate(record).model_dump())
        history = found.setdefault(item.document, [])
        _check_record(item, history[-1] if history else None, now)
        history.append(item)
    if not found:
        raise ValueError
    return found


def _check_record(item: Revision, last: Revision | None, now: dt.datetime) -> None:
    times = [moment(text) for text in
             (item.drafted, item.submitted, item.approved, item.effective)]  # fmt: skip
    if item.wanted:
        moment(item.wanted)
    people = [item.author, item.approver, *filter(None, item.editors.split("\n"))]
    texts = (item.reason, item.evidence, item.without_impact)
    is_right = (
        check_document(item.document) == item.document
        and item.state == "approved"
        and item.entry == 0
        and 0 <= item.base < item.number <= LARGEST_NUMBER
        and times == sorted(times)
        and times[2] <= now
        and all(person(name) == name for name in people)
        and all(words(text) == text for text in texts)
        # Another person approved it, having seen its impact or said why not.
        and not any(is_same_person(item.approver, name) for name in (item.author, *people[2:]))
        and (item.base == 0 or bool(item.impact or item.without_impact))
        and item.own_digest() == item.digest
        and item.previous == (last.digest if last else "")
        and (last is None or (item.number > last.number and item.effective > last.effective))
    )
    if not is_right:
        raise ValueError


def _check_contents(
    source: Path,
    histories: Mapping[str, list[Revision]],
    packed: Mapping[str, tuple[str, bytes]],
) -> None:
    for name, (packing, body) in packed.items():
        kept = unpack(packing, body, "file")
        own = digest_of_files(kept) if packing == "set" else digest_of(body)
        if f"contents/{own.removeprefix('sha256:')}" != name:
            raise _damaged(source, f"{name[:90]} is not what its name says")
    for item in (item for history in histories.values() for item in history):
        for digest in filter(None, (item.content, item.impact)):
            if f"contents/{digest.removeprefix('sha256:')}" not in packed:
                raise _damaged(source, f"the content of {item.ref} is missing")


# --- taking -------------------------------------------------------------------------------


def plan_bundle(connection: "Connection", bundle: Bundle, who: str) -> Taken:
    """Return what taking a bundle would come to.

    Raises:
        InputError: ``bundle-untrusted``, ``own-approval`` where one person both trusts a key and
            takes what it signed, or ``bundle-diverged``.
    """
    trusting = {key: by for key, _, _, by in trusted_keys(connection)}
    if bundle.key not in trusting:
        raise InputError(
            "bundle-untrusted",
            f"the bundle is signed by {bundle.by} with a key this ledger does not trust: "
            f"{bundle.key}",
            remedy="Compare the fingerprint with them, then: cuttable ledger trust FINGERPRINT "
            "--name NAME.",
        )
    if is_same_person(trusting[bundle.key], who):
        raise InputError(
            "own-approval",
            f"{who} has trusted the key, and cannot take what it signed",
            remedy="Limits take two persons: another one imports the bundle.",
        )
    added: list[Revision] = []
    known: list[str] = []
    for document, history in bundle.histories.items():
        mine = revisions(connection, document)
        approved = [item for item in mine if item.state == "approved"]
        shared = min(len(approved), len(history))
        for own, theirs in zip(approved[:shared], history[:shared], strict=True):
            if own.digest != theirs.digest:
                raise _diverged(own, theirs)
        fresh = history[shared:]
        if not fresh:
            known.append(document)
            continue
        taken = {item.number: item for item in mine if item.number >= fresh[0].number}
        for item in fresh:
            if item.number in taken:
                raise InputError(
                    "bundle-diverged",
                    f"{item.ref} is approved in the bundle, but {taken[item.number].state} here",
                    remedy="Nothing was changed. Of a document that comes from another ledger no "
                    "revision is drafted here.",
                )
        added += fresh
    return Taken(added, known)


def take_bundle(writing: Writing, bundle: Bundle) -> Taken:
    """Put into a ledger what a bundle has and the ledger has not.

    Raises:
        InputError: what :func:`plan_bundle` tells; nothing is changed.
    """
    plan = plan_bundle(writing.connection, bundle, writing.who)
    for item in plan.added:
        for digest in filter(None, (item.content, item.impact)):
            keep_packed(writing.connection, digest, *bundle.packed[digest])
    return plan._replace(added=[put_approved(writing, item, "import") for item in plan.added])


def _diverged(own: Revision, theirs: Revision) -> InputError:
    return InputError(
        "bundle-diverged",
        f"{own.document} has two histories: here {own.ref} was approved by {own.approver} on "
        f"{minute(own.approved)}, in the bundle {theirs.ref} by {theirs.approver} on "
        f"{minute(theirs.approved)}",
        remedy="Nothing was changed. Agree which ledger leads for this document.",
    )
