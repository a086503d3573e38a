"""Runs the parts of a job as their commands would, and gathers what a certificate needs from them.

A command takes part by a function `part(args) -> valvelab.report.assembly.Part` beside its `run`.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from importlib import import_module
from importlib.util import find_spec
from os.path import normpath
from pathlib import Path
from typing import Any, NoReturn

from valvelab.errors import BadFile, BadSpec, WrongUsage
from valvelab.files.contents import read_contents
from valvelab.files.spec_file import nominal_path, parse_toml, read_spec
from valvelab.inspection.spec_answers import Answer, settled
from valvelab.records.job import Job, JobPart
from valvelab.records.spec import Spec
from valvelab.report.assembly import Part, assemble
from valvelab.report.carried import carry, names_for, relative_sources
from valvelab.report.page_model import Attachment, Certificate
from valvelab.units import System

NOT_OF_THE_JOB = {"help", "out", "json", "quiet", "units", "spec", "adopt"}
ENDED_BY_THE_CLOCK = {"sets"}
"""Commands whose answer may depend on the time it took: a stated answer is checked instead of looked for again."""
MOST_PARTS, MOST_WORDS, MOST_OF_ONE = 100, 2_000, 50
MANY_OF_ONE = {"--set", "--together", "--apart"}


Stated = Mapping[str, Any]
"""A result as its JSON says it."""


class _Parser(argparse.ArgumentParser):
    """A parser that refuses as the program does instead of ending the process."""

    def error(self, message: str) -> NoReturn:
        raise WrongUsage(f"{self.prog}: {message}")


@dataclass(frozen=True, slots=True)
class Request:
    """One part to be inspected: its command and that command's parsed arguments."""

    command: str
    args: argparse.Namespace


def parser_of(command: str) -> argparse.ArgumentParser:
    """The parser of a command that takes part in certificates."""
    name = f"valvelab.cli.{command}_command"
    if not command.isidentifier() or find_spec(name) is None or not hasattr(import_module(name), "part"):
        raise BadFile("job", "[[part]] inspect", repr(command), "a command that can be certified, such as lobes")
    parser = _Parser(prog=f"job part {command}", add_help=False, allow_abbrev=False)
    import_module(name).configure(parser)
    return parser


def requests_of(job: Job, folder: Path) -> list[Request]:
    """The job's parts with their file names counted from its folder."""
    if len(job.part) > MOST_PARTS:
        raise BadFile("job", "[[part]]", f"{len(job.part)} parts", f"at most {MOST_PARTS}")
    for part in job.part:
        _check_words(part)
    return [
        request_of(part.inspect, part.file, part.spec or job.spec, part.options, job.units, folder) for part in job.part
    ]


def request_of(
    command: str, file: str, spec: str | None, options: Sequence[str], units: System, folder: Path = Path()
) -> Request:
    """A command line as a part to be inspected, its files counted from `folder`."""
    args = parser_of(command).parse_args([*((f"--spec={spec}",) if spec else ()), *options, "--", file])
    if args.out is not None:
        raise WrongUsage(f"job part {command}: --out belongs to the certificate, not to a part")
    for key, value in vars(args).items():
        if isinstance(value, Path):
            setattr(args, key, folder / value)
    args.units = units
    return Request(command, args)


def _check_words(part: JobPart) -> None:
    """A part's further words, within what a person would type."""
    counts = Counter(word.partition("=")[0] for word in part.options)
    word, most = counts.most_common(1)[0] if counts else ("", 0)
    if len(part.options) > MOST_WORDS or (most > MOST_OF_ONE and word not in MANY_OF_ONE):
        found = f"{most} times {word}" if most > MOST_OF_ONE else f"{len(part.options)} words"
        raise BadFile("job", f"[[part]] {part.inspect} options", found, f"at most {MOST_OF_ONE} of one kind")


def inputs_of(requests: Sequence[Request], within: Path | None = None) -> list[Path]:
    """Every file the parts read, each once: arguments that are paths, and the nominal tables of their specs.

    `within` refuses any file outside that folder, before anything of it is read.
    """
    found: dict[Path, None] = {}

    def add(path: Path) -> None:
        if within is not None and not Path(normpath(path.absolute())).is_relative_to(normpath(within.absolute())):
            raise BadFile("job.toml", "", f"the file {path.name!r} outside the certificate", "a carried file")
        found[path] = None

    for request in requests:
        for key, value in vars(request.args).items():
            if isinstance(value, Path) and key != "out":
                add(value)
        spec = request.args.spec
        if spec is not None:
            for number, envelope in enumerate(read_spec(spec).envelope, start=1):
                add(spec.parent / envelope.nominal)
                nominal_path(spec, envelope, number)
    return list(found)


def job_of(requests: Sequence[Request], names: Mapping[Path, str], like: Job) -> Job:
    """The job as it can be done again from the carried files alone."""
    parts = []
    for request in requests:
        positional, options = _words(request, names)
        spec = None if request.args.spec is None else names[request.args.spec]
        parts.append(JobPart(inspect=request.command, file=positional, spec=spec, options=tuple(options)))
    return Job(title=like.title, made=like.made, units=like.units, part=tuple(parts))


def _words(request: Request, names: Mapping[Path, str]) -> tuple[str, list[str]]:
    """The file and the options of a part, as typed; an option at its default is left out."""
    positional = ""
    options: list[str] = []
    for action in parser_of(request.command)._actions:  # noqa: SLF001 - argparse lists its options nowhere else
        value = getattr(request.args, action.dest, None)
        if not action.option_strings:
            positional = names[value] if isinstance(value, Path) else str(value)
            continue
        if action.dest in NOT_OF_THE_JOB or value == action.default or value is None:
            continue
        if action.nargs == 0:
            options.append(action.option_strings[-1])
            continue
        items = value if isinstance(value, list) else [value]
        shown = [names[item] if isinstance(item, Path) else item for item in items]
        options += [f"{action.option_strings[-1]}={item}" for item in shown]
    return positional, options


@dataclass(frozen=True, slots=True)
class Inspected:
    """A job done: its parts with carried names, and the files they were read from."""

    job: Job
    parts: tuple[Part, ...]
    inputs: dict[str, bytes]


def inspect_job(
    requests: Sequence[Request], like: Job, within: Path | None = None, stated: Mapping[int, Stated] | None = None
) -> Inspected:
    """Inspect every part. `within` refuses any file outside that folder, for a job that came with a certificate.

    `stated` are answers of parts, by number from 0, that are checked instead of looked for where the clock ended them.
    """
    paths = inputs_of(requests, within)
    contents = {path: read_contents(path) for path in paths}
    names = names_for(paths)
    by_digest = {contents[path].source.sha256: names[path] for path in paths}
    parts: list[Part] = []
    for number, request in enumerate(requests):
        # a shim plan of a job uses the springs of the job's own sets
        request.args.sets_of_job = tuple(part.result for part in parts if part.result.command == "sets")
        module = import_module(f"valvelab.cli.{request.command}_command")
        answer = (stated or {}).get(number) if request.command in ENDED_BY_THE_CLOCK else None
        part: Part = module.part(request.args) if answer is None else module.checked_part(request.args, answer)
        parts.append(replace(part, result=relative_sources(part.result, by_digest)))
    specs = {path: read_spec(path) for path in {request.args.spec for request in requests} if path is not None}
    results = settled([
        Answer(request.command, part.result, specs.get(request.args.spec), names.get(request.args.spec, "spec"))
        for request, part in zip(requests, parts, strict=True)
    ])  # fmt: skip
    parts = [replace(part, result=result) for part, result in zip(parts, results, strict=True)]
    inputs = {names[path]: contents[path].data for path in paths}
    return Inspected(job_of(requests, names, like), tuple(parts), inputs)


def certificate_of(done: Inspected, made: str, attachments: tuple[Attachment, ...] | None = None) -> Certificate:
    """The certificate of a job that was inspected; `attachments` stands in for what it would carry."""
    specs = {
        name: parse_toml(done.inputs[name], name, Spec, BadSpec)
        for name in dict.fromkeys(part.spec for part in done.job.part)
        if name is not None
    }
    judged = [
        part if row.spec is None else replace(part, spec=specs[row.spec])
        for part, row in zip(done.parts, done.job.part, strict=True)
    ]
    dated = done.job.model_copy(update={"made": made})
    if attachments is None:
        attachments = carry(dated, done.inputs, [part.result for part in done.parts])
    return assemble(judged, made, done.job.units, done.job.title, attachments=attachments)
