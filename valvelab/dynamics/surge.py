"""Spring surge against the harmonics of the lift.

Source: helical spring as a bar in longitudinal vibration, textbook; common practice for harmonics of the lift.
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray, finite
from valvelab.errors import CannotEvaluate, Reason, refuse_unless_above_zero
from valvelab.frozen import frozen
from valvelab.phrase import Phrase


@frozen
class Resonance:
    """One order of the lift meeting the spring's surge frequency."""

    order: int
    crank_rpm: float
    lift_harmonic_um: float


def lift_harmonics_um(lift_mm: FloatArray, orders: int = 60) -> FloatArray:
    """Amplitudes (half the peak-to-peak) of harmonics 1 … `orders`, µm, shape (orders,).

    `lift_mm`: shape (n,), evenly spaced over one cam turn.

    Refuses fewer than four samples an order.
    """
    lift = finite(lift_mm, "valve lift", 1)
    if lift.size < 4 * orders:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase("harmonics: found {size} samples, expected {orders} or more", size=lift.size, orders=4 * orders),
        )
    return np.asarray(2000.0 * np.abs(np.fft.rfft(lift))[1 : orders + 1] / lift.size)


def resonances(
    lift_mm: FloatArray, surge_hz: float, max_crank_rpm: float | None = None, orders: int = 60
) -> tuple[Resonance, ...]:
    """Crank speeds 60 · 2 · f/k at which order k of the lift excites the spring, the largest harmonic first.

    Orders whose speed lies above 1.2 × `max_crank_rpm` are left out. `lift_mm`: shape (n,), one cam turn.
    Raises CannotEvaluate(OUT_OF_RANGE) for a frequency not above 0.
    """
    refuse_unless_above_zero(surge_hz, "surge frequency", "Hz")
    found = [
        Resonance(order, 120.0 * surge_hz / order, float(size))
        for order, size in enumerate(lift_harmonics_um(lift_mm, orders), start=1)
    ]
    if max_crank_rpm is not None:
        found = [row for row in found if row.crank_rpm <= 1.2 * max_crank_rpm]
    return tuple(sorted(found, key=lambda row: -row.lift_harmonic_um))
