"""Work in pieces, so that the window stays calm over long tables and many springs."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import Protocol, runtime_checkable

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QWidget

from valvelab.window.right_of_way import RightOfWay


class Turns(QTimer):
    """Pieces of work one after another, each in a turn of the event loop of its own; all at once unless `patient`."""

    def __init__(self, parent: QObject, *, patient: bool) -> None:
        super().__init__(parent, interval=0)
        self.patient = patient
        self.right_of_way = RightOfWay()
        self._waiting: dict[str, Callable[[], object]] = {}
        self._ended = False
        self._drawn: Callable[[], object] | None = None
        self._drawing = QTimer(self, singleShot=True, interval=0)
        self._drawing.timeout.connect(self._draw_now)
        self.timeout.connect(self.do_next)

    def after(self, name: str, work: Callable[[], object]) -> None:
        """Do a piece of work after what waits already; it takes the place of one that waits under its name."""
        self._waiting.pop(name, None)
        if not self.patient:
            work()
        elif not self._ended:
            self._waiting[name] = work
            self.start()

    def end(self) -> None:
        """Forget what waits, and take nothing more: what it would show goes."""
        self._ended = True
        self._waiting.clear()
        self._drawn = None
        self._drawing.stop()
        self.stop()

    def in_steps(self, name: str, steps: Iterable[Callable[[], object]], *, next_up: bool = False) -> None:
        """Do some steps, each in a turn, one right after another; all take the place of those that wait under the name.

        next_up: before all that waits, for a piece of work that goes on.
        """
        self.after(name, partial(self._step, name, list(steps)))
        if next_up and name in self._waiting:
            self._waiting = {name: self._waiting.pop(name), **self._waiting}

    def _step(self, name: str, steps: list[Callable[[], object]]) -> None:
        if steps:
            steps.pop(0)()
        if steps:
            self.in_steps(name, steps, next_up=True)

    def draw(self, work: Callable[[], object]) -> None:
        """Draw in a turn of its own, before all that waits: not in that of the work which it shows."""
        self._drawn = work
        if not self.patient or self._ended:
            self._draw_now()
        elif not self._drawing.isActive():
            self._drawing.start()

    def _draw_now(self) -> None:
        work, self._drawn = self._drawn, None
        if work is not None:
            with self.right_of_way.taken():
                work()

    def at_rest(self) -> bool:
        """Whether nothing waits."""
        return not self._waiting and not self._drawing.isActive()

    def do_next(self) -> None:
        """Do what waits first: a turn of the event loop."""
        if self._drawing.isActive():
            return
        if self._waiting:
            with self.right_of_way.taken():
                self._waiting.pop(next(iter(self._waiting)))()
        else:
            self.stop()


@runtime_checkable
class InTurns(Protocol):
    """A window that shows things piece by piece."""

    turns: Turns


def turns_at(widget: QWidget) -> Turns | None:
    """The line of the window that a widget is seen in, where that has one and is seen."""
    window = widget.window()
    return window.turns if isinstance(window, InTurns) and window.isVisible() else None
