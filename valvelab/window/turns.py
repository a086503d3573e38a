"""Work in pieces, so that the window stays calm over long tables and many springs."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject, QTimer


class Turns(QTimer):
    """Pieces of work one after another, each in a turn of the event loop of its own; all at once unless `patient`."""

    def __init__(self, parent: QObject, *, patient: bool) -> None:
        super().__init__(parent, interval=0)
        self.patient = patient
        self._waiting: dict[str, Callable[[], object]] = {}
        self.timeout.connect(self._do_next)

    def after(self, name: str, work: Callable[[], object]) -> None:
        """Do a piece of work after what waits already; it takes the place of one that waits under its name."""
        self._waiting.pop(name, None)
        if self.patient:
            self._waiting[name] = work
            self.start()
        else:
            work()

    def at_rest(self) -> bool:
        """Whether nothing waits."""
        return not self._waiting

    def _do_next(self) -> None:
        if self._waiting:
            self._waiting.pop(next(iter(self._waiting)))()
        else:
            self.stop()
