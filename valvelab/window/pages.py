"""Pages that are no bay: the empty bench, texts to read."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from html import escape
from pathlib import Path

from PySide6.QtCore import QEvent, QPoint, QPointF, QRect, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QKeySequence, QPaintEvent, QPen, QRegion, QResizeEvent
from PySide6.QtWidgets import (
    QLabel,
    QPushButton,
    QScrollArea,
    QStackedWidget,
    QTextBrowser,
    QWidget,
)

from valvelab import __version__
from valvelab.cautions import CAUTIONS
from valvelab.language import marked, say
from valvelab.window.actions import ACTIONS, KEYS
from valvelab.window.chips import Heading
from valvelab.window.icons import icon
from valvelab.window.layouts import Panes, above, beside
from valvelab.window.painting import CENTRE, about, drawn_parts, painting, write
from valvelab.window.theme import Theme, current_theme
from valvelab.window.turns import turns_at
from valvelab.workbench.bay import Bay
from valvelab.workbench.bays import BAYS
from valvelab.workbench.typed import kinds_at

Html = Callable[[Theme], str]
_FLASH_MS, _VEIL_MS = 8000, 250
_UNDER_WAY = marked("Reading and inspecting…")
_JOBS_SHOWN = 5


class PageArea(QScrollArea):
    """A page that scrolls where it has to; its panes lie above one another before it scrolls sideways."""

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width."""
        self.fit()
        super().resizeEvent(event)

    def event(self, event: QEvent) -> bool:
        """Another size of text, or another pane."""
        if event.type() == QEvent.Type.LayoutRequest:
            self.fit()
        return super().event(event)

    def fit(self) -> None:
        """Lay the panes of the page as its width lets them."""
        if (page := self.widget()) is not None:
            for panes in page.findChildren(Panes):
                panes.fit(self.viewport().width())


class Pages(QStackedWidget):
    """Pages one at a time, each in a scroll area, so that large text makes scroll bars instead of a larger window."""

    def add(self, page: QWidget) -> None:
        """Take a page in."""
        area = PageArea(self)
        area.setWidgetResizable(True)
        area.setFrameShape(QScrollArea.Shape.NoFrame)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        area.setWidget(page)
        self.addWidget(area)

    def bring(self, page: QWidget) -> None:
        """Bring a page to the front."""
        for number in range(self.count()):
            area = self.widget(number)
            if isinstance(area, QScrollArea) and area.widget() is page and number != self.currentIndex():
                self.setCurrentIndex(number)

    def front(self) -> QWidget:
        """The page in front."""
        area = self.currentWidget()
        assert isinstance(area, QScrollArea)
        page = area.widget()
        assert page is not None
        return page


class Veil(QWidget):
    """Lies over the page that was in front while its next answer is worked out, once that takes a while.

    It falls over a plot or a table after the other, and is lifted so: whatever it touches is drawn anew.
    """

    def __init__(self, pages: Pages) -> None:
        super().__init__(pages)
        self._over = pages
        self._covered = QRegion()
        self._due = QTimer(self, singleShot=True, interval=_VEIL_MS)
        self._due.timeout.connect(self._fall)
        self.hide()

    def await_answer(self) -> None:
        """Fall over the page unless the answer comes soon."""
        if not self._due.isActive() and (self.isHidden() or self._covered.isEmpty()):
            self._due.start()

    def lift(self) -> None:
        """Show the page plainly."""
        self._due.stop()
        if not (self.isHidden() or self._covered.isEmpty()):
            left, pieces = self._covered, [*self._pieces(), self._covered]
            self._covered = QRegion()
            self._in_turns([partial(self._cover, left := left - piece) for piece in pieces])

    def _fall(self) -> None:
        self.setGeometry(self._over.rect())
        self._covered, pieces, reached = QRegion(self.rect()), self._pieces(), QRegion()
        whole = [reached := reached + piece for piece in pieces]
        self._in_turns([partial(self._cover, piece) for piece in (*whole, self._covered)])

    def _pieces(self) -> list[QRegion]:
        """Where the plots and tables of the page in front are."""
        parts = [part for part in drawn_parts(self._over.front()) if part.isVisible()]
        return [QRegion(QRect(part.mapTo(self._over, QPoint()), part.size())) & self.rect() for part in parts]

    def _in_turns(self, steps: list[Callable[[], object]]) -> None:
        turns = turns_at(self)
        if turns is None:
            steps[-1]()
        else:
            turns.in_steps("veil", steps, next_up=True)

    def _cover(self, region: QRegion) -> None:
        """Lie over so much of the page."""
        if region.isEmpty():
            self.hide()
            return
        self.setMask(region)
        self.show()
        self.raise_()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """The page pale, and what goes on."""
        theme, em = current_theme(), self.fontMetrics().height()
        with painting(self) as painter:
            painter.fillRect(self.rect(), theme.colour("window", 0.6))
            box = about(QPointF(0.5 * self.width(), 2.5 * em), 8.0 * em, 1.2 * em)
            painter.setPen(QPen(theme.colour("line"), 1.0))
            painter.setBrush(theme.colour("panel"))
            painter.drawRoundedRect(box, 0.4 * em, 0.4 * em)
            write(painter, box, CENTRE, say(_UNDER_WAY), "text")


class EmptyPage(QWidget):
    """What to do while there is nothing to show; or that work is under way; or why there is no answer."""

    job_wanted = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._hot = False
        self._picture = QLabel(self, alignment=Qt.AlignmentFlag.AlignCenter)
        self._head = Heading("", 1.6, self)
        self._head.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._head.setWordWrap(True)
        self.explanation = QLabel(self, alignment=Qt.AlignmentFlag.AlignCenter, wordWrap=True)
        self.caution = QLabel(self, alignment=Qt.AlignmentFlag.AlignCenter, wordWrap=True)
        self.caution.setAccessibleName("Caution")
        self._jobs = above(spacing=2)
        self.open_button = QPushButton(say("O&pen…"), self)
        self.sample_button = QPushButton(say("Open the &sample"), self)
        self.type_button = QPushButton(say("&Type readings…"), self)
        self._offered: QWidget | None = None
        self._offers = beside(1, 1)
        buttons = beside(1, self.open_button, self.type_button, self.sample_button, 1)
        above(
            3,
            self._picture,
            self._head,
            self.explanation,
            self.caution,
            buttons,
            self._offers,
            beside(1, self._jobs, 1),
            4,
            on=self,
            margins=(40, 20, 40, 20),
            spacing=10,
        )

    def offer(self, widget: QWidget | None) -> None:
        """Show what the bay in front can begin with, below the buttons."""
        if widget is self._offered:
            return
        if self._offered is not None:
            self._offered.hide()
        if widget is not None:
            if widget.parent() is not self:
                self._offers.insertWidget(1, widget)
            widget.show()
        self._offered = widget

    def show_jobs(self, paths: Sequence[str]) -> None:
        """Offer jobs that were open before, the last one first; `job_wanted(path)` when one is chosen."""
        while (item := self._jobs.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.deleteLater()
        if paths:
            self._jobs.addWidget(QLabel(say("Recent jobs"), self, alignment=Qt.AlignmentFlag.AlignCenter))
        for path in paths[:_JOBS_SHOWN]:
            button = QPushButton(Path(path).stem, self)
            button.setFlat(True)
            button.setIcon(icon("job"))
            button.setToolTip(path)
            button.setAccessibleName(say("Open the job {stem}").format(stem=Path(path).stem))
            button.clicked.connect(partial(self.job_wanted.emit, path))
            self._jobs.addWidget(button)

    def show_bay(self, bay: Bay | None, *, busy: bool, failure: str, begun: str = "") -> None:
        """Say what the bay in front needs; `begun`: what a table that is being typed for it wants next."""
        failure = "" if begun else failure
        side = round(4.5 * self.fontMetrics().height())
        name = "waiting" if busy else "error" if failure else bay.icon if bay else "open"
        colour = "reject" if failure else "accent"
        self._picture.setPixmap(icon(name, colour).pixmap(QSize(side, side), self.devicePixelRatioF()))
        if begun:
            head, what = say("{bay}: being typed").format(bay=say(bay.title if bay else "Readings")), begun
        elif busy:
            head, what = say(_UNDER_WAY), ""
        elif failure:
            head, what = say("This can't be inspected"), failure
        else:
            head = (
                say("{bay}: nothing on the bench yet").format(bay=say(bay.title))
                if bay
                else say("Nothing on the bench yet")
            )
            what = (say(bay.empty) if bay else "") + say(" A spec (TOML) beside it gives the limits to judge by.")
        self._head.setText(head)
        self.explanation.setText(what)
        mind = "" if bay is None else say(bay.caution)
        self.caution.setText(f'<span style="color:{current_theme().colours["undecided"]}">▲ {escape(mind)}</span>')
        self.caution.setVisible(bool(mind))
        self.open_button.setVisible(not busy and not begun)
        self.sample_button.setVisible(not busy and not failure and not begun)
        self.type_button.setVisible(not busy and not begun and bay is not None and bool(kinds_at(bay.name)))
        self.update()

    def hot(self, *, on: bool) -> None:
        """Files hover over the window."""
        self._hot = on
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """A dashed frame to drop files in."""
        colour = current_theme().colour("accent" if self._hot else "line")
        with painting(self, "panel") as painter:
            painter.setPen(QPen(colour, 2.0, Qt.PenStyle.DashLine))
            painter.drawRoundedRect(self.rect().adjusted(14, 14, -14, -14), 10, 10)


class TextPage(QWidget):
    """A text to read in place of the bay; `closed` when it was read, `followed(address)` for a link in it."""

    closed = Signal()
    followed = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.wanted = False
        self._html: Html | None = None
        self._head = Heading("", 1.4, self)
        self._text = QTextBrowser(self, openLinks=False)
        self._text.anchorClicked.connect(lambda address: self.followed.emit(address.toString()))
        self._text.setFrameShape(QTextBrowser.Shape.NoFrame)
        self._text.setAccessibleName(say("Text"))
        back = QPushButton(say("Back to the bench"), self)
        back.setShortcut("Escape")
        back.setToolTip("Back to the bench (Escape)")
        back.clicked.connect(self.closed)
        above(beside((self._head, 1), back), (self._text, 1), on=self, margins=(18, 12, 18, 12))

    def show_text(self, title: str, html: Html) -> None:
        """Show a text."""
        self.wanted, self._html = True, html
        self._head.setText(say(title))
        self.refresh()

    def refresh(self) -> None:
        """Write the text again in the colours in force."""
        if self._html is not None:
            self._text.setHtml(self._html(current_theme()))


class BusyLabel(QLabel):
    """Says what goes on in the background."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setContentsMargins(0, 0, 10, 0)
        self.setAccessibleName(say("Work under way"))

    def say(self, text: str) -> None:
        """Show a text, or nothing."""
        self.setText(f"○ {text}…" if text else "")

    def flash(self, text: str) -> None:
        """Show a text for some seconds."""
        self.setText(text)
        QTimer.singleShot(_FLASH_MS, self, lambda: self.setText("") if self.text() == text else None)


class OfferStrip(QWidget):
    """A question above the bay that can be answered or left alone; `taken` for yes, `refused` for no."""

    taken = Signal()
    refused = Signal()

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._text = QLabel(self, wordWrap=True)
        self._yes = QPushButton(self)
        self._no = QPushButton(self)
        for button, answer in ((self._yes, self.taken), (self._no, self.refused)):
            button.clicked.connect(self.hide)
            button.clicked.connect(answer)
        beside((self._text, 1), self._yes, self._no, on=self, margins=(16, 6, 12, 6))
        self.hide()

    def ask(self, text: str, yes: str, no: str, tip: str = "") -> None:
        """Ask; `tip` says what a no does."""
        self._text.setText(text)
        self._yes.setText(yes)
        self._no.setText(no)
        self._no.setToolTip(tip)
        self.show()


def cautions_html(theme: Theme) -> str:
    """The cautions."""
    rows = "".join(
        f'<tr><td style="color:{theme.colours["undecided"]};padding:8px 14px 8px 4px;font-size:large">▲</td>'
        f'<td style="padding:8px 0">{escape(say(text))}</td></tr>'
        for text in CAUTIONS
    )
    return f"<table>{rows}</table>"


def about_html(theme: Theme) -> str:
    """Version and every key."""
    quiet = theme.colours["quiet"]
    keys = [(_keys_told(one.shortcut), say(one.tip)) for one in ACTIONS if one.shortcut]
    keys += [
        (_keys_told(f"Ctrl+{number % 10}"), say("Go to {bay}").format(bay=say(bay.title)))
        for number, bay in enumerate(BAYS, start=1)
    ]
    rows = "".join(
        f"<tr><td style='padding:2px 22px 2px 0'><b>{escape(key)}</b></td><td>{escape(tip)}</td></tr>"
        for key, tip in (*keys, *((say(key), say(tip)) for key, tip in KEYS))
    )
    version = say("Version {version}. Inspection of camshafts and valve springs for competition-engine shops.")
    support = say("Results support, and never replace, the judgement of qualified people.")
    return (
        f"<p>{version.format(version=__version__)}</p>"
        f"<p style='color:{quiet}'>{support}</p>"
        f"<h3>{say('Keys')}</h3><table>{rows}</table>"
    )


def _keys_told(shortcut: str) -> str:
    return QKeySequence(shortcut).toString(QKeySequence.SequenceFormat.NativeText)


def remembered_html(columns: Mapping[str, str], theme: Theme) -> str:
    """Remembered column assignments, by the shape of their files, each with a link that forgets it."""
    quiet, link = theme.colours["quiet"], theme.colours["accent"]
    rows = "".join(
        f"<tr><td style='padding:4px 22px 4px 0'>{escape(told)}</td>"
        f"<td style='padding:4px 0'><a href='{escape(shape)}' style='color:{link}'>{say('Forget')}</a></td></tr>"
        for shape, told in reversed(list(columns.items()))
    )
    why = say(
        "A file whose names say nothing is read by these where its form, its number of columns and its header agree."
    )
    return f"<p style='color:{quiet}'>{why}</p>" + (f"<table>{rows}</table>" if rows else f"<p>{say('None.')}</p>")
