"""What a bay of the window gives to a job and to paper: the part that inspects again what it shows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from valvelab.records.job import PARTS
from valvelab.records.parts.part import JobPart
from valvelab.records.spec import Spec
from valvelab.workbench.document import BenchFile


def part_of(use: str, file: BenchFile, found: tuple[BenchFile, Spec] | None, **fields: Any) -> JobPart:
    """A file with its column assignment, the spec it is held against, and what the use asks besides."""
    spec = None if found is None else Path(found[0].path)
    columns = {} if file.columns is None else {"columns": file.columns}
    return PARTS[use].model_validate({"file": Path(file.path), "spec": spec, **columns, **fields})
