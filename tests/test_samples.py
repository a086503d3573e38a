"""The sample camshafts: written the same every time, and read back as they were drawn."""

from __future__ import annotations

from pathlib import Path

import make_samples
import numpy as np
import pytest
from make_samples import AT_MM, FOUR, FOUR_TWIST_CAM_DEG, SAMPLES, V8, WORN, samples
from sample_lobes import Flank, Lobe
from something import each

from valvelab.files.lift_table import read_lift_table
from valvelab.files.spec_file import nominal_path, read_spec
from valvelab.inspection.lobes.inspect import LobesInspection, inspect_lobes
from valvelab.records.lobes_result import LobeResult


def inspected(lift: Path, spec_file: Path) -> LobesInspection:
    spec = read_spec(spec_file)
    nominals = {row.nominal: read_lift_table(nominal_path(spec_file, row, 1)) for row in spec.envelope}
    return inspect_lobes(read_lift_table(lift), spec, nominals)


@pytest.fixture(scope="module")
def four() -> LobesInspection:
    return inspected(SAMPLES / "quillmere_four_camshaft.csv", SAMPLES / "quillmere_four_camshaft.toml")


@pytest.fixture(scope="module")
def v8() -> LobesInspection:
    return inspected(SAMPLES / "lake_v8_camshaft.csv", SAMPLES / "lake_v8_camshaft.toml")


def lobes_of(inspection: LobesInspection) -> dict[str, LobeResult]:
    return {lobe.lobe: lobe for lobe in inspection.result.lobes}


@pytest.mark.parametrize("name", list(samples()))
def test_committed_file_is_what_the_script_writes(name: str) -> None:
    assert (SAMPLES / name).read_bytes() == samples()[name].encode()


def test_script_writes_into_a_folder(tmp_path: Path) -> None:
    make_samples.main(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == set(samples())


# plain calculus: each derivative against the central difference of the one below it
@pytest.mark.parametrize("lobe", [FOUR.intake, FOUR.exhaust, V8.intake, V8.exhaust])
@pytest.mark.parametrize("order", [1, 2, 3])
def test_drawn_lobe_derives_from_its_lift(lobe: Lobe, order: int) -> None:
    angle = np.linspace(-130.0, 130.0, 1301) + 0.013
    step = 1e-4
    difference = (lobe.value(angle + step, order - 1) - lobe.value(angle - step, order - 1)) / (2.0 * step)
    assert np.abs(difference - lobe.value(angle, order)).max() < 1e-6


def test_drawn_lobe_reaches_its_lift_at_rest() -> None:
    flank = Flank(0.018, 8, 9, 7, 5, 13, 36)
    lobe = Lobe(7.0, -0.0046, flank, flank).with_duration(230.0, AT_MM)
    assert lobe.value(0.0) == pytest.approx(7.0, abs=1e-12)
    assert lobe.value(0.0, 1) == pytest.approx(0.0, abs=1e-12)
    assert 2.0 * lobe.duration_cam_deg(AT_MM) == pytest.approx(230.0, abs=1e-9)
    ends = np.array([-lobe.duration_cam_deg(AT_MM) / 2.0, lobe.duration_cam_deg(AT_MM) / 2.0])
    assert lobe.value(ends) == pytest.approx([AT_MM, AT_MM], abs=1e-9)


# the drawing itself is the outside figure: lift, duration, peak velocity and acceleration in closed form
@pytest.mark.parametrize(
    ("name", "lobe", "duration"),
    [
        ("quillmere_four_nominal_intake.csv", FOUR.intake, 230.0),
        ("quillmere_four_nominal_exhaust.csv", FOUR.exhaust, 234.0),
        ("lake_v8_nominal_intake.csv", V8.intake, 260.0),
        ("lake_v8_nominal_exhaust.csv", V8.exhaust, 268.0),
    ],
)
def test_nominal_reads_back_as_drawn(name: str, lobe: Lobe, duration: float) -> None:
    (found,) = inspect_lobes(read_lift_table(SAMPLES / name)).result.lobes
    at = next(row for row in found.durations if row.at_mm == AT_MM)
    fine = np.arange(-180.0, 180.0, 0.01)
    assert found.max_lift_mm == pytest.approx(lobe.lift_mm, abs=1e-4)
    assert at.duration_crank_deg == pytest.approx(duration, abs=0.01)
    assert found.velocity_max_mm_per_cam_deg == pytest.approx(lobe.value(fine, 1).max(), rel=1e-3)
    assert found.acceleration_max_mm_per_cam_deg2 == pytest.approx(lobe.value(fine, 2).max(), rel=1e-2)


def test_four_shows_every_kind_of_verdict_where_it_was_made(four: LobesInspection) -> None:
    rows = [(row.item, row.characteristic, row.decision) for row in four.result.verdicts if row.decision != "accept"]
    assert sorted(rows) == [
        ("2E", "max_lift", "undecided"),
        (WORN, "envelope", "reject"),
        (WORN, "index_error", "reject"),
        (WORN, "max_lift", "reject"),
    ]
    assert sum(row.decision == "accept" for row in four.result.verdicts) > 40


def test_v8_is_all_right(v8: LobesInspection) -> None:
    assert {row.decision for row in v8.result.verdicts} == {"accept"}
    assert {row.item for row in v8.result.verdicts} >= set(V8.lobes())


def test_wear_is_where_it_was_put(four: LobesInspection) -> None:
    worn = lobes_of(four)[WORN]
    assert worn.envelope is not None
    assert worn.envelope.worst_use_of_band > 3.0
    assert abs(worn.envelope.worst_angle_cam_deg) < 12.0
    assert worn.max_lift_mm is not None
    assert FOUR.exhaust.lift_mm - worn.max_lift_mm == pytest.approx(1e-3 * make_samples.WORN_UM, abs=0.012)
    # worn round the nose only: the lift is passed at 1.27 mm where the drawing says
    at = next(row for row in worn.durations if row.at_mm == AT_MM)
    assert at.duration_crank_deg == pytest.approx(234.0, abs=0.3)


def test_twist_shows_in_the_index_errors(four: LobesInspection) -> None:
    errors = four.result.camshaft.index_errors
    assert errors is not None
    sound = [(int(row.lobe[0]), row.error_cam_deg) for row in errors if row.lobe != WORN]
    slope = np.polyfit(*np.array(sound).T, 1)[0]
    assert slope == pytest.approx(FOUR_TWIST_CAM_DEG, abs=0.02)


@pytest.mark.parametrize(("which", "degrees"), [("four", 108.0), ("v8", 112.0)])
def test_separation_is_the_drawn_one(which: str, degrees: float, request: pytest.FixtureRequest) -> None:
    camshaft = request.getfixturevalue(which).result.camshaft
    # plain geometry: half the sum of the centrelines, here of noses; the worn lobe's cylinder is apart
    sound = [row for row in camshaft.cylinders if not (which == "four" and row.cylinder == int(WORN[0]))]
    for row in each(sound):
        assert row.lobe_separation_cam_deg == pytest.approx(degrees, abs=0.15)


def test_one_reading_stands_off(four: LobesInspection) -> None:
    left_out = {name: lobe.outlier_readings for name, lobe in lobes_of(four).items() if lobe.outliers}
    assert list(left_out) == [make_samples.SPIKE_LOBE]
    (reading,) = left_out[make_samples.SPIKE_LOBE]
    assert reading.angle_cam_deg == pytest.approx(make_samples.SPIKE_CAM_DEG)
    assert 1000.0 * (reading.lift_mm - reading.fitted_lift_mm) == pytest.approx(make_samples.SPIKE_UM, abs=5.0)


@pytest.mark.parametrize(("which", "noise_um"), [("four", 1.2), ("v8", 1.4)])
def test_noise_is_seen(which: str, noise_um: float, request: pytest.FixtureRequest) -> None:
    lobes = request.getfixturevalue(which).result.lobes
    # 720 readings: the standard deviation's own relative scatter is 1/√1440 = 2.6 %
    assert all(lobe.noise_um == pytest.approx(noise_um, rel=0.12) for lobe in lobes)


@pytest.mark.parametrize("which", ["four", "v8"])
def test_contours_can_be_ground(which: str, request: pytest.FixtureRequest) -> None:
    inspection = request.getfixturevalue(which)
    for lobe in inspection.result.lobes:
        assert lobe.curvature.min_convex_radius_mm is not None
        assert lobe.curvature.min_convex_radius_mm > 5.0
        hollow = lobe.curvature.min_concave_radius_mm
        assert hollow is None or (which == "v8" and hollow > 100.0)
    assert not [note for note in inspection.result.notes if "undercut" in note.text]


def test_v8_banks_are_found_as_stated(v8: LobesInspection) -> None:
    errors = v8.result.camshaft.index_errors
    assert errors is not None
    assert len(errors) == 16
    assert max(abs(row.error_cam_deg) for row in errors) < 0.1


def test_inches_and_millimetres_agree(v8: LobesInspection, tmp_path: Path) -> None:
    """1 in = 25.4 mm exactly (international inch): the same table and spec in millimetres give the same answer."""
    lines = (SAMPLES / "lake_v8_camshaft.csv").read_text(encoding="utf-8").splitlines()
    head = [line for line in lines if line.startswith("#")]
    names, *rows = lines[len(head) :]
    swapped = {"roller 0.375 in": "roller 9.525 mm", "0.600 in": "15.24 mm", "0.00003 in": "0.000762 mm"}
    for old, new in swapped.items():
        assert any(old in line for line in head)
        head = [line.replace(old, new) for line in head]
    metric = [
        ",".join([angle, *(repr(float(value) * 25.4) for value in values)])
        for angle, *values in (row.split(",") for row in rows)
    ]
    table = tmp_path / "metric.csv"
    table.write_text("\n".join([*head, names.replace("[in]", "[mm]"), *metric]) + "\n", encoding="utf-8")
    spec = tmp_path / "metric.toml"
    spec.write_text(in_mm((SAMPLES / "lake_v8_camshaft.toml").read_text(encoding="utf-8")), encoding="utf-8")
    for name in ("lake_v8_nominal_intake.csv", "lake_v8_nominal_exhaust.csv"):
        (tmp_path / name).write_bytes((SAMPLES / name).read_bytes())
    other = inspected(table, spec)
    assert_same(
        v8.result.model_dump(include={"lobes", "camshaft"}), other.result.model_dump(include={"lobes", "camshaft"})
    )
    ours = [row.model_dump(exclude={"clause"}) for row in v8.result.verdicts]
    assert_same(ours, [row.model_dump(exclude={"clause"}) for row in other.result.verdicts])


def in_mm(spec: str) -> str:
    """A spec with every quantity in inches written in millimetres."""
    words = []
    for word in spec.split('"'):
        number, _, unit = word.partition(" ")
        words.append(f"{float(number) * 25.4!r} mm" if unit == "in" else word)
    return '"'.join(words)


def assert_same(one: object, other: object, place: str = "") -> None:
    """Equal throughout, numbers to a part in a million or to what a float leaves of them."""
    if isinstance(one, dict):
        assert isinstance(other, dict)
        assert one.keys() == other.keys(), place
        for key in one:
            assert_same(one[key], other[key], f"{place}.{key}")
    elif isinstance(one, (list, tuple)):
        assert isinstance(other, (list, tuple))
        assert len(one) == len(other), place
        for number, pair in enumerate(zip(one, other, strict=True)):
            assert_same(*pair, f"{place}[{number}]")
    elif isinstance(one, float):
        assert one == pytest.approx(other, rel=1e-6, abs=1e-9), place
    else:
        assert one == other, place
