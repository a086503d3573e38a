"""The main window: tiles of the bays, bench, bay in front, the sheet with verdicts and remarks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QByteArray, QEvent, QSize, Qt, QTimer, QUrl
from PySide6.QtGui import QCloseEvent, QDesktopServices, QDragEnterEvent, QDropEvent, QGuiApplication
from PySide6.QtWidgets import QAbstractItemView, QApplication, QFileDialog, QLineEdit, QMessageBox, QWidget

from valvelab.errors import CannotWrite
from valvelab.files.contents import JOB_ENDING, names_job
from valvelab.language import LANGUAGES, aloud, say
from valvelab.places import sample_profiles
from valvelab.window import pages, theme
from valvelab.window.bays.door import make_start, make_view
from valvelab.window.bays.view import BayView
from valvelab.window.bench import Bench
from valvelab.window.explaining import characteristic_in
from valvelab.window.job_keeper import Answer, JobKeeper, asked_to_save, with_ending
from valvelab.window.languages import start_again
from valvelab.window.left_offer import LeftOffer
from valvelab.window.painting import InPieces, drawn_parts
from valvelab.window.papers import Made, preview_paper, write_paper
from valvelab.window.readings_dock import Readings
from valvelab.window.saving import ask_place, save_as
from valvelab.window.shell import Shell, with_keys
from valvelab.window.signing_menu import SigningMenu
from valvelab.window.table_menu import table_csv
from valvelab.window.tour import Place, Tour
from valvelab.window.unit_offer import UnitOffer
from valvelab.workbench import bays, behind, edits
from valvelab.workbench.document import Document, Paper, Problem, in_names
from valvelab.workbench.first_import import numeric
from valvelab.workbench.paper_names import called, own_name, page_in_front, paper, part_named
from valvelab.workbench.typed import begun, kinds_at

if TYPE_CHECKING:
    from valvelab.records.job import Shown
    from valvelab.records.result import Decision, Result, Verdict
    from valvelab.tables.headline import Headline
    from valvelab.units import System
    from valvelab.window.columns_pane import ColumnsPane
    from valvelab.window.guide import Guide
    from valvelab.window.limits_pane import LimitsPane
    from valvelab.window.records_window import RecordsWindow

MadeFile = Callable[[], bytes | str]
Asked = Callable[[Callable[[MadeFile], object]], object]
_LAYOUT = "main 3"
_TABLES = "*.csv *.tsv *.txt *.dat *.xlsx *.toml *.smd *.x3p"


class MainWindow(Shell):
    """Shows the bench's document; every change comes in through `document_changed` and goes out as an edit."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self.bench = bench
        self.turns = bench.turns
        self._keys: dict[str, tuple[object, ...]] = {}
        self._views: dict[str, BayView[Any]] = {}
        self._growing: dict[str, tuple[BayView[Any], Iterator[None]]] = {}
        self._sheet_high: dict[str, int] = {}
        self._starts: dict[str, QWidget | None] = {}
        self._columns: ColumnsPane | None = None
        self._said: list[Problem] = []
        self._decided: dict[str, Decision] = {}
        self._judged: set[str] = set()
        self._in_front: tuple[str, object, Decision | None] = ("", None, None)
        self._headlines: dict[str, tuple[Result, System, Headline]] = {}
        self._paper = ""
        self._restyling = False
        self.left = LeftOffer(bench, self.offer, self.tell)
        self.units = UnitOffer(bench, self.unit_offer)
        self.job = JobKeeper(bench)
        self._spoken = bench.settings.language
        kept = bench.settings.layout
        if _LAYOUT in kept:
            self.restoreGeometry(QByteArray.fromBase64(kept.get("geometry", "").encode()))
            self.restoreState(QByteArray.fromBase64(kept[_LAYOUT].encode()))
        self.readings = Readings(bench, self.docks["Readings"], lambda: self._draw_page(self.pages.front()))
        self.signing = SigningMenu(bench, self)
        self.menus["Bench"].insertMenu(self.actions_by_name["export"], self.signing)
        self._connect_bench()
        self._connect_widgets()
        self._refresh(bench.document)
        self._show_job()

    def event(self, event: QEvent) -> bool:
        """Drawing has a turn of its own."""
        if event.type() != QEvent.Type.UpdateRequest:
            return super().event(event)
        self.turns.draw(lambda: super(MainWindow, self).event(QEvent(QEvent.Type.UpdateRequest)))
        return True

    def _connect_bench(self) -> None:
        self.bench.document_changed.connect(lambda _old, new: self._on_document(new))
        self.bench.busy_changed.connect(self.busy.say)
        self.job.changed.connect(self._show_job)
        self.job.begun.connect(self._forget_job)
        self.bench.said.connect(lambda text: self.tell(Problem("info", "window", text)))
        self.bench.done.connect(self.tell)
        self.bench.wrote.connect(self._offer_to_open)
        self.written.taken.connect(self._open_paper)
        self.tour_offer.taken.connect(self.begin_tour)
        self.language_offer.taken.connect(self._start_again)
        QGuiApplication.styleHints().colorSchemeChanged.connect(self._restyle_soon)

    def _connect_widgets(self) -> None:
        self.empty.open_button.clicked.connect(self._open)
        self.empty.sample_button.clicked.connect(self._open_sample)
        self.empty.job_wanted.connect(lambda path: self.open_paths([path]))
        self.recent.aboutToShow.connect(self._show_recent)
        self.empty.type_button.clicked.connect(lambda: self.do("type"))
        self.text_page.closed.connect(self._close_text)
        self.files.used.connect(self.bench.use_file)
        self.files.used.connect(self.readings.bring)
        self.files.removed.connect(self.bench.remove_file)
        self.files.columns_wanted.connect(self.bench.ask_columns_again)
        self.files.edit_wanted.connect(self.readings.edit)
        self.files.columns_forgotten.connect(self.bench.forget_columns_like)
        self.text_page.followed.connect(self._follow_link)
        self.verdicts.chosen.connect(self._on_verdict)
        self.notes.chosen.connect(self._on_remark)
        self.banner.limits_wanted.connect(self.open_limits)
        self.verdicts.counted.connect(self._on_counted)
        self.sheet.brought.connect(lambda name: name == "limits" and QTimer.singleShot(0, self, self._limits_seen))
        self.doings = self._doings()
        for name, action in self.actions_by_name.items():
            action.triggered.connect(lambda _on=False, name=name: self.do(name))
        for name, action in self.bay_actions.items():
            action.triggered.connect(lambda _on=False, name=name: self._go(name))

    # -- showing ----------------------------------------------------------------------------------------------------

    def _on_document(self, document: Document) -> None:
        if self.bench.changes_by_itself:
            self._refresh_soon()
        else:
            self._refresh(document)  # at once: no key meets an older page

    def _refresh_soon(self) -> None:
        """Show the bench as it is by then, in a turn of its own."""
        self.turns.after("refresh", lambda: self._refresh(self.bench.document))

    def _refresh(self, document: Document) -> None:
        bench_key = (document.files, document.contents, document.current, document.bay)
        if self._changed("bench", bench_key):
            self.turns.after("bench list", partial(self._show_bench, document))
        elif self._changed("answers", (document.answers, document.states)):
            self.turns.after("tiles", partial(self._tell_tiles, document))
        self._enable(document)
        _, value = bays.in_front(document)
        if value is None and self._awaited(document):
            self.veil.await_answer()
            return
        after = self.turns.after
        if value is not None and self.turns.patient and (part := self._lacking(document)) is not None:
            after("view", partial(self._make, part))
            return
        before = self.pages.front()
        if value is not None:
            self._make_room(document.bay)
        self.veil.lift()
        self._show_page(document, value)
        self.banner.setVisible(value is not None)
        looks = (document.units, theme.current_theme().name, self.bench.in_job)
        key = (value, *looks, document.files, document.contents)
        came = self._changed("result", key)
        if came:
            self._go_on_with(document, value, before)
        if value is not None and (view := self._views.get(document.bay)) is not None:
            item = view.item_in_front(document, value)
            if self._changed("item", (*key, document.bay, item)):
                after("item", partial(self.verdicts.bring_item, item, seen=not came))
        self.units.ask(document)
        noted = (document.contents, document.answers, document.files, document.units, value, tuple(self._said))
        if self._changed("notes", noted):
            after("notes", partial(self._show_notes, document, value))

    def _show_bench(self, document: Document) -> None:
        self.files.show_document(document)
        self._tell_tiles(document)

    def _go_on_with(self, document: Document, value: object | None, before: QWidget) -> None:
        """Show what comes of the answer; a page that was not in front before is drawn when all round it stands."""
        after, front = self.turns.after, self.pages.front()
        fresh = front is not before
        if fresh:
            front.setUpdatesEnabled(False)
        after("result", partial(self._show_result, document, value))
        if fresh:
            after(f"drawing of {document.bay}", partial(self._draw_page, front))

    def _draw_page(self, page: QWidget) -> None:
        """Draw a page that was held, or is about to be laid out anew: its plots and tables each in a turn."""
        parts = [part for part in drawn_parts(page) if part.isVisible()]
        for part in parts:
            part.setUpdatesEnabled(False)
        page.setUpdatesEnabled(True)
        for part in parts:
            pieces: list[Callable[[], object]] = part.veil() if isinstance(part, InPieces) else []
            pieces.insert(0, partial(part.setUpdatesEnabled, True))
            self.turns.in_steps(f"drawing of {id(part)}", pieces)

    def _make_room(self, bay: str) -> None:
        """Settle how high a page is between banner and sheet before it is shown: it is then as it was left."""
        if self.banner.isHidden():
            self.banner.show()
            self.sheet.expect(self._sheet_high.get(bay, 0))
            self.above_one_another.activate()

    def _awaited(self, document: Document) -> bool:
        """Whether the view in front only waits for its next answer: it keeps the last one until then."""
        view = self._views.get(document.bay)
        shown = view is not None and self.pages.front() is view and not self.text_page.wanted
        return shown and (bool(document.unread()) or bays.outstanding(document) is not None)

    def _changed(self, name: str, key: tuple[object, ...]) -> bool:
        old = self._keys.get(name)
        self._keys[name] = key
        return old is None or _other(old, key)

    def _show_page(self, document: Document, value: object | None) -> None:
        if self.text_page.wanted:
            self.pages.bring(self.text_page)
            return
        asked = document.file(document.columns_of)
        if asked is None and value is None:
            asked = next(iter(document.waiting_for_columns()), None)
        if asked is not None and (content := document.content(asked)) is not None:
            columns = self.columns
            from valvelab.workbench.columns_draft import likely_kind

            columns.show_file(asked, likely_kind(content, bays.table_of(document.bay)))
            self.columns.later.setVisible(value is not None or content.preview is None)
            self.columns.later.setText(say("Leave it as it i&s") if content.preview is None else say("La&ter"))
            self.pages.bring(self.columns)
            return
        if self._columns is not None:
            self._columns.put_away()
        view = self._view(document.bay) if value is not None else None
        if view is None:
            bay = bays.by_name(document.bay)
            busy = bool(document.unread()) or bays.outstanding(document) is not None
            failed = document.answers.get(document.bay)
            self.empty.offer(self._start(document.bay))
            failure = say(failed.failure or "") if failed and not busy else ""
            self.empty.show_bay(bay, busy=busy, failure=failure, begun=begun(document))
            self.pages.bring(self.empty)
            return
        view.show_answer(document, value)
        self.pages.bring(view)

    @property
    def columns(self) -> ColumnsPane:
        """The column assignment; it is loaded for the first file that asks for it."""
        if self._columns is None:
            numeric()
            from valvelab.window.columns_pane import ColumnsPane

            pane = self._columns = ColumnsPane(self)
            bench = self.bench
            pane.wanted.connect(
                lambda draft: bench.ask(
                    say("Reading {name}").format(name=draft.name), draft.name, draft.look, pane.take_up
                )
            )
            pane.assigned.connect(bench.assign_columns)
            pane.given_up.connect(bench.remove_file)
            pane.later.clicked.connect(bench.put_off_columns)
            self.pages.add(pane)
        return self._columns

    def _start(self, name: str) -> QWidget | None:
        if name not in self._starts:
            self._starts[name] = make_start(name, self.bench)
        return self._starts[name]

    def _view(self, name: str) -> BayView[Any]:
        while name not in self._views:
            self._grow(name)
        return self._views[name]

    def _grow(self, name: str) -> None:
        """Make the next part of a bay's view, and take it in as a page once it is whole."""
        if name not in self._growing:
            view = make_view(name, self.bench)
            self._growing[name] = view, view.parts()
        view, parts = self._growing[name]
        if next(parts, self) is self:
            self._views[name] = view
            view.verdict_wanted.connect(self.verdicts.bring)
            self.pages.add(view)

    def _lacking(self, document: Document) -> Callable[[], object] | None:
        """What makes the next part of the view in front that is not there yet, as long as there is one."""
        view = self._views.get(document.bay)
        return partial(self._grow, document.bay) if view is None else view.lacking(document)

    def _make(self, part: Callable[[], object]) -> None:
        part()
        self.turns.after("view", lambda: self._refresh(self.bench.document))

    def _show_result(self, document: Document, value: object | None) -> None:
        bay = bays.by_name(document.bay)
        view = self._views.get(document.bay)
        if bay is None or value is None or view is None:
            self.turns.after("verdicts", partial(self.verdicts.show_verdicts, None, document.units))
            return
        from valvelab.tables.headline import Headline
        from valvelab.workbench import entry_told

        work, progress = bays.work_of(bay.name), view.progress(document, value) or entry_told.progress(document)
        result, judges = work.result(value), bool(work.judges)
        told = Headline(progress, None) if progress else self._headline(result, document.units)
        if progress:
            result = result.model_copy(update={"verdicts": ()})
        asks = judges and not progress
        self.banner.show_result(told, *view.headline(document, value), result, _trouble(document), judges=asks)
        shown = partial(self.verdicts.show_verdicts, result, document.units, progress, judges=judges)
        self.turns.after("verdicts", shown)
        self._in_front = document.bay, value, told.decision
        self._tell_tiles(document)

    def _headline(self, result: Result, units: System) -> Headline:
        """What a result comes to, worked out once: of each command's results the last one is kept."""
        from valvelab.tables.headline import headline

        known = self._headlines.get(result.command)
        if known is None or known[0] is not result or known[1] != units:
            with aloud():
                known = (result, units, headline(result, units))
            self._headlines[result.command] = known
        return known[2]

    def _show_notes(self, document: Document, value: object | None) -> None:
        bay = bays.by_name(document.bay)
        rows = [*document.problems(), *self._said]
        if bay is not None:
            calm = value is None and bool(begun(document))
            rows = [
                replace(r, about=say(bay.title), level="info" if calm else r.level) if r.about == bay.name else r
                for r in rows
            ]
        if bay is not None and value is not None:
            rows += [Problem(note.level, note.about, note.text) for note in bays.work_of(bay.name).result(value).notes]
        files = document.files
        rows = [replace(r, about=in_names(files, r.about), text=in_names(files, r.text)) for r in rows]
        self.notes.show_problems(rows)
        grave = sum(row.level == "error" for row in rows)
        worst = next((level for level in ("error", "warning") if any(row.level == level for row in rows)), "")
        self.sheet.say("remarks", len(rows), grave=worst)
        if grave and self._changed("grave", (str(grave),)) and self.sheet.front != "limits":
            self.sheet.bring("remarks")  # limits that are being written stay, and say themselves what is wrong

    def _enable(self, document: Document) -> None:
        history = self.bench.history
        for name, label in (("undo", history.undo_label), ("redo", history.redo_label)):
            action = self.actions_by_name[name]
            action.setEnabled(label is not None)
            told = _edit_told(say(name.capitalize()), label)
            action.setText(told)
            action.setToolTip(with_keys(told, action.shortcut()))
        _, value = bays.in_front(document)
        for able, names in (
            (value is not None, ("certificate", "export", "print")),
            (bool(kinds_at(document.bay)), ("type",)),
            (bool(document.files), ("remove", "columns", "reload", "keep_records")),
        ):
            for name in names:
                self.actions_by_name[name].setEnabled(able)
        what = paper(document)
        page = page_in_front(document)
        printed = say("Print page of {item}").format(item=page) if page else say("Print {what}…").format(what=say(what))
        self.actions_by_name["certificate"].setText(say("Save {what}…").format(what=say(what)))
        self.actions_by_name["print"].setText(printed)
        self.actions_by_name["units"].setChecked(document.units == "inch")
        for name in (f"scheme_{self.bench.settings.scheme}", f"language_{self.bench.settings.language}"):
            if name in self.actions_by_name:
                self.actions_by_name[name].setChecked(True)
        if document.bay in self.bay_actions:
            self.bay_actions[document.bay].setChecked(True)

    def _tell_tiles(self, document: Document) -> None:
        """What lies there for each bay, and what was decided there: until the next answer what the last one was."""
        lies = (document.files, document.contents, document.current, document.states)
        if self._changed("lies", lies):
            self._judged.clear()
        laid = [bay.name for bay in behind.laid(document)]
        known = behind.decided(document, self._decided) if laid or self._decided else {}
        bay, value, decision = self._in_front
        if bay == document.bay and value is not None and value is bays.in_front(document)[1]:
            known[bay] = decision
        for name, decision in known.items():
            self._judged.add(name)
            if decision is None:
                self._decided.pop(name, None)
            else:
                self._decided[name] = decision
        self._decided = {name: one for name, one in self._decided.items() if name in laid or name in known}
        self.tiles.tell(laid, self._decided, self._decided.keys() - self._judged)

    def _show_job(self) -> None:
        """The job's name in the title bar, marked while it is not saved as it stands."""
        name = self.job.name or (say("Untitled job") if self.job.unsaved else "")
        self.setWindowTitle(f"{name}[*] · valvelab" if name else "valvelab")
        self.setWindowModified(self.job.unsaved)
        if self._changed("in job", (self.bench.in_job,)):
            self._refresh_soon()
        self.empty.show_jobs([] if self.bench.document.files else self.bench.settings.recent_jobs)

    def _forget_job(self) -> None:
        """Another bench is in front: what was said of the one before, and decided there, is of no use beside it."""
        self._said, self._paper = [], ""
        self._decided, self._in_front = {}, ("", None, None)
        self.written.hide()
        self.busy.flash("")
        if "records" in self.__dict__:
            self.records.keep.leave()
        self._refresh(self.bench.document)
        self._tell_tiles(self.bench.document)

    def _show_recent(self) -> None:
        self.recent.clear()
        for number, path in enumerate(self.bench.settings.recent_jobs, start=1):
            action = self.recent.addAction(f"&{number} {Path(path).stem}" if number < 10 else Path(path).stem)
            action.setToolTip(path)
            action.triggered.connect(lambda _on=False, path=path: self.open_paths([path]))
        self.recent.setEnabled(not self.recent.isEmpty())

    def tell(self, outcome: Problem) -> None:
        """Add a row to the remarks: an error comes to the front there, other news to the status line."""
        self._said = [*self._said[-20:], outcome]
        if outcome.level == "info":
            self.busy.flash(say(outcome.text))
        self._refresh_soon()

    def _on_counted(self, count: int, why: str) -> None:
        self.sheet.say("verdicts", count, why)
        self._sheet_high[self.bench.document.bay] = 0 if self.sheet.is_folded else self.sheet.maximumHeight()

    def _on_verdict(self, verdict: Verdict) -> None:
        view = self._views.get(self.bench.document.bay)
        if view is not None:
            view.choose_verdict(verdict)

    def _on_remark(self, remark: Problem) -> None:
        """What a remark is about comes to the front where it is an item, with or without words after its name."""
        view = self._views.get(self.bench.document.bay)
        if view is not None:
            for item in dict.fromkeys((remark.about, remark.about.split(" ")[0].rstrip(","))):
                view.choose_item(item)

    def _go(self, name: str) -> None:
        self.text_page.wanted = False
        self.bench.go_to_bay(name)
        self._refresh(self.bench.document)

    # -- colours and text -------------------------------------------------------------------------------------------

    def _restyle_soon(self) -> None:
        # a slot of the window's own: what outlives the window doesn't hold it
        QTimer.singleShot(0, self, self.restyle)

    def restyle(self) -> None:
        """Take up the scheme in force."""
        if self._restyling:
            return
        self._restyling = True
        for place in (self.pages.front(), *self.docks.values()):
            self._draw_page(place)
        QApplication.setPalette(theme.palette(theme.current_theme()))
        self._restyling = False
        self._keys = {}
        self._refresh_soon()
        self.text_page.refresh()
        for name in {"records", "guide"} & self.__dict__.keys():
            getattr(self, name).restyle()
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
            event.acceptProposedAction()
            self.open_paths(paths)

    def open_paths(self, paths: list[str]) -> None:
        """Put files on the bench; a job file among them takes the place of the bench that is there."""
        jobs = [path for path in paths if names_job(path)]
        others = [path for path in paths if path not in jobs]
        if jobs and self.may_leave_bench():
            self.job.open(Path(jobs[0]))
        if others:
            self.bench.add_files(others)

    def closeEvent(self, event: QCloseEvent) -> None:
        """Keep the layout and what is typed; a clean end, unless readings would be lost by it."""
        self._take_what_is_typed()
        answer = self.ask_unsaved() if self.job.unsaved else "discard"
        if answer == "stay" or (answer == "save" and not self._save_before_going()):
            event.ignore()
            return
        try:
            if answer == "keep":
                self.bench.keep_or_raise()
        except CannotWrite as error:
            if not self.leave_behind(say("Readings that no file holds can't be kept. {error}").format(error=error)):
                event.ignore()
                return
        layout = {
            _LAYOUT: bytes(self.saveState().toBase64().data()).decode(),
            "geometry": bytes(self.saveGeometry().toBase64().data()).decode(),
        }
        self.bench.keep_settings(replace(self.bench.settings, layout=layout))
        self.bench.close(keep=answer == "keep")
        self.left.close()
        super().closeEvent(event)

    def _take_what_is_typed(self) -> None:
        """A reading that stands in a field without Enter after it is taken as well."""
        self.readings.settle()
        field = self.focusWidget()
        if isinstance(field, QLineEdit) and field.isModified():
            field.editingFinished.emit()

    def ask_unsaved(self) -> Answer:
        """What is to be done with a bench that is not saved as it stands: a person is asked."""
        return asked_to_save(self, self.job.name)

    def may_leave_bench(self) -> bool:
        """Whether another bench may take the place of this one; what would be lost is saved or kept first."""
        self._take_what_is_typed()
        if not self.job.unsaved:
            return True
        match self.ask_unsaved():
            case "save":
                return self._save_before_going()
            case "keep":
                return self.bench.set_aside()
            case "discard":
                return True
        return False

    def _save_before_going(self) -> bool:
        path = self.job.path or self._ask_job_path()
        return path is not None and self.job.save_at_once(path)

    def _ask_job_path(self) -> Path | None:
        name = self.bench.suggested((self.job.name or self._first_name("job")) + JOB_ENDING)
        chosen, _ = QFileDialog.getSaveFileName(
            self, say("Save job"), name, say("Job (*{ending})").format(ending=JOB_ENDING)
        )
        return with_ending(Path(chosen)) if chosen else None

    def save_job(self, path: Path | None = None) -> None:
        """Save the bench in its job file, in `path`, or where a person says."""
        self._take_what_is_typed()
        where = path or self.job.path or self._ask_job_path()
        if where is not None:
            self.job.save_in(where)

    def _save_job_as(self) -> None:
        if (path := self._ask_job_path()) is not None:
            self.save_job(path)

    def _add_job(self) -> None:
        name, _ = QFileDialog.getOpenFileName(
            self,
            say("Add the files of another job"),
            self.bench.start(),
            say("Job (*{ending})").format(ending=JOB_ENDING),
        )
        if name:
            self.job.add(Path(name))

    def _new_job(self) -> None:
        if self.may_leave_bench():
            self.job.new()

    def leave_behind(self, sentence: str) -> bool:
        """Whether to close although readings are lost by it: a person is asked."""
        close, stay = QMessageBox.StandardButton.Discard, QMessageBox.StandardButton.Cancel
        asked = say("{sentence}. Save them to a file first.").format(sentence=sentence)
        return QMessageBox.warning(self, "valvelab", asked, close | stay, stay) == close

    # -- actions ----------------------------------------------------------------------------------------------------

    def do(self, name: str) -> None:
        """Do what an action of the table says; readings that are being typed count."""
        self.readings.settle()
        self.doings[name]()

    def _doings(self) -> dict[str, Callable[[], object]]:
        bench, show = self.bench, self._show_text
        return {
            "new_job": self._new_job,
            "open": self._open,
            "save_job": self.save_job,
            "add_job": self._add_job,
            "save_job_as": self._save_job_as,
            "records": self._show_records,
            "keep_records": self._keep_in_records,
            "sample": self._open_sample,
            "type": lambda: self.readings.choose(self),
            "remove": lambda: self._with_selected(bench.remove_file),
            "columns": lambda: self._with_selected(bench.ask_columns_again),
            "limits": self.open_limits,
            "reload": bench.read_again,
            "certificate": self._save_certificate,
            "details": self._ask_details,
            "export": self._export,
            "print": self._print,
            "quit": self.close,
            "undo": bench.history.undo,
            "redo": bench.history.redo,
            "units": bench.toggle_units,
            "scheme_system": lambda: self._set_scheme("system"),
            "scheme_light": lambda: self._set_scheme("light"),
            "scheme_dark": lambda: self._set_scheme("dark"),
            "scheme": lambda: self._set_scheme("light" if theme.current_theme().name == "dark" else "dark"),
            **{f"language_{code}": partial(self._set_language, code) for code in ("system", *LANGUAGES)},
            "larger": lambda: self._step_text(up=True),
            "smaller": lambda: self._step_text(up=False),
            "usual_text": self._usual_text,
            "layout": lambda: self.restoreState(self.usual_layout),
            "cautions": lambda: show("Cautions", pages.cautions_html),
            "characteristics": self._explain,
            "guide": self._show_guide,
            "tour": self.begin_tour,
            "remembered": self._show_remembered,
            "about": lambda: show("About valvelab", pages.about_html),
        }

    def _open(self) -> None:
        names, _ = QFileDialog.getOpenFileNames(
            self,
            say("Open a job, or put files on the bench"),
            self.bench.start(),
            say("Jobs, tables, traces and specs (*{ending} {tables});;Jobs (*{ending});;All files (*)").format(
                ending=JOB_ENDING, tables=_TABLES
            ),
        )
        if names:
            folder = str(Path(names[0]).parent)
            self.bench.keep_settings(replace(self.bench.settings, recent_folder=folder))
            self.open_paths(names)

    @cached_property
    def guide(self) -> Guide:
        """The guide, at the page where it was left; made when it is wanted first."""
        numeric()
        from valvelab.window.guide import Guide

        return Guide(self)

    def _show_guide(self) -> None:
        self.guide.show()
        self.guide.raise_()

    def _explain(self) -> None:
        """What the characteristic means that is chosen where the focus is, or else among the verdicts."""
        bay = bays.by_name(self.bench.document.bay)
        subjects = () if bay is None else tuple(one.split()[0] for one in bays.work_of(bay.name).judges)
        in_front = self.focusWidget()
        views = [view for view in (in_front, self.verdicts.sheet) if isinstance(view, QAbstractItemView)]
        found = (characteristic_in(view, subjects) for view in views)
        self.guide.explain(next((one for one in found if one is not None), None))

    def offer_tour(self) -> None:
        """Offer the tour, once in the life of the settings."""
        if self.bench.settings.toured or self.bench.document.files:
            return
        self.bench.keep_settings(replace(self.bench.settings, toured=True))
        tip = say("Menu Help, Tour, shows it whenever you like")
        asked = say("New here? Six steps show how it works, on a sample.")
        self.tour_offer.ask(asked, say("Show me"), say("No, thanks"), tip)

    def begin_tour(self) -> None:
        """Lead round the window, on a sample where nothing lies on the bench."""
        self.tour_offer.hide()
        self.text_page.wanted = False
        self._refresh(self.bench.document)
        self.tour.begin()

    @cached_property
    def tour(self) -> Tour:
        """The tour, made when it is wanted first."""
        tour = Tour(
            self,
            {
                "open": partial(self._button, "open"),
                "headline": partial(self._whole, self.banner),
                "verdicts": partial(self._whole, self.docks["Verdicts"]),
                "certificate": partial(self._button, "certificate"),
                "save_job": partial(self._button, "save_job"),
                "help": lambda: (self.menuBar(), self.menuBar().actionGeometry(self.menus["Help"].menuAction())),
            },
        )
        self.bench.document_changed.connect(lambda _old, _new: tour.place())
        tour.entered.connect(self._enter_step)
        tour.ended.connect(lambda: self.pages.front().setFocus())
        return tour

    def _whole(self, widget: QWidget) -> Place:
        """All of a widget, of the page in front while it is not to be seen."""
        shown = widget if widget.isVisible() else self.pages
        return shown, shown.rect()

    def _button(self, name: str) -> Place:
        return self._whole(self.tools.widgetForAction(self.actions_by_name[name]))

    def _enter_step(self, target: str) -> None:
        """Have what a step of the tour points at in front."""
        if target == "headline" and not self.bench.document.files:
            self.bench.go_to_bay(bays.BAYS[0].name)
            self._open_sample()
        elif target == "verdicts":
            self.docks["Verdicts"].show()
            self.docks["Verdicts"].raise_()
            self.verdicts.sheet.choose_first()

    def _open_sample(self) -> None:
        """Put the invented sample of the bay in front on the bench."""
        bay = bays.by_name(self.bench.document.bay) or bays.BAYS[0]
        self.bench.add_files([str(sample_profiles() / name) for name in bay.sample])

    def _with_selected(self, act: Callable[[str], object]) -> None:
        path = self.files.selected_path()
        if path is not None:
            act(path)

    def _first_name(self, otherwise: str) -> str:
        """The name of the first file on the bench, without its ending."""
        files = self.bench.document.files
        return Path(files[0].path).stem if files else otherwise

    def open_limits(self) -> None:
        """The limits of the bay in front, ready to be written."""
        view = self._views.get(self.bench.document.bay)
        if view is not None and view.open_rule():
            return
        after = self.turns.after
        after("limits made", lambda: self.limits)
        after("limits", self._bring_limits)

    def _bring_limits(self) -> None:
        dock = self.docks["Verdicts"]
        self._draw_page(self.pages.front())
        dock.show()
        self.sheet.bring("limits")
        high = max(dock.height(), min(16 * self.fontMetrics().height(), self.height() // 2))
        self.resizeDocks([dock], [high], Qt.Orientation.Vertical)
        self.limits.open()

    @cached_property
    def limits(self) -> LimitsPane:
        """The limits of the bay in front, made when they are wanted first."""
        numeric()
        from valvelab.window.limits_pane import LimitsPane

        pane = LimitsPane(self.bench)
        self.limit_pages.add(pane)
        return pane

    @cached_property
    def records(self) -> RecordsWindow:
        """The window of records, made when it is wanted first."""
        numeric()
        from valvelab.window.records_window import RecordsWindow

        window = RecordsWindow(self.bench, self)
        window.opened.connect(self.activateWindow)
        window.addAction(self.actions_by_name["keep_records"])
        window.keep.wanted.connect(window.bring)
        return window

    def _show_records(self) -> None:
        self.records.bring()

    def _keep_in_records(self) -> None:
        self._take_what_is_typed()
        self.records.keep.begin(self.bench.document, self.job.name or self._first_name("the open job"))

    def _limits_seen(self) -> None:
        if self.sheet.front == "limits":
            self.limits.show()

    def _save_certificate(self) -> None:
        if not self._is_broken():
            what, name = called(self.bench.document)
            title = say("Save {what}").format(what=say(what))
            save_as(self, title, self.bench.suggested(name), say("Certificate (*.pdf)"), self.save_certificate)

    def _ask_details(self) -> None:
        """What papers of this job say besides what was inspected, to be stated."""
        from valvelab.records.particulars import Particulars
        from valvelab.window.paper_details import PaperDetails

        def take(stated: Particulars) -> None:
            self.bench.history.apply(edits.state_particulars(self.bench.document, stated), "certificate details")

        known = self.bench.document.particulars or Particulars()
        named = part_named(self.bench.document)
        dialog = PaperDetails(known, self.bench.place, self.bench.start(), self, named)
        dialog.wanted.connect(take)
        dialog.open()

    def _is_broken(self) -> bool:
        """Whether a spec that concerns the bay in front can't be held against it: nothing is certified past one."""
        broken = _trouble(self.bench.document)
        if broken:
            self.tell(
                Problem(
                    "error",
                    "certificate",
                    say("Limits can't be read: {broken}. Nothing is certified past them.").format(broken=broken),
                )
            )
        return bool(broken)

    def save_certificate(self, path: Path) -> None:
        """Write the certificate of the bay in front; refused while its limits can't be read."""
        if (made := self._made()) is not None:
            write_paper(self.bench, path, made, self._paper_written)

    def _made(self) -> Made | None:
        """What makes the paper of the bay in front; None while there is none, or while its limits can't be read."""
        document = self.bench.document
        bay, value = bays.in_front(document)
        if bay is None or value is None or self._is_broken():
            return None
        work = bays.work_of(bay.name)

        def made() -> tuple[Document, Shown]:
            written = work.written(document, value)
            return written, work.certificate(written, value)

        return made

    def _paper_written(self, paper: Paper) -> None:
        self.bench.history.follow(edits.add_paper(self.bench.document, paper), counts=True)
        self.tell(Problem("info", Path(paper.path).name, say("Certificate written: {path}").format(path=paper.path)))

    def _export(self) -> None:
        """Ask for a kind of file and its place, and have it made."""
        kinds = self.exports()
        if not kinds:
            return
        document = self.bench.document
        asked = ask_place(self, say("Export"), self.bench.suggested(own_name(document) or "inspection"), list(kinds))
        if asked is not None:
            path, kind = asked
            self.export(path, kinds[kind])

    def exports(self) -> dict[str, Asked]:
        """What can be made of what is in front, by the kind of file as dialogs name it; none without an answer.

        Each looks at the window when it is chosen, and hands on what makes the file away from it.
        """
        document = self.bench.document
        _, value = bays.in_front(document)
        if value is None:
            return {}
        from valvelab.window.drawing import FigureStack
        from valvelab.window.plot_menu import picture_png, points_csv
        from valvelab.workbench.exports import exports

        kinds: dict[str, Asked] = {one.kind: partial(_as_it_is, one.made) for one in exports(document, value)}
        page = self.pages.front()
        figures = [plot for plot in page.findChildren(FigureStack) if plot.isVisible()]
        if figures:
            shown = [figure for plot in figures for figure in plot.on_paper().figures]
            kinds["Curves of the plots shown (*.csv)"] = lambda take: take(partial(points_csv, shown))
        kinds["Verdicts as shown (*.csv)"] = lambda take: take(table_csv(self.verdicts.sheet))
        kinds["Picture of what is in front (*.png)"] = partial(picture_png, page, drawn_parts(page), self.turns)
        return kinds

    def export(self, path: Path, asked: Asked) -> None:
        """Write one export to a file that is free to be written."""
        asked(lambda made: self.bench.make(path, made, "Exported"))

    def _print(self) -> None:
        """The paper of what is in front, in a preview; a bay that has a page of its own prints that."""
        view = self._views.get(self.bench.document.bay)
        if view is None or view.print_own():
            return
        if (made := self._made()) is not None:
            what, name = called(self.bench.document)
            preview_paper(self.bench, name, made, lambda pdf: self.preview(pdf, name, say(what)))

    def preview(self, pdf: bytes, name: str, what: str = "") -> None:
        """Show a paper before it is printed; `what` it is, where its file's name does not say so."""
        from valvelab.window.print_preview import PrintPreview

        PrintPreview(pdf, name, self, what).open()

    def _offer_to_open(self, path: str) -> None:
        self._paper = path
        self._draw_page(self.pages.front())
        self.written.ask(say("Written: {path}").format(path=path), say("Open"), say("Close"))

    def _open_paper(self) -> None:
        if not QDesktopServices.openUrl(QUrl.fromLocalFile(self._paper)):
            self.tell(
                Problem(
                    "error", Path(self._paper).name, say("{paper}: no program here opens it").format(paper=self._paper)
                )
            )

    def _set_scheme(self, scheme: theme.Scheme) -> None:
        self.bench.keep_settings(replace(self.bench.settings, scheme=scheme))
        theme.set_scheme(scheme)
        self.restyle()

    def _set_language(self, code: str) -> None:
        self.bench.keep_settings(replace(self.bench.settings, language=code))
        self.language_offer.hide()
        if code != self._spoken:
            name = LANGUAGES.get(code, say("The desktop's language"))
            told = say("{language} is used from the next start of valvelab on.").format(language=name)
            self.language_offer.ask(told, say("Start again now"), say("Later"))

    def _start_again(self) -> None:
        """Close, and open the same bench in a window that is told anew; nothing happens where it may not be closed."""
        if not self.close():
            return
        document = self.bench.document  # what was kept of it is offered by the next start itself
        lying = [] if self.bench.kept_for_next else [file.path for file in document.files if file.text is None]
        if not start_again([document.job] if document.job else lying):
            told = say("No other window could be opened. Start valvelab again by hand: it speaks the language chosen.")
            QMessageBox.warning(self, "valvelab", told)

    def _step_text(self, *, up: bool) -> None:
        sizes, now = theme.TEXT_SIZES, self.bench.settings.text
        nearest = [size for size in sizes if (size > now) == up and size != now]
        if nearest:
            self.set_text_size(nearest[0] if up else nearest[-1])
            self.busy.flash(say("Text {percent} %").format(percent=self.bench.settings.text))

    def _usual_text(self) -> None:
        self.set_text_size(100)
        self.busy.flash(say("Text {percent} %").format(percent=100))

    def set_text_size(self, percent: int) -> None:
        """Write everything in per cent of the desktop's size; remembered for the next start."""
        self.bench.keep_settings(replace(self.bench.settings, text=percent))
        theme.set_text_size(percent)
        self._sheet_high.clear()
        side = round(1.25 * self.fontMetrics().height())
        self.tools.setIconSize(QSize(side, side))
        self.sheet.keep_low(low=self._is_low())
        self.restyle()
        self.give_bench()
        self.give_sheet(0)

    def _show_text(self, title: str, html: pages.Html) -> None:
        self.text_page.show_text(title, html)
        self.pages.bring(self.text_page)

    def _show_remembered(self) -> None:
        self._show_text(say("Remembered columns"), partial(pages.remembered_html, self.bench.settings.columns))

    def _follow_link(self, shape: str) -> None:
        """The links of the remembered columns forget them."""
        self.bench.forget_columns(shape)
        self._show_remembered()

    def _close_text(self) -> None:
        self.text_page.wanted = False
        self._refresh(self.bench.document)


def _other(old: tuple[object, ...], new: tuple[object, ...]) -> bool:
    """Whether any of these is another thing; texts and tuples are compared by what they say."""
    pairs = zip(old, new, strict=True)
    return any(a is not b and not (type(a) in {str, tuple} and a == b) for a, b in pairs)


def _edit_told(act: str, label: str | None) -> str:
    """Undo or redo, with what it takes back or brings back."""
    return say("{act} {edit}").format(act=act, edit=say(label)) if label else act


def _as_it_is(made: MadeFile, take: Callable[[MadeFile], object]) -> None:
    """What asks nothing of the window."""
    take(made)


def _trouble(document: Document) -> str:
    """Why limits for the bay in front can't be read."""
    from valvelab.workbench.spec_sheet import trouble  # with what inspects, which an empty window is painted without

    return trouble(document)
