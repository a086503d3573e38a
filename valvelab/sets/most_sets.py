"""The search for the most sets: annealing finds them while prices bound them; what is left open goes to the solver."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from threading import Event

from valvelab.arrays import BoolArray, FloatArray
from valvelab.sets.beside import Beside, short_turns
from valvelab.sets.prices import Ceiling
from valvelab.sets.programme import solve_program, window_program
from valvelab.sets.seating import TRIES, Ground, one_engine_more
from valvelab.sets.tray import Position, Progress, Units, Watch
from valvelab.sets.windows import MostSets, windows_around

SMALL, MOST_FLOWS = 6_000, 100_000
"""Springs × windows up to which the solver is asked before long annealing, and at all."""
FEW_NODES, ANY = 60, 2**31 - 1


class WindowSearch:
    """One search for the most complete engines, from `start` on: the best so far, and the ceiling above it.

    The bound is lowered in a thread beside the annealing. What annealing finds depends on the start alone, and the
    bound only tells it where to stop, so the answer is the same however the two take turns.
    """

    def __init__(
        self,
        units: Units,
        positions: tuple[Position, ...],
        windows: list[BoolArray],
        limits: FloatArray,
        start: MostSets,
        watch: Watch,
    ) -> None:
        self.units, self.positions, self.watch = units, positions, watch
        self.best = start
        self.ceiling = Ceiling(units, positions, windows, start.grouping, limits, start.bound)
        self.ground = Ground.of(units, positions, windows, limits)
        self.around = windows_around(windows, start.grouping)
        self.flows = sum(int(masks.sum()) for masks in windows)

    def run(self) -> MostSets:
        """Anneal and bound side by side, then ask the solver."""
        with self._lowering() as lowering:
            self._anneal(range(1))
            if self.flows <= SMALL and not self._proven():
                lowering.wait(self.watch.over)
                self._ask(FEW_NODES)
            self._anneal(range(1, len(TRIES)))
            if not self._proven():
                lowering.wait(self.watch.over)
        if not self._proven():
            self._ask(ANY)
        return self.best

    @contextmanager
    def _lowering(self) -> Iterator[Beside[None]]:
        """The ceiling is lowered beside what is done here, and no longer."""
        left, watch, ceiling = Event(), self.watch, self.ceiling
        own = replace(watch, cancelled=lambda: left.is_set() or watch.cancelled())
        with short_turns():
            lowering = Beside(lambda: ceiling.lower(lambda: ceiling.bound <= self.best.complete, own))
            try:
                yield lowering
            finally:
                left.set()
                lowering.answer()

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
            found = one_engine_more(self.ground, self.around, attempt, self.watch, self._proven)
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
            program = window_program(self.units, self.positions, useful)
            count = self.best.bound
            grouping, solved = solve_program(program, count, count, self.watch, most=True, most_nodes=most_nodes)
            if grouping is not None:
                self._stand(MostSets(grouping, count, count))
            elif solved.infeasible:
                self.ceiling.bound = count - 1
            else:
                return
