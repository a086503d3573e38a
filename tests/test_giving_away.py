"""What the window gives away: tables and plots by their menus, exports, papers that are printed or opened."""

from __future__ import annotations

import io
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pypdfium2
import pytest
from openpyxl import load_workbook
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QDesktopServices
from PySide6.QtPrintSupport import QPrinter
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QFileDialog, QMenu, QWidget
from something import each
from waiting import made_of

from valvelab.figures.description import Axis, Band, Curve, Dial, Figure, Marks
from valvelab.figures.points import HEAD, part_of, point_rows
from valvelab.places import sample_profiles
from valvelab.window.dial import DialView
from valvelab.window.drawing import FigureStack, FigureView
from valvelab.window.figure_item import FigureItem
from valvelab.window.main_window import MainWindow
from valvelab.window.plot_menu import drawing
from valvelab.window.print_preview import PrintPreview
from valvelab.window.saving import ask_place
from valvelab.window.table_menu import table_cells

pytestmark = pytest.mark.usefixtures("app")
SAMPLES = sample_profiles()
X = np.linspace(-10.0, 10.0, 201)
ACROSS = Axis("Angle", "cam deg")
HILL = Figure("hill", "Hill", ACROSS, Axis("Lift", "mm"), (Curve(X, X**2, "measured", "1I"),))
SLOPE = Figure("slope", "Slope", ACROSS, Axis("Velocity", "mm/cam deg"), (Curve(X, 2.0 * X, "measured", "1I"),))


@pytest.fixture
def judged(window: MainWindow) -> MainWindow:
    """Two journals' worth of form, judged: quick to inspect."""
    window.bench.add_files([str(SAMPLES / "club_four_journals.csv"), str(SAMPLES / "club_four_shaft_spec.toml")])
    window.bay_actions["shaft"].trigger()
    return window


def opened_menu() -> QMenu:
    """The menu that is open; it is closed again."""
    (menu,) = (one for one in QApplication.topLevelWidgets() if isinstance(one, QMenu) and one.isVisible())
    menu.close()
    return menu


def entry(menu: QMenu, text: str) -> None:
    """Do what an entry says."""
    (action,) = (one for one in menu.actions() if one.text() == text)
    assert action.isEnabled()
    action.trigger()


def clipboard() -> list[list[str]]:
    return [line.split("\t") for line in QApplication.clipboard().text().splitlines()]


def test_rows_are_copied_with_their_heads(judged: MainWindow) -> None:
    sheet = judged.verdicts.sheet
    whole = table_cells(sheet)
    assert len(whole) == 1 + len(sheet.rows_model.rows)
    assert whole[0][:3] == ["verdict", "item", "characteristic"]
    assert "within limits" not in whole[0]
    sheet.selectRow(1)
    judged.activateWindow()
    sheet.setFocus()
    QTest.keyClick(sheet, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert clipboard() == [whole[0], whole[2]]
    sheet.selectAll()
    sheet.customContextMenuRequested.emit(QPoint(5, 5))
    entry(opened_menu(), "Copy rows")
    assert len(clipboard()) == len(whole)


def test_a_number_that_is_copied_is_a_number(judged: MainWindow) -> None:
    table = judged.pages.front().table  # type: ignore[attr-defined]
    table.clearSelection()
    table.customContextMenuRequested.emit(QPoint(5, 5))
    entry(opened_menu(), "Copy table")
    assert "−" not in QApplication.clipboard().text()
    column = clipboard()[0].index("roundness LSC µm")
    assert all(float(row[column]) > 0.0 for row in each(clipboard()[1:]))


def test_y_follows_what_is_seen_while_x_is_zoomed() -> None:
    stack = FigureStack("both")
    stack.resize(600, 400)
    stack.show_figures([HILL, SLOPE], "metric")
    hill, slope = stack.items_by_name.values()
    whole = hill.view.viewRange()[1]
    assert whole[1] > 100.0
    hill.view.setXRange(-2.0, 2.0, padding=0.0)
    assert 4.0 < hill.view.viewRange()[1][1] < 8.0
    assert slope.view.viewRange()[1][1] < 8.0
    assert hill.seen().x_axis.range == pytest.approx((-2.0, 2.0))
    stack.reset_range()
    assert hill.view.viewRange()[1] == pytest.approx(whole)
    assert hill.seen() is hill.figure


def test_a_drag_draws_the_box_to_zoom_to() -> None:
    view = FigureView("hill")
    view.resize(600, 400)
    view.show_figure(HILL)
    (item,) = view.items_by_name.values()
    drag(item, QPointF(100.0, 100.0), QPointF(200.0, 150.0), Qt.KeyboardModifier.NoModifier)
    assert np.ptp(item.view.viewRange()[0]) == pytest.approx(20.0), "a drag by itself moves"
    view.reset_range()
    drag(item, QPointF(100.0, 100.0), QPointF(200.0, 150.0), Qt.KeyboardModifier.ShiftModifier)
    boxed = np.ptp(item.view.viewRange()[0])
    assert boxed < 10.0
    view.reset_range()
    view.set_boxing(True)
    drag(item, QPointF(100.0, 100.0), QPointF(200.0, 150.0), Qt.KeyboardModifier.NoModifier)
    assert np.ptp(item.view.viewRange()[0]) == pytest.approx(boxed)


def drag(item: FigureItem, begin: QPointF, end: QPointF, modifiers: Qt.KeyboardModifier) -> None:
    """A drag as pyqtgraph tells it: its first step and its last."""
    from pyqtgraph import Point

    for number in (0, 1):
        item.view.mouseDragEvent(
            SimpleNamespace(
                accept=lambda: None,
                button=lambda: Qt.MouseButton.LeftButton,
                modifiers=lambda: modifiers,
                pos=lambda: Point(end),
                lastPos=lambda: Point(begin),
                buttonDownPos=lambda *_: Point(begin),
                isStart=lambda n=number: n == 0,
                isFinish=lambda n=number: n == 1,
                screenPos=lambda: Point(end),
                lastScreenPos=lambda: Point(begin),
            )
        )


def test_the_menu_of_a_plot(window: MainWindow) -> None:
    stack = FigureStack("Both plots", window)
    stack.resize(600, 400)
    stack.show()
    stack.show_figures([HILL, SLOPE], "metric")
    stack.items_by_name["hill"].view.setXRange(-2.0, 2.0, padding=0.0)
    QTest.mouseClick(stack.viewport(), Qt.MouseButton.RightButton, pos=QPoint(300, 100))
    menu = opened_menu()
    entry(menu, "Copy points")
    assert clipboard()[0] == HEAD
    assert clipboard()[1] == ["Hill", "1I", "-10.0", "cam deg", "100.0", "mm"]
    entry(menu, "Copy as SVG")
    assert QApplication.clipboard().text().startswith("<svg")
    assert QApplication.clipboard().mimeData().hasFormat("image/svg+xml")
    entry(menu, "Copy picture")
    assert QApplication.clipboard().image().width() == 1200
    entry(menu, "Whole view")
    assert stack.items_by_name["hill"].view.viewRange()[0] == pytest.approx([-10.0, 10.0])


def test_a_plot_is_saved_as_paper_draws_it(window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    view = DialView("Positions", window)
    view.show_dial(Dial("dial", "Dial", np.array([0.0, 90.0]), ("a", "b"), ("intake", "exhaust")))
    shown = view.on_paper()
    assert shown is not None
    for name, begins in each([("a.svg", b"<svg"), ("b.pdf", b"%PDF"), ("c.png", b"\x89PNG")]):
        answered(monkeypatch, tmp_path / name, "")
        menu_of(view)
        assert (tmp_path / name).read_bytes()[: len(begins)] == begins
    assert (tmp_path / "a.svg").read_bytes() == drawing(shown, ".svg", view.height() / view.width())


def menu_of(view: DialView) -> None:
    from valvelab.window.plot_menu import open_plot_menu

    open_plot_menu(view, QPoint(0, 0), view.on_paper())
    entry(opened_menu(), "Save picture…")


def answered(monkeypatch: pytest.MonkeyPatch, path: Path, kind: str) -> None:
    """A person chooses this place and kind."""
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(path), kind))


@pytest.mark.parametrize(
    ("typed", "chosen", "written", "kind"),
    [
        ("a.csv", "Table (*.csv)", "a.csv", "Table (*.csv)"),
        ("a", "Curves (*.csv)", "a.csv", "Curves (*.csv)"),
        ("a.json", "Table (*.csv)", "a.json", "All (*.json)"),
        ("a.2", "Table (*.csv)", "a.2.csv", "Table (*.csv)"),
        ("a", "", "a.csv", "Table (*.csv)"),
    ],
)
def test_the_ending_that_is_typed_counts(
    app: QApplication, monkeypatch: pytest.MonkeyPatch, typed: str, chosen: str, written: str, kind: str
) -> None:
    answered(monkeypatch, Path(typed), chosen)
    kinds = ["Table (*.csv)", "Curves (*.csv)", "All (*.json)"]
    parent = QWidget()
    assert ask_place(parent, "Export", "x", kinds) == (Path(written), kind)


def test_points_as_rows() -> None:
    figure = Figure(
        "f",
        "Figure",
        ACROSS,
        Axis("Lift", "mm"),
        (Curve(X[:2], np.array([1.0, np.nan]), "nominal"),),
        (Band(X[:1], X[:1], X[1:2], "band", "envelope"),),
        (Marks(X[:1], X[:1], "reject", bare=True),),
    )
    assert [row[1:3] + row[4:5] for row in point_rows([figure])[1:]] == [
        ["nominal", -10.0, 1.0],
        ["nominal", -9.9, None],
        ["envelope, lower", -10.0, -10.0],
        ["envelope, upper", -10.0, -9.9],
    ]


def test_marks_elsewhere_are_left_out_of_a_part() -> None:
    marks = Marks(np.array([0.0, 5.0]), np.array([1.0, 2.0]), "reject", texts=("near", "far"))
    part = part_of(Figure("f", "F", ACROSS, ACROSS, marks=(marks,)), (-1.0, 1.0), (0.0, 3.0))
    assert part.marks[0].texts == ("near",)
    assert part.marks[0].x.tolist() == [0.0]


def test_every_export_is_written(judged: MainWindow, tmp_path: Path) -> None:
    kinds = judged.exports()
    assert [kind.split("(")[1] for kind in kinds] == [
        "*.xlsx)",
        "*.csv)",
        "*.json)",
        "*.qif)",
        "*.csv)",
        "*.csv)",
        "*.png)",
    ]
    made = {kind: made_of(asked) for kind, asked in kinds.items()}
    book = load_workbook(io.BytesIO(bytes(made["Results as a workbook (*.xlsx)"])))  # type: ignore[arg-type]
    assert book.sheetnames
    curves = str(made["Curves of the plots shown (*.csv)"]).splitlines()
    assert curves[0] == ",".join(map(str, HEAD))
    assert any(line.startswith("Journal centres,") for line in curves)
    judged.export(tmp_path / "r.json", kinds["Results as JSON (*.json)"])
    assert '"command": "shaft"' in (tmp_path / "r.json").read_text(encoding="utf-8")


def test_a_cam_card_is_exported_where_lobes_are(window: MainWindow, tmp_path: Path) -> None:
    window.bench.add_files([str(SAMPLES / "quillmere_four_camshaft.csv")])
    kinds = window.exports()
    assert not any("QIF" in kind for kind in kinds), "nothing is judged"
    window.export(tmp_path / "card.toml", kinds["Cam card as limits (*.toml)"])
    assert "[card]" in (tmp_path / "card.toml").read_text(encoding="utf-8")


def test_an_export_spares_the_files_of_the_bench(judged: MainWindow) -> None:
    own = SAMPLES / "club_four_journals.csv"
    before = own.read_bytes()
    judged.export(own, judged.exports()["Results as a table (*.csv)"])
    assert own.read_bytes() == before
    assert any("lies on the bench" in row.text for row in judged.notes.rows_model.rows)


def test_a_paper_is_seen_before_it_is_printed(
    judged: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    papers: list[tuple[bytes, str, str]] = []
    monkeypatch.setattr(MainWindow, "preview", lambda _self, *paper: papers.append(paper))
    judged.do("print")
    ((pdf, name, what),) = papers
    assert name == "club_four_journals shaft form certificate.pdf"
    assert what == "shaft form certificate"
    assert not judged.bench.document.papers, "nothing was written"
    preview = PrintPreview(pdf, name, judged)
    printer = QPrinter(QPrinter.PrinterMode.ScreenResolution)
    printer.setOutputFileName(str(tmp_path / "printed.pdf"))
    preview.paint(printer)
    preview.done(0)
    with pypdfium2.PdfDocument(pdf) as paper, pypdfium2.PdfDocument(tmp_path / "printed.pdf") as printed:
        assert len(printed) == len(paper) > 1


def test_a_paper_that_was_written_is_offered(
    judged: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[Any] = []
    monkeypatch.setattr(QDesktopServices, "openUrl", lambda url: opened.append(url.toLocalFile()) or True)
    assert judged.written.isHidden()
    judged.save_certificate(tmp_path / "c.pdf")
    assert not judged.written.isHidden()
    judged.written.taken.emit()
    assert opened == [str(tmp_path / "c.pdf")]


def test_a_lift_check_prints_the_page_of_its_car(window: MainWindow, monkeypatch: pytest.MonkeyPatch) -> None:
    from valvelab.window.bays.liftcheck_view import LiftCheckView

    pages: list[bool] = []
    papers: list[str] = []
    monkeypatch.setattr(LiftCheckView, "print_page", lambda _self: pages.append(True))
    monkeypatch.setattr(MainWindow, "preview", lambda _self, _pdf, name, _what: papers.append(name))
    window.bench.add_files([str(SAMPLES / "quillmere_spring_meeting.toml")])
    view = window.pages.front()
    assert isinstance(view, LiftCheckView)
    view.bring("7")
    window.do("print")
    assert (pages, papers) == ([True], [])
    view.next_car()
    window.do("print")
    assert papers == ["quillmere_spring_meeting lift check certificate.pdf"]
