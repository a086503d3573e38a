"""A store of records: added to, found in, read from; never altered. Worker threads may share one."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from itertools import islice
from pathlib import Path
from string import ascii_lowercase, ascii_uppercase
from types import TracebackType
from typing import Any, Self, TypeVar

from sqlalchemy import URL, Column, Connection, Engine, Select, Table, func, insert, select, text
from sqlalchemy.exc import DBAPIError

from valvelab.errors import StoreError
from valvelab.files.contents import MAX_UNPACKED_BYTES
from valvelab.records.result import Decision
from valvelab.records.stored import NAME, Entry, StoredFile, StoredItem, StoredRecord, identity, short
from valvelab.store.database import WAIT_S, WRITING, engine_of
from valvelab.store.faults import NO_STORE, in_one_sentence, may_be_tried_again
from valvelab.store.place import default_place, shown, url_of
from valvelab.store.rights import grant
from valvelab.store.schema import own_check, see_to
from valvelab.store.tables import BEGUN, CONTENT, FILE, ITEM, RECORD, Folded
from valvelab.writing import check_place, make_folder

CHANGED = "found other contents than its name says, expected it as it was recorded"
_ADDED_AT_ONCE = 50
_AT_ONCE = 500
_KEPT = [column for column in RECORD.c if column.name != "number"]
_SMALL = str.maketrans(ascii_uppercase, ascii_lowercase)
_LATER = RECORD.alias("later")
_ADD_CONTENT = text("INSERT INTO content (sha256, data) VALUES (:sha256, :data) ON CONFLICT DO NOTHING")
"""Where benches share a database, another may add the same bytes at the same moment."""
Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True)
class Filter:
    """Which records are asked for; None asks nothing. since, until: dates, ISO 8601, both included.

    begins: texts are beginnings, with small letters for capitals; the first of them then leads the order.
    standing: only those that no other corrects. limit: at most so many, the newest; offset: so many of them are passed
    over first.
    """

    serial: str | None = None
    part: str | None = None
    customer: str | None = None
    since: str | None = None
    until: str | None = None
    decision: Decision | None = None
    begins: bool = False
    standing: bool = False
    limit: int | None = None
    offset: int = 0


def open_store(place: str | None = None, *, create: bool = True, wait_s: float = WAIT_S) -> Store:
    """The store at a place: a file or a URL, by default the user's own.

    create: make one where there is none. wait_s: how long another writer is waited for, in seconds. Raises StoreError
    for what is no store, is damaged, or was written by a newer version, and WrongUsage for what is no place.
    """
    url = url_of(place)
    name = shown(url)
    if url.get_backend_name() == "sqlite":
        _check_file(Path(name), place, create=create)
    with in_one_sentence(name):
        engine = engine_of(url, name, wait_s)
        try:
            see_to(engine, name, create=create)
        except BaseException:
            engine.dispose()
            raise
    return Store(engine, url)


def _check_file(file: Path, place: str | None, *, create: bool) -> None:
    if file.is_file():
        return
    if not create and not file.exists():
        raise StoreError(str(file), NO_STORE)
    if place is None and str(file) == str(Path(default_place()).absolute()):
        make_folder(file.parent, private=True)
    check_place(file)


class Store:
    """An open store; `place` is where it is, as it may be printed."""

    def __init__(self, engine: Engine, url: URL) -> None:
        self._engine = engine
        self.place = shown(url)

    def __enter__(self) -> Self:
        """The store itself."""
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()

    def close(self) -> None:
        """Let every connection go."""
        self._engine.dispose()

    def add(self, entries: Iterable[Entry]) -> int:
        """Keep records with their files, all or none; those that are there already stay as they are. How many are new.

        Once this returns they outlive a power cut. entries: something that can be gone through twice. Raises
        StoreError, and then none was kept.
        """
        return self._run(lambda connection: self._add(connection, entries), writing=True)

    def find(self, asked: Filter) -> tuple[StoredRecord, ...]:
        """Records that a filter asks for, the latest measured first, then the latest recorded."""
        query = _begun(asked) if asked.begins else _equal(asked)
        if asked.decision is not None:
            query = query.where(RECORD.c.decision == asked.decision)
        if asked.since is not None:
            query = query.where(RECORD.c.date >= asked.since)
        if asked.until is not None:
            query = query.where(RECORD.c.date <= asked.until)
        if asked.standing:
            query = query.where(_LATER.c.id.is_(None))
        query = query.order_by(RECORD.c.date.desc(), RECORD.c.number.desc()).limit(asked.limit).offset(asked.offset)
        return self._run(lambda connection: self._records(connection, query))

    def get(self, name: str) -> StoredRecord:
        """The record of a name, or of its first signs where only one begins so. Raises StoreError."""
        begins = name.lower()
        if not NAME.fullmatch(begins):
            raise StoreError(self.place, f"found {name!r:.80}, expected a record's name: 4 to 64 signs of 0-9 and a-f")
        query = _heads().where(RECORD.c.id >= begins, RECORD.c.id < f"{begins}g").limit(2)
        found = self._run(lambda connection: self._records(connection, query))
        if len(found) != 1:
            told = "no record of that name" if not found else "several records whose names begin so"
            raise StoreError(self.place, f"{name}: found {told}, expected one; `valvelab records list` names them")
        return found[0]

    def history(self, serial: str, part: str | None = None, customer: str | None = None) -> tuple[StoredRecord, ...]:
        """What was recorded of a serial number and still stands, the first measured first."""
        return self.find(Filter(serial=serial, part=part, customer=customer, standing=True))[::-1]

    def every(self) -> Iterator[StoredRecord]:
        """Every record in the order of recording, as it is there; one that another corrects comes before that."""
        after = 0
        while True:
            query = _heads().where(RECORD.c.number > after).order_by(RECORD.c.number).limit(_AT_ONCE)
            found = self._run(lambda connection, query=query: self._read(connection, query))  # type: ignore[misc]
            yield from found.values()
            if not found:
                return
            after = max(found)

    def standing(self) -> Iterator[str]:
        """Names of the records that no other corrects, in the order of the names."""
        joined = RECORD.outerjoin(_LATER, _LATER.c.corrects == RECORD.c.id)
        yield from self._names(select(RECORD.c.id).select_from(joined).where(_LATER.c.id.is_(None)), RECORD.c.id)

    def digests(self) -> Iterator[str]:
        """The SHA-256 of all bytes that are kept."""
        yield from self._names(select(CONTENT.c.sha256), CONTENT.c.sha256)

    def _names(self, asked: Select[Any], name: Column[Any]) -> Iterator[str]:
        """What a query over names finds, in their order and a few at a time."""
        after = ""
        while True:
            query = asked.where(name > after).order_by(name).limit(_AT_ONCE)
            found = self._run(lambda connection, query=query: connection.execute(query).scalars().all())  # type: ignore[misc]
            yield from found
            if not found:
                return
            after = found[-1]

    def check(self) -> tuple[str, ...]:
        """All that is not as it was recorded: records, bytes, what the database itself finds; nothing where all is."""
        return tuple(self._faults())

    def _faults(self) -> Iterator[str]:
        yield from self._run(own_check)
        try:
            for record in self.every():
                if identity(record) != record.id:
                    yield f"record {short(record.id)}: {CHANGED}"
            for digest in self.digests():
                try:
                    self.content(digest)
                except StoreError as error:
                    yield error.reason
        except StoreError as error:  # no row further can be read
            yield error.reason

    def grant(self, role: str) -> None:
        """Let a role of PostgreSQL read and add, and nothing else. Raises StoreError where there are no roles."""
        self._run(lambda connection: grant(connection, role, self.place), writing=True)

    def content(self, digest: str) -> bytes:
        """The bytes of a file by their SHA-256. Raises StoreError for those that are not what they were."""
        within = func.length(CONTENT.c.data) <= MAX_UNPACKED_BYTES
        query = select(CONTENT.c.data).where(CONTENT.c.sha256 == digest, within)
        data = self._run(lambda connection: connection.execute(query).scalar())
        if not isinstance(data, bytes) or sha256(data).hexdigest() != digest:
            raise StoreError(
                self.place, f"file {short(digest)}: found other bytes than were recorded, expected the same"
            )
        return data

    def _run(self, work: Callable[[Connection], Answer], *, writing: bool = False) -> Answer:
        """Work in one transaction; once more where the connection was lost, for what was kept is never kept twice."""
        with in_one_sentence(self.place):
            try:
                return self._once(work, writing=writing)
            except DBAPIError as error:
                if not may_be_tried_again(error):
                    raise
                return self._once(work, writing=writing)

    def _once(self, work: Callable[[Connection], Answer], *, writing: bool) -> Answer:
        with self._engine.connect().execution_options(**{WRITING: writing}) as connection, connection.begin():
            return work(connection)

    def _add(self, connection: Connection, entries: Iterable[Entry]) -> int:
        left, added = iter(entries), 0
        while some := list(islice(left, _ADDED_AT_ONCE)):
            added += self._add_some(connection, some)
        return added

    def _add_some(self, connection: Connection, entries: Sequence[Entry]) -> int:
        for entry in entries:
            self._sound(entry.record)
        there = _there(connection, RECORD, "id", [entry.record.id for entry in entries])
        new = {entry.record.id: entry for entry in entries if entry.record.id not in there}
        contents = {digest: data for entry in new.values() for digest, data in entry.contents.items()}
        held = _there(connection, CONTENT, "sha256", list(contents))
        missing = [{"sha256": digest, "data": data} for digest, data in contents.items() if digest not in held]
        for row in missing:
            connection.execute(_ADD_CONTENT, row)
        for entry in new.values():
            self._add_one(connection, entry.record)
        return len(new)

    def _add_one(self, connection: Connection, record: StoredRecord) -> None:
        if record.corrects is not None:
            self._check_corrects(connection, record.corrects)
        row = {column.name: getattr(record, column.name) for column in _KEPT}
        number = connection.execute(insert(RECORD).returning(RECORD.c.number), row).scalar_one()
        for table, parts in ((FILE, record.files), (ITEM, record.items)):
            rows = [{"record": number, "place": place, **dict(part)} for place, part in enumerate(parts)]
            if rows:
                connection.execute(insert(table), rows)

    def _check_corrects(self, connection: Connection, name: str) -> None:
        found = self._records(connection, _heads().where(RECORD.c.id == name))
        if not found:
            raise StoreError(
                self.place, f"{short(name)}: found no record of that name, expected the one to be corrected"
            )
        if found[0].corrected_by is not None:
            newer = short(found[0].corrected_by)
            raise StoreError(
                self.place, f"{short(name)}: was corrected already by {newer}, expected the one that stands"
            )

    def _records(self, connection: Connection, query: Select[Any]) -> tuple[StoredRecord, ...]:
        """The records of a query over their heads, each as its name says."""
        return tuple(map(self._sound, self._read(connection, query).values()))

    def _read(self, connection: Connection, query: Select[Any]) -> dict[int, StoredRecord]:
        """The records of a query over their heads, by their number."""
        heads = connection.execute(query).mappings().all()
        numbers = [row["number"] for row in heads]
        files, items = _parts(connection, FILE, numbers), _parts(connection, ITEM, numbers)
        return {
            row["number"]: StoredRecord(
                **{key: value for key, value in row.items() if key != "number"},
                files=tuple(StoredFile(**part) for part in files.get(row["number"], ())),
                items=tuple(StoredItem(**part) for part in items.get(row["number"], ())),
            )
            for row in heads
        }

    def _sound(self, record: StoredRecord) -> StoredRecord:
        if identity(record) != record.id:
            raise StoreError(self.place, f"record {short(record.id)}: {CHANGED}")
        return record


def _heads() -> Select[Any]:
    joined = RECORD.outerjoin(_LATER, _LATER.c.corrects == RECORD.c.id)
    return select(*RECORD.c, _LATER.c.id.label("corrected_by")).select_from(joined)


def _equal(asked: Filter) -> Select[Any]:
    """Records whose texts are those that a filter states."""
    query = _heads()
    for column in BEGUN:
        if (value := getattr(asked, column)) is not None:
            query = query.where(RECORD.c[column] == value)
    return query


def _begun(asked: Filter) -> Select[Any]:
    """Records whose texts begin as a filter states, in the order of the first text."""
    query = _heads()
    for column in BEGUN:
        if beginning := getattr(asked, column):
            text, begin = Folded(RECORD.c[column]), beginning.translate(_SMALL)
            query = query.where(text >= begin, text < f"{begin}{chr(sys.maxunicode)}").order_by(text)
    return query


def _there(connection: Connection, table: Table, key: str, values: Sequence[str]) -> set[str]:
    """Those of some keys that a table holds."""
    found: set[str] = set()
    for start in range(0, len(values), _AT_ONCE):
        query = select(table.c[key]).where(table.c[key].in_(values[start : start + _AT_ONCE]))
        found.update(connection.execute(query).scalars())
    return found


def _parts(connection: Connection, table: Table, numbers: Sequence[int]) -> dict[int, list[dict[str, Any]]]:
    """Rows of a table of parts by the number of their record, in their order."""
    columns = [column for column in table.c if column.name != "place"]
    found: dict[int, list[dict[str, Any]]] = {}
    for start in range(0, len(numbers), _AT_ONCE):
        query = select(*columns).where(table.c.record.in_(numbers[start : start + _AT_ONCE]))
        for row in connection.execute(query.order_by(table.c.record, table.c.place)).mappings():
            part = dict(row)
            found.setdefault(part.pop("record"), []).append(part)
    return found
