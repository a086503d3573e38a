"""What a bay's view is: a widget that shows the document and the answer to the bay's question."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Generic

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QWidget

from valvelab.language import say
from valvelab.window.bench import Bench
from valvelab.window.layouts import least_height
from valvelab.workbench.document import Document, Value

if TYPE_CHECKING:
    from valvelab.figures.description import Figure
    from valvelab.records.result import Verdict
    from valvelab.units import System
    from valvelab.window.drawing import FigureStack


class BayView(QWidget, Generic[Value]):
    """Base of the views, made of a bench; `door` makes each when it is wanted.

    The window calls `show_answer` whenever the document or the theme changed and there is an answer; a view compares
    with what it showed before and redraws what differs. Edits go through `self.bench`. `verdict_wanted(verdict)`: the
    place where one is decided was clicked.
    """

    verdict_wanted = Signal(object)

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self.bench = bench
        self._known: dict[str, tuple[object, tuple[object, ...]]] = {}

    def parts(self) -> Iterator[None]:
        """Makes what the view is made of, a part a step, where making it all at once takes its time; used once."""
        return iter(())

    def heightForWidth(self, width: int) -> int:
        """The least height that its words allow."""
        return least_height(self, width)

    def changed(self, name: str, answer: object, *look: object) -> bool:
        """Whether what a part is drawn from is another than when it was last asked: the very answer, or the look."""
        old, self._known[name] = self._known.get(name), (answer, look)
        return old is None or old[0] is not answer or old[1] != look

    def draw(self, name: str, part: Callable[..., object], *given: object) -> None:
        """Draw a part of the view in a turn of the event loop of its own."""
        self.bench.turns.after(f"{type(self).__name__} {name}", partial(part, *given))

    def draw_figures(
        self,
        name: str,
        stack: FigureStack,
        figures: Sequence[Figure],
        units: System,
        stretch: Mapping[str, int] | None = None,
        *then: Callable[[], object],
        next_up: bool = False,
    ) -> None:
        """Draw figures above one another, each in a turn of its own, and `then` what rests on them.

        next_up: before all that waits, where a piece of work goes on.
        """
        steps = [*stack.steps(figures, units, stretch), *then]
        self.bench.turns.in_steps(f"{type(self).__name__} {name}", steps, next_up=next_up)

    def show_answer(self, document: Document, value: Value) -> None:
        """Show the answer under the document's choices and units."""
        raise NotImplementedError

    def lacking(self, _document: Document) -> Callable[[], object] | None:
        """What makes the next plot that is not there yet, where making all of them at once takes its time."""
        return None

    def headline(self, document: Document, _value: Value) -> tuple[str, str]:
        """What was inspected, and against what, for the banner."""
        raise NotImplementedError

    def progress(self, _document: Document, _value: Value) -> str:
        """How far a sheet is read that is not read to its end, and so not judged; empty where nothing is lacking."""
        return ""

    def open_rule(self) -> bool:
        """Bring the rule to the front where the bay has one of its own; whether it has."""
        return False

    def print_own(self) -> bool:
        """Print a page of the bay's own where it has one; whether it has."""
        return False

    def choose_item(self, item: str) -> None:
        """Bring an item to the front."""

    def choose_verdict(self, verdict: Verdict) -> None:
        """A row of the verdict table was chosen."""
        self.choose_item(verdict.item)

    def item_in_front(self, _document: Document, _value: Value) -> str:
        """The item in front, whose row is chosen in the verdict table; empty where the bay has none."""
        return ""


def numbered(name: str, serial: str | None) -> str:
    """A part with its serial number, where it has one."""
    return " ".join(word for word in (name, serial and say("no. {serial}").format(serial=serial)) if word)
