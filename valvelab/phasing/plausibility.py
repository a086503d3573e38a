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
        found += [Finding("stop", text, contradicts=wrong) for text, wrong in complaints]
    elif len(sheet.stop_deg) >= 2:
        found.append(
            Finding("stop", "all stop readings are equal: expected one from each side of dead centre", contradicts=True)
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
    sentence = f"falling comes before rising in every pair: the sense {sheet.sense!r} is most likely wrong"
    return [Finding("wheel", sentence, contradicts=True)]


def _pair(sheet: Sheet, pair: NosePair) -> list[Finding]:
    span = _span(sheet, pair)
    if span is None or pair.rising_deg is None or pair.falling_deg is None:
        return []
    about = f"{pair.lobe} near peak"
    what = f"rising {_fmt(pair.rising_deg)}, falling {_fmt(pair.falling_deg)}"
    if span > 180.0:
        return [
            Finding(
                about,
                f"{what}: falling comes before rising in the running sense; the two are swapped, the "
                "wheel's sense is wrong, or the pair does not lie either side of the nose",
                contradicts=True,
            )
        ]
    if span < 5.0:
        return [
            Finding(
                about, f"{what}: only {span:.1f} deg apart; the two must lie either side of the nose", contradicts=True
            )
        ]
    if span > 150.0:
        return [Finding(about, f"{what}: {span:.1f} deg apart is wide for a pair near the nose; one may be misread")]
    return []


def _event(sheet: Sheet, event: EventReading, worked: Degreeing) -> list[Finding]:
    if event.opening_deg is None or event.closing_deg is None:
        return []
    duration = sheet.turned(event.opening_deg, event.closing_deg)
    about = f"{event.lobe} at {event.lift_mm:g} mm"
    swapped = (
        f"opening {_fmt(event.opening_deg)}, closing {_fmt(event.closing_deg)}: in the running sense the valve would "
        f"be open for {duration:.1f} deg and shut for {360.0 - duration:.1f}; opening and closing are swapped, or the "
        "wheel's sense is wrong"
    )
    card = sheet.card.duration_of(event.lobe, event.lift_mm)
    if card is not None:
        if abs(duration - card) > 20.0 and abs(360.0 - duration - card) <= 20.0:
            return [Finding(about, f"{swapped}: the card says {card:g}", contradicts=True)]
        return _duration_against_card(about, duration, card, _likelier(sheet, event, worked, card))
    near = next((lobe.near_peak_middle_deg for lobe in worked.lobes if lobe.lobe == event.lobe), None)
    wide = next((lobe.event_middle_deg for lobe in worked.lobes if lobe.lobe == event.lobe), None)
    if near is not None and wide is not None and abs(wrap_scalar(wide - near)) > 120.0:
        return [Finding(about, swapped, contradicts=True)]
    if duration < 90.0:
        return [
            Finding(
                about, f"{swapped}; a duration of {duration:.1f} crank deg is too short for a lobe", contradicts=True
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
        hint = f"; one event read at the wrong ten of the wheel would make just such a difference of {tens}"
    suspect = ""
    if likelier is not None:
        suspect = f"; by the middle near the nose the {likelier[0]}, {_fmt(likelier[1])}, is the likelier"
    return [
        Finding(
            about,
            f"the duration is {duration:.1f} crank deg, {abs(error):.1f} "
            f"{'longer' if error > 0 else 'shorter'} than the card's {card:g}{hint}{suspect}",
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
                    f"repeated readings of {what} differ by {_fmt(spread)} deg: "
                    "the wheel slipped, slack was not taken up the same way, or one is misread",
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
                    f"the duration at {higher_mm:g} mm ({shorter:.1f}) is not "
                    f"shorter than at {lower_mm:g} mm ({longer:.1f}): one reading is wrong",
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
                    f"the pair {deeper:g} mm below the peak is no wider ({wider:.1f} deg) than "
                    f"the one at {drop:g} mm ({width:.1f} deg): one reading is wrong",
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
                    f"the middles of the pairs {drop:g} and {deeper:g} mm below the peak lie "
                    f"{abs(apart):.1f} deg apart: near the nose they should agree",
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
                f"the middle of the events lies {abs(apart):.1f} crank deg "
                f"{'after' if apart > 0 else 'before'} the middle near the nose: more than an unsymmetrical lobe "
                f"usually gives; one event is probably misread",
            )
        ]
    return []


def _against_card(sheet: Sheet, lobe: LobePhasing) -> list[Finding]:
    if lobe.centreline.value is None or lobe.kind is None:
        return []
    size = lobe.centreline.value if lobe.kind == "intake" else -lobe.centreline.value
    side = "ATDC" if lobe.kind == "intake" else "BTDC"
    card = sheet.card.intake_centreline_deg if lobe.kind == "intake" else sheet.card.exhaust_centreline_deg
    low, high = CENTRELINE_RANGE_DEG[lobe.kind]
    if card is not None and abs(size - card) > CARD_FAR_DEG:
        error = size - card
        hint = "a tooth of the cam drive, a reading at the wrong ten of the wheel, or the wrong card"
        if abs(abs(wrap_scalar(error)) - 180.0) < 25.0:
            hint = "the stop was met at bottom dead centre, or the pair was read the wrong way round"
        return [
            Finding(
                lobe.lobe,
                f"the centreline is {_fmt(round(size, 2))} {side}, {abs(error):.1f} crank deg from "
                f"the card's {card:g}: look for {hint}",
            )
        ]
    if not low <= size <= high:
        return [
            Finding(
                lobe.lobe,
                f"a centreline of {_fmt(round(size, 2))} {side} is outside what camshafts are made "
                f"to, {low:g} to {high:g}: check the stop, the wheel's sense and the lobe's name",
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
                "lobe separation",
                f"{value:.1f} cam deg is outside what camshafts are made to, "
                f"{low:g} to {high:g}: one centreline is wrong",
            )
        )
    cylinders = {lobe_cylinder(lobe.lobe) for lobe in worked.lobes} - {None}
    if len(cylinders) > 1:
        found.append(
            Finding(
                "stop",
                "lobes of several cylinders are on the sheet: each one's readings must count from "
                "the dead centre of its own cylinder",
            )
        )
    found += [
        Finding(lobe.lobe, "the name says neither intake nor exhaust (1I, 1E, …): only its duration is given")
        for lobe in worked.lobes
        if lobe_kind(lobe.lobe) is None
    ]
    return found
