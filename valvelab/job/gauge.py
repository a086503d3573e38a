"""The gauge studies of a job: repeatability and reproducibility of a measurement."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from valvelab.errors import BadFile, WrongUsage
from valvelab.files.gauge_study_file import read_gauge_study
from valvelab.inspection.form.gauge import GaugeInspection, GaugeQuestion, inspect_gauge, study_quantity
from valvelab.job.use import Around, Told, Use
from valvelab.records.gauge_result import GaugeResult
from valvelab.records.parts.gauge import GaugePart
from valvelab.tables.form import analysis_table, study_table
from valvelab.units import System

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part


def inspect(part: GaugePart, around: Around) -> GaugeInspection:
    """The inspection that a part asks for."""
    readings = read_gauge_study(part.file, part.columns)
    tolerance = None
    if part.tolerance is not None:
        try:
            tolerance = study_quantity(str(part.tolerance), readings.unit, "--tolerance", "command line")
        except BadFile as error:
            raise WrongUsage(str(error)) from None
    spec, sources = around.specs.of(part.spec)
    return inspect_gauge(GaugeQuestion(readings, tolerance, spec, str(part.spec or ""), sources))


def tables(inspection: GaugeInspection, system: System) -> Sequence[Told]:
    """The study, and its analysis by both methods."""
    result = inspection.result
    head = f"{len(result.parts)} parts × {len(result.appraisers)} appraisers × {result.trials} trials"
    return [head, study_table(result, system), analysis_table(result, system)]


def paper(inspection: GaugeInspection, system: System) -> Part:
    """The study's part of a certificate."""
    from valvelab.report.form_certificate import gauge_part

    return gauge_part(inspection, system)


USE = Use(GaugePart, GaugeResult, inspect, tables, paper)
