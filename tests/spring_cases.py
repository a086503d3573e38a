"""Springs with known answers, for the tests of the spring inspection."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from valvelab.arrays import FloatArray

FREE, RATE, SOLID, CLOSED = 46.0, 30.0, 26.4, 1800.0


def bench_force(
    height: FloatArray, *, free: float = FREE, rate: float = RATE, solid: float = SOLID, closed: float = CLOSED
) -> FloatArray:
    """Force of a straight spring whose coils close at `solid` and are `closed` N/mm stiffer from there."""
    h = np.asarray(height, dtype=np.float64)
    return np.maximum(rate * (free - h), 0.0) + closed * np.maximum(solid - h, 0.0)


def write_readings(path: Path, springs: dict[str, tuple[FloatArray, FloatArray]], *preamble: str) -> Path:
    """A plain file of spring readings in mm and N."""
    lines = [*(f"# {line}" for line in preamble), "spring,height [mm],force [N]"]
    for name, (heights, forces) in springs.items():
        lines += [f"{name},{h:.6f},{f:.6f}" for h, f in zip(heights, forces, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
