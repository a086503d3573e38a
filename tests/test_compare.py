"""Two measurements of one part: differences against least squares by hand, their coverage, refusals, and the faces."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from lobe_samples import Floats, design, turn
from motion_laws import LobeDesign
from papers import carried_files
from scipy.optimize import least_squares
from something import each

from valvelab.arrays import read_only
from valvelab.cli.main import main
from valvelab.cli.schema_command import schema_of
from valvelab.errors import CannotEvaluate
from valvelab.files.lift_table import read_lift_table
from valvelab.files.spring_readings import read_spring_readings
from valvelab.inspection.comparison.inspect import CompareInspection, CompareQuestion, inspect_comparison
from valvelab.lobe.difference import best_fit, level_passed_by_noise
from valvelab.lobe.trace import Trace
from valvelab.places import sample_profiles
from valvelab.records.comparison_result import LobeChange
from valvelab.records.measurement import Doubts, LiftTable
from valvelab.records.result import Source
from valvelab.records.spec import Spec
from valvelab.workbench import edits, jobs
from valvelab.workbench.contents import read_content
from valvelab.workbench.document import Document

SAMPLES = sample_profiles()
FOUR, LATER = SAMPLES / "quillmere_four_camshaft.csv", SAMPLES / "quillmere_four_after_a_season.csv"
TRAY, USED = SAMPLES / "springs_quillmere_tray.csv", SAMPLES / "springs_quillmere_after_a_season.csv"
SHAFT_SPEC, SPRING_SPEC = SAMPLES / "quillmere_four_season.toml", SAMPLES / "springs_quillmere_season.toml"
LOBE_KEYS = [
    "lobe", "shift_cam_deg", "zero_um", "rms_um", "worst_um", "worst_angle_cam_deg", "max_lift_change_mm", "wear_um",
    "uncertainty", "curve",
]  # fmt: skip
SPRING_KEYS = [
    "spring", "seat_force_change_n", "open_force_change_n", "rate_change_n_per_mm", "free_length_change_mm",
    "seat_force_change_pct", "uncertainty",
]  # fmt: skip
SHIFT, ZERO_MM, DEEPEST_MM, AT, HALF = 0.35, 0.012, 0.06, 3.0, 28.0


def dip(angle: Floats, deepest_mm: float = DEEPEST_MM, half: float = HALF) -> Floats:
    """Lift lost round the nose, by angle from the centre."""
    x = np.clip(np.abs(np.mod(angle - AT + 180.0, 360.0) - 180.0) / half, 0.0, 1.0)
    return np.asarray(deepest_mm * (1.0 - x**2) ** 3)


def lobe() -> LobeDesign:
    return design("poly4567")


def read_at(angle: Floats, centre: float, worn_mm: float = 0.0, zero_mm: float = 0.0) -> Floats:
    """Lift in closed form at the readings' angles."""
    drawn = lobe()
    return np.asarray(drawn.value(angle - centre + drawn.centre) - dip(angle - centre, worn_mm) + zero_mm)


def table(name: str, angle: Floats, lifts: dict[str, Floats], **stated: Any) -> LiftTable:
    traces = tuple(Trace(key, read_only(angle.copy()), read_only(lift)) for key, lift in lifts.items())
    known: dict[str, Any] = {"encoder_uncertainty_cam_deg": 0.0, **stated}
    return LiftTable(file=name, traces=traces, source=Source(file=name, sha256=name), **known)


def compared(before: LiftTable, after: LiftTable, **how: Any) -> CompareInspection:
    return inspect_comparison(CompareQuestion(before, after, **how))


def one_lobe(angle: Floats, before: Floats, after: Floats, **stated: Any) -> LobeChange:
    pair = [table(name, angle, {"1I": lift}, **stated) for name, lift in (("before", before), ("after", after))]
    (found,) = compared(*pair).result.lobes
    return found


def numbers(change: LobeChange) -> dict[str, tuple[float, float]]:
    found = {name: (getattr(change, name), u) for name, u in change.uncertainty.items()}
    return {name: (value, u) for name, (value, u) in found.items() if value is not None and u is not None}


# closed form: the 4-5-6-7 polynomial and a dip of (1 − x²)³, against least squares on everything but the dip
@pytest.mark.parametrize("arc", [180.0, 88.0])
def test_a_known_dip_is_left_by_the_best_fit(arc: float) -> None:
    angle = turn(720)
    angle = angle[np.abs(angle - 100.3) <= arc]
    found = one_lobe(angle, read_at(angle, 100.3), read_at(angle, 100.3 + SHIFT, DEEPEST_MM, ZERO_MM))
    assert found.shift_cam_deg == pytest.approx(SHIFT, abs=2e-4)
    assert found.zero_um == pytest.approx(1000.0 * ZERO_MM, abs=0.05)
    assert found.wear_um == pytest.approx(1000.0 * DEEPEST_MM, abs=0.1)
    assert found.worst_um == -found.wear_um
    assert found.worst_angle_cam_deg == pytest.approx(AT, abs=0.5)
    at, off = np.array(found.curve.angle_cam_deg), np.array(found.curve.difference_um)
    assert off == pytest.approx(-1000.0 * dip(at), abs=0.2)
    assert found.rms_um == pytest.approx(np.sqrt(np.mean(off**2)), rel=1e-12)

    drawn, places = lobe(), np.arange(-85.0, 85.5, 0.5)
    places = places[np.abs(places - AT) > HALF]
    later = read_at(places, SHIFT, DEEPEST_MM, ZERO_MM)

    def left(guess: Floats) -> Floats:
        return np.asarray(later - drawn.value(drawn.centre + places - guess[0]) - guess[1])

    by_hand = least_squares(left, [0.0, 0.0], xtol=1e-15, ftol=1e-15).x
    assert found.shift_cam_deg == pytest.approx(by_hand[0], abs=2e-4)
    assert found.zero_um == pytest.approx(1000.0 * by_hand[1], abs=0.05)


def test_worn_places_do_not_pull_the_fit() -> None:
    drawn, places = lobe(), np.linspace(-80.0, 80.0, 61)

    def before(angle: Floats, order: int) -> Floats:
        return np.asarray(drawn.value(drawn.centre + angle, order))

    def after(angle: Floats, order: int) -> Floats:
        worn = dip(angle - SHIFT - 30.0, half=14.0) if order == 0 else np.zeros_like(angle)
        return before(angle - SHIFT, order) - worn + (ZERO_MM if order == 0 else 0.0)

    noise = np.full(places.shape, 1e-6)
    found = best_fit(before, after, places, 0.0, noise, zero=True)
    assert found.shift_cam_deg == pytest.approx(SHIFT, abs=1e-5)
    assert found.zero_mm == pytest.approx(ZERO_MM, abs=1e-6)
    # plain least squares is pulled: the wear is on the closing flank
    plain = least_squares(lambda guess: after(places + guess[0], 0) - before(places, 0) - guess[1], [0.0, 0.0]).x
    assert abs(plain[0] - SHIFT) > 100.0 * abs(found.shift_cam_deg - SHIFT)


def test_noise_passes_the_level_as_seldom_as_it_should() -> None:
    """Gaussian noise over 150 cam deg that hangs together over 3: its own simulation."""
    rng, hold, length, step = np.random.default_rng(5), 3.0, 150.0, 0.25
    count = round(length / step)
    kernel = np.exp(-0.5 * (np.arange(-60, 61) * step / (hold / np.sqrt(2.0))) ** 2)
    noise = np.array([np.convolve(rng.normal(size=count + 120), kernel, "valid") for _ in range(3000)])
    noise /= np.sqrt((kernel**2).sum())
    for chance in (0.05, 0.01):
        seen = float((noise.max(axis=1) > level_passed_by_noise(length, hold, chance)).mean())
        assert 0.5 * chance < seen < 1.3 * chance


Kind = tuple[int, float, float, float]
"""Readings a turn, standard deviation of their noise and division in mm, wear in mm."""


@pytest.mark.parametrize(
    "kind",
    [(360, 0.002, 0.0, DEEPEST_MM), (180, 0.003, 0.01, DEEPEST_MM), (360, 0.002, 0.0, 0.0), (180, 0.003, 0.01, 0.0)],
    ids=["worn", "worn on a dial", "not worn", "not worn on a dial"],
)
def test_intervals_hold_over_repeats(kind: Kind) -> None:
    """95 % intervals in at least 90 % of 60 repeats; wear is seen wherever it is, and hardly where there is none."""
    readings, deviation, division, worn = kind
    rng, angle, repeats = np.random.default_rng(readings), turn(readings), 60

    def read(centre: float, worn_mm: float, zero_mm: float) -> Floats:
        lift = read_at(angle, centre, worn_mm, zero_mm) + rng.normal(0.0, deviation, angle.size)
        return np.round(lift / division) * division if division else lift

    truth = {"shift_cam_deg": SHIFT, "zero_um": 1000.0 * ZERO_MM, "wear_um": 1000.0 * worn}
    held, seen = dict.fromkeys(truth, 0), 0
    for _ in range(repeats):
        centre = 100.3 + rng.uniform(0.0, 1.0)
        found = one_lobe(angle, read(centre, 0.0, 0.0), read(centre + SHIFT, worn, ZERO_MM))
        told = numbers(found)
        for name, true in truth.items():
            value, u = told[name]
            held[name] += abs(value - true) <= 1.96 * u
        seen += bool(found.wear_um)
    assert min(held.values()) >= 0.9 * repeats, held
    assert seen == repeats if worn else seen <= 0.1 * repeats


def test_stated_uncertainties_count_and_one_instrument_counts_once() -> None:
    angle = turn(360)
    before, after = read_at(angle, 100.3), read_at(angle, 100.3 + SHIFT)
    stated = {"probe_uncertainty_mm": 0.002, "encoder_uncertainty_cam_deg": 0.05}
    twice = one_lobe(angle, before, after, **stated).uncertainty
    once = one_lobe(angle, before, after, **stated, instrument="bench").uncertainty
    assert once["zero_um"] == pytest.approx(2.0, rel=0.01)
    assert twice["zero_um"] == pytest.approx(2.0 * np.sqrt(2.0), rel=0.01)
    assert once["shift_cam_deg"] == pytest.approx(0.05, rel=0.2)
    assert twice["shift_cam_deg"] == pytest.approx(np.sqrt(2.0) * (once["shift_cam_deg"] or 0.0), rel=0.01)


def test_turns_that_disagree_widen_the_difference() -> None:
    angle = np.arange(720.0)
    two = np.concatenate([read_at(angle[:360], 100.3), read_at(angle[:360], 100.34)])
    still, noise = np.tile(read_at(angle[:360], 100.3), 2), np.random.default_rng(3).normal(0.0, 1e-3, (2, 720))
    apart = one_lobe(angle, still + noise[0], two + noise[1]).uncertainty["shift_cam_deg"]
    together = one_lobe(angle, still + noise[0], still + noise[1]).uncertainty["shift_cam_deg"]
    assert apart is not None
    assert together is not None
    assert apart > 0.02 > 5.0 * together


@pytest.fixture(scope="module")
def season() -> CompareInspection:
    return compared(read_lift_table(FOUR), read_lift_table(LATER))


def test_the_season_cost_what_was_put_into_the_sample(season: CompareInspection) -> None:
    found = {row.lobe: row for row in season.result.lobes}
    assert list(found) == ["1I", "1E", "2I", "2E", "3I", "3E", "4I", "4E"]
    wear = {name: (row.wear_um or 0.0, row.uncertainty["wear_um"] or 0.0) for name, row in found.items()}
    for name, made in {"1I": 46.0, "2E": 84.0}.items():
        assert abs(wear[name][0] - made) < 2.0 * wear[name][1] < 4.0
    assert [name for name, (value, _) in wear.items() if value > 0.0] == ["1I", "2E"]
    assert [row.shift_cam_deg for row in found.values()] == pytest.approx([0.42] * 8, abs=0.025)
    assert any(note.about == "wear" and "2I" in note.text for note in season.result.notes)


def test_swapping_changes_signs(season: CompareInspection) -> None:
    back = compared(read_lift_table(LATER), read_lift_table(FOUR))
    for there, other in zip(season.result.lobes, back.result.lobes, strict=True):
        assert other.shift_cam_deg == pytest.approx(-(there.shift_cam_deg or 0.0), abs=0.004)
        assert other.zero_um == pytest.approx(-(there.zero_um or 0.0), abs=1e-6)
        assert other.max_lift_change_mm == pytest.approx(-(there.max_lift_change_mm or 0.0), abs=1e-9)
    worn = next(row for row in back.result.lobes if row.lobe == "2E")
    assert worn.wear_um == 0.0
    assert worn.worst_um == pytest.approx(84.0, abs=3.0)


def test_one_file_twice_is_all_zero() -> None:
    shaft = compared(read_lift_table(FOUR), read_lift_table(FOUR)).result
    springs = inspect_comparison(CompareQuestion(read_spring_readings(TRAY), read_spring_readings(TRAY))).result
    for result in (shaft, springs):
        assert any("same file" in note.text for note in result.notes)
    for row in each([*shaft.lobes, *springs.springs]):
        told = {key: value for key, value in row.model_dump().items() if isinstance(value, float)}
        told.pop("worst_angle_cam_deg", None)
        assert set(told.values()) == {0.0}
    assert not np.array(shaft.lobes[0].curve.difference_um).any()


def test_inches_and_millimetres_agree(tmp_path: Path) -> None:
    """1 in = 25.4 mm exactly (international inch)."""
    made = []
    for file in (FOUR, LATER):
        lines = file.read_text(encoding="utf-8").splitlines()
        head = [line for line in lines if line.startswith("#")]
        names, *rows = lines[len(head) :]
        inches = [
            ",".join([angle, *(repr(float(value) / 25.4) for value in values)])
            for angle, *values in (row.split(",") for row in rows)
        ]
        made.append(tmp_path / file.name)
        made[-1].write_text("\n".join([*head, names.replace("[mm]", "[in]"), *inches]) + "\n", encoding="utf-8")
    metric = compared(read_lift_table(FOUR), read_lift_table(LATER)).result
    inch = compared(*map(read_lift_table, made)).result
    for one, other in zip(metric.lobes, inch.lobes, strict=True):
        told, again = (row.model_dump(exclude={"curve", "uncertainty", "lobe"}) for row in (one, other))
        assert told == pytest.approx(again, abs=1e-4)


def by_hand(file: Path, spring: str) -> tuple[float, float]:
    """Seat force of a reading at the installed height, and the rate by numpy's own line."""
    rows = [line.split(",") for line in file.read_text(encoding="utf-8").splitlines() if line.startswith(f"{spring},")]
    height, force = np.array([[float(cell) for cell in row[1:]] for row in rows]).T
    between = (height <= 38.0) & (height >= 27.4)
    return float(force[height == 38.0][0]), -float(np.polyfit(height[between], force[between], 1)[0])


def test_springs_change_as_numpy_finds_by_hand() -> None:
    found = inspect_comparison(CompareQuestion(read_spring_readings(TRAY), read_spring_readings(USED))).result
    assert [row.spring for row in found.springs] == [f"Q{number:02d}" for number in range(1, 17)]
    assert found.only_before == tuple(f"Q{number}" for number in range(17, 65))
    for row in each(found.springs):
        (seat, rate), (later, later_rate) = by_hand(TRAY, row.spring), by_hand(USED, row.spring)
        assert row.seat_force_change_n == pytest.approx(later - seat, abs=1e-9)
        assert row.seat_force_change_pct == pytest.approx(100.0 * (later / seat - 1.0), abs=1e-9)
        assert row.rate_change_n_per_mm == pytest.approx(later_rate - rate, abs=1e-9)
        assert -6.6 < (row.seat_force_change_pct or 0.0) < -2.4
        assert row.free_length_change_mm is None
    assert any(note.about == "free_length_change" for note in found.notes)


def test_one_tester_counts_once() -> None:
    before, after = read_spring_readings(TRAY), read_spring_readings(USED)
    other = replace(after, remarks={**after.remarks, "instrument": "another tester"})
    once = inspect_comparison(CompareQuestion(before, after)).result.springs[0].uncertainty
    twice = inspect_comparison(CompareQuestion(before, other)).result.springs[0].uncertainty
    bare = [replace(one, force_uncertainty_n=None, height_uncertainty_mm=None) for one in (before, after)]
    seen = inspect_comparison(CompareQuestion(*bare)).result.springs[0].uncertainty
    # 0.6 N, and 0.02 mm at about 30 N/mm
    tester = np.hypot(0.6, 0.02 * 29.5)
    noise = seen["seat_force_change_n"] or 0.0
    assert once["seat_force_change_n"] == pytest.approx(np.hypot(tester, noise), rel=0.03)
    assert twice["seat_force_change_n"] == pytest.approx(np.hypot(np.sqrt(2.0) * tester, noise), rel=0.03)


def test_of_several_stages_the_latest_counts(tmp_path: Path) -> None:
    """Forces of 30 N/mm from a free length of 46 mm; run in, 6 N are lost, after a season 4 N more."""

    def written(name: str, stages: dict[str, float]) -> Path:
        rows = [
            f"Q1,{stage},{height:.1f},{30.0 * (46.0 - height) - lost:.2f}"
            for stage, lost in stages.items()
            for height in (40.0, 38.0, 34.0, 30.0, 28.0)
        ]
        head = "# installed height: 38 mm\n# valve lift: 10 mm\nspring,stage,height [mm],force [N]\n"
        (tmp_path / name).write_text(head + "\n".join(rows) + "\n", encoding="utf-8")
        return tmp_path / name

    before = read_spring_readings(written("before.csv", {"new": 0.0, "run-in": 6.0}))
    after = read_spring_readings(written("after.csv", {"season": 10.0}))
    found = inspect_comparison(CompareQuestion(before, after)).result
    (row,) = found.springs
    assert row.seat_force_change_n == pytest.approx(-4.0, abs=1e-9)
    assert row.open_force_change_n == pytest.approx(-4.0, abs=1e-9)
    assert row.seat_force_change_pct == pytest.approx(-100.0 * 4.0 / 234.0, abs=1e-9)
    assert row.rate_change_n_per_mm == pytest.approx(0.0, abs=1e-9)
    assert any(note.about == "before: stages" for note in found.notes)


def test_heights_are_the_earlier_file_s() -> None:
    before, after = read_spring_readings(TRAY), read_spring_readings(USED)
    moved = inspect_comparison(CompareQuestion(before, replace(after, installed_height_mm=37.0))).result
    assert moved.springs == inspect_comparison(CompareQuestion(before, after)).result.springs
    assert any(note.about == "installed height" and "37 mm" in note.text for note in moved.notes)


def test_lobes_are_held_against_a_master() -> None:
    angle = turn(360)
    master = table("master", angle, {"1I": read_at(angle, 100.3)})
    shaft = table("shaft", angle, {"2I": read_at(angle, 190.0), "3I": read_at(angle, 10.0, DEEPEST_MM)})
    with pytest.raises(CannotEvaluate, match="--master"):
        compared(master, shaft)
    found = compared(master, shaft, master=True).result
    assert [row.lobe for row in found.lobes] == ["2I", "3I"]
    assert [row.shift_cam_deg for row in found.lobes] == pytest.approx([89.7, -90.3], abs=1e-3)
    assert [row.wear_um for row in found.lobes] == pytest.approx([0.0, 60.0], abs=0.2)
    assert any(note.about == "master" for note in found.notes)


def test_a_lobe_of_either_table_alone_is_named() -> None:
    angle = turn(360)
    lift = read_at(angle, 100.3)
    found = compared(table("b", angle, {"1I": lift, "1E": lift}), table("a", angle, {"1I": lift, "2I": lift})).result
    assert (found.only_before, found.only_after) == (("1E",), ("2I",))
    assert [row.lobe for row in found.lobes] == ["1I"]


def test_another_lobe_is_told_from_a_worn_one() -> None:
    angle = turn(360)
    shorter = design("cycloidal", flank=50.0)
    other = np.asarray(shorter.value(angle - 100.3 + shorter.centre))
    found = compared(table("b", angle, {"1I": read_at(angle, 100.3)}), table("a", angle, {"1I": other})).result
    assert any(note.level == "warning" and "same lobe" in note.text for note in found.notes)


def test_a_full_turn_and_an_event_alone_are_compared() -> None:
    angle = turn(720)
    event = angle[np.abs(angle - 100.3) < 88.0]
    full = table("full", angle, {"1I": read_at(angle, 100.3)})
    part = table("part", event, {"1I": read_at(event, 100.3 + SHIFT, DEEPEST_MM, ZERO_MM)})
    (there,), (back,) = compared(full, part).result.lobes, compared(part, full).result.lobes
    assert there.zero_um == pytest.approx(1000.0 * ZERO_MM, abs=0.1)
    assert back.zero_um == pytest.approx(-1000.0 * ZERO_MM, abs=0.1)
    assert there.wear_um == pytest.approx(1000.0 * DEEPEST_MM, abs=0.2)
    assert back.wear_um == 0.0


def test_a_table_in_doubt_decides_nothing() -> None:
    angle = turn(360)
    before, after = read_at(angle, 100.3), read_at(angle, 100.3, DEEPEST_MM)
    spec = Spec.model_validate({"limit": [{"of": "wear", "max": "0.05 mm"}]})
    pair = table("b", angle, {"1I": before}), table("a", angle, {"1I": after}, doubts=Doubts(lift="in mm or in um?"))
    (row,) = compared(*pair, spec=spec).result.verdicts
    assert row.measured == pytest.approx(60.0, abs=0.2)
    assert (row.decision, row.upper) == ("undecided", 50.0)


def test_another_follower_is_converted_or_refused(tmp_path: Path) -> None:
    text = LATER.read_text(encoding="utf-8")
    roller = tmp_path / "roller.csv"
    roller.write_text(text.replace("# follower: flat", "# follower: roller 400 mm"), encoding="utf-8")
    before = read_lift_table(FOUR)
    found = compared(before, read_lift_table(roller)).result
    assert any(note.about == "follower" and "described under" in note.text for note in found.notes)
    bare = tmp_path / "bare.csv"
    bare.write_text(roller.read_text(encoding="utf-8").replace("# base circle radius: 17 mm\n", ""), encoding="utf-8")
    with pytest.raises(CannotEvaluate, match="base circle radius is not stated"):
        compared(before, read_lift_table(bare))
    valve = tmp_path / "valve.csv"
    valve.write_text(text.replace("# lift at: follower", "# lift at: valve"), encoding="utf-8")
    with pytest.raises(CannotEvaluate, match="expected both at one place"):
        compared(before, read_lift_table(valve))


def answer(capsys: pytest.CaptureFixture[str], *words: object, code: int = 0) -> Any:
    assert main(["compare", *map(str, words), "--json"]) == code
    return json.loads(capsys.readouterr().out)


def test_the_command_s_json_is_what_its_schema_says(capsys: pytest.CaptureFixture[str]) -> None:
    schema = schema_of("compare")
    shaft = answer(capsys, FOUR, LATER, "--spec", SHAFT_SPEC, code=1)
    springs = answer(capsys, TRAY, USED, "--spec", SPRING_SPEC, code=4)
    for document in (shaft, springs):
        jsonschema.validate(document, schema)
    assert shaft["kind"] == "lobes"
    assert [*shaft["lobes"][0]] == LOBE_KEYS
    assert {row["item"]: row["decision"] for row in shaft["verdicts"]}["2E"] == "reject"
    assert springs["kind"] == "springs"
    assert [*springs["springs"][0]] == SPRING_KEYS
    assert {row["unit"] for row in springs["verdicts"]} == {"%"}


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        (FOUR, TRAY, "expected two lift tables or two files of spring readings"),
        (SAMPLES / "dial_gauge_study.csv", FOUR, "expected a lift table, spring readings, or a certificate"),
        (FOUR, SAMPLES / "no_such_file.csv", "no such file"),
    ],
)
def test_what_can_not_be_compared_is_one_sentence(
    before: Path, after: Path, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", str(before), str(after)]) == 3
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1


def test_columns_are_assigned_to_either_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    angle = turn(360)
    plain, turned = tmp_path / "plain.csv", tmp_path / "turned.csv"
    rows = list(zip(angle, read_at(angle, 100.3), read_at(angle, 100.6), strict=True))
    plain.write_text("".join(f"{at},{first}\n" for at, first, _ in rows), encoding="utf-8")
    turned.write_text("".join(f"{second},{at}\n" for at, _, second in rows), encoding="utf-8")
    ours, theirs = "angle=0 [cam deg], 1I=1 [mm]", "angle=1 [cam deg], 1I=0 [mm]"
    (found,) = answer(capsys, plain, turned, "--columns", ours, "--after-columns", theirs)["lobes"]
    assert found["shift_cam_deg"] == pytest.approx(0.3, abs=1e-3)


def test_certificates_are_compared_by_the_tables_they_carry(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    papers = []
    for file in (FOUR, LATER):
        papers.append(tmp_path / f"{file.stem}.pdf")
        assert main(["lobes", str(file), "--out", str(papers[-1]), "--quiet"]) == 0
    capsys.readouterr()
    carried, plain = answer(capsys, *papers), answer(capsys, FOUR, LATER)
    assert carried["lobes"] == plain["lobes"]
    assert [Path(source["file"]) for source in carried["source"]] == papers


def test_paper_verifies_and_carries_both_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    paper = tmp_path / "season.pdf"
    words = ["compare", str(TRAY), str(USED), "--spec", str(SPRING_SPEC), "--out", str(paper), "--quiet"]
    assert main(words) == 4
    assert {TRAY.name, USED.name, SPRING_SPEC.name} <= carried_files(paper).keys()
    assert main(["verify", str(paper)]) == 0
    assert "agrees" in capsys.readouterr().out


def test_job_files_are_compared_by_their_tables(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before, after = SAMPLES / "quillmere_four_camshaft.csv", SAMPLES / "quillmere_four_after_a_season.csv"
    jobs_of = []
    for file in (before, after):
        document = edits.add_files(Document(), [str(file)])
        document = edits.content_arrived(document, document.files[0], read_content(document.files[0]))
        jobs_of.append(tmp_path / f"{file.stem}.valvejob")
        jobs_of[-1].write_bytes(jobs.packed(document, jobs_of[-1].name))
    code = main(["compare", str(before), str(after), "--json"])
    plain = json.loads(capsys.readouterr().out)
    assert main(["compare", *map(str, jobs_of), "--json"]) == code
    found = json.loads(capsys.readouterr().out)
    assert found["lobes"] == plain["lobes"]
    jobs_of[1].write_bytes(jobs_of[1].read_bytes()[:900])
    assert main(["compare", *map(str, jobs_of)]) == 3
    assert len(capsys.readouterr().err.strip().splitlines()) == 1
