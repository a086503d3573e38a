"""What the texture plots show: the levelled trace with its mean line, the roughness, the material ratio curve."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.camshaft.material_ratio import SECANT_SHARE, CoreParameters, core_parameters, material_ratio_curve
from valvelab.decimals import told
from valvelab.figures.description import Axis, Band, Curve, Figure, Guide, Marks, block, ends_of
from valvelab.inspection.form.characteristics import TRACE
from valvelab.phrase import Phrase, listed
from valvelab.units import System, as_stated

if TYPE_CHECKING:
    from valvelab.inspection.form.texture import TextureInspection

MOST_POINTS = 6000
"""Longer traces are drawn by the highest and lowest reading of each stretch, so no peak is lost."""


def thinned(x: FloatArray, y: FloatArray, most: int = MOST_POINTS) -> tuple[FloatArray, FloatArray]:
    """A curve of at most about `most` points that keeps the extremes of every stretch; shapes alike."""
    if x.size <= most:
        return x, y
    starts = np.linspace(0, x.size, most // 2 + 1).astype(np.int64)
    low = np.asarray([a + int(np.argmin(y[a:b])) for a, b in pairwise(starts)])
    high = np.asarray([a + int(np.argmax(y[a:b])) for a, b in pairwise(starts)])
    kept = np.unique(np.concatenate([[0], low, high, [x.size - 1]]))
    return x[kept], y[kept]


def trace_figure(inspection: TextureInspection, system: System = "metric") -> Figure:
    """The levelled trace with the filter's mean line, over the whole length."""
    rough = inspection.rough
    curves = (
        Curve(*thinned(rough.x_mm, rough.levelled_um), "series", "trace"),
        Curve(
            *thinned(rough.x_mm, rough.waviness_um),
            "series",
            Phrase("mean line, {cutoff}", cutoff=_cutoff(inspection, system)),
            1,
        ),
    )
    return Figure("trace", "Levelled trace and its mean line", _along(rough.x_mm), Axis("Height", "um"), curves)


def _cutoff(inspection: TextureInspection, system: System) -> str:
    return as_stated(inspection.rough.settings.cutoff_mm, "mm", system)


def _along(x_mm: FloatArray) -> Axis:
    """One axis over the whole trace, so that trace and roughness stand above one another."""
    return Axis("Along the surface", "mm", ends_of(x_mm))


def roughness_figure(inspection: TextureInspection, system: System = "metric") -> Figure:
    """The roughness over the evaluation length, its sections marked."""
    rough = inspection.rough
    inside = slice(rough.start, rough.stop)
    edges = [rough.x_mm[min(bound, rough.x_mm.size - 1)] for bound in rough.bounds]
    return Figure(
        "roughness",
        Phrase(
            "Roughness, {count} sections of {cutoff}",
            count=str(rough.settings.sections),
            cutoff=_cutoff(inspection, system),
        ),
        _along(rough.x_mm),
        Axis("Height from the mean line", "um"),
        (Curve(*thinned(rough.x_mm[inside], rough.roughness_um[inside]), "series"),),
        guides=tuple(Guide(float(edge), "x") for edge in edges),
    )


def material_ratio_figure(inspection: TextureInspection, system: System = "metric") -> Figure:
    """Height over material ratio with the line through its flattest 40 %, drawn out to where the core begins and ends.

    The peaks above the core and the valleys below it stand as the triangles of equal area that give Rpk and Rvk.
    """
    heights = inspection.rough.evaluated_um
    core = core_parameters(heights)
    ratio, height = material_ratio_curve(heights)
    curves = [Curve(*thinned(ratio, height), "measured")]
    axes = Axis("Material ratio", "%", (0.0, 100.0)), Axis("Height from the mean line", "um")
    if core is None:
        return Figure("material_ratio", "Material ratio", *axes, tuple(curves))
    ends = np.asarray([core.upper_um, core.lower_um])
    begin = core.flattest_pct
    span = np.asarray([begin, begin + 100.0 * SECANT_SHARE])
    on_line = core.upper_um + (core.lower_um - core.upper_um) * span / 100.0
    curves.append(Curve(np.asarray([0.0, 100.0]), ends, "guide"))
    curves.append(Curve(span, on_line, "series", "line through the flattest 40 %", series=6))
    return Figure(
        "material_ratio",
        "Material ratio",
        *axes,
        tuple(curves),
        _zones(core),
        (
            Marks(span, on_line, "series", series=6),
            _names(core, inspection, height, system),
        ),
        (Guide(core.upper_um, "y"), Guide(core.lower_um, "y"), Guide(core.rmrk1_pct, "x"), Guide(core.rmrk2_pct, "x")),
    )


def _zones(core: CoreParameters) -> tuple[Band, ...]:
    """Peaks, core and valleys."""
    upper, lower = np.full(2, core.upper_um), np.full(2, core.lower_um)
    first, last = np.asarray([0.0, core.rmrk1_pct]), np.asarray([core.rmrk2_pct, 100.0])
    peaks = Band(first, upper, upper + np.asarray([core.rpk_um, 0.0]), "series", series=1)
    valleys = Band(last, lower - np.asarray([0.0, core.rvk_um]), lower, "series", series=3)
    return peaks, block((0.0, 100.0), (core.lower_um, core.upper_um), "guide"), valleys


def _names(core: CoreParameters, inspection: TextureInspection, height_um: FloatArray, system: System) -> Marks:
    """The core parameters written where they are."""
    by_head = {row.head: row for row in TRACE}

    def named(name: str, value: float) -> str:
        row = by_head[name]
        return listed((name, told(value, row.unit, system, inspection.result.uncertainty.get(row.key))), " ")

    bottom, room = float(height_um[-1]), 0.045 * float(np.ptp(height_um))
    rows = (
        (core.rmrk1_pct + 20.0, core.upper_um + room, named("Rpk", core.rpk_um)),
        (core.rmrk1_pct + 20.0, core.lower_um + 0.25 * core.rk_um, named("Rk", core.rk_um)),
        (min(core.rmrk2_pct, 78.0) - 18.0, core.lower_um - 3.0 * room, named("Rvk", core.rvk_um)),
        (core.rmrk1_pct + 17.0, bottom + room, named("Rmrk1", core.rmrk1_pct)),
        (min(core.rmrk2_pct, 78.0) - 18.0, core.lower_um - room, named("Rmrk2", core.rmrk2_pct)),
    )
    places = np.asarray([(x, y) for x, y, _ in rows])
    return Marks(places[:, 0], places[:, 1], "nominal", texts=tuple(text for *_, text in rows), bare=True)
