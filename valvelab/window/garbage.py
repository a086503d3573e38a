"""When rings of garbage are searched for: a search through all that lives stops every thread, the window's too."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from PySide6.QtCore import QObject, QTimer

_NEVER = 2**31 - 1
REST_MS = 5000
"""Of rest, until a search through everything."""
WORTH = 20
"""Searches among what is young, after which one through everything is worth while."""


def keep_what_is_loaded() -> None:
    """Take all that lives by now for good: what was loaded, and the window's frame, are not searched again."""
    gc.freeze()


@contextmanager
def waits() -> Iterator[None]:
    """Search for no garbage inside, where widgets of any window are walked over.

    A search may destroy widgets of a closed window that are still in Qt's list of all widgets, on its way to Python.
    """
    searched = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if searched:
            gc.enable()


class Sweeper(QTimer):
    """Searches through everything only once the window has been at rest for a while; young garbage goes as ever.

    `end` leaves it to Python again.
    """

    def __init__(self, parent: QObject, at_rest: Callable[[], bool]) -> None:
        super().__init__(parent, singleShot=True, interval=REST_MS)
        self._at_rest = at_rest
        young, middle, self._usual = gc.get_threshold()
        gc.set_threshold(young, middle, _NEVER)
        self.timeout.connect(self._sweep)

    def put_off(self) -> None:
        """Something is done: wait for the next rest."""
        self.start()

    def end(self) -> None:
        """The window closes: everything is searched when Python finds it due."""
        self.stop()
        young, middle, _ = gc.get_threshold()
        gc.set_threshold(young, middle, self._usual)

    def _sweep(self) -> None:
        if not self._at_rest():
            self.start()
        elif gc.get_count()[2] >= WORTH:
            gc.collect()
