"""`certify` and `verify` from the outside: what goes in comes out again, and what was changed is seen."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from invented_camshaft import write_spec, write_table
from papers import carried_files, with_files

from valvelab.cli.main import main
from valvelab.files import spec_file
from valvelab.files.contents import Contents, read_contents
from valvelab.job import certificates, lobes
from valvelab.report.assembly import Part
from valvelab.report.page_model import Certificate
from valvelab.units import System

LOBES = ("1I", "1E", "3I", "3E")


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a lift table, a spec and its nominal."""
    folder = tmp_path_factory.mktemp("job")
    write_table(folder / "lift.csv", LOBES)
    write_spec(folder)
    return folder


@pytest.fixture(scope="module")
def paper(job: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The certificate of that folder."""
    target = tmp_path_factory.mktemp("paper") / "c.pdf"
    assert main(["certify", str(job), "--out", str(target), "--date", "2026-03-05", "--quiet"]) == 1
    return target


def run(*words: str | Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main([str(word) for word in words])
    out, err = capsys.readouterr()
    return code, out, err


def spec_of(job: Path) -> Path:
    return next(path for path in job.glob("*.toml"))


def test_verify_agrees(paper: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run("verify", paper, "--json", capsys=capsys)
    answer = json.loads(out)
    assert code == 0
    assert answer["agrees"] is True
    assert answer["differing"] == []
    assert answer["compared"] > 400
    assert answer["notes"] == []
    assert {row["decision"] for row in answer["verdicts"]} >= {"accept", "reject"}


def test_notes_that_name_a_file_do_not_hang_on_its_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A table without units, with a title and a footer: each is a note that names the file."""
    write_table(tmp_path / "lift.csv", ("1I", "1E"))
    text = (tmp_path / "lift.csv").read_text(encoding="utf-8").replace(" [mm]", "")
    (tmp_path / "lift.csv").write_text(f"Bench 2\n{text}average,,\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    for named in ("lift.csv", "./lift.csv", str(tmp_path / "lift.csv")):
        assert run("certify", named, "--out", "paper.pdf", "--quiet", capsys=capsys)[0] == 0
        code, out, _ = run("verify", "paper.pdf", "--json", capsys=capsys)
        assert (code, json.loads(out)["agrees"]) == (0, True)


def test_a_paper_that_says_where_a_file_lay_is_not_written(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Computed again elsewhere it would come out otherwise."""
    real = lobes.USE.paper

    def telling(asked: Any, system: System) -> Part:
        return replace(real(asked, system), told=(f"read from {asked.result.source[0].file}",))

    monkeypatch.setattr(lobes, "USE", replace(lobes.USE, paper=telling))
    code, _, err = run("certify", job, "--out", tmp_path / "c.pdf", capsys=capsys)
    assert code == 3
    assert "the certificate would not verify" in err
    assert not (tmp_path / "c.pdf").exists()


def test_a_paper_that_carries_other_than_was_inspected_is_not_written(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    real = certificates.certificate_of

    def bent(*asked: Any) -> Certificate:
        made = real(*asked)
        rows = (replace(row, content=row.content.replace(b"7.6", b"7.7")) for row in made.attachments)
        return replace(made, attachments=tuple(rows))

    monkeypatch.setattr(certificates, "certificate_of", bent)
    code, _, err = run("certify", job, "--out", tmp_path / "c.pdf", capsys=capsys)
    assert code == 3
    assert "would not verify" in err
    assert not (tmp_path / "c.pdf").exists()


def test_assigned_columns_say_what_is_certified(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bare = tmp_path / "tray.txt"
    bare.write_text(
        "".join(f"{spring} {h} {(60 - h) * 20}\n" for spring in "AB" for h in (42, 40, 36, 30)), encoding="utf-8"
    )
    columns = "spring=0, height=1 [mm], load=2 [N]"
    assert run("certify", bare, "--columns", columns, "--out", tmp_path / "tray.pdf", capsys=capsys)[0] == 0
    assert run("verify", tmp_path / "tray.pdf", capsys=capsys)[0] == 0


def test_file_with_spec_makes_the_same_paper_as_its_folder(
    job: Path, paper: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one = tmp_path / "one.pdf"
    words = ("certify", job / "lift.csv", "--spec", spec_of(job), "--out", one, "--date", "2026-03-05", "--json")
    code, out, _ = run(*words, capsys=capsys)
    assert code == 1
    assert one.read_bytes() == paper.read_bytes()
    assert json.loads(out)["number"] in json.loads(run("verify", one, "--json", capsys=capsys)[1])["number"]


def test_job_elsewhere_makes_the_same_paper(job: Path, paper: Path, tmp_path: Path) -> None:
    shutil.copytree(job, tmp_path / "other place")
    code = main(["certify", str(tmp_path / "other place"), "--out", str(tmp_path / "c.pdf"), "--date", "2026-03-05"])
    assert code == 1
    assert (tmp_path / "c.pdf").read_bytes() == paper.read_bytes()


def test_a_spec_is_read_once_for_all_parts_of_a_job(job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "job"
    shutil.copytree(job, folder)
    spec = spec_of(folder)
    part = f'[[part]]\ninspect = "lobes"\nfile = "lift.csv"\nspec = "{spec.name}"\n'
    (folder / "job.toml").write_text(2 * part, encoding="utf-8")
    read: list[str] = []

    def counted(path: str | Path, max_bytes: int) -> Contents:
        read.append(str(path))
        return read_contents(path, max_bytes)

    monkeypatch.setattr(spec_file, "read_contents", counted)
    assert main(["certify", str(folder / "job.toml"), "--out", str(tmp_path / "c.pdf"), "--quiet"]) == 1
    assert read.count(str(spec)) == 1


def test_carried_job_can_be_done_again_by_hand(paper: Path, tmp_path: Path) -> None:
    for name, content in carried_files(paper).items():
        (tmp_path / name).write_bytes(content)
    assert main(["certify", str(tmp_path / "job.toml"), "--out", str(tmp_path / "c.pdf"), "--quiet"]) == 1
    assert (tmp_path / "c.pdf").read_bytes() == paper.read_bytes()


def test_out_of_the_lobes_command_is_verified_with_its_options(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "lobes.pdf"
    words = ("lobes", job / "lift.csv", "--spec", spec_of(job), "--at", "2 mm", "--at", "0.1 in", "--units", "inch")
    assert run(*words, "--out", target, "--quiet", capsys=capsys)[0] == 1
    assert b'at = ["2 mm", "0.1 in"]' in carried_files(target)["job.toml"]
    assert run("verify", target, capsys=capsys)[0] == 0


def test_options_of_a_job_file(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "job"
    shutil.copytree(job, folder)
    spec = spec_of(job).name
    (folder / "job.toml").write_text(
        f'title = "Hill climb"\nspec = "{spec}"\n[[part]]\ninspect = "lobes"\nfile = "lift.csv"\n'
        'options = ["--keep-eccentricity"]\n',
        encoding="utf-8",
    )
    assert run("certify", folder, "--out", tmp_path / "c.pdf", capsys=capsys)[0] == 1
    assert b"keep_eccentricity = true" in carried_files(tmp_path / "c.pdf")["job.toml"]
    assert run("verify", tmp_path / "c.pdf", capsys=capsys)[0] == 0


def test_changed_result_is_seen(paper: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    result = json.loads(carried_files(paper)["result-1-lobes.json"])
    result["lobes"][0]["max_lift_mm"] += 0.01
    changed = {"result-1-lobes.json": json.dumps(result).encode()}
    code, out, _ = run("verify", with_files(paper, tmp_path / "c.pdf", changed), capsys=capsys)
    assert code == 1
    assert "lobes[1I].max_lift_mm" in out


def test_changed_reading_is_seen(paper: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = carried_files(paper)["lift.csv"].decode().splitlines(keepends=True)
    row = next(number for number, line in enumerate(lines) if line.startswith("53.0"))
    lines[row] = lines[row].replace("7.6", "7.5", 1)
    code, out, _ = run(
        "verify", with_files(paper, tmp_path / "c.pdf", {"lift.csv": "".join(lines).encode()}), capsys=capsys
    )
    assert code == 1
    assert "DIFFERS" in out


def test_other_paper_over_the_same_files_is_seen(
    job: Path, paper: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_table(tmp_path / "lift.csv", LOBES, noise_um=0.9)
    forged = tmp_path / "forged.pdf"
    run(
        "certify", tmp_path / "lift.csv", "--spec", spec_of(job), "--out", forged, "--date", "2026-03-05", capsys=capsys
    )
    code, out, _ = run("verify", with_files(forged, tmp_path / "c.pdf", dict(carried_files(paper))), capsys=capsys)
    assert code == 1
    assert "page 1" in out


@pytest.mark.parametrize(
    "job_text",
    [
        'part = [{inspect = "lobes", file = "../secret.csv"}]',
        'part = [{inspect = "lobes", file = "/etc/passwd"}]',
        'part = [{inspect = "lobes", file = "lift.csv", spec = "/etc/hostname"}]',
        'part = [{inspect = "lobes", file = "lift.csv", options = ["--out=/tmp/x.json"]}]',
        'part = [{inspect = "demo", file = "lift.csv"}]',
        'part = [{inspect = "os.path", file = "lift.csv"}]',
        'part = [{inspect = "lobes", file = "lift.csv", options = ["--help"]}]',
        'part = [{inspect = "lobes", file = "lift.csv", options = ["--nonsense"]}]',
        'part = [{inspect = "lobes", file = "missing.csv"}]',
        "part = []",
        "part = 3",
        "",
    ],
)
def test_foreign_job_is_refused(paper: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], job_text: str) -> None:
    crafted = with_files(paper, tmp_path / "c.pdf", {"job.toml": job_text.encode()})
    code, out, err = run("verify", crafted, capsys=capsys)
    assert (code, out) == (3, "")
    assert err.count("\n") == 1
    assert "c.pdf" in err or "job.toml" in err
    assert "valvelab-verify" not in err


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["certify", "{job}"], 2), (["certify", "{job}", "--out", "c.txt"], 2),
        (["certify", "{job}/missing", "--out", "c.pdf"], 3),
        (["certify", "{job}", "--out", "c.pdf", "--date", "today"], 3),
        (["certify", "{job}", "--out", "{job}/no/such/folder/c.pdf"], 3), (["verify", "{job}/lift.csv"], 3),
        (["verify", "{job}"], 3), (["verify", "{job}/missing.pdf"], 3),
    ],
)  # fmt: skip
def test_refusals_are_one_line(job: Path, capsys: pytest.CaptureFixture[str], words: list[str], code: int) -> None:
    found, out, err = run(*(word.format(job=job) for word in words), "--quiet", capsys=capsys)
    assert (found, out) == (code, "")
    assert err.count("\n") == 1


def test_no_window_library_and_no_display(job: Path, tmp_path: Path) -> None:
    code = (
        "import sys; from valvelab.cli.main import main; "
        f"code = main(['certify', {str(job)!r}, '--out', {str(tmp_path / 'c.pdf')!r}, '--quiet']); "
        "sys.exit(99 if {'PySide6', 'pyqtgraph'} & set(sys.modules) else code)"
    )
    environment = {key: value for key, value in os.environ.items() if key not in {"DISPLAY", "QT_QPA_PLATFORM"}}
    assert subprocess.run([sys.executable, "-c", code], check=False, env=environment).returncode == 1


def test_what_is_no_paper_is_refused_in_one_line(tmp_path: Path) -> None:
    """In a process of its own: a library's remarks go to standard error there."""
    (tmp_path / "torn.pdf").write_text("%PDF-1.4\nhello", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "valvelab", "verify", str(tmp_path / "torn.pdf")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (3, "")
    assert len(done.stderr.strip().splitlines()) == 1


def test_a_part_of_a_job_that_no_command_inspects(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "job.toml").write_text('[[part]]\ninspect = "cook"\nfile = "lift.csv"\n', encoding="utf-8")
    code, _, err = run("certify", tmp_path, "--out", tmp_path / "c.pdf", capsys=capsys)
    assert code == 3
    assert "[[part]] inspect" in err
