"""On a terminal: nothing wider than it, no number cut, the gravest first, the accepted folded, the verdict last."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from something import each
from terminal import Seen, on_terminal

from valvelab.cli import progress
from valvelab.cli.main import COMMANDS, main
from valvelab.cli.screen import Screen
from valvelab.cli.table_text import table_text
from valvelab.tables.description import Mark, Table

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="this system has no pseudo-terminals")
SAMPLES = Path(__file__).resolve().parent.parent / "sample_profiles"
SPRINGS = ("springs", "springs_quillmere_tray.csv", "--spec", "springs_quillmere_spec.toml")


@pytest.fixture(scope="module")
def springs() -> Seen:
    return on_terminal(*SPRINGS)


def test_nothing_is_wider_than_the_terminal(springs: Seen) -> None:
    assert max(map(len, springs.lines)) <= 80


def test_the_rejected_come_first_and_the_accepted_in_one_line(springs: Seen) -> None:
    """Q23 is the tray's one reject, Q48 its one undecided; the samples say so on purpose."""
    rows = [line.split()[0] for line in springs.lines if line.startswith("Q")]
    assert rows[:2] == ["Q23", "Q48"]
    assert set(rows) == {"Q23", "Q48"}
    verdicts = [line.split() for line in springs.lines if "✗ rejected" in line or "? undecided" in line]
    assert [words[words.index("club") - 3] for words in verdicts] == ["Q23", "Q48"]
    assert sum(line.startswith("✓ accepted 190 (--all shows them): ") for line in springs.lines) == 1


def test_the_summary_is_the_last_line_and_cautions_stand_before_it(springs: Seen) -> None:
    assert springs.code == 1
    assert springs.lines[-1] == "Rejected. Of 192 characteristics judged: 1 rejected, 1 undecided, 190 accepted."
    caution = next(number for number, line in enumerate(springs.lines) if line.startswith("Valve springs hold energy"))
    notes = [number for number, line in enumerate(springs.lines) if line.startswith(("info:", "warning:"))]
    assert caution < min(notes)
    assert max(notes) < len(springs.lines) - 1


def test_all_unfolds_and_keeps_the_order(springs: Seen) -> None:
    whole = on_terminal(*SPRINGS, "--all", width=120, more={"NO_COLOR": "1"})
    rows = [line.split()[0] for line in whole.lines if line.startswith("Q")]
    assert rows[:3] == ["Q23", "Q48", "Q01"]
    assert set(rows) == {f"Q{number:02}" for number in range(1, 65)}
    assert not any("--all" in line for line in whole.lines)
    assert springs.coloured
    assert not whole.coloured


def test_a_pipe_gets_everything_in_the_order_of_the_file(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["springs", str(SAMPLES / SPRINGS[1]), "--spec", str(SAMPLES / SPRINGS[3])]) == 1
    out = capsys.readouterr().out
    rows = [line.split()[0] for line in out.split("\n") if line.startswith("Q")]
    assert rows[:64] == [f"Q{number:02}" for number in range(1, 65)]
    assert "\x1b" not in out
    assert "--all" not in out
    assert out.rstrip().split("\n")[-1].startswith("Rejected. Of 192 characteristics judged")


@pytest.mark.parametrize(
    "words",
    [
        ("lobes", "lake_v8_camshaft.csv", "--spec", "lake_v8_camshaft.toml"),
        ("liftcheck", "quillmere_spring_meeting.toml"),
        ("characteristics",),
    ],
)
def test_every_kind_of_table_fits_a_narrow_terminal_without_colours(words: tuple[str, ...]) -> None:
    seen = on_terminal(*words, width=50, more={"TERM": "dumb"})
    assert max(map(len, seen.lines)) <= 50
    assert not seen.coloured


NUMBERS = st.floats(-1e4, 1e4).map(lambda value: f"{value:.3f}")
WORDS = st.lists(st.sampled_from(["lift", "coil", "bind", "margin", "measured", "at", "1I"]), min_size=1, max_size=5)


@st.composite
def tables(draw: st.DrawFn) -> Table:
    numbers = draw(st.integers(1, 9))
    heads = ["spring", *(" ".join(draw(WORDS)) if draw(st.booleans()) else "u" for _ in range(numbers)), "verdict"]
    rows = [
        (" ".join(draw(WORDS)), *(draw(NUMBERS) for _ in range(numbers)), Mark("reject"))
        for _ in range(draw(st.integers(1, 4)))
    ]
    return Table(tuple(heads), tuple(rows), ("", *("mm" for _ in range(numbers)), ""), flush_left=(numbers + 1,))


@settings(max_examples=60)
@given(tables(), st.integers(20, 140))
def test_no_number_is_cut_and_no_line_too_long(table: Table, width: int) -> None:
    text = table_text(table, Screen(width, colour=False))
    assert max(map(len, text.split("\n"))) <= width
    found = text.replace(",", " ").split()
    for row in each(table.rows):
        for cell in row[1:-1]:
            assert cell in found
    assert " ".join(found).count("✗ rejected") >= len(table.rows)
    assert table_text(table) == table_text(table, Screen(10_000, colour=False))


def test_a_dash_is_the_table_on_standard_input(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    tray = SAMPLES / SPRINGS[1]
    assert main(["springs", str(tray), "--json", "--quiet"]) == 0
    named = json.loads(capsys.readouterr().out)
    with tray.open() as stream:
        monkeypatch.setattr(sys, "stdin", stream)
        assert main(["springs", "-", "--json", "--quiet"]) == 0
    piped = json.loads(capsys.readouterr().out)
    assert piped["source"][0] == {**named["source"][0], "file": "standard input"}
    assert piped["springs"] == named["springs"]
    assert main(["phasing", "-"]) == 2
    assert "expected a file (- stands for tables)" in capsys.readouterr().err
    assert main(["compare", "-", "-"]) == 2
    assert "expected standard input once" in capsys.readouterr().err


def test_the_main_figure_is_written_beside_the_answer(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    plot = tmp_path / "tray.svg"
    command = ["springs", str(SAMPLES / SPRINGS[1]), "--json", "--quiet"]
    assert main([*command, "--plot", str(plot)]) == 0
    with_plot = capsys.readouterr().out
    drawn = fromstring(plot.read_text(encoding="utf-8"))  # noqa: S314 - our own drawing
    texts = {"".join(text.itertext()) for text in drawn.iter("{http://www.w3.org/2000/svg}text")}
    assert {"Force over height, N", "Seat force against rate, N"} <= texts
    assert main(command) == 0
    assert capsys.readouterr().out == with_plot
    assert main([*command, "--plot", str(SAMPLES / SPRINGS[1])]) == 2
    assert main([*command, "--plot", str(tmp_path / "tray.gif")]) == 2
    assert "found ending '.gif', expected .svg, .png, .pdf" in capsys.readouterr().err
    assert main(["lash", str(SAMPLES / "lake_tender_lash.csv"), "--plot", str(plot), "--quiet"]) == 2
    assert "found no figure of lash" in capsys.readouterr().err


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_completes_commands_and_options(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    script = capsys.readouterr().out
    for word in each([*COMMANDS, "stress-factor", "time-limit", "history"]):
        assert word in script
    if shell == "bash":
        asked = "COMP_WORDS=(valvelab springs --stre); COMP_CWORD=2\n_shtab_valvelab valvelab --stre springs\n"
        told = 'echo "${COMPREPLY[@]}"\n'
        done = subprocess.run(["bash"], input=script + asked + told, capture_output=True, text=True, check=False)
        assert done.stdout.strip() == "--stress-factor"


@pytest.fixture
def defaults(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("VALVELAB_SETTINGS", str(tmp_path))
    return tmp_path / "defaults.toml"


def test_the_users_own_defaults_are_used_and_said(defaults: Path, capsys: pytest.CaptureFixture[str]) -> None:
    defaults.write_text('units = "inch"\nchecking_lifts = ["0.030 in"]\n', encoding="utf-8")
    table = str(SAMPLES / "quillmere_four_camshaft.csv")
    assert main(["lobes", table, "--json"]) == 0
    out, err = capsys.readouterr()
    assert pytest.approx(0.762) in [row["at_mm"] for row in json.loads(out)["lobes"][0]["durations"]]
    said = f"info: defaults: units inch, checking lifts 0.030 in, from {defaults} (--no-defaults leaves them out)"
    assert said in err.splitlines()
    assert main(["lobes", table, "--json", "--no-defaults"]) == 0
    out, err = capsys.readouterr()
    assert pytest.approx(0.762) not in [row["at_mm"] for row in json.loads(out)["lobes"][0]["durations"]]
    assert "defaults:" not in err
    assert main(["lobes", table, "--at", "1 mm", "--units", "metric", "--json"]) == 0
    out, err = capsys.readouterr()
    assert {1.0} <= {row["at_mm"] for row in json.loads(out)["lobes"][0]["durations"]}
    assert "defaults:" not in err


def test_defaults_that_cannot_be_used_are_refused_by_their_key(
    defaults: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    defaults.write_text('units = "cubits"\n', encoding="utf-8")
    assert main(["springs", str(SAMPLES / SPRINGS[1])]) == 3
    complaint = capsys.readouterr().err
    assert str(defaults) in complaint
    assert "units" in complaint
    assert "cubits" in complaint


def test_a_line_shows_work_that_lasts_and_makes_room(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(progress, "PATIENCE_S", 0.02)
    monkeypatch.setattr(progress, "STEP_S", 0.01)
    line = progress.Line()
    with line.about("sets: at work"):
        line.say("3 sets of at most 4")
        time.sleep(0.2)
    drawn = capsys.readouterr().err
    assert "3 sets of at most 4 … 0 s" in drawn
    assert drawn.endswith("\r\x1b[K")
    line.clear()
    assert capsys.readouterr().err == ""


def test_verbose_tells_what_is_read_done_and_written(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    target = tmp_path / "tray.json"
    tray = SAMPLES / SPRINGS[1]
    command = ["springs", str(tray), "--json", "--quiet", "--out", str(target)]
    assert main([*command, "--verbose"]) == 0
    out, err = capsys.readouterr()
    starts = (
        f"valvelab.files.contents: read {tray}: ",
        "valvelab.cli.inspecting: inspected: 0 verdicts",
        f"valvelab.writing: wrote {target}: {target.stat().st_size} bytes",
    )
    lines = [line.partition(" s  ")[2] for line in err.splitlines()]
    logged = [next(number for number, line in enumerate(lines) if line.startswith(start)) for start in starts]
    assert logged == sorted(logged)
    assert all(float(line.split(" s ")[0]) >= 0.0 for line in err.splitlines())
    assert main(command) == 0
    quiet = capsys.readouterr()
    assert (quiet.out, quiet.err) == (out, "")
