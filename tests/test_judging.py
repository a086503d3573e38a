"""Limits of a spec against values: units, selection, missing values, refusals."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from something import each

from valvelab.errors import BadSpec
from valvelab.inspection.characteristics import SHARED, all_characteristics, nearest, printed
from valvelab.inspection.judging import Item, judge
from valvelab.measured import Measured
from valvelab.records.result import Note, Verdict, exit_code
from valvelab.records.spec import Spec


def item(name: str, kind: str | None, values: dict[str, Measured]) -> Item:
    look_up: Callable[[str, float | None], Measured | None] = lambda of, _at: values.get(of)  # noqa: E731
    return Item(name, kind, look_up)


ENVELOPE = {"nominal": "n.csv", "band": [{"from": -60, "to": 60, "below": 0.1, "above": 0.1}]}
LOBES = [
    item("1I", "intake", {"max_lift": Measured(7.62, 0.001), "duration": Measured(232.0, 0.02)}),
    item("1E", "exhaust", {"max_lift": Measured(7.70, 0.001), "duration": Measured(None, None, "never comes down")}),
    item("cam", None, {"max_lift": Measured(7.62), "jerk_max_abs": Measured(1e-4, 1e-5)}),
]


def judged(limit: dict[str, object], rule: str = "guarded") -> tuple[list[Verdict], list[Note]]:
    spec = Spec.model_validate({"limit": [limit], "decision": {"rule": rule}})
    return judge(spec, {"lobe": LOBES}, "ordered.toml")


def outcomes(limit: dict[str, object], rule: str = "guarded") -> dict[str, str]:
    return {verdict.item: verdict.decision for verdict in judged(limit, rule)[0]}


def test_nominal_with_a_band_and_ends_say_the_same() -> None:
    band = {"of": "max_lift", "nominal": "7.62 mm", "below": "0.05 mm", "above": "0.05 mm"}
    ends = {"of": "max_lift", "min": 7.57, "max": 7.67}
    inches = {"of": "max_lift", "nominal": "0.300 in", "below": "0.0019685039370 in", "above": "0.0019685039370 in"}
    expected = {"1I": "accept", "1E": "reject", "cam": "accept"}
    for limit in (band, ends, inches):
        assert outcomes(limit) == expected
        verdict = judged(limit)[0][0]
        assert (verdict.lower, verdict.upper) == pytest.approx((7.57, 7.67), abs=1e-9)
        assert (verdict.unit, verdict.measured, verdict.standard_uncertainty) == ("mm", 7.62, 0.001)


@pytest.mark.parametrize("value", [232, "232 crank deg", "116 cam deg", "232"])
def test_a_duration_is_in_crank_degrees_however_typed(value: object) -> None:
    verdict = judged({"of": "duration", "at": "0.050 in", "nominal": value, "below": 1, "above": 1, "lobes": ["1I"]})[
        0
    ][0]
    assert (verdict.lower, verdict.upper, verdict.at_mm) == pytest.approx((231.0, 233.0, 1.27))
    assert verdict.decision == "accept"


@pytest.mark.parametrize(
    ("lobes", "chosen"),
    [
        ("all", ["1I", "1E", "cam"]),
        ("intake", ["1I"]),
        ("exhaust", ["1E"]),
        (["1E", "1I"], ["1I", "1E"]),
        (["9I"], ["9I"]),
    ],
)
def test_which_lobes_a_limit_names(lobes: object, chosen: list[str]) -> None:
    verdicts, notes = judged({"of": "max_lift", "max": 9, "lobes": lobes})
    assert [verdict.item for verdict in verdicts] == chosen
    # "cam" has no uncertainty in these readings, and nobody measured 9I
    assert bool(notes) == ("9I" in chosen or "cam" in chosen)


def test_one_sided_limits_leave_the_other_end_open() -> None:
    verdict = judged({"of": "max_lift", "min": 7.0})[0][0]
    assert (verdict.lower, verdict.upper, verdict.decision) == (7.0, None, "accept")
    lopsided = judged({"of": "max_lift", "nominal": 7.62, "above": 0.1})[0][0]
    assert (lopsided.lower, lopsided.upper) == (None, 7.72)


def test_near_a_limit_it_is_undecided_unless_simple() -> None:
    limit = {"of": "max_lift", "max": 7.621, "lobes": ["1I"]}
    assert outcomes(limit) == {"1I": "undecided"}
    assert outcomes(limit, "simple") == {"1I": "accept"}


def test_a_missing_value_is_undecided_with_its_reason() -> None:
    verdicts, notes = judged({"of": "duration", "at": 1.27, "max": 240, "lobes": ["1E"]})
    assert (verdicts[0].decision, verdicts[0].measured, verdicts[0].probability_conforming) == ("undecided", None, None)
    assert "never comes down" in notes[0].text


def test_without_uncertainty_the_simple_rule_decides_and_says_so() -> None:
    verdicts, notes = judged({"of": "max_lift", "max": 7.621, "lobes": ["cam"]})
    assert verdicts[0].decision == "accept"
    assert "no uncertainty is known" in notes[0].text


def test_limits_on_other_things_are_listed_in_one_warning() -> None:
    limits = [{"of": "seat_force", "min": "300 N"}, {"of": "max_lift", "max": 9}, {"of": "tir", "max": "0.02 mm"}]
    spec = Spec.model_validate({"limit": limits, "envelope": [ENVELOPE]})
    verdicts, notes = judge(spec, {"station": [item("J1", "journal", {"tir": Measured(0.01, 0.001)})]}, "ordered.toml")
    assert [(verdict.characteristic, verdict.decision) for verdict in verdicts] == [("tir", "accept")]
    assert [(note.level, note.about, note.text) for note in notes] == [
        (
            "warning",
            "limits that this inspection does not answer",
            (
                "[[limit]] 1 seat_force (spring), [[limit]] 2 max_lift (lobe), [[envelope]] 1: "
                "other inspections judge those"
            ),
        )
    ]


@pytest.mark.parametrize(("lobes", "named"), [("exhaust", "exhaust"), ("all", "all"), (["9I"], "9I")])
def test_a_limit_that_finds_nothing_to_judge_is_an_undecided_row(lobes: object, named: str) -> None:
    spec = Spec.model_validate({"limit": [{"of": "max_lift", "max": 9, "lobes": lobes}]})
    verdicts, notes = judge(spec, {"lobe": [] if lobes == "all" else LOBES[:1]})
    assert [(row.item, row.decision, row.measured, row.upper) for row in verdicts] == [(named, "undecided", None, 9.0)]
    assert verdicts[0].reason
    assert [note.level for note in notes] == ["warning"]


def test_a_characteristic_that_no_item_has_is_an_undecided_row() -> None:
    # a shaft with intake lobes only has no lobe separation
    spec = Spec.model_validate({"limit": [{"of": "lobe_separation", "nominal": 108, "above": 1, "below": 1}]})
    verdicts, _ = judge(spec, {"camshaft": [Item("camshaft", None, lambda _name, _at: None)]})
    assert [(row.item, row.decision) for row in verdicts] == [("all", "undecided")]


@pytest.mark.parametrize(
    ("of", "measured", "limit", "expected", "shown"),
    [
        # the nearest branch of the circle: plain arithmetic, 356.419 = −3.581 + 360
        ("opening", 356.419, {"nominal": -3.6, "below": 1, "above": 1}, "accept", -3.581),
        ("opening", 356.419, {"nominal": "-3.6 cam deg", "below": 1, "above": 1}, "accept", -3.581),
        ("max_lift_angle", 53.04, {"nominal": 413, "below": 1, "above": 1}, "accept", 413.04),
        ("closing", 2.0, {"min": 350}, "accept", 362.0),
        ("closing", 358.0, {"max": 10}, "accept", -2.0),
        ("closing", 150.0, {"max": 10}, "reject", 150.0),
        ("opening", 5.0, {"min": 350, "max": 10}, "accept", 365.0),
        ("opening", 15.0, {"min": 350, "max": 10}, "reject", 375.0),
        ("opening", 100.0, {"nominal": 356, "below": 1, "above": 1}, "reject", 460.0),
        # sizes and differences lie on no circle
        ("index_error", 359.9, {"min": -0.25, "max": 0.25}, "reject", 359.9),
        ("duration", 592.0, {"nominal": 232, "below": 1, "above": 1}, "reject", 592.0),
    ],
)
def test_places_on_a_circle_are_compared_on_the_circle(
    of: str, measured: float, limit: dict[str, object], expected: str, shown: float
) -> None:
    at = {"at": 1.27} if of in {"opening", "closing", "duration"} else {}
    spec = Spec.model_validate({"limit": [{"of": of, **at, **limit}]})
    (row,), _ = judge(spec, {"lobe": [item("1I", "intake", {of: Measured(measured, 0.01)})]})
    assert (row.decision, row.measured) == (expected, pytest.approx(shown, abs=1e-9))
    ends = [end for end in (row.lower, row.upper) if end is not None]
    assert (expected == "accept") == all((row.lower or -1e9) <= row.measured <= (row.upper or 1e9) for _ in ends)


def test_a_value_that_u_drowns_is_undecided_and_says_so() -> None:
    spec = Spec.model_validate({"limit": [{"of": "index_error", "min": -0.01, "max": 0.01}]})
    (row,), _ = judge(spec, {"lobe": [item("1I", "intake", {"index_error": Measured(0.0, 0.2)})]})
    assert (row.decision, row.probability_conforming) == ("undecided", pytest.approx(0.0399, abs=1e-4))
    assert row.reason == "u is too large for these limits: no measured value could be accepted"


EVENTS = {
    "event": [
        item("1I", "intake", {"opening": Measured(9.2, 0.2), "closing": Measured(41.3, 0.2)}),
        item("1E", "exhaust", {"opening": Measured(52.1, 0.2), "closing": Measured(-3.8, 0.2)}),
    ]
}


@pytest.mark.parametrize(
    ("limit", "lower", "upper", "decision"),
    [
        ({"of": "opening", "lobes": ["1I"], "nominal": 9, "below": 2, "above": 2}, 7, 11, "accept"),
        ({"of": "opening", "lobes": ["1I"], "nominal": "9 BTDC", "below": 2, "above": 2}, 7, 11, "accept"),
        (
            {"of": "opening", "lobes": ["1I"], "nominal": "9 deg btdc", "below": "1 cam deg", "above": "2"},
            7,
            11,
            "accept",
        ),
        ({"of": "opening", "lobes": ["1I"], "min": "2 ATDC", "max": "12 BTDC"}, -2, 12, "accept"),
        ({"of": "closing", "lobes": ["1I"], "max": "40 deg ABDC"}, None, 40, "reject"),
        ({"of": "opening", "lobes": "exhaust", "max": "55 BBDC"}, None, 55, "accept"),
        ({"of": "closing", "valves": "exhaust", "min": "5 BTDC", "max": "0 crank deg"}, -5, 0, "accept"),
        # the same event a whole cycle on
        ({"of": "opening", "lobes": ["1I"], "nominal": 729, "below": 2, "above": 2}, 727, 731, "accept"),
    ],
)
def test_events_are_judged_as_the_trade_counts_them(
    limit: dict[str, object], lower: float | None, upper: float | None, decision: str
) -> None:
    # opening 9.2 BTDC, closing 41.3 ABDC; opening 52.1 BBDC, closing 3.8 BTDC
    spec = Spec.model_validate({"limit": [{"at": "1.27 mm", **limit}]})
    (row,), _ = judge(spec, EVENTS, where="valve")
    assert (row.lower, row.upper, row.decision, row.unit) == (lower, upper, decision, "crank deg")


@pytest.mark.parametrize(
    ("limit", "here"),
    [
        ({"max": 9}, {"lobe", "follower", "valve"}),
        ({"max": "9 cam deg"}, {"lobe"}),
        ({"max": "9 crank deg"}, {"follower", "valve"}),
        ({"max": "9 BTDC"}, {"follower", "valve"}),
        ({"max": 9, "lift_at": "follower"}, {"follower"}),
        ({"max": 9, "lift_at": "valve"}, {"valve"}),
        ({"max": 9, "valves": "intake"}, {"valve"}),
    ],
)
def test_a_limit_is_judged_only_in_the_meaning_of_its_words(limit: dict[str, object], here: set[str]) -> None:
    spec = Spec.model_validate({"limit": [{"of": "opening", "at": 1.27, "lobes": "intake", **limit}]})
    rows = {
        "lobe": judge(spec, {"lobe": [item("1I", "intake", {"opening": Measured(5.0, 0.1)})]}),
        "follower": judge(spec, EVENTS, where="follower"),
        "valve": judge(spec, EVENTS, where="valve"),
    }
    assert {name for name, (verdicts, _) in rows.items() if verdicts} == here
    for name, (_, notes) in rows.items():
        told = [note for note in notes if note.about == "limits that this inspection does not answer"]
        assert bool(told) == (name not in here)
    bare = [note for _, notes in rows.values() for note in notes if "bare number" in note.text]
    assert len(bare) == (3 if limit == {"max": 9} else 0)


@pytest.mark.parametrize(
    ("limit", "sentence"),
    [
        (
            {"of": "lift_max", "max": 9},
            r"ordered.toml, \[\[limit\]\] 1: found of = 'lift_max', expected a name listed by",
        ),
        ({"of": "max_lift", "max": "9 N"}, r"\[\[limit\]\] 1 max_lift max: found unit 'N', expected a length unit"),
        ({"of": "max_lift", "min": 9, "max": 8}, "found lower 9 above upper 8, expected lower at or below upper"),
        ({"of": "duration", "max": 240}, "found duration without `at`, expected the lift it is judged at"),
        ({"of": "duration", "at": 1.27, "max": "240 mm"}, "duration max: found"),
        ({"of": "jerk_max_abs", "max": "3 furlongs"}, "found unit 'furlongs', expected mm/cam deg3"),
        (
            {"of": "max_lift", "nominal": 7.6, "below": "0.05 mm", "above": "-0.03 mm"},
            r"\[\[limit\]\] 1 max_lift above: found '-0.03 mm', expected a size of 0 or more",
        ),
        (
            {"of": "max_lift", "nominal": 7.6, "below": -0.05},
            "max_lift below: found -0.05, expected a size of 0 or more",
        ),
        ({"of": "max_lift", "max": "1e15 mm"}, r"max_lift max: found 1e\+15 mm, expected at most 1000 mm"),
        ({"of": "roundness_mzc", "max": "3 m"}, "roundness_mzc max: found 3000 mm, expected at most 1000 mm"),
        ({"of": "seat_force", "max": "1e15 N"}, r"seat_force max: found 1e\+15 N, expected at most 1e\+06 N"),
        ({"of": "rsk", "max": 1e13}, r"rsk max: found 1e\+13, expected at most 1e\+12"),
        ({"of": "tdc_offset", "max": "2 crank deg"}, "tdc_offset max: found unit 'crank deg'"),
        (
            {"of": "max_lift", "max": 8, "lift_at": "valve"},
            "lift_at: found it beside of = 'max_lift', expected opening",
        ),
        ({"of": "opening", "at": 1.27, "min": "9 BTDC", "max": "20 cam deg"}, "expected one of the two"),
        ({"of": "opening", "at": 1.27, "min": "9 BTDC", "max": "20 ABDC"}, "top and bottom dead centre in one limit"),
        ({"of": "opening", "at": 1.27, "max": "9 cam deg", "lift_at": "valve"}, "cam deg beside valves or lift_at"),
        # the wrong way round, and no circle makes it right: nearly everything would be allowed
        ({"of": "opening", "at": 1.27, "min": "8 BTDC", "max": "2 ATDC"}, "found lower 8 above upper -2"),
        ({"of": "opening", "at": 1.27, "min": 56, "max": 54}, "found lower 56 above upper 54"),
    ],
)
def test_limits_that_cannot_be_applied_are_refused(limit: dict[str, object], sentence: str) -> None:
    with pytest.raises(BadSpec, match=sentence) as no:
        judged(limit)
    assert "\n" not in str(no.value)


def test_exit_codes_follow_the_worst_verdict() -> None:
    def codes(*limits: dict[str, object]) -> int:
        return exit_code([verdict for limit in limits for verdict in judged(limit)[0]])

    good: dict[str, object] = {"of": "max_lift", "max": 9}
    doubtful: dict[str, object] = {"of": "max_lift", "max": 7.621, "lobes": ["1I"]}
    bad: dict[str, object] = {"of": "max_lift", "max": 7}
    assert (codes(), codes(good), codes(good, doubtful), codes(good, doubtful, bad)) == (0, 0, 4, 1)


def test_a_lobe_that_the_spec_names_and_nobody_measured_is_undecided() -> None:
    spec = Spec.model_validate({"limit": [{"of": "max_lift", "lobes": ["1I", "9I"], "max": 8.0}]})
    item = Item("1I", "intake", lambda _name, _at: Measured(7.0, 0.001))
    verdicts, notes = judge(spec, {"lobe": [item]})
    assert [(row.item, row.decision, row.measured) for row in verdicts] == [
        ("1I", "accept", 7.0),
        ("9I", "undecided", None),
    ]
    assert any("not among the readings" in note.text for note in notes)


def test_an_event_counted_from_the_other_dead_centre_is_refused() -> None:
    spec = Spec.model_validate({"limit": [{"of": "opening", "at": 1.27, "max": "9 BTDC"}]})
    with pytest.raises(BadSpec, match="found an angle from TDC for 1E, expected one from BDC") as no:
        judge(spec, EVENTS, where="valve")
    assert "opening of an exhaust" in str(no.value)


def test_every_limit_of_a_spec_is_read_whoever_judges_it() -> None:
    # a spring's limit of negative size is refused by the inspection of a camshaft too
    spec = Spec.model_validate({"limit": [{"of": "seat_force", "nominal": 300, "below": -5}]})
    with pytest.raises(BadSpec, match="seat_force below: found -5"):
        judge(spec, {"lobe": LOBES})


def test_of_one_name_and_unit_there_is_one_printed_name() -> None:
    """Tables at hand are asked first; which those are must not show."""
    for row in each(all_characteristics()):
        assert {other.head for other in nearest(row.name) if other.unit == row.unit} == {row.head}
        assert printed(row.name, row.unit) == row.head


def test_names_of_more_than_one_entry_are_told() -> None:
    names = Counter(row.name for row in all_characteristics())
    assert {name for name, count in names.items() if count > 1} == SHARED


@pytest.mark.parametrize(
    ("command", "readings", "spec", "other"),
    [
        ("springs", "springs_quillmere_tray.csv", "springs_quillmere_spec.toml", ("lobes", "form", "engine")),
        ("lobes", "lake_v8_camshaft.csv", "lake_v8_camshaft.toml", ("springs", "form", "engine")),
        ("phasing", "quillmere_four_degree_wheel.toml", "quillmere_four_engine.toml", ("springs", "form")),
    ],
)
def test_limits_that_are_answered_load_no_other_table(
    tmp_path: Path, command: str, readings: str, spec: str, other: tuple[str, ...]
) -> None:
    samples = Path(__file__).parent.parent / "sample_profiles"
    loaded = "sorted(name for name in sys.modules if name.endswith('.characteristics'))"
    script = f"import sys; from valvelab.__main__ import main; main(); sys.stderr.write(str({loaded}))"
    words = [command, str(samples / readings), "--spec", str(samples / spec)]
    done = subprocess.run(
        [sys.executable, "-c", script, *words], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert f"valvelab.inspection.{'engine' if command == 'phasing' else command}.characteristics" in done.stderr
    assert not [table for table in other if f"valvelab.inspection.{table}.characteristics" in done.stderr]
