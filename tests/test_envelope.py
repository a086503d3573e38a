"""Measured curves in an envelope: freedoms fitted out, worst place, use of the band."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lobe_samples import Floats, lopsided

from valvelab.conformity.band import BandPiece
from valvelab.conformity.envelope import EnvelopeFit, fit_envelope
from valvelab.errors import CannotEvaluate

NOMINAL = lopsided(0.0)
WHOLE = (BandPiece(-70.0, 70.0, 0.02, 0.04),)


def placed(centre: float, extra: float = 0.0, bump: float = 0.0, at: float = 20.0):  # noqa: ANN201 - a local curve
    def curve(angle: Floats, order: int) -> Floats:
        lift = NOMINAL.value(angle - centre, order)
        off = (angle - centre - at) / 5.0
        hill = bump * np.exp(-(off**2))
        return lift + (extra + hill if order == 0 else hill * -2.0 * off / 5.0)

    return curve


def compare(curve, centre: float, freedoms: tuple[str, ...], band: tuple[BandPiece, ...] = WHOLE) -> EnvelopeFit:  # noqa: ANN001
    return fit_envelope(curve, centre, NOMINAL.value, 0.0, band, freedoms)


def test_a_lobe_in_its_own_envelope_uses_nothing() -> None:
    found = compare(placed(0.0), 0.0, ())
    assert np.abs(found.deviation_mm).max() == 0.0
    assert (found.use_of_band, found.shift_cam_deg, found.offset_mm, found.rms_mm) == (0.0, None, 0.0, 0.0)


@settings(max_examples=20)
@given(st.floats(-175.0, 175.0), st.floats(-0.5, 0.5))
def test_angle_and_lift_are_fitted_out_exactly(centre: float, extra: float) -> None:
    # the start is deliberately 0.4° off
    found = compare(placed(centre, extra), centre + 0.4, ("angle", "lift"))
    assert found.shift_cam_deg == pytest.approx(centre, abs=1e-7)
    assert found.offset_mm == pytest.approx(extra, abs=1e-9)
    assert np.abs(found.deviation_mm).max() < 1e-9


def test_a_freedom_not_named_stays_in_the_deviation() -> None:
    found = compare(placed(0.3, 0.01), 0.3, ("angle",))
    assert found.offset_mm == 0.0
    assert found.rms_mm > 0.008
    unmoved = compare(placed(0.3), 0.3, ())
    assert unmoved.shift_cam_deg is None
    # moved 0.3° later, the opening flank stands low by 0.3° of its slope
    slope = NOMINAL.value(np.arange(-70.0, 70.0, 0.1), 1).max()
    assert np.abs(unmoved.deviation_mm).max() == pytest.approx(0.3 * slope, rel=0.02)


def test_fit_is_least_squares() -> None:
    """Any other shift or offset leaves more."""
    curve = placed(0.0, 0.0, 0.05)
    best = compare(curve, 0.0, ("angle", "lift"))
    assert best.shift_cam_deg is not None
    at = best.angle_cam_deg
    for shift in (-1e-3, 1e-3):
        for offset in (-1e-4, 1e-4):
            other = curve(at + best.shift_cam_deg + shift, 0) - best.offset_mm - offset - NOMINAL.value(at)
            assert np.sum(other**2) > np.sum(best.deviation_mm**2)


@pytest.mark.parametrize(("bump", "use"), [(0.03, 0.75), (-0.03, 1.5)])
def test_the_worst_place_is_where_most_of_the_band_is_used(bump: float, use: float) -> None:
    found = compare(placed(0.0, 0.0, bump), 0.0, ())
    assert found.angle_cam_deg[found.worst] == pytest.approx(20.0, abs=0.1)
    assert found.deviation_mm[found.worst] == pytest.approx(bump, abs=1e-9)
    # above and below have their own sizes: 0.04 and 0.02
    assert found.use_of_band == pytest.approx(use, abs=1e-9)


@pytest.mark.parametrize(
    ("bump", "places"),
    [
        # a hill h·exp(−((θ − 20)/5)²) is above a size s for |θ − 20| < 5·√ln(h/s)
        (0.08, [(20.0 - 5.0 * np.sqrt(np.log(2.0)), 20.0 + 5.0 * np.sqrt(np.log(2.0)))]),
        (-0.04, [(20.0 - 5.0 * np.sqrt(np.log(2.0)), 20.0 + 5.0 * np.sqrt(np.log(2.0)))]),
        (0.03, []),
    ],
)
def test_where_the_band_is_left(bump: float, places: list[tuple[float, float]]) -> None:
    found = compare(placed(0.0, 0.0, bump), 0.0, ()).outside
    assert np.ravel(found) == pytest.approx(np.ravel(places), abs=0.1)


def test_a_narrow_piece_counts_before_a_wide_one() -> None:
    band = (BandPiece(-70.0, 0.0, 0.01, 0.01), BandPiece(0.0, 70.0, 0.1, 0.1))
    found = compare(placed(0.0, 0.008), 0.0, (), band)
    assert found.angle_cam_deg[found.worst] < 0.0
    assert found.use_of_band == pytest.approx(0.8, abs=1e-9)


def test_overlapping_pieces_allow_the_wider() -> None:
    band = (BandPiece(-70.0, 10.0, 0.01, 0.01), BandPiece(-10.0, 70.0, 0.1, 0.1))
    found = compare(placed(0.0), 0.0, (), band)
    shared = np.abs(found.angle_cam_deg) <= 10.0
    assert np.all(found.above_mm[shared] == 0.1)
    assert np.all(np.diff(found.angle_cam_deg) > 0.0)


def test_between_pieces_nothing_is_judged() -> None:
    band = (BandPiece(-70.0, -40.0, 0.01, 0.01), BandPiece(40.0, 70.0, 0.01, 0.01))
    found = compare(placed(0.0, 0.0, 0.5), 0.0, (), band)
    assert not np.any(np.abs(found.angle_cam_deg) < 40.0)
    assert found.use_of_band < 0.05


def test_the_fit_looks_at_the_banded_range_only() -> None:
    band = (BandPiece(-70.0, 0.0, 0.02, 0.02),)
    found = compare(placed(0.0, 0.0, 0.5), 0.0, ("angle", "lift"), band)
    assert found.shift_cam_deg == pytest.approx(0.0, abs=1e-5)


@pytest.mark.parametrize("band", [(), (BandPiece(10.0, -10.0, 0.1, 0.1),), (BandPiece(5.0, 5.0, 0.1, 0.1),)])
def test_an_empty_or_backward_band_is_refused(band: tuple[BandPiece, ...]) -> None:
    with pytest.raises(CannotEvaluate, match="envelope"):
        compare(placed(0.0), 0.0, (), band)


def test_a_band_of_negative_size_is_refused() -> None:
    with pytest.raises(CannotEvaluate, match="expected sizes of 0 or more"):
        compare(placed(0.0), 0.0, (), (BandPiece(-70.0, 70.0, 0.05, -0.03),))
