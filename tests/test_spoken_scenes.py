"""Every scene in every language that the window speaks: nothing English is left over, no table is wider than it was."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import make_languages
import make_looks
import pytest
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QTableView, QTreeView
from shown import texts_of

from valvelab.language import LANGUAGES
from valvelab.window import languages
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow

CODES = [code for code in LANGUAGES if code != "en"]
WORD = re.compile(r"[^\W\d_]{3,}|\b(?:to|of|by|is|or|no|it)\b")
"""Words of three letters or more, and short ones that are English alone."""
FILE = re.compile(r"[\w/.…-]+\.(?:csv|toml|txt)\b")
KEY = re.compile(r"\b[a-z]+(?:_[a-z]+)+\b|`[^`]*`|\[\[?\w+\]?\]( \d+ \w+)?|\d+ [AB][BT]DC$|Handbook [\d.]+")
"""What is typed: keys of files and of characteristics, and how an angle is written; a book's chapter."""
TYPED = ("SpecTable", "ColumnsTable")
"""Widgets that show what a file holds, as it is written there."""
SAME_IN_GERMAN = {
    "Amplitude", "Band", "Deutsch", "English", "Export", "Filter", "Form", "GRR", "LSC", "MCC", "MIC", "MZC",
    "Rate", "Rku", "Rmrk", "Rpk", "Rsk", "Rsm", "Rvk", "Text", "atan", "max", "min", "valvelab",
}  # fmt: skip
SAME = {"de": SAME_IN_GERMAN}
"""Words that are the same in English and in a language, by its code."""
NAMES = {"Alt", "Ctrl", "Del", "Ins", "Return", "Shift", "car", "club", "look", "thou", "tir"}
"""Keys, which Qt says, and names that are typed."""


@contextmanager
def scene(name: str, code: str, place: Path) -> Iterator[MainWindow]:
    """A scene in a language, at the smallest size."""
    languages.speak(code)
    window = MainWindow(Bench(place / code, background=False))
    try:
        window.resize(1280, 720)
        window.show()
        make_looks.SCENES[name](window, place)
        for _ in range(4):  # a layout within a layout takes a turn of the event loop each
            QTest.qWait(20)
        yield window
    finally:
        window.ask_unsaved = lambda: "discard"  # type: ignore[method-assign]
        window.close()
        window.deleteLater()
        QTest.qWait(0)
        languages.speak("en")


def shown(window: MainWindow) -> dict[str, str]:
    """Every text with its place, those of the remarks too."""
    found = texts_of(window)
    window.sheet.bring("remarks")
    QApplication.processEvents()
    return texts_of(window) | found


def sideways(window: MainWindow) -> set[str]:
    """Tables that are seen and have to be scrolled sideways."""
    tables = (*window.findChildren(QTableView), *window.findChildren(QTreeView))
    return {one.objectName() for one in tables if one.isVisible() and one.horizontalScrollBar().maximum() > 0}


def names_on(window: MainWindow) -> re.Pattern[str]:
    """Names that files on the bench give: of parts, people, clauses and the like."""
    found: set[str] = set()
    for file in window.bench.document.files:
        text = Path(file.path).read_text(encoding="utf-8")
        if file.path.endswith(".toml"):
            found |= set(_texts(tomllib.loads(text)))
        else:
            found |= {line.partition(":")[2].strip() for line in text.splitlines() if line.startswith("#")}
    several = sorted(
        (name for name in found if len(WORD.findall(name)) > 1 or re.search(r"\w \d|[A-Z]\.", name)), key=len
    )
    return re.compile("|".join(re.escape(name) for name in reversed(several)) or r"(?!)")


def _texts(held: object) -> Iterator[str]:
    if isinstance(held, str):
        yield held
    for part in held.values() if isinstance(held, dict) else held if isinstance(held, list) else ():
        yield from _texts(part)


@cache
def english_alone(code: str) -> set[str]:
    """Words that the English texts have and the translations have not."""
    english, other = set[str](), set[str]()
    for message in make_languages.read(code):
        for into, texts in ((english, message.id), (other, message.string)):
            for text in (texts,) if isinstance(texts, str) else texts:
                into |= {word.lower() for word in WORD.findall(re.sub(r"\{\w*\}", "", text))}
    return english - other


def left_over(text: str, *, same: bool, code: str, names: re.Pattern[str]) -> list[str]:
    """English words and decimal points of a text; `same`: the text is shown in English as well."""
    bare = KEY.sub(" ", FILE.sub(" ", names.sub(" ", text)))
    words = [word for word in WORD.findall(bare) if word not in SAME[code] | NAMES]
    points = re.findall(r"\d+\.\d+(?![.\d-])", bare)
    return points + (words if same else [word for word in words if word.lower() in english_alone(code)])


def cut(text: str, among: Iterable[str]) -> bool:
    """Whether a text is the start of another one, which is looked at by itself."""
    start = text.removesuffix("…").strip()
    return text.endswith("…") and any(one.startswith(start) and one != text for one in among)


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("name", make_looks.SCENES)
def test_a_scene_is_in_its_language_and_as_narrow(app: QApplication, tmp_path: Path, name: str, code: str) -> None:
    with scene(name, "en", tmp_path) as window:
        wide, english = sideways(window), shown(window)
    with scene(name, code, tmp_path) as window:
        wider, texts, names = sideways(window) - wide, shown(window), names_on(window)
    wrong = [
        f"{place}: {text!r}: {words}"
        for text, place in texts.items()
        if not place.startswith(TYPED)
        and not cut(text, texts)
        and (words := left_over(text, same=text in english, code=code, names=names))
    ]
    assert not wrong, "\n".join(wrong)
    assert not wider, "tables that are to be scrolled sideways, which in English are not"
    assert len(texts) > 100
