"""Every way a table can be written, and every way it can be wrong."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from something import each

from valvelab.errors import BadFile, WrongUsage
from valvelab.files import contents, workbook
from valvelab.files.column_assignment import parse_columns
from valvelab.files.table import ColumnsNeeded, read_table

SPRINGS = "spring,height [mm],force [N]\nA,42.0,300.5\nA,31,742\nB,42.0,298\nB,31,739.25\n"
HEIGHTS = [42.0, 31.0, 42.0, 31.0]
FORCES = [300.5, 742.0, 298.0, 739.25]


def write(folder: Path, text: str | bytes, name: str = "table.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def semicolon(text: str) -> str:
    return text.replace(",", ";").replace(".", ",")


CLEAN = {
    "comma": SPRINGS.encode(),
    "CRLF": SPRINGS.replace("\n", "\r\n").encode(),
    "CR": SPRINGS.replace("\n", "\r").encode(),
    "no last newline": SPRINGS.rstrip().encode(),
    "tab": SPRINGS.replace(",", "\t").encode(),
    "tab, decimal comma": SPRINGS.replace(",", "\t").replace(".", ",").encode(),
    "space": SPRINGS.replace(",", " ").encode(),
    "spaces": SPRINGS.replace(",", "     ").encode(),
    "space, decimal comma": SPRINGS.replace(",", " ").replace(".", ",").encode(),
    "bar": SPRINGS.replace(",", " | ").encode(),
    "semicolon": SPRINGS.replace(",", ";").encode(),
    "semicolon, decimal comma": semicolon(SPRINGS).encode(),
    "sep line": ("sep=;\n" + semicolon(SPRINGS)).encode(),
    "UTF-8 with mark": SPRINGS.encode("utf-8-sig"),
    "UTF-16": SPRINGS.encode("utf-16"),
    "UTF-16 big-endian with mark": b"\xfe\xff" + SPRINGS.encode("utf-16-be"),
    "UTF-16 without mark": SPRINGS.encode("utf-16-le"),
    "UTF-16 big-endian without mark": SPRINGS.encode("utf-16-be"),
    "UTF-32": SPRINGS.encode("utf-32"),
    "quoted": SPRINGS.replace("A,", '"A",').replace("300.5", '"300.5"').encode(),
    "quoted decimal comma": (
        b'spring,height [mm],force [N]\nA,"42,0","300,5"\nA,31,742\nB,"42,0",298\nB,31,"739,25"\n'
    ),
    "trailing separators": SPRINGS.replace("\n", ",\n").encode(),
    "trailing separators below": SPRINGS.replace("\n", ",,\n").replace("[N],,", "[N]").encode(),
    "blank lines": SPRINGS.replace("\nB", "\n\n  \n,,\nB").encode(),
    "strange blanks around": SPRINGS.replace(",", "\u00a0,\t").encode(),
    "blanks around": SPRINGS.replace(",", " ,  ").encode(),
    "comments between": SPRINGS.replace("\nB", "\n# a word without a sign\nB").encode(),
    "true minus and exponents": SPRINGS.replace("300.5", "+3.005E2").replace("742", "7.42e+2").encode(),
    "other order": b"force [N],remark,spring,height [mm]\n300.5,x,A,42\n742,,A,31\n298,,B,42\n739.25,y,B,31\n",
    "capitals": SPRINGS.replace("spring", "Spring").replace("height", " HEIGHT ").encode(),
    "round brackets": SPRINGS.replace("[", "(").replace("]", ")").encode(),
    "end-of-file sign": SPRINGS.encode() + b"\x1a",
}  # fmt: skip


@pytest.mark.parametrize("form", CLEAN)
def test_the_same_readings_in_every_form(tmp_path: Path, form: str) -> None:
    found = read_table(write(tmp_path, CLEAN[form]))
    assert found.row_count == 4
    assert found.numbers("height", "length").tolist() == HEIGHTS
    assert found.numbers("force", "force").tolist() == FORCES
    assert found.texts("spring") == ("A", "A", "B", "B")
    assert {name: rows.tolist() for name, rows in found.groups("spring").items()} == {"A": [0, 1], "B": [2, 3]}


def test_arrays_can_not_be_written(tmp_path: Path) -> None:
    found = read_table(write(tmp_path, SPRINGS))
    with pytest.raises(ValueError, match="read-only"):
        found.numbers("height", "length")[0] = 1.0


def test_latin_1_is_read_and_said(tmp_path: Path) -> None:
    found = read_table(write(tmp_path, "# operator: José\nx [µm],z [um]\n1,2\n3,4\n".encode("latin-1")))
    assert found.preamble["operator"] == "José"
    assert found.numbers("x", "length").tolist() == [0.001, 0.003]
    assert any("Latin-1" in note.text for note in found.notes)


@pytest.mark.parametrize(
    ("unit", "dimension", "one"),
    [
        ("mm", "length", 1.0), ("in", "length", 25.4), ("m", "length", 1000.0), ("um", "length", 0.001),
        ("N", "force", 1.0),
        # the pound is 0.45359237 kg exactly (yard and pound agreement, 1959), gravity 9.80665 m/s² (CGPM 1901)
        ("lbf", "force", 0.45359237 * 9.80665),
    ],
)  # fmt: skip
def test_units_of_a_column(tmp_path: Path, unit: str, dimension: str, one: float) -> None:
    found = read_table(write(tmp_path, f"a [{unit}],b\n1,2\n2,3\n"))
    assert found.numbers("a", dimension) == pytest.approx([one, 2.0 * one], rel=1e-15)  # type: ignore[arg-type]


def test_a_column_without_unit_is_canonical_and_noted(tmp_path: Path) -> None:
    found = read_table(write(tmp_path, "spring,height,force [N]\nA,42,1\nA,41,2\n"))
    assert found.notes == ()
    found.numbers("height", "length")
    assert [note.text for note in found.notes] == ["column height carries no unit; read as mm"]


def test_crank_degrees_are_halved(tmp_path: Path) -> None:
    found = read_table(write(tmp_path, "angle [crank deg],lift\n720,1\n-90,2\n"))
    assert found.angles_cam_deg("angle").tolist() == [360.0, -45.0]


def test_preamble(tmp_path: Path) -> None:
    text = '# Part: "A, B"\n#serial:7\n# a remark\n# installed height : 1.5 in;;;\n\n#tilt: 232 crank deg\n' + SPRINGS
    found = read_table(write(tmp_path, text))
    assert found.preamble == {
        "part": '"A, B"',
        "serial": "7",
        "installed height": "1.5 in",
        "tilt": "232 crank deg",
    }
    assert found.quantity("installed height", "length") == pytest.approx(38.1, rel=1e-15)
    assert found.angle("tilt", "cam") == 116.0
    assert found.quantity("free length", "length") is None
    with pytest.raises(BadFile, match=r"line 4, installed height: found unit 'in', expected a force unit"):
        found.quantity("installed height", "force")


def test_preamble_below_the_header_counts_too(tmp_path: Path) -> None:
    found = read_table(write(tmp_path, SPRINGS.replace("\nA,42", "\n# rotation: reverse\nA,42")))
    assert found.preamble == {"rotation": "reverse"}
    assert found.place(0) == "line 3"


def test_two_values_for_one_key_are_refused(tmp_path: Path) -> None:
    with pytest.raises(BadFile, match="line 2: found a second 'part'"):
        read_table(write(tmp_path, "# part: A\n# part: B\n" + SPRINGS))


def test_no_header_at_all(tmp_path: Path) -> None:
    path = write(tmp_path, "0 1.5\n1 2.5\n2 3.5\n")
    with pytest.raises(ColumnsNeeded, match=r"line 1: found 2 columns without names.*--columns \"x=0\"") as caught:
        read_table(path).require("x")
    assert caught.value.preview.rows == (("0", "1.5"), ("1", "2.5"), ("2", "3.5"))
    assert "\n" not in str(caught.value)
    found = read_table(path, "x=0, z=1 [um]")
    assert found.numbers("z", "length").tolist() == [0.0015, 0.0025, 0.0035]


def test_assigned_columns_win_over_the_header(tmp_path: Path) -> None:
    found = read_table(write(tmp_path, SPRINGS), parse_columns("height=1 [in], force=2"))
    assert found.numbers("height", "length")[0] == pytest.approx(1066.8)
    assert found.numbers("force", "force").tolist() == FORCES
    assert [column.name for column in found.columns] == ["height", "force"]


def test_an_assigned_column_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(BadFile, match="column 7: found columns 0 to 2, expected a column for 'height'"):
        read_table(write(tmp_path, SPRINGS), "height=7")


@pytest.mark.parametrize(
    "text", ["", "height", "height=", "height=a", "=1", "a=1,a=2", "a=1 mm", "a=-1", "a=1 [mm", ","]
)
def test_wrong_column_assignments(text: str) -> None:
    with pytest.raises(WrongUsage, match="--columns"):
        parse_columns(text)


def test_column_assignment_round_trip() -> None:
    text = "angle=0 [crank deg], 1I=2 [in], remark=3"
    assert parse_columns(text).text() == text


WRONG = {
    "empty": (b"", "an empty file"),
    "blank": (b" \n\n", "an empty file"),
    "only a mark": (b"\xff\xfe", "an empty file"),
    "only a preamble": (b"# part: A\n", "lines above a table and nothing below them"),
    "only a header": (b"spring,height [mm],force [N]\n", "line 1: found a header and no rows below it"),
    "binary": (bytes(range(256)) * 4, "binary data"),
    "old workbook": (b"\xd0\xcf\x11\xe0" + bytes(600), "old binary form"),
    "broken zip": (b"PK\x03\x04" + bytes(50), "broken zip"),
    "two points": (SPRINGS.replace("742", "1.2.3").encode(), "line 3: found force '1.2.3', expected a number"),
    "word": (SPRINGS.replace("742", "abc").encode(), "line 3: found force 'abc', expected a number"),
    "not a number": (SPRINGS.replace("742", "nan").encode(), "line 3: found force 'nan', expected a number"),
    "infinity": (SPRINGS.replace("742", "inf").encode(), "line 3: found force 'inf', expected a number"),
    "too large": (SPRINGS.replace("742", "1e999").encode(), "line 3: found force '1e999', expected a number"),
    "underscore": (SPRINGS.replace("742", "7_42").encode(), "line 3: found force '7_42', expected a number"),
    "hexadecimal": (SPRINGS.replace("742", "0x1F").encode(), "line 3: found force '0x1F', expected a number"),
    "other digits": (SPRINGS.replace("742", "٧٤٢").encode(), "line 3: found force '٧٤٢', expected a number"),
    "unit in the cell": (SPRINGS.replace("742", "742 N").encode(), "line 3: found force '742 N', expected a number"),
    "empty cell": (SPRINGS.replace("742", "").encode(), "line 3: found an empty cell in force, expected a number"),
    "short row": (SPRINGS.replace(",742", "").encode(), "line 3: found an empty cell in force, expected a number"),
    "long row": (SPRINGS.replace("742", "742,5").encode(), "line 3: found 4 cells, expected 3"),
    "other decimal sign": (
        semicolon(SPRINGS).replace("742", "742.5").encode(),
        "line 3: found force '742.5', expected a number with a decimal comma",
    ),
    "after comments": (("# a: b\n\n" + SPRINGS.replace("742", "abc")).encode(), "line 5: found force 'abc'"),
    "open quote": (SPRINGS.replace("742", '"742').encode(), "line 3"),
    "wrong dimension": (SPRINGS.replace("[N]", "[mm]").encode(), "column force: found unit 'mm', expected a force"),
    "unknown unit": (SPRINGS.replace("[N]", "[ell]").encode(), "column force: found unit 'ell', expected a force"),
    "same name twice": (SPRINGS.replace("spring", "force").encode(), "line 1: found 2 columns called 'force'"),
    "missing": (SPRINGS.replace("force", "weight").encode(), "expected a column 'force'"),
    "half a character": (SPRINGS.encode("utf-16")[:-1], "not utf-16"),
    "endless header": (b"a" + b" " * 500_000 + b"[,force\n1,x\n2,3\n", "line 2: found force 'x'"),
    "endless cell": (SPRINGS.replace("742", "9" * 500_000).encode(), "line 3: found force '9999"),
    "endless unit": (SPRINGS.replace("[N]", "[" + "x " * 90_000 + "]").encode(), "column force: found unit 'x x"),
    "many keys": (b"".join(b"# key %d: 1\n" % number for number in range(2000)), "line 1001: found more than 1000"),
    "only a strange blank below": (":\r\x85".encode(), "no rows"),
    "one endless line": (b"1," * 700_000, "characters"),
}  # fmt: skip


@pytest.mark.parametrize("form", WRONG)
def test_refusals_say_file_place_found_expected(tmp_path: Path, form: str) -> None:
    data, sentence = WRONG[form]
    path = write(tmp_path, data)
    with pytest.raises(BadFile) as caught:
        read_table(path).numbers("force", "force")
    said = str(caught.value)
    assert said.startswith(str(path))
    assert sentence in said
    assert len(said) < len(str(path)) + 400
    assert ": found " in said
    assert ", expected " in said
    assert "\n" not in said


def test_an_empty_cell_may_be_asked_for_as_missing(tmp_path: Path) -> None:
    found = read_table(write(tmp_path, SPRINGS.replace("742", "")))
    assert np.isnan(found.numbers("force", "force", empty_as_nan=True)).tolist() == [False, True, False, False]


def test_an_empty_name_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadFile, match="line 4: found an empty 'spring', expected a name"):
        read_table(write(tmp_path, SPRINGS.replace("B,42", ",42"))).groups("spring")


def test_numbered_names_keep_their_writing(tmp_path: Path) -> None:
    found = read_table(write(tmp_path, "spring,height\n007,1\n007,2\n8.0,3\n"))
    assert list(found.groups("spring")) == ["007", "8.0"]


def test_a_word_longer_than_any_before_it(tmp_path: Path) -> None:
    rows = "".join(f"A,{height},1\n" for height in range(40)) + "a rather long name,1,2\n"
    found = read_table(write(tmp_path, "spring,height,force\n" + rows))
    assert found.texts("spring")[-1] == "a rather long name"


def test_blank_rows_among_words(tmp_path: Path) -> None:
    found = read_table(write(tmp_path, "name\tplace\nA\tx\n  \t\nB\ty\n"))
    assert found.texts("name") == ("A", "B")
    assert found.place(1) == "line 4"


def test_decimal_commas_that_come_late(tmp_path: Path) -> None:
    rows = "".join(f"{angle};0\n" for angle in range(60)) + "60;1,25\n61;0\n"
    found = read_table(write(tmp_path, "angle [cam deg];lift [mm]\n" + rows))
    assert found.numbers("lift", "length")[60] == 1.25


@pytest.mark.parametrize("path", ["", ".", "nowhere.csv", "a\0b"])
def test_no_file(path: str) -> None:
    with pytest.raises(BadFile):
        read_table(path)


def test_a_pipe_is_refused_at_once(tmp_path: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("this system has no named pipes")
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(BadFile, match="a device or pipe"):
        read_table(tmp_path / "pipe")


def test_a_large_file_is_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "large.csv"
    with path.open("wb") as stream:
        stream.truncate(contents.MAX_FILE_BYTES + 1)
    monkeypatch.setattr(contents, "sha256", None)  # reading on would need it
    with pytest.raises(BadFile, match="found 64 MB, expected at most 64 MB"):
        read_table(path)


def test_too_many_rows(tmp_path: Path) -> None:
    path = write(tmp_path, b"1\n" * (contents.MAX_ROWS + 20_000))
    with pytest.raises(BadFile, match="5020000 lines, expected at most 5000000 rows"):
        read_table(path)


def test_shape_forgets_readings_and_keeps_the_layout(tmp_path: Path) -> None:
    first = read_table(write(tmp_path, SPRINGS, "a.csv")).shape
    assert first == read_table(write(tmp_path, SPRINGS.replace("742", "1") + "C,1,2\n", "b.csv")).shape
    assert first != read_table(write(tmp_path, SPRINGS.replace("spring", "coil"), "c.csv")).shape
    assert first != read_table(write(tmp_path, semicolon(SPRINGS), "d.csv")).shape


def test_fast_and_careful_ways_agree(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    values = rng.normal(size=(400, 3)) * 10.0 ** rng.integers(-8, 8, size=(400, 3))
    text = "a,b,c\n" + "".join(",".join(map(repr, row)) + "\n" for row in values.tolist())
    quick = read_table(write(tmp_path, text, "quick.csv"))
    slow = read_table(write(tmp_path, text.replace("\n", "\n# aside\n", 2), "slow.csv"))
    for index, name in each(enumerate("abc")):
        assert quick.numbers(name, "number").tolist() == values[:, index].tolist()
        assert slow.numbers(name, "number").tolist() == values[:, index].tolist()


def test_fast_and_careful_ways_agree_on_words_beside_decimal_commas(tmp_path: Path) -> None:
    text = "spring;force [N]\n" + "".join(f"A,{row};{row},5\n" for row in range(400))
    quick = read_table(write(tmp_path, text, "quick.csv"))
    slow = read_table(write(tmp_path, text.replace("\n", "\n# aside\n", 2), "slow.csv"))
    assert quick.texts("spring") == slow.texts("spring") == tuple(f"A,{row}" for row in range(400))
    assert quick.numbers("force", "force").tolist() == slow.numbers("force", "force").tolist()


# Workbooks, written by an independent library


def workbook_file(folder: Path, rows: list[list[object]], lead_sheets: int = 0) -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for _ in range(lead_sheets):
        sheet = book.create_sheet()
    for row in rows:
        sheet.append(row)
    path = folder / "table.xlsx"
    book.save(path)
    return path


SHEET: list[list[object]] = [
    ["# part: A, B"],
    ["# installed height:", "42 mm"],
    [],
    ["spring", "height [mm]", "force [N]"],
    ["A", 42, 300.5],
    ["A", 31, 742],
    [],
    ["B", "42.0", 298],
    ["B", 31, 739.25],
]


@pytest.mark.parametrize("lead_sheets", [0, 2])
def test_workbook(tmp_path: Path, lead_sheets: int) -> None:
    found = read_table(workbook_file(tmp_path, SHEET, lead_sheets))
    assert found.preamble == {"part": "A, B", "installed height": "42 mm"}
    assert found.numbers("height", "length").tolist() == HEIGHTS
    assert found.numbers("force", "force").tolist() == FORCES
    assert found.texts("spring") == ("A", "A", "B", "B")
    assert found.place(2, "force") == "C8"


def test_workbook_without_header(tmp_path: Path) -> None:
    found = read_table(workbook_file(tmp_path, [[0, 1.5], [1, 2.5]]), "x=0 [mm], z=1 [um]")
    assert found.numbers("z", "length").tolist() == [0.0015, 0.0025]


@pytest.mark.parametrize(
    ("cell", "said"),
    [("abc", "C5: found force 'abc', expected a number"), (None, "C5: found an empty cell in force"),
     (True, "C5: found force 'True', expected a number"), ("1,5", "C5: found force '1,5'")],
)  # fmt: skip
def test_workbook_refusals_name_the_cell(tmp_path: Path, cell: object, said: str) -> None:
    rows = [list(row) for row in SHEET]
    rows[4][2] = cell
    with pytest.raises(BadFile, match=said):
        read_table(workbook_file(tmp_path, rows)).numbers("force", "force")


def test_workbook_without_data(tmp_path: Path) -> None:
    with pytest.raises(BadFile, match="a workbook without data"):
        read_table(workbook_file(tmp_path, []))


def repacked(path: Path, part: str, data: bytes) -> bytes:
    """The workbook with one part replaced."""
    out = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, data if name == part else old.read(name))
    return out.getvalue()


def test_workbook_bomb_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    path = workbook_file(tmp_path, SHEET)
    bomb = repacked(path, "xl/worksheets/sheet1.xml", bytes(contents.MAX_UNPACKED_BYTES))
    assert len(bomb) < 300_000
    with pytest.raises(BadFile, match=r"20\d MB once unpacked, expected at most 200 MB once unpacked"):
        read_table(write(tmp_path, bomb, "bomb.xlsx"))


def test_workbook_whose_directory_lies_is_refused(tmp_path: Path) -> None:
    path = workbook_file(tmp_path, SHEET)
    size = 10_000_000
    bomb = repacked(path, "xl/worksheets/sheet1.xml", bytes(size))
    lying = bomb.replace(size.to_bytes(4, "little"), (100).to_bytes(4, "little"))
    with pytest.raises(BadFile, match="other sizes than it states"):
        read_table(write(tmp_path, lying, "lying.xlsx"))


def test_workbook_with_two_far_corners_is_refused(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active["A1"] = 1
    book.active["ZZ1048576"] = 2
    book.save(tmp_path / "far.xlsx")
    with pytest.raises(BadFile, match="cells spread over 1048576 rows and 702 columns"):
        read_table(tmp_path / "far.xlsx")


CELL = b"<c><v>1</v></c>"


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        # cells need not say where they are: a long first row and very many short ones span as much as two far corners
        (
            b"<row>" + CELL * 9_000 + b"</row>" + (b"<row>" + CELL + b"</row>") * 9_000,
            "over 9001 rows and 9000 columns",
        ),
        (b"<row>" + CELL * 20_000 + b"</row>", "found 20000 columns, expected at most 10000"),
        (b'<row r="1">' + CELL + b'</row><row r="900000"><c r="Z900000"><v>1</v></c></row>', "over 900000 rows and 26"),
        (b'<row r="1"><c r="A4000000000"><v>1</v></c></row>', "found a cell outside any sheet"),
        (b"<row>" + CELL + b"<!-- <row --></row>", "comments inside a sheet's XML"),
        (b"<row><c><v>1</v>", "a workbook that can't be read|without data|1 rows"),
    ],
)
def test_sheets_no_spreadsheet_writes(tmp_path: Path, rows: bytes, said: str) -> None:
    space = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    xml = b'<worksheet xmlns="' + space + b'"><sheetData>' + rows + b"</sheetData></worksheet>"
    path = workbook_file(tmp_path, SHEET)
    with pytest.raises(BadFile, match=said):
        read_table(write(tmp_path, repacked(path, "xl/worksheets/sheet1.xml", xml), "odd.xlsx")).require("height")


def test_column_letters() -> None:
    assert [workbook.column_letters(index) for index in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]
    assert openpyxl.utils.get_column_letter(16384) == workbook.column_letters(16383)


# Anything at all


def ask_everything(path: Path) -> None:
    found = read_table(path)
    assert found.row_count > 0
    for column in found.columns:
        assert len(found.texts(column)) == found.row_count
        values = found.numbers(column, "length") if found.has_numbers(column) else np.zeros(1)
        assert np.isfinite(values).all()
        found.place(found.row_count - 1, column)
        found.groups(column)


def read_everything(path: Path) -> None:
    """Whatever happens is a BadFile in one line, or arrays without a hole."""
    refusal: BadFile | None = None
    try:
        ask_everything(path)
    except BadFile as error:
        refusal = error
    if refusal is not None:
        assert "\n" not in str(refusal)
        assert refusal.found
        assert refusal.expected


EACH = settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@EACH
@given(data=st.binary(max_size=200))
def test_any_bytes(tmp_path: Path, data: bytes) -> None:
    read_everything(write(tmp_path, data, "any"))


@EACH
@given(text=st.text(alphabet="0123456789.,;\t \"'\n\r#:|-+eE[]()mINabXµ\x0b\x85\u2028", max_size=120))
def test_any_text(tmp_path: Path, text: str) -> None:
    read_everything(write(tmp_path, text, "any.csv"))


@EACH
@given(
    base=st.sampled_from(sorted(CLEAN)),
    changes=st.lists(st.tuples(st.integers(0, 400), st.integers(0, 3), st.binary(max_size=4)), max_size=6),
)
def test_damaged_tables(tmp_path: Path, base: str, changes: list[tuple[int, int, bytes]]) -> None:
    data = CLEAN[base]
    for start, length, new in changes:
        data = data[:start] + new + data[start + length :]
    read_everything(write(tmp_path, data, "any.csv"))


@settings(EACH, max_examples=150)
@given(changes=st.lists(st.tuples(st.integers(0, 6000), st.binary(min_size=1, max_size=3)), min_size=1, max_size=6))
def test_damaged_workbooks(tmp_path_factory: pytest.TempPathFactory, changes: list[tuple[int, bytes]]) -> None:
    folder = tmp_path_factory.mktemp("damaged")
    data = workbook_file(folder, SHEET).read_bytes()
    for start, new in changes:
        data = data[:start] + new + data[start + len(new) :]
    read_everything(write(folder, data, "any.xlsx"))


def test_reading_needs_no_table_library() -> None:
    code = (
        "import sys, valvelab.files.lift_table;"
        "print([m for m in ('pandas','polars','scipy','openpyxl','python_calamine','PySide6') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert out.strip() == "[]"
