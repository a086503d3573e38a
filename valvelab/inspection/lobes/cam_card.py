"""The cam card of a measured shaft: its kinds of lobes at the lifts that cards state, placed by their centrelines.

Source: common practice of the trade; the events are arithmetic on lobe centres, durations and centrelines.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from valvelab.angles import wrap_scalar
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.measured import Measured, missing
from valvelab.phasing.timing import Kind, after_dead_centre, trade_number
from valvelab.phrase import Phrase
from valvelab.records.cam_card import CamCard, CardEvents, CardLift
from valvelab.records.lobes_result import LobeResult, LobesResult
from valvelab.records.measurement import COMPARISON_LIFT_MM

LIFTS_MM = (COMPARISON_LIFT_MM, 1.0)
"""0.050 in and 1 mm: the lifts that cam cards state events at (common practice, no source)."""
KINDS: tuple[Kind, ...] = ("intake", "exhaust")


@frozen
class CardRow:
    """A kind of lobe at one lift: events on the crank axis, duration between them; crank deg."""

    at_mm: float
    opening: Measured
    closing: Measured
    duration: Measured


@frozen
class CardKind:
    """The lobes of one kind, their means. centreline_deg as cards have it: intake ATDC, exhaust BTDC."""

    kind: Kind
    lobes: tuple[str, ...]
    lift: Measured
    valve_lift: Measured
    lash_mm: float | None
    centreline_deg: float
    rows: tuple[CardRow, ...]


@frozen
class MeasuredCard:
    """A card: its kinds, the measured lobe separation (cam deg), and whether a centreline was stated."""

    kinds: tuple[CardKind, ...]
    separation: Measured
    rocker_ratio: float | None
    stated: bool

    def overlap(self, number: int) -> Measured:
        """Exhaust closing − intake opening at the lift of that number, crank deg."""
        rows = {one.kind: one.rows[number] for one in self.kinds}
        if len(rows) < len(KINDS):
            return missing(Phrase("needs lobes of both kinds"))
        closing, opening = rows["exhaust"].closing, rows["intake"].opening
        if closing.value is None or opening.value is None:
            return missing(closing.reason or opening.reason)
        u = None if closing.u is None or opening.u is None else math.hypot(closing.u, opening.u)
        return Measured(closing.value - opening.value, u)

    @property
    def record(self) -> CamCard:
        """The card as a part of a spec, to 0.01 deg and 0.0001 mm; every lobe bears the mean of its kind."""
        found: dict[str, float | None] = {"rocker_ratio": self.rocker_ratio}
        for one in self.kinds:
            found[f"{one.kind}_centreline_deg"] = one.centreline_deg
            found[f"{one.kind}_lash_mm"] = one.lash_mm
        lifts = [
            CardLift(lobe=lobe, value_mm=round(one.lift.value, 4))
            for one in self.kinds
            for lobe in one.lobes
            if one.lift.value is not None
        ]
        durations = [row for one in self.kinds for lobe in one.lobes for row in _events(one, lobe)]
        return CamCard.model_validate({**found, "lift": tuple(lifts), "duration": tuple(durations)})


def _events(one: CardKind, lobe: str) -> Iterator[CardEvents]:
    for row in one.rows:
        if row.duration.value is not None and row.opening.value is not None and row.closing.value is not None:
            yield CardEvents(
                lobe=lobe,
                at_mm=row.at_mm,
                value_crank_deg=round(row.duration.value, 2),
                opening_deg=round(trade_number(one.kind, "opening", row.opening.value), 2),
                closing_deg=round(trade_number(one.kind, "closing", row.closing.value), 2),
            )


def measured_card(result: LobesResult, stated: CamCard | None) -> MeasuredCard:
    """The card of a result, with the centrelines, lash and ratio that are stated.

    Without a centreline the shaft stands straight up: each kind's is the lobe separation. Refused where neither a
    separation nor a centreline places a kind, or no lobe's name says its kind.
    """
    wanted = stated or CamCard()
    shaft = result.camshaft
    separation = Measured.of(
        shaft.lobe_separation_mean_cam_deg,
        shaft.uncertainty.get("lobe_separation_mean_cam_deg"),
        "needs lobes of both kinds",
    )
    found = []
    for kind in KINDS:
        lobes = [lobe for lobe in result.lobes if lobe.kind == kind]
        if lobes:
            found.append(_kind(kind, lobes, _centreline(kind, wanted, separation), wanted))
    if not found:
        raise CannotEvaluate(
            Reason.MISSING_INPUT,
            Phrase("cam card: found no lobe whose name says intake or exhaust, expected 1I, 1E, …"),
        )
    given = wanted.intake_centreline_deg is not None or wanted.exhaust_centreline_deg is not None
    return MeasuredCard(tuple(found), separation, wanted.rocker_ratio, given)


def _centreline(kind: Kind, stated: CamCard, separation: Measured) -> float:
    """The one stated, else what the other leaves of twice the separation, else the separation, to 0.01 deg."""
    lines = {"intake": stated.intake_centreline_deg, "exhaust": stated.exhaust_centreline_deg}
    own, other = lines[kind], lines["exhaust" if kind == "intake" else "intake"]
    if own is not None:
        return own
    if separation.value is None:
        found, expected = (
            Phrase("no lobe separation to place the {kind} lobes by", kind=kind),
            Phrase("{kind}_centreline in [card] of the spec", kind=kind),
        )
        raise CannotEvaluate(
            Reason.MISSING_INPUT, Phrase("cam card: found {found}, expected {expected}", found=found, expected=expected)
        )
    return round(separation.value if other is None else 2.0 * separation.value - other, 2)


def _kind(kind: Kind, lobes: list[LobeResult], centreline: float, stated: CamCard) -> CardKind:
    lift = _mean((lobe.max_lift_mm, lobe.uncertainty.get("max_lift_mm")) for lobe in lobes)
    ratio = stated.rocker_ratio
    crank = after_dead_centre(kind, centreline, centreline) or 0.0
    return CardKind(
        kind=kind,
        lobes=tuple(lobe.lobe for lobe in lobes),
        lift=lift,
        valve_lift=missing(Phrase("no rocker ratio is stated")) if ratio is None else lift.times(ratio),
        lash_mm=stated.intake_lash_mm if kind == "intake" else stated.exhaust_lash_mm,
        centreline_deg=centreline,
        rows=tuple(_row(lobes, at_mm, crank) for at_mm in LIFTS_MM),
    )


def _row(lobes: list[LobeResult], at_mm: float, centre_deg: float) -> CardRow:
    """Means of the lobes' events, each counted from its own centre; u that of one lobe, as errors may be common."""
    rows = [(lobe.centre_cam_deg, row) for lobe in lobes for row in lobe.durations if abs(row.at_mm - at_mm) < 1e-6]

    def event(which: str) -> Measured:
        found = []
        for centre, row in rows:
            place, u = getattr(row, which), getattr(row.uncertainty, which)
            from_centre = None if place is None or centre is None else 2.0 * wrap_scalar(place - centre)
            found.append((from_centre, None if u is None else 2.0 * u))
        mean = _mean(found)
        return mean if mean.value is None else Measured(mean.value + centre_deg, mean.u)

    durations = _mean((row.duration_crank_deg, row.uncertainty.duration_crank_deg) for _, row in rows)
    return CardRow(at_mm, event("opening_cam_deg"), event("closing_cam_deg"), durations)


def _mean(found: Iterable[tuple[float | None, float | None]]) -> Measured:
    """Mean of what is known, with the mean of its uncertainties."""
    known = [(value, u) for value, u in found if value is not None]
    if not known:
        return missing(Phrase("no lobe of this kind reaches it"))
    stated = [u for _, u in known if u is not None]
    u = math.fsum(stated) / len(stated) if len(stated) == len(known) else None
    return Measured(math.fsum(value for value, _ in known) / len(known), u)
