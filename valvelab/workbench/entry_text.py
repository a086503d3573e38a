"""How a typed table stands as a file's text, and what in it makes no sense yet or is only begun.

The text is what `files` reads. What must not be read yet stands in it with the word `unread` before it (a cell), or as
a column of remarks (a lobe with too few readings), so that it is kept wherever the text is kept.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

from valvelab.csv_text import csv_text, harmless
from valvelab.errors import BadFile
from valvelab.files.column_names import height_of, plain_name, rank, split_header
from valvelab.files.contents import Contents, is_zip, read_contents
from valvelab.files.text_opening import preamble_entry
from valvelab.files.text_table import TextBody, read_text
from valvelab.files.workbook import read_workbook
from valvelab.language import say
from valvelab.springs.spring import FALL_ALLOWED
from valvelab.units import FACTORS
from valvelab.workbench.document import BenchFile
from valvelab.workbench.entry import Grid, Place, Row, number_in, taken, takes, wrong
from valvelab.workbench.entry_kinds import entry_kind, trial_of

UNREAD = "unread "
_TABLES = 4
"""Tables whose last look is kept: one text is asked about by several, and undo comes back to the one before."""
_COMMAS = "sep=,"
_BEGUN = re.compile(r"(.+) begun(?: in (\S+))?")
LEAST_LIFTS = 8
"""Lifts that a lobe's readings begin to count from, as the lift table's reader has it."""
_WHOLE_TURN = 0.94
"""A lobe that was read over more than this share of a turn was read all round."""
_OPEN = 0.2
"""Read over less, it is only begun while it begins or ends higher than this share of its lift."""
_SAME_READING = 0.05
"""Two readings of one spring at one height that differ by more of it are two springs' to the reader."""


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


@lru_cache(maxsize=_TABLES)
def grid_of(kind: str, text: str) -> Grid:
    """The grid of a text that `text_of` wrote."""
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
    raw = (read_workbook if is_zip(data) else read_text)(Contents.of(file, data))
    count = raw.body.row_count
    columns = [raw.body.texts(index) for index in range(raw.body.width)]
    decimal = raw.body.layout.decimal if isinstance(raw.body, TextBody) else "."
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
    """One row a reading, station by station, places and readings in one unit each."""
    stations = [split_header(head) for head in heads[1:]]
    places = [_PLACE.fullmatch(title) for title, _ in stations]
    unit = next((unit for _, unit in stations if unit), "um")
    length = next((match[3] for match in places if match), "")
    tidy: list[Row] = []
    for n, ((title, own), match) in enumerate(zip(stations, places, strict=True), start=1):
        name = match[1] if match else title
        along = ((_in_unit(match[2], match[3], length) if match else ""),) if length else ()
        tidy += [(name, *along, row[0], _in_unit(row[n], own, unit)) for row in rows if n == 1 or row[n]]
    return ("station", *((f"position [{length}]",) if length else ()), heads[0], f"reading [{unit}]"), tidy


def _in_unit(text: str, own: str | None, unit: str) -> str:
    """A number in another unit than its own; what is none stays."""
    if own in {None, unit} or not text or text.startswith(UNREAD):
        return text
    return taken("", f"number [{unit}]", f"{text} {own}")


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


def _tidy_study(heads: Row, rows: list[Row]) -> tuple[Row, list[Row]]:
    units = [split_header(head)[1] for head in heads[1:]]
    unit = next((unit for unit in units if unit), "")
    tidy: list[Row] = []
    for n, (head, own) in enumerate(zip(heads[1:], units, strict=True), start=1):
        tidy += [(row[0], *trial_of(head), _in_unit(row[n], own, unit)) for row in rows if n == 1 or row[n]]
    return ("part", "appraiser", "trial", f"reading [{unit}]" if unit else "reading"), tidy


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
    if kind in {"heights", "lash sheet"}:
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
    shortest_first = sorted(heights, key=lambda n: heights[n])
    read = [
        (n, number_in("spring readings", heads[n], row[n]), takes("spring readings", heads[n])) for n in shortest_first
    ]
    kept = [(n, force * FACTORS["force"].get(one.unit, 1.0)) for n, force, one in read if force is not None and one]
    found = []
    while _fall([force for _, force in kept]) > 0.0:
        out = min(range(len(kept)), key=lambda i: (_fall([f for j, (_, f) in enumerate(kept) if j != i]), -kept[i][0]))
        n, _ = kept.pop(out)
        why = "does not fit beside the others: a spring's force grows as it is compressed; take again"
        found.append((n, f"{row[n]} {why}"))
    return tuple(found)


def _fall(forces: list[float]) -> float:
    """By how much forces, smallest height first, grow where they should fall; 0 within what the inspection allows."""
    rises = [after - before for before, after in pairwise(forces) if after > before]
    reach = max(forces, default=0.0) - min(forces, default=0.0)
    if len(forces) < 2 or (max(rises, default=0.0) <= FALL_ALLOWED * reach and forces[0] > forces[-1]):
        return 0.0
    return sum(rises) or 1e-9  # all alike


def _begun(kind: str, grid: Grid) -> set[Place]:
    """Readings of a part of a gauge study that is not read by everyone yet; lifts while no lobe is whole.

    Of a valve whose shim is not typed yet, its clearance.
    """
    if kind == "lash sheet":
        return _without_shim(grid)
    if kind == "lift table":
        begun = _begun_lobes(grid)
        return set() if len(begun) < _lobe_count(grid) else _held(grid, begun)
    if kind != "gauge study" or not _is_pivot(kind, grid.heads):
        return set()
    return {(at, n) for at, row in enumerate(grid.rows) if not all(row) for n in range(1, len(row)) if row[n]}


def _without_shim(grid: Grid) -> set[Place]:
    """Clearances of valves whose shim is not known."""
    titles = [split_header(head)[0] for head in grid.heads]
    shim, clearance = (
        next((n for n, title in enumerate(titles) if rank(name, plain_name(title)) is not None), None)
        for name in ("shims", "clearance")
    )
    if shim is None or clearance is None:
        return set()
    head = grid.heads[shim]
    unknown = (at for at, row in enumerate(grid.rows) if not row[shim] or wrong("lash sheet", head, row[shim]))
    return {(at, clearance) for at in unknown if grid.rows[at][clearance]}


@lru_cache(maxsize=_TABLES)
def _begun_lobes(grid: Grid) -> Mapping[int, str]:
    """Columns of lobes that are only begun, and what is wanted of them."""
    if any(plain_name(split_header(head)[0]) == "lift" for head in grid.heads) or not grid.heads:
        return {}
    angles = [number_in("lift table", grid.heads[0], row[0]) for row in grid.rows]
    turn = 720.0 if (split_header(grid.heads[0])[1] or "").startswith("crank") else 360.0
    found: dict[int, str] = {}
    for n, head in enumerate(grid.heads):
        if n == 0 or takes("lift table", head) is None:
            continue
        lifts = ((angle, number_in("lift table", head, row[n])) for angle, row in zip(angles, grid.rows, strict=True))
        read = [(angle, lift) for angle, lift in lifts if angle is not None and lift is not None]
        if len(read) < LEAST_LIFTS:
            found[n] = f"{LEAST_LIFTS} lifts or more"
        elif _is_open(read, turn):
            found[n] = "lifts up from the base circle and down to it again"
    return found


def _lobe_count(grid: Grid) -> int:
    return sum(takes("lift table", head) is not None for head in grid.heads[1:])


def _held(grid: Grid, columns: Iterable[int]) -> set[Place]:
    return {(at, n) for at, row in enumerate(grid.rows) for n in columns if row[n]}


def _is_open(read: list[tuple[float, float]], turn: float) -> bool:
    """Whether lifts over part of a turn begin or end up on the lobe, or are of the base circle alone."""
    places, lifts = [place for place, _ in read], [lift for _, lift in read]
    if max(places) - min(places) > _WHOLE_TURN * turn:
        return False
    low, high = min(lifts), max(lifts)
    ends = max(lifts[0], lifts[-1]) - low
    return ends > _OPEN * (high - low) or high == low


def _with_begun_lobes(grid: Grid) -> Row:
    """Heads in which a lobe that is only begun is a column of remarks."""
    begun = _begun_lobes(grid)
    begun = begun if len(begun) < _lobe_count(grid) else {}
    split = (split_header(head) for head in grid.heads)
    return tuple(
        f"{title} begun in {unit}" if n in begun else head
        for n, (head, (title, unit)) in enumerate(zip(grid.heads, split, strict=True))
    )


def still_wanted(kind: str, grid: Grid) -> str:
    """How far a table is typed and what it wants next, in a sentence; empty where nothing is missing."""
    known = entry_kind(kind)
    if known is None:
        return ""
    if len(grid.heads) < 2:
        return say("Wanted first: {ask}.").format(ask=say(known.ask))
    part = sum(any(row[1:]) for row in grid.rows)
    if not part:
        return say("No reading typed yet.")
    missing = _WANTED[kind](grid) if kind in _WANTED else ""
    whole = sum(all(row[1:]) for row in grid.rows)
    if missing:
        return say("{part} of {count} {rows} typed; {missing}.").format(
            part=part, count=len(grid.rows), rows=say(f"{known.row}s"), missing=missing
        )
    return (
        say("{part} of {count} {rows} typed, {whole} of them whole.").format(
            part=part, count=len(grid.rows), rows=say(f"{known.row}s"), whole=whole
        )
        if whole < len(grid.rows)
        else ""
    )


def _springs_wanted(grid: Grid) -> str:
    heights = sum(height_of(split_header(head)[0]) is not None for head in grid.heads)
    return say("a second height is wanted for a rate") if heights == 1 else ""


def _lifts_wanted(grid: Grid) -> str:
    begun = _begun_lobes(grid)
    wanted = {what: [split_header(grid.heads[n])[0] for n in begun if begun[n] == what] for what in begun.values()}
    return "; ".join(f"wanted of {', '.join(lobes)}: {what}" for what, lobes in wanted.items())


def _study_wanted(grid: Grid) -> str:
    whole = sum(all(row) for row in grid.rows)
    if whole >= 2 and len({trial_of(head)[1] for head in grid.heads[1:]}) >= 2:
        return ""
    return say("{whole} read by everyone in every trial, and at least two parts and two trials are wanted").format(
        whole=whole
    )


_WANTED: dict[str, Callable[[Grid], str]] = {
    "spring readings": _springs_wanted, "lift table": _lifts_wanted, "gauge study": _study_wanted,
}  # fmt: skip


def opened_text(kind: str, file: BenchFile) -> str:
    """The text in which an opened file is edited; the file on disk stays. Raises BadFile where it has none."""
    if Path(file.path).suffix.lower() in {".smd", ".x3p"}:
        raise BadFile(file.name, "", "a trace in a form of its own", "a table, to be edited here")
    if file.columns is not None:
        raise BadFile(file.name, "", "columns that were assigned", "a table whose own names say what they hold")
    return text_from(kind, file.path, read_contents(file.path).data)
