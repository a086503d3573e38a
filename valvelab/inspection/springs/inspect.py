"""Spring readings inspected: every spring's numbers with their uncertainty, and its verdicts."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import field, replace

import numpy as np

from valvelab.cautions import SPRINGS
from valvelab.frozen import frozen
from valvelab.inspection.judging import item_of, judge
from valvelab.inspection.springs.analysis import (
    Fit,
    SpringAnalysis,
    analyse,
    fit_of,
    in_time,
)
from valvelab.inspection.springs.characteristics import CHARACTERISTICS, measured, recorded, row_of, wires
from valvelab.inspection.springs.history import histories, history_notes
from valvelab.inspection.springs.wire import ElementWire
from valvelab.inspection.unit_doubts import doubted
from valvelab.phrase import Phrase, listed
from valvelab.pieces import in_pieces
from valvelab.records.result import Note, Source, Verdict, info, warning
from valvelab.records.spec import Spec
from valvelab.records.spring_readings import SpringTable
from valvelab.records.springs_result import ElementResult, RateCurve, RateLine, SpringResult, SpringsResult
from valvelab.springs.rate import rate_curve
from valvelab.springs.stress import StressFactor, WireMaterial

PROGRESSIVE = 1.15
"""Local rate at the low end over that at the high end from which a spring is called progressive (ours; no source)."""
SOLID_AGREES_MM = 0.1
"""A stated solid height further from the knee of the readings is remarked on (ours; no source)."""
GUIDANCE = Phrase(
    "common practice, as guidance and never as a limit: about 1.5 mm (0.060 in) of coil-bind "
    "margin in all for steel race springs and 1.3 mm (0.050 in) from retainer to seal, "
    "unless the maker says otherwise"
)
CAUTION = SPRINGS


@frozen
class SpringsQuestion:
    """What is inspected: the readings, the spec they are held against, the wires known, the stress factor.

    other_sources: files besides the readings that the answer follows from, the spec's above all.
    """

    table: SpringTable
    spec: Spec | None = None
    spec_file: str = "spec"
    materials: Mapping[str, WireMaterial] = field(default_factory=dict)
    stress_factor: StressFactor = "EN 13906-1"
    other_sources: tuple[Source, ...] = ()

    @property
    def sources(self) -> tuple[Source, ...]:
        """Every file that the answer follows from, each once."""
        return tuple(dict.fromkeys((self.table.source, *self.other_sources)))


@frozen
class SpringsInspection:
    """The result and the working behind it, one analysis for each row of the result; the spec it was held against."""

    fit: Fit
    analyses: tuple[SpringAnalysis, ...]
    result: SpringsResult
    spec: Spec | None = None


def analyse_all(
    question: SpringsQuestion, only: Collection[str] | None = None
) -> tuple[Fit, tuple[SpringAnalysis, ...], list[Note]]:
    """Every spring analysed, in the file's order; readings that can't be used are refused with their place.

    only: the names of the springs wanted, where not all are.
    """
    table = question.table
    fit, notes = fit_of(table, question.spec, question.materials, question.spec_file)
    fit = replace(fit, stress_factor=question.stress_factor)
    wanted = in_time(one for one in table.springs if only is None or one.spring in only)
    analyses = [analyse(readings, fit, table.file) for readings in in_pieces(wanted)]
    first: dict[str, SpringAnalysis] = {}
    for one in analyses:
        first.setdefault(one.name, one)
    staged = (one if first[one.name] is one else replace(one, new=first[one.name]) for one in analyses)
    return fit, tuple(staged), [*table.notes, *notes]


def inspect_springs(question: SpringsQuestion) -> SpringsInspection:
    """Inspect every spring of a file and hold it against the spec."""
    fit, analyses, notes = analyse_all(question)
    rows = tuple(map(_row, in_pieces(analyses)))
    notes += [*_missing(fit, analyses), *_standing_off(analyses), *_coil_bind_notes(analyses), *_common(fit, rows)]
    verdicts, remarks = spring_verdicts(question, analyses)
    history = histories(analyses, verdicts)
    notes += [*remarks, *history_notes(history)]
    result = SpringsResult(
        source=question.sources,
        notes=tuple(dict.fromkeys(notes)),
        verdicts=tuple(verdicts),
        installed_height_mm=fit.installed_height_mm,
        valve_lift_mm=fit.valve_lift_mm,
        springs=rows,
        history=tuple(history),
    )
    return SpringsInspection(fit, analyses, result, question.spec)


def spring_verdicts(
    question: SpringsQuestion, analyses: tuple[SpringAnalysis, ...]
) -> tuple[list[Verdict], list[Note]]:
    """What the spec says of every spring in its last stage, and what is to be said of it; empty without a spec."""
    if question.spec is None:
        return [], []
    chosen = [analyses[number] for number in latest_stages(analyses)]
    made = (item_of(one.name, kind_of(one.readings.position), one, CHARACTERISTICS) for one in chosen)
    items = [doubted(item, question.table.doubts) for item in made]
    verdicts, notes = judge(question.spec, {"spring": items}, question.spec_file)
    if len(chosen) < len(analyses):
        notes.insert(0, info("verdicts", Phrase("springs read in several stages are judged in their last stage")))
    return verdicts, notes


def latest_stages(analyses: tuple[SpringAnalysis, ...]) -> list[int]:
    """Row of each spring's last stage; `analyses` have every spring's stages as they followed one another."""
    return sorted({analysis.name: number for number, analysis in enumerate(analyses)}.values())


_RECORDED = tuple((row.key, row) for row in recorded())


def _row(analysis: SpringAnalysis) -> SpringResult:
    heights, forces = analysis.free_readings()
    rates = np.zeros(0)
    if heights.size > 1:
        heights, rates = rate_curve(heights, forces)
    line, solid = analysis.rate_fit, analysis.solid_height.value
    each = analysis.once(wires)
    numbers = {key: measured(analysis, row) for key, row in _RECORDED}
    stressed = numbers["stress_seat_mpa"].value is not None or numbers["stress_open_mpa"].value is not None
    return SpringResult(
        spring=analysis.name,
        stage=analysis.readings.stage,
        date=analysis.readings.date,
        position=analysis.readings.position,
        rate_fit=None if line is None else RateLine.model_validate(line, from_attributes=True),
        rate_curve=None
        if rates.size == 0
        else RateCurve(height_mm=tuple(heights.tolist()), rate_n_per_mm=tuple(rates.tolist())),
        progressive=None if rates.size < 3 else bool(rates[0] > PROGRESSIVE * rates[-1]),
        solid_height_from=None if solid is None else ("readings" if analysis.solid_from_readings else "stated"),
        stress_factor=analysis.fit.stress_factor if stressed else None,
        tensile_strength_mpa=each[0].tensile_mpa if analysis.alone else None,
        elements=() if analysis.alone else tuple(map(_element, each)),
        uncertainty={key: number.u for key, number in numbers.items()},
        **{key: number.value for key, number in numbers.items()},
    )


def _element(wire: ElementWire) -> ElementResult:
    numbers = {row.key: row.element(wire).value for row in CHARACTERISTICS if row.element is not None}
    return ElementResult(element=wire.element.element, **numbers)


def _about(analysis: SpringAnalysis) -> str:
    stage = analysis.readings.stage
    return analysis.name if stage is None else f"{analysis.name} {stage}"


def up_to_eight(names: Iterable[str]) -> str:
    """Up to eight names; `and n more` after that."""
    shown = list(dict.fromkeys(names))
    if len(shown) > 8:
        return Phrase("{names} and {count} more", names=listed(shown[:8]), count=len(shown) - 8)
    return listed(shown)


def _missing(fit: Fit, analyses: Sequence[SpringAnalysis]) -> list[Note]:
    """Why numbers are missing, springs of one reason together; what the file lacks as a whole was said already."""
    reasons: dict[tuple[str, str], list[str]] = {}
    offers = ["rate", "solid_height"]
    offers += ["seat_force"] if fit.installed_height_mm is not None else []
    offers += ["open_force"] if fit.open_height_mm is not None else []
    for analysis in analyses:
        for name in offers:
            if reason := measured(analysis, row_of(name)).reason:
                reasons.setdefault((name, reason), []).append(_about(analysis))
    return [warning(name, listed((up_to_eight(springs), reason), ": ")) for (name, reason), springs in reasons.items()]


def _standing_off(analyses: Iterable[SpringAnalysis]) -> Iterator[Note]:
    """Readings that stand off from their repeats."""
    for analysis in analyses:
        for element in analysis.elements:
            if element.standing_off:
                more = len(element.standing_off) - 1
                about = " ".join(filter(None, (_about(analysis), element.element)))
                told = element.standing_off[0].told
                yield warning(about, Phrase("{told}; so do {count} more", told=told, count=more) if more else told)


def _coil_bind_notes(analyses: tuple[SpringAnalysis, ...]) -> Iterator[Note]:
    bound = [_about(a) for a in analyses if any(element.knee is not None for element in a.elements)]
    if bound:
        yield info("coil bind", Phrase("{springs}: readings past the knee end the range", springs=up_to_eight(bound)))
    for analysis in analyses:
        stated = analysis.solid_height.value
        knees = [element.knee.solid_height_mm - element.offset_mm for element in analysis.elements if element.knee]
        if stated is None or analysis.solid_from_readings or not knees or abs(stated - max(knees)) <= SOLID_AGREES_MM:
            continue
        seen = Phrase(
            "the readings show coil bind at {knees} mm, {stated} mm is stated",
            knees=f"{max(knees):.2f}",
            stated=f"{stated:.2f}",
        )
        yield warning(
            Phrase("{about} solid_height_mm", about=_about(analysis)),
            Phrase("{seen}; the stated height counts", seen=seen),
        )


def _common(fit: Fit, rows: tuple[SpringResult, ...]) -> Iterator[Note]:
    """What is said once for all springs."""
    if any(row.coil_bind_margin_mm is not None for row in rows):
        yield info("coil_bind_margin", GUIDANCE)
    bound = [row.spring for row in rows if row.coil_bind_margin_mm is not None and row.coil_bind_margin_mm <= 0.0]
    if bound:
        yield warning("coil_bind_margin", Phrase("coil bind before the valve is open: {names}", names=", ".join(bound)))
    if any(row.stress_factor is not None for row in rows):
        factor = next(row.stress_factor for row in rows if row.stress_factor is not None)
        yield info(
            "stress", Phrase("shear stress at the inside of the coil with the factor of {factor}", factor=factor)
        )
    if fit.stated.of_length() is None and any(row.free_length_drop_pct for row in rows):
        yield info(
            "free_length_drop", Phrase("without `height uncertainty` or `height resolution` it carries no uncertainty")
        )
    if fit.open_height_mm is None:
        yield info(
            "rate", Phrase("without installed height and valve lift the rate is over all free readings on that side")
        )


def kind_of(position: str | None) -> str | None:
    """`intake` or `exhaust` where a valve's name says so (`1I`, `3E2`, `intake 2`)."""
    if position is None:
        return None
    lobe = re.fullmatch(r"\d+\s*([IE])\d*", position.strip(), re.IGNORECASE)
    if lobe is not None:
        return "intake" if lobe.group(1).upper() == "I" else "exhaust"
    word = position.strip().casefold()
    return next((kind for kind in ("intake", "exhaust") if word.startswith(kind)), None)
