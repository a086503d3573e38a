"""One reader for every table: text or workbook, named by its header or by the reader, units turned canonical.

table = read_table("springs.csv")
force = table.numbers("force", "force")  # N, shape (rows,)
for spring, rows in table.groups("spring").items(): ...
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile, BadQuantity
from valvelab.files.body import Body, PreambleEntry, Sheet
from valvelab.files.cells import shown
from valvelab.files.column_assignment import ColumnAssignment, parse_columns
from valvelab.files.contents import Contents, is_zip, read_contents
from valvelab.files.text_table import read_text
from valvelab.records.result import Note, Source, info
from valvelab.units import CANONICAL, FACTORS, AngleKind, Dimension, factor, parse_angle, parse_quantity

_PREVIEW_ROWS = 20
_OLD_BINARY = b"\xd0\xcf\x11\xe0"


@dataclass(frozen=True, slots=True)
class Column:
    """One column: `name` in lower case, `title` as written without the unit, `header` as written."""

    name: str
    title: str
    header: str
    unit: str | None
    index: int


@dataclass(frozen=True, slots=True)
class Preview:
    """The first rows of a table as text, and what its header says, for a person to assign columns by.

    `units` are guesses from the header, or from a comment right above the rows.
    """

    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    units: tuple[str | None, ...]
    shape: str


class ColumnsNeeded(BadFile):
    """A table whose names are not the ones needed; `preview` shows it to whoever can assign them."""

    def __init__(self, file: str, place: str, found: str, expected: str, preview: Preview) -> None:
        super().__init__(file, place, found, expected)
        self.preview = preview


@dataclass(frozen=True, slots=True)
class Table:
    """A table as read. Columns are looked up by name in lower case; rows count from 0 below the header.

    `columns` are the ones that can be asked for: all of them, or with an assignment the assigned ones. `notes` grows
    as columns are asked for whose header names no unit.
    """

    file: str
    source: Source
    columns: tuple[Column, ...]
    row_count: int
    shape: str
    header_place: str
    assigned: bool
    _preamble: dict[str, PreambleEntry]
    _body: Body
    _sheet: Sheet
    _notes: dict[str, Note] = field(default_factory=dict)

    @property
    def preamble(self) -> dict[str, str]:
        """Keys in lower case to values as written."""
        return {key: entry.value for key, entry in self._preamble.items()}

    @property
    def notes(self) -> tuple[Note, ...]:
        """What was noticed so far."""
        return tuple(self._notes.values())

    def find(self, name: str) -> Column | None:
        """The column of that name, or None; two of that name are refused."""
        wanted = name.casefold()
        found = [column for column in self.columns if column.name == wanted]
        if len(found) > 1:
            raise BadFile(self.file, self.header_place, f"{len(found)} columns called {name!r}", "one")
        return found[0] if found else None

    def require(self, name: str, example: str = "") -> Column:
        """The column of that name; ColumnsNeeded without it. `example` is a fitting text for `--columns`."""
        column = self.find(name)
        if column is None:
            raise self.columns_needed(f"a column {name!r}", example or f"{name}=0")
        return column

    def columns_needed(self, expected: str, example: str) -> ColumnsNeeded:
        """The refusal of a table without the names needed; says what is there and how to assign columns."""
        if self._sheet.header is None and not self.assigned:
            found = f"{self._body.width} columns without names"
        else:
            found = "columns " + _shortened([column.header for column in self.columns])
        return ColumnsNeeded(
            self.file, self.header_place, found, f'{expected}; or assign them: --columns "{example}"', self.preview()
        )

    def has_numbers(self, column: str | Column) -> bool:
        """Whether every cell of the column is a number or empty."""
        return self._body.numbers(self._column(column).index) is not None

    def numbers(self, column: str | Column, dimension: Dimension, *, empty_as_nan: bool = False) -> FloatArray:
        """The column in canonical units, read-only, shape (row_count,).

        Without a unit in its header it is canonical already, and a note says so. Raises BadFile with the place of the
        first cell that is not a number; an empty cell is one, unless `empty_as_nan`.
        """
        column = self._column(column)
        return self._scaled(column, self._factor(column, dimension), empty_as_nan=empty_as_nan)

    def angles_cam_deg(self, column: str | Column) -> FloatArray:
        """An angle column in cam degrees; crank degrees are halved. Without a unit it is cam deg, with a note."""
        column = self._column(column)
        if column.unit is None or not {"cam", "crank"} & set(column.unit.lower().split()):
            self._remark(column, "does not say cam or crank degrees; read as cam deg")
        if column.unit is None:
            return self._scaled(column, 1.0)
        try:
            scale = parse_angle(f"1 {column.unit}", "cam", column.title)
        except BadQuantity as error:
            raise self._bad_unit(column, error.found, "cam deg or crank deg") from None
        return self._scaled(column, scale)

    def texts(self, column: str | Column) -> tuple[str, ...]:
        """The column's cells as text, stripped."""
        return self._body.texts(self._column(column).index)

    def groups(self, column: str | Column, most: int = 100_000) -> dict[str, NDArray[np.intp]]:
        """Row indices of each distinct text of a column, in order of first appearance.

        Refuses empty cells, and more than `most` distinct texts.
        """
        column = self._column(column)
        texts = self._body.labels(column.index)
        starts = np.flatnonzero(np.concatenate(([True], texts[1:] != texts[:-1])))
        numbers: dict[str, int] = {}
        runs = [numbers.setdefault(str(name), len(numbers)) for name in texts[starts]]
        if "" in numbers:
            row = int(starts[runs.index(numbers[""])])
            raise BadFile(self.file, self.place(row, column), f"an empty {column.title!r}", "a name")
        if len(numbers) > most:
            raise BadFile(self.file, self.header_place, f"{len(numbers)} different {column.title!r}", f"at most {most}")
        of_row = np.repeat(np.array(runs), np.diff(starts, append=len(texts)))
        order = np.argsort(of_row, kind="stable")
        parts = np.split(order, np.cumsum(np.bincount(of_row))[:-1])
        return dict(zip(numbers, parts, strict=True))

    def place(self, row: int, column: str | Column | None = None) -> str:
        """Where a row or cell is in the file: `line 12` or `B7`."""
        return self._body.place(row, None if column is None else self._column(column).index)

    def bad(self, row: int, column: str | Column, expected: str) -> BadFile:
        """A refusal of one cell."""
        column = self._column(column)
        cell = self._body.texts(column.index)[row]
        return BadFile(self.file, self.place(row, column), f"{_cut(column.title)} {shown(cell)}", expected)

    def text(self, key: str) -> str | None:
        """A preamble value as written; None when it is absent or empty."""
        entry = self._preamble.get(key)
        return entry.value or None if entry is not None else None

    def quantity(self, key: str, dimension: Dimension) -> float | None:
        """A preamble value in canonical units; None when absent. Raises BadFile with its line and key."""
        entry = self._preamble.get(key)
        if entry is None or not entry.value:
            return None
        try:
            return parse_quantity(entry.value, dimension, key)
        except BadQuantity as error:
            raise self.bad_key(key, error.found, error.expected) from None

    def angle(self, key: str, wanted: AngleKind) -> float | None:
        """A preamble angle in cam or crank degrees; None when absent."""
        entry = self._preamble.get(key)
        if entry is None or not entry.value:
            return None
        try:
            return parse_angle(entry.value, wanted, key)
        except BadQuantity as error:
            raise self.bad_key(key, error.found, error.expected) from None

    def bad_key(self, key: str, found: str, expected: str) -> BadFile:
        """A refusal of one preamble value."""
        return BadFile(self.file, f"{self._preamble[key].place}, {key}", _cut(found, 100), expected)

    def note_unknown(self, known: Iterable[str]) -> None:
        """Note that columns not among `known` are kept as remarks."""
        names = set(known)
        others = [column.header for column in self.columns if column.name not in names and column.header]
        if others:
            self._notes["unknown"] = info(self.file, f"kept as remarks, not used: columns {_shortened(others)}")

    def preview(self) -> Preview:
        """The first rows as text."""
        width = min(self._body.width, 60)
        columns = [list(islice(self._body.texts(index), _PREVIEW_ROWS)) for index in range(width)]
        headers = self._sheet.header or self._sheet.caption or ("",) * width
        units = tuple(map(_guessed_unit, headers[:width]))
        return Preview(tuple(headers[:width]), tuple(zip(*columns, strict=True)), units, self.shape)

    def _column(self, column: str | Column) -> Column:
        return self.require(column) if isinstance(column, str) else column

    def _remark(self, column: Column, text: str) -> None:
        self._notes.setdefault(column.name, info(self.file, f"column {column.title or column.index} {text}"))

    def _factor(self, column: Column, dimension: Dimension) -> float:
        if column.unit is None:
            unit = CANONICAL[dimension]
            if unit not in {"", "%"}:
                self._remark(column, f"carries no unit; read as {unit}")
            return 1.0
        try:
            return factor(column.unit, dimension, column.title)
        except BadQuantity as error:
            raise self._bad_unit(column, error.found, error.expected) from None

    def _bad_unit(self, column: Column, found: str, expected: str) -> BadFile:
        return BadFile(
            self.file, f"{self.header_place}, column {_cut(column.title) or column.index}", _cut(found, 100), expected
        )

    def _scaled(self, column: Column, scale: float, *, empty_as_nan: bool = False) -> FloatArray:
        values = self._body.numbers(column.index)
        title = _cut(column.title) or f"column {column.index}"
        if values is None:
            row = self._body.first_bad(column.index)
            cell = self._body.texts(column.index)[row]
            raise BadFile(self.file, self.place(row, column), f"{title} {shown(cell)}", self._body.number_wanted(cell))
        if not empty_as_nan:
            empty = np.isnan(values)
            if empty.any():
                row = int(np.argmax(empty))
                raise BadFile(self.file, self.place(row, column), f"an empty cell in {title}", "a number")
        return values if scale == 1.0 else read_only(values * scale)


def read_table(path: str | Path, columns: ColumnAssignment | str | None = None) -> Table:
    """Read any table. Raises BadFile when it is no table, is ragged or is over the limits."""
    assignment = parse_columns(columns) if isinstance(columns, str) else columns
    contents = read_contents(path)
    if contents.data.startswith(_OLD_BINARY):
        raise BadFile(contents.file, "", "a workbook in the old binary form", "XLSX or text")
    sheet = _read_workbook(contents) if is_zip(contents.data) else read_text(contents)
    table = Table(
        file=contents.file,
        source=contents.source,
        columns=_columns(contents.file, sheet, assignment),
        row_count=sheet.body.row_count,
        shape=_shape(sheet),
        header_place=sheet.header_place,
        assigned=assignment is not None,
        _preamble=sheet.preamble,
        _body=sheet.body,
        _sheet=sheet,
    )
    for number, remark in enumerate(sheet.remarks):
        table._notes[f"file {number}"] = info(contents.file, remark)  # noqa: SLF001 - filled before anyone sees it
    return table


def _read_workbook(contents: Contents) -> Sheet:
    from valvelab.files.workbook import read_workbook

    return read_workbook(contents)


def shape_of(path: str | Path) -> str:
    """A fingerprint of how a file is laid out, the same for files written alike; to remember an assignment by."""
    return read_table(path).shape


def split_header(header: str) -> tuple[str, str | None]:
    """Title and unit of `lift [mm]`; round brackets count when they hold a unit that is known."""
    header = header.strip()
    for opening, closing in ("[]", "()"):
        title, bracket, unit = header.rpartition(opening)
        if bracket and unit.endswith(closing):
            unit = unit.removesuffix(closing).strip()
            if closing == "]" or is_unit(unit):
                return title.strip(), unit or None
    return header, None


def _guessed_unit(header: str) -> str | None:
    title, unit = split_header(header)
    if unit is None and is_unit(title):
        return title
    return "crank deg" if unit is None and title.upper() == "CAD" else unit  # crank-angle degrees


def is_unit(text: str, dimension: Dimension | None = None) -> bool:
    """Whether a text is a unit, of one dimension or of any."""
    bare = re.sub(r"\b(cam|crank)\b", "", text.lower()).strip()
    tables = FACTORS.values() if dimension is None else (FACTORS[dimension],)
    return bool(bare) and any(bare in map(str.lower, units) for units in tables)


def _columns(file: str, sheet: Sheet, assignment: ColumnAssignment | None) -> tuple[Column, ...]:
    headers: Sequence[str] = sheet.header or ()
    headers = (*headers, *("",) * (sheet.body.width - len(headers)))
    if assignment is None:
        return tuple(_named(header, index) for index, header in enumerate(headers))
    found = []
    for one in assignment.columns:
        if one.index >= sheet.body.width:
            raise BadFile(
                file, f"column {one.index}", f"columns 0 to {sheet.body.width - 1}", f"a column for {one.name!r}"
            )
        unit = one.unit if one.unit is not None else split_header(headers[one.index])[1]
        found.append(Column(_key(one.name), one.name, headers[one.index] or one.name, unit, one.index))
    return tuple(found)


def _named(header: str, index: int) -> Column:
    title, unit = split_header(header)
    return Column(_key(title), " ".join(title.split()), header, unit, index)


def _key(name: str) -> str:
    return " ".join(name.split()).casefold()


def _shape(sheet: Sheet) -> str:
    """A fingerprint of how the file is laid out: delimiter, number of columns, header texts; no readings."""
    from hashlib import sha256

    parts: list[Any] = [sheet.form, str(sheet.body.width), *(sheet.header or ())]
    return sha256("\x1f".join(parts).encode("utf-8", "surrogatepass")).hexdigest()[:16]


def _cut(text: str, most: int = 60) -> str:
    return text if len(text) <= most else text[:most] + "…"


def _shortened(names: Sequence[str], most: int = 8) -> str:
    listed = ", ".join(shown(name) for name in names[:most])
    return listed + (f" and {len(names) - most} more" if len(names) > most else "")
