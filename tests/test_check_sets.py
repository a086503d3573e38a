"""Sets found earlier are checked, not searched again: a slow machine never calls a true paper false."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from papers import carried_files, with_files
from spring_cases import FREE, RATE, SOLID, bench_force, write_readings

from valvelab.cli.main import main
from valvelab.errors import CannotEvaluate
from valvelab.inspection.springs import check_sets as checking
from valvelab.inspection.springs import sets as inspecting
from valvelab.inspection.springs.check_sets import StatedSets, check_sets
from valvelab.inspection.springs.inspect import SpringsQuestion
from valvelab.inspection.springs.sets import PositionWish, SetsQuestion, inspect_sets
from valvelab.job import sets
from valvelab.job.verify import verify_bytes

HEIGHTS = np.array([40.0, 38.0, 36.0, 34.0, 32.0, 30.0, 28.0, 27.0, 26.6, 26.5, 26.3, 26.1])
WITHIN = ("--size", "4", "--within", "seat_force=6 N", "--within", "rate=0.6 N/mm")


@pytest.fixture(scope="module")
def tray(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twenty-four springs with scattered lengths and rates."""
    chance = np.random.default_rng(5)
    springs = {
        f"s{number}": (
            HEIGHTS,
            bench_force(
                HEIGHTS, free=FREE + chance.normal(0.0, 0.08), solid=SOLID, rate=RATE + chance.normal(0.0, 0.2)
            ),
        )
        for number in range(24)
    }
    stated = ("installed height: 38.0 mm", "valve lift: 10.6 mm")
    return write_readings(tmp_path_factory.mktemp("tray") / "tray.csv", springs, *stated)


@pytest.fixture(scope="module")
def question(tray: Path) -> SetsQuestion:
    from valvelab.files.spring_readings import read_spring_readings

    within = {"seat_force": 6.0, "rate": 0.6}
    return SetsQuestion(SpringsQuestion(read_spring_readings(tray)), 4, within, time_limit_s=60.0, thorough=True)


@pytest.fixture(scope="module")
def found(question: SetsQuestion) -> StatedSets:
    result = inspect_sets(question).result
    assert len(result.sets) > 2
    sets = tuple((one.position or "", one.springs) for one in result.sets)
    return StatedSets(sets, result.bound_sets, result.bound_total_spread)


@pytest.fixture(autouse=True)
def a_short_try(monkeypatch: pytest.MonkeyPatch) -> None:
    """Bounds here are broken at once or not at all."""
    monkeypatch.setattr(checking, "TRIED_S", 0.3)


def faults(question: SetsQuestion, stated: StatedSets) -> list[str]:
    """What the check says beyond what it says of the sets as they were found."""
    clean = check_sets(question, replace(stated)).result.notes
    return [f"{note.about}: {note.text}" for note in clean if note.about.startswith(("set ", "s"))]


def test_a_checked_answer_is_the_answer(question: SetsQuestion, found: StatedSets) -> None:
    searched, checked = inspect_sets(question).result, check_sets(question, found).result
    assert checked.sets == searched.sets
    assert checked.notes == searched.notes
    assert checked.left_over == searched.left_over
    assert checked.total_spread == pytest.approx(searched.total_spread, rel=1e-12)
    assert (checked.number_proven, checked.spread_proven) == (searched.number_proven, searched.spread_proven)


@pytest.mark.parametrize("starved", ["written", "verified", "both"])
def test_a_starved_clock_never_makes_a_true_paper_false(
    tray: Path, tmp_path: Path, starved: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The search stopped at once: few sets and wide bounds, or a search that now finds less than the paper has."""
    real = inspecting.watch_of
    late = replace(inspecting.Watch(), seconds_left=lambda: 0.0)
    target = tmp_path / "c.pdf"
    if starved != "verified":
        monkeypatch.setattr(inspecting, "watch_of", lambda *_: late)
    assert main(["sets", str(tray), *WITHIN, "--out", str(target), "--quiet"]) == 0
    result = json.loads(carried_files(target)["result-1-sets.json"])
    assert result["proven_optimal"] is (starved == "verified")
    monkeypatch.setattr(inspecting, "watch_of", real)
    if starved != "written":
        monkeypatch.setattr(inspecting, "watch_of", lambda *_: late)
        monkeypatch.setattr(checking, "TRIED_S", 0.0)
    answer = verify_bytes(target.read_bytes(), "c.pdf")
    assert (answer.agrees, answer.drawn_page_agrees) == (True, True)


def test_verify_does_not_search(tray: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "c.pdf"
    assert main(["sets", str(tray), *WITHIN, "--time-limit", "1", "--out", str(target), "--quiet"]) == 0
    monkeypatch.setattr(sets, "inspect_sets", None)
    assert main(["verify", str(target), "--quiet"]) == 0


def test_a_set_over_a_limit_is_told(question: SetsQuestion, found: StatedSets) -> None:
    loose = replace(question, within={"seat_force": 6.0, "rate": 1e-3})
    assert any("over a limit" in text for text in faults(loose, found))


def test_a_spring_in_two_sets_is_told(question: SetsQuestion, found: StatedSets) -> None:
    (place, first), (_, second), *rest = found.sets
    double = replace(found, sets=((place, first), (place, (first[0], *second[1:])), *rest))
    assert f"{first[0]}: in 2 places" in faults(question, double)


def test_a_set_of_another_size_is_told(question: SetsQuestion, found: StatedSets) -> None:
    (place, first), *rest = found.sets
    assert any("3 springs" in text for text in faults(question, replace(found, sets=((place, first[1:]), *rest))))


@pytest.mark.parametrize("name", ["nobody", ""])
def test_a_spring_that_is_not_there_is_refused(question: SetsQuestion, found: StatedSets, name: str) -> None:
    (place, first), *rest = found.sets
    with pytest.raises(CannotEvaluate):
        check_sets(question, replace(found, sets=((place, (name, *first[1:])), *rest)))


def test_bounds_that_are_broken_are_told(question: SetsQuestion, found: StatedSets) -> None:
    fewer = replace(found, sets=found.sets[:-1], bound_sets=len(found.sets) - 1)
    assert any("sets are possible, more than the bound" in text for text in faults(question, fewer))
    more = replace(found, bound_sets=len(found.sets) - 1)
    assert any("sets, more than the bound" in text for text in faults(question, more))
    tight = replace(found, bound_total_spread=1e6)
    assert any("below the bound" in text for text in _about(question, tight, "total_spread"))


def _about(question: SetsQuestion, stated: StatedSets, about: str) -> list[str]:
    return [note.text for note in check_sets(question, stated).result.notes if note.about == about]


def test_conditions_that_are_broken_are_told(question: SetsQuestion, found: StatedSets) -> None:
    (_, first), (_, second), *_ = found.sets
    apart = replace(question, apart=((first[0], first[1]),))
    assert any("which stay apart" in text for text in faults(apart, found))
    together = replace(question, together=((first[0], second[0]),), within={"seat_force": 60.0, "rate": 60.0})
    assert any("parts springs that stay together" in text for text in faults(together, found))


def test_positions_are_kept(question: SetsQuestion) -> None:
    wishes = (PositionWish("intake", 3, {"seat_force": (200.0, 300.0)}), PositionWish("exhaust", 2))
    asked = replace(question, positions=wishes, size=5)
    result = inspect_sets(asked).result
    sets = tuple((one.position or "", one.springs) for one in result.sets)
    stated = StatedSets(sets, result.bound_sets, result.bound_total_spread)
    assert check_sets(asked, stated).result.notes == result.notes
    elsewhere = replace(asked, positions=(replace(wishes[0], between={"seat_force": (0.0, 1.0)}), wishes[1]))
    assert any("outside what intake asks for" in text for text in faults(elsewhere, stated))
    assert any("for each position" in text for text in faults(asked, replace(stated, sets=sets[1:])))


def test_sets_changed_on_paper_are_seen(tray: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "c.pdf"
    assert main(["sets", str(tray), *WITHIN, "--time-limit", "1", "--out", str(target), "--quiet"]) == 0
    result = json.loads(carried_files(target)["result-1-sets.json"])
    one, other = result["sets"][0]["springs"], result["sets"][1]["springs"]
    one[0], other[0] = other[0], one[0]
    forged = with_files(target, tmp_path / "f.pdf", {"result-1-sets.json": json.dumps(result).encode()})
    capsys.readouterr()
    assert main(["verify", str(forged)]) == 1
    assert "result-1-sets.sets[0]" in capsys.readouterr().out


@pytest.mark.parametrize("sets", [None, 3, [3], [{"springs": ["s0"]}], [{"springs": None, "position": None}]])
def test_sets_that_are_none_are_refused(tray: Path, tmp_path: Path, sets: object) -> None:
    target = tmp_path / "c.pdf"
    assert main(["sets", str(tray), *WITHIN, "--time-limit", "1", "--quick", "--out", str(target), "--quiet"]) == 0
    result = {**json.loads(carried_files(target)["result-1-sets.json"]), "sets": sets}
    forged = with_files(target, tmp_path / "f.pdf", {"result-1-sets.json": json.dumps(result).encode()})
    assert main(["verify", str(forged)]) == 3
