"""Surface texture of a trace: levelling, filtering, amplitude and spacing parameters.

Sources: ISO 21920-2:2021 (parameters, formerly ISO 4287), ISO 21920-3:2021 (setting classes), ISO 16610-21 (filter).
"""

from __future__ import annotations

from dataclasses import fields
from itertools import pairwise

import numpy as np

from valvelab.arrays import FloatArray, finite, read_only
from valvelab.camshaft.filters import gaussian_mean_line
from valvelab.camshaft.material_ratio import CoreParameters, core_parameters
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

FEWEST_PER_CUTOFF = 5.0
"""Readings in one cutoff below which the filter means nothing."""
HEIGHT_DISCRIMINATION = 0.10
"""A hill or dale counts for Rsm when it reaches this share of Rz beyond the mean line (ISO 21920-2 default)."""


@frozen
class SettingClass:
    """One row of the standard's settings: cutoffs, and the largest Ra it is meant for."""

    name: str
    cutoff_mm: float
    short_cutoff_mm: float
    largest_ra_um: float


SETTING_CLASSES = (
    SettingClass("Sc1", 0.08, 0.0025, 0.02),
    SettingClass("Sc2", 0.25, 0.0025, 0.1),
    SettingClass("Sc3", 0.8, 0.0025, 2.0),
    SettingClass("Sc4", 2.5, 0.008, 10.0),
    SettingClass("Sc5", 8.0, 0.025, float("inf")),
)
"""Cutoffs: ISO 21920-3. The Ra each class is for: the ranges of ISO 4288, kept by the newer standard."""


@frozen
class TraceSettings:
    """How a trace is filtered and evaluated; `short_cutoff_mm` None leaves the short-wave filter out."""

    cutoff_mm: float
    short_cutoff_mm: float | None
    sections: int


@frozen
class Roughness:
    """A filtered trace. Arrays of shape (n,), read-only; heights in µm.

    `levelled_um` after the least-squares line, `waviness_um` the mean line of it, `roughness_um` what is left.
    `start` and `stop` bound the evaluation length, `bounds` the sections within it (shape (sections + 1,)).
    """

    x_mm: FloatArray
    levelled_um: FloatArray
    waviness_um: FloatArray
    roughness_um: FloatArray
    spacing_mm: float
    settings: TraceSettings
    bounds: tuple[int, ...]

    @property
    def start(self) -> int:
        """First reading of the evaluation length."""
        return self.bounds[0]

    @property
    def stop(self) -> int:
        """One past the last reading of the evaluation length."""
        return self.bounds[-1]

    @property
    def evaluated_um(self) -> FloatArray:
        """Roughness over the evaluation length. Shape (evaluated,)."""
        return self.roughness_um[self.start : self.stop]


@frozen
class TextureParameters:
    """R-parameters, µm except Rsk, Rku and the two material ratios (%); None where not derivable."""

    ra_um: float
    rq_um: float
    rz_um: float
    rt_um: float
    rp_um: float
    rv_um: float
    rsk: float | None
    rku: float | None
    rsm_um: float | None
    rk_um: float | None
    rpk_um: float | None
    rvk_um: float | None
    rmrk1_pct: float | None
    rmrk2_pct: float | None


PARAMETER_NAMES = tuple(field.name for field in fields(TextureParameters))
_OF_THE_CORE = {field.name for field in fields(CoreParameters)}


def level(x_mm: FloatArray, z_um: FloatArray) -> FloatArray:
    """Heights after taking out their least-squares line; µm, same shape."""
    x = x_mm - x_mm.mean()
    z = z_um - z_um.mean()
    return np.asarray(z - x * (x @ z) / (x @ x))


def filter_trace(x_mm: FloatArray, z_um: FloatArray, settings: TraceSettings) -> Roughness:
    """Levelled and filtered trace with its evaluation length, the middle `sections` × cutoff of the trace.

    x_mm: shape (n,), even; z_um: shape (n,). Refuses a trace shorter than the evaluation length asked for.
    Source: ISO 16610-21, ISO 21920-2.
    """
    x, z = finite(x_mm, "x", ndim=1), finite(z_um, "z", ndim=1)
    if x.size != z.size or x.size < 3:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS, Phrase("trace: found {size} readings, expected 3 or more", size=x.size)
        )
    spacing = float(x[-1] - x[0]) / (x.size - 1)
    bounds = _section_bounds(x.size, spacing, settings)
    levelled = level(x, z)
    primary = levelled
    if settings.short_cutoff_mm is not None:
        primary = gaussian_mean_line(levelled, spacing, settings.short_cutoff_mm)
    waviness = gaussian_mean_line(primary, spacing, settings.cutoff_mm)
    return Roughness(
        x, read_only(levelled), read_only(waviness), read_only(primary - waviness), spacing, settings, bounds
    )


def _section_bounds(count: int, spacing: float, settings: TraceSettings) -> tuple[int, ...]:
    """Index bounds of the sections, centred in the trace; every reading stands for one spacing."""
    if settings.sections < 1:
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE, Phrase("sections: found {sections}, expected 1 or more", sections=settings.sections)
        )
    per_section = settings.cutoff_mm / spacing
    if per_section < FEWEST_PER_CUTOFF:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase(
                "cutoff {cutoff} mm: found {per_section} readings in it, expected 5 or more",
                cutoff=f"{settings.cutoff_mm:g}",
                per_section=f"{per_section:.1f}",
            ),
        )
    needed = settings.sections * per_section
    if needed > count + 1e-6 * count:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase(
                "trace: found {spacing} mm, expected {sections} × {cutoff} mm or more",
                spacing=f"{count * spacing:.4g}",
                sections=settings.sections,
                cutoff=f"{settings.cutoff_mm:g}",
            ),
        )
    first = max(0.0, 0.5 * (count - needed))
    return tuple(min(count, round(first + k * per_section)) for k in range(settings.sections + 1))


def whole_sections(count: int, spacing_mm: float, cutoff_mm: float) -> int:
    """How many whole cutoffs a trace of `count` readings holds (each reading stands for one spacing)."""
    return int((count * spacing_mm) / cutoff_mm * (1.0 + 1e-6))


def amplitude(z_um: FloatArray) -> tuple[float, float, float | None, float | None]:
    """Ra, Rq, Rsk, Rku over the heights given (from their mean line at 0); skewness and kurtosis None when flat.

    `z_um`: shape (n,); Ra and Rq in µm, the others without unit.
    """
    z = finite(z_um, "roughness", ndim=1)
    ra, rq = float(np.abs(z).mean()), float(np.sqrt(np.square(z).mean()))
    if rq == 0.0:
        return ra, rq, None, None
    return ra, rq, float((z**3).mean()) / rq**3, float((z**4).mean()) / rq**4


def section_heights(z_um: FloatArray, bounds: tuple[int, ...]) -> FloatArray:
    """Largest peak and deepest valley of each section; shape (sections, 2), both as positive heights in µm."""
    pairs = [(z_um[a:b].max(), -z_um[a:b].min()) for a, b in pairwise(bounds)]
    return np.asarray(pairs, dtype=np.float64)


def mean_element_width(z_um: FloatArray, spacing_mm: float, discrimination_um: float) -> float | None:
    """Mean width of the profile elements (Rsm), µm; None with fewer than one whole element.

    A hill or dale counts when it reaches `discrimination_um` beyond the mean line. An element runs from one upward
    crossing of the mean line, last before its hill, to the next; and likewise downward; the mean of both is taken.
    Source: ISO 21920-2, crossing-the-line segmentation. `z_um`: shape (n,).
    """
    z = finite(z_um, "roughness", ndim=1)
    side = np.where(z > discrimination_um, 1, np.where(z < -discrimination_um, -1, 0))
    marked = np.flatnonzero(side)
    if marked.size == 0:
        return None
    change = np.flatnonzero(np.diff(side[marked]))
    crossings = np.asarray([_crossing(z, int(marked[k]), int(marked[k + 1])) for k in change])
    widths = crossings[2:] - crossings[:-2]
    return float(widths.mean()) * spacing_mm * 1000.0 if widths.size else None


def _crossing(z: FloatArray, before: int, after: int) -> float:
    """Where the mean line is crossed for the last time between two readings on either side of it, in readings."""
    stretch = z[before : after + 1]
    rising = stretch[-1] > 0.0
    beyond = stretch > 0.0 if rising else stretch < 0.0
    last = int(np.flatnonzero(~beyond)[-1])
    low, high = stretch[last], stretch[last + 1]
    return before + last + float(low / (low - high))


def parameters(z_um: FloatArray, bounds: tuple[int, ...], spacing_mm: float) -> TextureParameters:
    """All R-parameters of a roughness profile.

    z_um: shape (n,), heights from the mean line; `bounds`: indices of the sections, evaluation length from the first
    to the last. Rp, Rv, Rz are means over the sections; the others run over the evaluation length.
    Source: ISO 21920-2:2021.
    """
    heights = section_heights(z_um, bounds)
    evaluated = z_um[bounds[0] : bounds[-1]]
    ra, rq, rsk, rku = amplitude(evaluated)
    rp, rv = float(heights[:, 0].mean()), float(heights[:, 1].mean())
    core = core_parameters(evaluated)
    return TextureParameters(
        ra_um=ra,
        rq_um=rq,
        rz_um=rp + rv,
        rt_um=float(evaluated.max() - evaluated.min()),
        rp_um=rp,
        rv_um=rv,
        rsk=rsk,
        rku=rku,
        rsm_um=mean_element_width(evaluated, spacing_mm, HEIGHT_DISCRIMINATION * (rp + rv)) if rq > 0.0 else None,
        **{name: getattr(core, name, None) for name in PARAMETER_NAMES if name in _OF_THE_CORE},
    )


def sampling_uncertainty(z_um: FloatArray, bounds: tuple[int, ...], spacing_mm: float) -> dict[str, float | None]:
    """Standard uncertainty of every parameter from how the sections differ; None with one section only.

    Each section is left out in turn (jackknife); for a mean over sections this is their standard deviation over √n.
    `z_um`: shape (n,).
    """
    sections = len(bounds) - 1
    if sections < 2:
        return dict.fromkeys(PARAMETER_NAMES)
    pieces = [z_um[a:b] for a, b in pairwise(bounds)]
    partial = []
    for left_out in range(sections):
        kept = [piece for k, piece in enumerate(pieces) if k != left_out]
        ends = np.concatenate([[0], np.cumsum([piece.size for piece in kept])])
        partial.append(parameters(np.concatenate(kept), tuple(int(end) for end in ends), spacing_mm))
    return {name: _jackknife([getattr(part, name) for part in partial]) for name in PARAMETER_NAMES}


def _jackknife(values: list[float | None]) -> float | None:
    known = np.asarray([value for value in values if value is not None], dtype=np.float64)
    if known.size != len(values):
        return None
    count = known.size
    return float(np.sqrt((count - 1) / count * np.square(known - known.mean()).sum()))


def class_for_ra(ra_um: float) -> SettingClass:
    """The setting class meant for a surface of this Ra."""
    return next(row for row in SETTING_CLASSES if ra_um <= row.largest_ra_um)


def default_class(x_mm: FloatArray, z_um: FloatArray) -> SettingClass:
    """Setting class for a trace of unknown roughness: the finest whose own Ra range covers what it measures.

    Refuses a trace that can't hold the cutoff of that class once. Source: procedure of ISO 4288 (estimate, measure,
    step until the measured value fits the class). `x_mm`, `z_um`: shape (n,).
    """
    spacing = float(x_mm[-1] - x_mm[0]) / (x_mm.size - 1)
    for row in SETTING_CLASSES:
        if row.cutoff_mm < FEWEST_PER_CUTOFF * spacing:
            continue
        sections = min(5, whole_sections(x_mm.size, spacing, row.cutoff_mm))
        if sections < 1:
            raise CannotEvaluate(
                Reason.TOO_FEW_READINGS,
                Phrase(
                    "trace: found {spacing} mm, expected at least one cutoff of {cutoff} mm, which class "
                    "{name} asks for (a shorter one has to be asked for)",
                    spacing=f"{x_mm.size * spacing:.3g}",
                    cutoff=f"{row.cutoff_mm:g}",
                    name=row.name,
                ),
            )
        rough = filter_trace(x_mm, z_um, TraceSettings(row.cutoff_mm, None, sections))
        if amplitude(rough.evaluated_um)[0] <= row.largest_ra_um:
            return row
    raise CannotEvaluate(
        Reason.TOO_FEW_READINGS,
        Phrase("trace: found readings {spacing} mm apart, too coarse for any setting class", spacing=f"{spacing:.3g}"),
    )
