"""What a command line would write: in a form there is, never upon what it reads, and only where there is room."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator
from pathlib import Path

from valvelab.errors import ValvelabError, WrongUsage
from valvelab.figures.endings import ENDINGS
from valvelab.files.spec_file import nominal_path, read_spec
from valvelab.job.uses import CARD_ENDINGS
from valvelab.writing import check_place, same_file

_WRITTEN = ("out", "plot", "sheet", "card", "report")
_NAMED = ("adopt",)
_FORMS = {"plot": ENDINGS, "sheet": (".pdf",), "card": CARD_ENDINGS, "report": (".pdf",)}
"""Endings of what has the same forms in every command; those of `--out` are the command's own."""


def check_outputs(args: argparse.Namespace, further: Iterable[Path] = ()) -> None:
    """Refuse, before anything is computed, an output of no known form, that is an input, or that has no place.

    Each is a file of its own. Inputs are the arguments that are paths, the nominal tables of the spec, and `further`
    ones. One file is the same under another name or through a link.
    """
    outputs = list(_outputs(args))
    if not outputs:
        return
    inputs = [*_inputs(args), *further]
    for number, (option, path) in enumerate(outputs):
        _check_form(option, path)
        for file in inputs:
            if same_file(path, file):
                raise WrongUsage(f"{option} {path}: found the input {file}, expected a file that is not read")
        if any(path.absolute() == other.absolute() or same_file(path, other) for _, other in outputs[:number]):
            raise WrongUsage(f"{option} {path}: found a file that another option writes, expected one for each")
        check_place(path)


def _check_form(option: str, path: Path) -> None:
    endings = _FORMS.get(option.removeprefix("--"), ())
    if endings and path.suffix.lower() not in endings:
        told = (", " if len(endings) > 2 else " or ").join(endings)
        raise WrongUsage(f"{option} {path}: found ending {path.suffix!r}, expected {told}")


def _outputs(args: argparse.Namespace) -> Iterator[tuple[str, Path]]:
    for name in _WRITTEN:
        path = getattr(args, name, None)
        if isinstance(path, Path):
            yield f"--{name}", path
    for name in _NAMED:
        text = getattr(args, name, None)
        if isinstance(text, str) and text.partition("=")[2].strip():
            yield f"--{name}", Path(text.partition("=")[2].strip())


def _inputs(args: argparse.Namespace) -> Iterator[Path]:
    for name, value in vars(args).items():
        values = value if isinstance(value, list | tuple) else [value]
        if name not in _WRITTEN:
            yield from (one for one in values if isinstance(one, Path))
    spec = getattr(args, "spec", None)
    if isinstance(spec, Path) and spec.is_file():
        yield from _nominals(spec)


def _nominals(spec: Path) -> list[Path]:
    try:
        envelopes = read_spec(spec).envelope
    except ValvelabError:
        return []  # the command refuses the spec in its own words
    return [nominal_path(spec, envelope, number) for number, envelope in enumerate(envelopes, start=1)]
