"""Degreeing: dead centre, centrelines, events, corrections, complaints, the next reading, and the command."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from something import each

from valvelab.cli.main import main
from valvelab.errors import CannotEvaluate
from valvelab.files.phasing_sheet import parse_sheet_toml, read_phasing_sheet, sheet_toml
from valvelab.inspection.engine.phasing import inspect_phasing
from valvelab.phasing.centreline import EqualLiftPair, combined_middle, flank_slopes
from valvelab.phasing.dead_centre import find_dead_centre, stop_complaints
from valvelab.phasing.degreeing import Card, CardDuration, EventReading, NosePair, Sheet, degree
from valvelab.phasing.next_reading import next_reading
from valvelab.phasing.piston import piston_drop
from valvelab.phasing.plausibility import findings
from valvelab.phasing.timing import (
    EventName,
    Kind,
    TradeEvent,
    event_words,
    events_from_card,
    nearest_step,
    single_event,
    trade_event,
    typed_event,
)

TDC = 1.25


Answer = tuple[int, str, str]


def wheel(crank: float, sense: str = "forward", tdc: float = TDC) -> float:
    """Reading on the wheel when the crank stands at an angle from true dead centre."""
    return (tdc + (-crank if sense == "reverse" else crank)) % 360.0


def full_sheet(sense: str = "forward", tdc: float = TDC, late: float = 0.0) -> Sheet:
    """An invented engine: 230 at 1.27 mm on 106, exhaust 236 on 114, the shaft `late` crank deg late."""
    events, pairs = [], []
    for lobe, kind, duration, centre in (("1I", "intake", 230.0, 106.0), ("1E", "exhaust", 236.0, 114.0)):
        opening, closing = (angle + late for angle in events_from_card(kind, duration, centre))
        middle = 0.5 * (opening + closing)
        events.append(EventReading(lobe, 1.27, wheel(opening, sense, tdc), wheel(closing, sense, tdc)))
        pairs += [
            NosePair(lobe, drop, wheel(middle - half, sense, tdc), wheel(middle + half, sense, tdc))
            for drop, half in ((0.5, 24.0), (1.27, 38.0))
        ]
    return Sheet(
        stop_deg=(wheel(-29.75, sense, tdc), wheel(29.75, sense, tdc)),
        events=tuple(events),
        pairs=tuple(pairs),
        wheel_uncertainty_deg=0.25,
        sense=sense,
        card=Card(106.0, 114.0, (CardDuration("1I", 1.27, 230.0), CardDuration("1E", 1.27, 236.0))),
        steps_deg=(-4.0, -2.0, 0.0, 2.0, 4.0),
    )


# dead centre


@pytest.mark.parametrize(
    ("readings", "middle"),
    [
        ((-28.5, 31.0), 1.25),
        ((331.5, 31.0), 1.25),
        ((31.0, 331.5), 1.25),
        # published worked example of positive-stop degreeing: 36.75 one way and 35.25 the other, so 0.75 out
        ((-36.75, 35.25), -0.75),
        ((-28.5, 31.0, -28.1, 31.6), 0.5 * (1.25 + 1.75)),
        ((170.0, 190.0), -180.0),
    ],
)
def test_dead_centre_is_the_middle_on_the_shorter_arc(readings: tuple[float, ...], middle: float) -> None:
    assert find_dead_centre(readings).reading_deg == pytest.approx(middle, abs=1e-12)


@given(st.floats(-180, 179.9), st.floats(10, 60), st.floats(-360, 360))
def test_turning_the_wheel_turns_dead_centre_only(tdc: float, half: float, turn: float) -> None:
    before = find_dead_centre((tdc - half, tdc + half))
    after = find_dead_centre((tdc - half + turn, tdc + half + turn))
    assert math.cos(math.radians(after.reading_deg - before.reading_deg - turn)) == pytest.approx(1.0, abs=1e-9)
    assert after.arc_deg == pytest.approx(2 * half)


@pytest.mark.parametrize("count", [2, 4])
def test_dead_centre_uncertainty_falls_with_the_root_of_the_readings(count: int) -> None:
    readings = (-30.0, 30.0) * (count // 2)
    assert find_dead_centre(readings, 0.25).standard_uncertainty_deg == pytest.approx(0.25 / math.sqrt(count))


def test_dead_centre_uncertainty_matches_simulated_repeats() -> None:
    rng = np.random.default_rng(5)
    middles = [
        find_dead_centre(tuple(np.array([-30.0, 31.0]) + rng.normal(0, 0.25, 2))).reading_deg for _ in range(4000)
    ]
    stated = find_dead_centre((-30.0, 31.0), 0.25).standard_uncertainty_deg
    assert np.std(middles) == pytest.approx(stated, rel=0.05)


@pytest.mark.parametrize("readings", [(), (12.0,), (30.0, 30.0)])
def test_dead_centre_needs_both_sides(readings: tuple[float, ...]) -> None:
    with pytest.raises(CannotEvaluate):
        find_dead_centre(readings)


def test_middles_of_repeated_pairs_are_held_against_each_other() -> None:
    """Pairs as they were read: middles 0.3 and 0 deg."""
    centre = find_dead_centre((-30.0, 30.6, -31.0, 31.0))
    assert centre.disagreement_deg == pytest.approx(0.3)
    assert not stop_complaints((-30.0, 30.6, -31.0, 31.0), centre)
    readings = (-30.0, 31.4, -31.0, 31.0)
    assert "differ by 0.70 deg" in stop_complaints(readings, find_dead_centre(readings))[0][0]


def test_a_stop_may_touch_up_to_75_deg_from_the_top() -> None:
    assert not stop_complaints((-75.0, 75.0), find_dead_centre((-75.0, 75.0)))
    assert "150.2 deg apart" in stop_complaints((-75.0, 75.2), find_dead_centre((-75.0, 75.2)))[0][0]


# piston: slider-crank table, stroke 86 mm, rod 231 mm, recomputed independently from the closed form
@pytest.mark.parametrize(
    ("angle", "drop"), [(10, 0.773978), (20, 3.061857), (36, 9.599146), (90, 47.037448), (180, 86.0), (0, 0.0)]
)
def test_piston_drop_table(angle: float, drop: float) -> None:
    assert float(piston_drop(angle, 43.0, 231.0)) == pytest.approx(drop, abs=5e-7)


def test_piston_refuses_a_rod_shorter_than_the_throw() -> None:
    with pytest.raises(CannotEvaluate, match="rod"):
        piston_drop(10.0, 43.0, 40.0)
    with pytest.raises(CannotEvaluate, match="rod"):
        piston_drop(10.0, 43.0, 43.0)
    with pytest.raises(CannotEvaluate, match="throw"):
        piston_drop(10.0, 0.0, 40.0)
    assert float(piston_drop(180.0, 0.5, 2.0)) == pytest.approx(1.0)


# events and centrelines


def test_event_arithmetic_of_a_card() -> None:
    """230 on 106 opens 9 before and closes 41 after; 236 on 114 opens 52 before, closes 4 after (plain arithmetic)."""
    intake = [
        trade_event("intake", w, a)
        for w, a in zip(("opening", "closing"), events_from_card("intake", 230, 106), strict=True)
    ]
    exhaust = [
        trade_event("exhaust", w, a)
        for w, a in zip(("opening", "closing"), events_from_card("exhaust", 236, 114), strict=True)
    ]
    assert [(e.angle_deg, e.reference) for e in intake] == [(9.0, "BTDC"), (41.0, "ABDC")]
    assert [(e.angle_deg, e.reference) for e in exhaust] == [(52.0, "BBDC"), (4.0, "ATDC")]


def test_made_up_card_from_events() -> None:
    """Opening 7 BTDC, closing 47 ABDC; 53 BBDC, 5 ATDC: 234 on 110, 238 on 114, overlap 12, separation 112."""
    sheet = Sheet(
        stop_deg=(-30.0, 30.0),
        events=(EventReading("1I", 1.27, -7.0, 227.0), EventReading("1E", 1.27, 127.0, 5.0)),
    )
    worked = degree(sheet)
    assert [lobe.events[0].duration.value for lobe in worked.lobes] == pytest.approx([234.0, 238.0])
    assert [lobe.centreline.value for lobe in worked.lobes] == pytest.approx([110.0, -114.0])
    assert worked.overlaps[0][1].value == pytest.approx(12.0)
    assert worked.lobe_separation.value == pytest.approx(112.0)
    assert worked.advance.value == pytest.approx(2.0)


def test_equal_lift_centreline_of_a_published_worked_example() -> None:
    """60 and 145.5 give 102.75 after dead centre (published how-to of degreeing by equal lift)."""
    worked = degree(Sheet(stop_deg=(-30.0, 30.0), pairs=(NosePair("1I", 1.27, 60.0, 145.5),)))
    assert worked.lobes[0].centreline.value == pytest.approx(102.75)


@pytest.mark.parametrize("sense", ["forward", "reverse"])
@pytest.mark.parametrize("tdc", [0.0, 1.25, -170.0, 359.0, 179.9])
def test_a_whole_sheet_whatever_the_wheel(sense: str, tdc: float) -> None:
    worked = degree(full_sheet(sense, tdc, late=3.0))
    intake, exhaust = worked.lobes
    assert intake.centreline.value == pytest.approx(109.0)
    assert exhaust.centreline.value == pytest.approx(-111.0)
    assert worked.lobe_separation.value == pytest.approx(110.0)
    assert worked.advance.value == pytest.approx(1.0)
    assert worked.correction.value == pytest.approx(3.0)
    assert worked.nearest_step_deg == 2.0
    assert worked.overlaps[0][1].value == pytest.approx(13.0)
    assert intake.events[0].opening.value == pytest.approx(-6.0)
    assert exhaust.events[0].opening.value == pytest.approx(-229.0)
    assert not findings(full_sheet(sense, tdc, late=3.0))


def test_each_step_says_what_it_would_give() -> None:
    worked = degree(full_sheet(late=3.0))
    step = next(row for row in worked.outcomes if row.step_crank_deg == 2.0)
    assert (step.intake_centreline_crank_deg, step.exhaust_centreline_crank_deg) == pytest.approx((107.0, 113.0))
    assert (step.advance_crank_deg, step.remaining_crank_deg) == pytest.approx((3.0, 1.0))


@pytest.mark.parametrize(
    ("kind", "which", "wheel", "crank"),
    [("intake", "opening", 350, -10), ("intake", "closing", -140, 220), ("exhaust", "opening", 130, -230),
     ("exhaust", "closing", 370, 10)],
)  # fmt: skip
def test_one_event_alone_lies_near_its_dead_centre(kind: Kind, which: EventName, wheel: float, crank: float) -> None:
    assert single_event(kind, which, wheel) == crank


@pytest.mark.parametrize(
    ("kind", "which", "number", "words"),
    [("intake", "opening", 9.0, "9.0 deg BTDC"), ("intake", "closing", 50.0, "50.0 deg ABDC"),
     ("exhaust", "opening", 48.5, "48.5 deg BBDC"), ("exhaust", "closing", -3.0, "3.0 deg BTDC"),
     ("intake", "opening", -2.0, "2.0 deg ATDC")],
)  # fmt: skip
def test_an_event_in_words_is_read_back(kind: Kind, which: EventName, number: float, words: str) -> None:
    assert event_words(kind, which, number) == words
    assert typed_event(words, which, "opening")[0] == number


def test_an_event_at_dead_centre_counts_after_it() -> None:
    assert trade_event("intake", "opening", 0.0) == TradeEvent(0.0, "ATDC")


@pytest.mark.parametrize(
    ("wanted", "step"), [(1.0, 0.0), (-1.0, 0.0), (3.0, 2.0), (-3.0, -2.0), (9.0, 4.0), (1.01, 2.0)]
)
def test_nearest_step_and_ties_to_the_smaller(wanted: float, step: float) -> None:
    assert nearest_step(wanted, (-4.0, -2.0, 0.0, 2.0, 4.0)) == step


def test_near_nose_pairs_win_over_events() -> None:
    sheet = full_sheet()
    skewed = replace(
        sheet, events=(replace(sheet.events[0], closing_deg=sheet.events[0].closing_deg + 4.0), sheet.events[1])
    )
    lobe = degree(skewed).lobes[0]
    assert lobe.centreline.value == pytest.approx(106.0)
    assert lobe.event_middle_deg == pytest.approx(108.0)


def test_pairs_weigh_by_slope_squared() -> None:
    """On a parabola, drop = k x², the slope is 2 k x: weights 1 : 4 for half widths 20 and 40 (closed form)."""
    pairs = [EqualLiftPair(0.4, 100.0, 20.0), EqualLiftPair(1.6, 105.0, 40.0)]
    assert flank_slopes(pairs, near_nose=True) == pytest.approx([0.04, 0.08])
    value, u = combined_middle(pairs, True, 0.25)
    assert value == pytest.approx((100.0 + 4 * 105.0) / 5)
    assert u == pytest.approx(0.25 / math.sqrt(2) * math.sqrt(1 + 16) / 5)


def _pairs(*heights_and_widths: tuple[float, float]) -> list[EqualLiftPair]:
    return [EqualLiftPair(height, 100.0, width) for height, width in heights_and_widths]


def test_slopes_of_lifts_that_fall_as_their_pairs_widen() -> None:
    # straight flanks of 0.1 mm/deg; pairs half a degree apart, in any order
    assert flank_slopes(_pairs((2.0, 10.0), (1.0, 20.0)), near_nose=False) == pytest.approx([0.1, 0.1])
    near = flank_slopes(_pairs((1.95, 10.5), (2.0, 10.0), (1.90, 11.0)), near_nose=False)
    assert near == pytest.approx([0.1, 0.1, 0.1])


@pytest.mark.parametrize(
    ("heights_and_widths", "near_nose"),
    [
        (((0.4, 20.0),), True),  # the nose and one point make a line of any flank
        (((2.0, 10.0),), False),
        (((2.0, 10.0), (1.0, 10.0)), False),
        (((2.0, 10.0), (1.0, 10.0), (0.5, 20.0)), False),
        (((1.0, 10.0), (2.0, 20.0)), False),
        (((2.0, 10.0), (1.0, 20.0), (1.5, 30.0)), False),
        (((2.0, 10.0), (1.0, 20.0)), True),
        (((3.0, 8.0), (4.0, 16.0)), True),  # the parabola through them lies level at the wider one
    ],
)
def test_pairs_that_tell_no_slope_weigh_alike(
    heights_and_widths: tuple[tuple[float, float], ...], near_nose: bool
) -> None:
    assert flank_slopes(_pairs(*heights_and_widths), near_nose) is None


def test_repeats_of_a_pair_lessen_its_uncertainty() -> None:
    # a middle is half a sum of two readings: u/√2, and u/√(2·4) of four such pairs
    assert combined_middle([EqualLiftPair(1.0, 105.0, 40.0, 4)], False, 0.5) == pytest.approx((105.0, 0.5 / 8.0**0.5))


def test_without_a_stop_only_what_needs_no_dead_centre_is_given() -> None:
    worked = degree(replace(full_sheet(), stop_deg=()))
    assert worked.dead_centre is None
    assert worked.lobe_separation.value == pytest.approx(110.0)
    assert worked.correction.value is None
    assert worked.lobes[0].centreline.value is None
    assert worked.lobes[0].events[0].duration.value == pytest.approx(230.0)
    assert worked.lobes[0].events[0].opening.value is None


def test_without_a_stop_angles_count_from_the_wheels_zero() -> None:
    lobe = degree(replace(full_sheet(), stop_deg=())).lobes[0]
    assert lobe.near_peak_middle_deg == pytest.approx(wheel(106.0))
    assert lobe.event_middle_deg == pytest.approx(wheel(106.0))


def test_an_event_that_was_read_once_has_the_wheels_uncertainty_and_that_of_dead_centre() -> None:
    worked = degree(full_sheet())
    assert worked.dead_centre is not None
    found = worked.lobes[0].events[0].opening
    assert found.u == pytest.approx(math.hypot(0.25, worked.dead_centre.standard_uncertainty_deg))


def test_lifts_a_micrometre_apart_are_two() -> None:
    apart = (EventReading("1I", 1.0, 352.0, 222.0), EventReading("1I", 1.001, 353.0, 221.0))
    lobe = degree(Sheet(events=apart)).lobes[0]
    for row in each(apart):
        found = lobe.events_at(row.lift_mm)
        assert found is not None
        assert found.at_mm == row.lift_mm


def test_several_lobes_of_a_kind_lessen_the_uncertainty_of_their_middle() -> None:
    """A mean of two that err alone: u/√2 of one, before dead centre's (JCGM 100:2008, 5.1.2)."""
    one = full_sheet()
    two = replace(one, pairs=(*one.pairs, *(replace(pair, lobe=f"2{pair.lobe[1]}") for pair in one.pairs)))
    alone, both = degree(one), degree(two)
    for name in ("lobe_separation", "intake_centreline"):
        assert getattr(both, name).value == pytest.approx(getattr(alone, name).value), name
    assert alone.lobe_separation.u is not None
    assert both.lobe_separation.u == pytest.approx(alone.lobe_separation.u / math.sqrt(2.0))


def test_uncertainties_match_simulated_repeats() -> None:
    rng = np.random.default_rng(11)
    base = full_sheet()

    def shaken() -> Sheet:
        def s(value: float) -> float:
            return value + rng.normal(0.0, 0.25)

        return replace(
            base,
            stop_deg=tuple(s(r) for r in base.stop_deg),
            events=tuple(replace(e, opening_deg=s(e.opening_deg), closing_deg=s(e.closing_deg)) for e in base.events),
            pairs=tuple(replace(p, rising_deg=s(p.rising_deg), falling_deg=s(p.falling_deg)) for p in base.pairs),
        )

    runs = [degree(shaken()) for _ in range(1500)]
    stated = degree(base)
    for name in ("correction", "lobe_separation", "advance"):
        scatter = np.std([getattr(run, name).value for run in runs])
        assert scatter == pytest.approx(getattr(stated, name).u, rel=0.12), name
    overlap = np.std([run.overlaps[0][1].value for run in runs])
    assert overlap == pytest.approx(stated.overlaps[0][1].u, rel=0.1)


# complaints


def test_a_good_sheet_has_no_complaint() -> None:
    assert findings(full_sheet()) == ()


def event(sheet: Sheet, opening: float = 0.0, closing: float = 0.0) -> EventReading:
    """The intake events with an error added to either."""
    good = sheet.events[0]
    return replace(good, opening_deg=good.opening_deg + opening, closing_deg=good.closing_deg + closing)


def with_event(sheet: Sheet, wrong: EventReading) -> Sheet:
    return replace(sheet, events=(wrong, sheet.events[1]))


def with_wide_pair(sheet: Sheet, **changes: float) -> Sheet:
    """The sheet with its second intake pair changed."""
    return replace(sheet, pairs=(sheet.pairs[0], replace(sheet.pairs[1], **changes), *sheet.pairs[2:]))


@pytest.mark.parametrize(
    ("spoil", "about", "words"),
    [
        (lambda s: replace(s, stop_deg=(-28.5, -31.0)), "stop", "one before and one after"),
        (lambda s: replace(s, stop_deg=(-28.5, 31.0, -28.5, 35.0)), "stop", "differ by"),
        (lambda s: replace(s, stop_deg=(-88.0, 90.0)), "stop", "bottom dead centre"),
        (lambda s: replace(s, stop_deg=(-28.5, 31.0, -28.5)), "stop", "as many"),
        (
            lambda s: with_wide_pair(s, rising_deg=s.pairs[1].falling_deg, falling_deg=s.pairs[1].rising_deg),
            "1I near peak",
            "swapped",
        ),
        (lambda s: with_event(s, event(s, 230.0, -230.0)), "1I at 1.27 mm", "swapped"),
        (lambda s: with_event(s, event(s, -10.0)), "1I at 1.27 mm", "wrong ten"),
        (lambda s: replace(s, events=(*s.events, replace(event(s, -1.0), lift_mm=5.08))), "1I", "not shorter"),
        (lambda s: with_wide_pair(s, falling_deg=s.pairs[0].falling_deg - 16.0), "1I", "no wider"),
        (lambda s: with_wide_pair(s, falling_deg=s.pairs[1].falling_deg + 10.0), "1I", "should agree"),
        (lambda s: replace(s, sense="reverse"), "wheel", "sense"),
        (lambda s: replace(s, events=(*s.events, event(s, 2.0))), "1I", "slipped"),
        (lambda s: replace(s, pairs=(*s.pairs, NosePair("2I", 1.27, 68.0, 146.0))), "stop", "own cylinder"),
        (lambda s: replace(s, pairs=(*s.pairs, NosePair("cam A", 1.27, 68.0, 146.0))), "cam A", "neither intake"),
    ],
)
def test_wrong_readings_get_their_sentence(spoil: Callable[[Sheet], Sheet], about: str, words: str) -> None:
    found = findings(spoil(full_sheet()))
    assert any(f.about == about and words in f.sentence for f in found), found


def test_a_shaft_one_tooth_out_is_noticed() -> None:
    found = findings(full_sheet(late=18.0))
    assert {f.about for f in found} >= {"1I", "1E"}
    assert any("tooth" in f.sentence for f in found)


# the next reading


def test_the_worksheet_leads_through_a_whole_sheet() -> None:
    full, sheet = full_sheet(), Sheet(card=full_sheet().card, wheel_uncertainty_deg=0.25)
    order = []
    for _ in range(14):
        step = next_reading(sheet)
        order.append((step.what, step.lobe, step.turn))
        if step.what in {"repeat", "done"}:
            break
        if step.what == "stop":
            sheet = replace(sheet, stop_deg=(*sheet.stop_deg, full.stop_deg[len(sheet.stop_deg)]))
            continue
        source = next(p for p in full.pairs if p.lobe == step.lobe and p.below_peak_mm == 1.27)
        event = next(e for e in full.events if e.lobe == step.lobe)
        true = {
            "rising": source.rising_deg,
            "falling": source.falling_deg,
            "opening": event.opening_deg,
            "closing": event.closing_deg,
        }[step.what]
        assert abs((step.expected_wheel_deg - true + 180) % 360 - 180) < 6.0
        if step.what in {"rising", "falling"}:
            kept = [p for p in sheet.pairs if p.lobe != step.lobe]
            mine = next((p for p in sheet.pairs if p.lobe == step.lobe), NosePair(step.lobe, step.lift_mm))
            sheet = replace(sheet, pairs=(*kept, replace(mine, **{f"{step.what}_deg": true})))
        else:
            kept = [e for e in sheet.events if e.lobe != step.lobe]
            mine = next((e for e in sheet.events if e.lobe == step.lobe), EventReading(step.lobe, step.lift_mm))
            sheet = replace(sheet, events=(*kept, replace(mine, **{f"{step.what}_deg": true})))
    assert order == [
        ("stop", None, "forward"),
        ("stop", None, "backward"),
        ("rising", "1I", "forward"),
        ("falling", "1I", "forward"),
        ("rising", "1E", "forward"),
        ("falling", "1E", "forward"),
        ("opening", "1I", "forward"),
        ("closing", "1I", "forward"),
        ("opening", "1E", "forward"),
        ("closing", "1E", "forward"),
        ("repeat", None, "forward"),
    ]
    assert next_reading(replace(sheet, stop_deg=full.stop_deg * 2)).what == "done"


# the command

SHEET = """
[stop]
readings = [-28.5, 31.0]
[[reading]]
lobe = "1I"
lift = "0.050 in"
opening = 352.0
closing = 219.5
[[near_peak]]
lobe = "1I"
below_peak = "1.27 mm"
rising = 78.0
falling = 138.5
[wheel]
uncertainty = 0.25
[card]
intake_centreline = 106
[[card.duration]]
lobe = "1I"
at = "1.27 mm"
value = "232 crank deg"
[adjuster]
steps = [-4, -2, 0, 2, 4]
"""


def run(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], sheet: str = SHEET, spec: str | None = None, *more: str
) -> Answer:
    (tmp_path / "sheet.toml").write_text(sheet)
    arguments = ["phasing", str(tmp_path / "sheet.toml"), *more]
    if spec is not None:
        (tmp_path / "spec.toml").write_text(spec)
        arguments += ["--spec", str(tmp_path / "spec.toml")]
    code = main(arguments)
    return code, *capsys.readouterr()


def test_command_answers_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(tmp_path, capsys, SHEET, None, "--json")
    answer = json.loads(out)
    assert code == 0
    assert answer["tdc_offset_deg"] == 1.25
    assert answer["tdc_uncertainty_deg"] == pytest.approx(0.25 / math.sqrt(2))
    lobe = answer["lobes"][0]
    assert lobe["centreline_crank_deg"] == pytest.approx(107.0)
    assert lobe["durations"][0]["at_mm"] == pytest.approx(1.27)
    assert lobe["durations"][0]["opening_event"] == {"angle": pytest.approx(9.25), "reference": "BTDC"}
    assert lobe["durations"][0]["closing_event"] == {"angle": pytest.approx(38.25), "reference": "ABDC"}
    assert answer["correction_crank_deg"] == pytest.approx(1.0)
    assert answer["nearest_adjuster_crank_deg"] == 0.0
    assert answer["lobe_separation_cam_deg"] is None
    assert any("separation" in note["about"] for note in answer["notes"])


@pytest.mark.parametrize(
    ("limits", "code"),
    [
        ('of = "intake_centreline"\nmin = 104\nmax = 110', 0),
        ('of = "intake_centreline"\nmin = 100\nmax = 105', 1),
        ('of = "intake_centreline"\nmin = 104\nmax = 107', 4),
        ('of = "duration"\nat = "1.27 mm"\nnominal = 227\nbelow = 3\nabove = 3', 0),
        # what a degree wheel can't answer is not judged here; what it could and did not is undecided
        ('of = "max_lift"\nmin = 7', 0),
        ('of = "duration"\nat = "5 mm"\nmin = 7', 4),
        ('of = "opening"\nat = "5 mm"\nmin = 7', 4),
    ],
)
def test_command_exit_codes(tmp_path: Path, capsys: pytest.CaptureFixture[str], limits: str, code: int) -> None:
    assert run(tmp_path, capsys, SHEET, f"[[limit]]\n{limits}\n")[0] == code


@pytest.mark.parametrize(
    ("found", "instead", "words"),
    [
        ('lift = "0.050 in"', 'lift = "0.050 lbf"', "lift"),
        ("opening = 352.0", 'opening = "a bit"', "opening"),
        ("opening = 352.0", "opening = 1352.0", "opening"),
        ("uncertainty = 0.25", "uncertainty = -1", "uncertainty"),
        ("uncertainty = 0.25", "uncertainty = 0", "uncertainty"),
        ("opening = 352.0", "opening = -361.0", "opening"),
        ("[adjuster]", "[adjustre]", "adjustre"),
        ("rising = 78.0", "rising = nan", "rising"),
        ("[stop]", "[stop", "sheet.toml"),
        ("opening = 352.0", "opening = true", "opening"),
        ("opening = 352.0", 'opening = "352 mm"', "opening"),
        (SHEET, "", "no readings"),
    ],
)
def test_command_refuses_with_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], found: str, instead: str, words: str
) -> None:
    code, out, err = run(tmp_path, capsys, SHEET.replace(found, instead))
    assert (code, out) == (3, "")
    assert len(err.strip().splitlines()) == 1
    assert words in err


def test_command_text_carries_the_caution_and_the_next_step(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(
        tmp_path, capsys, SHEET + "[[reading]]\nlobe='1E'\nlift='1.27 mm'\nopening=5.25\nclosing=129.25\n"
    )
    assert code == 0
    assert "never use the starter" in out
    assert "Next:" in out
    assert "warning: 1E" in err


def test_sheet_given_to_the_inspection_keeps_every_complaint_as_a_warning() -> None:
    result = inspect_phasing(replace(full_sheet(), sense="reverse")).result
    assert any(note.level == "warning" for note in result.notes)


def test_a_wheel_of_unknown_uncertainty_is_warned_of_and_marked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    limit = '[[limit]]\nof = "intake_centreline"\nmin = 104\nmax = 110\n'
    for sheet, marked in ((SHEET, False), (SHEET.replace("[wheel]\nuncertainty = 0.25\n", ""), True)):
        answer = json.loads(run(tmp_path, capsys, sheet, limit, "--json")[1])
        warned = [note for note in answer["notes"] if note["level"] == "warning" and note["about"] == "wheel"]
        assert bool(warned) is marked
        assert [bool(row["reason"]) for row in answer["verdicts"]] == [marked]


@pytest.mark.parametrize(
    ("limit", "measured", "decision"),
    [
        # opening 352 on a wheel whose dead centre is 1.25: 9.25 BTDC; closing 219.5: 38.25 ABDC (plain arithmetic)
        ('of = "opening"\nnominal = 9\nbelow = 2\nabove = 2', 9.25, "accept"),
        ('of = "opening"\nnominal = "9 deg BTDC"\nbelow = 2\nabove = 2', 9.25, "accept"),
        ('of = "opening"\nmin = "12 BTDC"\nmax = "20 BTDC"', 9.25, "reject"),
        ('of = "closing"\nmax = "41 ABDC"', 38.25, "accept"),
        ('of = "closing"\nmax = "37 ABDC"', 38.25, "reject"),
        ('of = "closing"\nmax = "38.3 ABDC"', 38.25, "undecided"),
    ],
)
def test_opening_and_closing_are_judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], limit: str, measured: float, decision: str
) -> None:
    spec = f'[[limit]]\n{limit}\nlobes = ["1I"]\nat = "1.27 mm"\n'
    _, out, _ = run(tmp_path, capsys, SHEET, spec, "--json")
    (row,) = json.loads(out)["verdicts"]
    assert (row["measured"], row["decision"], row["unit"]) == (pytest.approx(measured), decision, "crank deg")


def test_a_spec_is_answered_in_full_or_says_where_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec = """
[[limit]]
of = "duration"
at = "1.27 mm"
nominal = 227
below = 3
above = 3
[[limit]]
of = "opening"
at = "1.27 mm"
nominal = 20
below = 1
above = 1
[[limit]]
of = "overlap"
at = "1.27 mm"
max = 20
[[limit]]
of = "max_lift"
max = "9 mm"
[[limit]]
of = "opening"
at = "1.27 mm"
max = "10 cam deg"
"""
    code, out, err = run(tmp_path, capsys, SHEET, spec, "--json")
    rows = json.loads(out)["verdicts"]
    assert code == 1
    assert [(row["characteristic"], row["decision"]) for row in rows] == [
        ("duration", "accept"),
        ("opening", "reject"),
        ("overlap", "undecided"),
    ]
    assert "not both read" in rows[2]["reason"]
    assert "limits that this inspection does not answer: [[limit]] 4 max_lift (lobe), [[limit]] 5 opening (lobe)" in err


SEVERAL = SHEET.replace("readings = [-28.5, 31.0]", "readings = [-28.5, 31.0, -28.5, 31.0, -28.5, 31.0]")


@pytest.mark.parametrize(
    ("sheet", "doubtful"),
    [
        (SEVERAL, set()),
        # one of three touches on one side is two degrees off: dead centre is in doubt, a duration is not
        (SEVERAL.replace("31.0]", "33.5]"), {"tdc_offset", "intake_centreline", "opening"}),
        # two middles that contradict each other
        (SHEET.replace("31.0]", "31.0, -28.5, 35.0]"), {"tdc_offset", "intake_centreline", "opening"}),
        # a pair read three times, once far off
        (
            SHEET + "".join(
                f'[[near_peak]]\nlobe = "1I"\nbelow_peak = "1.27 mm"\nrising = {rising}\nfalling = 138.5\n'
                for rising in (78.0, 84.0)
            ),
            {"intake_centreline", "opening", "duration"},
        ),
    ],
)  # fmt: skip
def test_readings_that_contradict_each_other_decide_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], sheet: str, doubtful: set[str]
) -> None:
    spec = """
[[limit]]
of = "tdc_offset"
min = -5
max = 5
[[limit]]
of = "intake_centreline"
min = 90
max = 120
[[limit]]
of = "duration"
at = "1.27 mm"
min = 200
max = 250
[[limit]]
of = "opening"
at = "1.27 mm"
min = -30
max = 40
"""
    rows = json.loads(run(tmp_path, capsys, sheet, spec, "--json")[1])["verdicts"]
    assert {row["characteristic"] for row in rows if row["decision"] == "undecided"} == doubtful
    assert all(row["decision"] == "accept" for row in rows if row["characteristic"] not in doubtful)
    assert all(row["reason"] for row in rows if row["characteristic"] in doubtful)


def test_a_wheel_reading_set_aside_does_not_count_and_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    aside = '[[set_aside]]\nof = "1I rising"\nreading = 84.0\nreason = "the arm slipped"\n'
    spec = '[[limit]]\nof = "intake_centreline"\nmin = 90\nmax = 120\n'
    code, out, err = run(tmp_path, capsys, SHEET + aside, spec)
    assert code == 0
    assert "1I rising: wheel reading 84 set aside: the arm slipped" in err
    assert "accept" in out
    sheet = read_phasing_sheet(tmp_path / "sheet.toml")[0]
    assert sheet.set_aside[0].reading_deg == 84.0
    assert parse_sheet_toml(sheet_toml(sheet)) == sheet
