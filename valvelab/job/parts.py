"""Does the parts of a job, and gathers what a certificate needs from them."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from os.path import normpath
from pathlib import Path

from valvelab.errors import BadFile, BadSpec
from valvelab.files.contents import Contents, read_contents
from valvelab.files.shop_card import files_said, read_shop_card
from valvelab.files.spec_file import nominal_path, parse_toml
from valvelab.inspection.spec_answers import Answer, settled, settled_alone
from valvelab.job.carried import carry, names_for, relative_sources
from valvelab.job.typed import Specs
from valvelab.job.use import Around, Stated, as_shown
from valvelab.job.uses import use
from valvelab.records.job import Job
from valvelab.records.particulars import Whose
from valvelab.records.spec import Spec
from valvelab.report.assembly import Part, Words, assemble
from valvelab.report.page_model import Attachment, Certificate, Letterhead, Picture

_log = logging.getLogger(__name__)


def located(job: Job, folder: Path) -> Job:
    """The job with its files where they lie, counted from `folder`, and with the job's spec in parts without one."""
    parts = (part if part.spec else part.model_copy(update={"spec": job.spec}) for part in job.part)
    lying = tuple(part.with_files(folder.__truediv__) for part in parts)
    return job.with_files(folder.__truediv__).model_copy(update={"spec": None, "part": lying})


def inputs_of(job: Job, specs: Specs, within: Path | None = None) -> list[Path]:
    """Every file that a located job reads, each once: those that it and its parts name, and what those name in turn.

    `within` refuses any file outside that folder, before anything of it is read.
    """
    found: dict[Path, None] = {}

    def add(path: Path) -> None:
        if within is not None and not Path(normpath(path.absolute())).is_relative_to(normpath(within.absolute())):
            raise BadFile("job.toml", "", f"the file {path.name!r} outside the certificate", "a carried file")
        found[path] = None

    for path in files_said(job):
        add(path)
    for part in job.part:
        for path in part.files:
            add(path)
        for path in use(part.inspect).named(part):
            add(path)
        if part.spec is not None:
            for number, envelope in enumerate(specs[part.spec][0].envelope, start=1):
                add(part.spec.parent / envelope.nominal)
                nominal_path(part.spec, envelope, number)
    return list(found)


@dataclass(frozen=True, slots=True)
class Inspected:
    """A job done: its parts with carried names, and the files they were read from.

    places: where files lie that are carried under another name.
    """

    job: Job
    parts: tuple[Part, ...]
    inputs: dict[str, bytes]
    places: tuple[str, ...]


def inspect_job(
    job: Job, within: Path | None = None, stated: Mapping[int, Stated] | None = None, specs: Specs | None = None
) -> Inspected:
    """Inspect every part of a located job.

    `within` refuses any file outside that folder, for a job that came with a certificate. `stated` are answers of
    parts, by number from 0, that are checked instead of looked for where the clock ended them. `specs`: those of the
    job, where some were read.
    """
    specs = Specs() if specs is None else specs
    paths = inputs_of(job, specs, within)
    contents = {path: read_contents(path) for path in paths}
    names = names_for(paths)
    by_digest = {contents[path].source.sha256: names[path] for path in paths}
    parts: list[Part] = []
    for number, asked in enumerate(job.part):
        around = Around(tuple(part.result for part in parts), (stated or {}).get(number), specs=specs)
        known = use(asked.inspect)
        _log.debug("inspects by %r", asked)
        inspection = known.inspect(asked, around)
        part = known.paper(as_shown(inspection, job.units), job.units)
        parts.append(replace(part, result=relative_sources(inspection.result, by_digest)))
    answers = (
        Answer(asked.inspect, part.result)
        if asked.spec is None
        else Answer(asked.inspect, part.result, specs[asked.spec][0], names[asked.spec])
        for asked, part in zip(job.part, parts, strict=True)
    )
    results = (settled_alone if job.own_limits else settled)(list(answers))
    parts = [replace(part, result=result) for part, result in zip(parts, results, strict=True)]
    inputs = {names[path]: contents[path].data for path in paths}
    carried = tuple(part.with_files(lambda path: Path(names[path])) for part in job.part)
    told = job.with_files(lambda path: Path(names[path]))
    places = tuple(str(path) for path in paths if str(path) != names[path])
    return Inspected(told.model_copy(update={"part": carried}), tuple(parts), inputs, places)


def certificate_of(done: Inspected, made: str, attachments: Sequence[Attachment] | None = None) -> Certificate:
    """The certificate of a job that was inspected; `attachments` stands in for what it would carry."""
    specs = {
        path: parse_toml(done.inputs[path.as_posix()], path.as_posix(), Spec, BadSpec)
        for path in dict.fromkeys(part.spec for part in done.job.part)
        if path is not None
    }
    judged = [
        _named(part if row.spec is None else replace(part, spec=specs[row.spec]), done.job.whose_is(row.inspect))
        for part, row in zip(done.parts, done.job.part, strict=True)
    ]
    if attachments is None:
        dated = done.job.model_copy(update={"made": made})
        attachments = carry(dated, done.inputs, [part.result for part in done.parts])
    paper = assemble(judged, made, done.job.units, _words(done), attachments=tuple(attachments))
    return replace(paper, signer=done.job.signer, replaces=done.job.replaces)


def _named(part: Part, whose: Whose) -> Part:
    """The part under the name and the number that are stated of it, where its readings say none."""
    said = {"part": whose.part, "serial number": whose.serial}
    identity = tuple((label, value or said.get(label)) for label, value in part.identity)
    return replace(part, identity=identity, serial=part.serial or whose.serial)


def _words(done: Inspected) -> Words:
    """What the job says besides its parts, its pictures as their files have them."""
    job = done.job
    pictures = tuple(
        Picture(one.file.name, done.inputs[one.file.as_posix()], one.caption or "") for one in job.photographs
    )
    return Words(
        job.title, job.customer, job.job_number, job.remarks, job.full, _letterhead(job.shop, done.inputs), pictures
    )


def _letterhead(shop: Path | None, inputs: Mapping[str, bytes]) -> Letterhead | None:
    if shop is None:
        return None
    card, _ = read_shop_card(Contents.of(shop.as_posix(), inputs[shop.as_posix()]))
    lines = (*(card.address or "").split("\n"), card.phone or "")
    mark = None if card.mark is None else inputs.get(normpath(shop.parent / card.mark).replace("\\", "/"))
    if card.mark is not None and mark is None:
        raise BadFile(shop.name, "mark", repr(str(card.mark)), "a name that a certificate can carry the picture under")
    return Letterhead(card.name, tuple(line for line in lines if line.strip()), mark)
