"""Tables of a shaft's form, a surface trace and a gauge study."""

from __future__ import annotations

from operator import attrgetter
from typing import TYPE_CHECKING

from valvelab.decimals import decimals_of, figure
from valvelab.frozen import frozen
from valvelab.inspection.form.characteristics import GAUGE, STATION, TRACE
from valvelab.language import word
from valvelab.records.result import Verdict
from valvelab.tables.description import Column, Table, recorded_column, table_of, u_of
from valvelab.tables.verdicts import rank
from valvelab.units import System, as_stated, display_unit, show

if TYPE_CHECKING:
    from valvelab.records.gauge_result import GaugeFigures, GaugeResult, VarianceRowResult
    from valvelab.records.shaft_result import ShaftResult, StationResult, TaperResult
    from valvelab.records.texture_result import TextureResult

STATIONS: tuple[Column[StationResult], ...] = (
    Column("station", words=lambda row: row.station, tip="As the readings name it"),
    Column("at", "mm", lambda row: row.position_mm, tip="Position along the shaft"),
    *(recorded_column(row) for row in STATION if row.states_u),
)
TAPERS: tuple[Column[TaperResult], ...] = (
    Column("of", words=lambda row: row.station, tip="Lobe or journal"),
    Column("from", "mm", lambda row: row.from_mm, tip="Position of the first track"),
    Column("to", "mm", lambda row: row.to_mm, tip="Position of the second track"),
    Column("taper", "um", lambda row: row.taper_um, u_of("taper_um"), with_u=True,
           tip="Mean of second track less first"),
    Column("at the highest", "um", lambda row: row.highest_um, u_of("highest_um"),
           tip="Second track less first where the first stands highest"),
    Column("slope", "arcmin", lambda row: row.angle_arcmin, tip="Mean slope along the shaft"),
)  # fmt: skip


def shaft_tables(result: ShaftResult, system: System) -> list[Table]:
    """Journals, and tapers where two tracks were read."""
    return [
        table_of(result.stations, STATIONS, system, "Journals"),
        table_of(result.tapers, TAPERS, system, "Taper between two tracks"),
    ]


def straightness_told(result: ShaftResult, system: System) -> str:
    """Straightness of the axis in a sentence."""
    line, small = result.straightness, display_unit("um", system).label
    zone, squares = line.uncertainty.get("minimum_zone_um"), line.uncertainty.get("least_squares_um")
    told = word(
        "straightness of the axis: minimum zone {zone} {unit} (u {u}), least squares {squares} {unit}, "
        "worst at {station}"
    )
    return told.format(
        zone=figure(line.minimum_zone_um, zone, "um", system),
        u=figure(zone, zone, "um", system),
        squares=figure(line.least_squares_um, squares, "um", system),
        unit=small,
        station=line.worst_station or "–",
    )


@frozen
class Parameter:
    """One texture parameter: name, symbol, value, standard uncertainty, unit, and the gravest verdict on it."""

    name: str
    symbol: str
    value: float | None
    u: float | None
    unit: str
    verdict: Verdict | None


def parameters(result: TextureResult) -> list[Parameter]:
    """All parameters in the order of the standard."""
    rows = []
    for row in TRACE:
        verdicts = [verdict for verdict in result.verdicts if verdict.characteristic == row.name]
        gravest = min(verdicts, key=lambda verdict: rank(verdict.decision), default=None)
        value, u = getattr(result.parameters, row.key), result.uncertainty.get(row.key)
        rows.append(Parameter(row.name, row.head, value, u, row.unit, gravest))
    return rows


def texture_table(result: TextureResult, system: System) -> Table:
    """Value, uncertainty and unit of every parameter."""
    rows = tuple(
        (
            row.symbol,
            figure(row.value, row.u, row.unit, system),
            figure(row.u, row.u, row.unit, system),
            display_unit(row.unit, system).label,
        )
        for row in parameters(result)
    )
    return Table(("parameter", "value", "u", "unit"), rows, flush_left=(3,))


def trace_told(result: TextureResult, system: System) -> str:
    """How a trace was evaluated."""
    cutoff, evaluated = (as_stated(mm, "mm", system) for mm in (result.cutoff_mm, result.evaluation_length_mm))
    short = short_cutoff_told(result, system)
    return f"cutoff {cutoff}, short cutoff {short}, {result.sections} sections, {evaluated} evaluated"


def short_cutoff_told(result: TextureResult, system: System) -> str:
    """The short cutoff, or that there is none."""
    short = result.short_cutoff_mm
    return "none" if short is None else as_stated(1000.0 * short, "um", system)


@frozen
class StudyRow:
    """One line of a gauge study: printed name, field, unit, decimals, what it means."""

    name: str
    key: str
    unit: str
    decimals: int
    meaning: str


def study_rows(result: GaugeResult, system: System) -> list[StudyRow]:
    """Standard deviations, to the second digit of the measurement's own; then what follows from them."""
    finest = decimals_of((result.anova.grr_sd,), result.unit, system)
    rows = [StudyRow(name, key, result.unit, finest, meaning) for key, name, meaning in DEVIATIONS]
    shares = (StudyRow(row.head, row.name, row.unit, 1 if row.unit else 0, MEANINGS[row.name]) for row in GAUGE)
    return [*rows, *shares]


DEVIATIONS = (
    ("repeatability_sd", "repeatability", "Standard deviation of one appraiser reading one part again"),
    ("reproducibility_sd", "reproducibility", "Standard deviation between appraisers"),
    ("interaction_sd", "interaction", "Standard deviation of appraisers who differ from part to part; a dash: pooled"),
    ("grr_sd", "GRR", "Repeatability, reproducibility and interaction together: one reading's standard uncertainty"),
    ("part_sd", "part", "Standard deviation between the parts"),
    ("total_sd", "total", "Measurement and parts together"),
)  # fmt: skip
MEANINGS = {
    "grr_percent": "100 GRR / total; common practice: under 10 good, over 30 not fit to judge by",
    "grr_percent_of_tolerance": "600 GRR / tolerance width; a dash where no width is known",
    "ndc": "How many groups of parts the measurement can tell apart: 1.41 part / GRR; common practice: 5 or more",
}


def study_cell(row: StudyRow, found: GaugeFigures, system: System) -> str:
    """What one method says in a row."""
    return show(getattr(found, row.key), row.unit, system, row.decimals)


def study_table(result: GaugeResult, system: System) -> Table:
    """Both methods beside one another."""
    rows = tuple(
        (
            row.name,
            *(study_cell(row, found, system) for found in (result.anova, result.ranges)),
            display_unit(row.unit, system).label,
        )
        for row in study_rows(result, system)
    )
    return Table(("standard deviation", "analysis of variance", "averages and ranges", "unit"), rows, flush_left=(3,))


def _number(head: str, key: str, form: str, tip: str) -> Column[VarianceRowResult]:
    def text(row: VarianceRowResult) -> str:
        value = getattr(row, key)
        return "–" if value is None else format(value, form)

    return Column(head, value=attrgetter(key), words=text, tip=tip)


ANALYSIS: tuple[Column[VarianceRowResult], ...] = (
    Column("source", words=lambda row: row.source, tip="Where the variation comes from"),
    _number("freedom", "freedom", "d", "Degrees of freedom"),
    _number("sum of squares", "sum_of_squares", ".6g", "About the means"),
    _number("mean square", "mean_square", ".6g", "Sum of squares over degrees of freedom"),
    _number("F", "f_ratio", ".3f", "Ratio of mean squares"),
    _number("p", "p_value", ".4f", "Chance of so large a ratio without an effect"),
)


def analysis_table(result: GaugeResult, system: System) -> Table:
    """The analysis of variance."""
    return table_of(result.analysis, ANALYSIS, system, "Analysis of variance")
