"""A surface trace in, filtered texture parameters out."""

from __future__ import annotations

import math
from collections.abc import Iterator

from valvelab.camshaft.texture import (
    HEIGHT_DISCRIMINATION,
    PARAMETER_NAMES,
    SETTING_CLASSES,
    Roughness,
    SettingClass,
    TextureParameters,
    TraceSettings,
    class_for_ra,
    default_class,
    filter_trace,
    parameters,
    sampling_uncertainty,
    whole_sections,
)
from valvelab.errors import BadFile, CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.inspection.form.characteristics import TRACE, MeasuredTexture
from valvelab.inspection.judging import item_of, judged
from valvelab.inspection.limits import nearest_readings
from valvelab.phrase import Phrase
from valvelab.records.form_measurement import SurfaceTrace
from valvelab.records.result import Note, Source, info, warning
from valvelab.records.spec import Spec
from valvelab.records.texture_result import TextureParameterValues, TextureResult

USUAL_SECTIONS = 5
_SCALED = ("ra_um", "rq_um", "rz_um", "rt_um", "rp_um", "rv_um", "rk_um", "rpk_um", "rvk_um")
_READINGS_PER_SHORT_CUTOFF = 2.0


@frozen
class TextureQuestion:
    """A trace and how to filter it; None takes the standard's default. `short_cutoff_mm` 0 leaves that filter out."""

    trace: SurfaceTrace
    cutoff_mm: float | None = None
    short_cutoff_mm: float | None = None
    sections: int | None = None
    spec: Spec | None = None
    spec_file: str = ""
    other_sources: tuple[Source, ...] = ()


@frozen
class TextureInspection:
    """An answered inspection: the result document and the filtered trace that plots draw."""

    question: TextureQuestion
    result: TextureResult
    rough: Roughness


def inspect_texture(question: TextureQuestion) -> TextureInspection:
    """Level, filter, evaluate and judge one trace; refuses one that can't hold the cutoff."""
    trace = question.trace
    notes: list[Note] = list(trace.notes)
    try:
        settings, chosen, settled = _settings(question)
        rough = filter_trace(trace.x_mm, trace.z_um, settings)
    except CannotEvaluate as error:
        raise CannotEvaluate(error.reason, Phrase("{file}: {error}", file=trace.file, error=error)) from None
    notes.extend(settled)
    found = parameters(rough.roughness_um, rough.bounds, rough.spacing_mm)
    uncertainty = _uncertainty(found, rough, trace.scale_uncertainty)
    texture = MeasuredTexture(found, uncertainty)
    notes.extend(_remarks(texture, rough, chosen))
    if settings.sections < 2 and trace.scale_uncertainty is None:
        notes.append(warning("uncertainty", Phrase("one section and no height uncertainty stated: no uncertainty")))
    result = TextureResult(
        source=(trace.source, *question.other_sources),
        form=trace.form,
        label=trace.label,
        cutoff_mm=settings.cutoff_mm,
        short_cutoff_mm=settings.short_cutoff_mm,
        sections=settings.sections,
        evaluation_length_mm=settings.sections * settings.cutoff_mm,
        spacing_um=1000.0 * rough.spacing_mm,
        setting_class=None if chosen is None else chosen.name,
        parameters=TextureParameterValues(**{row.key: row.measured(texture).value for row in TRACE}),
        uncertainty=uncertainty,
    )
    return TextureInspection(
        question,
        judged(
            result,
            notes,
            question.spec,
            {"trace": [item_of(Phrase("trace"), None, texture, TRACE)]},
            question.spec_file,
        ),
        rough,
    )


def _settings(question: TextureQuestion) -> tuple[TraceSettings, SettingClass | None, list[Note]]:
    """Cutoffs and sections: as asked, else by the spec's own Ra limit, else by what the trace measures."""
    trace = question.trace
    count = trace.x_mm.size
    spacing = float(trace.x_mm[-1] - trace.x_mm[0]) / (count - 1)
    notes: list[Note] = []
    chosen: SettingClass | None
    if question.cutoff_mm is not None:
        cutoff = question.cutoff_mm
        chosen = next((row for row in SETTING_CLASSES if math.isclose(row.cutoff_mm, cutoff)), None)
    else:
        limit = _ra_limit(question)
        chosen = default_class(trace.x_mm, trace.z_um) if limit is None else class_for_ra(limit)
        cutoff = chosen.cutoff_mm
        why = Phrase("what the trace measures") if limit is None else Phrase("the spec's limit on Ra")
        notes.append(
            info(
                "cutoff",
                Phrase("{cutoff} mm, setting class {name} by {why}", cutoff=f"{cutoff:g}", name=chosen.name, why=why),
            )
        )
    held = whole_sections(count, spacing, cutoff)
    if held < 1:
        raise BadFile(
            trace.file,
            "",
            Phrase("a trace of {length} mm", length=f"{count * spacing:.3g}"),
            Phrase("at least one cutoff of {cutoff} mm", cutoff=f"{cutoff:g}"),
        )
    sections = min(USUAL_SECTIONS, held) if question.sections is None else question.sections
    if question.sections is None and held < USUAL_SECTIONS:
        notes.append(
            warning(
                "sections",
                Phrase(
                    "{held} instead of {usual_sections}: the trace holds no more",
                    held=held,
                    usual_sections=USUAL_SECTIONS,
                ),
            )
        )
    if question.sections is not None and question.sections > held:
        raise BadFile(
            trace.file,
            "",
            Phrase("a trace of {held} sections of {cutoff} mm", held=held, cutoff=f"{cutoff:g}"),
            Phrase("{count} sections", count=question.sections),
        )
    short, short_notes = _short_cutoff(question.short_cutoff_mm, chosen, cutoff, spacing)
    return TraceSettings(cutoff, short, sections), chosen, notes + short_notes


def _ra_limit(question: TextureQuestion) -> float | None:
    """The upper limit a spec lays on Ra, µm."""
    if question.spec is None:
        return None
    found = [
        next(nearest_readings(number, limit, question.spec_file)).ends[1]
        for number, limit in enumerate(question.spec.limit, start=1)
        if limit.of == "ra"
    ]
    return next((value for value in found if value is not None and value > 0.0), None)


def _short_cutoff(
    asked: float | None, chosen: SettingClass | None, cutoff: float, spacing: float
) -> tuple[float | None, list[Note]]:
    if asked == 0.0:
        return None, [info("short cutoff", Phrase("left out as asked"))]
    if asked is not None:
        if asked >= cutoff:
            found = Phrase("short cutoff: found {asked} mm", asked=f"{asked:g}")
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE,
                Phrase("{found}, expected less than the cutoff of {cutoff} mm", found=found, cutoff=f"{cutoff:g}"),
            )
        short = asked
    else:
        row = chosen or next((row for row in SETTING_CLASSES if row.cutoff_mm >= cutoff), SETTING_CLASSES[-1])
        short = row.short_cutoff_mm
    if short < _READINGS_PER_SHORT_CUTOFF * spacing:
        text = Phrase(
            "{short} µm is finer than readings {spacing} µm apart can show; left out",
            short=f"{1000.0 * short:g}",
            spacing=f"{1000.0 * spacing:.3g}",
        )
        return None, [warning("short cutoff", text)]
    return short, []


def _remarks(texture: MeasuredTexture, rough: Roughness, chosen: SettingClass | None) -> Iterator[Note]:
    found = texture.found
    numbers = {row.key: row.measured(texture) for row in TRACE}
    yield from (
        warning(key, Phrase("not derived: {reason}", reason=one.reason))
        for key, one in numbers.items()
        if one.value is None
    )
    if chosen is not None and found.ra_um > chosen.largest_ra_um:
        text = Phrase(
            "Ra {ra} µm is above what class {name} is meant for; a longer cutoff fits",
            ra=f"{found.ra_um:.3g}",
            name=chosen.name,
        )
        yield warning("cutoff", text)
    yield from _definitions(found, rough)
    if rough.roughness_um.size - (rough.stop - rough.start) > 1:
        yield info("evaluation length", Phrase("the middle of the trace; both ends served the filter as run-up"))


def _definitions(found: TextureParameters, rough: Roughness) -> Iterator[Note]:
    """What a reader needs to compare Rsm and the Rk family with another instrument's."""
    if found.rsm_um is not None:
        share, beyond = 100.0 * HEIGHT_DISCRIMINATION, HEIGHT_DISCRIMINATION * found.rz_um
        text = Phrase(
            "a hill or dale counts that reaches {share} % of Rz ({beyond} µm) beyond the mean line, however narrow",
            share=f"{share:g}",
            beyond=f"{beyond:.3g}",
        )
        yield info("Rsm", text)
    if found.rk_um is not None:
        text = Phrase(
            "of the Gaussian filter's profile (ISO 16610-21, cutoff {cutoff} mm), not of the two-step filter of ISO "
            "13565-1; by the least-squares line through the flattest 40 % of the curve",
            cutoff=f"{rough.settings.cutoff_mm:g}",
        )
        yield info("Rk family", text)


def _uncertainty(found: TextureParameters, rough: Roughness, scale: float | None) -> dict[str, float | None]:
    """Sampling (seen, between sections) and the height scale (stated), in quadrature."""
    seen = sampling_uncertainty(rough.roughness_um, rough.bounds, rough.spacing_mm)
    combined: dict[str, float | None] = {}
    for name in PARAMETER_NAMES:
        value, sampling = getattr(found, name), seen[name]
        parts = [] if sampling is None else [sampling]
        if scale is not None and value is not None and name in _SCALED:
            parts.append(scale * value)
        combined[name] = math.hypot(*parts) if parts and value is not None else None
    return combined
