"""Writers killed at random moments of writing: what is half written, what confirmed is lost, what hinders the next run.

python tests/killing.py [KILLS] [SEED]

Each writer writes one thing after another in a process of its own, says what it is about to write and what it was told
is kept, and is killed (SIGKILL) so long after one of its beginnings as writing takes, or so long after its start. Then
the place is looked at, and the next writer goes on there. Prints a line a writer: kills, how many of them fell into a
write, and the three counts, each of which has to be 0.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import random
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Protocol

sys.path.insert(0, str(Path(__file__).resolve().parent))

from postgres import programs, running
from stored import entry, lay_springs

from valvelab.cli.main import main as command
from valvelab.errors import ValvelabError
from valvelab.files.contents import Contents
from valvelab.files.job_archive import read_job_archive
from valvelab.store import Filter, open_store
from valvelab.workbench import edits, jobs
from valvelab.workbench.contents import read_content
from valvelab.workbench.document import BenchFile, Document
from valvelab.writing import write_whole

BEGUN, KEPT = b"w", b"k"
ROUNDS = 25
"""Kills at one place; then another place is begun."""
OUT_OF_THE_BLUE = 5
"""Every such kill falls so long after the writer's start, not after the beginning of a write."""
LONGEST_S = 20.0


class Writer(Protocol):
    """What writes at a place, again and again, and what is to be found there after it was killed."""

    name: str

    def begin(self, folder: Path) -> None:
        """Take another place, an empty folder."""

    def write(self, number: int, about_to: Callable[[str], object]) -> str:
        """Write once; what was kept, as it was said to `about_to` before the write."""

    def faults(self, begun: list[str], kept: list[str]) -> tuple[int, int]:
        """How many half-written things lie there, and how much of what was kept is lost; from all said there so far."""


@dataclass
class FileWriter:
    """What writes one file anew each time; `made(number)` are its bytes, `whole` raises where bytes are none."""

    name: str
    ending: str
    made: Callable[[int], bytes]
    whole: Callable[[Contents], object]
    target: Path = Path()

    def begin(self, folder: Path) -> None:
        """Another folder."""
        self.target = folder / f"winter{self.ending}"

    def write(self, number: int, about_to: Callable[[str], object]) -> str:
        """Write the file over the one before."""
        data = self.made(number)
        digest = sha256(data).hexdigest()
        about_to(digest)
        write_whole(self.target, data)
        return digest

    def faults(self, begun: list[str], kept: list[str]) -> tuple[int, int]:
        """Half-written is what nobody was about to write; lost is what was kept and is neither there nor replaced."""
        if not self.target.exists():
            return 0, len(kept)
        data = self.target.read_bytes()
        try:
            self.whole(Contents.of(self.target.name, data))
        except ValvelabError:
            return 1, bool(kept)
        digest = sha256(data).hexdigest()
        last = max((place for place, one in enumerate(begun) if kept and one == kept[-1]), default=-1)
        return digest not in begun, digest not in begun[max(last, 0) :]


def job_writer() -> FileWriter:
    """A bench with a tray that is typed, saved in its job file over and over."""
    rows = "".join(f"Q{n},{300 + n}.0,{450 + n}.0,{600 + n}.0\n" for n in range(12))
    text = f"# installed height: 40 mm\n# valve lift: 10 mm\nspring,40 mm [N],35 mm [N],30 mm [N]\n{rows}"

    def made(number: int) -> bytes:
        file = BenchFile("typed/1/springs.csv", kind="spring readings", text=text.replace("Q0,300", f"Q0,{number}"))
        bench = Document(files=(file,), bay="springs")
        return jobs.packed(edits.content_arrived(bench, file, read_content(file)), "winter")

    return FileWriter("job file saved", ".valvejob", made, read_job_archive)


@dataclass
class CertificateWriter:
    """`valvelab certify` upon one paper over and over; the date tells one from another."""

    name: str = "certificate written"
    target: Path = Path()
    readings: Path = Path()
    spec: Path = Path()
    whole: dict[str, bool] = field(default_factory=dict)

    def begin(self, folder: Path) -> None:
        """Another folder."""
        self.target = folder / "paper.pdf"
        self.readings, self.spec = lay_springs(folder, 247.0, 251.0)

    def write(self, number: int, about_to: Callable[[str], object]) -> str:
        """Write the paper of another day."""
        day = f"20{number % 90 + 10}-01-{number % 28 + 1:02}"
        with _seen(about_to, day):
            words = [str(self.readings), "--spec", str(self.spec), "--date", day, "--out", str(self.target)]
            code = command(["certify", *words, "--quiet"])
        assert code in {0, 1, 4}
        return day

    def faults(self, begun: list[str], kept: list[str]) -> tuple[int, int]:
        """A paper is whole where `valvelab verify` finds nothing amiss; each is asked once."""
        if not self.target.exists():
            return 0, len(kept)
        data = self.target.read_bytes()
        digest = sha256(data).hexdigest()
        if digest not in self.whole:
            with contextlib.redirect_stdout(io.StringIO()) as said:
                self.whole[digest] = command(["verify", str(self.target), "--json", "--quiet"]) == 0
            self.whole[digest] &= bool(json.loads(said.getvalue() or "{}").get("agrees"))
        sound = self.whole[digest] and bool(begun)
        return not sound, bool(kept) and not sound


@contextlib.contextmanager
def _seen(about_to: Callable[[str], object], what: str) -> Iterator[None]:
    """Says when a command begins to write its file."""
    from valvelab.job import certificates

    plain = certificates.write_whole

    def write(path: Path, content: bytes | str, *, private: bool = False) -> None:
        about_to(what)
        plain(path, content, private=private)

    certificates.write_whole = write
    try:
        yield
    finally:
        certificates.write_whole = plain


@dataclass
class StoreWriter:
    """Two records at a time added to a store, made by whoever comes first; `database` names a new place."""

    name: str
    database: Callable[[Path], str]
    place: str = ""

    def begin(self, folder: Path) -> None:
        """Another store."""
        self.place = self.database(folder)

    def write(self, number: int, about_to: Callable[[str], object]) -> str:
        """Add a record with readings of its own, and one beside it."""
        with open_store(self.place) as store:
            mine = f"{os.getpid()} {number}"
            both = [entry("mine", readings=mine.encode() * 20_000, operator=mine), entry("beside", operator=mine)]
            about_to(both[0].record.id)
            store.add(both)
        return both[0].record.id

    def faults(self, begun: list[str], kept: list[str]) -> tuple[int, int]:
        """Half-written is a record without the one beside it, or one that is not as its name says."""
        if "://" not in self.place and not Path(self.place).exists():
            return 0, len(kept)
        with open_store(self.place) as store:
            found = store.find(Filter())
            half = [row for row in found if row.serial == "mine" and row.id not in begun]
            amiss = len(store.check()) + len(found) % 2 + len(half)
            return amiss, len({*kept} - {row.id for row in found})


FEW = 50
"""Kills of which none may happen to fall within a write."""


@dataclass
class Count:
    """What became of the kills."""

    kills: int = 0
    within_a_write: int = 0
    half_written: int = 0
    lost: int = 0
    hindered: int = 0
    kept: int = 0
    seconds: float = 0.0

    @property
    def sound(self) -> bool:
        """Whether nothing was amiss, and something was there to be amiss: of few kills none may fall within a write."""
        enough = self.within_a_write > 0 or self.kills < FEW
        return enough and self.kept > 0 and not (self.half_written or self.lost or self.hindered)


def kill(writer: Writer, kills: int, seed: int) -> Count:
    """Kill a writer so many times."""
    count, chance = Count(), random.Random(seed)  # noqa: S311 - moments, no secrets
    start = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="valvelab-kill-") as place:
        begun: list[str] = []
        kept: list[str] = []
        takes_s = whole_s = _warmed_up(writer, Path(place))
        for number in range(kills):
            if number % ROUNDS == 0:
                folder = Path(place) / str(number)
                folder.mkdir()
                writer.begin(folder)
                begun, kept = [], []
            blue = number % OUT_OF_THE_BLUE == OUT_OF_THE_BLUE - 1
            after = 0 if blue else chance.choice((1, 2, 3))
            told = _killed(writer, number, after, 1.2 * chance.random() * (whole_s if blue else takes_s))
            count.kills += 1
            count.within_a_write += len(told.begun) > len(told.kept)
            count.hindered += told.ended or (not blue and not told.begun)
            count.kept += len(told.kept)
            begun, kept = [*begun, *told.begun], [*kept, *told.kept]
            half, lost = writer.faults(begun, kept)
            count.half_written, count.lost = count.half_written + half, count.lost + lost
            takes_s = told.write_s or takes_s
    count.seconds = time.monotonic() - start
    return count


@dataclass
class Told:
    """What a writer said until it was killed, how long its last whole write took, and whether it ended by itself."""

    begun: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    write_s: float = 0.0
    ended: bool = False


def _warmed_up(writer: Writer, folder: Path) -> float:
    """What a write takes in all, in s, once everything is imported that the writers' processes are then made with."""
    folder = folder / "first"
    folder.mkdir()
    writer.begin(folder)
    for number in range(2):
        start = time.monotonic()
        with contextlib.redirect_stdout(io.StringIO()):
            writer.write(number, lambda _what: None)
    return time.monotonic() - start


def _killed(writer: Writer, run: int, after: int, later_s: float) -> Told:
    """Let a writer write, and kill it so long after that beginning of a write; 0: after that of its process."""
    reads, writes = os.pipe()
    child = os.fork()
    if child == 0:
        _write_on(writer, run, writes)
    os.close(writes)
    told = Told()
    moment = time.monotonic() + (LONGEST_S if after else later_s)
    left, since = b"", 0.0
    os.set_blocking(reads, False)
    while time.monotonic() < moment:
        data = _read(reads)
        if data == b"":
            told.ended = True
            break
        for line in (left + (data or b"")).split(b"\n")[:-1]:
            said = told.begun if line[:1] == BEGUN else told.kept
            said.append(line[1:].decode())
            if line[:1] == BEGUN:
                since = time.monotonic()
                if len(told.begun) == after:
                    moment = since + later_s
            else:
                told.write_s = time.monotonic() - since
        left = (left + (data or b"")).rpartition(b"\n")[2]
        time.sleep(0.0002)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    os.set_blocking(reads, True)
    while data := os.read(reads, 65_536):
        left += data
    os.close(reads)
    for line in left.split(b"\n")[:-1]:
        (told.begun if line[:1] == BEGUN else told.kept).append(line[1:].decode())
    return told


def _read(handle: int) -> bytes | None:
    """What came; None for nothing yet."""
    try:
        return os.read(handle, 65_536)
    except BlockingIOError:
        return None


def _write_on(writer: Writer, run: int, handle: int) -> None:
    """The writer's own process, which ends by being killed."""
    try:
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        for number in range(1_000):
            said = writer.write(1_000 * run + number, lambda what: os.write(handle, BEGUN + what.encode() + b"\n"))
            os.write(handle, KEPT + said.encode() + b"\n")
    finally:
        os._exit(1)


def main() -> int:
    """Every writer; 1 where anything was amiss."""
    asked = argparse.ArgumentParser(description="kill writers at random moments of writing")
    asked.add_argument("kills", nargs="?", type=int, default=500)
    asked.add_argument("seed", nargs="?", type=int, default=1)
    args = asked.parse_args()
    with contextlib.ExitStack() as held:
        writers: list[Writer] = [
            job_writer(),
            CertificateWriter(),
            StoreWriter("SQLite added to", lambda folder: str(folder / "records.sqlite")),
        ]
        if (found := programs()) is not None:
            server = held.enter_context(running(found))
            writers.append(StoreWriter("PostgreSQL added to", lambda _folder: server.new_database()))
        sound = True
        for writer in writers:
            count = kill(writer, args.kills, args.seed)
            sound &= count.sound
            print(
                f"{writer.name}: {count.kills} kills, {count.within_a_write} within a write, {count.kept} kept, "
                f"{count.half_written} half written, {count.lost} lost, {count.hindered} hindered "
                f"({count.seconds:.0f} s)",
                flush=True,
            )
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main())
