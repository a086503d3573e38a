"""The record store: inspections as they were recorded, in SQLite or PostgreSQL, added and never altered."""

from valvelab.store.faults import NO_STORE
from valvelab.store.place import default_place, url_of
from valvelab.store.store import Filter, Store, open_store

__all__ = ["NO_STORE", "Filter", "Store", "default_place", "open_store", "url_of"]
