"""Spoiled files for every reader and inspection: each must end in a verdict or one sentence, soon.

`python tests/hard_use/fuzz.py [INPUTS] [SEED] [--keep FOLDER]`: so many inputs (1,000) are made from the samples by
seeded mutation, of bytes, of signs and numbers, of lines, and of the parts of zip containers, and each is put
through its command in this process's children, two at a time. A fault is an exception that nobody foresaw, an unknown
exit code, no sentence where there is no verdict, or more than LONGEST seconds of CPU. Faults are told with the seed
that makes the input again, and kept in a folder. Exit code 1 where there is one.
"""

from __future__ import annotations

import argparse
import io
import os
import random
import re
import signal
import sys
import tempfile
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_profiles"
LONGEST = 30
VERDICTS, REFUSALS = {0, 1, 4}, {2, 3}

TOKENS = (
    b"", b"nan", b"inf", b"-inf", b"1e999", b"-1e-320", b"0", b"-0.0", b"1e308", b"0x1F", b"1_000", b"--3", b"1.2.3",
    b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\x85", b'"', b"'", b";", b",", b"\t", b"#", b"[", b"]]", b"=", b"{", b"\r",
    "µm".encode(), "°".encode("latin-1"), "ﬁ".encode(), b"[in]", b"[mm]", b"[crank deg]", b"min", b"1I", b"../../x",
    b"99999999999999999999999", b"1/0", b"true", b"2026-02-30", b"1,5", b"\n\n", b"%s%n",
)  # fmt: skip
NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")


@dataclass(frozen=True)
class Case:
    """A sample that is spoiled, and the command it is put through; {file} is where it then lies."""

    sample: str
    words: tuple[str, ...]


def _with(command: str, sample: str, *more: str) -> Case:
    return Case(sample, (command, "{file}", *more))


SPRINGS = ("--spec", "springs_quillmere_spec.toml")
CASES = (
    _with("lobes", "quillmere_four_camshaft.csv", "--spec", "quillmere_four_camshaft.toml"),
    _with("lobes", "lake_v8_camshaft.csv"),
    Case("lake_v8_camshaft.toml", ("lobes", "lake_v8_camshaft.csv", "--spec", "{file}")),
    _with("shaft", "club_four_journals.csv", "--spec", "club_four_shaft_spec.toml"),
    Case("club_four_shaft_spec.toml", ("shaft", "club_four_journals.csv", "--spec", "{file}")),
    _with("texture", "club_four_lobe_3I_trace.csv"),
    _with("texture", "hydroplane_journal_trace.smd"),
    _with("texture", "trace.x3p"),
    _with("gauge", "dial_gauge_study.csv"),
    _with("phasing", "quillmere_four_degree_wheel.toml", "--spec", "quillmere_four_engine.toml"),
    Case("quillmere_four_engine.toml", ("phasing", "quillmere_four_degree_wheel.toml", "--spec", "{file}")),
    Case(
        "quillmere_four_train.toml",
        ("motion", "quillmere_four_camshaft.csv", "--train", "{file}", "--no-dynamics"),
    ),
    _with("springs", "springs_quillmere_tray.csv", *SPRINGS),
    Case("springs_quillmere_spec.toml", ("springs", "springs_quillmere_tray.csv", "--spec", "{file}")),
    Case("springs_quillmere_heights.csv", ("shims", "springs_quillmere_tray.csv", "--heights", "{file}")),
    Case("quillmere_four_after_a_season.csv", ("compare", "quillmere_four_camshaft.csv", "{file}")),
    _with("liftcheck", "quillmere_spring_meeting.toml"),
    Case("quillmere_dial_card.toml", ("lobes", "quillmere_four_camshaft.csv", "--instrument", "{file}")),
    _with("lash", "lake_tender_lash.csv"),
    _with("certify", "quillmere_meeting_job.toml"),
    _with("certify", "job.valvejob"),
    _with("verify", "certificate.pdf"),
)


def spoil(data: bytes, chance: random.Random) -> bytes:
    """A few changes to bytes, drawn by `chance`."""
    if data[:2] == b"PK" and chance.random() < 0.8:
        return _spoiled_container(data, chance)
    for _ in range(chance.choice((1, 1, 1, 2, 3, 8))):
        data = chance.choice(CHANGES)(data, chance)
    return data


def _spoiled_container(data: bytes, chance: random.Random) -> bytes:
    """A zip container with one part spoiled, left out, or under another name."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = chance.choice(sorted(parts))
    kind = chance.random()
    if kind < 0.7:
        parts[name] = spoil(parts[name], chance)
    elif kind < 0.85:
        del parts[name]
    else:
        parts[chance.choice(("../out.csv", " ", "a" * 300, name.upper(), "\u202e.csv"))] = parts.pop(name)
    out = io.BytesIO()
    with zipfile.ZipFile(
        out, "w", chance.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_LZMA))
    ) as archive:
        for part, content in parts.items():
            archive.writestr(part, content)
    return out.getvalue()


def _place(data: bytes, chance: random.Random) -> int:
    return chance.randrange(len(data) + 1)


def _insert(data: bytes, chance: random.Random) -> bytes:
    at = _place(data, chance)
    return data[:at] + chance.choice(TOKENS) + data[at:]


def _flip(data: bytes, chance: random.Random) -> bytes:
    if not data:
        return data
    at = chance.randrange(len(data))
    return data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]


def _cut(data: bytes, chance: random.Random) -> bytes:
    first, last = sorted((_place(data, chance), _place(data, chance)))
    return (
        data[:first] + data[last:] if chance.random() < 0.3 else data[:first] + data[first + chance.randrange(1, 9) :]
    )


def _truncate(data: bytes, chance: random.Random) -> bytes:
    return data[: _place(data, chance)]


def _number(data: bytes, chance: random.Random) -> bytes:
    found = list(NUMBER.finditer(data))
    if not found:
        return _insert(data, chance)
    one = chance.choice(found)
    value = chance.choice((*TOKENS, b"-" + one[0], one[0] + b"0", one[0] * 3, one[0].replace(b".", b",")))
    return data[: one.start()] + value + data[one.end() :]


def _lines(data: bytes, chance: random.Random) -> bytes:
    lines = data.splitlines(keepends=True)
    if len(lines) < 2:
        return _insert(data, chance)
    at, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    kind = chance.randrange(5)
    if kind == 0:
        del lines[at]
    elif kind == 1:
        lines.insert(other, lines[at])
    elif kind == 2:
        lines[at], lines[other] = lines[other], lines[at]
    elif kind == 3:
        lines[at] = lines[at] * chance.choice((2, 50))
    else:
        del lines[min(at, other) : max(at, other)]
    return b"".join(lines)


def _everywhere(data: bytes, chance: random.Random) -> bytes:
    old, new = chance.choice(
        ((b",", b";"), (b".", b","), (b"\n", b"\r"), (b"=", b":"), (b'"', b""), (b"mm", b"in"), (b"0", b""))
    )
    return data.replace(old, new)


CHANGES: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    _insert, _insert, _flip, _flip, _cut, _truncate, _number, _number, _number, _number, _lines, _lines, _everywhere,
)  # fmt: skip


def made_samples(folder: Path) -> None:
    """Inputs that no sample file is: a job with its files, a certificate, an open surface file."""
    from test_surface_files import Container

    from valvelab.cli.main import main

    with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
        main(["liftcheck", str(SAMPLES / "quillmere_spring_meeting.toml"), "--out", str(folder / "certificate.pdf")])
    Container().write(folder / "trace.x3p")
    with zipfile.ZipFile(folder / "job.valvejob", "w") as archive:
        archive.writestr("job.toml", (SAMPLES / "quillmere_meeting_job.toml").read_bytes())


class _TooLong(Exception):
    """The time for one input is over."""


def _over(_signal: int, _frame: FrameType | None) -> None:
    raise _TooLong


def judge(case: Case, seed: int, made: Path, place: Path) -> tuple[str, bytes]:
    """What went wrong with one input, empty where nothing did, and the input."""
    from valvelab.cli.main import main

    chance = random.Random(seed)  # noqa: S311 - mutations, no secrets
    source = SAMPLES / case.sample
    data = spoil((source if source.exists() else made / case.sample).read_bytes(), chance)
    path = place / f"{seed}{Path(case.sample).suffix}"
    path.write_bytes(data)
    words = [str(SAMPLES / word) if (SAMPLES / word).is_file() else word for word in case.words]
    words = [str(path) if word == "{file}" else word for word in words]
    if case.words[0] == "certify":
        words += ["--out", str(place / f"{seed}.pdf")]
    out, err = io.StringIO(), io.StringIO()
    signal.signal(signal.SIGPROF, _over)
    signal.setitimer(signal.ITIMER_PROF, LONGEST)
    try:
        with redirect_stdout(out), redirect_stderr(err):
            code = main(words)
    except SystemExit as error:
        code = error.code if isinstance(error.code, int) else 2
    except BaseException as error:  # noqa: BLE001 - whatever comes out of the command is what is looked for
        return f"{type(error).__name__} came out of the command: {error}"[:300], data
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        path.unlink(missing_ok=True)
        (place / f"{seed}.pdf").unlink(missing_ok=True)
    said = err.getvalue()
    if "_TooLong" in said:
        return f"took more than {LONGEST} s of CPU", data
    if "a fault of the program" in said:
        return next(line for line in said.splitlines() if "a fault of the program" in line)[:300], data
    if code not in VERDICTS | REFUSALS:
        return f"exit code {code}", data
    if code in REFUSALS and not said.strip():
        return f"exit code {code} without a sentence", data
    return "", data


def some(numbers: range, made: str, keep: str) -> tuple[int, Counter[str], list[str]]:
    """Judge some inputs; how many, by case how many, and the faults."""
    sys.path.insert(0, str(ROOT / "tests"))
    faults: list[str] = []
    counted: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as place:
        for seed in numbers:
            case = CASES[seed % len(CASES)]
            fault, data = judge(case, seed, Path(made), Path(place))
            counted[case.sample] += 1
            if fault:
                faults.append(f"seed {seed}, {' '.join(case.words)} ({case.sample}): {fault}")
                Path(keep, f"{seed}{Path(case.sample).suffix}").write_bytes(data)
    return len(numbers), counted, faults


def run(inputs: int, seed: int, keep: Path, workers: int = 2) -> Iterator[tuple[int, list[str]]]:
    """So many inputs, told piece by piece: how many were judged, and the faults among them."""
    sys.path.insert(0, str(ROOT / "tests"))
    keep.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as made:
        made_samples(Path(made))
        pieces = [range(at, min(at + 200, seed + inputs)) for at in range(seed, seed + inputs, 200)]
        if workers == 1:
            for piece in pieces:
                done, _, faults = some(piece, made, str(keep))
                yield done, faults
            return
        with ProcessPoolExecutor(workers) as pool:
            for done, _, faults in pool.map(some, pieces, [made] * len(pieces), [str(keep)] * len(pieces)):
                yield done, faults


def main() -> None:
    """Fuzz, and say what was found."""
    parser = argparse.ArgumentParser(description="spoiled files through every reader and inspection")
    parser.add_argument("inputs", type=int, nargs="?", default=1000)
    parser.add_argument("seed", type=int, nargs="?", default=0)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "valvelab_faults")
    asked = parser.parse_args()
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    total = bad = 0
    for done, faults in run(asked.inputs, asked.seed, asked.keep):
        total, bad = total + done, bad + len(faults)
        for fault in faults:
            print(fault, flush=True)
        print(f"{total} of {asked.inputs} inputs, {bad} faults", flush=True)
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
