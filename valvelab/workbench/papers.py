"""What a bay of the window puts on paper: the part of a job that inspects it again, and what it showed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from valvelab.records.job import PARTS, Shown
from valvelab.records.result import Result
from valvelab.records.spec import Spec
from valvelab.workbench.document import BenchFile


def shown(result: Result, use: str, file: BenchFile, found: tuple[BenchFile, Spec] | None, **fields: Any) -> Shown:
    """What a bay shows: its file with its column assignment, the spec it was held against, what it asks besides."""
    spec = None if found is None else Path(found[0].path).absolute()
    columns = {} if file.columns is None else {"columns": file.columns}
    part = PARTS[use].model_validate({"file": Path(file.path).absolute(), "spec": spec, **columns, **fields})
    return Shown(result, part)
