"""What the gauge study plots show: means and ranges by part and appraiser, with their control limits."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, cast

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.conformity.gauge_study import range_constants
from valvelab.decimals import figure
from valvelab.figures.description import Axis, Band, Curve, Figure, Guide, Marks, Unit, bars, block

if TYPE_CHECKING:
    from valvelab.inspection.form.gauge import GaugeInspection

_NAMED_PARTS = 30
"""With more parts than this the axis counts them instead of naming each."""


def _by_appraiser(inspection: GaugeInspection, values: FloatArray) -> tuple[tuple[Curve, ...], tuple[Marks, ...]]:
    """A line an appraiser over the parts. values: shape (parts, appraisers)."""
    readings = inspection.question.readings
    x = np.arange(1.0, values.shape[0] + 1.0)
    curves = [Curve(x, values[:, k], "series", name, k) for k, name in enumerate(readings.appraisers)]
    marks = [Marks(x, values[:, k], "series", series=k) for k in range(len(readings.appraisers))]
    return tuple(curves), tuple(marks)


def _parts_axis(inspection: GaugeInspection) -> Axis:
    parts = inspection.question.readings.parts
    names = tuple((place, name) for place, name in enumerate(parts, start=1)) if len(parts) <= _NAMED_PARTS else ()
    return Axis("Part", "", (0.5, len(parts) + 0.5), names=names)


def means_figure(inspection: GaugeInspection) -> Figure:
    """Mean reading of each part by each appraiser; most should lie outside the band the gauge's own spread makes.

    Band: grand mean ± 3 R̄/(d2 √trials), the usual chart of averages.
    """
    readings = inspection.question.readings
    y = readings.readings
    curves, marks = _by_appraiser(inspection, y.mean(axis=2))
    mean, spread = float(y.mean()), float(np.ptp(y, axis=2).mean())
    reach = 3.0 * spread / (range_constants(y.shape[2])[0] * math.sqrt(y.shape[2]))
    axis = _parts_axis(inspection)
    band = block(np.asarray(axis.range), (mean - reach, mean + reach), "guide", "gauge alone")
    up = Axis("Mean reading", cast("Unit", readings.unit))
    return Figure("gauge_means", "Means by part", axis, up, curves, (band,), marks)


def ranges_figure(inspection: GaugeInspection) -> Figure:
    """Range of the trials of each part by each appraiser; a point above the limit is a reading to look at.

    Limit: R̄ (1 + 3 d3/d2), the usual chart of ranges.
    """
    readings = inspection.question.readings
    ranges = np.ptp(readings.readings, axis=2)
    curves, marks = _by_appraiser(inspection, ranges)
    mean, deviation = range_constants(readings.readings.shape[2])
    average = float(ranges.mean())
    highest = average * (1.0 + 3.0 * deviation / mean)
    above = ranges > highest
    if above.any():
        part, _ = np.nonzero(above)
        marks = (*marks, Marks(np.asarray(part + 1.0, dtype=np.float64), ranges[above], "reject", "above the limit"))
    return Figure(
        "gauge_ranges",
        "Ranges of the trials",
        _parts_axis(inspection),
        Axis("Range", cast("Unit", readings.unit), (0.0, 1.1 * max(float(ranges.max()), highest, 1e-12))),
        curves,
        marks=marks,
        guides=(Guide(average, "y", label="mean range"), Guide(highest, "y", label="upper limit")),
    )


def components_figure(inspection: GaugeInspection) -> Figure:
    """Share of the total variation, %: GRR, repeatability, reproducibility, part; both methods side by side.

    Shares are of standard deviations: they don't add up to 100, their squares do.
    """
    result = inspection.result
    names = ("GRR", "repeatability", "reproducibility", "part")
    keys = ("grr_percent", "repeatability_percent", "reproducibility_percent", "part_percent")
    bands: list[Band] = []
    marks: list[Marks] = []
    for series, (label, found) in enumerate((("analysis of variance", result.anova), ("ranges", result.ranges))):
        known = [(place, getattr(found, key)) for place, key in enumerate(keys, start=1)]
        known = [(place, value) for place, value in known if value is not None]
        places = np.asarray([place for place, _ in known], dtype=np.float64) + (series - 0.5) * 0.36
        heights = np.asarray([value for _, value in known], dtype=np.float64)
        if known:
            bands.append(bars(places, heights, 0.32, "series", label, series))
        texts = tuple(figure(value, None, "%") for value in heights)
        marks.append(Marks(places, heights + 9.0, "nominal", texts=texts, bare=True))
    return Figure(
        "gauge_components",
        "Where the variation comes from",
        Axis("Standard deviation of", "", (0.5, 4.5), names=tuple(enumerate(names, start=1))),
        Axis("Share of the total", "%", (0.0, 122.0)),
        bands=tuple(bands),
        marks=tuple(marks),
    )
