"""Contradictory and implausible wheel readings, each said in a sentence.

The bounds are wide marks of what petrol-engine camshafts have been made to; a finding asks for another look and never
changes a number. Source: common practice, no single source.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Literal

from valvelab.angles import wrap_scalar
from valvelab.frozen import frozen
from valvelab.phasing.dead_centre import stop_complaints
from valvelab.phasing.degreeing import Degreeing, EventReading, LobePhasing, NosePair, Sheet, degree
from valvelab.phasing.timing import crank_angle, lobe_cylinder, lobe_kind
from valvelab.phrase import Phrase

REPEATS_AGREE_DEG = 1.0
MIDDLES_AGREE_DEG = 6.0
PAIRS_AGREE_DEG = 2.0
CARD_FAR_DEG = 10.0
DURATION_FAR_DEG = 6.0
CENTRELINE_RANGE_DEG = {"intake": (85.0, 135.0), "exhaust": (85.0, 140.0)}
SEPARATION_RANGE_CAM_DEG = (92.0, 124.0)


@frozen
class Finding:
    """Something wrong or odd with the readings: what it concerns, one sentence, and the wheel readings in doubt.

    contradicts: the readings can't all be right, so nothing that rests on them is sure; else the engine may be so.
    """

    about: str
    sentence: str
    readings: tuple[float, ...] = ()
    contradicts: bool = False


def findings(sheet: Sheet, worked: Degreeing | None = None) -> tuple[Finding, ...]:
    """All complaints about a sheet, in the order the readings are taken."""
    worked = worked or degree(sheet)
    found: list[Finding] = []
    if worked.dead_centre is not None:
        complaints = stop_complaints(sheet.stop_deg, worked.dead_centre)
        found += [Finding(Phrase("stop"), text, contradicts=wrong) for text, wrong in complaints]
    elif len(sheet.stop_deg) >= 2:
        found.append(
            Finding(
                Phrase("stop"),
                Phrase("all stop readings are equal: expected one from each side of dead centre"),
                contradicts=True,
            )
        )
    found += _sense(sheet)
    for pair in sheet.pairs:
        found += [_doubting(one, pair.rising_deg, pair.falling_deg) for one in _pair(sheet, pair)]
    for event in sheet.events:
        found += [_doubting(one, event.opening_deg, event.closing_deg) for one in _event(sheet, event, worked)]
    for lobe in worked.lobes:
        found += _repeats(sheet, lobe.lobe)
        found += _order_of_lifts(lobe)
        found += _order_of_drops(sheet, lobe.lobe)
        found += _middles(lobe)
        found += _against_card(sheet, lobe)
    found += _engine(worked)
    return tuple(found)


def _doubting(found: Finding, *readings: float | None) -> Finding:
    """The finding with the readings in doubt, where it does not name fewer itself."""
    return found if found.readings else replace(found, readings=tuple(r for r in readings if r is not None))


def _fmt(angle: float) -> str:
    return f"{angle:.2f}".rstrip("0").rstrip(".").replace("-", "−")


def _span(sheet: Sheet, pair: NosePair) -> float | None:
    """From rising to falling in the running sense, [0, 360)."""
    known = pair.rising_deg is not None and pair.falling_deg is not None
    return sheet.turned(pair.rising_deg or 0.0, pair.falling_deg or 0.0) if known else None


def _sense(sheet: Sheet) -> list[Finding]:
    spans = [span for pair in sheet.pairs if (span := _span(sheet, pair)) is not None]
    if len(spans) < 2 or min(spans) <= 180.0:
        return []
    sentence = Phrase(
        "falling comes before rising in every pair: the sense {sense} is most likely wrong", sense=f"{sheet.sense!r}"
    )
    return [Finding(Phrase("wheel"), sentence, contradicts=True)]


def _pair(sheet: Sheet, pair: NosePair) -> list[Finding]:
    span = _span(sheet, pair)
    if span is None or pair.rising_deg is None or pair.falling_deg is None:
        return []
    about = Phrase("{lobe} near peak", lobe=pair.lobe)
    what = Phrase("rising {rising}, falling {falling}", rising=_fmt(pair.rising_deg), falling=_fmt(pair.falling_deg))
    if span > 180.0:
        return [
            Finding(
                about,
                Phrase(
                    "{what}: falling comes before rising in the running sense; the two are swapped, the "
                    "wheel's sense is wrong, or the pair does not lie either side of the nose",
                    what=what,
                ),
                contradicts=True,
            )
        ]
    if span < 5.0:
        return [
            Finding(
                about,
                Phrase(
                    "{what}: only {span} deg apart; the two must lie either side of the nose",
                    what=what,
                    span=f"{span:.1f}",
                ),
                contradicts=True,
            )
        ]
    if span > 150.0:
        return [
            Finding(
                about,
                Phrase(
                    "{what}: {span} deg apart is wide for a pair near the nose; one may be misread",
                    what=what,
                    span=f"{span:.1f}",
                ),
            )
        ]
    return []


def _event(sheet: Sheet, event: EventReading, worked: Degreeing) -> list[Finding]:
    if event.opening_deg is None or event.closing_deg is None:
        return []
    duration = sheet.turned(event.opening_deg, event.closing_deg)
    about = Phrase("{lobe} at {lift} mm", lobe=event.lobe, lift=f"{event.lift_mm:g}")
    swapped = Phrase(
        "opening {opening}, closing {closing}: in the running sense the valve would be open for "
        "{open} deg and shut for {shut}; opening and closing are swapped, or the "
        "wheel's sense is wrong",
        opening=_fmt(event.opening_deg),
        closing=_fmt(event.closing_deg),
        open=f"{duration:.1f}",
        shut=f"{360.0 - duration:.1f}",
    )
    card = sheet.card.duration_of(event.lobe, event.lift_mm)
    if card is not None:
        if abs(duration - card) > 20.0 and abs(360.0 - duration - card) <= 20.0:
            return [
                Finding(
                    about,
                    Phrase("{swapped}: the card says {card}", swapped=swapped, card=f"{card:g}"),
                    contradicts=True,
                )
            ]
        return _duration_against_card(about, duration, card, _likelier(sheet, event, worked, card))
    near = next((lobe.near_peak_middle_deg for lobe in worked.lobes if lobe.lobe == event.lobe), None)
    wide = next((lobe.event_middle_deg for lobe in worked.lobes if lobe.lobe == event.lobe), None)
    if near is not None and wide is not None and abs(wrap_scalar(wide - near)) > 120.0:
        return [Finding(about, swapped, contradicts=True)]
    if duration < 90.0:
        return [
            Finding(
                about,
                Phrase(
                    "{swapped}; a duration of {duration} crank deg is too short for a lobe",
                    swapped=swapped,
                    duration=f"{duration:.1f}",
                ),
                contradicts=True,
            )
        ]
    return []


def _likelier(
    sheet: Sheet, event: EventReading, worked: Degreeing, card: float
) -> tuple[Literal["opening", "closing"], float] | None:
    """The event that lies farther from half the card's duration off the middle near the nose, where it is far off."""
    near = next((lobe.near_peak_middle_deg for lobe in worked.lobes if lobe.lobe == event.lobe), None)
    if near is None or event.opening_deg is None or event.closing_deg is None:
        return None
    offset = 0.0 if worked.dead_centre is None else worked.dead_centre.reading_deg
    before = wrap_scalar(near - crank_angle(event.opening_deg, offset, sheet.sense))
    after = wrap_scalar(crank_angle(event.closing_deg, offset, sheet.sense) - near)
    off_opening, off_closing = abs(before - 0.5 * card), abs(after - 0.5 * card)
    if max(off_opening, off_closing) <= 4.0:
        return None
    return ("opening", event.opening_deg) if off_opening > off_closing else ("closing", event.closing_deg)


def _duration_against_card(
    about: str, duration: float, card: float, likelier: tuple[str, float] | None
) -> list[Finding]:
    error = duration - card
    if abs(error) <= DURATION_FAR_DEG:
        return []
    tens = round(abs(error) / 10.0) * 10
    hint = ""
    if tens and abs(abs(error) - tens) <= 2.0:
        hint = Phrase(
            "; one event read at the wrong ten of the wheel would make just such a difference of {tens}", tens=tens
        )
    suspect = ""
    if likelier is not None:
        suspect = Phrase(
            "; by the middle near the nose the opening, {angle}, is the likelier"
            if likelier[0] == "opening"
            else "; by the middle near the nose the closing, {angle}, is the likelier",
            angle=_fmt(likelier[1]),
        )
    return [
        Finding(
            about,
            Phrase(
                "the duration is {duration} crank deg, {error} longer than the card's {card}{hint}{suspect}"
                if error > 0
                else "the duration is {duration} crank deg, {error} shorter than the card's {card}{hint}{suspect}",
                duration=f"{duration:.1f}",
                error=f"{abs(error):.1f}",
                card=f"{card:g}",
                hint=hint,
                suspect=suspect,
            ),
            () if likelier is None else (likelier[1],),
        )
    ]


def _repeats(sheet: Sheet, lobe: str) -> list[Finding]:
    found = []
    for (_, what), values in ((key, values) for key, values in sheet.repeats.items() if key[0] == lobe):
        offsets = [wrap_scalar(value - values[0]) for value in values]
        spread = max(offsets) - min(offsets)
        if spread > REPEATS_AGREE_DEG:
            found.append(
                Finding(
                    lobe,
                    Phrase(
                        "repeated readings of {what} differ by {spread} deg: the wheel slipped, slack was not taken "
                        "up the same way, or one is misread",
                        what=what,
                        spread=_fmt(spread),
                    ),
                    tuple(values),
                    contradicts=True,
                )
            )
    return found


def _order_of_lifts(lobe: LobePhasing) -> list[Finding]:
    found = []
    known = [(row.at_mm, row.duration.value) for row in lobe.events if row.duration.value is not None]
    for (lower_mm, longer), (higher_mm, shorter) in pairwise(known):
        if shorter >= longer:
            found.append(
                Finding(
                    lobe.lobe,
                    Phrase(
                        "the duration at {higher} mm ({shorter}) is not shorter than at {lower} mm ({longer}): "
                        "one reading is wrong",
                        higher=f"{higher_mm:g}",
                        shorter=f"{shorter:.1f}",
                        lower=f"{lower_mm:g}",
                        longer=f"{longer:.1f}",
                    ),
                    contradicts=True,
                )
            )
    return found


def _order_of_drops(sheet: Sheet, lobe: str) -> list[Finding]:
    rows = sorted(
        (p.below_peak_mm, p.rising_deg, p.falling_deg)
        for p in sheet.pairs
        if p.lobe == lobe and p.rising_deg is not None and p.falling_deg is not None
    )
    found = []
    for (drop, rising, falling), (deeper, rising_2, falling_2) in pairwise(rows):
        if deeper == drop:
            continue
        width, wider = abs(wrap_scalar(falling - rising)), abs(wrap_scalar(falling_2 - rising_2))
        if wider <= width:
            found.append(
                Finding(
                    lobe,
                    Phrase(
                        "the pair {deeper} mm below the peak is no wider ({wider} deg) than the one at {drop} mm "
                        "({width} deg): one reading is wrong",
                        deeper=f"{deeper:g}",
                        wider=f"{wider:.1f}",
                        drop=f"{drop:g}",
                        width=f"{width:.1f}",
                    ),
                    (rising, falling, rising_2, falling_2),
                    contradicts=True,
                )
            )
        sign = -1.0 if sheet.sense == "reverse" else 1.0
        apart = sign * wrap_scalar(
            rising_2 + 0.5 * wrap_scalar(falling_2 - rising_2) - rising - 0.5 * wrap_scalar(falling - rising)
        )
        if abs(apart) > PAIRS_AGREE_DEG:
            found.append(
                Finding(
                    lobe,
                    Phrase(
                        "the middles of the pairs {drop} and {deeper} mm below the peak lie {apart} deg apart: "
                        "near the nose they should agree",
                        drop=f"{drop:g}",
                        deeper=f"{deeper:g}",
                        apart=f"{abs(apart):.1f}",
                    ),
                    (rising, falling, rising_2, falling_2),
                    contradicts=True,
                )
            )
    return found


def _middles(lobe: LobePhasing) -> list[Finding]:
    if lobe.near_peak_middle_deg is None or lobe.event_middle_deg is None:
        return []
    apart = wrap_scalar(lobe.event_middle_deg - lobe.near_peak_middle_deg)
    if MIDDLES_AGREE_DEG < abs(apart) <= 120.0:
        return [
            Finding(
                lobe.lobe,
                Phrase(
                    "the middle of the events lies {apart} crank deg after the middle near the nose: more "
                    "than an unsymmetrical lobe usually gives; one event is probably misread"
                    if apart > 0
                    else "the middle of the events lies {apart} crank deg before the middle near the nose: more "
                    "than an unsymmetrical lobe usually gives; one event is probably misread",
                    apart=f"{abs(apart):.1f}",
                ),
            )
        ]
    return []


def _against_card(sheet: Sheet, lobe: LobePhasing) -> list[Finding]:
    if lobe.centreline.value is None or lobe.kind is None:
        return []
    size = lobe.centreline.value if lobe.kind == "intake" else -lobe.centreline.value
    side = Phrase("ATDC" if lobe.kind == "intake" else "BTDC")
    card = sheet.card.intake_centreline_deg if lobe.kind == "intake" else sheet.card.exhaust_centreline_deg
    low, high = CENTRELINE_RANGE_DEG[lobe.kind]
    if card is not None and abs(size - card) > CARD_FAR_DEG:
        error = size - card
        hint = Phrase("a tooth of the cam drive, a reading at the wrong ten of the wheel, or the wrong card")
        if abs(abs(wrap_scalar(error)) - 180.0) < 25.0:
            hint = Phrase("the stop was met at bottom dead centre, or the pair was read the wrong way round")
        return [
            Finding(
                lobe.lobe,
                Phrase(
                    "the centreline is {angle} {side}, {error} crank deg from the card's {card}: look for {hint}",
                    angle=_fmt(round(size, 2)),
                    side=side,
                    error=f"{abs(error):.1f}",
                    card=f"{card:g}",
                    hint=hint,
                ),
            )
        ]
    if not low <= size <= high:
        return [
            Finding(
                lobe.lobe,
                Phrase(
                    "a centreline of {angle} {side} is outside what camshafts are made to, {low} to {high}: "
                    "check the stop, the wheel's sense and the lobe's name",
                    angle=_fmt(round(size, 2)),
                    side=side,
                    low=f"{low:g}",
                    high=f"{high:g}",
                ),
            )
        ]
    return []


def _engine(worked: Degreeing) -> list[Finding]:
    found = []
    low, high = SEPARATION_RANGE_CAM_DEG
    value = worked.lobe_separation.value
    if value is not None and not low <= value <= high:
        found.append(
            Finding(
                Phrase("lobe separation"),
                Phrase(
                    "{value} cam deg is outside what camshafts are made to, {low} to {high}: one centreline is wrong",
                    value=f"{value:.1f}",
                    low=f"{low:g}",
                    high=f"{high:g}",
                ),
            )
        )
    cylinders = {lobe_cylinder(lobe.lobe) for lobe in worked.lobes} - {None}
    if len(cylinders) > 1:
        found.append(
            Finding(
                Phrase("stop"),
                Phrase(
                    "lobes of several cylinders are on the sheet: each one's readings must count from the "
                    "dead centre of its own cylinder"
                ),
            )
        )
    found += [
        Finding(lobe.lobe, Phrase("the name says neither intake nor exhaust (1I, 1E, …): only its duration is given"))
        for lobe in worked.lobes
        if lobe_kind(lobe.lobe) is None
    ]
    return found
