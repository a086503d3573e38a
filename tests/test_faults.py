"""What a command line does when something is in the way: one line, the right exit code, and no file harmed."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import warnings
from dataclasses import replace
from pathlib import Path

import pytest

from valvelab.cli.main import COMMANDS, main
from valvelab.job import lobes

SAMPLES = Path(__file__).resolve().parent.parent / "sample_profiles"
TRAY, LIFT = "springs_quillmere_tray.csv", "lake_v8_camshaft.csv"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(SAMPLES, tmp_path / "job")
    return tmp_path / "job"


def run(folder: Path, *words: str | bytes, **more: str) -> subprocess.CompletedProcess[bytes]:
    command = [os.fsencode(sys.executable), b"-m", b"valvelab", *map(os.fsencode, words)]
    return subprocess.run(
        command, cwd=folder, capture_output=True, check=False, env={**os.environ, **more}, timeout=300
    )


# -- an output never falls upon an input ------------------------------------------------------------------------------


def test_no_output_replaces_what_is_read(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(folder)
    shutil.copy(TRAY, "tray.txt")
    Path("link.txt").symlink_to("tray.txt")
    os.link("tray.txt", "other_name.txt")
    shutil.copy("lake_v8_nominal_exhaust.csv", "nominal.txt")
    spec = Path("lake_v8_camshaft.toml").read_text(encoding="utf-8")
    Path("spec.toml").write_text(spec.replace("lake_v8_nominal_exhaust.csv", "nominal.txt"), encoding="utf-8")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    called: list[object] = []
    monkeypatch.setattr(lobes, "USE", replace(lobes.USE, inspect=lambda *_: called.append(1)))
    for command in (
        ["springs", "tray.txt", "--out", "tray.txt"],
        ["springs", "tray.txt", "--out", "./tray.txt"],
        ["springs", "tray.txt", "--out", str(folder / "tray.txt")],
        ["springs", "tray.txt", "--out", "link.txt"],
        ["springs", "link.txt", "--out", "tray.txt"],
        ["springs", "tray.txt", "--out", "other_name.txt"],
        ["shims", TRAY, "--heights", "tray.txt", "--out", "tray.txt"],
        ["lobes", LIFT, "--spec", "spec.toml", "--out", "spec.toml"],
        ["lobes", LIFT, "--spec", "spec.toml", "--out", "nominal.txt"],
        ["gauge", "dial_gauge_study.csv", "--adopt", "runout=dial_gauge_study.csv"],
        ["gauge", "dial_gauge_study.csv", "--adopt", "runout=same.txt", "--out", "same.txt"],
    ):
        assert main(command) == 2, command
        said = capsys.readouterr()
        assert said.out == ""
        assert "found the input" in said.err or "another option writes" in said.err
        assert said.err.count("\n") == 1
    assert called == []
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_certificate_does_not_replace_the_readings_of_its_job(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(folder / TRAY, folder / "tray.pdf")
    (folder / "own_job.toml").write_text('[[part]]\ninspect = "springs"\nfile = "tray.pdf"\n', encoding="utf-8")
    before = (folder / "tray.pdf").read_bytes()
    assert main(["certify", str(folder / "own_job.toml"), "--out", str(folder / "tray.pdf")]) == 2
    assert "found the input" in capsys.readouterr().err
    assert (folder / "tray.pdf").read_bytes() == before


@pytest.mark.parametrize(("out", "why"), [("none/x.json", "its folder is not there"), (".", "a folder has that name")])
def test_a_place_that_cannot_be_written_is_refused_at_once(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], out: str, why: str
) -> None:
    monkeypatch.setattr(lobes, "USE", replace(lobes.USE, inspect=lambda *_: pytest.fail("inspected")))
    assert main(["lobes", str(folder / LIFT), "--out", str(folder / out)]) == 3
    assert why in capsys.readouterr().err


def test_a_full_disk_leaves_the_paper_that_was_there(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    paper = folder / "paper.pdf"
    paper.write_bytes(b"%PDF- the one before")

    def full(_handle: int) -> None:
        if list(folder.glob(".paper*")):
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    assert main(["springs", str(folder / TRAY), "--out", str(paper)]) == 3
    said = capsys.readouterr()
    assert said.err.splitlines()[-1] == f"valvelab: {paper}: can't be written: the disk is full"
    assert paper.read_bytes() == b"%PDF- the one before"
    assert not list(folder.glob(".*part"))


# -- the last catch ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("raised", "code", "words"),
    [
        (IndexError("index 5 is out of bounds"), 3, "a fault of the program, no verdict (IndexError: index 5"),
        (RecursionError("maximum recursion depth exceeded"), 3, "RecursionError"),
        (UnicodeEncodeError("utf-8", "a\udcff", 1, 2, "surrogates not allowed"), 3, "UnicodeEncodeError"),
        (MemoryError(), 3, "memory of this machine"),
        (OSError(5, "Input/output error", "x.csv"), 3, "x.csv: Input/output error"),
        (KeyboardInterrupt(), 130, "stopped"),
        (SyntaxError("a\nb\x1b[2J"), 3, r"a\nb\x1b[2J"),
    ],
)
def test_whatever_is_raised_is_one_line_and_never_a_rejection(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    raised: BaseException,
    code: int,
    words: str,
) -> None:
    def fail(*_: object) -> None:
        raise raised

    monkeypatch.delenv("VALVELAB_TRACEBACK", raising=False)
    monkeypatch.setattr(lobes, "USE", replace(lobes.USE, inspect=fail))
    assert main(["lobes", str(folder / LIFT)]) == code
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("valvelab: ")
    assert words in said.err
    assert said.err.count("\n") == 1
    monkeypatch.setenv("VALVELAB_TRACEBACK", "1")
    assert main(["lobes", str(folder / LIFT)]) == code
    assert "Traceback (most recent call last)" in capsys.readouterr().err


def test_a_reader_that_goes_away_changes_no_verdict(folder: Path) -> None:
    # the worn lobe of the sample is rejected, whoever reads the table
    words = ["lobes", "quillmere_four_camshaft.csv", "--spec", "quillmere_four_camshaft.toml", "--json"]
    with subprocess.Popen(
        [sys.executable, "-m", "valvelab", *words], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as done:
        assert done.stdout is not None
        assert done.stderr is not None
        done.stdout.close()
        told = done.stderr.read()
    assert done.returncode == 1
    assert b"BrokenPipe" not in told
    assert b"Traceback" not in told


def test_a_stop_by_the_keyboard_is_130(folder: Path) -> None:
    code = (
        "import signal, sys, time\nsignal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from dataclasses import replace\nfrom valvelab.job import lobes\n"
        "def inspect(*_):\n    print('begun', file=sys.stderr, flush=True)\n    time.sleep(60)\n"
        "lobes.USE = replace(lobes.USE, inspect=inspect)\nfrom valvelab.cli.main import main\n"
        f"sys.exit(main(['lobes', {LIFT!r}]))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as done:
        assert done.stderr is not None
        assert done.stderr.readline() == b"begun\n"
        done.send_signal(signal.SIGINT)
        told = done.stderr.read()
    assert done.returncode == 130
    assert told == b"valvelab: stopped\n"


def test_numpy_s_warnings_do_not_reach_a_user_but_reach_the_tests(folder: Path) -> None:
    code = (
        "import sys, runpy, numpy as np\n"
        "from dataclasses import replace\nfrom valvelab.job import lobes\n"
        "def inspect(*_):\n    np.zeros(1) / np.zeros(1)\n    from valvelab.errors import WrongUsage\n"
        "    raise WrongUsage('divided')\n"
        f"lobes.USE = replace(lobes.USE, inspect=inspect)\nsys.argv = ['valvelab', 'lobes', {LIFT!r}]\n"
        "from valvelab.__main__ import main\nsys.exit(main())"
    )
    plain = subprocess.run([sys.executable, "-c", code], cwd=folder, capture_output=True, check=False)
    assert (plain.returncode, plain.stderr) == (2, b"valvelab: divided\n")
    strict = subprocess.run([sys.executable, "-W", "error", "-c", code], cwd=folder, capture_output=True, check=False)
    assert strict.returncode == 3
    assert b"RuntimeWarning" in strict.stderr
    with pytest.raises(UserWarning, match="still an error here"):
        warnings.warn("still an error here", stacklevel=1)


# -- names that are no text -------------------------------------------------------------------------------------------

RAW = [
    ["lobes", "quillmere_four_camshaft.csv", "--spec", "quillmere_four_camshaft.toml"],
    ["springs", TRAY],
    ["shims", TRAY, "--heights", "springs_quillmere_heights.csv"],
    ["phasing", "quillmere_four_degree_wheel.toml"],
    ["shaft", "club_four_journals.csv"],
    ["texture", "club_four_lobe_3I_trace.csv"],
    ["gauge", "dial_gauge_study.csv"],
]


@pytest.mark.parametrize("words", RAW, ids=lambda words: words[0])
def test_file_names_that_are_not_utf_8(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    raw = folder.parent / os.fsdecode(b"n\xffte")
    folder.rename(raw)
    monkeypatch.chdir(raw)
    renamed = []
    for word in words:
        file = Path(word)
        if file.exists() and "nominal" not in word:
            file = file.rename(os.fsdecode(b"\xfe") + word)
        renamed.append(str(raw / file) if file.exists() else word)
    assert main([*renamed, "--json"]) in {0, 1, 4}
    said = json.loads(capsys.readouterr().out.encode("utf-8"))
    assert r"n\udcffte" in said["source"][0]["file"]
    paper = raw / os.fsdecode(b"p\xe9per.pdf")
    assert main([*renamed, "--out", str(paper)]) in {0, 1, 4}
    assert main([*renamed, "--out", str(paper.with_suffix(".json"))]) in {0, 1, 4}
    capsys.readouterr()
    assert main([words[0], str(raw / os.fsdecode(b"none\xff")), *renamed[2:]]) == 3
    assert capsys.readouterr().err.count("\n") == 1
    assert main(["verify", str(paper), "--json"]) == 0
    assert json.loads(capsys.readouterr().out.encode("utf-8"))["source"]


def test_options_that_are_not_utf_8_are_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = str(folder / "x.pdf")
    assert main(["certify", str(folder / LIFT), "--title", os.fsdecode(b"t\xff"), "--out", out]) == 2
    assert "title: found 't\\udcff', expected UTF-8 text" in capsys.readouterr().err


# -- words that are no command ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("word", "near"), [("lobez", "lobes"), ("Sprngs", "springs"), ("verfy", "verify")])
@pytest.mark.parametrize("display", ["", ":0"])
def test_a_misspelt_command_is_wrong_usage_with_the_nearest_name(
    tmp_path: Path, word: str, near: str, display: str
) -> None:
    done = run(tmp_path, word, "x.csv", DISPLAY=display, QT_QPA_PLATFORM="offscreen" if not display else "xcb")
    assert done.returncode == 2
    assert done.stderr.decode() == (
        f"valvelab: {word}: found neither a command nor a file of that name; the nearest command is {near}\n"
    )


def test_a_file_that_is_not_there_is_no_window(tmp_path: Path) -> None:
    (tmp_path / "there.csv").touch()
    for words in (["gone.csv"], ["there.csv", "gone.csv"]):
        done = run(tmp_path, *words, DISPLAY=":0", QT_QPA_PLATFORM="xcb")
        assert done.returncode == 2
        assert done.stderr.startswith(b"valvelab: gone.csv: found neither a command nor a file of that name")


def test_every_command_is_itself() -> None:
    from valvelab.cli.main import is_command

    assert all(is_command([name]) for name in COMMANDS)
