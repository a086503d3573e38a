"""Spring readings as read from a file, canonical, before anything is computed from them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import field
from datetime import date
from typing import Literal

from valvelab.arrays import FloatArray
from valvelab.frozen import frozen
from valvelab.records.measurement import NO_DOUBTS, Doubts
from valvelab.records.result import Note, Source
from valvelab.springs.shims import Stack

_ISO_DATE = re.compile(r"(\d{4}-\d{2}-\d{2})(?:T00:00:00)?")


def iso_date(text: str) -> str | None:
    """The date that a text states; None for anything but year-month-day. A workbook's dates have a time of day."""
    match = _ISO_DATE.fullmatch(text.strip())
    if match is None:
        return None
    try:
        return date.fromisoformat(match.group(1)).isoformat()
    except ValueError:
        return None


@frozen
class Stroke:
    """Readings of one stroke in the order taken: heights in mm and forces in N, (n,) each."""

    height_mm: FloatArray
    force_n: FloatArray


@frozen
class ElementReadings:
    """One spring of a nest, or the only one (`element` is then ""); its height = height at the valve + offset.

    solid_height_mm, free_length_mm: this spring's own, where the table states them spring by spring.
    """

    element: str
    compress: Stroke
    release: Stroke | None = None
    offset_mm: float = 0.0
    solid_height_mm: float | None = None
    free_length_mm: float | None = None


@frozen
class Squareness:
    """How far the free spring's upper end stands off from square, or its uncertainty: as a length or as an angle."""

    mm: float | None
    deg: float | None


@frozen
class SpringReadings:
    """All readings of one spring in one stage; `place` says where in the file it begins.

    A spring may have been read at a single height. date: of the stage, ISO 8601. installed_height_mm: its own, where
    the table states it.
    """

    spring: str
    stage: str | None
    position: str | None
    elements: tuple[ElementReadings, ...]
    place: str = ""
    installed_height_mm: float | None = None
    date: str | None = None
    squareness: Squareness | None = None


@frozen
class CoilData:
    """Wire and coils as stated; None where nothing is."""

    wire_diameter_mm: float | None = None
    mean_coil_diameter_mm: float | None = None
    active_coils: float | None = None
    total_coils: float | None = None
    free_length_mm: float | None = None
    solid_height_mm: float | None = None
    material: str | None = None


@frozen
class SpringTable:
    """A file of spring readings and what its preamble states; None where it states nothing.

    `coil` is what is stated without naming an element, `element_coils` what names one (`inner wire diameter`).
    """

    file: str
    source: Source
    springs: tuple[SpringReadings, ...]
    installed_height_mm: float | None = None
    valve_lift_mm: float | None = None
    coil: CoilData = CoilData()
    element_coils: dict[str, CoilData] = field(default_factory=dict)
    force_uncertainty_n: float | None = None
    height_uncertainty_mm: float | None = None
    force_resolution_n: float | None = None
    height_resolution_mm: float | None = None
    uncertainty_over_force: tuple[FloatArray, FloatArray] | None = None
    """Forces ascending with the standard uncertainty that the tester's card gives each, (n,) in N."""
    calibration: str | None = None
    """The cards that forces and heights were corrected by, in one line."""
    squareness_uncertainty: Squareness | None = None
    remarks: dict[str, str] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()
    doubts: Doubts = NO_DOUBTS


@frozen
class StockSize:
    """One size of a part in stock; count None: as many as wanted."""

    size_mm: float
    count: int | None = None


BARE = Stack()
PartKind = Literal["shim", "packer", "keeper", "retainer"]
"""What comes in sizes: shims and packers under a spring, keepers and retainers that raise its top or lower it."""


@frozen
class ValvePosition:
    """One valve: seat to retainer without shims and packer, and what is fitted there now.

    spring: the one that stands there. fitted: shims and packer under it, the keepers and the retainer that the height
    was measured with. retainer_to_seal_mm: from retainer to seal, valve shut, with these.
    """

    position: str
    height_mm: float
    spring: str | None = None
    fitted: Stack = BARE
    retainer_to_seal_mm: float | None = None


@frozen
class HeightsTable:
    """Measured heights for shims, and what the preamble asks for; None where it asks nothing.

    states: what the table says of the parts that are fitted now, by its columns. Uncertainties are standard ones.
    """

    file: str
    source: Source
    positions: tuple[ValvePosition, ...]
    stock: Mapping[PartKind, tuple[StockSize, ...]] = field(default_factory=dict)
    max_shims: int = 3
    target_seat_force_n: float | None = None
    minimum_coil_bind_margin_mm: float | None = None
    minimum_retainer_to_seal_mm: float | None = None
    valve_lift_mm: float | None = None
    height_uncertainty_mm: float | None = None
    retainer_to_seal_uncertainty_mm: float | None = None
    states: frozenset[PartKind | Literal["spring"]] = frozenset()
    remarks: dict[str, str] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()

    def sizes_mm(self, kind: PartKind) -> tuple[float, ...]:
        """Sizes of a part in stock."""
        return tuple(one.size_mm for one in self.stock.get(kind, ()))
