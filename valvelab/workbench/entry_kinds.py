"""Kinds of table that are typed: how each begins, what its form states, how columns and rows are laid out."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from valvelab.errors import BadQuantity
from valvelab.files.column_names import height_of, lobe_name, plain_name, split_header
from valvelab.phrase import Phrase
from valvelab.units import Dimension, System, parse_quantity, split_quantity
from valvelab.workbench.entry import Grid, Row, further, series


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

    `read(grid, text, units)` gives heads of columns, or names and places of rows. Raises BadQuantity. hint: what stands
    in the empty field.
    """

    name: str
    help: str
    read: Callable[[Grid, str, System], Row]
    hint: str = ""


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
    if name in {"position", "stage", "date", "element", "stroke"}:
        return (name,)
    if name in {"solid height", "coil bind", "free length", "installed height", "squareness"}:
        return (f"{name} [{length}]",)
    if name == "squareness deg":
        return ("squareness [deg]",)
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


def trial_of(head: str) -> tuple[str, str]:
    """Appraiser and trial of a head such as `A 2 [mm]`."""
    appraiser, _, trial = split_header(head)[0].rpartition(" ")
    return (appraiser, trial) if appraiser else (trial, "1")


def _appraiser_columns(grid: Grid, text: str, units: System) -> Row:
    """`A` gives one column for each trial that the others have, three at first; `A 4` a fourth trial of A."""
    unit = next((split_header(head)[1] for head in grid.heads[1:]), "in" if units == "inch" else "mm")
    name, _, trial = text.strip().rpartition(" ")
    if name and trial.isdigit():
        return (f"{name} {trial} [{unit}]",)
    known = dict.fromkeys(trial_of(head)[1] for head in grid.heads[1:])
    return tuple(f"{text.strip()} {trial} [{unit}]" for trial in known or ("1", "2", "3"))


def _names(_grid: Grid, text: str, _units: System) -> Row:
    return series(text)


_ANGLES = Adding("angles", "from, to and step, as 0 to 355 by 5", _names, "0 to 355 by 5")


def _named(what: str, example: str) -> Adding:
    hint = Phrase("how many, or {example}", example=example)
    return Adding(
        what, Phrase("{hint}; or one name", hint=hint), lambda grid, text, _units: further(grid, text, what), hint
    )


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
        True, "spring", Adding("height", "gives a column of forces, as 40 mm; or solid height", _springs_columns,
            "40 mm, or solid height"),
        _named("springs", "Q01 to Q16"), "a height to read forces at",
    ),
    EntryKind(
        "heights", "Heights for shims", "heights.csv", (("position", "height [mm]"), ("position", "height [in]")),
        (
            FormField("shims", "sizes in stock, a comma and a space between"),
            FormField("max shims", "most under one spring", "number"), _force("target seat force"),
            _length("minimum coil-bind margin"), _length("valve lift"), *_WHO,
        ),
        False, "valve", None, _named("valves", "1 to 16"), "a valve and its height, seat to retainer",
    ),
    EntryKind(
        "lash sheet", "Clearances and shims", "lash.csv",
        (("position", "clearance [mm]", "shim [mm]"), ("position", "clearance [in]", "shim [in]")),
        (
            *_PART, FormField("intake lash", "with its band, as 0.20 mm ± 0.03 mm"),
            FormField("exhaust lash", "with its band, as 0.26 mm ± 0.03 mm"),
            FormField("lash", "of every valve, where it is one for all"),
            _length("lash band", "either way, where none stands with the lash"),
            FormField("shims", "at hand, as 2.45 mm x 1, 2.60 mm x 2"),
            FormField("shims sold", "as 2.00 mm to 3.20 mm by 0.05 mm"),
            _length("feeler uncertainty", "standard uncertainty"), _length("feeler step", "from leaf to leaf"),
            _length("micrometer uncertainty", "standard uncertainty"),
            FormField("least chance", "to be in the band, in per cent", "percent", ("%", "%")), *_WHO,
        ),
        False, "valve", None, _named("valves", "1 to 16"), "a lash with its band, and a valve",
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
        False, "angle", Adding("lobe", "its name, as 1I; several with spaces", _lobe_columns, "1I, or 1I 1E"), _ANGLES,
        "a lobe's name, such as 1I",
    ),
    EntryKind(
        "shaft readings", "Shaft readings", "shaft.csv", (("angle [deg]",), ("angle [deg]",)),
        (
            *_PART, FormField("support", "centres, or vees with their two places, as vees 0 mm 160 mm"),
            _length("probe uncertainty"), _length("journal diameter"), *_WHO,
        ),
        False, "angle", Adding("station", "its name and place, as J1 at 14 mm", _station_columns,
            "J1 at 14 mm"), _ANGLES,
        "a station and its place, such as J1 at 14 mm",
    ),
    EntryKind(
        "gauge study", "Gauge study", "gauge_study.csv", (("part",), ("part",)),
        (
            FormField("characteristic", "what is read, as tir"), *_WHO[1:],
            FormField("tolerance", "width, with its unit"), _WHO[0],
        ),
        False, "part", Adding("appraiser", "a letter or name; three trials at first", _appraiser_columns,
            "A"),
        _named("parts", "1 to 10"), "an appraiser, by a letter or name",
    ),
    EntryKind(
        "surface trace", "Surface trace", "trace.csv", (("x [mm]", "z [um]"), ("x [in]", "z [uin]")),
        (
            FormField("surface", "where on the part"),
            FormField("height uncertainty", "of the heights, in per cent", "percent", ("%", "%")), *_WHO,
        ),
        False, "place", None, Adding("places", "from, to and step, as 0 to 4 by 0.5", _names, "0 to 4 by 0.5"),
        "a place along the surface and its height",
    ),
)  # fmt: skip


def entry_kind(kind: str) -> EntryKind | None:
    """How a kind of table is typed; None for one that is not."""
    return next((one for one in KINDS if one.kind == kind), None)
