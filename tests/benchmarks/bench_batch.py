"""What two workers gain over one, and what the process that asks holds, with few files and with ten times as many.

`python tests/benchmarks/bench_batch.py [files]`, on Linux. Camshafts like the sample. Beside the wall the CPU of each
process and that of everybody else, in processors: on a machine that others use, the longest path counts, which is the
CPU of the process that asks and of imports, and that of the busiest worker.

`python tests/benchmarks/bench_batch.py figures`: the gain and the growth, as JSON for tests/benchmarks/all.py
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from time import monotonic, sleep

from valvelab.places import sample_profiles

TICKS = os.sysconf("SC_CLK_TCK")
LOOK_S = 0.05
GAIN_FILES = 400
FEW = 100
"""As many fill every buffer of the process that asks: rows of 63 camshafts are written at a time."""


@dataclass
class Run:
    """Seconds, and megabytes at the most; workers: the CPU of each; others: processors that others used."""

    wall: float
    asking: float
    workers: list[float]
    others: float
    held: float

    @property
    def path(self) -> float:
        """The CPU of the longest path."""
        return self.asking + max(self.workers)


def processes(root: int) -> Iterator[int]:
    """A process and all below it."""
    yield root
    for thread in Path(f"/proc/{root}/task").iterdir():
        for child in (thread / "children").read_text(encoding="utf-8").split():
            yield from processes(int(child))


def busy() -> float:
    """Seconds that all processors worked so far."""
    spent = list(map(int, Path("/proc/stat").read_text(encoding="utf-8").split("\n", 1)[0].split()[1:9]))
    return (sum(spent) - spent[3] - spent[4]) / TICKS


def run(folder: Path, workers: int) -> Run:
    """One batch."""
    before, begun = busy(), monotonic()
    words = ["batch", str(folder), "--workers", str(workers), "--out", str(folder.with_suffix(".csv")), "--quiet"]
    cpu: dict[int, float] = {}
    held = 0.0
    with subprocess.Popen([sys.executable, "-m", "valvelab", *words], stdout=subprocess.DEVNULL) as own:
        while own.poll() is None:
            try:
                for number in processes(own.pid):
                    told = Path(f"/proc/{number}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
                    cpu[number] = (int(told[11]) + int(told[12])) / TICKS
                status = Path(f"/proc/{own.pid}/status").read_text(encoding="utf-8")
                held = float(status.split("VmHWM:")[1].split()[0]) / 1024.0
            except (OSError, IndexError):
                pass  # one of them ended this moment
            sleep(LOOK_S)
    wall = monotonic() - begun
    spent = sorted(cpu.values(), reverse=True)
    return Run(wall, sum(spent[workers:]), spent[:workers], (busy() - before - sum(spent)) / wall, held)


def measured(files: int, *workers: int) -> list[Run]:
    """So many camshafts by so many workers, one run after the other."""
    table = (sample_profiles() / "quillmere_four_camshaft.csv").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "camshafts"
        folder.mkdir()
        for number in range(files):
            (folder / f"{number:05}.csv").write_text(f"# number: {number}\n{table}", encoding="utf-8")
        return [run(folder, count) for count in workers]


def main() -> None:
    """Print it."""
    asked = sys.argv[1] if len(sys.argv) > 1 else "60"
    if asked == "figures":
        one, two = measured(GAIN_FILES, 1, 2)
        (few,), (many,) = measured(FEW, 2), measured(10 * FEW, 2)
        rows = [(f"two workers over one, {GAIN_FILES} camshafts, the longest path", 1.8, one.path / two.path, True)]
        rows += [(f"memory of who asks, {10 * FEW:,} camshafts over {FEW}", 1.1, many.held / few.held, False)]
        print(json.dumps(rows))
        return
    files = int(asked)
    one, two = measured(files, 1, 2)
    (little,) = measured(files // 10, 2)
    for name, found in (("1 worker", one), ("2 workers", two)):
        spent = ", ".join(f"{seconds:.1f}" for seconds in found.workers)
        print(
            f"{name}: wall {found.wall:.1f} s, CPU {found.asking:.1f} + {spent}, others {found.others:.2f} processors"
        )
    print(f"gain: wall {one.wall / two.wall:.2f}, longest path {one.path / two.path:.2f}")
    print(f"held: {little.held:.0f} MB with {files // 10} files, {two.held:.0f} MB with {files}")


if __name__ == "__main__":
    main()
