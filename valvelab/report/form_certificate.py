"""What shaft form, a surface trace and a gauge study put on the certificate."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from valvelab.figures.description import Figure
from valvelab.figures.form_places import (
    marked_ratio,
    marked_roughness,
    marked_section,
    marked_shares,
    not_accepted,
    place_of,
    worst_readings,
)
from valvelab.figures.gauge_figures import components_figure, means_figure, ranges_figure
from valvelab.figures.shaft_figures import (
    axis_figure,
    bowed_shaft_figure,
    harmonics_figure,
    roundness_figure,
    section_figure,
)
from valvelab.figures.texture_figures import material_ratio_figure, roughness_figure, trace_figure
from valvelab.inspection.characteristics import printed
from valvelab.report.assembly import Part
from valvelab.report.page_model import FigureBlock, Section, figure_rows
from valvelab.tables.form import analysis_table, shaft_tables, short_cutoff_told, study_table, texture_table
from valvelab.tables.verdicts import worst_by_item
from valvelab.units import System, as_stated, with_unit

if TYPE_CHECKING:
    from valvelab.inspection.form.gauge import GaugeInspection
    from valvelab.inspection.form.shaft import ShaftInspection
    from valvelab.inspection.form.texture import TextureInspection

POLAR_MM = 58.0
LOBING_MM = 42.0
ACROSS = 3
POLARS = (
    "The trace, magnified outward from its least-squares circle (the ring marked 0, green), between the two "
    "minimum-zone circles (orange); dots where it touches them. 0 deg is to the right, angles run counter-clockwise."
)
FORM = (
    "Readings grow outward. Eccentricity is the first harmonic of the trace, as a distance and the direction where it "
    "is highest; roundness is the peak to valley of the trace about the reference circle named. LSC: least squares; "
    "MZC: minimum zone; MIC: largest inscribed; MCC: smallest circumscribed. Straightness is that of the line of the "
    "journal centres."
)
FILTER = (
    "The trace was levelled by its least-squares line and filtered by Gaussian profile filters; towards the ends the "
    "filter's weights were scaled to those inside. Rp, Rv and Rz are means over the sections, the others run over the "
    "evaluation length. The uncertainty is what the sections tell by their differences, with the stated height scale."
)
STUDY = (
    "The analysis of variance is crossed, with an interaction pooled into repeatability where its p exceeds 0.25; the "
    "method of averages and ranges stands beside it. Percentages are of the total standard deviation."
)


def shaft_part(inspection: ShaftInspection, system: System = "metric") -> Part:
    """The shaft's part of a certificate."""
    readings = inspection.question.readings
    polars = [(_bare(roundness_figure(form, system)),) for form in inspection.journals]
    lobing = [(_bare(harmonics_figure(form)),) for form in inspection.journals]
    polar_rows = figure_rows(polars, ACROSS, POLAR_MM, caption=POLARS)
    verdicts = inspection.result.verdicts
    worst = worst_by_item([row.model_copy(update={"item": place_of(inspection, row)}) for row in verdicts])
    beside, told = _beside(inspection, system)
    side = bowed_shaft_figure(inspection, system, worst=worst)
    axis = replace(axis_figure(inspection), x_axis=side.x_axis)
    probe = readings.probe_uncertainty_mm
    adopted = "" if readings.adopted_probe is None else f", {readings.adopted_probe}"
    vees = readings.vees
    support = (
        "centres"
        if vees is None
        else f"vees at {' and '.join(as_stated(mm, 'mm', system) for mm in vees.positions_mm)}"
    )
    return Part(
        name="Shaft form",
        result=inspection.result,
        identity=(
            ("part", readings.part),
            ("serial number", readings.serial),
            ("operator", readings.operator),
            ("instrument", readings.instrument),
            ("measured on", readings.date),
            ("supported by", support),
            (
                "stated uncertainty",
                None if probe is None else f"probe {with_unit(1e3 * probe, 'um', system, 2, 1)}{adopted}",
            ),
        ),
        picture=(
            FigureBlock(
                ((side, axis), (beside,)),
                72.0,
                weights=(1.9, 1.0),
                caption=f"Left: the shaft from the side, its bow magnified as stated. Right: {told}.",
            ),
        ),
        found=tuple(shaft_tables(inspection.result, system)),
        annexes=lambda: (Section("Journals", (*polar_rows, *figure_rows(lobing, ACROSS, LOBING_MM))),),
        method=FORM,
        subjects=("station", "shaft"),
        serial=readings.serial,
    )


def _beside(inspection: ShaftInspection, system: System) -> tuple[Figure, str]:
    """What is drawn beside the shaft, and how it is told: the journal that is not round, else the centres end on."""
    open_ = not_accepted(inspection.result.verdicts)
    forms = {form.trace.name: form for form in inspection.journals}
    out = [row for row in open_ if row.characteristic.startswith("roundness") and row.item in forms]
    if out:
        name = min(out, key=lambda row: row.probability_conforming or 0.0).item
        return _bare(roundness_figure(forms[name], system)), f"{name}, its trace magnified outward"
    bent = worst_by_item(
        [row.model_copy(update={"item": place_of(inspection, row)}) for row in open_ if row.item == "shaft"]
    )
    return marked_section(_bare(section_figure(inspection, system)), inspection, bent), "within the minimum zone"


def _bare(figure: Figure) -> Figure:
    """The figure without what names its curves: small plots have room for their title only."""
    return replace(figure, curves=tuple(replace(curve, label="") for curve in figure.curves))


def texture_part(inspection: TextureInspection, system: System = "metric") -> Part:
    """A surface trace's part of a certificate."""
    result = inspection.result
    return Part(
        name="Surface texture",
        result=result,
        identity=(
            ("surface", result.label),
            ("form of the file", result.form),
            ("cutoff", as_stated(result.cutoff_mm, "mm", system)),
            ("short cutoff", short_cutoff_told(result, system)),
            ("sections", str(result.sections)),
            ("evaluation length", as_stated(result.evaluation_length_mm, "mm", system)),
        ),
        picture=(
            FigureBlock(
                (
                    (
                        marked_roughness(roughness_figure(inspection, system), inspection),
                        trace_figure(inspection, system),
                    ),
                    (marked_ratio(material_ratio_figure(inspection, system), inspection),),
                ),
                84.0,
                weights=(1.4, 1.0),
            ),
        ),
        found=(texture_table(result, system),),
        method=FILTER,
        subjects=("trace",),
    )


def gauge_part(inspection: GaugeInspection, system: System = "metric") -> Part:
    """A gauge study's part of a certificate."""
    result = inspection.result
    readings = inspection.question.readings
    columns = _gauge_columns(inspection)
    return Part(
        name="Gauge study",
        result=result,
        identity=(
            ("measures", readings.characteristic and printed(readings.characteristic, readings.unit)),
            ("parts", str(len(result.parts))),
            ("appraisers", ", ".join(result.appraisers)),
            ("trials", str(result.trials)),
        ),
        picture=(FigureBlock(columns, 55.0, weights=(1.3, 1.0)[: len(columns)]),),
        found=(study_table(result, system), analysis_table(result, system)),
        annexes=lambda: (
            Section("Readings", (FigureBlock(((means_figure(inspection), ranges_figure(inspection)),), 110.0),)),
        ),
        method=STUDY,
        subjects=("gauge",),
    )


def _gauge_columns(inspection: GaugeInspection) -> tuple[tuple[Figure, ...], ...]:
    """Where the variation comes from; where it is too much, with the readings that make it."""
    shares = marked_shares(components_figure(inspection), inspection)
    open_ = not_accepted(inspection.result.verdicts)
    return ((shares,),) if not open_ else ((shares,), (worst_readings(inspection, open_[0].decision),))
