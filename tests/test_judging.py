"""Limits of a spec against values: units, selection, missing values, refusals."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from valvelab.errors import BadSpec
from valvelab.inspection.judging import Item, Measured, judge
from valvelab.records.result import Note, Verdict, exit_code
from valvelab.records.spec import Spec


def item(name: str, kind: str | None, values: dict[str, Measured]) -> Item:
    look_up: Callable[[str, float | None], Measured | None] = lambda of, _at: values.get(of)  # noqa: E731
    return Item(name, kind, look_up)


LOBES = [
    item("1I", "intake", {"max_lift": Measured(7.62, 0.001), "duration": Measured(232.0, 0.02)}),
    item("1E", "exhaust", {"max_lift": Measured(7.70, 0.001), "duration": Measured(None, None, "never comes down")}),
    item("cam", None, {"max_lift": Measured(7.62), "jerk_max_abs": Measured(1e-4, 1e-5)}),
]


def judged(limit: dict[str, object], rule: str = "guarded") -> tuple[list[Verdict], list[Note]]:
    spec = Spec.model_validate({"limit": [limit], "decision": {"rule": rule}})
    return judge(spec, {"lobe": LOBES}, "clubman.toml")


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


def test_limits_of_other_subjects_are_passed_over() -> None:
    assert judged({"of": "seat_force", "min": "300 N"}) == ([], [])


@pytest.mark.parametrize(
    ("limit", "sentence"),
    [
        (
            {"of": "lift_max", "max": 9},
            r"clubman.toml, \[\[limit\]\] 1: found of = 'lift_max', expected a name listed by",
        ),
        ({"of": "max_lift", "max": "9 N"}, r"\[\[limit\]\] 1 max_lift max: found unit 'N', expected a length unit"),
        ({"of": "max_lift", "min": 9, "max": 8}, "found lower 9 above upper 8, expected lower at or below upper"),
        ({"of": "duration", "max": 240}, "found duration without `at`, expected the lift it is judged at"),
        ({"of": "duration", "at": 1.27, "max": "240 mm"}, "duration max: found"),
        ({"of": "jerk_max_abs", "max": "3 furlongs"}, "found unit 'furlongs', expected mm/cam deg3"),
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
