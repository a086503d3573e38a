"""The guide: its commands run, its pages are whole, and the window shows them."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import make_guide
import pytest
from showing import show
from something import each

from valvelab.cli.main import main
from valvelab.figures.meaning_figures import PICTURES, meaning_figure
from valvelab.inspection.characteristics import all_characteristics
from valvelab.places import sample_profiles
from valvelab.window.bays.springs_view import SpringsView
from valvelab.window.explaining import characteristic_in
from valvelab.window.tables import TableView
from valvelab.workbench import guide
from valvelab.workbench.sets import Grouping, SpringsState
from valvelab.workbench.springs_bay import readings_of

if TYPE_CHECKING:
    from valvelab.window.main_window import MainWindow

ROOT = Path(__file__).resolve().parent.parent
TEXTS = [name for name in guide.TITLES if name != guide.REFERENCE]
COMMAND_LINE = {
    "degree_a_cam": "## The same on the command line", "match_a_tray": "## The same on the command line",
    "check_a_lift": "## The same on the command line", "lift_check": "## On the command line",
    "records": "## On the command line", "signing": "## On the command line",
}  # fmt: skip
FOR_HANDS = list(COMMAND_LINE)
WITH_COMMANDS = [name for name in TEXTS if "```sh" in guide.page(name)]


@pytest.mark.parametrize("name", WITH_COMMANDS)
def test_commands_of_a_page_run(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    blocks = re.findall(r"```sh\n(.*?)```", guide.page(name), re.DOTALL)
    lines = [line for block in blocks for line in block.replace("\\\n", " ").splitlines()]
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sample_profiles").symlink_to(ROOT / "sample_profiles")
    for line in each(lines):
        program, words = shlex.split(line)[:2], shlex.split(line)[2:]
        assert program == ["python3", "valvelab"]
        assert main(words) in {0, 1, 4}, line
        assert capsys.readouterr().out


def test_figures_that_the_guide_tells_are_those_of_the_samples(capsys: pytest.CaptureFixture[str]) -> None:
    samples = ROOT / "sample_profiles"
    words = ["phasing", "quillmere_four_degree_wheel.toml", "--spec", "quillmere_four_engine.toml"]
    main([str(samples / word) if "." in word else word for word in words])
    found = " ".join(capsys.readouterr().out.split())
    assert "correction +3.02 0.18 crank deg" in found
    assert "nearest step +4.00 crank deg" in found
    assert "correction +3.02 ± 0.18 crank degrees, nearest step +4.00" in " ".join(guide.page("degree_a_cam").split())


@pytest.mark.parametrize("name", FOR_HANDS)
def test_a_procedure_for_hands_has_its_commands_at_the_end(name: str) -> None:
    before, heading, after = guide.page(name).partition(COMMAND_LINE[name])
    assert heading
    assert not re.search(r"```sh|python3|`valvelab|`--?[a-z]|`verify`", before), "what a person does in the window"
    assert "valvelab" in after
    assert "\n## " not in after.removeprefix("\n"), "the last section"


@pytest.mark.parametrize("name", guide.TITLES)
def test_pages_begin_with_a_heading_and_keep_to_their_width(name: str) -> None:
    text = guide.page(name)
    assert text.startswith("# ")
    assert text.count("```") % 2 == 0


def test_reference_has_every_characteristic() -> None:
    text = guide.page(guide.REFERENCE)
    for row in each(all_characteristics()):
        assert f"`{row.name}`" in text
        assert row.method in text


def test_every_page_becomes_html() -> None:
    made = make_guide.pages()
    assert set(made) == {"index.html", *(f"{name}.html" for name in guide.TITLES)}
    for name in each(guide.TITLES):
        assert made[f"{name}.html"].count("<h1>") == 1
        assert made["index.html"].count(f'href="{name}.html"') == 2


def test_the_html_has_its_pictures_beside_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["make_guide", str(tmp_path / "made")])
    make_guide.main()
    shown = [
        name for page in (tmp_path / "made").glob("*.html") for name in re.findall(r'src="([^"]+)"', page.read_text())
    ]
    assert len(shown) > len(PICTURES)
    assert not [name for name in shown if not (tmp_path / "made" / name).is_file()]


def test_window_shows_every_page(window: MainWindow) -> None:
    window.do("guide")
    shown = window.guide
    assert shown.isVisible()
    for name in each(TEXTS):
        shown.show_page(name)
        text = shown.text.toPlainText()
        heading = guide.page(name).splitlines()[0].removeprefix("# ")
        assert text.startswith(heading)
        assert len(text) > 300
    shown.show_page(guide.REFERENCE)
    assert shown.meanings.isVisible()
    shown.close()


def test_the_key_opens_the_characteristic_that_is_chosen(window: MainWindow) -> None:
    window.do("sample")
    sheet = window.verdicts.sheet
    sheet.select_where(lambda verdict: verdict.characteristic == "envelope")
    window.do("characteristics")
    pane = window.guide.meanings
    assert (pane.chosen().subject, pane.chosen().name) == ("lobe", "envelope")
    assert pane.picture.isVisible()
    assert pane.chosen().method in pane.found.text()
    facts = next(
        table for table in window.findChildren(TableView) if table.rows_model.columns[0].title == "characteristic"
    )
    show(facts)
    facts.select_where(lambda fact: fact.name == "runout TIR")
    assert characteristic_in(facts, ("lobe",)).name == "runout_tir"
    window.guide.close()


def test_a_column_of_the_sets_is_explained_and_so_is_the_worst_of_a_set(window: MainWindow) -> None:
    names = ("tray.csv", "spec.toml")
    window.bench.add_files([str(sample_profiles() / f"springs_quillmere_{name}") for name in names])
    springs = [f"Q{number:02d}" for number in range(1, 17)]
    sets = Grouping((tuple(springs),))
    window.bench.set(SpringsState, groupings={readings_of(window.bench.document): sets})
    view = window.pages.front()
    assert isinstance(view, SpringsView)
    tree = view.sets_pane.tree
    top = tree.topLevelItem(0)
    found = []
    for column in range(tree.columnCount()):
        tree.setCurrentItem(top, column)
        asked = characteristic_in(tree, ("spring",))
        found.append(None if asked is None else asked.name)
    assert found[:3] == [None, "seat_force", "rate"]
    assert found[-1] in found[1:-1]


def test_the_filter_leaves_those_that_fit_and_chooses_one_of_them(window: MainWindow) -> None:
    window.do("characteristics")
    pane = window.guide.meanings
    pane.words.setText("spring rate")
    shown = [pane.names.item(n) for n in range(pane.names.count()) if not pane.names.item(n).isHidden()]
    assert "  rate" in [item.text() for item in shown]
    assert "  max lift" not in [item.text() for item in shown]
    assert pane.chosen().subject == "spring"
    pane.bring(next(row for row in all_characteristics() if row.name == "ra"))
    assert pane.words.text() == ""
    assert pane.chosen().name == "ra"
    window.guide.close()


def test_words_of_a_table_name_the_characteristic_of_its_subject() -> None:
    opening = {unit: guide.meant("opening", unit, ()) for unit in ("cam deg", "crank deg")}
    assert {unit: row.subject for unit, row in opening.items() if row} == {"cam deg": "lobe", "crank deg": "event"}
    found = [guide.meant("eccentricity\nmm", "mm", (subject,)) for subject in ("lobe", "station")]
    assert [row.subject for row in found if row] == ["lobe", "station"]
    assert guide.meant("1I", "", ()) is None


def test_pictures_are_of_characteristics_and_of_the_part_that_they_say() -> None:
    known = {(row.subject, row.name) for row in all_characteristics()}
    assert known == set(PICTURES), "every characteristic is drawn"
    for key in each(sorted(PICTURES)):
        figure = meaning_figure(*key)
        assert figure is not None
        roles = [one.role for one in (*figure.curves, *figure.bands, *figure.marks)]
        assert "measured" in roles, key
        assert "meant" in roles, key
    assert meaning_figure("gauge", "unknown") is None
