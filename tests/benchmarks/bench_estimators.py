"""Which estimator for a lobe: the spline used, a Fourier smoother, or a local polynomial.

Run `python tests/benchmarks/bench_estimators.py`. Lobes from published laws, with ramps, 8 mm high, noise of 1 µm at
0.5 cam deg; white, or correlated from reading to reading (0.6). Each law is read a number of times; printed is the
median size of the error in lift (µm), in duration at 1.27 mm (crank deg), in peak velocity and acceleration (%), and
the time as a ratio to the spline's.

Fourier: harmonics damped by 1/(1 + (k/K)⁸), K by generalised cross-validation over all lobes. Local polynomial: quartic
over a window (Savitzky & Golay), its width by the best acceleration seen against the truth, which no user could know.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import savgol_filter

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from lobe_samples import SMOOTH, STEPPING, correlated, crossing, design, fit, turn
from motion_laws import LobeDesign

from valvelab.lobe.characteristics import LobeCharacteristics

Floats = NDArray[np.float64]
Errors = NDArray[np.float64]
READINGS, REPEATS, NOISE_MM = 720, 60, 1e-3
ANGLE = turn(READINGS)
DENSE = np.arange(0.0, 360.0, 0.02)
WINDOWS = (11, 15, 21, 27, 35, 45)


def by_spline(lobe: LobeDesign, lifts: Floats) -> Errors:
    found = LobeCharacteristics(fit(ANGLE, *lifts))
    row = found.events(1.27)
    return _errors(
        lobe,
        found.max_lift().value,
        row.duration.value,
        [found.extreme(order, sign)[0].value for order in (1, 2) for sign in (1.0, -1.0)],
    )


def _errors(lobe: LobeDesign, lift: Floats, duration_cam_deg: Floats, extremes: list[Floats]) -> Errors:
    exact = crossing(lobe, 1.27, 1) - crossing(lobe, 1.27, -1)
    peaks = [sign * (sign * lobe.value(DENSE, order)).max() for order in (1, 2) for sign in (1.0, -1.0)]
    off = [np.abs(found / peak - 1.0) * 100.0 for found, peak in zip(extremes, peaks, strict=True)]
    return np.array([
        np.median(np.abs(lift - lobe.lift)) * 1e3,
        np.median(np.abs(2.0 * (duration_cam_deg - exact))),
        np.median(off[:2]),
        np.median(off[2:]),
    ])  # fmt: skip


def _from_curves(lobe: LobeDesign, curves: list[Floats]) -> Errors:
    """Errors from lift, velocity, acceleration sampled at the readings; crossings on straight lines between them."""
    lift, velocity, acceleration = curves
    durations = []
    for row in lift:
        row = row - np.median(row[np.abs(np.mod(ANGLE - lobe.centre + 180.0, 360.0) - 180.0) > 100.0])  # noqa: PLW2901
        above = np.flatnonzero(row >= 1.27)
        first, last = above[0], above[-1]
        opens = ANGLE[first] - (row[first] - 1.27) / (row[first] - row[first - 1]) * 0.5
        closes = ANGLE[last] + (row[last] - 1.27) / (row[last] - row[last + 1]) * 0.5
        durations.append(closes - opens)
    extremes = [curve.max(axis=1) if up else curve.min(axis=1) for curve in (velocity, acceleration) for up in (1, 0)]
    return _errors(lobe, lift.max(axis=1), np.array(durations), extremes)


def by_fourier(lobe: LobeDesign, lifts: Floats) -> Errors:
    transform = np.fft.rfft(lifts, axis=1)
    harmonic = np.arange(READINGS // 2 + 1)
    power = np.abs(transform) ** 2

    def cross_validation(cut: float) -> float:
        damping = 1.0 - 1.0 / (1.0 + (harmonic / cut) ** 8)
        return float((power * damping**2).sum() / (damping.sum() ** 2))

    cuts = np.geomspace(5.0, 300.0, 120)
    cut = cuts[int(np.argmin([cross_validation(cut) for cut in cuts]))]
    gain = 1.0 / (1.0 + (harmonic / cut) ** 8)
    curves = [
        np.fft.irfft(transform * gain * (1j * harmonic * np.pi / 180.0) ** order, READINGS, axis=1)
        for order in range(3)
    ]
    return _from_curves(lobe, curves)


def by_local_polynomial(lobe: LobeDesign, lifts: Floats) -> Errors:
    best: Errors | None = None
    for window in WINDOWS:
        curves = [
            savgol_filter(lifts, window, 4, deriv=order, delta=360.0 / READINGS, mode="wrap", axis=1)
            for order in range(3)
        ]
        found = _from_curves(lobe, curves)
        if best is None or found[3] < best[3]:
            best = found
    assert best is not None
    return best


ESTIMATORS: dict[str, Callable[[LobeDesign, Floats], Errors]] = {
    "spline": by_spline,
    "Fourier": by_fourier,
    "local polynomial": by_local_polynomial,
}


def main() -> None:
    header = ("lift µm", 9), ("dur °", 9), ("vel %", 8), ("acc %", 8), ("time", 8)
    print(f"{'law':20s}{'noise':>12s}  {'estimator':18s}" + "".join(f"{text:>{width}s}" for text, width in header))
    for lag in (0.0, 0.6):
        for name in (*SMOOTH, *STEPPING):
            lobe = design(name)
            lifts = lobe.value(ANGLE) + correlated(np.random.default_rng(3), (REPEATS, READINGS), lag, NOISE_MM)
            base = 0.0
            for label, estimate in ESTIMATORS.items():
                start = time.perf_counter()
                lift, duration, velocity, acceleration = estimate(lobe, lifts)
                spent = time.perf_counter() - start
                base = base or spent
                kind = "white" if lag == 0.0 else f"lag {lag:g}"
                print(
                    f"{name:20s}{kind:>12s}  {label:18s}{lift:9.3f}{duration:9.4f}{velocity:8.3f}{acceleration:8.2f}"
                    f"{spent / base:8.2f}"
                )


if __name__ == "__main__":
    main()
