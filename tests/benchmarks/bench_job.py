"""Job files: saving and opening the sample job with all its answers, and what keeping a bench costs a key.

python tests/benchmarks/bench_job.py

Ratios of one run: saving against a plain zip of the same files flushed to the disk, opening against unpacking it; what
keeping the bench holds the window after an edit of 1,000 typed springs, against the edit itself.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtWidgets import QApplication

from valvelab.files.contents import read_contents
from valvelab.places import sample_profiles
from valvelab.window.bench import Bench
from valvelab.workbench import bays, edits, jobs
from valvelab.workbench.background import answer
from valvelab.workbench.contents import read_content
from valvelab.workbench.document import Document
from valvelab.workbench.dropped import opened
from valvelab.writing import write_whole

ROUNDS = 15


def least(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Least seconds of several rounds."""
    found = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def sample_bench() -> Document:
    """The sample job on the bench, read and answered at every bay."""
    document = edits.add_files(Document(), opened([str(sample_profiles() / "job.toml")]))
    for file in document.files:
        document = edits.content_arrived(document, file, read_content(file))
    for bay in bays.BAYS:
        question = bays.work_of(bay.name).question(document)
        if question is not None:
            document = edits.answer_arrived(document, bay.name, answer(question))
    return document


def plain_zip(files: dict[str, bytes], path: Path) -> None:
    with tempfile.SpooledTemporaryFile(max_size=2**26) as stream:
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as archive:
            for name, data in files.items():
                archive.writestr(name, data)
        stream.seek(0)
        write_whole(path, stream.read())


def unpacked(path: Path, folder: Path) -> None:
    with zipfile.ZipFile(path) as archive:
        archive.extractall(folder)


def tray(springs: int, force: float) -> str:
    head = "# installed height: 40 mm\n# valve lift: 10 mm\nspring,40 mm [N],35 mm [N],30 mm [N]\n"
    return head + "".join(f"S{n},{force + n % 7:.1f},{450 + n % 5}.0,{600 + n % 3}.0\n" for n in range(springs))


def key_costs(place: Path) -> tuple[list[float], list[float]]:
    """Seconds that each of many edits of a typed tray holds the window, and that keeping the bench after it does."""
    bench = Bench(place)
    bench.type_table("springs.csv", "spring readings", tray(1000, 300.0))
    path = bench.document.files[-1].path
    edited, kept = [], []
    for number in range(60):
        text = tray(1000, 300.0 + 0.1 * number)
        start = time.perf_counter()
        bench.history.apply(edits.retype(bench.document, path, text), "type a force")
        between = time.perf_counter()
        bench.keep()
        kept.append(time.perf_counter() - between)
        edited.append(between - start)
        QApplication.processEvents()
    bench.close()
    return edited, kept


def main() -> int:
    application = QApplication.instance() or QApplication([])
    assert application is not None
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        document = sample_bench()
        job = place / "winter.valvejob"
        save = least(lambda: write_whole(job, jobs.packed(document, job.name)))
        with zipfile.ZipFile(job) as archive:
            files = {name: archive.read(name) for name in archive.namelist()}
        zipped = least(lambda: plain_zip(files, place / "plain.zip"))
        open_ = least(lambda: jobs.opened(read_contents(job), place))
        unzipped = least(lambda: unpacked(place / "plain.zip", place / "plain"))
        print(f"save of the sample job / plain zip {save / zipped:5.2f}   ({1000 * save:.0f} ms)")
        print(f"open of the sample job / unpacking {open_ / unzipped:5.2f}   ({1000 * open_:.0f} ms)")
        edited, kept = key_costs(place / "bench")
        ratio = statistics.median(kept) / statistics.median(edited)
        print(f"keeping the bench / the edit       {ratio:5.2f}   (greatest {1000 * max(kept):.1f} ms)")
    return 0


if __name__ == "__main__":
    sys.exit(main())
