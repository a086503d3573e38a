"""What draws plots is loaded away from the window, by one thread at a time: it is a circle inside, as numpy is."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from threading import Lock

from valvelab.pieces import in_pieces
from valvelab.workbench.bays import BAYS
from valvelab.workbench.first_import import numeric

_LOCK = Lock()
_PANES = (
    "valvelab.tables.headline",
    "valvelab.workbench.spec_sheet",
    "valvelab.window.limits_pane",
    "valvelab.window.entry_pane",
    "valvelab.window.plot_menu",
    "valvelab.workbench.exports",
)
"""What else is wanted of the window once something lies on the bench."""


def load_view(bay: str) -> None:
    """Load what the view of a bay is made of, or wait until the thread that does so is done."""
    _load(f"valvelab.window.bays.{bay}_view")


def load_all(given_up: Callable[[], bool]) -> None:
    """Load every view and pane, until that is given up."""
    for module in in_pieces((*(f"valvelab.window.bays.{bay.name}_view" for bay in BAYS), *_PANES)):
        if not given_up():
            _load(module)


def _load(module: str) -> None:
    numeric()
    with _LOCK:
        import_module(module)
