"""The job file that the bench is kept in: opened, saved, and what is not in it yet."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Literal

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QMessageBox, QWidget

from valvelab.errors import CannotWrite, ValvelabError
from valvelab.files.contents import JOB_ENDING, MAX_UNPACKED_BYTES, read_contents
from valvelab.language import say
from valvelab.window.bench import Bench
from valvelab.workbench import edits, settings
from valvelab.workbench.document import Document, Problem
from valvelab.workbench.first_import import numeric
from valvelab.workbench.job_folders import FOLDER, tidy
from valvelab.workbench.unsaved import unsaved
from valvelab.writing import write_whole

Answer = Literal["save", "keep", "discard", "stay"]
"""What is done with a bench that is not saved as it stands: "keep" offers it at the next start."""


class JobKeeper(QObject):
    """Opens and saves the bench of one window. `changed()` when the job's name, or whether it is saved, may differ."""

    changed = Signal()
    begun = Signal()
    """Another bench took the place of the one before."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._bench = bench
        bench.job_edition = self._begun = bench.history.edition
        bench.document_changed.connect(lambda _old, _new: self.changed.emit())

    @property
    def path(self) -> Path | None:
        """The job file; None while the bench is in none."""
        return Path(self._bench.document.job) if self._bench.document.job else None

    @property
    def name(self) -> str:
        """The job's name, empty while it has none."""
        return self.path.stem if self.path is not None else ""

    @property
    def unsaved(self) -> bool:
        """Whether something would be lost if the bench went: edits to a job, or what no file holds."""
        document = self._bench.document
        edited = self._bench.history.edition != self._bench.job_edition
        return edited and (bool(document.job) or unsaved(document))

    def tidy(self) -> None:
        """Take away, away from the window, what earlier windows laid out and nobody needs any more."""
        self._bench.ask(say("Tidying up"), "jobs", partial(_tidy, self._bench.place), lambda _done: None)

    def new(self) -> None:
        """An empty bench."""
        document = self._bench.document
        self._begin(Document(units=document.units, bay=document.bay))

    def open(self, path: Path) -> None:
        """Put the bench of a job file in place of this one."""
        self._bench.ask(
            say("Opening {name}").format(name=path.name),
            path.name,
            partial(_read, path, self._bench.place),
            self._opened,
        )

    def add(self, path: Path) -> None:
        """Put the files of another job beside those on the bench, to be compared with them."""

        def take(other: Document) -> None:
            new = edits.add_bench(self._bench.document, other, path.stem)
            self._bench.history.apply(new, say("add the files of {stem}").format(stem=path.stem))

        self._bench.ask(
            say("Opening {name}").format(name=path.name), path.name, partial(_read, path, self._bench.place), take
        )

    def _opened(self, document: Document) -> None:
        self._begin(document)
        self._remember(document.job)

    def save_in(self, path: Path) -> None:
        """Save the bench, away from the window; what is edited meanwhile is not in it yet."""
        self._bench.ask(say("Saving {name}").format(name=path.name), path.name, self._work(path), self._saved(path))

    def save_at_once(self, path: Path) -> bool:
        """Save the bench before going on; whether it was."""
        try:
            self._saved(path)(self._work(path)())
        except ValvelabError as error:
            self._bench.done.emit(Problem("error", path.name, str(error)))
            return False
        return True

    def _work(self, path: Path) -> Callable[[], str]:
        document = self._bench.document
        known = document.job_sha256 if path == self.path else ""
        return partial(_write, document, path.absolute(), known)

    def _saved(self, path: Path) -> Callable[[str], None]:
        """Takes up the identity of the file that this edition was saved in."""
        edition, where, begun = self._bench.history.edition, str(path.absolute()), self._begun

        def take(digest: str) -> None:
            if begun != self._begun:  # another bench is in front by now, and is not kept in that file
                return
            self._bench.job_edition = edition
            self._bench.history.follow(replace(self._bench.document, job=where, job_sha256=digest))
            self._remember(where)
            self._bench.said.emit(say("Job saved: {where}").format(where=where))

        return take

    def _begin(self, document: Document) -> None:
        self._bench.history.begin(document)
        self._bench.job_edition = self._begun = self._bench.history.edition
        self.begun.emit()
        self.changed.emit()

    def _remember(self, path: str) -> None:
        self._bench.keep_settings(settings.remember_job(self._bench.settings, path))


def asked_to_save(parent: QWidget, name: str) -> Answer:
    """What a person wants done with a bench that is not saved as it stands."""
    box = QMessageBox(
        QMessageBox.Icon.Question, "valvelab", say("Save {what}?").format(what=name or say("this job")), parent=parent
    )
    box.setInformativeText(say("What was edited since it was saved last is in no file yet."))
    roles = QMessageBox.ButtonRole
    choices: tuple[tuple[str, QMessageBox.ButtonRole, Answer], ...] = (
        (say("Save"), roles.AcceptRole, "save"),
        (say("Offer it at the next start"), roles.ActionRole, "keep"),
        (say("Discard"), roles.DestructiveRole, "discard"),
        (say("Cancel"), roles.RejectRole, "stay"),
    )
    buttons = [(box.addButton(text, role), answer) for text, role, answer in choices]
    box.exec()
    return next((answer for button, answer in buttons if button is box.clickedButton()), "stay")


def with_ending(path: Path) -> Path:
    """The path that a job is saved under."""
    return path if path.suffix.lower() == JOB_ENDING else path.with_name(path.name + JOB_ENDING)


def _tidy(place: Path) -> None:
    if (place / FOLDER).is_dir():
        tidy(place, time.time())


def _read(path: Path, place: Path) -> Document:
    numeric()
    from valvelab.workbench import jobs

    return jobs.opened(read_contents(path.absolute(), MAX_UNPACKED_BYTES), place)


def _write(document: Document, path: Path, known: str) -> str:
    """Write the job; its SHA-256. `known` is that of the file which this bench came from or was saved in."""
    numeric()
    from valvelab.workbench import jobs

    if known and path.exists() and read_contents(path, MAX_UNPACKED_BYTES).source.sha256 != known:
        raise CannotWrite(str(path), say("it was changed since it was opened here; save under another name"))
    data = jobs.packed(document, path.name)
    write_whole(path, data)
    return sha256(data).hexdigest()
