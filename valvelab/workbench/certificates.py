"""What a bay of the window puts on paper: the command line that inspects it again, and what it showed."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from valvelab.errors import BadFile, CannotEvaluate, Reason

if TYPE_CHECKING:
    from valvelab.records.result import Result
    from valvelab.records.spec import Spec
    from valvelab.workbench.document import BenchFile

NOT_COMPARED = {"notes", "source", "version"}
RELATIVE, ABSOLUTE = 1e-6, 1e-9


@dataclass(frozen=True, slots=True)
class CertificateRequest:
    """What a bay puts on paper.

    result: what the window shows. command, file, spec_file, options: the command line that inspects it again; a file in
    an option is named by its whole path. Everything else that the inspection reads follows from these.
    """

    result: Result
    command: str
    file: Path
    spec_file: Path | None = None
    options: tuple[str, ...] = ()


def request_for(
    result: Result,
    command: str,
    file: BenchFile,
    found: tuple[BenchFile, Spec] | None,
    options: tuple[str, ...] = (),
) -> CertificateRequest:
    """A bay's request: its file with its column assignment, the spec it was held against."""
    return CertificateRequest(
        result=result,
        command=command,
        file=Path(file.path),
        spec_file=None if found is None else Path(found[0].path),
        options=(*((f"--columns={file.columns}",) if file.columns else ()), *options),
    )


def stated(request: CertificateRequest) -> dict[str, Any]:
    """What the window shows, as the result's JSON says it."""
    return dict(json.loads(request.result.model_dump_json()))


def check_shown(request: CertificateRequest, written: Result) -> None:
    """Refuse a paper that would say something else than the window: over other files, or with another figure."""
    files = {source.sha256 for source in written.source}
    for source in request.result.source:
        if source.sha256 not in files:
            name = Path(source.file).name
            raise BadFile(name, "", "another content than was inspected", "the file as read; read it again first")
    other = next(_otherwise(_by_name(stated(request)), _by_name(json.loads(written.model_dump_json())), ""), None)
    if other is not None:
        sentence = f"{request.file.name}: the paper would not say what the window shows: {other}; read the files again"
        raise CannotEvaluate(Reason.BAD_VALUES, sentence)


def _by_name(document: dict[str, Any]) -> dict[str, Any]:
    """The document with its verdicts by characteristic and item; those on nothing measured left out."""
    rows = {
        " ".join(str(row[key]) for key in ("characteristic", "item", "at_mm", "clause")): row
        for row in document["verdicts"]
        if row["measured"] is not None
    }
    return {**{key: value for key, value in document.items() if key not in NOT_COMPARED}, "verdicts": rows}


def _otherwise(shown: Any, written: Any, where: str) -> Iterator[str]:
    """Every figure of the window that the paper has otherwise; what the window has not is not compared."""
    if isinstance(shown, dict) and isinstance(written, dict):
        for key, value in shown.items():
            yield from _otherwise(value, written.get(key), f"{where} {key}".strip())
    elif isinstance(shown, list) and isinstance(written, list) and len(shown) == len(written):
        for number, (one, other) in enumerate(zip(shown, written, strict=True), start=1):
            yield from _otherwise(one, other, f"{where} {number}")
    elif isinstance(shown, float | int) and isinstance(written, float | int):
        if not math.isclose(shown, written, rel_tol=RELATIVE, abs_tol=ABSOLUTE):
            yield f"{where} {shown:g}, written {written:g}"
    elif shown is not None and shown != written:
        yield f"{where} {shown}, written {written}"
