"""`valvelab batch`: a folder or a store inspected in parallel, one row an item."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import shows_progress
from valvelab.cli.progress import LINE
from valvelab.cli.streams import answer, say
from valvelab.errors import BadFile, CannotWrite, ClusterError, WrongUsage, utf8

if TYPE_CHECKING:
    from valvelab.batch.asked import AskedSpec
    from valvelab.batch.journal import Journal
    from valvelab.batch.lot import Gathered
    from valvelab.batch.run import Inputs, Tally
    from valvelab.batch.task import Pool
    from valvelab.batch.walk import Walk
    from valvelab.records.batch_result import BatchResult
    from valvelab.records.result import Note

SHOWN_FAILED = 40
NOTHING_READ = 3
_EPILOG = (
    "Every file is inspected by itself, as its own command would: lift tables, spring readings, shaft readings, "
    "traces, studies, and sheets that need no other file. Passed over are files of other kinds, hidden ones, job files "
    "and job.toml (the tables they name are inspected as tables), specs, and folders that are links. A spec that lies "
    "beside a table counts for nothing: --spec names the one that judges all, each limit where a file can answer it. "
    "Records of a store are inspected anew by the spec they were recorded with, unless --spec names another. Beside "
    "--out lies FILE.journal, from which --resume goes on; keep it as long as you want to."
)


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.epilog = _EPILOG
    parser.add_argument(
        "folder", nargs="?", type=Path, metavar="DIR", help="a folder; those within it are looked through"
    )
    parser.add_argument("--store", metavar="PLACE", help="instead of a folder, the records of a store: a file or a URL")
    parser.add_argument("--spec", type=Path, metavar="FILE", help="limits and envelopes to judge every file by (TOML)")
    parser.add_argument("--out", type=Path, metavar="FILE", help="write the rows, sorted by path (.csv or .parquet)")
    parser.add_argument("--report", type=Path, metavar="FILE", help="write the lot against its limits (.pdf)")
    parser.add_argument("--resume", action="store_true", help="do again only what changed since, or was not done")
    parser.add_argument("--workers", type=int, metavar="N", help="processes (default: one a processor)")
    parser.add_argument("--scheduler", metavar="ADDRESS", help="a Dask scheduler whose workers see the same files")
    parser.add_argument("--json", action="store_true", help="one JSON document on standard output")
    parser.add_argument("--units", choices=("metric", "inch"), default="metric", help="units of the report")
    parser.add_argument("--quiet", action="store_true", help="no notes and no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Inspect all of it; the exit code that the rows ask for, or that of nothing that could be read."""
    from valvelab.batch import ahead

    _check_usage(args)
    if args.scheduler is None:
        ahead.begin()  # what follows loads meanwhile
    _check_output(args)
    from valvelab.batch.asked import AskedSpec
    from valvelab.batch.journal import Journal
    from valvelab.batch.lot import Gathered
    from valvelab.batch.run import result_of
    from valvelab.batch.run import run as run_batch
    from valvelab.batch.table import write_table

    spec = AskedSpec.read(None if args.spec is None else args.spec.absolute())
    journal = None if args.out is None else Journal(args.out, f"{spec.digest} of {_place(args)}")
    lot = None if args.report is None else Gathered()
    prefix = "" if args.folder is None else f"{utf8(args.folder.as_posix()).rstrip('/')}/"
    with ExitStack() as stack:
        inputs, walk = _inputs(args, spec, journal, stack)
        pool = _pool(args, spec, stack)
        if journal is not None:
            stack.callback(journal.close)
            journal.begin(resume=args.resume)
        try:
            tally = run_batch(inputs, pool, journal, lot, _reporter(args, stack))
        except (KeyboardInterrupt, ClusterError, CannotWrite):
            if journal is not None:
                say(f"what was done is kept in {journal.path}; the same command with --resume goes on from there")
            raise
        if journal is not None:
            journal.end()
            if tally.files:
                write_table(args.out, journal.found, tally.columns, prefix)
    if walk is not None:
        tally.failed += walk.failed
        tally.passed += walk.passed.total()
    result = result_of(tally, prefix, spec, _notes(walk, journal))
    if lot is not None:
        result = _reported(args, lot, result, spec)
    return _told(args, result, tally, prefix)


def _check_usage(args: argparse.Namespace) -> None:
    from valvelab.batch.ahead import MOST_WORKERS

    if (args.folder is None) == (args.store is None):
        raise WrongUsage("batch: found neither a folder nor --store, or both, expected one of them")
    if args.folder is not None and not args.folder.is_dir():
        raise BadFile(utf8(str(args.folder)), "", "a file" if args.folder.exists() else "nothing", "a folder")
    if args.workers is not None and not 1 <= args.workers <= MOST_WORKERS:
        raise WrongUsage(f"--workers: found {args.workers}, expected 1 to {MOST_WORKERS}")
    if args.workers is not None and args.scheduler is not None:
        raise WrongUsage("--workers, --scheduler: found both, expected one; a cluster has its own workers")
    if args.resume and args.out is None:
        raise WrongUsage("--resume: found no --out, expected the output of the run that it goes on with")
    if args.report is not None and args.spec is None and args.store is None:
        raise WrongUsage("--report: found no --spec, expected the limits that the lot is held against")


def _check_output(args: argparse.Namespace) -> None:
    from valvelab.batch.table import check_ending

    if args.out is not None:
        check_ending(args.out)
        _check_not_an_input(args)


def _check_not_an_input(args: argparse.Namespace) -> None:
    """Refuse an output that would fall on a file of the folder: one that is there and no earlier run wrote."""
    from valvelab.batch.journal import journal_of

    if args.folder is None or not args.out.exists() or journal_of(args.out).exists():
        return
    if args.out.resolve().is_relative_to(args.folder.resolve()):
        raise WrongUsage(f"--out {args.out}: found a file of the folder that is inspected, expected a new name")


def _inputs(
    args: argparse.Namespace, spec: AskedSpec, journal: Journal | None, stack: ExitStack
) -> tuple[Inputs, Walk | None]:
    if args.store is not None:
        from valvelab.records.stored import short
        from valvelab.store import open_store

        store = stack.enter_context(open_store(args.store, create=False))
        return ((short(name), name) for name in store.standing()), None
    from valvelab.batch.walk import Walk

    journals = [] if journal is None else [journal.path, journal.before]
    own = [args.spec, args.out, args.report, *spec.nominals, *journals]
    walk = Walk(args.folder.absolute(), {str(path.absolute()) for path in own if path is not None})
    return walk.files(), walk


def _place(args: argparse.Namespace) -> str:
    """Where what is inspected lies, the same from wherever it is asked; without a password."""
    if args.store is None:
        return utf8(str(args.folder.absolute()))
    from valvelab.store.place import shown, url_of

    return shown(url_of(args.store))


def _pool(args: argparse.Namespace, spec: AskedSpec, stack: ExitStack) -> Pool:
    from valvelab.batch.task import Question

    file = args.store is not None and "://" not in args.store
    store = str(Path(args.store).absolute()) if file else args.store
    question = Question(None if spec.path is None else str(spec.path), spec.digest, store)
    if args.scheduler is not None:
        from valvelab.batch.cluster import Cluster

        return stack.enter_context(Cluster(args.scheduler, question))
    from valvelab.batch.workers import Workers, usable_processors

    return stack.enter_context(Workers(args.workers or usable_processors(), question))


def _reported(args: argparse.Namespace, lot: Gathered, result: BatchResult, spec: AskedSpec) -> BatchResult:
    """The result with its lot, whose report is written."""
    from valvelab.inspection.lot.inspect import inspect_lot
    from valvelab.quantities import iso_date
    from valvelab.report.lot_report import lot_report
    from valvelab.writing import write_whole

    lots = lot.lots()
    whole = result.model_copy(update={"lot": tuple(map(inspect_lot, lots))})
    write_whole(args.report, lot_report(whole, lots, iso_date(None), _place(args), spec.spec, args.units))
    return whole


def _notes(walk: Walk | None, journal: Journal | None) -> Iterator[Note]:
    from valvelab.records.result import info, warning

    if journal is not None and journal.strange:
        yield warning("resume", f"{journal.path}: of another folder, spec or version; everything was done again")

    if walk is not None and walk.passed:
        kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(walk.passed.items()))
        yield info("passed over", f"without a look inside: {kinds}")


def _reporter(args: argparse.Namespace, stack: ExitStack) -> Callable[[Tally], None]:
    """Progress, as long as the stack lasts, where there is somebody to see it."""
    if not shows_progress(args):
        return lambda _tally: None
    stack.enter_context(LINE.about("batch"))

    def report(tally: Tally) -> None:
        failed = f", {len(tally.failed)} failed" if tally.failed else ""
        LINE.say(f"{tally.done} files, {tally.rows} rows{failed}")

    return report


def _told(args: argparse.Namespace, result: BatchResult, tally: Tally, prefix: str) -> int:
    """Answer, and the exit code: that of the decisions, unless nothing could be read."""
    from valvelab.cli.output import tell_notes

    answer(result.model_dump_json(indent=1) if args.json else _text(args, result, tally, prefix))
    tell_notes(result.notes, args)
    if not result.files:
        say(f"valvelab: {_place(args)}: found nothing that could be inspected, expected one table of a known kind")
        return NOTHING_READ
    return 1 if result.decisions.reject else 4 if result.decisions.undecided else 0


def _text(args: argparse.Namespace, result: BatchResult, tally: Tally, prefix: str) -> str:
    """What was not accepted and what failed, as far as a reader can take it in, and the summary."""
    from valvelab.cli.output import look_of, page
    from valvelab.tables.description import Mark, Table
    from valvelab.tables.lot import lot_tables
    from valvelab.tables.verdicts import RANKED

    worst = [
        (prefix + file, item, Mark(decision)) for decision in RANKED for file, item in tally.worst.get(decision, ())
    ]
    failed = [(row.file, row.reason) for row in result.failed[:SHOWN_FAILED]]
    rejected, undecided = (getattr(result.decisions, name) for name in ("reject", "undecided"))
    return page(
        Table(("file", "item", "verdict"), tuple(worst), left=3, title="Not accepted"),
        _and_more(rejected + undecided - len(worst), "rows"),
        Table(("file", "why"), tuple(failed), left=2, title="Failed"),
        _and_more(len(result.failed) - len(failed), "files; --json names them all"),
        lot_tables(result.lot, args.units),
        _summary(args, result),
        look=look_of(args),
    )


def _and_more(count: int, what: str) -> str:
    return f"and {count} more {what}" if count else ""


def _summary(args: argparse.Namespace, result: BatchResult) -> str:
    from valvelab.tables.verdicts import RANKED, WORDS

    counts = [f"{getattr(result.decisions, decision)} {WORDS[decision]}" for decision in reversed(RANKED)]
    done = f" ({result.unchanged} unchanged)" if result.unchanged else ""
    to = "" if args.out is None or not result.files else f"; rows in {args.out}"
    over = f", {result.passed_over} passed over" if result.passed_over else ""
    return (
        f"{result.rows} rows of {result.files} files{done}: {', '.join(counts)}; {len(result.failed)} failed{over}{to}"
    )
