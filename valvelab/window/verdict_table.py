"""The verdicts of any result: a banner that says the outcome, and a table that can be sorted and filtered."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from html import escape
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QModelIndex, QPersistentModelIndex, QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFont, QFontMetrics, QLinearGradient, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QLabel,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QWidget,
)

from valvelab.inspection.characteristics import explained
from valvelab.language import aloud, say, say_within
from valvelab.tables import verdicts
from valvelab.tables.verdicts import RANKED, SIGNS, WORDS, judged, rank
from valvelab.units import System
from valvelab.window.chips import chip_row, cut, kept_together, press
from valvelab.window.icons import icon
from valvelab.window.layouts import above, beside, stacked, strip
from valvelab.window.painting import painting
from valvelab.window.tables import SIGN_EMS, Kept, TableColumn, TableView, of
from valvelab.window.theme import current_theme, scaled

if TYPE_CHECKING:  # what makes one counts with arrays, which are not wanted before the first paint
    from valvelab.records.result import Result, Verdict
    from valvelab.tables.headline import Headline

_Look = tuple[System, float]
"""What the texts and widths of a result depend on besides: the units and the size of text."""
_SPAN = 1.6
_UNBOUND = 10_000
_GAUGE, _GAUGE_EMS = 8, 7
_GAUGE_LEAST = 4.0
_LEAST = {"verdict": SIGN_EMS, "item": 4.0, "characteristic": 5.0, "clause": 3.0, "why": 2.5}
"""Lines' heights to which columns of words are cut where the table is narrow."""
_ASIDE = {"why": 4, "clause": 3, "conforms": 2, "u": 1}
"""Columns that are left out where the table is narrower still, the highest number first."""


def columns(among: Sequence[Result], units: System) -> list[TableColumn]:
    """The columns of the table of verdicts, the outcome first and a gauge of the limits among them."""
    described = {
        column.head: of(column, units, least=_LEAST.get(column.head, 0.0), aside=_ASIDE.get(column.head, 0))
        for column in verdicts.columns(among, units)
    }
    first = [described.pop(head) for head in ("verdict", "item", "characteristic")]
    first[-1] = replace(first[-1], cell_tip=lambda v: explained(v.characteristic, v.unit))
    described["why"] = replace(described["why"], cell_tip=lambda v: v.remark)
    shown = [*first, *described.values()]
    gauge = TableColumn(
        "within limits",
        lambda _v: "",
        "Where the value stands between its limits, with ± 2 u; a bar that fades has one limit alone",
        number=False,
        value=use_of_limits,
        drawn=True,
        least=_GAUGE_LEAST,
    )
    return [*shown[:_GAUGE], gauge, *shown[_GAUGE:]]


def use_of_limits(verdict: Verdict) -> float | None:
    """Place of the measured value: 0 in the middle of the bar, −1 on the lower limit, 1 on the upper; None without."""
    span = _span(verdict)
    if verdict.measured is None or span is None:
        return None
    low, high = span
    return (verdict.measured - 0.5 * (low + high)) / (0.5 * (high - low))


def _span(verdict: Verdict) -> tuple[float, float] | None:
    """The ends of the bar: the limits; of one limit alone it and what lies its own size inside; None without any."""
    low, high = verdict.lower, verdict.upper
    if low is None and high is not None:
        low = high - (abs(high) or 1.0)
    elif high is None and low is not None:
        high = low + (abs(low) or 1.0)
    return None if low is None or high is None or high <= low else (low, high)


class LimitGauge(QStyledItemDelegate):
    """Draws the limits as a bar and the value with ± 2 u on it."""

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        """Draw one cell."""
        super().paint(painter, option, index)
        sheet = self.parent()
        assert isinstance(sheet, TableView)
        verdict = sheet.row_of(index)
        place, span = use_of_limits(verdict), _span(verdict)
        if place is None or span is None:
            return
        theme = current_theme()
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        em = option.fontMetrics.height()
        rect = QRectF(option.rect).adjusted(0.45 * em, 0, -0.45 * em, 0)
        middle, half, thick = rect.center(), rect.width() / 2.0 / _SPAN, 0.14 * em
        band = QRectF(middle.x() - half, middle.y() - thick, 2.0 * half, 2.0 * thick)
        ends = ((verdict.lower, band.left()), (verdict.upper, band.right()))
        fading = QLinearGradient(band.topLeft(), band.topRight())
        for at, (limit, _) in enumerate(ends):
            fading.setColorAt(float(at), theme.colour("line", 0.8 if limit is not None else 0.0))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(fading)
        painter.drawRoundedRect(band, thick, thick)
        painter.setPen(QPen(theme.colour("quiet"), 0.065 * em))
        for x in (x for limit, x in ends if limit is not None):
            painter.drawLine(QPointF(x, middle.y() - 2.0 * thick), QPointF(x, middle.y() + 2.0 * thick))
        shown = max(-1.0 if verdict.lower is None else -_SPAN, min(1.0 if verdict.upper is None else _SPAN, place))
        x = middle.x() + shown * half
        colour = theme.colour(verdict.decision)
        if verdict.standard_uncertainty:
            reach = 2.0 * verdict.standard_uncertainty / (0.5 * (span[1] - span[0])) * half
            painter.setPen(QPen(colour, 0.075 * em))
            left, right = max(rect.left(), x - reach), min(rect.right(), x + reach)
            painter.drawLine(QPointF(left, middle.y()), QPointF(right, middle.y()))
        painter.setPen(QPen(theme.colour("panel"), 1.0))
        painter.setBrush(colour)
        painter.drawEllipse(QPointF(x, middle.y()), 0.25 * em, 0.25 * em)
        painter.restore()

    def sizeHint(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> QSize:
        """Wide enough for a bar."""
        return QSize(_GAUGE_EMS * option.fontMetrics.height(), super().sizeHint(option, index).height())


class VerdictTable(QWidget):
    """Table; `tools` filter it. `chosen(verdict)` when a row is chosen, `counted(verdicts, why there are none)`."""

    chosen = Signal(object)
    counted = Signal(int, str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._units: System = "metric"
        self._shown: tuple[Result, _Look] | None = None
        self._kept: dict[str, tuple[Result, _Look, Kept]] = {}
        self.sheet = TableView("verdicts", columns((), "metric"), self, spoken="Verdicts", named=2)
        self.sheet.setItemDelegateForColumn(_GAUGE, LimitGauge(self.sheet))
        self.sheet.chosen.connect(self.chosen)
        self.words = QLineEdit(
            self, placeholderText=say("Filter by item, characteristic or clause"), clearButtonEnabled=True
        )
        self.words.setAccessibleName(say("Filter the verdicts"))
        self.words.textChanged.connect(self._filter)
        self._only = QButtonGroup(self)
        names = (("", "All"), ("reject", "Rejected"), ("undecided", "Undecided"), ("accept", "Accepted"))
        spoken = {name: say("Show {which} verdicts").format(which=say_within(text)) for name, text in names}
        chips = chip_row(self, self._only, names, lambda _name, _on: self._filter(), spoken, spacing=3)
        press(self._only, {""})
        for button in self._only.buttons()[1:]:
            name = button.property("name")
            button.setIcon(icon(name, name))
        self.tools = strip(self, chips, (self.words, 1), spacing=9)
        stacked(self, (self.sheet, 1))

    def show_verdicts(self, result: Result | None, units: System, progress: str = "", *, judges: bool = True) -> None:
        """Show the verdicts of a result, rejected ones first; or how far what is not judged yet is read."""
        verdicts = () if result is None else result.verdicts
        self._units = units
        self.sheet.empty_text = (
            say("No verdict fits the filter.")
            if verdicts
            else say("Judged once it is read: {progress}.").format(progress=progress)
            if progress
            else say("Nothing is judged yet: write limits (Ctrl+J), or put a spec (TOML) on the bench.")
            if judges
            else say("Nothing here is judged by limits.")
        )
        self._show(result, verdicts)
        counts: Counter[str] = Counter(verdict.decision for verdict in verdicts)
        for button in self._only.buttons():
            name = str(button.property("name"))
            word = say(WORDS[name].capitalize() if name in WORDS else "All")
            button.setText(f"{word} {counts[name] if name else len(verdicts)}")
        self.counted.emit(len(verdicts), "" if verdicts else self.sheet.empty_text)

    def _show(self, result: Result | None, verdicts: Sequence[Verdict]) -> None:
        """Show these as they were shown before where they were; of each command's results the last one is kept."""
        if self._shown is not None and (kept := self.sheet.kept()) is not None:
            self._kept[self._shown[0].command] = (*self._shown, kept)
        look = (self._units, self.font().pointSizeF())
        self._shown = None if result is None else (result, look)
        known = None if result is None else self._kept.get(result.command)
        if known is not None and known[0] is result and known[1] == look:
            self.sheet.show_kept(known[2])
            self._hide_bare()
            return
        worst_first = sorted(verdicts, key=lambda verdict: rank(verdict.decision))
        self.sheet.show_rows(worst_first, columns([result] if result else [], self._units))
        self.sheet.give_width(_GAUGE, _GAUGE_EMS * self.fontMetrics().height())
        self._hide_bare()

    def _hide_bare(self) -> None:
        """The clause, and why it was decided so, take no room where they say nothing."""
        model = self.sheet.rows_model
        said = {"clause": [v.clause for v in model.rows], "why": [v.remark for v in model.rows]}
        bare = {title for title, words in said.items() if words and not any(words)}
        for number, column in enumerate(model.columns):
            self.sheet.setColumnHidden(number, column.title in bare or number in self.sheet.left_out)
        self.sheet.settle_columns()

    def bring(self, verdict: Verdict) -> None:
        """Choose the row of a verdict."""
        self.sheet.select_where(lambda row: row is verdict, seen=True)

    def bring_item(self, item: str, *, seen: bool) -> None:
        """Choose the gravest row of an item, where it is `seen`, unless the row chosen is one of it already."""
        index = self.sheet.currentIndex()
        chosen = index.isValid() and self.sheet.row_of(index).item == item
        if item and not chosen:
            self.sheet.select_where(lambda row: row.item == item, seen=seen)

    def _filter(self) -> None:
        button = self._only.checkedButton()
        decision = "" if button is None else str(button.property("name"))
        wanted = self.words.text().casefold().split()

        def keep(verdict: Verdict) -> bool:
            with aloud():
                parts = (verdict.item, judged(verdict, self._units), verdict.clause or "", verdict.remark)
            said = " ".join(parts).casefold()
            return decision in {"", verdict.decision} and all(word in said for word in wanted)

        self.sheet.proxy.filter_by(keep)


_BETWEEN = "\u00a0\u00a0·\u00a0 "
_RANKS = (1, (1.25, 1.15)), (2, (1.25, 1.1, 1.0))
"""Sizes of the outcome, of the text's, in one line and in two: a long one is written smaller before it is cut."""


def _lines(text: str, font: QFont, wide: int) -> int:
    """Lines that a text needs at a width."""
    box = QRect(0, 0, wide - 2, _UNBOUND)
    metrics = QFontMetrics(font)
    need = metrics.boundingRect(box, Qt.TextFlag.TextWordWrap, kept_together(text))
    return 99 if need.width() > wide else round(need.height() / metrics.lineSpacing())


def _coloured(*parts: tuple[str, str]) -> str:
    """Texts in their colours."""
    return "".join(f'<span style="color:{colour}">{escape(text, quote=False)}</span>' for colour, text in parts)


class Banner(QWidget):
    """What was inspected, against what, and the outcome: shape, word and colour.

    `limits_wanted` where limits are to be written.
    """

    limits_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("banner")
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self._outcome = self._told = self._title = self._against = self._broken = ""
        self._mark = QLabel(self)
        self._head = QLabel(self, wordWrap=True)
        self.inspected = QLabel(self)
        self._counts = QLabel(self)
        for label in (self._head, self.inspected, self._counts):
            label.setTextFormat(Qt.TextFormat.RichText)
            label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        for label in (self._head, self.inspected):
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.limits = QPushButton(say("&Write limits…"), self)
        self.limits.setToolTip(say("Write the limits to judge by, beside the plots"))
        self.limits.clicked.connect(self.limits_wanted)
        second = beside((self.inspected, 1), self._counts, spacing=12)
        lines = above(self._head, second, spacing=2)
        beside(self._mark, (lines, 1), self.limits, on=self, margins=(16, 6, 12, 6), spacing=12)

    def show_result(
        self, told: Headline, title: str, against: str, result: Result, broken: str = "", *, judges: bool = True
    ) -> None:
        """Say what a result answers; where a spec is `broken` that sentence, and nothing is judged.

        Limits are asked for where a bay `judges` by some.
        """
        theme = current_theme()
        counts: Counter[str] = Counter(verdict.decision for verdict in result.verdicts)
        self._outcome = "reject" if broken else told.decision or ""
        head = say("Limits can't be read. Nothing is judged.") if broken else told.text
        self._told = head
        self._head.setToolTip(head)
        # a full page leaves no line less than its height
        self.inspected.setMinimumHeight(self.inspected.fontMetrics().height())
        self._title, self._against, self._broken = title, against, broken
        self.limits.setVisible(bool(broken) or (judges and not result.verdicts))
        self.limits.setText(say("&Mend limits…") if broken else say("&Write limits…"))
        self.inspected.setToolTip(f"{title}\n{broken or against}")
        side = round(2.0 * self.fontMetrics().height())
        name, of = (self._outcome, self._outcome) if self._outcome else ("info", "quiet")
        self._mark.setPixmap(icon(name, of).pixmap(QSize(side, side), self.devicePixelRatioF()))
        self._counts.setText(
            " &nbsp; ".join(
                f'<span style="color:{theme.colours[key]}">{SIGNS[key]}</span> <b>{counts[key]}</b> '
                f'<span style="color:{theme.colours["quiet"]}">{say(WORDS[key])}</span>'
                for key in reversed(RANKED)
                if counts[key]
            )
        )
        self._fit_words()
        self.setAccessibleName(head)
        self.setMinimumHeight(max(self.minimumHeight(), self.sizeHint().height()))  # pages below stay as they are
        self.update()

    def _head_font(self, rank: float) -> QFont:
        return scaled(self.font(), rank, strong=True)

    def _fit_words(self) -> None:
        """The outcome in one line, in two where it is long, smaller before it is cut; below it one line."""
        lay = self.layout()
        assert lay is not None
        lay.activate()
        colours = current_theme().colours
        wide = max(self._head.width(), self.fontMetrics().height())
        fonts = [(self._head_font(rank), lines) for lines, ranks in _RANKS for rank in ranks]
        font = next((font for font, lines in fonts if _lines(self._told, font, wide) <= lines), None)
        self._head.setFont(font or fonts[-1][0])
        metrics = self._head.fontMetrics()
        lines = min(2, _lines(self._told, self._head.font(), wide))
        text = self._told if font else cut(self._told, metrics, round(1.8 * wide))
        colour = colours.get(self._outcome, colours["text"])
        self._head.setText(f'<span style="color:{colour}">{escape(kept_together(text))}</span>')
        self._head.setFixedHeight(lines * metrics.lineSpacing())
        whole = self._broken or f"{self._title}{_BETWEEN}{self._against}"
        room = max(self.inspected.width(), self.fontMetrics().height())
        said = cut(whole, self.inspected.fontMetrics(), room)
        first = said if self._broken else said[: len(self._title)]
        strong, rest = colour if self._broken else colours["text"], said[len(first) :]
        self.inspected.setText(_coloured((strong, first), (colours["quiet"], rest)))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width, another count of lines, and no room kept for those that were more."""
        super().resizeEvent(event)
        if event.size().width() != event.oldSize().width():
            self.setMinimumHeight(0)
        self._fit_words()

    def changeEvent(self, event: QEvent) -> None:
        """Its height follows the text size."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange:
            self.setMinimumHeight(0)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """A panel with the outcome's colour down its left edge."""
        with painting(self, "panel") as painter:
            painter.fillRect(0, 0, 5, self.height(), current_theme().colour(self._outcome or "line"))
