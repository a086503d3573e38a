"""Sets one by one: all that a small tray allows, and the best choice among some."""

from __future__ import annotations

from collections.abc import Iterable
from math import inf

import numpy as np

from valvelab.arrays import FloatArray, IntArray
from valvelab.sets.solver import Rows, solve
from valvelab.sets.tray import Grouping, Position, Units, Watch, spread_of

Column = tuple[int, tuple[int, ...]]
SLACK = 1.0 + 1e-12


def all_sets(units: Units, limits: FloatArray, positions: tuple[Position, ...], most: int) -> list[Column] | None:
    """Every set that the limits and conditions allow; None when there are more than `most`."""
    answer: list[Column] = []
    steps = 2 * most
    for number, position in enumerate(positions):
        fits = (units.low >= position.low).all(axis=1) & (units.high <= position.high).all(axis=1)
        stack: list[tuple[tuple[int, ...], IntArray, int]] = [((), np.flatnonzero(fits), position.size)]
        while stack:
            chosen, candidates, room = stack.pop()
            for place, unit in enumerate(candidates):
                weight = int(units.weight[unit])
                if weight > room:
                    continue
                steps -= 1
                wider = (*chosen, int(unit))
                if weight == room:
                    answer.append((number, wider))
                else:
                    stack.append((wider, _joining(units, limits, wider, candidates[place + 1 :]), room - weight))
            if steps < 0 or len(answer) > most:
                return None
    return answer


def _joining(units: Units, limits: FloatArray, chosen: tuple[int, ...], candidates: IntArray) -> IntArray:
    """The candidates that can join a beginning of a set."""
    index = list(chosen)
    low = np.minimum(units.low[candidates], units.low[index].min(axis=0))
    high = np.maximum(units.high[candidates], units.high[index].max(axis=0))
    joins = (high - low <= limits * SLACK).all(axis=1) & ~units.apart[candidates][:, index].any(axis=1)
    return np.asarray(candidates[joins], dtype=np.int64)


def best_of(
    units: Units,
    limits: FloatArray,
    positions: int,
    columns: Iterable[Column],
    engines: int,
    watch: Watch,
    most_nodes: int,
) -> tuple[Grouping | None, float]:
    """The choice of sets that share no unit, `engines` at each position, with the least total spread; and its bound."""
    known = sorted(set(columns))
    cost = np.array([spread_of(units, limits, chosen) for _, chosen in known])
    sizes = [len(chosen) for _, chosen in known]
    rows = Rows.empty()
    flat = np.array([unit for _, chosen in known for unit in chosen], dtype=np.int64)
    count = len(units.members)
    rows.add(flat, np.repeat(np.arange(len(known)), sizes), 1.0, np.full(count, -inf), np.ones(count))
    where = np.array([position for position, _ in known], dtype=np.int64)
    each = np.full(positions, float(engines))
    rows.add(where, np.arange(where.size), 1.0, each, each)
    solved = solve(cost, rows, np.ones(cost.size, dtype=np.int64), np.ones(cost.size), watch, most_nodes)
    if solved.x is None:
        return None, solved.bound
    return Grouping(tuple(known[i] for i in np.flatnonzero(solved.x > 0.5))), solved.bound
