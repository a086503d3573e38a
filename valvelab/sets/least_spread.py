"""The least total spread for a given number of sets: the tightest grouping found, and a bound that needs no solver.

Source: own search and bound; the shortest path along a sorted order is common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from valvelab.sets.exchanges import tightened
from valvelab.sets.programme import solve_program, window_program
from valvelab.sets.tray import Grouping, Progress, Units, Watch

EQUAL = 1e-7


@dataclass(frozen=True, slots=True)
class LeastSpread:
    """The tightest grouping found, its total spread, and a bound below every grouping with as many sets."""

    grouping: Grouping
    total: float
    bound: float

    @property
    def proven(self) -> bool:
        """Whether no grouping is tighter (within one part in ten million)."""
        return self.total <= self.bound + EQUAL * max(1.0, self.total)


@dataclass(frozen=True, slots=True)
class Effort:
    """Work allowed, in counts rather than seconds so that the answer does not depend on the machine.

    baths: heat baths; what they met is combined by the solver where there are several. hulls: nodes that the search
    for a bound looks at. enough: share of the spread that a bound on many characteristics is to be.
    listed_up_to: springs in a tray of which all boxes are listed, for a proof.
    """

    baths: int = 1
    hulls: int = 110_000
    enough: float = 0.7
    listed_up_to: int = 40
    rounds: int = 60
    branches: int = 3_000
    boxes: int = 20_000
    last_boxes: int = 150
    nodes: int = 100


QUICK = Effort(hulls=0, listed_up_to=0, rounds=0)
THOROUGH = Effort(
    baths=8,
    hulls=4_000_000,
    enough=1.0,
    listed_up_to=100,
    rounds=400,
    branches=400_000,
    boxes=60_000,
    last_boxes=20_000,
    nodes=20_000,
)


def line_bound(units: Units, engines: int) -> float:
    """A bound below every total spread, a plain number: each characteristic is cut by itself.

    As if springs could be sorted anew for each. On one characteristic the tightest `engines` sets are runs of
    neighbours in sorted order, found by a shortest path.
    Of single springs only: where some are kept together it says nothing, 0.
    """
    total = 0.0
    for position in units.positions if units.plain else ():
        allowed = units.suiting(position)
        k = position.size
        for c, limit in enumerate(units.limits):
            v = np.sort(units.low[allowed, c])
            least = np.zeros(v.size + 1)
            for _ in range(engines):
                ending = np.full(v.size + 1, np.inf)
                ending[k:] = least[:-k] + v[k - 1 :] - v[: v.size - k + 1]
                least = np.minimum.accumulate(ending)
            total += float(least[-1] / limit)
    return total


def least_spread(
    units: Units, start: Grouping, lowest: float, watch: Watch, effort: Effort
) -> tuple[LeastSpread, list[Grouping]]:
    """The tightest grouping found with as many sets as `start`, and groupings met on the way, itself the last.

    `lowest` bounds every total spread from below, a plain number. Heat baths and exchanges; then, after several baths,
    the best choice among all sets met.
    """
    engines = len(start.sets) // len(units.positions)
    met = tightened(units, start, watch, effort.baths)
    best = met[-1]
    if effort.baths > 1 and not watch.over():
        chosen = _best_of(units, met, engines, watch, effort.nodes)
        if chosen is not None and units.total(chosen) < units.total(best) - EQUAL:
            best = chosen
    total = units.total(best)
    found = LeastSpread(best, total, min(lowest, total))
    watch.report(Progress("spread", len(best.sets), None, found.total, found.bound))
    return found, [*met, best]


def _best_of(units: Units, met: list[Grouping], engines: int, watch: Watch, most_nodes: int) -> Grouping | None:
    """The choice of `engines` sets for each position, of those met, that share no unit, with the least total spread."""
    known = sorted({one for grouping in met for one in grouping.sets})
    mine = [[chosen for position, chosen in known if position == number] for number in range(len(units.positions))]
    masks = [np.array([units.mask(chosen) for chosen in sets]) for sets in mine]
    costs = [np.array([units.spread(chosen) for chosen in sets]) for sets in mine]
    program = window_program(units, masks, costs)
    return solve_program(program, engines, engines, watch, most=False, most_nodes=most_nodes)[0]
