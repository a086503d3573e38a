"""Which form a store has, and how one of an earlier form becomes one of this: Alembic is loaded only where it must."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, select, text

from valvelab.errors import StoreError
from valvelab.store.database import WRITING
from valvelab.store.faults import DAMAGED, NO_STORE
from valvelab.store.tables import CONTENT, FILE, TABLES, VERSION_TABLE

REVISIONS = ("0001", "0002")
"""Every form that a store has had, the first first; a migration adds its own."""
MIGRATIONS = Path(__file__).parent / "migrations"
_LOCK = 0x76616C7665
"""Of PostgreSQL's advisory locks, the one under which a store is made or changed."""
_QUICK_BYTES = 8 * 2**20
"""Up to here a file of SQLite is looked through at every opening (0.05 s); a larger one by `records check` alone."""
GUARDS = "9d5bea9f7237cce6e1d30b78bf96c7330d5946fc2a9c2cf9309990da1b3053c5"
"""SHA-256 of the triggers that guard a file of SQLite: another's could do anything at all, for as long as it liked."""


def see_to(engine: Engine, place: str, *, create: bool) -> None:
    """Bring a store to this program's form, or refuse it. create: whether one may be made where there is none."""
    with engine.begin() as connection:
        form = _form(connection, place)
    if form is None and not create:
        raise StoreError(place, NO_STORE)
    if form != REVISIONS[-1]:
        _upgrade(engine, place)
    if engine.dialect.name == "sqlite":
        with engine.begin() as connection:
            _look_through(connection, place)


def _form(connection: Connection, place: str) -> str | None:
    """The form of what is there; None for nothing. Refuses another program's database, and a newer form."""
    names = set(inspect(connection).get_table_names())
    if VERSION_TABLE not in names:
        ours = {table.name for table in TABLES}
        if names if connection.dialect.name == "sqlite" else names & ours:
            raise StoreError(place, "found another program's database, expected a store of valvelab or none")
        return None
    found = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalars().all()  # noqa: S608 - ours
    if len(found) != 1:
        raise StoreError(place, DAMAGED)
    if found[0] not in REVISIONS:
        raise StoreError(
            place, f"found form {found[0]!r:.40}, written by a newer valvelab, expected at most {REVISIONS[-1]}"
        )
    return str(found[0])


def _upgrade(engine: Engine, place: str) -> None:
    """Every migration that is due, in one transaction, by whoever comes first."""
    from alembic.command import upgrade
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    with engine.connect().execution_options(**{WRITING: True}) as connection, connection.begin():
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
        if _form(connection, place) != REVISIONS[-1]:
            config.attributes["connection"] = connection
            upgrade(config, REVISIONS[-1])


def _look_through(connection: Connection, place: str) -> None:
    """Refuse a file of SQLite that is damaged, or holds views and triggers that are not the store's."""
    rows = connection.execute(
        text("SELECT type, name, sql FROM sqlite_master WHERE type <> 'index' AND name NOT LIKE 'sqlite_%'")
    ).all()
    tables = {name for kind, name, _ in rows if kind == "table"}
    others = sorted(f"{kind} {sql}" for kind, _, sql in rows if kind != "table")
    guards = sha256("\n".join(others).encode()).hexdigest()
    if tables != {*(table.name for table in TABLES), VERSION_TABLE} or guards != GUARDS:
        raise StoreError(place, DAMAGED)
    if Path(place).stat().st_size <= _QUICK_BYTES:
        found = connection.execute(text("PRAGMA quick_check(1)")).scalar()
        if found != "ok":
            said = " ".join(str(found).replace("*** in database main ***", "").split())
            raise StoreError(place, f"found a damaged file ({said:.80}), expected a whole one; restore it from a copy")


def own_check(connection: Connection) -> list[str]:
    """What the database itself finds wrong, and files whose bytes are gone."""
    gone = (
        select(FILE.c.name, FILE.c.sha256)
        .outerjoin(CONTENT, CONTENT.c.sha256 == FILE.c.sha256)
        .where(CONTENT.c.sha256.is_(None))
    )
    found = [
        f"file {name!r:.80}: found no bytes, expected those of {digest}" for name, digest in connection.execute(gone)
    ]
    if connection.dialect.name == "sqlite":
        said = connection.execute(text("PRAGMA integrity_check(20)")).scalars().all()
        found += [f"SQLite: {line}" for line in said if line != "ok"]
        broken = connection.execute(text("PRAGMA foreign_key_check")).all()
        found += [f"SQLite: a row of {row[0]} refers to nothing in {row[2]}" for row in broken[:20]]
    return found
