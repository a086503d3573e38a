"""Certificates of springs, sets and shims: what they say, that they agree with the command, that they verify."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader
from spring_cases import FREE, RATE, SOLID, bench_force, write_readings

from valvelab.cli.main import main
from valvelab.places import sample_profiles

POUND_FORCE_N = 4.4482216152605  # exact by definition
HEIGHTS = np.array([40.0, 38.0, 36.0, 34.0, 32.0, 30.0, 28.0, 27.0, 26.6, 26.5, 26.3, 26.1])
WITHIN = ("--size", "2", "--within", "seat_force=4 N")


@pytest.fixture
def tray(tmp_path: Path) -> Path:
    """Straight springs of 30 N/mm: pairs 3 N apart, the pairs 30 N apart, and one between."""
    offsets = {"a": 0.0, "b": 3.0, "c": 33.0, "d": 36.0, "odd": 18.0}
    springs = {
        name: (HEIGHTS, bench_force(HEIGHTS, free=FREE + offset / RATE, solid=SOLID))
        for name, offset in offsets.items()
    }
    stated = ("part: invented tray", "serial: T-5", "installed height: 38.0 mm", "valve lift: 10.6 mm")
    return write_readings(tmp_path / "tray.csv", springs, *stated)


@pytest.fixture
def spec(tmp_path: Path) -> Path:
    path = tmp_path / "spec.toml"
    path.write_text('title = "pairs"\n[[limit]]\nof = "seat_force"\nmin = "250 N"\n', encoding="utf-8")
    return path


def words(path: Path) -> str:
    return " ".join(page.extract_text() for page in PdfReader(path).pages)


def carried(path: Path) -> dict[str, object]:
    found = PdfReader(path).attachments
    return dict(json.loads(next(parts[0] for name, parts in found.items() if name.startswith("result"))))


def test_a_tray_s_certificate(tray: Path, spec: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "c.pdf"
    assert main(["springs", str(tray), "--spec", str(spec), "--out", str(target), "--quiet"]) == 1
    text = words(target)
    assert "Valve springs: measurement certificate" in text
    assert "Rejected" in text
    assert "T-5" in text
    # plain mechanics: 30 N/mm over 46 − 38 mm is 240 N, over 46 − 27.4 mm 558 N
    assert "240.0" in text
    assert "558.0" in text
    assert {"tray.csv", "spec.toml"} <= set(PdfReader(target).attachments)
    capsys.readouterr()
    assert main(["verify", str(target)]) == 0
    assert "agrees" in capsys.readouterr().out


def test_one_reading_of_one_spring_has_a_certificate(tmp_path: Path) -> None:
    single = write_readings(tmp_path / "one.csv", {"a": (np.array([38.0]), np.array([240.0]))})
    target = tmp_path / "c.pdf"
    assert main(["springs", str(single), "--out", str(target), "--quiet"]) in {0, 1}
    text = words(target)
    assert "240" in text
    assert "Force over height" in text, "a curve of one height is drawn too"


def test_the_spec_is_among_the_sources(tray: Path, spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["springs", str(tray), "--spec", str(spec), "--json", "--quiet"]) == 1
    sources = json.loads(capsys.readouterr().out)["source"]
    assert [Path(row["file"]).name for row in sources] == ["tray.csv", "spec.toml"]


def test_the_certificate_of_matched_sets(tray: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "c.pdf"
    assert main(["sets", str(tray), *WITHIN, "--out", str(target), "--quiet"]) == 0
    text = words(target)
    assert "2 sets of 2, 1 spring left over. No arrangement gives 3." in text
    assert "a, b" in text
    assert "c, d" in text
    assert "Left over: odd" in text
    capsys.readouterr()
    assert main(["verify", str(target)]) == 0


def test_the_certificate_in_inches_converts_exactly(tray: Path, tmp_path: Path) -> None:
    target = tmp_path / "c.pdf"
    assert main(["sets", str(tray), *WITHIN, "--units", "inch", "--out", str(target), "--quiet"]) == 0
    text = words(target)
    assert f"{241.5 / POUND_FORCE_N:.2f}" in text  # mean of 240 and 243 N
    assert f"{3.0 / POUND_FORCE_N:.2f}" in text
    assert "largest range in a set seat force 0.8992 lbf" in " ".join(text.split())


def test_sets_made_by_hand_are_described(tray: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "c.pdf"
    given = ("--set", "a,b", "--set", "c,odd")
    assert main(["sets", str(tray), *WITHIN, *given, "--json", "--quiet"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert [one["springs"] for one in answer["sets"]] == [["a", "b"], ["c", "odd"]]
    assert answer["left_over"] == ["d"]
    assert answer["sets"][1]["spread"]["seat_force_n"] == pytest.approx(15.0, abs=1e-3)
    assert answer["total_spread"] == pytest.approx((3.0 + 15.0) / 4.0, abs=1e-3)
    assert answer["proven_optimal"] is False
    assert answer["bound_sets"] == 2
    assert any(row["about"] == "set 2" and "over the limit" in row["text"] for row in answer["notes"])
    assert main(["sets", str(tray), *WITHIN, *given, "--out", str(target), "--quiet"]) == 0
    assert main(["verify", str(target)]) == 0


def test_described_sets_agree_with_matched_ones(tray: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["sets", str(tray), *WITHIN, "--json", "--quiet"])
    matched = json.loads(capsys.readouterr().out)
    given = [word for one in matched["sets"] for word in ("--set", ",".join(one["springs"]))]
    main(["sets", str(tray), *WITHIN, *given, "--json", "--quiet"])
    described = json.loads(capsys.readouterr().out)
    for key in ("sets", "left_over", "values"):
        assert described[key] == matched[key]
    assert described["total_spread"] == pytest.approx(matched["total_spread"])


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("--set", "a,nobody"), "there is no spring 'nobody'"),
        (("--set", "a,b", "--set", "b,c"), "spring 'b' twice, expected each once"),
        (("--set", ","), "expected 1 springs or more"),
    ],
)
def test_sets_that_can_not_be_described(
    tray: Path, given: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["sets", str(tray), *WITHIN, *given]) == 2
    error = capsys.readouterr().err.strip()
    assert said in error
    assert "\n" not in error


def test_the_certificate_of_a_shim_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    samples = sample_profiles()
    target = tmp_path / "c.pdf"
    files = [str(samples / f"springs_quillmere_{name}") for name in ("tray.csv", "heights.csv")]
    assert main(["shims", files[0], "--heights", files[1], "--out", str(target), "--quiet"]) == 0
    text = words(target)
    assert "Spring shim plan: measurement certificate" in text
    result = carried(target)
    rows = result["positions"]
    assert isinstance(rows, list)
    assert len(rows) == 8
    for row in rows:
        assert f"{row['seat_force_n']:.2f}" in text
        assert row["position"] in text
    assert "springs_quillmere_heights.csv" in PdfReader(target).attachments
    capsys.readouterr()
    assert main(["verify", str(target)]) == 0
    assert "agrees" in capsys.readouterr().out
