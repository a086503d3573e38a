"""What the plot of a rule on lift shows: readings, limit and guard band on one scale."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from valvelab.conformity.decision import guard_band
from valvelab.decimals import USUAL, limit
from valvelab.figures.description import Axis, Band, Figure, Guide, Marks, Role, block, level, mark, words
from valvelab.phrase import Phrase
from valvelab.records.lift_check_result import CheckedLift
from valvelab.records.result import Verdict
from valvelab.records.spec import DecisionRule
from valvelab.units import System, display_unit, show


def rule_figure(
    verdict: Verdict | None,
    readings: Sequence[float],
    derived_mm: float | None,
    guard_mm: float,
    units: System = "metric",
    decimals: int = USUAL["mm"][0],
) -> Figure:
    """The rule's limit on a scale of lift: readings in a row, their mean with ± 2 u, limit, and guard band.

    `guard_mm`: how far inside a limit the mean must lie to be accepted; 0 without a guarded rule or uncertainty.
    `decimals`: of the verdict's value.
    """
    measured, u = (None, None) if verdict is None else (verdict.measured, verdict.standard_uncertainty)
    lower, upper = (None, None) if verdict is None else (verdict.lower, verdict.upper)
    label = display_unit("mm", units).label
    places = [v for v in (lower, upper, measured, derived_mm, *readings) if v is not None]
    low, high = (min(places), max(places)) if places else (0.0, 1.0)
    room = max(0.35 * (high - low), 4.0 * guard_mm, 5.0 * (u or 0.0), 0.02)
    low, high = low - room, high + room
    bands = []
    for end, inward in ((lower, 1.0), (upper, -1.0)):
        if end is None:
            continue
        edge = low if inward > 0.0 else high
        bands.append(_strip(edge, end, "reject", "outside"))
        if guard_mm > 0.0:
            bands.append(_strip(end, end + inward * guard_mm, "undecided", "guard band"))
    marks = []
    if readings:
        height = np.linspace(0.62, 0.92, len(readings)) if len(readings) > 1 else np.array([0.75])
        marks.append(Marks(np.array(readings), height, "series", "reading"))
    curves = []
    if measured is not None and verdict is not None:
        role: Role = verdict.decision
        text = Phrase(
            "mean {size}" if readings else "derived {size}", size=f"{show(measured, 'mm', units, decimals)} {label}"
        )
        marks += [mark(measured, 0.35, role), words(measured, 0.5, text, role)]
        if u is not None:
            curves.append(level((measured - 2.0 * u, measured + 2.0 * u), 0.35, role, "± 2 u"))
    guides = tuple(Guide(end, "x", "reject") for end in (lower, upper) if end is not None)
    away, kept = 0.17 * (high - low), 0.14 * (high - low)
    for end, side in ((lower, -1.0), (upper, 1.0)):
        if end is not None:
            place = min(max(end + side * away, low + kept), high - kept)
            marks.append(
                words(place, 0.1, Phrase("limit {size}", size=f"{limit(end, decimals, 'mm', units)} {label}"), "reject")
            )
    if derived_mm is not None and readings:
        guides = (*guides, Guide(derived_mm, "x", "guide"))
        marks.append(words(derived_mm - 0.7 * away, 0.1, "from the lobe", "nominal"))
    across, up = Axis("Lift at the retainer, lash zero", "mm", (low, high)), Axis("", "", (0.0, 1.0))
    shown = (tuple(curves), tuple(bands), tuple(marks), guides)
    return Figure("rule_lift", "Rule lift", across, up, *shown, axes="x")


def _strip(start: float, end: float, role: Role, label: str) -> Band:
    return block((min(start, end), max(start, end)), (0.0, 1.0), role, label)


def scale_figure(row: CheckedLift, verdict: Verdict, rule: DecisionRule, decimals: int, system: System) -> Figure:
    """A valve's readings, mean, limit and guard band."""
    guard = guard_band(verdict.standard_uncertainty, rule.rule, rule.confidence)
    lifts = row.lifts_mm
    return rule_figure(verdict, lifts, None, guard, system, decimals)
