"""Every figure that is asked of the program, as ratios of one run, and the table of them in DEVELOPERS.md.

`python tests/benchmarks/all.py [GROUP …] [--write]`: groups are commands, memory, peers, sets, paper, store, batch,
window; without one, all of them. `--write` lays the rows into the table of DEVELOPERS.md, where rows of groups that did
not run stay. Processor time of whole processes, one thread for linear algebra, is the least of some rounds, in turn
with importing numpy, scipy.interpolate and scipy.optimize; the window's are wall times against a bare window.
"""

from __future__ import annotations

import json
import os
import platform
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import bench_dynamics
import bench_lift_check
import bench_lobes
import bench_reading
import bench_sets
import bench_shims
import numpy as np
from processes import ALONE, IMPORTS, ROOT, VALVELAB, against, cost, peak_mb

SAMPLES = ROOT / "sample_profiles"
BEGIN, END = "<!-- figures: tests/benchmarks/all.py -->", "<!-- end of figures -->"

PLAIN_LOBES = """
import sys
import numpy as np
from scipy.interpolate import UnivariateSpline
from scipy.optimize import brentq
data = np.loadtxt(sys.argv[1], delimiter=",", skiprows=4)
angle, found = data[:, 0], []
for column in data[:, 1:].T:
    at = np.argmax(column)
    turned = np.roll(column, angle.size // 2 - at)
    spline = UnivariateSpline(angle, turned, s=angle.size * 1e-6)
    top = angle[angle.size // 2]
    for level in (0.5, 1.27, 5.0):
        f = lambda a: float(spline(a)) - level
        found.append(brentq(f, top, angle[-1]) - brentq(f, angle[0], top))
print(found[:3])
"""
"""What a shop's own script does: three durations a lobe from a smoothing spline, without base circle, steps or u."""

PLAIN_SPRINGS = """
import sys
import numpy as np
import pandas as pd
table = pd.read_csv(sys.argv[1], comment="#")
table.columns = ["spring", "height", "force"]
working = table[table.height > 28.0]
def line(rows):
    rate, at = np.polyfit(rows.height, rows.force, 1)
    return pd.Series({"rate": -rate, "seat": rate * 38.0 + at})
print(working.groupby("spring")[["height", "force"]].apply(line).describe())
"""
"""The same for springs; it has to be told where the coils bind, and knows no u."""


@dataclass(frozen=True)
class Figure:
    """One figure: what is asked of it, as a bound above (or below), and what this run gave."""

    name: str
    asked: float
    measured: float
    at_least: bool = False

    @property
    def row(self) -> str:
        held = self.measured >= self.asked if self.at_least else self.measured <= self.asked
        sign = "≥" if self.at_least else "≤"
        return f"| {self.name} | {sign} {self.asked:g} | {self.measured:.3g} | {'yes' if held else '**no**'} |"


def sample(*words: str) -> list[str | Path]:
    """A command on samples: words that name one become its path."""
    return [SAMPLES / word if (SAMPLES / word).exists() else word for word in words]


FOUR = ("quillmere_four_camshaft.csv", "--spec")
COMMANDS: dict[str, tuple[float, tuple[str, ...]]] = {
    "`motion`, the sample four": (
        1.6, ("motion", *FOUR, "quillmere_four_engine.toml", "--train", "quillmere_four_train.toml"),
    ),
    "`gauge`": (0.7, ("gauge", "dial_gauge_study.csv")),
    "`phasing`": (0.7, ("phasing", "quillmere_four_degree_wheel.toml", "--spec", "quillmere_four_engine.toml")),
}  # fmt: skip
OTHERS: tuple[tuple[str, ...], ...] = (
    ("lobes", *FOUR, "quillmere_four_camshaft.toml"),
    ("lobes", "lake_v8_camshaft.csv", "--spec", "lake_v8_camshaft.toml"),
    ("shaft", "club_four_journals.csv", "--spec", "club_four_shaft_spec.toml"),
    ("texture", "club_four_lobe_3I_trace.csv", "--spec", "club_four_shaft_spec.toml"),
    ("springs", "springs_quillmere_tray.csv", "--spec", "springs_quillmere_spec.toml"),
    ("sets", "springs_quillmere_tray.csv", "--spec", "springs_quillmere_spec.toml", "--size", "8",
     "--within", "seat_force=6 N", "--within", "rate=0.6 N/mm"),
    ("shims", "springs_quillmere_tray.csv", "--heights", "springs_quillmere_heights.csv"),
    ("compare", "quillmere_four_camshaft.csv", "quillmere_four_after_a_season.csv"),
    ("liftcheck", "quillmere_spring_meeting.toml"),
)  # fmt: skip


def commands(folder: Path) -> Iterator[Figure]:
    """Whole commands over the imports."""
    for name, (asked, words) in COMMANDS.items():
        yield Figure(name, asked, against(IMPORTS, *VALVELAB, *sample(*words), "--json"))
    lift = folder / "shaft.csv"
    bench_lobes.write(lift)
    yield Figure("`lobes`, 16 × 3,600", 0.55, against(IMPORTS, *VALVELAB, "lobes", lift, "--json"))
    tray = folder / "tray.csv"
    bench_sets.write_readings(tray, 1000)
    yield Figure("`springs`, 1,000", 3.0, against(IMPORTS, *VALVELAB, "springs", tray, "--json", rounds=3))
    readings, asked_of = bench_shims.lay_out(folder)
    worst = max(
        against(IMPORTS, *VALVELAB, "shims", readings, "--heights", heights, "--json", rounds=3)
        for heights in asked_of.values()
    )
    yield Figure("`shims`, 16 × 100 × 3, the dearest of four questions", 3.0, worst)


def memory(folder: Path) -> Iterator[Figure]:
    """The greatest peak of the commands on the samples and on the largest of the inputs above."""
    lift, tray = folder / "wide.csv", folder / "many.csv"
    bench_lobes.write(lift)
    bench_sets.write_readings(tray, 1000)
    asked = [[*VALVELAB, *sample(*words), "--json"] for words in (*(words for _, words in COMMANDS.values()), *OTHERS)]
    asked += [[*VALVELAB, "lobes", lift, "--json"], [*VALVELAB, "springs", tray, "--json"]]
    asked += [[*VALVELAB, "certify", SAMPLES / "job.toml", "--out", folder / "job.pdf", "--quiet"]]
    asked += [[*VALVELAB, "verify", folder / "job.pdf"]]
    peaks = {str(words[3]): 0.0 for words in asked}
    for words in asked:
        peaks[str(words[3])] = max(peaks[str(words[3])], peak_mb(*words))
    worst = max(peaks, key=lambda name: peaks[name])
    yield Figure(f"memory of any command but batch, MB (greatest: `{worst}`)", 120.0, peaks[worst])


def peers(folder: Path) -> Iterator[Figure]:
    """The same work done by general libraries."""
    lift, tray = folder / "peer.csv", folder / "peer_tray.csv"
    bench_lobes.write(lift)
    plain = (sys.executable, "-c", PLAIN_LOBES, lift)
    yield Figure(
        "`lobes` 16 × 3,600 over a plain script for three durations",
        0.6,
        against(plain, *VALVELAB, "lobes", lift, "--json"),
    )
    bench_sets.write_readings(tray, 400)
    plain = (sys.executable, "-c", PLAIN_SPRINGS, tray)
    try:
        cost(*plain)
    except SystemExit:
        print("pandas is not here: springs have no peer")
    else:
        ratio = against(plain, *VALVELAB, "springs", tray, "--json", rounds=3)
        yield Figure("`springs` of 400 over pandas groupby + polyfit", 1.2, ratio)
    path = bench_reading.write(folder)["wide"]
    readers = bench_reading.general_readers("wide", path)
    fastest = min(bench_reading.best_ms(work) for work in readers.values())
    ours = bench_reading.best_ms(lambda: bench_reading.read_lift_table(path))
    polars = "" if "polars" in readers else " (polars is not here)"
    yield Figure(f"reading 57,600 readings over the fastest reader{polars}", 2.5, ours / fastest)
    gear, lobe = bench_dynamics.GEAR, bench_dynamics.LOBE
    speeds = np.linspace(3600.0, 10_000.0, 100)
    cycle, _ = bench_dynamics.timed(lambda: bench_dynamics.tight(float(speeds[0]), np.arange(-360.0, 360.0) + 1.0))
    drive = bench_dynamics.drive_of(lobe)
    batch, _ = bench_dynamics.timed(lambda: bench_dynamics.respond(gear, drive, speeds, 4))
    yield Figure("a cycle of motion over an adaptive integrator's", 0.005, batch / cycle / 400.0)


def sets(folder: Path) -> Iterator[Figure]:
    """Trays in sixteens on two and on five characteristics, against the best arrangement known."""
    asked = {64: (2.0, 1.02), 400: (4.0, 1.02), 1000: (8.0, 1.03)}
    for count, known in bench_sets.BEST_KNOWN.items():
        for (kind, limits), best in zip(bench_sets.KINDS.items(), known, strict=True):
            words = bench_sets.asked(folder / f"{count}.csv", count, limits)
            most, farthest = asked[count]
            answer = json.loads(cost(*words)[1])
            yield Figure(f"`sets` of {count} springs, {kind}", most, against(IMPORTS, *words, rounds=3))
            yield Figure(f"  number proven, {count}, {kind}", 1.0, float(answer["number_proven"]), at_least=True)
            yield Figure(f"  spread over the best known, {count}, {kind}", farthest, answer["total_spread"] / best)
            if count == 400:
                share = answer["bound_total_spread"] / answer["total_spread"]
                yield Figure(f"  bound over the spread, 400, {kind}", 0.7, share, at_least=True)


def paper(folder: Path) -> Iterator[Figure]:
    """Certificates, and checking them."""
    camshaft = folder / "camshaft.toml"
    spec = SAMPLES / "quillmere_four_camshaft.toml"
    camshaft.write_text(
        f'title = "a camshaft"\n[[part]]\ninspect = "lobes"\nfile = "{SAMPLES / FOUR[0]}"\nspec = "{spec}"\n',
        encoding="utf-8",
    )
    car = bench_lift_check.sheet(folder / "car.toml", 1, ("1I", "1E"))
    for name, asked, words in (
        ("one camshaft's certificate", 1.6, ("certify", camshaft)),
        ("the demo job's certificate", 6.0, ("certify", SAMPLES / "job.toml")),
        ("one car's page", 1.0, ("liftcheck", car)),
    ):
        out = folder / "out.pdf"
        writing = (*VALVELAB, *words, "--out", out, "--quiet")
        yield Figure(name, asked, against(IMPORTS, *writing, rounds=5))
        yield Figure(f"  `verify` over writing it, {name}", 1.2, against(writing, *VALVELAB, "verify", out, rounds=3))


def printed(script: str, *words: str) -> str:
    """What another benchmark prints in a process of its own; a fault ends the run."""
    command = [sys.executable, ROOT / "tests" / "benchmarks" / script, *words]
    environment = {**os.environ, **ALONE}
    return subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT, env=environment).stdout


def store(folder: Path) -> Iterator[Figure]:
    """The record store with 100,000 records over 1,000."""
    del folder
    told = printed("bench_store.py")
    for line in re.finditer(
        r"^(\w+): (list by serial|a lobe's history, with its wear): .*ratio ([\d.]+)$", told, re.MULTILINE
    ):
        yield Figure(f"{line[1]}: {line[2]}, 100,000 records over 1,000", 2.0, float(line[3]))


def figures_of(benchmark: str) -> Iterator[Figure]:
    """What a benchmark that knows what is asked of it prints last."""
    for row in json.loads(printed(benchmark, "figures").splitlines()[-1]):
        yield Figure(*row)


def batch(folder: Path) -> Iterator[Figure]:
    """A folder of camshafts by workers."""
    del folder
    yield from figures_of("bench_batch.py")


def window(folder: Path) -> Iterator[Figure]:
    """The window in a process of its own, so that nothing it loads counts elsewhere."""
    del folder
    yield from figures_of("bench_window.py")
    yield from figures_of("bench_calm.py")


GROUPS: dict[str, Callable[[Path], Iterator[Figure]]] = {
    work.__name__: work for work in (commands, memory, peers, sets, paper, store, batch, window)
}


def merged(text: str, rows: list[str]) -> str:
    """DEVELOPERS.md with new rows in the table; a row of the same name is replaced where it stands."""
    head, _, rest = text.partition(BEGIN)
    table, _, tail = rest.partition(END)
    kept = {name_of(line): line for line in table.strip().splitlines()[4:]}
    kept.update({name_of(row): row for row in rows})
    when = f"Last run {time.strftime('%Y-%m-%d')}, Python {platform.python_version()}, {os.cpu_count()} cores."
    lines = [when, "", "| figure | asked | measured | held |", "| --- | --- | --- | --- |", *kept.values()]
    return f"{head}{BEGIN}\n" + "\n".join(lines) + f"\n{END}{tail}"


def name_of(row: str) -> str:
    """What a row is about, without what may differ from run to run."""
    return re.sub(r" \((greatest|polars).*?\)", "", row.split(" | ", maxsplit=1)[0])


def main() -> None:
    """Measure, print, and write where that is asked."""
    words = sys.argv[1:]
    chosen = [word for word in words if word in GROUPS] or list(GROUPS)
    unknown = set(words) - set(GROUPS) - {"--write"}
    if unknown:
        sys.exit(f"found {' '.join(sorted(unknown))}, expected groups of {', '.join(GROUPS)} or --write")
    rows = []
    with tempfile.TemporaryDirectory() as place:
        for name in chosen:
            folder = Path(place) / name
            folder.mkdir()
            for figure in GROUPS[name](folder):
                rows.append(figure.row)
                print(figure.row, flush=True)
    if "--write" in words:
        path = ROOT / "DEVELOPERS.md"
        path.write_text(merged(path.read_text(encoding="utf-8"), rows), encoding="utf-8")


if __name__ == "__main__":
    main()
