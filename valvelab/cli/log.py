"""`--verbose`: what is read, done and written, with the time it took, as lines on standard error."""

from __future__ import annotations

import logging
import platform
from collections.abc import Iterator
from contextlib import contextmanager

from valvelab import __version__
from valvelab.cli.streams import say
from valvelab.errors import one_line


class _ToStandardError(logging.Handler):
    """Lines through the one door to standard error."""

    def emit(self, record: logging.LogRecord) -> None:
        """One line: seconds since the program began, where, what."""
        say(f"{record.relativeCreated / 1000.0:8.3f} s  {record.name}: {one_line(record.getMessage())}")


@contextmanager
def told(words: list[str]) -> Iterator[None]:
    """For the while; first what was asked of which version on which system."""
    log = logging.getLogger("valvelab")
    before = log.handlers, log.level, log.propagate
    log.handlers, log.propagate = [_ToStandardError()], False
    log.setLevel(logging.DEBUG)
    log.debug("%s, Python %s, %s", __version__, platform.python_version(), platform.platform())
    log.debug("valvelab %s", " ".join(words))
    try:
        yield
    finally:
        log.handlers, _, log.propagate = before
        log.setLevel(before[1])
