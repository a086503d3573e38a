"""The shaft of a job: eccentricity, runout and roundness per journal; straightness of the axis."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from valvelab.files.adopted_uncertainty import with_adopted_probe
from valvelab.files.shaft_readings import read_shaft_readings
from valvelab.inspection.form.shaft import ShaftInspection, ShaftQuestion, inspect_shaft
from valvelab.job.use import Around, Told, Use
from valvelab.records.parts.shaft import ShaftPart
from valvelab.records.shaft_result import ShaftResult
from valvelab.tables.form import shaft_tables, straightness_told
from valvelab.units import System

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part


def inspect(part: ShaftPart, around: Around) -> ShaftInspection:
    """The inspection that a part asks for."""
    readings = read_shaft_readings(part.file, part.columns)
    spec, sources = around.specs.of(part.spec)
    if part.gauge is not None:
        readings, adopted = with_adopted_probe(readings, part.gauge)
        sources = (*sources, adopted)
    return inspect_shaft(ShaftQuestion(readings, part.undulations, spec, str(part.spec or ""), sources))


def tables(inspection: ShaftInspection, system: System) -> Sequence[Told]:
    """Journals, the axis, and what else is known of the shaft."""
    journals, *others = shaft_tables(inspection.result, system)
    return [journals, straightness_told(inspection.result, system), others]


def paper(inspection: ShaftInspection, system: System) -> Part:
    """The journals' part of a certificate."""
    from valvelab.report.form_certificate import shaft_part

    return shaft_part(inspection, system)


USE = Use(ShaftPart, ShaftResult, inspect, tables, paper)
