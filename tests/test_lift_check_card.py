"""A lift read by an instrument that has a card: corrected, its uncertainty from the curve, its dates on paper."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from valvelab.cli.main import main
from valvelab.job.verify import verify_bytes
from valvelab.places import sample_profiles
from valvelab.window.bays.liftcheck_view import LiftCheckView
from valvelab.window.main_window import MainWindow

CARD = "quillmere_dial_card.toml"
SHEET = """
date = "{date}"
[instrument]
name = "{name}"
{stated}
[[limit]]
of = "rule_lift"
max = "6.99 mm"
[[check]]
item = "boat 3"
valve = "1I"
zero = ["1.000 mm", "1.000 mm", "1.000 mm", "1.000 mm"]
open = ["8.000 mm", "8.000 mm", "8.000 mm", "8.000 mm"]
"""


def written(tmp_path: Path, stated: str = f'card = "{CARD}"', name: str = "dial 3", date: str = "2026-05-02") -> Path:
    shutil.copy(sample_profiles() / CARD, tmp_path)
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(SHEET.format(stated=stated, name=name, date=date))
    return sheet


def result(capsys: pytest.CaptureFixture[str], *words: str | Path) -> dict[str, object]:
    main(["liftcheck", *map(str, words), "--json"])
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def test_the_lift_is_corrected(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By arithmetic: blocks of 8 mm read 7.9987 and of 1 mm 1.0023, so 8.000 − 1.000 is 7 mm and 3.7 µm more."""
    (check,) = result(capsys, written(tmp_path))["checks"]  # type: ignore[misc]
    assert check["open_mean_mm"] - check["zero_mean_mm"] == pytest.approx(7.0)
    assert check["correction_mm"] == pytest.approx(0.0037, abs=2e-4)
    assert check["mean_mm"] == pytest.approx(7.0 + check["correction_mm"])
    assert 0.0001 < check["calibration_mm"] < 0.002, "blocks, repeats and the course between them"


def test_the_larger_uncertainty_counts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stated = f'card = "{CARD}"\nuncertainty = "9 um"'
    (check,) = result(capsys, written(tmp_path, stated))["checks"]  # type: ignore[misc]
    assert check["calibration_mm"] == pytest.approx(0.009)


@pytest.mark.parametrize(
    ("name", "date", "said"),
    [
        ("dial 3", "2027-05-02", "was due on 2027-02-10"),
        ("dial 7", "2026-05-02", "names the instrument 'dial 7'"),
    ],
)
def test_what_is_said_of_a_card(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, date: str, said: str
) -> None:
    notes = result(capsys, written(tmp_path, name=name, date=date))["notes"]
    assert any(said in note["text"] and note["level"] == "warning" for note in notes)  # type: ignore[attr-defined]


def test_a_card_of_forces_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = written(tmp_path, "")
    card = sample_profiles() / "quillmere_spring_tester_card.toml"
    assert main(["liftcheck", str(sheet), "--instrument", str(card)]) == 3
    assert "a card of forces, expected one of lengths" in capsys.readouterr().err


def test_paper_carries_the_card(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "page.pdf"
    main(["liftcheck", str(written(tmp_path)), "--out", str(page), "--quiet"])
    content = page.read_bytes()
    assert verify_bytes(content, page.name).agrees
    sheet = written(tmp_path, "")
    main(["liftcheck", str(sheet), "--instrument", str(sheet.with_name(CARD)), "--out", str(page), "--quiet"])
    assert verify_bytes(page.read_bytes(), page.name).agrees


def test_the_bench_s_card_corrects_what_names_it(window: MainWindow, quiet: None, tmp_path: Path) -> None:
    sheet = written(tmp_path, "")
    window.bench.add_files([str(sheet), str(sheet.with_name(CARD))])
    window.bench.go_to_bay("liftcheck")
    view = window.pages.front()
    assert isinstance(view, LiftCheckView)
    view.bring("boat 3")
    assert view.desk.word.text() == "✗ Rejected"
    assert view.desk.sentence.text().startswith("1I 7.003")
    view.write_page_to(tmp_path / "page.pdf")
    assert verify_bytes((tmp_path / "page.pdf").read_bytes(), "page.pdf").agrees


def test_the_bench_s_gauge_study_counts(window: MainWindow, quiet: None, tmp_path: Path) -> None:
    sheet = written(tmp_path, 'uncertainty = "2 um"')
    (tmp_path / "dial_tir.toml").write_text(
        'kind = "tir"\nstudy = "dials"\nstudy_sha256 = "00"\nmethod = "anova"\nstandard_uncertainty = "8 um"\n'
    )
    window.bench.add_files([str(sheet), str(tmp_path / "dial_tir.toml")])
    window.bench.go_to_bay("liftcheck")
    view = window.pages.front()
    assert isinstance(view, LiftCheckView)
    view.bring("boat 3")
    assert view.desk.word.text() == "? Undecided"
    view.write_page_to(tmp_path / "page.pdf")
    found = verify_bytes((tmp_path / "page.pdf").read_bytes(), "page.pdf")
    assert found.agrees
    assert found.verdicts[0].standard_uncertainty == pytest.approx(0.0088, abs=1e-3)
