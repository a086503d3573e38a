"""What a bay's view is: a widget that shows the document and the answer to the bay's question."""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from typing import Any, Generic

from PySide6.QtWidgets import QWidget

from valvelab.window.bench import Bench
from valvelab.workbench.document import Document, Value


class BayView(QWidget, Generic[Value]):
    """Base of the views; `make_view(bench)` in each `<bay>_view` module returns one.

    The window calls `show_answer` whenever the document or the theme changed and there is an answer; a view compares
    with what it showed before and redraws what differs. Edits go through `self.bench`.
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self.bench = bench
        self._known: dict[str, tuple[object, tuple[object, ...]]] = {}

    def changed(self, name: str, answer: object, *look: object) -> bool:
        """Whether what a part is drawn from is another than when it was last asked: the very answer, or the look."""
        old, self._known[name] = self._known.get(name), (answer, look)
        return old is None or old[0] is not answer or old[1] != look

    def show_answer(self, document: Document, value: Value) -> None:
        """Show the answer under the document's choices and units."""
        raise NotImplementedError

    def headline(self, document: Document, _value: Value) -> tuple[str, str]:
        """What was inspected, and against what, for the banner."""
        raise NotImplementedError

    def choose_item(self, item: str) -> None:
        """A row of the verdict table was chosen."""


def numbered(name: str, serial: str | None) -> str:
    """A part with its serial number, where it has one."""
    return " ".join(word for word in (name, serial and f"no. {serial}") if word)


def _made(name: str, what: str, bench: Bench) -> Any:
    """What `make_<what>(bench)` in the module `<name>_<what>` gives; None where there is no such module."""
    module = f"valvelab.window.bays.{name}_{what}"
    return None if find_spec(module) is None else getattr(import_module(module), f"make_{what}")(bench)


def make_start(name: str, bench: Bench) -> QWidget | None:
    """What a bay offers while nothing is on the bench for it: `make_start(bench)` in `<bay>_start`, or None.

    A module of its own, because it is wanted before the first paint: it must not load what draws plots.
    """
    found = _made(name, "start", bench)
    assert found is None or isinstance(found, QWidget)
    return found


def make_view(name: str, bench: Bench) -> BayView[Any] | None:
    """The view of a bay; None where none was made."""
    view = _made(name, "view", bench)
    assert view is None or isinstance(view, BayView)
    return view
