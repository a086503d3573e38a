"""Every file is written by one writer, which leaves the old file or the new one and nothing between."""

from __future__ import annotations

import ast
import csv
import errno
import os
import random
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import pytest

from valvelab.csv_text import csv_text
from valvelab.errors import CannotWrite
from valvelab.writing import check_place, same_file, write_whole

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "valvelab"

#: the modules that may open a file for writing, and why
MAY_WRITE = {
    "writing.py": "the writer",
    "file_lock.py": "opens an empty file to hold a lock",
    "bootstrap.py": "sets up the environment before the package can be imported",
    "window/print_preview.py": "prints; a person may choose a file for a printer, which Qt then writes",
    "window/crash.py": "adds lines to the fault log, which has to hold when nothing else does",
}
#: beginnings of calls named `save` that open no file
NOT_TO_DISK = (
    "painter.save(", "canvas.save(", "super().save(", "picture.save(target, ", "pdf.save(target, ", "settings.save(",
    "beside.save(", "self.save(", "self._own.save(",
)  # fmt: skip
WRITERS = {
    "write_text", "write_bytes", "mkstemp", "NamedTemporaryFile", "TemporaryFile", "SpooledTemporaryFile", "QFile",
    "QSaveFile", "QPdfWriter", "QPrinter", "savez", "savez_compressed", "savetxt", "tofile", "touch", "symlink_to",
    "hardlink_to", "rename", "truncate",
}  # fmt: skip
WHOLE_NAMES = {"os.replace", "os.write", "os.link", "csv.writer", "csv.DictWriter", "sqlite3.connect"}


def opens_for_writing(node: ast.Call, name: str) -> bool:
    at = 1 if isinstance(node.func, ast.Name) or name == "fdopen" else 0
    given = [*node.args[at : at + 1], *(key.value for key in node.keywords if key.arg == "mode")]
    return any(isinstance(mode, ast.Constant) and set(str(mode.value)) & set("wax+") for mode in given)


def breaches(source: str) -> Iterator[str]:
    """Calls in a module that may write a file."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute) and node.attr in {"O_WRONLY", "O_RDWR", "O_APPEND", "O_CREAT", "O_TRUNC"}:
            yield ast.unparse(node)
        if not isinstance(node, ast.Call):
            continue
        method = isinstance(node.func, ast.Attribute)
        whole = ast.unparse(node.func)
        name, text = whole.rpartition(".")[2], ast.unparse(node)
        if (
            name in WRITERS
            or whole in WHOLE_NAMES
            or whole.startswith("shutil.")
            or (name in {"open", "fdopen"} and opens_for_writing(node, name))
            or (name == "replace" and method and len(node.args) == 1 and not node.keywords)
            or (name == "save" and not text.startswith(NOT_TO_DISK))
        ):
            yield text


def test_nothing_else_in_the_package_writes_a_file() -> None:
    found = {
        f"{path.relative_to(PACKAGE)}: {text}"
        for path in PACKAGE.rglob("*.py")
        if str(path.relative_to(PACKAGE)) not in {*MAY_WRITE, "csv_text.py"}
        for text in breaches(path.read_text(encoding="utf-8"))
    }
    assert found == set()


@pytest.mark.parametrize(
    "line",
    [
        "path.write_text('x')", "path.write_bytes(b'')", "open(path, 'w')", "open(path, mode='ab')", "path.open('x')",
        "picture.save(str(path), 'PNG')", "QFile(path)", "csv.writer(stream)", "os.replace(a, b)",
        "beside.replace(path)", "numpy.savetxt(path, x)", "os.O_WRONLY", "figure.save(path)",
    ],
)  # fmt: skip
def test_a_planted_breach_is_seen(line: str) -> None:
    assert list(breaches(line)) == [line]


@pytest.mark.parametrize(
    "line",
    [
        "open(path)",
        "path.open('rb')",
        "text.replace('a', 'b')",
        "os.open(path, os.O_RDONLY)",
        "replace(row, a=1)",
        "painter.save()",
    ],
)
def test_reading_is_no_breach(line: str) -> None:
    assert list(breaches(line)) == []


# -- whole or not at all ----------------------------------------------------------------------------------------------

CHILD = """
import sys
from hashlib import sha256
from pathlib import Path
from valvelab.writing import write_whole
path = Path(sys.argv[1])
print("ready", flush=True)
for number in range(10**6):
    body = (b"%d " % number) * 60_000
    write_whole(path, sha256(body).hexdigest().encode() + body)
"""


def test_a_kill_at_any_moment_leaves_a_whole_file(tmp_path: Path) -> None:
    # an existing paper, written over again and again while SIGKILL falls at a random moment
    paper = tmp_path / "certificate.pdf"
    body = b"the paper that was there"
    paper.write_bytes(sha256(body).hexdigest().encode() + body)
    moments = random.Random(20)  # noqa: S311 - moments, no secrets
    overwritten = 0
    for _ in range(20):
        before = paper.read_bytes()
        with subprocess.Popen([sys.executable, "-c", CHILD, str(paper)], stdout=subprocess.PIPE) as child:
            assert child.stdout is not None
            child.stdout.readline()
            time.sleep(moments.uniform(0.0, 0.05))
            child.send_signal(signal.SIGKILL)
        found = paper.read_bytes()
        assert sha256(found[64:]).hexdigest().encode() == found[:64]
        overwritten += found != before
    assert overwritten >= 5, "the kills fell before anything was written"


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT, errno.EIO])
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_disk_that_fails_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, number: int
) -> None:
    def fail(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    path = tmp_path / "rows.json"
    path.write_text("old", encoding="utf-8")
    if step == "fsync":
        monkeypatch.setattr(os, "fsync", fail)
    else:
        monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(CannotWrite, match=r"rows\.json: can't be written: "):
        write_whole(path, "new")
    assert path.read_text(encoding="utf-8") == "old"
    assert [file.name for file in tmp_path.iterdir()] == ["rows.json"], "nothing is left beside it"


def test_what_is_in_the_way_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for path, why in (
        (tmp_path, "a folder has that name"),
        (tmp_path / "none" / "x.json", "its folder is not there"),
        (tmp_path / "file" / "x.json", "what should be its folder is a file"),
        (tmp_path / "loop", "its link leads in a circle"),
        (tmp_path / ("n" * 300), "the name is too long"),
        (tmp_path / "a\0b", "zero byte"),
    ):
        for refuse in (lambda path: write_whole(path, "x"), check_place):
            with pytest.raises(CannotWrite, match=why):
                refuse(path)
    check_place(tmp_path / "file")
    check_place(tmp_path / "new")


def test_a_file_that_is_write_protected_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # a replaced name needs no leave of the file itself, only of its folder; root has leave for everything
    def leave(path: Path, wanted: int) -> bool:
        return not wanted & os.W_OK or bool(path.stat().st_mode & stat.S_IWUSR)

    monkeypatch.setattr(os, "access", leave)
    kept = tmp_path / "kept.pdf"
    kept.write_text("old", encoding="utf-8")
    kept.chmod(0o444)
    with pytest.raises(CannotWrite, match="no permission"):
        write_whole(kept, "new")
    tmp_path.chmod(0o555)
    with pytest.raises(CannotWrite, match="no permission"):
        check_place(tmp_path / "new.json")
    tmp_path.chmod(0o755)
    assert kept.read_text(encoding="utf-8") == "old"


# -- what a file keeps ------------------------------------------------------------------------------------------------


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_permissions_are_the_old_file_s_or_the_user_s_mask(tmp_path: Path) -> None:
    old, new, own = tmp_path / "old", tmp_path / "new", tmp_path / "own"
    for path in (old, own):
        path.write_text("x", encoding="utf-8")
        path.chmod(0o664)
    mask = os.umask(0o027)
    try:
        write_whole(old, "y")
        write_whole(new, "y")
        write_whole(own, "y", private=True)
    finally:
        os.umask(mask)
    assert (mode(old), mode(new), mode(own)) == (0o664, 0o640, 0o600)


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    file, link = tmp_path / "file", tmp_path / "link"
    link.symlink_to("file")
    write_whole(link, "first")
    write_whole(link, "second")
    assert link.is_symlink()
    assert file.read_text(encoding="utf-8") == "second"
    assert same_file(link, file)
    assert not same_file(link, tmp_path / "none")


def test_a_pipe_is_written_on(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with subprocess.Popen(["cat", str(pipe)], stdout=subprocess.PIPE) as reader:
        write_whole(pipe, "through")
        assert reader.communicate()[0] == b"through"
    assert stat.S_ISFIFO(pipe.stat().st_mode)


# -- CSV --------------------------------------------------------------------------------------------------------------


def test_no_spreadsheet_computes_a_text() -> None:
    # characters that start a formula in spreadsheets: OWASP, "CSV Injection"
    names = ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1", " =1", "\uff1d1", "−x", "1I", "", "a=b"]
    cells = [row[0] for row in csv.reader(csv_text([[name, 1.0] for name in names]).splitlines())]
    marked = ["'=1+1", "'+cmd", "'-2+3", "'@SUM(A1)", "'\t=1", "' =1", "' =1", "' =1", "'\uff1d1"]
    assert cells == [*marked, "−x", "1I", "", "a=b"]


def test_numbers_stay_numbers() -> None:
    assert (
        csv_text([[-1.5, 2, None, "-3.25", "+3.02", "1e-3", "-1_0", "-inf"]])
        == "-1.5,2,,-3.25,+3.02,1e-3,'-1_0,'-inf\n"
    )
