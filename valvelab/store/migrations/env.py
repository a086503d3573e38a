"""Run by Alembic: the migrations that are due, on the connection and in the transaction that it was handed."""

from __future__ import annotations

from alembic import context

from valvelab.store.tables import VERSION_TABLE

context.configure(connection=context.config.attributes["connection"], version_table=VERSION_TABLE)
context.run_migrations()
