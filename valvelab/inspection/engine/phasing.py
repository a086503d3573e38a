"""A degree-wheel sheet inspected: readings and spec in, result out."""

from __future__ import annotations

from dataclasses import replace

from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Subject
from valvelab.inspection.engine.characteristics import ANSWERED, WHEEL, of_subject
from valvelab.inspection.engine.wheel import LACKS_WHEEL, Doubts, WheelEngine, WheelLobe, doubts_of
from valvelab.inspection.judging import Item, item_of, judge
from valvelab.phasing.degreeing import Card, Degreeing, LobeEvents, LobePhasing, Sheet, degree
from valvelab.phasing.next_reading import NextReading, next_reading
from valvelab.phasing.plausibility import findings
from valvelab.phasing.timing import EventName, trade_event
from valvelab.phrase import Phrase
from valvelab.records.phasing_result import AdjusterOutcome, Event, Overlap, PhasingDuration, PhasingLobe, PhasingResult
from valvelab.records.result import Note, Source, Verdict, info, warning
from valvelab.records.spec import Spec

CAUTION = (
    "Turn the engine by hand with the plugs out; never use the starter against a piston stop. Results support, and "
    "never replace, the judgement of qualified people, the engine maker's limits and the event's officials."
)


@frozen
class PhasingInspection:
    """The sheet as it was typed, the working, the reading to take next, the result."""

    sheet: Sheet
    degreeing: Degreeing
    next_reading: NextReading
    result: PhasingResult


def inspect_phasing(
    sheet: Sheet, spec: Spec | None = None, source: tuple[Source, ...] = (), spec_file: str = "spec"
) -> PhasingInspection:
    """Work out a sheet, complain about its readings, and hold it against a spec and the card in it."""
    typed = sheet
    sheet, differing = _with_card(typed, spec, spec_file)
    worked = degree(sheet)
    found = findings(sheet, worked)
    doubts, stray = doubts_of(sheet, found)
    notes = [warning(finding.about, finding.sentence) for finding in found] + stray
    notes += [
        info(
            row.of,
            Phrase("wheel reading {reading} set aside: {reason}", reading=f"{row.reading_deg:g}", reason=row.reason),
        )
        for row in sheet.set_aside
    ]
    notes += differing
    notes += _missing(sheet, worked)
    verdicts: tuple[Verdict, ...] = ()
    if spec is not None:
        judged, remarks = judge(spec, _items(worked, doubts), spec_file, only=ANSWERED, where="follower")
        verdicts, notes = tuple(judged), notes + remarks
    result = PhasingResult(
        source=source,
        notes=tuple(notes),
        verdicts=verdicts,
        tdc_offset_deg=worked.tdc_offset.value,
        tdc_uncertainty_deg=worked.tdc_offset.u,
        lobes=tuple(_lobe(sheet, lobe) for lobe in worked.lobes),
        lobe_separation_cam_deg=worked.lobe_separation.value,
        overlap=tuple(
            Overlap(at_mm=lift, crank_deg=span.value, standard_uncertainty_crank_deg=span.u)
            for lift, span in worked.overlaps
        ),
        advance_crank_deg=worked.advance.value,
        correction_crank_deg=worked.correction.value,
        correction_from=worked.correction_from,
        nearest_adjuster_crank_deg=worked.nearest_step_deg,
        adjuster_outcomes=tuple(AdjusterOutcome.model_validate(row, from_attributes=True) for row in worked.outcomes),
        uncertainty={
            "lobe_separation_cam_deg": worked.lobe_separation.u,
            "advance_crank_deg": worked.advance.u,
            "correction_crank_deg": worked.correction.u,
        },
    )
    return PhasingInspection(typed, worked, next_reading(sheet), result)


def _with_card(sheet: Sheet, spec: Spec | None, spec_file: str) -> tuple[Sheet, list[Note]]:
    """The sheet with what its own card leaves open of the spec's card; a warning for each figure that both state."""
    if spec is None or spec.card is None:
        return sheet, []
    own, ordered = sheet.card, spec.card.ordered
    both = [
        (
            Phrase(f"{kind} centreline"),
            getattr(own, f"{kind}_centreline_deg"),
            getattr(ordered, f"{kind}_centreline_deg"),
        )
        for kind in ("intake", "exhaust")
    ]
    both += [
        (
            Phrase("duration of {lobe} at {lift} mm", lobe=row.lobe, lift=f"{row.at_mm:g}"),
            own.duration_of(row.lobe, row.at_mm),
            row.value_crank_deg,
        )
        for row in ordered.duration
    ]
    notes = [
        warning(
            "card",
            Phrase(
                "{what}: the sheet's card says {mine} crank deg, {spec_file} {theirs}; the sheet's counts",
                what=what,
                mine=f"{mine:g}",
                spec_file=spec_file,
                theirs=f"{theirs:g}",
            ),
        )
        for what, mine, theirs in both
        if mine is not None and theirs is not None and mine != theirs
    ]
    card = Card(
        ordered.intake_centreline_deg if own.intake_centreline_deg is None else own.intake_centreline_deg,
        ordered.exhaust_centreline_deg if own.exhaust_centreline_deg is None else own.exhaust_centreline_deg,
        (*own.duration, *ordered.duration),  # of a lobe and lift in both the first counts
    )
    return replace(sheet, card=card), notes


def _items(worked: Degreeing, doubts: Doubts) -> dict[Subject, list[Item]]:
    """The engine, each lobe, and each lobe's events."""
    engine, lobes = WheelEngine(worked, doubts), [WheelLobe(lobe, doubts) for lobe in worked.lobes]
    return {
        "phasing": [item_of(Phrase("engine"), None, engine, of_subject("phasing"))],
        "camshaft": [item_of(Phrase("engine"), None, engine, WHEEL)],
        "lobe": [item_of(one.lobe.lobe, one.lobe.kind, one, WHEEL) for one in lobes],
        "event": [item_of(one.lobe.lobe, one.lobe.kind, one, of_subject("event")) for one in lobes],
    }


def _lobe(sheet: Sheet, lobe: LobePhasing) -> PhasingLobe:
    card = sheet.card.centreline(lobe.kind)
    value = lobe.centreline.value
    return PhasingLobe(
        lobe=lobe.lobe,
        kind=lobe.kind,
        centreline_crank_deg=value,
        centreline_from=lobe.centreline_from,
        card_centreline_crank_deg=card,
        difference_crank_deg=None if value is None or card is None else value - card,
        durations=tuple(_duration(sheet, lobe, row) for row in lobe.events),
        uncertainty={"centreline_crank_deg": lobe.centreline.u},
    )


def _duration(sheet: Sheet, lobe: LobePhasing, row: LobeEvents) -> PhasingDuration:
    card = sheet.card.duration_of(lobe.lobe, row.at_mm)
    value = row.duration.value
    return PhasingDuration(
        at_mm=row.at_mm,
        duration_crank_deg=value,
        opening_event=_event(lobe, "opening", row.opening.value),
        closing_event=_event(lobe, "closing", row.closing.value),
        opening_crank_deg=row.opening.value,
        closing_crank_deg=row.closing.value,
        card_duration_crank_deg=card,
        difference_crank_deg=None if value is None or card is None else value - card,
        uncertainty={
            "opening_crank_deg": row.opening.u,
            "closing_crank_deg": row.closing.u,
            "duration_crank_deg": row.duration.u,
        },
    )


def _event(lobe: LobePhasing, which: EventName, crank_deg: float | None) -> Event | None:
    if crank_deg is None or lobe.kind is None:
        return None
    event = trade_event(lobe.kind, which, crank_deg)
    return Event(angle=event.angle_deg, reference=event.reference)


def _missing(sheet: Sheet, worked: Degreeing) -> list[Note]:
    notes = []
    if worked.dead_centre is None:
        notes.append(
            warning(
                "stop",
                Phrase(
                    "no dead centre without a piston-stop reading from each side: events, centrelines, "
                    "advance and correction are left open"
                ),
            )
        )
    if sheet.wheel_uncertainty_deg is None:
        notes.append(
            warning(
                "wheel",
                Phrase(
                    "{lacks_wheel}: centrelines, events, durations and corrections carry none", lacks_wheel=LACKS_WHEEL
                ),
            )
        )
    for lobe in worked.lobes:
        if lobe.kind is not None and lobe.middle.value is None:
            notes.append(info(lobe.lobe, Phrase("no complete equal-lift pair yet: its centreline is left open")))
        if lobe.centreline_from == "events" and lobe.kind is not None:
            notes.append(
                info(
                    lobe.lobe,
                    Phrase(
                        "the centreline is from the events: it supposes a symmetrical lobe; a pair near the nose "
                        "is better"
                    ),
                )
            )
        notes += [
            info(
                lobe.lobe,
                Phrase(
                    "opening and closing at {at} mm are not both read: its duration is left open", at=f"{row.at_mm:g}"
                ),
            )
            for row in lobe.events
            if row.duration.value is None
        ]
    kinds = {lobe.kind for lobe in worked.lobes if lobe.middle.value is not None}
    if not {"intake", "exhaust"} <= kinds:
        notes.append(
            info(
                "lobe separation",
                Phrase("needs an intake and an exhaust centreline: separation and advance are left open"),
            )
        )
    if worked.correction.value is None and worked.dead_centre is not None:
        notes.append(info("correction", Phrase("needs a measured centreline and the card's: it is left open")))
    if worked.correction_from == "exhaust":
        notes.append(
            info("correction", Phrase("taken from the exhaust centreline, card − measured: no intake one is there"))
        )
    if worked.correction.value is not None and not sheet.steps_deg:
        notes.append(info("adjuster", Phrase("no steps are on the sheet: no nearest one is named")))
    return notes
