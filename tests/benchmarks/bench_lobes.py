"""How long `valvelab lobes` takes on 16 lobes at 3,600 angles, as ratios within one run.

Run `python tests/benchmarks/bench_lobes.py`. The whole command and `--version` against importing numpy,
scipy.interpolate and scipy.optimize (processor time of a fresh process each, best of some); the analysis by itself
against the fastest general reader of the same file; one step of a dragged checking lift.
"""

from __future__ import annotations

import cProfile
import pstats
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from lobe_samples import SMOOTH, STEPPING, design, turn
from processes import IMPORTS, VALVELAB, processor_seconds

from valvelab.files.lift_table import read_lift_table
from valvelab.inspection.lobes.inspect import inspect_lobes

LOBES = [f"{cylinder}{kind}" for cylinder in range(1, 9) for kind in "IE"]
LAWS = [*SMOOTH, *STEPPING]
ROUNDS = 15
STAGES = {
    "conditioning": ("conditioning.py", "condition"),
    "fit": ("profile.py", "fit_lobes"),
    "of which base circle": ("base_circle.py", "find_base_circle"),
    "characteristics": ("characteristics.py", "lobe_numbers"),
    "contour": ("contour.py", "contour_extreme"),
    "records": ("inspect.py", "_lobes"),
    "camshaft": ("camshaft.py", "camshaft_result"),
}


def write(path: Path) -> None:
    angle = turn(3600)
    rng = np.random.default_rng(1)
    columns = [
        design(LAWS[k % len(LAWS)], centre=22.5 * k).value(angle) + rng.normal(0.0, 1e-3, angle.size)
        for k in range(len(LOBES))
    ]
    with path.open("w", encoding="utf-8") as out:
        out.write("# follower: flat\n# base circle radius: 60 mm\n# probe uncertainty: 0.5 um\n")
        out.write(",".join(["angle [cam deg]", *(f"{lobe} [mm]" for lobe in LOBES)]) + "\n")
        np.savetxt(out, np.column_stack([angle, *columns]), fmt="%.5f", delimiter=",")


def best_ms(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    best = float("inf")
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return 1000.0 * best


def fastest_reader(path: Path) -> tuple[str, float]:
    readers: dict[str, Callable[[], object]] = {
        "numpy.loadtxt": lambda: np.loadtxt(path, delimiter=",", skiprows=4),
    }
    try:
        import polars as pl
    except ImportError:
        pass
    else:
        readers["polars.read_csv"] = lambda: pl.read_csv(path, comment_prefix="#")
    times = {name: best_ms(work) for name, work in readers.items()}
    name = min(times, key=lambda key: times[key])
    return name, times[name]


def stages(work: Callable[[], object]) -> dict[str, float]:
    """Milliseconds by stage, cumulative, under a profiler (which slows everything by some share)."""
    profile = cProfile.Profile()
    profile.runcall(work)
    found = dict.fromkeys(STAGES, 0.0)
    for (file, _, function), row in pstats.Stats(profile).stats.items():  # type: ignore[attr-defined]
        for label, (name, wanted) in STAGES.items():
            if file.endswith(name) and function == wanted:
                found[label] += 1000.0 * row[3]
    return found


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shaft.csv"
        write(path)
        base = processor_seconds(*IMPORTS)
        print(f"{IMPORTS[-1]}, processor time: 1")
        for label, arguments in (("lobes", ("lobes", str(path), "--json")), ("--version", ("--version",))):
            print(f"  valvelab {label}: {processor_seconds(*VALVELAB, *arguments) / base:.2f}")
        name, reader = fastest_reader(path)
        table = read_lift_table(path)
        inspection = inspect_lobes(table)
        analysis = best_ms(lambda: inspect_lobes(table))
        print(f"{name}, the fastest general reader: 1")
        print(f"  our reading: {best_ms(lambda: read_lift_table(path)) / reader:.2f}")
        print(f"  analysis alone: {analysis / reader:.2f}")
        profiled = stages(lambda: inspect_lobes(table))
        whole = sum(spent for label, spent in profiled.items() if not label.startswith("of which"))
        for label, spent in profiled.items():
            print(f"    {label:24s}{spent / whole:7.2f} of these stages' time under the profiler")
        print(f"one step of a dragged checking lift: {best_ms(lambda: inspection.durations_at(2.2)) / reader:.3f}")


if __name__ == "__main__":
    main()
