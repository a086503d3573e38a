"""The bench as it is kept in a file: what a person decided, as one record, for recovery files and job files alike."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import Field, asdict, fields, is_dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import Discriminator, TypeAdapter, ValidationError

from valvelab.errors import ValvelabError
from valvelab.records.particulars import Particulars
from valvelab.records.result import Record
from valvelab.units import System
from valvelab.workbench import bays
from valvelab.workbench.document import BenchFile, Document, Paper
from valvelab.workbench.state import Kept

_BYTES = MappingProxyType({0xDC00 + byte: 0xF700 + byte for byte in range(0x80, 0x100)})
_BYTES_BACK = MappingProxyType({kept: byte for byte, kept in _BYTES.items()})


class SavedFile(Record):
    """A file of the bench. text: what stands there in place of a file, typed or edited."""

    path: str
    columns: str | None = None
    kind: str | None = None
    text: str | None = None


class SavedPaper(Record):
    """A certificate that was written."""

    path: str
    number: str
    made: str


class FirstBench(Record):
    """The recovery file of version 0.2.0, with choices by name."""

    version: Literal[1] = 1
    files: tuple[SavedFile, ...]
    station: str
    choices: dict[str, dict[str, str | float | bool]]
    current: dict[str, str]
    units: System

    def upgraded(self) -> SavedBench:
        """The same bench in the form of today."""
        from valvelab.workbench.recovery_upgrade import states_of

        asked = str(self.choices.get("bench", {}).get("columns", ""))
        plain = self.model_dump(exclude={"version", "choices", "station"})
        return SavedBench(**plain, bay=self.station, states=states_of(self.choices), columns_of=asked)


class SavedBench(Record):
    """What a person decided, as it is kept; `version` grows with its form. states: by bay, as its dataclass has them.

    Version 2 had no texts and no job, version 3 no particulars.
    """

    version: Literal[2, 3, 4] = 4
    files: tuple[SavedFile, ...]
    bay: str
    states: dict[str, dict[str, Any]]
    columns_of: str = ""
    current: dict[str, str]
    units: System
    job: str = ""
    job_sha256: str = ""
    papers: tuple[SavedPaper, ...] = ()
    particulars: Particulars | None = None


_FILE: TypeAdapter[FirstBench | SavedBench] = TypeAdapter(Annotated[FirstBench | SavedBench, Discriminator("version")])


def saved_text(document: Document, called: Mapping[str, str] = MappingProxyType({})) -> str:
    """A document's decisions as JSON. Bytes of names that are no UTF-8 are kept in signs of private use.

    called: paths that go by another name there, wherever they stand.
    """
    saved = {
        "files": [asdict(file) for file in document.files],
        "bay": document.bay,
        "states": {state.bay: _plain(state) for state in document.states.values()},
        "columns_of": document.columns_of,
        "current": dict(document.current),
        "units": document.units,
        "job": document.job,
        "job_sha256": document.job_sha256,
        "papers": [asdict(paper) for paper in document.papers],
        "particulars": document.particulars and document.particulars.model_dump(),
    }
    named = _renamed(saved, lambda text: called.get(text, text))
    return SavedBench.model_validate(_renamed(named, lambda text: text.translate(_BYTES))).model_dump_json(indent=1)


def saved_document(data: bytes, called: Mapping[str, str] = MappingProxyType({})) -> Document:
    """The document of what was kept; ValueError where it is none. called: names that stand for these paths."""
    try:
        read = _FILE.validate_json(data)
        saved = read.upgraded() if isinstance(read, FirstBench) else read
        with_bytes = _renamed(saved.model_dump(), lambda text: text.translate(_BYTES_BACK))
        plain = SavedBench.model_validate(_renamed(with_bytes, lambda text: called.get(text, text)))
        known = {name: bays.work_of(name).state for name in plain.states if bays.by_name(name)}
        states = {kind: _state(kind, plain.states[name]) for name, kind in known.items()}
    except (ValidationError, ValvelabError, ValueError, TypeError) as error:
        raise ValueError(str(error)) from None
    return Document(
        files=tuple(BenchFile(file.path, file.columns, file.kind, file.text) for file in plain.files),
        bay=plain.bay,
        states=MappingProxyType(states),
        columns_of=plain.columns_of,
        current=MappingProxyType(plain.current),
        units=plain.units,
        job=plain.job,
        job_sha256=plain.job_sha256,
        papers=tuple(Paper(paper.path, paper.number, paper.made) for paper in plain.papers),
        particulars=plain.particulars,
    )


def _plain(value: Any) -> Any:
    """A state or a part of one in the plain values that JSON has."""
    if is_dataclass(value):
        return {one.name: _plain(_written(one, getattr(value, one.name))) for one in fields(value)}
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | frozenset):
        return [_plain(item) for item in value]
    return value


def _written(one: Field[Any], value: Any) -> Any:
    kept = one.metadata.get("kept")
    return kept.write(value) if isinstance(kept, Kept) else value


def _state(kind: type[Any], saved: Mapping[str, Any]) -> Any:
    """A state of its plain values; what this version does not know is left out."""
    plain = dict(saved)
    for one in fields(kind):
        kept = one.metadata.get("kept")
        if isinstance(kept, Kept) and one.name in plain:
            plain[one.name] = kept.read(plain[one.name])
    state = TypeAdapter(kind).validate_python(plain)
    held = {one.name: value for one in fields(kind) if isinstance(value := getattr(state, one.name), dict)}
    return replace(state, **{name: MappingProxyType(value) for name, value in held.items()})


def _renamed(value: Any, name: Callable[[str], str]) -> Any:
    """The same with every text, in keys and values, as `name` has it; paths become texts."""
    if isinstance(value, str | Path):
        return name(str(value))
    if isinstance(value, dict):
        return {_renamed(key, name): _renamed(item, name) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_renamed(item, name) for item in value]
    return value
