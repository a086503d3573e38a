"""Where lobes sit on the shaft: names, separations, index errors with firing order and bank angle."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from valvelab.camshaft.indexing import (
    Arrangement,
    LobeName,
    cylinder_separations,
    index_errors,
    parse_name,
    separation,
)
from valvelab.errors import CannotEvaluate, Reason

FOUR = (1, 3, 4, 2)
EIGHT = (1, 8, 4, 3, 6, 5, 7, 2)


def names(cylinders: int) -> list[LobeName | None]:
    return [parse_name(f"{cylinder}{kind}") for cylinder in range(1, cylinders + 1) for kind in "IE"]


def shaft(
    order: tuple[int, ...], apart: float = 110.0, bank: float = 0.0, second: frozenset[int] = frozenset()
) -> np.ndarray:
    """Centres by hand: firing is 720/n crank deg apart, half of it at the cam, later cylinders later."""
    centres = []
    for cylinder in range(1, len(order) + 1):
        place = 360.0 / len(order) * order.index(cylinder) - (bank if cylinder in second else 0.0)
        centres += [place + 53.0, place + 53.0 - apart]
    return np.mod(centres, 360.0)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1I", LobeName(1, "intake", 1)),
        ("12E", LobeName(12, "exhaust", 1)),
        ("1I2", LobeName(1, "intake", 2)),
        ("0I", None),
        ("I1", None),
        ("1X", None),
        ("master", None),
        ("", None),
    ],
)
def test_names(text: str, expected: LobeName | None) -> None:
    assert parse_name(text) == expected


@pytest.mark.parametrize(
    ("intake", "exhaust", "expected"),
    [(106.0, -114.0, 140.0), (53.0, 303.0, 110.0), (303.0, 53.0, 110.0), (0.0, 180.0, 180.0), (5.0, 365.0, 0.0)],
)
def test_separation_is_folded(intake: float, exhaust: float, expected: float) -> None:
    assert separation(intake, exhaust) == pytest.approx(expected, abs=1e-12)


def test_separation_of_a_timing_card() -> None:
    # worked by hand: ICL 106 ATDC and ECL 114 BTDC, crank deg, are cam places 53 and −57: (106 + 114)/2 = 110
    assert separation(106.0 / 2.0, -114.0 / 2.0) == pytest.approx(110.0)


@given(st.floats(0.0, 360.0), st.floats(60.0, 170.0))
def test_the_datum_does_not_matter(turn: float, apart: float) -> None:
    found = cylinder_separations(names(4), np.mod(shaft(FOUR, apart) + turn, 360.0))
    assert list(found) == [1, 2, 3, 4]
    assert list(found.values()) == pytest.approx([apart] * 4, abs=1e-9)


def test_two_valves_of_a_kind_count_by_their_mean() -> None:
    four_valves = [parse_name(name) for name in ("1I1", "1I2", "1E1", "1E2")]
    found = cylinder_separations(four_valves, np.array([359.0, 1.0, 249.0, 251.0]))
    assert found == {1: pytest.approx(110.0)}


def test_a_cylinder_with_one_kind_has_no_separation() -> None:
    assert cylinder_separations([parse_name("1I"), parse_name("2E"), None], np.array([0.0, 100.0, 7.0])) == {}
    assert cylinder_separations([parse_name("1I"), parse_name("1E")], np.array([0.0, np.nan])) == {}


@given(st.floats(-180.0, 180.0))
def test_a_true_shaft_has_no_errors(turn: float) -> None:
    found = index_errors(names(4), np.mod(shaft(FOUR) + turn, 360.0), Arrangement(FOUR), 110.0)
    assert np.abs(found.errors_cam_deg).max() < 1e-9


def test_one_lobe_off_is_shared_by_the_phase() -> None:
    centres = shaft(FOUR)
    centres[2] += 0.8
    found = index_errors(names(4), centres, Arrangement(FOUR), 110.0)
    # one least-squares phase: the mean error is nothing, so the lobe shows 7/8 of it and the others 1/8 the other way
    expected = np.full(8, -0.1)
    expected[2] = 0.7
    assert found.errors_cam_deg == pytest.approx(expected, abs=1e-9)
    assert found.errors_cam_deg.sum() == pytest.approx(0.0, abs=1e-9)


def test_a_twisted_shaft_shows_its_twist() -> None:
    centres = shaft(FOUR) + np.repeat([0.0, 0.1, 0.2, 0.3], 2)
    found = index_errors(names(4), centres, Arrangement(FOUR), 110.0)
    assert np.diff(found.errors_cam_deg[::2]) == pytest.approx([0.1] * 3, abs=1e-9)


def test_without_a_stated_separation_the_shafts_own_is_used_and_said() -> None:
    found = index_errors(names(4), shaft(FOUR, 108.5), Arrangement(FOUR), None)
    assert np.abs(found.errors_cam_deg).max() < 1e-9
    assert "median 108.500 cam deg" in found.remarks[0]
    # stated 110 instead, every intake is late against the exhausts by 1.5, half to each side
    stated = index_errors(names(4), shaft(FOUR, 108.5), Arrangement(FOUR), 110.0)
    assert stated.errors_cam_deg == pytest.approx([-0.75, 0.75] * 4, abs=1e-9)


@pytest.mark.parametrize("lean", [1.0, -1.0])
@pytest.mark.parametrize("second", [frozenset({2, 4, 6, 8}), frozenset({5, 6, 7, 8})])
def test_a_vee_engines_bores_shift_its_lobes(second: frozenset[int], lean: float) -> None:
    """Timing angle = shaft angle + bore angle: a bank 90° over has its lobes 90 cam deg away on the shaft."""
    centres = shaft(EIGHT, 110.0, lean * 90.0, second)
    centres[5] += 0.4
    found = index_errors(names(8), centres, Arrangement(EIGHT, 90.0), 110.0)
    assert found.errors_cam_deg[5] == pytest.approx(0.4 * 15.0 / 16.0, abs=1e-9)
    assert "taken as the second bank" in found.remarks[-1]
    told = index_errors(names(8), centres, Arrangement(EIGHT, 90.0, second), 110.0)
    assert told.errors_cam_deg == pytest.approx(found.errors_cam_deg, abs=1e-9)


def test_stated_places_win() -> None:
    found = index_errors(names(1), np.array([53.2, 303.0]), None, None, {0: 53.0, 1: 303.0})
    assert found.errors_cam_deg == pytest.approx([0.1, -0.1], abs=1e-9)


def test_unknown_lobes_have_no_error() -> None:
    found = index_errors([*names(4), None], np.append(shaft(FOUR), 12.0), Arrangement(FOUR), 110.0)
    assert np.isnan(found.errors_cam_deg[-1])


@pytest.mark.parametrize(
    ("arrangement", "reason"),
    [
        (None, Reason.MISSING_INPUT),
        (Arrangement((1, 2)), Reason.MISSING_INPUT),
        (Arrangement((1, 2, 4, 3)), Reason.NOT_FEASIBLE),
    ],
)
def test_what_cannot_be_placed_is_refused(arrangement: Arrangement | None, reason: Reason) -> None:
    with pytest.raises(CannotEvaluate) as no:
        index_errors(names(4), shaft(FOUR), arrangement, 110.0)
    assert no.value.reason is reason
