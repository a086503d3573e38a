"""The same batch through a Dask scheduler with workers of their own, one of which is killed midway."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from batches import SPRINGS, batch, lay_lot

from valvelab.cli.main import main

distributed = pytest.importorskip("distributed", reason="valvelab[cluster] is not installed")
FILES = 16


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """A scheduler and two worker processes of one thread each."""
    with distributed.LocalCluster(  # a port of its own choice, nothing but this machine, no page to look at
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as found:
        yield found


def test_a_worker_killed_midway_costs_nothing(
    cluster: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    spec = lay_lot(tmp_path / "trays", FILES)
    asked = (tmp_path / "trays", "--spec", spec)
    batch(capsys, *asked, "--out", tmp_path / "here.csv", "--workers", 1)
    out = tmp_path / "there.csv"
    victim = next(iter(cluster.workers.values())).pid
    killed: list[int] = []

    def kill_midway() -> None:
        journal = tmp_path / "there.csv.journal"
        while not journal.exists() or journal.read_bytes().count(b"\n") < 4:
            pass
        killed.append(journal.read_bytes().count(b"\n") - 1)
        os.kill(victim, signal.SIGKILL)

    killer = Thread(target=kill_midway, daemon=True)
    killer.start()
    found = batch(capsys, *asked, "--out", out, "--scheduler", cluster.scheduler_address)
    killer.join(5.0)
    assert 3 <= killed[0] < FILES, "the worker was killed before or after the work"
    assert (found["files"], found["rows"], found["failed"]) == (FILES, FILES * SPRINGS, [])
    assert out.read_bytes() == (tmp_path / "here.csv").read_bytes()
    # a worker that lives on does not judge the next batch by the limits of the last
    spec.write_text(spec.read_text(encoding="utf-8").replace("235 N", "259 N"), encoding="utf-8")
    again = batch(
        capsys, tmp_path / "trays" / "week 001", "--spec", spec, "--scheduler", cluster.scheduler_address, code=1
    )
    assert again["decisions"]["reject"] > SPRINGS


def test_no_scheduler_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("valvelab.batch.cluster.FIRST_WAIT_S", 0.3)
    assert main(["batch", str(tmp_path), "--scheduler", "tcp://127.0.0.1:9"]) == 3
    told = capsys.readouterr().err
    assert told.startswith("valvelab: --scheduler tcp://127.0.0.1:9: found no scheduler")
    assert told.count("\n") == 1
