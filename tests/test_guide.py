"""The guide: its commands run, its pages are whole, and the window shows them."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from make_guide import pages
from something import each

from valvelab.cli.main import main
from valvelab.inspection.characteristics import all_characteristics
from valvelab.window.guide import Guide
from valvelab.workbench import guide

if TYPE_CHECKING:
    from valvelab.window.main_window import MainWindow

ROOT = Path(__file__).resolve().parent.parent
HOW_TO = [name for name in guide.TITLES if name != guide.REFERENCE]


@pytest.mark.parametrize("name", HOW_TO)
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
    made = pages()
    assert set(made) == {"index.html", *(f"{name}.html" for name in guide.TITLES)}
    for name in each(guide.TITLES):
        assert made[f"{name}.html"].count("<h1>") == 1
        assert made["index.html"].count(f'href="{name}.html"') == 2


def test_window_shows_every_page(window: MainWindow) -> None:
    window.do("guide")
    shown = window.findChild(Guide)
    assert shown.isVisible()
    for name in each(guide.TITLES):
        shown.show_page(name)
        text = shown.text.toPlainText()
        heading = guide.page(name).splitlines()[0].removeprefix("# ")
        assert text.startswith(heading)
        assert len(text) > 800
    shown.close()
