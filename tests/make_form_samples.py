"""Writes the samples of shaft form, surface and gauge anew: `python tests/make_form_samples.py [FOLDER]`.

A bowed shaft with two tracks of one lobe, a flank with grooves, a finely finished journal, a dial read by three people.
All invented. The noise comes from fixed sequences, so the files come out the same every time.
"""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import numpy as np
from make_samples import FOUR, REMARK, SAMPLES, Array, Scatter

from valvelab.files.smd import checksum

STATIONS_MM = {"J1": 14, "J2": 82, "J3": 150, "J4": 218, "J5": 286}
JOURNAL_TURN_DEG = np.arange(0.0, 720.0, 5.0)
BOW_UM, TWIST_UM = 5.6, 0.8
LOBE_TRACKS_MM = (176, 184)
TAPER_UM = 9.0
RESOLUTION_UM = 0.1
# by station: order, amplitude in µm, direction in deg
FORM = {
    "J1": ((2, 0.55, 20.0), (3, 0.35, 80.0), (7, 0.22, 5.0)),
    "J2": ((2, 0.75, 65.0), (3, 0.45, 10.0), (7, 0.24, 15.0)),
    "J3": ((2, 1.20, 170.0), (3, 0.60, 40.0), (5, 0.30, 12.0), (7, 0.22, 25.0)),
    "J4": ((2, 0.60, 100.0), (3, 0.40, 70.0), (7, 0.23, 35.0)),
    "J5": ((2, 0.45, 130.0), (3, 0.35, 20.0), (7, 0.20, 45.0)),
}
SHAFT_PREAMBLE = {
    "part": "Quillmere club four camshaft",
    "serial": "Q4-017",
    "support": "centres",
    "probe uncertainty": "0.4 um",
    "journal diameter": "47.60 mm",
    "operator": "E. W.",
    "instrument": "bench on centres, lever probe 0.1 um",
    "date": "2026-03-14",
    "remark": REMARK,
}
SPEC = """\
title = "Quillmere club four camshaft, form and surface"
revision = "B"

[[limit]]
of = "tir"
stations = ["J2", "J3", "J4"]
max = "0.04 mm"
clause = "drawing Q4-C, note 3"

[[limit]]
of = "roundness_mzc"
max = "5 um"

[[limit]]
of = "straightness"
max = "20 um"

[[limit]]                   # two-sided: too smooth holds no oil
of = "ra"
min = "0.1 um"
max = "0.4 um"
clause = "drawing Q4-C, note 5"

[[limit]]
of = "rvk"
min = "0.2 um"

[[limit]]
of = "grr_percent"
max = 30
"""

STEP_MM = 0.001
TRACE_POINTS = 5600
PARTS_UM = (25.0, 9.0, 33.0, 15.0, 15.5, 19.5, 16.0, 28.0, 12.5, 21.5)
APPRAISERS_UM = {"A": 0.1, "B": 0.5, "C": -0.6}
TRIALS = 3


def centre_um(position_mm: float) -> tuple[float, float]:
    """Where the axis runs at a place along the shaft, (toward 0 deg, toward 90 deg): a bow, not quite in one plane."""
    along = (position_mm - 14.0) / (286.0 - 14.0)
    bow, across = BOW_UM * np.sin(np.pi * along), TWIST_UM * np.sin(2.0 * np.pi * along)
    direction = np.radians(205.0)
    lean = 0.8 + 1.4 * along
    return (
        float(2.0 * bow * np.cos(direction) - across * np.sin(direction) + lean),
        float(2.0 * bow * np.sin(direction) + across * np.cos(direction) - lean),
    )


def journal_um(name: str, angle_deg: Array) -> Array:
    """What an ideal probe reads round a journal."""
    turn = np.radians(angle_deg)
    east, north = centre_um(STATIONS_MM[name])
    form = sum(size * np.cos(order * (turn - np.radians(place))) for order, size, place in FORM[name])
    return np.asarray(east * np.cos(turn) + north * np.sin(turn) + form)


def journals() -> str:
    """Readings round five journals, two turns each, and round one lobe in two tracks."""
    scatter = Scatter(5017)
    lines = [f"# {key}: {value}" for key, value in SHAFT_PREAMBLE.items()]
    lines.append("station, position [mm], angle [deg], reading [um]")
    for name, place in STATIONS_MM.items():
        values = journal_um(name, JOURNAL_TURN_DEG) + scatter.normal(JOURNAL_TURN_DEG.size, 0.12)
        lines += [f"{name}, {place}, {a:.0f}, {_read(v)}" for a, v in zip(JOURNAL_TURN_DEG, values, strict=True)]
    angle = np.arange(0.0, 360.0, 5.0)
    for place in LOBE_TRACKS_MM:
        lower = TAPER_UM * (place - LOBE_TRACKS_MM[0]) / (LOBE_TRACKS_MM[1] - LOBE_TRACKS_MM[0])
        values = 1000.0 * FOUR.intake.value(angle - 110.0) - lower + scatter.normal(angle.size, 0.12)
        lines += [f"3I, {place}, {a:.0f}, {_read(v)}" for a, v in zip(angle, values, strict=True)]
    return "\n".join(lines) + "\n"


def _read(value_um: float) -> str:
    return f"{RESOLUTION_UM * round(value_um / RESOLUTION_UM) + 0.0:.1f}"


def smoothed(values: Array, length: int) -> Array:
    """A weighted mean along the trace, of the same length and scatter."""
    weights = np.exp(-0.5 * np.square(np.linspace(-2.5, 2.5, 2 * length + 1)))
    weights /= np.sqrt(np.square(weights).sum())
    return np.convolve(values, weights, mode="same")


def flank_um() -> tuple[Array, Array]:
    """A lobe's flank: ground crests worn level, the grooves between them left to hold oil, on a slow wave."""
    scatter = Scatter(3100)
    x = STEP_MM * np.arange(TRACE_POINTS)
    crests = 0.16 * smoothed(scatter.normal(TRACE_POINTS, 1.0), 8)
    level = np.where(crests > 0.0, 0.45 * crests, crests)
    grooves = np.zeros(TRACE_POINTS)
    for _ in range(46):
        place, width, depth = scatter.between(0.0, 5.6), scatter.between(0.006, 0.020), scatter.between(0.3, 1.5)
        grooves -= depth * np.exp(-np.square((x - place) / width))
    wave = 0.9 * np.sin(2.0 * np.pi * (x - 0.9) / 6.4) + 0.12 * np.sin(2.0 * np.pi * x / 1.7)
    return x, level + grooves + wave + scatter.normal(TRACE_POINTS, 0.004)


def flank() -> str:
    """The flank as a table."""
    lines = [
        "# surface: lobe 3I, flank, along the sense of sliding",
        "# height uncertainty: 2 %",
        f"# remark: {REMARK}",
    ]
    lines.append("x [mm], z [um]")
    return "\n".join([*lines, *(f"{x:.3f},{z + 0.0:.4f}" for x, z in zip(*flank_um(), strict=True))]) + "\n"


def journal_surface_um() -> Array:
    """A finished journal of the V8: even crests and valleys, on a slow wave."""
    scatter = Scatter(53)
    x = STEP_MM * np.arange(TRACE_POINTS)
    fine = 0.20 * smoothed(scatter.normal(TRACE_POINTS, 1.0), 16)
    return np.asarray(fine + 1.1 * np.sin(2.0 * np.pi * (x - 0.9) / 7.0) - 0.5 + scatter.normal(TRACE_POINTS, 0.002))


def journal_surface() -> bytes:
    """The journal's trace in the text form of ISO 5436-2: three records, then the sum of all bytes."""
    z = journal_surface_um()
    head = ["ISO 5436-2 - 2000 0 HYDROPLANE_J3", "PRF 0", f"CX I {z.size} mm 1.0E+000 D {STEP_MM:g}"]
    head.append(f"CZ A {z.size} um 1.0E+000 D")
    remark = [f"REMARK {REMARK}"]
    lines = [*head, "\x03", *remark, "\x03", *(f"{value + 0.0:.4f}" for value in z), "\x03"]
    body = "".join(f"{line}\r\n" for line in lines).encode("ascii")
    return body + f"{checksum(body)}\r\n\x1a".encode("ascii")


def study() -> str:
    """Ten parts read three times by three people with a dial of 1 µm."""
    scatter = Scatter(933)
    lines = ["# characteristic: tir", "# instrument: dial on a stand, 1 um", "# tolerance: 0.050 mm"]
    lines += [f"# remark: {REMARK}", "part, appraiser, trial, reading [um]"]
    for trial in range(1, TRIALS + 1):
        for name, off in APPRAISERS_UM.items():
            noise = scatter.normal(len(PARTS_UM), 0.9)
            values = (true + off + slip for true, slip in zip(PARTS_UM, noise, strict=True))
            lines += [f"{part}, {name}, {trial}, {value:.0f}" for part, value in enumerate(values, start=1)]
    return "\n".join(lines) + "\n"


@cache
def samples() -> dict[str, bytes]:
    """Every file by its name."""
    return {
        "club_four_journals.csv": journals().encode(),
        "club_four_shaft_spec.toml": SPEC.encode(),
        "club_four_lobe_3I_trace.csv": flank().encode(),
        "hydroplane_journal_trace.smd": journal_surface(),
        "dial_gauge_study.csv": study().encode(),
    }


def main(folder: Path) -> None:
    """Write every file into a folder."""
    for name, data in samples().items():
        (folder / name).write_bytes(data)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLES)
