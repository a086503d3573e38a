"""A spec's text, edited: what a cell takes, what it refuses, and that nothing else in the text moves."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from something import each

from valvelab.errors import BadFile, BadQuantity, CannotEvaluate, ValvelabError
from valvelab.files.contents import Contents
from valvelab.files.spec_file import nominal_path, read_spec
from valvelab.files.spec_text import (
    comments_lost,
    head_of,
    spec_keys,
    spec_toml,
    with_band_piece,
    with_key,
    with_moved_row,
    with_row,
    without_row,
)
from valvelab.phasing.degreeing import Card, CardDuration
from valvelab.places import sample_profiles
from valvelab.records.result import Result
from valvelab.records.spec import Spec
from valvelab.units import System
from valvelab.workbench import bays, edits
from valvelab.workbench.background import answer
from valvelab.workbench.contents import read_content
from valvelab.workbench.document import Document
from valvelab.workbench.spec_edit import (
    Unfinished,
    UnknownCharacteristic,
    meant,
    with_band,
    with_head,
    with_limit,
    with_rows,
    with_side,
    with_split_piece,
)
from valvelab.workbench.spec_from_part import from_card, from_part, wish_of
from valvelab.workbench.spec_sheet import limit_rows, new_spec, text_for, trouble

LOBE = ("lobe", "camshaft")
TESTS = Path(__file__).parent
CAMSHAFT = sample_profiles() / "quillmere_four_camshaft.toml"


def read(text: str) -> Spec:
    return read_spec(Contents.of("spec.toml", text.encode()))


def specs() -> list[str]:
    """Every spec of the samples and of the tests."""
    found = []
    for path in [*sample_profiles().glob("*.toml"), *TESTS.rglob("*.toml")]:
        try:
            read_spec(path)
        except BadFile:
            continue
        found.append(path.read_text(encoding="utf-8"))
    return found


def document(bay: str, *names: str | Path, text: str = "") -> Document:
    """A bench of samples with a bay in front, and a spec of that text."""
    made = edits.go_to_bay(edits.add_files(Document(), [str(sample_profiles() / name) for name in names]), bay)
    made = edits.type_table(made, "spec.toml", "spec", text) if text else made
    for file in made.files:
        made = edits.content_arrived(made, file, read_content(file))
    return made


def result(of: Document) -> Result:
    work = bays.work_of(of.bay)
    question = work.question(of)
    assert question is not None
    known = answer(question)
    assert known.failure is None
    return work.result(known.value)


def test_every_spec_comes_back_the_same() -> None:
    for text in each(specs()):
        assert read(spec_toml(spec_keys(text))) == read(text)


def test_an_edit_leaves_every_other_line() -> None:
    text = CAMSHAFT.read_text(encoding="utf-8")
    lines = text.splitlines()
    edited = {
        "a key": with_key(text, ("limit", 7), "max", 0.01),
        "a new key": with_key(text, ("limit", 6), "min", "0 mm"),
        "no clause": with_key(text, ("limit", 6), "clause", None),
        "the title": with_key(text, (), "title", 'A "title"'),
        "a new table": with_key(text, ("fitting",), "valve_lift", "11 mm"),
        "a row": with_row(text, "limit", {"of": "area", "min": 200}),
        "no row": without_row(text, "limit", 3),
        "a piece": with_band_piece(text, 0, 0, {"from": -78.0, "to": -50.0, "below": 0.01, "above": 0.01}),
    }
    for name, new in each(edited.items()):
        was, now = set(lines), set(new.splitlines())
        assert len(now - was) <= 4, name
        assert len(was - now) <= 1, name
        assert "opening ramp" in new
        assert head_of(new) == lines[0]
    assert "max = 0.01" in edited["a key"]
    assert "# mm/cam deg²: what the tappet's foot stands" in edited["a key"]
    moved = with_moved_row(text, "limit", 0, 1)
    assert sorted(moved.splitlines()) == sorted(lines)
    assert [row.lobes for row in read(moved).limit[:2]] == ["exhaust", "intake"]


@pytest.mark.parametrize(
    "text",
    [
        'limit = [{ of = "max_lift", max = 8 }]\n',
        'title = """\nA\n[[limit]]\n"""\n[[limit]]\nof = "max_lift"\nmax = 8\n',
    ],
)
def test_a_text_that_has_no_line_for_a_key_is_written_anew(text: str) -> None:
    text = f"# ours\n{text}"
    new = with_key(text, ("limit", 0), "max", 9)
    assert new.startswith("# ours\n")
    remarked = f"{text}# one\n# two\n"
    assert comments_lost(remarked, with_key(remarked, ("limit", 0), "max", 9)), "which is to be said"
    whole = CAMSHAFT.read_text(encoding="utf-8")
    assert not comments_lost(whole, with_key(whole, ("limit", 0), "clause", "4.1"))
    assert tomllib.loads(new) == {**tomllib.loads(text), "limit": [{"of": "max_lift", "max": 9}]}


@pytest.mark.parametrize(
    ("typed", "units", "kept"),
    [
        ({"of": "max_lift", "nominal": "7", "sides": "0.03"}, "metric", ("7 mm", "0.03 mm", "0.03 mm")),
        ({"of": "max_lift", "nominal": "0.38", "sides": ".001"}, "inch", ("0.38 in", ".001 in", ".001 in")),
        ({"of": "max_lift", "nominal": "7 mm", "sides": "+0.05 −0.02"}, "inch", ("7 mm", "0.02 in", "0.05 in")),
        ({"of": "max_lift", "nominal": "7", "sides": "-0.02 +0.05 mm"}, "metric", ("7 mm", "0.02 mm", "0.05 mm")),
        ({"of": "centre", "nominal": "106", "sides": "0,5"}, "metric", ("106 cam deg", "0,5 cam deg", "0,5 cam deg")),
        ({"of": "area", "nominal": "250", "sides": "5"}, "metric", (250.0, 5.0, 5.0)),
        ({"of": "noise", "nominal": "5", "sides": "2 um"}, "metric", ("5 µm", "2 um", "2 um")),
    ],
)
def test_a_number_keeps_the_unit_that_it_was_typed_in(
    typed: dict[str, str], units: System, kept: tuple[object, ...]
) -> None:
    (limit,) = read(with_limit("", None, typed, LOBE, units)).limit
    assert (limit.nominal, limit.below, limit.above) == kept


@pytest.mark.parametrize(
    ("typed", "kind", "said"),
    [
        ({"max": "7"}, Unfinished, "a characteristic"),
        (
            {"of": "max_lft", "max": "7"},
            UnknownCharacteristic,
            "no characteristic is called 'max_lft'; nearest: max_lift",
        ),
        ({"of": "rate", "max": "7"}, BadQuantity, "found a characteristic of a spring"),
        ({"of": "max_lift", "max": "7 N"}, BadQuantity, "max_lift max: found unit 'N', expected a length unit"),
        ({"of": "max_lift", "max": "much"}, BadQuantity, "found 'much', expected a number"),
        ({"of": "max_lift", "min": "8", "max": "7"}, BadQuantity, "lower 8 above upper 7"),
        ({"of": "max_lift", "nominal": "8", "sides": "-0.1"}, BadQuantity, "a size of 0 or more"),
        ({"of": "max_lift", "nominal": "8"}, Unfinished, "± beside the nominal"),
        ({"of": "max_lift", "sides": "0.1"}, Unfinished, "the nominal"),
        ({"of": "max_lift"}, Unfinished, "a nominal with ±, or min or max"),
        ({"of": "duration", "max": "232"}, Unfinished, "at, the lift it is judged at"),
        ({"of": "duration", "max": "232", "at": "-1"}, BadQuantity, "a lift or height above 0"),
        ({"of": "lobe_separation", "max": "110", "items": "1I"}, BadQuantity, "of the whole camshaft"),
        ({"of": "area", "max": "9 in cam deg"}, BadQuantity, "expected mm cam deg"),
    ],
)
def test_what_a_row_refuses(typed: dict[str, str], kind: type[ValvelabError], said: str) -> None:
    with pytest.raises(kind) as refused:
        with_limit("", None, typed, LOBE, "metric")
    assert said in str(refused.value)


def test_ends_take_the_place_of_a_nominal_and_the_other_way_round() -> None:
    text = with_limit("", None, {"of": "max_lift", "nominal": "7", "sides": "0.1"}, LOBE, "metric")
    ends = with_limit(text, 0, {"min": "6.9"}, LOBE, "metric")
    assert spec_keys(ends) == {"limit": [{"of": "max_lift", "min": "6.9 mm"}]}
    back = with_limit(ends, 0, {"nominal": "7", "sides": "0.1"}, LOBE, "metric")
    assert spec_keys(back) == spec_keys(text)


def test_the_head_of_a_spec() -> None:
    text = new_spec(document("springs"))
    text = with_head(text, "confidence", "99", "metric")
    text = with_head(text, "rule", "simple", "metric")
    text = with_head(text, "installed_height", "1.5", "inch")
    spec = read(text)
    assert (spec.decision.rule, spec.decision.confidence) == ("simple", 0.99)
    assert spec.fitting.installed_height_mm == pytest.approx(38.1)
    for name, typed in each([("confidence", "40"), ("rule", "strict"), ("valve_lift", "-1"), ("confidence", "sure")]):
        with pytest.raises(BadQuantity):
            with_head(text, name, typed, "metric")  # type: ignore[arg-type]


def test_bands_are_typed_split_and_dragged() -> None:
    text, path = CAMSHAFT.read_text(encoding="utf-8"), str(CAMSHAFT)
    typed = with_band(text, 0, 1, "above", "0.04", "metric", path)
    assert read(typed).envelope[0].band[1].above_mm == 0.04
    dragged = with_side(text, 0, 1, "above", 0.02849, "inch")
    assert read(dragged).envelope[0].band[1].above_mm == 0.028, "in the unit that it was typed in, to a round step"
    halves = read(with_split_piece(text, 0, 1)).envelope[0].band[1:3]
    assert [(one.from_cam_deg, one.to_cam_deg) for one in halves] == [(-50.0, 0.0), (0.0, 50.0)]
    refused = [("above", "-1"), ("from", "90"), ("nominal", "gone.csv"), ("fit", "time"), ("to", "far")]
    for column, cell in each(refused):
        with pytest.raises(BadQuantity):
            with_band(text, 0, 1, column, cell, "metric", path)


def test_rows_say_what_each_limit_gave() -> None:
    bench = document("lobes", "quillmere_four_camshaft.csv", CAMSHAFT.name)
    found = result(bench)
    rows = limit_rows(spec_keys(CAMSHAFT.read_text()), LOBE, "metric", found)
    judged = [one for one in found.verdicts if one.characteristic != "envelope"]
    assert [one for row in rows for one in row.verdicts] == judged, "every verdict stands beside its limit"
    assert [len(row.verdicts) for row in rows[:4]] == [4, 4, 4, 4]
    assert {one.item[-1] for one in rows[0].verdicts} == {"I"}


def test_the_part_is_accepted_by_limits_made_of_it_and_one_a_tolerance_away_is_not() -> None:
    bench = document("lobes", "quillmere_four_camshaft.csv")
    characteristics = [meant(name, LOBE) for name in ("max_lift", "duration")]
    assert None not in characteristics
    wishes = [
        wish_of(row, "1.27 mm", sides, "metric") for row, sides in zip(characteristics, ("0.05", "1"), strict=True)
    ]
    rows = from_part(bench, wishes, "each", "metric")
    assert len(rows) == 16
    own = result(document("lobes", "quillmere_four_camshaft.csv", text=with_rows("", rows)))
    assert {one.decision for one in own.verdicts} == {"accept"}
    assert len(own.verdicts) == 16
    away = [{**row, "nominal": f"{float(row['nominal'].split()[0]) + 0.11:g} mm"} for row in rows[:8]]
    other = result(document("lobes", "quillmere_four_camshaft.csv", text=with_rows("", away)))
    assert {one.decision for one in other.verdicts} == {"reject"}


def test_limits_of_springs_by_share_and_by_uncertainty() -> None:
    bench = document("springs", "springs_quillmere_tray.csv", "springs_quillmere_spec.toml")
    row = meant("seat_force", ("spring",))
    assert row is not None
    (share,) = from_part(bench, [wish_of(row, "", "5 %", "metric")], "kinds", "inch")
    assert (share["nominal"], share["below"]) == ("55.3 lbf", "2.8 lbf")
    (some,) = from_part(bench, [wish_of(row, "", "6 N", "metric")], "kinds", "metric")
    assert (some["nominal"], some["above"]) == ("246.2 N", "6 N")
    (sure,) = from_part(bench, [wish_of(row, "", "3 u", "metric")], "kinds", "metric")
    greatest = max(one.standard_uncertainty or 0.0 for one in result(bench).verdicts if one.characteristic == row.name)
    assert float(sure["above"].removesuffix(" N")) == pytest.approx(3.0 * greatest, rel=0.05)
    each_one = from_part(bench, [wish_of(row, "", "10 N", "metric")], "each", "metric")
    assert len(each_one) == 64
    with pytest.raises(BadQuantity, match="a size above 0"):
        wish_of(row, "", "0", "metric")
    with pytest.raises(CannotEvaluate, match="nothing lies there"):
        from_part(document("springs"), [wish_of(row, "", "5 %", "metric")], "kinds", "metric")


def test_limits_of_a_cam_card() -> None:
    card = Card(106.0, 110.0, (CardDuration("1I", 1.27, 230.0), CardDuration("1E", 1.27, 234.0)))
    at_the_wheel = from_card(card, "phasing", "2")
    named = {(row["of"], row["nominal"]) for row in at_the_wheel}
    assert ("intake_centreline", "106 crank deg") in named
    assert ("exhaust_centreline", "110 crank deg") in named
    bench = document("phasing", "quillmere_four_degree_wheel.toml", text=with_rows("", at_the_wheel))
    at_once = bays.work_of("phasing").at_once
    assert at_once is not None
    verdicts = bays.work_of("phasing").result(at_once(bench, None)).verdicts
    assert [(one.characteristic, one.decision) for one in verdicts][:2] == [
        ("intake_centreline", "reject"),
        ("exhaust_centreline", "reject"),
    ]
    assert all(abs((one.measured or 0.0) - 108.0) < 3.0 for one in verdicts[:2]), "on the side that the card counts on"
    on_the_bench = from_card(card, "lobes", "2 crank deg")
    assert on_the_bench[0] == {
        "of": "lobe_separation",
        "nominal": "108 cam deg",
        "below": "1 cam deg",
        "above": "1 cam deg",
    }
    assert [row.get("lobes") for row in on_the_bench[1:]] == ["intake", "exhaust"]
    shaft = result(document("lobes", "quillmere_four_camshaft.csv", text=with_rows("", on_the_bench)))
    assert {one.decision for one in shaft.verdicts} == {"accept"}
    with pytest.raises(CannotEvaluate, match="nothing stands on it"):
        from_card(Card(), "phasing", "2")


def test_trouble_names_what_can_not_be_held_against_the_part() -> None:
    good = CAMSHAFT.read_text(encoding="utf-8")
    fine = document("lobes", "quillmere_four_camshaft.csv", text=without_envelopes(good))
    assert trouble(fine) == ""
    torn = document("lobes", "quillmere_four_camshaft.csv", text=good.replace("[[limit]]", "[[limit]", 1))
    assert trouble(torn).startswith("spec.toml: line ")
    unit = document("lobes", "quillmere_four_camshaft.csv", text='[[limit]]\nof = "max_lift"\nmax = "7 N"\n')
    assert trouble(unit).startswith("spec.toml, [[limit]] 1 max_lift max: found unit 'N'")
    gone = document("lobes", "quillmere_four_camshaft.csv", text=good)
    assert "no file 'quillmere_four_nominal_intake.csv'" in trouble(gone)
    springs = '[[limit]]\nof = "rate"\nmaximum = 3\n'
    assert trouble(document("lobes", "quillmere_four_camshaft.csv", text=springs)) == "", "no business of this bay"
    assert trouble(replace(document("springs", text=springs), bay="springs")) != ""


def without_envelopes(text: str) -> str:
    for _ in range(2):
        text = without_row(text, "envelope", 0)
    return text


def test_nominal_tables_are_found_from_where_a_spec_is_saved(tmp_path: Path) -> None:
    text = CAMSHAFT.read_text(encoding="utf-8")
    moved = text_for(text, str(CAMSHAFT), str(tmp_path / "spec.toml"))
    assert read(moved).envelope[0].nominal != read(text).envelope[0].nominal
    found = nominal_path(tmp_path / "spec.toml", read(moved).envelope[0])
    assert found.samefile(sample_profiles() / "quillmere_four_nominal_intake.csv")
    back = text_for(moved, str(tmp_path / "spec.toml"), str(CAMSHAFT))
    assert back == text
