"""The same batch through a Dask scheduler with workers of their own; one of them, and then the scheduler, is killed."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from threading import Thread

import pytest
from batches import SPRINGS, batch, lay_lot

from valvelab.cli.main import main

pytest.importorskip("distributed", reason="valvelab[cluster] is not installed")
FILES = 16


@dataclass
class Machines:
    """A scheduler and its workers, each a process as on a machine of its own; told: where it says its address."""

    told: Path
    scheduler: subprocess.Popen[bytes]
    workers: list[subprocess.Popen[bytes]]

    def address(self) -> str:
        """Where the scheduler is, once it runs."""
        until = time.monotonic() + 30.0
        while not (self.told.exists() and self.told.read_text(encoding="utf-8").rstrip().endswith("}")):
            assert time.monotonic() < until
            time.sleep(0.01)
        found: str = json.loads(self.told.read_text(encoding="utf-8"))["address"]
        return found


@pytest.fixture(scope="module")
def machines(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machines]:
    folder = tmp_path_factory.mktemp("dask")
    told = folder / "scheduler.json"
    shared = ["--scheduler-file", str(told), "--no-dashboard"]
    worker = ["worker", *shared, "--nthreads", "1", "--no-nanny", "--local-directory", str(folder)]
    with ExitStack() as stack:

        def started(*words: str) -> subprocess.Popen[bytes]:
            command = [sys.executable, "-m", "dask", *words]
            own = subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            stack.callback(own.wait)
            stack.callback(own.kill)
            return own

        scheduler = started("scheduler", *shared, "--host", "127.0.0.1", "--port", "0")
        yield Machines(told, scheduler, [started(*worker), started(*worker)])


def kill_at(journal: Path, lines: int, victim: subprocess.Popen[bytes]) -> list[int]:
    """Kill a process once so many lines are written down; how many there were then, once it happened."""
    seen: list[int] = []

    def wait_and_kill() -> None:
        while not journal.exists() or (found := journal.read_bytes().count(b"\n")) < lines:
            time.sleep(0.001)
        victim.kill()
        seen.append(found)

    Thread(target=wait_and_kill, daemon=True).start()
    return seen


def test_a_worker_killed_midway_costs_nothing(
    machines: Machines, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spec = lay_lot(tmp_path / "trays", FILES)
    here, there = tmp_path / "here.csv", tmp_path / "there.csv"
    asked = (tmp_path / "trays", "--spec", spec)
    batch(capsys, *asked, "--out", here, "--workers", 1)
    seen = kill_at(tmp_path / "there.csv.journal", 4, machines.workers[0])
    found = batch(capsys, *asked, "--out", there, "--scheduler", machines.address())
    assert machines.workers[0].wait(5.0) < 0
    assert seen[0] <= FILES, "the worker was killed after the work"
    assert (found["files"], found["rows"], found["failed"]) == (FILES, FILES * SPRINGS, [])
    assert there.read_bytes() == here.read_bytes()
    # a worker that lives on does not judge the next batch by the limits of the last
    spec.write_text(spec.read_text(encoding="utf-8").replace("235 N", "259 N"), encoding="utf-8")
    again = batch(capsys, tmp_path / "trays" / "week 001", "--spec", spec, "--scheduler", machines.address(), code=1)
    assert again["decisions"]["reject"] > SPRINGS


def test_a_scheduler_that_goes_is_said(machines: Machines, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lay_lot(tmp_path / "trays", FILES)
    kill_at(tmp_path / "rows.csv.journal", 1, machines.scheduler)
    words = ("batch", str(tmp_path / "trays"), "--out", str(tmp_path / "rows.csv"))
    assert main([*words, "--scheduler", machines.address(), "--quiet"]) == 3
    told = capsys.readouterr().err.splitlines()
    assert told[0].endswith("the same command with --resume goes on from there")
    assert told[1].endswith("found a scheduler that no longer answers, expected one that runs")
    assert len(told) == 2


def test_no_scheduler_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("valvelab.batch.cluster.FIRST_WAIT_S", 0.3)
    assert main(["batch", str(tmp_path), "--scheduler", "tcp://127.0.0.1:9"]) == 3
    told = capsys.readouterr().err
    assert told.startswith("valvelab: --scheduler tcp://127.0.0.1:9: found no scheduler")
    assert told.count("\n") == 1
