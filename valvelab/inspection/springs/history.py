"""The same springs again and again: what each lost from stage to stage, and when it is due."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from math import floor
from typing import Literal

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate
from valvelab.frozen import frozen
from valvelab.inspection.springs.analysis import Read, SpringAnalysis, stage_rank
from valvelab.inspection.springs.characteristics import row_of
from valvelab.phrase import Phrase
from valvelab.pieces import in_pieces
from valvelab.records.result import Note, Verdict, info
from valvelab.records.springs_result import Due, SpringHistory, SpringTrend, StageDay
from valvelab.springs.trend import Crossing, Trend, crossing, fit_trend

FOLLOWED = ("seat_force", "open_force", "rate", "free_length")
"""Characteristics that are followed from stage to stage."""
HORIZON = 10.0
"""A line is carried no further than so many times the span over which it was watched (ours; no source)."""
GUIDANCE = Phrase(
    "common practice, as guidance and never as a limit: a spring that lost more than 10 % of "
    "its seat force is due to be replaced, unless the maker says otherwise"
)
EXTRAPOLATED = Phrase(
    "when a spring is due is an extrapolation: the straight line of its stages carried on, "
    "which a spring that tires faster does not keep; what the tester's calibration moved "
    "between stages is not seen"
)
Over = Literal["date", "stage"]


def histories(analyses: Iterable[SpringAnalysis], verdicts: Sequence[Verdict]) -> list[SpringHistory]:
    """What is to be said of every spring with several stages; `analyses` hold each spring's as they followed."""
    stages: dict[str, list[SpringAnalysis]] = {}
    for one in analyses:
        stages.setdefault(one.name, []).append(one)
    several = {name: each for name, each in stages.items() if len(each) > 1}
    limits: dict[tuple[str, str], list[Verdict]] = {}
    for verdict in verdicts if several else ():
        limits.setdefault((verdict.item, verdict.characteristic), []).append(verdict)
    return [_history(name, each, limits) for name, each in in_pieces(several.items())]


def history_notes(found: Sequence[SpringHistory]) -> Iterator[Note]:
    """What is to be said of all of them."""
    if not found:
        return
    yield info("seat_force_drop", GUIDANCE)
    if any(stage_rank(one.stages[0].stage) for one in found):
        yield info("history", Phrase("where no stage is called new, drops count from the first"))
    if any(stage_rank(one.stages[1].stage) == 1 for one in found):
        yield info("history", Phrase("trends begin with the run-in stage: what running in costs does not go on"))
    if any(due.extrapolated for one in found for trend in one.trends for due in trend.due):
        yield info("history", EXTRAPOLATED)


@frozen
class _Stages:
    """The stages of one spring: where each stands along the trend, and which of them the trend goes through."""

    reads: tuple[Read, ...]
    over: Over
    places: FloatArray
    counts: FloatArray

    @classmethod
    def of(cls, each: Sequence[SpringAnalysis]) -> _Stages:
        days = [one.readings.date for one in each]
        known = [date.fromisoformat(day).toordinal() for day in days if day is not None]
        by_date = len(known) == len(each) and known[-1] > known[0]
        places = np.array(known if by_date else range(len(each)), dtype=np.float64)
        counts = np.ones(len(each))
        if stage_rank(each[0].readings.stage) == 0 and stage_rank(each[1].readings.stage) == 1:
            counts[0] = 0.0
        return cls(tuple(one.once(Read.of) for one in each), "date" if by_date else "stage", places, counts)

    @property
    def span(self) -> tuple[float, float]:
        """Places of the first and the last stage of the trend."""
        used = self.places[self.counts > 0.0]
        return float(used[0]), float(used[-1])


def _history(name: str, each: Sequence[SpringAnalysis], limits: dict[tuple[str, str], list[Verdict]]) -> SpringHistory:
    stages = _Stages.of(each)
    trends = []
    for characteristic in FOLLOWED:
        lower = [row for row in limits.get((name, characteristic), ()) if row.lower is not None]
        upper = [row for row in limits.get((name, f"{characteristic}_drop"), ()) if row.upper is not None]
        trends.append(_trend(characteristic, stages, [*lower, *upper]))
    return SpringHistory(
        spring=name,
        over=stages.over,
        stages=tuple(StageDay(stage=one.readings.stage, date=one.readings.date) for one in each),
        trends=tuple(trends),
    )


def _trend(characteristic: str, stages: _Stages, limits: Sequence[Verdict]) -> SpringTrend:
    row = row_of(characteristic)
    used = int(stages.counts.sum())
    first = stages.reads[int(np.argmax(stages.counts))].stated.readings
    plain = SpringTrend(
        characteristic=characteristic,
        unit=row.unit,
        stages=used,
        from_stage=first.stage or first.date,
        slope_unit=f"{row.unit} per {'day' if stages.over == 'date' else 'stage'}",
    )

    def nothing(reason: str) -> SpringTrend:
        due = tuple(_due_for(limit, reason) for limit in limits)
        return plain.model_copy(update={"reason": reason, "due": due})

    told = [read.told(row.of) for read in stages.reads]
    values = [measured.value for measured, _, _ in told]
    if lacking := next((measured for measured, _, _ in told if measured.value is None), None):
        return nothing(lacking.reason)
    if doubt := next((measured.doubt for measured, _, _ in told if measured.doubt), ""):
        return nothing(doubt)
    y = np.array(values, dtype=np.float64)
    seen = np.sqrt([variance for _, variance, _ in told])
    try:
        trend = fit_trend(stages.places, y, seen if (seen > 0.0).all() else None, stages.counts)
    except CannotEvaluate as error:
        return nothing(str(error) if used > 1 else "one stage after running in shows no trend")
    tester = max(deviation for _, _, deviation in told)
    significant = trend.significant()
    return plain.model_copy(
        update={
            "slope": trend.slope,
            "slope_standard_uncertainty": trend.slope_u,
            "value_at_last_stage": trend.at(stages.span[1]),
            "significant": significant,
            "reason": None if significant else _insignificant(trend),
            "due": tuple(_due(limit, trend, stages, y, tester) for limit in limits),
        }
    )


def _insignificant(trend: Trend) -> str:
    if trend.freedom == 0:
        return Phrase("two stages show no scatter about a line: three or more tell when it is due")
    return Phrase("no trend beyond the scatter of {freedom} stages (95 %)", freedom=trend.freedom + 2)


def _due_for(limit: Verdict, reason: str | None = None) -> Due:
    """A limit, and why nothing is said of it."""
    stated = limit.lower if limit.upper is None or not limit.characteristic.endswith("_drop") else limit.upper
    assert stated is not None
    return Due(limit_of=limit.characteristic, limit=stated, unit=limit.unit, reason=reason)


def _due(limit: Verdict, trend: Trend, stages: _Stages, y: FloatArray, tester_u: float) -> Due:
    """When the trend reaches a limit; one on what was lost is a share of the first stage's value."""
    plain = _due_for(limit)
    share, gains, level = 0.0, None, plain.limit
    if limit.characteristic.endswith("_drop"):
        share = 1.0 - plain.limit / 100.0
        level, gains = share * float(y[0]), np.zeros(y.size)
        gains[0] = share
    if not trend.significant():
        return plain.model_copy(update={"reason": _insignificant(trend)})
    if trend.slope >= 0.0:
        return plain.model_copy(update={"reason": Phrase("it does not fall")})
    met = crossing(trend, level, gains, (1.0 - share) * tester_u)
    begin, end = stages.span
    furthest = end + HORIZON * (end - begin)
    if met is None or met.place < begin:
        return plain.model_copy(update={"reason": Phrase("the limit was passed before the trend begins")})
    if met.place > furthest:
        far = Phrase("further off than {times} times as long as it was watched", times=f"{HORIZON:g}")
        return plain.model_copy(update={"reason": far})
    return plain.model_copy(update={**_when(met, stages.over, furthest), "extrapolated": met.place > end})


def _when(met: Crossing, over: Over, furthest: float) -> dict[str, str | float | None]:
    ends = {"due": met.place, "earliest": met.earliest, "latest": met.latest if met.latest <= furthest else None}
    if over == "stage":
        return {f"{name}_stage": place for name, place in ends.items()}
    return {
        f"{name}_date": None if place is None else (date.min + timedelta(floor(place) - 1)).isoformat()
        for name, place in ends.items()
    }
