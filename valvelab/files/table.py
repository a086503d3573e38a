"""One reader for every table: text or workbook, named by its header or by the reader, units turned canonical.

table = read_table("springs.csv")
force = table.numbers("force", "force")  # N, shape (rows,)
for spring, rows in table.groups("spring").items(): ...
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import field, replace
from functools import reduce
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile, BadQuantity
from valvelab.files.body import ANYWHERE, Body, PreambleEntry, RawTable, Skipped, Where
from valvelab.files.cells import shown
from valvelab.files.column_assignment import ColumnAssignment, parse_columns
from valvelab.files.column_names import height_of, is_unit, lobe_name, plain_name, rank, split_header
from valvelab.files.contents import Contents, Given, is_zip, read_contents
from valvelab.files.text_table import read_text
from valvelab.frozen import frozen
from valvelab.phrase import Phrase, listed, whole
from valvelab.records.result import Note, Source, info, warning
from valvelab.units import CANONICAL, AngleKind, Dimension, factor, parse_angle, parse_quantity, split_quantity

_PREVIEW_ROWS = 20
_PLACES_LISTED = 12
# Names of rows that sum up the rows above them.
_SUMMARIES = frozenset({
    "average", "avg", "mean", "median", "min", "minimum", "max", "maximum", "range", "spread", "total", "sum", "count",
    "std", "std dev", "stdev", "sd", "sigma", "standard deviation", "limit", "tolerance", "nominal", "target", "spec",
})  # fmt: skip
# A bare number is canonical, except beside columns in these: there it is as likely meant in them.
_INCH_UNITS = frozenset({"in", "inch", "inches", '"', "thou", "uin", "µin", "μin", "lbf", "lb", "lbs"})
_IN_INCHES = {"length": "in or mm", "force": "lbf or N", "rate": "lbf/in or N/mm"}
"""Of what stands in other units beside inches, those that it may be in."""
_OLD_BINARY = b"\xd0\xcf\x11\xe0"


@frozen
class Column:
    """One column: `name` as it is compared, `title` as written without the unit, `header` as written."""

    name: str
    title: str
    header: str
    unit: str | None
    index: int


@frozen
class Preview:
    """The first rows of a table as text, and what its header says, for a person to assign columns by.

    `units` are guesses from the header, or from a comment right above the rows. `numbers` are those of the rows in the
    file, from 1; `above` the rows above the header. `sheets` are a workbook's, `sheet` the number of this one, from 1.
    """

    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    units: tuple[str | None, ...]
    shape: str
    numbers: tuple[int, ...] = ()
    header_row: int | None = None
    above: tuple[Skipped, ...] = ()
    sheets: tuple[str, ...] = ()
    sheet: int = 0


@frozen
class LeftOut:
    """A row or cell that was left out: where it is, how its row reads, why."""

    place: str
    text: str
    why: str


@frozen
class _Gone:
    """Rows of a body that were left out, all for one reason; where one cell was, its column."""

    rows: NDArray[np.intp]
    why: str
    column: int | None = None


class ColumnsNeeded(BadFile):
    """A table whose names are not the ones needed; `preview` shows it to whoever can assign them."""

    def __init__(self, file: str, place: str, found: str, expected: str, preview: Preview) -> None:
        super().__init__(file, place, found, expected)
        self.preview = preview


@frozen
class Table:
    """A table as read. Columns are looked up by name, the trade's other words included; rows count from 0.

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
    _raw: RawTable
    _notes: dict[str, Note] = field(default_factory=dict)
    _gone: list[_Gone] = field(default_factory=list)
    _rows: NDArray[np.intp] | None = None
    """Rows of the body that count, where some were left out."""

    @property
    def preamble(self) -> dict[str, str]:
        """Keys in lower case to values as written."""
        return {key: entry.value for key, entry in self._preamble.items()}

    @property
    def notes(self) -> tuple[Note, ...]:
        """What was noticed so far."""
        return tuple(self._notes.values())

    @property
    def left_out(self) -> str:
        """What a refusal for want of readings adds: the rows left out, in brackets; "" where none were."""
        texts = [note.text for key, note in self._notes.items() if key.startswith("left out")]
        return Phrase(" ({what})", what=listed(texts, "; ")) if texts else ""

    def rows_left_out(self, most: int) -> tuple[int, tuple[LeftOut, ...]]:
        """How many rows and cells were left out so far, and the first `most` of them one by one."""
        listed = (
            LeftOut(self._body.place(int(row), gone.column), self._body.row_text(int(row)), gone.why)
            for gone in self._gone
            for row in gone.rows
        )
        return sum(gone.rows.size for gone in self._gone), tuple(islice(listed, most))

    def assign(self, columns: ColumnAssignment) -> Table:
        """The table with these columns assigned; BadFile for one that it does not have. Nothing is read again."""
        named = _columns(self.file, self._raw, columns)
        return replace(self, columns=named, assigned=True, _notes=dict(self._notes), _gone=[])

    def with_unit(self, column: Column, unit: str) -> Table:
        """The table with one column in that unit, whatever its header says."""
        columns = tuple(replace(one, unit=unit) if one is column else one for one in self.columns)
        return replace(self, columns=columns)

    def find(self, name: str) -> Column | None:
        """The column of that name, or by another word of the trade; two that answer equally well are refused."""
        ranked = [(place, column) for column in self.columns if (place := rank(name, column.name)) is not None]
        best = min((place for place, _ in ranked), default=0)
        chosen = [column for place, column in ranked if place == best]
        if len(chosen) > 1:
            others = [column.title for column in chosen if column.name != name]
            found = Phrase("{count} columns called {name}", count=len(chosen), name=f"{name!r}")
            if others:
                found = Phrase("{found} ({names})", found=found, names=", ".join(others))
            raise BadFile(self.file, self.header_place, found, "one")
        return chosen[0] if chosen else None

    def require(self, name: str, example: str = "") -> Column:
        """The column of that name; ColumnsNeeded without it. `example` is a fitting text for `--columns`."""
        column = self.find(name)
        if column is None:
            raise self.columns_needed(Phrase("a column {name}", name=f"{name!r}"), example or f"{name}=0")
        return column

    def columns_needed(self, expected: str, example: str) -> ColumnsNeeded:
        """The refusal of a table without the names needed; says what is there and how to assign columns."""
        if self._raw.header is None and not self.assigned:
            found = Phrase("{count} columns without names", count=self._body.width)
        else:
            found = Phrase("columns {names}", names=_shortened([column.header for column in self.columns]))
        wanted = Phrase('{expected}; or assign them: --columns "{example}"', expected=whole(expected), example=example)
        return ColumnsNeeded(self.file, self.header_place, found, wanted, self.preview())

    def has_numbers(self, column: str | Column) -> bool:
        """Whether the column holds numbers, and no cell that is a malformed one."""
        readings = self._body.readings(self._column(column).index)
        return not readings.malformed and bool(np.isfinite(readings.values).any())

    def with_numbers(self, *columns: str | Column, any_of: Sequence[Column] = (), names: Column | None = None) -> Table:
        """The table without the rows that lack a number in one of `columns`, or in all of `any_of`.

        Left out as well are rows that `names` calls an average, a limit or the like. A warning counts and lists them;
        empty rows were none. A malformed number in a row that lacks none is refused with its cell.
        """
        wanted = [self._column(column) for column in columns]
        held = np.ones(self.row_count, dtype=np.bool_)
        hopes = np.zeros(self.row_count, dtype=np.bool_)
        malformed: list[tuple[int, Column]] = []
        for column in (*wanted, *any_of):
            has, wrong = self._held(column)
            malformed += [(row, column) for row in wrong]
            has[wrong] = True
            if column in wanted:
                held &= has
            else:
                hopes |= has
        if any_of:
            held &= hopes
        summaries = self._summaries(names, held)
        held[summaries] = False
        for row, column in sorted(malformed, key=lambda cell: (cell[0], cell[1].index)):
            if held[row]:
                cell = self.texts(column)[row]
                raise self._not_a_number(row, column, cell)
        if not held.any():
            first = next((one for one in (*wanted, *any_of) if not self._held(one)[0][0]), (*wanted, *any_of)[0])
            raise self._not_a_number(0, first, self.texts(first)[0])
        kept = self._of_rows(held)
        kept._refuse_overlong()  # noqa: SLF001 - its own class
        lacking = ~held
        lacking[summaries] = False
        self._note_left_out(lacking, [column.title or column.name for column in (*wanted, *any_of)])
        return kept

    def _held(self, column: Column) -> tuple[NDArray[np.bool_], list[int]]:
        """Which rows hold a number in a column, and rows whose cell is a malformed one."""
        readings = self._body.readings(column.index)
        if self._rows is None:
            return np.isfinite(readings.values), list(readings.malformed)
        wrong = np.zeros(self._body.row_count, dtype=np.bool_)
        wrong[list(readings.malformed)] = True
        return np.isfinite(readings.values)[self._rows], np.flatnonzero(wrong[self._rows]).tolist()

    def _of_rows(self, held: NDArray[np.bool_]) -> Table:
        if held.all():
            return self
        rows = np.flatnonzero(held) if self._rows is None else self._rows[held]
        return replace(self, row_count=len(rows), _rows=rows)

    def _summaries(self, names: Column | None, held: NDArray[np.bool_]) -> NDArray[np.intp]:
        """Rows with readings whose name says that they sum up or limit the others; a warning lists them."""
        if names is None or self._body.numbers(names.index) is not None:
            return np.array([], dtype=np.intp)
        texts = self.texts(names)
        rows = np.flatnonzero([text != "" and plain_name(text) in _SUMMARIES for text in texts] & held)
        if rows.size:
            named = _shortened(list(dict.fromkeys(texts[row] for row in rows)), 4)
            self._warn_left_out(rows, Phrase("not readings by their name ({names})", names=named))
        return rows

    def _note_left_out(self, lacking: NDArray[np.bool_], wanted: list[str]) -> None:
        if lacking.any():
            first, *others = (_cut(name, 30) for name in wanted[:4])
            named = reduce(lambda one, other: Phrase("{one} or {other}", one=one, other=other), others, first)
            why = Phrase(
                "without a reading of {names} …" if len(wanted) > 4 else "without a reading of {names}", names=named
            )
            self._warn_left_out(np.flatnonzero(lacking), why)

    def _warn_left_out(self, rows: NDArray[np.intp], why: str) -> None:
        many = Phrase("{count} rows", count=len(rows)) if len(rows) > 1 else Phrase("1 row")
        self._gone.append(_Gone(self._inner(rows), why))
        text = Phrase("{many} left out, {why}: {places}", many=many, why=why, places=self.places(rows))
        self._notes[f"left out {len(self._notes)}"] = warning(self.file, text)

    def note_missing(self, column: Column, rows: Sequence[int] | NDArray[np.intp], what: str) -> None:
        """Say that single cells of a column, which hold no number, were left out."""
        if len(rows):
            self._gone.append(_Gone(self._inner(rows), Phrase("{what}: without a number", what=what), column.index))
            many = Phrase("{count} readings", count=len(rows)) if len(rows) > 1 else Phrase("1 reading")
            text = Phrase(
                "{what}: {many} left out, without a number: {places}",
                what=what,
                many=many,
                places=self.places(rows, column),
            )
            self._notes[f"missing {len(self._notes)}"] = warning(self.file, text)

    def _inner(self, rows: Sequence[int] | NDArray[np.intp]) -> NDArray[np.intp]:
        """Rows of this table as rows of the body."""
        inner = np.asarray(rows, dtype=np.intp)
        return inner if self._rows is None else self._rows[inner]

    def places(self, rows: Sequence[int] | NDArray[np.intp], column: Column | None = None) -> str:
        """Where rows or cells are, the first dozen by name: `line 12, line 14 and 3 more`."""
        named = listed(self.place(int(row), column) for row in rows[:_PLACES_LISTED])
        more = len(rows) - _PLACES_LISTED
        return Phrase("{names} and {count} more", names=named, count=more) if more > 0 else named

    def _refuse_overlong(self) -> None:
        """A row with more cells than the header has names is refused where it counts."""
        overlong = self._body.overlong
        counting = overlong if self._rows is None else set(overlong).intersection(self._rows.tolist())
        if counting:
            row = min(counting)
            expected = Phrase("{width}, as above", width=self._body.width)
            raise BadFile(self.file, self._body.place(row), Phrase("{count} cells", count=overlong[row]), expected)

    def numbers(self, column: str | Column, dimension: Dimension, *, empty_as_nan: bool = False) -> FloatArray:
        """The column in canonical units, read-only, shape (row_count,).

        Without a unit in its header it is canonical already, and a note says so. Raises BadFile with the place of the
        first cell that is not a number; an empty cell is one, unless `empty_as_nan`.
        """
        column = self._column(column)
        return self._scaled(column, self._factor(column, dimension), empty_as_nan=empty_as_nan)

    def turn(self, column: str | Column) -> AngleKind | None:
        """Whether an angle column says that it is in cam or in crank degrees; None where it says neither."""
        words = (self._column(column).unit or "").lower().split()
        return "cam" if "cam" in words else "crank" if "crank" in words else None

    def angles_cam_deg(self, column: str | Column, otherwise: AngleKind = "cam") -> FloatArray:
        """An angle column in cam degrees; crank degrees are halved.

        `otherwise` is what it is read as where it says neither; that it is read as cam degrees is noted.
        """
        column = self._column(column)
        if self.turn(column) is None and otherwise == "cam":
            self._remark(column, "does not say cam or crank degrees; read as cam deg")
        return self._scaled(column, self.cam_deg_per_unit(column, otherwise))

    def cam_deg_per_unit(self, column: Column, otherwise: AngleKind = "cam") -> float:
        """Cam degrees in one unit of an angle column."""
        unit = " ".join((otherwise if self.turn(column) is None else "", column.unit or "deg")).strip()
        try:
            return parse_angle(f"1 {unit}", "cam", column.title)
        except BadQuantity:
            raise self._bad_unit(column, f"unit {column.unit!r}", "cam deg or crank deg") from None

    def texts(self, column: str | Column) -> tuple[str, ...]:
        """The column's cells as text, stripped."""
        texts = self._body.texts(self._column(column).index)
        return texts if self._rows is None else tuple(texts[row] for row in self._rows)

    def groups(self, column: str | Column, most: int = 100_000) -> dict[str, NDArray[np.intp]]:
        """Row indices of each distinct text of a column, in order of first appearance.

        Refuses empty cells, and more than `most` distinct texts.
        """
        column = self._column(column)
        texts = self._body.labels(column.index)
        if self._rows is not None:
            texts = texts[self._rows]
        starts = np.flatnonzero(np.concatenate(([True], texts[1:] != texts[:-1])))
        numbers: dict[str, int] = {}
        runs = [numbers.setdefault(str(name), len(numbers)) for name in texts[starts]]
        if "" in numbers:
            row = int(starts[runs.index(numbers[""])])
            raise BadFile(
                self.file, self.place(row, column), Phrase("an empty {title}", title=f"{column.title!r}"), "a name"
            )
        if len(numbers) > most:
            raise BadFile(
                self.file,
                self.header_place,
                Phrase("{count} different {title}", count=len(numbers), title=f"{column.title!r}"),
                Phrase("at most {most}", most=most),
            )
        of_row = np.repeat(np.array(runs), np.diff(starts, append=len(texts)))
        order = np.argsort(of_row, kind="stable")
        parts = np.split(order, np.cumsum(np.bincount(of_row))[:-1])
        return dict(zip(numbers, parts, strict=True))

    def place(self, row: int, column: str | Column | None = None) -> str:
        """Where a row or cell is in the file: `line 12` or `B7`."""
        inner = row if self._rows is None else int(self._rows[row])
        return self._body.place(inner, None if column is None else self._column(column).index)

    def bad(self, row: int, column: str | Column, expected: str) -> BadFile:
        """A refusal of one cell."""
        column = self._column(column)
        cell = self.texts(column)[row]
        return BadFile(self.file, self.place(row, column), f"{_cut(column.title)} {shown(cell)}", expected)

    def _not_a_number(self, row: int, column: Column, cell: str) -> BadFile:
        title = _cut(column.title) or Phrase("column {name}", name=column.index)
        if not cell:
            return BadFile(
                self.file, self.place(row, column), Phrase("an empty cell in {title}", title=title), "a number"
            )
        expected = self._body.number_wanted(cell)
        return BadFile(self.file, self.place(row, column), f"{title} {shown(cell)}", expected)

    def text(self, key: str) -> str | None:
        """A preamble value as written; None when it is absent or empty."""
        entry = self._preamble.get(key)
        return entry.value or None if entry is not None else None

    def quantity(self, key: str, dimension: Dimension) -> float | None:
        """A preamble value in canonical units; None when absent. Raises BadFile with its line and key."""
        entry = self._preamble.get(key)
        if entry is None or not entry.value:
            return None
        self.refuse_bare(key, dimension)
        try:
            return parse_quantity(entry.value, dimension, key)
        except BadQuantity as error:
            raise self.bad_key(key, error.found, error.expected) from None

    def in_inches(self) -> bool:
        """Whether a column is in inches or pounds, its header's height included."""
        for column in self.columns:
            height = height_of(column.title)
            units = column.unit or "", "" if height is None else height.unit or ""
            if any(unit.lower() in _INCH_UNITS for unit in units):
                return True
        return False

    def refuse_bare(self, key: str, dimension: Dimension = "length", text: str | None = None) -> None:
        """Refuse a preamble's length or force without a unit in a table in inches: there it is as likely inches.

        `text` is the part of the value that is the quantity, where that is not all of it. A zero is zero in any unit.
        """
        if dimension not in _IN_INCHES or not self.in_inches():
            return
        bare = self._preamble[key].value if text is None else text
        try:
            number, unit = split_quantity(bare, key)
        except BadQuantity:
            return
        if number and not unit:
            expected = f"its unit, {_IN_INCHES[dimension]}"
            raise self.bad_key(key, f"{bare} without a unit beside columns in inches or pounds", expected)

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
        return BadFile(self.file, listed((self._preamble[key].place, key)), _cut(found, 100), expected)

    def note_unknown(self, known: Iterable[str]) -> None:
        """Note that columns not among `known` are kept as remarks."""
        names = set(known)
        others = [column.header for column in self.columns if column.name not in names and column.header]
        if others:
            self._notes["unknown"] = info(
                self.file, Phrase("kept as remarks, not used: columns {shortened}", shortened=_shortened(others))
            )

    def preview(self) -> Preview:
        """The first rows as text."""
        width = min(self._body.width, 60)
        raw = self._raw
        headers = raw.header or raw.caption or ("",) * width
        head = self._body.head(_PREVIEW_ROWS)
        return Preview(
            tuple(headers[:width]),
            tuple(tuple((cells + [""] * width)[:width]) for _, cells in head),
            tuple(map(_guessed_unit, headers[:width])),
            self.shape,
            tuple(number for number, _ in head),
            raw.header_row,
            raw.skipped,
            raw.sheets,
            raw.sheets.index(raw.sheet) + 1 if raw.sheets else 0,
        )

    def _column(self, column: str | Column) -> Column:
        return self.require(column) if isinstance(column, str) else column

    def _remark(self, column: Column, text: str, level: Callable[[str, str], Note] = info) -> None:
        self._notes.setdefault(column.name, level(self.file, f"column {column.title or column.index} {text}"))

    def _factor(self, column: Column, dimension: Dimension) -> float:
        if column.unit is None:
            unit = CANONICAL[dimension]
            if unit not in {"", "%"}:
                beside = " beside columns in inches or pounds" if self.in_inches() else ""
                self._remark(column, f"carries no unit{beside}; read as {unit}", warning if beside else info)
            return 1.0
        try:
            return factor(column.unit, dimension, column.title)
        except BadQuantity as error:
            raise self._bad_unit(column, error.found, error.expected) from None

    def _bad_unit(self, column: Column, found: str, expected: str) -> BadFile:
        return BadFile(
            self.file,
            listed((self.header_place, Phrase("column {name}", name=_cut(column.title) or column.index))),
            _cut(found, 100),
            expected,
        )

    def _scaled(self, column: Column, scale: float, *, empty_as_nan: bool = False) -> FloatArray:
        self._refuse_overlong()
        readings = self._body.readings(column.index)
        values = readings.values if self._rows is None else readings.values[self._rows]
        _, malformed = self._held(column)
        missing = malformed[:1] if empty_as_nan else np.flatnonzero(np.isnan(values))[:1].tolist()
        if missing:
            row = int(missing[0])
            raise self._not_a_number(row, column, self.texts(column)[row])
        return read_only(values if scale == 1.0 else values * scale)


def read_table(path: Given, columns: ColumnAssignment | str | None = None) -> Table:
    """Read any table. Raises BadFile when it is no table, is ragged or is over the limits."""
    return table_in(read_contents(path), columns)


def table_in(contents: Contents, columns: ColumnAssignment | str | None = None) -> Table:
    """The table in what was read already. Raises BadFile as `read_table` does."""
    assignment = parse_columns(columns) if isinstance(columns, str) else columns
    if contents.data.startswith(_OLD_BINARY):
        raise BadFile(contents.file, "", "a workbook in the old binary form", "XLSX or text")
    where = ANYWHERE if assignment is None else assignment.where
    named = assignment if assignment is not None and assignment.columns else None
    raw = _read_workbook(contents, where) if is_zip(contents.data) else read_text(contents, where)
    table = Table(
        file=contents.file,
        source=contents.source,
        columns=_columns(contents.file, raw, named),
        row_count=raw.body.row_count,
        shape=_shape(raw),
        header_place=raw.header_place,
        assigned=named is not None,
        _preamble=raw.preamble,
        _body=raw.body,
        _raw=raw,
    )
    for number, remark in enumerate(raw.remarks):
        table._notes[f"file {number}"] = info(contents.file, remark)  # noqa: SLF001 - filled before anyone sees it
    if raw.skipped:
        rows = [f"{row.row} ({_cut(row.text, 40)})" for row in raw.skipped[:4]]
        more = Phrase(" and {count} more", count=len(raw.skipped) - 4) if len(raw.skipped) > 4 else ""
        many = Phrase("{count} rows", count=len(raw.skipped)) if len(raw.skipped) > 1 else Phrase("1 row")
        above = Phrase("the header") if raw.header is not None else Phrase("the readings")
        text = Phrase(
            "{many} above {above} skipped: {names}{more}", many=many, above=above, names=", ".join(rows), more=more
        )
        table._notes["above"] = info(contents.file, text)  # noqa: SLF001 - as above
    return table


def _read_workbook(contents: Contents, where: Where) -> RawTable:
    from valvelab.files.workbook import read_workbook

    return read_workbook(contents, where)


def _guessed_unit(header: str) -> str | None:
    title, unit = split_header(header)
    if unit is None and is_unit(title):
        return title
    return unit


def _columns(file: str, raw: RawTable, assignment: ColumnAssignment | None) -> tuple[Column, ...]:
    headers: Sequence[str] = raw.header or ()
    headers = (*headers, *("",) * (raw.body.width - len(headers)))
    if assignment is None:
        return tuple(_named(header, index) for index, header in enumerate(headers))
    found = []
    for one in assignment.columns:
        if one.index >= raw.body.width:
            raise BadFile(
                file,
                f"column {one.index}",
                Phrase("columns 0 to {width}", width=raw.body.width - 1),
                Phrase("a column for {name}", name=f"{one.name!r}"),
            )
        unit = one.unit or split_header(headers[one.index])[1] or split_header(one.name)[1]
        found.append(Column(_key(one.name), one.name, headers[one.index] or one.name, unit, one.index))
    return tuple(found)


def _named(header: str, index: int) -> Column:
    title, unit = split_header(header)
    return Column(_key(title), " ".join(title.split()), header, unit, index)


def _key(title: str) -> str:
    """A title as it is compared; lobes by their short name."""
    return (lobe_name(title) or "").casefold() or plain_name(title)


def _shape(raw: RawTable) -> str:
    """A fingerprint of how the file is laid out: delimiter, number of columns, header texts; no readings."""
    from hashlib import sha256

    parts: list[Any] = [raw.form, str(raw.body.width), *(raw.header or ())]
    return sha256("\x1f".join(parts).encode("utf-8", "surrogatepass")).hexdigest()[:16]


def _cut(text: str, most: int = 60) -> str:
    return text if len(text) <= most else text[:most] + "…"


def _shortened(names: Sequence[str], most: int = 8) -> str:
    listed = ", ".join(shown(name) for name in names[:most])
    return listed + (f" and {len(names) - most} more" if len(names) > most else "")
