"""Sets and left-over springs as lists: drag a spring to another set, or move it with the keyboard or the menu."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import pyqtgraph as pg  # type: ignore[import-untyped]
from pyqtgraph.graphicsItems.ScatterPlotItem import drawSymbol  # type: ignore[import-untyped]
from PySide6.QtCore import (
    QEvent,
    QMimeData,
    QModelIndex,
    QPersistentModelIndex,
    QPoint,
    QPointF,
    QRectF,
    QSignalBlocker,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import (
    QContextMenuEvent,
    QDragEnterEvent,
    QDragLeaveEvent,
    QDragMoveEvent,
    QDropEvent,
    QFont,
    QFontMetrics,
    QIcon,
    QKeyEvent,
    QPainter,
    QPixmap,
)
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTreeWidget,
    QTreeWidgetItem,
    QWidget,
)

from valvelab.language import say, say_head, say_many, say_number
from valvelab.phrase import Phrase
from valvelab.units import System
from valvelab.window.explaining import ABOUT
from valvelab.window.figure_item import SERIES_SYMBOLS, role_colour
from valvelab.window.numbers import display_unit, show
from valvelab.window.painting import LEFT, RIGHT, words_in
from valvelab.window.theme import current_theme, scaled
from valvelab.workbench import set_wishes, sets
from valvelab.workbench.sets import Grouping, Standing, Values, Wish
from valvelab.workbench.springs_bay import Usable

_SPRINGS = "application/x-valvelab-springs"
_NAME = Qt.ItemDataRole.UserRole
_SET = Qt.ItemDataRole.UserRole + 1
_USE = Qt.ItemDataRole.UserRole + 2
_LEFT, _OUT = -1, -2
_IN_FRONT = QStyle.StateFlag.State_Selected | QStyle.StateFlag.State_HasFocus
_WIDE_EMS = 25
"""Width that the lists ask for at most, whatever is limited."""


_DECIDED = MappingProxyType({
    (Qt.Key.Key_Insert, Qt.KeyboardModifier.NoModifier): "take",
    (Qt.Key.Key_Delete, Qt.KeyboardModifier.ShiftModifier): "leave",
    (Qt.Key.Key_Delete, Qt.KeyboardModifier.ControlModifier): "judged",
})  # fmt: skip


class UseBar(QStyledItemDelegate):
    """A cell with a bar along its foot: how much of a limit is used."""

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        """Draw the cell, one of mere words without the style, then the bar."""
        if index.column() and not option.state & _IN_FRONT:
            _write_cell(painter, option, index)
        else:
            super().paint(painter, option, index)
        use = index.data(_USE)
        if not isinstance(use, float):
            return
        theme = current_theme()
        box = QRectF(option.rect).adjusted(6, 0, -4, -1)
        painter.fillRect(QRectF(box.left(), box.bottom() - 3, box.width(), 3), theme.colour("raised"))
        colour = theme.colour("accept" if use <= 1.0 + 1e-9 else "reject")
        painter.fillRect(QRectF(box.left(), box.bottom() - 3, box.width() * min(1.0, use), 3), colour)

    def sizeHint(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> QSize:
        """Room for the bar."""
        size = super().sizeHint(option, index)
        return QSize(size.width(), round(1.4 * option.fontMetrics.height()))


def _write_cell(painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> None:
    words = words_in(option.rect, option.fontMetrics.height())
    text = option.fontMetrics.elidedText(index.data() or "", Qt.TextElideMode.ElideRight, words.width())
    brush, side = (index.data(role) for role in (Qt.ItemDataRole.ForegroundRole, Qt.ItemDataRole.TextAlignmentRole))
    painter.setPen(current_theme().colour("text") if brush is None else brush.color())
    painter.drawText(words, LEFT if side is None else side, text)


def swatch(series: int | None, side: int) -> QIcon:
    """The mark that a set has on the map; without a set a small disc."""
    picture = QPixmap(2 * side, 2 * side)
    picture.setDevicePixelRatio(2.0)
    picture.fill(Qt.GlobalColor.transparent)
    colour = role_colour("guide") if series is None else role_colour("series", series)
    symbol = "o" if series is None else SERIES_SYMBOLS[series % len(SERIES_SYMBOLS)]
    with QPainter(picture) as painter:
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.translate(0.5 * side, 0.5 * side)
        drawSymbol(painter, symbol, 4 if series is None else side - 4, pg.mkPen(None), pg.mkBrush(colour))
    return QIcon(picture)


class SetsTree(QTreeWidget):
    """One branch a set, the last one for springs left over.

    `moved(springs, to)` when dropped or moved by key, `to` None for left over; `considered(springs, to)` while dragged
    over a set, with no springs when the drag is over; `chosen(spring)` when one is brought to the front;
    `decided(springs, what)` for a key that takes in, leaves out or judges again; `menu_wanted(at)` for the menu.
    """

    moved = Signal(object, object)
    considered = Signal(object, object)
    chosen = Signal(str)
    decided = Signal(object, str)
    menu_wanted = Signal(QPoint)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("spring sets")
        self.setAccessibleName(say("Sets and springs left over"))
        self.setAccessibleDescription(
            say(
                "Alt with the up or down arrow moves the chosen springs to another set; Insert takes them in, "
                "Shift+Delete leaves them out, Ctrl+Delete has them as judged again"
            )
        )
        self.setToolTip(
            say(
                "Drag a spring to another set, or press Alt+Up, Alt+Down, Delete (left over), "
                "Shift+Delete (leave out), Insert (take in), Ctrl+Delete (as judged) or the menu key "
                "for all that can be wished of springs"
            )
        )
        self.setFrameShape(QTreeWidget.Shape.NoFrame)
        self.setAlternatingRowColors(False)
        self.setUniformRowHeights(True)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setDragDropMode(QAbstractItemView.DragDropMode.DragDrop)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setItemDelegate(UseBar(self))
        self.header().setStretchLastSection(False)
        self._needed = 0
        self._opened: set[int] = set()
        self._shown_springs: dict[str, QTreeWidgetItem] = {}
        self._grouping = Grouping()
        self._brought = ""
        self.itemExpanded.connect(lambda item: self._opened.add(item.data(0, _SET)))
        self.itemCollapsed.connect(lambda item: self._opened.discard(item.data(0, _SET)))
        self.currentItemChanged.connect(self._on_current)

    # -- showing ----------------------------------------------------------------------------------------------------

    def show_sets(self, grouping: Grouping, usable: Usable, wish: Wish, units: System) -> None:
        """Show a grouping against a wish."""
        kept = set(self.selected_springs())
        blocked = QSignalBlocker(self)
        self.setUpdatesEnabled(False)
        at = self.verticalScrollBar().value() if len(grouping.sets) == len(self._grouping.sets) else 0
        self.clear()
        self._grouping, self._shown_springs = grouping, {}
        names = list(wish.within)
        self.setColumnCount(2 + len(names))
        units_of = [display_unit(sets.UNITS[name], units).label for name in names]
        heads = (f"{say_head(sets.short(n))}, {u}" for n, u in zip(names, units_of, strict=True))
        self.setHeaderLabels(["", *heads, say_head("worst")])
        self.headerItem().setToolTip(
            1 + len(names), say("The characteristic that uses most of its limit, and how much")
        )
        for column, name in enumerate(names, start=1):
            self.headerItem().setData(column, ABOUT, name)
        marks = _marks(usable)
        counts = {name: sets.decimals(name, units, usable.values) for name in names}
        strong = scaled(self.font(), 1.0, strong=True)
        for number, one in enumerate(sets.standings(grouping, usable.values, wish)):
            item = self._branch(say(grouping.title(number)), number, one, strong)
            self._figures(item, one, names, wish, units)
            self._leaves(item, one.springs, usable.values, counts, units, marks)
        left = sets.left_over(grouping, usable.values)
        item = self._top(say("Left over · {count}").format(count=len(left)), _LEFT, strong)
        item.setFirstColumnSpanned(True)
        self._leaves(item, left, usable.values, counts, units, marks)
        if usable.out:
            self._not_used(usable, strong)
        for row in range(self.topLevelItemCount()):
            top = self.topLevelItem(row)
            assert top is not None
            loose = not grouping.sets and top.data(0, _SET) == _LEFT
            top.setExpanded(top.data(0, _SET) in self._opened or loose)
        for name in kept & set(self._shown_springs):
            self._shown_springs[name].setSelected(True)
        self.verticalScrollBar().setValue(at)
        self.setUpdatesEnabled(True)
        blocked.unblock()
        self._fit_columns()

    def _top(self, text: str, number: int, font: QFont) -> QTreeWidgetItem:
        item = QTreeWidgetItem(self, [text])
        item.setData(0, _SET, number)
        item.setIcon(0, swatch(number if number >= 0 else None, self._side()))
        item.setFont(0, font)
        return item

    def _branch(self, title: str, number: int, one: Standing, font: QFont) -> QTreeWidgetItem:
        short = (
            "" if one.complete else say(" · {count} of {wanted} ✗").format(count=len(one.springs), wanted=one.wanted)
        )
        item = self._top(f"{title}{short}", number, font)
        item.setToolTip(0, f"{title} · {say_many('{count} spring', '{count} springs', len(one.springs))}")
        if one.astray:
            item.setText(0, say("{text} · {count} out of place ✗").format(text=item.text(0), count=len(one.astray)))
            item.setToolTip(0, say("Not what the place asks for: {names}").format(names=", ".join(one.astray)))
        if one.astray or not one.complete:
            item.setForeground(0, current_theme().colour("reject"))
        return item

    def _figures(self, item: QTreeWidgetItem, one: Standing, names: Sequence[str], wish: Wish, units: System) -> None:
        """Means of a set, with what each uses of its limit, and the worst of them."""
        theme = current_theme()
        for column, name in enumerate(names, start=1):
            if name not in one.range:
                continue
            places = sets.finer(name, units)
            over = name in one.over
            unit = display_unit(sets.UNITS[name], units)
            mean, extent = (show(value, sets.UNITS[name], units, places) for value in (one.mean[name], one.range[name]))
            limit = say_number(f"{wish.within[name] * unit.scale:.4g}")
            item.setText(column, mean + (" ✗" if over else ""))
            item.setTextAlignment(column, RIGHT)
            item.setToolTip(
                column,
                say("mean {mean} {label}; range {extent} of {limit} {label}").format(
                    mean=mean, label=unit.label, extent=extent, limit=limit
                ),
            )
            item.setData(column, _USE, float(one.use[name]))
            if over:
                item.setForeground(column, theme.colour("reject"))
        if one.worst:
            last, share = 1 + len(names), one.use[one.worst]
            item.setText(last, f"{say_head(sets.short(one.worst))} {100.0 * share:.0f} %")
            item.setToolTip(
                last,
                say("worst: {words} uses {value} % of its limit").format(
                    words=say(sets.words(one.worst)), value=say_number(f"{100.0 * share:.0f}")
                ),
            )
            item.setData(last, _USE, float(share))
            item.setData(last, ABOUT, one.worst)
            item.setForeground(last, theme.colour("reject" if one.over else "text"))

    def _leaves(
        self,
        branch: QTreeWidgetItem,
        springs: Sequence[str],
        values: Values,
        counts: Mapping[str, int],
        units: System,
        marks: Mapping[str, tuple[str, str]],
    ) -> None:
        last = 1 + len(counts)
        quiet = current_theme().colour("quiet")
        leaves = []
        for spring in springs:
            cells = [show(values[spring][n], sets.UNITS[n], units, count) for n, count in counts.items()]
            text, whole = marks.get(spring, ("", ""))
            item = QTreeWidgetItem([spring, *cells, text])
            item.setData(0, _NAME, spring)
            for column in range(1, last):
                item.setTextAlignment(column, RIGHT)
            if text:
                item.setForeground(last, quiet)
                item.setToolTip(last, whole)
                item.setToolTip(0, whole)
            self._shown_springs[spring] = item
            leaves.append(item)
        branch.addChildren(leaves)

    def _not_used(self, usable: Usable, font: QFont) -> None:
        """Springs that spec or person keeps out, each with its reason across the columns."""
        branch = self._top(say("Not used · {count}").format(count=len(usable.out)), _OUT, font)
        branch.setFirstColumnSpanned(True)
        for spring, why in usable.out.items():
            item = QTreeWidgetItem(branch, [f"✗ {spring} {say(why)}"])
            item.setData(0, _NAME, spring)
            item.setToolTip(0, f"{spring} {say(why)}")
            item.setForeground(0, current_theme().colour("reject" if spring in usable.rejected else "quiet"))
            item.setFirstColumnSpanned(True)
            self._shown_springs[spring] = item

    def _side(self) -> int:
        return round(0.8 * self.fontMetrics().height())

    def _fit_columns(self) -> None:
        """Figures as wide as the longest of each; names have the rest, and what is told of single springs is cut."""
        header, metrics = self.header(), self.fontMetrics()
        self.setIndentation(self._side())
        header.setMinimumSectionSize(round(2.5 * metrics.height()))
        tops = [top for row in range(self.topLevelItemCount()) if (top := self.topLevelItem(row)) is not None]
        leaves = (top.child(0) for top in tops)
        rows = [*tops, *(leaf for leaf in leaves if leaf is not None and not leaf.isFirstColumnSpanned())]
        last = self.columnCount() - 1
        names = QFontMetrics(scaled(self.font(), 1.0, strong=True))
        whole = [top.text(0) for top in tops if not top.isFirstColumnSpanned()]
        needed = max((names.horizontalAdvance(text) for text in sorted(whole, key=len)[-8:]), default=0)
        needed += self.indentation() + self._side() + round(2.4 * metrics.height())
        for column in range(1, last + 1):
            measured, room = (tops, 1.2) if column == last else (rows, 0.9)
            texts = {self.headerItem().text(column), *(row.text(column) for row in measured)}
            longest = max(metrics.horizontalAdvance(text) for text in sorted(texts, key=len)[-8:])
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.Interactive)
            self.setColumnWidth(column, longest + round(room * metrics.height()))
            needed += self.columnWidth(column)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        if needed != self._needed:
            self._needed = needed
            self.updateGeometry()

    def minimumSizeHint(self) -> QSize:
        """Room for a few rows, and for the names of the sets beside their figures."""
        em = self.fontMetrics().height()
        bar = self.style().pixelMetric(QStyle.PixelMetric.PM_ScrollBarExtent)
        return QSize(min(max(14 * em, self._needed + bar), _WIDE_EMS * em), 4 * em)

    def bring(self, spring: str) -> None:
        """Select a spring without telling anyone; one newly chosen elsewhere has its set opened and comes into view."""
        item = self._shown_springs.get(spring)
        newly, self._brought = self._brought != spring, spring
        branch = None if item is None else item.parent()
        if item is None or branch is None or self.currentItem() is item:
            return
        blocked = QSignalBlocker(self)
        elsewhere = bool(self._grouping.sets) and not self.hasFocus() and newly
        if elsewhere and not branch.isExpanded():
            branch.setExpanded(True)
            self._opened.add(branch.data(0, _SET))
        at = self.verticalScrollBar().value()
        if branch.isExpanded():
            self.setCurrentItem(item)
        if not elsewhere:
            self.verticalScrollBar().setValue(at)
        blocked.unblock()

    def open_set(self, number: int) -> None:
        """Show a set's springs."""
        top = self.topLevelItem(number)
        if top is not None:
            top.setExpanded(True)

    # -- choosing and moving ------------------------------------------------------------------------------------------

    def selected_springs(self) -> tuple[str, ...]:
        """Springs selected, of a set's own row all of its springs."""
        return tuple(dict.fromkeys(_springs_of(self.selectedItems())))

    def _on_current(self, item: QTreeWidgetItem | None) -> None:
        name = None if item is None else item.data(0, _NAME)
        if name is not None:
            self.chosen.emit(str(name))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Alt with an arrow: to the set before or after; Delete: left over; Insert and others: what is decided."""
        springs = self.selected_springs()
        what = _DECIDED.get((Qt.Key(event.key()), event.modifiers()))
        if springs and what:
            self.decided.emit(springs, what)
            return
        step = {Qt.Key.Key_Up: -1, Qt.Key.Key_Down: 1}.get(Qt.Key(event.key()))
        if springs and step is not None and event.modifiers() & Qt.KeyboardModifier.AltModifier:
            self._step(springs, step)
        elif springs and event.key() in {Qt.Key.Key_Delete, Qt.Key.Key_Backspace}:
            self.moved.emit(springs, None)
        else:
            super().keyPressEvent(event)

    def _step(self, springs: tuple[str, ...], step: int) -> None:
        many = len(self._grouping.sets)
        now = self._grouping.set_of(springs[0])
        to = (many if now is None else now) + step
        if 0 <= to < many:
            self.open_set(to)
            self.moved.emit(springs, to)
        elif to >= many and now is not None:
            self.moved.emit(springs, None)

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """The menu of what can be done with springs."""
        self.menu_wanted.emit(event.globalPos())

    # -- dragging -----------------------------------------------------------------------------------------------------

    def mimeTypes(self) -> list[str]:
        """Springs only."""
        return [_SPRINGS]

    def mimeData(self, items: Sequence[QTreeWidgetItem]) -> QMimeData:
        """The names of the springs that are dragged."""
        data, names = QMimeData(), _springs_of(items)
        if names:
            data.setData(_SPRINGS, "\n".join(names).encode())
        return data

    def supportedDropActions(self) -> Qt.DropAction:
        """A drop is an edit of the document; the rows themselves are never taken out."""
        return Qt.DropAction.CopyAction

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take springs."""
        if event.mimeData().hasFormat(_SPRINGS):
            event.acceptProposedAction()
        else:
            event.ignore()

    def dragMoveEvent(self, event: QDragMoveEvent) -> None:
        """Say what a drop here would give."""
        super().dragMoveEvent(event)
        springs, to = _names(event.mimeData()), self._target(event.position())
        if springs and to is not None:
            self.considered.emit(springs, None if to == _LEFT else to)
            event.acceptProposedAction()
        else:
            self.considered.emit((), None)
            event.ignore()

    def dragLeaveEvent(self, event: QDragLeaveEvent) -> None:
        """Nothing is considered any more."""
        super().dragLeaveEvent(event)
        self.considered.emit((), None)

    def dropEvent(self, event: QDropEvent) -> None:
        """Move the springs."""
        springs, to = _names(event.mimeData()), self._target(event.position())
        self.considered.emit((), None)
        if springs and to is not None:
            event.setDropAction(Qt.DropAction.CopyAction)
            event.accept()
            self.moved.emit(springs, None if to == _LEFT else to)

    def _target(self, at: QPointF) -> int | None:
        item = self.itemAt(at.toPoint())
        if item is None:
            return None
        number = int((item.parent() or item).data(0, _SET))
        return None if number == _OUT else number

    def changeEvent(self, event: QEvent) -> None:
        """Columns follow the text size."""
        super().changeEvent(event)
        if event.type() in {QEvent.Type.FontChange, QEvent.Type.ApplicationFontChange}:
            self._fit_columns()


def _marks(usable: Usable) -> dict[str, tuple[str, str]]:
    """Beside springs: what is wished of them and whether they are undecided, shortly and as a whole."""
    found: dict[str, tuple[str, str]] = {}
    for spring, why in usable.undecided.items():
        found[spring] = (say("▲ undecided"), say(Phrase("undecided: {reason}", reason=why)))
    for spring, wished in set_wishes.marks(usable.wishes).items():
        before = found.get(spring)
        text = " · ".join(wished)
        found[spring] = (text, text) if before is None else (f"{before[0]} · {text}", f"{before[1]} · {text}")
    return found


def _springs_of(items: Sequence[QTreeWidgetItem]) -> list[str]:
    """The springs among rows; the row of a set is none."""
    return [str(name) for item in items if (name := item.data(0, _NAME)) is not None]


def _names(data: QMimeData) -> tuple[str, ...]:
    text = bytes(data.data(_SPRINGS).data()).decode()
    return tuple(name for name in text.split("\n") if name)
