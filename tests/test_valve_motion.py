"""Rocker, lash, deflection, valve lift, crossings and piston clearance."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from analytic_lobe import PolynomialLobe
from hypothesis import given
from hypothesis import strategies as st
from outside_facts import exhaust_table

from valvelab.errors import CannotEvaluate
from valvelab.phasing.piston import piston_drop
from valvelab.records.train import LashRecord
from valvelab.valve_motion.clearance import piston_clearances
from valvelab.valve_motion.rocker import GeometryRocker, PointRocker, RatioRocker, Rocker
from valvelab.valve_motion.valve_lift import (
    Crossings,
    Gear,
    Motion,
    Timing,
    crossings,
    peak_crank,
    valve_motion,
    whole_cycle,
)

TIMING = Timing(0.0, 106.0)
LIFTS = np.linspace(0.0, 8.0, 81)


def rockers() -> list[Rocker]:
    return [
        RatioRocker(1.5),
        PointRocker(np.array([2.0, 4.0, 6.0, 9.0]), np.array([2.9, 5.9, 9.0, 13.7])),
        PointRocker(np.array([2.0, 4.0, 6.0, 9.0]), np.array([0.1, 5.9, 6.0, 13.7])),
        GeometryRocker(36.0, 24.0, 9.0, 9.0),
        GeometryRocker(36.0, 24.0, 9.0, 6.0, pushrod_length_mm=180.0, tappet_offset_mm=22.0),
    ]


# rocker


@pytest.mark.parametrize("rocker", rockers())
def test_ratio_is_the_slope_of_the_valve_lift(rocker: Rocker) -> None:
    step = 1e-4
    middle = rocker.curve(LIFTS[5:-5] + 0.013)
    ahead, behind = rocker.curve(LIFTS[5:-5] + 0.013 + step), rocker.curve(LIFTS[5:-5] + 0.013 - step)
    slope = (ahead.valve_lift_mm - behind.valve_lift_mm) / (2 * step)
    assert middle.ratio == pytest.approx(slope, rel=1e-6)
    bend = (ahead.ratio - behind.ratio) / (2 * step)
    assert middle.ratio_slope_per_mm == pytest.approx(bend, abs=1e-5)
    assert float(rocker.curve(0.0).valve_lift_mm) == pytest.approx(0.0, abs=1e-12)
    assert (np.diff(rocker.curve(LIFTS).valve_lift_mm) > 0.0).all()


def test_points_are_met_and_straight_points_make_a_straight_rocker() -> None:
    measured = PointRocker(np.array([2.0, 4.0, 8.0]), np.array([3.1, 6.2, 12.4]))
    assert measured.curve(LIFTS).valve_lift_mm == pytest.approx(1.55 * LIFTS)
    bent = rockers()[2]
    assert bent.curve([2.0, 4.0, 6.0, 9.0]).valve_lift_mm == pytest.approx([0.1, 5.9, 6.0, 13.7])


def test_points_refuse_what_they_do_not_know() -> None:
    with pytest.raises(CannotEvaluate, match="end at 6 mm"):
        PointRocker(np.array([3.0, 6.0]), np.array([4.5, 9.0])).curve([7.0])
    with pytest.raises(CannotEvaluate, match="rise"):
        PointRocker(np.array([3.0, 6.0]), np.array([4.5, 4.0]))


def test_geometry_with_level_arms_is_nearly_the_ratio_of_arms() -> None:
    """With a parallel pushrod and both arms set back alike: v = A_v/A_p · s exactly, both are the same sine."""
    rocker = GeometryRocker(36.0, 24.0, 10.0, 10.0)
    assert rocker.curve(LIFTS).valve_lift_mm == pytest.approx(1.5 * LIFTS, abs=1e-9)


def test_geometry_against_circle_intersection() -> None:
    """The cup as the intersection of two circles: the arm about the pivot and the pushrod about the tappet."""
    arm, rod, offset = 24.0, 180.0, 22.0
    start = math.radians(6.0)
    rocker = GeometryRocker(36.0, arm, 9.0, 6.0, rod, offset)
    cup = np.array([arm * math.cos(start), -arm * math.sin(start)])
    foot = cup[1] - math.sqrt(rod**2 - (cup[0] - offset) ** 2)
    for lift in (0.5, 3.0, 7.5):
        tappet = np.array([offset, foot + lift])
        gap = float(np.hypot(*tappet))
        along = (arm**2 - rod**2 + gap**2) / (2 * gap)
        unit, side = tappet / gap, np.array([-tappet[1], tappet[0]]) / gap
        found = along * unit + math.sqrt(arm**2 - along**2) * side
        turn = math.atan2(found[1], found[0]) + start
        shut = math.radians(9.0)
        valve = 36.0 * (math.sin(shut) - math.sin(shut - turn))
        assert float(rocker.curve(lift).valve_lift_mm) == pytest.approx(valve, abs=1e-9)


def sweep_mm(rocker: GeometryRocker) -> np.ndarray:
    """Sideways travel of the nose on the valve tip from shut."""
    return rocker.valve_arm_mm * np.cos(math.radians(rocker.valve_arm_angle_deg) - rocker.turn(LIFTS))


def test_geometry_sweep_is_least_when_the_arm_passes_level_half_way() -> None:
    level = GeometryRocker(36.0, 24.0, 9.6, 9.6)
    tilted = GeometryRocker(36.0, 24.0, 0.0, 9.6)
    assert np.ptp(sweep_mm(level)) < 0.3 * np.ptp(sweep_mm(tilted))


def test_rockers_that_cannot_be_are_refused() -> None:
    with pytest.raises(CannotEvaluate, match="ratio"):
        RatioRocker(0.0)
    with pytest.raises(CannotEvaluate, match="follow"):
        GeometryRocker(36.0, 10.0).curve([25.0])
    with pytest.raises(CannotEvaluate, match="pushrod"):
        GeometryRocker(36.0, 24.0, pushrod_length_mm=5.0, tappet_offset_mm=10.0)


# lash and deflection


def test_hot_lash_counts_unless_cold_is_asked() -> None:
    assert LashRecord(hot_mm=0.2, cold_mm=0.25).counted_mm == 0.2
    assert LashRecord(hot_mm=0.2, cold_mm=0.25, use="cold").counted_mm == 0.25
    assert LashRecord().counted_mm == 0.0
    with pytest.raises(ValueError, match="hot"):
        LashRecord(cold_mm=0.25)


def test_valve_lift_is_ratio_times_lobe_less_lash() -> None:
    cycle = whole_cycle(PolynomialLobe(8.0), Gear(RatioRocker(1.5), 0.2), TIMING)
    assert cycle.lift_mm.max() == pytest.approx(1.5 * 8.0 - 0.2)
    assert cycle.lift_mm.min() == 0.0


def test_deflection_balances_load_and_stiffness() -> None:
    gear = Gear(RatioRocker(1.5), 0.2, 20_000.0, 300.0, 40.0)
    cycle = whole_cycle(PolynomialLobe(8.0), gear, TIMING)
    up = cycle.lift_mm > 0.0
    squeeze = cycle.drive_mm[up] - 0.2 - cycle.lift_mm[up]
    assert squeeze * 20_000.0 == pytest.approx(300.0 + 40.0 * cycle.lift_mm[up])


@pytest.mark.parametrize("rocker", rockers())
def test_velocity_and_acceleration_are_the_lifts_derivatives(rocker: Rocker) -> None:
    gear = Gear(rocker, 0.2, 20_000.0, 300.0, 40.0)
    angle = np.linspace(20.0, 190.0, 341) + 0.0037
    step = 1e-3
    here, after, before = (valve_motion(PolynomialLobe(8.0), gear, TIMING, angle + d) for d in (0.0, step, -step))
    velocity = (after.lift_mm - before.lift_mm) / (2 * step)
    bend = (after.velocity_mm_per_crank_deg - before.velocity_mm_per_crank_deg) / (2 * step)
    assert here.velocity_mm_per_crank_deg == pytest.approx(velocity, abs=1e-7)
    assert here.acceleration_mm_per_crank_deg2 == pytest.approx(bend, abs=1e-6)


# crossings


@given(st.floats(0.05, 11.0), st.floats(-170.0, 170.0), st.floats(0.0, 359.9))
def test_crossings_follow_the_timing_and_nothing_else(level: float, line: float, centre: float) -> None:
    lobe, gear = PolynomialLobe(8.0, centre_cam_deg=centre), Gear(RatioRocker(1.5))
    timing = Timing(centre, line)
    assert (
        abs((peak_crank(lobe, timing) - line + 360.0) % 720.0 - 360.0) < 0.05
    )  # the top of this law is flat to the fourth order
    (found,) = crossings(lobe, gear, timing, whole_cycle(lobe, gear, timing), [level])
    middle = 0.5 * (found.opening_crank_deg + found.closing_crank_deg)
    assert abs((middle - line + 360.0) % 720.0 - 360.0) < 1e-6
    lift = valve_motion(lobe, gear, timing, [found.opening_crank_deg, found.closing_crank_deg]).lift_mm
    assert lift == pytest.approx(level, abs=1e-9)


def test_levels_are_found_together_as_each_alone_and_none_above_the_lift() -> None:
    lobe, gear = PolynomialLobe(5.0), Gear(lash_mm=0.1)
    cycle, levels = whole_cycle(lobe, gear, TIMING), (0.0, 1.27, 4.8, 5.08)
    together = crossings(lobe, gear, TIMING, cycle, levels)
    assert together == [crossings(lobe, gear, TIMING, cycle, [level])[0] for level in levels]
    assert together[-1] == Crossings(None, None, None, None)
    openings = [row.opening_crank_deg for row in together[:-1]]
    closings = [row.closing_crank_deg for row in together[:-1]]
    assert openings == sorted(openings)
    assert closings == sorted(closings, reverse=True)
    assert openings[-1] < TIMING.centreline_crank_deg < closings[-1]


def test_the_end_of_an_event_only_table_is_no_closing() -> None:
    """A table that ends at 0.134 mm on the closing side has no closing at 0.1 mm."""
    lobe = PolynomialLobe(8.0, period=None, start_cam_deg=-70.0, stop_cam_deg=50.0)
    gear = Gear()
    cycle = whole_cycle(lobe, gear, TIMING)
    (found,) = crossings(Cut(lobe), gear, TIMING, cycle_of(lobe), [0.1])
    assert found.opening_crank_deg is not None
    assert found.closing_crank_deg is None
    assert cycle.lift_mm.max() == pytest.approx(8.0)


class Cut:
    """A lobe whose lift is 0 outside its table, as an event-only sweep gives it."""

    def __init__(self, lobe: PolynomialLobe) -> None:
        self.lobe = lobe
        self.period = None
        self.start_cam_deg, self.stop_cam_deg = lobe.start_cam_deg, lobe.stop_cam_deg

    def value(self, angle_cam_deg: np.ndarray, derivative: int = 0) -> np.ndarray:
        angle = np.asarray(angle_cam_deg)
        inside = (angle >= self.start_cam_deg) & (angle <= self.stop_cam_deg)
        return np.where(inside, self.lobe.value(angle, derivative), 0.0)


def cycle_of(lobe: PolynomialLobe) -> Motion:
    return whole_cycle(Cut(lobe), Gear(), TIMING)


def test_published_events_of_a_measured_exhaust_valve(tmp_path: Path) -> None:
    """Optical research engine, university open data: the table's crossings by straight lines, and its published events.

    Published: opening 484.8, closing 12.8, peak 606.8 crank deg after gas-exchange dead centre, at an unstated lift;
    at 0.1 mm the data give 484.50 and 12.17 (peak at 246 of the table).
    """
    from valvelab.files.lift_table import read_lift_table
    from valvelab.inspection.engine.motion import inspect_motion
    from valvelab.inspection.engine.sides import motion_question
    from valvelab.inspection.lobes.inspect import measured_shaft
    from valvelab.records.train import RockerRecord, TimingRecord, Train

    path = tmp_path / "lift.txt"
    path.write_text(exhaust_table(), encoding="utf-8")
    table = read_lift_table(path, "angle=0 [crank deg], 1E=1 [mm]")
    # published peak 606.8 after gas-exchange dead centre: 113.2 before the next one
    setting = Train(rocker=RockerRecord(ratio=1.0), timing=TimingRecord(exhaust_centreline_deg=113.2))
    valve = inspect_motion(motion_question(measured_shaft(table)[0], setting, (0.1,))).result.valves[0]
    assert valve.max_valve_lift_mm == pytest.approx(8.89, abs=5e-4)
    rows = {row.at_mm: row for row in valve.durations}
    assert rows[0.1].duration_crank_deg == pytest.approx(247.67, abs=0.1)
    assert rows[1.0].duration_crank_deg == pytest.approx(205.75, abs=0.05)
    assert rows[1.27].duration_crank_deg == pytest.approx(199.45, abs=0.05)
    assert rows[0.1].opening_crank_deg + 720.0 == pytest.approx(484.8, abs=0.7)
    assert rows[0.1].closing_crank_deg == pytest.approx(12.8, abs=0.7)
    assert rows[0.1].opening_event.reference == "BBDC"
    assert rows[0.1].closing_event.reference == "ATDC"


# piston clearance


def test_clearance_of_a_valve_that_stays_shut_is_the_stated_one() -> None:
    (found,) = piston_clearances(np.zeros_like, lambda a: piston_drop(a, 43.0, 231.0), 6.0, 20.0)
    assert found.min_mm == pytest.approx(6.0)
    assert found.at_crank_deg == pytest.approx(0.0, abs=1e-6)


def test_clearance_at_dead_centre_and_along_the_valve_axis() -> None:
    lobe, gear = PolynomialLobe(8.0), Gear(RatioRocker(1.5), 0.2)

    def lift(crank: np.ndarray) -> np.ndarray:
        return valve_motion(lobe, gear, TIMING, crank).lift_mm

    (found,) = piston_clearances(lift, lambda a: piston_drop(a, 40.0, 135.0), 6.0, 20.0)
    at = np.array([found.at_crank_deg])
    by_hand = 6.0 + piston_drop(at, 40.0, 135.0) * math.cos(math.radians(20.0)) - lift(at)
    assert found.min_mm == pytest.approx(float(by_hand[0]))
    every = 6.0 + piston_drop(found.crank_deg, 40.0, 135.0) * math.cos(math.radians(20.0)) - lift(found.crank_deg)
    assert found.clearance_mm == pytest.approx(every)
    assert found.min_mm <= every.min()
    (after,) = piston_clearances(lift, lambda a: piston_drop(a, 40.0, 135.0), 7.0, 20.0)
    assert after.min_mm == pytest.approx(found.min_mm + 1.0)


@given(st.floats(0.0, 12.0))
def test_advancing_the_camshaft_brings_the_intake_valve_nearer_the_piston(step: float) -> None:
    lobe, gear = PolynomialLobe(8.0, 75.0), Gear(RatioRocker(1.5))

    def least(timing: Timing) -> float:
        def lift(crank: np.ndarray) -> np.ndarray:
            return valve_motion(lobe, gear, timing, crank).lift_mm

        return piston_clearances(lift, lambda a: piston_drop(a, 40.0, 135.0), 6.0)[0].min_mm

    assert least(TIMING.moved(-step)) <= least(TIMING) + 1e-9
