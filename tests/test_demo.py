"""`valvelab demo` as a newcomer runs it, and as a script does."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest

from valvelab.cli.demo_command import CERTIFICATE, ON_PURPOSE
from valvelab.cli.main import main
from valvelab.cli.schema_command import schema_of
from valvelab.job.job_file import read_job
from valvelab.job.uses import USES
from valvelab.places import sample_profiles

CAMSHAFT = "quillmere_four_camshaft.csv"
JOBS = {"lake_tender_job": 0, "lake_v8_job": 0, "quillmere_meeting_job": 1}
"""The further jobs, with the exit code of each one's certificate."""
Window = Callable[[list[str]], int]


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """The demo once, without a display, from an empty folder and without arguments."""
    folder = tmp_path_factory.mktemp("newcomer")
    environment = {key: value for key, value in os.environ.items() if key not in {"DISPLAY", "WAYLAND_DISPLAY"}}
    script = (
        "import sys; sys.argv = ['valvelab', 'demo']; from valvelab.__main__ import main; code = main();"
        "assert not {'PySide6', 'pyqtgraph'} & set(sys.modules); sys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
    )
    return folder / "valvelab-demo", done


def test_exit_code_reports_the_worn_lobe(first: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    _, done = first
    assert done.returncode == 1, done.stderr
    assert ON_PURPOSE in done.stdout
    assert "Traceback" not in done.stderr


def test_every_verdict_is_told(first: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    _, done = first
    lines = [" ".join(line.split()) for line in done.stdout.splitlines()]
    assert "✗ rejected 3E: max_lift, index_error, envelope" in lines
    assert "? undecided 2E: max_lift" in lines
    accepted = [line for line in lines if line.startswith("✓ accepted")]
    assert any({"1I,", "2I,", "3I,", "4I,", "1E,"} <= set(line.split()) for line in accepted)


def test_samples_and_certificate_lie_in_the_folder(first: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    folder, done = first
    shipped = {path.name for path in sample_profiles().iterdir() if not path.name.startswith(".")}
    assert {path.name for path in folder.iterdir()} == shipped | {CERTIFICATE}
    assert (folder / CERTIFICATE).read_bytes().startswith(b"%PDF-")
    assert str(Path("valvelab-demo") / CERTIFICATE) in done.stdout


def test_next_commands_run_and_the_certificate_is_verified(
    first: tuple[Path, subprocess.CompletedProcess[str]],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    folder, done = first
    monkeypatch.chdir(folder.parent)
    told = done.stdout.partition("Next, for example:")[2].strip().splitlines()
    commands = [shlex.split(line)[1:] for line in told if "YOUR_" not in line]
    named = {words[0]: words for words in commands} | {Path(words[1]).stem: words for words in commands}
    codes = {name: main([*named[name], "--quiet"]) for name in ("lobes", "verify", *JOBS)}
    # the lobes are those judged before, the V8 has nothing wrong, a car at the meeting has, the lash is not judged
    assert codes == {"lobes": 1, "verify": 0, **JOBS}, capsys.readouterr().err
    for made in folder.glob("*_job.pdf"):
        made.unlink()


def test_json_is_one_document_and_opens_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["demo", str(tmp_path / "job"), "--json"], refuse)
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, schema_of("demo"))
    assert code == 1
    assert (document["program"], document["command"]) == ("valvelab", "demo")
    rejected = [{row["item"] for row in part["verdicts"] if row["decision"] == "reject"} for part in document["parts"]]
    assert rejected[0] == {"3E"}
    assert {"accept", "undecided", "reject"} == {row["decision"] for row in document["verdicts"]}
    assert document["verdicts"] == [row for part in document["parts"] for row in part["verdicts"]]
    assert [part["file"] for part in document["parts"] if part["inspect"] == "lobes"] == [
        CAMSHAFT,
        "lake_v8_camshaft.csv",
    ]


def refuse(files: list[str]) -> int:
    pytest.fail(f"opened a window with {files}")


def test_sample_jobs_show_every_inspection_that_certificates_take() -> None:
    """A command that gains a part of the certificate belongs on a sample job too."""
    taking = set(USES)
    jobs = [sample_profiles() / "job.toml", *sample_profiles().glob("*_job.toml")]
    shown = {part.inspect for path in jobs for part in read_job(path)[0].part}
    assert shown == taking, "add the missing part to sample_profiles/job.toml"


@pytest.fixture
def small(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two lobes stand in for the whole sample job, where the question is not about them."""
    folder = tmp_path_factory.mktemp("small")
    lines = (sample_profiles() / CAMSHAFT).read_text(encoding="utf-8").splitlines()
    head = [line for line in lines if line.startswith("#")]
    rows = [line.split(",") for line in lines[len(head) :]]
    column = rows[0].index("3E [mm]")
    pair = [",".join([row[0], row[1], row[column]]) for row in rows]
    (folder / CAMSHAFT).write_text("\n".join([*head, *pair]) + "\n", encoding="utf-8")
    (folder / "limits.toml").write_text('[[limit]]\nof = "max_lift"\nmin = "6.87 mm"\n')
    (folder / "job.toml").write_text(
        f'[[part]]\ninspect = "lobes"\nfile = "{CAMSHAFT}"\nspec = "limits.toml"\n', encoding="utf-8"
    )
    monkeypatch.setattr("valvelab.places.sample_profiles", lambda: folder)


@pytest.mark.usefixtures("small")
def test_window_opens_with_the_job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    opened: list[list[str]] = []

    def note(files: list[str]) -> int:
        assert ON_PURPOSE in capsys.readouterr().out  # told before the window holds the terminal
        opened.append(files)
        return 0

    assert main(["demo", str(tmp_path / "job")], note) == 1
    ((table, spec, *_),) = opened
    assert Path(table) == tmp_path / "job" / CAMSHAFT
    assert Path(spec).suffix == ".toml"
    assert all(Path(file).is_file() for file in opened[0])


@pytest.mark.usefixtures("small")
def test_no_window(tmp_path: Path) -> None:
    assert main(["demo", str(tmp_path / "job"), "--no-window"], refuse) == 1


@pytest.mark.usefixtures("small")
def test_changed_file_stays_and_the_job_goes_beside_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / CAMSHAFT).write_text("mine\n")
    (folder / "notes.txt").write_text("keep\n")
    assert main(["demo", str(folder)]) == 1
    assert (folder / CAMSHAFT).read_text() == "mine\n"
    assert {path.name for path in folder.iterdir()} == {CAMSHAFT, "notes.txt"}
    assert (tmp_path / "job-2" / CERTIFICATE).is_file()
    told = capsys.readouterr()
    assert "job-2" in told.err
    assert str(tmp_path / "job-2" / CAMSHAFT) in told.out


@pytest.mark.usefixtures("small")
def test_other_files_stay_and_a_second_run_takes_the_same_folder(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "notes.txt").write_text("keep\n")
    (folder / "my_job.toml").write_text("not a job\n")
    main(["demo", str(folder), "--quiet"])
    main(["demo", str(folder), "--quiet"])
    assert (folder / "notes.txt").read_text() == "keep\n"
    assert (folder / CERTIFICATE).is_file()
    assert [path.name for path in tmp_path.iterdir()] == ["job"]


@pytest.mark.usefixtures("small")
def test_somebodys_certificate_stays(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / CERTIFICATE).write_bytes(b"mine")
    main(["demo", str(folder), "--quiet"])
    assert (folder / CERTIFICATE).read_bytes() == b"mine"
    assert (tmp_path / "job-2" / CERTIFICATE).is_file()


@pytest.mark.usefixtures("small")
def test_folder_that_is_a_file_is_refused_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "job"
    target.write_text("a file")
    assert main(["demo", str(target)]) == 3
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert str(target) in err
    assert target.read_text() == "a file"


@pytest.mark.usefixtures("small")
def test_folder_with_a_space_can_be_typed_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "my job"
    main(["demo", str(folder), "--quiet"])
    told = capsys.readouterr().out.partition("Next, for example:")[2].strip().splitlines()
    assert str(folder / CERTIFICATE) in {word for line in told for word in shlex.split(line)}


@pytest.mark.usefixtures("small")
def test_out_writes_the_certificate_or_the_document(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["demo", str(tmp_path / "job"), "--out", str(tmp_path / "paper.pdf"), "--quiet"])
    assert (tmp_path / "paper.pdf").read_bytes() == (tmp_path / "job" / CERTIFICATE).read_bytes()
    main(["demo", str(tmp_path / "job"), "--out", str(tmp_path / "result.json"), "--quiet"])
    assert json.loads((tmp_path / "result.json").read_text())["command"] == "demo"


@pytest.mark.usefixtures("small")
def test_another_spec_judges_the_camshaft(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec = tmp_path / "wide.toml"
    spec.write_text('[[limit]]\nof = "max_lift"\nmin = "6 mm"\n')
    main(["demo", str(tmp_path / "job"), "--json", "--spec", str(spec)])
    part = json.loads(capsys.readouterr().out)["parts"][0]
    assert len(part["verdicts"]) == 2
    assert {row["decision"] for row in part["verdicts"]} == {"accept"}


@pytest.mark.usefixtures("small")
def test_inches_on_request(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["demo", str(tmp_path / "job"), "--units", "inch", "--quiet"])
    worn = next(line for line in capsys.readouterr().out.splitlines() if line.split()[:3] == ["max", "lift", "3E"])
    assert "0.264" in worn  # 6.719 mm / 25.4
