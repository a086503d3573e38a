"""The window in another language: the catalogue is whole, nothing breaks or is cut, what is written stays English."""

from __future__ import annotations

import re
from collections.abc import Iterator
from copy import deepcopy
from functools import cache
from io import BytesIO
from pathlib import Path
from string import Formatter
from typing import TYPE_CHECKING, Any

import make_languages
import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from something import each
from waiting import made_of

from valvelab import language
from valvelab.errors import CannotWrite
from valvelab.phrase import Phrase, listed, whole
from valvelab.places import sample_profiles
from valvelab.records.result import info
from valvelab.units import show

if TYPE_CHECKING:
    from PySide6.QtWidgets import QApplication, QWidget

    from valvelab.window.main_window import MainWindow

CODES = [code for code in language.LANGUAGES if code != "en"]
SAMPLES = {
    "phasing": ("quillmere_four_degree_wheel_misread.toml", "quillmere_four_engine.toml"),
    "liftcheck": ("quillmere_spring_meeting.toml",),
    "motion": ("quillmere_four_camshaft.csv", "quillmere_four_train.toml", "quillmere_four_engine.toml"),
    "shaft": ("club_four_journals.csv", "club_four_shaft_spec.toml"),
    "lobes": ("quillmere_four_camshaft.csv", "quillmere_four_camshaft.toml"),
}


@pytest.fixture
def german(app: QApplication) -> Iterator[None]:
    """The window speaks German."""
    from valvelab.window import languages

    languages.speak("de")
    yield
    languages.speak("en")


def put(window: MainWindow, bay: str) -> None:
    window.bench.add_files([str(sample_profiles() / name) for name in SAMPLES[bay]])
    window.bench.go_to_bay(bay)


@cache
def known(code: str) -> Catalog:
    """The catalogue as it lies there."""
    return make_languages.read(code)


def fields(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name}


@pytest.mark.parametrize("code", CODES)
def test_the_catalogue_holds_every_text_and_no_other(code: str) -> None:
    there = {(message.id, message.context) for message in known(code) if message.id}
    wanted = {(message.id, message.context) for message in make_languages.fresh(code) if message.id}
    assert there == wanted, "python tests/make_languages.py"
    assert make_languages.missing(known(code)) == []


@pytest.mark.parametrize("code", CODES)
def test_placeholders_and_marks_stand_in_the_translation_too(code: str) -> None:
    for message in each(one for one in known(code) if one.id):
        texts = [message.id, message.string] if isinstance(message.id, str) else [message.id[1], *message.string]
        english, *others = texts
        for other in each(others):
            assert fields(other) == fields(english), english
            assert other.startswith(" ") == english.startswith(" ")
            assert other.endswith((" ", "…")) == english.endswith((" ", "…"))
            assert re.findall(r"\*[^\s;)]*", other) == re.findall(r"\*[^\s;)]*", english)


@pytest.mark.parametrize("code", CODES)
def test_what_is_read_at_the_start_is_the_catalogue(code: str) -> None:
    compiled = BytesIO()
    write_mo(compiled, known(code))
    assert (make_languages.CATALOGUES / f"{code}.mo").read_bytes() == compiled.getvalue()


def test_what_rooms_share_is_english_unless_it_is_said_aloud(german: None) -> None:
    assert language.say("Limits") == "Grenzwerte"
    assert language.word("accepted") == "accepted"
    assert show(1.5, "mm", decimals=2) == "1.50"
    with language.aloud():
        assert language.word("accepted") == "angenommen"
        assert show(-1.5, "mm", decimals=2) == "−1,50"
        with language.plain():
            assert language.say("Limits") == "Limits"
            assert show(1.5, "mm", decimals=2) == "1.50"


def test_a_phrase_is_its_english_text_and_is_said_with_its_places(german: None) -> None:
    size = Phrase("minimum zone {size}", size="11.16 mm")
    row = listed((Phrase("{lobe} centre", lobe="1I"), size), "; ")
    assert row == "1I centre; minimum zone 11.16 mm"
    assert f"{row}" == str(row) == deepcopy(row)
    for kept in each([row, deepcopy(row), info("1I", row).text, CannotWrite("f", row).args[0].fields["reason"]]):
        assert language.say(kept) == "1I Mitte; kleinste Zone 11,16 mm"
    assert language.say(row + ".") == "1I centre; minimum zone 11.16 mm."
    assert (
        language.say(Phrase("{count} and {other}", count="2,000 mm", other="bore 1.5")) == "2\u202f000 mm and bore 1.5"
    )
    assert language.say(whole("a brace { and {0}")) == "a brace { and {0}"
    with language.plain():
        assert language.say(size) == "minimum zone 11.16 mm"


def test_a_language_without_a_catalogue_is_english(app: QApplication) -> None:
    from valvelab.window import languages

    assert languages.speak("xx") == "en"
    assert language.is_english()


@pytest.mark.usefixtures("german", "quiet")
@pytest.mark.parametrize("bay", SAMPLES)
def test_every_bay_opens_its_sample(bay: str, window: MainWindow) -> None:
    from PySide6.QtWidgets import QScrollArea

    put(window, bay)
    assert window.banner.isVisible()
    area = window.pages.currentWidget()
    assert isinstance(area, QScrollArea)
    assert window.pages.front().minimumSizeHint().width() <= area.viewport().width(), "it has to be scrolled sideways"
    shown = [
        window.verdicts.sheet.model().index(row, 0).data() for row in range(window.verdicts.sheet.model().rowCount())
    ]
    assert set(shown) <= {"angenommen", "abgelehnt", "offen"}


@pytest.mark.usefixtures("german")
@pytest.mark.parametrize("scale", [1.0, 1.5])
def test_nothing_is_cut_in_the_main_places(scale: float, window: MainWindow, app: QApplication) -> None:
    from PySide6.QtWidgets import QPushButton

    from valvelab.window import theme
    from valvelab.window.chips import Chip
    from valvelab.window.heads import Head
    from valvelab.window.tiles import BayTile, lines_of

    window.resize(1600, 1000)
    app.setFont(theme.text_font(10.0 * scale))
    for bay in each(["liftcheck", "lobes"]):
        put(window, bay)
        app.processEvents()
        chips = seen(window, Chip) if scale == 1.0 else []  # in larger text a chip shows the start of its word
        for button in each([*seen(window, BayTile), *seen(window, QPushButton), *chips]):
            wide, tile = button.fontMetrics().horizontalAdvance, isinstance(button, BayTile)
            words = 0.85 * max(map(wide, lines_of(button.text()))) if tile else wide(button.text().replace("&", ""))
            assert words < (button.room() if tile else button.width()), button.text()
        header = window.verdicts.sheet.horizontalHeader()
        assert isinstance(header, Head)
        for section in each([n for n in range(header.count()) if not header.isSectionHidden(n)]):
            assert header.bare_width(section) <= header.sectionSize(section)


def seen(window: MainWindow, kind: type[QWidget]) -> list[Any]:
    return [widget for widget in window.findChildren(kind) if widget.isVisible()]


@pytest.mark.usefixtures("german")
def test_a_number_typed_with_a_comma_is_read_and_shown_with_one(window: MainWindow) -> None:
    from valvelab.window.bays.lobes_view import LobesView

    put(window, "lobes")
    page = window.pages.front()
    assert isinstance(page, LobesView)
    field = page.lift_field
    field.setText("1,5 mm")
    field.setModified(True)
    field.editingFinished.emit()
    assert field.text() == "1,500 mm"
    field.setText("1.000,5")
    field.setModified(True)
    field.editingFinished.emit()
    assert field.wrong
    assert field.text() == "1.000,5"


def test_what_is_written_is_the_same_from_either_window(window: MainWindow, tmp_path: Path) -> None:
    from valvelab.window import languages
    from valvelab.window.table_menu import table_csv

    put(window, "lobes")
    written = []
    for code in each(["en", "de"]):
        languages.speak(code)
        window.restyle()
        paper = tmp_path / f"{code}.pdf"
        window.save_certificate(paper)
        asked = {kind: one for kind, one in window.exports().items() if kind.endswith(("json)", "csv)", "qif)"))}
        made = {kind: made_of(one) for kind, one in asked.items()}
        written.append((made, table_csv(window.verdicts.sheet)(), paper.read_bytes()))
    languages.speak("en")
    assert written[0] == written[1]


def test_the_language_is_chosen_and_remembered(window: MainWindow) -> None:
    window.do("language_de")
    assert window.bench.settings.language == "de"
    assert language.is_english()
    assert Path(window.bench.place / "settings.json").read_text(encoding="utf-8").count('"language": "de"') == 1
