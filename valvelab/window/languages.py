"""Which language the window speaks: the one chosen, else the desktop's where there is a catalogue of it."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from gettext import GNUTranslations
from pathlib import Path

from PySide6.QtCore import QCoreApplication, QLibraryInfo, QLocale, QProcess, QProcessEnvironment, QTranslator

import valvelab
from valvelab import language
from valvelab.language import LANGUAGES
from valvelab.places import resources


def catalogue_file(code: str) -> Path:
    """The compiled catalogue of a language."""
    return resources() / "languages" / f"{code}.mo"


def speak(chosen: str, application: QCoreApplication | None = None) -> str:
    """Speak the language of this code, "system" for the desktop's; its code. With Qt's own texts for the application.

    One that there is no catalogue of is English.
    """
    code = QLocale.system().name().partition("_")[0] if chosen == "system" else chosen
    code = code if code in LANGUAGES else "en"
    locale = QLocale(code)
    QLocale.setDefault(locale)
    if code == "en":
        language.speak()
        return code
    with catalogue_file(code).open("rb") as file:
        language.speak(GNUTranslations(file), locale.decimalPoint())
    if application is not None:
        translator = QTranslator(application)
        if translator.load(f"qtbase_{code}", QLibraryInfo.path(QLibraryInfo.LibraryPath.TranslationsPath)):
            application.installTranslator(translator)
    return code


def start_again(files: Sequence[str]) -> bool:
    """Open another window of this very program with these files, which outlives this one; False where none came.

    A checkout is found by Python from its own folder alone, wherever this window was started from.
    """
    home = Path(valvelab.__file__).resolve().parent.parent
    process = QProcess()
    process.setProgram(sys.executable)
    process.setArguments(["-m", "valvelab", *files])
    if (home / "pyproject.toml").is_file():
        known = QProcessEnvironment.systemEnvironment()
        paths = filter(None, (str(home), known.value("PYTHONPATH")))
        known.insert("PYTHONPATH", os.pathsep.join(paths))
        process.setProcessEnvironment(known)
    started: object = process.startDetached()  # with the new process's number, or without it
    return bool(started[0] if isinstance(started, tuple) else started)
