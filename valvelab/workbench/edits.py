"""Edits: functions from one document to the next."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import count
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from valvelab.units import System
from valvelab.workbench.document import TYPED, Answer, BenchFile, Content, Document, Paper, in_names
from valvelab.workbench.state import BayState, with_item

if TYPE_CHECKING:
    from valvelab.records.particulars import Particulars


def add_files(document: Document, paths: Iterable[str]) -> Document:
    """Put files on the bench; one that is there already stays as it is."""
    present = {file.path for file in document.files}
    new = [BenchFile(path) for path in dict.fromkeys(paths) if path not in present]
    return replace(document, files=(*document.files, *new)) if new else document


def type_table(document: Document, name: str, kind: str, text: str) -> Document:
    """Put a table on the bench that is typed and lies in no file, in front of others of its kind."""
    taken = {file.path for file in document.files}
    path = next(path for number in count(1) if (path := f"{TYPED}{number}/{name}") not in taken)
    with_table = replace(document, files=(*document.files, BenchFile(path, kind=kind, text=text)))
    return replace(with_table, current=with_item(document.current, kind, path))


def retype(document: Document, path: str, text: str) -> Document:
    """What is typed of a file is this from now on; what it was read as before is forgotten."""
    files = tuple(replace(file, text=text) if file.path == path else file for file in document.files)
    return replace(forget_file(document, path), files=files)


def add_bench(document: Document, other: Document, name: str) -> Document:
    """Put the files of another job beside those that are there; typed tables bear the job's `name`."""
    for file in other.files:
        if file.text is not None and file.path.startswith(TYPED):
            document = type_table(document, f"{name} {file.name}", file.kind or "", file.text)
        elif document.file(file.path) is None:
            document = replace(document, files=(*document.files, file))
    return replace(_with_particulars(document, other.particulars), columns_of="")


def _with_particulars(document: Document, other: Particulars | None) -> Document:
    """What papers say of another bench's parts; words on the whole job are its own where it has some."""
    known = document.particulars
    if known is None or other is None:
        return document if other is None else replace(document, particulars=other)
    for one in other.whose:
        known = known.naming(one.use, one.part, one.serial)
    return replace(document, particulars=known)


def remove_file(document: Document, path: str) -> Document:
    """Take a file off the bench; the file on disk is not touched."""
    return replace(document, files=tuple(file for file in document.files if file.path != path))


def assign_columns(document: Document, path: str, kind: str | None, columns: str | None) -> Document:
    """State what a file is and which of its columns holds what, as `"angle=0 [crank deg], 1I=2 [in]"`."""
    files = tuple(replace(f, kind=kind, columns=columns) if f.path == path else f for f in document.files)
    return replace(document, files=files)


def ask_columns(document: Document, path: str) -> Document:
    """Ask for the columns of a file; an empty path asks for none."""
    return replace(document, columns_of=path)


def add_paper(document: Document, paper: Paper) -> Document:
    """Keep that a certificate was written; the last one under a path counts."""
    others = tuple(one for one in document.papers if one.path != paper.path)
    return replace(document, papers=(*others, paper))


def state_particulars(document: Document, particulars: Particulars) -> Document:
    """State what papers of the bench say besides what was inspected; what says nothing is as none."""
    return replace(document, particulars=particulars if particulars.model_dump(exclude_defaults=True) else None)


def set_fields(document: Document, kind: type[BayState], **fields: Any) -> Document:
    """Set fields of a bay's state: the lobe in front, the checking lift."""
    state = replace(document.state(kind), **fields)
    return replace(document, states=with_item(document.states, kind, state))


def use_file(document: Document, path: str) -> Document:
    """Let inspections use this file among those of its kind."""
    file = document.file(path)
    content = None if file is None else document.content(file)
    if content is None or content.value is None:
        return document
    return replace(document, current=with_item(document.current, content.kind, path))


def go_to_bay(document: Document, bay: str) -> Document:
    """Bring a bay to the front."""
    return replace(document, bay=bay)


def set_units(document: Document, units: System) -> Document:
    """Show everything in metric or inch units; nothing that is computed changes."""
    return replace(document, units=units)


def content_arrived(document: Document, file: BenchFile, content: Content) -> Document:
    """Keep what reading a file gave."""
    return replace(document, contents=with_item(document.contents, file, content))


def answer_arrived(document: Document, bay: str, answer: Answer[Any]) -> Document:
    """Keep a bay's answer."""
    if answer.failure:
        answer = replace(answer, failure=in_names(document.files, answer.failure))
    return replace(document, answers=with_item(document.answers, bay, answer))


def read_again(document: Document) -> Document:
    """Forget contents and answers, so that every file is read anew."""
    return replace(document, contents=MappingProxyType({}), answers=MappingProxyType({}))


def forget_file(document: Document, path: str) -> Document:
    """Forget what one file holds, so that it is read anew."""
    kept = {file: content for file, content in document.contents.items() if file.path != path}
    return replace(document, contents=MappingProxyType(kept))


def found_out(decided: Document, known: Document) -> Document:
    """A document with the decisions of one and the findings of another: also where it is kept, and its papers."""
    return replace(
        decided,
        contents=known.contents,
        answers=known.answers,
        job=known.job,
        job_sha256=known.job_sha256,
        papers=known.papers,
    )
