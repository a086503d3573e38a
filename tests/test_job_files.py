"""Job files: all of the bench in one file, back again, for the command line too; hostile ones are one sentence."""

from __future__ import annotations

import io
import json
import os
import time
import zipfile
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from something import each

from valvelab.cli.main import main
from valvelab.cli.schema_command import schema_of
from valvelab.errors import BadFile, CannotWrite
from valvelab.files import job_archive
from valvelab.files.contents import Contents, read_contents
from valvelab.places import sample_profiles
from valvelab.workbench import edits, jobs
from valvelab.workbench.contents import read_content
from valvelab.workbench.document import TYPED, BenchFile, Document, Paper
from valvelab.workbench.dropped import opened
from valvelab.workbench.job_folders import tidy

TRAY = "spring,height [mm],force [N]\nA,40,300\nA,30,600\n"


def read(document: Document) -> Document:
    for file in document.files:
        document = edits.content_arrived(document, file, read_content(file))
    return document


@pytest.fixture
def bench(tmp_path: Path) -> Document:
    """The sample job with a typed table and a paper."""
    paper = tmp_path / "camshaft.pdf"
    paper.write_bytes(b"%PDF-1.7 a paper")
    document = edits.add_files(Document(bay="springs"), opened([str(sample_profiles() / "job.toml")]))
    typed = BenchFile(f"{TYPED}1/springs.csv", text=TRAY)
    papers = (Paper(str(paper), "0001-0002-0003", "2026-05-02"),)
    return read(replace(document, files=(*document.files, typed), papers=papers))


def saved(bench: Document, path: Path) -> Path:
    path.write_bytes(jobs.packed(bench, path.name))
    return path


def members(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def written(path: Path, files: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return path


def test_a_bench_comes_back_as_it_was(bench: Document, tmp_path: Path) -> None:
    path = saved(bench, tmp_path / "winter.valvejob")
    back = read(jobs.opened(read_contents(path), tmp_path / "place"))
    assert [file.name for file in back.files] == [file.name for file in bench.files]
    assert back.bay == "springs"
    assert back.job == str(path)
    assert back.files[-1] == bench.files[-1], "what was typed is typed still"
    assert back.problems() == ()
    for file in each(bench.files):
        there = next(one for one in back.files if one.name == file.name)
        assert read_contents(there.given).data == read_contents(file.given).data
    (paper,) = back.papers
    assert Path(paper.path).read_bytes() == b"%PDF-1.7 a paper"
    assert (paper.number, paper.made) == ("0001-0002-0003", "2026-05-02")


def test_it_is_a_zip_of_plain_files_with_their_identity(bench: Document, tmp_path: Path) -> None:
    files = members(saved(bench, tmp_path / "winter.valvejob"))
    listed = json.loads(files[job_archive.LIST])
    assert next(iter(files)) == job_archive.LIST
    assert listed["schema_version"] == 1
    assert {row["name"] for row in each(listed["files"] + listed["papers"])} == files.keys() - {job_archive.LIST}
    for row in each(listed["files"]):
        assert sha256(files[row["name"]]).hexdigest() == row["sha256"]
    assert files[f"{TYPED}1/springs.csv"].decode() == TRAY
    nominal = (sample_profiles() / "quillmere_four_nominal_intake.csv").read_bytes()
    assert files["files/quillmere_four_nominal_intake.csv"] == nominal, "what a spec names comes along"


def test_the_list_of_contents_is_as_its_schema_says(bench: Document, tmp_path: Path) -> None:
    listed = json.loads(members(saved(bench, tmp_path / "winter.valvejob"))[job_archive.LIST])
    jsonschema.validate(listed, schema_of("job-file"))
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**listed, "files": [{"name": "a.csv"}]}, schema_of("job-file"))


def test_the_same_bench_gives_the_same_bytes_also_from_its_own_file(bench: Document, tmp_path: Path) -> None:
    first = saved(bench, tmp_path / "a.valvejob").read_bytes()
    assert saved(bench, tmp_path / "b.valvejob").read_bytes() == first
    back = read(jobs.opened(Contents.of("a.valvejob", first), tmp_path / "place"))
    files = members(written(tmp_path / "c.valvejob", {}))
    again = jobs.packed(back, "c.valvejob")
    with zipfile.ZipFile(io.BytesIO(again)) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    kept = {name: data for name, data in members(tmp_path / "a.valvejob").items() if name.startswith("files/")}
    assert kept == {name: data for name, data in files.items() if name.startswith("files/")}


def test_files_of_other_folders_join_a_job_under_names_of_their_own(bench: Document, tmp_path: Path) -> None:
    path = saved(bench, tmp_path / "winter.valvejob")
    back = jobs.opened(read_contents(path), tmp_path / "place")
    other = tmp_path / "elsewhere" / "springs_quillmere_tray.csv"
    other.parent.mkdir()
    other.write_text(TRAY)
    more = read(edits.add_files(back, [str(other)]))
    with zipfile.ZipFile(io.BytesIO(jobs.packed(more, "x"))) as archive:
        assert archive.read("files/2/springs_quillmere_tray.csv").decode() == TRAY
        assert len(archive.read("files/springs_quillmere_tray.csv")) > len(TRAY)


def test_a_file_that_changed_since_it_was_read_is_not_kept_as_read(tmp_path: Path) -> None:
    tray = tmp_path / "tray.csv"
    tray.write_text(TRAY)
    document = read(edits.add_files(Document(), [str(tray)]))
    tray.write_text(TRAY + "A,35,450\n")
    with pytest.raises(BadFile, match="another content than was read"):
        jobs.packed(document, "x")


def test_a_bench_too_large_is_told_before_anything_is_written(monkeypatch: pytest.MonkeyPatch, bench: Document) -> None:
    monkeypatch.setattr(job_archive, "MAX_UNPACKED_BYTES", 100_000)
    with pytest.raises(CannotWrite, match="at most 98 kB"):
        jobs.packed(bench, "winter.valvejob")


def test_commands_take_a_job_file(bench: Document, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = saved(bench, tmp_path / "winter.valvejob")
    spec = str(sample_profiles() / "quillmere_four_camshaft.toml")
    plain = main(["lobes", str(sample_profiles() / "quillmere_four_camshaft.csv"), "--spec", spec, "--json"])
    wanted = json.loads(capsys.readouterr().out)
    assert main(["lobes", str(path), "--json"]) == plain
    found = json.loads(capsys.readouterr().out)
    assert found["verdicts"] == wanted["verdicts"]
    assert found["lobes"] == wanted["lobes"]
    assert found["source"][0]["file"] == "files/quillmere_four_camshaft.csv"
    paper = tmp_path / "winter.pdf"
    assert main(["certify", str(path), "--out", str(paper), "--date", "2026-05-02", "--quiet"]) == 1
    assert main(["verify", str(paper), "--quiet"]) == 0
    capsys.readouterr()
    assert main(["sets", str(path)]) == 3
    assert "winter.valvejob, job.toml: found no part for sets" in capsys.readouterr().err


def bomb(files: dict[str, bytes]) -> dict[str, bytes]:
    """One part that unpacks beyond every limit."""
    listed = json.loads(files[job_archive.LIST])
    name = listed["files"][0]["name"]
    return {**files, name: bytes(210 * 2**20)}


def renamed(name: str) -> Callable[[dict[str, bytes]], dict[str, bytes]]:
    def change(files: dict[str, bytes]) -> dict[str, bytes]:
        listed = json.loads(files[job_archive.LIST])
        old = listed["files"][0]["name"]
        listed["files"][0]["name"] = name
        data = {**files, job_archive.LIST: json.dumps(listed).encode(), name: files[old]}
        return {key: value for key, value in data.items() if key != old}

    return change


def stated(**keys: object) -> Callable[[dict[str, bytes]], dict[str, bytes]]:
    def change(files: dict[str, bytes]) -> dict[str, bytes]:
        listed = {**json.loads(files[job_archive.LIST]), **keys}
        return {**files, job_archive.LIST: json.dumps(listed).encode()}

    return change


def with_list(files: dict[str, bytes], change: Callable[[Any], object]) -> dict[str, bytes]:
    """The same with another list of contents."""
    listed = json.loads(files[job_archive.LIST])
    change(listed)
    return {**files, job_archive.LIST: json.dumps(listed).encode()}


HOSTILE: dict[str, tuple[Callable[[dict[str, bytes]], dict[str, bytes]], str]] = {
    "of a newer version": (stated(schema_version=2), "written by a newer valvelab"),
    "changed beside it": (lambda f: {**f, "files/springs_quillmere_tray.csv": b"x"}, "other bytes"),
    "a bomb": (bomb, "once unpacked"),
    "a path above": (renamed("../../outside.csv"), "names of files within the job"),
    "a path from the root": (renamed("/outside.csv"), "names of files within the job"),
    "a path of another system": (renamed("C:\\outside.csv"), "names of files within the job"),
    "a part missing": (lambda f: {k: v for k, v in f.items() if not k.startswith(TYPED)}, "no part"),
    "no list": (lambda f: {k: v for k, v in f.items() if k != job_archive.LIST}, "no list of contents"),
    "a list that is none": (lambda f: {**f, job_archive.LIST: b"[1, 2"}, "no JSON"),
    "another list": (lambda f: {**f, job_archive.LIST: b"[]"}, job_archive.LIST),
    "nested without end": (lambda f: {**f, job_archive.LIST: b"[" * 200_000}, job_archive.LIST),
    "a bench that reads other files": (
        lambda f: with_list(f, lambda said: said["bench"]["files"][0].update(path="/etc/hostname")),
        "which it does not keep",
    ),
    "a paper elsewhere": (
        lambda f: with_list({**f, "x.pdf": b"x"}, lambda said: said["papers"].append(
            {"name": "x.pdf", "sha256": sha256(b"x").hexdigest(), "number": "1", "made": "2026-05-02"})), "a paper in",
    ),
    "a typed table that is no text": (
        lambda f: with_list({**f, f"{TYPED}1/springs.csv": b"\xff\xfe\xff"}, lambda said: next(
            row for row in said["files"] if row["name"].startswith(TYPED)
        ).update(sha256=sha256(b"\xff\xfe\xff").hexdigest())), "can't decode",
    ),
    "a bench of a newer form": (stated(bench={"version": 99}), "a bench that this version can read"),
}  # fmt: skip


@pytest.mark.parametrize("case", HOSTILE)
def test_a_hostile_job_is_one_sentence_and_leaves_nothing(bench: Document, tmp_path: Path, case: str) -> None:
    change, words = HOSTILE[case]
    path = written(tmp_path / "x.valvejob", change(members(saved(bench, tmp_path / "winter.valvejob"))))
    before = {*tmp_path.rglob("*")}
    with pytest.raises(BadFile, match=words) as refused:
        jobs.opened(read_contents(path), tmp_path / "place")
    assert len(str(refused.value).splitlines()) == 1
    assert {*tmp_path.rglob("*")} == before


def test_a_job_file_cut_anywhere_is_one_sentence(bench: Document, tmp_path: Path) -> None:
    data = saved(bench, tmp_path / "winter.valvejob").read_bytes()
    for end in range(0, len(data), max(1, len(data) // 60)):
        with pytest.raises(BadFile):
            jobs.opened(Contents.of("cut.valvejob", data[:end]), tmp_path / "place")
    assert not (tmp_path / "place").exists()


def test_a_flipped_bit_is_noticed_or_does_not_matter(bench: Document, tmp_path: Path) -> None:
    data = saved(bench, tmp_path / "winter.valvejob").read_bytes()
    whole = jobs.opened(Contents.of("a.valvejob", data), tmp_path / "place")
    refused = 0
    for at in range(7, len(data), max(1, len(data) // 40)):
        changed = bytearray(data)
        changed[at] ^= 4
        try:
            found = jobs.opened(Contents.of("a.valvejob", bytes(changed)), tmp_path / "place")
        except BadFile:
            refused += 1
        else:
            assert [file.name for file in found.files] == [file.name for file in whole.files]
    assert refused > 30


def test_what_was_laid_out_long_ago_goes_unless_a_left_bench_needs_it(tmp_path: Path) -> None:
    for name in ("old", "needed", "fresh"):
        (tmp_path / "jobs" / name / "files").mkdir(parents=True)
    (tmp_path / "recovery-1.json").write_text('{"files": [{"path": "/x/jobs/needed/files/a.csv"}]}')
    now = time.time()
    for name in ("old", "needed"):
        os.utime(tmp_path / "jobs" / name, (now - 30 * 86400.0,) * 2)
    tidy(tmp_path, now)
    assert {folder.name for folder in (tmp_path / "jobs").iterdir()} == {"needed", "fresh"}


def test_a_job_that_names_files_outside_reads_none_of_them(
    bench: Document, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    outside = tmp_path / "outside.csv"
    outside.write_text(TRAY)
    files = members(saved(bench, tmp_path / "winter.valvejob"))
    text = f'schema_version = 2\n[[part]]\ninspect = "springs"\nfile = "{outside}"\n'.encode()
    changed = with_list(
        {**files, "job.toml": text},
        lambda said: next(row for row in said["files"] if row["name"] == "job.toml").update(
            sha256=sha256(text).hexdigest()
        ),
    )
    path = written(tmp_path / "x.valvejob", changed)
    for command in (["springs", str(path)], ["certify", str(path), "--out", str(tmp_path / "x.pdf")]):
        assert main(command) == 3
        assert "'outside.csv' outside" in capsys.readouterr().err
    assert not (tmp_path / "x.pdf").exists()
