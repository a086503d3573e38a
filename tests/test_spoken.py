"""Every control of every bay has a name that can be spoken, every menu its letters, and Tab leaves every table."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QShortcut
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractSlider,
    QAbstractSpinBox,
    QComboBox,
    QLineEdit,
    QPlainTextEdit,
    QScrollBar,
    QTabBar,
    QTableView,
    QTextBrowser,
    QTextEdit,
    QWidget,
)
from something import each

from valvelab.places import sample_profiles
from valvelab.window.bays.lobes_view import LobesView
from valvelab.window.main_window import MainWindow
from valvelab.window.pages import OfferStrip
from valvelab.workbench import bays

CONTROLS = (QAbstractButton, QAbstractItemView, QAbstractSlider, QAbstractSpinBox, QComboBox, QLineEdit, QPlainTextEdit,
            QTabBar, QTextEdit)  # fmt: skip
"""What a person works with; plots and other drawings by their own class are named in test_drawing."""


def told(widget: QWidget) -> str:
    text = widget.text() if isinstance(widget, QAbstractButton) else ""
    return widget.accessibleName() or text.strip("×+… ")


def inside_another(widget: QWidget) -> bool:
    """Whether a control is a part of one that is named, or the toolkit's own."""
    parent = widget.parent()
    own = widget.objectName().startswith("qt_") or "Dock" in type(widget).__name__
    listed = isinstance(parent, QWidget) and isinstance(parent.parent(), QComboBox)
    within = isinstance(parent, QComboBox | QAbstractSpinBox | QAbstractItemView | QLineEdit) or listed
    unasked = isinstance(parent, OfferStrip) and parent.isHidden()
    return own or within or unasked or isinstance(widget, QScrollBar)


@pytest.mark.parametrize("bay", bays.BAYS, ids=lambda bay: bay.name)
def test_every_control_has_a_name(window: MainWindow, bay: bays.Bay) -> None:
    window.bench.add_files([str(sample_profiles() / name) for name in bay.sample])
    window.bay_actions[bay.name].trigger()
    found = [one for one in window.findChildren(QWidget) if isinstance(one, CONTROLS) and not inside_another(one)]
    nameless = [(type(one).__name__, type(one.parent()).__name__, one.toolTip()) for one in found if not told(one)]
    assert len(found) > 30
    assert not nameless
    tables = [one for one in window.findChildren(QTableView) if one.tabKeyNavigation()]
    assert not tables, "Tab walks every cell"


def test_every_row_of_a_menu_has_a_letter_of_its_own(window: MainWindow) -> None:
    titles = [menu.title() for menu in window.menus.values()]
    assert len({title[title.index("&") + 1].casefold() for title in titles}) == len(titles)
    for menu in each(window.menus.values()):
        for _ in range(2):
            menu.aboutToShow.emit()
        texts = [action.text() for action in menu.actions() if not action.isSeparator()]
        letters = [text[text.index("&") + 1].casefold() for text in texts]
        assert len(set(letters)) == len(letters), texts


def test_tab_leads_out_of_a_table(window: MainWindow) -> None:
    window.bench.add_files([str(sample_profiles() / name) for name in bays.BAYS[0].sample])
    sheet = window.verdicts.sheet
    window.activateWindow()
    sheet.setFocus()
    before = sheet.currentIndex()
    QTest.keyClick(sheet, Qt.Key.Key_Tab)
    assert not sheet.hasFocus()
    assert sheet.currentIndex() == before


def test_f1_lists_every_key(window: MainWindow) -> None:
    window.bench.add_files([str(sample_profiles() / name) for name in bays.by_name("liftcheck").sample])  # type: ignore[union-attr]
    window.do("about")
    text = window.text_page.findChild(QTextBrowser)
    assert text is not None
    said = text.toPlainText().replace("PgDown", "PgDown PgUp")
    wanted = [one.key().toString() for one in window.findChildren(QShortcut)]
    wanted += [action.shortcut().toString() for action in window.findChildren(QAction)]
    assert len(wanted) > 40
    assert [key for key in wanted if key not in said] == []


def test_a_wrong_field_says_why_under_it(window: MainWindow) -> None:
    window.bench.add_files([str(sample_profiles() / name) for name in bays.BAYS[0].sample])
    view = window.pages.front()
    assert isinstance(view, LobesView)
    field = view.lift_field
    field.selectAll()
    QTest.keyClicks(field, "1.2 apples")
    QTest.keyClick(field, Qt.Key.Key_Return)
    told = field.sentence
    assert told is not None
    assert told.isVisible()
    assert told.text() == f"✗ {field.wrong}"
    assert told.y() >= field.mapTo(window, field.rect().bottomLeft()).y()
    assert window.rect().contains(told.geometry())
    QTest.keyClick(field, Qt.Key.Key_Backspace)
    assert field.sentence is None, "until it is typed in again"
