"""Indices of a lot against published examples, and their intervals against simulated lots."""

from __future__ import annotations

import warnings
from math import sqrt

import numpy as np
import pytest
from scipy.stats import anderson
from something import each

from valvelab.conformity.capability import EXACT_UP_TO, capability, departure
from valvelab.errors import CannotEvaluate
from valvelab.inspection.lot.inspect import Lot, inspect_lot


def test_the_handbook_s_example() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6: USL 20, LSL 8, mean 16, s 2 give 1.0 and 0.6667
    found = capability(16.0, 2.0, 50, 8.0, 20.0)
    assert found.pp is not None
    assert found.pp.value == pytest.approx(1.0)
    assert found.ppk.value == pytest.approx(0.6667, abs=5e-5)


def test_the_interval_of_the_first_index() -> None:
    # D. C. Montgomery, Introduction to Statistical Quality Control, the chapter on capability: USL 62, LSL 38, n 20,
    # s 1.75; 2.29 with 95 % limits 1.57 and 3.01 (from memory; the book carries three digits from step to step)
    pp = capability(50.0, 1.75, 20, 38.0, 62.0).pp
    assert pp is not None
    assert (pp.value, pp.least, pp.most) == pytest.approx((2.29, 1.57, 3.01), abs=0.006)


def test_the_interval_of_the_second_index() -> None:
    # the same book: Cpk 1.33 of n 20 lies within 0.88 and 1.78 by the large-sample form (from memory)
    found = capability(0.0, 1.0, 20, None, 3.99).ppk
    assert (found.least, found.most) == pytest.approx((0.88, 1.78), abs=0.01)


@pytest.mark.parametrize("value", [-0.3, 0.0, 0.67, 1.33, 2.5])
def test_the_large_sample_form_takes_over_without_a_step(value: float) -> None:
    exact, form = (capability(0.0, 1.0, n, None, 3.0 * value).ppk for n in (EXACT_UP_TO, EXACT_UP_TO + 1))
    assert (form.least, form.most) == pytest.approx((exact.least, exact.most), abs=3e-4)
    # NIST/SEMATECH e-Handbook, 6.1.6: Cpk ± z √(1/(9n) + Cpk²/(2(n − 1))), z 1.96 for 95 %
    half = 1.96 * sqrt(1.0 / (9.0 * (EXACT_UP_TO + 1)) + value**2 / (2.0 * EXACT_UP_TO))
    assert form.most - form.value == pytest.approx(half, rel=1e-4)


def test_intervals_hold_what_they_say() -> None:
    generator = np.random.default_rng(3)
    lots = generator.normal(0.0, 1.0, (600, 12))
    inside = [
        found.least <= 1.0 <= found.most
        for lot in lots
        for found in [capability(float(lot.mean()), float(lot.std(ddof=1)), 12, None, 3.0).ppk]
    ]
    assert 0.93 <= np.mean(inside) <= 0.97  # 95 % of 600: standard error 0.9 %


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"count": 1}, "found 1 value, expected at least 2"),
        ({"deviation": 0.0}, "all the same"),
        ({"lower": None, "upper": None}, "no limit"),
    ],
)
def test_what_is_refused(more: dict[str, float | None], why: str) -> None:
    asked: dict[str, object] = {"mean": 0.0, "deviation": 1.0, "count": 9, "lower": -3.0, "upper": 3.0, **more}
    with pytest.raises(CannotEvaluate, match=why):
        capability(**asked)  # type: ignore[arg-type]


def test_the_departure_from_normal_is_stephens_s() -> None:
    # scipy.stats.anderson as second opinion on the statistic; the factor is that of Stephens (1974) for this case
    generator = np.random.default_rng(5)
    for values in each([generator.normal(3.0, 0.2, 40), generator.exponential(1.0, 25)]):
        n = values.size
        with warnings.catch_warnings(action="ignore"):
            square = anderson(values, "norm").statistic
        assert departure(values) == pytest.approx(square * (1.0 + 0.75 / n + 2.25 / n**2))
    assert departure(np.arange(5.0)) is None


def test_one_normal_lot_in_twenty_is_called_otherwise() -> None:
    lots = np.random.default_rng(11).normal(size=(800, 30))
    share = np.mean([(departure(lot) or 0.0) > 0.752 for lot in lots])
    assert 0.03 <= share <= 0.07


# -- a lot ------------------------------------------------------------------------------------------------------------


def lot(values: list[float], days: list[float] | None = None, us: float = 0.1) -> Lot:
    y = np.array(values)
    when = np.full(y.size, np.nan) if days is None else np.array(days)
    return Lot("seat_force", "N", None, 235.0, 260.0, ("Q01",), False, y, np.full(y.size, us), when, 0)


def test_drift_is_over_dates_where_all_are_known() -> None:
    found = inspect_lot(lot([240.0, 242.1, 243.9, 246.0], [0.0, 10.0, 20.0, 30.0])).drift
    assert found is not None
    assert (found.over, found.significant) == ("date", True)
    assert found.slope == pytest.approx(0.198, abs=1e-12)  # by hand: (15·(246 − 240) + 5·(243.9 − 242.1))/500
    assert found.change == pytest.approx(30.0 * found.slope)
    unknown = inspect_lot(lot([240.0, 242.1, 243.9, 246.0], [0.0, 10.0, float("nan"), 30.0])).drift
    assert unknown is not None
    assert unknown.over == "order of files"


def test_a_lot_without_spread_or_values_says_so() -> None:
    same = inspect_lot(lot([240.0, 240.0, 240.0]))
    assert (same.ppk, same.drift, same.normal) == (None, None, None)
    assert same.reason is not None
    assert "all the same" in same.reason
    none = inspect_lot(lot([]))
    assert (none.count, none.reason) == (0, "nothing was measured")


def test_the_share_of_the_measurement() -> None:
    # variances add: values that scatter by 1 in all, read with u 0.6, are 0.36 measurement
    y = 250.0 + np.array([-1.0, 1.0] * 20)
    found = inspect_lot(lot(list(y), us=0.6))
    assert found.measurement_share == pytest.approx(0.36 / y.var(ddof=1))
