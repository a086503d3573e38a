"""`valvelab motion` as a user meets it: keys, exit codes, refusals, and what the numbers must be."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from analytic_lobe import PolynomialLobe
from pypdf import PdfReader
from something import each

from valvelab.cli.main import main
from valvelab.figures.motion_figures import (
    clearance_figure,
    film_figure,
    force_figure,
    force_map,
    lift_figure,
    pressure_figure,
    resonance_figure,
    sweep_figure,
)
from valvelab.figures.phasing_figures import event_diagram, wheel_dial
from valvelab.files.phasing_sheet import read_phasing_sheet
from valvelab.files.train_file import read_train
from valvelab.inspection.engine.motion import inspect_motion
from valvelab.inspection.engine.phasing import inspect_phasing
from valvelab.inspection.engine.train import MotionLobe, MotionQuestion
from valvelab.phasing.piston import piston_drop
from valvelab.places import sample_profiles

TRAIN = """
[rocker]
ratio = 1.5
[lash]
hot = "0.20 mm"
cold = "0.25 mm"
[valve]
effective_mass = "0.120 kg"
stiffness = "20000 N/mm"
angle = 20
[spring]
seat_force = "300 N"
rate = "40 N/mm"
surge = "520 Hz"
[crank]
throw = "40 mm"
rod = "135 mm"
max_speed = 5000
[timing]
intake_centreline = 106
exhaust_centreline = 110
[clearance]
intake = "6.0 mm"
exhaust = "6.5 mm"
[contact]
length = "14 mm"
follower = "flat"
base_circle_radius = "30 mm"
viscosity = 0.01
pressure_viscosity = 2e-8
lobe_rq = "0.3 um"
follower_rq = 0.1
"""
RIGID = TRAIN.replace('stiffness = "20000 N/mm"\n', "")
READ = """
[[rule_reading]]
valve = "1I"
readings = ["12.{:02d} mm", "12.{:02d} mm", "12.{:02d} mm"]
uncertainty = "0.01 mm"
"""
LIFT_MM = {"1I": 8.0, "1E": 7.5}


def lift_table(folder: Path, lobes: dict[str, float] = LIFT_MM, preamble: str = "") -> Path:
    """A noise-free table of 4-5-6-7 polynomial lobes, intake nose at 130 cam deg, exhaust at 20."""
    angle = np.arange(0.0, 360.0, 1.0)
    columns = [
        PolynomialLobe(lift, 75.0, 130.0 if name.endswith("I") else 20.0).value(angle) for name, lift in lobes.items()
    ]
    path = folder / "lift.csv"
    with path.open("w") as stream:
        stream.write(preamble + ",".join(["angle [cam deg]", *(f"{name} [mm]" for name in lobes)]) + "\n")
        np.savetxt(stream, np.column_stack([angle, *columns]), fmt="%.7f", delimiter=",")
    return path


Answer = tuple[int, str, str]


def run(
    folder: Path, capsys: pytest.CaptureFixture[str], train: str = RIGID, *more: str, table: Path | None = None
) -> Answer:
    (folder / "train.toml").write_text(train)
    path = table or lift_table(folder)
    code = main(["motion", str(path), "--train", str(folder / "train.toml"), *more])
    return code, *capsys.readouterr()


def answer(folder: Path, capsys: pytest.CaptureFixture[str], train: str = RIGID, *more: str) -> dict:
    code, out, _ = run(folder, capsys, train, "--json", *more)
    assert code == 0
    return json.loads(out)


def test_lifts_are_ratio_and_lash(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(tmp_path, capsys)
    for valve in each(found["valves"]):
        lobe = LIFT_MM[valve["lobe"]]
        assert valve["rule_lift_mm"] == pytest.approx(1.5 * lobe, abs=2e-4)
        assert valve["max_valve_lift_mm"] == pytest.approx(1.5 * lobe - 0.2, abs=2e-4)


def test_cold_lash_where_it_is_asked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(tmp_path, capsys, RIGID.replace('cold = "0.25 mm"', 'cold = "0.25 mm"\nuse = "cold"'))
    assert found["valves"][0]["max_valve_lift_mm"] == pytest.approx(11.75, abs=2e-4)
    assert found["valves"][0]["rule_lift_mm"] == pytest.approx(12.0, abs=2e-4)


def test_events_lift_at_dead_centre_and_seating_against_the_law(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = answer(tmp_path, capsys, RIGID, "--at", "2 mm")
    lobe = PolynomialLobe(8.0, 75.0, 53.0)
    crank = np.linspace(-60.0, 280.0, 340_001)
    lift = np.maximum(1.5 * lobe.value(crank / 2.0) - 0.2, 0.0)
    valve = found["valves"][0]
    assert valve["valve_lift_at_gas_exchange_tdc_mm"] == pytest.approx(lift[np.argmin(np.abs(crank))], abs=5e-4)
    row = next(row for row in valve["durations"] if row["at_mm"] == 2.0)
    above = crank[lift >= 2.0]
    assert row["opening_crank_deg"] == pytest.approx(above[0], abs=0.02)
    assert row["closing_crank_deg"] == pytest.approx(above[-1], abs=0.02)
    assert row["duration_crank_deg"] == pytest.approx(above[-1] - above[0], abs=0.03)
    assert row["opening_cam_deg"] == pytest.approx(130.0 + 0.5 * (above[0] - 106.0), abs=0.02)
    assert row["closing_event"]["reference"] == "ABDC"
    assert row["closing_event"]["angle"] == pytest.approx(above[-1] - 180.0, abs=0.02)
    speed = np.abs(np.gradient(1.5 * lobe.value(crank / 2.0), crank))
    assert valve["seating_velocity_mm_per_crank_deg"] == pytest.approx(speed[np.flatnonzero(lift > 0)[-1]], rel=5e-3)


def test_piston_clearance_against_a_dense_scan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(tmp_path, capsys)
    crank = np.linspace(-100.0, 100.0, 40_001)
    for valve, nose, stated in each(zip(found["valves"], (53.0, -55.0), (6.0, 6.5), strict=True)):
        lift = np.maximum(1.5 * PolynomialLobe(LIFT_MM[valve["lobe"]], 75.0, nose).value(crank / 2.0) - 0.2, 0.0)
        clearance = stated + piston_drop(crank, 40.0, 135.0) * np.cos(np.radians(20.0)) - lift
        assert valve["piston_clearance"]["min_mm"] == pytest.approx(clearance.min(), abs=1e-3)
        assert valve["piston_clearance"]["at_crank_deg"] == pytest.approx(crank[clearance.argmin()], abs=0.2)


def test_control_against_the_law(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Lowest √(F/(−m a)) of the law itself, off the seat; the margin at the greatest speed likewise."""
    found = answer(tmp_path, capsys)
    lobe = PolynomialLobe(8.0, 75.0)
    cam = np.linspace(-75.0, 75.0, 60_001)
    lift = 1.5 * lobe.value(cam) - 0.2
    bend = 1.5 * lobe.value(cam, 2) * (180.0 / np.pi) ** 2
    force = 300.0 + 40.0 * lift
    failing = (lift > 0) & (bend < 0)
    omega = np.sqrt(force[failing] / (0.120e-3 * -bend[failing])).min()
    control = found["valves"][0]["control"]
    assert control["separation_rpm"] == pytest.approx(omega * 60.0 / np.pi, rel=2e-3)
    at_max = force + 0.120e-3 * bend * (5000.0 * np.pi / 60.0) ** 2
    assert control["margin_n_at_max_speed"] == pytest.approx(at_max[lift > 0].min(), abs=3.0)
    assert control["dynamic_separation_rpm"] is None
    first = control["spring_resonances"][0]
    assert first["crank_rpm"] == pytest.approx(60 * 2 * 520 / first["order"])
    sizes = [row["lift_harmonic_um"] for row in control["spring_resonances"]]
    assert sizes == sorted(sizes, reverse=True)


def test_dynamic_model_runs_where_the_gears_stiffness_is_stated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = answer(tmp_path, capsys, TRAIN)
    control = found["valves"][0]["control"]
    assert 0.5 * control["separation_rpm"] < control["dynamic_separation_rpm"] < 1.05 * control["separation_rpm"]
    assert len(control["dynamic"]["crank_rpm"]) == len(control["dynamic"]["loft_mm"])
    assert any("never a safe speed" in note["text"] for note in found["notes"])
    # the gear gives way by (F + k v)/K
    assert found["valves"][0]["max_valve_lift_mm"] == pytest.approx((12.0 - 0.2 - 0.015) / 1.002, abs=3e-4)
    assert answer(tmp_path, capsys, TRAIN, "--no-dynamics")["valves"][0]["control"]["dynamic"] is None


def test_what_is_not_stated_is_null_with_its_note(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(tmp_path, capsys, "[rocker]\nratio = 1.5\n[timing]\nintake_centreline = 106\n")
    intake, exhaust = found["valves"]
    assert intake["control"] is None
    assert intake["piston_clearance"] is None
    assert intake["contact"] == []
    assert intake["valve_lift_at_gas_exchange_tdc_mm"] is not None
    assert exhaust["valve_lift_at_gas_exchange_tdc_mm"] is None
    assert exhaust["durations"][2]["duration_crank_deg"] is not None
    assert exhaust["durations"][2]["opening_event"] is None
    assert any(note["about"] == "1E" and "centreline" in note["text"] for note in found["notes"])


def test_without_timing_the_tables_angle_counts_and_an_odd_zero_is_noticed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = answer(tmp_path, capsys, "[rocker]\nratio = 1.5\n")
    row = found["valves"][0]["durations"][2]
    assert 0.5 * (row["opening_crank_deg"] + row["closing_crank_deg"]) == pytest.approx(260.0, abs=0.02)
    assert any("state [timing]" in note["text"] for note in found["notes"])


def test_a_valve_that_never_opens_is_said_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "train.toml").write_text(TRAIN.replace('hot = "0.20 mm"', 'hot = "4.9 mm"'))
    table = lift_table(tmp_path, {"1I": 8.0, "1E": 3.0})
    assert main(["motion", str(table), "--train", str(tmp_path / "train.toml"), "--json", "--quiet"]) == 0
    found = json.loads(capsys.readouterr().out)
    intake, exhaust = found["valves"]
    assert intake["control"]["dynamic"] is not None
    assert exhaust["max_valve_lift_mm"] == 0.0
    assert exhaust["control"] is None
    assert exhaust["seating_velocity_mm_per_crank_deg"] is None
    assert any(note["about"] == "1E" and "never opens" in note["text"] for note in found["notes"])


def test_a_gear_too_stiff_to_integrate_is_left_out_with_a_note(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = answer(tmp_path, capsys, TRAIN.replace("20000 N/mm", "2e9 N/mm"))
    assert found["valves"][0]["control"]["dynamic_separation_rpm"] is None
    assert found["valves"][0]["control"]["separation_rpm"] is not None
    assert any("steps a cycle" in note["text"] for note in found["notes"])


def test_no_figure_past_the_free_travel(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    soft = TRAIN.replace('"300 N"', '"100 N"').replace('"40 N/mm"', '"10 N/mm"').replace('"520 Hz"', '"300 Hz"')
    soft = soft.replace("max_speed = 5000", "max_speed = 11000")
    found = answer(tmp_path, capsys, soft)
    dynamic = found["valves"][0]["control"]["dynamic"]
    assert dynamic["free_travel_mm"] == pytest.approx(1.5 * 11.8, abs=1e-3)
    first = dynamic["crank_rpm"].index(dynamic["beyond_travel_rpm"])
    for key in ("least_force_n", "peak_force_n", "loft_mm", "bounce_mm", "seating_speed_m_per_s", "coils_touch"):
        assert None not in dynamic[key][:first]
        assert set(dynamic[key][first:]) == {None}
    assert max(dynamic["loft_mm"][:first]) < dynamic["free_travel_mm"]
    said = [note["text"] for note in found["notes"] if "beyond its free travel of 17.7 mm" in note["text"]]
    assert said
    # table and plots say the same
    code, out, _ = run(tmp_path, capsys, soft)
    assert code == 0
    assert "beyond free travel" in out
    assert f"{dynamic['beyond_travel_rpm']:.0f}" in out
    train, source = read_train(tmp_path / "train.toml")
    profile = PolynomialLobe(8.0, 75.0, 130.0)
    inspection = inspect_motion(MotionQuestion((MotionLobe("1I", "intake", profile, 130.0),), train), None, (source,))
    own = inspection.result.valves[0].control.dynamic
    first = own.crank_rpm.index(own.beyond_travel_rpm)
    assert 0 < first < len(own.crank_rpm) - 1
    figure = sweep_figure(inspection, "1I")
    assert figure is not None
    assert all(np.isnan(curve.y[first:]).all() and np.isfinite(curve.y[:first]).all() for curve in figure.curves)
    assert any("beyond free travel" in text for marks in figure.marks for text in marks.texts)
    drawn = force_map(inspection, "1I")
    assert drawn is not None
    assert np.isnan(drawn.values[first:]).all()


def test_duration_uncertainty_is_what_the_lash_does(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A lift off by δ everywhere moves both events outward; the stated uncertainty is that shift for δ = u."""
    found = answer(tmp_path, capsys, RIGID.replace("[lash]\n", '[lash]\nuncertainty = "0.02 mm"\n'))
    less = answer(tmp_path, capsys, RIGID.replace('hot = "0.20 mm"', 'hot = "0.18 mm"'))
    for row, other in each(zip(found["valves"][0]["durations"], less["valves"][0]["durations"], strict=True)):
        shift = other["duration_crank_deg"] - row["duration_crank_deg"]
        assert row["uncertainty"]["duration_crank_deg"] == pytest.approx(shift, rel=0.05)


def test_lift_read_at_the_valve_has_the_rocker_in_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = lift_table(tmp_path, preamble="# lift at: valve\n")
    code, out, _ = run(tmp_path, capsys, RIGID, "--json", table=table)
    assert code == 0
    assert json.loads(out)["valves"][0]["rule_lift_mm"] == pytest.approx(8.0, abs=2e-4)


@pytest.mark.parametrize(
    ("limit", "extra", "code"),
    [
        ('of = "rule_lift"\nvalves = ["1I"]\nmax = "12.1 mm"', "", 0),
        ('of = "rule_lift"\nlobes = "intake"\nmax = "11.9 mm"', "", 1),
        # the inspector's indicator at the retainer decides where it was read, with its scatter
        ('of = "rule_lift"\nvalves = ["1I"]\nmax = "12.1 mm"', READ.format(9, 11, 10), 4),
        ('of = "rule_lift"\nvalves = ["1I"]\nmax = "12.1 mm"', READ.format(29, 31, 30), 1),
        ('of = "valve_duration"\nlobes = "intake"\nat = "1.27 mm"\nmin = 100\nmax = 300', "", 0),
        ('of = "dynamic_separation"\nmin = 6000', "", 4),
        ('of = "max_lift"\nmax = "1 mm"', "", 0),
    ],
)  # fmt: skip
def test_exit_codes(tmp_path: Path, capsys: pytest.CaptureFixture[str], limit: str, extra: str, code: int) -> None:
    spec = tmp_path / "spec.toml"
    spec.write_text(f'[[limit]]\nclause = "7.3"\n{limit}\n')
    assert run(tmp_path, capsys, RIGID + extra, "--spec", str(spec))[0] == code


@pytest.mark.parametrize(
    ("found", "instead", "words"),
    [
        ("ratio = 1.5", "ratio = 15", "ratio"),
        ('hot = "0.20 mm"', 'hot = "0.20 N"', "hot"),
        ('hot = "0.20 mm"', 'hot = "-0.20 mm"', "hot"),
        ('hot = "0.20 mm"', "", "hot"),
        ('rod = "135 mm"', 'rod = "13 mm"', "rod"),
        ('seat_force = "300 N"', 'seat_force = "300 mm"', "seat_force"),
        ('effective_mass = "0.120 kg"', 'efective_mass = "0.120 kg"', "efective_mass"),
        ("angle = 20", "angle = 95", "angle"),
        ('follower = "flat"', 'follower = "round"', "follower"),
        ("viscosity = 0.01\n", "viscosity = 1e9\n", "viscosity"),
        ("ratio = 1.5", '[[rocker.point]]\nfollower_lift = "4 mm"\nvalve_lift = "6 mm"', "rocker points end"),
        ("[crank]", "[crank", "train.toml"),
    ],
)
def test_refusals_are_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], found: str, instead: str, words: str
) -> None:
    assert found in RIGID
    train = RIGID.replace(found, instead, 1).replace("[rocker]\n[[rocker", "[[rocker")
    code, out, err = run(tmp_path, capsys, train)
    assert (code, out) == (3, "")
    assert len(err.strip().splitlines()) == 1, err
    assert words in err


def test_a_train_is_needed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["motion", str(lift_table(tmp_path))]) == 2
    assert "--train" in capsys.readouterr().err


def test_text_shows_the_caution_and_inches(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(tmp_path, capsys, TRAIN, "--units", "inch", "--no-dynamics")
    assert code == 0
    assert "never safe speeds" in out
    assert "in" in out.splitlines()[1].split()
    assert f"{12.0 / 25.4:.4f}"[:6] in out
    assert "Traceback" not in err


def test_coil_data_give_surge_and_rate(tmp_path: Path) -> None:
    """Chrome-silicon wire 4 mm, D 26 mm, 5 coils: 28.11106 N/mm and 417.6594 Hz (recomputed handbook formulas)."""
    (tmp_path / "t.toml").write_text(
        '[spring]\nseat_force = "300 N"\nwire_diameter = "4 mm"\nmean_coil_diameter = "26 mm"\nactive_coils = 5\n'
        'shear_modulus = "77.2 GPa"\ninstalled_height = "40 mm"\nsolid_height = "1.0 in"\n'
    )
    train, _ = read_train(tmp_path / "t.toml")
    assert train.spring.surge_hz == pytest.approx(417.6594, abs=1e-3)
    assert train.spring.rate_n_per_mm == pytest.approx(28.11106, abs=1e-4)
    assert train.spring.bind_travel_mm == pytest.approx(14.6)


def test_geometry_and_points_read_alike(tmp_path: Path) -> None:
    (tmp_path / "t.toml").write_text(
        '[rocker.geometry]\nvalve_arm = "36 mm"\npushrod_arm = "24 mm"\nvalve_arm_angle = 9\npushrod_arm_angle = 9\n'
    )
    assert float(read_train(tmp_path / "t.toml")[0].rocker.rocker.curve(6.0).valve_lift_mm) == pytest.approx(9.0)


# samples and figures


def lobes_of_the_tests() -> tuple[MotionLobe, ...]:
    return (
        MotionLobe("1I", "intake", PolynomialLobe(7.6, 75.0), 0.0, 0.002),
        MotionLobe("1E", "exhaust", PolynomialLobe(7.6, 75.0), 0.0, 0.002),
    )


@pytest.mark.parametrize("sample", ["quillmere_four_train.toml", "lake_v8_train.toml"])
def test_sample_trains_are_inspected_and_drawn(sample: str) -> None:
    train, _ = read_train(sample_profiles() / sample)
    question = MotionQuestion(lobes_of_the_tests(), train, sweep_speeds=6)
    inspection = inspect_motion(question)
    assert inspection.result.valves[0].control is not None
    assert inspection.result.valves[0].piston_clearance.min_mm > 0.0
    lift = lift_figure(inspection)
    assert {curve.role for curve in lift.curves} >= {"intake", "exhaust", "nominal", "guide"}
    for draw in (clearance_figure, force_figure, resonance_figure, sweep_figure, force_map):
        assert draw(inspection, "1I") is not None, draw.__name__
    shown = force_map(inspection, "1I")
    assert shown.values.shape == (len(shown.rows), shown.x.size)
    has_contact = train.contact is not None
    assert (pressure_figure(inspection, "1I") is not None) == has_contact
    assert (film_figure(inspection, "1I") is not None) == has_contact


def test_the_misread_sample_sheet_is_noticed_and_the_good_one_is_not() -> None:
    good, _ = read_phasing_sheet(sample_profiles() / "quillmere_four_degree_wheel.toml")
    bad, _ = read_phasing_sheet(sample_profiles() / "quillmere_four_degree_wheel_misread.toml")
    assert not [note for note in inspect_phasing(good).result.notes if note.level == "warning"]
    inspection = inspect_phasing(bad)
    warnings = [note for note in inspection.result.notes if note.level == "warning"]
    assert warnings[0].about == "1I at 1.27 mm"
    assert "the closing, 236.75, is the likelier" in warnings[0].text
    assert inspection.next_reading.what == "repeat"
    assert "1I at 1.27 mm" in inspection.next_reading.instruction
    diagram = event_diagram(inspection)
    assert {curve.role for curve in diagram.curves} >= {"intake", "exhaust", "nominal"}
    assert len(wheel_dial(inspection).labels) == len(wheel_dial(inspection).angles_deg)


@pytest.mark.parametrize("command", ["phasing", "motion"])
def test_certificates_verify(tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str) -> None:
    """The certificate is written without a display, and computing it again agrees."""
    certificate = tmp_path / "answer.pdf"
    if command == "phasing":
        words = ["phasing", str(sample_profiles() / "quillmere_four_degree_wheel.toml")]
    else:
        (tmp_path / "train.toml").write_text(RIGID)
        words = ["motion", str(lift_table(tmp_path)), "--train", str(tmp_path / "train.toml")]
    assert main([*words, "--out", str(certificate), "--quiet"]) == 0
    assert main(["verify", str(certificate)]) == 0
    assert "agrees" in capsys.readouterr().out
    text = "".join(page.extract_text() for page in PdfReader(certificate).pages)
    assert "safe speeds" in text if command == "motion" else "piston stop" in text


def test_a_measured_spring_stands_in_the_train(tmp_path: Path) -> None:
    from valvelab.files.spring_readings import read_spring_readings
    from valvelab.inspection.engine.sides import train_with_spring
    from valvelab.inspection.springs.inspect import SpringsQuestion, inspect_springs
    from valvelab.records.wire_materials import read_wire_materials

    readings = read_spring_readings(sample_profiles() / "springs_quillmere_tray.csv")
    springs = inspect_springs(SpringsQuestion(readings, materials=read_wire_materials())).result
    train, _ = read_train(sample_profiles() / "quillmere_four_train.toml")
    taken, notes = train_with_spring(train, springs.springs[0], springs.installed_height_mm)
    assert taken.spring.seat_force_n == springs.springs[0].seat_force_n
    assert taken.spring.surge_hz == springs.springs[0].surge_hz
    assert taken.spring.bind_travel_mm == pytest.approx(
        springs.installed_height_mm - springs.springs[0].solid_height_mm
    )
    assert springs.springs[0].spring in notes[0].text


def test_what_a_short_train_leaves_open_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    document = answer(tmp_path, capsys, "[rocker]\nratio = 1.5\n", "--no-dynamics")
    assert all(valve["piston_clearance"] is None and valve["control"] is None for valve in document["valves"])
    about = {note["about"] for note in document["notes"]}
    assert {"lash", "piston_clearance", "control"} <= about


CRASH_INPUTS = Path(__file__).parent / "crash_inputs"
SAMPLE_TRAIN = (sample_profiles() / "quillmere_four_train.toml").read_text()
NUMBER_LINE = re.compile(r'(?!valve)\w+ = "?[\d.]')
NUMBERS = [line.split(" = ")[0] for line in SAMPLE_TRAIN.splitlines() if NUMBER_LINE.match(line)]


def test_a_train_that_once_crashed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(tmp_path, capsys, (CRASH_INPUTS / "train_spring_rate_out_of_range.toml").read_text())
    assert (code, out, err.count("\n")) == (3, "", 1)
    assert "[spring] rate: found 1e+308, expected a rate of 0.001 to 1e+10 N/mm" in err


@pytest.mark.parametrize("number", ["1e308", "-1e308", "1e-308", '"9e307 kN/m"'])
@pytest.mark.parametrize("line", range(len(NUMBERS)))
def test_train_numbers_out_of_all_reason_are_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], line: int, number: str
) -> None:
    rows, seen = SAMPLE_TRAIN.splitlines(), -1
    for place, row in enumerate(rows):
        seen += bool(NUMBER_LINE.match(row))
        if seen == line:
            rows[place] = f"{NUMBERS[line]} = {number}"
            break
    code, out, err = run(tmp_path, capsys, "\n".join(rows), "--no-dynamics")
    if code == 0:  # a size below anything that matters (an angle, a lash) is as good as none
        assert number == "1e-308"
        assert NUMBERS[line] in {"angle", "hot", "cold", "intake_centreline", "exhaust_centreline"}
        return
    assert (code, out, err.count("\n")) == (3, "", 1)
    assert NUMBERS[line].replace("_", " ") in err.replace("_", " ")


def judged(folder: Path, capsys: pytest.CaptureFixture[str], limits: str, train: str = RIGID) -> list[dict]:
    (folder / "spec.toml").write_text(limits)
    _, out, _ = run(folder, capsys, train, "--spec", str(folder / "spec.toml"), "--json", "--no-dynamics")
    return json.loads(out)["verdicts"]


def test_events_at_the_valve_are_judged_at_any_lift(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    limits = "".join(
        f'[[limit]]\nof = "{of}"\nat = "2.5 mm"\n{where}\n{ends}\n'
        for of, where, ends in (
            ("opening", 'lobes = "intake"', "min = -40\nmax = 40"),
            ("closing", 'valves = "intake"', 'max = "60 ABDC"'),
            ("closing", 'lobes = "exhaust"', "min = -40\nmax = 60"),
            ("valve_duration", 'lobes = "intake"', "min = 100\nmax = 300"),
        )
    )
    rows = judged(tmp_path, capsys, limits)
    assert [row["decision"] for row in rows] == ["accept"] * 4
    crank = np.linspace(-60.0, 280.0, 340_001)
    above = crank[np.maximum(1.5 * PolynomialLobe(8.0, 75.0, 53.0).value(crank / 2.0) - 0.2, 0.0) >= 2.5]
    # intake opening BTDC, closing ABDC: the law's own crossings counted from 0 and 180
    assert rows[0]["measured"] == pytest.approx(-above[0], abs=0.02)
    assert rows[1]["measured"] == pytest.approx(above[-1] - 180.0, abs=0.02)
    # exhaust closing ATDC, the law's centre 110 BTDC
    late = PolynomialLobe(7.5, 75.0, -55.0)
    crank -= 200.0
    above = crank[np.maximum(1.5 * late.value(crank / 2.0) - 0.2, 0.0) >= 2.5]
    assert rows[2]["measured"] == pytest.approx(above[-1], abs=0.02)
    assert all("the timing's own uncertainty is not known" in row["reason"] for row in rows[:3])


def test_an_event_without_a_known_dead_centre_is_undecided(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    limit = '[[limit]]\nof = "opening"\nat = "1 mm"\nlobes = "exhaust"\nmax = "60 BBDC"\n'
    (row,) = judged(tmp_path, capsys, limit, RIGID.replace("exhaust_centreline = 110\n", ""))
    assert (row["decision"], row["measured"]) == ("undecided", None)
    assert "dead centre is not known" in row["reason"]


def test_what_is_not_derived_is_undecided(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    limits = (
        '[[limit]]\nof = "piston_clearance"\nmin = "2 mm"\n[[limit]]\nof = "valve_duration"\nat = "40 mm"\nmax = 300\n'
    )
    train = RIGID[: RIGID.index("[clearance]")]
    rows = judged(tmp_path, capsys, limits, train)
    assert [(row["decision"], row["measured"]) for row in rows] == [("undecided", None)] * 4
    assert all(row["reason"] for row in rows)


WITHOUT_ROCKER = RIGID.replace("[rocker]\nratio = 1.5\n", "")


@pytest.mark.parametrize("rocker", ["", "[rocker]\n", "[rocker]\nuncertainty = 0.01\n"])
def test_without_a_rocker_the_lift_at_the_valve_is_not_known(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], rocker: str
) -> None:
    code, out, err = run(tmp_path, capsys, rocker + WITHOUT_ROCKER)
    assert (code, out) == (3, "")
    assert err.count("\n") == 1
    assert "[rocker]" in err
    assert "train.toml" in err


def test_without_a_rocker_a_lift_read_at_the_valve_stands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = lift_table(tmp_path, preamble="# lift at: valve\n")
    code, out, _ = run(tmp_path, capsys, WITHOUT_ROCKER, "--json", table=table)
    assert code == 0
    assert json.loads(out)["valves"][0]["rule_lift_mm"] == pytest.approx(8.0, abs=2e-4)


def readings(*values: str, more: str = "") -> str:
    listed = ", ".join(f'"{value} mm"' for value in values)
    return f'\n[[rule_reading]]\nvalve = "1I"\nreadings = [{listed}]\nuncertainty = "0.008 mm"\n{more}'


RULE = '[[limit]]\nof = "rule_lift"\nvalves = ["1I"]\nmax = "10.90 mm"\n'
STRAY = ("10.85", "10.86", "10.50", "10.87", "10.85")


def test_a_reading_that_stands_off_leaves_the_rule_lift_undecided(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (row,) = judged(tmp_path, capsys, RULE, RIGID + readings(*STRAY))
    assert row["decision"] == "undecided"
    assert "rule reading 3 (10.5 mm) stands off from the others" in row["reason"]
    found = json.loads(run(tmp_path, capsys, RIGID + readings(*STRAY), "--json")[1])["valves"][0]["rule_readings"]
    assert (found["doubtful_readings"], found["readings_mm"][2], found["count"]) == ([2], 10.5, 5)


def test_set_aside_with_a_reason_it_no_longer_counts_and_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    train = RIGID + readings(*STRAY, more='[[rule_reading.set_aside]]\nreading = 3\nreason = "stylus slipped"\n')
    (row,) = judged(tmp_path, capsys, RULE, train)
    # 10.85, 10.86, 10.87, 10.85: mean 10.8575; s/√4 · √(3/1), JCGM 101 6.4.9, beside the indicator's 0.008
    s = np.std([10.85, 10.86, 10.87, 10.85], ddof=1)
    assert row["measured"] == pytest.approx(10.8575)
    assert row["standard_uncertainty"] == pytest.approx(np.hypot(s / 2.0 * 3.0**0.5, 0.008), rel=1e-6)
    assert row["decision"] == "accept"
    _, _, err = run(tmp_path, capsys, train)
    assert "rule reading 3, 10.5 mm, set aside: stylus slipped" in err
    assert "accept" in run(tmp_path, capsys, train, "--spec", str(tmp_path / "spec.toml"))[1]


@pytest.mark.parametrize("number", [0, 6])
def test_a_reading_set_aside_must_be_there(tmp_path: Path, capsys: pytest.CaptureFixture[str], number: int) -> None:
    train = RIGID + readings(*STRAY, more=f'[[rule_reading.set_aside]]\nreading = {number}\nreason = "x"\n')
    code, _, err = run(tmp_path, capsys, train)
    assert code == 3
    assert f"[[rule_reading]] 1 set_aside: found reading {number}, expected one of 1 to 5" in err


def test_what_the_uncertainty_of_the_readings_lacks_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (row,) = judged(tmp_path, capsys, RULE, RIGID + '\n[[rule_reading]]\nvalve = "1I"\nreadings = ["10.80 mm"]\n')
    assert "the indicator's uncertainty is not stated" in row["reason"]
    assert "one reading tells nothing of its repeatability" in row["reason"]
    # never below the division over √12
    assert row["standard_uncertainty"] == pytest.approx(0.01 / 12.0**0.5)


def test_an_error_of_angle_reaches_the_events_at_the_valve(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0.05 cam deg is 0.1 crank deg at one event; where it is not stated, the limit on a duration says so."""
    limit = '[[limit]]\nof = "valve_duration"\nat = "1 mm"\nmin = 100\nmax = 400\n'
    (tmp_path / "spec.toml").write_text(limit)
    uncertain, reasons = [], []
    for preamble in ("", "# encoder uncertainty: 0.05 cam deg\n"):
        table = lift_table(tmp_path, preamble=preamble)
        code, out, _ = run(tmp_path, capsys, RIGID, "--json", "--spec", str(tmp_path / "spec.toml"), table=table)
        assert code == 0
        document = json.loads(out)
        uncertain.append(document["valves"][0]["durations"][2]["uncertainty"])
        reasons.append({bool(row["reason"]) for row in document["verdicts"]})
    plain, stated = uncertain
    for event in ("opening_crank_deg", "closing_crank_deg"):
        assert np.sqrt(stated[event] ** 2 - plain[event] ** 2) == pytest.approx(0.1)
    assert stated["duration_crank_deg"] > np.hypot(plain["duration_crank_deg"], 0.1)
    assert reasons == [{True}, {False}]
