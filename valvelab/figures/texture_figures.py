"""What the texture plots show: the levelled trace with its mean line, the roughness, the material ratio curve."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.camshaft.material_ratio import core_parameters, material_ratio_curve
from valvelab.figures.description import Axis, Curve, Figure, Guide

if TYPE_CHECKING:
    from valvelab.inspection.inspect_texture import TextureInspection

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


def trace_figure(inspection: TextureInspection) -> Figure:
    """The levelled trace with the filter's mean line, over the whole length."""
    rough = inspection.rough
    return Figure(
        "trace",
        "Levelled trace and its mean line",
        Axis("Along the surface", "mm"),
        Axis("Height", "um"),
        (
            Curve(*thinned(rough.x_mm, rough.levelled_um), "measured", "trace"),
            Curve(*thinned(rough.x_mm, rough.waviness_um), "fit", f"mean line, {rough.settings.cutoff_mm:g} mm"),
        ),
    )


def roughness_figure(inspection: TextureInspection) -> Figure:
    """The roughness over the evaluation length, its sections marked."""
    rough = inspection.rough
    inside = slice(rough.start, rough.stop)
    edges = [rough.x_mm[min(bound, rough.x_mm.size - 1)] for bound in rough.bounds]
    return Figure(
        "roughness",
        f"Roughness, {rough.settings.sections} sections of {rough.settings.cutoff_mm:g} mm",
        Axis("Along the surface", "mm"),
        Axis("Height from the mean line", "um"),
        (Curve(*thinned(rough.x_mm[inside], rough.roughness_um[inside]), "measured", "roughness"),),
        guides=tuple(Guide(float(edge), "x") for edge in edges),
    )


def material_ratio_figure(inspection: TextureInspection) -> Figure:
    """Height over material ratio, the flattest secant over 40 % drawn out, and where the core begins and ends."""
    heights = inspection.rough.evaluated_um
    core = core_parameters(heights)
    ratio, height = material_ratio_curve(heights)
    curves = [Curve(*thinned(ratio, height), "measured", "material ratio")]
    guides: tuple[Guide, ...] = ()
    if core is not None:
        ends = np.asarray([core.upper_um, core.lower_um])
        curves.append(Curve(np.asarray([0.0, 100.0]), ends, "fit", f"Rk {core.rk_um:.3f} µm"))
        guides = (
            Guide(core.upper_um, "y", label=f"Rpk {core.rpk_um:.3f} µm above"),
            Guide(core.lower_um, "y", label=f"Rvk {core.rvk_um:.3f} µm below"),
            Guide(core.rmrk1_pct, "x", label=f"{core.rmrk1_pct:.1f} %"),
            Guide(core.rmrk2_pct, "x", label=f"{core.rmrk2_pct:.1f} %"),
        )
    return Figure(
        "material_ratio",
        "Material ratio",
        Axis("Material ratio", "%", (0.0, 100.0)),
        Axis("Height from the mean line", "um"),
        tuple(curves),
        guides=guides,
    )
