"""Where on the plots of form a verdict that is not accepted is decided: a journal, a stretch of a trace, a reading.

Figures are handed over and come back with the places marked in the shape and colour of their decisions.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from valvelab.camshaft.material_ratio import CoreParameters, core_parameters
from valvelab.camshaft.texture import parameters
from valvelab.figures.description import Figure, Marks, block, level, mark
from valvelab.figures.gauge_figures import means_figure, ranges_figure
from valvelab.inspection.form.characteristics import TRACE
from valvelab.phrase import Phrase

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from valvelab.inspection.form.gauge import GaugeInspection
    from valvelab.inspection.form.shaft import ShaftInspection
    from valvelab.inspection.form.texture import TextureInspection
    from valvelab.records.result import Decision, Verdict

_AXIS = {"straightness", "straightness_least_squares"}
_TRACE = {row.name: row for row in TRACE}
_OF_THE_CURVE = {"rk", "rpk", "rvk", "rmrk1", "rmrk2"}
_BESIDE, _OVER_PERCENT = 0.25, 20.0
"""How far a mark of the shares stands beside the one before, and over its bar: clear of the number there."""


def not_accepted(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """Verdicts on something measured that was not accepted."""
    return [row for row in verdicts if row.decision != "accept" and row.measured is not None]


def place_of(inspection: ShaftInspection, verdict: Verdict) -> str:
    """The journal or lobe at which a verdict on a shaft is decided, by name."""
    result = inspection.result
    if verdict.characteristic in _AXIS:
        return result.straightness.worst_station or verdict.item
    if verdict.characteristic == "taper" and result.tapers:
        return max(result.tapers, key=lambda row: abs(row.taper_um)).station
    return verdict.item


def marked_section(figure: Figure, inspection: ShaftInspection, worst: Mapping[str, Decision]) -> Figure:
    """The journal centres end on, those marked that the straightness is not accepted for. worst: by journal."""
    line, names = inspection.axis.minimum_zone, inspection.axis.names
    if line is None:
        return figure
    spots = [(1000.0 * line.offsets_mm[number], worst[name]) for number, name in enumerate(names) if name in worst]
    marks = tuple(replace(mark(float(x), float(y), decision), size=1.6) for (x, y), decision in spots)
    return replace(figure, marks=(*figure.marks, *marks))


def marked_roughness(figure: Figure, inspection: TextureInspection) -> Figure:
    """The roughness, a bar over the section that moves each parameter most to the wrong side; the extremes of Rt."""
    rough, verdicts = inspection.rough, not_accepted(inspection.result.verdicts)
    sections = list(pairwise(rough.bounds))
    heights = rough.evaluated_um
    high, step = float(heights.max()), float(np.ptp(heights))
    bands, marks = list(figure.bands), list(figure.marks)
    named: dict[tuple[int, Decision], list[str]] = {}
    for verdict in verdicts:
        name = verdict.characteristic
        if name == "rt":
            ends = (rough.start + int(heights.argmax()), rough.start + int(heights.argmin()))
            marks += [mark(float(rough.x_mm[n]), float(rough.roughness_um[n]), verdict.decision, "Rt") for n in ends]
        elif name not in _OF_THE_CURVE:
            number = _worst_section(inspection, verdict, sections)
            named.setdefault((number, verdict.decision), []).append(_TRACE[name].head)
    for (number, decision), heads in named.items():
        start, stop = (float(rough.x_mm[min(end, rough.x_mm.size - 1)]) for end in sections[number])
        bands.append(block((start, stop), (high + 0.04 * step, high + 0.08 * step), decision))
        marks.append(mark(0.5 * (start + stop), high + 0.16 * step, decision, ", ".join(heads)))
    return replace(figure, bands=tuple(bands), marks=tuple(marks))


def _worst_section(inspection: TextureInspection, verdict: Verdict, sections: Sequence[tuple[int, int]]) -> int:
    """The number of the section whose own value lies farthest to the side of the limit that is nearest."""
    rough, key = inspection.rough, _TRACE[verdict.characteristic].key
    own = [
        getattr(parameters(rough.roughness_um[start:stop], (0, stop - start), rough.spacing_mm), key)
        for start, stop in sections
    ]
    known = np.asarray([np.nan if value is None else value for value in own])
    if np.isnan(known).all():
        return 0
    nearest = verdict.nearest
    return int(np.nanargmax(known) if nearest is None or nearest.upper else np.nanargmin(known))


def marked_ratio(figure: Figure, inspection: TextureInspection) -> Figure:
    """The material ratio with its peaks, core or valleys marked that are not accepted."""
    core = core_parameters(inspection.rough.evaluated_um)
    if core is None:
        return figure
    marks = tuple(
        mark(*_on_the_curve(core, row.characteristic), row.decision)
        for row in not_accepted(inspection.result.verdicts)
        if row.characteristic in _OF_THE_CURVE
    )
    return replace(figure, marks=(*figure.marks, *marks))


def _on_the_curve(core: CoreParameters, name: str) -> tuple[float, float]:
    """Where on the material ratio curve a parameter is seen: %, µm."""
    return {
        "rk": (50.0, 0.5 * (core.upper_um + core.lower_um)),
        "rpk": (core.rmrk1_pct / 3.0, core.upper_um + core.rpk_um / 3.0),
        "rvk": (100.0 - (100.0 - core.rmrk2_pct) / 3.0, core.lower_um - core.rvk_um / 3.0),
        "rmrk1": (core.rmrk1_pct, core.upper_um),
        "rmrk2": (core.rmrk2_pct, core.lower_um),
    }[name]


def marked_shares(figure: Figure, inspection: GaugeInspection) -> Figure:
    """The shares of variation with the gauge's own marked where it is not accepted, under the limit on it."""
    share = inspection.result.anova.grr_percent
    curves, marks = list(figure.curves), list(figure.marks)
    for number, verdict in enumerate(not_accepted(inspection.result.verdicts)):
        marks.append(mark(1.0 + _BESIDE * number, (share or 0.0) + _OVER_PERCENT, verdict.decision))
        if verdict.characteristic == "grr_percent" and verdict.upper is not None:
            curves.append(level((0.55, 1.45), verdict.upper, "reject", "limit"))
    return replace(figure, curves=tuple(curves), marks=tuple(marks))


def worst_readings(inspection: GaugeInspection, decision: Decision) -> Figure:
    """The chart that shows what spoils a gauge, its worst place marked.

    Where appraisers differ more than trials, their means, at the reading farthest from its part's mean; else the ranges
    of trials, at the greatest.
    """
    readings, found = inspection.question.readings, inspection.result.anova
    values = readings.readings
    if (found.reproducibility_sd or 0.0) > (found.repeatability_sd or 0.0):
        means = values.mean(axis=2)
        off, shown, figure = np.abs(means - means.mean(axis=1, keepdims=True)), means, means_figure(inspection)
    else:
        off = shown = np.ptp(values, axis=2)
        figure = ranges_figure(inspection)
    part, appraiser = np.unravel_index(int(off.argmax()), off.shape)
    text = Phrase("part {part}, {appraiser}", part=readings.parts[part], appraiser=readings.appraisers[appraiser])
    where = Marks(np.array([part + 1.0]), np.array([shown[part, appraiser]]), decision, texts=(text,), size=1.4)
    return replace(figure, marks=(*figure.marks, where))
