"""Two measurements of one part in a job: lift tables or spring readings, or certificates that carry them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.errors import BadFile, CannotEvaluate
from valvelab.files.contents import MAX_FILE_BYTES, MAX_UNPACKED_BYTES, Contents, names_job, read_contents
from valvelab.files.job_archive import read_job_archive
from valvelab.files.lift_table import lift_table
from valvelab.files.reading import command_for
from valvelab.files.spec_file import parse_toml
from valvelab.files.spring_readings import spring_readings
from valvelab.files.table import Table, table_in
from valvelab.inspection.comparison.inspect import (
    CompareInspection,
    CompareQuestion,
    Readings,
    inspect_comparison,
)
from valvelab.job.job_file import JOB_FILE
from valvelab.job.upgrade import upgraded
from valvelab.job.use import Around, Told, Use
from valvelab.phrase import Phrase
from valvelab.records.comparison_result import READ_BY, ComparedKind, CompareResult
from valvelab.records.job import Job
from valvelab.records.parts.compare import ComparePart
from valvelab.records.result import info
from valvelab.records.wire_materials import read_wire_materials
from valvelab.tables.comparison import comparison_tables
from valvelab.units import System

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part

WANTED = "a lift table, spring readings, or a certificate or a job file that carries one"


def inspect(part: ComparePart, around: Around) -> CompareInspection:
    """The inspection that a part asks for."""
    before = tables_of(part.file, part.columns)
    after = tables_of(part.after, part.columns if part.after_columns is None else part.after_columns)
    kinds = [kind for kind in before if kind in after]
    others = [
        info("kind", Phrase("both carry {kind} too: {kinds} are compared", kind=kind, kinds=kinds[0]))
        for kind in kinds[1:]
    ]
    spec, sources = around.specs.of(part.spec)
    question = CompareQuestion(
        before[next(iter(kinds or before))],
        after[next(iter(kinds or after))],
        spec,
        str(part.spec or ""),
        master=part.master,
        materials=read_wire_materials(),
        sources=sources,
        notes=tuple(others),
    )
    try:
        return inspect_comparison(question)
    except CannotEvaluate as error:
        raise CannotEvaluate(
            error.reason, Phrase("{file}, {after}: {error}", file=part.file, after=part.after, error=error)
        ) from error


def tables_of(path: Path, columns: str | None = None) -> dict[ComparedKind, Readings]:
    """What a file holds that can be compared, by kind: one table, or those that a certificate carries."""
    found: dict[ComparedKind, Readings] = {}
    for contents, assigned in _tables_in(
        read_contents(path, MAX_UNPACKED_BYTES if names_job(path) else MAX_FILE_BYTES), columns
    ):
        kind, readings = _readings(table_in(contents, assigned or None))
        found.setdefault(kind, readings)
    if not found:
        raise BadFile(str(path), "", "no such table among the files it carries", WANTED)
    return found


Assigned = tuple[Contents, str | None]
"""A table's bytes, and the columns assigned to it."""


def _tables_in(contents: Contents, columns: str | None) -> Iterable[Assigned]:
    """The one place that knows which files carry tables instead of being one."""
    if contents.data.startswith(b"%PDF"):
        from valvelab.job.carried import job_carried, read_carried

        carried = read_carried(contents.data, contents.file)
        return _named(job_carried(carried), carried.files, contents)
    if names_job(contents):
        _, files = read_job_archive(contents)
        text = files.get(JOB_FILE, b"")
        return _named(parse_toml(text, f"{contents.file}, {JOB_FILE}", Job, prepare=upgraded), files, contents)
    return [(contents, columns)]


def _named(job: Job, files: Mapping[str, bytes], around: Contents) -> Iterator[Assigned]:
    """The tables that the parts of a job read, with their columns, each under the identity of what carries them."""
    for part in job.part:
        if part.inspect in READ_BY:
            name = part.file.as_posix()
            if name not in files:
                raise BadFile(around.file, "its files", f"no {name}", "the files that its job names")
            yield Contents(f"{around.file}, {name}", files[name], around.source), getattr(part, "columns", None)


def _readings(table: Table) -> tuple[ComparedKind, Readings]:
    """A table as what its columns say it is; one whose columns say nothing is asked for a lift table's."""
    command = command_for(table) or "lobes"
    if command not in {"lobes", "springs"}:
        raise BadFile(table.file, "", f"a table for `valvelab {command}`", WANTED)
    return ("springs", spring_readings(table)) if command == "springs" else ("lobes", lift_table(table))


def tables(inspection: CompareInspection, system: System) -> Sequence[Told]:
    """What was compared with what, and the changes of each lobe or spring."""
    question = inspection.question
    return [
        f"before: {question.before.file}\nafter:  {question.after.file}",
        comparison_tables(inspection.result, system),
    ]


def paper(inspection: CompareInspection, system: System) -> Part:
    """What changed, as a part of a certificate."""
    from valvelab.report.comparison_certificate import comparison_part

    return comparison_part(inspection, system)


USE = Use(ComparePart, CompareResult, inspect, tables, paper)
