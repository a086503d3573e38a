"""The table of a batch, written from its journal a file at a time: as CSV, or as Parquet."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO

from valvelab.batch.task import Found
from valvelab.csv_text import csv_text
from valvelab.errors import WrongUsage
from valvelab.tables.item_rows import DECISION, Value
from valvelab.writing import write_filled

CSV, PARQUET = ".csv", ".parquet"
FIRST = ("file", "sha256", "item")
AT_ONCE = 500
ROW_GROUP = 2_500
"""Rows held as they are, and rows of a group in the file, which are held packed."""
_EXTRA = "--out FILE.parquet: found no library that writes it, expected valvelab[batch] (pip install 'valvelab[batch]')"

Reread = Callable[[], Iterator[Found]]
"""Everything that was found, from the beginning at each call."""


def check_ending(out: Path) -> None:
    """Refuse an output whose ending names no form of table, or one that nothing here can write."""
    ending = out.suffix.lower()
    if ending not in {CSV, PARQUET}:
        raise WrongUsage(f"--out {out}: found ending {ending!r}, expected {CSV} or {PARQUET}")
    if ending == PARQUET:
        _library()


def write_table(out: Path, found: Reread, numeric: Mapping[str, bool], prefix: str) -> None:
    """Write every row. numeric: its columns as `note_columns` has them; prefix: what stands before the files' names."""
    heads = [*FIRST, *numeric, DECISION]

    def rows() -> Iterator[list[Value]]:
        for one in found():
            for row in one.rows:
                yield [prefix + one.name, one.sha256, *(row.get(head) for head in heads[2:])]

    if out.suffix.lower() == CSV:
        write_filled(out, lambda stream: _write_csv(stream, heads, rows()))
    else:
        write_filled(out, lambda stream: _write_parquet(stream, heads, numeric, rows()))


def note_columns(columns: dict[str, bool], found: Found) -> None:
    """Take in the characteristics in the order in which they first come, and whether all their cells are numbers."""
    for row in found.rows:
        for head, value in row.items():
            if head not in {"item", DECISION}:
                columns[head] = columns.get(head, True) and not isinstance(value, str)


def _groups(rows: Iterator[list[Value]]) -> Iterator[list[list[Value]]]:
    while group := list(islice(rows, AT_ONCE)):
        yield group


def _write_csv(stream: BinaryIO, heads: Sequence[str], rows: Iterator[list[Value]]) -> None:
    stream.write(csv_text([heads]).encode())
    stream.writelines(csv_text(group).encode("utf-8", "backslashreplace") for group in _groups(rows))


def _library() -> tuple[Any, Any]:
    try:
        from arro3 import core, io
    except ImportError:
        raise WrongUsage(_EXTRA) from None
    return core, io


def _write_parquet(
    stream: BinaryIO, heads: Sequence[str], numeric: Mapping[str, bool], rows: Iterator[list[Value]]
) -> None:
    core, io = _library()
    number, text = core.DataType.float64(), core.DataType.utf8()
    kinds = [number if numeric.get(head) else text for head in heads]
    schema = core.Schema([core.Field(head, kind) for head, kind in zip(heads, kinds, strict=True)])

    def batches() -> Iterator[Any]:
        for group in _groups(rows):
            columns = zip(*group, strict=True)
            cells = (
                [cell if cell is None else float(cell) if kind is number else str(cell) for cell in column]
                for kind, column in zip(kinds, columns, strict=True)
            )
            arrays = [core.Array(column, kind) for kind, column in zip(kinds, cells, strict=True)]
            yield core.RecordBatch.from_arrays(arrays, schema=schema)

    reader = core.RecordBatchReader.from_batches(schema, batches())
    io.write_parquet(reader, stream, max_row_group_size=ROW_GROUP, compression="zstd(3)")
