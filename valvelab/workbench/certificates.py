"""A certificate from what is on the bench: the same assembly as on the command line, carrying the same job."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.errors import BadFile
from valvelab.units import System
from valvelab.writing import write_whole

if TYPE_CHECKING:
    from valvelab.records.spec import Spec
    from valvelab.report.assembly import Part
    from valvelab.workbench.document import BenchFile


@dataclass(frozen=True, slots=True)
class CertificateRequest:
    """What a station puts on paper.

    part: the command's part of a certificate. command, file, spec_file, options: the command line that inspects it
    again. others: further files that the inspection read.
    """

    part: Part
    command: str
    file: Path
    spec_file: Path | None = None
    spec: Spec | None = None
    others: tuple[Path, ...] = ()
    options: tuple[str, ...] = ()


def request_for(
    part: Part,
    command: str,
    file: BenchFile,
    found: tuple[BenchFile, Spec] | None,
    options: tuple[str, ...] = (),
    others: tuple[Path, ...] = (),
) -> CertificateRequest:
    """A station's request: its file with its column assignment, the spec it was held against."""
    return CertificateRequest(
        part=part,
        command=command,
        file=Path(file.path),
        spec_file=None if found is None else Path(found[0].path),
        spec=None if found is None else found[1],
        others=others,
        options=(*((f"--columns={file.columns}",) if file.columns else ()), *options),
    )


def write(request: CertificateRequest, path: Path, units: System, made: str) -> None:
    """Write the PDF; `made` is the date, ISO 8601. Refuses files that changed since they were inspected."""
    from valvelab.files.contents import read_contents
    from valvelab.records.job import Job, JobPart
    from valvelab.report.assembly import assemble
    from valvelab.report.carried import carry, names_for, relative_sources
    from valvelab.report.pdf import certificate_bytes

    files = [request.file, *([request.spec_file] if request.spec_file else []), *request.others]
    names = names_for(files)
    contents = {file: read_contents(file) for file in names}
    inspected = {source.sha256 for source in request.part.result.source}
    for file, content in contents.items():
        if content.source.sha256 not in inspected:
            raise BadFile(file.name, "", "another content than was inspected", "the file as read; read it again first")
    by_digest = {contents[file].source.sha256: name for file, name in names.items()}
    part = replace(request.part, result=relative_sources(request.part.result, by_digest))
    spec_name = None if request.spec_file is None else names[request.spec_file]
    lines = (JobPart(inspect=request.command, file=names[request.file], spec=spec_name, options=request.options),)
    job = Job(units=units, made=made, part=lines)
    carried = carry(job, {names[file]: content.data for file, content in contents.items()}, [part.result])
    certificate = assemble([part], made, units, None, request.spec, carried)
    write_whole(path, certificate_bytes(certificate, units))
