"""A sweep of crank speeds: contact force by angle, first loss of contact, loft, bounce at seating, coil clash.

Source: the model of this room, one speed after another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from valvelab.arrays import FloatArray, finite, read_only
from valvelab.dynamics.model import ValveGear
from valvelab.dynamics.response import Drive, Response, Tell, respond, steps_needed
from valvelab.errors import CannotEvaluate, Reason
from valvelab.kept import Kept
from valvelab.valve_motion.rocker import Rocker
from valvelab.valve_motion.valve_lift import Gear, LobeProfile, Timing, peak_crank, valve_motion

BINS = 360
WINDOW_SHARE = 0.05
REFINING_SPEEDS = 12
MOST_STEPS = 30_000
FLOAT_LOFT_MM = 0.05
FREE_TRAVEL_SHARE = 1.5
"""Free travel as a share of the greatest lift, where the spring's own (to solid) is not stated."""


@dataclass(frozen=True, slots=True)
class LobeDrive:
    """One lobe with its rocker and its place on the crank."""

    profile: LobeProfile
    rocker: Rocker
    timing: Timing


@dataclass(frozen=True, slots=True)
class SpeedSweep:
    """What one lobe's valve does over a sweep; arrays by speed unless said.

    force_n (speeds, 360): least gear force in bins of 2 crank deg centred at `crank_deg` (360,), NaN where the valve
    should be shut. Loss of contact counts where the valve should be open by more than a twentieth of its lift.
    From the lowest speed on at which the valve goes beyond `free_travel_mm` (the spring's travel to solid, or the lift
    and a half) the model no longer describes the gear: `beyond`, and all figures but `lost` are NaN there.
    first_loss_rpm: lowest speed at which contact was lost, refined between the sweep's speeds; None if never,
    and if it was lost at the first one already, so that the onset lies below the sweep.
    """

    rpm: FloatArray
    crank_deg: FloatArray
    force_n: FloatArray
    least_force_n: FloatArray
    peak_force_n: FloatArray
    lost: FloatArray
    loft_mm: FloatArray
    bounce_mm: FloatArray
    seating_speed_m_per_s: FloatArray
    coil_squeeze_mm: FloatArray
    free_travel_mm: float
    beyond: NDArray[np.bool_]
    first_loss_rpm: float | None
    first_loss_crank_deg: float | None

    @property
    def beyond_rpm(self) -> float | None:
        """Lowest speed of the sweep from which the valve goes beyond its free travel; None if never."""
        return float(self.rpm[int(np.argmax(self.beyond))]) if self.beyond.any() else None

    @property
    def float_rpm(self) -> float | None:
        """Lowest speed of the sweep at which the valve flies clear by more than 0.05 mm; None if never."""
        flying = (self.loft_mm > FLOAT_LOFT_MM) | self.beyond
        return float(self.rpm[int(np.argmax(flying))]) if flying.any() else None


def drive_of(lobe: LobeDrive, steps: int) -> Drive:
    """Drive of one lobe over crank angle from its peak, −360 … 360."""
    turn = np.linspace(-360.0, 360.0, steps, endpoint=False)
    peak = peak_crank(lobe.profile, lobe.timing)
    # a lash far below zero never lets the valve seat, so lift and slope come uncut
    free = valve_motion(lobe.profile, Gear(lobe.rocker, -1e3), lobe.timing, peak + turn)
    return Drive(turn, free.drive_mm, free.velocity_mm_per_crank_deg)


_SWEEPS: Kept[tuple[SpeedSweep, ...]] = Kept(4)


def sweep(
    lobes: Sequence[LobeDrive], gear: ValveGear, rpm: ArrayLike, cycles: int = 4, tell: Tell | None = None
) -> tuple[SpeedSweep, ...]:
    """Sweep every lobe over the same ascending crank speeds in one batch, then refine each first loss in a second one.

    `tell` is told the share done, two thirds for the first batch, and may end the work. A predicted speed is an
    estimate of the model, never a safe speed.
    """
    speeds = finite(rpm, "crank speeds", 1)
    speeds = np.sort(speeds)
    results = list(_batch(lobes, gear, [speeds] * len(lobes), cycles, _scaled(tell, 0.0, 0.67)))
    # an onset at the first speed lies below the sweep; any other one between two speeds
    results = [replace(row, first_loss_rpm=None, first_loss_crank_deg=None) if row.lost[0] else row for row in results]
    wanted = [number for number, row in enumerate(results) if row.first_loss_rpm is not None]
    if not wanted:
        return tuple(results)
    firsts = [int(np.argmax(results[number].lost)) for number in wanted]
    brackets = [np.linspace(speeds[first - 1], speeds[first], REFINING_SPEEDS) for first in firsts]
    finer = _batch([lobes[number] for number in wanted], gear, brackets, cycles, _scaled(tell, 0.67, 1.0))
    for number, fine in zip(wanted, finer, strict=True):
        if fine.first_loss_rpm is not None:
            results[number] = replace(
                results[number], first_loss_rpm=fine.first_loss_rpm, first_loss_crank_deg=fine.first_loss_crank_deg
            )
    return tuple(results)


def _scaled(tell: Tell | None, start: float, end: float) -> Tell | None:
    return None if tell is None else lambda share: tell(start + share * (end - start))


def _batch(
    lobes: Sequence[LobeDrive], gear: ValveGear, speeds: Sequence[FloatArray], cycles: int, tell: Tell | None
) -> tuple[SpeedSweep, ...]:
    lowest = min(float(own[0]) for own in speeds)
    steps = steps_needed(gear, lowest)
    if steps > MOST_STEPS:
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE,
            f"so stiff and light a gear would need {steps} steps a cycle at {lowest:.0f} rpm, expected {MOST_STEPS} or "
            "fewer: check stiffness, masses, surge and speed",
        )
    drives = [drive_of(lobe, steps) for lobe in lobes]
    one = len(lobes) == 1

    def columns(values: list[FloatArray]) -> FloatArray:
        if one:
            return values[0]
        return np.concatenate(
            [np.repeat(v[:, None], own.size, axis=1) for v, own in zip(values, speeds, strict=True)], axis=1
        )

    drive = Drive(
        drives[0].crank_deg,
        columns([d.drive_mm for d in drives]),
        columns([d.slope_mm_per_crank_deg for d in drives]),
    )
    peaks = [peak_crank(lobe.profile, lobe.timing) for lobe in lobes]
    if tell is not None:
        return _judged_sweeps(gear, drive, speeds, peaks, cycles, tell)
    asked = gear, drive, list(speeds), peaks, cycles
    return _SWEEPS.of(asked, lambda: _judged_sweeps(gear, drive, speeds, peaks, cycles, None))


def _judged_sweeps(
    gear: ValveGear,
    drive: Drive,
    speeds: Sequence[FloatArray],
    peaks: Sequence[float],
    cycles: int,
    tell: Tell | None,
) -> tuple[SpeedSweep, ...]:
    """The batch integrated, and each lobe's share of it judged; drive: a column for each speed of each lobe."""
    response = respond(gear, drive, np.concatenate(list(speeds)), cycles, tell=tell)
    ends = pairwise(accumulate((own.size for own in speeds), initial=0))
    steps = drive.crank_deg.size
    return tuple(_judged(gear, response, slice(*part), steps, peak) for peak, part in zip(peaks, ends, strict=True))


def _judged(gear: ValveGear, response: Response, part: slice, steps: int, peak: float) -> SpeedSweep:
    asked = response.drive_mm[:, part] - gear.lash_mm
    force, lift, seat = response.gear_force_n[:, part], response.lift_mm[:, part], response.seat_force_n[:, part]
    turns, rpm = asked.shape[0] // steps, response.rpm[part]
    window = asked > max(WINDOW_SHARE * float(asked.max()), 2.0 * gear.gear_squeeze_mm)
    held = np.where(window, force, np.inf)
    least = held.min(axis=0)
    lost = least <= 0.0
    first = int(np.argmax(lost)) if lost.any() else None
    angle = response.crank_deg
    binned = np.where(asked > gear.gear_squeeze_mm, force, np.inf).reshape(turns, BINS, steps // BINS, rpm.size)
    force_map = binned.min(axis=(0, 2)).T
    bounce, seating = _landing(lift, seat, angle, rpm, turns)
    own = gear.spring.bind_travel_mm
    free_travel = FREE_TRAVEL_SHARE * float(asked.max()) if own is None else own
    beyond = np.logical_or.accumulate(lift.max(axis=0) > free_travel)
    beyond.setflags(write=False)

    def known(values: FloatArray) -> FloatArray:
        return read_only(np.where(beyond.reshape(-1, *[1] * (values.ndim - 1)), np.nan, values))

    return SpeedSweep(
        rpm=read_only(rpm.copy()),
        crank_deg=read_only(peak + np.linspace(-360.0, 360.0, BINS, endpoint=False) + 360.0 / BINS),
        force_n=known(np.where(np.isfinite(force_map), force_map, np.nan)),
        least_force_n=known(least),
        peak_force_n=known(force.max(axis=0)),
        lost=read_only(lost),
        loft_mm=known(np.where(window, lift - asked, 0.0).max(axis=0).clip(0.0)),
        bounce_mm=known(bounce),
        seating_speed_m_per_s=known(seating),
        coil_squeeze_mm=known(response.coil_squeeze_mm[part]),
        free_travel_mm=free_travel,
        beyond=beyond,
        first_loss_rpm=None if first is None else float(rpm[first]),
        first_loss_crank_deg=None if first is None else peak + float(angle[int(np.argmax(held[:, first] <= 0.0))]),
    )


def _landing(
    lift: FloatArray, seat: FloatArray, angle: FloatArray, rpm: FloatArray, turns: int
) -> tuple[FloatArray, FloatArray]:
    """Greatest lift after the first touch of the seat, mm, and the speed of that touch, m/s, over all cycles."""
    steps = lift.shape[0] // turns
    bounce, speed = np.zeros(rpm.size), np.zeros(rpm.size)
    columns = np.arange(rpm.size)
    per_second = 6.0 * rpm * steps / 720.0
    for turn in range(turns):
        closing = slice(turn * steps + int(np.searchsorted(angle[:steps], 0.0)), (turn + 1) * steps)
        touching = seat[closing] > 0.0
        landed = np.maximum.accumulate(touching, axis=0)
        bounce = np.maximum(bounce, np.where(landed, lift[closing], 0.0).max(axis=0))
        row = np.argmax(touching, axis=0)
        row_before = np.maximum(row - 1, 0)
        fall = (lift[closing][row_before, columns] - lift[closing][row, columns]) * per_second * 1e-3
        speed = np.maximum(speed, np.where(touching.any(axis=0), fall, 0.0))
    return bounce, speed
