"""Keys whose bundles are taken."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of keys."""
    op.create_table(
        "keys",
        sa.Column("key", sa.String(71), primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("since", sa.String(27), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
    )
