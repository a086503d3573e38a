"""Kinds of files: what each holds, how it is recognised, which columns can be assigned, and the door to what reads it.

The window's column assignment, jobs and the README table read `READERS`, which loads nothing; `reading` reads files.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Literal

from valvelab.files.column_names import answers_to, height_of, is_unit, plain_name, split_header
from valvelab.frozen import frozen

Answer = Literal["yes", "no", "perhaps"]

TABLE_ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".xlsx")


@frozen
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


@frozen
class Reader:
    """One kind of file: its name, the endings it comes with, what it holds, the command that inspects it.

    alone: whether the command inspects such a file by itself, or beside another. columns: what columns can be assigned
    to, with the units of each; None where the reader takes no assignment. spoken: its name on the bench, where another.
    """

    name: str
    endings: tuple[str, ...]
    holds: str
    command: str
    recognise: Callable[[Head], Answer]
    alone: bool = True
    columns: Mapping[str, tuple[str, ...]] | None = None
    spoken: str = ""

    @property
    def label(self) -> str:
        """Its name for people."""
        return self.spoken or self.name


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
        {"angle"}, {"height", "force"}, {"position", "height"}, {"position", "clearance"}, {"x", "z"},
        {"part", "appraiser", "trial"}, {"station", "reading"},
    )  # fmt: skip
    return any(all(answers_to(columns, name) for name in names) for names in sets)


def _toml(*wanted: str) -> Callable[[Head], Answer]:
    def recognise(head: Head) -> Answer:
        if head.keys is None:
            return "no"
        return "yes" if head.keys & set(wanted) else "no"

    return recognise


def _check(head: Head) -> Answer:
    if head.keys is None:
        return "no"
    ruled = "limit" in head.keys and bool(head.keys & {"event", "instrument", "wheel"})
    return "yes" if ruled or head.keys & {"check", "rule", "inspector"} else "no"


def _wheel_sheet(head: Head) -> Answer:
    """By its readings, or a card of an engine that it names; a card by itself is a spec."""
    if head.keys is None or _check(head) == "yes":
        return "no"
    about = "card" in head.keys and head.keys & {"part", "serial", "operator", "date"}
    return "yes" if about or head.keys & {"stop", "reading", "near_peak", "wheel", "adjuster"} else "no"


def _spec(head: Head) -> Answer:
    if head.keys is None:
        return "no"
    if _check(head) == "yes":
        return "no"
    if "card" in head.keys and _wheel_sheet(head) == "no":
        return "yes"
    if head.keys & {"limit", "envelope", "decision", "fitting", "camshaft"}:
        return "yes"
    return "perhaps" if head.keys <= {"title", "revision"} else "no"


def _card(head: Head) -> Answer:
    """By its points, or an instrument's name beside what is known of it; a sheet that only names one has more keys."""
    if head.keys is None:
        return "no"
    alone = {"name", "unit", "serial", "calibrated", "due", "interval", "resolution", "repeatability", "uncertainty"}
    known = head.keys <= {*alone, "standards", "point"} and head.keys & {"calibrated", "due", "interval", "uncertainty"}
    return "yes" if "point" in head.keys or ("name" in head.keys and known) else "no"


def _trace(head: Head) -> Answer:
    if head.parts is not None:
        return "yes" if any(name.endswith("main.xml") for name in head.parts) else "no"
    if head.ending == ".smd" or head.data.lstrip(b"\xef\xbb\xbf")[:8] == b"ISO 5436":
        return "yes"
    return _named("x", "z")(head)


READERS: tuple[Reader, ...] = (
    Reader(
        "lift table", TABLE_ENDINGS, "lift over cam or crank angle, one or many lobes", "lobes", _lift,
        columns={
            "angle": ("cam deg", "crank deg"), "lift": ("mm", "um", "in", "thou", "m"), "lobe": (), "sweep": (),
        },
    ),
    Reader(
        "spring readings", TABLE_ENDINGS, "force over height, spring by spring", "springs", _springs,
        columns={
            "spring": (), "height": ("mm", "in"), "force": ("N", "lbf"), "position": (), "stage": (), "date": (),
            "stroke": (), "element": (), "offset": ("mm", "in"), "solid height": ("mm", "in"),
            "free length": ("mm", "in"), "installed height": ("mm", "in"), "squareness": ("mm", "in", "deg"),
        },
    ),
    Reader(
        "heights", TABLE_ENDINGS, "seat to retainer at each valve, for shims", "shims", _heights, alone=False,
        columns={
            "position": (), "height": ("mm", "in"), "spring": (), "shims": ("mm", "in"), "packer": ("mm", "in"),
            "keeper": ("mm", "in"), "retainer": ("mm", "in"), "retainer to seal": ("mm", "in"),
        },
    ),
    Reader(
        "lash sheet", TABLE_ENDINGS, "clearance and shim of each valve, for lash", "lash",
        _named("position", "clearance"),
        columns={"position": (), "clearance": ("mm", "in"), "shims": ("mm", "in"), "kind": ()},
    ),
    Reader(
        "shaft readings", TABLE_ENDINGS, "a dial turned through each journal", "shaft", _named("station", "reading"),
        columns={
            "station": (), "position": ("mm", "in"), "angle": ("deg",), "reading": ("um", "mm", "in", "thou"),
        },
    ),
    Reader(
        "surface trace", (*TABLE_ENDINGS, ".smd", ".x3p"), "height along a surface", "texture", _trace,
        columns={"x": ("mm", "um", "in"), "z": ("um", "nm", "mm")},
    ),
    Reader(
        "gauge study", TABLE_ENDINGS, "parts measured again by several people", "gauge",
        _named("part", "appraiser", "trial"),
        columns={"part": (), "appraiser": (), "trial": (), "reading": ("mm", "um", "in", "N", "lbf", "deg")},
    ),
    Reader(
        "adopted uncertainty", (".toml",), "a gauge study's result, kept as the uncertainty of a reading", "shaft",
        _toml("standard_uncertainty"), alone=False,
    ),
    Reader(
        "phasing sheet", (".toml",), "degree-wheel readings", "phasing",
        _wheel_sheet, spoken="degree-wheel sheet",
    ),
    Reader(
        "train", (".toml",), "rocker, lash, valve, spring and crank", "motion",
        _toml("rocker", "lash", "valve", "spring", "crank", "timing", "clearance"), alone=False,
    ),
    Reader("lift-check sheet", (".toml",), "a rule and readings at the retainer, of an event", "liftcheck", _check),
    Reader(
        "instrument card", (".toml",), "an instrument's errors on gauge blocks or weights, and when it was calibrated",
        "springs", _card, alone=False,
    ),
    Reader("spec", (".toml",), "limits and envelopes to judge by, a cam card", "lobes", _spec, alone=False),
)  # fmt: skip


def reader_of(kind: str) -> Reader | None:
    """The row of a kind; None for a name that is none."""
    return next((reader for reader in READERS if reader.name == kind), None)


def header_names(header: Iterable[str]) -> frozenset[str]:
    """Column names of a header as they are compared."""
    return frozenset(plain_name(split_header(cell)[0]) for cell in header if cell)


def at_heights(header: Iterable[str] | None) -> bool:
    """Whether a header has columns such as `force at 1.800 in [lbf]` or `46 mm`."""
    split = [split_header(cell) for cell in header or () if cell]
    return any(height_of(title) is not None and (unit is None or is_unit(unit, "force")) for title, unit in split)


def read_function(kind: str) -> Callable[..., Any]:
    """What reads a kind: called with the path, and with `columns=` where the kind takes an assignment.

    KeyError for a kind that is none.
    """
    match kind:
        case "lift table":
            from valvelab.files.lift_table import read_lift_table

            return read_lift_table
        case "spring readings":
            from valvelab.files.spring_readings import read_spring_readings

            return read_spring_readings
        case "heights":
            from valvelab.files.heights import read_heights

            return read_heights
        case "lash sheet":
            from valvelab.files.lash_sheet import read_lash

            return read_lash
        case "shaft readings":
            from valvelab.files.shaft_readings import read_shaft_readings

            return read_shaft_readings
        case "surface trace":
            from valvelab.files.surface_trace import read_surface_trace

            return read_surface_trace
        case "gauge study":
            from valvelab.files.gauge_study_file import read_gauge_study

            return read_gauge_study
        case "adopted uncertainty":
            from valvelab.files.adopted_uncertainty import read_adopted

            return read_adopted
        case "phasing sheet":
            from valvelab.files.phasing_sheet import read_phasing_sheet

            return read_phasing_sheet
        case "train":
            from valvelab.files.train_file import read_train

            return read_train
        case "lift-check sheet":
            from valvelab.files.lift_check_sheet import read_lift_check_sheet

            return read_lift_check_sheet
        case "instrument card":
            from valvelab.files.instrument_card import read_instrument_card

            return read_instrument_card
        case "spec":
            from valvelab.files.spec_file import read_spec

            return read_spec
    raise KeyError(kind)
