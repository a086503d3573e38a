"""Everything about one journal trace in one value: runout, eccentricity, harmonics, the four reference circles.

Sources: ISO 12181-1 and -2 (roundness), ISO 1101 (runout).
"""

from __future__ import annotations

import math

import numpy as np

from valvelab.arrays import FloatArray, read_only, rectangular_sd
from valvelab.camshaft.filters import transmission
from valvelab.camshaft.roundness import (
    FEWEST_FOR_ROUNDNESS,
    Circle,
    Coverage,
    Harmonics,
    JournalTrace,
    ReferenceCircle,
    arc_weights,
    harmonics,
    reference_circle,
    require_turn,
)
from valvelab.frozen import frozen

CIRCLES: tuple[Circle, ...] = ("least squares", "minimum zone", "inscribed", "circumscribed")

LARGEST_FREEDOM = 0.1
"""Share of the roundness by which a sliding circle may change it and still be worth a figure."""


@frozen
class JournalForm:
    """One evaluated journal. `form_mm`: the readings the circles went through (filtered where undulations are limited).

    `circles` holds the least-squares circle always, the others where there are enough angles for a roundness;
    `radius_mm` is the journal's, where stated.
    """

    trace: JournalTrace
    coverage: Coverage
    tir_mm: float
    form_mm: FloatArray
    circles: dict[Circle, ReferenceCircle]
    harmonics: Harmonics
    undulations: int | None
    radius_mm: float | None

    @property
    def sliding(self) -> tuple[Circle, ...]:
        """Circles free to slide between two opposite readings by more than a tenth of their roundness."""
        return tuple(kind for kind, row in self.circles.items() if row.freedom_mm > LARGEST_FREEDOM * row.roundness_mm)

    @property
    def least_squares(self) -> ReferenceCircle:
        """The circle that gives the eccentricity."""
        return self.circles["least squares"]

    @property
    def has_roundness(self) -> bool:
        """Whether there are enough angles to speak of roundness."""
        return self.coverage.distinct >= FEWEST_FOR_ROUNDNESS


@frozen
class JournalUncertainty:
    """Standard uncertainties; each None where neither noise nor probe is known."""

    tir_mm: float | None
    centre_mm: float | None
    angle_deg: float | None
    roundness_mm: dict[Circle, float | None]


def evaluate_journal(
    trace: JournalTrace, radius_mm: float | None = None, undulations: int | None = None
) -> JournalForm:
    """Evaluate one trace; refuses one that leaves too much of the turn unread.

    `undulations`: the Gaussian cutoff in undulations per turn for the form (ISO 12181-2); None leaves it as read.
    """
    seen = require_turn(trace)
    found = harmonics(trace.angle_deg, trace.reading_mm)
    form = trace.reading_mm
    if undulations is not None:
        form = _filtered(trace, found, undulations)
    kinds = CIRCLES if seen.distinct >= FEWEST_FOR_ROUNDNESS else CIRCLES[:1]
    circles = {kind: reference_circle(trace.angle_deg, form, kind, radius_mm) for kind in kinds}
    return JournalForm(trace, seen, float(np.ptp(trace.reading_mm)), form, circles, found, undulations, radius_mm)


def _filtered(trace: JournalTrace, found: Harmonics, undulations: int) -> FloatArray:
    """The harmonics resolved, each with the share a Gaussian filter passes."""
    mean = float(np.average(trace.reading_mm, weights=arc_weights(trace.angle_deg)))
    values = np.full(trace.reading_mm.shape, mean)
    for row in found.orders:
        share = float(transmission(row.order / undulations))
        values += share * row.amplitude_mm * np.cos(row.order * np.radians(trace.angle_deg - row.angle_deg))
    return read_only(values)


def journal_uncertainty(form: JournalForm, probe_mm: float | None) -> JournalUncertainty:
    """Propagate reading noise (seen) and the probe's standard uncertainty (stated).

    Noise is independent from reading to reading and enters by each figure's own sensitivities. The probe's uncertainty
    is of one reading and does not average out over a turn: a difference of two readings takes it √2 times, a centre
    coordinate, half such a difference, 1/√2 times. A circle that can slide between two opposite readings adds the
    change of its roundness over the slide, rectangular. Source: JCGM 100.
    """
    noise = form.harmonics.noise_mm
    if noise is None and probe_mm is None:
        return JournalUncertainty(None, None, None, dict.fromkeys(form.circles))
    seen, stated = noise or 0.0, probe_mm or 0.0
    arcs = arc_weights(form.trace.angle_deg)
    worth = float(arcs.sum() ** 2 / np.square(arcs).sum())
    centre = math.hypot(seen * math.sqrt(2.0 / worth), stated / math.sqrt(2.0))
    eccentricity = form.least_squares.eccentricity_mm
    roundness: dict[Circle, float | None] = {
        kind: math.hypot(
            seen * float(np.sqrt(np.square(circle.weights).sum())),
            math.sqrt(2.0) * stated,
            rectangular_sd(circle.freedom_mm),
        )
        for kind, circle in form.circles.items()
    }
    return JournalUncertainty(
        tir_mm=math.sqrt(2.0) * math.hypot(seen, stated),
        centre_mm=centre,
        angle_deg=math.degrees(centre / eccentricity) if eccentricity > 2.0 * centre else None,
        roundness_mm=roundness,
    )
