"""The tables of a ledger.

Rows of ``contents``, ``journal`` and ``answers`` are written once and never changed; rows of
``revisions`` change until they are approved. ``ledger`` has one row, with the heads of both chains.
Times are text ``2026-11-25T08:00:00.000000Z``, which sorts as it runs, in every database.
"""

from typing import Final

from sqlalchemy import (
    CheckConstraint,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata: Final = MetaData()

book: Final = Table(
    "book",
    metadata,
    Column("one", Integer, CheckConstraint("one = 1", name="one_row"), primary_key=True,
           autoincrement=False),
    Column("id", String(32), nullable=False),
    Column("last_time", String(27), nullable=False),
    Column("entries", Integer, nullable=False),
    Column("entries_head", String(71), nullable=False),
    Column("answers", Integer, nullable=False, server_default="0"),
    Column("answers_head", String(71), nullable=False, server_default=""),
)  # fmt: skip

contents: Final = Table(
    "contents",
    metadata,
    Column("digest", String(71), primary_key=True),
    Column("packing", String(8), nullable=False),
    Column("body", LargeBinary, nullable=False),
)

revisions: Final = Table(
    "revisions",
    metadata,
    Column("document", String(80), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("base", Integer, nullable=False),
    Column("state", String(12), nullable=False),
    Column("content", String(71), ForeignKey("contents.digest"), nullable=False),
    Column("reason", Text, nullable=False),
    Column("evidence", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("editors", Text, nullable=False),
    Column("drafted", String(27), nullable=False),
    Column("submitted", String(27), nullable=False),
    Column("wanted", String(27), nullable=False),
    Column("approver", Text, nullable=False),
    Column("approved", String(27), nullable=False),
    Column("effective", String(27), nullable=False),
    Column("impact", String(71), nullable=False),
    Column("without_impact", Text, nullable=False),
    Column("previous", String(71), nullable=False),
    Column("digest", String(71), nullable=False),
    Column("entry", Integer, nullable=False),
    CheckConstraint(
        "state IN ('draft', 'submitted', 'approved', 'withdrawn', 'revoked')", name="known_state"
    ),
    Index("revisions_in_force", "state", "document", "number"),
)

journal: Final = Table(
    "journal",
    metadata,
    Column("entry", Integer, primary_key=True, autoincrement=False),
    Column("at", String(27), nullable=False),
    Column("who", Text, nullable=False),
    Column("action", String(16), nullable=False),
    Column("document", String(80), nullable=False),
    Column("number", Integer, nullable=False),
    Column("details", Text, nullable=False),
    Column("previous", String(71), nullable=False),
    Column("digest", String(71), nullable=False),
    Index("journal_of_document", "document", "entry"),
)

answers: Final = Table(
    "answers",
    metadata,
    Column("answer", Integer, primary_key=True, autoincrement=False),
    Column("at", String(27), nullable=False),
    Column("asker", Text, nullable=False),
    Column("verdict", String(40), nullable=False),
    Column("inputs", Text, nullable=False),
    Column("basis", Text, nullable=False),
    Column("pattern", String(71), nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("previous", String(71), nullable=False),
    Column("digest", String(71), nullable=False),
)

answer_names: Final = Table(
    "answer_names",
    metadata,
    Column("name", String(16), nullable=False),
    Column("answer", Integer, ForeignKey("answers.answer"), nullable=False),
    UniqueConstraint("name", "answer", name="named_once"),
)

keys: Final = Table(
    "keys",
    metadata,
    Column("key", String(71), primary_key=True),
    Column("name", Text, nullable=False),
    Column("since", String(27), nullable=False),
    Column("who", Text, nullable=False),
)

people: Final = Table(
    "people",
    metadata,
    Column("key", String(80), primary_key=True),
    Column("name", Text, nullable=False),
    Column("role", String(16), nullable=False),
    Column("password", Text, nullable=False),
    Column("is_active", Integer, nullable=False),
    Column("must_change", Integer, nullable=False),
    Column("created", String(27), nullable=False),
)

sessions: Final = Table(
    "sessions",
    metadata,
    Column("secret", String(64), primary_key=True),
    Column("person", String(80), ForeignKey("people.key"), nullable=False),
    Column("csrf", String(64), nullable=False),
    Column("expires", String(27), nullable=False),
)

tokens: Final = Table(
    "tokens",
    metadata,
    Column("id", String(8), primary_key=True),
    Column("secret", String(64), nullable=False, unique=True),
    Column("person", String(80), ForeignKey("people.key"), nullable=False),
    Column("title", Text, nullable=False),
    Column("rights", String(40), nullable=False),
    Column("created", String(27), nullable=False),
    Column("expires", String(27), nullable=False),
)
