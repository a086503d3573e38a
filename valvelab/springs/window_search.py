"""The search for the most sets: annealing finds them while prices bound them; what is left open goes to the solver."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from threading import Event, Thread
from typing import Self

from valvelab.arrays import FloatArray
from valvelab.springs.tolerance_windows import MostSets
from valvelab.springs.tray import BoolArray, Position, Progress, Units, Watch
from valvelab.springs.window_annealing import TRIES, Ground, one_engine_more, windows_of
from valvelab.springs.window_bound import Ceiling
from valvelab.springs.window_program import solve_program, window_program

SMALL, MOST_FLOWS = 6_000, 100_000
"""Springs × windows up to which the solver is asked before long annealing, and at all."""
FEW_NODES, ANY = 60, 2**31 - 1
LOOK_EVERY_S = 0.02
TURN_S = 2e-4
"""Annealing never waits for anything; with turns of the usual 5 ms the thread beside it would crawl."""


def search_windows(
    units: Units,
    positions: tuple[Position, ...],
    windows: list[BoolArray],
    limits: FloatArray,
    start: MostSets,
    watch: Watch,
) -> MostSets:
    """The most complete engines from `start` on.

    The bound is lowered in a thread beside the annealing. What annealing finds depends on the start alone, and the
    bound only tells it where to stop, so the answer is the same however the two take turns.
    """
    return _Search(units, positions, windows, limits, start, watch).run()


class _Search:
    """One search: the best so far, and the ceiling that a thread of its own lowers."""

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
        self.around = windows_of(len(positions), windows, start.grouping)
        self.flows = sum(int(masks.sum()) for masks in windows)

    def run(self) -> MostSets:
        """Anneal and bound side by side, then ask the solver."""
        with Beside(self._lower, self.watch) as lowering:
            self._anneal(range(1))
            if self.flows <= SMALL and not self._proven():
                lowering.wait()
                self._ask(FEW_NODES)
            self._anneal(range(1, len(TRIES)))
            if not self._proven():
                lowering.wait()
        if not self._proven():
            self._ask(None)
        return self.best

    def _lower(self, watch: Watch) -> None:
        self.ceiling.lower(lambda: self.ceiling.bound <= self.best.complete, watch)

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

    def _ask(self, most_nodes: int | None) -> None:
        """Ask the solver for the count at the bound with every window it could use; without one the bound falls."""
        while not self._proven() and not self.watch.over():
            useful = self.ceiling.useful()
            if sum(int(masks.sum()) for masks in useful) > MOST_FLOWS:
                return
            program = window_program(self.units, self.positions, useful)
            count = self.best.bound
            grouping, solved = solve_program(program, count, count, self.watch, most=True, most_nodes=most_nodes or ANY)
            if grouping is not None:
                self._stand(MostSets(grouping, count, count))
            elif solved.infeasible:
                self.ceiling.bound = count - 1
            else:
                return


class Beside:
    """Work in a thread of its own, told to stop when the block is left; what goes wrong in it is raised there."""

    def __init__(self, work: Callable[[Watch], None], watch: Watch) -> None:
        self.left = Event()
        self.watch = watch
        self.failure: BaseException | None = None
        own = replace(watch, cancelled=lambda: self.left.is_set() or watch.cancelled(), report=lambda _: None)

        def run() -> None:
            try:
                work(own)
            except BaseException as error:  # noqa: BLE001 - raised again in the waiting thread
                self.failure = error

        self.thread = Thread(target=run, daemon=True)

    def __enter__(self) -> Self:
        """Start the work."""
        self.interval = sys.getswitchinterval()
        sys.setswitchinterval(TURN_S)
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Tell it to stop and wait for that."""
        self.left.set()
        self.thread.join()
        sys.setswitchinterval(self.interval)
        if self.failure is not None:
            raise self.failure

    def wait(self) -> None:
        """Wait until the work is done or the watch ends."""
        while self.thread.is_alive() and not self.watch.over():
            self.thread.join(LOOK_EVERY_S)
