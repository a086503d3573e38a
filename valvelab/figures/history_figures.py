"""Plots of parts that were measured again and again: from stage to stage of a spring, from record to record."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from math import inf
from typing import TYPE_CHECKING, cast

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.figures.description import Axis, Curve, Figure, Guide, Marks, Unit, level, mark, words
from valvelab.figures.spring_figures import joined
from valvelab.inspection.characteristics import printed
from valvelab.phrase import Phrase

if TYPE_CHECKING:
    from valvelab.records.records_result import HistoryPoint, HistoryRow
    from valvelab.records.springs_result import Due, SpringHistory, SpringResult, SpringsResult, SpringTrend

SHOWN = "seat_force"
NAME_ROOM = 0.22
"""Room that a date needs, of an axis."""
SIDE_ROOM, LEAST_ROOM_DAYS = 0.2, 20.0
"""Room beside the first and the last record."""
ROOM_BELOW, ROOM_ABOVE, NAME_ABOVE = 0.08, 0.2, 0.04
"""Room below and above what is drawn, and how far above a value its remark stands, of its height."""
OVERDUE = "calibration overdue"


def due_first(history: SpringHistory) -> tuple[float, str]:
    """Sorts springs by when the first limit on their seat force is reached, those without such a time last."""
    return min((place for _, place, _ in _reached(history)), default=inf), history.spring


def history_figure(result: SpringsResult, spring: str) -> Figure | None:
    """Seat force of a spring from stage to stage, its trend carried on to the limits it reaches; the others quiet.

    None for a spring that was read in one stage, and for one without a seat force in some stage.
    """
    history = next((one for one in result.history if one.spring == spring), None)
    if history is None:
        return None
    rows: dict[str, list[SpringResult]] = {}
    for row in result.springs:
        rows.setdefault(row.spring, []).append(row)
    x, force = _forces(rows[spring], history.over)
    if not np.isfinite(force).all():
        return None
    reached, trend = _reached(history), _trend(history)
    others = [one.spring for one in result.history if one.over == history.over and one.spring != spring]
    curves = (
        [Curve(*joined([_forces(rows[name], history.over) for name in others]), "measured_quiet")] if others else []
    )
    marks, guides = [Marks(x, force, "measured", spring)], []
    end = max([float(x[-1]), *(place for _, place, _ in reached)])
    if trend.slope is not None and trend.value_at_last_stage is not None:
        begin = float(x[x.size - trend.stages])
        line = trend.value_at_last_stage + trend.slope * (np.array([begin, end]) - x[-1])
        curves.append(Curve(np.array([begin, end]), line, "fit", Phrase("trend")))
        for due, place, (earliest, latest) in reached:
            force_there = trend.value_at_last_stage + trend.slope * (place - float(x[-1]))
            guides.append(
                Guide(
                    force_there, "y", "reject", Phrase("limit on {what}", what=Phrase(due.limit_of.replace("_", " ")))
                )
            )
            curves.append(level((earliest, end if latest is None else latest), force_there, "outside"))
            marks.append(mark(place, force_there, "undecided"))
    stages = [(stage.date if history.over == "date" else stage.stage) or "" for stage in history.stages]
    named = [*zip(x.tolist(), stages, strict=True), *((place, _told(due)) for due, place, _ in reached)]
    ends = [*x.tolist(), *(place for _, at, (_, latest) in reached for place in (at, latest) if place is not None)]
    room = 0.5 * NAME_ROOM * (max(ends) - min(ends))
    across = Axis(history.over, "", (min(ends) - room, max(ends) + room), names=_apart(named))
    seat = Axis("seat force", "N")
    title = "Seat force from stage to stage"
    return Figure("history", title, across, seat, tuple(curves), marks=tuple(marks), guides=tuple(guides))


def timeline_figure(rows: Sequence[HistoryRow], item: str) -> Figure | None:
    """One characteristic of an item from record to record, each value with ± 2 u and the limits that it was held to.

    rows: those of the characteristic; other items are drawn quiet. A value whose instrument was out of calibration is
    hollow and says so. None for an item without a value.
    """
    row = next((one for one in rows if one.item == item), None)
    points = [] if row is None else [point for point in row.points if point.value is not None]
    if row is None or not points:
        return None
    others = [_values(one.points) for one in rows if one.item != item]
    curves = [Curve(*joined(others), "measured_quiet")] if others else []
    x, y = _values(points)
    curves += [Curve(x, y, "measured"), Curve(*joined([_whisker(point) for point in points]), "fit", "± 2 u")]
    guides: list[Guide] = []
    for end in ("lower", "upper"):
        held = [(_day(point.date), limit) for point in points if (limit := getattr(point, end)) is not None]
        if len({limit for _, limit in held}) == 1:
            guides.append(Guide(held[0][1], "y", "reject", Phrase(f"{end} limit")))
        elif held:
            places, limits = np.array(held).T
            curves.append(Curve(places, limits, "outside", Phrase(f"{end} limit")))
    low, high = _heights([point for one in rows for point in one.points])
    marks = [_dated(point) for point in points] + _overdue(points, NAME_ABOVE * (high - low))
    places = np.concatenate([x, *(days for days, _ in others)])
    ends = float(places.min()), float(places.max())
    room = max(SIDE_ROOM * (ends[1] - ends[0]), LEAST_ROOM_DAYS)
    named = [(place, date.fromordinal(round(place)).isoformat()) for place in sorted({*x.tolist(), *ends})]
    across = Axis("measured on", "", (ends[0] - room, ends[1] + room), names=_apart(named))
    title = Phrase("{what} of {item}", what=Phrase(printed(row.characteristic, row.unit)), item=item)
    up = Axis(printed(row.characteristic, row.unit), cast("Unit", row.unit), (low, high))
    return Figure(f"timeline in {row.unit}", title, across, up, tuple(curves), marks=tuple(marks), guides=tuple(guides))


def _values(points: Sequence[HistoryPoint]) -> tuple[FloatArray, FloatArray]:
    """Days and values of points, (n,) each; NaN where a value is missing."""
    values = [np.nan if point.value is None else point.value for point in points]
    return np.array([_day(point.date) for point in points]), np.array(values)


def _whisker(point: HistoryPoint) -> tuple[FloatArray, FloatArray]:
    return np.full(2, _day(point.date)), np.array(_reach(point))


def _reach(point: HistoryPoint) -> tuple[float, float]:
    value, reach = point.value or 0.0, 2.0 * (point.standard_uncertainty or 0.0)
    return value - reach, value + reach


def _heights(points: Sequence[HistoryPoint]) -> tuple[float, float]:
    """What is to be seen from bottom to top: values, what they are uncertain by, and limits."""
    seen = [point for point in points if point.value is not None]
    ends = [end for point in seen for end in (*_reach(point), point.lower, point.upper) if end is not None]
    height = max(ends) - min(ends) or abs(ends[0]) or 1.0
    return min(ends) - ROOM_BELOW * height, max(ends) + ROOM_ABOVE * height


def _dated(point: HistoryPoint) -> Marks:
    """A value as what was decided on it."""
    place, value = np.array([_day(point.date)]), np.array([point.value or 0.0])
    return Marks(place, value, point.decision or "measured", hollow=point.out_of_calibration)


def _overdue(points: Sequence[HistoryPoint], above: float) -> list[Marks]:
    """What is said above values that an instrument out of calibration read."""
    found = [point for point in points if point.out_of_calibration]
    return [words(_day(point.date), _reach(point)[1] + above, OVERDUE, "undecided") for point in found]


def _told(due: Due) -> str:
    """When it is due, as it stands along the axis."""
    return due.due_date or f"{due.due_stage:.1f}"


def _apart(named: list[tuple[float, str]]) -> tuple[tuple[float, str], ...]:
    """Names along an axis, those left out that would run into the one before."""
    ordered = sorted(named)
    room = NAME_ROOM * (ordered[-1][0] - ordered[0][0])
    kept = ordered[:1]
    for place, name in ordered[1:]:
        if place >= kept[-1][0] + room:
            kept.append((place, name))
    return tuple(kept)


def _trend(history: SpringHistory) -> SpringTrend:
    return next(trend for trend in history.trends if trend.characteristic == SHOWN)


def _reached(history: SpringHistory) -> list[tuple[Due, float, tuple[float, float | None]]]:
    """Limits that the trend reaches, where along the axis, and the ends of the interval there."""
    found: list[tuple[Due, float, tuple[float, float | None]]] = []
    for due in _trend(history).due:
        if due.due_stage is not None and due.earliest_stage is not None:
            found.append((due, due.due_stage, (due.earliest_stage, due.latest_stage)))
        elif due.due_date is not None and due.earliest_date is not None:
            latest = None if due.latest_date is None else _day(due.latest_date)
            found.append((due, _day(due.due_date), (_day(due.earliest_date), latest)))
    return found


def _day(iso: str) -> float:
    return float(date.fromisoformat(iso).toordinal())


def _forces(rows: Sequence[SpringResult], over: str) -> tuple[FloatArray, FloatArray]:
    """Places and seat forces of a spring's stages, (n,) each; NaN where there is none."""
    dates = [row.date for row in rows if over == "date" and row.date is not None]
    x = list(map(_day, dates)) or list(map(float, range(len(rows))))
    return np.array(x), np.array([np.nan if row.seat_force_n is None else row.seat_force_n for row in rows])
