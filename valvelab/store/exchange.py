"""A whole store as plain files, and back: records as lines of JSON, bytes as they were, a manifest of SHA-256.

    manifest.json       what follows, each file with its SHA-256 and size; written last
    records.jsonl       a record a line, in the order of recording
    content/ab/abcd…    the bytes whose SHA-256 is the name

A folder, or a zip of the same. Another database takes it with every record under its own name.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import IO, BinaryIO, Protocol

from pydantic import ValidationError

from valvelab import __version__
from valvelab.errors import BadFile
from valvelab.files.contents import MAX_UNPACKED_BYTES, size_text
from valvelab.files.zip_parts import STAMP, refusing_faults
from valvelab.records.records_result import ExportedFile, ExportManifest
from valvelab.records.stored import Entry, StoredRecord, identity
from valvelab.store.store import Store
from valvelab.writing import check_new_folder, make_folder, write_filled

MANIFEST, RECORDS = "manifest.json", "records.jsonl"
ZIP = ".zip"
_WANTED = "a whole export of a store"
_LONGEST_LINE = 16 * 2**20
_OTHER_BYTES = "other bytes than were exported"


def content_name(digest: str) -> str:
    """Where an export holds bytes."""
    return f"content/{digest[:2]}/{digest}"


# -- out --------------------------------------------------------------------------------------------------------------


def export(store: Store, target: Path) -> ExportManifest:
    """Write a whole store into a new folder, or a zip. Raises CannotWrite, StoreError."""
    if target.suffix.lower() == ZIP:
        written: list[ExportManifest] = []

        def fill(stream: BinaryIO) -> None:
            with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as archive:
                written.append(_write(store, _Zip(archive)))

        write_filled(target, fill)
        return written[0]
    check_new_folder(target)
    return _write(store, _Folder(target))


class _Sink(Protocol):
    """Where an export goes."""

    def put(self, name: str, parts: Iterable[bytes]) -> None:
        """Write a file of parts."""


@dataclass(frozen=True, slots=True)
class _Folder:
    folder: Path

    def put(self, name: str, parts: Iterable[bytes]) -> None:
        """Write a file of parts."""
        target = self.folder / name
        make_folder(target.parent)
        write_filled(target, lambda stream: stream.writelines(parts))


@dataclass(frozen=True, slots=True)
class _Zip:
    archive: zipfile.ZipFile

    def put(self, name: str, parts: Iterable[bytes]) -> None:
        """Write a file of parts."""
        entry = zipfile.ZipInfo(name, STAMP)
        entry.compress_type = zipfile.ZIP_DEFLATED
        with self.archive.open(entry, "w", force_zip64=True) as stream:
            stream.writelines(parts)


@dataclass(slots=True)
class _Tally:
    """Parts of a file on their way, counted."""

    name: str
    parts: Iterable[bytes]
    size: int = 0
    digest: str = ""

    def __iter__(self) -> Iterator[bytes]:
        found = sha256()
        for part in self.parts:
            found.update(part)
            self.size += len(part)
            yield part
        self.digest = found.hexdigest()


def _write(store: Store, sink: _Sink) -> ExportManifest:
    files: list[ExportedFile] = []

    def put(name: str, parts: Iterable[bytes]) -> None:
        tally = _Tally(name, parts)
        sink.put(name, tally)
        files.append(ExportedFile(name=name, sha256=tally.digest, size=tally.size))

    digests: dict[str, None] = {}
    count = 0

    def lines() -> Iterator[bytes]:
        nonlocal count
        for record in store.every():
            digests.update(dict.fromkeys(file.sha256 for file in record.files))
            count += 1
            yield record.line().encode() + b"\n"

    put(RECORDS, lines())
    for digest in digests:
        put(content_name(digest), [store.content(digest)])
    now = datetime.now(UTC).isoformat(timespec="seconds")
    manifest = ExportManifest(version=__version__, exported=now, records=count, files=tuple(files))
    sink.put(MANIFEST, [manifest.model_dump_json(indent=1).encode()])
    return manifest


# -- in ---------------------------------------------------------------------------------------------------------------


def restore(store: Store, source: Path) -> tuple[ExportManifest, int]:
    """Take every record of an export into a store, all or none; how many were new to it.

    Raises BadFile for an export that is torn or changed, StoreError for a store that can't take it.
    """
    with refusing_faults(str(source), "", "a folder or zip that can't be read", _WANTED):
        if source.is_dir():
            return _take(store, source, lambda name: (source / name).open("rb"))
        with zipfile.ZipFile(source) as archive:
            return _take(store, source, archive.open)


def _take(store: Store, source: Path, opened: Callable[[str], IO[bytes]]) -> tuple[ExportManifest, int]:
    with opened(MANIFEST) as stream:
        data = _at_most(stream, MAX_UNPACKED_BYTES, f"{source}", MANIFEST)
    try:
        manifest = ExportManifest.model_validate_json(data)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = " ".join(map(str, (MANIFEST, *first["loc"])))
        raise BadFile(str(source), where, first["msg"][:1].lower() + first["msg"][1:], _WANTED) from None
    return manifest, store.add(_Export(str(source), opened, {file.name: file for file in manifest.files}))


@dataclass(frozen=True, slots=True)
class _Export:
    """The entries of an export, as often as they are gone through; the manifest vouches for every byte of them."""

    source: str
    opened: Callable[[str], IO[bytes]]
    listed: Mapping[str, ExportedFile]

    def __iter__(self) -> Iterator[Entry]:
        found = sha256()
        with self.opened(RECORDS) as stream:
            for number, line in enumerate(iter(lambda: stream.readline(_LONGEST_LINE), b""), start=1):
                found.update(line)
                yield self._entry(line, f"{RECORDS} line {number}")
        if found.hexdigest() != self._listed(RECORDS).sha256:
            raise BadFile(self.source, RECORDS, _OTHER_BYTES, _WANTED)

    def _entry(self, line: bytes, place: str) -> Entry:
        try:
            record = StoredRecord.model_validate_json(line)
        except ValidationError as error:
            said = error.errors(include_url=False)[0]["msg"]
            raise BadFile(self.source, place, said[:1].lower() + said[1:], "a record") from None
        if identity(record) != record.id:
            raise BadFile(self.source, place, "another record than its name says", _WANTED)
        return Entry(record, {file.sha256: self._content(file.sha256, file.size) for file in record.files})

    def _content(self, digest: str, size: int) -> bytes:
        name = content_name(digest)
        self._listed(name)
        with self.opened(name) as stream:
            data = _at_most(stream, min(size, MAX_UNPACKED_BYTES), self.source, name)
        if sha256(data).hexdigest() != digest:
            raise BadFile(self.source, name, _OTHER_BYTES, _WANTED)
        return data

    def _listed(self, name: str) -> ExportedFile:
        if name not in self.listed:
            raise BadFile(self.source, MANIFEST, f"no {name}", _WANTED)
        return self.listed[name]


def _at_most(stream: IO[bytes], most: int, file: str, name: str) -> bytes:
    data = stream.read(most + 1)
    if len(data) > most:
        raise BadFile(file, name, f"more than {size_text(most)}", "as much as its record says")
    return data
