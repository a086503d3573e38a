"""Widgets and layouts put beside or above one another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from PySide6.QtCore import QEvent, QRect, QSize, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QBoxLayout,
    QHBoxLayout,
    QLabel,
    QLayout,
    QLayoutItem,
    QScrollArea,
    QSizePolicy,
    QSpacerItem,
    QSplitter,
    QStackedWidget,
    QStyle,
    QTableView,
    QVBoxLayout,
    QWidget,
)

Part = QWidget | QLayout | int | tuple[QWidget | QLayout, int]
"""A widget or a layout, with its share of the room or without; a number is empty room of that share."""
Margins = tuple[int, int, int, int]
Box = TypeVar("Box", bound=QBoxLayout)
_LYING_EMS = 12
"""Height of a pane, at least, that lies above others for want of width."""


class FormArea(QScrollArea):
    """A form that scrolls up and down and takes no focus itself; `name` is how it is spoken of."""

    def __init__(self, name: str, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWidgetResizable(True)
        self.setFrameShape(QScrollArea.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAccessibleName(name)

    def minimumSizeHint(self) -> QSize:
        """Wide enough for the form, which isn't moved sideways."""
        least, form = super().minimumSizeHint(), self.widget()
        if form is None:
            return least
        bar = self.style().pixelMetric(QStyle.PixelMetric.PM_ScrollBarExtent)
        return QSize(max(least.width(), form.minimumSizeHint().width() + bar), least.height())


class Flow(QLayout):
    """Parts beside one another, in a further line where they have no room; what grows takes what its line leaves.

    A label that wraps its words asks for all of them in one line, and has what is left or a line of its own. Parts of a
    line stand about its middle, or where they are long from its `top`; a line is `least` ems high.
    """

    def __init__(self, spacing: int, on: QWidget | None = None) -> None:
        super().__init__(on)
        self.top = False
        self.least = 0.0
        self._items: list[QLayoutItem] = []
        self.setSpacing(spacing)

    def addItem(self, item: QLayoutItem) -> None:
        """Take a part in."""
        self._items.append(item)

    def count(self) -> int:
        """Number of parts."""
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:
        """A part."""
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:
        """Give a part away."""
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def expandingDirections(self) -> Qt.Orientation:
        """As wide as there is room."""
        return Qt.Orientation.Horizontal

    def hasHeightForWidth(self) -> bool:
        """The narrower, the more lines."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Height of all lines."""
        return self._lay(QRect(0, 0, width, 0), move=False)

    def sizeHint(self) -> QSize:
        """Everything in one line."""
        items = self._seen()
        wide = sum(map(_wanted, items)) + self.spacing() * max(0, len(items) - 1)
        return self._with_margins(wide, max([self._low(), *(item.sizeHint().height() for item in items)]))

    def minimumSize(self) -> QSize:
        """The widest part by itself."""
        sizes = [item.minimumSize() for item in self._seen()]
        return self._with_margins(
            max((s.width() for s in sizes), default=0), max((s.height() for s in sizes), default=0)
        )

    def setGeometry(self, rect: QRect) -> None:
        """Lay the parts."""
        super().setGeometry(rect)
        self._lay(rect, move=True)

    def _low(self) -> int:
        """Height of a line at least, in pixels."""
        around = self.parentWidget()
        return 0 if around is None else round(self.least * around.fontMetrics().height())

    def _seen(self) -> list[QLayoutItem]:
        return [item for item in self._items if not item.isEmpty() or item.spacerItem() is not None]

    def _with_margins(self, wide: int, high: int) -> QSize:
        margins = self.contentsMargins()
        return QSize(wide + margins.left() + margins.right(), high + margins.top() + margins.bottom())

    def _lay(self, rect: QRect, *, move: bool) -> int:
        margins = self.contentsMargins()
        room = rect.width() - margins.left() - margins.right()
        y = rect.y() + margins.top()
        for number, line in enumerate(self._lines(room)):
            widths = [min(_wanted(item), room) for item in line]
            rest = room - sum(widths) - self.spacing() * (len(line) - 1)
            growing = [at for at, item in enumerate(line) if _grows(item)]
            for at in growing:
                widths[at] += max(0, rest) // len(growing)
            heights = [_high(item, wide) for item, wide in zip(line, widths, strict=True)]
            deep = max(self._low(), *heights)
            y += self.spacing() // 2 if number else 0
            x = rect.x() + margins.left()
            for item, wide, high in zip(line, widths, heights, strict=True):
                if move:
                    item.setGeometry(QRect(x, y + (0 if self.top else (deep - high) // 2), wide, high))
                x += wide + self.spacing()
            y += deep
        return y + margins.bottom() - rect.y()

    def _lines(self, room: int) -> list[list[QLayoutItem]]:
        lines: list[list[QLayoutItem]] = []
        used = room + 1
        for item in self._seen():
            wide = min(_wanted(item), room)
            if used + self.spacing() + wide > room and item.spacerItem() is None:
                lines.append([])
                used = -self.spacing()
            if lines:
                lines[-1].append(item)
                used += self.spacing() + wide
        return lines


def _grows(item: QLayoutItem) -> bool:
    """Whether a part itself takes more room, whatever lies in it."""
    widget = item.widget()
    if widget is None:
        return item.spacerItem() is not None
    return bool(widget.sizePolicy().expandingDirections() & Qt.Orientation.Horizontal)


def _wanted(item: QLayoutItem) -> int:
    label = item.widget()
    if isinstance(label, QLabel) and label.wordWrap():
        return label.fontMetrics().horizontalAdvance(label.text()) + 4
    return item.sizeHint().width()


def _high(item: QLayoutItem, wide: int) -> int:
    return item.heightForWidth(wide) if item.hasHeightForWidth() else item.sizeHint().height()


def flowing(*parts: QWidget | QLayout | int, margins: Margins = (0, 0, 0, 0), spacing: int = 6) -> Flow:
    """Parts that flow; a number is empty room."""
    made = Flow(spacing)
    made.setContentsMargins(*margins)
    for part in parts:
        if isinstance(part, int):
            made.addItem(QSpacerItem(0, 0, QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Minimum))
        elif isinstance(part, QLayout):
            made.addChildLayout(part)
            made.addItem(part)
        else:
            made.addWidget(part)
    return made


class Stack(QStackedWidget):
    """Pages one in front of another, as high as the one in front needs: Qt's own is as high as the highest."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.currentChanged.connect(lambda _at: self.updateGeometry())

    def minimumSizeHint(self) -> QSize:
        """Least width of any page, so that panes don't move about; least height of the one in front."""
        least, front = super().minimumSizeHint(), self.currentWidget()
        return least if front is None else QSize(least.width(), _least(front).height())

    def sizeHint(self) -> QSize:
        """Usual width of any page, usual height of the one in front."""
        usual, front = super().sizeHint(), self.currentWidget()
        return usual if front is None else QSize(usual.width(), front.sizeHint().height())

    def hasHeightForWidth(self) -> bool:
        """Never: whoever holds it asks the page in front (`least_height`)."""
        return False


class Panes(QSplitter):
    """Panes with handles between them. Those beside one another lie above one another where a page is too narrow.

    page_wide: width of that page, which no table in them asks more than; 0 until there is one.
    """

    def __init__(self, orientation: Qt.Orientation, parent: QWidget) -> None:
        super().__init__(orientation, parent)
        self.page_wide = 0
        self.setHandleWidth(5)
        self.across = orientation == Qt.Orientation.Horizontal
        self._sizes: list[int] = []
        self._highs: list[int] = []
        self.splitterMoved.connect(lambda _at, _index: self._on_moved())

    def keep_shares(self, sizes: Sequence[int]) -> None:
        """Shares of the room, to be taken whenever the panes lie as they were made to."""
        self._sizes = list(sizes)
        if self._lies_as_made():
            self.setSizes(self._sizes)

    @property
    def shares(self) -> tuple[int, ...]:
        """Shares of the room while the panes lie as they were made to."""
        return tuple(self._sizes)

    def _share_out(self) -> None:
        """Give the panes their shares; Qt would share by what they need at least where that is more than a share."""
        shown = [not pane.isHidden() for pane in self._all()]
        needs = [_least(pane).width() for pane in self._all()]
        room = self.width() - self.handleWidth() * (sum(shown) - 1)
        whole = sum(size for size, seen in zip(self._sizes, shown, strict=True) if seen)
        wanting = any(need > size for need, size, seen in zip(needs, self._sizes, shown, strict=True) if seen)
        if self.across and wanting and whole < room:
            self.setSizes([round(size * room / whole) for size in self._sizes])
        else:
            self.setSizes(self._sizes)

    def _lies_as_made(self) -> bool:
        return self.across == (self.orientation() == Qt.Orientation.Horizontal)

    def _on_moved(self) -> None:
        if self._lies_as_made():
            self._sizes = self.sizes()

    def changeEvent(self, event: QEvent) -> None:
        """Room that larger text took is given back when it is smaller again."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange and self._sizes and self._lies_as_made():
            self._share_out()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width is shared as the one before was."""
        super().resizeEvent(event)
        if self.across and self._sizes and self.orientation() == Qt.Orientation.Horizontal:
            self._share_out()
        if self.across:
            self.updateGeometry()  # words in fewer or more lines

    def fit(self, wide: int) -> None:
        """Lie as a page of this width lets them; a page that scrolls up and down is read with one hand."""
        if not self.across:
            return
        if wide != self.page_wide:
            self.page_wide = wide
            for table in self.findChildren(QTableView):
                table.updateGeometry()
        shown = self.shown()
        need = sum(_least(pane).width() for pane in shown) + self.handleWidth() * (len(shown) - 1)
        lies = self.orientation() == Qt.Orientation.Vertical
        highs = [self._high(pane) for pane in self._all()] if need > wide else []
        if lies == bool(highs) and highs == self._highs:
            return
        self._highs = highs
        self.setOrientation(Qt.Orientation.Vertical if highs else Qt.Orientation.Horizontal)
        if highs:
            self.setSizes(highs)
        else:
            self._share_out()
        self.updateGeometry()
        around = self.parentWidget()
        while around is not None:  # of a page that is hidden nobody else would hear
            if (lay := around.layout()) is not None:
                lay.invalidate()
            around = around.parentWidget()

    def _all(self) -> list[QWidget]:
        return [pane for at in range(self.count()) if (pane := self.widget(at)) is not None]

    def shown(self) -> list[QWidget]:
        """Those that are not hidden."""
        return [pane for pane in self._all() if not pane.isHidden()]

    def _high(self, pane: QWidget) -> int:
        """What a pane is given that lies above others: every pane in it some rows, where it has its own."""
        rows = [self._high(one) for one in pane.shown()] if isinstance(pane, Panes) and not pane.across else []
        return max(_tall(pane, self.width()), sum(rows) or _LYING_EMS * self.fontMetrics().height())

    def minimumSizeHint(self) -> QSize:
        """The least of the panes with their words as wide as they are; of those laid above one another some rows."""
        least, shown = super().minimumSizeHint(), self.shown()
        if not self.across or not shown:
            return least
        if self.orientation() == Qt.Orientation.Horizontal:
            return QSize(least.width(), max([least.height(), *(_tall(pane, pane.width()) for pane in shown)]))
        return QSize(least.width(), sum(map(self._high, shown)) + self.handleWidth() * (len(shown) - 1))


def _tall(pane: QWidget, wide: int) -> int:
    """The least height of a pane of that width, with its words in as many lines as they need."""
    lay, least = pane.layout(), _least(pane).height()
    stacks = [stack for stack in pane.findChildren(QStackedWidget) if stack.isVisibleTo(pane)]
    fronts = [(stack, front) for stack in stacks if (front := stack.currentWidget()) is not None]
    lacks = [_tall(front, stack.width()) - stack.minimumSizeHint().height() for stack, front in fronts]
    if lay is not None and lay.hasHeightForWidth():
        least = max(least, lay.totalMinimumHeightForWidth(wide))
    return least + max([0, *lacks])


def least_height(page: QWidget, wide: int) -> int:
    """The least height of a page of that width; -1 where its width doesn't matter.

    A scroll area would give it its usual height, more than there is to see at once.
    """
    lay = page.layout()
    return _tall(page, wide) if lay is not None and lay.hasHeightForWidth() else -1


def _least(pane: QWidget) -> QSize:
    return pane.minimumSizeHint().expandedTo(pane.minimumSize())


def beside(
    *parts: Part, on: QWidget | None = None, margins: Margins = (0, 0, 0, 0), spacing: int | None = None
) -> QHBoxLayout:
    """Parts beside one another, as the layout of `on` where it is given; margins: left, top, right, bottom."""
    return _filled(QHBoxLayout() if on is None else QHBoxLayout(on), parts, margins, spacing)


def above(
    *parts: Part, on: QWidget | None = None, margins: Margins = (0, 0, 0, 0), spacing: int | None = None
) -> QVBoxLayout:
    """Parts above one another."""
    return _filled(QVBoxLayout() if on is None else QVBoxLayout(on), parts, margins, spacing)


def strip(parent: QWidget, *parts: Part, margins: Margins = (0, 0, 0, 0), spacing: int | None = None) -> QWidget:
    """A widget with parts beside one another."""
    box = QWidget(parent)
    beside(*parts, on=box, margins=margins, spacing=spacing)
    return box


def stacked(parent: QWidget, *parts: Part) -> QVBoxLayout:
    """The layout of a widget whose parts lie close above one another, those with a share taking the room."""
    return above(*parts, on=parent, spacing=0)


def _filled(layout: Box, parts: tuple[Part, ...], margins: Margins, spacing: int | None) -> Box:
    layout.setContentsMargins(*margins)
    if spacing is not None:
        layout.setSpacing(spacing)
    for part in parts:
        what, share = part if isinstance(part, tuple) else (part, 0)
        if isinstance(what, int):
            layout.addStretch(what)
        elif isinstance(what, QLayout):
            layout.addLayout(what, share)
        else:
            layout.addWidget(what, share)
    return layout
