"""Connections to a store: what SQLite is told so that it keeps what it confirmed, and how long anyone waits."""

from __future__ import annotations

from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event

WAIT_S = 10.0
"""How long another program that writes is waited for."""
WRITING = "writing"
"""Option of a connection that will write; SQLite then waits at once instead of failing at the first row."""
_CONNECT_S = 10
#: WAL: readers and the writer don't wait for one another. FULL: what is confirmed outlives a power cut.
#: The last two: a file of foreign origin runs no function of its schema, and is looked at cell by cell.
_TOLD = (
    "PRAGMA foreign_keys = ON",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA trusted_schema = OFF",
    "PRAGMA cell_size_check = ON",
)


def engine_of(url: URL, wait_s: float = WAIT_S) -> Engine:
    """What connects to a store; threads may share it. wait_s: how long a writer is waited for, in seconds."""
    if url.get_backend_name() != "sqlite":
        told = {"connect_timeout": _CONNECT_S, "application_name": "valvelab"}
        return create_engine(url, connect_args={**told, "options": f"-c lock_timeout={int(1000.0 * wait_s)}"})
    engine = create_engine(url, connect_args={"timeout": wait_s})
    event.listen(engine, "connect", _tell_sqlite)
    event.listen(engine, "begin", _begin)
    return engine


def _tell_sqlite(connection: Any, _record: object) -> None:
    connection.isolation_level = None  # else the driver begins and ends transactions as it pleases
    for pragma in _TOLD:
        connection.execute(pragma)


def _begin(connection: Connection) -> None:
    writing = connection.get_execution_options().get(WRITING, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")
