"""Plots of a lot: how its values lie in their limits, and how they move over the lot."""

from __future__ import annotations

from math import ceil, sqrt
from typing import TYPE_CHECKING, cast

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.figures.description import Axis, Band, Curve, Figure, Guide, Marks, Unit, bars, ends_of
from valvelab.inspection.characteristics import printed
from valvelab.phrase import Phrase

if TYPE_CHECKING:
    from valvelab.inspection.lot.inspect import Lot
    from valvelab.records.batch_result import LotCharacteristic

MOST_BARS = 40
MOST_MARKS = 200
FEWEST = 3
_POINTS = 121
_BEYOND = 3.0


def distribution_figure(lot: Lot, row: LotCharacteristic) -> Figure | None:
    """How many values lie where, the normal curve of the same mean and spread, the limits; None for a few values."""
    y, s = lot.values, row.standard_deviation
    if y.size < FEWEST or not s or row.mean is None:
        return None
    counts, edges = np.histogram(y, bins=min(MOST_BARS, ceil(2.0 * sqrt(y.size))))
    width = float(edges[1] - edges[0])
    x = row.mean + s * np.linspace(-_BEYOND, _BEYOND, _POINTS)
    normal = y.size * width / (s * sqrt(2.0 * np.pi)) * np.exp(-0.5 * ((x - row.mean) / s) ** 2)
    middles = 0.5 * (edges[1:] + edges[:-1])
    return Figure(
        "distribution",
        "Distribution",
        Axis(printed(lot.characteristic, lot.unit), cast("Unit", lot.unit)),
        Axis("items", ""),
        curves=(Curve(x, normal, "fit", "normal"),),
        bands=(bars(middles, counts.astype(float), 0.9 * width, "series", "values"),),
        guides=tuple(_limits(lot, "x")),
    )


def drift_figure(lot: Lot, row: LotCharacteristic) -> Figure | None:
    """Values over their dates or in their order, a straight line where there is one, the limits.

    Many values stand as the means of as many equal runs, between the least and the greatest of each.
    """
    if lot.values.size < FEWEST:
        return None
    order = np.argsort(lot.places, kind="stable")
    x, y = lot.places[order], lot.values[order]
    curves: tuple[Curve, ...] = ()
    if row.drift is not None:
        ends = np.array(ends_of(x))
        curves = (Curve(ends, y.mean() + row.drift.slope * (ends - x.mean()), "fit", "straight line"),)
    bands: tuple[Band, ...] = ()
    marks = Marks(x, y, "measured", "values")
    if y.size > MOST_MARKS:
        starts = np.linspace(0, y.size, MOST_MARKS + 1).astype(int)[:-1]
        x, least, most = _means(x, starts), np.minimum.reduceat(y, starts), np.maximum.reduceat(y, starts)
        bands = (Band(x, least, most, "band", "least to greatest"),)
        marks = Marks(
            x, _means(y, starts), "measured", Phrase("means of {count}", count=str(round(y.size / MOST_MARKS)))
        )
    across = Axis("days since the first", "") if lot.dated else Axis("order of files", "")
    upward = Axis(printed(lot.characteristic, lot.unit), cast("Unit", lot.unit))
    guides = tuple(_limits(lot, "y"))
    return Figure("drift", "Drift", across, upward, curves, bands, (marks,), guides)


def _means(values: FloatArray, starts: np.ndarray) -> FloatArray:
    counts = np.diff(np.append(starts, values.size))
    means: FloatArray = np.add.reduceat(values, starts) / counts
    return means


def _limits(lot: Lot, along: str) -> list[Guide]:
    ends = (("lower", lot.lower), ("upper", lot.upper))
    return [Guide(value, "x" if along == "x" else "y", "reject", name) for name, value in ends if value is not None]
