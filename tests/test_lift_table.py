"""Lift tables: the same camshaft written in every way reads the same; a wrong one says where."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from outside_facts import exhaust_table, tappet_table

from valvelab.errors import BadFile
from valvelab.files.kinds import READERS
from valvelab.files.lift_table import read_lift_table
from valvelab.files.reading import kind_of, only_kind
from valvelab.files.table import ColumnsNeeded
from valvelab.follower.shapes import Shape
from valvelab.records.measurement import LiftTable

ANGLES = np.arange(0.0, 360.0, 5.0)
CENTRES = {"1I": 110.0, "1E": 250.0}


def lift(angle_cam_deg: np.ndarray, centre: float) -> np.ndarray:
    """A raised cosine, 7 mm high and 130 cam deg wide."""
    away = (angle_cam_deg - centre + 180.0) % 360.0 - 180.0
    return np.where(np.abs(away) < 65.0, 3.5 * (1.0 + np.cos(np.pi * away / 65.0)), 0.0)


def wide(
    angles: Sequence[float] = ANGLES,  # type: ignore[assignment]
    *,
    per_degree: float = 1.0,
    per_mm: float = 1.0,
    head: str = "angle [cam deg],1I [mm],1E [mm]",
    preamble: str = "",
) -> str:
    cam = np.asarray(angles, dtype=float)
    columns = [cam * per_degree, *(lift(cam, centre) * per_mm for centre in CENTRES.values())]
    return preamble + head + "\n" + "".join(",".join(map(repr, row)) + "\n" for row in np.transpose(columns).tolist())


def tidy(angles: np.ndarray = ANGLES) -> str:
    rows = [
        f"{name},{angle!r},{value!r}"
        for name, centre in CENTRES.items()
        for angle, value in zip(angles.tolist(), lift(angles, centre).tolist(), strict=True)
    ]
    return "lobe,angle [cam deg],lift [mm]\n" + "\n".join(rows) + "\n"


def read(folder: Path, text: str | bytes, columns: str | None = None, name: str = "lift.csv") -> LiftTable:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_lift_table(path, columns)


def dirty(change: Callable[[str], str | bytes]) -> Callable[[], str | bytes]:
    return lambda: change(wide())


WRITTEN: dict[str, Callable[[], str | bytes]] = {
    "wide": wide,
    "tidy": tidy,
    "tidy, rows shuffled by angle": lambda: "\n".join(
        [tidy().split("\n")[0], *sorted(tidy().split("\n")[1:-1], key=lambda row: float(row.split(",")[1]))]
    ),
    "inch": lambda: wide(per_mm=1 / 25.4, head="angle [cam deg],1I [in],1E [inch]"),
    "micrometre": lambda: wide(per_mm=1000.0, head="angle [cam deg],1I [um],1E [µm]"),
    "metre": lambda: wide(per_mm=1e-3, head="angle [cam deg],1I [m],1E [m]"),
    "crank": lambda: wide(per_degree=2.0, head="angle [crank deg],1I [mm],1E [mm]"),
    "crank, mirrored": lambda: wide(
        per_degree=-2.0, head="angle [crank deg],1I [mm],1E [mm]", preamble="# rotation: reverse\n"
    ),
    "mirrored": lambda: wide(per_degree=-1.0, preamble="# Rotation: Reverse\n"),
    "no units": lambda: wide(head="angle,1I,1E"),
    "spaces": dirty(lambda text: text.replace(",", "  ")),
    "tabs": dirty(lambda text: text.replace(",", "\t")),
    "semicolon, decimal comma": dirty(lambda text: text.replace(",", ";").replace(".", ",")),
    "UTF-16": dirty(lambda text: text.encode("utf-16")),
    "UTF-8 mark, CRLF": dirty(lambda text: text.replace("\n", "\r\n").encode("utf-8-sig")),
    "a remark column": dirty(
        lambda text: "\n".join(line + (",fine" if row else ",remark") for row, line in enumerate(text.split("\n")[:-1]))
    ),
    "a temperature column": dirty(
        lambda text: "\n".join(
            line + (",20.5" if row else ",air [degC]") for row, line in enumerate(text.split("\n")[:-1])
        )
    ),
}  # fmt: skip


@pytest.mark.parametrize("form", WRITTEN)
def test_the_same_camshaft_in_every_form(tmp_path: Path, form: str) -> None:
    table = read(tmp_path, WRITTEN[form]())
    assert [trace.name for trace in table.traces] == list(CENTRES)
    for trace in table.traces:
        order = np.argsort(trace.angle_cam_deg, kind="stable")
        np.testing.assert_allclose(trace.angle_cam_deg[order], ANGLES, atol=1e-12)
        np.testing.assert_allclose(trace.lift_mm[order], lift(ANGLES, CENTRES[trace.name]), rtol=1e-15, atol=1e-15)
        assert trace.sweep is None
    assert table.traces[0].angle_cam_deg is table.traces[1].angle_cam_deg
    assert len(table.source.sha256) == 64


def test_workbook(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.append(["# follower: roller 0.375 in"])
    book.active.append(["angle [cam deg]", *(f"{name} [mm]" for name in CENTRES)])
    for angle in ANGLES.tolist():
        book.active.append([angle, *(float(lift(np.array(angle), centre)) for centre in CENTRES.values())])
    book.save(tmp_path / "lift.xlsx")
    table = read_lift_table(tmp_path / "lift.xlsx")
    np.testing.assert_allclose(table.traces[1].lift_mm, lift(ANGLES, 250.0), atol=1e-15)
    assert table.follower == Shape("roller", pytest.approx(9.525))


def test_angles_stay_as_measured(tmp_path: Path) -> None:
    """Several turns, a wrap in the middle and an uneven step are for the conditioning, not for the reader."""
    angles = [*np.arange(350.0, 1080.0, 7.0), *np.arange(0.0, 30.0, 0.5)]
    assert read(tmp_path, wide(angles)).traces[0].angle_cam_deg.tolist() == angles


def test_sweeps(tmp_path: Path) -> None:
    lines = ["lobe,sweep,angle [cam deg],lift [mm]"]
    lines += [f"{lobe},{sweep},{angle},{angle * 0.1}" for lobe in ("1I", "1E") for sweep in "ab" for angle in range(10)]
    lines += [f"2I,a,{angle},{angle * 0.1}" for angle in range(10)]
    traces = read(tmp_path, "\n".join(lines)).traces
    assert traces[0].sweep is not None
    assert traces[0].sweep.tolist() == [0] * 10 + [1] * 10
    assert traces[2].sweep is None


def test_columns_given_by_the_reader(tmp_path: Path) -> None:
    text = "#CAD    mm\n" + "".join(
        f"{2 * angle} {value / 25.4}\n" for angle, value in zip(ANGLES, lift(ANGLES, 110.0), strict=True)
    )
    table = read(tmp_path, text, "angle=0 [crank deg], 1I=1 [in]")
    np.testing.assert_allclose(table.traces[0].lift_mm, lift(ANGLES, 110.0), atol=1e-14)
    np.testing.assert_allclose(table.traces[0].angle_cam_deg, ANGLES)


def test_without_names_the_window_gets_a_preview(tmp_path: Path) -> None:
    with pytest.raises(ColumnsNeeded) as caught:
        read(tmp_path, "\n".join(f"{angle}\t{angle * 1e-5}" for angle in range(50)))
    assert '--columns "angle=0 [crank deg], 1I=1 [mm]"' in str(caught.value)
    assert len(caught.value.preview.rows) == 20
    assert caught.value.preview.rows[1] == ("1", "1e-05")


def test_a_comment_above_the_rows_is_offered_as_a_guess(tmp_path: Path) -> None:
    with pytest.raises(ColumnsNeeded) as caught:
        read(tmp_path, "# exhaust valve\n#CAD    mm\n" + "".join(f"{angle} {angle * 0.1}\n" for angle in range(20)))
    assert caught.value.preview.headers == ("CAD", "mm")
    assert caught.value.preview.units == ("crank deg", "mm")


def test_preamble(tmp_path: Path) -> None:
    preamble = (
        "# part: Quillmere 1600\n# serial: Q-017\n# lift at: valve\n# follower: roller 9.525 mm\n"
        "# base circle radius: 0.6 in\n# rotation: forward\n# firing order: 1-3-4-2\n# cylinders: 4\n"
        "# bank angle: 90\n# second bank: 2-4\n# probe uncertainty: 0.5 um\n# encoder uncertainty: 0.02 crank deg\n"
        "# temperature: 68 °F\n# operator: P. Quill\n# instrument: bench 2\n# date: 2026-03-01\n# weather: dry\n"
    )
    table = read(tmp_path, wide(preamble=preamble))
    assert (table.part, table.serial, table.lift_at) == ("Quillmere 1600", "Q-017", "valve")
    assert table.follower == Shape("roller", 9.525)
    assert table.base_circle_radius_mm == pytest.approx(15.24)
    assert (table.firing_order, table.cylinders, table.second_bank) == ((1, 3, 4, 2), 4, (2, 4))
    assert table.bank_angle_deg == 90.0
    assert table.probe_uncertainty_mm == pytest.approx(0.0005)
    assert table.encoder_uncertainty_cam_deg == pytest.approx(0.01)
    assert table.temperature_degc == pytest.approx(20.0)
    assert (table.operator, table.instrument, table.date) == ("P. Quill", "bench 2", "2026-03-01")
    assert table.remarks == {"weather": "dry"}
    assert table.notes == ()


def test_a_silent_preamble_states_nothing(tmp_path: Path) -> None:
    table = read(tmp_path, wide())
    assert table.follower is None
    assert (table.lift_at, table.rotation) == ("follower", "forward")
    assert (table.part, table.firing_order, table.probe_uncertainty_mm, table.base_circle_radius_mm) == (None,) * 4


def test_missing_units_are_noted(tmp_path: Path) -> None:
    texts = [note.text for note in read(tmp_path, wide(head="angle,1I,1E")).notes]
    assert any("angle does not say cam or crank degrees; read as cam deg" in text for text in texts)
    assert any("1I carries no unit; read as mm" in text for text in texts)


def test_a_lift_no_engine_has_is_pointed_out(tmp_path: Path) -> None:
    notes = read(tmp_path, wide(per_mm=1e-3)).notes
    assert [note.level for note in notes] == ["warning"]
    assert "0.007 mm; check the unit" in notes[0].text


def test_event_only_columns_may_leave_cells_empty_outside(tmp_path: Path) -> None:
    lines = wide().split("\n")
    lines[1:4] = [line.rpartition(",")[0] + "," for line in lines[1:4]]
    table = read(tmp_path, "\n".join(lines))
    assert len(table.traces[0].lift_mm) == len(ANGLES)
    assert table.traces[1].angle_cam_deg.tolist() == ANGLES[3:].tolist()
    assert any("1E: 3 empty cells" in note.text for note in table.notes)


WRONG: dict[str, tuple[Callable[[], str], str]] = {
    "no angle": (lambda: wide(head="turn,1I,1E"), "expected a column 'angle'"),
    "no lobe": (lambda: "angle [cam deg],remark\n" + "1,a\n" * 20, "one column a lobe"),
    "tidy without lift": (lambda: tidy().replace("lift", "height"), "expected a column 'lift'"),
    "too few rows": (lambda: "\n".join(wide().split("\n")[:4]), "found 3 readings of lobe '1I', expected at least 8"),
    "same lobe twice": (lambda: wide(head="angle,1I,1i"), "line 1: found two lobes called '1I'"),
    "angle in mm": (lambda: wide(head="angle [mm],1I,1E"), "column angle: found unit 'mm', expected cam deg or crank"),
    "lift in deg": (lambda: wide(head="angle,1I [deg],1E"), "column 1I: found unit 'deg', expected a length unit"),
    "unknown unit": (lambda: wide(head="angle,A [ell],B [mm]"), "column A: found unit 'ell', expected a length unit"),
    "two points": (lambda: wide().replace("\n30.0,0.0", "\n30.0,0.0.1", 1), "line 8: found 1I '0.0.1', expected"),
    "angle with two points": (lambda: wide().replace("\n30.0,", "\n3.0.0,", 1), "line 8: found angle '3.0.0'"),
    "follower": (lambda: wide(preamble="# follower: mushroom\n"), "follower: found 'mushroom', expected flat, point"),
    "roller without radius": (lambda: wide(preamble="# follower: roller\n"), "line 1, follower: found 'roller'"),
    "roller in N": (lambda: wide(preamble="# follower: roller 9 N\n"), "follower: found unit 'N', expected a length"),
    "roller of nothing": (lambda: wide(preamble="# follower: roller 0 mm\n"), "follower: found 'roller 0 mm'"),
    "rotation": (lambda: wide(preamble="# rotation: left\n"), "rotation: found 'left', expected forward or reverse"),
    "lift at": (lambda: wide(preamble="# lift at: nose\n"), "lift at: found 'nose', expected follower or valve"),
    "firing order": (lambda: wide(preamble="# firing order: 1-3-3-2\n"), "firing order: found '1-3-3-2'"),
    "cylinders": (lambda: wide(preamble="# cylinders: four\n"), "cylinders: found 'four', expected a whole number"),
    "many cylinders": (lambda: wide(preamble="# cylinders: 99999999\n"), "cylinders: found '99999999'"),
    "negative uncertainty": (lambda: wide(preamble="# probe uncertainty: -1 um\n"), "expected a positive length"),
    "base circle of nothing": (lambda: wide(preamble="# base circle radius: 0\n"), "expected a positive length"),
}  # fmt: skip


@pytest.mark.parametrize("form", WRONG)
def test_refusals(tmp_path: Path, form: str) -> None:
    text, sentence = WRONG[form]
    with pytest.raises(BadFile) as caught:
        read(tmp_path, text())
    assert sentence in str(caught.value)
    assert "\n" not in str(caught.value)


@settings(max_examples=500, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    form=st.sampled_from(["wide", "tidy", "UTF-16", "semicolon, decimal comma", "crank, mirrored"]),
    changes=st.lists(
        st.tuples(
            st.one_of(st.integers(0, 80), st.integers(0, 3000)),
            st.integers(0, 12),
            st.sampled_from(["", ",", "\n", "nan", "-", "#", "[", "]", '"', ";", "1e9", "é", "\0", "x", "# a: b\n"]),
        ),
        min_size=1,
        max_size=4,
    ),
)
def test_damaged_lift_tables(tmp_path: Path, form: str, changes: list[tuple[int, int, str]]) -> None:
    written = WRITTEN[form]()
    text = written if isinstance(written, str) else written.decode("utf-16")
    for start, length, new in changes:
        text = text[:start] + new + text[start + length :]
    try:
        table = read(tmp_path, text.encode("utf-16" if form == "UTF-16" else "utf-8"))
    except BadFile as error:
        sentence = str(error)
    else:
        sentence = ""
        assert table.traces
        assert all(np.isfinite(trace.lift_mm).all() for trace in table.traces)
        assert all(len(trace.lift_mm) == len(trace.angle_cam_deg) for trace in table.traces)
    assert "\n" not in sentence


# Tables as their sources wrote them: a research engine's exhaust valve, a bucket tappet of lubrication research


@pytest.mark.parametrize(
    ("text", "columns", "rows", "max_lift_mm", "at_cam_deg"),
    [
        (exhaust_table(), "angle=0 [crank deg], 1E=1 [mm]", 287, 8.89, 123.0),
        (tappet_table(), "angle=0 [cam deg], 1I=1 [m]", 329, 7.443446, -1.0),
    ],
    ids=["exhaust valve", "tappet"],
)
def test_real_tables(tmp_path: Path, text: str, columns: str, rows: int, max_lift_mm: float, at_cam_deg: float) -> None:
    with pytest.raises(ColumnsNeeded):
        read(tmp_path, text)
    (trace,) = read(tmp_path, text, columns).traces
    assert len(trace.lift_mm) == rows
    assert trace.lift_mm.max() == pytest.approx(max_lift_mm, abs=5e-7)
    assert trace.angle_cam_deg[trace.lift_mm.argmax()] == at_cam_deg


# What a file holds

SAMPLES = {
    "lift table": ("a.csv", wide()),
    "spring readings": ("a.tsv", "spring\theight [mm]\tforce [N]\nA\t1\t2\n"),
    "heights": ("a.csv", "# shims: 0.5 mm\nposition,height [mm]\n1I,40\n"),
    "lash sheet": ("a.csv", "# lash: 0.2 mm ± 0.03 mm\nposition,clearance [mm],shim [mm]\n1I,0.2,2.5\n"),
    "shaft readings": ("a.csv", "station,position [mm],angle [deg],reading [um]\n1,0,0,1\n"),
    "surface trace": ("a.csv", "x [mm],z [um]\n0,1\n"),
    "gauge study": ("a.txt", "part;appraiser;trial;reading [mm]\n1;A;1;0,5\n"),
    "adopted uncertainty": ("a.toml", 'kind = "tir"\nstandard_uncertainty = "1.1 um"\n'),
    "phasing sheet": ("a.toml", "[stop]\nreadings = [-28.5, 31.0]\n"),
    "train": ("a.toml", "[rocker]\nratio = 1.5\n"),
    "lift-check sheet": ("a.toml", '[wheel]\nuncertainty = 0.25\n[[check]]\nitem = "car 14"\nvalve = "1I"\n'),
    "instrument card": ("a.toml", 'name = "dial 3"\nunit = "mm"\nuncertainty = "4 um"\n'),
    "spec": ("a.toml", '[[limit]]\nof = "max_lift"\nmin = 1\n'),
}


@pytest.mark.parametrize("kind", SAMPLES)
def test_kinds(tmp_path: Path, kind: str) -> None:
    name, text = SAMPLES[kind]
    (tmp_path / name).write_text(text, encoding="utf-8")
    assert only_kind(tmp_path / name) == kind


def test_every_kind_has_a_sample() -> None:
    assert [reader.name for reader in READERS] == list(SAMPLES)
    assert all(reader.holds and reader.endings and reader.command for reader in READERS)


def test_a_table_without_names_may_be_anything(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("1 2\n3 4\n")
    answers = kind_of(tmp_path / "a.txt")
    assert answers["lift table"] == answers["spring readings"] == "perhaps"
    assert answers["spec"] == "no"


def test_a_long_table_is_told_from_its_start(tmp_path: Path) -> None:
    text = "lobe,angle [cam deg],lift [mm]\n" + "1I,123.456,1.23456\n" * 20_000
    for encoding in ("utf-8", "utf-16"):
        (tmp_path / "a.csv").write_text(text, encoding=encoding)
        assert only_kind(tmp_path / "a.csv") == "lift table"


def test_a_picture_is_none_of_them(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
    assert set(kind_of(tmp_path / "a.png").values()) == {"no"}
