"""Tables as shops keep them: titles, footers, the trade's words, inches, holes; and what must be refused."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from valvelab.cli.main import main
from valvelab.errors import BadFile, WrongUsage
from valvelab.files.column_assignment import parse_columns
from valvelab.files.column_names import height_of, lobe_name, plain_name, rank, split_header
from valvelab.files.gauge_study_file import read_gauge_study
from valvelab.files.heights import read_heights
from valvelab.files.lift_table import read_lift_table
from valvelab.files.reading import only_kind
from valvelab.files.shaft_readings import read_shaft_readings
from valvelab.files.spring_readings import read_spring_readings
from valvelab.files.table import Table, read_table
from valvelab.files.workbook_limits import MAX_BLANK
from valvelab.records.result import Note
from valvelab.records.spring_readings import SpringTable

INCH = 25.4  # exact, yard and pound agreement of 1959
POUND = 0.45359237 * 9.80665


def put(folder: Path, text: str, name: str = "table.csv", encoding: str = "utf-8") -> Path:
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def book(folder: Path, **sheets: list[list[object]]) -> Path:
    made = openpyxl.Workbook()
    made.remove(made.active)
    for title, rows in sheets.items():
        sheet = made.create_sheet(title)
        for row in rows:
            sheet.append(row)
    made.save(folder / "table.xlsx")
    return folder / "table.xlsx"


def springs(folder: Path, text: str, columns: str | None = None) -> SpringTable:
    return read_spring_readings(put(folder, text), columns)


def forces(table: SpringTable) -> dict[str, list[tuple[float, float]]]:
    """Heights in inches and forces in pounds, as typed."""
    found = {}
    for spring in table.springs:
        stroke = spring.elements[0].compress
        pairs = zip(stroke.height_mm / INCH, stroke.force_n / POUND, strict=True)
        found[spring.spring] = [(round(float(h), 9), round(float(f), 9)) for h, f in pairs]
    return found


def texts(notes: tuple[Note, ...], level: str = "warning") -> list[str]:
    return [note.text for note in notes if note.level == level]


# Names


@pytest.mark.parametrize(
    ("header", "title", "unit"),
    [
        ("lift [mm]", "lift", "mm"),
        ("height (in)", "height", "in"),
        ("Load, lbf", "Load", "lbf"),
        ('height "', "height", '"'),
        ("force_N", "force", "N"),
        ("Height in", "Height", "in"),
        ("crank angle [deg]", "crank angle", "crank deg"),
        ("Crank Deg", "Crank Deg", "crank deg"),
        ("cam angle", "cam angle", "cam deg"),
        ("angle [crank deg]", "angle", "crank deg"),
        ("degrees", "degrees", "deg"),
        ('1.800" [lbf]', '1.800"', "lbf"),
        ("1.800 in, lbf", "1.800 in", "lbf"),
        ("46 mm", "46 mm", None),
        ("force at 1.8 in", "force at 1.8 in", None),
        ("lift [ell]", "lift", "ell"),
        ("lift (cold)", "lift (cold)", None),
        ("remark, old", "remark, old", None),
        ("Intake 1 (mm)", "Intake 1", "mm"),
    ],
)
def test_titles_and_units(header: str, title: str, unit: str | None) -> None:
    assert split_header(header) == (title, unit)


@pytest.mark.parametrize(
    ("title", "lobe"),
    [
        ("Intake 1", "1I"),
        ("EX no.2", "2E"),
        ("1 exh", "1E"),
        ("1I", "1I"),
        ("4e", "4E"),
        ("1I2", "1I2"),
        ("I3", "3I"),
        ("Cyl 2 Exhaust", "2E"),
        ("INLET #4", "4I"),
        ("exhaust lobe 8", "8E"),
        ("cylinder 1 intake valve 2", "1I2"),
        ("1 in", None),
        ("lift", None),
        ("intake", None),
        ("0I", None),
        ("1", None),
        ("exh 1.27", None),
        ("Öffnung 1", None),
    ],
)
def test_lobes_as_people_write_them(title: str, lobe: str | None) -> None:
    assert lobe_name(title) == lobe


@pytest.mark.parametrize(
    ("wanted", "title"),
    [
        ("spring", "Springs"), ("spring", "SPRING #"), ("spring", "Spring No."), ("spring", "No."), ("spring", "Id"),
        ("force", "Load"), ("force", "Pressures"), ("angle", "cam angle"), ("angle", "Degrees"), ("height", " HEIGHT "),
        ("solid height", "coil bind"), ("solid height", "Solid-Height"), ("station", "Journal"), ("position", "valve"),
    ],
)  # fmt: skip
def test_the_trades_words(wanted: str, title: str) -> None:
    assert rank(wanted, plain_name(title)) is not None


def test_the_name_itself_wins_over_other_words(tmp_path: Path) -> None:
    table = springs(tmp_path, "No.,spring,height [mm],force [N]\n1,A,42,100\n2,A,38,200\n")
    assert [spring.spring for spring in table.springs] == ["A"]
    with pytest.raises(BadFile, match=r"2 columns called 'force' \(load, pressure\)"):
        springs(tmp_path, "spring,height [mm],load [N],pressure [N]\nA,42,100,1\nA,38,200,2\n")


@pytest.mark.parametrize(
    ("title", "mm", "unit"),
    [
        ("force at 1.800 in", 45.72, "in"),
        ('1.800"', 45.72, '"'),
        ("46 mm", 46.0, "mm"),
        ("Load @ 46,5 mm", 46.5, "mm"),
        ("force at 46", 46.0, None),
    ],
)
def test_heights_in_headers(title: str, mm: float, unit: str | None) -> None:
    found = height_of(title)
    assert found is not None
    assert (found.mm, found.unit) == (pytest.approx(mm), unit)


@pytest.mark.parametrize("title", ["46", "force", "46 N", "rate at 46 mm", "1I", "46 mm tall"])
def test_what_is_no_height(title: str) -> None:
    assert height_of(title) is None


# Rows

TRAY = """Quillmere tray 7
Date,2026-03-01
# installed height: 1.800 in

No.,Height (in),Load (lbf),Remark
1,1.800,120,
1,1.300,320,fine
,,,
2,n/a,121,again
2,1.800,122,
2,1.300,-,
2,1.300,322,
average,1.800,121,
mean,,,
Checked by P. Quill
"""
READ = {"1": [(1.8, 120.0), (1.3, 320.0)], "2": [(1.8, 122.0), (1.3, 322.0)]}
WRITTEN = {
    "comma": (TRAY, "utf-8"),
    "tab": (TRAY.replace(",", "\t"), "utf-8"),
    "semicolon, decimal comma": (TRAY.replace(",", ";").replace("1.", "1,"), "utf-8"),
    "UTF-16": (TRAY, "utf-16"),
}


@pytest.mark.parametrize("form", WRITTEN)
def test_titles_holes_and_footers(tmp_path: Path, form: str) -> None:
    text, encoding = WRITTEN[form]
    path = put(tmp_path, text, encoding=encoding)
    assert only_kind(path) == "spring readings"
    table = read_spring_readings(path)
    assert forces(table) == READ
    assert table.installed_height_mm == pytest.approx(1.8 * INCH)
    assert "2 rows above the header skipped: 1 (Quillmere tray 7), 2 (Date 2026-03-01)" in texts(table.notes, "info")
    assert texts(table.notes) == [
        "1 row left out, not readings by their name ('average'): line 13",
        "4 rows left out, without a reading of Height or Load: line 9, line 11, line 14, line 15",
    ]


def test_the_same_in_a_workbook(tmp_path: Path) -> None:
    def cell(text: str) -> object:
        return float(text) if text.replace(".", "", 1).isdigit() else text or None

    rows: list[list[object]] = [[cell(word) for word in line.split(",")] for line in TRAY.split("\n")[:-1]]
    table = read_spring_readings(book(tmp_path, Cover=[["Quillmere"], ["valve springs"]], Tray=rows))
    assert forces(table) == READ
    assert texts(table.notes) == [
        "1 row left out, not readings by their name ('average'): row 13",
        "4 rows left out, without a reading of Height or Load: row 9, row 11, row 14, row 15",
    ]
    assert "Read from the sheet 'Tray', 2 of 2." in texts(table.notes, "info")


def test_a_header_as_far_down_as_row_50(tmp_path: Path) -> None:
    rows = "height [mm],force [N]\n42,100\n40,200\n"
    table = springs(tmp_path, "a title\n" * 49 + rows)
    assert len(table.springs) == 1
    assert any("49 rows above the header skipped" in text for text in texts(table.notes, "info"))


def test_a_row_of_units_below_the_names(tmp_path: Path) -> None:
    table = springs(tmp_path, "spring;height;force\n;in;lbf\n1;1,8;120\n1;1,3;320\n")
    assert forces(table) == {"1": READ["1"]}


@pytest.mark.parametrize("cell", ["1.2.3", "742 N", "<5", "7_42", "1e999", "12:30", "2026-03-01"])
def test_a_malformed_number_is_refused_with_its_cell(tmp_path: Path, cell: str) -> None:
    with pytest.raises(BadFile, match="line 3: found force"):
        springs(tmp_path, f"spring,height [mm],force [N]\nA,42,100\nA,40,{cell}\nA,38,200\n")
    rows: list[list[object]] = [["spring", "height [mm]", "force [N]"], ["A", 42, 100], ["A", 40, cell], ["A", 38, 200]]
    with pytest.raises(BadFile, match="C3: found force"):
        read_spring_readings(book(tmp_path, Tray=rows))


@pytest.mark.parametrize("comma", [",", ";"])
@pytest.mark.parametrize("cell", ["", "n/a", "-", "--", "nan", "#N/A", "none", "?"])
def test_one_cell_in_one_lobes_column_leaves_out_that_reading_only(tmp_path: Path, cell: str, comma: str) -> None:
    rows = [[f"{angle}", f"{abs(angle - 45) * 0.1:.3f}", f"{angle * 0.1:.3f}"] for angle in range(0, 90, 5)]
    rows[7][1] = cell
    text = "\n".join(map(comma.join, [["angle [cam deg]", "1I [mm]", "1E [mm]"], *rows]))
    table = read_lift_table(put(tmp_path, text if comma == "," else text.replace(".", ",")))
    assert [trace.lift_mm.size for trace in table.traces] == [17, 18]
    assert texts(table.notes) == ["lobe 1I: 1 reading left out, without a number: line 9"]


def test_words_beside_decimal_commas_stay_as_written(tmp_path: Path) -> None:
    heights = "spring;height [mm];force [N]\nA,1;42,5;100,5\nA,1;40,5;200,5\n"
    assert [spring.spring for spring in springs(tmp_path, heights).springs] == ["A,1"]


def test_a_row_longer_than_the_header_is_refused_only_where_it_counts(tmp_path: Path) -> None:
    rows = "height [mm],force [N]\n42,100\n40,200\nread cold, by P. Quill, twice, as always\n"
    assert springs(tmp_path, rows).springs[0].elements[0].compress.force_n.tolist() == [100.0, 200.0]
    with pytest.raises(BadFile, match="line 3: found 3 cells, expected 2, as above"):
        springs(tmp_path, "height [mm],force [N]\n42,100\n40,200,5\n38,300\n")


def test_every_kind_of_table_takes_titles_and_footers(tmp_path: Path) -> None:
    heights = read_heights(put(tmp_path, "Head 3\nValve,Height (in)\n1I,1.8\n1E,1.79\nmin,1.79\n"))
    assert [(one.position, round(one.height_mm / INCH, 9)) for one in heights.positions] == [("1I", 1.8), ("1E", 1.79)]
    trace = "".join(f"{journal};{angle};{angle % 7}\n" for journal in (1, 2) for angle in range(0, 360, 10))
    shaft = read_shaft_readings(put(tmp_path, f"Shaft 9\nJournal no.;Angle [deg];Indicator (um)\n{trace}2;n/a;\nend\n"))
    assert [one.angle_deg.size for one in shaft.traces] == [36, 36]
    cells = "".join(f"{part},{who},{trial},{part}.{trial}\n" for part in (1, 2, 3) for who in "AB" for trial in (1, 2))
    study = read_gauge_study(put(tmp_path, f"Study\nPart no.,Operator,Trial,Reading [mm]\n{cells}mean,,,1.5\n"))
    assert study.readings.shape == (3, 2, 2)
    for table in (heights, shaft, study):
        assert any("left out" in text for text in texts(table.notes))


# Springs


def test_wide_springs(tmp_path: Path) -> None:
    text = (
        "# force resolution: 0.5 lbf\n# height resolution: 0.001 in\n# coil bind: 1.05 in\n"
        'Spring #,force at 1.800 in [lbf],1.500 in [lbf],1.300" (lbf),free length [in],installed height [in]\n'
        "Q1,120,240,320,2.1,1.80\nQ2,122,,322,2.11,1.79\n"
    )
    path = put(tmp_path, text)
    assert only_kind(path) == "spring readings"
    table = read_spring_readings(path)
    assert forces(table) == {"Q1": [(1.8, 120.0), (1.5, 240.0), (1.3, 320.0)], "Q2": [(1.8, 122.0), (1.3, 322.0)]}
    assert table.force_resolution_n == pytest.approx(0.5 * POUND)
    assert table.height_resolution_mm == pytest.approx(0.001 * INCH)
    assert table.coil.solid_height_mm == pytest.approx(1.05 * INCH)
    assert [spring.installed_height_mm for spring in table.springs] == pytest.approx([1.8 * INCH, 1.79 * INCH])
    assert [spring.elements[0].free_length_mm for spring in table.springs] == pytest.approx([2.1 * INCH, 2.11 * INCH])
    assert table.remarks == {}


def test_the_force_unit_may_stand_in_the_preamble(tmp_path: Path) -> None:
    table = springs(tmp_path, "# force unit: lbf\nspring,1.8 in,1.3 in\n1,120,320\n2,122,322\n")
    assert forces(table) == READ
    with pytest.raises(BadFile, match="a height in inches and forces without a unit"):
        springs(tmp_path, "spring,1.8 in,1.3 in\n1,120,320\n")
    with pytest.raises(BadFile, match="a height without a unit beside inches or pounds"):
        springs(tmp_path, "spring,force at 1.8 [lbf],force at 1.3 [lbf]\n1,120,320\n")


def test_two_readings_at_one_height_are_averaged(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wide = put(tmp_path, "# installed height: 46 mm\nspring,46 mm [N],force at 46 mm [N],30 mm [N]\nA,300,302,700\n")
    assert main(["springs", str(wide), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["springs"][0]["seat_force_n"] == pytest.approx(301.0)
    tidy = put(tmp_path, "# installed height: 46 mm\nspring,height [mm],force [N]\nA,46,300\nA,46,302\nA,30,700\n")
    assert main(["springs", str(tidy), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["springs"][0]["seat_force_n"] == pytest.approx(301.0)


def test_lengths_spring_by_spring_reach_the_result(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own = (("A", 25.1, 46), ("B", 25.3, 45))
    rows = "".join(
        f"{name},{h},{20 * (60 - h)},{solid},{fitted}\n" for name, solid, fitted in own for h in (46, 45, 40, 35, 34)
    )
    head = "spring,height [mm],force [N],coil bind [mm],installed height [mm]\n"
    text = f"# valve lift: 11 mm\n# installed height: 44 mm\n{head}{rows}"
    path = put(tmp_path, text)
    main(["springs", str(path), "--json"])
    a, b = json.loads(capsys.readouterr().out)["springs"]
    assert (a["solid_height_mm"], b["solid_height_mm"]) == (25.1, 25.3)
    assert (a["seat_force_n"], b["seat_force_n"]) == (pytest.approx(280.0), pytest.approx(300.0))
    assert b["coil_bind_margin_mm"] == pytest.approx(45.0 - 11.0 - 25.3)
    spec = put(tmp_path, '[fitting]\ninstalled_height = "46 mm"\n', "spec.toml")
    main(["springs", str(path), "--spec", str(spec), "--json"])
    assert [row["seat_force_n"] for row in json.loads(capsys.readouterr().out)["springs"]] == pytest.approx([280.0] * 2)
    with pytest.raises(BadFile, match=r"solid height 25\.2 mm after 25\.1 mm for spring 'A'"):
        springs(tmp_path, text.replace("A,40,400,25.1", "A,40,400,25.2"))


@pytest.mark.parametrize("name", ["No.", "Spring #", "Spring No", "id", "Springs"])
def test_a_name_column_is_never_dropped(tmp_path: Path, name: str) -> None:
    table = springs(tmp_path, f"{name},height [mm],force [N]\n1,42,100\n1,38,200\n2,42,103\n2,38,203\n")
    assert [spring.spring for spring in table.springs] == ["1", "2"]


def test_springs_named_by_their_valve(tmp_path: Path) -> None:
    table = springs(tmp_path, "valve,height [mm],force [N]\n1I,42,100\n1E,42,130\n")
    assert [(one.spring, one.position, one.elements[0].compress.force_n.tolist()) for one in table.springs] == [
        ("1I", "1I", [100.0]),
        ("1E", "1E", [130.0]),
    ]


def test_without_a_name_one_pass_of_heights_is_one_spring(tmp_path: Path) -> None:
    one = "height [mm],force [N]\n42,100\n40,150\n38,200\n"
    assert [spring.spring for spring in springs(tmp_path, one).springs] == ["1"]
    for more in ("42,101\n40,151\n", "40,150\n42,100\n", "38,201\n"):
        with pytest.raises(BadFile, match="line 5: found a second pass of heights, and no column that"):
            springs(tmp_path, one + more)
    strokes = "height [mm],force [N],stroke\n42,100,compress\n38,200,compress\n38,198,release\n42,99,release\n"
    assert len(springs(tmp_path, strokes).springs) == 1


BEYOND = {
    "height": "spring,height [mm],force [N]\nA,1e15,100\nA,38,200\n",
    "force": "spring,height [mm],force [N]\nA,42,1e15\nA,38,200\n",
    "wide": "spring,1e15 mm [N],38 mm [N]\nA,1,2\n",
    "installed height": "# installed height: 1e15\nspring,height [mm],force [N]\nA,42,100\nA,38,200\n",
    "coils": "# active coils: 1e15\nspring,height [mm],force [N]\nA,42,100\nA,38,200\n",
    "force uncertainty": "# force uncertainty: 1e15\nspring,height [mm],force [N]\nA,42,100\nA,38,200\n",
    "solid height": "spring,height [mm],force [N],solid height [mm]\nA,42,100,1e15\nA,38,200,25\n",
}  # fmt: skip


@pytest.mark.parametrize("what", BEYOND)
def test_readings_no_tester_gives(tmp_path: Path, what: str) -> None:
    with pytest.raises(BadFile, match=r"expected (a height above 0, )?at most 1"):
        springs(tmp_path, BEYOND[what])


def test_heights_and_shims_beyond_any_head(tmp_path: Path) -> None:
    for text in (
        "position,height [mm]\n1I,1e15\n",
        "# shims: 1e9 mm\nposition,height [mm]\n1I,40\n",
        "# target seat force: 1e15 N\nposition,height [mm]\n1I,40\n",
    ):
        with pytest.raises(BadFile, match="at most 1"):
            read_heights(put(tmp_path, text))


# Bare numbers beside inches

INCHES = "spring,height [in],force [lbf]\nA,1.8,120\nA,1.3,320\n"


@pytest.mark.parametrize("key", ["valve lift", "installed height", "wire diameter", "coil bind", "height resolution"])
def test_a_bare_length_beside_inches_is_refused_with_its_key(tmp_path: Path, key: str) -> None:
    with pytest.raises(BadFile, match=f"line 1, {key}: found .600 without a unit beside columns in inches or pounds"):
        springs(tmp_path, f"# {key}: .600\n{INCHES}")
    assert springs(tmp_path, f"# {key}: .600 in\n{INCHES}").remarks == {}


def test_so_it_is_in_every_table_and_for_forces(tmp_path: Path) -> None:
    with pytest.raises(BadFile, match="force uncertainty: found 1 without a unit"):
        springs(tmp_path, f"# force uncertainty: 1\n{INCHES}")
    lobe = "angle [cam deg],1I [in]\n" + "".join(f"{angle},{0.3 * angle / 30}\n" for angle in range(30))
    for line in ("base circle radius: .6", "follower: roller .375", "probe uncertainty: .0001"):
        with pytest.raises(BadFile, match="without a unit beside columns in inches"):
            read_lift_table(put(tmp_path, f"# {line}\n{lobe}"))
    with pytest.raises(BadFile, match=r"shims: found 0.015 without a unit"):
        read_heights(put(tmp_path, "# shims: 0.015, 0.030\nposition,height [in]\n1I,1.8\n"))
    assert read_lift_table(put(tmp_path, f"# probe uncertainty: 0\n{lobe}")).probe_uncertainty_mm == 0.0


# Where the table stands


def test_sheet_header_and_first_row_may_be_named(tmp_path: Path) -> None:
    path = book(
        tmp_path,
        Monday=[["spring", "height [mm]", "force [N]"], ["M", 42, 100], ["M", 38, 200]],
        Tuesday=[["x"], [None, "A", "B", "C"], [None, "T", 1.8, 120], [None, "T", 1.3, 320]],
    )
    assert [one.spring for one in read_spring_readings(path).springs] == ["M"]
    for told in ('sheet="Tuesday"', "sheet=2", "sheet='tuesday'"):
        table = read_spring_readings(path, f"{told}, header=2, spring=1, height=2 [in], load=3 [lbf]")
        assert forces(table) == {"T": READ["1"]}
    table = read_spring_readings(path, "spring=1, height=2 [in], force=3 [lbf], sheet=2, first row=3")
    assert forces(table) == {"T": READ["1"]}
    with pytest.raises(BadFile, match="no sheet 3 among 'Monday', 'Tuesday'"):
        read_table(path, "sheet=3")


def test_rows_of_a_text_may_be_named(tmp_path: Path) -> None:
    text = "1 2 3\nspring height force\nA 42 100\nA 38 200\nB 42 101\nB 38 201\n"
    assert [one.spring for one in springs(tmp_path, text, "header=2").springs] == ["A", "B"]
    assert [one.spring for one in springs(tmp_path, text, "header=2, first row=5").springs] == ["B"]
    plain = springs(tmp_path, text, "first row=5, spring=0, height=1 [mm], force=2 [N]")
    assert [one.spring for one in plain.springs] == ["B"]
    for told, sentence in (
        ("sheet=2", "a workbook, for sheet=2"),
        ("header=40", "a row 40"),
        ("first row=9", "a row 9"),
    ):
        with pytest.raises(BadFile, match=sentence):
            springs(tmp_path, text, told)


@pytest.mark.parametrize(
    "told", ["sheet=0", "header=0", "first row=0", "header=5, first row=5", "sheet=1, sheet=2", "sheet="]
)
def test_wrong_places(told: str) -> None:
    with pytest.raises(WrongUsage, match="--columns"):
        parse_columns(told)


def test_an_assignment_with_places_is_written_back(tmp_path: Path) -> None:
    text = 'sheet="Tray 2, cold", header=5, first row=7, spring=0, height=1 [in], force=2 [lbf]'
    assert parse_columns(text).text() == text
    assert parse_columns(parse_columns(text).text()) == parse_columns(text)


def test_without_columns_the_header_keeps_its_names(tmp_path: Path) -> None:
    table: Table = read_table(put(tmp_path, "a\nb\nspring,height [mm]\nA,42\n"), "header=3")
    assert not table.assigned
    assert [column.name for column in table.columns] == ["spring", "height"]


# Workbooks that unpack to far more than a table


def packed(folder: Path, xml: bytes) -> Path:
    path = book(folder, Tray=[["spring", "height [mm]", "force [N]"], ["A", 42, 100]])
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(folder / "odd.xlsx", "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, xml if name.endswith("sheet1.xml") else old.read(name))
    return folder / "odd.xlsx"


SPACE = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'


@pytest.mark.parametrize(
    ("inner", "said"),
    [
        (b" " * (3 * MAX_BLANK), "more than 1 MB without a cell"),
        (b"<row></row>" * 5_020_000, "more than 5000000 rows"),
        (b'<row><c r="A1"/><c/></row>' * 30_000 + b'<row r="900000"><c r="Z900000"/></row>', "over 900000 rows and 26"),
    ],
)
def test_seas_of_blanks_are_refused_piece_by_piece(tmp_path: Path, inner: bytes, said: str) -> None:
    row = b'<row r="1"><c r="A1"><v>1</v></c></row>'
    path = packed(tmp_path, SPACE + row + inner + b"</sheetData></worksheet>")
    with pytest.raises(BadFile, match=said):
        read_table(path)


def test_a_workbook_of_many_pieces_is_read(tmp_path: Path) -> None:
    rows = "".join(
        f'<row r="{n}"><c r="A{n}"><v>{n}</v></c><c r="B{n}"><v>{n / 8}</v></c></row>' for n in range(1, 60_001)
    )
    xml = SPACE + rows.encode() + b"</sheetData></worksheet>"
    found = read_table(packed(tmp_path, xml), "x=0, z=1")
    assert found.row_count == 60_000
    assert np.array_equal(found.numbers("z", "number"), np.arange(1, 60_001) / 8)
