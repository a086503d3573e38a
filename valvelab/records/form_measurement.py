"""Readings of shaft form, surface and gauge studies as read from a file, canonical, before anything is computed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from valvelab.arrays import FloatArray
from valvelab.frozen import frozen
from valvelab.records.result import Note, Source

if TYPE_CHECKING:
    from valvelab.camshaft.roundness import JournalTrace


@frozen
class Vees:
    """Two vee blocks: where along the shaft they stand and their included angle."""

    positions_mm: tuple[float, float]
    angle_deg: float
    angle_stated: bool


@frozen
class ShaftReadings:
    """A probe turned around each journal; `vees` None means between centres.

    One trace a station and position, in the order of the file. The uncertainty is one reading's standard uncertainty;
    `adopted_probe` says from where, if it was adopted from a gauge study.
    """

    file: str
    source: Source
    traces: tuple[JournalTrace, ...]
    vees: Vees | None = None
    support_stated: bool = True
    probe_uncertainty_mm: float | None = None
    adopted_probe: str | None = None
    journal_radius_mm: float | None = None
    part: str | None = None
    serial: str | None = None
    operator: str | None = None
    instrument: str | None = None
    date: str | None = None
    notes: tuple[Note, ...] = ()


TraceForm = Literal["CSV", "SMD", "X3P"]


@frozen
class SurfaceTrace:
    """A surface trace on an even grid; x_mm, z_um: shape (n,), read-only.

    `scale_uncertainty` is the relative standard uncertainty of the heights; `label` names what was traced.
    """

    file: str
    source: Source
    form: TraceForm
    x_mm: FloatArray
    z_um: FloatArray
    scale_uncertainty: float | None = None
    label: str | None = None
    notes: tuple[Note, ...] = ()


@frozen
class GaugeReadings:
    """A balanced study; `readings` of shape (parts, appraisers, trials), read-only, in `unit` (canonical)."""

    file: str
    source: Source
    parts: tuple[str, ...]
    appraisers: tuple[str, ...]
    trials: tuple[str, ...]
    readings: FloatArray
    unit: str
    characteristic: str | None = None
    tolerance: str | None = None
    notes: tuple[Note, ...] = ()
