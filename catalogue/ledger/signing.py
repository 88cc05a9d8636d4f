"""Keys that bundles are signed with, and whose bundles a ledger takes."""

import contextlib
import json
import os
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import insert, select

from ..errors import FileError, InputError
from ..files.file_source import digest_of
from . import schema
from .database import Writing
from .records import person

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from sqlalchemy import Connection


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
