"""Springs and shims for measured heights: against every plan on small cases, and as a user calls it."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from importlib import import_module
from itertools import permutations, product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from spring_cases import bench_force, write_readings

from valvelab.cli.main import main
from valvelab.errors import CannotEvaluate
from valvelab.files.heights import read_heights
from valvelab.files.spring_readings import read_spring_readings
from valvelab.inspection.springs.inspect import SpringsQuestion
from valvelab.inspection.springs.shim_case import FittingPlan, Lock, ShimCase
from valvelab.inspection.springs.shim_work import Setting
from valvelab.inspection.springs.shims import ShimsQuestion, inspect_shims, solve
from valvelab.places import sample_profiles
from valvelab.records.shims_result import ShimsResult
from valvelab.springs.least_work import Ways, least_work
from valvelab.springs.shims import ShimChoice, Stack, choose_shims, stacks_of

HEIGHTS = np.array([42.0, 40.0, 38.0, 36.0, 34.0, 30.0, 27.0, 26.0, 25.8, 25.6])


def test_stacks_keep_the_fewest_shims_of_each_thickness() -> None:
    stacks = stacks_of([0.25, 0.5], 3)
    assert stacks == ((), (0.25,), (0.5,), (0.5, 0.25), (0.5, 0.5), (0.5, 0.5, 0.25), (0.5, 0.5, 0.5))


def choice_of(seed: int, positions: int, springs: int, stacks: int) -> ShimChoice:
    generator = np.random.default_rng(seed)
    force = generator.uniform(200.0, 300.0, (positions, springs, stacks))
    allowed = generator.random(force.shape) < 0.8
    return ShimChoice(np.zeros((positions, stacks)), force, allowed)


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
        assert choice.allowed[np.arange(positions), np.array(plan.spring), np.array(plan.height)].all()


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
    choice = ShimChoice(installed, force, installed[:, None, :] > 38.0 + np.zeros((1, 100, 1)))
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


def random_ways(seed: int, positions: int, springs: int, sizes: int) -> tuple[Ways, np.ndarray]:
    generator = np.random.default_rng(seed)
    rows = [(i, s, k) for i in range(positions) for s in range(springs) for k in range(3)]
    at, spring, _ = (np.array(column) for column in zip(*rows, strict=True))
    home = spring == at
    uses = generator.integers(0, 2, (len(rows), sizes))
    work = generator.integers(0, 3, len(rows)) + np.where(home, 0, 2)
    return Ways(at, spring, generator.uniform(0.0, 4.0, len(rows)), work, uses, home), np.full(sizes, 1)


def every_answer(ways: Ways, available: np.ndarray, most: float | None) -> tuple[int, int, float]:
    """Purchases, work and squared error of the best choice, by trying all."""
    of = [np.flatnonzero(ways.position == i) for i in range(int(ways.position.max()) + 1)]
    found = []
    for rows in map(list, product(*of)):
        if len(set(ways.spring[rows])) == len(rows) and (most is None or ways.error_n2[rows].sum() <= most):
            bought = np.maximum(ways.uses[rows].sum(axis=0) - available, 0).sum()
            found.append((int(bought), int(ways.work[rows].sum()), float(ways.error_n2[rows].sum())))
    return min(found)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 3), st.integers(3, 4), st.integers(0, 2), st.booleans())
def test_least_work_against_every_choice(seed: int, positions: int, springs: int, sizes: int, limited: bool) -> None:
    ways, available = random_ways(seed, positions, springs, sizes)
    least = every_answer(replace(ways, work=0 * ways.work, uses=0 * ways.uses), available, None)[2]
    most = least + 1.0 if limited else None
    chosen = least_work(ways, available, most)
    assert chosen is not None
    assert chosen.proven
    rows = list(chosen.rows)
    bought = np.maximum(ways.uses[rows].sum(axis=0) - available, 0).sum()
    found = int(bought), int(ways.work[rows].sum()), float(ways.error_n2[rows].sum())
    assert found == pytest.approx(every_answer(ways, available, most), abs=1e-6)


def test_of_too_many_ways_the_nearest_serve_and_nothing_is_proven(monkeypatch: pytest.MonkeyPatch) -> None:
    ways, available = random_ways(1, 3, 4, 1)
    monkeypatch.setattr(import_module("valvelab.springs.least_work"), "MOST_SIZE", 70)
    chosen = least_work(ways, available, None)
    assert chosen is not None
    assert not chosen.proven
    rows = list(chosen.rows)
    assert ways.position[rows].tolist() == [0, 1, 2]
    assert len(set(ways.spring[rows])) == len(rows)


STOCKED = (
    "shims: 0.25 mm x 1, 0.50 mm x 2", "packers: 2.0 mm x 1", "keepers: 0 mm, +1.27 mm x 1, -1.27 mm",
    "valve lift: 10 mm",
    "retainers: 0 mm, 1.5 mm x 2", "target seat force: 240 N", "height uncertainty: 0.05 mm", "max shims: 2",
    "retainer-to-seal uncertainty: 0.1 mm",
)  # fmt: skip


def stocked(tmp_path: Path, *rows: str, preamble: tuple[str, ...] = STOCKED) -> ShimCase:
    """Three springs of 30 N/mm, free lengths 46, 46.5 and 48 mm, for these heights."""
    readings, heights = files(tmp_path, *preamble)
    lines = [
        *(f"# {line}" for line in preamble),
        "valve,height [mm],spring,shims,packer,keeper,retainer,retainer to seal",
    ]
    heights.write_text("\n".join([*lines, *rows]) + "\n", encoding="utf-8")
    return inspect_shims(ShimsQuestion(SpringsQuestion(read_spring_readings(readings)), read_heights(heights))).case


def test_every_part_moves_the_spring_as_it_should(tmp_path: Path) -> None:
    case = stocked(tmp_path, "1I,38.0,A,none,,0,0,11.5", "1E,38.6,B,0.25,,+1.27,0,12.0")
    plan = FittingPlan((Setting("1I", "A", Stack()), Setting("1E", "B", Stack((0.5,), 2.0, 1.27, 1.5))))
    found = case.evaluate(plan)
    first, second = found.rows
    assert first is not None
    assert second is not None
    # plain arithmetic: 38.6 + (1.27 - 1.27) + (1.5 - 0) - 0.5 - 2.0 = 37.6 mm, 30 N/mm from 46.5 mm: 267 N, open 567 N
    assert second.installed_height_mm == pytest.approx(37.6)
    assert (second.seat_force_n, second.open_force_n) == pytest.approx((267.0, 567.0))
    # the retainer stands 1.5 mm higher than measured: 12.0 + 1.5 - 10; the other as measured: 11.5 - 10
    assert second.retainer_to_seal_margin_mm == pytest.approx(3.5)
    assert first.retainer_to_seal_margin_mm == pytest.approx(1.5)
    assert second.coil_bind_margin_mm == pytest.approx(37.6 - 10.0 - 26.4, abs=1e-6)
    # the height's 0.05 mm through 30 N/mm, and a little of the division that is seen in such round readings
    assert second.uncertainty["seat_force_n"] == pytest.approx(1.5, rel=0.02)
    assert second.uncertainty["retainer_to_seal_margin_mm"] == pytest.approx(0.1)
    assert found.spread_n == pytest.approx(27.0)
    assert found.rms_from_target_n == pytest.approx(np.sqrt((0.0**2 + 27.0**2) / 2.0))
    assert not found.refusals
    told = [(one.part, one.size_mm, one.out_of, one.into) for one in found.moves or ()]
    assert told == [
        ("shim", 0.25, "1E", None),
        ("shim", 0.5, None, "1E"),
        ("packer", 2.0, None, "1E"),
        ("retainer", 0.0, "1E", None),
        ("retainer", 1.5, None, "1E"),
    ]
    assert not found.purchases


def test_what_stands_there_stays_among_plans_that_are_as_good(tmp_path: Path) -> None:
    rows = ("1I,38.0,B,none,,0,0,", "1E,38.5,C,none,,0,0,")
    case = stocked(tmp_path, *rows)
    # A at 38.0 mm and B at 38.5 mm have 240 N each: nothing comes nearer, none within 1.5 N keeps more
    best = solve(case)
    assert [one.spring for one in best.plan.settings] == ["A", "B"]
    assert best.least_rms_n == pytest.approx(0.0, abs=1e-6)
    near = tuple(line for line in STOCKED if "uncertainty" not in line)
    rough = (*near, "height uncertainty: 2 mm")
    kept = solve(stocked(tmp_path, *rows, preamble=rough)).plan
    assert [one.spring for one in kept.settings] == ["B", "C"]
    assert kept.at("1I").stack == Stack()
    # with an uncertainty of 60 N every plan is as good; without any the nearest alone is
    assert [one.spring for one in solve(stocked(tmp_path, *rows, preamble=near)).plan.settings] == ["A", "B"]


def test_what_is_not_there_is_bought_only_where_nothing_else_is_as_good(tmp_path: Path) -> None:
    preamble = ("shims: 0.5 mm x 0", "target seat force: 240 N", "valve lift: 10 mm", "max shims: 2")
    # A wants 38.0 mm and B 38.5 mm: one shim each, or two under A at 1E
    case = stocked(tmp_path, "1I,38.5,A,none,,,,", "1E,39.0,B,none,,,,", preamble=preamble)
    found = case.evaluate(solve(case).plan)
    assert [one.model_dump() for one in found.purchases] == [{"part": "shim", "size_mm": 0.5, "count": 2}]
    wide = (*preamble, "height uncertainty: 1 mm")
    case = stocked(tmp_path, "1I,38.5,A,none,,,,", "1E,39.0,B,none,,,,", preamble=wide)
    assert case.evaluate(solve(case).plan).purchases == ()


def test_a_change_by_hand_is_evaluated_without_a_search(tmp_path: Path) -> None:
    case = stocked(tmp_path, "1I,38.0,A,none,,0,0,11.5", "1E,38.5,B,none,,0,0,12.0")
    plan = solve(case).plan
    swapped = case.effect(plan, plan.swapped("1I", "1E"))
    assert swapped.changed == ("1I", "1E")
    assert (swapped.before.spread_n, swapped.after.spread_n) == pytest.approx((0.0, 30.0), abs=1e-6)
    other = case.effect(plan, plan.with_spring("1I", "C"))
    assert other.changed == ("1I",)
    assert other.after.rows[0] is not None
    assert other.after.rows[0].seat_force_n == pytest.approx(300.0)
    # what can't be fitted is said, position by position, and nothing is raised
    wrong = plan.with_stack("1I", Stack((0.3, 0.5, 0.5), 2.0)).with_stack("1E", Stack(keeper_mm=10.0))
    reasons = {(one.position, one.reason) for one in case.evaluate(wrong).refusals}
    assert ("1I", "no shim of 0.3 mm is in stock or fitted there") in reasons
    assert ("1I", "3 shims, at most 2") in reasons
    assert ("1I", "coil-bind margin −1.70 mm, at least 0 mm".replace("−", "-")) in reasons
    assert any(place == "1E" and "was not read at 48.5 mm" in text for place, text in reasons)
    assert case.evaluate(plan.with_spring("1I", "nobody")).rows[0] is None
    with pytest.raises(KeyError):
        plan.with_spring("9I", "A")


def test_what_is_locked_stays_when_the_rest_is_planned_anew(tmp_path: Path) -> None:
    case = stocked(tmp_path, "1I,38.0,A,none,,0,0,11.5", "1E,38.5,B,none,,0,0,12.0")
    plan = solve(case, {"1I": Lock("C", {"shim": (0.5,), "packer": ()})}).plan
    assert plan.at("1I").spring == "C"
    assert (plan.at("1I").stack.shims_mm, plan.at("1I").stack.packer_mm) == ((0.5,), None)
    assert plan.at("1E").spring in {"A", "B"}
    with pytest.raises(CannotEvaluate, match="'Z' fixed to '1I', a spring that may not be used here"):
        solve(case, {"1I": Lock("Z")})


INCHES = "position,height [in],shims\n1I,1.5,0.030\n"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "# shims: 0.5 mm x -3\nposition,height [mm]\n1I,38\n",
            "shims: found '0.5 mm x -3', expected how many there are",
        ),
        (
            "# keepers: 0.05, 0\nposition,height [in]\n1I,1.5\n",
            "keepers: found 0.05 without a unit beside columns in inches",
        ),
        (INCHES, "shims '0.030', expected its unit, in or mm"),
        ("position,height [mm],shims [mm]\n1I,38,thick\n", "shims 'thick', expected thicknesses above 0"),
        ("position,height [mm],packer [mm]\n1I,38,1 + 1\n", "packer '1 + 1', expected one size"),
        ("position,height [mm],spring\n1I,38,A\n1E,38,A\n", "spring 'A' twice, expected each spring at one position"),
        ("# shims: 3 mm to 2 mm by 0.1 mm\nposition,height [mm]\n1I,38\n", "a rising series of at most 200 sizes"),
        ("# minimum retainer-to-seal margin: 1 mm\n# valve lift: 10 mm\nposition,height [mm]\n1I,38\n", "for 1I"),
        ("# shims: 0.1 mm to 9 mm by 0.1 mm\n# max shims: 9\nposition,height [mm]\n1I,38\n", "ways to stack the parts"),
        (
            "# minimum retainer-to-seal margin: 1 mm\n# valve lift: 9 mm\nposition,height,seal clearance\n1I,38,9.5\n",
            "position '1I' keeps no retainer-to-seal margin of 1 mm with any part in stock",
        ),
        (
            "# keepers: +0.3 mm\n# minimum coil-bind margin: 2 mm\n# valve lift: 10 mm\nposition,height [mm]\n1I,38\n",
            "position '1I' at 38.3 mm leaves a coil-bind margin of 1.90 mm at most however it is stacked, below 2 mm",
        ),
    ],
)
def test_bad_stock_has_its_sentence(
    text: str, sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings, heights = files(tmp_path)
    heights.write_text(text, encoding="utf-8")
    code, out, err = call(capsys, readings, "--heights", heights, "--quiet")
    assert (code, out) == (3, "")
    assert sentence in err
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize(
    ("fixed", "code", "sentence"),
    [
        ("1I=A; shims 0.3 mm", 3, "position '1I': no shim of 0.3 mm is in stock or fitted there"),
        ("1I=A; shims thick", 2, "expected a number, with or without a unit"),
        ("1I=A; shims -1 mm", 2, "expected thicknesses above 0"),
        ("1I=A; thing 1 mm", 2, "expected shims, packer, keeper or retainer with its size"),
    ],
)
def test_what_can_not_be_fixed_is_said(
    fixed: str, code: int, sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings, heights = files(tmp_path, "shims: 0.5 mm")
    found, _, err = call(capsys, readings, "--heights", heights, "--fix", fixed, "--quiet")
    assert (found, sentence in err) == (code, True), err


def test_the_plan_as_csv_and_as_a_sheet_to_build_by(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings, heights = files(
        tmp_path, "shims: 0.5 mm", "packers: 1 mm", "valve lift: 9 mm", "target seat force: 240 N"
    )
    table, sheet = tmp_path / "plan.csv", tmp_path / "sheet.pdf"
    fixed = ("--fix", "1I=A; packer 1 mm; shims 0.5 mm + 0.5 mm")
    words = (readings, "--heights", heights, *fixed, "--out", table, "--sheet", sheet, "--quiet")
    assert call(capsys, *words)[0] == 0
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    assert [row["position"] for row in rows] == ["1I", "2I"]
    assert (rows[0]["spring"], rows[0]["shims_mm"], rows[0]["packer_mm"]) == ("A", "0.5 0.5", "1.0")
    assert float(rows[0]["installed_height_mm"]) == pytest.approx(36.0)
    assert "u_seat_force_n" in rows[0]
    text = PdfReader(sheet).pages[0].extract_text()
    for said in ("Build sheet: springs and shims", "0.500 + 0.500", "36.000", "built by, date"):
        assert said in text
    again = sheet.read_bytes()
    assert call(capsys, *words)[0] == 0
    assert sheet.read_bytes() == again
    assert "expected .pdf" in call(capsys, readings, "--heights", heights, "--sheet", tmp_path / "a.txt")[2]
    assert "expected .pdf" in call(capsys, readings, "--heights", heights, "--sheet", heights)[2]
