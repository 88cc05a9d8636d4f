"""Signed bundles: documents with their whole history, from one book to another.

A bundle is a folder or a zip with ``manifest.json`` (what is in it, with the digest of every
file), ``manifest.sig`` (an Ed25519 signature of the manifest) and the files it names. All of it
is read and checked before anything is written, and then written in one transaction.
"""

import base64
import contextlib
import io
import json
import os
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple, cast

from sqlalchemy import insert, select

from ..errors import FileError, InputError
from ..reading import digest_of
from . import schema
from .connect import Writing
from .contents import keep_packed
from .lifecycle import put_approved, revisions
from .records import Revision, check_document, digest_of_files, person, unpack

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from sqlalchemy import Connection

SCHEMA: Final = "cuttable.bundle/1"
MANIFEST: Final = "manifest.json"
SIGNATURE: Final = "manifest.sig"
LARGEST: Final = 64 * 2**20
"""Bytes of one file; more is no bundle of limits."""
MOST_FILES: Final = 100_000


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
    """Return where a person's signing key is kept: beside their own book."""
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
            "cuttable book key.",
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
                        raise FileError("book-damaged", f"the content of {item.ref} is missing",
                                        remedy="See: cuttable book verify.")  # fmt: skip
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


def read_bundle(source: Path) -> Bundle:
    """Read a bundle and check all of it: signature, every file, every record.

    Raises:
        FileError: ``file-missing`` or ``bundle-damaged``.
    """
    files = _files_of(source)
    manifest_bytes, signature = files.pop(MANIFEST, b""), files.pop(SIGNATURE, b"")
    if not manifest_bytes or not signature:
        raise _damaged(source, "manifest or signature is missing")
    try:
        manifest = cast("dict[str, Any]", json.loads(manifest_bytes))
        if manifest["schema"] != SCHEMA:
            raise _damaged(source, f"it is of another form ({str(manifest['schema'])[:40]})")
        public = base64.b64decode(manifest["key"], validate=True)
        _check_signature(source, public, signature, manifest_bytes)
        named = cast("dict[str, str]", manifest["files"])
        _check_files(source, files, named)
        histories = _histories(cast("list[dict[str, Any]]", manifest["revisions"]))
        packed = {name: _unpacked(content) for name, content in files.items()}
        _check_contents(source, histories, packed)
        return Bundle(
            fingerprint(public), person(str(manifest["by"])), str(manifest["made"])[:27],
            histories,
            {f"sha256:{name.removeprefix('contents/')}": item for name, item in packed.items()},
        )  # fmt: skip
    except FileError:
        raise
    except (ValueError, KeyError, TypeError, AttributeError) as fault:
        raise _damaged(source, f"its manifest cannot be read ({type(fault).__name__})") from None


def _damaged(source: Path, reason: str) -> FileError:
    return FileError(
        "bundle-damaged", f"the bundle is damaged: {reason}", where=str(source),
        remedy="Nothing was changed. Have it sent again.",
    )  # fmt: skip


def _files_of(source: Path) -> dict[str, bytes]:
    if source.is_dir():
        found: dict[str, bytes] = {}
        for path in sorted(source.rglob("*")):
            if path.is_symlink() or not path.is_file():
                continue
            _check_sizes(source, [path.stat().st_size] * (len(found) + 1))
            found[path.relative_to(source).as_posix()] = path.read_bytes()
        return found
    if not source.is_file():
        raise FileError("file-missing", "there is no such bundle", where=str(source))
    try:
        with zipfile.ZipFile(source) as packed:
            items = [item for item in packed.infolist() if not item.is_dir()]
            _check_sizes(source, [item.file_size for item in items])
            return {item.filename: packed.read(item) for item in items}
    except FileError:
        raise
    except (zipfile.BadZipFile, OSError, ValueError, EOFError, NotImplementedError, RuntimeError):
        raise _damaged(source, "it is no zip, or cut off") from None
    except Exception as fault:
        if type(fault).__module__ == "zlib":
            raise _damaged(source, "it cannot be unpacked") from None
        raise


def _check_sizes(source: Path, sizes: Sequence[int]) -> None:
    if len(sizes) > MOST_FILES or (sizes and max(sizes) > LARGEST):
        raise _damaged(source, "it is larger than any bundle")


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


def _check_files(source: Path, files: Mapping[str, bytes], named: Mapping[str, str]) -> None:
    for name, digest in named.items():
        if name not in files:
            raise _damaged(source, f"{name[:90]} is missing")
        if digest_of(files[name]) != digest:
            raise _damaged(source, f"{name[:90]} was changed")
    stray = sorted(set(files) - set(named))
    if stray:
        raise _damaged(source, f"{stray[0][:90]} is not in its manifest")


def _unpacked(content: bytes) -> tuple[str, bytes]:
    packing, _, body = content.partition(b"\n")
    if packing not in (b"file", b"set"):
        raise ValueError
    return packing.decode(), body


def _histories(records: list[dict[str, Any]]) -> dict[str, list[Revision]]:
    found: dict[str, list[Revision]] = {}
    for record in records:
        item = Revision(**record)
        if not all(
            isinstance(value, int if name in ("number", "base", "entry") else str)
            for name, value in item._asdict().items()
        ):
            raise TypeError
        if check_document(item.document) != item.document or item.state != "approved":
            raise ValueError
        if item.own_digest() != item.digest:
            raise ValueError
        history = found.setdefault(item.document, [])
        last = history[-1] if history else None
        if item.previous != (last.digest if last else ""):
            raise ValueError
        if last and (item.number <= last.number or item.effective <= last.effective):
            raise ValueError
        history.append(item)
    if not found:
        raise ValueError
    return found


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


def take_bundle(writing: Writing, bundle: Bundle) -> Taken:
    """Put into a book what a bundle has and the book has not.

    Raises:
        InputError: ``bundle-untrusted`` or ``bundle-diverged``; nothing is changed.
    """
    connection = writing.connection
    keys = {key for key, *_ in trusted_keys(connection)}
    if bundle.key not in keys:
        raise InputError(
            "bundle-untrusted",
            f"the bundle is signed by {bundle.by} with a key this book does not trust: "
            f"{bundle.key}",
            remedy="Compare the fingerprint with them, then: cuttable book trust FINGERPRINT "
            "--name NAME.",
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
        taken = {item.number for item in mine} & {item.number for item in fresh}
        if taken:
            number = min(taken)
            raise InputError(
                "bundle-diverged",
                f"{document}/{number} is a draft here, but approved in the bundle",
                remedy="Withdraw nothing by hand: bring the draft's changes into a new one "
                "elsewhere, or agree which book leads for this document.",
            )
        for item in fresh:
            for digest in filter(None, (item.content, item.impact)):
                keep_packed(connection, digest, *bundle.packed[digest])
            added.append(put_approved(writing, item, "import"))
    return Taken(added, known)


def _diverged(own: Revision, theirs: Revision) -> InputError:
    return InputError(
        "bundle-diverged",
        f"{own.document} has two histories: here {own.ref} was approved by {own.approver} on "
        f"{own.approved[:16]}, in the bundle {theirs.ref} by {theirs.approver} on "
        f"{theirs.approved[:16]}",
        remedy="Nothing was changed. Agree which book leads for this document.",
    )
