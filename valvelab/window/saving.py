"""What menus of tables and plots have in common: the bench that writes, the entries of the window, where they open."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QFileDialog, QMenu, QWidget

from valvelab.language import say
from valvelab.window.bench import Bench

_OF_THE_WINDOW = ("export", "print")


def save_as(parent: QWidget, title: str, suggestion: str, kinds: str, write: Callable[[Path], object]) -> None:
    """Ask where a file goes and have it written there."""
    name, _ = QFileDialog.getSaveFileName(parent, title, suggestion, kinds)
    if name:
        write(Path(name))


def ask_place(parent: QWidget, title: str, suggestion: str, kinds: Sequence[str]) -> tuple[Path, str] | None:
    """Where a file goes, and which of the kinds it is; a suggestion without ending gets that of the first kind.

    What a person typed as ending counts where some kind has it; else the kind that is chosen gives the ending.
    """
    first = kinds[0]
    said = {say(kind): kind for kind in kinds}
    name, shown = QFileDialog.getSaveFileName(parent, title, suggestion + ending_of(first), ";;".join(said))
    kind = said.get(shown, first)
    if not name:
        return None
    path, chosen = Path(name), kind
    typed = path.suffix.lower()
    if typed != ending_of(chosen):
        other = next((one for one in kinds if ending_of(one) == typed), None)
        return (path, other) if other else (Path(name + ending_of(chosen)), chosen)
    return path, chosen


def ending_of(kind: str) -> str:
    """The ending that a kind of file names: `.csv` of `Table (*.csv)`."""
    return kind[kind.rindex("*") + 1 : -1]


def bench_of(widget: QWidget) -> Bench:
    """The bench that a widget stands over, by the nearest of its parents that has one."""
    above: QWidget | None = widget
    while above is not None:
        if isinstance(bench := getattr(above, "bench", None), Bench):
            return bench
        above = above.parentWidget()
    raise LookupError(f"{widget.accessibleName()} stands over no bench")


def add_exports(menu: QMenu, widget: QWidget) -> None:
    """The entries with which the window gives away what is in front, where the widget stands in one."""
    found = (widget.window().findChild(QAction, f"action {name}") for name in _OF_THE_WINDOW)
    actions = [action for action in found if action is not None]
    if actions:
        menu.addSeparator()
        menu.addActions(actions)


def pop_up(menu: QMenu, at: QPoint) -> None:
    """Open a menu at a place of the screen; it goes when it closes."""
    menu.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    menu.popup(at)
