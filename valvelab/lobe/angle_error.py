"""What an error of the angle scale does to a characteristic.

Where the wheel or encoder reads an angle wrong by ε(θ), lift is read as s(θ − ε), so to first order each
characteristic changes by a sum of weights × derivatives of ε at a few angles: an event by ε there, a peak velocity v by
v ε′, a peak acceleration a by 2 a ε′ + v ε″, the area by the integral of s ε′. Nobody knows the form of ε; only its
standard deviation σ at one angle is stated. Wheels and encoders err smoothly along the turn: by a shift, and by waves
of one period a turn (eccentric mounting) to three (tilt, three-jawed clamping), of any phase.
Under each of these forms the change has a variance, and the one stated is the greatest of

- that of a shift of standard deviation σ,
- the mean over waves of one, two and three periods of rms σ,
- 0.75² of that of each wave alone, whose interval then reaches 1.96 × 0.75 = 1.47 rms, past the wave's crest of 1.41.

A stretch of the scale with the same σ over the turn changes every characteristic by less than the waves do.
Sources: JCGM 101:2008, 6.4.6 (a wave of unknown phase has the arcsine distribution); JCGM 100:2008, clause 5 (to first
order). That one to three periods matter is common practice, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray

PERIODS = np.arange(4.0)
LEAST_SHARE = 0.75

#: change of a characteristic under a shift and each wave, (lobes, 4): complex amplitude for ε = exp(i k θ)
Response = NDArray[np.complex128]


def response(angle_cam_deg: FloatArray, weight: FloatArray, order: int = 0) -> Response:
    """Of weight × the order-th derivative of ε, per cam deg, at one angle of each lobe; angle, weight: (lobes,)."""
    waves = np.exp(1j * np.radians(angle_cam_deg)[:, None] * PERIODS)
    return np.asarray(weight[:, None] * waves * (1j * np.radians(PERIODS)) ** order)


def summed_response(angle_cam_deg: FloatArray, weights: FloatArray) -> Response:
    """Of Σ weights × ε at shared angles; angle: (n,), weights: (lobes, n)."""
    return np.asarray(weights @ np.exp(1j * np.radians(angle_cam_deg)[:, None] * PERIODS))


def standard(found: Response, sigma_cam_deg: float) -> FloatArray:
    """Standard uncertainty, (lobes,), of what responds so, for a stated standard uncertainty of the angle.

    In the characteristic's own unit.
    """
    squares = found.real**2 + found.imag**2
    shift, waves = squares[:, 0], squares[:, 1:]
    most = np.maximum(shift, np.maximum(waves.mean(axis=1), LEAST_SHARE**2 * waves.max(axis=1)))
    return np.asarray(sigma_cam_deg * np.sqrt(most))
