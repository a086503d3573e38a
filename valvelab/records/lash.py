"""Lash at buckets: clearances as read from a sheet, and the shims that set them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import ClassVar, Literal

from valvelab.frozen import frozen
from valvelab.records.result import Kind, Note, Record, Result, Source
from valvelab.records.spring_readings import StockSize


@frozen
class LashBand:
    """The lash wanted and how far it may be off either way; mm."""

    wanted_mm: float
    band_mm: float


@frozen
class LashReading:
    """One valve: its clearance as measured and the shim that was in it; mm."""

    valve: str
    kind: Kind | None
    clearance_mm: float
    shim_mm: float
    wanted: LashBand


@frozen
class LashTable:
    """A lash sheet. shelf: shims at hand beside those in the head; sold: sizes that can be bought; both may be empty.

    feeler_u_mm, micrometer_u_mm: standard uncertainties, None where not stated. least_chance: the chance of being in
    the band from which a valve counts as in it; None for in it by its value.
    """

    file: str
    source: Source
    valves: tuple[LashReading, ...]
    shelf: tuple[StockSize, ...] = ()
    sold_mm: tuple[float, ...] = ()
    feeler_u_mm: float | None = None
    micrometer_u_mm: float | None = None
    least_chance: float | None = None
    remarks: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()


Origin = Literal["stays", "head", "shelf", "bought"]


class LashValve(Record):
    """What goes into one valve and what that gives.

    wanted_shim_mm: the one that gives the lash wanted. from_valve: whose shim it was, where it comes from the head.
    chance_in_band: None where no uncertainty is known.
    """

    valve: str
    kind: Kind | None
    clearance_mm: float
    fitted_shim_mm: float
    wanted_lash_mm: float
    lower_mm: float
    upper_mm: float
    wanted_shim_mm: float
    shim_mm: float
    origin: Origin
    from_valve: str | None
    lash_mm: float
    in_band: bool
    chance_in_band: float | None
    uncertainty: dict[str, float | None]


class LashPurchase(Record):
    """Shims of one size to buy."""

    size_mm: float
    count: int


class LashResult(Result):
    """The document of `valvelab lash`. spare_mm: shims out of the head that go onto the shelf."""

    ITEMS: ClassVar[tuple[str, ...]] = ("valves",)

    command: Literal["lash"] = "lash"
    valves: tuple[LashValve, ...]
    purchases: tuple[LashPurchase, ...]
    spare_mm: tuple[float, ...]
