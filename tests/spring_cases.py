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


SEASON = (("new", "2026-02-01"), ("run-in", "2026-02-11"), ("meeting 1", "2026-03-23"), ("meeting 2", "2026-05-02"))
"""Stages of a season: the meetings 40 days apart, the first 40 days after running in."""
FITTED_38 = ("installed height: 38 mm", "valve lift: 10 mm", "solid height: 25 mm", "force uncertainty: 0.6 N")


def write_season(
    path: Path, lost: dict[str, tuple[float, ...]], stages: tuple[tuple[str, str], ...] = SEASON, noise: float = 0.0
) -> Path:
    """Springs of 240 N at 38 mm and 30 N/mm read in every stage, softer by the shares `lost`; the last stage first."""
    heads = [*(f"# {line}" for line in FITTED_38), "# force resolution: 0.1 N"]
    lines = [*heads, "spring,stage,date,height [mm],force [N]"]
    generator = np.random.default_rng(7)
    for spring, shares in lost.items():
        for (stage, day), share in reversed(list(zip(stages, shares, strict=True))):
            for height in (40.0, 38.0, 34.0, 30.0, 28.0):
                force = RATE * (46.0 - height) * (1.0 - share) + noise * generator.normal()
                lines.append(f"{spring},{stage},{day},{height},{force:.4f}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def write_readings(path: Path, springs: dict[str, tuple[FloatArray, FloatArray]], *preamble: str) -> Path:
    """A plain file of spring readings in mm and N."""
    lines = [*(f"# {line}" for line in preamble), "spring,height [mm],force [N]"]
    for name, (heights, forces) in springs.items():
        lines += [f"{name},{h:.6f},{f:.6f}" for h, f in zip(heights, forces, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
