"""A sign of life on standard error while a command is at work for longer than a person waits gladly."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Lock, Thread
from time import monotonic

from valvelab.cli.screen import screen_of

PATIENCE_S, STEP_S = 2.0, 0.5
_CLEAR = "\r\033[K"


class Line:
    """The line that is drawn anew; whoever prints clears it first."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._begun: float | None = None
        self._text = ""
        self._drawn = False

    @contextmanager
    def about(self, text: str) -> Iterator[None]:
        """For the while, after two seconds: what is done and for how long."""
        ended = Event()
        self._begun, self._text = monotonic(), text
        thread = Thread(target=self._draw_until, args=(ended,), daemon=True)
        thread.start()
        try:
            yield
        finally:
            ended.set()
            thread.join()
            self.clear()
            self._begun = None

    def say(self, text: str) -> None:
        """What is done now."""
        self._text = text

    def clear(self) -> None:
        """Make room for what is printed; the line comes again where the work goes on."""
        with self._lock:
            if self._drawn:
                sys.stderr.write(_CLEAR)
                sys.stderr.flush()
                self._drawn = False
            if self._begun is not None:
                self._begun = monotonic()

    def _draw_until(self, ended: Event) -> None:
        while not ended.wait(STEP_S):
            with self._lock:
                waited = monotonic() - (self._begun or monotonic())
                if waited >= PATIENCE_S:
                    screen = screen_of(sys.stderr)
                    text = f"{self._text} … {waited:.0f} s"
                    sys.stderr.write(_CLEAR + (text if screen is None else text[: screen.width - 1]))
                    sys.stderr.flush()
                    self._drawn = True


LINE = Line()
"""The one line of the program."""
