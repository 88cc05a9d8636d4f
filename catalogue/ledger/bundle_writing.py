"""Making a signed bundle of documents, and writing it as a zip or a folder."""

import base64
import contextlib
import io
import json
import shutil
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from ..errors import FileError
from ..files.file_source import digest_of
from ..files.targets import check_new
from . import schema
from .bundle import MANIFEST, SCHEMA, SIGNATURE
from .lifecycle import revisions, unknown_document
from .signing import public_bytes

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from sqlalchemy import Connection


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
    check_new(target)
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
