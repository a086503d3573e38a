"""Who may do what with a store in PostgreSQL: a bench reads and adds; only the owner migrates."""

from __future__ import annotations

from sqlalchemy import Connection, text

from valvelab.errors import StoreError
from valvelab.store.faults import NOT_ALLOWED
from valvelab.store.tables import TABLES, VERSION_TABLE


def grant(connection: Connection, role: str, place: str) -> None:
    """Let a role read and add. Raises StoreError where there are no roles, or none of that name."""
    if connection.dialect.name != "postgresql":
        raise StoreError(place, "found a file of SQLite, expected PostgreSQL; who may write the file may add to it")
    known = connection.execute(text("SELECT 1 FROM pg_roles WHERE rolname = :role"), {"role": role}).scalar()
    if known is None:
        raise StoreError(place, f"found no role {role!r:.80}, expected one that CREATE ROLE made")
    owner = text("SELECT has_table_privilege('record', 'INSERT WITH GRANT OPTION')")
    if not connection.execute(owner).scalar():
        raise StoreError(place, NOT_ALLOWED)
    quote = connection.dialect.identifier_preparer.quote_identifier
    schema = quote(str(connection.execute(text("SELECT current_schema()")).scalar()))
    tables = ", ".join(table.name for table in TABLES)
    for what in (f"USAGE ON SCHEMA {schema}", f"SELECT, INSERT ON {tables}", f"SELECT ON {VERSION_TABLE}"):
        connection.exec_driver_sql(f"GRANT {what} TO {quote(role)}")
