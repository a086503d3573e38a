"""A gauge study in, repeatability and reproducibility out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import PurePath

from valvelab.conformity.gauge_study import (
    POOLING_P,
    AnovaStudy,
    Components,
    anova_study,
    range_study,
    study_uncertainty,
)
from valvelab.errors import BadFile, BadQuantity, CannotEvaluate
from valvelab.frozen import frozen
from valvelab.inspection.form.characteristics import GAUGE, NO_VARIATION
from valvelab.inspection.judging import item_of, judged
from valvelab.inspection.limits import readings_of
from valvelab.phrase import Phrase
from valvelab.records.form_measurement import GaugeReadings
from valvelab.records.gauge_result import (
    AdoptedUncertainty,
    AnovaFigures,
    GaugeFigures,
    GaugeResult,
    VarianceRowResult,
)
from valvelab.records.result import Note, Source, info, warning
from valvelab.records.spec import Spec
from valvelab.units import CANONICAL, Dimension, parse_quantity


@frozen
class GaugeQuestion:
    """A study, the tolerance width to hold it against (in the study's unit), and the spec to judge by."""

    readings: GaugeReadings
    tolerance: float | None = None
    spec: Spec | None = None
    spec_file: str = ""
    other_sources: tuple[Source, ...] = ()


@frozen
class GaugeInspection:
    """An answered inspection: the result document; plots draw the readings in the question."""

    question: GaugeQuestion
    result: GaugeResult


def inspect_gauge(question: GaugeQuestion) -> GaugeInspection:
    """Both methods, the tolerance where one is known, and verdicts; refuses a study that is too small."""
    readings = question.readings
    try:
        study, ranges = anova_study(readings.readings), range_study(readings.readings)
    except CannotEvaluate as error:
        raise CannotEvaluate(error.reason, Phrase("{file}: {error}", file=readings.file, error=error)) from None
    tolerance, notes = _tolerance(question)
    notes = [*readings.notes, *notes, *_remarks(study)]
    result = GaugeResult(
        source=(readings.source, *question.other_sources),
        unit=readings.unit,
        parts=readings.parts,
        appraisers=readings.appraisers,
        trials=len(readings.trials),
        tolerance=tolerance,
        anova=AnovaFigures(
            **_figures(study.components, tolerance),
            interaction_pooled=study.interaction_pooled,
            interaction_p=study.interaction_p,
        ),
        ranges=GaugeFigures(**_figures(ranges, tolerance)),
        analysis=tuple(VarianceRowResult.model_validate(row, from_attributes=True) for row in study.rows),
        uncertainty=_uncertainty(study, tolerance),
    )
    return GaugeInspection(
        question,
        judged(
            result, notes, question.spec, {"gauge": [item_of(Phrase("gauge"), None, result, GAUGE)]}, question.spec_file
        ),
    )


def _figures(found: Components, tolerance: float | None) -> dict[str, float | int | None]:
    return {
        "repeatability_sd": found.repeatability,
        "reproducibility_sd": found.reproducibility,
        "interaction_sd": found.interaction,
        "grr_sd": found.grr,
        "part_sd": found.part,
        "total_sd": found.total,
        "grr_percent": found.grr_percent,
        "ndc": found.ndc,
        "repeatability_percent": found.percent_of_total(found.repeatability),
        "reproducibility_percent": found.percent_of_total(found.reproducibility),
        "part_percent": found.percent_of_total(found.part),
        "grr_percent_of_tolerance": None if tolerance is None else found.grr_percent_of_tolerance(tolerance),
    }


def _uncertainty(study: AnovaStudy, tolerance: float | None) -> dict[str, float | None]:
    found = {
        "repeatability_sd": study_uncertainty(study, lambda c: c.repeatability),
        "grr_sd": study_uncertainty(study, lambda c: c.grr),
        "part_sd": study_uncertainty(study, lambda c: c.part),
        "grr_percent": study_uncertainty(study, lambda c: c.grr_percent),
    }
    share = None if tolerance is None else study_uncertainty(study, lambda c: c.grr_percent_of_tolerance(tolerance))
    return {**found, "grr_percent_of_tolerance": share}


def _tolerance(question: GaugeQuestion) -> tuple[float | None, list[Note]]:
    """The width: as asked; else the study's own; else the spec's two-sided limit on what the study measures."""
    readings = question.readings
    if question.tolerance is not None:
        return question.tolerance, []
    if readings.tolerance is not None:
        return study_quantity(readings.tolerance, readings.unit, "tolerance", readings.file), []
    if question.spec is None:
        return None, []
    for number, limit in enumerate(question.spec.limit, start=1):
        if limit.of != readings.characteristic:
            continue
        meant = readings_of(number, limit, question.spec_file)[0]
        characteristic, (lower, upper) = meant.characteristic, meant.ends
        if lower is not None and upper is not None and characteristic.unit in {readings.unit, "um"}:
            width = (upper - lower) * (1e-3 if characteristic.unit == "um" and readings.unit == "mm" else 1.0)
            if width > 0.0:
                return width, [
                    info(
                        "tolerance",
                        Phrase(
                            "{width} {unit}, from the spec's limit {number} on {of}",
                            width=f"{width:g}",
                            unit=readings.unit,
                            number=number,
                            of=limit.of,
                        ),
                    )
                ]
    return None, []


def study_quantity(text: str, unit: str, field: str, file: str) -> float:
    """A tolerance as typed, in the study's own unit; refuses another dimension and a width not above 0."""
    dimension: Dimension = next((name for name, canonical in CANONICAL.items() if canonical == unit), "number")
    try:
        value = parse_quantity(text, dimension, field)
    except BadQuantity as error:
        raise BadFile(file, field, error.found, error.expected) from None
    if value <= 0.0:
        raise BadFile(file, field, text, "a width above 0")
    return value


def _remarks(study: AnovaStudy) -> Iterator[Note]:
    if study.interaction_pooled is None:
        yield warning("reproducibility", Phrase("one appraiser only: reproducibility can't be told"))
    elif study.interaction_pooled:
        p = (
            Phrase("nothing varies")
            if study.interaction_p is None
            else Phrase("p = {p} > {least}", p=f"{study.interaction_p:.3f}", least=POOLING_P)
        )
        yield info("interaction", Phrase("pooled into repeatability ({p}); interaction_sd is null", p=p))
    else:
        yield info(
            "interaction",
            Phrase(
                "kept apart (p = {interaction_p} ≤ {pooling_p})",
                interaction_p=f"{study.interaction_p:.3f}",
                pooling_p=POOLING_P,
            ),
        )
    if study.components.ndc is None:
        yield warning("ndc", Phrase("not derived: {no_variation}", no_variation=NO_VARIATION))
    if study.shape[0] < 5:
        yield warning(
            "parts", Phrase("{shape} parts tell little about part variation; 10 are usual", shape=study.shape[0])
        )


def adopt(result: GaugeResult, kind: str) -> AdoptedUncertainty:
    """The study's measurement variation (GRR, analysis of variance) as one reading's standard uncertainty.

    Refuses a study whose readings carry no unit.
    """
    if not result.unit:
        raise BadFile(result.source[0].file, "", "readings without a unit", "a unit in the header, to adopt the result")
    return AdoptedUncertainty(
        kind=kind,
        standard_uncertainty=f"{result.anova.grr_sd:.6g} {result.unit}",
        study=PurePath(result.source[0].file).name,
        study_sha256=result.source[0].sha256,
        method="repeatability and reproducibility, crossed analysis of variance",
    )
