"""Kinds of table that are typed: how each begins, what its form states, and how its grid stands as a file's text.

The text is what `files` reads. What must not be read yet stands in it with the word `unread` before it (a cell), or as
a column of remarks (a lobe with too few readings), so that it is kept wherever the text is kept.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from valvelab.csv_text import csv_text, harmless
from valvelab.errors import BadQuantity
from valvelab.files.column_names import height_of, lobe_name, plain_name, split_header
from valvelab.units import Dimension, System, parse_quantity, split_quantity
from valvelab.workbench.entry import Grid, Place, Row, number_in, series, takes, wrong

UNREAD = "unread "
_COMMAS = "sep=,"
_BEGUN = re.compile(r"(.+) begun(?: in (\S+))?")
LEAST_LIFTS = 8
"""Lifts that a lobe's readings begin to count from, as the lift table's reader has it."""
_SAME_READING = 0.05
"""Two readings of one spring at one height that differ by more of it are two springs' to the reader."""


@dataclass(frozen=True, slots=True)
class FormField:
    """A field of the form: its key in the preamble, what it is, and what it takes.

    unit: where it is a quantity, metric and inch. words: where it is one of a few; `with_radius` takes a length after
    it. help: an example, in words.
    """

    key: str
    help: str = ""
    dimension: Dimension | None = None
    unit: tuple[str, str] = ("", "")
    words: tuple[str, ...] = ()
    with_radius: str = ""

    def read(self, text: str, units: System) -> str:
        """What the preamble states for what was typed: a quantity with its unit. Raises BadQuantity."""
        words = " ".join(text.split())
        if not words or self.dimension is None:
            return words
        number, unit = split_quantity(words, self.key)
        if not unit and self.unit[0]:
            words = f"{words} {self.unit[units == 'inch']}"
        bare = re.sub(r"\b(cam|crank)\b", "", words)
        parse_quantity(bare, self.dimension, self.key)
        if number < 0.0 and self.dimension != "temperature":
            raise BadQuantity(self.key, words, f"a {self.dimension} that is not below 0")
        return words


@dataclass(frozen=True, slots=True)
class Adding:
    """A field that adds columns or rows: its name, its example in words, and what it makes of a text.

    `read(grid, text, units)` gives heads of columns, or names and places of rows. Raises BadQuantity.
    """

    name: str
    help: str
    read: Callable[[Grid, str, System], Row]


@dataclass(frozen=True, slots=True)
class EntryKind:
    """A kind of table that is typed.

    kind: as `files.kinds` names it. heads: those of a new table, metric and inch. along: readings are usually taken
    row by row. columns, rows: how more of either are laid out. ask: what a new table wants first.
    """

    kind: str
    title: str
    file: str
    heads: tuple[Row, Row]
    fields: tuple[FormField, ...]
    along: bool
    row: str
    columns: Adding | None
    rows: Adding
    ask: str

    def blank(self, units: System) -> Grid:
        """A new table in metric or inch units."""
        return Grid(heads=self.heads[units == "inch"])


def _length(key: str, help_: str = "") -> FormField:
    return FormField(key, help_, "length", ("mm", "in"))


def _force(key: str, help_: str = "") -> FormField:
    return FormField(key, help_, "force", ("N", "lbf"))


def _fields(*keys: str) -> tuple[FormField, ...]:
    return tuple(FormField(key) for key in keys)


_PART, _WHO = _fields("part", "serial"), _fields("operator", "instrument", "date")
_TEMPERATURE = FormField("temperature", "of the part while it was read", "temperature", ("degC", "degF"))


def _springs_columns(grid: Grid, text: str, units: System) -> Row:
    """A height gives a column of forces; `solid height` and the like a column of lengths."""
    name = plain_name(text)
    length, force = ("in", "lbf") if units == "inch" else ("mm", "N")
    if name in {"position", "stage", "element", "stroke"}:
        return (name,)
    if name in {"solid height", "coil bind", "free length", "installed height"}:
        return (f"{name} [{length}]",)
    number, unit = split_quantity(text, "height")
    value = parse_quantity(f"{number!r} {unit or length}", "length", "height")
    if value <= 0.0:
        raise BadQuantity("height", text, "a height above 0")
    known = next((split_header(h)[1] for h in grid.heads if height_of(split_header(h)[0])), None)
    digits = text[: len(text.rstrip()) - len(unit)].strip().replace(",", ".")
    return (f"{digits} {unit or length} [{known or force}]",)


def _lobe_columns(grid: Grid, text: str, units: System) -> Row:
    known = next((split_header(head)[1] for head in grid.heads[1:] if split_header(head)[1]), None)
    unit = known or ("in" if units == "inch" else "mm")
    names = [part.strip() for part in re.split(r"[,;\s]+", text) if part.strip()] if not lobe_name(text) else [text]
    return tuple(f"{lobe_name(name) or name} [{unit}]" for name in names)


def _station_columns(grid: Grid, text: str, units: System) -> Row:
    """`J1 at 14 mm`, or `J1`."""
    unit = next((split_header(head)[1] for head in grid.heads[1:]), "in" if units == "inch" else "um")
    name, at, place = text.strip().rpartition(" at ")
    if not at:
        return (f"{text.strip()} [{unit}]",)
    number, length = split_quantity(place, "position")
    length = length or ("in" if units == "inch" else "mm")
    parse_quantity(f"{number!r} {length}", "length", "position")
    return (f"{name.strip()} at {number:.10g} {length} [{unit}]",)


def _appraiser_columns(grid: Grid, text: str, units: System) -> Row:
    """`A` gives one column for each trial that the others have, three at first; `A 4` a fourth trial of A."""
    unit = next((split_header(head)[1] for head in grid.heads[1:]), "in" if units == "inch" else "mm")
    name, _, trial = text.strip().rpartition(" ")
    if name and trial.isdigit():
        return (f"{name} {trial} [{unit}]",)
    known = dict.fromkeys(_trial_of(head)[1] for head in grid.heads[1:])
    return tuple(f"{text.strip()} {trial} [{unit}]" for trial in known or ("1", "2", "3"))


def _names(_grid: Grid, text: str, _units: System) -> Row:
    return series(text)


_ANGLES = Adding("angles", "from, to and step, as 0 to 355 by 5", _names)


def _named(what: str, example: str) -> Adding:
    return Adding(what, f"one, or first to last, as {example}", _names)


KINDS: tuple[EntryKind, ...] = (
    EntryKind(
        "spring readings", "Spring readings", "springs.csv", (("spring",), ("spring",)),
        (
            *_PART, _length("installed height", "seat to retainer, valve shut"), _length("valve lift"),
            _length("wire diameter"), _length("mean coil diameter", "outside diameter less one wire"),
            FormField("active coils", "a number", "number"), FormField("total coils", "a number", "number"),
            _length("free length"), _length("solid height", "every coil touching"),
            FormField("material", "as the table of wire materials names it"),
            _force("force uncertainty", "standard uncertainty of the tester"), _force("force resolution", "division"),
            _length("height uncertainty", "standard uncertainty of the stop"),
            _length("height resolution", "division"), _TEMPERATURE, *_WHO,
        ),
        True, "spring", Adding("height", "gives a column of forces, as 40 mm; or solid height", _springs_columns),
        _named("springs", "Q01 to Q16"), "a height to read forces at",
    ),
    EntryKind(
        "heights", "Heights for shims", "heights.csv", (("position", "height [mm]"), ("position", "height [in]")),
        (
            FormField("shims", "sizes in stock, a comma and a space between"),
            FormField("max shims", "most under one spring", "number"), _force("target seat force"),
            _length("minimum coil-bind margin"), _length("valve lift"), *_WHO,
        ),
        False, "valve", None, _named("valves", "1I, or 1 to 16"), "a valve and its height, seat to retainer",
    ),
    EntryKind(
        "lift table", "Lifts of lobes", "lobes.csv", (("angle [cam deg]",), ("angle [cam deg]",)),
        (
            *_PART, FormField("lift at", words=("follower", "valve")),
            FormField("follower", "a roller with its radius", words=("flat", "roller", "point"), with_radius="roller"),
            _length("base circle radius"),
            FormField("rotation", "of the sweep against running", words=("forward", "reverse")),
            FormField("firing order", "hyphens between, as 1-3-4-2"), FormField("cylinders", "a number", "number"),
            FormField("bank angle", "between the banks", "angle", ("deg", "deg")),
            FormField("second bank", "its cylinders, hyphens between"),
            _length("probe uncertainty", "standard uncertainty of one lift"), _length("probe resolution", "division"),
            FormField("encoder uncertainty", "of one angle", "angle", ("cam deg", "cam deg")), _TEMPERATURE, *_WHO,
        ),
        False, "angle", Adding("lobe", "its name, as 1I; several with spaces", _lobe_columns), _ANGLES,
        "a lobe's name, such as 1I",
    ),
    EntryKind(
        "shaft readings", "Shaft readings", "shaft.csv", (("angle [deg]",), ("angle [deg]",)),
        (
            *_PART, FormField("support", "centres, or vees with their two places, as vees 0 mm 160 mm"),
            _length("probe uncertainty"), _length("journal diameter"), *_WHO,
        ),
        False, "angle", Adding("station", "its name and place, as J1 at 14 mm", _station_columns), _ANGLES,
        "a station and its place, such as J1 at 14 mm",
    ),
    EntryKind(
        "gauge study", "Gauge study", "gauge_study.csv", (("part",), ("part",)),
        (
            FormField("characteristic", "what is read, as tir"), *_WHO[1:],
            FormField("tolerance", "width, with its unit"), _WHO[0],
        ),
        False, "part", Adding("appraiser", "a letter or name; three trials at first", _appraiser_columns),
        _named("parts", "1 to 10"), "an appraiser, by a letter or name",
    ),
    EntryKind(
        "surface trace", "Surface trace", "trace.csv", (("x [mm]", "z [um]"), ("x [in]", "z [uin]")),
        (
            FormField("surface", "where on the part"),
            FormField("height uncertainty", "of the heights, in per cent", "percent", ("%", "%")), *_WHO,
        ),
        False, "place", None, Adding("places", "from, to and step, as 0 to 4 by 0.5", _names),
        "a place along the surface and its height",
    ),
)  # fmt: skip


def entry_kind(kind: str) -> EntryKind | None:
    """How a kind of table is typed; None for one that is not."""
    return next((one for one in KINDS if one.kind == kind), None)


# -- as text ----------------------------------------------------------------------------------------------------------


def text_of(kind: str, grid: Grid) -> str:
    """The grid as the text of a file; what must not be read yet is marked there."""
    kept_back = set(faults(kind, grid)) | _begun(kind, grid)
    heads, rows = grid.heads, [_row(kind, grid.heads, row) for row in grid.rows]
    for at in {at for at, _ in kept_back}:
        back = [n for n, text in enumerate(grid.rows[at]) if text and (at, n) in kept_back]
        rows[at] = tuple(f"{UNREAD}{grid.rows[at][n]}" if n in back else text for n, text in enumerate(rows[at]))
    if kind in _TIDY and len(heads) > 1 and _is_pivot(kind, heads):
        heads, rows = _TIDY[kind](heads, rows)
    elif kind == "lift table":
        heads = _with_begun_lobes(grid)
    lines = [_line(row) for row in (heads, *rows) if any(row)]
    spaced = any(" " in line for line in lines[1:])  # only then could a comma pass for a decimal sign
    stated = "".join(f"# {key}: {value}\n" for key, value in grid.form)
    return stated + (f"{_COMMAS}\n" if spaced else "") + "".join(lines)


@lru_cache(maxsize=8192)
def _row(kind: str, heads: Row, row: Row) -> Row:
    """A row as it stands in the text: what can't be read marked."""
    return tuple(
        f"{UNREAD}{text}" if text and wrong(kind, head, text) else text for head, text in zip(heads, row, strict=True)
    )


@lru_cache(maxsize=8192)
def _line(row: Row) -> str:
    return csv_text([row])


def grid_of(kind: str, text: str) -> Grid:
    """The grid of a text that `text_of` wrote; of any other text table as well where `readable_text` had it first."""
    from valvelab.files.text_opening import preamble_entry

    lines = [line for line in text.splitlines() if line != _COMMAS]
    entries = [entry for line in lines if line.startswith("#") and (entry := preamble_entry(line))]
    cells = [[_bare(cell) for cell in row] for row in csv.reader(line for line in lines if not line.startswith("#"))]
    heads = tuple(_whole_head(cell) for cell in cells[0]) if cells else ()
    width = len(heads)
    rows = tuple((*row, *[""] * (width - len(row)))[:width] for row in cells[1:])
    plain = Grid(tuple(dict(entries).items()), heads, rows)
    if kind == "shaft readings":
        return _by_station(plain) or plain
    return (_by_appraiser(plain) if kind == "gauge study" else None) or plain


def text_from(kind: str, file: str, data: bytes) -> str:
    """Any text table or workbook as the text of its grid: comma, point, preamble first. Raises BadFile."""
    from valvelab.files.contents import Contents, is_zip
    from valvelab.files.text_table import read_text
    from valvelab.files.workbook import read_workbook

    raw = (read_workbook if is_zip(data) else read_text)(Contents.of(file, data))
    count = raw.body.row_count
    columns = [raw.body.texts(index) for index in range(raw.body.width)]
    decimal = "." if is_zip(data) else getattr(raw.body, "layout").decimal  # noqa: B009 - of a text's body
    heads = tuple(raw.header or ())
    rows = [tuple(_pointed(column[at], decimal) for column in columns) for at in range(count)]
    stated = tuple((key, entry.value) for key, entry in raw.preamble.items() if entry.value)
    said = [("skipped above", "; ".join(row.text for row in raw.skipped))] if raw.skipped else []
    plain = Grid((*stated, *said), heads, tuple(rows))
    return text_of(kind, grid_of(kind, text_of(kind, plain)))


def _pointed(cell: str, decimal: str) -> str:
    return cell.replace(",", ".") if decimal == "," and re.fullmatch(r"[+\-−]?\d*,?\d*", cell) else cell


def _bare(cell: str) -> str:
    """A cell without the marks that a file has and a grid has not."""
    cell = cell.strip().removeprefix(UNREAD)
    return cell[1:] if cell.startswith("'") and harmless(cell[1:]) == cell else cell


def _whole_head(cell: str) -> str:
    match = _BEGUN.fullmatch(cell.strip())
    return cell.strip() if match is None else f"{match[1]} [{match[2]}]" if match[2] else match[1]


def _is_pivot(kind: str, heads: Row) -> bool:
    tidy = {"shaft readings": "station", "gauge study": "appraiser"}[kind]
    return all(plain_name(split_header(head)[0]) != tidy for head in heads)


_PLACE = re.compile(r"(.+) at (\S+) (\S+)")


def _tidy_shaft(heads: Row, rows: list[Row]) -> tuple[Row, list[Row]]:
    """One row a reading, station by station."""
    stations = [(split_header(head)[0], split_header(head)[1]) for head in heads[1:]]
    places = [_PLACE.fullmatch(title) for title, _ in stations]
    unit = next((unit for _, unit in stations), "um")
    length = next((match[3] for match in places if match), "")
    tidy = [
        (match[1] if match else title, *([match[2] if match else ""] if length else []), row[0], row[1 + n])
        for n, ((title, _), match) in enumerate(zip(stations, places, strict=True))
        for row in rows
        if n == 0 or row[1 + n]
    ]
    along = (f"position [{length}]",) if length else ()
    return ("station", *along, heads[0], f"reading [{unit}]"), tidy


def _by_station(plain: Grid) -> Grid | None:
    """One row an angle, a column a station; a further turn gives further rows. None where that loses anything."""
    found = _columns_of(plain, "station", "angle", "reading", "position")
    if found is None:
        return None
    station, angle, reading, position = found
    unit, length = split_header(plain.heads[reading])[1], None
    if position is not None:
        length = split_header(plain.heads[position])[1] or "mm"
    columns: dict[str, dict[tuple[str, int], str]] = {}
    order: dict[tuple[str, int], None] = {}
    for row in plain.rows:
        place = f" at {row[position]} {length}" if position is not None and row[position] else ""
        column = columns.setdefault(f"{row[station]}{place}" + (f" [{unit}]" if unit else ""), {})
        turn = next(n for n in range(len(plain.rows)) if (row[angle], n) not in column)
        order.setdefault((row[angle], turn))
        column[row[angle], turn] = row[reading]
    rows = tuple((at[0], *(column.get(at, "") for column in columns.values())) for at in order)
    return Grid(plain.form, (plain.heads[angle], *columns), rows)


def _trial_of(head: str) -> tuple[str, str]:
    """Appraiser and trial of a head such as `A 2 [mm]`."""
    appraiser, _, trial = split_header(head)[0].rpartition(" ")
    return (appraiser, trial) if appraiser else (trial, "1")


def _tidy_study(heads: Row, rows: list[Row]) -> tuple[Row, list[Row]]:
    units = [split_header(head)[1] for head in heads[1:]]
    reading = f"reading [{units[0]}]" if units and units[0] else "reading"
    tidy: list[Row] = [
        (row[0], *_trial_of(head), row[1 + n])
        for n, head in enumerate(heads[1:])
        for row in rows
        if n == 0 or row[1 + n]
    ]
    return ("part", "appraiser", "trial", reading), tidy


_TIDY: dict[str, Callable[[Row, list[Row]], tuple[Row, list[Row]]]] = {
    "shaft readings": _tidy_shaft, "gauge study": _tidy_study,
}  # fmt: skip


def _by_appraiser(plain: Grid) -> Grid | None:
    """One row a part, a column an appraiser's trial; None where that loses anything."""
    found = _columns_of(plain, "part", "appraiser", "reading", "trial")
    if found is None or found[3] is None:
        return None
    part, appraiser, reading, trial = found
    assert trial is not None
    unit = split_header(plain.heads[reading])[1]
    columns: dict[str, dict[str, str]] = {}
    for row in plain.rows:
        column = columns.setdefault(f"{row[appraiser]} {row[trial]}" + (f" [{unit}]" if unit else ""), {})
        if row[part] in column:
            return None
        column[row[part]] = row[reading]
    parts = dict.fromkeys(row[part] for row in plain.rows)
    rows = tuple((name, *(column.get(name, "") for column in columns.values())) for name in parts)
    return Grid(plain.form, ("part", *columns), rows)


def _columns_of(plain: Grid, *names: str) -> tuple[int, int, int, int | None] | None:
    """Where these columns are, the last of which may be missing; None where another is, or where there are others."""
    from valvelab.files.column_names import rank

    titles = [plain_name(split_header(head)[0]) for head in plain.heads]
    found = [next((n for n, title in enumerate(titles) if rank(name, title) is not None), None) for name in names]
    first, second, third, last = found
    if first is None or second is None or third is None or len(titles) > sum(one is not None for one in found):
        return None
    return first, second, third, last


# -- what is wrong, and what is only begun ----------------------------------------------------------------------------


def faults(kind: str, grid: Grid) -> dict[Place, str]:
    """Cells that can be read but make no sense where they stand, with the sentence that says why."""
    found: dict[Place, str] = {}
    row_name = entry_kind(kind)
    for at, row in enumerate(grid.rows):
        if not row[0] and any(row[1:]):
            what = row_name.row if row_name else "name"
            found |= {(at, n): f"the {what} of this row is wanted" for n, text in enumerate(row) if n and text}
    if kind == "heights":
        seen: dict[str, int] = {}
        for at, row in enumerate(grid.rows):
            if row[0] and row[1] and seen.setdefault(row[0], at) != at:
                found[at, 1] = f"valve {row[0]} stands in row {seen[row[0]] + 1} already"
    if kind == "spring readings":
        found |= _unlike_repeats(grid) | _falling(grid)
    return found


def _unlike_repeats(grid: Grid) -> dict[Place, str]:
    """Readings of one spring at one height that differ too much for one spring."""
    first: dict[tuple[Row, int], float] = {}
    words = [n for n, head in enumerate(grid.heads) if takes("spring readings", head) is None]
    forces = [n for n, head in enumerate(grid.heads) if height_of(split_header(head)[0])]
    found: dict[Place, str] = {}
    names = [tuple(row[n] for n in words) for row in grid.rows]
    many = Counter(names)
    for at, (name, row) in enumerate(zip(names, grid.rows, strict=True)):
        for n in forces if many[name] > 1 else ():
            force = number_in("spring readings", grid.heads[n], row[n])
            if force is None:
                continue
            before = first.setdefault((name, n), force)
            if abs(force - before) > _SAME_READING * max(force, before):
                found[at, n] = f"{force:g} for spring {row[0]} read before as {before:g}: another spring, or take again"
    return found


def _falling(grid: Grid) -> dict[Place, str]:
    """Forces that are lower than one at a greater height: those without which the spring's others make sense."""
    return {(at, n): why for at, row in enumerate(grid.rows) for n, why in _falling_in(grid.heads, row)}


@lru_cache(maxsize=8192)
def _falling_in(heads: Row, row: Row) -> tuple[tuple[int, str], ...]:
    heights = {n: known.mm for n, head in enumerate(heads) if (known := height_of(split_header(head)[0]))}
    read = ((n, number_in("spring readings", heads[n], row[n])) for n in sorted(heights, key=lambda n: heights[n]))
    kept = [(n, force) for n, force in read if force is not None]
    found = []
    while _fall([force for _, force in kept]) > 0.0:
        out = min(range(len(kept)), key=lambda i: (_fall([f for j, (_, f) in enumerate(kept) if j != i]), -kept[i][0]))
        n, force = kept.pop(out)
        why = "does not grow from a greater height to a smaller as the spring's other forces do; take again"
        found.append((n, f"{force:g} {why}"))
    return tuple(found)


def _fall(forces: list[float]) -> float:
    """By how much forces, smallest height first, grow where they should fall; 0 within what the inspection allows."""
    from valvelab.springs.spring import FALL_ALLOWED

    rises = [after - before for before, after in pairwise(forces) if after > before]
    reach = max(forces, default=0.0) - min(forces, default=0.0)
    if len(forces) < 2 or (max(rises, default=0.0) <= FALL_ALLOWED * reach and forces[0] > forces[-1]):
        return 0.0
    return sum(rises) or 1e-9  # all alike


def _begun(kind: str, grid: Grid) -> set[Place]:
    """Readings of a part of a gauge study that is not read by everyone yet."""
    if kind != "gauge study" or not _is_pivot(kind, grid.heads):
        return set()
    return {(at, n) for at, row in enumerate(grid.rows) if not all(row) for n in range(1, len(row)) if row[n]}


def _counts(grid: Grid) -> list[int]:
    """Readings in each column, those with a place or name in front."""
    return [sum(bool(row[0] and row[n]) for row in grid.rows) for n in range(len(grid.heads))]


def _with_begun_lobes(grid: Grid) -> Row:
    """Heads in which a lobe with too few readings is a column of remarks."""
    if any(plain_name(split_header(head)[0]) == "lift" for head in grid.heads):
        return grid.heads
    counts = _counts(grid)
    heads = list(grid.heads)
    for n, head in enumerate(grid.heads):
        title, unit = split_header(head)
        if n and counts[n] < LEAST_LIFTS and takes("lift table", head) is not None:
            heads[n] = f"{title} begun in {unit}"
    return tuple(heads)


def still_wanted(kind: str, grid: Grid) -> str:
    """How far a table is typed and what it wants next, in a sentence; empty where nothing is missing."""
    known = entry_kind(kind)
    if known is None:
        return ""
    if len(grid.heads) < 2:
        return f"Wanted first: {known.ask}."
    part = sum(any(row[1:]) for row in grid.rows)
    if not part:
        return "No reading typed yet."
    missing = _WANTED[kind](grid) if kind in _WANTED else ""
    whole = sum(all(row[1:]) for row in grid.rows)
    if missing:
        return f"{part} of {len(grid.rows)} {known.row}s typed; {missing}."
    return f"{part} of {len(grid.rows)} {known.row}s typed, {whole} of them whole." if whole < len(grid.rows) else ""


def _springs_wanted(grid: Grid) -> str:
    heights = sum(height_of(split_header(head)[0]) is not None for head in grid.heads)
    return "a second height is wanted for a rate" if heights == 1 else ""


def _lifts_wanted(grid: Grid) -> str:
    few = [
        split_header(head)[0]
        for head, count in list(zip(grid.heads, _counts(grid), strict=True))[1:]
        if count < LEAST_LIFTS
    ]
    return f"{LEAST_LIFTS} lifts or more are wanted of {', '.join(few)}" if few else ""


def _study_wanted(grid: Grid) -> str:
    whole = sum(all(row) for row in grid.rows)
    if whole >= 2 and len({_trial_of(head)[1] for head in grid.heads[1:]}) >= 2:
        return ""
    return f"{whole} read by everyone in every trial, and at least two parts and two trials are wanted"


_WANTED: dict[str, Callable[[Grid], str]] = {
    "spring readings": _springs_wanted, "lift table": _lifts_wanted, "gauge study": _study_wanted,
}  # fmt: skip
