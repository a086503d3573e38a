"""A sweep of crank speeds: contact force by angle, first loss of contact, loft, bounce at seating, coil clash.

Source: the model of this room, one speed after another.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice

import numpy as np
from numpy.typing import ArrayLike, NDArray

from valvelab.arrays import FloatArray, finite, read_only
from valvelab.dynamics.model import ValveGear
from valvelab.dynamics.response import Drive, Response, Tell, respond, step_needed
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.kept import Kept
from valvelab.phrase import Phrase
from valvelab.valve_motion.rocker import Rocker
from valvelab.valve_motion.valve_lift import Gear, LobeProfile, Timing, valve_motion

BINS = 360
WINDOW_SHARE = 0.05
DRIVE_STEPS = 2880
REFINING_SPEEDS = 6
MOST_STEPS = 30_000
FLOAT_LOFT_MM = 0.05
FREE_TRAVEL_SHARE = 1.5
"""Free travel as a share of the greatest lift, where the spring's own (to solid) is not stated."""


@frozen
class LobeDrive:
    """One lobe with its rocker and its place on the crank, and where its greatest lift stands there."""

    profile: LobeProfile
    rocker: Rocker
    timing: Timing
    peak_crank_deg: float


@frozen
class SpeedSweep:
    """What one lobe's valve does over a sweep; arrays by speed unless said.

    force_n (speeds, 360): least gear force in bins of 2 crank deg centred at `crank_deg` (360,), NaN where the valve
    should be shut. Loss of contact counts where the valve should be open by more than a twentieth of its lift.
    From the lowest speed on at which the valve goes beyond `free_travel_mm` (the spring's travel to solid, or the lift
    and a half) the model no longer describes the gear: `beyond`, and all figures but `lost` are NaN there.
    first_loss_rpm: speed at which contact is first lost, refined between the sweep's speeds and then where the least
    force of two speeds that keep contact leads to nothing; None if never, and if it was lost at the first one already,
    so that the onset lies below the sweep.
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


def drive_of(lobe: LobeDrive, steps: int = DRIVE_STEPS) -> Drive:
    """Drive of one lobe over crank angle from its peak, −360 … 360."""
    turn = np.linspace(-360.0, 360.0, steps, endpoint=False)
    # a lash far below zero never lets the valve seat, so lift and slope come uncut
    free = valve_motion(lobe.profile, Gear(lobe.rocker, -1e3), lobe.timing, lobe.peak_crank_deg + turn)
    return Drive(-360.0, free.drive_mm, free.velocity_mm_per_crank_deg)


_SWEEPS: Kept[tuple[SpeedSweep, ...]] = Kept(4)


def sweep(
    lobes: Sequence[LobeDrive], gear: ValveGear, rpm: ArrayLike, cycles: int = 4, tell: Tell | None = None
) -> tuple[SpeedSweep, ...]:
    """Sweep every lobe over the same ascending crank speeds in one batch, then refine each first loss in a second one.

    `tell` is told the share done, two thirds for the first batch, and may end the work. A predicted speed is an
    estimate of the model, never a safe speed.
    """
    speeds = np.sort(finite(rpm, "crank speeds", 1))
    drives = [drive_of(lobe) for lobe in lobes]
    peaks = [lobe.peak_crank_deg for lobe in lobes]
    if tell is not None:
        return _swept_all(drives, peaks, gear, speeds, cycles, tell)
    asked = gear, drives, peaks, speeds, cycles
    return _SWEEPS.of(asked, lambda: _swept_all(drives, peaks, gear, speeds, cycles, None))


def _swept_all(
    drives: Sequence[Drive],
    peaks: Sequence[float],
    gear: ValveGear,
    speeds: FloatArray,
    cycles: int,
    tell: Tell | None,
) -> tuple[SpeedSweep, ...]:
    step = _step(gear, speeds)
    found = _batch(drives, gear, [speeds] * len(drives), step, cycles, _scaled(tell, 0.0, 0.67))
    # an onset at the first speed lies below the sweep; any other one between two speeds
    wanted = [number for number, rows in enumerate(found) if any(row.lost for row in rows) and not rows[0].lost]
    brackets = []
    for number in wanted:
        first = [row.lost for row in found[number]].index(True)
        brackets.append(np.linspace(speeds[first - 1], speeds[first], REFINING_SPEEDS + 2)[1:-1])
    onsets: dict[int, _Onset] = {}
    if wanted:
        own = [drives[number] for number in wanted]
        finer = _batch(own, gear, brackets, step, cycles, _scaled(tell, 0.67, 1.0))
        onsets = {number: _onset([*found[number], *fine]) for number, fine in zip(wanted, finer, strict=True)}
    return tuple(
        _swept(gear, rows, drive, peak, onsets.get(number))
        for number, (rows, drive, peak) in enumerate(zip(found, drives, peaks, strict=True))
    )


def _scaled(tell: Tell | None, start: float, end: float) -> Tell | None:
    return None if tell is None else lambda share: tell(start + share * (end - start))


def _step(gear: ValveGear, speeds: FloatArray) -> float:
    """Step for a whole sweep; refuses a gear that would need too many."""
    step = step_needed(gear, float(speeds[-1]))
    steps = 120.0 / (float(speeds[0]) * step)
    if steps > MOST_STEPS:
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE,
            Phrase(
                "so stiff and light a gear would need {steps} steps a cycle at {speeds} rpm, expected "
                "{most} or fewer: check stiffness, masses, surge and speed",
                steps=f"{steps:.0f}",
                speeds=f"{speeds[0]:.0f}",
                most=MOST_STEPS,
            ),
        )
    return step


@frozen
class _AtSpeed:
    """One lobe at one speed: the figures of `SpeedSweep`; angles from the peak."""

    rpm: float
    force_n: FloatArray
    least_force_n: float
    peak_force_n: float
    lost: bool
    lost_at_crank_deg: float
    loft_mm: float
    bounce_mm: float
    seating_speed_m_per_s: float
    coil_squeeze_mm: float
    greatest_lift_mm: float


@frozen
class _Onset:
    """Where contact is first lost; the angle from the peak."""

    rpm: float
    crank_deg: float


def _batch(
    drives: Sequence[Drive],
    gear: ValveGear,
    speeds: Sequence[FloatArray],
    step_s: float,
    cycles: int,
    tell: Tell | None,
) -> list[list[_AtSpeed]]:
    """Each drive at its own speeds, by drive."""
    each = [drive for drive, own in zip(drives, speeds, strict=True) for _ in range(own.size)]
    responses = respond(gear, each, np.concatenate(list(speeds)), cycles, step_s=step_s, tell=tell)
    judged = (_judged(gear, response) for response in responses)
    return [list(islice(judged, own.size)) for own in speeds]


def _onset(rows: list[_AtSpeed]) -> _Onset:
    """First loss among speeds of which some lose contact and the slowest does not."""
    rows = sorted(rows, key=lambda row: row.rpm)
    first = [row.lost for row in rows].index(True)
    lost, held = rows[first], rows[first - 1]
    rpm = lost.rpm
    if first >= 2 and rows[first - 2].least_force_n > held.least_force_n:
        before = rows[first - 2]
        fall = (before.least_force_n - held.least_force_n) / (held.rpm - before.rpm)
        rpm = min(rpm, held.rpm + held.least_force_n / fall)
    return _Onset(rpm, lost.lost_at_crank_deg)


def _judged(gear: ValveGear, response: Response) -> _AtSpeed:
    steps = response.steps
    force, lift, seat = (
        values.reshape(-1, steps) for values in (response.gear_force_n, response.lift_mm, response.seat_force_n)
    )
    asked, angle = response.drive_mm[:steps] - gear.lash_mm, response.crank_deg[:steps]
    window = asked > max(WINDOW_SHARE * float(asked.max()), 2.0 * gear.gear_squeeze_mm)
    held = np.where(window, force, np.inf)
    lost = held <= 0.0
    bins = (np.arange(BINS) * steps) // BINS
    driven = np.where(asked > gear.gear_squeeze_mm, force, np.inf).min(axis=0)
    bounce, seating = _landing(lift, seat, angle, response.rpm)
    return _AtSpeed(
        rpm=response.rpm,
        force_n=np.minimum.reduceat(driven, bins),
        least_force_n=float(held.min()),
        peak_force_n=float(force.max()),
        lost=bool(lost.any()),
        lost_at_crank_deg=float(angle[int(lost.argmax()) % steps]),
        loft_mm=max(0.0, float(np.where(window, lift - asked, 0.0).max())),
        bounce_mm=bounce,
        seating_speed_m_per_s=seating,
        coil_squeeze_mm=response.coil_squeeze_mm,
        greatest_lift_mm=float(lift.max()),
    )


def _landing(lift: FloatArray, seat: FloatArray, angle: FloatArray, rpm: float) -> tuple[float, float]:
    """Greatest lift after the first touch of the seat, mm, and the speed of that touch, m/s, over all cycles."""
    steps = angle.size
    closing = int(np.searchsorted(angle, 0.0))
    per_second = 6.0 * rpm * steps / 720.0
    bounce = speed = 0.0
    for flight, pressed in zip(lift[:, closing:], seat[:, closing:] > 0.0, strict=True):
        touch = int(pressed.argmax())
        if pressed[touch]:
            bounce = max(bounce, float(flight[touch:].max()))
            speed = max(speed, float(flight[max(touch - 1, 0)] - flight[touch]) * per_second * 1e-3)
    return bounce, speed


def _swept(gear: ValveGear, rows: list[_AtSpeed], drive: Drive, peak: float, onset: _Onset | None) -> SpeedSweep:
    own = gear.spring.bind_travel_mm
    free_travel = FREE_TRAVEL_SHARE * (float(drive.drive_mm.max()) - gear.lash_mm) if own is None else own
    beyond = np.logical_or.accumulate([row.greatest_lift_mm > free_travel for row in rows])
    beyond.setflags(write=False)

    def column(name: str) -> FloatArray:
        values = np.array([getattr(row, name) for row in rows])
        return read_only(np.where(beyond.reshape(-1, *[1] * (values.ndim - 1)), np.nan, values))

    force_map = column("force_n")
    return SpeedSweep(
        rpm=read_only(np.array([row.rpm for row in rows])),
        crank_deg=read_only(peak + np.linspace(-360.0, 360.0, BINS, endpoint=False) + 360.0 / BINS),
        force_n=read_only(np.where(np.isfinite(force_map), force_map, np.nan)),
        least_force_n=column("least_force_n"),
        peak_force_n=column("peak_force_n"),
        lost=read_only(np.array([row.lost for row in rows])),
        loft_mm=column("loft_mm"),
        bounce_mm=column("bounce_mm"),
        seating_speed_m_per_s=column("seating_speed_m_per_s"),
        coil_squeeze_mm=column("coil_squeeze_mm"),
        free_travel_mm=free_travel,
        beyond=beyond,
        first_loss_rpm=None if onset is None else onset.rpm,
        first_loss_crank_deg=None if onset is None else peak + onset.crank_deg,
    )
