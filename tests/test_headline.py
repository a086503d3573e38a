"""The answer in one line: what to do, what is rejected and by how much, or which value is nearest its limit."""

from __future__ import annotations

import pytest

from valvelab.conformity.decision import TOO_WIDE
from valvelab.records.phasing_result import PhasingResult
from valvelab.records.result import Decision, Result, Verdict
from valvelab.tables.headline import adjustment, headline


def degreed(correction: float | None, step: float | None, u: float | None = 0.18) -> PhasingResult:
    blank = dict.fromkeys(PhasingResult.model_fields)
    known = {"lobes": (), "overlap": (), "adjuster_outcomes": (), "notes": (), "verdicts": (), "source": ()}
    return PhasingResult.model_construct(
        **{
            **blank,
            **known,
            "command": "phasing",
            "correction_crank_deg": correction,
            "nearest_adjuster_crank_deg": step,
            "uncertainty": {"correction_crank_deg": u},
        }
    )


@pytest.mark.parametrize(
    ("correction", "step", "u", "told"),
    [
        (3.0223, 4.0, 0.1823, "Advance 4 crank deg: 3.02 ± 0.18 wanted"),
        (-1.7, -2.0, 0.18, "Retard 2 crank deg: 1.70 ± 0.18 wanted"),
        (-0.4, 0.0, 0.18, "Leave the camshaft as it is: no step comes nearer to −0.40 ± 0.18 crank deg"),
        (0.9, -2.0, 0.18, "Leave the camshaft as it is: no step comes nearer to +0.90 ± 0.18 crank deg"),
        (3.0223, None, 0.18, "Advance the camshaft by 3.02 ± 0.18 crank deg"),
        (3.0223, 4.0, None, "Advance 4 crank deg: 3.02 wanted"),
        (None, None, None, ""),
    ],
)
def test_the_step_comes_first_and_how_much_is_wanted_after_it(
    correction: float | None, step: float | None, u: float | None, told: str
) -> None:
    assert adjustment(degreed(correction, step, u)) == told


def verdict(item: str, decision: Decision, measured: float | None, sure: float | None, reason: str = "") -> Verdict:
    return Verdict(
        characteristic="rate",
        item=item,
        measured=measured,
        unit="N/mm",
        standard_uncertainty=0.1,
        lower=24.0,
        probability_conforming=sure,
        decision=decision,
        reason=reason or None,
    )


@pytest.mark.parametrize(
    ("rows", "told", "decision"),
    [
        ([], "Measured; nothing judged", None),
        (
            [verdict("Q1", "accept", 25.0, 1.0), verdict("Q2", "accept", 24.5, 1.0)],
            "Accepted: all 2 within limits; nearest: Spring Q2, rate 0.50 N/mm above its limit",
            "accept",
        ),
        (
            [
                verdict("Q1", "reject", 23.0, 0.0),
                verdict("Q2", "accept", 25.0, 1.0),
                verdict("Q3", "reject", 23.9, 0.2),
            ],
            "2 of 3 springs rejected: Q1, rate 1.00 N/mm too low",
            "reject",
        ),
        (
            [verdict("Q1", "undecided", 24.05, 0.69), verdict("Q2", "undecided", None, None, "not measured")],
            "2 of 2 springs undecided: Q1, rate 0.05 N/mm above its limit, 69.0 % sure to conform",
            "undecided",
        ),
        (
            [
                verdict("Q1", "reject", 23.0, 0.0),
                verdict("Q1", "reject", 22.9, 0.0).model_copy(update={"characteristic": "seat_force", "unit": "N"}),
                verdict("Q2", "accept", 25.0, 1.0),
            ],
            "1 of 2 springs rejected: Q1, rate 1.00 N/mm too low; 2 verdicts rejected in all",
            "reject",
        ),
        (
            [verdict("Q1", "undecided", 24.05, 0.1, TOO_WIDE).model_copy(update={"upper": 24.1})],
            "Undecided: Spring Q1, rate 24.05 ± 0.10 N/mm, too uncertain for limits 0.10 N/mm apart",
            "undecided",
        ),
        ([verdict("Q1", "undecided", None, None, "read once")], "Undecided: Spring Q1, rate: read once", "undecided"),
    ],
)
def test_the_gravest_comes_first_with_how_far_off_it_is(
    rows: list[Verdict], told: str, decision: Decision | None
) -> None:
    found = headline(Result(command="springs", verdicts=tuple(rows)), "metric")
    assert (found.text, found.decision) == (told, decision)
