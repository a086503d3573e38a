"""Which reading to take next at the degree wheel, which way to turn, and why.

Turning words are about the engine: `forward` is its running sense, whatever way the wheel is marked.
Source: common practice of degreeing (the order and the reasons).
"""

from __future__ import annotations

from typing import Literal

from valvelab.frozen import frozen
from valvelab.phasing.degreeing import Degreeing, Sheet, degree, same_lift
from valvelab.phasing.plausibility import Finding, findings
from valvelab.phasing.timing import events_from_card, lobe_kind
from valvelab.phrase import Phrase

What = Literal["stop", "rising", "falling", "opening", "closing", "repeat", "done"]
Turn = Literal["forward", "backward"]

_SLACK = Phrase(
    "the slack of the cam drive is then taken up as when the engine runs; overshot: go back at least 40 deg "
    "and come up to it again"
)


@frozen
class NextReading:
    """One step of the worksheet.

    `expected_wheel_deg`: about where the reading should come, from the card and dead centre; None where not known.
    """

    what: What
    lobe: str | None
    lift_mm: float | None
    turn: Turn | None
    instruction: Phrase
    why: Phrase
    expected_wheel_deg: float | None = None


def next_reading(sheet: Sheet, lobes: tuple[str, ...] = ("1I", "1E"), nose_drop_mm: float = 1.27) -> NextReading:
    """The next reading that a sheet lacks: stop both ways, each lobe's nose pair, the card's events, then the doubtful.

    `lobes`: the lobes to degree where neither the sheet nor its card names one of that kind; `nose_drop_mm`: drop
    for the pair.
    """
    worked = degree(sheet)
    step = _stop_step(sheet)
    if step is not None:
        return step
    for lobe in _lobes(sheet, lobes):
        step = _nose_step(sheet, worked, lobe, nose_drop_mm)
        if step is not None:
            return step
    for lobe in _lobes(sheet, lobes):
        for lift in _event_lifts(sheet, lobe):
            step = _event_step(sheet, worked, lobe, lift)
            if step is not None:
                return step
    doubts = findings(sheet, worked)
    return _doubtful_step(doubts[0]) if doubts else _closing_step(sheet)


def _doubtful_step(doubt: Finding) -> NextReading:
    return NextReading(
        "repeat",
        None,
        None,
        "forward",
        Phrase("Take again what does not fit: {about}.", about=doubt.about),
        Phrase("{doubt}; a second reading in the same sense settles which one was wrong", doubt=doubt.sentence),
    )


def _lobes(sheet: Sheet, wanted: tuple[str, ...]) -> list[str]:
    named = [
        *(pair.lobe for pair in sheet.pairs),
        *(event.lobe for event in sheet.events),
        *(row.lobe for row in sheet.card.duration),
    ]
    kinds = {lobe_kind(lobe) for lobe in named}
    lacking = [lobe for lobe in wanted if lobe_kind(lobe) not in kinds]
    order = {"intake": 0, "exhaust": 1}
    return sorted(dict.fromkeys([*lacking, *named]), key=lambda lobe: order.get(lobe_kind(lobe) or "", 2))


def _stop_step(sheet: Sheet) -> NextReading | None:
    if not sheet.stop_deg:
        return NextReading(
            "stop",
            None,
            None,
            "forward",
            Phrase(
                "Plugs out, piston stop in, by hand and never with the starter: turn forward until the piston just "
                "touches the stop, and read the wheel."
            ),
            Phrase(
                "near dead centre the piston hardly moves, so dead centre is the middle between touches on either "
                "side, never read from the piston's highest point"
            ),
        )
    if len(sheet.stop_deg) % 2:
        return NextReading(
            "stop",
            None,
            None,
            "backward",
            Phrase(
                "Turn backward, gently, almost a whole turn until the piston touches the stop from the other side, and "
                "read the wheel."
            ),
            Phrase("the touch from the other side; both with the same light hand, as a bent stop shifts the middle"),
            expected_wheel_deg=sheet.stop_deg[-2] % 360.0 if len(sheet.stop_deg) > 2 else None,
        )
    return None


def _about(sheet: Sheet, worked: Degreeing, crank_deg: float | None) -> float | None:
    if crank_deg is None or worked.dead_centre is None:
        return None
    sign = -1.0 if sheet.sense == "reverse" else 1.0
    return (worked.dead_centre.reading_deg + sign * crank_deg) % 360.0


def _expected_centre(sheet: Sheet, worked: Degreeing, lobe: str) -> float | None:
    for row in worked.lobes:
        if row.lobe == lobe and row.centreline.value is not None:
            return row.centreline.value
    return sheet.card.centreline(lobe_kind(lobe))


def _nose_step(sheet: Sheet, worked: Degreeing, lobe: str, drop: float) -> NextReading | None:
    pairs = [pair for pair in sheet.pairs if pair.lobe == lobe]
    started = next((pair for pair in pairs if pair.rising_deg is None or pair.falling_deg is None), None)
    if pairs and started is None:
        return None
    drop = drop if started is None else started.below_peak_mm
    centre = _expected_centre(sheet, worked, lobe)
    if started is None or started.rising_deg is None:
        return NextReading(
            "rising",
            lobe,
            drop,
            "forward",
            Phrase(
                "Stop out. Indicator on the follower of {lobe}, square to it, zero at the highest point; go back well "
                "past it, then turn forward and read the wheel where the follower comes up to {lift} mm below the "
                "peak.",
                lobe=lobe,
                lift=f"{drop:g}",
            ),
            Phrase("always come up to a reading turning forward: {slack}", slack=_SLACK),
            _about(sheet, worked, None if centre is None else centre - 38.0),
        )
    return NextReading(
        "falling",
        lobe,
        drop,
        "forward",
        Phrase(
            "Go on forward over the nose of {lobe} and read the wheel where the follower has gone down to {lift} mm "
            "below the peak again.",
            lobe=lobe,
            lift=f"{drop:g}",
        ),
        Phrase(
            "in one forward turn over the nose, not from behind: read from both senses the slack would shift the "
            "middle by half of itself; the nose itself dwells and can't be read"
        ),
        _about(sheet, worked, None if centre is None else centre + 38.0),
    )


def _event_lifts(sheet: Sheet, lobe: str) -> list[float]:
    lifts = [row.at_mm for row in sheet.card.duration if row.lobe == lobe]
    lifts += [event.lift_mm for event in sheet.events if event.lobe == lobe]
    return sorted(set(lifts))


def _event_step(sheet: Sheet, worked: Degreeing, lobe: str, lift: float) -> NextReading | None:
    rows = [event for event in sheet.events if event.lobe == lobe and same_lift(event.lift_mm, lift)]
    opened = any(row.opening_deg is not None for row in rows)
    closed = any(row.closing_deg is not None for row in rows)
    if opened and closed:
        return None
    opening, closing = _expected_events(sheet, worked, lobe, lift)
    if not opened:
        return NextReading(
            "opening",
            lobe,
            lift,
            "forward",
            Phrase(
                "Turn forward until {lobe} is on its base circle, set the indicator to zero there, go on forward and "
                "read the wheel where the follower has risen {lift} mm.",
                lobe=lobe,
                lift=f"{lift:g}",
            ),
            Phrase(
                "zero on the base circle, since the event counts lift from there; turning forward {slack}", slack=_SLACK
            ),
            _about(sheet, worked, opening),
        )
    return NextReading(
        "closing",
        lobe,
        lift,
        "forward",
        Phrase(
            "Go on forward over the nose of {lobe} and read the wheel where the follower has come down to {lift} mm; "
            "then see that the indicator returns to zero on the base circle.",
            lobe=lobe,
            lift=f"{lift:g}",
        ),
        Phrase(
            "the same forward turn keeps the slack on one side; an indicator that does not return to zero has moved"
        ),
        _about(sheet, worked, closing),
    )


def _expected_events(sheet: Sheet, worked: Degreeing, lobe: str, lift: float) -> tuple[float | None, float | None]:
    kind, centre = lobe_kind(lobe), _expected_centre(sheet, worked, lobe)
    duration = sheet.card.duration_of(lobe, lift)
    if kind is None or centre is None or duration is None:
        return None, None
    return events_from_card(kind, duration, centre if kind == "intake" else -centre)


def _closing_step(sheet: Sheet) -> NextReading:
    if len(sheet.stop_deg) < 4:
        return NextReading(
            "repeat",
            None,
            None,
            "forward",
            Phrase("Stop in once more and read both touches again, turning forward first."),
            Phrase(
                "a wheel or pointer that slipped during the job shows only so; four readings also halve the wheel's "
                "uncertainty of dead centre"
            ),
            sheet.stop_deg[0] % 360.0,
        )
    return NextReading(
        "done",
        None,
        None,
        None,
        Phrase("All readings are there. Stop out, and turn the engine twice by hand before anything else."),
        Phrase("two turns bring every valve past every piston once; anything that touches is felt by hand"),
    )
