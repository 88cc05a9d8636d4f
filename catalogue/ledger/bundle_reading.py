"""Reading a signed bundle: all of it is checked before anything is taken.

Nothing in a bundle is trusted: not its names, not its sizes, not what its records claim.
"""

import base64
import contextlib
import datetime as dt
import errno
import json
import re
import zipfile
import zlib
from collections.abc import Generator, Mapping
from pathlib import Path
from typing import Any, Final, cast

from ..errors import FileError
from ..files.file_source import digest_of, unreadable
from .bundle import MANIFEST, SCHEMA, SIGNATURE, Bundle
from .database import SKEW, Clock, utc_now
from .records import (
    Revision,
    check_document,
    digest_of_files,
    is_same_person,
    moment,
    person,
    unpack,
    words,
)
from .signing import fingerprint

LARGEST: Final = 64 * 2**20
"""Bytes of one file; more is no bundle of limits."""
LARGEST_OF_ALL: Final = 256 * 2**20
"""Bytes of all files together."""
LARGEST_NUMBER: Final = 1_000_000
_NAME: Final = re.compile(r"contents/[0-9a-f]{64}")


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
        """Return a file of at most so many bytes; of a pipe or device nothing is read.

        Raises:
            FileError: ``bundle-damaged``, or ``file-missing`` where the disk does not give it.
        """
        path = self.source / name
        try:
            if path.is_symlink() or not path.is_file():
                raise _damaged(self.source, f"{name[:90]} is missing")
            if path.stat().st_size > most:
                raise _damaged(self.source, "it is larger than any bundle")
            return path.read_bytes()
        except OSError as fault:
            raise unreadable(path, fault) from None


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
    try:
        if source.is_dir():
            yield _Folder(source)
            return
        if not source.is_file():
            raise FileError("file-missing", "there is no such bundle", where=str(source),
                            remedy="Name the zip or folder that you were sent.")  # fmt: skip
        with source.open("rb") as file, _unpacking(source), zipfile.ZipFile(file) as packed:
            yield _Zip(source, packed)
    except OSError as fault:
        raise unreadable(source, fault) from None


@contextlib.contextmanager
def _unpacking(source: Path) -> Generator[None]:
    """Tell what is wrong with a zip while it is read."""
    try:
        yield
    except OSError as fault:
        if fault.errno not in (None, errno.EINVAL):
            raise
        # A zip that is cut off sends its reader to places before its beginning.
        raise _damaged(source, "it is no zip, or cut off") from None
    except (zipfile.BadZipFile, ValueError, EOFError, NotImplementedError, RuntimeError,
            zlib.error):  # fmt: skip
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
