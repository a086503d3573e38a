"""A lot against a limit: spread, indices with their interval, the measurement's share, drift."""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.conformity.capability import NORMAL_UP_TO, Index, capability, departure
from valvelab.errors import CannotEvaluate
from valvelab.frozen import frozen
from valvelab.records.batch_result import LotCharacteristic, LotDrift, LotIndex
from valvelab.springs.trend import fit_trend

FEWEST_FOR_DRIFT = 3
_TOLD = ("characteristic", "unit", "at_mm", "lower", "upper", "items", "more_items", "missing")


@frozen
class Lot:
    """What was held against one limit. values, us, days: shape (n,), in the order of the files.

    us: standard uncertainties, NaN where none is known; days: when each was measured, in days, NaN where it is not
    known. missing: how many items had no value.
    """

    characteristic: str
    unit: str
    at_mm: float | None
    lower: float | None
    upper: float | None
    items: tuple[str, ...]
    more_items: bool
    values: FloatArray
    us: FloatArray
    days: FloatArray
    missing: int

    @property
    def dated(self) -> bool:
        """Whether drift can be told over time: every value has its day, and there are several."""
        return bool(np.isfinite(self.days).all()) and np.unique(self.days).size > 1

    @property
    def places(self) -> FloatArray:
        """Where each value stands along the drift, (n,): days from the first, else its number from 1."""
        return self.days - self.days.min() if self.dated else np.arange(1.0, self.values.size + 1.0)


def inspect_lot(lot: Lot) -> LotCharacteristic:
    """What a lot is against its limit; without a value nothing but the count."""
    told = {name: getattr(lot, name) for name in _TOLD}
    y = lot.values
    if not y.size:
        return LotCharacteristic(**told, count=0, below=0, above=0, reason="nothing was measured")
    mean, deviation = float(y.mean()), float(y.std(ddof=1)) if y.size > 1 else None
    pp, ppk, reason = _indices(lot, mean, deviation or 0.0)
    return LotCharacteristic(
        **told,
        count=y.size,
        below=0 if lot.lower is None else int((y < lot.lower).sum()),
        above=0 if lot.upper is None else int((y > lot.upper).sum()),
        mean=mean,
        standard_deviation=deviation,
        least=float(y.min()),
        greatest=float(y.max()),
        pp=pp,
        ppk=ppk,
        normal=None if (form := departure(y)) is None else form <= NORMAL_UP_TO,
        reason=reason,
        measurement_share=_share(lot.us, deviation),
        drift=_drift(lot),
    )


def _indices(lot: Lot, mean: float, deviation: float) -> tuple[LotIndex | None, LotIndex | None, str | None]:
    try:
        found = capability(mean, deviation, lot.values.size, lot.lower, lot.upper)
    except CannotEvaluate as error:
        return None, None, str(error)
    return _index(found.pp), _index(found.ppk), None


def _index(found: Index | None) -> LotIndex | None:
    return None if found is None else LotIndex(value=found.value, least=found.least, most=found.most)


def _share(us: FloatArray, deviation: float | None) -> float | None:
    """Share of the variance seen that stated uncertainties make, at most 1; None where one is unknown."""
    if not deviation or not np.isfinite(us).all():
        return None
    return min(1.0, float(np.mean(us**2)) / deviation**2)


def _drift(lot: Lot) -> LotDrift | None:
    if lot.values.size < FEWEST_FOR_DRIFT or not np.ptp(lot.values) > 0.0:
        return None
    x = lot.places
    trend = fit_trend(x, lot.values, None)
    span = float(np.ptp(x))
    return LotDrift(
        over="date" if lot.dated else "order of files",
        slope=trend.slope,
        standard_uncertainty=trend.slope_u,
        change=trend.slope * span,
        change_standard_uncertainty=trend.slope_u * span,
        significant=trend.significant(),
    )
