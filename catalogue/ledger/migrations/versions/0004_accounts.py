"""Accounts, sessions and tokens of the service."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of accounts."""
    op.create_table(
        "people",
        sa.Column("key", sa.String(80), primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("password", sa.Text, nullable=False),
        sa.Column("is_active", sa.Integer, nullable=False),
        sa.Column("must_change", sa.Integer, nullable=False),
        sa.Column("created", sa.String(27), nullable=False),
    )
    op.create_table(
        "sessions",
        sa.Column("secret", sa.String(64), primary_key=True),
        sa.Column("person", sa.String(80), sa.ForeignKey("people.key"), nullable=False),
        sa.Column("csrf", sa.String(64), nullable=False),
        sa.Column("expires", sa.String(27), nullable=False),
    )
    op.create_table(
        "tokens",
        sa.Column("id", sa.String(8), primary_key=True),
        sa.Column("secret", sa.String(64), nullable=False, unique=True),
        sa.Column("person", sa.String(80), sa.ForeignKey("people.key"), nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("rights", sa.String(40), nullable=False),
        sa.Column("created", sa.String(27), nullable=False),
        sa.Column("expires", sa.String(27), nullable=False),
    )
