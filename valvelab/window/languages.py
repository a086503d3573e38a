"""Which language the window speaks: the one chosen, else the desktop's where there is a catalogue of it."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from gettext import GNUTranslations
from pathlib import Path

from PySide6.QtCore import QCoreApplication, QLibraryInfo, QLocale, QProcess, QTranslator

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


def start_again(files: Sequence[str]) -> None:
    """Open another window with these files, which outlives this one."""
    QProcess.startDetached(sys.executable, ["-m", "valvelab", *files])
