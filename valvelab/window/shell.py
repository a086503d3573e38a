"""The window's frame: bars, docks and pages, made and named; `main_window` gives them life."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QAction, QActionGroup, QKeySequence, QResizeEvent
from PySide6.QtWidgets import QDockWidget, QMainWindow, QMenu, QSizePolicy, QWidget

from valvelab.language import marked, say
from valvelab.window import pages
from valvelab.window.actions import ACTIONS, ActionRow, with_letters
from valvelab.window.bench_list import BenchList
from valvelab.window.chips import FlatBar
from valvelab.window.icons import icon
from valvelab.window.layouts import stacked
from valvelab.window.notes_table import NotesTable
from valvelab.window.pages import EmptyPage, TextPage
from valvelab.window.sheet import Sheet
from valvelab.window.tiles import Tiles
from valvelab.window.verdict_table import Banner, VerdictTable
from valvelab.workbench import bays

_MENUS = (marked("Job"), marked("Bench"), marked("Edit"), marked("View"), marked("Help"))

_CHOICES = ("scheme_", "language_")
"""Beginnings of the names of actions of which one is on."""
_SHEET_EMS, _SHEET_SHARE = 10, 0.25
"""Height of the sheet at first, and its most as a share of the window's."""
_LIMITS_EMS, _LIMITS_SHARE = 15, 0.4
"""The same while limits are written in it, below two lines of tools."""
_LOW_EMS = 26
"""A window of fewer ems in height has no room for a page and an open sheet."""


class Shell(QMainWindow):
    """Everything in its place and nothing connected."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("main window")
        self.setWindowTitle("valvelab")
        self.setAcceptDrops(True)
        self.setDockOptions(QMainWindow.DockOption.AnimatedDocks)
        self._make_centre()
        self._make_docks()
        self.actions_by_name: dict[str, QAction] = {}
        self._make_actions()
        self._make_bench()
        screen, frame = self.screen().availableGeometry(), 2 * self.fontMetrics().height()
        self.resize(min(1600, screen.width() - frame), min(1000, screen.height() - frame))
        self.usual_layout = self.saveState()

    def _make_centre(self) -> None:
        self.banner = Banner(self)
        self.banner.hide()
        self.pages = pages.Pages(self)
        self.empty = EmptyPage(self)
        self.text_page = TextPage(self)
        for page in (self.empty, self.text_page):
            self.pages.add(page)
        self.veil = pages.Veil(self.pages)
        centre = QWidget(self)
        self.offer = pages.OfferStrip(self)
        self.written = pages.OfferStrip(self)
        self.tour_offer = pages.OfferStrip(self)
        self.unit_offer = pages.OfferStrip(self)
        self.language_offer = pages.OfferStrip(self)
        offers = (self.offer, self.tour_offer, self.unit_offer, self.language_offer)
        self.above_one_another = stacked(centre, *offers, self.written, self.banner, (self.pages, 1))
        self.setCentralWidget(centre)

    def _make_docks(self) -> None:
        self.files = BenchList(self)
        self.verdicts = VerdictTable(self)
        self.notes = NotesTable(self)
        self.limit_pages = pages.Pages(self)
        self.sheet = Sheet(self)
        self.sheet.add("verdicts", self.verdicts, self.verdicts.tools)
        self.sheet.add("limits", self.limit_pages)
        self.sheet.add("remarks", self.notes)
        self.docks: dict[str, QDockWidget] = {}
        left, bottom = Qt.DockWidgetArea.LeftDockWidgetArea, Qt.DockWidgetArea.BottomDockWidgetArea
        for name, widget, area in (
            ("Bench", QWidget(self), left),
            ("Verdicts", self.sheet, bottom),
            ("Readings", QWidget(self), Qt.DockWidgetArea.RightDockWidgetArea),
        ):
            dock = QDockWidget(say(name), self)
            dock.setObjectName(f"dock {name}")
            dock.setWidget(widget)
            self.addDockWidget(area, dock)
            self.docks[name] = dock
        self.docks["Readings"].hide()
        self.setCorner(Qt.Corner.BottomLeftCorner, left)
        self.setCorner(Qt.Corner.BottomRightCorner, Qt.DockWidgetArea.RightDockWidgetArea)
        for name in ("Bench", "Verdicts"):  # what lies in them says what they are
            self.docks[name].setTitleBarWidget(QWidget(self))
        em = self.fontMetrics().height()
        self.sheet.opened.connect(self.give_sheet)
        self.resizeDocks([self.docks["Readings"]], [20 * em], Qt.Orientation.Horizontal)
        self.resizeDocks([self.docks["Verdicts"]], [_SHEET_EMS * em], Qt.Orientation.Vertical)

    def give_sheet(self, high: int) -> None:
        """Room for the sheet that was opened."""
        written = self.sheet.front == "limits"
        ems, share = (_LIMITS_EMS, _LIMITS_SHARE) if written else (_SHEET_EMS, _SHEET_SHARE)
        usual = min(ems * self.fontMetrics().height(), round(share * self.height()))
        self.resizeDocks([self.docks["Verdicts"]], [high or usual], Qt.Orientation.Vertical)
        _lay_now(self.docks["Verdicts"], self)

    def _make_actions(self) -> None:
        bar = FlatBar(say("Tools"), self)
        bar.setObjectName("bar tools")
        bar.setMovable(False)
        bar.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        em = self.fontMetrics().height()
        bar.setIconSize(QSize(round(1.25 * em), round(1.25 * em)))
        said = with_letters([say(name) for name in _MENUS])
        self.menus = {name: self.menuBar().addMenu(text) for name, text in zip(_MENUS, said, strict=True)}
        self.languages = QMenu(say("Language"), self)
        menus = {**self.menus, "Language": self.languages}
        self.recent = QMenu(say("Recent jobs"), self)
        groups = {choice.rstrip("_"): QActionGroup(self) for choice in _CHOICES}
        for row in ACTIONS:
            action = self._action(row)
            if row.name == "save_job":
                menus[row.menu].addMenu(self.recent)
            if row.menu:
                menus[row.menu].addAction(action)
            else:
                self.addAction(action)
            if row.name.startswith(_CHOICES):
                groups[row.name.partition("_")[0]].addAction(action)
            if row.bar:
                if row.name in {"undo", "scheme"}:
                    bar.addSeparator()
                bar.addAction(action)
                if row.name in {"print", "undo", "redo", "scheme", "cautions"}:
                    button = bar.widgetForAction(action)
                    button.setProperty("toolButtonStyle", Qt.ToolButtonStyle.ToolButtonIconOnly)
        self.menus["View"].insertMenu(self.actions_by_name["larger"], self.languages)
        for menu in menus.values():
            menu.aboutToShow.connect(partial(_letter, menu))
        for dock in self.docks.values():
            self.menus["View"].addAction(dock.toggleViewAction())
        self.addToolBar(Qt.ToolBarArea.TopToolBarArea, bar)
        self.busy = pages.BusyLabel(self)
        spacer = QWidget(self)
        spacer.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        bar.addWidget(spacer)
        bar.addWidget(self.busy)
        self.tools = bar

    def _action(self, row: ActionRow) -> QAction:
        action = QAction(icon(row.icon), say(row.text), self)
        action.setObjectName(f"action {row.name}")
        action.setIconText(action.iconText())  # the bar's word stays where the menu's says more
        action.setCheckable(row.checkable)
        tip = say(row.tip)
        if row.shortcut:
            keys = QKeySequence(row.shortcut)
            action.setShortcut(keys)
            tip = with_keys(tip, keys)
        action.setToolTip(tip)
        action.setStatusTip(say(row.tip))
        self.actions_by_name[row.name] = action
        return action

    def _make_bench(self) -> None:
        """Bays in the order of work, and below them what lies on the bench."""
        self.bay_actions: dict[str, QAction] = {}
        group = QActionGroup(self)
        for number, bay in enumerate(bays.BAYS, start=1):
            action = QAction(icon(bay.icon), say(bay.title), self, checkable=True)
            keys = QKeySequence(f"Ctrl+{number % 10}")
            action.setShortcut(keys)
            action.setToolTip(f"{with_keys(say(bay.title), keys)}: {say(bay.empty)}")
            group.addAction(action)
            self.addAction(action)
            self.bay_actions[bay.name] = action
        column = self.docks["Bench"].widget()
        self.tiles = Tiles(self.bay_actions, column)
        stacked(column, self.tiles, (self.files, 1))
        self.give_bench()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The tiles lie as the width allows, and the sheet is open where the height allows it."""
        super().resizeEvent(event)
        folded = self.sheet.is_folded
        self.sheet.keep_low(low=self._is_low())
        if folded and not self.sheet.is_folded:
            self.give_sheet(0)
        if self.tiles.fit(self.width()):
            self.give_bench()

    def _is_low(self) -> bool:
        return self.height() < _LOW_EMS * self.fontMetrics().height()

    def give_bench(self) -> None:
        """Room for the bench as wide as its tiles are."""
        self.tiles.fit(self.width())
        dock = self.docks["Bench"]
        _lay_now(self.tiles, dock.widget(), dock)  # one that still asks for more would lie over what is beside it
        self.resizeDocks([dock], [self.tiles.sizeHint().width()], Qt.Orientation.Horizontal)
        _lay_now(self.tiles, dock.widget())


def _lay_now(*widgets: QWidget) -> None:
    """Lay what lies in these at once, innermost first, so that they are painted once."""
    for widget in widgets:
        if (lay := widget.layout()) is not None:
            lay.activate()


def _letter(menu: QMenu) -> None:
    """Give each row of a menu a letter of its own."""
    rows = [action for action in menu.actions() if not action.isSeparator()]
    for action, text in zip(rows, with_letters([action.text() for action in rows]), strict=True):
        action.setText(text)


def with_keys(text: str, keys: QKeySequence) -> str:
    """A tip with the keys that do the same."""
    return f"{text} ({keys.toString(QKeySequence.SequenceFormat.NativeText)})"
