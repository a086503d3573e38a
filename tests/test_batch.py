"""Many files at once: every file once, bad ones listed, an interrupted run gone on with."""

from __future__ import annotations

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest
from arro3.io import read_parquet
from batches import SPRINGS, batch, lay_lot
from something import each
from stored import lay_springs

from valvelab.batch import workers
from valvelab.batch.ahead import PRELOADED
from valvelab.batch.in_order import in_order
from valvelab.batch.journal import Journal
from valvelab.batch.run import run
from valvelab.batch.table import write_table
from valvelab.batch.task import Answer, Found, Task
from valvelab.batch.walk import Walk
from valvelab.cli.main import main
from valvelab.places import sample_profiles

FILES = 12


@pytest.fixture(scope="module")
def lot(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A folder of good trays, and their spec."""
    folder = tmp_path_factory.mktemp("batch") / "trays"
    return folder, lay_lot(folder, FILES)


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


# -- the table --------------------------------------------------------------------------------------------------------


def test_one_row_an_item_in_the_order_of_the_paths(
    lot: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, spec = lot
    out = tmp_path / "rows.csv"
    found = batch(capsys, folder, "--spec", spec, "--out", out, "--workers", 2)
    rows = rows_of(out)
    assert (found["files"], found["rows"], len(rows)) == (FILES, FILES * SPRINGS, FILES * SPRINGS)
    assert list(rows[0])[:3] == ["file", "sha256", "item"]
    assert list(rows[0])[-1] == "decision"
    paths = [row["file"] for row in rows]
    assert paths == sorted(paths)
    assert paths[0] == f"{folder.as_posix()}/week 000/tray 0000/tray.csv"
    accepted = sum(row["decision"] == "accept" for row in rows)
    assert found["decisions"] == {"accept": accepted, "reject": 0, "undecided": 0}
    assert [note["about"] for note in found["notes"]] == [f"{paths[0]} and {FILES - 1} more"]  # what all have, once


def test_a_row_says_what_the_file_s_own_command_says(
    lot: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, spec = lot
    file, out, alone = folder / "week 001" / "tray 0011" / "tray.csv", tmp_path / "rows.csv", tmp_path / "alone.csv"
    batch(capsys, file.parent, "--spec", spec, "--out", out, "--workers", 1)
    assert main(["springs", str(file), "--spec", str(spec), "--out", str(alone), "--quiet"]) == 0
    own = rows_of(alone)
    for row, other in each(zip(rows_of(out), own, strict=True)):
        assert {key: row[key] for key in other if key != "spring"} == {
            key: value for key, value in other.items() if key != "spring"
        }
        assert row["item"] == other["spring"]


def test_parquet_holds_the_same_with_numbers_as_numbers(
    lot: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, spec = lot
    batch(capsys, folder, "--spec", spec, "--out", tmp_path / "rows.csv", "--workers", 1)
    batch(capsys, folder, "--spec", spec, "--out", tmp_path / "rows.parquet", "--workers", 1)
    table, rows = read_parquet(tmp_path / "rows.parquet").read_all(), rows_of(tmp_path / "rows.csv")
    assert table.column_names == list(rows[0])
    for name in each(("file", "sha256", "item", "decision")):
        assert [cell.as_py() for cell in table[name]] == [row[name] for row in rows]
    assert [cell.as_py() for cell in table["seat_force_n"]] == [float(row["seat_force_n"]) for row in rows]


def test_the_workers_and_their_number_change_nothing(
    lot: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, spec = lot
    for number in (1, 3):
        batch(capsys, folder, "--spec", spec, "--out", tmp_path / f"{number}.csv", "--workers", number)
    assert (tmp_path / "1.csv").read_bytes() == (tmp_path / "3.csv").read_bytes()


def test_every_sample_is_read_or_passed_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = batch(capsys, sample_profiles(), "--out", tmp_path / "rows.csv", code=1)
    assert found["failed"] == []
    assert found["files"] + found["passed_over"] == len(list(sample_profiles().iterdir()))
    items = {Path(row["file"]).name: row["item"] for row in rows_of(tmp_path / "rows.csv")}
    assert items["hydroplane_journal_trace.smd"] == "whole"


# -- what is wrong with some files ------------------------------------------------------------------------------------


def test_bad_files_are_listed_and_passed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "trays"
    spec = lay_lot(folder, 2)
    (folder / "a torn.csv").write_bytes(b"spring,height [mm],force [N]\nQ1,40,\xff\xfe")
    (folder / "b plain.csv").write_text("1,2\n3,4\n", encoding="utf-8")
    (folder / "c book.xlsx").write_bytes(b"PK\3\4 no workbook")
    (folder / "d sheet.toml").write_text("[[point]\n", encoding="utf-8")
    (folder / "e leads nowhere.csv").symlink_to(folder / "nothing.csv")
    (folder / "notes.txt").write_text("read me", encoding="utf-8")
    (folder / ".hidden.csv").write_text("x", encoding="utf-8")
    (folder / "week 000" / "back").symlink_to(folder)
    found = batch(capsys, folder, "--spec", spec, "--workers", 2)
    assert [Path(row["file"]).name[0] for row in found["failed"]] == ["a", "b", "c", "d", "e"]
    for row in each(found["failed"]):
        assert "found" in row["reason"]
        assert "fault of the program" not in row["reason"]
    assert (found["files"], found["passed_over"]) == (2, 3)


def test_nothing_that_could_be_read_is_no_result(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "x.csv").write_text("1,2\n", encoding="utf-8")
    assert main(["batch", str(tmp_path), "--out", str(tmp_path.parent / "never.csv")]) == 3
    assert "found nothing that could be inspected" in capsys.readouterr().err
    assert not (tmp_path.parent / "never.csv").exists()


def test_a_file_that_ends_its_process_costs_that_file(
    lot: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, spec = lot
    monkeypatch.setattr(workers, "serve", _serve_but_die)
    found = batch(capsys, folder, "--spec", spec, "--workers", 2)
    assert [Path(row["file"]).parent.name for row in found["failed"]] == ["tray 0003"]
    assert "ended by SIGKILL" in found["failed"][0]["reason"]
    assert found["files"] == FILES - 1


def _serve_but_die(pipe: object, question: object) -> None:
    from valvelab.batch import one_file

    whole = one_file.answer_to

    def answer_to(question: object, task: Task) -> Answer:
        if "tray 0003" in task.path:
            os.kill(os.getpid(), signal.SIGKILL)
        return whole(question, task)  # type: ignore[arg-type]

    one_file.answer_to = answer_to  # type: ignore[assignment]
    workers.serve(pipe, question)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ([], "neither a folder nor --store"),
        (["{folder}", "--store", "x.sqlite"], "or both"),
        (["{folder}", "--workers", "0"], "expected 1 to"),
        (["{folder}", "--workers", "2", "--scheduler", "tcp://x:1"], "found both"),
        (["{folder}", "--resume"], "found no --out"),
        (["{folder}", "--out", "rows.json"], "expected .csv or .parquet"),
        (["{folder}", "--report", "lot.txt", "--spec", "x.toml"], "expected .pdf"),
        (["{folder}", "--report", "lot.pdf"], "found no --spec"),
        (["{folder}", "--out", "{folder}/week 000/tray 0000/tray.csv"], "a file of the folder"),
    ],
)
def test_wrong_usage(lot: tuple[Path, Path], words: list[str], why: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["batch", *(word.format(folder=lot[0]) for word in words)]) == 2
    assert why in capsys.readouterr().err


def test_no_folder_is_no_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["batch", str(tmp_path / "none")]) == 3
    assert "found nothing, expected a folder" in capsys.readouterr().err


# -- going on ---------------------------------------------------------------------------------------------------------


def test_only_what_changed_is_done_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder, out = tmp_path / "trays", tmp_path / "rows.csv"
    spec = lay_lot(folder, 5)
    asked = (folder, "--spec", spec, "--out", out, "--workers", 2)
    assert batch(capsys, *asked)["unchanged"] == 0
    whole = out.read_bytes()
    assert batch(capsys, *asked, "--resume")["unchanged"] == 5
    assert out.read_bytes() == whole

    lay_springs(folder / "week 000" / "tray 0001", 244.0, 245.0)
    shutil.rmtree(folder / "week 000" / "tray 0002")
    lay_lot(folder, 1, first=5)
    found = batch(capsys, *asked, "--resume")
    assert (found["files"], found["unchanged"], found["rows"]) == (5, 3, 4 * SPRINGS + 2)
    gone_on = out.read_bytes()
    batch(capsys, *asked)
    assert out.read_bytes() == gone_on

    spec.write_text(spec.read_text(encoding="utf-8").replace("235 N", "245 N"), encoding="utf-8")
    found = batch(capsys, *asked, "--resume", code=1)
    assert found["unchanged"] == 0
    assert any("everything was done again" in note["text"] for note in found["notes"])


def test_another_folder_s_rows_are_not_taken(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lay_lot(tmp_path / "a" / "trays", 1)
    lay_lot(tmp_path / "b" / "trays", 1)
    for name in ("a", "b"):
        found = batch(capsys, tmp_path / name / "trays", "--out", tmp_path / "rows.csv", "--resume")
        assert found["unchanged"] == 0


def test_a_killed_run_is_gone_on_with(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder, out = tmp_path / "trays", tmp_path / "rows.csv"
    spec = lay_lot(folder, 40)
    asked = [str(word) for word in (folder, "--spec", spec, "--out", out, "--workers", 2)]
    journal = tmp_path / "rows.csv.journal"
    for lines, others in ((10, []), (4, [journal.with_name("rows.csv.journal-before")])):  # killed, and killed again
        with subprocess.Popen([sys.executable, "-m", "valvelab", "batch", *asked, "--resume", "--quiet"]) as child:
            until = time.monotonic() + 60.0
            while _lines(journal) < lines or not all(other.exists() for other in others):
                assert child.poll() is None
                assert time.monotonic() < until
                time.sleep(0.002)
            child.send_signal(signal.SIGKILL)
        assert not out.exists()
    with journal.open("ab") as stream:
        stream.write(b'{"name": "torn')  # as a power cut leaves it
    found = batch(capsys, *asked, "--resume")
    assert found["files"] == 40
    assert found["unchanged"] >= 9  # a line is the head
    gone_on = out.read_bytes()
    batch(capsys, *asked)
    assert out.read_bytes() == gone_on


def test_two_batches_never_write_one_output(
    lot: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    journal = Journal(tmp_path / "rows.csv", "")
    journal.begin(resume=False)
    assert main(["batch", str(lot[0]), "--out", str(tmp_path / "rows.csv")]) == 3
    assert "another batch is writing it" in capsys.readouterr().err
    journal.close()
    batch(capsys, lot[0], "--out", tmp_path / "rows.csv")
    assert {path.name for path in tmp_path.iterdir()} == {"rows.csv", "rows.csv.journal"}


def test_a_full_disk_keeps_what_was_done(
    lot: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    full = Path("/dev/full").open("wb")  # noqa: SIM115 - closed by the journal
    monkeypatch.setattr("valvelab.batch.journal.start_lines", lambda _path: full)
    assert main(["batch", str(lot[0]), "--out", str(tmp_path / "rows.csv"), "--workers", "1"]) == 3
    assert "the disk is full" in capsys.readouterr().err


def _lines(journal: Path) -> int:
    return journal.read_bytes().count(b"\n") if journal.exists() else 0


# -- what is held -----------------------------------------------------------------------------------------------------


def test_who_asks_loads_nothing_of_what_inspects(lot: tuple[Path, Path], tmp_path: Path) -> None:
    heavy = {"numpy", "scipy", "reportlab", "arro3", "distributed", "sqlalchemy", "PySide6", "valvelab.job.springs"}
    code = (
        "import sys\nfrom valvelab.cli.main import main\n"
        "if __name__ == '__main__':\n    main(sys.argv[1:])\n"
        f"    print(sorted({heavy!r} & set(sys.modules)))\n"
    )
    script = tmp_path / "ask.py"
    script.write_text(code, encoding="utf-8")
    words = [
        "batch",
        str(lot[0] / "week 001"),
        "--spec",
        str(lot[1]),
        "--out",
        str(tmp_path / "rows.csv"),
        "--workers",
        "1",
    ]
    done = subprocess.run([sys.executable, script, *words], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-2:] == [
        f"6 rows of 2 files: 6 accepted, 0 undecided, 0 rejected; 0 failed; rows in {tmp_path / 'rows.csv'}",
        "[]",
    ]


class _Reluctant:
    """A pool that answers the newest task first."""

    def __init__(self) -> None:
        self.open: list[int] = []
        self.most = 0

    def has_room(self) -> bool:
        return True

    def start(self, number: int, _task: Task) -> None:
        self.open.append(number)
        self.most = max(self.most, len(self.open))

    def finished(self) -> Iterator[tuple[int, Answer]]:
        yield self.open.pop(), Answer("passed over", reason="")


def test_no_more_is_held_than_a_few_tasks() -> None:
    pool = _Reluctant()
    taken: list[str] = []

    def tasks() -> Iterator[Task]:
        for number in count():
            taken.append(str(number))
            yield Task(str(number), "")

    for done, (task, _) in zip(range(50), in_order(tasks(), pool, held=8), strict=False):
        assert task.name == str(done)
        assert len(taken) <= done + 9
    assert pool.most <= 8


class _Ready:
    """A pool that finds the same in every file."""

    def __init__(self) -> None:
        self.begun: list[int] = []

    def has_room(self) -> bool:
        return len(self.begun) < 4

    def start(self, number: int, _task: Task) -> None:
        self.begun.append(number)

    def finished(self) -> Iterator[tuple[int, Answer]]:
        cells = {"item": "Q1", **{f"key_{column}": column + 0.5 for column in range(3)}, "decision": "accept"}
        for number in self.begun:
            yield number, Answer("found", Found(f"{number:06}", "0" * 64, (), (cells,) * 4, (), ()))
        self.begun = []


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_five_times_the_files_take_no_more_memory(tmp_path: Path, ending: str) -> None:
    peaks = []
    for files in (300, 300, 1500):  # the first is for what is imported
        journal = Journal(tmp_path / f"rows{ending}", "")
        tracemalloc.start()
        journal.begin(resume=False)
        tally = run(((f"{number:06}", "") for number in range(files)), _Ready(), journal)
        write_table(journal.out, journal.found, tally.columns, "")
        journal.close()
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        assert tally.rows == 4 * files
    assert peaks[2] < 1.5 * peaks[1]  # if it held all, 5


def test_what_workers_are_forked_from_loads_what_tables_need(tmp_path: Path) -> None:
    """No lobe and no spring asks for scipy, and what is loaded there is time in which nothing is inspected."""
    names = ("quillmere_four_camshaft.csv", "springs_quillmere_tray.csv")
    code = (
        f"import importlib, sys\nfor name in {PRELOADED!r}: importlib.import_module(name)\n"
        "before = set(sys.modules)\nfrom valvelab.batch.one_file import answer_to\n"
        "from valvelab.batch.task import Question, Task\n"
        f"for path in {[str(sample_profiles() / name) for name in names]!r}:\n"
        "    assert answer_to(Question(), Task(path, path)).ended == 'found'\n"
        "print(sum(name.startswith('scipy') for name in sys.modules))\n"
        "print(sum(name.startswith(('valvelab', 'numpy')) for name in set(sys.modules) - before))\n"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert told.split() == ["0", "0"]


def test_a_walk_is_in_the_order_of_the_names(tmp_path: Path) -> None:
    for name in ("a-b.csv", "a.csv", "a/z.csv", "B.csv", "a/b/c.toml", "a b.xlsx"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("", encoding="utf-8")
    names = [name for name, _ in Walk(tmp_path).files()]
    assert names == sorted(names)
    assert len(names) == 6


# -- a store ----------------------------------------------------------------------------------------------------------


def test_records_of_a_store_are_inspected_anew(place: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for number, force in enumerate((248.0, 265.0)):
        readings, spec = lay_springs(tmp_path, force, 250.0, serial=f"QF-S-{number}")
        assert main(["records", "add", str(readings), "--spec", str(spec), "--store", place, "--quiet"]) in {0, 1}
    capsys.readouterr()
    found = batch(capsys, "--store", place, "--out", tmp_path / "rows.csv", code=1)
    assert found["decisions"] == {"accept": 3, "reject": 1, "undecided": 0}
    rows = rows_of(tmp_path / "rows.csv")
    assert sorted(float(row["seat_force_n"]) for row in rows) == pytest.approx([248.0, 250.0, 250.0, 265.0], abs=0.1)
    assert batch(capsys, "--store", place, "--out", tmp_path / "rows.csv", "--resume", code=1)["unchanged"] == 2


# -- the lot ----------------------------------------------------------------------------------------------------------


def test_the_lot_is_that_of_the_rows(
    lot: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import numpy as np
    import pikepdf

    folder, spec = lot
    out, report = tmp_path / "rows.csv", tmp_path / "lot.pdf"
    found = batch(capsys, folder, "--spec", spec, "--out", out, "--report", report)
    (row,) = found["lot"]
    values = np.array([float(cells["seat_force_n"]) for cells in rows_of(out)])
    assert (row["characteristic"], row["count"], row["unit"]) == ("seat_force", FILES * SPRINGS, "N")
    assert row["mean"] == pytest.approx(values.mean())
    assert row["ppk"]["value"] == pytest.approx(
        min(values.mean() - 235.0, 260.0 - values.mean()) / 3.0 / values.std(ddof=1)
    )
    days = np.repeat(np.arange(FILES), SPRINGS)
    assert row["drift"]["over"] == "date"
    assert row["drift"]["slope"] == pytest.approx(np.polyfit(days, values, 1)[0])
    with pikepdf.open(report) as paper:
        (carried,) = paper.attachments.values()
        assert json.loads(carried.get_file().read_bytes()) == found


def test_progress_is_for_a_terminal_and_for_long_work(
    lot: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["batch", str(lot[0]), "--workers", "1"]) == 0
    told = capsys.readouterr()
    assert "\r" not in told.err
    assert f"{FILES * SPRINGS} rows of {FILES} files" in told.out.splitlines()[-1]
