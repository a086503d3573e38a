"""The bench: joins the document to Qt. One signal, `document_changed(old, new)`, tells every widget."""

from __future__ import annotations

import sys
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, QStandardPaths, QTimer, Signal

from valvelab.errors import CannotWrite, ValvelabError
from valvelab.files.kinds import reader_of
from valvelab.language import say, show_measures
from valvelab.places import sample_profiles
from valvelab.tables.verdicts import uncertainties
from valvelab.units import System
from valvelab.window.garbage import Sweeper, keep_what_is_loaded
from valvelab.window.loading import load_all, load_view
from valvelab.window.turns import Turns
from valvelab.workbench import bays, behind, edits, settings
from valvelab.workbench.background import Question, answer
from valvelab.workbench.contents import assigned_columns, read_content, shape_of
from valvelab.workbench.document import TYPED, Answer, BenchFile, Content, Document, Problem, Value
from valvelab.workbench.dropped import opened
from valvelab.workbench.first_import import records
from valvelab.workbench.history import History
from valvelab.workbench.opening import arrived, bring_forward
from valvelab.workbench.recovery import LeftBench, OwnFile, keep_beside
from valvelab.workbench.settings import Settings
from valvelab.workbench.state import BayState
from valvelab.workbench.unsaved import unsaved
from valvelab.writing import same_file, write_whole

_READ_AT_ONCE = 12_000
"""Characters of a typed table; a longer one is read in the background."""
_IDLE_MS = 600
"""How long nothing changes before bays that are not in front are judged too."""
_KEEP_WITHIN_MS = 1000
"""From the first change that is not kept yet; changes after it don't put it off."""


class Bench(QObject):
    """Holds the history, asks what is outstanding in the background, takes up answers that are still wanted.

    `turns` is the line of what is shown piece by piece; `wrote(path)` says that a paper was written, which a person may
    want to open. With `background` False everything is answered at once, in the caller: for pictures and tests.
    """

    document_changed = Signal(object, object)
    busy_changed = Signal(str)
    said = Signal(str)
    done = Signal(object)
    wrote = Signal(str)
    _came = Signal(object)
    _was_kept = Signal(object)

    def __init__(self, place: Path, kept: Settings | None = None, *, background: bool = True) -> None:
        super().__init__()
        self.turns = Turns(self, patient=background)
        self.right_of_way = self.turns.right_of_way
        self.place = place
        self.settings = kept or settings.load(place)
        self._settings_kept = self.settings
        self._own = OwnFile(place)
        self._complained = False
        self.kept_beside: set[Path] = set()
        units: System = "inch" if self.settings.units == "inch" else "metric"
        _say_in(units)
        first = Document(units=units, bay=bays.BAYS[0].name)
        self.history = History(first, self._changed)
        self.job_edition = self.history.edition
        """The edition that the job's file holds, or that the bench began with."""
        self._pool = ThreadPoolExecutor(2, "valvelab") if background else None
        self._kept_by = ThreadPoolExecutor(1, "valvelab keeping") if background else None
        self._recorded_by = ThreadPoolExecutor(1, "valvelab records") if background else None
        self._keeping: Future[None] | None = None
        self._was_kept.connect(self._on_kept)
        self._closed = False
        self.changes_by_itself = False
        """While what was read or asked is taken up, which no key has brought about."""
        self.kept_for_next = False
        """Whether the bench was kept for the next start when it was closed."""
        self._running: dict[object, str] = {}
        self._opened: frozenset[str] = frozenset()
        """Files opened or assigned last, that come forward when they are read."""
        self._came.connect(self._take)
        self._keeper = QTimer(self, singleShot=True, interval=_KEEP_WITHIN_MS)
        self._keeper.timeout.connect(self.keep)
        self._behind = QTimer(self, singleShot=True, interval=_IDLE_MS)
        self._behind.timeout.connect(self._judge_behind)
        self._sweeper = Sweeper(self, self.at_rest) if background else None

    @property
    def document(self) -> Document:
        """The document in front."""
        return self.history.document

    @property
    def in_job(self) -> bool:
        """Whether the document as it stands is kept in a job's file."""
        return bool(self.document.job) and self.history.edition == self.job_edition

    def kept(self, *, in_file: bool) -> str:
        """What stands behind the title of a sheet that may be in no file of its own."""
        return "" if in_file else say(", kept in the job") if self.in_job else say(", not saved")

    # -- edits ------------------------------------------------------------------------------------------------------

    def add_files(self, paths: list[str]) -> None:
        """Put files on the bench; a folder or a job file brings the files it names."""
        found = opened(paths)
        self._opened = frozenset(found)
        new = self._brought_forward(edits.add_files(self.document, found))
        self.history.apply(new, "put files on the bench")

    def remove_file(self, path: str) -> None:
        """Take a file off the bench."""
        self.history.apply(edits.remove_file(self.document, path), say("remove {name}").format(name=Path(path).name))

    def put_beside(self, other: Document, label: str) -> None:
        """Put another bench's files beside those that are there, with its bay and what was decided there in front."""
        self._opened = frozenset(file.path for file in other.files)
        beside = edits.add_bench(self.document, other, "")
        new = replace(edits.go_to_bay(beside, other.bay), states={**beside.states, **other.states})
        self.history.apply(self._brought_forward(new), label)

    def type_table(self, name: str, kind: str, text: str, label: str = "") -> None:
        """Begin a table that is typed, in front of others of its kind."""
        new = edits.type_table(self.document, name, kind, text)
        self.history.apply(_read_at_once(new, new.files[-1].path), label or say("type {kind}").format(kind=say(kind)))

    def retype(self, path: str, text: str, label: str, gesture: str | None = None) -> None:
        """What is typed of a file is this from now on."""
        self.history.apply(_read_at_once(edits.retype(self.document, path, text), path), label, gesture)

    def assign_columns(self, path: str, kind: str, columns: str) -> None:
        """Assign a file's columns, and use it; the assignment is remembered once the file was read with it."""
        self._opened = frozenset({path})
        new = edits.assign_columns(self.document, path, kind, columns)
        file = new.file(path)
        content = None if file is None else new.content(file)
        if content is not None and content.value is not None:
            new = edits.ask_columns(self._brought_forward(new), "")
        self.history.apply(new, "assign columns")

    def ask_columns_again(self, path: str) -> None:
        """Open the column assignment of a table that lies in a file; what is assigned so far stays until another is."""
        file = self.document.file(path)
        content = None if file is None else self.document.content(file)
        if file is None or content is None:
            return
        reader = reader_of(content.kind)
        if file.text is None and (reader is None or reader.columns is not None):
            self.history.follow(edits.ask_columns(self.document, path))
        else:
            self.said.emit(say("{name}: not a table whose columns can be assigned").format(name=file.name))

    def forget_columns_like(self, path: str) -> None:
        """Forget the column assignment that is remembered for files of one file's shape; the file keeps its own."""
        file = self.document.file(path)
        shape = "" if file is None else shape_of(self.document, file)
        if not self.forget_columns(shape):
            self.said.emit(say("{name}: no columns are remembered for files of its shape").format(name=Path(path).name))

    def forget_columns(self, shape: str) -> bool:
        """Forget a remembered column assignment; whether there was one."""
        if shape not in self.settings.columns:
            return False
        self.keep_settings(settings.forget_columns(self.settings, shape))
        self.said.emit(say("Columns forgotten: files of this shape are asked about again"))
        return True

    def use_file(self, path: str) -> None:
        """Bring a file to the front, and the bay that takes it."""
        file = self.document.file(path)
        content = None if file is None else self.document.content(file)
        new = edits.use_file(self.document, path)
        asking = content is not None and (content.preview is not None or (content.problem and file and file.columns))
        new = edits.ask_columns(new, path if asking else "")
        takers = [] if content is None else [bay.name for bay in bays.takers(content.kind)]
        if takers and new.bay not in takers:
            new = edits.go_to_bay(new, takers[0])
        self.history.apply(new, say("use {name}").format(name=Path(path).name))

    def set(self, kind: type[BayState], label: str = "", gesture: str | None = None, **fields: Any) -> None:
        """Set fields of a bay's state: an edit where it has a label, else only a look."""
        new = edits.set_fields(self.document, kind, **fields)
        if label:
            self.history.apply(new, label, gesture)
        else:
            self.history.follow(new)

    def answered(self, name: str, answer: Answer[Any]) -> None:
        """Take up the answer to a question of that name that a pane asked by itself."""
        self.history.follow(edits.answer_arrived(self.document, name, answer))

    def put_off_columns(self) -> None:
        """Go on with the rest; a file that waits for its columns waits on the bench."""
        self.history.follow(edits.ask_columns(self.document, ""))

    def go_to_bay(self, name: str) -> None:
        """Bring a bay to the front."""
        new = edits.ask_columns(edits.go_to_bay(self.document, name), "")
        if new != self.document:
            self.history.follow(new)

    def toggle_units(self) -> None:
        """Metric to inch and back."""
        units: System = "metric" if self.document.units == "inch" else "inch"
        self.keep_settings(replace(self.settings, units=units))
        self.history.follow(edits.set_units(self.document, units))

    def read_again(self) -> None:
        """Read every file anew."""
        self.history.follow(edits.read_again(self.document))

    def bring_back(self, left: LeftBench) -> None:
        """Take up a bench left behind; its file goes once this window keeps what stood in it.

        Readings typed here meanwhile, which no file holds, are kept as a bench left behind themselves.
        """
        try:
            if unsaved(self.document):
                self.kept_beside.add(keep_beside(self.document, self.place))
            self.history.apply(edits.found_out(left.document, self.document), "recover the bench")
            self.keep_or_raise()
        except CannotWrite as error:
            left.leave()
            self.done.emit(
                Problem(
                    "error", "recovery", say("The bench that was left stays in its file. {error}").format(error=error)
                )
            )
        else:
            left.remove()

    # -- background -------------------------------------------------------------------------------------------------

    def _changed(self, old: Document, new: Document) -> None:
        if self._sweeper is not None:
            self._sweeper.put_off()
        _say_in(new.units)
        with self.right_of_way.taken():
            self.document_changed.emit(old, new)
        if new is self.document:
            self._ask()
            if self._pool is not None and new.contents:
                self._behind.start()
            decided = (old.files, old.states, old.current, old.bay)
            if decided != (new.files, new.states, new.current, new.bay) and not self._keeper.isActive():
                self._keeper.start()

    def _ask(self) -> None:
        document = self.document
        for file in document.unread():
            self._start(file, say("Reading {name}").format(name=file.name), partial(_read, file))
        question = bays.outstanding(document)
        if question is not None:
            self._start((document.bay, question.key), question.label, partial(_answer, document.bay, question))

    def _judge_behind(self) -> None:
        """Ask what a bay behind the one in front comes to, once nobody waits for anything else."""
        if not self.at_rest():
            self._behind.start()
            return
        if (found := behind.unjudged(self.document)) is not None:
            bay, question = found
            self._start((bay, question.key), question.label, partial(_answer, bay, question))

    def load_ahead(self) -> None:
        """Load in the background what bays are drawn with, once the empty window is painted."""
        if self._pool is not None:
            self._start("loading", "", partial(_load_ahead, lambda: self._closed))

    # -- files written ----------------------------------------------------------------------------------------------

    def may_write(self, path: Path, kind: str = "") -> bool:
        """Whether a path is free to be written; a file of the bench is refused, unless it is of that `kind`."""
        for file in self.document.files:
            content = self.document.content(file)
            own = bool(kind) and content is not None and content.kind == kind
            if not own and same_file(path, Path(file.path)):
                refused = say("{path}: lies on the bench and would be overwritten; choose another name").format(
                    path=path
                )
                self.done.emit(Problem("error", path.name, refused))
                return False
        return True

    def write(self, path: Path, content: bytes | str, what: str = "", kind: str = "") -> bool:
        """Write a file where a person said; whether it was. What is in the way stands in the problems list."""
        if not self.may_write(path, kind):
            return False
        try:
            write_whole(path, content)
        except CannotWrite as error:
            self.done.emit(Problem("error", path.name, str(error)))
            return False
        self._say_written(path, what)
        return True

    def make(self, path: Path, made: Callable[[], bytes | str], what: str = "") -> None:
        """Make a file in the background and write it where a person said; `made` reads nothing that may change."""

        def work() -> Path:
            write_whole(path, made())
            return path

        if self.may_write(path):
            doing = say("Writing {name}").format(name=path.name)
            self.ask(doing, path.name, work, lambda path: self._say_written(path, what))

    def _say_written(self, path: Path, what: str) -> None:
        self.said.emit(f"{what or say('Written')}: {path}")
        if path.suffix.lower() == ".pdf":
            self.wrote.emit(str(path))

    def suggested(self, name: str) -> str:
        """Where a file of that name is offered to be written: beside the job or the files on the bench."""
        return str(self.folder() / name)

    def folder(self) -> Path:
        """Where a person's files lie: the open job, the files on the bench, those opened last, else the documents."""
        known = [self.document.job, *(file.path for file in self.document.files if not file.path.startswith(TYPED))]
        folders = [*(Path(path).parent for path in known if path), Path(self.settings.recent_folder or self.place)]
        ours = (self.place.absolute(), sample_profiles().absolute())
        own = (folder for folder in folders if folder.is_dir() and not any(map(folder.absolute().is_relative_to, ours)))
        documents = QStandardPaths.writableLocation(QStandardPaths.StandardLocation.DocumentsLocation)
        return next(own, Path(documents) if Path(documents).is_dir() else Path.home())

    def start(self) -> str:
        """The folder that a dialog looks for files in first: where some were opened last, else `folder`."""
        return self.settings.recent_folder or str(self.folder())

    def do(self, label: str, about: str, work: Callable[[], str]) -> None:
        """Do a piece of work in the background; `done` carries its closing sentence, or its refusal, as a Problem."""
        self.ask(label, about, work, lambda said: self.done.emit(Problem("info", about, said)))

    def at_rest(self) -> bool:
        """Whether nothing is being done in the background, and nothing waits to be shown."""
        return not self._running and self.turns.at_rest()

    def ask(self, label: str, about: str, work: Callable[[], Value], take: Callable[[Value], object]) -> None:
        """Do a piece of work in the background, and take up here what it gives; its refusal comes out at `done`."""
        self._start(object(), label, partial(_asked, about, work, take))

    def ask_records(
        self,
        label: str,
        work: Callable[[], Value],
        take: Callable[[Value], object],
        refused: Callable[[str], object] | None = None,
    ) -> None:
        """Do a piece of work with the record store, one after another and apart from all else: a store may be slow.

        refused: what takes up a refusal's sentence where that is not to come out at `done`.
        """
        self._start(object(), label, partial(_asked, "records", work, take, refused), self._recorded_by)

    def _start(
        self,
        key: object,
        label: str,
        work: Callable[[], tuple[object, object]],
        pool: ThreadPoolExecutor | None = None,
    ) -> None:
        if key in self._running:
            return
        self._running[key] = label
        self.busy_changed.emit(label)
        records()
        if self._pool is None:
            self._take((key, work()))
            return

        def deliver(done: Future[tuple[object, object]]) -> None:
            if not done.cancelled():
                error = done.exception()
                self._came.emit((key, error if error is not None else done.result()))

        (pool or self._pool).submit(self.right_of_way.beside, work).add_done_callback(deliver)

    def _take(self, came: tuple[object, object]) -> None:
        with self.right_of_way.taken():
            self._take_in(came)

    def _take_in(self, came: tuple[object, object]) -> None:
        key, outcome = came
        self._running.pop(key, None)
        self.busy_changed.emit(next(iter(self._running.values()), ""))
        if isinstance(outcome, BaseException):
            sys.excepthook(type(outcome), outcome, outcome.__traceback__)
        elif isinstance(outcome, tuple):
            self._take_up(*outcome)

    def _take_up(self, about: object, found: object) -> None:
        document = self.document
        if isinstance(found, Problem):
            self.done.emit(found)
        elif isinstance(found, _Came):
            found.take()
        elif isinstance(about, BenchFile) and isinstance(found, Content):
            if about in document.files:
                self._by_itself(partial(self._take_content, about, found))
        elif isinstance(about, str) and isinstance(found, Answer):
            question = bays.question_of(document, about)
            if question is not None and question.key == found.key:
                self._by_itself(partial(self.answered, about, found))
            else:
                self._ask()

    def _by_itself(self, take: Callable[[], object]) -> None:
        self.changes_by_itself = True
        try:
            take()
        finally:
            self.changes_by_itself = False

    def _take_content(self, file: BenchFile, content: Content) -> None:
        new = edits.content_arrived(self.document, file, content)
        found = assigned_columns(new, file)
        if content.preview is not None or (content.problem is not None and file.columns is not None):
            new = edits.ask_columns(new, file.path)
        if content.problem is not None and found is not None:
            self._unlearn(*found)
        if content.preview is not None and file.columns is None:
            remembered = settings.remembered_columns(self.settings, content.preview.shape)
            if remembered is not None:
                new = edits.assign_columns(new, file.path, *remembered)
                self.said.emit(
                    say("{name}: columns assigned as last time for files of this shape").format(name=file.name)
                )
        if content.value is not None and new.columns_of == file.path:
            new = edits.ask_columns(new, "")
        if content.value is not None and found is not None:
            self.keep_settings(settings.remember_columns(self.settings, *found))
        if content.value is not None and file.path not in self._opened and not self._useful(new):
            takers = [bay.name for bay in bays.takers(content.kind)]
            if takers:
                new = edits.go_to_bay(new, takers[0])
        self.history.follow(self._brought_forward(new))

    def _brought_forward(self, document: Document) -> Document:
        """The document with what was opened last in front, once all of it is read."""
        came = arrived(document, self._opened)
        self._opened -= came
        return bring_forward(document, came)

    def _unlearn(self, shape: str, kind: str, columns: str) -> None:
        """An assignment that failed is not given to the next file of the shape."""
        if settings.remembered_columns(self.settings, shape) == (kind, columns):
            self.keep_settings(settings.forget_columns(self.settings, shape))

    @staticmethod
    def _useful(document: Document) -> bool:
        bay = bays.by_name(document.bay)
        if bay is None:
            return False
        own = any(document.in_use(kind) is not None for kind in bay.takes if kind not in {"spec", "instrument card"})
        typed = any(state.bay == bay.name for state in document.states.values())
        return own or (typed and bays.work_of(bay.name).at_once is not None)

    # -- what outlives the run ----------------------------------------------------------------------------------------

    def keep_or_raise(self) -> None:
        """Write the recovery file, after one that is being written."""
        if self._keeping is not None:
            wait([self._keeping])
        self._own.save(self.document)
        self._complained = False

    def keep(self) -> None:
        """Write the recovery file, away from the window; where that fails, say so."""
        if self._kept_by is None:
            try:
                self.keep_or_raise()
            except CannotWrite as error:
                self._on_kept(error)
        elif self._keeping is not None and not self._keeping.done():
            self._keeper.start()
        else:
            records()
            self._keeping = self._kept_by.submit(self._own.save, self.document)
            self._keeping.add_done_callback(lambda done: self._was_kept.emit(done.exception()))

    def _on_kept(self, error: BaseException | None) -> None:
        if error is None:
            self._complained = False
        elif not isinstance(error, CannotWrite):
            sys.excepthook(type(error), error, error.__traceback__)
        else:
            self._keeper.start()  # the disk may have room again by then
            if not self._complained:
                self._complained = True
                lost = say("What is typed from now on would be lost if the program ended.")
                self.done.emit(
                    Problem(
                        "error", "recovery", say("The recovery file {error}. {lost}").format(error=error, lost=lost)
                    )
                )

    def keep_settings(self, new: Settings) -> None:
        """Take up settings, and write what changed in them away from the window: a disk may be slow."""
        self.settings = new

        def take(written: Settings) -> None:
            self._settings_kept = replace(new, columns=written.columns)
            if self.settings is new:
                self.settings = self._settings_kept

        def complain(sentence: str) -> None:
            self.said.emit(say("The settings: {error}").format(error=sentence))

        work = partial(settings.save, self._settings_kept, new, self.place)
        self._start(object(), "", partial(_asked, "settings", work, take, complain), self._kept_by)

    def set_aside(self) -> bool:
        """Keep the bench as one left behind, for a later start to offer; whether it could be."""
        try:
            self.kept_beside.add(keep_beside(self.document, self.place))
        except CannotWrite as error:
            self.done.emit(Problem("error", "recovery", say("The bench can't be kept. {error}").format(error=error)))
            return False
        return True

    def close(self, *, keep: bool = False) -> None:
        """A clean end: no work left behind, and nothing to recover unless the bench is to be offered again."""
        self._keeper.stop()
        self._behind.stop()
        self.turns.end()
        if self._sweeper is not None:
            self._sweeper.end()
        self._closed = True
        _say_in("metric")
        for pool in filter(None, (self._pool, self._recorded_by)):
            pool.shutdown(wait=False, cancel_futures=True)
        if self._kept_by is not None:
            self._kept_by.shutdown(wait=True)
        self.kept_for_next = keep
        if keep:
            self._own.leave()
        else:
            self._own.remove()


def _say_in(units: System) -> None:
    """Have phrases said in these units from now on; what turns them is loaded with the first inches."""
    if units == "metric":
        show_measures(None)
        return
    from valvelab.phrase_units import show_in  # noqa: PLC0415 - its patterns cost a window that shows millimetres time

    show_in(units)


def _read_at_once(document: Document, path: str) -> Document:
    """The document with a typed table read while it is small: every entry counts as soon as it is made."""
    file = document.file(path)
    return (
        document
        if file is None or len(file.text or "") > _READ_AT_ONCE
        else edits.content_arrived(document, file, read_content(file))
    )


@dataclass(frozen=True, slots=True)
class _Came:
    """What a piece of work gave, on its way to whoever asked."""

    take: Callable[[], object]


def _asked(
    about: str,
    work: Callable[[], Value],
    take: Callable[[Value], object],
    refused: Callable[[str], object] | None = None,
) -> tuple[object, object]:
    try:
        return about, _Came(partial(take, work()))
    except (ValvelabError, OSError) as error:
        sentence = refusal(error)
        return about, Problem("error", about, sentence) if refused is None else _Came(partial(refused, sentence))


def _read(file: BenchFile) -> tuple[object, object]:
    content = read_content(file)
    for bay in bays.takers(content.kind)[:1]:
        bays.work_of(bay.name)  # loaded here, the window does not wait for it
    return file, content


def _load_ahead(given_up: Callable[[], bool]) -> tuple[object, object]:
    load_all(given_up)
    keep_what_is_loaded()
    return "", None


def _answer(bay: str, question: Question[Any]) -> tuple[object, object]:
    load_view(bay)  # loaded here, the window does not wait for it
    found, work = answer(question), bays.work_of(bay)
    if found.value is not None and work.at_once is None:
        uncertainties(work.result(found.value))  # worked out here as well
    return bay, found


def refusal(error: Exception) -> str:
    """The sentence of a refusal or of a failed write."""
    if isinstance(error, ValvelabError):
        return say(str(error))
    if isinstance(error, OSError):
        return f"{error.filename or 'file'}: {error.strerror or error}"
    raise error
