"""Spring readings inspected: every spring's numbers with their uncertainty, and its verdicts."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import hypot

import numpy as np

from valvelab.inspection.judging import Item, judge
from valvelab.inspection.springs.analysis import Fit, Number, SpringAnalysis, analyse, fit_of
from valvelab.inspection.springs.characteristics import KEY_OF
from valvelab.inspection.springs.wire import WireNumbers, wire_numbers
from valvelab.measured import Measured
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
GUIDANCE = (
    "common practice, as guidance and never as a limit: about 1.5 mm (0.060 in) of coil-bind margin in all for steel "
    "race springs and 1.3 mm (0.050 in) from retainer to seal, unless the maker says otherwise"
)
CAUTION = "Valve springs hold energy: eye protection, sound tools, hands clear."


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class SpringsInspection:
    """The result and the working behind it, one analysis for each row of the result; the spec it was held against."""

    fit: Fit
    analyses: tuple[SpringAnalysis, ...]
    result: SpringsResult
    spec: Spec | None = None


def analyse_all(question: SpringsQuestion) -> tuple[Fit, tuple[SpringAnalysis, ...], list[Note]]:
    """Every spring analysed, in the file's order; readings that can't be used are refused with their place."""
    fit, notes = fit_of(question.table, question.spec, question.materials, question.spec_file)
    analyses = tuple(analyse(readings, fit, question.table.file) for readings in question.table.springs)
    return fit, analyses, [*question.table.notes, *notes]


def inspect_springs(question: SpringsQuestion) -> SpringsInspection:
    """Inspect every spring of a file and hold it against the spec."""
    fit, analyses, notes = analyse_all(question)
    wires = [wire_numbers(analysis, question.stress_factor) for analysis in analyses]
    numbers = _all_numbers(analyses, wires)
    rows = tuple(map(_row, analyses, wires, numbers))
    notes += _missing(fit, analyses, numbers) + _coil_bind_notes(analyses) + _common(fit, rows)
    verdicts, remarks = _judged(question, analyses, numbers)
    notes += remarks
    result = SpringsResult(
        source=question.sources,
        notes=tuple(dict.fromkeys(notes)),
        verdicts=tuple(verdicts),
        installed_height_mm=fit.installed_height_mm,
        valve_lift_mm=fit.valve_lift_mm,
        springs=rows,
    )
    return SpringsInspection(fit, analyses, result, question.spec)


def spring_verdicts(question: SpringsQuestion, analyses: tuple[SpringAnalysis, ...]) -> list[Verdict]:
    """What the spec says of springs that were analysed already, each in its last stage; empty without a spec."""
    wires = [wire_numbers(analysis, question.stress_factor) for analysis in analyses]
    return _judged(question, analyses, _all_numbers(analyses, wires))[0]


def _all_numbers(analyses: tuple[SpringAnalysis, ...], wires: Sequence[WireNumbers]) -> list[dict[str, Number]]:
    losses = _set_losses(analyses)
    alone = Number(None, None, "no `new` stage to compare with")
    return [
        _numbers(analysis, wire, losses.get(number, alone))
        for number, (analysis, wire) in enumerate(zip(analyses, wires, strict=True))
    ]


def _judged(
    question: SpringsQuestion, analyses: tuple[SpringAnalysis, ...], numbers: Sequence[Mapping[str, Number]]
) -> tuple[list[Verdict], list[Note]]:
    """Verdicts on every spring in its last stage, and what is to be said of them."""
    if question.spec is None:
        return [], []
    chosen = latest_stages(analyses)
    items = [_item(analyses[number], numbers[number]) for number in chosen]
    verdicts, notes = judge(question.spec, {"spring": items}, question.spec_file)
    if len(chosen) < len(analyses):
        notes.insert(0, info("verdicts", "springs read in several stages are judged in their last stage"))
    return verdicts, notes


def _is_run_in(stage: str | None) -> bool:
    return stage is not None and re.sub(r"[\s_-]", "", stage.casefold()) == "runin"


def _set_losses(analyses: tuple[SpringAnalysis, ...]) -> dict[int, Number]:
    """Seat force of the `new` stage − that of the `run-in` stage, at the row of the latter."""
    new = {a.name: a.seat_force() for a in analyses if (a.readings.stage or "").casefold() == "new"}
    losses: dict[int, Number] = {}
    for number, analysis in enumerate(analyses):
        before = new.get(analysis.name)
        if before is None or not _is_run_in(analysis.readings.stage):
            continue
        after = analysis.seat_force()
        if before.value is None or after.value is None:
            losses[number] = Number(None, None, before.reason or after.reason)
            continue
        both = (before.standard_uncertainty, after.standard_uncertainty)
        u = None if None in both else hypot(*(part for part in both if part is not None))
        losses[number] = Number(before.value - after.value, u)
    return losses


def latest_stages(analyses: tuple[SpringAnalysis, ...]) -> list[int]:
    """Row of each spring's last stage: `run-in` where there is one, else the last in the file."""
    last: dict[str, int] = {}
    for number, analysis in enumerate(analyses):
        held = last.get(analysis.name)
        if held is None or not _is_run_in(analyses[held].readings.stage):
            last[analysis.name] = number
    return sorted(last.values())


def _row(analysis: SpringAnalysis, wire: WireNumbers, numbers: Mapping[str, Number]) -> SpringResult:
    heights, forces = analysis.free_readings()
    rates = np.zeros(0)
    if heights.size > 1:
        heights, rates = rate_curve(heights, forces)
    fit = analysis.rate_fit
    return SpringResult(
        spring=analysis.name,
        stage=analysis.readings.stage,
        position=analysis.readings.position,
        rate_fit=None
        if fit is None
        else RateLine(
            intercept_n=fit.intercept_n,
            slope_n_per_mm=fit.slope_n_per_mm,
            residual_sd_n=fit.residual_sd_n,
            readings=fit.readings,
            low_mm=fit.low_mm,
            high_mm=fit.high_mm,
        ),
        rate_curve=None
        if rates.size == 0
        else RateCurve(height_mm=tuple(map(float, heights)), rate_n_per_mm=tuple(map(float, rates))),
        progressive=None if rates.size < 3 else bool(rates[0] > PROGRESSIVE * rates[-1]),
        solid_height_from=None
        if analysis.solid.value is None
        else ("readings" if analysis.solid_from_readings else "stated"),
        stress_factor=wire.factor,
        tensile_strength_mpa=wire.tensile_mpa,
        elements=tuple(ElementResult(**row) for row in wire.elements),
        uncertainty={key: number.standard_uncertainty for key, number in numbers.items()},
        **{key: number.value for key, number in numbers.items()},
    )


def _numbers(analysis: SpringAnalysis, wire: WireNumbers, loss: Number) -> dict[str, Number]:
    """Every judged number by its JSON key."""
    margin = analysis.margin()
    coils = analysis.elements[0].coil.active_coils if len(analysis.elements) == 1 else None
    fit = analysis.rate_fit
    rate = Number(None, None, analysis.rate_reason)
    if fit is not None:
        rate = Number(fit.rate_n_per_mm, fit.rate_uncertainty_n_per_mm)
    return {
        "seat_force_n": analysis.seat_force(),
        "open_force_n": analysis.open_force(),
        "rate_n_per_mm": rate,
        "solid_height_mm": analysis.solid,
        "coil_bind_margin_mm": margin,
        "margin_per_coil_mm": _per_coil(margin, coils),
        "free_length_mm": analysis.free_length(),
        "hysteresis_n": analysis.hysteresis(),
        "set_loss_n": loss,
        **wire.numbers,
    }


def _per_coil(margin: Number, coils: float | None) -> Number:
    if margin.value is None or coils is None:
        return Number(None, None, margin.reason or "no active coils are stated")
    u = margin.standard_uncertainty
    return Number(margin.value / coils, None if u is None else u / coils)


def _about(analysis: SpringAnalysis) -> str:
    stage = analysis.readings.stage
    return analysis.name if stage is None else f"{analysis.name} {stage}"


def _names(names: list[str]) -> str:
    """Up to eight names; `and n more` after that."""
    shown = list(dict.fromkeys(names))
    return ", ".join(shown[:8]) + (f" and {len(shown) - 8} more" if len(shown) > 8 else "")


def _missing(fit: Fit, analyses: Sequence[SpringAnalysis], numbers: Sequence[Mapping[str, Number]]) -> list[Note]:
    """Why numbers are missing, springs of one reason together; what the file lacks as a whole was said already."""
    reasons: dict[tuple[str, str], list[str]] = {}
    offers = {"rate": "rate_n_per_mm", "solid_height": "solid_height_mm"}
    if fit.installed_height_mm is not None:
        offers["seat_force"] = "seat_force_n"
    if fit.open_height_mm is not None:
        offers["open_force"] = "open_force_n"
    for analysis, known in zip(analyses, numbers, strict=True):
        for name, key in offers.items():
            if reason := known[key].reason:
                reasons.setdefault((name, reason), []).append(_about(analysis))
    return [warning(name, f"{_names(springs)}: {reason}") for (name, reason), springs in reasons.items()]


def _coil_bind_notes(analyses: tuple[SpringAnalysis, ...]) -> list[Note]:
    bound = [_about(a) for a in analyses if any(element.knee is not None for element in a.elements)]
    notes = []
    if bound:
        notes.append(info("coil bind", f"{_names(bound)}: readings past the knee end the range"))
    for analysis in analyses:
        notes += _solid_notes(analysis, _about(analysis))
    return notes


def _solid_notes(analysis: SpringAnalysis, about: str) -> list[Note]:
    stated = analysis.solid.value
    knees = [element.knee.solid_height_mm - element.offset_mm for element in analysis.elements if element.knee]
    if stated is None or analysis.solid_from_readings or not knees:
        return []
    seen = max(knees)
    if abs(stated - seen) <= SOLID_AGREES_MM:
        return []
    text = f"the readings show coil bind at {seen:.2f} mm, {stated:.2f} mm is stated; the stated height counts"
    return [warning(f"{about} solid_height_mm", text)]


def _common(fit: Fit, rows: tuple[SpringResult, ...]) -> list[Note]:
    """What is said once for all springs."""
    notes = []
    if any(row.coil_bind_margin_mm is not None for row in rows):
        notes.append(info("coil_bind_margin", GUIDANCE))
    bound = [row.spring for row in rows if row.coil_bind_margin_mm is not None and row.coil_bind_margin_mm <= 0.0]
    if bound:
        notes.append(warning("coil_bind_margin", f"coil bind before the valve is open: {', '.join(bound)}"))
    if any(row.stress_factor is not None for row in rows):
        factor = next(row.stress_factor for row in rows if row.stress_factor is not None)
        notes.append(info("stress", f"shear stress at the inside of the coil with the factor of {factor}"))
    if fit.open_height_mm is None:
        notes.append(
            info("rate", "without installed height and valve lift the rate is over all free readings on that side")
        )
    return notes


def kind_of(position: str | None) -> str | None:
    """`intake` or `exhaust` where a valve's name says so (`1I`, `3E2`, `intake 2`)."""
    if position is None:
        return None
    lobe = re.fullmatch(r"\d+\s*([IE])\d*", position.strip(), re.IGNORECASE)
    if lobe is not None:
        return "intake" if lobe.group(1).upper() == "I" else "exhaust"
    word = position.strip().casefold()
    return next((kind for kind in ("intake", "exhaust") if word.startswith(kind)), None)


def _item(analysis: SpringAnalysis, numbers: Mapping[str, Number]) -> Item:
    def look_up(name: str, at_mm: float | None) -> Measured | None:
        at_height = name == "force"
        number = analysis.force(at_mm, "no height `at` is given") if at_height else numbers[KEY_OF[name]]
        return Measured(number.value, number.standard_uncertainty, number.reason)

    return Item(analysis.name, kind_of(analysis.readings.position), look_up)


def values_of(analysis: SpringAnalysis, names: tuple[str, ...]) -> dict[str, Number]:
    """Some of a spring's characteristics, for matching: seat and open force, rate, solid height, free length."""
    fit = analysis.rate_fit
    known = {
        "seat_force": analysis.seat_force,
        "open_force": analysis.open_force,
        "rate": lambda: Number(None if fit is None else fit.rate_n_per_mm, None, analysis.rate_reason),
        "solid_height": lambda: analysis.solid,
        "free_length": analysis.free_length,
    }
    return {name: known[name]() for name in names}
