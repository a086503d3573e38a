"""Hertz line contact, oil film, and contact along a lobe."""

from __future__ import annotations

import numpy as np
import pytest

from valvelab.errors import CannotEvaluate
from valvelab.follower.contact import ContactSetting, contact_along, lobe_geometry, reversals
from valvelab.follower.film import Lubricant, film_ratio, minimum_film_um
from valvelab.follower.hertz import STEEL_ON_STEEL_MPA, contact_modulus, line_contact, relative_radius

OIL = Lubricant(0.01, 2e-8)
ANGLE = np.radians(np.arange(0.0, 360.0, 1.0))


def test_steel_on_steel_line_contact_recomputed_independently() -> None:
    """E 207 GPa, ν 0.29, R 20 and 10 mm, L 15 mm, W 1500 N; closed form, cross-checked by p₀ = E* b/(2R)."""
    assert pytest.approx(113_003.6, abs=0.1) == STEEL_ON_STEEL_MPA
    radius = float(relative_radius(20.0, 10.0))
    assert radius == pytest.approx(6.666667, abs=1e-6)
    found = line_contact(1500.0, 15.0, radius)
    assert float(found.half_width_mm) == pytest.approx(0.08666890, abs=5e-9)
    assert float(found.max_pressure_mpa) == pytest.approx(734.5423, abs=5e-4)
    assert float(found.mean_pressure_mpa) == pytest.approx(576.908, abs=5e-3)
    assert float(found.max_pressure_mpa) == pytest.approx(
        STEEL_ON_STEEL_MPA * float(found.half_width_mm) / (2 * radius)
    )
    # Johnson, Contact Mechanics: 0.300 p₀ at 0.786 b
    assert float(found.max_shear_mpa / found.max_pressure_mpa) == pytest.approx(0.30028)
    assert float(found.shear_depth_mm / found.half_width_mm) == pytest.approx(0.78613)


def test_pressure_over_the_strip_carries_the_load() -> None:
    """∫ p₀ √(1 − (x/b)²) dx · L = W, and the greatest shear below the surface by its closed form along the axis."""
    found = line_contact(800.0, 12.0, 9.0)
    b, p0 = float(found.half_width_mm), float(found.max_pressure_mpa)
    x = np.linspace(-b, b, 200_001)
    carried = np.trapezoid(p0 * np.sqrt(np.maximum(1 - (x / b) ** 2, 0)), x) * 12.0
    assert carried == pytest.approx(800.0, rel=1e-6)
    z = np.linspace(0.01, 2.0, 20_000)
    root = np.sqrt(1 + z**2)
    shear = p0 * np.abs(-(1 + 2 * z**2) / root + 2 * z + 1 / root) / 2
    assert shear.max() == pytest.approx(float(found.max_shear_mpa), rel=1e-4)
    assert z[shear.argmax()] == pytest.approx(0.78613, abs=2e-4)


def test_contact_modulus_of_unlike_bodies_and_hollow() -> None:
    assert contact_modulus(207e3, 0.29, 1e12, 0.3) == pytest.approx(207e3 / (1 - 0.29**2), rel=1e-6)
    assert float(relative_radius(-40.0, 10.0)) == pytest.approx(1 / (1 / 10 - 1 / 40))
    assert np.isnan(relative_radius(-8.0, 10.0))


def test_minimum_film_recomputed_independently() -> None:
    """η 0.01 Pa s, u 5 m/s, α 2e-8 1/Pa on the contact above: h 0.268373 µm; λ 0.94884 with Rq 0.2 and 0.2 µm."""
    film = minimum_film_um(5.0, 1500.0, 15.0, 20.0 / 3.0, OIL)
    assert float(film) == pytest.approx(0.268373, abs=1e-6)
    assert float(film_ratio(film, 0.2, 0.2)) == pytest.approx(0.94884, abs=1e-5)


def test_film_follows_its_exponents() -> None:
    base = float(minimum_film_um(1.0, 500.0, 10.0, 8.0, OIL))
    assert float(minimum_film_um(-2.0, 500.0, 10.0, 8.0, OIL)) / base == pytest.approx(2**0.70)
    assert float(minimum_film_um(1.0, 1000.0, 10.0, 8.0, OIL)) / base == pytest.approx(2**-0.13)
    assert np.isnan(minimum_film_um(1.0, 0.0, 10.0, 8.0, OIL))


@pytest.mark.parametrize("roller", [None, 10.0])
def test_eccentric_circle_is_one_circle_to_any_follower(roller: float | None) -> None:
    """Circle of radius 20 about an axis 4 mm off (base circle 16): its contour radius is 20 everywhere (exact)."""
    reach = 20.0 + (roller or 0.0)
    if roller is None:
        s, s_1, s_2 = 4 * (1 - np.cos(ANGLE)), 4 * np.sin(ANGLE), 4 * np.cos(ANGLE)
    else:
        root = np.sqrt(reach**2 - (4 * np.sin(ANGLE)) ** 2)
        rho = -4 * np.cos(ANGLE) + root
        root_1 = -16 * np.sin(ANGLE) * np.cos(ANGLE) / root
        s, s_1 = rho - 16.0 - roller, 4 * np.sin(ANGLE) + root_1
        s_2 = 4 * np.cos(ANGLE) - 16 * np.cos(2 * ANGLE) / root - root_1**2 / root
    found = lobe_geometry(s, s_1, s_2, ContactSetting(16.0, roller, 12.0))
    assert found.cam_radius_mm == pytest.approx(20.0, abs=1e-9)
    if roller is not None:
        # largest pressure angle asin(e/(R + r)), and the contact runs along the whole circumference in one turn
        assert np.degrees(found.pressure_angle_rad.max()) == pytest.approx(7.662256, abs=2e-3)
        assert found.entrainment_mm_per_rad.mean() * 2 * np.pi == pytest.approx(2 * np.pi * 20.0, rel=1e-9)
        assert found.relative_radius_mm == pytest.approx(20 * 10 / 30)


def test_flat_face_entrainment_is_the_mean_of_both_surface_speeds() -> None:
    """The contact sweeps the face at s″ and the cam slides past it at R_b + s + s″ against the same point."""
    s, s_2 = 4 * (1 - np.cos(ANGLE)), 4 * np.cos(ANGLE)
    found = lobe_geometry(s, 4 * np.sin(ANGLE), s_2, ContactSetting(16.0, None, 12.0))
    assert found.entrainment_mm_per_rad == pytest.approx(0.5 * ((16 + s + s_2) + s_2))


def test_contact_along_a_lobe_and_where_the_film_reverses() -> None:
    s, s_1, s_2 = 8 * (1 - np.cos(ANGLE)), 8 * np.sin(ANGLE), 8 * np.cos(ANGLE)
    setting = ContactSetting(6.0, None, 12.0)
    geometry = lobe_geometry(s, s_1, s_2, setting)
    force = np.where(s > 1.0, 500.0, 0.0)
    found = contact_along(geometry, force, 300.0, setting, OIL)
    assert np.isnan(found.pressure_mpa[0])
    assert found.pressure_mpa[180] == pytest.approx(float(line_contact(500.0, 12.0, 14.0).max_pressure_mpa))
    turns = reversals(found.entrainment_m_per_s, found.load_n > 0.0)
    # 6 + 8(1 − cos) + 16 cos = 0 at cos θ = −14/8: never here; with base 0.5 twice
    assert turns == []
    thin = lobe_geometry(s, s_1, s_2, ContactSetting(0.5, None, 12.0))
    where = reversals(thin.entrainment_mm_per_rad, np.ones(360, dtype=bool))
    assert where == []
    steep = lobe_geometry(s, s_1, 3 * s_2, ContactSetting(6.0, None, 12.0))
    assert len(reversals(steep.entrainment_mm_per_rad, np.ones(360, dtype=bool))) == 2


def test_refusals_say_what_was_found() -> None:
    with pytest.raises(CannotEvaluate, match="length"):
        line_contact(100.0, 0.0, 5.0)
    with pytest.raises(CannotEvaluate, match="viscosity"):
        Lubricant(-1.0, 2e-8)
    with pytest.raises(CannotEvaluate, match="roughness"):
        film_ratio(0.3, 0.0, 0.0)
    with pytest.raises(CannotEvaluate, match="base circle"):
        lobe_geometry(np.zeros(3), np.zeros(3), np.zeros(3), ContactSetting(0.0, None, 10.0))
