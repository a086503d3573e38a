"""`valvelab demo`: lays out the invented sample job, inspects all of it, writes its certificate."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from dataclasses import replace
from itertools import count
from pathlib import Path
from shlex import join, quote
from textwrap import wrap

from valvelab import places
from valvelab.cli.options import add_common
from valvelab.cli.output import IN_FULL, Look, look_of, told, verdict_text, write_out
from valvelab.cli.outputs import check_outputs
from valvelab.cli.streams import answer, say
from valvelab.errors import BadFile
from valvelab.files.reading import only_kind
from valvelab.frozen import frozen
from valvelab.job.certificates import write_inspected
from valvelab.job.job_file import JOB_FILE, read_job
from valvelab.job.parts import Inspected, inspect_job, located
from valvelab.records.demo_result import DemoPart, DemoResult
from valvelab.records.job import Job
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Decision, Result, Verdict, exit_code
from valvelab.report.assembly import Part
from valvelab.signing.keys import Signer
from valvelab.tables.verdicts import RANKED, mark_text, rank
from valvelab.units import System
from valvelab.workbench.bays import by_name, kinds
from valvelab.writing import make_folder, write_whole

FOLDER = Path("valvelab-demo")
CERTIFICATE = "certificate.pdf"
FURTHER_JOBS = "_job.toml"
WIDTH, INDENT = 100, "  "
ON_PURPOSE = (
    "Bad parts are among the samples on purpose, one worn lobe first of all: exit code 1 reports their rejection."
)


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument(
        "folder",
        type=Path,
        nargs="?",
        default=FOLDER,
        metavar="DIR",
        help=f"where the job is laid out (default: {FOLDER}; a numbered one beside it where files there differ)",
    )
    parser.add_argument("--no-window", action="store_true", help="don't open the window afterwards")
    parser.epilog = (
        "The parts are invented, and some are bad on purpose: exit code 1 reports their rejection. The window opens "
        "where there is a display; never with --json."
    )
    add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Lay out, inspect, certify, tell, and open the window."""
    samples = _samples()
    folder = _fresh(args.folder, samples)
    if folder != args.folder and not args.quiet:
        say(f"info: {args.folder}: files there differ from the samples and stay; laid out in {folder}")
    check_outputs(args, [folder / name for name in samples])
    for name, content in samples.items():
        write_whole(folder / name, content)
    done = _done(folder, samples, args)
    result = _certified(done, folder, tuple(samples), args.signer)
    if args.out is not None:
        write_out(
            result, args.out, lambda: _text(result, done, IN_FULL), lambda path: _copy(folder / CERTIFICATE, path)
        )
    if args.json:
        answer(result.model_dump_json(indent=1))
    else:
        answer(_text(result, done, look_of(args)))
        if args.open_window is not None and not args.no_window:
            args.open_window(_for_window(done[0]))
    return exit_code(result.verdicts)


def _copy(file: Path, path: Path) -> None:
    write_whole(path, file.read_bytes())


@frozen
class _Done:
    """One job of the demo, inspected; `job` names its files as they lie in the folder, `located` where they are."""

    job: Job
    located: Job
    inspected: Inspected


def _samples() -> dict[str, bytes]:
    """Every sample file by its name."""
    found = sorted(places.sample_profiles().iterdir())
    return {path.name: path.read_bytes() for path in found if path.is_file() and not path.name.startswith(".")}


def _fresh(wanted: Path, samples: dict[str, bytes]) -> Path:
    """The first of DIR, DIR-2, DIR-3 … where nothing that a person changed would be overwritten; made if missing."""
    for number in count(1):
        folder = wanted if number == 1 else wanted.with_name(f"{wanted.name}-{number}")
        if folder.exists() and not folder.is_dir():
            raise BadFile(str(folder), "", "a file", "a folder, or a name that is free")
        if not _would_overwrite(folder, samples):
            make_folder(folder)
            return folder
    raise AssertionError


def _would_overwrite(folder: Path, samples: dict[str, bytes]) -> bool:
    there = [name for name in samples if (folder / name).exists()]
    if any(not (folder / name).is_file() or (folder / name).read_bytes() != samples[name] for name in there):
        return True
    # a certificate among untouched samples came from an earlier demo; any other is somebody's
    return (folder / CERTIFICATE).exists() and len(there) < len(samples)


def _done(folder: Path, samples: Iterable[str], args: argparse.Namespace) -> list[_Done]:
    """Every sample job inspected, the one that gets the certificate first."""
    done: list[_Done] = []
    for path in [folder / JOB_FILE, *_further(folder, samples)]:
        job, _ = read_job(path)
        if args.units != "auto":
            job = job.model_copy(update={"units": args.units})
        if args.spec is not None and not done:
            job = _judged_by(job, args.spec)
        if sys.stderr.isatty() and not args.quiet:
            say(f"inspecting {path}: {', '.join(dict.fromkeys(part.inspect for part in job.part))} …")
        there = located(job, folder)
        done.append(_Done(job, there, inspect_job(there)))
    return done


def _judged_by(job: Job, spec: Path) -> Job:
    """The job with another spec for its lift tables."""
    parts = (
        part.model_copy(update={"spec": spec.absolute()}) if part.inspect == "lobes" else part for part in job.part
    )
    return job.model_copy(update={"part": tuple(parts)})


def _certified(done: list[_Done], folder: Path, files: tuple[str, ...], signer: Signer | None) -> DemoResult:
    """Write the certificate of the first job, and gather the result of all."""
    first = done[0]
    certified = write_inspected(first.inspected, first.job, folder / CERTIFICATE, signer)
    parts = [
        (_part(part, one.job, found.result), found.result)
        for one in done
        for part, found in zip(one.job.part, one.inspected.parts, strict=True)
    ]
    sources = {source.sha256: source for _, result in parts for source in result.source}
    return DemoResult(
        source=tuple(sources.values()),
        notes=tuple(dict.fromkeys(note for _, result in parts for note in result.notes)),
        verdicts=tuple(verdict for part, _ in parts for verdict in part.verdicts),
        folder=str(folder),
        files=files,
        parts=tuple(part for part, _ in parts),
        certificate=certified.certificate,
        number=certified.number,
        made=certified.made,
        sha256=certified.sha256,
    )


def _part(part: JobPart, job: Job, result: Result) -> DemoPart:
    spec = part.spec or job.spec
    return DemoPart(
        inspect=part.inspect, file=str(part.file), spec=str(spec) if spec else None, verdicts=result.verdicts
    )


def _for_window(first: _Done) -> list[str]:
    """Files of the first job that the window has a bay for, each reading before the spec it is judged by."""
    paths: dict[str, None] = {}
    for part in first.located.part:
        bay = by_name(part.inspect)
        known = bay.takes if bay else [reader.name for reader in kinds()]
        paths.update(dict.fromkeys(str(path) for path in part.files if only_kind(path) in known))
    return list(paths)


def _text(result: DemoResult, done: list[_Done], look: Look) -> str:
    """What a person reads: every verdict by item, those not accepted in full, where things are, what to try next."""
    parts = iter(result.parts)
    blocks = [told(f"An invented sample job, nobody's engine; its files are in {result.folder}.", look)]
    blocks += [_part_text(next(parts), found, one.job.units, look) for one in done for found in one.inspected.parts]
    return "\n\n".join([*blocks, _closing(result, done, exit_code(result.verdicts))])


def _part_text(part: DemoPart, found: Part, system: System, look: Look) -> str:
    tally = {decision: sum(row.decision == decision for row in part.verdicts) for decision in RANKED}
    counts = f"{tally['accept']} accepted, {tally['undecided']} undecided, {tally['reject']} rejected"
    lines = [told(f"{found.name}: {part.file}: {counts if part.verdicts else 'no limits apply'}", look)]
    lines += [f"{INDENT}{line}" for line in _by_item(part.verdicts, look)]
    open_rows = [row for row in part.verdicts if row.decision != "accept"]
    if open_rows:
        inner = replace(look, screen=look.screen and look.screen.within(INDENT))
        lines += ["", *(INDENT + line for line in verdict_text(open_rows, found.result, system, inner).splitlines())]
    return "\n".join(lines)


def _by_item(verdicts: tuple[Verdict, ...], look: Look) -> list[str]:
    """A line for every item with something not accepted, worst first, and one for all others."""
    worst: dict[str, int] = {}
    reasons: dict[str, list[str]] = {}
    for row in verdicts:
        worst[row.item] = min(rank(row.decision), worst.get(row.item, len(RANKED)))
        if row.decision != "accept":
            reasons.setdefault(row.item, []).append(row.characteristic)
    rows: list[tuple[Decision, str]] = [
        (RANKED[place], f"{item}: {', '.join(dict.fromkeys(reasons[item]))}")
        for item, place in sorted(worst.items(), key=lambda entry: entry[1])
        if item in reasons
    ]
    accepted = ", ".join(item for item in worst if item not in reasons)
    screen = look.screen
    room = sys.maxsize if screen is None else screen.within(INDENT).width
    lines: list[str] = []
    for decision, text, most in [*((*row, sys.maxsize) for row in rows), ("accept", accepted, WIDTH)]:
        mark = f"{mark_text(decision):<13}"
        pieces = wrap(text, min(room, most), initial_indent=mark, subsequent_indent=" " * len(mark))
        lines += pieces if screen is None else [screen.paint(piece, decision) for piece in pieces]
    return lines


def _closing(result: DemoResult, done: list[_Done], code: int) -> str:
    folder, part = Path(result.folder), done[0].job.part[0]
    judged = ["--spec", str(folder / part.spec)] if part.spec else []
    commands = [["lobes", str(folder / part.file), *judged, "--at", "0.050 in"]]
    commands += [
        ["certify", str(path), "--out", str(path.with_suffix(".pdf"))] for path in _further(folder, result.files)
    ]
    commands += [["verify", result.certificate], ["lobes", "YOUR_LIFT_TABLE.csv"]]
    return "\n".join([
        *([ON_PURPOSE] if code == 1 else []),
        f"Certificate {result.number}: {result.certificate}",
        "",
        "Next, for example:",
        *(f"  {_program()} {join(words)}" for words in commands),
    ])  # fmt: skip


def _further(folder: Path, names: Iterable[str]) -> list[Path]:
    """Job files among the samples besides the one that gets the certificate."""
    return [folder / name for name in names if name.endswith(FURTHER_JOBS)]


def _program() -> str:
    """How this program was called, to be typed again."""
    called = Path(sys.argv[0])
    if called.is_dir():
        near = called.resolve().is_relative_to(Path.cwd())
        return f"python3 {quote(str(called.resolve().relative_to(Path.cwd()) if near else called))}"
    return "python3 -m valvelab" if called.name == "__main__.py" else "valvelab"
