"""One more set from a neighbourhood: a few sets near each other and all that is left over, grouped anew."""

from __future__ import annotations

from math import floor

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.springs.tray import BoolArray, Grouping, IntArray, Position, Units, Watch
from valvelab.springs.window_program import solve_program, spring_prices, window_program

NEIGHBOURS = (3, 5)
NODES = 60
WHOLE = 1e-6


def one_more(
    units: Units, position: Position, windows: BoolArray, limits: FloatArray, grouping: Grouping, watch: Watch
) -> Grouping | None:
    """A grouping with one set more, or None when no neighbourhood gives one.

    For each set, the sets nearest to it are opened; where the relaxation over their springs and the left-overs leaves
    room for a further set, the small integer programme is asked for it. One position only.
    """
    middles = np.array([_middle(units, limits, chosen) for _, chosen in grouping.sets])
    used = np.zeros(len(units.members), dtype=np.bool_)
    used[[unit for _, chosen in grouping.sets for unit in chosen]] = True
    for neighbours in NEIGHBOURS:
        if neighbours > len(middles):
            return None
        for middle in middles:
            if watch.over():
                return None
            near = np.argsort(np.linalg.norm(middles - middle, axis=1), kind="stable")[:neighbours]
            better = _regroup(units, position, windows, grouping, near, used, watch)
            if better is not None:
                return better
    return None


def _middle(units: Units, limits: FloatArray, chosen: tuple[int, ...]) -> FloatArray:
    index = list(chosen)
    return np.asarray(0.5 * (units.low[index].min(axis=0) + units.high[index].max(axis=0)) / limits)


def _regroup(
    units: Units,
    position: Position,
    windows: BoolArray,
    grouping: Grouping,
    near: IntArray,
    used: BoolArray,
    watch: Watch,
) -> Grouping | None:
    opened = {int(number) for number in near}
    free = ~used
    free[[unit for number in opened for unit in grouping.sets[number][1]]] = True
    wanted = len(opened) + 1
    local = windows & free
    local = np.unique(local[local @ units.weight >= position.size], axis=0)
    program = window_program(units, (position,), [local])
    relaxed = spring_prices(program, 0, len(units.members), watch, most=True)
    if relaxed is None or floor(-relaxed[0] + WHOLE) < wanted:
        return None
    found, _ = solve_program(program, wanted, wanted, watch, most=True, most_nodes=NODES)
    if found is None:
        return None
    kept = [one for number, one in enumerate(grouping.sets) if number not in opened]
    return Grouping(tuple(sorted([*kept, *found.sets])))
