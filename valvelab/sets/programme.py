"""The integer programme over tolerance windows, and its answer turned into sets."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.rounded_rows import Rounded
from valvelab.sets.solver import Rows, Solved, relax, solve
from valvelab.sets.tray import Grouping, Position, Units, Watch


@dataclass(frozen=True, slots=True)
class _Source:
    """Where sets come from: a window for one position, used `most` times at most, and the units that may flow in.

    A copy (`single`) gives at most one set and takes constrained units; otherwise only free units enter.
    """

    position: int
    members: IntArray
    most: int
    single: bool


def _sources(
    units: Units, positions: tuple[Position, ...], windows: list[BoolArray], costs: list[FloatArray]
) -> tuple[list[_Source], list[float]]:
    constrained = units.constrained()
    sources: list[_Source] = []
    prices: list[float] = []
    for number, position in enumerate(positions):
        for mask, cost in zip(windows[number], costs[number], strict=True):
            free = np.flatnonzero(mask & ~constrained)
            if free.size >= position.size:
                sources.append(_Source(number, free, free.size // position.size, single=False))
                prices.append(float(cost))
            copies = min(int((mask & constrained).sum()), int(units.weight[mask].sum()) // position.size)
            sources.extend([_Source(number, np.flatnonzero(mask), 1, single=True)] * copies)
            prices.extend([float(cost)] * copies)
    return sources, prices


@dataclass(frozen=True, slots=True)
class WindowProgram:
    """Variables in order: complete engines, sets from each source, then the flow of each unit into each source."""

    units: Units
    positions: tuple[Position, ...]
    sources: list[_Source]
    cost: FloatArray
    flow_source: IntArray
    flow_unit: IntArray

    @property
    def size(self) -> int:
        """Number of variables."""
        return 1 + len(self.sources) + self.flow_unit.size

    def masks(self) -> BoolArray:
        """The units that may flow into each source, (s, u)."""
        masks = np.zeros((len(self.sources), len(self.units.members)), dtype=np.bool_)
        masks[self.flow_source, self.flow_unit] = True
        return masks


def window_program(
    units: Units, positions: tuple[Position, ...], windows: list[BoolArray], costs: list[FloatArray] | None = None
) -> WindowProgram:
    """The programme of some windows or boxes; `costs` of a set from each, one array a position, nothing by default."""
    prices = costs if costs is not None else [np.zeros(len(masks)) for masks in windows]
    sources, cost = _sources(units, positions, windows, prices)
    flow_source = np.repeat(np.arange(len(sources)), [source.members.size for source in sources])
    flow_unit = np.concatenate([source.members for source in sources] or [np.zeros(0, dtype=np.int64)])
    return WindowProgram(units, positions, sources, np.array(cost), flow_source, flow_unit)


def _rows(program: WindowProgram, lowest: int, highest: int) -> Rows:
    rows = Rows.empty()
    number = len(program.sources)
    flows = 1 + number + np.arange(program.flow_unit.size)
    nought = np.zeros(1, dtype=np.int64)
    rows.add(nought, nought, 1.0, np.array([lowest]), np.array([highest]))
    for index in range(len(program.positions)):
        mine = np.flatnonzero([source.position == index for source in program.sources])
        entries = np.concatenate([np.ones(mine.size), [-1.0]])
        rows.add(np.zeros(mine.size + 1, dtype=np.int64), np.append(1 + mine, 0), entries, np.zeros(1), np.zeros(1))
    sizes = np.array([program.positions[source.position].size for source in program.sources], dtype=np.float64)
    rows.add(
        np.concatenate([program.flow_source, np.arange(number)]),
        np.concatenate([flows, 1 + np.arange(number)]),
        np.concatenate([program.units.weight[program.flow_unit], -sizes]),
        np.zeros(number),
        np.zeros(number),
    )
    count = len(program.units.members)
    rows.add(program.flow_unit, flows, 1.0, np.full(count, -inf), np.ones(count))
    each = np.arange(flows.size)
    rows.add(
        np.concatenate([each, each]),
        np.concatenate([flows, 1 + program.flow_source]),
        np.repeat([1.0, -1.0], flows.size),
        np.full(flows.size, -inf),
        np.zeros(flows.size),
    )
    _add_apart(rows, program, flows)
    _add_copy_order(rows, program)
    return rows


def _add_apart(rows: Rows, program: WindowProgram, flows: IntArray) -> None:
    """Two units kept apart: at most one of them in a copy."""
    if not program.units.apart.any():
        return
    place = {(int(s), int(u)): int(f) for s, u, f in zip(program.flow_source, program.flow_unit, flows, strict=True)}
    pairs = np.argwhere(np.triu(program.units.apart))
    for number, source in enumerate(program.sources):
        if not source.single:
            continue
        for a, b in pairs:
            columns = [place.get((number, int(a))), place.get((number, int(b)))]
            if None not in columns:
                both = np.array([*columns, 1 + number])
                signs = np.array([1.0, 1.0, -1.0])
                rows.add(np.zeros(3, dtype=np.int64), both, signs, np.array([-inf]), np.zeros(1))


def _add_copy_order(rows: Rows, program: WindowProgram) -> None:
    """Copies of one window are used in order; without this every permutation would be searched."""
    for number, (source, following) in enumerate(zip(program.sources, program.sources[1:], strict=False)):
        if source.single and following is source:
            columns = np.array([1 + number, 2 + number])
            rows.add(np.zeros(2, dtype=np.int64), columns, np.array([1.0, -1.0]), np.zeros(1), np.array([inf]))


def _costs(program: WindowProgram, *, most: bool) -> FloatArray:
    cost = np.zeros(program.size)
    cost[0] = -1.0 if most else 0.0
    cost[1 : 1 + len(program.sources)] = program.cost
    return cost


def _upper(program: WindowProgram, highest: int) -> FloatArray:
    most = np.array([source.most for source in program.sources], dtype=np.float64)
    return np.concatenate([[float(highest)], most, np.ones(program.flow_unit.size)])


@dataclass(frozen=True, slots=True)
class Prices:
    """The relaxation's most engines and the sets from each source (s,).

    What one more would be worth: of each spring (u,), of each source's cap (s,), in each rounded row.
    """

    value: float
    springs: FloatArray
    caps: FloatArray
    rows: FloatArray
    sets: FloatArray


def relaxed(program: WindowProgram, rounded: list[Rounded], highest: int, watch: Watch) -> Prices | None:
    """As many complete engines as the relaxation allows, with rounded rows added; None when the watch ended it."""
    rows = _rows(program, 0, highest)
    first = 1 + len(program.positions) + len(program.sources)
    known = rows.count
    number = len(program.sources)
    if rounded:
        masks = program.masks()
        sizes = np.array([program.positions[source.position].size for source in program.sources])
    for row in rounded:
        takes = row.takes(masks, sizes)
        entering = np.flatnonzero(takes)
        most = np.array([row.most])
        rows.add(np.zeros(entering.size, dtype=np.int64), 1 + entering, takes[entering], np.array([-inf]), most)
    answer = relax(_costs(program, most=True), rows, _upper(program, highest), watch, interior=True)
    if answer is None:
        return None
    return Prices(
        value=-answer.value,
        springs=answer.rows[first : first + len(program.units.members)],
        caps=answer.caps[1 : 1 + number],
        rows=answer.rows[known:],
        sets=answer.x[1 : 1 + number],
    )


def solve_program(
    program: WindowProgram, lowest: int, highest: int, watch: Watch, *, most: bool, most_nodes: int = 2**31 - 1
) -> tuple[Grouping | None, Solved]:
    """The best grouping with between two counts of complete engines; None when there is none or the watch ended it."""
    integer_flow = program.units.constrained()[program.flow_unit].astype(np.int64)
    integrality = np.concatenate([np.ones(1 + len(program.sources), dtype=np.int64), integer_flow])
    rows = _rows(program, lowest, highest)
    solved = solve(_costs(program, most=most), rows, integrality, _upper(program, highest), watch, most_nodes)
    return (None if solved.x is None else _sets_of(program, solved)), solved


def _sets_of(program: WindowProgram, solved: Solved) -> Grouping:
    """Whole units to the sources chosen, by maximum flow, then each source's units cut into its sets."""
    assert solved.x is not None
    counts = np.round(solved.x[1 : 1 + len(program.sources)]).astype(np.int64)
    flows = solved.x[1 + len(program.sources) :]
    constrained = program.units.constrained()
    fixed: dict[int, list[int]] = {int(s): [] for s in np.flatnonzero(counts)}
    for source, unit, flow in zip(program.flow_source, program.flow_unit, flows, strict=True):
        if constrained[unit] and flow > 0.5:
            fixed[int(source)].append(int(unit))
    demand = {
        s: int(counts[s]) * program.positions[program.sources[s].position].size
        - int(program.units.weight[members].sum() if members else 0)
        for s, members in fixed.items()
    }
    allowed = {s: program.sources[s].members[~constrained[program.sources[s].members]] for s in fixed}
    filled = fill(allowed, demand)
    chosen: list[tuple[int, tuple[int, ...]]] = []
    for s, members in fixed.items():
        position = program.sources[s].position
        pool = sorted(filled[s], key=lambda u: tuple(program.units.low[u]))
        if program.sources[s].single:
            chosen.append((position, tuple(sorted(members + pool))))
            continue
        k = program.positions[position].size
        chosen.extend((position, tuple(sorted(pool[i * k : (i + 1) * k]))) for i in range(int(counts[s])))
    return Grouping(tuple(sorted(chosen)))


def fill(allowed: dict[int, IntArray], demand: dict[int, int]) -> dict[int, list[int]]:
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
