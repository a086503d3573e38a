"""The integer programme over windows, boxes and single sets, and its answer turned into sets.

A set comes from a source: a window or box that more springs lie in than a set has, so that springs flow into it, or
the set itself. The rows are the same for all of them, and for the relaxation and the whole numbers.

Source: integer programmes as in Nemhauser and Wolsey, from memory; solved by HiGHS through scipy.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.tray import Grouping, Units, Watch

LEAST_S, MOST_S = 0.05, 1e7
"""Seconds that the solver is given at least and at most."""
ANY = 2**31 - 1


@dataclass(frozen=True, slots=True)
class _Source:
    """Where sets come from: used `most` times at most, with the units that may flow in.

    A `whole` source is one set. A copy (`single`) gives at most one set and takes units with conditions; else only
    units without any enter.
    """

    position: int
    members: IntArray
    most: int
    single: bool = False
    whole: bool = False


def _sources(units: Units, constrained: BoolArray, number: int, size: int, mask: BoolArray) -> list[_Source]:
    """What one window of a position gives."""
    members = np.flatnonzero(mask)
    weight = int(units.weight[members].sum())
    if weight == size:
        parted = units.apart[np.ix_(members, members)].any()
        return [] if parted else [_Source(number, members, 1, whole=True)]
    bound = constrained[members]
    free = members[~bound]
    open_to_free = [_Source(number, free, free.size // size)] if free.size >= size else []
    copies = min(int(bound.sum()), weight // size)
    return [*open_to_free, *[_Source(number, members, 1, single=True)] * copies]


@dataclass(frozen=True, slots=True)
class WindowProgram:
    """Variables in order: complete engines, sets from each source, then the flow of each unit into each source.

    Nothing flows into a source that is one set.
    """

    units: Units
    sources: list[_Source]
    cost: FloatArray
    flow_source: IntArray
    flow_unit: IntArray

    @property
    def size(self) -> int:
        """Number of variables."""
        return 1 + len(self.sources) + self.flow_unit.size

    @property
    def whole(self) -> BoolArray:
        """The sources (s,) that are one set."""
        return np.array([source.whole for source in self.sources], dtype=np.bool_)


def window_program(units: Units, windows: list[BoolArray], costs: list[FloatArray] | None = None) -> WindowProgram:
    """The programme of some windows or boxes, masks (w, u) by position.

    `costs` (w,) of a set from each, all in the same unit; nothing by default.
    """
    constrained = units.constrained()
    sources: list[_Source] = []
    prices: list[float] = []
    for number, position in enumerate(units.positions):
        for row, mask in enumerate(windows[number]):
            given = _sources(units, constrained, number, position.size, mask)
            sources += given
            prices += [0.0 if costs is None else float(costs[number][row])] * len(given)
    flowing = [np.zeros(0, dtype=np.int64) if source.whole else source.members for source in sources]
    flow_source = np.repeat(np.arange(len(sources)), [members.size for members in flowing])
    flow_unit = np.concatenate([np.zeros(0, dtype=np.int64), *flowing])
    return WindowProgram(units, sources, np.array(prices), flow_source, flow_unit)


@dataclass(frozen=True, slots=True)
class Rows:
    """Sparse rows lower ≤ A x ≤ upper, gathered entry by entry."""

    rows: list[IntArray]
    columns: list[IntArray]
    entries: list[FloatArray]
    lower: list[FloatArray]
    upper: list[FloatArray]

    @property
    def count(self) -> int:
        """Rows so far."""
        return sum(part.size for part in self.lower)

    def matrix(self, columns: int) -> Any:
        """The sparse matrix A."""
        from scipy.sparse import csr_array

        entries, rows = np.concatenate(self.entries), np.concatenate(self.rows)
        return csr_array((entries, (rows, np.concatenate(self.columns))), shape=(self.count, columns))

    def add(
        self, count: int, rows: IntArray, columns: IntArray, entries: FloatArray | float, lower: float, upper: float
    ) -> None:
        """Add a block of `count` rows with the same two ends.

        `entries` (k,) with their columns (k,) and rows (k,), which count from 0 within the block.
        """
        self.rows.append(np.asarray(rows, dtype=np.int64) + self.count)
        self.columns.append(np.asarray(columns, dtype=np.int64))
        self.entries.append(np.broadcast_to(np.asarray(entries, dtype=np.float64), self.rows[-1].shape))
        self.lower.append(np.full(count, lower))
        self.upper.append(np.full(count, upper))

    def add_one(self, columns: list[int], entries: list[float], lower: float, upper: float) -> None:
        """Add one row of plain numbers."""
        self.add(1, np.zeros(len(columns), np.int64), np.array(columns), np.array(entries), lower, upper)


def _rows(program: WindowProgram, lowest: int, highest: int) -> tuple[Rows, slice]:
    """All rows, and where those of the units are: each in one set at most."""
    rows = Rows([], [], [], [], [])
    number = len(program.sources)
    flows = 1 + number + np.arange(program.flow_unit.size)
    rows.add_one([0], [1.0], lowest, highest)
    for index in range(len(program.units.positions)):
        mine = [1 + row for row, source in enumerate(program.sources) if source.position == index]
        rows.add_one([*mine, 0], [*[1.0] * len(mine), -1.0], 0.0, 0.0)
    open_to = np.flatnonzero(~program.whole)
    place = np.zeros(number, dtype=np.int64)
    place[open_to] = np.arange(open_to.size)
    sizes = np.array([program.units.positions[source.position].size for source in program.sources], dtype=np.float64)
    rows.add(
        open_to.size,
        np.concatenate([place[program.flow_source], place[open_to]]),
        np.concatenate([flows, 1 + open_to]),
        np.concatenate([program.units.weight[program.flow_unit], -sizes[open_to]]),
        0.0,
        0.0,
    )
    sets = np.flatnonzero(program.whole)
    taken = [program.sources[row].members for row in sets]
    each = slice(rows.count, rows.count + program.units.count)
    rows.add(
        program.units.count,
        np.concatenate([program.flow_unit, *taken]),
        np.concatenate([flows, 1 + np.repeat(sets, [members.size for members in taken])]),
        1.0,
        -inf,
        1.0,
    )
    every = np.arange(flows.size)
    columns = np.concatenate([flows, 1 + program.flow_source])
    rows.add(flows.size, np.concatenate([every, every]), columns, np.repeat([1.0, -1.0], flows.size), -inf, 0.0)
    _add_apart(rows, program, flows)
    _add_copy_order(rows, program)
    return rows, each


def _add_apart(rows: Rows, program: WindowProgram, flows: IntArray) -> None:
    """Two units kept apart: at most one of them in a copy."""
    if not program.units.apart.any():
        return
    place = {(int(s), int(u)): int(f) for s, u, f in zip(program.flow_source, program.flow_unit, flows, strict=True)}
    pairs = [(int(a), int(b)) for a, b in np.argwhere(np.triu(program.units.apart))]
    for number, source in enumerate(program.sources):
        for a, b in pairs if source.single else []:
            if (number, a) in place and (number, b) in place:
                rows.add_one([place[number, a], place[number, b], 1 + number], [1.0, 1.0, -1.0], -inf, 0.0)


def _add_copy_order(rows: Rows, program: WindowProgram) -> None:
    """Copies of one window are used in order; without this every permutation would be searched."""
    for number, (source, following) in enumerate(zip(program.sources, program.sources[1:], strict=False)):
        if source.single and following is source:
            rows.add_one([1 + number, 2 + number], [1.0, -1.0], 0.0, inf)


def _bounds(program: WindowProgram, highest: int) -> FloatArray:
    most = np.array([source.most for source in program.sources], dtype=np.float64)
    return np.concatenate([[float(highest)], most, np.ones(program.flow_unit.size)])


def _costs(program: WindowProgram, *, most: bool) -> FloatArray:
    return np.concatenate([[-1.0 if most else 0.0], program.cost, np.zeros(program.flow_unit.size)])


@dataclass(frozen=True, slots=True)
class Prices:
    """The relaxation's value, and what one more would be worth: of each unit (u,), of each source's cap (s,)."""

    value: float
    springs: FloatArray
    caps: FloatArray


def relaxed(program: WindowProgram, lowest: int, highest: int, watch: Watch, *, most: bool) -> Prices | None:
    """The relaxation: as many complete engines as there can be, or the least cost of a number of them.

    None when the watch ended it or there is no point at all. For the most, by the interior-point method, which is
    faster on large programmes.
    """
    from scipy.optimize import linprog
    from scipy.sparse import vstack

    rows, each = _rows(program, lowest, highest)
    matrix = rows.matrix(program.size)
    low, high = np.concatenate(rows.lower), np.concatenate(rows.upper)
    equal = low == high
    under, over = ~equal & np.isfinite(high), ~equal & np.isfinite(low)
    upper = _bounds(program, highest)
    if not most:
        # the rows of the units say it too, and prices belong there
        upper[1 : 1 + len(program.sources)][program.whole] = inf

    def run() -> Any:
        return linprog(
            _costs(program, most=most),
            A_ub=vstack([matrix[under], -matrix[over]]),
            b_ub=np.concatenate([high[under], -low[over]]),
            A_eq=matrix[equal],
            b_eq=low[equal],
            bounds=np.column_stack([np.zeros(program.size), upper]).tolist(),
            method="highs-ipm" if most else "highs-ds",
            options={"time_limit": seconds(watch)},
        )

    answer = watch.aside(run, watch)
    if answer is None or answer.status != 0:
        return None
    prices = np.zeros(rows.count)
    prices[under] = -answer.ineqlin.marginals[: int(under.sum())]
    caps = -np.asarray(answer.upper.marginals, dtype=np.float64)[1 : 1 + len(program.sources)]
    value = -float(answer.fun) if most else float(answer.fun)
    return Prices(value, np.maximum(prices[each], 0.0), np.maximum(caps, 0.0))


@dataclass(frozen=True, slots=True)
class Solved:
    """What the solver came back with: a bound below every grouping's cost, and whether there is none at all."""

    bound: float
    infeasible: bool = False


def solve_program(
    program: WindowProgram, lowest: int, highest: int, watch: Watch, *, most: bool, most_nodes: int = ANY
) -> tuple[Grouping | None, Solved]:
    """The best grouping with between two counts of complete engines: as many as there can be, or of the least cost.

    None when there is none, or the watch or `most_nodes` branches of the search tree ended it without one.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    rows, _ = _rows(program, lowest, highest)
    integer_flow = program.units.constrained()[program.flow_unit].astype(np.int64)
    integrality = np.concatenate([np.ones(1 + len(program.sources), dtype=np.int64), integer_flow])
    constraint = LinearConstraint(rows.matrix(program.size), np.concatenate(rows.lower), np.concatenate(rows.upper))

    def run() -> Any:
        return milp(
            _costs(program, most=most),
            constraints=constraint,
            integrality=integrality,
            bounds=Bounds(np.zeros(program.size), _bounds(program, highest)),
            options={"time_limit": seconds(watch), "mip_rel_gap": 0.0, "node_limit": most_nodes},
        )

    answer = watch.aside(run, watch)
    if answer is None:
        return None, Solved(-inf)
    bound = -inf if answer.mip_dual_bound is None else float(answer.mip_dual_bound)
    grouping = None if answer.x is None else _sets_of(program, np.asarray(answer.x, dtype=np.float64))
    return grouping, Solved(bound, answer.status == 2)


def seconds(watch: Watch) -> float:
    """How long the solver may take, s."""
    return max(LEAST_S, min(watch.seconds_left(), MOST_S))


def _sets_of(program: WindowProgram, x: FloatArray) -> Grouping:
    """Whole units to the sources chosen, by maximum flow, then each source's units cut into its sets."""
    counts = np.round(x[1 : 1 + len(program.sources)]).astype(np.int64)
    flows = x[1 + len(program.sources) :]
    open_to = ~program.units.constrained()
    used = [(int(s), program.sources[s]) for s in np.flatnonzero(counts)]
    chosen = [(source.position, tuple(map(int, source.members))) for _, source in used if source.whole]
    fixed: dict[int, list[int]] = {s: [] for s, source in used if not source.whole}
    for source, unit, flow in zip(program.flow_source, program.flow_unit, flows, strict=True):
        if not open_to[unit] and flow > 0.5:
            fixed[int(source)].append(int(unit))
    demand = {
        s: int(counts[s]) * program.units.positions[program.sources[s].position].size
        - int(program.units.weight[members].sum() if members else 0)
        for s, members in fixed.items()
    }
    for _, taken in chosen:
        open_to[list(taken)] = False
    allowed = {s: program.sources[s].members[open_to[program.sources[s].members]] for s in fixed}
    filled = _fill(allowed, demand) if fixed else {}
    for s, members in fixed.items():
        position = program.sources[s].position
        pool = sorted(filled[s], key=lambda u: tuple(program.units.low[u]))
        if program.sources[s].single:
            chosen.append((position, tuple(sorted(members + pool))))
            continue
        k = program.units.positions[position].size
        chosen.extend((position, tuple(sorted(pool[i * k : (i + 1) * k]))) for i in range(int(counts[s])))
    return Grouping(tuple(sorted(chosen)))


def _fill(allowed: dict[int, IntArray], demand: dict[int, int]) -> dict[int, list[int]]:
    """Single springs to sources so that each gets its demand and each spring goes to one, by maximum flow."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import maximum_flow

    keys = sorted(allowed)
    springs = np.unique(np.concatenate([allowed[key] for key in keys]))
    place = {int(unit): 1 + i for i, unit in enumerate(springs)}
    sink = 1 + springs.size + len(keys)
    tails = [0] * springs.size
    heads = list(range(1, 1 + springs.size))
    capacity = [1] * springs.size
    for i, key in enumerate(keys):
        node = 1 + springs.size + i
        tails += [place[int(unit)] for unit in allowed[key]] + [node]
        heads += [node] * allowed[key].size + [sink]
        capacity += [1] * allowed[key].size + [demand[key]]
    graph = csr_array((np.array(capacity, dtype=np.int32), (tails, heads)), shape=(sink + 1, sink + 1))
    flow = maximum_flow(graph, 0, sink).flow.tocoo()
    answer: dict[int, list[int]] = {key: [] for key in keys}
    for tail, head, amount in zip(flow.row, flow.col, flow.data, strict=True):
        if amount > 0 and 1 <= tail <= springs.size < head < sink:
            answer[keys[head - 1 - springs.size]].append(int(springs[tail - 1]))
    assert all(len(answer[key]) == demand[key] for key in keys)
    return answer
