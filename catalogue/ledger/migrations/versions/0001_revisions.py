"""Revisions of limits and rules, and the journal."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of the first form."""
    op.create_table(
        "book",
        sa.Column("one", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("last_time", sa.String(27), nullable=False),
        sa.Column("entries", sa.Integer, nullable=False),
        sa.Column("entries_head", sa.String(71), nullable=False),
        sa.CheckConstraint("one = 1", name="one_row"),
    )
    op.create_table(
        "contents",
        sa.Column("digest", sa.String(71), primary_key=True),
        sa.Column("packing", sa.String(8), nullable=False),
        sa.Column("body", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "revisions",
        sa.Column("document", sa.String(80), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("base", sa.Integer, nullable=False),
        sa.Column("state", sa.String(12), nullable=False),
        sa.Column("content", sa.String(71), sa.ForeignKey("contents.digest"), nullable=False),
        *(sa.Column(name, sa.Text, nullable=False)
          for name in ("reason", "evidence", "author", "editors")),
        *(sa.Column(name, sa.String(27), nullable=False)
          for name in ("drafted", "submitted", "wanted")),
        sa.Column("approver", sa.Text, nullable=False),
        *(sa.Column(name, sa.String(27), nullable=False) for name in ("approved", "effective")),
        sa.Column("impact", sa.String(71), nullable=False),
        sa.Column("without_impact", sa.Text, nullable=False),
        *(sa.Column(name, sa.String(71), nullable=False) for name in ("previous", "digest")),
        sa.Column("entry", sa.Integer, nullable=False),
        sa.CheckConstraint(
            "state IN ('draft', 'submitted', 'approved', 'withdrawn', 'revoked')",
            name="known_state",
        ),
    )  # fmt: skip
    op.create_index("revisions_in_force", "revisions", ["state", "document", "number"])
    op.create_table(
        "journal",
        sa.Column("entry", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("action", sa.String(16), nullable=False),
        sa.Column("document", sa.String(80), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("details", sa.Text, nullable=False),
        sa.Column("previous", sa.String(71), nullable=False),
        sa.Column("digest", sa.String(71), nullable=False),
    )
    op.create_index("journal_of_document", "journal", ["document", "entry"])
