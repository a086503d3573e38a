"""When something unforeseen is raised: the bench is saved first, then one calm dialog; a fault log for the rest."""

from __future__ import annotations

import contextlib
import faulthandler
import os
import sys
import threading
import traceback
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import IO

from PySide6.QtCore import QMessageLogContext, QtMsgType, qInstallMessageHandler

from valvelab.errors import CannotWrite
from valvelab.writing import PRIVATE_FILE, make_folder

_EXPECTED = ("does not support propagateSizeHints",)
_LONGEST_LOG = 1_000_000


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, PRIVATE_FILE)


class CrashPath:
    """Hooks of one run. `save` keeps the bench, `tell(sentence, details)` shows the dialog, at most once a run."""

    def __init__(self, place: Path, save: Callable[[], None], tell: Callable[[str, str], None]) -> None:
        self._save = save
        self._tell = tell
        self._told = False
        self.log = place / "faults.log"
        self._stream: IO[str] | None = None

    def install(self) -> None:
        """Take over Python's and Qt's last words."""
        with contextlib.suppress(OSError, CannotWrite):
            self._stream = self._opened()
            faulthandler.enable(self._stream)
        sys.excepthook = self.on_exception
        threading.excepthook = self._on_thread
        qInstallMessageHandler(self.on_qt_message)

    def _opened(self) -> IO[str]:
        make_folder(self.log.parent, private=True)
        if self.log.exists() and self.log.stat().st_size > _LONGEST_LOG:
            self.log.unlink()
        return open(self.log, "a", encoding="utf-8", opener=_private)

    def remove(self) -> None:
        """Give the hooks back."""
        qInstallMessageHandler(None)
        sys.excepthook = sys.__excepthook__
        threading.excepthook = threading.__excepthook__
        if self._stream is not None:
            faulthandler.disable()
            self._stream.close()
            self._stream = None

    def on_exception(self, kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        """Save, log, tell."""
        if issubclass(kind, KeyboardInterrupt):
            sys.__excepthook__(kind, error, trace)
            return
        details = "".join(traceback.format_exception(kind, error, trace))
        saved = self._saved()
        self._write(details)
        sys.stderr.write(details)
        if not self._told:
            self._told = True
            kept = (
                "The bench is saved and is offered again at the next start." if saved else "The bench can't be saved."
            )
            self._tell(f"Something unforeseen happened in the program. {kept}", f"{details}\nKept in {self.log}")

    def on_qt_message(self, kind: QtMsgType, _context: QMessageLogContext, text: str) -> None:
        """Qt's warnings go to standard error and the fault log."""
        if any(words in text for words in _EXPECTED):
            return
        line = f"qt {kind.name}: {text}\n"
        sys.stderr.write(line)
        if kind in {QtMsgType.QtCriticalMsg, QtMsgType.QtFatalMsg, QtMsgType.QtWarningMsg}:
            self._write(line)
        if kind == QtMsgType.QtFatalMsg:
            self._saved()

    def _on_thread(self, args: threading.ExceptHookArgs) -> None:
        if args.exc_value is not None:
            self.on_exception(args.exc_type, args.exc_value, args.exc_traceback)

    def _saved(self) -> bool:
        try:
            self._save()
        except Exception as error:  # noqa: BLE001 - the path of last resort has to go on
            self._write(f"saving failed: {error!r}\n")
            return False
        return True

    def _write(self, text: str) -> None:
        if self._stream is not None:
            self._stream.write(text)
            self._stream.flush()
