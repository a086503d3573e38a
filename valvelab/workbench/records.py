"""What the window does with the record store, without Qt: each a piece of work for a thread of its own.

The database library and what inspects are loaded in that thread, by the first work that asks for them.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from valvelab.errors import BadFile, ValvelabError
from valvelab.files.kinds import READERS, Reader
from valvelab.job.laid_out import lay_out, without
from valvelab.language import say
from valvelab.phrase import Phrase
from valvelab.records.comparison_result import READ_BY
from valvelab.records.job import Job
from valvelab.records.particulars import LONGEST_LINE, Particulars
from valvelab.records.parts.compare import ComparePart
from valvelab.records.parts.part import JobPart
from valvelab.records.records_result import HistoryRow
from valvelab.records.result import Note, warning
from valvelab.records.stored import Entry, StoredRecord, short
from valvelab.workbench import bays
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.job_folders import FOLDER
from valvelab.writing import write_whole

if TYPE_CHECKING:
    from valvelab.job.recorded import Recorded
    from valvelab.job.recording import Recording
    from valvelab.store import Store

AT_ONCE = 100
"""Records that a list takes up at a time."""
OWN = ("serial", "part")
"""What every thing inspected has of its own."""
ASKED = (*OWN, "customer")
"""What a record is looked for by, and what a person is asked for where the readings don't say it."""
_FILES = "files"


@dataclass(frozen=True, slots=True)
class Listed:
    """Records that were asked for, whether there are more, and where they are kept; `store` is empty without one."""

    store: str
    records: tuple[StoredRecord, ...] = ()
    more: bool = False


def listed(place: str, asked: Mapping[str, Any], offset: int = 0) -> Listed:
    """A page of records, after so many others. Raises StoreError; a store that is not there yet has none.

    asked: fields of a Filter, texts as beginnings.
    """
    from valvelab.store import Filter

    with _opened(place) as store:
        if store is None:
            return Listed("")
        found = store.find(Filter(**asked, begins=True, limit=AT_ONCE + 1, offset=offset))
        return Listed(store.place, found[:AT_ONCE], len(found) > AT_ONCE)


@contextmanager
def _opened(place: str) -> Iterator[Store | None]:
    """The store of a place, "" for the user's own; None where nothing was kept there yet."""
    from valvelab.store import NO_STORE, open_store

    try:
        store = open_store(place or None, create=False)
    except ValvelabError as error:
        if getattr(error, "reason", "") != NO_STORE:
            raise
        yield None
        return
    with store:
        yield store


# -- the lives of a part ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Life:
    """What became of one part: its records, the values that are followed, and what their reader has to know.

    first: the row that says most.
    """

    of: StoredRecord
    records: tuple[StoredRecord, ...] = ()
    rows: tuple[HistoryRow, ...] = ()
    first: HistoryRow | None = None
    notes: tuple[Note, ...] = ()


def life_of(place: str, record: StoredRecord) -> Life:
    """The lives of the part that a record is of, as that inspection found them. Raises StoreError.

    Nothing for one without a serial number; what else bears that number was inspected for something else.
    """
    from valvelab.job.history import history, shown_first

    if record.serial is None:
        return Life(record)
    with _opened(place) as store:
        if store is None:
            return Life(record)
        every = store.history(record.serial, customer=record.customer)
        records = tuple(one for one in every if one.inspect == record.inspect)
        found = history(records, store.content)
    return Life(record, records, found.rows, shown_first(found.rows), found.notes)


# -- kept ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Kept:
    """What was kept, what was there already, under which names, and where."""

    store: str
    new: tuple[StoredRecord, ...]
    known: tuple[StoredRecord, ...]

    def sentence(self) -> str:
        """What was done, for people."""
        parts = []
        if self.new:
            parts.append(say("Kept in {store}: {named}").format(store=self.store, named=_named(self.new)))
        if self.known:
            parts.append(say("there already: {named}").format(named=_named(self.known)))
        return "; ".join(parts)


def _named(records: Sequence[StoredRecord]) -> str:
    return ", ".join(f"{row.inspect} as {short(row.id)}" for row in records)


def inspected(document: Document, name: str) -> Recording:
    """Everything on the bench that can be inspected, as it is to be recorded; what can't be is told in its notes.

    name: what the job goes by. Raises as inspections do where nothing can be.
    """
    from valvelab.workbench.jobs import told

    bench, job = told(document)
    if job is None:
        raise BadFile(name, "", "nothing that can be inspected on the bench", "readings")
    plain = job.model_copy(update={"customer": None, "whose": ()})  # a record says so itself, in words of its own
    found = _inspected(bench.files, plain, name)
    return replace(found, entries=tuple(_completed(entry, _said_by(job, entry.record)) for entry in found.entries))


def _said_by(job: Job, record: StoredRecord) -> dict[str, str]:
    """What papers say of a record's part where its readings don't."""
    whose = job.whose_is(record.inspect)
    return {"part": whose.part or "", "serial": whose.serial or "", "customer": job.customer or ""}


def _inspected(files: Mapping[str, bytes], job: Job, name: str) -> Recording:
    try:
        return _of_job(files, job, name)
    except ValvelabError as refused:
        sound, left_out = [], []
        for part in job.part if len(job.part) > 1 else ():
            try:
                _of_job(files, job.model_copy(update={"part": (part,)}), name)
                sound.append(part)
            except ValvelabError as error:
                left_out.append(warning(part.inspect, Phrase("not kept: {error}", error=error)))
        if not sound:
            raise refused from None
    found = _of_job(files, job.model_copy(update={"part": tuple(sound)}), name)
    return replace(found, notes=(*found.notes, *left_out))


def _of_job(files: Mapping[str, bytes], job: Job, name: str) -> Recording:
    from valvelab.job.carried import job_toml
    from valvelab.job.job_file import JOB_FILE
    from valvelab.job.recording import Stated, recording

    with TemporaryDirectory(prefix="valvelab-records-") as place, without(Path(place), name):
        folder = Path(place)
        lay_out(files, folder, name)
        write_whole(folder / JOB_FILE, job_toml(job))
        return recording(folder / JOB_FILE, Stated())


@dataclass(frozen=True, slots=True)
class Thing:
    """What was inspected, by its readings: its records by number, what it is called in a row, what is said of it."""

    entries: tuple[int, ...]
    name: str
    said: Mapping[str, str | None]


def things(found: Recording) -> tuple[Thing, ...]:
    """What is to be kept, thing by thing; what was inspected in several ways from the same readings is one."""
    alike: dict[tuple[str, ...], list[int]] = {}
    for number, entry in enumerate(found.entries):
        alike.setdefault(_readings(entry.record), []).append(number)
    return tuple(_thing(found, numbers) for numbers in alike.values())


def _readings(record: StoredRecord) -> tuple[str, ...]:
    return tuple(sorted(file.name for file in record.files if file.role == "readings"))


def _thing(found: Recording, numbers: Sequence[int]) -> Thing:
    records = [found.entries[number].record for number in numbers]
    said = {name: next(filter(None, (getattr(row, name) for row in records)), None) for name in OWN}
    files = ", ".join(Path(name).name for name in _readings(records[0]))
    titles = (say(bay.title) if (bay := bays.by_name(row.inspect)) else row.inspect for row in records)
    return Thing(tuple(numbers), " · ".join(filter(None, (", ".join(dict.fromkeys(titles)), files))), said)


def missing(found: Recording) -> tuple[str, ...]:
    """What some record does not say that it would be looked for by."""
    return tuple(name for name in ASKED if any(getattr(entry.record, name) is None for entry in found.entries))


def keep(place: str, found: Recording, stated: Sequence[Mapping[str, str]]) -> Kept:
    """Keep records, with what a person stated where they say nothing; one that says the same stays the only one.

    stated: of each record in turn. Raises StoreError, and then none was kept.
    """
    from valvelab.store import open_store

    entries = [_completed(entry, said) for entry, said in zip(found.entries, stated, strict=True)]
    with open_store(place or None) as store:
        there = [_there(store, entry.record) for entry in entries]
        new = [entry for entry, known in zip(entries, there, strict=True) if known is None]
        store.add(new)
        return Kept(store.place, tuple(entry.record for entry in new), tuple(filter(None, there)))


def _completed(entry: Entry, stated: Mapping[str, str]) -> Entry:
    record = entry.record
    added = {name: text for name, text in stated.items() if text and getattr(record, name) is None}
    return replace(entry, record=record.model_copy(update=added).named()) if added else entry


def _there(store: Store, record: StoredRecord) -> StoredRecord | None:
    """The record that says all that this one does but when it was recorded."""
    from valvelab.store import Filter

    same_day = Filter(serial=record.serial, since=record.date, until=record.date, standing=True)
    plain = {"recorded": record.recorded, "id": record.id}
    return next((one for one in store.find(same_day) if one.model_copy(update=plain) == record), None)


# -- back on the bench -----------------------------------------------------------------------------------------------


def reopened(place: str, records: Sequence[StoredRecord], folder: Path) -> Document:
    """A bench with the files of records, laid out under the folder of settings, in the bay of the first.

    Two records lie there to be compared, the first as the earlier, by the spec of the later. Raises StoreError,
    BadFile.
    """
    from valvelab.job.recorded import recorded
    from valvelab.workbench.compare_bay import CompareState

    with _opened(place) as store:
        found = [] if store is None else [recorded(record, store.content) for record in records]
    benches = [_bench_of(one, folder / FOLDER / secrets.token_hex(6) / _FILES) for one in found]
    files = tuple(file for bench in reversed(benches) for file in bench)
    if len(benches) < 2:
        said = particulars_with(None, [one.record for one in found])
        return Document(files=files, bay=_bay_of(found[0].part) if found else "", particulars=said)
    before, after = (bench[0].path for bench in benches)
    state = CompareState(before=before, after=after)
    return Document(files=files, bay=CompareState.bay, states=MappingProxyType({CompareState: state}))


def particulars_with(known: Particulars | None, records: Sequence[StoredRecord]) -> Particulars | None:
    """What papers say besides, with what records say of their parts and of whom they are for."""
    said = known or Particulars()
    for record in records:
        said = said.naming(record.inspect, record.part, record.serial)
        if not said.customer and record.customer:
            said = said.model_copy(update={"customer": record.customer.strip()[:LONGEST_LINE] or None})
    return said if said != Particulars() else None


def told_to_papers(
    known: Particulars | None, found: Recording, stated: Sequence[Mapping[str, str]]
) -> Particulars | None:
    """What papers say besides, with what was stated of records where their readings say nothing."""
    said = known
    for entry, texts in zip(found.entries, stated, strict=True):
        own = {name: texts.get(name) for name in OWN if getattr(entry.record, name) is None}
        customer = entry.record.customer or texts.get("customer")
        if any(own.values()) or customer:
            plain = {"part": None, "serial": None, "customer": customer or None, **own}
            said = particulars_with(said, [entry.record.model_copy(update=plain)])
    return said


def comparable(records: Sequence[StoredRecord]) -> bool:
    """Whether these are two records that hold tables of one kind."""
    kinds = {READ_BY.get(record.inspect) for record in records}
    return len(records) == 2 and len(kinds) == 1 and None not in kinds


def _bench_of(found: Recorded, folder: Path) -> list[BenchFile]:
    """The files of a record that its own part names, the readings first, each with its columns.

    All files of its job lie beside them, the nominal tables of its spec among them.
    """
    from valvelab.job.uses import use

    name, part = short(found.record.id), found.part
    lay_out(found.files, folder, name, private=True)
    columns = _columns(part)
    further = use(part.inspect).named(part.with_files(folder.__truediv__))
    own = {path.as_posix() for path in part.files} | {path.relative_to(folder).as_posix() for path in further}
    ordered = sorted(own & found.files.keys(), key=lambda file: (file not in columns, file))
    reader = _reader(part)
    kind = None if reader is None else reader.name
    return [
        BenchFile(str(folder / file), assigned, kind if assigned else None)
        for file in ordered
        for assigned in [columns.get(file)]
    ]


def _columns(part: JobPart) -> dict[str, str | None]:
    """The columns of a part's tables, by their names."""
    own: str | None = getattr(part, "columns", None)
    tables = {file.as_posix(): own for file in (part.file, *getattr(part, "later", ()))}
    if isinstance(part, ComparePart):
        tables[part.after.as_posix()] = own if part.after_columns is None else part.after_columns or None
    return tables


def _reader(part: JobPart) -> Reader | None:
    """The kind of table that a part inspects."""
    command = READ_BY.get(part.inspect, part.inspect)
    return next((reader for reader in READERS if reader.command == command and reader.columns is not None), None)


def _bay_of(part: JobPart) -> str:
    """The bay that shows what a part inspects."""
    if bays.by_name(part.inspect) is not None:
        return part.inspect
    reader = _reader(part)
    takers = bays.takers(reader.name) if reader is not None else ()
    return takers[0].name if takers else ""
