"""The surface traces of a job: filtered texture parameters."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from valvelab.errors import WrongUsage
from valvelab.files.surface_trace import read_surface_trace
from valvelab.files.x3p import x3p_bytes
from valvelab.inspection.form.texture import TextureInspection, TextureQuestion, inspect_texture
from valvelab.job.typed import quantity
from valvelab.job.use import Around, Told, Use
from valvelab.records.parts.texture import TexturePart
from valvelab.records.texture_result import TextureResult
from valvelab.tables.form import texture_table, trace_told
from valvelab.units import System

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part


def inspect(part: TexturePart, around: Around) -> TextureInspection:
    """The inspection that a part asks for."""
    cutoff = None if part.cutoff is None else quantity(part.cutoff, "length", "--cutoff")
    short = None if part.short_cutoff is None else quantity(part.short_cutoff, "length", "--short-cutoff", "0 or above")
    if cutoff is not None and short is not None and short >= cutoff:
        raise WrongUsage(f"--short-cutoff {part.short_cutoff}: expected less than the cutoff {part.cutoff}")
    trace = read_surface_trace(part.file, part.columns)
    spec, sources = around.specs.of(part.spec)
    return inspect_texture(TextureQuestion(trace, cutoff, short, part.sections, spec, str(part.spec or ""), sources))


def tables(inspection: TextureInspection, system: System) -> Sequence[Told]:
    """What was traced, and its parameters."""
    return [trace_told(inspection.result, system), texture_table(inspection.result, system)]


def x3p(inspection: TextureInspection) -> bytes:
    """The trace as it was read, as an X3P container."""
    return x3p_bytes(inspection.question.trace)


def paper(inspection: TextureInspection, system: System) -> Part:
    """The trace's part of a certificate."""
    from valvelab.report.form_certificate import texture_part

    return texture_part(inspection, system)


USE = Use(TexturePart, TextureResult, inspect, tables, paper, forms={".x3p": x3p})
