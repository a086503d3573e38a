"""`valvelab records`: inspections kept for years, added and never altered."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from valvelab.cli.output import Look, look_of, page, tell_notes, told, verdict_text
from valvelab.cli.plots import write_plot
from valvelab.cli.streams import answer
from valvelab.errors import StoreError, WrongUsage
from valvelab.quantities import iso_date
from valvelab.records.records_result import (
    HistoryRow,
    RecordsAddResult,
    RecordsCheckResult,
    RecordsExportResult,
    RecordsFilesResult,
    RecordsGrantResult,
    RecordsHistoryResult,
    RecordsListResult,
    RecordsResult,
    RecordsShowResult,
)
from valvelab.records.result import Decision, exit_code, info, verdicts_in, warning
from valvelab.records.stored import FileRole, StoredRecord, short
from valvelab.store import Filter, Store, open_store
from valvelab.tables.records import files_table, history_tables, record_table, records_table, remarks
from valvelab.tables.verdicts import WORDS
from valvelab.writing import check_new_folder, same_file

SHOWN = 50
NOT_SOUND = 1
"""Exit code of a store that is not as it was recorded."""
SOUND = "sound: every record and every byte is as recorded"
_BY_WORD: dict[str, Decision] = {word: decision for decision, word in WORDS.items()}


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    doings = parser.add_subparsers(dest="doing", metavar="DOING", required=True)

    def doing(name: str, text: str, run: Callable[[argparse.Namespace], int]) -> argparse.ArgumentParser:
        made = doings.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
        made.set_defaults(doing=run)
        made.add_argument(
            "--store", metavar="PLACE", help="a file, or postgresql+psycopg://… (default: the user's own)"
        )
        made.add_argument("--json", action="store_true", help="one JSON document on standard output")
        made.add_argument("--quiet", action="store_true", help="no notes on standard error")
        return made

    _configure_add(doing("add", "inspect, and keep what was found with every byte it rests on", _add))
    _configure_list(doing("list", "list records, the newest first", _list))
    show = doing("show", "show one record", _show)
    show.add_argument("id", metavar="ID", help="its name, or the first signs of it")
    files = doing("files", "write the files of a record into a new folder, which certify takes as a job", _files)
    files.add_argument("id", metavar="ID", help="its name, or the first signs of it")
    files.add_argument("target", type=Path, metavar="DIR", help="a new folder")
    export = doing("export", "write the whole store as plain files with their SHA-256", _export)
    export.add_argument("target", type=Path, metavar="DIR_OR_ZIP", help="a new folder, or a file that ends in .zip")
    taken = doing("import", "take every record of an export into a store, all or none", _import)
    taken.add_argument("source", type=Path, metavar="DIR_OR_ZIP", help="what export wrote")
    doing("check", "look at every record and every byte, whether they are as recorded", _check)
    granted = doing("grant", "let a role of PostgreSQL read and add, and nothing else", _grant)
    granted.add_argument("role", metavar="ROLE", help="a role that CREATE ROLE made")
    _configure_history(doing("history", "what became of a part: wear, forces, straightness over its lives", _history))


def _configure_add(add: argparse.ArgumentParser) -> None:
    files = "readings, a job (.valvejob or TOML), a folder, or a certificate (PDF), of which is kept what it carries"
    add.add_argument("path", nargs="+", type=Path, metavar="JOB_OR_FILE", help=files)
    add.add_argument("--spec", type=Path, metavar="FILE", help="limits and envelopes to judge by (TOML)")
    add.add_argument("--part", metavar="TEXT", help="what was measured (default: as the readings say)")
    add.add_argument("--serial", metavar="TEXT", help="its serial number (default: as the readings say)")
    add.add_argument("--customer", metavar="TEXT", help="whose it is (default: as the readings say)")
    add.add_argument("--operator", metavar="TEXT", help="who measured (default: as the readings say)")
    add.add_argument("--due", metavar="YYYY-MM-DD", help="when the instrument's calibration is due")
    add.add_argument("--corrects", metavar="ID", help="the record that this one stands in for; with --reason")
    add.add_argument("--reason", metavar="TEXT", help="why it is corrected")


def _configure_list(listing: argparse.ArgumentParser) -> None:
    listing.add_argument("--serial", metavar="TEXT", help="only of this serial number")
    listing.add_argument("--part", metavar="TEXT", help="only of this part")
    listing.add_argument("--customer", metavar="TEXT", help="only of this customer")
    listing.add_argument("--since", metavar="YYYY-MM-DD", help="only measured on this day or later")
    listing.add_argument("--until", metavar="YYYY-MM-DD", help="only measured on this day or earlier")
    listing.add_argument("--verdict", choices=[*_BY_WORD], help="only with this verdict over all")
    listing.add_argument("--limit", type=int, default=SHOWN, metavar="N", help=f"at most so many ({SHOWN}; 0: all)")


def _configure_history(history: argparse.ArgumentParser) -> None:
    history.add_argument("serial", metavar="SERIAL", help="the part's serial number")
    history.add_argument("--part", metavar="TEXT", help="only of this part")
    history.add_argument("--customer", metavar="TEXT", help="only of this customer")
    history.add_argument("--item", metavar="NAME", help="only of this lobe, spring or station")
    history.add_argument(
        "--plot", type=Path, metavar="FILE", help="draw what says most of its lives (.svg, .png or .pdf)"
    )
    history.add_argument("--units", choices=("metric", "inch"), default="metric", help="units of the printed table")


def run(args: argparse.Namespace) -> int:
    """Do what was asked with the store."""
    doing: Callable[[argparse.Namespace], int] = args.doing
    return doing(args)


def _told(result: RecordsResult, args: argparse.Namespace, text: Callable[[Look], str]) -> int:
    """Answer, and the exit code that the verdicts ask for."""
    answer(result.model_dump_json(indent=1) if args.json else text(look_of(args)))
    tell_notes(result.notes, args)
    return exit_code(result.verdicts)


def _opened(args: argparse.Namespace, *, create: bool = False) -> Store:
    return open_store(args.store, create=create)


def _day(text: str | None) -> str | None:
    return None if text is None else iso_date(text)


def _add(args: argparse.Namespace) -> int:
    from valvelab.job.recording import Stated, recording, the_one_that_corrects

    if (args.corrects is None) != (args.reason is None):
        raise WrongUsage("--corrects, --reason: found one without the other, expected both")
    if args.corrects is not None and len(args.path) > 1:
        raise WrongUsage(f"--corrects: found {len(args.path)} files, expected the one that stands in for the record")
    stated = Stated(args.part, args.serial, args.customer, args.operator, _day(args.due), reason=args.reason)
    with _opened(args, create=True) as store:
        wrong = None if args.corrects is None else store.get(args.corrects)
        if wrong is not None:
            stated = replace(stated, corrects=wrong)
        found = [recording(path, stated, args.spec) for path in args.path]
        if wrong is not None:
            found = [the_one_that_corrects(found[0], wrong.inspect, args.path[0])]
        entries = [entry for one in found for entry in one.entries]
        store.add(entries)
        result = RecordsAddResult(
            store=store.place,
            records=tuple(entry.record for entry in entries),
            verdicts=tuple(verdict for entry in entries for verdict in verdicts_in(entry.result)),
            notes=tuple(note for one in found for note in one.notes),
        )
    done = f"{len(entries)} record{'s' * (len(entries) != 1)} kept in {result.store}"
    return _told(result, args, lambda look: page(records_table(result.records), done, look=look))


def _list(args: argparse.Namespace) -> int:
    if args.limit < 0:
        raise WrongUsage(f"--limit: found {args.limit}, expected 0 or above")
    asked = Filter(
        serial=args.serial,
        part=args.part,
        customer=args.customer,
        since=_day(args.since),
        until=_day(args.until),
        decision=None if args.verdict is None else _BY_WORD[args.verdict],
        limit=args.limit + 1 if args.limit else None,
    )
    with _opened(args) as store:
        found = store.find(asked)
        place = store.place
    more = bool(args.limit) and len(found) > args.limit
    records = found[: args.limit] if more else found
    notes = [info("records", f"the newest {args.limit} are listed; --limit 0 lists all")] if more else []
    result = RecordsListResult(store=place, records=records, more=more, notes=tuple(notes))
    return _told(result, args, lambda look: page(records_table(records), look=look) or "no records")


def _show(args: argparse.Namespace) -> int:
    with _opened(args) as store:
        record = store.get(args.id)
        result = json.loads(_bytes_of(store, record, "result"))
        place = store.place
    verdicts = verdicts_in(result)
    notes = tuple(warning("record", remark) for remark in remarks(record))
    shown = RecordsShowResult(store=place, record=record, result=result, notes=notes, verdicts=verdicts)

    def text(look: Look) -> str:
        judged = verdict_text(verdicts, shown, "metric", look)
        tables = page(record_table(record), look=look), judged, page(files_table(record), look=look)
        return "\n\n".join(filter(None, tables))

    return _told(shown, args, text)


def _files(args: argparse.Namespace) -> int:
    from valvelab.job.laid_out import lay_out

    with _opened(args) as store:
        record = store.get(args.id)
        check_new_folder(args.target)
        lay_out({file.name: store.content(file.sha256) for file in record.files}, args.target, short(record.id))
        result = RecordsFilesResult(store=store.place, record=record, place=str(args.target))
    return _told(result, args, lambda look: told(f"{len(record.files)} files written to {args.target}", look))


def _bytes_of(store: Store, record: StoredRecord, role: FileRole) -> bytes:
    """The record's file of a role."""
    file = record.of_role(role)
    if file is None:
        raise StoreError(store.place, f"record {short(record.id)}: found no file that is its {role}, expected one")
    return store.content(file.sha256)


def _history(args: argparse.Namespace) -> int:
    from valvelab.job.history import history

    with _opened(args) as store:
        records = store.history(args.serial, args.part, args.customer)
        if not records:
            raise StoreError(store.place, f"found no record of serial number {args.serial!r:.80}, expected one")
        found = history(records, store.content, args.item)
        place = store.place
    notes = found.notes
    if args.plot is not None:
        _plot_history(found.rows, args)
    result = RecordsHistoryResult(store=place, serial=args.serial, records=records, rows=found.rows, notes=notes)
    return _told(
        result, args, lambda look: page(history_tables(found.rows, args.units), look=look) or "nothing that is followed"
    )


def _plot_history(rows: Sequence[HistoryRow], args: argparse.Namespace) -> None:
    from valvelab.figures.history_figures import timeline_figure
    from valvelab.job.history import shown_first

    first = shown_first(rows)
    alike = [] if first is None else [row for row in rows if row.characteristic == first.characteristic]
    figure = None if first is None else timeline_figure(alike, first.item)
    if figure is None:
        raise WrongUsage(f"--plot {args.plot}: found nothing that is followed, expected a value at least")
    write_plot(figure, args.plot, args.units)


def _export(args: argparse.Namespace) -> int:
    from valvelab.store.exchange import export

    with _opened(args) as store:
        if same_file(args.target, Path(store.place)):
            raise WrongUsage(f"{args.target}: found the store itself, expected a new folder or .zip")
        written = export(store, args.target)
        result = RecordsExportResult(
            command="records export",
            store=store.place,
            place=str(args.target),
            records=written.records,
            contents=len(written.files) - 1,
        )
    return _told(result, args, lambda look: told(f"{result.records} records written to {args.target}", look))


def _import(args: argparse.Namespace) -> int:
    from valvelab.store.exchange import restore

    with _opened(args, create=True) as store:
        taken, added = restore(store, args.source)
        result = RecordsExportResult(
            command="records import",
            store=store.place,
            place=str(args.source),
            records=added,
            contents=len(taken.files) - 1,
            known=taken.records - added,
        )
    return _told(result, args, lambda look: told(f"{added} records taken, {result.known} were there already", look))


def _check(args: argparse.Namespace) -> int:
    with _opened(args) as store:
        found = store.check()
        result = RecordsCheckResult(store=store.place, sound=not found, faults=found)
    _told(result, args, lambda look: told("\n".join(found) if found else SOUND, look))
    return NOT_SOUND if found else 0


def _grant(args: argparse.Namespace) -> int:
    with _opened(args) as store:
        store.grant(args.role)
        result = RecordsGrantResult(store=store.place, role=args.role)
    return _told(result, args, lambda look: told(f"{args.role} may read and add", look))
