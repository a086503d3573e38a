"""The main window: rail of bays, bench, bay in front, verdicts, problems."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from PySide6.QtCore import QByteArray, QEvent, QSize, QTimer
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QGuiApplication
from PySide6.QtWidgets import QApplication, QFileDialog, QLineEdit, QMessageBox, QWidget

from valvelab.errors import CannotWrite
from valvelab.window import pages, theme
from valvelab.window.bays.view import BayView, make_start, make_view
from valvelab.window.bench import Bench
from valvelab.window.left_offer import LeftOffer
from valvelab.window.shell import Shell
from valvelab.workbench import bays
from valvelab.workbench.document import Document, Problem

_LAYOUT = "main 1"


class MainWindow(Shell):
    """Shows the bench's document; every change comes in through `document_changed` and goes out as an edit."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self.bench = bench
        self._keys: dict[str, tuple[object, ...]] = {}
        self._views: dict[str, BayView[Any]] = {}
        self._starts: dict[str, QWidget | None] = {}
        self._said: list[Problem] = []
        self._restyling = False
        self.left = LeftOffer(bench, self.offer, self.complain)
        kept = bench.settings.layout
        if _LAYOUT in kept:
            self.restoreGeometry(QByteArray.fromBase64(kept.get("geometry", "").encode()))
            self.restoreState(QByteArray.fromBase64(kept[_LAYOUT].encode()))
        self._connect_bench()
        self._connect_widgets()
        self._refresh(bench.document)

    def _connect_bench(self) -> None:
        self.bench.document_changed.connect(self._on_document)
        self.bench.busy_changed.connect(self.busy.say)
        self.bench.said.connect(self.say)
        self.bench.done.connect(self._on_done)
        QGuiApplication.styleHints().colorSchemeChanged.connect(self._on_scheme)

    def _connect_widgets(self) -> None:
        self.empty.open_button.clicked.connect(self.do_open)
        self.empty.sample_button.clicked.connect(self.do_sample)
        self.columns.assigned.connect(self.bench.assign_columns)
        self.columns.given_up.connect(self.bench.remove_file)
        self.columns.later.clicked.connect(self.bench.put_off_columns)
        self.text_page.closed.connect(self._close_text)
        self.files.used.connect(self.bench.use_file)
        self.files.removed.connect(self.bench.remove_file)
        self.files.columns_wanted.connect(self.bench.ask_columns_again)
        self.verdicts.item_chosen.connect(self._on_item)
        for name, action in self.actions_by_name.items():
            action.triggered.connect(lambda _on=False, name=name: getattr(self, f"do_{name}")())
        for name, action in self.bay_actions.items():
            action.triggered.connect(lambda _on=False, name=name: self._go(name))

    # -- showing ----------------------------------------------------------------------------------------------------

    def _on_document(self, old: Document, new: Document) -> None:
        del old
        self._refresh(new)

    def _refresh(self, document: Document) -> None:
        bench_key = (document.files, document.contents, document.current, document.bay)
        if self._changed("bench", bench_key):
            self.files.show_document(document)
        self._enable(document)
        bay = bays.by_name(document.bay)
        value = None if bay is None else bays.answer_value(document, bay)
        if value is None and self._awaited(document):
            return
        self._show_page(document, value)
        key = (value, document.units, theme.current_theme().name)
        if self._changed("result", key):
            self._show_result(document, value)
        if self._changed("notes", (document.contents, document.answers, document.files, value, tuple(self._said))):
            self._show_notes(document, value)

    def _awaited(self, document: Document) -> bool:
        """Whether the view in front only waits for its next answer: it keeps the last one until then."""
        view = self._views.get(document.bay)
        shown = view is not None and self.pages.front() is view and not self.text_page.wanted
        return shown and not document.unread() and bays.outstanding(document) is not None

    def _changed(self, name: str, key: tuple[object, ...]) -> bool:
        old = self._keys.get(name)
        self._keys[name] = key
        return old is None or any(a is not b and not (type(a) in {str, tuple} and a == b)
                                  for a, b in zip(old, key, strict=True))  # fmt: skip

    def _show_page(self, document: Document, value: object | None) -> None:
        if self.text_page.wanted:
            self.pages.bring(self.text_page)
            return
        waiting = {file.path: file for file in document.waiting_for_columns()}
        asked = document.columns_of
        if waiting and (value is None or asked in waiting):
            file = waiting.get(asked, next(iter(waiting.values())))
            content = document.content(file)
            assert content is not None
            assert content.preview is not None
            self.columns.show_preview(file.path, file.name, content.kind, content.preview)
            self.columns.later.setVisible(value is not None)
            self.pages.bring(self.columns)
            return
        view = self._view(document.bay) if value is not None else None
        if view is None:
            bay = bays.by_name(document.bay)
            busy = bool(document.unread()) or bays.outstanding(document) is not None
            failed = document.answers.get(document.bay)
            self.empty.offer(self._start(document.bay))
            self.empty.show_bay(bay, busy=busy, failure=(failed.failure or "") if failed and not busy else "")
            self.pages.bring(self.empty)
            return
        view.show_answer(document, value)
        self.pages.bring(view)

    def _start(self, name: str) -> QWidget | None:
        if name not in self._starts:
            self._starts[name] = make_start(name, self.bench)
        return self._starts[name]

    def _view(self, name: str) -> BayView[Any] | None:
        if name not in self._views:
            view = make_view(name, self.bench)
            if view is None:
                return None
            self._views[name] = view
            self.pages.add(view)
        return self._views[name]

    def _show_result(self, document: Document, value: object | None) -> None:
        bay = bays.by_name(document.bay)
        view = self._views.get(document.bay)
        self.banner.setVisible(value is not None)
        if bay is None or value is None or view is None:
            self.verdicts.show_verdicts((), document.units)
            return
        result = bay.result(value)
        self.banner.show_result(*view.headline(document, value), result)
        self.verdicts.show_verdicts(result.verdicts, document.units)

    def _show_notes(self, document: Document, value: object | None) -> None:
        bay = bays.by_name(document.bay)
        rows = [*document.problems(), *self._said]
        if bay is not None:
            rows = [replace(row, about=bay.title) if row.about == bay.name else row for row in rows]
        if bay is not None and value is not None:
            rows += [Problem(note.level, note.about, note.text) for note in bay.result(value).notes]
        self.notes.show_problems(rows)
        grave = sum(row.level == "error" for row in rows)
        self.docks["Problems"].setWindowTitle(f"Problems and notes ({len(rows)})" if rows else "Problems and notes")
        if grave and self._changed("grave", (str(grave),)):
            self.docks["Problems"].raise_()

    def _enable(self, document: Document) -> None:
        history = self.bench.history
        for name, label in (("undo", history.undo_label), ("redo", history.redo_label)):
            action = self.actions_by_name[name]
            action.setEnabled(label is not None)
            action.setText(f"{name.capitalize()} {label}" if label else name.capitalize())
        bay = bays.by_name(document.bay)
        ready = bay is not None and bays.answer_value(document, bay) is not None
        self.actions_by_name["certificate"].setEnabled(ready and bay is not None and bay.certificate is not None)
        for name in ("export_table", "export_picture"):
            self.actions_by_name[name].setEnabled(ready)
        for name in ("remove", "columns", "reload"):
            self.actions_by_name[name].setEnabled(bool(document.files))
        self.actions_by_name["units"].setChecked(document.units == "inch")
        self.actions_by_name[f"scheme_{self.bench.settings.scheme}"].setChecked(True)
        if document.bay in self.bay_actions:
            self.bay_actions[document.bay].setChecked(True)

    def _on_done(self, outcome: Problem) -> None:
        self._said = [*self._said[-20:], outcome]
        if outcome.level == "info":
            self.busy.flash(outcome.text)
        self._refresh(self.bench.document)

    def say(self, text: str) -> None:
        """Add a row to the problems list and to the status line."""
        self._said = [*self._said[-20:], Problem("info", "window", text)]
        self.busy.flash(text)
        self._refresh(self.bench.document)

    def complain(self, about: str, text: str) -> None:
        """Add an error to the problems list and bring it to the front."""
        self._said = [*self._said[-20:], Problem("error", about, text)]
        self._refresh(self.bench.document)

    def _on_item(self, item: str) -> None:
        view = self._views.get(self.bench.document.bay)
        if view is not None:
            view.choose_item(item)

    def _go(self, name: str) -> None:
        self.text_page.wanted = False
        self.bench.go_to_bay(name)
        self._refresh(self.bench.document)

    # -- colours and text -------------------------------------------------------------------------------------------

    def _on_scheme(self) -> None:
        QTimer.singleShot(0, self.restyle)

    def restyle(self) -> None:
        """Take up the scheme in force."""
        application = QApplication.instance()
        assert isinstance(application, QApplication)
        if self._restyling:
            return
        self._restyling = True
        application.setPalette(theme.palette(theme.current_theme()))
        self._restyling = False
        self._keys = {}
        self._refresh(self.bench.document)
        self.text_page.refresh()
        for widget in self.findChildren(QWidget):
            widget.update()

    # -- files dropped ----------------------------------------------------------------------------------------------

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take files."""
        if any(url.isLocalFile() for url in event.mimeData().urls()):
            event.acceptProposedAction()
            self.empty.hot(on=True)

    def dragLeaveEvent(self, _event: QEvent) -> None:
        """The files went elsewhere."""
        self.empty.hot(on=False)

    def dropEvent(self, event: QDropEvent) -> None:
        """Put the files on the bench."""
        self.empty.hot(on=False)
        paths = [url.toLocalFile() for url in event.mimeData().urls() if url.isLocalFile()]
        if paths:
            self.bench.add_files(paths)
            event.acceptProposedAction()

    def closeEvent(self, event: QCloseEvent) -> None:
        """Keep the layout and what is typed; a clean end, unless readings would be lost by it."""
        self._take_what_is_typed()
        try:
            self.bench.keep_for_next_start()
        except CannotWrite as error:
            if not self.leave_behind(f"Readings that no file holds can't be kept. {error}"):
                event.ignore()
                return
        layout = {
            _LAYOUT: bytes(self.saveState().toBase64().data()).decode(),
            "geometry": bytes(self.saveGeometry().toBase64().data()).decode(),
        }
        self.bench.keep_settings(replace(self.bench.settings, layout=layout))
        self.bench.close()
        self.left.close()
        super().closeEvent(event)

    def _take_what_is_typed(self) -> None:
        """A reading that stands in a field without Enter after it is taken as well."""
        field = self.focusWidget()
        if isinstance(field, QLineEdit) and field.isModified():
            field.editingFinished.emit()

    def leave_behind(self, sentence: str) -> bool:
        """Whether to close although readings are lost by it: a person is asked."""
        close, stay = QMessageBox.StandardButton.Discard, QMessageBox.StandardButton.Cancel
        asked = f"{sentence}. Save them to a file first."
        return QMessageBox.warning(self, "valvelab", asked, close | stay, stay) == close

    # -- actions ----------------------------------------------------------------------------------------------------

    def do_open(self) -> None:
        """Choose files."""
        names, _ = QFileDialog.getOpenFileNames(
            self, "Put files on the bench", self.bench.settings.recent_folder,
            "Tables, traces and specs (*.csv *.tsv *.txt *.dat *.xlsx *.toml *.smd *.x3p);;All files (*)",
        )  # fmt: skip
        if names:
            folder = str(Path(names[0]).parent)
            self.bench.keep_settings(replace(self.bench.settings, recent_folder=folder))
            self.bench.add_files(names)

    def do_sample(self) -> None:
        """Put the invented sample of the bay in front on the bench."""
        from valvelab.places import sample_profiles

        bay = bays.by_name(self.bench.document.bay) or bays.BAYS[0]
        self.bench.add_files([str(sample_profiles() / name) for name in bay.sample])

    def do_remove(self) -> None:
        """Take the selected file off."""
        path = self.files.selected_path()
        if path is not None:
            self.bench.remove_file(path)

    def do_columns(self) -> None:
        """Assign the selected file's columns again."""
        path = self.files.selected_path()
        if path is not None:
            self.bench.ask_columns_again(path)

    def do_reload(self) -> None:
        """Read everything again."""
        self.bench.read_again()

    def do_certificate(self) -> None:
        """Write the certificate where a person says."""
        name, _ = QFileDialog.getSaveFileName(self, "Save certificate", self._suggestion("pdf"), "Certificate (*.pdf)")
        if name:
            self.save_certificate(Path(name))

    def save_certificate(self, path: Path) -> None:
        """Write the certificate of the bay in front."""
        document = self.bench.document
        bay = bays.by_name(document.bay)
        value = None if bay is None else bays.answer_value(document, bay)
        if bay is None or value is None or bay.certificate is None or not self.bench.may_write(path):
            return
        make, units = bay.certificate, document.units
        made = date.today().isoformat()  # noqa: DTZ011 - the date on the wall where the paper is signed

        def write() -> str:
            from valvelab.job.certificates import write_shown

            write_shown(make(document, value), path, units, made)
            return f"Certificate written: {path}"

        self.bench.do(f"Writing {path.name}", path.name, write)

    def do_export_table(self) -> None:
        """Write the verdicts as CSV."""
        name, _ = QFileDialog.getSaveFileName(self, "Export verdicts", self._suggestion("csv"), "Table (*.csv)")
        if name:
            self.bench.write(Path(name), pages.table_csv(self.verdicts.sheet))

    def do_export_picture(self) -> None:
        """Write the bay in front as a picture."""
        name, _ = QFileDialog.getSaveFileName(self, "Export picture", self._suggestion("png"), "Picture (*.png)")
        if name:
            self.bench.write(Path(name), pages.picture_png(self.pages.front()))

    def _suggestion(self, ending: str) -> str:
        files = self.bench.document.files
        stem = Path(files[0].path).stem if files else "inspection"
        return str(Path(self.bench.settings.recent_folder or ".") / f"{stem}.{ending}")

    def do_quit(self) -> None:
        """Close the window."""
        self.close()

    def do_undo(self) -> None:
        """Back one step."""
        self.bench.history.undo()

    def do_redo(self) -> None:
        """Forward one step."""
        self.bench.history.redo()

    def do_units(self) -> None:
        """Metric to inch and back."""
        self.bench.toggle_units()

    def do_scheme(self) -> None:
        """Light to dark and back."""
        self._set_scheme("light" if theme.current_theme().name == "dark" else "dark")

    def do_scheme_system(self) -> None:
        """Follow the desktop."""
        self._set_scheme("system")

    def do_scheme_light(self) -> None:
        """Light colours."""
        self._set_scheme("light")

    def do_scheme_dark(self) -> None:
        """Dark colours."""
        self._set_scheme("dark")

    def _set_scheme(self, scheme: theme.Scheme) -> None:
        self.bench.keep_settings(replace(self.bench.settings, scheme=scheme))
        theme.set_scheme(scheme)
        self.restyle()

    def do_larger(self) -> None:
        """Larger text."""
        self._scale_text(1.15)

    def do_smaller(self) -> None:
        """Smaller text."""
        self._scale_text(1.0 / 1.15)

    def _scale_text(self, factor: float) -> None:
        application = QApplication.instance()
        assert isinstance(application, QApplication)
        points = min(30.0, max(7.0, application.font().pointSizeF() * factor))
        application.setFont(theme.text_font(points))
        side = round(1.25 * self.fontMetrics().height())
        self.tools.setIconSize(QSize(side, side))
        for dock in self.docks.values():
            dock.setFont(application.font())
        self.restyle()

    def do_layout(self) -> None:
        """Put the panes back."""
        self.restoreState(self.usual_layout)

    def do_cautions(self) -> None:
        """Show the cautions."""
        self._show_text("Cautions", pages.cautions_html)

    def do_characteristics(self) -> None:
        """Show every characteristic."""
        self._show_text("Characteristics", pages.characteristics_html)

    def do_about(self) -> None:
        """Show version and shortcuts."""
        self._show_text("About valvelab", pages.about_html)

    def _show_text(self, title: str, html: pages.Html) -> None:
        self.text_page.show_text(title, html)
        self.pages.bring(self.text_page)

    def _close_text(self) -> None:
        self.text_page.wanted = False
        self._refresh(self.bench.document)
