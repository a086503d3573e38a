"""What became of a part: wear against a loss that was put there, forces against the springs' own, and what is left out.

The true values are those that the readings were made with; wear has to lie within three of its standard uncertainties.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from defusedxml.ElementTree import parse
from pypdf import PdfReader
from something import each
from stored import answer, lay_springs

from valvelab.cli.main import main
from valvelab.figures.history_figures import timeline_figure
from valvelab.records.records_result import HistoryPoint, HistoryRow

SAMPLES = Path(__file__).resolve().parent.parent / "sample_profiles"
SPEC = '[[limit]]\nof = "wear"\nmax = "0.04 mm"\n[[limit]]\nof = "max_lift"\nmin = "6.8 mm"\nclause = "7.3"\n'
NOISE_UM = 1.0


def lay_camshaft(folder: Path, name: str, date: str, worn_um: float, *lobes: str) -> Path:
    """The sample camshaft's lobes at every other degree, 1I worn on its opening flank; noise of its own each time."""
    lines = (SAMPLES / "quillmere_four_camshaft.csv").read_text(encoding="utf-8").splitlines()
    head = [line.replace("2026-03-14", date) for line in lines if line.startswith("#")]
    names = next(line for line in lines if line.startswith("angle")).split(",")
    table = np.array([line.split(",") for line in lines if line[0].isdigit()], dtype=float)[::4]
    angles = table[:, 0]
    noise = np.random.default_rng(int(date.replace("-", ""))).normal(scale=1e-3 * NOISE_UM, size=table.shape)
    table[:, 1:] += noise[:, 1:]
    column = {cell.split(" ")[0]: index for index, cell in enumerate(names)}
    nose = angles[np.argmax(table[:, column["1I"]])]
    off = (angles - nose + 25.0 + 180.0) % 360.0 - 180.0
    table[:, column["1I"]] -= 1e-3 * worn_um * np.where(np.abs(off) < 18.0, 0.5 + 0.5 * np.cos(np.pi * off / 18.0), 0.0)
    kept = [0, *(column[lobe] for lobe in lobes)]
    rows = [",".join(names[index] for index in kept)]
    rows += [",".join(f"{row[index]:.4f}" for index in kept) for row in table]
    file = folder / name
    file.write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def camshaft(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A store with a shaft measured three times, 1I having lost 0, 30 and 55 µm; of the second 1E was not read."""
    folder = tmp_path_factory.mktemp("camshaft")
    file = str(folder / "records.sqlite")
    spec = folder / "spec.toml"
    spec.write_text(SPEC, encoding="utf-8")
    for date, worn, lobes in (
        ("2024-02-01", 0.0, ("1I", "1E")),
        ("2025-02-01", 30.0, ("1I",)),
        ("2026-02-01", 55.0, ("1I", "1E")),
    ):
        readings = lay_camshaft(folder, f"{date}.csv", date, worn, *lobes)
        main(["records", "add", str(readings), "--spec", str(spec), "--store", file, "--quiet"])
    return file


def rows_of(found: dict[str, Any]) -> dict[tuple[str, str], list[dict[str, Any]]]:
    return {(row["characteristic"], row["item"]): row["points"] for row in found["rows"]}


def test_wear_is_what_was_lost(camshaft: str, capsys: pytest.CaptureFixture[str]) -> None:
    rows = rows_of(answer(capsys, "history", "Q4-017", "--store", camshaft))
    followed = [
        ("max_lift", "1I"), ("max_lift", "1E"), ("wear", "1I"), ("wear", "1E"), ("wear since the first", "1I"),
    ]  # fmt: skip
    assert list(rows) == followed
    truth = {("wear", "1I"): (30.0, 25.0), ("wear since the first", "1I"): (30.0, 55.0), ("wear", "1E"): (0.0,)}
    for key, losses in truth.items():
        for point, loss in zip(each(rows[key]), losses, strict=True):
            assert 0.0 < point["standard_uncertainty"] < 8.0
            assert abs(point["value"] - loss) < 3.0 * point["standard_uncertainty"], (key, point)
    ends = [(point["upper"], point["decision"]) for point in rows["wear since the first", "1I"]]
    assert ends == [(40.0, "accept"), (40.0, "reject")]
    first, _, last = rows["max_lift", "1I"]
    assert (first["lower"], first["decision"], first["date"], last["date"]) == (
        6.8,
        "accept",
        "2024-02-01",
        "2026-02-01",
    )


def test_wear_is_that_of_a_comparison(camshaft: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = [
        lay_camshaft(tmp_path, f"{day}.csv", day, loss, "1I")
        for day, loss in (("2024-02-01", 0.0), ("2025-02-01", 30.0))
    ]
    main(["compare", *map(str, files), "--json", "--quiet"])
    change = json.loads(capsys.readouterr().out)["lobes"][0]
    point = rows_of(answer(capsys, "history", "Q4-017", "--item", "1I", "--store", camshaft))["wear", "1I"][0]
    assert point["value"] == pytest.approx(change["wear_um"], abs=0.5)
    assert point["standard_uncertainty"] == pytest.approx(change["uncertainty"]["wear_um"], rel=0.1)


def test_what_can_not_be_compared_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # the later table holds the nose alone, under a third of the lobe
    file = str(tmp_path / "records.sqlite")
    whole = lay_camshaft(tmp_path, "whole.csv", "2025-01-01", 0.0, "1I")
    lines = whole.read_text(encoding="utf-8").splitlines()
    nose = max((line for line in lines if line[0].isdigit()), key=lambda line: float(line.split(",")[1]))
    middle = float(nose.split(",")[0])
    near = [line for line in lines if not line[0].isdigit() or abs(float(line.split(",")[0]) - middle) < 20.0]
    part = tmp_path / "part.csv"
    part.write_text("\n".join(near).replace("2025-01-01", "2026-01-01") + "\n", encoding="utf-8")
    for readings in (whole, part):
        answer(capsys, "add", str(readings), "--store", file)
    found = answer(capsys, "history", "Q4-017", "--store", file)
    (point,) = rows_of(found)["wear", "1I"]
    assert point["value"] is None
    assert "under a third of the lobe" in point["reason"]
    assert any("under a third of the lobe" in note["text"] for note in found["notes"])


def test_forces_over_the_lives_of_springs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(tmp_path / "records.sqlite")
    truth = {"2024-03-01": (247.0, 250.0), "2025-03-01": (241.0, 249.0), "2026-02-01": (226.0, 248.0)}
    for date, forces in truth.items():
        readings, spec = lay_springs(tmp_path, *forces, date=date)
        main(["records", "add", str(readings), "--spec", str(spec), "--store", file, "--quiet"])
    capsys.readouterr()
    rows = rows_of(answer(capsys, "history", "QF-S-2", "--store", file))
    for place, spring in enumerate(("Q01", "Q02")):
        points = rows["seat_force", spring]
        assert [point["date"] for point in points] == list(truth)
        assert [point["value"] for point in points] == pytest.approx(
            [forces[place] for forces in truth.values()], abs=0.2
        )
        assert [point["value"] for point in rows["rate", spring]] == pytest.approx([30.0] * 3, abs=0.05)
    ends = [(point["lower"], point["decision"]) for point in rows["seat_force", "Q01"]]
    assert ends == [(235.0, "accept"), (235.0, "accept"), (235.0, "reject")]
    assert {point["standard_uncertainty"] > 0.0 for point in rows["seat_force", "Q01"]} == {True}
    assert main(["records", "history", "QF-S-2", "--item", "Q01", "--store", file, "--units", "inch"]) == 0
    text = capsys.readouterr().out
    assert "lbf" in text
    assert "✗ rejected" in text
    assert "Q02" not in text


def test_corrected_and_repeated_records_count_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(tmp_path / "records.sqlite")
    readings, _ = lay_springs(tmp_path, 247.0)
    first = answer(capsys, "add", str(readings), "--store", file)["records"][0]
    again = answer(capsys, "add", str(readings), "--store", file)["records"][0]
    found = answer(capsys, "history", "QF-S-2", "--store", file)
    assert [point["record"] for point in rows_of(found)["seat_force", "Q01"]] == [again["id"]]
    assert any("rest on the same readings" in note["text"] for note in found["notes"])
    words = ["add", str(readings), "--corrects", again["id"], "--reason", "another customer's", "--customer", "lake"]
    right = answer(capsys, *words, "--store", file)["records"][0]
    found = answer(capsys, "history", "QF-S-2", "--store", file)
    assert {row["id"] for row in found["records"]} == {first["id"], right["id"]}
    assert answer(capsys, "history", "QF-S-2", "--customer", "lake", "--store", file)["records"][0]["id"] == right["id"]


def test_two_parts_of_one_number_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(tmp_path / "records.sqlite")
    for force, part in ((247.0, "club springs"), (300.0, "lake springs")):
        readings, _ = lay_springs(tmp_path, force)
        answer(capsys, "add", str(readings), "--part", part, "--store", file)
    notes = answer(capsys, "history", "QF-S-2", "--store", file)["notes"]
    assert any("club springs, lake springs; are they one part?" in note["text"] for note in notes)
    found = answer(capsys, "history", "QF-S-2", "--part", "lake springs", "--store", file)
    assert len(rows_of(found)["seat_force", "Q01"]) == 1
    assert main(["records", "history", "nobody's", "--store", file]) == 3


def test_straightness_of_a_shaft(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(tmp_path / "records.sqlite")
    words = [str(SAMPLES / "club_four_journals.csv"), "--spec", str(SAMPLES / "club_four_shaft_spec.toml")]
    main(["records", "add", *words, "--store", file, "--quiet"])
    main(["shaft", *words, "--json", "--quiet"])
    shaft = json.loads(capsys.readouterr().out.partition("\n{")[2].join(["{", ""]))
    rows = rows_of(answer(capsys, "history", "Q4-017", "--store", file))
    point = rows["straightness", "shaft"][0]
    assert point["value"] == shaft["straightness"]["minimum_zone_um"]
    verdict = next(row for row in shaft["verdicts"] if row["characteristic"] == "straightness")
    assert (point["upper"], point["decision"]) == (verdict["upper"], verdict["decision"])
    assert {item for name, item in rows if name == "tir"} == {row["station"] for row in shaft["stations"]}


def test_wear_is_that_of_corrected_readings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # a card that says the indicator reads 4 % too much: less was lost than it read
    file, points = str(tmp_path / "records.sqlite"), [0.0, 2.0, 4.0, 6.0, 8.0]
    rows = [
        f'[[point]]\ntrue = "{true} mm"\nreadings = ["{1.04 * true:.4f} mm"]\nuncertainty = "0.1 um"' for true in points
    ]
    card = "\n".join(['name = "probe"', 'unit = "mm"', 'resolution = "0.1 um"', *rows])
    (tmp_path / "card.toml").write_text(card + "\n", encoding="utf-8")
    for date, worn in (("2024-02-01", 0.0), ("2025-02-01", 300.0)):
        readings = lay_camshaft(tmp_path, f"{date}.csv", date, worn, "1I")
        part = f'[[part]]\ninspect = "lobes"\nfile = "{readings.name}"\ninstrument = "card.toml"\n'
        (tmp_path / "job.toml").write_text(part, encoding="utf-8")
        answer(capsys, "add", str(tmp_path / "job.toml"), "--store", file)
    rows_found = rows_of(answer(capsys, "history", "Q4-017", "--store", file))
    first = rows_found["max_lift", "1I"][0]
    main(["lobes", str(tmp_path / "2024-02-01.csv"), "--json", "--quiet"])
    read = json.loads(capsys.readouterr().out)["lobes"][0]["max_lift_mm"]
    assert first["value"] == pytest.approx(read / 1.04, abs=2e-4)
    (point,) = rows_found["wear", "1I"]
    assert point["standard_uncertainty"] < 3.0, "else 4 % of it, 12 µm, would not show"
    assert abs(point["value"] - 300.0 / 1.04) < 3.0 * point["standard_uncertainty"]


def test_stages_of_one_record_are_lives_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file, truth = str(tmp_path / "records.sqlite"), {"2024-03-01": 247.0, "2025-03-01": 240.0}
    for date, force in truth.items():
        readings, spec = lay_springs(tmp_path, force, date=date)
        readings.rename(tmp_path / f"{date}.csv")
    first, last = (f"{date}.csv" for date in truth)
    part = f'[[part]]\ninspect = "springs"\nfile = "{first}"\nlater = ["{last}"]\nspec = "{spec.name}"\n'
    (tmp_path / "job.toml").write_text(part, encoding="utf-8")
    (record,) = answer(capsys, "add", str(tmp_path / "job.toml"), "--store", file)["records"]
    assert record["date"] == "2025-03-01"
    assert {row["name"] for row in record["files"] if row["role"] == "readings"} == {first, last}
    points = rows_of(answer(capsys, "history", "QF-S-2", "--store", file))["seat_force", "Q01"]
    assert {point["date"]: point["value"] for point in points} == pytest.approx(truth, abs=0.2)
    assert [point["decision"] for point in points] == [None, "accept"]


def test_a_plot_of_the_worst_lobe(camshaft: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    drawing, page, picture = (tmp_path / f"wear.{ending}" for ending in ("svg", "pdf", "png"))
    for file in (drawing, page, picture):
        assert main(["records", "history", "Q4-017", "--store", camshaft, "--plot", str(file), "--quiet"]) == 0
    svg = parse(drawing).getroot()
    said = [text.text for text in svg.iter("{http://www.w3.org/2000/svg}text")]
    assert {"wear since the first of 1I, µm", "upper limit", "2025-02-01", "2026-02-01", "± 2 u"} <= set(said)
    assert all(0.0 <= float(text.get("x", "nan")) <= 511.0 for text in svg.iter("{http://www.w3.org/2000/svg}text"))
    assert [name for name in said if name in PdfReader(page).pages[0].extract_text()] == said
    assert picture.read_bytes().startswith(b"\x89PNG\r\n")
    capsys.readouterr()
    assert main(["records", "history", "Q4-017", "--store", camshaft, "--plot", str(tmp_path / "wear.gif")]) == 2
    assert "expected .svg, .png, .pdf" in capsys.readouterr().err


def test_the_timeline_says_values_limits_and_what_is_overdue() -> None:
    life = (("2024-03-01", 247.0, False), ("2025-03-01", 241.0, False), ("2026-03-20", 230.0, True))
    points = tuple(
        HistoryPoint(
            record=day,
            date=day,
            value=value,
            standard_uncertainty=0.5,
            lower=235.0,
            out_of_calibration=overdue,
            decision="accept" if value > 235.0 else "reject",
        )
        for day, value, overdue in life
    )
    row = HistoryRow(inspect="springs", characteristic="seat_force", item="Q01", unit="N", points=points)
    other = row.model_copy(update={"item": "Q02"})
    figure = timeline_figure([other, row], "Q01")
    assert figure is not None
    drawn = {curve.label or curve.role: curve for curve in figure.curves}
    assert drawn["measured"].y.tolist() == [247.0, 241.0, 230.0]
    assert np.diff(drawn["measured"].x).tolist() == [365.0, 384.0]
    ends = drawn["± 2 u"].y[np.isfinite(drawn["± 2 u"].y)]
    assert ends.tolist() == [246.0, 248.0, 240.0, 242.0, 229.0, 231.0]
    assert [(guide.value, guide.label) for guide in figure.guides] == [(235.0, "lower limit")]
    assert [mark.role for mark in figure.marks if not mark.bare] == ["accept", "accept", "reject"]
    assert [mark.texts for mark in figure.marks if mark.bare] == [("calibration overdue",)]
    moved = points[2].model_copy(update={"lower": 228.0})
    figure = timeline_figure([row.model_copy(update={"points": (*points[:2], moved)})], "Q01")
    assert figure is not None
    assert not figure.guides
    (held,) = (curve for curve in figure.curves if curve.label == "lower limit")
    assert held.y.tolist() == [235.0, 235.0, 228.0]
    assert timeline_figure([row], "Q09") is None


def test_records_are_compared_by_name(camshaft: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    records = answer(capsys, "list", "--store", camshaft)["records"]
    names = [record["id"][:8] for record in reversed(records)]
    assert main(["compare", names[0], names[2], "--store", camshaft, "--json", "--quiet"]) == 0
    told = capsys.readouterr().out
    lobe = json.loads(told)["lobes"][0]
    history = rows_of(answer(capsys, "history", "Q4-017", "--store", camshaft))
    assert lobe["wear_um"] == pytest.approx(history["wear since the first", "1I"][1]["value"])
    assert [source["file"] for source in json.loads(told)["source"]] == [
        f"{records[number]['id'][:12]}.valvejob" for number in (2, 0)
    ]
    assert str(tmp_path.parent) not in told
    assert main(["compare", names[0], "deadbeef", "--store", camshaft]) == 3
    assert "deadbeef: found no record of that name" in capsys.readouterr().err
    assert main(["compare", names[0], "missing.csv", "--store", camshaft]) == 3
    assert "missing.csv: found no such file" in capsys.readouterr().err
    other, _ = lay_springs(tmp_path, 247.0)
    assert main(["compare", names[0], str(other), "--store", camshaft]) == 3
    said = capsys.readouterr().err
    assert f"{records[2]['id'][:12]}.valvejob, 2024-02-01.csv holds a lift table" in said
    assert "valvelab-records-" not in said
