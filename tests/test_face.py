"""The Python face: what the command answers, from any kind of table, shown as a notebook shows it."""

from __future__ import annotations

import contextlib
import inspect
import io
import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pandas as pd
import pytest
from something import each

import valvelab as vl
from valvelab import face
from valvelab.cli.main import main
from valvelab.errors import WrongUsage
from valvelab.job.uses import USES
from valvelab.records.job import PARTS

ROOT = Path(__file__).resolve().parent.parent
SAMPLES = ROOT / "sample_profiles"
TRAY, SPEC = SAMPLES / "springs_quillmere_tray.csv", SAMPLES / "springs_quillmere_spec.toml"
GUIDE = ROOT / "resources" / "guide" / "python.md"
RENAMED = {"sheet": "file", "before": "file", "table": "file"}


@pytest.fixture(scope="module")
def tray() -> face.Answer:
    return vl.springs(TRAY, spec=SPEC)


def test_the_guide_says_what_happens(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its blocks run as the cells of a notebook; what one prints is the text under it."""
    monkeypatch.chdir(SAMPLES)
    blocks = re.findall(r"```(python|text)\n(.*?)```", GUIDE.read_text(encoding="utf-8"), re.DOTALL)
    names: dict[str, object] = {}
    printed = ""
    for kind, text in each(blocks):
        if kind == "python":
            with contextlib.redirect_stdout(io.StringIO()) as out:
                exec(compile(text, str(GUIDE), "exec"), names)  # noqa: S102 - our own guide
            printed = out.getvalue()
        else:
            assert printed == text
    assert sum(kind == "text" for kind, _ in blocks) == sum("print(" in text for kind, text in blocks)


def test_every_use_is_a_function_with_the_options_of_its_command() -> None:
    assert set(vl.FUNCTIONS) == set(USES)
    for name in each(USES):
        taken = inspect.signature(getattr(vl, name)).parameters
        fields = {RENAMED.get(word, word) for word in taken} - {"units"}
        assert fields == set(PARTS[name].model_fields) - {"inspect"}, name


def test_it_is_light_and_an_imported_room_does_not_take_a_functions_place() -> None:
    code = (
        "import sys, valvelab as vl\nassert not {'numpy', 'pydantic', 'PySide6'} & set(sys.modules)\n"
        "import valvelab.springs.rate\nassert callable(vl.springs)\nassert 'springs' in dir(vl)\n"
        "assert not {'reportlab', 'pandas', 'PySide6'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_it_answers_what_the_command_prints(
    tray: face.Answer, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    csv = tmp_path / "rows.csv"
    assert main(["springs", str(TRAY), "--spec", str(SPEC), "--json", "--quiet", "--out", str(csv)]) == 1
    out = capsys.readouterr().out
    assert tray.to_json() + "\n" == out
    assert tray.to_dict() == json.loads(out)
    assert csv.read_text(encoding="utf-8").split("\n")[0].split(",") == list(tray.rows()[0])
    with pytest.raises(AttributeError):
        tray.notes = ()  # type: ignore[misc]


@pytest.mark.parametrize(
    "given",
    [
        pytest.param(lambda: io.StringIO(TRAY.read_text(encoding="utf-8")), id="text"),
        pytest.param(lambda: io.BytesIO(TRAY.read_bytes()), id="bytes"),
        pytest.param(lambda: TRAY.open("rb"), id="file"),
    ],
)
def test_a_file_object_is_read_like_its_file(given: Callable[[], io.IOBase], tray: face.Answer) -> None:
    with given() as stream:
        answer = vl.springs(stream, spec=SPEC)  # type: ignore[arg-type]
    assert answer.springs == tray.springs
    assert answer.verdicts == tray.verdicts
    assert answer.source[0].sha256 == tray.source[0].sha256


def test_columns_and_a_data_frame_are_one_table() -> None:
    """Hooke's law: 500 N − 30 N/mm · (height − 30 mm) has the rate 30 N/mm."""
    heights = [36.0, 34.0, 32.0, 30.0]
    forces = [500.0 - 30.0 * (height - 30.0) for height in heights]
    columns = {"spring": ["A"] * 4, "height [mm]": heights, "force [N]": forces}
    answers = [vl.springs(columns), vl.springs(pd.DataFrame(columns))]
    assert answers[0].springs == answers[1].springs
    assert answers[0].springs[0].rate_n_per_mm == pytest.approx(30.0)
    assert answers[0].source[0].file == "columns"
    assert answers[0].to_frame()["spring"].tolist() == ["A"]


def test_a_notebook_shows_it(tray: face.Answer, tmp_path: Path) -> None:
    html = tray._repr_html_()
    assert html.count("<tr>") > 64
    assert "✗ rejected" in html
    drawn = fromstring(tray.plot("Seat force against rate")._repr_svg_())  # noqa: S314 - our own drawing
    assert any("Seat force" in "".join(text.itertext()) for text in drawn.iter("{http://www.w3.org/2000/svg}text"))
    beginnings = {".png": b"\x89PNG", ".pdf": b"%PDF", ".svg": b"<svg"}
    for ending, beginning in each(beginnings.items()):
        tray.figure().save(tmp_path / f"tray{ending}")
        assert (tmp_path / f"tray{ending}").read_bytes().startswith(beginning)


def test_what_is_none_of_its_kind_is_refused(tray: face.Answer, tmp_path: Path) -> None:
    with pytest.raises(WrongUsage, match="found 'nose', expected main, The springs in the order of"):
        tray.figure("nose")
    with pytest.raises(WrongUsage, match=r"found ending '.gif', expected .svg, .png, .pdf"):
        tray.figure().save(tmp_path / "tray.gif")
    with pytest.raises(WrongUsage, match="found int, expected a path, a file object or columns"):
        vl.springs(7)  # type: ignore[arg-type]
    with pytest.raises(WrongUsage, match="found lengths 2, 1, expected one"):
        vl.springs({"height [mm]": [30.0, 32.0], "force [N]": [500.0]})
    with pytest.raises(WrongUsage, match="size: found 'many', input should be a valid integer"):
        vl.sets(TRAY, size="many")  # type: ignore[arg-type]
