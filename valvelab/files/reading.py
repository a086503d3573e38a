"""Files read by their kind, and kinds told from a file's first bytes."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from valvelab.errors import BadFile
from valvelab.files.contents import Contents, Given, decode, is_zip, name_of, read_contents
from valvelab.files.kinds import READERS, Answer, Head, at_heights, header_names, read_function, reader_of
from valvelab.files.table import Table, table_in
from valvelab.files.text_opening import read_header
from valvelab.files.workbook import read_workbook
from valvelab.files.zip_parts import part_names

HEAD_BYTES = 64 * 1024


def read(kind: str, path: Given, columns: str | None = None) -> Any:
    """A file read as a kind; KeyError for a kind that is none."""
    reader = reader_of(kind)
    takes_columns = reader is not None and reader.columns is not None
    made = read_function(kind)
    return made(path, columns=columns) if takes_columns else made(path)


def kind_of(path: Given) -> dict[str, Answer]:
    """Each reader's answer, by its name, from the first bytes. Raises BadFile for a file that can't be read at all."""
    head = head_of(path)
    return {reader.name: reader.recognise(head) for reader in READERS}


def command_for(table: Table) -> str | None:
    """The command that inspects a table read with a column assignment, by its columns' names; None where none fits."""
    titles = tuple(column.title for column in table.columns if column.title)
    head = Head("", b"", header_names(titles), True, None, None, at_heights(titles))
    sure = [reader.command for reader in READERS if reader.recognise(head) == "yes"]
    return sure[0] if len(sure) == 1 else None


def only_kind(path: Given) -> str | None:
    """The reader that says yes, when exactly one does."""
    sure = [name for name, answer in kind_of(path).items() if answer == "yes"]
    return sure[0] if len(sure) == 1 else None


def head_of(path: Given) -> Head:
    """What the start of a file shows; a workbook, a zip container and TOML are looked at whole."""
    ending = Path(name_of(path)).suffix.lower()
    if ending == ".toml":
        return Head(ending, b"", None, False, _toml_keys(path), None)
    with_start = _start(path)
    if is_zip(with_start.data):
        return _zip_head(ending, read_contents(path))
    columns: frozenset[str] | None = None
    header: tuple[str, ...] | None = None
    is_table = True
    try:
        header = read_header(with_start)
        columns = None if header is None else header_names(header)
    except BadFile:
        is_table = False
    return Head(ending, with_start.data, columns, is_table, None, None, at_heights(header))


def in_inches(path: Given, columns: str | None = None) -> bool:
    """Whether the first columns of a table are in inches or pounds, by its first lines; False for what is no table."""
    try:
        start = _start(path)
        return table_in(read_contents(path) if is_zip(start.data) else start, columns).in_inches()
    except BadFile:
        return False


def _start(path: Given) -> Contents:
    """The first whole lines of a file, as if they were all of it."""
    contents = read_contents(path)
    if len(contents.data) <= HEAD_BYTES:
        return contents
    head = contents.data[: HEAD_BYTES - HEAD_BYTES % 4]
    try:
        text, _ = decode(contents.file, head[: head.rfind(b"\n")] if b"\0" not in head[:1024] else head)
    except BadFile:
        return Contents(contents.file, head, contents.source)
    return Contents(contents.file, text.rpartition("\n")[0].encode(), contents.source)


def _zip_head(ending: str, contents: Contents) -> Head:
    names = part_names(contents.data)
    if names is None:
        return Head(ending, contents.data[:4], None, False, None, frozenset())
    parts = frozenset(name.rpartition("/")[2].lower() for name in names)
    columns, header = None, None
    is_table = "workbook.xml" in parts
    if is_table:
        try:
            header = read_workbook(contents).header
            columns = None if header is None else header_names(header)
        except BadFile:
            is_table = False
    return Head(ending, contents.data[:4], columns, is_table, None, parts, at_heights(header))


def _toml_keys(path: Given) -> frozenset[str] | None:
    try:
        return frozenset(tomllib.loads(read_contents(path).data.decode("utf-8-sig")))
    except (ValueError, RecursionError):
        return None
