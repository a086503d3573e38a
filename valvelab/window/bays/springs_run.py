"""Long work beside the window that tells how far it has come and can be ended with the best found."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable
from functools import partial
from threading import Event, Thread

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QWidget

from valvelab.errors import ValvelabError
from valvelab.language import say
from valvelab.pieces import rest
from valvelab.window.right_of_way import RightOfWay
from valvelab.window.turns import turns_at

Work = Callable[[Callable[[object], None], Callable[[], bool]], object]


class Run(QObject):
    """One piece of work at a time; what an earlier one still says after `start` or `drop` is not heard any more.

    `progressed(progress)`, then `ended(value)` or `refused(sentence)`.
    """

    progressed = Signal(object)
    ended = Signal(object)
    refused = Signal(str)
    _came = Signal(int, str, object)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._seen_in = parent
        self._number = 0
        self._stop = Event()
        self.running = False
        self._came.connect(self._take)
        parent.destroyed.connect(self._stop.set)

    def start(self, work: Work) -> None:
        """Begin; whatever ran before is dropped."""
        self.drop()
        self.running = True
        number, stop = self._number, Event()
        self._stop = stop
        turns = turns_at(self._seen_in)
        way = RightOfWay() if turns is None else turns.right_of_way

        def tell(kind: str, value: object) -> None:
            with contextlib.suppress(RuntimeError):  # the window may be gone by now
                self._came.emit(number, kind, value)

        def ended() -> bool:
            rest()
            return stop.is_set()

        def run() -> None:
            try:
                tell("ended", way.beside(partial(work, lambda progress: tell("progressed", progress), ended)))
            except ValvelabError as refusal:
                tell("refused", str(refusal))
            except BaseException as error:  # noqa: BLE001 - handed to the window's crash path
                tell("failed", error)

        Thread(target=run, name="valvelab sets", daemon=True).start()

    def cancel(self) -> None:
        """End the work with the best found so far."""
        self._stop.set()

    def drop(self) -> None:
        """End the work and forget it."""
        self._stop.set()
        self._number += 1
        self.running = False

    def _take(self, number: int, kind: str, value: object) -> None:
        if number != self._number:
            return
        if kind == "progressed":
            self.progressed.emit(value)
            return
        self.running = False
        if kind == "ended":
            self.ended.emit(value)
        elif kind == "refused":
            self.refused.emit(say(str(value)))
        elif isinstance(value, BaseException):
            sys.excepthook(type(value), value, value.__traceback__)
