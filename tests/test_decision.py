"""Decisions against published figures: JCGM 106:2012, ISO 14253-1:2017."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from something import each

from valvelab.conformity.decision import decide, guard_band, nearest_branch, normal_distribution, probability_conforming
from valvelab.errors import CannotEvaluate


def test_one_sided_conformity() -> None:
    # JCGM 106:2012 clause 7, inputs from memory: y −5.47, u 0.05, limit −5.40 → z 1.40, p 0.919
    assert probability_conforming(-5.47, 0.05, None, -5.40) == pytest.approx(0.919, abs=5e-4)


def test_two_sided_conformity() -> None:
    # JCGM 106:2012, oil viscosity 12.5 … 16.3 mm²/s, inputs from memory: y 13.6, u 1.8 → p 0.663
    assert probability_conforming(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.663, abs=5e-4)


@pytest.mark.parametrize(
    ("percent", "factor"), [(80, 0.8416), (90, 1.2816), (95, 1.6449), (99, 2.3263), (99.9, 3.0902)]
)
def test_one_sided_guard_factors(percent: float, factor: float) -> None:
    # one-sided factors of the normal distribution, as tabulated with ISO 14253-1
    u = 0.7
    assert probability_conforming(10.0 - factor * u, u, None, 10.0) == pytest.approx(percent / 100.0, abs=2e-5)


def test_default_guard_band_of_the_standard() -> None:
    # ISO 14253-1:2017: 95 % conformance, guard 1.65 u
    u, limit = 0.01, 5.0
    assert decide(limit - 1.65 * u, u, None, limit).outcome == "accept"
    assert decide(limit - 1.64 * u, u, None, limit).outcome == "undecided"
    assert decide(limit + 1.64 * u, u, None, limit).outcome == "undecided"
    assert decide(limit + 1.65 * u, u, None, limit).outcome == "reject"


@pytest.mark.parametrize(
    ("guard_in_expanded", "false_accept"),
    [(3.0, 9.9e-10), (1.5, 1.35e-3), (1.0, 2.275e-2), (0.83, 4.85e-2), (0.0, 0.5)],
)
def test_risk_of_false_acceptance_at_the_acceptance_limit(guard_in_expanded: float, false_accept: float) -> None:
    # guard w = r U at k = 2; probability that a value measured right at the acceptance limit does not conform
    u = 0.3
    probability = probability_conforming(7.0 - guard_in_expanded * 2.0 * u, u, None, 7.0)
    assert 1.0 - probability == pytest.approx(false_accept, rel=6e-3)


@given(st.floats(-8.0, 8.0), st.floats(0.1, 4.0))
def test_probabilities_mirror_and_add_up(y: float, width: float) -> None:
    inside = probability_conforming(y, 1.0, -width, width)
    assert inside == pytest.approx(probability_conforming(-y, 1.0, -width, width), abs=1e-12)
    below = probability_conforming(y, 1.0, None, -width)
    above = probability_conforming(y, 1.0, width, None)
    assert inside + below + above == pytest.approx(1.0, abs=1e-12)


@given(st.floats(-37.0, 37.0))
def test_the_normal_distribution_keeps_its_digits_in_the_tails(z: float) -> None:
    # against scipy.special.ndtr
    from scipy.special import ndtr

    assert normal_distribution(z) == pytest.approx(float(ndtr(z)), rel=1e-11, abs=1e-300)


def test_far_outside_the_probability_is_small_and_not_lost() -> None:
    # Φ(−8) and Φ(−12) of handbook tables: 6.2210e-16 and 1.7765e-33
    for far, tail in each([(10.0, 6.2210e-16), (14.0, 1.7765e-33)]):
        assert probability_conforming(far, 1.0, -2.0, 2.0) == pytest.approx(tail, rel=1e-4, abs=0.0)
        assert probability_conforming(-far, 1.0, -2.0, 2.0) == pytest.approx(tail, rel=1e-4, abs=0.0)
        assert probability_conforming(far, 1.0, None, 2.0) == pytest.approx(tail, rel=1e-4, abs=0.0)
        assert probability_conforming(-far, 1.0, -2.0, None) == pytest.approx(tail, rel=1e-4, abs=0.0)


@pytest.mark.parametrize(
    ("y", "u", "lower", "upper", "rule", "outcome"),
    [
        (1.0, 0.1, 0.0, 2.0, "guarded", "accept"),
        (1.95, 0.1, 0.0, 2.0, "guarded", "undecided"),
        (1.95, 0.1, 0.0, 2.0, "simple", "accept"),
        (2.05, 0.1, 0.0, 2.0, "simple", "reject"),
        (3.0, 0.1, 0.0, 2.0, "guarded", "reject"),
        (2.0, None, 0.0, 2.0, "guarded", "accept"),
        (2.1, None, 0.0, 2.0, "guarded", "reject"),
        (2.0, 0.0, None, 2.0, "guarded", "accept"),
        (-1.0, 0.1, 0.0, None, "guarded", "reject"),
        # a value right at a limit lies inside
        (0.0, None, 0.0, 2.0, "simple", "accept"),
        (0.0, 0.1, 0.0, 2.0, "simple", "accept"),
        # wider than the tolerance: nothing can be accepted, and what lies inside is not rejected either
        (1.0, 5.0, 0.0, 2.0, "guarded", "undecided"),
        (0.0, 0.2, -0.01, 0.01, "guarded", "undecided"),
        (0.01, 0.2, -0.01, 0.01, "guarded", "undecided"),
        (0.011, 0.2, -0.01, 0.01, "guarded", "reject"),
        (0.0, 0.2, -0.01, 0.01, "simple", "accept"),
    ],
)
def test_outcomes(y: float, u: float | None, lower: float | None, upper: float | None, rule: str, outcome: str) -> None:
    decision = decide(y, u, lower, upper, rule)  # type: ignore[arg-type]
    assert decision.outcome == outcome
    if not u:
        assert (decision.probability, decision.rule) == (None, "simple")


def test_another_confidence() -> None:
    assert decide(1.9, 0.1, None, 2.0, confidence=0.84).outcome == "accept"
    assert decide(1.9, 0.1, None, 2.0, confidence=0.85).outcome == "undecided"


def test_a_probability_right_at_the_confidence_counts() -> None:
    # "reaches" and "at most", as the guarded rule is worded
    inside, outside = (probability_conforming(y, 0.125, None, 2.0) for y in (1.875, 2.03125))
    assert decide(1.875, 0.125, None, 2.0, confidence=inside).outcome == "accept"
    assert decide(1.875, 0.125, None, 2.0, confidence=math.nextafter(inside, 1.0)).outcome == "undecided"
    confidence = 1.0 - outside
    assert 1.0 - confidence == outside, "no digit is lost"
    assert decide(2.03125, 0.125, None, 2.0, confidence=confidence).outcome == "reject"
    assert decide(2.03125, 0.125, None, 2.0, confidence=math.nextafter(confidence, 1.0)).outcome == "undecided"


def test_limits_too_near_each_other_for_the_uncertainty_are_said_so() -> None:
    # two-sided: the middle of a band is accepted at 95 % from a half width of 1.960 u on
    assert "u is too large" in decide(7.0, 1.0, 5.05, 8.95).reason
    assert decide(8.9, 1.0, 5.03, 8.97).reason == ""
    middle = probability_conforming(7.0, 1.0, 5.03, 8.97)
    assert decide(8.9, 1.0, 5.03, 8.97, confidence=middle).reason == ""
    assert decide(8.9, 1.0, None, 8.97).reason == ""
    assert decide(8.9, 1.0, 8.87, None).reason == ""


@pytest.mark.parametrize(("confidence", "factor"), [(0.8, 0.8416), (0.95, 1.6449), (0.999, 3.0902)])
def test_the_guard_band_is_the_factor_times_u(confidence: float, factor: float) -> None:
    # the same tabulated factors
    assert guard_band(0.7, "guarded", confidence) == pytest.approx(0.7 * factor, abs=5e-5)
    assert guard_band(0.7, "simple", confidence) == 0.0
    assert guard_band(0.0, "guarded", confidence) == guard_band(None, "guarded", confidence) == 0.0


@pytest.mark.parametrize(
    ("measured", "lower", "upper", "expected"),
    [
        (357.0, 5.0, 15.0, -3.0), (-350.0, 5.0, 15.0, 10.0), (740.0, -10.0, 40.0, 20.0), (100.0, 90.0, 110.0, 100.0),
        (-170.0, None, 185.0, 190.0), (530.0, -185.0, None, -190.0), (3.0, 359.0, None, 363.0),
    ],
)  # fmt: skip
def test_an_angle_is_taken_on_the_branch_nearest_its_limits(
    measured: float, lower: float | None, upper: float | None, expected: float
) -> None:
    assert nearest_branch(measured, lower, upper, 360.0) == expected


@pytest.mark.parametrize("u", [0.0, -1.0, math.nan, math.inf])
def test_an_uncertainty_that_is_none_is_refused(u: float) -> None:
    with pytest.raises(CannotEvaluate, match="expected above 0"):
        probability_conforming(1.0, u, 0.0, 2.0)


def test_bearing_runout_of_the_published_example() -> None:
    """JCGM 106:2012, 9.5.4: radial error motion, limit 2 µm, production gamma(4, scale 0.25), u 0.25 µm.

    Out of tolerance 4.2 %; accepted at 2 µm the consumer's risk is 0.8 %; by quadrature over our own Φ.
    """
    from scipy.integrate import quad
    from scipy.stats import gamma

    process = gamma(4.0, scale=0.25)
    assert process.sf(2.0) == pytest.approx(0.0423801, abs=1e-7)

    def accepted_and_out(acceptance: float) -> float:
        return float(quad(lambda y: process.pdf(y) * normal_distribution((acceptance - y) / 0.25), 2.0, 12.0)[0])

    assert accepted_and_out(2.0) == pytest.approx(0.00801911, rel=1e-5)
    assert accepted_and_out(1.6718287716) == pytest.approx(0.001, rel=1e-5)
