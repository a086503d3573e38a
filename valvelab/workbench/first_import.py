"""numpy is imported by one thread at a time: it is a circle inside, which a second thread would find half made."""

from __future__ import annotations

from threading import Lock

_LOCK = Lock()


def numeric() -> None:
    """Load numpy, or wait until the thread that does so is done; whoever is about to load what needs it asks first."""
    with _LOCK:
        import numpy.typing  # noqa: F401, ICN001
