"""What a menu says is what is printed and saved, under that name, whatever bay is in front and however far it is."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from pypdf import PdfReader
from waiting import at_rest

from valvelab.places import sample_profiles
from valvelab.window.bays.liftcheck_view import LiftCheckView
from valvelab.window.main_window import MainWindow
from valvelab.workbench import bays
from valvelab.workbench.paper_names import CERTIFICATES
from valvelab.workbench.sets import SpringsState

STATES = [*((bay.name, "") for bay in bays.BAYS), ("springs", "shims")]


def told(window: MainWindow, name: str) -> str:
    return window.actions_by_name[name].text().replace("&", "").rstrip("…")


@pytest.mark.parametrize(("name", "page"), STATES)
def test_what_the_menu_says_is_printed_and_saved(
    window: MainWindow, monkeypatch: pytest.MonkeyPatch, name: str, page: str
) -> None:
    seen: list[tuple[str, str, str]] = []
    asked: list[tuple[str, str]] = []

    def preview(_window: MainWindow, pdf: bytes, file: str, what: str = "") -> None:
        seen.append((str(PdfReader(io.BytesIO(pdf)).metadata["/Title"]), file, what))  # type: ignore[index]

    def place(_parent: object, title: str, file: str, _kinds: str) -> tuple[str, str]:
        asked.append((title, Path(file).name))
        return "", ""

    monkeypatch.setattr(MainWindow, "preview", preview)
    monkeypatch.setattr("valvelab.window.saving.QFileDialog.getSaveFileName", place)
    window.bay_actions[name].trigger()
    window.actions_by_name["sample"].trigger()
    if page:
        window.bench.set(SpringsState, page=page)
    at_rest(window.bench)
    window.actions_by_name["print"].trigger()
    window.actions_by_name["certificate"].trigger()
    (title, file, what), (heading, saved) = seen[0], asked[0]
    assert told(window, "print") == f"Print {what}"
    assert told(window, "certificate") == heading == f"Save {what}"
    assert file == saved
    assert file.removesuffix(".pdf").endswith(what)
    kind = what.removesuffix(" certificate").split()
    assert set(kind) <= set(title.lower().replace(":", "").split())


def test_every_use_with_a_paper_has_a_name_of_its_own() -> None:
    assert set(CERTIFICATES) >= {bay.name for bay in bays.BAYS}
    assert len(set(CERTIFICATES.values())) == len(CERTIFICATES)


def test_a_car_in_front_is_what_is_printed(window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    printed: list[Path] = []
    monkeypatch.setattr("valvelab.window.bays.liftcheck_view.hand_over", printed.append)
    monkeypatch.setattr(
        "valvelab.window.bays.liftcheck_view.QFileDialog.getExistingDirectory", lambda *_how: str(tmp_path)
    )
    window.bench.add_files([str(sample_profiles() / "quillmere_spring_meeting.toml")])
    at_rest(window.bench)
    view = window.pages.front()
    assert isinstance(view, LiftCheckView)
    view.bring("car 14")
    at_rest(window.bench)
    assert told(window, "print") == "Print page of car 14"
    assert told(window, "certificate") == "Save lift check certificate", "the event's, car by car"
    window.actions_by_name["print"].trigger()
    at_rest(window.bench)
    assert [path.name for path in printed] == ["car_14.pdf"]
    paper = PdfReader(printed[0])
    assert "car 14" in str(paper.metadata["/Title"])  # type: ignore[index]
    assert len(paper.pages) == 1
    view.next_car()
    at_rest(window.bench)
    assert told(window, "print") == "Print lift check certificate"
