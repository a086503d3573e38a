"""Where a store lies: a file of SQLite, by default in the user's data folder, or a PostgreSQL database by its URL."""

from __future__ import annotations

import os
from pathlib import Path

from platformdirs import user_data_path
from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from valvelab.errors import WrongUsage

VARIABLE = "VALVELAB_STORE"
FILE = "records.sqlite"
DRIVERS = {"sqlite": "sqlite+pysqlite", "postgresql": "postgresql+psycopg"}
_WANTED = "a file, sqlite:///FILE or postgresql+psycopg://USER@HOST/DATABASE"


def default_place() -> str:
    """Where records are kept if nothing else is said; `VALVELAB_STORE` says another place."""
    return os.environ.get(VARIABLE) or str(user_data_path("valvelab", appauthor=False) / FILE)


def url_of(place: str | None = None) -> URL:
    """The URL of a place as it is typed; without a scheme it is a file."""
    text = place or default_place()
    if "://" not in text:
        return URL.create(DRIVERS["sqlite"], database=str(Path(text).absolute()))
    try:
        url = make_url(text)
        driver = DRIVERS[url.get_backend_name()]
    except (ArgumentError, KeyError, ValueError):
        raise WrongUsage(f"--store: found {text.partition(':')[0]}://…, expected {_WANTED}") from None
    if url.get_backend_name() == "sqlite" and not url.database:
        raise WrongUsage(f"--store: found {text}, expected {_WANTED}")
    return url.set(drivername=driver)


def shown(url: URL) -> str:
    """A place as it may be printed: the file, or the URL without its password."""
    if url.get_backend_name() == "sqlite":
        return str(url.database)
    return url.render_as_string(hide_password=True)
