"""Typed tables: their text and their grid, what a cell takes, pasting, laying out, and readings in doubt."""

from __future__ import annotations

import csv
import io
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook
from something import each

from valvelab.errors import BadFile, BadQuantity
from valvelab.files.contents import Contents
from valvelab.files.phasing_sheet import parse_sheet_toml
from valvelab.files.reading import read
from valvelab.inspection.springs.inspect import SpringsQuestion, inspect_springs
from valvelab.places import sample_profiles
from valvelab.workbench import entry
from valvelab.workbench.entry import Grid
from valvelab.workbench.entry_doubts import doubts
from valvelab.workbench.entry_kinds import KINDS, entry_kind
from valvelab.workbench.entry_paste import pasted
from valvelab.workbench.entry_text import faults, grid_of, still_wanted, text_from, text_of
from valvelab.workbench.worksheet import value_of
from valvelab.workbench.worksheet_grid import grid_of_sheet, with_grid

INCH_MM = 25.4  # the inch, exact by definition
POUND_FORCE_N = 4.4482216152605  # the pound-force, exact by definition
SPRINGS = "spring readings"
SAMPLES = [
    ("springs_quillmere_tray.csv", SPRINGS),
    ("springs_quillmere_heights.csv", "heights"),
    ("quillmere_four_camshaft.csv", "lift table"),
    ("lake_v8_camshaft.csv", "lift table"),
    ("club_four_journals.csv", "shaft readings"),
    ("dial_gauge_study.csv", "gauge study"),
    ("club_four_lobe_3I_trace.csv", "surface trace"),
    ("lake_tender_lash.csv", "lash sheet"),
]


def read_text_of(kind: str, grid: Grid) -> object:
    return read(kind, Contents.of("typed", text_of(kind, grid).encode()))


def springs(*rows: tuple[str, ...]) -> Grid:
    return Grid(heads=("spring", "40 mm [N]", "30 mm [N]"), rows=rows)


# -- text and grid ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "kind"), SAMPLES)
def test_a_sample_reads_the_same_from_its_grid(name: str, kind: str) -> None:
    data = (sample_profiles() / name).read_bytes()
    text = text_from(kind, name, data)
    assert text_of(kind, grid_of(kind, text)) == text
    before, after = (read(kind, Contents.of(name, one)) for one in (data, text.encode()))
    for field in each(fields(before)):
        if field.name not in {"source", "notes"}:
            assert repr(getattr(before, field.name)) == repr(getattr(after, field.name)), field.name


def test_a_shaft_is_a_column_a_station_and_a_study_a_column_a_trial() -> None:
    shaft, study = (
        grid_of(kind, text_from(kind, name, (sample_profiles() / name).read_bytes()))
        for name, kind in (SAMPLES[4], SAMPLES[5])
    )
    assert shaft.heads[:2] == ("angle [deg]", "J1 at 14 mm [um]")
    assert len(study.heads) == 1 + 3 * 3
    assert study.heads[0] == "part"
    assert len(study.rows) == 10


@pytest.mark.parametrize("kind", [one.kind for one in KINDS])
@pytest.mark.parametrize("units", ["metric", "inch"])
def test_a_new_table_comes_back_from_its_text_and_says_what_it_wants(kind: str, units: str) -> None:
    known = entry_kind(kind)
    assert known is not None
    blank = known.blank("inch" if units == "inch" else "metric")
    assert grid_of(kind, text_of(kind, blank)) == blank
    assert still_wanted(kind, blank)


def test_a_semicolon_table_with_decimal_commas_and_a_title_is_edited_as_it_reads() -> None:
    data = b"Tuesday's tray\nspring;40 mm [N];30 mm [N]\nA 1;186,8;484,30\nA 2;190,0;\n"
    grid = grid_of(SPRINGS, text_from(SPRINGS, "tray.csv", data))
    assert grid.rows == (("A 1", "186.8", "484.30"), ("A 2", "190.0", ""))
    assert grid.said("skipped above") == "Tuesday's tray"


CELLS = st.one_of(
    st.just(""), st.floats(0.0, 900.0).map(lambda value: f"{value:.2f}"), st.sampled_from(["18x", "1.2.3"])
)


@given(st.lists(st.tuples(st.sampled_from(["Q1", "Q 2", "+3", "a,b", 'x"y']), CELLS, CELLS), max_size=6))
def test_any_grid_comes_back_and_what_cannot_be_read_never_stops_the_rest(rows: list[tuple[str, str, str]]) -> None:
    grid = springs(*rows)
    assert grid_of(SPRINGS, text_of(SPRINGS, grid)) == grid
    good = [row for row in rows if any(entry.number_in(SPRINGS, "40 mm [N]", cell) is not None for cell in row[1:])]
    if good:
        table = read_text_of(SPRINGS, grid)
        assert {one.spring for one in table.springs} == {row[0] for row in good} or faults(SPRINGS, grid)  # type: ignore[attr-defined]


def test_a_lobe_that_is_only_begun_waits_in_the_text_and_the_others_are_read() -> None:
    angles = [str(angle) for angle in range(0, 360, 10)]
    lifts = [f"{max(0.0, 8.0 - (angle - 180) ** 2 / 400.0):.3f}" for angle in range(0, 360, 10)]
    rows = tuple((a, lift, "0.1" if n < 3 else "") for n, (a, lift) in enumerate(zip(angles, lifts, strict=True)))
    grid = Grid(heads=("angle [cam deg]", "1I [mm]", "1E [mm]"), rows=rows)
    assert grid_of("lift table", text_of("lift table", grid)) == grid
    assert [trace.name for trace in read_text_of("lift table", grid).traces] == ["1I"]  # type: ignore[attr-defined]
    assert "wanted of 1E: 8 lifts or more" in still_wanted("lift table", grid)


def test_nothing_is_read_while_no_lobe_is_whole() -> None:
    rows = tuple((str(angle), f"{angle / 50:.3f}") for angle in range(0, 100, 5))
    grid = Grid(heads=("angle [cam deg]", "1I [mm]"), rows=rows)
    assert grid_of("lift table", text_of("lift table", grid)) == grid
    with pytest.raises(BadFile):
        read_text_of("lift table", grid)


@pytest.mark.parametrize(("last", "whole"), [(170, False), (215, False), (240, True), (350, True)])
def test_a_lobe_waits_until_it_is_down_on_its_base_circle_again(last: int, whole: bool) -> None:
    lobe = {angle: max(0.0, 8.0 - (angle - 180) ** 2 / 400.0) for angle in range(100, 360, 5)}
    rows = tuple((str(angle), f"{lift:.3f}", f"{lift:.3f}" if angle <= last else "") for angle, lift in lobe.items())
    grid = Grid(heads=("angle [cam deg]", "1I [mm]", "1E [mm]"), rows=rows)
    read_lobes = [trace.name for trace in read_text_of("lift table", grid).traces]  # type: ignore[attr-defined]
    assert read_lobes == (["1I", "1E"] if whole else ["1I"])
    assert ("wanted of 1E: lifts up" in still_wanted("lift table", grid)) is not whole


def test_a_study_is_read_from_the_parts_that_everyone_has_read() -> None:
    heads = ("part", *(f"{who} {trial} [mm]" for who in "AB" for trial in "12"))
    whole = tuple((str(n), *(f"{n}.{k}" for k in range(4))) for n in range(1, 4))
    grid = Grid(heads=heads, rows=(*whole, ("4", "4.0", "4.1", "", "")))
    assert grid_of("gauge study", text_of("gauge study", grid)) == grid
    assert read_text_of("gauge study", grid).parts == ("1", "2", "3")  # type: ignore[attr-defined]


def test_columns_in_several_units_are_read_in_one() -> None:
    heads = ("angle [deg]", "J1 at 10 mm [um]", "J2 at 2 in [mm]", "J3 at 60 mm [um]")
    rows = tuple((str(angle), "1.5", "0.0025", "2.5x" if angle == 0 else "3") for angle in range(0, 360, 30))
    shaft = read_text_of("shaft readings", Grid(heads=heads, rows=rows))
    assert [trace.position_mm for trace in shaft.traces] == pytest.approx([10.0, 2.0 * INCH_MM, 60.0])  # type: ignore[attr-defined]
    assert [float(trace.reading_mm[1]) for trace in shaft.traces] == pytest.approx([0.0015, 0.0025, 0.003])  # type: ignore[attr-defined]
    study = Grid(heads=("part", "A 1 [mm]", "A 2 [um]"), rows=(("1", "0.010", "11"), ("2", "0.02", "21")))
    read = read_text_of("gauge study", study).readings  # type: ignore[attr-defined]
    forces = Grid(heads=("spring", "40 mm [N]", "30 mm [lbf]"), rows=tuple((f"Q{n}", "180", "108") for n in range(6)))
    assert faults(SPRINGS, forces) == doubts(SPRINGS, forces) == doubts("gauge study", study) == {}
    assert read[:, 0, :] == pytest.approx(np.array([[0.010, 0.011], [0.020, 0.021]]))


def test_a_valve_that_stands_twice_and_a_repeat_that_is_no_repeat_are_held_back() -> None:
    heights = Grid(heads=("position", "height [mm]"), rows=(("1I", "40.1"), ("1I", "40.2"), ("1E", "40.3")))
    assert list(faults("heights", heights)) == [(1, 1)]
    assert [one.height_mm for one in read_text_of("heights", heights).positions] == [40.1, 40.3]  # type: ignore[attr-defined]
    tray = springs(("Q1", "200", "500"), ("Q1", "202", "300"))
    assert list(faults(SPRINGS, tray)) == [(1, 2)]
    read_text_of(SPRINGS, tray)


# -- cells ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "head", "typed", "stands"),
    [
        (SPRINGS, "40 mm [N]", "186,80", "186.80"),
        (SPRINGS, "40 mm [N]", "100 lbf", f"{100 * POUND_FORCE_N:.8g}"),
        (SPRINGS, "1.8 in [lbf]", "100 lbf", "100"),
        (SPRINGS, "solid height [mm]", "1.000 in", "25.4"),
        (SPRINGS, "squareness [mm]", "0", "0"),
        (SPRINGS, "squareness [deg]", "1.20", "1.20"),
        (SPRINGS, "date", "2026-05-03", "2026-05-03"),
        ("lift table", "1I [in]", ".3500", "0.35"),
        ("lift table", "1I [mm]", "−0.0070", "-0.0070"),
        ("lift table", "angle [cam deg]", "90 crank deg", "45"),
        ("lift table", "angle [crank deg]", "90 crank deg", "90"),
        ("shaft readings", "J1 at 14 mm [um]", "0.0123 mm", "12.3"),
        ("gauge study", "A 1 [mm]", "12 um", "0.012"),
        ("surface trace", "z [um]", "-0.74", "-0.74"),
        ("lift table", "1I [in]", "+ 0.0275 IN", "0.0275"),
        ("lift table", "1I [in]", "-0.0275,IN", "-0.0275"),
        ("lift table", "1I [mm]", "+ 0.0275 IN", "0.6985"),
        ("heights", "height [mm]", "1 15/32 in", "37.30625"),
        ("heights", "height [in]", "15/32", "0.46875"),
        (SPRINGS, "spring", "  #7 ", "7"),
        (SPRINGS, "spring", "", ""),
    ],
)
def test_what_is_typed_stands_in_the_unit_of_its_column(kind: str, head: str, typed: str, stands: str) -> None:
    assert entry.taken(kind, head, typed) == stands


@pytest.mark.parametrize(
    ("kind", "head", "typed", "said"),
    [
        (SPRINGS, "40 mm [N]", "18x", "unit"),
        (SPRINGS, "40 mm [N]", "1.2.3", "unit"),
        (SPRINGS, "40 mm [N]", "-5", "at least 0"),
        (SPRINGS, "40 mm [N]", "12 mm", "force"),
        ("heights", "height [mm]", "0", "more than 0"),
        ("lift table", "1I [mm]", "5e9", "at most"),
    ],
)
def test_what_cannot_stand_is_refused_with_its_column(kind: str, head: str, typed: str, said: str) -> None:
    with pytest.raises(BadQuantity) as caught:
        entry.taken(kind, head, typed)
    assert said in str(caught.value)
    grid = entry.with_cell(kind, Grid(heads=("name", head)), 0, 1, typed)
    assert grid.rows[0][1] == typed


def test_rows_take_the_next_name_by_themselves() -> None:
    grid = entry.with_cell(SPRINGS, springs(("Q09", "1", "2")), 1, 1, "3")
    assert grid.rows[1] == ("Q10", "3", "")
    assert entry.with_cell(SPRINGS, springs(), 0, 1, "3").rows[0][0] == "1"
    unnamed = entry.with_cell("heights", Grid(heads=("position", "height [mm]"), rows=(("1I", "40"),)), 1, 1, "41")
    assert unnamed.rows[1] == ("", "41")
    assert faults("heights", unnamed)[1, 1] == "the valve of this row is wanted"


def test_rows_columns_and_the_form_are_edited_as_new_grids() -> None:
    grid = springs(("a", "1", "2"), ("b", "3", "4"))
    assert entry.without_rows(grid, {0}).rows == (("b", "3", "4"),)
    assert entry.with_row(grid, 1, "a").rows[1] == ("a", "", "")
    assert entry.emptied(grid, {(1, 0), (1, 1), (1, 2)}).rows == grid.rows[:1]
    assert entry.without_head(grid, 1).rows == (("a", "2"), ("b", "4"))
    assert entry.with_heads(grid, ("force at 40 mm [N]", "1.5 in [N]")).heads == (*grid.heads, "1.5 in [N]")
    stated = entry.with_form(grid, "operator", " E.  W. ")
    assert stated.said("operator") == "E. W."
    assert entry.with_form(stated, "operator", "") == grid


# -- pasting and laying out -------------------------------------------------------------------------------------------


def test_a_block_of_a_spreadsheet_goes_in_from_the_cell_on() -> None:
    grid = pasted(SPRINGS, springs(("Q1", "", "")), (0, 1), "186,8\t484,3\r\n190,1\t110 lbf\r\n")
    assert grid.rows == (("Q1", "186.8", "484.3"), ("Q2", "190.1", f"{110 * POUND_FORCE_N:.8g}"))


def test_a_block_with_a_header_says_itself_where_it_belongs() -> None:
    block = "# operator: bench two\nspring;30 mm [lbf];46 mm\nQ1;100;40,5\nQ2;101;41\n"
    grid = pasted(SPRINGS, springs(), (0, 0), block)
    assert grid.heads == ("spring", "40 mm [N]", "30 mm [N]", "46 mm [N]")
    assert grid.rows[0] == ("Q1", "", f"{100 * POUND_FORCE_N:.8g}", "40.5")
    assert grid.said("operator") == "bench two"


def test_a_sheet_made_elsewhere_is_pasted_as_a_spreadsheet_copies_it(tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    written = [
        ["angle", "Intake 1", "1E"],
        *([angle, 0.35, None if angle == 20 else 0.1] for angle in range(0, 60, 10)),
    ]
    for row in written:
        sheet.append(row)
    book.save(tmp_path / "lobes.xlsx")
    read_back = load_workbook(tmp_path / "lobes.xlsx").active
    assert read_back is not None
    target = io.StringIO()
    csv.writer(target, delimiter="\t").writerows(read_back.values)
    known = entry_kind("lift table")
    assert known is not None
    begun = entry.with_heads(
        known.blank("inch"), known.columns.read(known.blank("inch"), "1I", "inch") if known.columns else ()
    )
    grid = pasted("lift table", begun, (0, 0), target.getvalue())
    assert grid.heads == ("angle [cam deg]", "1I [in]", "1E [in]")
    assert grid.rows[2] == ("20", "0.35", "")
    assert len(grid.rows) == 6


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("Q09 to Q11", ("Q09", "Q10", "Q11")),
        ("1 to 3", ("1", "2", "3")),
        ("0 to 20 by 5", ("0", "5", "10", "15", "20")),
        ("-1 to 1 by 0,5", ("-1", "-0.5", "0", "0.5", "1")),
        ("10 to 0 by -5", ("10", "5", "0")),
        ("1I", ("1I",)),
        ("", ()),
    ],
)
def test_rows_are_laid_out_by_first_and_last(text: str, rows: tuple[str, ...]) -> None:
    assert entry.series(text) == rows


@pytest.mark.parametrize("text", ["0 to 10 by 0", "0 to 10 by -1", "0 to 1000000", "a to b", "0 to 9 by x"])
def test_a_series_without_an_end_is_refused(text: str) -> None:
    with pytest.raises(BadQuantity):
        entry.series(text)


@pytest.mark.parametrize(
    ("kind", "text", "units", "heads"),
    [
        (SPRINGS, "40", "metric", ("40 mm [N]",)),
        (SPRINGS, "1.800", "inch", ("1.800 in [lbf]",)),
        (SPRINGS, "1.8 in", "metric", ("1.8 in [N]",)),
        (SPRINGS, "solid height", "inch", ("solid height [in]",)),
        (SPRINGS, "Date", "metric", ("date",)),
        (SPRINGS, "squareness", "inch", ("squareness [in]",)),
        (SPRINGS, "squareness deg", "metric", ("squareness [deg]",)),
        ("lift table", "1I 1E 2I", "metric", ("1I [mm]", "1E [mm]", "2I [mm]")),
        ("lift table", "Intake 1", "inch", ("1I [in]",)),
        ("shaft readings", "J1 at 14 mm", "metric", ("J1 at 14 mm [um]",)),
        ("shaft readings", "J1 at 14", "metric", ("J1 at 14 mm [um]",)),
        ("gauge study", "A", "metric", ("A 1 [mm]", "A 2 [mm]", "A 3 [mm]")),
    ],
)
def test_columns_are_added_by_what_they_are(kind: str, text: str, units: str, heads: tuple[str, ...]) -> None:
    known = entry_kind(kind)
    assert known is not None
    assert known.columns is not None
    system = "inch" if units == "inch" else "metric"
    assert known.columns.read(known.blank(system), text, system) == heads  # type: ignore[arg-type]


def test_the_form_takes_quantities_with_the_unit_shown() -> None:
    form = {field.key: field for field in entry_kind(SPRINGS).fields}  # type: ignore[union-attr]
    assert form["wire diameter"].read("4,0", "metric") == "4,0 mm"
    assert form["wire diameter"].read("0.157", "inch") == "0.157 in"
    assert form["wire diameter"].read("4 mm", "inch") == "4 mm"
    assert form["force uncertainty"].read("", "inch") == ""
    for typed in ("4 N", "four", "-4"):
        with pytest.raises(BadQuantity):
            form["wire diameter"].read(typed, "metric")


# -- doubts -----------------------------------------------------------------------------------------------------------


def tray(count: int, heights: tuple[float, ...]) -> Grid:
    """Springs of 30 N/mm that differ by a few newtons, with the reading's own noise of half a newton."""
    draw = np.random.default_rng(7)
    forces = (
        30.0 * (46.0 - np.array(heights))
        + draw.normal(0.0, 4.0, (count, 1))
        + draw.normal(0.0, 0.5, (count, len(heights)))
    )
    rows = tuple((f"Q{n + 1}", *(f"{force:.1f}" for force in row)) for n, row in enumerate(forces))
    return Grid(heads=("spring", *(f"{height:g} mm [N]" for height in heights)), rows=rows)


def changed(grid: Grid, row: int, column: int, factor: float) -> Grid:
    return entry.with_cell(SPRINGS, grid, row, column, f"{factor * float(grid.rows[row][column]):.1f}")


def test_a_sound_tray_is_not_doubted() -> None:
    for heights in ((40.0,), (40.0, 30.0), (42.0, 38.0, 34.0, 30.0)):
        assert doubts(SPRINGS, tray(12, heights)) == {}


@pytest.mark.parametrize(("factor", "word"), [(1.12, "let expect"), (10.0, "point"), (1.0 / POUND_FORCE_N, "pounds")])
def test_a_force_off_the_tray_and_off_its_spring_is_doubted_with_its_reason(factor: float, word: str) -> None:
    found = doubts(SPRINGS, changed(tray(12, (42.0, 38.0, 34.0, 30.0)), 4, 2, factor))
    assert list(found) == [(4, 2)]
    assert word in found[4, 2]
    assert found[4, 2].endswith("take again")


def test_one_spring_alone_is_held_to_its_own_line() -> None:
    found = doubts(SPRINGS, changed(tray(1, (42.0, 39.0, 36.0, 33.0, 30.0)), 0, 3, 1.2))
    assert list(found) == [(0, 3)]
    assert "line through spring Q1" in found[0, 3]


def test_a_height_in_another_unit_is_doubted() -> None:
    heights = (("1I", "40.1"), ("1E", "40.4"), ("2I", "1.58"), ("2E", "39.9"), ("3I", "40.2"))
    found = doubts("heights", Grid(heads=("position", "height [mm]"), rows=heights))
    assert list(found) == [(2, 1)]
    assert "25.4" in found[2, 1]


def test_a_lift_off_its_neighbours_is_doubted_and_a_lobe_is_not() -> None:
    angles = np.arange(0.0, 360.0, 5.0)
    lifts = np.where(np.abs(angles - 180.0) < 70.0, 4.0 * (1.0 + np.cos(np.pi * (angles - 180.0) / 70.0)), 0.0)
    rows = tuple((f"{angle:g}", f"{lift:.3f}") for angle, lift in zip(angles, lifts, strict=True))
    grid = Grid(heads=("angle [cam deg]", "1I [mm]"), rows=rows)
    assert doubts("lift table", grid) == {}
    wrong = entry.with_cell("lift table", grid, 40, 1, f"{lifts[40] + 0.9:.3f}")
    assert list(doubts("lift table", wrong)) == [(40, 1)]


def test_a_study_s_reading_far_from_the_others_of_its_part_is_doubted() -> None:
    draw = np.random.default_rng(3)
    values = 10.0 * np.arange(1, 9)[:, None] + draw.normal(0.0, 0.2, (8, 6))
    values[2, 3] += 9.0
    rows = tuple((str(n + 1), *(f"{value:.2f}" for value in row)) for n, row in enumerate(values))
    heads = ("part", *(f"{who} {trial} [um]" for who in "AB" for trial in "123"))
    assert list(doubts("gauge study", Grid(heads=heads, rows=rows))) == [(2, 4)]


@pytest.mark.parametrize(("name", "kind"), SAMPLES[:6])
def test_the_samples_are_not_doubted(name: str, kind: str) -> None:
    grid = grid_of(kind, text_from(kind, name, (sample_profiles() / name).read_bytes()))
    assert doubts(kind, grid) == {}


@pytest.mark.parametrize(
    ("forces", "out"),
    [
        (("180", "240", "480"), []),
        (("180", "40", "480"), [2]),
        (("800", "240", "480"), [1]),
        (("180", "180", "180"), [2, 3]),
        (("480", "", "180"), [3]),
    ],
)
def test_a_force_that_falls_under_compression_is_held_back_and_the_tray_is_still_inspected(
    forces: tuple[str, str, str], out: list[int]
) -> None:
    heads = ("spring", "40 mm [N]", "38 mm [N]", "30 mm [N]")
    grid = Grid(heads=heads, rows=(("Q1", *forces), ("Q2", "181", "241", "481")))
    assert sorted(faults(SPRINGS, grid)) == [(0, n) for n in out]
    table = read_text_of(SPRINGS, grid)
    found = inspect_springs(SpringsQuestion(table))  # type: ignore[arg-type]
    assert [row.spring for row in found.result.springs][-1] == "Q2"


@pytest.mark.parametrize("units", ["metric", "inch"])
@pytest.mark.parametrize("name", ["quillmere_four_degree_wheel", "quillmere_four_degree_wheel_misread"])
def test_a_degree_wheel_sheet_comes_back_from_its_table_of_lobes(name: str, units: str) -> None:
    sheet = parse_sheet_toml((sample_profiles() / f"{name}.toml").read_text(encoding="utf-8"))
    grid = grid_of_sheet(sheet, "inch" if units == "inch" else "metric")
    back, places = with_grid(sheet, grid)
    assert sorted(back.events, key=repr) == sorted(sheet.events, key=repr)
    assert sorted(back.pairs, key=repr) == sorted(sheet.pairs, key=repr)
    assert (back.stop_deg, back.card, back.steps_deg) == (sheet.stop_deg, sheet.card, sheet.steps_deg)
    for cell, (row, column) in each(places.items()):
        value = value_of(back, cell)
        assert (value is None) == (grid.rows[row][column] == "")
