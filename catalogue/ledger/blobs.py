"""Files kept in a ledger, once each, under the digest of what is in them."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from sqlalchemy import insert, select

from ..errors import FileError
from . import schema
from .records import pack, unpack_kept

if TYPE_CHECKING:
    from sqlalchemy import Connection


def keep(connection: "Connection", files: Mapping[str, bytes]) -> str:
    """Keep files, and return their digest."""
    digest, packing, body = pack(files)
    keep_packed(connection, digest, packing, body)
    return digest


def keep_packed(connection: "Connection", digest: str, packing: str, body: bytes) -> None:
    """Keep packed files if they are not kept already."""
    table = schema.contents
    if connection.execute(select(table.c.digest).where(table.c.digest == digest)).first() is None:
        connection.execute(insert(table), {"digest": digest, "packing": packing, "body": body})


def kept(connection: "Connection", digest: str, document: str = "") -> dict[str, bytes]:
    """Return kept files by name.

    Raises:
        FileError: ``ledger-damaged`` where they are not there.
    """
    table = schema.contents
    row = connection.execute(select(table).where(table.c.digest == digest)).mappings().first()
    if row is None:
        raise FileError(
            "ledger-damaged", f"the content {digest[:19]}… of {document or 'a record'} is missing",
            remedy="See what else is wrong: cuttable ledger verify. Then restore a backup.",
        )  # fmt: skip
    return unpack_kept(row["packing"], bytes(row["body"]), document, digest)
