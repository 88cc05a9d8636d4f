"""The log of answers."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of answers, and room for the head of their chain."""
    op.add_column("book", sa.Column("answers", sa.Integer, nullable=False, server_default="0"))
    op.add_column(
        "book", sa.Column("answers_head", sa.String(71), nullable=False, server_default="")
    )
    op.create_table(
        "answers",
        sa.Column("answer", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.Column("asker", sa.Text, nullable=False),
        sa.Column("verdict", sa.String(40), nullable=False),
        sa.Column("inputs", sa.Text, nullable=False),
        sa.Column("basis", sa.Text, nullable=False),
        sa.Column("pattern", sa.String(71), nullable=False),
        sa.Column("body", sa.LargeBinary, nullable=False),
        sa.Column("previous", sa.String(71), nullable=False),
        sa.Column("digest", sa.String(71), nullable=False),
    )
    op.create_table(
        "answer_names",
        sa.Column("name", sa.String(16), nullable=False),
        sa.Column("answer", sa.Integer, sa.ForeignKey("answers.answer"), nullable=False),
        sa.UniqueConstraint("name", "answer", name="named_once"),
    )
