"""`valvelab compare`: two files, or two records by their names."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from valvelab.cli.inspecting import Inspecting, finish, part_of
from valvelab.errors import BadFile, CannotEvaluate
from valvelab.job.use import Around, Inspection, Told
from valvelab.job.uses import use
from valvelab.records.parts.compare import ComparePart
from valvelab.records.stored import NAME
from valvelab.units import System

_COMMAND = Inspecting("compare")


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    _COMMAND.configure(parser)
    parser.add_argument("--store", metavar="PLACE", help="where records that are named lie (default: the user's own)")


def run(args: argparse.Namespace) -> int:
    """Compare; a word that is no file and can be a record's name is one."""
    named = [name for name in ("file", "after") if _is_record(getattr(args, name))]
    if not named:
        return _COMMAND.run(args)
    with TemporaryDirectory(prefix="valvelab-records-") as place:
        _take_out(args, named, Path(place))
        return _compare(args, Path(place))


def _is_record(path: Path) -> bool:
    return NAME.fullmatch(str(path)) is not None and not path.exists()


def _take_out(args: argparse.Namespace, named: list[str], folder: Path) -> None:
    """Each record as a job file of its own in a folder, and the command line naming that."""
    from valvelab.job.laid_out import lay_out
    from valvelab.job.recorded import as_job_file, recorded
    from valvelab.store import open_store

    with open_store(args.store, create=False) as store:
        for name in named:
            file, data = as_job_file(recorded(store.get(str(getattr(args, name))), store.content))
            lay_out({file: data}, folder, file)
            setattr(args, name, folder / file)


def _compare(args: argparse.Namespace, folder: Path) -> int:
    """Compare what lies in a folder for the while, and speak of it by its names there."""
    from valvelab.job.laid_out import plainly

    known, part = use("compare"), part_of(ComparePart, args)

    def tables(inspection: Inspection, system: System) -> list[Told]:
        told = known.tables(inspection, system)
        return [plainly(one, folder) if isinstance(one, str) else one for one in told]

    try:
        inspection = known.inspect(part, Around())
    except BadFile as error:
        raise BadFile(
            *(plainly(text, folder) for text in (error.file, error.place, error.found, error.expected))
        ) from None
    except CannotEvaluate as error:
        raise CannotEvaluate(error.reason, plainly(str(error), folder)) from None
    return finish(replace(known, tables=tables), inspection, part, args, folder)
