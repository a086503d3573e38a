"""What a database refuses or lacks, in one sentence."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from pydantic import ValidationError
from sqlalchemy.exc import DBAPIError, NoSuchModuleError, SQLAlchemyError

from valvelab.errors import StoreError

DAMAGED = "found a file that is damaged or no store of valvelab, expected one that `valvelab records add` made"
NO_STORE = "found no store, expected one that `valvelab records add` made"
LOST = "the connection to the database was lost; nothing is half written, try again"
NO_DRIVER = "PostgreSQL needs the driver psycopg: pip install 'valvelab[postgres]'"
NOT_ALLOWED = "this role may not do that; `valvelab records grant ROLE` by the store's owner lets a role add and read"
APPEND_ONLY = "a record is never altered or deleted; a correction is a new record"

#: beginnings of what SQLite calls a fault
_SQLITE = {
    "SQLITE_BUSY": "another program has held the store for too long; nothing was written, try again",
    "SQLITE_LOCKED": "another program has held the store for too long; nothing was written, try again",
    "SQLITE_FULL": "the disk is full; nothing was written",
    "SQLITE_IOERR": "the disk is full, or it can't be read or written; nothing is half written",
    "SQLITE_READONLY": "the store can only be read",
    "SQLITE_CANTOPEN": "the store can't be opened there",
    "SQLITE_PERM": "there is no permission to open the store",
    "SQLITE_AUTH": "there is no permission to do that",
    "SQLITE_CONSTRAINT_TRIGGER": APPEND_ONLY,
    "SQLITE_CONSTRAINT": "the records contradict those that are there; nothing was written",
    "SQLITE_TOOBIG": "a file is larger than the database holds; nothing was written",
}
#: beginnings of SQLSTATE, PostgreSQL's documentation, appendix A
_POSTGRESQL = {
    "08": LOST,
    "57P": LOST,
    "57014": "the database gave up waiting; nothing was written, try again",
    "55P03": "another program has held the store for too long; nothing was written, try again",
    "40": "another program wrote at the same moment; nothing was written, try again",
    "42501": NOT_ALLOWED,
    "25006": "the store can only be read",
    "28": "the database refused the name or the password",
    "3D": "there is no database of that name",
    "53100": "the disk is full; nothing was written",
    "53300": "the database has no room for another connection",
    "P0001": APPEND_ONLY,
    "23": "the records contradict those that are there; nothing was written",
    "42": DAMAGED,
    "XX001": DAMAGED,
    "XX002": DAMAGED,
}


@contextmanager
def in_one_sentence(place: str) -> Iterator[None]:
    """Whatever the database of a place brings about is a StoreError."""
    try:
        yield
    except SQLAlchemyError as error:
        raise StoreError(place, why(error)) from None
    except ModuleNotFoundError as error:
        if error.name != "psycopg":
            raise
        raise StoreError(place, NO_DRIVER) from None
    except (ValidationError, UnicodeDecodeError):
        raise StoreError(place, DAMAGED) from None


def may_be_tried_again(error: Exception) -> bool:
    """Whether a fault was the connection's, or that of two writers at one moment, so that a second try may do."""
    if not isinstance(error, DBAPIError):
        return False
    state = str(getattr(error.orig, "sqlstate", None) or "")
    return error.connection_invalidated or state.startswith(("08", "57P", "40", "23505"))


def why(error: SQLAlchemyError) -> str:
    """The sentence that a fault asks for."""
    if isinstance(error, NoSuchModuleError):
        return NO_DRIVER
    if not isinstance(error, DBAPIError):
        return DAMAGED
    if type(error.orig).__module__ == "sqlite3":
        return _longest(_SQLITE, getattr(error.orig, "sqlite_errorname", "")) or DAMAGED
    state = getattr(error.orig, "sqlstate", None)
    if state is not None:
        return _longest(_POSTGRESQL, state) or f"the database refused it: {_first_line(error)}"
    if error.connection_invalidated:
        return LOST
    return f"the database can't be reached or refused it: {_first_line(error)}"


def _longest(sentences: dict[str, str], code: str) -> str | None:
    return next((sentences[code[:end]] for end in range(len(code), 0, -1) if code[:end] in sentences), None)


def _first_line(error: DBAPIError) -> str:
    return str(error.orig).strip().partition("\n")[0][:200]
