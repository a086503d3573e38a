"""Motion laws against their published peak factors, and against each other's derivatives."""

from __future__ import annotations

import numpy as np
import pytest
from lobe_samples import LIFT, RAMP, design, lopsided
from motion_laws import LAWS, Flank, LawName, LobeDesign, law
from something import each

PI = np.pi
# velocity h/β, acceleration h/β², jerk h/β³: cam-design handbooks and VDI 2143; exact forms by differentiation
PEAKS: dict[LawName, tuple[float, float, float | None]] = {
    "constant_acceleration": (2.0, 4.0, None),
    "harmonic": (PI / 2.0, PI**2 / 2.0, PI**3 / 2.0),
    "cycloidal": (2.0, 2.0 * PI, 4.0 * PI**2),
    "modified_trapezoid": (2.0, 8.0 * PI / (2.0 + PI), 32.0 * PI**2 / (2.0 + PI)),
    "modified_sine": (4.0 * PI / (4.0 + PI), PI**2 / (1.0 + PI / 4.0), 4.0 * PI**3 / (1.0 + PI / 4.0)),
    "poly345": (15.0 / 8.0, 10.0 / np.sqrt(3.0), 60.0),
    "poly4567": (35.0 / 16.0, 7.513188, 52.5),
}
# the same laws as printed in the handbooks, to the digits printed there
PRINTED = {
    "cycloidal": (2.000, 6.283, 39.48),
    "modified_trapezoid": (2.000, 4.888, 61.4),
    "modified_sine": (1.760, 5.528, 69.5),
    "poly345": (1.875, 5.774, 60.0),
    "poly4567": (2.188, 7.513, 52.5),
}


@pytest.mark.parametrize("name", PEAKS)
def test_peak_factors(name: LawName) -> None:
    x = np.linspace(0.0, 1.0, 200_001)
    told = [(order, expected) for order, expected in enumerate(PEAKS[name], start=1) if expected is not None]
    for order, expected in each(told):
        assert np.abs(law(name, x, order)).max() == pytest.approx(expected, rel=2e-7)


@pytest.mark.parametrize("name", PRINTED)
def test_printed_peak_factors(name: LawName) -> None:
    x = np.linspace(0.0, 1.0, 200_001)
    found = [float(np.abs(law(name, x, order)).max()) for order in (1, 2, 3)]
    assert found == pytest.approx(PRINTED[name], rel=1e-3)


@pytest.mark.parametrize("name", LAWS)
def test_a_law_rises_by_one_and_is_point_symmetric(name: LawName) -> None:
    x = np.linspace(0.0, 1.0, 1001)
    lift = law(name, x)
    assert (lift[0], lift[500], lift[-1]) == pytest.approx((0.0, 0.5, 1.0), abs=1e-14)
    assert lift + lift[::-1] == pytest.approx(np.ones(1001), abs=1e-13)
    assert law(name, np.array([-0.5, 1.5])) == pytest.approx([0.0, 1.0], abs=1e-14)
    assert not law(name, np.array([-0.5, 1.5]), 2).any()


@pytest.mark.parametrize("name", LAWS)
@pytest.mark.parametrize("order", [0, 1, 2])
def test_each_derivative_is_the_slope_of_the_one_before(name: LawName, order: int) -> None:
    x = np.linspace(0.013, 0.987, 489)  # clear of the joints at eighths, where a derivative may step
    x = x[np.abs(x * 8.0 - np.round(x * 8.0)) > 0.01]
    h = 1e-5
    slope = (law(name, x + h, order) - law(name, x - h, order)) / (2.0 * h)
    assert slope == pytest.approx(law(name, x, order + 1), abs=2e-6)


def test_where_the_polynomials_accelerate_most() -> None:
    x = np.linspace(0.0, 0.5, 500_001)
    # published: x = 0.2113249 for 3-4-5, 0.2763932 for 4-5-6-7
    assert x[np.argmax(law("poly345", x, 2))] == pytest.approx(0.2113249, abs=2e-6)
    assert x[np.argmax(law("poly4567", x, 2))] == pytest.approx(0.2763932, abs=2e-6)


@pytest.mark.parametrize("lobe", [design("cycloidal"), lopsided(), design("poly345", (0.0, 0.0))])
def test_a_lobe_has_its_lift_at_the_nose_and_rests_outside(lobe: LobeDesign) -> None:
    angle = lobe.centre + np.linspace(-180.0, 180.0, 7201)
    lift = lobe.value(angle)
    assert lift.max() == pytest.approx(LIFT, abs=1e-12)
    assert angle[np.argmax(lift)] == pytest.approx(lobe.centre, abs=1e-9)
    assert lift[np.abs(angle - lobe.centre) > 100.0] == pytest.approx(0.0, abs=1e-12)
    assert lobe.value(angle + 360.0) == pytest.approx(lift, abs=1e-12)


@pytest.mark.parametrize("order", [0, 1, 2])
def test_a_lobe_with_ramps_is_smooth(order: int) -> None:
    lobe = lopsided()
    angle = np.linspace(-180.0, 180.0, 1441) + 0.0371
    h = 1e-3
    slope = (lobe.value(angle + h, order) - lobe.value(angle - h, order)) / (2.0 * h)
    assert slope == pytest.approx(lobe.value(angle, order + 1), abs=3e-5)


def test_a_ramp_carries_its_lift_at_steady_velocity() -> None:
    flank = Flank("poly4567", 62.0, *RAMP)
    speed = flank.value(np.array([62.0 + 11.0, 62.0 + 5.0, 62.0]), LIFT, 1)
    assert speed == pytest.approx(np.full(3, speed[0]), rel=1e-12)
    assert flank.value(np.array([62.0 + 22.0]), LIFT, 0) == pytest.approx([0.0], abs=1e-15)
    assert flank.value(np.array([62.0 + 22.0 - 1e-3]), LIFT, 0)[0] > 0.0
