"""The gauge's division: the step that all readings are multiples of, and the rounding errors it leaves.

A reading rounded to a division d is off by anything up to d/2, rectangular, standard deviation d/√12 (JCGM 100:2008,
F.2.2.1). Where the lift changes by many divisions from reading to reading these errors are as good as free of each
other. Where it hardly changes (resting run, flat nose, ramp) neighbouring readings repeat one value and share one
error, which no averaging reduces.
Sources: JCGM 100:2008, F.2.2.1; Widrow & Kollár, Quantization Noise, 2008.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, coarsest_step, rectangular_sd
from valvelab.frozen import frozen
from valvelab.units import INCH_MM

#: a division, coarsest first: 0.5 mm to 0.01 µm and 0.05 in to 0.000001 in
_CANDIDATES_MM = tuple(
    sorted(
        (
            unit * digit * 10.0**power
            for unit, powers in ((1.0, range(-5, 0)), (INCH_MM, range(-6, -2)))
            for power in powers
            for digit in (5.0, 2.5, 2.0, 1.0)
        ),
        reverse=True,
    )
)
# With more scatter than this many divisions every reading's rounding error is its own.
_DITHERED = 0.6


def zero_deviation(division_mm: float) -> float:
    """Standard uncertainty counted for a table's own zero, d/√8.

    Rounded nose and rounded rest are together off by (1 − f) d with chance f, else by −f d, f the fraction of a
    division in the lift. Counting d/√12 each covers 95 % over all lobes but 80 % on the worst one; with d/√8 here the
    interval of both reaches 0.9 d, so that nine in ten hold on every lobe.
    """
    return division_mm / float(np.sqrt(8.0))


def find_division(lifts_mm: FloatArray) -> float:
    """Coarsest step that all readings are multiples of, in mm; 0 where there is none. lifts: any shape."""
    return coarsest_step(lifts_mm, _CANDIDATES_MM)


@frozen
class SharedRounding:
    """Which readings of each lobe share one rounding error.

    deviation_mm: (lobes,), of that part of an error which readings share. runs: for each lobe (n,), the number of the
    run a reading belongs to, from 0.
    """

    deviation_mm: FloatArray
    runs: tuple[NDArray[np.int64], ...]

    def covariance(self, lobe: int, weights: FloatArray) -> FloatArray:
        """What sharing adds to the covariance of functionals, (k, k) in mm², beyond free errors; weights: (k, n)."""
        runs = self.runs[lobe]
        summed = np.stack([np.bincount(runs, weights=own) for own in weights])
        return np.asarray((summed @ summed.T - weights @ weights.T) * self.deviation_mm[lobe] ** 2)


def shared_rounding(
    lifts_mm: FloatArray, division_mm: float, noise_mm: FloatArray, *, periodic: bool
) -> SharedRounding | None:
    """Runs of readings that repeat one value, lifts (lobes, n) by ascending angle; None where none matter."""
    if division_mm <= 0.0 or float(np.min(noise_mm)) > _DITHERED * division_mm:
        return None
    counted = np.round(lifts_mm / division_mm)
    new = np.concatenate([np.zeros((counted.shape[0], 1), dtype=np.bool_), np.diff(counted, axis=1) != 0.0], axis=1)
    runs = np.cumsum(new, axis=1)
    for row, run in enumerate(runs):
        if periodic and counted[row, 0] == counted[row, -1]:
            run[run == run[-1]] = 0
        if noise_mm[row] > _DITHERED * division_mm:
            run[:] = np.arange(run.size)
    # noise of σ damps what readings at one lift share by exp(−2π²σ²/d²); a quarter of the variance seen is trusted
    least = rectangular_sd(division_mm)
    trusted = 0.25 * np.maximum(noise_mm**2 - least**2, 0.0)
    return SharedRounding(least * np.exp(-2.0 * np.pi**2 * trusted / division_mm**2), tuple(runs))
