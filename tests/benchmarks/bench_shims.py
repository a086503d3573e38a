"""Shim plans of 16 positions, 100 springs and 3 shims: the command's time, and what rivals give, in one run.

Run `python tests/benchmarks/bench_shims.py`. The whole command against importing numpy, scipy.interpolate and
scipy.optimize (processor time of a fresh process each, best of some); the search alone against a greedy choice by hand
and the plain integer model of the same choice, HiGHS with 20 s. Spreads, distances and seconds of CPU.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from time import process_time

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from processes import IMPORTS, VALVELAB, processor_seconds
from spring_cases import bench_force, write_readings

from valvelab.arrays import FloatArray
from valvelab.files.heights import read_heights
from valvelab.files.spring_readings import read_spring_readings
from valvelab.inspection.springs.inspect import SpringsQuestion
from valvelab.inspection.springs.shim_case import ShimCase
from valvelab.inspection.springs.shims import ShimsQuestion, inspect_shims, solve
from valvelab.springs.shims import ShimChoice, choose_shims

SEED, SECONDS, FEW = 3, 20.0, 18
READ_AT = np.array([42.0, 41.0, 40.0, 39.0, 38.0, 37.0, 36.0, 34.0, 30.0, 28.0, 27.0, 26.2, 25.8, 25.6])
PLAIN, COUNTED = "shims: 0.25 mm, 0.50 mm, 1.00 mm", "shims: 0.25 mm x 4, 0.50 mm x 3, 1.00 mm x 2"
TARGET, STATED = "target seat force: 240 N", "height uncertainty: 0.03 mm"


def lay_out(folder: Path) -> tuple[Path, dict[str, Path]]:
    """The readings, and heights for each kind of question."""
    generator = np.random.default_rng(SEED)
    springs = {f"Q{i:03d}": (READ_AT, bench_force(READ_AT, free=46.0 + 0.3 * generator.normal())) for i in range(100)}
    readings = write_readings(folder / "springs.csv", springs)
    heights = 38.3 + generator.uniform(0.0, 1.5, 16)
    stand, under = generator.permutation(100)[:16], ("0.5", "0.25", "0.25 + 0.5", "none") * 4
    names = [f"{cylinder}{kind}" for cylinder in range(1, 9) for kind in "IE"]
    bare = [f"{name},{height:.2f}" for name, height in zip(names, heights, strict=True)]
    fitted = [f"{row},Q{spring:03d},{shims}" for row, spring, shims in zip(bare, stand, under, strict=True)]
    asked = {
        "least spread": ((PLAIN,), bare),
        "target": ((PLAIN, TARGET), bare),
        "least spread, parts fitted": ((COUNTED, STATED), fitted),
        "target, parts fitted": ((COUNTED, TARGET, STATED), fitted),
    }
    paths = {}
    for name, (keys, rows) in asked.items():
        paths[name] = folder / f"{name}.csv"
        preamble = [f"# {key}" for key in (*keys, "valve lift: 10 mm", "minimum coil-bind margin: 1 mm")]
        head = "position,height [mm]" + (",spring,shims [mm]" if rows is fitted else "")
        paths[name].write_text("\n".join([*preamble, head, *rows]) + "\n", encoding="utf-8")
    return readings, paths


def timed(work: Callable[[], FloatArray | None]) -> tuple[FloatArray | None, float]:
    start = process_time()
    return work(), process_time() - start


def case_of(readings: Path, heights: Path) -> ShimCase:
    question = ShimsQuestion(SpringsQuestion(read_spring_readings(readings)), read_heights(heights))
    return inspect_shims(question).case


# -- rivals --------------------------------------------------------------------------------------------------------


def greedy(choice: ShimChoice, aim_n: float) -> FloatArray:
    """Valve by valve the spring and stack nearest the aim, of the springs that are left."""
    off = np.where(choice.allowed, np.abs(choice.force_n - aim_n), np.inf)
    forces = []
    for number in range(off.shape[0]):
        spring, height = np.unravel_index(int(off[number].argmin()), off[number].shape)
        forces.append(choice.force_n[number, spring, height])
        off[:, spring] = np.inf
    return np.array(forces)


def integer_model(choice: ShimChoice, target_n: float | None) -> FloatArray | None:
    """A binary for every way; without a target the ends of the forces are two more variables."""
    at, spring, height = np.nonzero(choice.allowed)
    force = choice.force_n[at, spring, height]
    count, each = force.size, np.arange(force.size)
    ends = 0 if target_n is not None else 2
    ones = np.ones(count)
    shape = (choice.force_n.shape[0], count + ends)
    place = coo_array((ones, (at, each)), shape=shape)
    once = coo_array((ones, (spring, each)), shape=(choice.force_n.shape[1], count + ends))
    limits = [LinearConstraint(place, 1, 1), LinearConstraint(once, -np.inf, 1)]
    cost = np.concatenate([(force - (target_n or 0.0)) ** 2 if ends == 0 else np.zeros(count), [-1.0, 1.0][:ends]])
    if ends:
        weighed = coo_array((force, (at, each)), shape=shape).tolil()
        low, high = weighed.copy(), weighed.copy()
        low[:, count], high[:, count + 1] = -1.0, -1.0
        limits += [LinearConstraint(low.tocsr(), 0, np.inf), LinearConstraint(high.tocsr(), -np.inf, 0)]
    found = milp(
        cost,
        integrality=np.concatenate([ones, np.zeros(ends)]).astype(np.int64),
        bounds=Bounds(0, np.concatenate([ones, np.full(ends, np.inf)])),
        constraints=limits,
        options={"time_limit": SECONDS},
    )
    return None if found.x is None else force[found.x[:count] > 0.5]


def rivals(case: ShimCase) -> None:
    """The search alone, greedy and the integer model on one choice."""
    choice, target = case.ways({}).choice, case.heights.target_seat_force_n
    aim = float(np.median(choice.force_n[choice.allowed])) if target is None else target

    def far(forces: FloatArray | None) -> float:
        if forces is None:
            return float("nan")
        return float(np.ptp(forces)) if target is None else float(np.sqrt(np.mean((forces - target) ** 2)))

    what = "spread" if target is None else "rms about the target"
    for name, work in (
        ("valvelab", lambda: choose_shims(choice, target).seat_force_n),
        ("greedy by hand", lambda: greedy(choice, aim)),
        ("integer model", lambda: integer_model(choice, target)),
    ):
        forces, seconds = timed(work)
        print(f"    {name:<16} {what} {far(forces):8.4f} N   {seconds:7.3f} s")


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        readings, asked = lay_out(Path(name))
        imports = processor_seconds(*IMPORTS)
        print(f"importing numpy, scipy.interpolate, scipy.optimize: {imports:.3f} s of CPU")
        for question, heights in asked.items():
            command = (*VALVELAB, "shims", readings, "--heights", heights, "--json")
            seconds = processor_seconds(*command)
            print(f"{question}: the command takes {seconds:.3f} s, {seconds / imports:.2f} x that")
            case = case_of(readings, heights)
            if case.work.matters:
                start = process_time()
                solution = solve(case)
                found = case.evaluate(solution.plan)
                moves, bought = len(found.moves or ()), sum(one.count for one in found.purchases)
                seconds = process_time() - start
                print(f"    work: {moves} moves, {bought} bought, proven {solution.proven}; {seconds:.3f} s")
            else:
                rivals(case)
                print("  18 of the springs:")
                rivals(replace(case, springs=case.springs[:FEW]))


if __name__ == "__main__":
    main()
