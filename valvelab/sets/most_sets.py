"""The search for the most sets: annealing finds them while prices bound them; what is left open goes to the solver.

Source: own search.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from valvelab.arrays import BoolArray
from valvelab.sets.prices import Ceiling
from valvelab.sets.programme import solve_program, window_program
from valvelab.sets.seating import Ground, Window, one_engine_more
from valvelab.sets.tray import Grouping, MostSets, Progress, Units, Watch
from valvelab.sets.windows import greedy_sets, simple_bound

SMALL, MOST_FLOWS = 6_000, 12_000
"""Springs × windows up to which the solver is asked before long annealing, and at all."""
TRIES = (20_000, 60_000)
"""Moves of each attempt at one engine more; the later ones only where the first did not get there."""
FEW_NODES, MANY_NODES = 60, 100
"""Branches of the solver in either case, so that work ends it and not time."""
A_TURN = 80
"""Looks of the annealing at its watch, some thousand moves in all, between two rounds that lower the bound."""


def most_sets(units: Units, windows: list[BoolArray], watch: Watch, known: Grouping) -> MostSets:
    """The most complete engines, a count, proven unless the watch runs out; then the best found and its bound.

    `windows`: for each position the maximal windows as a matrix (windows, units); where sets are `known`, all.
    """
    start = greedy_sets(units, windows)
    if len(known.sets) > len(start.sets):
        start = known
    complete = len(start.sets) // len(units.positions)
    best = MostSets(start, complete, max(simple_bound(units, windows), complete))
    watch.report(Progress("sets", best.complete, best.bound))
    if best.proven or watch.over():
        return best
    return WindowSearch(units, windows, best, watch).run()


class WindowSearch:
    """One search for the most complete engines, from `start` on: the best so far, and the ceiling above it.

    The annealing and the rounds that lower the bound take turns. What annealing finds depends on the start alone, and
    the bound only tells it where to stop.
    """

    def __init__(self, units: Units, windows: list[BoolArray], start: MostSets, watch: Watch) -> None:
        self.units, self.best, self.watch = units, start, watch
        self.ceiling = Ceiling(units, windows, start, watch)
        self.ground = Ground.of(units, np.any([masks.any(axis=0) for masks in windows], axis=0), windows)
        self.around: list[list[Window]] = [[] for _ in windows]
        for position, chosen in start.grouping.sets:
            self.around[position].append(self.ground.around(chosen))
        self.flows = sum(int(masks.sum()) for masks in windows)
        self.looks = 0

    def run(self) -> MostSets:
        """Anneal and bound by turns, then ask the solver."""
        self._anneal(range(1))
        if self.flows <= SMALL:
            self._lower()
            self._ask(FEW_NODES)
        self._anneal(range(1, len(TRIES)))
        self._lower()
        self._ask(MANY_NODES)
        return self.best

    def _lower(self) -> None:
        """All rounds that still lower the bound."""
        while not self._proven() and not self.watch.over() and self.ceiling.lower():
            pass

    def _reached(self) -> bool:
        """Whether annealing may stop; now and then it waits for a round of the bound."""
        self.looks += 1
        if self.looks % A_TURN == 0:
            self.ceiling.lower()
        return self._proven()

    def _proven(self) -> bool:
        if self.ceiling.bound < self.best.bound:
            self._stand(replace(self.best, bound=max(self.ceiling.bound, self.best.complete)))
        return self.best.proven

    def _stand(self, best: MostSets) -> None:
        self.best = best
        self.watch.report(Progress("sets", best.complete, best.bound))

    def _anneal(self, attempts: range) -> None:
        """Engine by engine more; each starts with the shortest attempt, `attempts` are for the first."""
        attempt = attempts.start
        while attempt < attempts.stop and not self._proven() and not self.watch.over():
            found = one_engine_more(self.ground, self.around, TRIES[attempt], self.watch, self._reached)
            attempt = 0 if found else attempt + 1
            if found:
                grouping, self.around = found
                self._stand(replace(self.best, grouping=grouping, complete=self.best.complete + 1))

    def _ask(self, most_nodes: int) -> None:
        """Ask the solver for the count at the bound with every window it could use; without one the bound falls."""
        while not self._proven() and not self.watch.over():
            useful = self.ceiling.useful()
            if sum(int(masks.sum()) for masks in useful) > MOST_FLOWS:
                return
            program = window_program(self.units, useful)
            count = self.best.bound
            grouping, solved = solve_program(program, count, count, self.watch, most=True, most_nodes=most_nodes)
            if grouping is not None:
                self._stand(MostSets(grouping, count, count))
            elif solved.infeasible:
                self.ceiling.bound = count - 1
            else:
                return
