"""The language that the window speaks. Everything else is English: terminal, JSON, CSV, certificates, records.

A text of the window's own goes through `say`. What the rooms below share with terminal and paper goes through `word`,
its numbers through `figures`: they follow the window's language only within `aloud`, which the window enters while it
shows something. So what is written from a window in another language is what it always was; where the window writes
what it shows (a table as CSV) it does so within `plain`. A text that stands at the top of a module is only `marked`,
and said where it is shown: the language is chosen later than modules are loaded.

The catalogue is gettext's. The English text is the key; one without a translation is shown as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from gettext import NullTranslations
from typing import Literal

LANGUAGES = {"en": "English", "de": "Deutsch"}
"""Languages that the window speaks, each by its own name; all but English have a catalogue."""
_ENGLISH = NullTranslations()
_catalogue, _mark = _ENGLISH, "."
_VOICE: ContextVar[Literal["own", "aloud", "plain"]] = ContextVar("voice", default="own")
_MEASURE = re.compile(r"\d+\.\d+(?= ?(?:mm|µm|in\b|µin|N\b|N/mm|lbf|deg|cam|crank|rpm|%|°|[AB][BT]DC))")
_FIGURES = re.compile(r"[▶<>≤≥+−±~ ]*\d+\.\d+[ %✗]*")
CELL = "cell"
"""Context of words in the cells of tables, where names that a person gave stand as well."""


def speak(catalogue: NullTranslations | None = None, mark: str = ".") -> None:
    """Speak by this catalogue from now on, with this decimal mark; without one English."""
    global _catalogue, _mark
    _catalogue, _mark = catalogue or _ENGLISH, mark


def is_english() -> bool:
    """Whether the window speaks English."""
    return _catalogue is _ENGLISH


@contextmanager
def aloud() -> Iterator[None]:
    """Within it, what the rooms share is said in the window's language too; within `plain` all stays English."""
    token = _VOICE.set("plain" if _VOICE.get() == "plain" else "aloud")
    try:
        yield
    finally:
        _VOICE.reset(token)


@contextmanager
def plain() -> Iterator[None]:
    """Within it everything is English, as it is written."""
    token = _VOICE.set("plain")
    try:
        yield
    finally:
        _VOICE.reset(token)


def say(text: str) -> str:
    """A text of the window in its language."""
    return text if not text or is_english() or _VOICE.get() == "plain" else _catalogue.gettext(text)


def say_many(one: str, many: str, count: int) -> str:
    """The one of two texts that goes with a count, which stands at their `{count}`."""
    translated = not is_english() and _VOICE.get() != "plain"
    return (_catalogue if translated else _ENGLISH).ngettext(one, many, count).format(count=count)


def say_number(text: str) -> str:
    """A number of the window with its decimal mark."""
    return text if is_english() or _VOICE.get() == "plain" else text.replace(".", _mark)


def say_measures(text: str) -> str:
    """A text of a figure, which paper draws in English: said whole, or with the decimal mark where a unit follows."""
    said = say(text)
    return _MEASURE.sub(lambda found: say_number(found[0]), text) if said == text else said


def say_figures(text: str) -> str:
    """A text that is put together of names, words and figures, each said by itself as in a cell."""
    return " ".join(say_number(part) if _FIGURES.fullmatch(part) else say_cell(part) for part in text.split(" "))


def say_cell(text: str) -> str:
    """What a cell of a table holds; a word of the program's in the window's language."""
    return text if not text or is_english() or _VOICE.get() == "plain" else _catalogue.pgettext(CELL, text)


def say_within(text: str) -> str:
    """A name of the window within a sentence, where English begins it with a small letter."""
    said = say(text)
    return text.lower() if said == text else said


def marked(text: str) -> str:
    """A text that is said later, where it is shown."""
    return text


def word(text: str) -> str:
    """A text that the window shares with terminal and paper."""
    return say(text) if _VOICE.get() == "aloud" else text


def word_many(one: str, many: str, count: int) -> str:
    """The one of two shared texts that goes with a count, which stands at their `{count}`."""
    return say_many(one, many, count) if _VOICE.get() == "aloud" else (one if count == 1 else many).format(count=count)


def figures(text: str) -> str:
    """A number as it is printed, with the decimal mark of whoever reads it."""
    return say_number(text) if _VOICE.get() == "aloud" else text
