"""One file or record of a batch, inspected in whatever process does it: rows, verdicts, or why there are none."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from valvelab.batch.asked import specs_of
from valvelab.batch.task import Answer, Found, Question, Sources, Task
from valvelab.batch.walk import SURE_ENDINGS
from valvelab.errors import BadFile, ValvelabError, one_line, utf8
from valvelab.files.contents import Contents, decode, is_zip, read_contents
from valvelab.files.kinds import READERS, reader_of
from valvelab.files.reading import head_of
from valvelab.files.table import table_in
from valvelab.files.text_opening import open_text, read_header
from valvelab.inspection.characteristics import of_unit
from valvelab.inspection.judging import NOT_HERE
from valvelab.job.carried import within
from valvelab.job.job_file import JOB_FILE
from valvelab.job.laid_out import lay_out, without
from valvelab.job.parts import inputs_of, located
from valvelab.job.typed import Specs
from valvelab.job.upgrade import read_job_file
from valvelab.job.use import Around
from valvelab.job.uses import use
from valvelab.quantities import iso_date
from valvelab.records.parts.kinds import part_kind
from valvelab.records.parts.part import JobPart
from valvelab.records.parts.springs import ShimsPart
from valvelab.records.result import Result, Verdict
from valvelab.tables.item_rows import DECISION, Value, named_rows
from valvelab.tables.verdicts import worst_by_item

WHOLE = "whole"
"""What a row is called that is about no item."""
_FAULT = "a fault of the program, no verdict"


def answer_to(question: Question, task: Task) -> Answer:
    """What an inspection of a task gives. Never raises: whatever is wrong with a file is the answer."""
    try:
        if task.known is not None and all(_still(path, digest) for path, digest in task.known):
            return Answer("unchanged")
        return _of_record(question, task) if question.store else _of_file(question, task)
    except ValvelabError as error:
        return Answer("failed", reason=_without_name(str(error), task.path))
    except MemoryError:
        return Answer("failed", reason="found more work than the memory of this machine holds, expected a smaller file")
    except Exception as error:  # noqa: BLE001 - a fault costs the file that shows it
        return Answer("failed", reason=f"{_FAULT} ({type(error).__name__}: {one_line(str(error))[:200]})")


def _without_name(sentence: str, path: str) -> str:
    """A refusal that stands beside the file's name."""
    return utf8(sentence.removeprefix(f"{path}: ").removeprefix(f"{path}, "))


def _still(path: str, digest: str) -> bool:
    """Whether a file is as it was."""
    try:
        return read_contents(Path(path)).source.sha256 == digest
    except ValvelabError:
        return False


# -- a file -----------------------------------------------------------------------------------------------------------


def _of_file(question: Question, task: Task) -> Answer:
    path = Path(task.path)
    contents = read_contents(path)
    command = _command_for(contents, path.suffix.lower())
    if command is None:
        return Answer("passed over")
    kind = part_kind(command)
    spec = None if question.spec is None else Path(question.spec)
    part = kind.model_validate({"file": path, "spec": spec})
    result = use(command).inspect(part, Around(specs=specs_of(question))).result
    digest = contents.source.sha256
    others = ((source.file, source.sha256) for source in result.source if source.sha256 != digest)
    date = _date_of(contents, path.suffix.lower())
    return Answer("found", _found(task.name, result, digest, ((task.path, digest), *others), date))


def _command_for(contents: Contents, ending: str) -> str | None:
    """The command that inspects a file by itself; None for what is passed over. Refuses what should be a table."""
    head = head_of(contents)
    certain = [reader.name for reader in READERS if reader.recognise(head) == "yes"]
    if len(certain) == 1:
        reader = reader_of(certain[0])
        return reader.command if reader is not None and reader.alone else None
    expected = "a table of one kind, with named columns"
    if certain:
        raise BadFile(contents.file, "", " and ".join(certain), expected)
    if ending == ".toml" and head.keys is None:
        _refuse_toml(contents)
    if ending not in SURE_ENDINGS or (head.is_table and head.columns is not None):
        return None
    if not is_zip(contents.data) and ending != ".xlsx":
        read_header(contents)
        raise BadFile(contents.file, "", "columns without names", expected)
    raise BadFile(contents.file, "", "no workbook that can be read", expected)


def _refuse_toml(contents: Contents) -> None:
    try:
        tomllib.loads(decode(contents.file, contents.data)[0])
    except (ValueError, RecursionError) as error:
        raise BadFile(
            contents.file, "", f"no TOML ({one_line(str(error))[:120]})", "a sheet that can be read"
        ) from None


def _date_of(contents: Contents, ending: str) -> str | None:
    """The day on which a file says it was measured, ISO 8601; None where it says none, or none that is a date."""
    try:
        if ending == ".toml":
            stated: Any = tomllib.loads(decode(contents.file, contents.data)[0]).get("date")
        elif is_zip(contents.data):
            stated = table_in(contents).preamble.get("date")
        else:
            entry = open_text(contents).preamble.get("date")
            stated = None if entry is None else entry.value
        return None if stated is None else iso_date(str(stated).strip())
    except (ValvelabError, ValueError):
        return None


# -- a record ---------------------------------------------------------------------------------------------------------


def _of_record(question: Question, task: Task) -> Answer:
    """The readings of a record inspected anew, by the spec of the question, else by the record's own."""
    from valvelab.store import open_store

    with open_store(question.store, create=False) as store:
        record = store.get(task.path)
        kept = [file for file in record.files if file.role not in {"result", "certificate"}]
        files = {file.name: store.content(file.sha256) for file in kept}
    with TemporaryDirectory(prefix="valvelab-batch-") as place, without(Path(place), task.name):
        folder = Path(place)
        lay_out(files, folder, task.name)
        job = located(read_job_file(folder / JOB_FILE), folder)
        inputs_of(job, Specs(), within=folder)
        spec = {} if question.spec is None else {"spec": Path(question.spec)}
        parts = [part.model_copy(update=spec) for part in job.part[: record.job_part + 1]]
        result = _last_of(parts, Specs(specs_of(question)))
        readings = parts[-1].file
        shown = f"{task.name}/{readings.relative_to(folder).as_posix()}"
        digest = sha256(readings.read_bytes()).hexdigest()
        return Answer("found", _found(shown, within(result, folder), digest, (), record.date))


def _last_of(parts: Sequence[JobPart], specs: Specs) -> Result:
    """The last part inspected; a shim plan is told the sets before it."""
    *before, last = parts
    around = Around(specs=specs)
    if isinstance(last, ShimsPart):
        for part in before:
            result: Result = use(part.inspect).inspect(part, around).result
            around = replace(around, earlier=(*around.earlier, result))
    asked: Result = use(last.inspect).inspect(last, around).result
    return asked


# -- what was found ---------------------------------------------------------------------------------------------------


def _found(name: str, result: Result, digest: str, sources: Sources, date: str | None) -> Found:
    rows = list(_rows(result))
    dated = {str(row["item"]): str(day) for row in rows if (day := row.get("date"))}
    verdicts = [
        {**verdict.model_dump(exclude={"clause"}), "date": dated.get(verdict.item, date)} for verdict in result.verdicts
    ]
    warnings = [
        f"{note.about}: {note.text}" for note in result.notes if note.level == "warning" and note.about != NOT_HERE
    ]
    return Found(name, digest, sources, tuple(rows), tuple(verdicts), tuple(warnings))


def _rows(result: Result) -> Iterator[Mapping[str, Value]]:
    """A row an item, `item` first; then one for whatever else was judged, such as the shaft or a cylinder."""
    told: set[str] = set()
    for name, cells in named_rows(result):
        first = next(iter(cells), "")
        told.add(name)
        yield {"item": name or WHOLE, **{head: value for head, value in cells.items() if not name or head != first}}
    worst = worst_by_item(result.verdicts)
    if "" in told:  # a document that is one item is judged under a name of its own
        return
    for item in dict.fromkeys(verdict.item for verdict in result.verdicts if verdict.item not in told):
        own = [verdict for verdict in result.verdicts if verdict.item == item]
        yield {"item": item, **{_head(verdict): verdict.measured for verdict in own}, DECISION: worst[item]}


def _head(verdict: Verdict) -> str:
    """What a judged characteristic is called as a column."""
    row = of_unit(verdict.characteristic, verdict.unit)
    key = verdict.characteristic if row is None else row.key
    return key if verdict.at_mm is None else f"{key}@{verdict.at_mm:g}mm"
