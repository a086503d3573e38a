"""Matched sets against the hand method and the plain assignment programme, in one run.

`python tests/benchmarks/bench_sets.py [springs] [seconds]`: a tray of 64 and one of `springs` (400), three
characteristics. `python tests/benchmarks/bench_sets.py survey [springs] [seconds]`: how many trays of three kinds have
their number of sets proven in that time. Numbers of sets are what counts; times hold as ratios only.
"""

from __future__ import annotations

import sys
from time import perf_counter

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from valvelab.sets.least_spread import Effort
from valvelab.sets.match import match, sorted_cuts
from valvelab.sets.tray import Progress, Tray, Watch, tray


def make_tray(count: int, size: int, scale: float, characteristics: int = 3) -> Tray:
    """Seat force, rate and solid height, normal and independent: harder than a real tray, where they go together."""
    generator = np.random.default_rng(0)
    values = generator.normal(size=(count, 3)) * np.array([6.0, 0.6, 0.15]) + np.array([400.0, 40.0, 25.0])
    limits = np.array([6.0, 0.6, 0.15]) * scale
    names = tuple(f"S{i}" for i in range(count))
    return tray(names, values[:, :characteristics], limits[:characteristics], size)


def plain_assignment(problem: Tray, seconds: float) -> tuple[int, float]:
    """A binary for each spring and set, range ends as variables: what one would write first. Sets found and bound."""
    n, d = problem.values.shape
    m = n // problem.size
    scaled = (problem.values - problem.values.min(axis=0)) / problem.limits
    big = float(scaled.max())
    x, y, low = n * m, m, m * d
    rows: list[tuple[list[int], list[float], float, float]] = []
    for j in range(m):
        rows.append(([i * m + j for i in range(n)] + [x + j], [1.0] * n + [-float(problem.size)], 0.0, 0.0))
        for c in range(d):
            place = x + y + j * d + c
            for i in range(n):
                # low ≤ value where the spring is in the set, value ≤ low + 1 likewise
                rows.append(([place, i * m + j], [1.0, big], -np.inf, float(scaled[i, c]) + big))
                rows.append(([place, i * m + j], [-1.0, big], -np.inf, 1.0 - float(scaled[i, c]) + big))
    rows += [([i * m + j for j in range(m)], [1.0] * m, 0.0, 1.0) for i in range(n)]
    rows += [([x + j, x + j + 1], [1.0, -1.0], 0.0, 1.0) for j in range(m - 1)]
    columns = [column for row in rows for column in row[0]]
    entries = [entry for row in rows for entry in row[1]]
    numbers = np.repeat(np.arange(len(rows)), [len(row[0]) for row in rows])
    matrix = csr_array((entries, (numbers, columns)), shape=(len(rows), x + y + low))
    answer = milp(
        np.concatenate([np.zeros(x), -np.ones(y), np.zeros(low)]),
        constraints=LinearConstraint(matrix, [row[2] for row in rows], [row[3] for row in rows]),
        integrality=np.concatenate([np.ones(x + y), np.zeros(low)]),
        bounds=Bounds(0.0, np.concatenate([np.ones(x + y), np.full(low, big)])),
        options={"time_limit": seconds},
    )
    bound = m if answer.mip_dual_bound is None else min(m, int(-answer.mip_dual_bound + 1e-6))
    return (0 if answer.x is None else round(-answer.fun)), bound


def compare(count: int, size: int, scale: float, seconds: float) -> None:
    """One tray, three methods."""
    problem = make_tray(count, size, scale)
    settled: list[float] = []
    start = perf_counter()

    def report(progress: Progress) -> None:
        if progress.sets == progress.bound_sets and not settled:
            settled.append(perf_counter() - start)

    end = start + seconds
    answer = match(problem, Watch(lambda: end - perf_counter(), report=report), Effort())
    whole = perf_counter() - start
    start = perf_counter()
    by_hand = len(sorted_cuts(problem).sets)
    hand = perf_counter() - start
    start = perf_counter()
    plain, plain_bound = plain_assignment(problem, min(seconds, 30.0))
    spent = perf_counter() - start
    number = settled[0] if settled else whole
    proof = "proven" if answer.number_proven else "not proven"
    print(f"{count} springs in sets of {size}, limits {scale:g} standard deviations")
    print(f"  here        {len(answer.sets):3d} sets, at most {answer.bound_sets}: {proof} in {number:.1f} s")
    print(f"              spread {answer.total_spread:.2f} ≥ {answer.bound_total_spread:.2f} after {whole:.1f} s")
    print(f"  by hand     {by_hand:3d} sets ({hand:.4f} s)")
    print(f"  plain       {plain:3d} sets, at most {plain_bound} ({spent:.1f} s, {spent / number:.1f} × ours)")


def drawn(kind: str, count: int, scale: float, seed: int) -> Tray:
    """A tray of one kind: independent, alike through their wire, or even; limits in standard deviations."""
    generator = np.random.default_rng(seed)
    if kind == "even":
        z = generator.uniform(-1.7, 1.7, size=(count, 3))
    else:
        z = generator.normal(size=(count, 3))
        if kind == "wire":
            wire = generator.normal(size=(count, 1))
            z = wire * np.array([0.8, 0.7, -0.4]) + z * np.array([0.6, 0.7, 0.9])
    sizes = np.array([6.0, 0.6, 0.15])
    return tray(tuple(f"S{i}" for i in range(count)), np.array([400.0, 40.0, 25.0]) + sizes * z, sizes * scale, 16)


def survey(count: int, seconds: float) -> None:
    """Trays of every kind, from limits that leave most springs over to limits that use all of them."""
    proven = trays = 0
    for kind in ("independent", "wire", "even"):
        for scale in (0.9, 1.0, 1.2, 1.5, 1.8, 2.2, 3.0):
            for seed in (1, 2):
                problem = drawn(kind, count, scale, seed)
                start = perf_counter()
                heard = [Progress("sets", 0, None)]
                watch = Watch(
                    lambda start=start: start + seconds - perf_counter(),
                    lambda heard=heard: heard[-1].stage == "spread" or heard[-1].sets == heard[-1].bound_sets,
                    heard.append,
                )
                answer = match(problem, watch, Effort())
                spent = perf_counter() - start
                by_hand = len(sorted_cuts(problem).sets)
                trays, proven = trays + 1, proven + answer.number_proven
                state = "proven" if answer.number_proven else "not proven"
                print(
                    f"{kind:12s} limits {scale:g} sd, tray {seed}: {len(answer.sets):2d} sets of at most "
                    f"{answer.bound_sets:2d} ({state}, {spent:.1f} s); by hand {by_hand}",
                    flush=True,
                )
    print(f"{proven} of {trays} proven in {seconds:g} s")


if __name__ == "__main__":
    if sys.argv[1:2] == ["survey"]:
        survey(int((sys.argv[2:3] or ["400"])[0]), float((sys.argv[3:4] or ["30"])[0]))
        sys.exit()
    springs = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    limit = float(sys.argv[2]) if len(sys.argv) > 2 else 60.0
    for scale in (1.5, 2.5):
        compare(64, 8, scale, limit)
    for scale in (1.0, 1.5, 2.2):
        compare(springs, 16, scale, limit)
