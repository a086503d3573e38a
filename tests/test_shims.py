"""Springs and shims for measured heights: against every plan on small cases, and as a user calls it."""

from __future__ import annotations

import json
from itertools import permutations, product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from spring_cases import bench_force, write_readings

from valvelab.cli.main import main
from valvelab.errors import CannotEvaluate
from valvelab.places import sample_profiles
from valvelab.records.shims_result import ShimsResult
from valvelab.springs.shims import ShimChoice, choose_shims, stacks_of

HEIGHTS = np.array([42.0, 40.0, 38.0, 36.0, 34.0, 30.0, 27.0, 26.0, 25.8, 25.6])


def test_stacks_keep_the_fewest_shims_of_each_thickness() -> None:
    stacks = stacks_of([0.25, 0.5], 3)
    assert stacks == ((), (0.25,), (0.5,), (0.5, 0.25), (0.5, 0.5), (0.5, 0.5, 0.25), (0.5, 0.5, 0.5))


def choice_of(seed: int, positions: int, springs: int, stacks: int) -> ShimChoice:
    generator = np.random.default_rng(seed)
    force = generator.uniform(200.0, 300.0, (positions, springs, stacks))
    allowed = generator.random(force.shape) < 0.8
    return ShimChoice(tuple((0.1 * i,) for i in range(stacks)), np.zeros((positions, stacks)), force, allowed)


def every_plan(choice: ShimChoice) -> list[np.ndarray]:
    """Seat forces of every plan that is allowed."""
    positions, springs, stacks = choice.force_n.shape
    plans = []
    for order in permutations(range(springs), positions):
        for used in product(range(stacks), repeat=positions):
            index = (np.arange(positions), np.array(order), np.array(used))
            if choice.allowed[index].all():
                plans.append(choice.force_n[index])
    return plans


@settings(max_examples=40)
@given(st.integers(0, 10**6), st.integers(2, 3), st.integers(3, 4), st.integers(1, 3))
def test_small_cases_against_every_plan(seed: int, positions: int, springs: int, stacks: int) -> None:
    choice = choice_of(seed, positions, springs, stacks)
    plans = every_plan(choice)
    if not plans:
        with pytest.raises(CannotEvaluate, match="not every position"):
            choose_shims(choice, None)
        return
    nearest = choose_shims(choice, 250.0)
    assert np.sum((nearest.seat_force_n - 250.0) ** 2) == pytest.approx(min(np.sum((p - 250.0) ** 2) for p in plans))
    narrowest = choose_shims(choice, None)
    assert narrowest.spread_n == pytest.approx(min(np.ptp(plan) for plan in plans))
    for plan in (nearest, narrowest):
        assert len(set(plan.spring)) == positions
        assert choice.allowed[np.arange(positions), np.array(plan.spring), np.array(plan.stack)].all()


def call(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    code = main(["shims", *(str(word) for word in words)])
    out, err = capsys.readouterr()
    return code, out, err


def files(tmp_path: Path, *preamble: str, heights: tuple[float, ...] = (38.0, 38.6)) -> tuple[Path, Path]:
    springs = {
        name: (HEIGHTS, bench_force(HEIGHTS, free=46.0 + shift)) for name, shift in (("A", 0.0), ("B", 0.5), ("C", 2.0))
    }
    readings = write_readings(tmp_path / "springs.csv", springs)
    lines = [*(f"# {line}" for line in preamble), "position,height [mm]"]
    lines += [f"{number}I,{height}" for number, height in enumerate(heights, start=1)]
    table = tmp_path / "heights.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return readings, table


def test_the_plan_reaches_the_target(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings, heights = files(
        tmp_path, "shims: 0.1 mm, 0,5 mm", "target seat force: 240 N", "valve lift: 10 mm", "max shims: 2"
    )
    code, out, _ = call(capsys, readings, "--heights", heights, "--json")
    document = json.loads(out)
    ShimsResult.model_validate(document)
    assert code == 0
    first, second = document["positions"]
    # plain mechanics: 30 N/mm, 240 N needs 8 mm: A at 38.0 mm as it is, B at 38.5 mm with 0.1 mm below 38.6 mm
    assert (first["spring"], first["shims_mm"], second["spring"], second["shims_mm"]) == ("A", [], "B", [0.1])
    assert second["installed_height_mm"] == pytest.approx(38.5)
    assert second["seat_force_n"] == pytest.approx(240.0)
    assert second["coil_bind_margin_mm"] == pytest.approx(38.5 - 10.0 - 26.4, abs=1e-6)
    assert document["spread_seat_force_n"] == pytest.approx(0.0, abs=1e-6)


def test_without_a_target_the_spread_is_least(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings, heights = files(tmp_path, "valve lift: 10 mm")
    document = json.loads(call(capsys, readings, "--heights", heights, "--json")[1])
    assert [row["spring"] for row in document["positions"]] == ["A", "B"]
    assert document["spread_seat_force_n"] == pytest.approx(3.0)
    assert any("least spread" in note["text"] for note in document["notes"])


def test_the_coil_bind_limit_is_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ("shims: 0.5 mm", "target seat force: 260 N", "valve lift: 10 mm")
    readings, heights = files(tmp_path, *asked, "minimum coil-bind margin: 1.75 mm", heights=(38.5, 38.6))
    document = json.loads(call(capsys, readings, "--heights", heights, "--json")[1])
    # a shim would bring the force nearer the target, but leave 1.6 or 1.7 mm
    assert [row["shims_mm"] for row in document["positions"]] == [[], []]
    without, _ = files(tmp_path, *asked, heights=(38.5, 38.6))
    document = json.loads(call(capsys, without, "--heights", heights, "--json")[1])
    assert [row["shims_mm"] for row in document["positions"]] != [[], []]
    # 38.0 mm leaves 1.6 mm only
    readings, heights = files(tmp_path, *asked, "minimum coil-bind margin: 1.7 mm", heights=(38.0, 38.0))
    code, out, err = call(capsys, readings, "--heights", heights, "--json")
    assert (code, out) == (3, "")
    assert "position '1I' at 38 mm leaves a coil-bind margin of 1.60 mm" in err


def test_what_makes_a_plan_impossible_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings, heights = files(tmp_path, heights=(38.0, 38.1, 38.2, 38.3))
    code, _, err = call(capsys, readings, "--heights", heights)
    assert code == 3
    assert "found 3 springs for 4 positions" in err
    readings, heights = files(tmp_path, heights=(38.0, 55.0))
    code, _, err = call(capsys, readings, "--heights", heights)
    assert code == 3
    assert "position '2I' can be shimmed from 55 to 55 mm, where no spring was read" in err


@pytest.mark.parametrize(
    ("preamble", "sentence"),
    [
        ("shims: thick", "shims"),
        ("max shims: 2.5", "max shims"),
        ("target seat force: 3 mm", "target seat force"),
        ("shims: -1 mm", "above 0"),
    ],
)
def test_bad_heights_have_their_sentence(
    preamble: str, sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings, heights = files(tmp_path, preamble)
    code, _, err = call(capsys, readings, "--heights", heights)
    assert code == 3
    assert "heights.csv" in err
    assert sentence in err


def test_a_position_twice_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings, heights = files(tmp_path)
    heights.write_text("position,height [mm]\n1I,38\n1I,38.2\n", encoding="utf-8")
    code, _, err = call(capsys, readings, "--heights", heights)
    assert code == 3
    assert "position '1I' twice" in err


def test_sixteen_positions_and_a_hundred_springs_are_planned_exactly() -> None:
    generator = np.random.default_rng(3)
    stacks = stacks_of([0.25, 0.5, 1.0], 3)
    heights = 40.0 + generator.uniform(0.0, 1.5, 16)
    free, rate = 52.0 + 0.15 * generator.normal(size=100), 30.0 + 0.4 * generator.normal(size=100)
    installed = heights[:, None] - np.array([sum(stack) for stack in stacks])
    force = rate[None, :, None] * (free[None, :, None] - installed[:, None, :])
    choice = ShimChoice(stacks, installed, force, installed[:, None, :] > 38.0 + np.zeros((1, 100, 1)))
    plan = choose_shims(choice, None)
    # no window a hair narrower than the answer can be met: it would have been found by this sweep as well
    forces = np.sort(force[choice.allowed])
    assert plan.spread_n < 0.2
    for low in forces[:: max(forces.size // 300, 1)]:
        inside = choice.allowed & (force >= low) & (force <= low + plan.spread_n - 1e-6)
        reached = inside.any(axis=2)
        assert not reached.any(axis=1).all() or reached.any(axis=0).sum() < 16 or not _assignable(reached)


def _assignable(edges: np.ndarray) -> bool:
    """Augmenting paths, the textbook way."""
    partner: dict[int, int] = {}

    def augment(position: int, seen: set[int]) -> bool:
        for spring in np.flatnonzero(edges[position]):
            if int(spring) in seen:
                continue
            seen.add(int(spring))
            if int(spring) not in partner or augment(partner[int(spring)], seen):
                partner[int(spring)] = position
                return True
        return False

    return all(augment(position, set()) for position in range(edges.shape[0]))


def test_the_sample_heights(capsys: pytest.CaptureFixture[str]) -> None:
    samples = sample_profiles()
    tray, heights = samples / "springs_quillmere_tray.csv", samples / "springs_quillmere_heights.csv"
    code, out, _ = call(capsys, tray, "--heights", heights)
    assert code == 0
    assert "target 250.0 N" in out
