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
    QApplication,
    QComboBox,
    QLineEdit,
    QPlainTextEdit,
    QPushButton,
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
from valvelab.window.bays.phasing_form import WorksheetForm
from valvelab.window.bays.reading_field import ReadingField
from valvelab.window.main_window import MainWindow
from valvelab.window.pages import OfferStrip
from valvelab.window.panes import Chips
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


def letter(text: str) -> str:
    return text[text.index("&") + 1].casefold()


def have_letters(window: MainWindow) -> bool:
    """Whether each button that is seen has a letter that no other has and no menu, or a key that its tip names."""
    QApplication.processEvents()
    seen = [one for one in window.findChildren(QPushButton) if one.isVisible() and any(map(str.isalpha, one.text()))]
    told = [(one.text(), one.toolTip()) for one in seen]
    assert [text for text, tip in told if "&" not in text and ")" not in text + tip] == []
    letters = [letter(menu.title()) for menu in window.menus.values()]
    letters += [letter(text) for text, _ in told if "&" in text]
    assert len(set(letters)) == len(letters), told
    return len(letters) > len(window.menus)


@pytest.mark.parametrize("bay", bays.BAYS, ids=lambda bay: bay.name)
def test_every_control_has_a_name_and_every_button_a_letter(window: MainWindow, bay: bays.Bay) -> None:
    window.bay_actions[bay.name].trigger()
    assert have_letters(window)
    window.bench.add_files([str(sample_profiles() / name) for name in bay.sample])
    window.bay_actions[bay.name].trigger()
    found = [one for one in window.findChildren(QWidget) if isinstance(one, CONTROLS) and not inside_another(one)]
    nameless = [(type(one).__name__, type(one.parent()).__name__, one.toolTip()) for one in found if not told(one)]
    assert len(found) > 30
    assert not nameless
    tables = [one for one in window.findChildren(QTableView) if one.tabKeyNavigation()]
    assert not tables, "Tab walks every cell"
    window.open_limits()
    assert have_letters(window)
    for chips in window.pages.front().findChildren(Chips):
        for chip in chips.buttons() if chips.exclusive() and chips.row.isVisible() else ():
            chip.click()
            have_letters(window)


def test_every_row_of_a_menu_has_a_letter_of_its_own(window: MainWindow) -> None:
    assert len({letter(menu.title()) for menu in window.menus.values()}) == len(window.menus)
    for menu in each(window.menus.values()):
        for _ in range(2):
            menu.aboutToShow.emit()
        texts = [action.text() for action in menu.actions() if not action.isSeparator()]
        letters = [letter(text) for text in texts]
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
    for name in ("springs", "lash", "liftcheck"):
        window.bench.add_files([str(sample_profiles() / file) for file in bays.by_name(name).sample])  # type: ignore[union-attr]
    for name in ("limits", "records", "guide", "tour", "about"):
        window.do(name)
    text = window.text_page.findChild(QTextBrowser)
    assert text is not None
    said = text.toPlainText().replace("PgDown", "PgDown PgUp")
    wanted = [one.key().toString() for one in window.findChildren(QShortcut)]
    wanted += [action.shortcut().toString() for action in window.findChildren(QAction)]
    assert len(wanted) > 40
    assert [key for key in wanted if key not in said] == []
    pressed = [one.shortcut().toString() for one in window.findChildren(QAbstractButton)]
    assert [key for key in pressed if not key.startswith("Alt+") and key.replace("Esc", "Escape") not in said] == []
    window.tour.close()
    window.guide.close()
    window.records.close()


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


def test_a_wrong_field_of_the_worksheet_says_why_under_it(window: MainWindow) -> None:
    window.bench.add_files([str(sample_profiles() / name) for name in bays.by_name("phasing").sample])  # type: ignore[union-attr]
    QApplication.processEvents()
    field = window.pages.front().findChild(WorksheetForm).findChild(ReadingField)
    field.selectAll()
    QTest.keyClicks(field, "fifty")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert field.sentence is not None
    assert field.sentence.isVisible()
    assert field.sentence.text() == f"✗ {field.wrong}"
