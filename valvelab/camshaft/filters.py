"""Gaussian profile filters along a trace and around a journal.

Source: ISO 16610-21 (linear Gaussian profile filter), ISO 12181-2 (the same transmission in undulations per turn).
"""

from __future__ import annotations

import math

import numpy as np

from valvelab.arrays import FloatArray, finite
from valvelab.errors import CannotEvaluate, Reason
from valvelab.phrase import Phrase

ALPHA = math.sqrt(math.log(2.0) / math.pi)
"""Makes the transmission 50 % at the cutoff."""


def transmission(wavelength_ratio: FloatArray | float) -> FloatArray:
    """Share of a sine's amplitude the mean line keeps, for cutoff/wavelength ratios: 2^(−ratio²). Shape as given."""
    return np.asarray(np.exp2(-np.square(np.asarray(wavelength_ratio, dtype=np.float64))))


def gaussian_weights(spacing_mm: float, cutoff_mm: float) -> FloatArray:
    """Sampled weighting function over ±1 cutoff, summing to 1; shape (2k + 1,).

    s(x) = exp(−π (x/(α λ))²)/(α λ); beyond one cutoff less than 1e-6 of the peak is left. Raises
    CannotEvaluate(OUT_OF_RANGE) for a spacing or cutoff not above 0. Plain numbers.
    """
    if not (spacing_mm > 0.0 and cutoff_mm > 0.0):
        raise CannotEvaluate(Reason.OUT_OF_RANGE, Phrase("filter: spacing and cutoff must be above 0"))
    reach = max(1, math.ceil(cutoff_mm / spacing_mm))
    x = np.arange(-reach, reach + 1) * spacing_mm
    weights = np.exp(-np.pi * np.square(x / (ALPHA * cutoff_mm)))
    return np.asarray(weights / weights.sum())


def gaussian_mean_line(z: FloatArray, spacing_mm: float, cutoff_mm: float) -> FloatArray:
    """Mean line of an evenly spaced profile; same shape and unit as `z`.

    Towards the ends the weights that fall outside are left out and the rest scaled to sum to 1. Refuses values that
    are not finite. Source: ISO 16610-21; end handling by renormalised weights as in ISO 16610-28.
    """
    profile = finite(z, "profile", ndim=1)
    weights = gaussian_weights(spacing_mm, cutoff_mm)
    # Taking out the mean first keeps the rounding of the transform relative to the roughness, not to a datum.
    offset = float(profile.mean())
    return offset + _convolve(profile - offset, weights) / _convolve(np.ones_like(profile), weights)


def _convolve(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Centred convolution, zero outside; by FFT where that is quicker."""
    reach = weights.size // 2
    if values.size * weights.size <= 1 << 22:
        return np.asarray(np.convolve(values, weights)[reach : reach + values.size])
    length = 1 << (values.size + weights.size - 2).bit_length()
    spectrum = np.fft.rfft(values, length) * np.fft.rfft(weights, length)
    return np.asarray(np.fft.irfft(spectrum, length)[reach : reach + values.size])
