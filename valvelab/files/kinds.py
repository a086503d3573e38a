"""What a file might hold, told from its first bytes; the import dialog and the README table read `READERS`."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from valvelab.errors import BadFile
from valvelab.files.column_names import answers_to, height_of, is_unit, plain_name, split_header
from valvelab.files.contents import Contents, decode, is_zip, read_contents
from valvelab.files.table import Table
from valvelab.files.text_opening import read_header
from valvelab.files.workbook import read_workbook
from valvelab.files.zip_parts import part_names

Answer = Literal["yes", "no", "perhaps"]

HEAD_BYTES = 64 * 1024
TABLE_ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".xlsx")


@dataclass(frozen=True, slots=True)
class Head:
    """The start of a file: its ending, its first bytes, and what they show."""

    ending: str
    data: bytes
    columns: frozenset[str] | None
    """Column names as they are compared; None when there are none to be seen."""
    is_table: bool
    keys: frozenset[str] | None
    """Top-level keys of a TOML file; None for anything else."""
    parts: frozenset[str] | None
    """Names of a zip container's parts; None for anything else."""
    forces_at_heights: bool = False
    """Whether columns are forces read at a height each."""


@dataclass(frozen=True, slots=True)
class Reader:
    """One kind of file: its name, the endings it comes with, what it holds, the command that inspects it.

    alone: whether the command inspects such a file by itself, or beside another.
    """

    name: str
    endings: tuple[str, ...]
    holds: str
    command: str
    recognise: Callable[[Head], Answer]
    alone: bool = True


def _named(*needed: str) -> Callable[[Head], Answer]:
    """Recognise a table by column names; a table without known names is a perhaps."""

    def recognise(head: Head) -> Answer:
        if not head.is_table:
            return "no"
        if head.columns is not None and all(answers_to(head.columns, name) for name in needed):
            return "yes"
        return "no" if _known(head) else "perhaps"

    return recognise


def _lift(head: Head) -> Answer:
    if not head.is_table:
        return "no"
    columns = head.columns or frozenset()
    shaft = answers_to(columns, "station") and answers_to(columns, "reading")
    if answers_to(columns, "angle") and not shaft and len(columns) > 1:
        return "yes"
    return "no" if _known(head) else "perhaps"


def _heights(head: Head) -> Answer:
    answer = _named("position", "height")(head)
    return "no" if answer == "yes" and head.columns is not None and answers_to(head.columns, "force") else answer


def _springs(head: Head) -> Answer:
    if head.is_table and head.forces_at_heights:
        return "yes"
    return _named("height", "force")(head)


def _known(head: Head) -> bool:
    """Whether the column names are those of some table."""
    columns = head.columns
    if columns is None or head.forces_at_heights:
        return head.forces_at_heights
    sets: tuple[set[str], ...] = (
        {"angle"}, {"height", "force"}, {"position", "height"}, {"x", "z"}, {"part", "appraiser", "trial"},
        {"station", "reading"},
    )  # fmt: skip
    return any(all(answers_to(columns, name) for name in names) for names in sets)


def _toml(*wanted: str) -> Callable[[Head], Answer]:
    def recognise(head: Head) -> Answer:
        if head.keys is None:
            return "no"
        return "yes" if head.keys & set(wanted) else "no"

    return recognise


def _spec(head: Head) -> Answer:
    if head.keys is None:
        return "no"
    if head.keys & {"limit", "envelope", "decision", "fitting", "camshaft"}:
        return "yes"
    return "perhaps" if head.keys <= {"title", "revision"} else "no"


def _trace(head: Head) -> Answer:
    if head.parts is not None:
        return "yes" if any(name.endswith("main.xml") for name in head.parts) else "no"
    if head.ending == ".smd" or head.data.lstrip(b"\xef\xbb\xbf")[:8] == b"ISO 5436":
        return "yes"
    return _named("x", "z")(head)


READERS: tuple[Reader, ...] = (
    Reader("lift table", TABLE_ENDINGS, "lift over cam or crank angle, one or many lobes", "lobes", _lift),
    Reader(
        "spring readings", TABLE_ENDINGS, "force over height, spring by spring", "springs", _springs
    ),
    Reader("heights", TABLE_ENDINGS, "seat to retainer at each valve, for shims", "shims", _heights, alone=False),
    Reader(
        "shaft readings", TABLE_ENDINGS, "a dial turned through each journal", "shaft", _named("station", "reading")
    ),
    Reader("surface trace", (*TABLE_ENDINGS, ".smd", ".x3p"), "height along a surface", "texture", _trace),
    Reader(
        "gauge study", TABLE_ENDINGS, "parts measured again by several people", "gauge",
        _named("part", "appraiser", "trial"),
    ),
    Reader(
        "adopted uncertainty", (".toml",), "a gauge study's result, kept as the uncertainty of a reading", "shaft",
        _toml("standard_uncertainty"), alone=False,
    ),
    Reader(
        "phasing sheet", (".toml",), "degree-wheel readings", "phasing",
        _toml("stop", "reading", "near_peak", "wheel", "card", "adjuster"),
    ),
    Reader(
        "train", (".toml",), "rocker, lash, valve, spring and crank", "motion",
        _toml("rocker", "lash", "valve", "spring", "crank", "timing", "clearance"), alone=False,
    ),
    Reader("spec", (".toml",), "limits and envelopes to judge by", "lobes", _spec, alone=False),
)  # fmt: skip


def kind_of(path: str | Path) -> dict[str, Answer]:
    """Each reader's answer, by its name, from the first bytes. Raises BadFile for a file that can't be read at all."""
    head = head_of(path)
    return {reader.name: reader.recognise(head) for reader in READERS}


def command_for(table: Table) -> str | None:
    """The command that inspects a table read with a column assignment, by its columns' names; None where none fits."""
    titles = tuple(column.title for column in table.columns if column.title)
    head = Head("", b"", _names(titles), True, None, None, _at_heights(titles))
    sure = [reader.command for reader in READERS if reader.recognise(head) == "yes"]
    return sure[0] if len(sure) == 1 else None


def only_kind(path: str | Path) -> str | None:
    """The reader that says yes, when exactly one does."""
    sure = [name for name, answer in kind_of(path).items() if answer == "yes"]
    return sure[0] if len(sure) == 1 else None


def head_of(path: str | Path) -> Head:
    """What the start of a file shows; a workbook, a zip container and TOML are looked at whole."""
    ending = Path(path).suffix.lower()
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
        columns = None if header is None else _names(header)
    except BadFile:
        is_table = False
    return Head(ending, with_start.data, columns, is_table, None, None, _at_heights(header))


def _start(path: str | Path) -> Contents:
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
            columns = None if header is None else _names(header)
        except BadFile:
            is_table = False
    return Head(ending, contents.data[:4], columns, is_table, None, parts, _at_heights(header))


def _names(header: tuple[str, ...]) -> frozenset[str]:
    return frozenset(plain_name(split_header(cell)[0]) for cell in header if cell)


def _at_heights(header: tuple[str, ...] | None) -> bool:
    """Whether a header has columns such as `force at 1.800 in [lbf]` or `46 mm`."""
    split = [split_header(cell) for cell in header or () if cell]
    return any(height_of(title) is not None and (unit is None or is_unit(unit, "force")) for title, unit in split)


def _toml_keys(path: str | Path) -> frozenset[str] | None:
    try:
        return frozenset(tomllib.loads(read_contents(path).data.decode("utf-8-sig")))
    except (ValueError, RecursionError):
        return None
