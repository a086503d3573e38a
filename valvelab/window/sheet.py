"""The sheet below the bay: verdicts, limits and remarks, one at a time, under words that say how many there are.

It folds to the line of its words: by hand, and by itself while the page in front has nothing to show; in a window that
is low for its text it is folded until somebody opens it.
"""

from __future__ import annotations

from PySide6.QtCore import QEvent, QSize, Qt, Signal
from PySide6.QtGui import QGuiApplication, QIcon, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QGridLayout,
    QSizePolicy,
    QStackedWidget,
    QTableView,
    QToolButton,
    QWidget,
)

from valvelab.language import marked, say
from valvelab.window.chips import Line, chip_row, press
from valvelab.window.icons import icon
from valvelab.window.layouts import stacked
from valvelab.window.painting import painting
from valvelab.window.theme import current_theme

_WORDS = {"verdicts": marked("Verdicts"), "limits": marked("Limits"), "remarks": marked("Remarks")}
_COLOURS = {"error": "reject", "warning": "undecided"}
_LINE_EMS = 50
"""A sheet of fewer ems has the tools of its page in a line of their own."""
_UNBOUND = 16777215


class Sheet(QWidget):
    """`brought(name)` when a page comes to the front, `opened(height)` when the sheet is no longer folded."""

    brought = Signal(str)
    opened = Signal(int)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.is_folded = False
        self._shut = self._low = False
        self._high = self._expected = 0
        self._filled = {"verdicts": True, "limits": True, "remarks": False}
        self._tools: dict[str, QWidget] = {}
        self._group = QButtonGroup(self)
        words = chip_row(self, self._group, list(_WORDS.items()), lambda name, _on: self.bring(name), {}, spacing=3)
        words.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Fixed)
        self.chips = {str(chip.property("name")): chip for chip in self._group.buttons()}
        self.told = Line(parent=self)
        self.turn = QToolButton(self, autoRaise=True)
        self.turn.clicked.connect(self._on_turn)
        self._head = QWidget(self)
        self._grid = QGridLayout(self._head)
        self._grid.setContentsMargins(8, 4, 6, 4)
        self._grid.setHorizontalSpacing(24)
        self._grid.setVerticalSpacing(3)
        self._grid.setColumnStretch(1, 1)
        for column, widget in enumerate((words, self.told, self.turn)):
            self._grid.addWidget(widget, 0, column)
        self.pages = QStackedWidget(self)
        stacked(self, self._head, (self.pages, 1))
        press(self._group, {"verdicts"})
        self._settle()

    def add(self, name: str, page: QWidget, tools: QWidget | None = None) -> None:
        """The page of a word, and what stands beside the words while it is in front."""
        self.pages.addWidget(page)
        if tools is not None:
            self._tools[name] = tools
            self._grid.addWidget(tools, 0, 1)

    @property
    def front(self) -> str:
        """Name of the page in front."""
        return list(_WORDS)[max(0, self.pages.currentIndex())]

    def bring(self, name: str) -> None:
        """Bring a page to the front; the sheet opens for it where it has something to show."""
        self._shut = False
        press(self._group, {name})
        another = name != self.front
        self.pages.setCurrentIndex(list(_WORDS).index(name))
        self._settle()
        if another and not self.is_folded:
            self.opened.emit(self._high)
        self.brought.emit(name)

    def keep_low(self, *, low: bool) -> None:
        """Whether the window is so low that a page above an open sheet would hardly be seen."""
        if low != self._low:
            self._low = self._shut = low
            self._settle()

    def say(self, name: str, count: int, why: str = "", grave: str = "") -> None:
        """How many rows a page has; `why` there are no verdicts; `grave`: the icon of the worst of them."""
        chip = self.chips[name]
        chip.setText(f"{say(_WORDS[name])} {count}" if count else say(_WORDS[name]))
        chip.setIcon(icon(grave, _COLOURS.get(grave, "quiet")) if grave else QIcon())
        chip.updateGeometry()
        if name == "verdicts":
            self._expected = 0
            self.told.setText(why)
            self.told.setToolTip(why)
        self._filled[name] = bool(count)
        if not count and name == self.front == "remarks":
            press(self._group, {"verdicts"})
            self.pages.setCurrentIndex(0)
        self._settle()

    def expect(self, high: int) -> None:
        """Open for verdicts that are about to be told, as high as when they were told last."""
        if high and self.is_folded and self.front == "verdicts":
            self._expected, self._filled["verdicts"] = high, True
            self._settle()

    def _on_turn(self) -> None:
        self._shut = not self.is_folded
        self._settle()

    def _settle(self) -> None:
        """Fold or open, as is due."""
        folded = self._shut or not self._filled[self.front]
        self.turn.setArrowType(Qt.ArrowType.UpArrow if folded else Qt.ArrowType.DownArrow)
        self.turn.setToolTip(say("Open the sheet") if folded else say("Fold the sheet"))
        self.turn.setAccessibleName(self.turn.toolTip())
        self.turn.setEnabled(self._filled[self.front])
        for name, tools in self._tools.items():
            tools.setVisible(name == self.front and not folded)
        self.told.setVisible(folded)
        self.is_folded = folded
        self.pages.setVisible(not folded)
        self._bind()

    def _bind(self) -> None:
        """No higher than its words while folded, and no higher than its rows."""
        head = self._head.sizeHint().height()
        rows = self._expected or max(self.minimumSizeHint().height(), head + self._rows_high())
        bound = head if self.is_folded else rows
        if bound == self.maximumHeight():
            return
        grows = bound > self.maximumHeight()
        self.setMaximumHeight(bound)
        if grows and not self.is_folded:
            self.opened.emit(self._high)

    def _rows_high(self) -> int:
        """Height of every row of the page in front; of a page that is no table without bound."""
        page = self.pages.currentWidget()
        table = page if isinstance(page, QTableView) or page is None else page.findChild(QTableView, "verdicts")
        if not isinstance(table, QTableView):
            return _UNBOUND // 2
        rows = table.verticalHeader()
        high = max(rows.length(), table.model().rowCount() * rows.defaultSectionSize())
        return high + table.horizontalHeader().sizeHint().height() + table.horizontalScrollBar().sizeHint().height() + 4

    def minimumSizeHint(self) -> QSize:
        """The words, and open a row or two."""
        em = self.fontMetrics().height()
        return QSize(12 * em, self._head.sizeHint().height() + (0 if self.is_folded else 4 * em))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Tools below the words where they have no room beside them."""
        super().resizeEvent(event)
        if not self.is_folded and QGuiApplication.mouseButtons() & Qt.MouseButton.LeftButton:
            self._high = self.height()  # dragged so; layouts that settle are nobody's wish
        place = (0, 1, 1, 1) if self.width() >= _LINE_EMS * self.fontMetrics().height() else (1, 0, 1, 3)
        for tools in self._tools.values():
            if self._grid.getItemPosition(self._grid.indexOf(tools)) != place:
                self._grid.addWidget(tools, *place)

    def event(self, event: QEvent) -> bool:
        """Another size of text, another line of words."""
        if event.type() in {QEvent.Type.FontChange, QEvent.Type.LayoutRequest}:
            self._bind()
        return super().event(event)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """A ground with one line where the sheet begins."""
        with painting(self, "window", smooth=False) as painter:
            painter.setPen(current_theme().colour("line"))
            painter.drawLine(0, 0, self.width(), 0)
