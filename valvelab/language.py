"""The language that the window speaks. Everything else is English: terminal, JSON, CSV, certificates, records.

A text of the window's own goes through `say`. What the rooms below share with terminal and paper goes through `word`,
its numbers through `figures`: they follow the window's language only within `aloud`, which the window enters while it
shows something. So what is written from a window in another language is what it always was; where the window writes
what it shows (a table as CSV) it does so within `plain`. A text that stands at the top of a module is only `marked`,
and said where it is shown: the language is chosen later than modules are loaded.

A text that is put together where no language is known is a `Phrase`: its template is said, with what stands in it.
Its measures are canonical; a window that shows other units has them turned into those wherever a phrase is said.

The catalogue is gettext's. The English text is the key; one without a translation is shown as it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from gettext import NullTranslations
from typing import Literal

from valvelab.phrase import Phrase

LANGUAGES = {"en": "English", "de": "Deutsch"}
"""Languages that the window speaks, each by its own name; all but English have a catalogue."""
_ENGLISH = NullTranslations()
_catalogue, _mark = _ENGLISH, "."
Measures = Callable[[str, Mapping[str, str]], tuple[str, Mapping[str, str]]]
"""What turns the measures of a phrase, its template and what stands at its places, into the units that are shown."""
_measures: Measures | None = None
_VOICE: ContextVar[Literal["own", "aloud", "plain"]] = ContextVar("voice", default="own")
_FIGURES = re.compile(r"[▶<>≤≥+−±~ ]*\d+\.\d+[ %✗]*")
_QUANTITY = re.compile(
    r"([▶<>≤≥+−±~ -]*(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?(?:e[+-]?\d+)?)"
    r"(?:( ?)([^\d\s,;.][^\s.]*(?: [^\d\s][^\s.]*){0,2}))?"
)
"""A number by itself, or with its unit."""
_THIN = "\u202f"
"""What parts thousands where the comma is the decimal mark."""
_SOURCE = "Source: "
CELL = "cell"
"""Context of words in the cells of tables, where names that a person gave stand as well."""
HEAD = "head"
"""Context of heads of columns that are shorter there than elsewhere; a line end parts them where none is free."""


def speak(catalogue: NullTranslations | None = None, mark: str = ".") -> None:
    """Speak by this catalogue from now on, with this decimal mark; without one English."""
    global _catalogue, _mark
    _catalogue, _mark = catalogue or _ENGLISH, mark


def show_measures(by: Measures | None) -> None:
    """Have the measures of phrases turned by this from now on; None leaves them canonical."""
    global _measures  # noqa: PLW0603 - one for the whole window, as its catalogue is
    _measures = by


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
    """A text of the window in its language; a phrase with what stands in it."""
    foreign = not is_english() and _VOICE.get() != "plain"
    if text and isinstance(text, Phrase) and (foreign or _measures is not None):
        template = _catalogue.gettext(text.template) if foreign else text.template
        fields: Mapping[str, str] = text.fields
        if _measures is not None:
            template, fields = _measures(template, fields)
        return template.format(**{place: _say_field(part) for place, part in fields.items()})
    return _catalogue.gettext(text) if text and foreign else text


def _say_field(text: str) -> str:
    """What stands at a place of a phrase: a phrase, a number with its unit, or a name or word as in a cell."""
    if isinstance(text, Phrase):
        return say(text)
    if is_english() or _VOICE.get() == "plain":
        return text
    number = _QUANTITY.fullmatch(text)
    if number is None:
        return say_cell(text)
    figure, space, unit = number.groups("")
    return f"{say_number(figure.replace(',', _THIN))}{space}{say(unit)}"


def say_many(one: str, many: str, count: int) -> str:
    """The one of two texts that goes with a count, which stands at their `{count}`."""
    translated = not is_english() and _VOICE.get() != "plain"
    return (_catalogue if translated else _ENGLISH).ngettext(one, many, count).format(count=count)


def say_number(text: str) -> str:
    """A number of the window with its decimal mark."""
    return text if is_english() or _VOICE.get() == "plain" else text.replace(".", _mark)


def say_lines(text: str) -> str:
    """A tip of several lines, each said by itself, with the source it names; or a phrase. In the units shown."""
    if isinstance(text, Phrase):
        return say(text)
    lines = (line.partition(_SOURCE) for line in text.split("\n"))
    told = "\n".join(
        say("Source: {source}").format(source=say(source)) if mark and not before else say(f"{before}{mark}{source}")
        for before, mark, source in lines
    )
    return told if _measures is None else _measures(told, {})[0]


def say_measures(text: str) -> str:
    """A text of a figure, which paper draws in English: words, or a measure with its unit."""
    said = say(text)
    return said if said != text or is_english() or _VOICE.get() == "plain" else _say_field(text)


def say_figures(text: str) -> str:
    """A text that is put together of names, words and figures, each said by itself as in a cell."""
    if isinstance(text, Phrase):
        return say(text)
    return " ".join(say_number(part) if _FIGURES.fullmatch(part) else say_cell(part) for part in text.split(" "))


def say_cell(text: str) -> str:
    """What a cell of a table holds; a word or a phrase of the program's in the window's language."""
    if isinstance(text, Phrase):
        return say(text)
    return text if not text or is_english() or _VOICE.get() == "plain" else _catalogue.pgettext(CELL, text)


def say_head(text: str) -> str:
    """The head of a column in the language of the window."""
    if is_english() or _VOICE.get() == "plain":
        return text
    short = _catalogue.pgettext(HEAD, text)
    return say(text) if short == text else short


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


def spoken(text: str) -> str:
    """A phrase that the window shares with terminal and paper; a name that a person gave as it is."""
    return word(text) if isinstance(text, Phrase) else text


def word_many(one: str, many: str, count: int) -> str:
    """The one of two shared texts that goes with a count, which stands at their `{count}`."""
    return say_many(one, many, count) if _VOICE.get() == "aloud" else (one if count == 1 else many).format(count=count)


def figures(text: str) -> str:
    """A number as it is printed, with the decimal mark of whoever reads it."""
    return say_number(text) if _VOICE.get() == "aloud" else text
