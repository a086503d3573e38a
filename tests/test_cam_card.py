"""A measured shaft's cam card as a page and as the spec of a degreeing: lobes, card, phasing."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from pypdf import PdfReader
from something import each
from test_item_rows import frozen

from valvelab.cli.main import main
from valvelab.errors import CannotEvaluate
from valvelab.files.cam_card_file import cam_card_toml
from valvelab.files.reading import only_kind
from valvelab.files.spec_file import read_spec
from valvelab.inspection.lobes.cam_card import measured_card
from valvelab.places import sample_profiles
from valvelab.records.cam_card import CamCard, CardEvents
from valvelab.records.lobes_result import LobesResult
from valvelab.tables.cam_card import card_table, card_told

FOUR = str(sample_profiles() / "quillmere_four_camshaft.csv")
WHEEL = sample_profiles() / "quillmere_four_degree_wheel.toml"
ORDERED = """title = "Club four"
[card]
intake_centreline = 106
exhaust_centreline = 110
intake_lash = "0.010 in"
rocker_ratio = 1.5
"""


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The card of the sample camshaft, as a page too."""
    folder = tmp_path_factory.mktemp("card")
    (folder / "ordered.toml").write_text(ORDERED, encoding="utf-8")
    for name in each(["card.toml", "card.pdf"]):
        asked = ["--spec", str(folder / "ordered.toml"), "--card", str(folder / name)]
        assert main(["lobes", FOUR, *asked, "--quiet", "--out", str(folder / "out.json")]) == 0
    return folder / "card.toml"


def card_of(file: Path) -> CamCard:
    """The card in a spec."""
    spec = read_spec(file)
    assert spec.title == "Club four"
    assert spec.card is not None
    return spec.card


def lobes() -> LobesResult:
    result, _ = frozen("lobes_four")
    assert isinstance(result, LobesResult)
    return result


def symmetrical(half_cam_deg: dict[float, float]) -> LobesResult:
    """The sample with lobes that open and close as far before as after their centre."""
    found = []
    for lobe in lobes().lobes:
        rows = [row for row in lobe.durations if row.at_mm in half_cam_deg]
        moved = {
            row.at_mm: {
                "opening_cam_deg": (lobe.centre_cam_deg or 0.0) - half_cam_deg[row.at_mm],
                "closing_cam_deg": (lobe.centre_cam_deg or 0.0) + half_cam_deg[row.at_mm],
                "duration_crank_deg": 4.0 * half_cam_deg[row.at_mm],
            }
            for row in rows
        }
        durations = tuple(row.model_copy(update=moved[row.at_mm]) for row in rows)
        found.append(lobe.model_copy(update={"durations": durations}))
    return lobes().model_copy(update={"lobes": tuple(found)})


def test_events_are_those_that_the_trade_works_out_by_hand() -> None:
    # Common practice, no source: opens before TDC by duration/2 − centreline, closes after BDC by duration/2 +
    # centreline − 180; 230 crank deg at 106 ATDC: 9 BTDC, 41 ABDC. Exhaust, at 110 BTDC: opens 45 BBDC, closes 5 ATDC.
    stated = CamCard(intake_centreline_deg=106.0, exhaust_centreline_deg=110.0)
    made = measured_card(symmetrical({1.27: 57.5, 1.0: 60.0}), stated).record
    events = {(row.lobe, row.at_mm): (row.value_crank_deg, row.opening_deg, row.closing_deg) for row in made.duration}
    assert events["1I", 1.27] == (230.0, 9.0, 41.0)
    assert events["4E", 1.27] == (230.0, 45.0, 5.0)
    assert events["2I", 1.0] == (240.0, 14.0, 46.0)
    assert len(events) == 16


def test_the_shaft_stands_straight_up_where_no_centreline_is_stated() -> None:
    separation = lobes().camshaft.lobe_separation_mean_cam_deg
    assert separation is not None
    made = measured_card(lobes(), None)
    assert [one.centreline_deg for one in made.kinds] == [round(separation, 2)] * 2
    assert "Installed straight up, for no centreline is stated." in card_told(made, "metric")
    advanced = measured_card(lobes(), CamCard(intake_centreline_deg=104.0))
    assert [one.centreline_deg for one in advanced.kinds] == [104.0, round(2.0 * separation - 104.0, 2)]
    assert "Installed 4.11 crank deg advanced." in card_told(advanced, "metric")


def test_the_card_has_the_means_of_what_was_measured(card: Path) -> None:
    stated = card_of(card)
    assert (stated.intake_centreline_deg, stated.exhaust_centreline_deg) == (106.0, 110.0)
    assert stated.intake_lash_mm == pytest.approx(0.254)
    intakes = [lobe for lobe in lobes().lobes if lobe.kind == "intake"]
    lift = sum(lobe.max_lift_mm or 0.0 for lobe in intakes) / 4.0
    assert [row.value_mm for row in stated.lift if row.lobe.endswith("I")] == [pytest.approx(lift, abs=5e-5)] * 4
    for at_mm in each([1.27, 1.0]):
        found = [row.duration_crank_deg for lobe in intakes for row in lobe.durations if row.at_mm == at_mm]
        (row,) = [row for row in stated.duration if (row.lobe, row.at_mm) == ("3I", at_mm)]
        assert row.value_crank_deg == pytest.approx(sum(map(float, found)) / 4.0, abs=5e-3)
        assert row.opening_deg is not None
        assert row.closing_deg is not None
        assert row.opening_deg + 180.0 + row.closing_deg == pytest.approx(row.value_crank_deg, abs=0.011)


def test_a_card_by_itself_is_a_spec(card: Path) -> None:
    assert only_kind(card) == "spec"
    assert only_kind(WHEEL) == "phasing sheet"


def test_a_card_made_by_its_own_card_is_the_same(card: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.toml"
    assert main(["lobes", FOUR, "--spec", str(card), "--card", str(again), "--quiet"]) == 0
    assert again.read_bytes() == card.read_bytes()


def test_a_degreeing_is_held_against_it(card: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = WHEEL.read_text(encoding="utf-8")
    sheet = tmp_path / "wheel.toml"
    sheet.write_text(text[: text.index("[card]")] + text[text.index("[adjuster]") :], encoding="utf-8")
    assert main(["phasing", str(sheet), "--spec", str(card), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    first = found["lobes"][0]
    assert (first["lobe"], first["card_centreline_crank_deg"]) == ("1I", 106.0)
    (row,) = first["durations"]
    stated = card_of(card)
    assert row["card_duration_crank_deg"] == stated.ordered.duration_of("1I", 1.27)
    assert found["correction_crank_deg"] == pytest.approx(first["centreline_crank_deg"] - 106.0)
    assert not [note for note in found["notes"] if note["about"] == "card"]
    paper = tmp_path / "degreeing.pdf"
    assert main(["phasing", str(sheet), "--spec", str(card), "--out", str(paper), "--quiet"]) == 0
    assert main(["verify", str(paper), "--quiet"]) == 0


def test_the_sheet_s_own_card_counts_and_what_differs_is_said(card: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["phasing", str(WHEEL), "--spec", str(card), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["lobes"][0]["durations"][0]["card_duration_crank_deg"] == 230.0
    said = [note["text"] for note in found["notes"] if note["about"] == "card"]
    assert said[0].startswith("duration of 1I at 1.27 mm: the sheet's card says 230 crank deg, ")
    assert len(said) == 2, "the centrelines are the same"


def test_the_page_says_what_the_table_says(card: Path) -> None:
    (page,) = PdfReader(card.with_suffix(".pdf")).pages
    text = " ".join(page.extract_text().split())
    stated = card_of(card)
    made = measured_card(lobes(), stated)
    for row in each(card_table(made, "metric").rows):
        assert " ".join(str(cell) for cell in row if cell) in text
    for sentence in each([*card_told(made, "metric"), "4I: 1 reading stands off by 0.0858 mm at 204 cam deg"]):
        assert sentence in text


def test_events_are_typed_as_the_trade_says_them() -> None:
    row = CardEvents.model_validate(
        {"lobe": "1I", "at": "0.050 in", "value": 230, "opening": "3 deg ATDC", "closing": "41 deg ABDC"}
    )
    assert (row.at_mm, row.opening_deg, row.closing_deg) == (1.27, -3.0, 41.0)
    text = cam_card_toml(CamCard(duration=(row,)), 'a "card"')
    assert 'opening = "3.0 deg ATDC"\nclosing = "41.0 deg ABDC"' in text


def test_what_is_no_card_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    alone = lobes().camshaft.model_copy(update={"lobe_separation_mean_cam_deg": None})
    only = lobes().model_copy(update={"lobes": lobes().lobes[:1], "camshaft": alone})
    with pytest.raises(CannotEvaluate, match=r"expected intake_centreline in \[card\] of the spec"):
        measured_card(only, None)
    assert [one.kind for one in measured_card(only, CamCard(intake_centreline_deg=106.0)).kinds] == ["intake"]
    with pytest.raises(CannotEvaluate, match="no lobe whose name says intake or exhaust"):
        measured_card(only.model_copy(update={"lobes": ()}), None)
    assert main(["lobes", FOUR, "--card", str(tmp_path / "card.csv")]) == 2
    assert "found ending '.csv', expected .pdf or .toml" in capsys.readouterr().err
    at_valve = tmp_path / "valve.csv"
    text = Path(FOUR).read_text(encoding="utf-8")
    at_valve.write_text(text.replace("lift at: follower", "lift at: valve"), encoding="utf-8")
    assert main(["lobes", str(at_valve), "--card", str(tmp_path / "card.toml"), "--quiet"]) == 3
    assert "found valve, expected follower" in capsys.readouterr().err
    late = tmp_path / "late.toml"
    late.write_text('[card]\nintake_lash = "6 mm"\n', encoding="utf-8")
    assert main(["lobes", FOUR, "--spec", str(late), "--quiet"]) == 3
    assert "found '6 mm', expected a lash of 0 to 5 mm" in capsys.readouterr().err
