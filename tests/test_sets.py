"""Matched sets: against every possible grouping on small trays, against the plain programme, and as a user calls it."""

from __future__ import annotations

import json
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp
from spring_cases import bench_force, write_readings

from valvelab.arrays import FloatArray
from valvelab.cli.main import main
from valvelab.errors import CannotEvaluate
from valvelab.places import sample_profiles
from valvelab.records.sets_result import SetsResult
from valvelab.sets.match import MatchedSets, best_cuts, match
from valvelab.sets.tray import Position, Progress, Tray, Watch, tray

Groups = tuple[tuple[int, ...], ...]


def by_trying_everything(
    values: FloatArray, limits: FloatArray, size: int, together: Groups = (), apart: Groups = ()
) -> tuple[int, float]:
    """Most sets and least total spread, by recursion over all groupings."""
    possible: dict[int, list[tuple[int, float]]] = {}
    for chosen in combinations(range(len(values)), size):
        ranges = np.ptp(values[list(chosen)], axis=0)
        torn = any(0 < len(set(chosen) & set(group)) < len(group) for group in together)
        joined = any(set(pair) <= set(chosen) for pair in apart)
        if (ranges <= limits * (1 + 1e-12)).all() and not torn and not joined:
            possible.setdefault(chosen[0], []).append((sum(1 << i for i in chosen), float((ranges / limits).sum())))

    @cache
    def best(i: int, used: int) -> tuple[int, float]:
        if i == len(values):
            return 0, 0.0
        answer = best(i + 1, used)
        for mask, cost in possible.get(i, []):
            if not (mask | 1 << i) & used:
                count, gain = best(i + 1, used | mask)
                answer = max(answer, (count + 1, gain - cost))
        return answer

    count, gain = best(0, 0)
    return count, -gain


def problem(values: FloatArray, limits: FloatArray, size: int, **conditions: Any) -> Tray:
    return tray(tuple(f"S{i}" for i in range(len(values))), values, limits, size, **conditions)


def check(answer: MatchedSets, asked: Tray) -> None:
    """Every set keeps its limits and no spring is used twice."""
    used = [spring for one in answer.sets for spring in one.springs]
    assert len(used) == len(set(used))
    assert sorted([*used, *answer.left_over]) == list(range(len(asked.names)))
    for one in answer.sets:
        assert (np.ptp(asked.values[list(one.springs)], axis=0) <= asked.limits * (1 + 1e-9)).all()
        assert np.allclose(one.spread, np.ptp(asked.values[list(one.springs)], axis=0))
    total = sum(float((one.spread / asked.limits).sum()) for one in answer.sets)
    assert answer.total_spread == pytest.approx(total, abs=1e-9)


@settings(max_examples=40)
@given(st.data())
def test_small_trays_against_every_grouping(data: st.DataObject) -> None:
    size = data.draw(st.integers(2, 4))
    count = data.draw(st.integers(size, 11))
    characteristics = data.draw(st.integers(1, 3))
    generator = np.random.default_rng(data.draw(st.integers(0, 10**6)))
    values = generator.normal(size=(count, characteristics))
    limits = generator.uniform(0.6, 2.5, size=characteristics)
    asked = problem(values, limits, size)
    answer = match(asked)
    check(answer, asked)
    most, least = by_trying_everything(values, limits, size)
    assert (len(answer.sets), answer.bound_sets) == (most, most)
    assert answer.total_spread == pytest.approx(least, abs=1e-6)
    assert answer.proven_optimal


@settings(max_examples=25)
@given(st.integers(5, 10), st.integers(2, 3), st.integers(0, 10**6))
def test_springs_kept_together_or_apart(count: int, size: int, seed: int) -> None:
    generator = np.random.default_rng(seed)
    values = generator.normal(size=(count, 2))
    limits = np.array([2.0, 2.2])
    together, apart = ((0, 1),), ((2, 3), (3, 4))
    asked = problem(values, limits, size, together=together, apart=apart)
    answer = match(asked)
    check(answer, asked)
    most, least = by_trying_everything(values, limits, size, together, apart)
    assert len(answer.sets) == answer.bound_sets == most
    assert answer.total_spread == pytest.approx(least, abs=1e-6)
    assert answer.proven_optimal
    for one in answer.sets:
        assert len({0, 1} & set(one.springs)) != 1
        assert not {2, 3} <= set(one.springs)


def test_equal_values_and_values_on_the_limit() -> None:
    values = np.array([[0.0], [0.1], [0.2], [0.3], [0.3], [0.3]])
    answer = match(problem(values, np.array([0.2]), 3))
    assert len(answer.sets) == 2
    assert answer.total_spread == pytest.approx(1.0)
    assert answer.proven_optimal
    nothing = match(problem(np.arange(5.0)[:, None], np.array([0.5]), 2))
    assert (len(nothing.sets), nothing.total_spread, nothing.proven_optimal) == (0, 0.0, True)
    assert nothing.left_over == (0, 1, 2, 3, 4)


@given(st.lists(st.floats(0, 20), min_size=2, max_size=14), st.integers(2, 4), st.floats(0.5, 8))
def test_one_characteristic_by_the_sorted_order(values: list[float], size: int, limit: float) -> None:
    column = np.array(values)[:, None]
    sets = best_cuts(column, np.array([limit]), size, 0).sets
    most, least = by_trying_everything(column, np.array([limit]), size)
    assert len(sets) == most
    total = sum(float(np.ptp(column[list(chosen)])) / limit for _, chosen in sets)
    assert total == pytest.approx(least, abs=1e-6)


def test_positions_take_springs_between_their_values() -> None:
    generator = np.random.default_rng(6)
    values = np.concatenate([400 + generator.normal(0, 2, 12), 450 + generator.normal(0, 2, 7)])[:, None]
    positions = (
        Position("intake", 4, np.array([390.0]), np.array([410.0])),
        Position("exhaust", 3, np.array([440.0]), np.array([460.0])),
    )
    answer = match(problem(values, np.array([12.0]), 7, positions=positions))
    # 12 intake springs would give three sets, 7 exhaust springs give two: two engines
    assert [one.position for one in answer.sets] == ["exhaust", "exhaust", "intake", "intake"]
    assert answer.bound_sets == 4
    assert answer.number_proven
    for one in answer.sets:
        centre = values[list(one.springs), 0].mean()
        assert (centre < 425.0) == (one.position == "intake")


def test_more_sets_than_the_hand_method_and_as_many_as_the_plain_programme() -> None:
    """An independent exact method: a binary for every spring and set, ranges by auxiliary bounds."""
    generator = np.random.default_rng(14)
    values = np.c_[400 + 3 * generator.normal(size=18), 40 + 0.5 * generator.normal(size=18)]
    limits, size = np.array([4.0, 0.7]), 3
    answer = match(problem(values, limits, size))
    assert answer.number_proven
    assert len(answer.sets) >= sorted_cuts(values, limits, size)
    assert len(answer.sets) == plain_programme(values, limits, size)


def sorted_cuts(values: FloatArray, limits: FloatArray, size: int) -> int:
    """The hand method: sort by the first characteristic, cut into runs, count those within limits."""
    order = np.argsort(values[:, 0], kind="stable")
    sets = start = 0
    while start + size <= order.size:
        fits = bool((np.ptp(values[order[start : start + size]], axis=0) <= limits).all())
        sets += fits
        start += size if fits else 1
    return sets


def plain_programme(values: FloatArray, limits: FloatArray, size: int) -> int:
    """Most sets by assigning springs to sets: two springs whose difference exceeds a limit never share one."""
    n = len(values)
    m = n // size
    clash = [(i, j) for i, j in combinations(range(n), 2) if (abs(values[i] - values[j]) > limits).any()]
    rows, lower, upper = [], [], []
    for j in range(m):
        row = np.zeros(n * m + m)
        row[[i * m + j for i in range(n)]] = 1.0
        row[n * m + j] = -size
        rows.append(row)
        lower.append(0.0)
        upper.append(0.0)
        for a, b in clash:
            row = np.zeros(n * m + m)
            row[[a * m + j, b * m + j]] = 1.0
            rows.append(row)
            lower.append(0.0)
            upper.append(1.0)
    for i in range(n):
        row = np.zeros(n * m + m)
        row[i * m : i * m + m] = 1.0
        rows.append(row)
        lower.append(0.0)
        upper.append(1.0)
    cost = np.concatenate([np.zeros(n * m), -np.ones(m)])
    constraint = LinearConstraint(np.array(rows), np.array(lower), np.array(upper))
    return round(-milp(cost, constraints=constraint, integrality=np.ones(cost.size), bounds=Bounds(0, 1)).fun)


def medium_tray() -> Tray:
    generator = np.random.default_rng(21)
    values = np.c_[400 + 4 * generator.normal(size=64), 40 + 0.4 * generator.normal(size=64)]
    return problem(values, np.array([9.0, 0.9]), 16)


def test_the_same_tray_gives_the_same_sets() -> None:
    first, second = match(medium_tray()), match(medium_tray())
    check(first, medium_tray())
    assert [one.springs for one in first.sets] == [one.springs for one in second.sets]
    assert first.number_proven
    assert first.bound_total_spread <= first.total_spread + 1e-9


def test_progress_is_reported_and_a_cancel_keeps_the_best() -> None:
    heard: list[Progress] = []
    match(medium_tray(), Watch(report=heard.append))
    assert heard[0].stage == "sets"
    assert heard[0].bound_sets is not None
    assert any(progress.total_spread is not None for progress in heard)
    stopped = match(medium_tray(), Watch(cancelled=lambda: True))
    check(stopped, medium_tray())
    assert len(stopped.sets) <= stopped.bound_sets
    assert stopped.bound_total_spread <= stopped.total_spread
    assert not stopped.spread_proven


def test_contradictions_are_refused() -> None:
    values = np.zeros((4, 1))
    with pytest.raises(CannotEvaluate, match="both together and apart"):
        match(problem(values, np.array([1.0]), 2, together=((0, 1),), apart=((0, 1),)))
    with pytest.raises(CannotEvaluate, match="expected 2 to 32"):
        problem(values, np.array([1.0]), 33)


# -- the command ---------------------------------------------------------------------------------------------------


def call(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    code = main(["sets", *(str(word) for word in words)])
    out, err = capsys.readouterr()
    return code, out, err


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    heights = np.array([40.0, 38.0, 34.0, 30.0, 28.0])
    springs = {
        f"P{i}": (heights, bench_force(heights, free=46.0 + shift, rate=30.0 + turn))
        for i, (shift, turn) in enumerate([(0, 0), (0.05, 0), (0.4, 0), (0.45, 0), (0, 1), (0.02, 1), (0.4, 1), (3, 3)])
    }
    return write_readings(tmp_path / "tray.csv", springs, "installed height: 38 mm", "valve lift: 9 mm")


def test_pairs_by_seat_force_and_rate(readings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = (readings, "--size", 2, "--within", "seat_force=3 N", "--within", "rate=0.5 N/mm")
    code, out, _ = call(capsys, *words, "--json")
    document = json.loads(out)
    SetsResult.model_validate(document)
    assert code == 0
    assert sorted(tuple(one["springs"]) for one in document["sets"]) == [("P0", "P1"), ("P2", "P3"), ("P4", "P5")]
    assert document["left_over"] == ["P6", "P7"]
    assert document["proven_optimal"]
    assert document["bound_sets"] == 3
    assert document["within"] == {"seat_force_n": 3.0, "rate_n_per_mm": 0.5}
    # plain mechanics: 30 N/mm × 0.05 mm twice, 31 × 0.02 once, of 3 N each
    assert document["total_spread"] == pytest.approx((1.5 + 1.5 + 0.62) / 3.0)
    code, out, _ = call(capsys, *words)
    assert "3 sets of 2, 2 springs left over. No arrangement gives 4. Tightness: no tighter arrangement exists." in out


def test_conditions_on_the_command_line(readings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = (readings, "--size", 2, "--within", "seat_force=30 N", "--json")
    document = json.loads(call(capsys, *words, "--apart", "P0,P1", "--together", "P0,P3")[1])
    assert ["P0", "P3"] in [one["springs"] for one in document["sets"]]
    position = ("--position", "intake: size=2, seat_force=230 N..256 N", "--position", "exhaust: size=2")
    document = json.loads(call(capsys, readings, *position, "--within", "seat_force=30 N", "--json")[1])
    assert {one["position"] for one in document["sets"]} == {"intake", "exhaust"}


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (("--size", 2), 2, "--within"),
        (("--within", "seat_force=3 N"), 2, "--size"),
        (("--size", 1, "--within", "seat_force=3 N"), 2, "2 to 32"),
        (("--size", 2, "--within", "seat_force=3 mm"), 2, "seat_force"),
        (("--size", 2, "--within", "colour=3"), 2, "expected one of"),
        (("--size", 2, "--within", "seat_force=-3"), 2, "above 0"),
        (("--size", 2, "--within", "seat_force=3", "--apart", "P0,Z9"), 2, "no spring 'Z9'"),
        (("--size", 2, "--within", "seat_force=3", "--time-limit", "-1"), 2, "--time-limit"),
        (("--size", 2, "--within", "solid_height=1"), 3, "did not go to coil bind"),
    ],
)
def test_bad_questions_have_their_sentence(
    words: tuple[object, ...], code: int, sentence: str, readings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found, out, err = call(capsys, readings, *words)
    assert (found, out) == (code, "")
    assert sentence in err


def test_the_sample_tray_gives_three_sets_of_sixteen(capsys: pytest.CaptureFixture[str]) -> None:
    file = sample_profiles() / "springs_quillmere_tray.csv"
    words = ("--size", 16, "--within", "seat_force=6 N", "--within", "rate=0.8 N/mm", "--json")
    document = json.loads(call(capsys, file, *words)[1])
    assert (len(document["sets"]), document["bound_sets"], document["number_proven"]) == (3, 3, True)
    assert {"Q23", "Q48"} <= set(document["left_over"])
