"""What the gauge study plots show: means and ranges by part and appraiser, with their control limits."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.conformity.gauge_study import range_constants
from valvelab.figures.description import Axis, Curve, Figure, Guide, Marks

if TYPE_CHECKING:
    from valvelab.inspection.inspect_gauge import GaugeInspection


def _by_appraiser(inspection: GaugeInspection, values: FloatArray) -> tuple[tuple[Curve, ...], tuple[Marks, ...]]:
    """A line an appraiser over the parts. values: shape (parts, appraisers)."""
    readings = inspection.question.readings
    x = np.arange(1.0, values.shape[0] + 1.0)
    curves = [Curve(x, values[:, k], "series", name, k) for k, name in enumerate(readings.appraisers)]
    marks = [Marks(x, values[:, k], "series", series=k) for k in range(len(readings.appraisers))]
    return tuple(curves), tuple(marks)


def means_figure(inspection: GaugeInspection) -> Figure:
    """Mean reading of each part by each appraiser; most should lie outside the gauge's limits.

    Limits: grand mean ± 3 R̄/(d2 √trials), the usual chart of averages.
    """
    readings = inspection.question.readings
    y = readings.readings
    curves, marks = _by_appraiser(inspection, y.mean(axis=2))
    mean, spread = float(y.mean()), float(np.ptp(y, axis=2).mean())
    reach = 3.0 * spread / (range_constants(y.shape[2])[0] * math.sqrt(y.shape[2]))
    return Figure(
        "gauge_means",
        "Means by part",
        Axis("Part, in order", ""),
        Axis("Mean reading", readings.unit),
        curves,
        marks=marks,
        guides=(Guide(mean - reach, "y", label="lower limit"), Guide(mean + reach, "y", label="upper limit")),
    )


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
    return Figure(
        "gauge_ranges",
        "Ranges of the trials",
        Axis("Part, in order", ""),
        Axis("Range", readings.unit, (0.0, 1.1 * max(float(ranges.max()), highest, 1e-12))),
        curves,
        marks=marks,
        guides=(
            Guide(average, "y", label="mean range"),
            Guide(highest, "y", label="upper limit"),
        ),
    )


def components_figure(inspection: GaugeInspection) -> Figure:
    """Share of the total variation, %: GRR, repeatability, reproducibility, part; both methods side by side."""
    result = inspection.result
    names = ("GRR", "repeatability", "reproducibility", "part")
    keys = ("grr_percent", "repeatability_percent", "reproducibility_percent", "part_percent")
    curves: list[Curve] = []
    marks: list[Marks] = []
    for series, (label, found) in enumerate((("analysis of variance", result.anova), ("ranges", result.ranges))):
        heights = np.asarray([np.nan if getattr(found, key) is None else getattr(found, key) for key in keys])
        x = np.arange(1.0, 5.0) + (series - 0.5) * 0.2
        stems = np.column_stack([np.zeros(4), heights, np.full(4, np.nan)]).ravel()
        curves.append(Curve(np.repeat(x, 3), stems, "series", label, series))
        marks.append(Marks(x, heights, "series", texts=names if series == 0 else (), series=series))
    return Figure(
        "gauge_components",
        "Where the variation comes from",
        Axis("Component", "", (0.5, 4.5)),
        Axis("Share of the total", "%", (0.0, 110.0)),
        tuple(curves),
        marks=tuple(marks),
    )
