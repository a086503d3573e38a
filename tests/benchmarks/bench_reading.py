"""Reading a lift table of 16 lobes at 3,600 angles: this program against general readers of the same file.

Run `python tests/benchmarks/bench_reading.py`. Figures are the best of some rounds in one process, as ratios to the
fastest general reader; the general readers hash nothing, check nothing and know no units.
"""

from __future__ import annotations

import csv
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from valvelab.files.lift_table import read_lift_table
from valvelab.files.table import read_table

LOBES = [f"{cylinder}{kind}" for cylinder in range(1, 9) for kind in "IE"]
ROUNDS = 25


def lifts() -> tuple[np.ndarray, np.ndarray]:
    """Raised cosines with 2 µm of noise, mm; one column a lobe."""
    angles = np.arange(3600) * 0.1
    centres = np.linspace(0.0, 337.5, len(LOBES))
    away = (angles[:, None] - centres + 180.0) % 360.0 - 180.0
    smooth = np.where(np.abs(away) < 65.0, 4.0 * (1.0 + np.cos(np.pi * away / 65.0)), 0.0)
    return angles, smooth + np.random.default_rng(1).normal(scale=0.002, size=smooth.shape)


def write(folder: Path) -> dict[str, Path]:
    angles, values = lifts()
    wide, tidy, semicolon = folder / "wide.csv", folder / "tidy.csv", folder / "semicolon.csv"
    with wide.open("w") as out:
        out.write("angle [cam deg]," + ",".join(f"{lobe} [mm]" for lobe in LOBES) + "\n")
        out.writelines(
            f"{angle:.1f}," + ",".join(f"{value:.4f}" for value in row) + "\n"
            for angle, row in zip(angles, values, strict=True)
        )
    with tidy.open("w") as out:
        out.write("lobe,angle [cam deg],lift [mm]\n")
        for lobe, column in zip(LOBES, values.T, strict=True):
            out.writelines(f"{lobe},{angle:.1f},{value:.4f}\n" for angle, value in zip(angles, column, strict=True))
    semicolon.write_text(wide.read_text().replace(",", ";").replace(".", ","))
    return {"wide": wide, "tidy": tidy, "wide, decimal comma": semicolon}


def best_ms(work: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return 1000.0 * best


def general_readers(form: str, path: Path) -> dict[str, Callable[[], object]]:
    kinds = [("lobe", "U4"), ("angle", "f8"), ("lift", "f8")] if form == "tidy" else np.float64
    readers: dict[str, Callable[[], object]] = {"csv module": lambda: list(csv.reader(path.read_text().splitlines()))}
    if "comma" in form:
        return readers
    readers["numpy.loadtxt"] = lambda: np.loadtxt(path, delimiter=",", skiprows=1, comments=None, dtype=kinds)
    try:
        import polars as pl
    except ImportError:
        return readers
    readers["polars"] = lambda: pl.read_csv(path)
    return readers


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        for form, path in write(Path(folder)).items():
            times = {name: best_ms(work) for name, work in general_readers(form, path).items()}
            times["read_table"] = best_ms(lambda path=path: read_table(path))
            times["read_lift_table"] = best_ms(lambda path=path: read_lift_table(path))
            fastest = min(value for name, value in times.items() if not name.startswith("read_"))
            print(f"{form} ({path.stat().st_size / 1e6:.1f} MB)")
            for name, value in sorted(times.items(), key=lambda pair: pair[1]):
                print(f"  {name:<16} {value / fastest:6.2f} ×")


if __name__ == "__main__":
    main()
