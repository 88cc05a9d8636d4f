"""Alembic's entry: it works on the connection it is given, within that transaction."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=None,
    transactional_ddl=True,
)
context.run_migrations()
