"""Connections to a store: what SQLite is told so that it keeps what it confirmed, and how long anyone waits."""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import URL, Connection, Engine, create_engine, event

from valvelab.errors import StoreError

WAIT_S = 10.0
"""How long another program that writes is waited for."""
WRITING = "writing"
"""Option of a connection that will write; SQLite then waits at once instead of failing at the first row."""
_CONNECT_S = 10
#: a file of foreign origin runs no function of its schema, and is looked at cell by cell
_TOLD = ("PRAGMA foreign_keys = ON", "PRAGMA trusted_schema = OFF", "PRAGMA cell_size_check = ON")
#: WAL: readers and the writer don't wait for one another. FULL: what is confirmed outlives a power cut.
_TOLD_TO_WRITE = ("PRAGMA journal_mode = WAL", "PRAGMA synchronous = FULL")


def engine_of(url: URL, place: str, wait_s: float = WAIT_S) -> Engine:
    """What connects to a store; threads may share it. wait_s: how long a writer is waited for, in seconds.

    A file of SQLite in a folder where nothing may be written is read as it lies.
    """
    if url.get_backend_name() != "sqlite":
        told = {"connect_timeout": _CONNECT_S, "application_name": "valvelab"}
        return create_engine(url, connect_args={**told, "options": f"-c lock_timeout={int(1000.0 * wait_s)}"})
    read_only = _can_only_be_read(Path(place))
    engine = create_engine(_as_it_lies(url) if read_only else url, connect_args={"timeout": wait_s})
    event.listen(engine, "connect", partial(_tell_sqlite, _TOLD if read_only else (*_TOLD, *_TOLD_TO_WRITE)))
    event.listen(engine, "begin", _begin)
    return engine


def _can_only_be_read(file: Path) -> bool:
    """Whether neither a file nor what SQLite lays beside it may be written; refuses one with entries left beside it."""
    if not file.exists() or os.access(file, os.W_OK) or os.access(file.parent, os.W_OK):
        return False
    left = file.with_name(f"{file.name}-wal")
    if left.exists() and left.stat().st_size:
        raise StoreError(
            str(file), f"found records in {left.name} that are not yet in it, expected leave to write there"
        )
    return True


def _as_it_lies(url: URL) -> URL:
    """The URL of a file of which nothing but reading is asked: no locks, nothing laid beside it."""
    asked = {"mode": "ro", "immutable": "1", "uri": "true"}
    return url.set(database=f"file:{quote(str(url.database))}", query=asked)


def _tell_sqlite(told: Sequence[str], connection: Any, _record: object) -> None:
    connection.isolation_level = None  # else the driver begins and ends transactions as it pleases
    for pragma in told:
        connection.execute(pragma)


def _begin(connection: Connection) -> None:
    writing = connection.get_execution_options().get(WRITING, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")
