"""Response of the lumped gear to a lobe, for many speeds at once.

Source: equation of motion; velocity Verlet, textbook.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from valvelab.arrays import FloatArray, finite
from valvelab.dynamics.model import Matrices, ValveGear, matrices
from valvelab.errors import CannotEvaluate, Reason, ValvelabError

STEP_PER_RADIAN = 0.35
FEWEST_STEPS = 1440
TELLINGS = 40
Tell = Callable[[float], bool]
"""Told the share that is done; False ends the work."""


class Stopped(ValvelabError):
    """The work was ended by the one who asked for it."""

    def __init__(self) -> None:
        super().__init__("the dynamic model was stopped")


@dataclass(frozen=True, slots=True)
class Drive:
    """What the cam asks of the valve over one cycle, evenly spaced: lift without lash (mm) and slope by crank deg.

    crank_deg (n,): any even steps of a 720 deg cycle that begin with the valve shut; the last leads back to the first.
    drive_mm, slope_mm_per_crank_deg: (n,) for one lobe, or (n, speeds) with a lobe of its own for each speed.
    """

    crank_deg: FloatArray
    drive_mm: FloatArray
    slope_mm_per_crank_deg: FloatArray


@dataclass(frozen=True, slots=True)
class Response:
    """Histories of the recorded cycles, in order of time: steps × speeds.

    `crank_deg` (steps,) runs from the drive's second angle to its first one a cycle later, once for each cycle kept.
    `coil_squeeze_mm`: greatest squeeze of touching coils, 0 where none touched. `state` (steps, 2 n, speeds), positions
    then velocities, only where asked for.
    """

    rpm: FloatArray
    crank_deg: FloatArray
    drive_mm: FloatArray
    lift_mm: FloatArray
    gear_force_n: FloatArray
    seat_force_n: FloatArray
    coil_squeeze_mm: FloatArray
    state: FloatArray | None = None


def highest_frequency(gear: ValveGear) -> float:
    """Upper bound of the model's angular frequencies with all contacts shut, rad/s."""
    parts = matrices(gear)
    stiffness = parts.stiffness.copy()
    if math.isfinite(parts.element_gap_mm):
        stiffness *= 1.0 + gear.spring.clash_factor
    stiffness[0, 0] += gear.stiffness_n_per_mm + gear.seat_stiffness
    root = 1.0 / np.sqrt(parts.mass)
    return float(np.sqrt(np.linalg.eigvalsh(root[:, None] * stiffness * root)[-1]))


def steps_needed(gear: ValveGear, lowest_rpm: float) -> int:
    """Steps a cycle (a multiple of 720) that resolve the highest frequency at the lowest crank speed."""
    cycle_s = 120.0 / lowest_rpm
    wanted = cycle_s * highest_frequency(gear) / STEP_PER_RADIAN
    return max(FEWEST_STEPS, 720 * math.ceil(wanted / 720.0))


def respond(
    gear: ValveGear,
    drive: Drive,
    rpm: ArrayLike,
    cycles: int = 4,
    *,
    keep_state: bool = False,
    record_from: int = 1,
    tell: Tell | None = None,
) -> Response:
    """Integrate `cycles` cycles at each crank speed, all speeds in one batch; cycles from `record_from` on are kept.

    Velocity Verlet at a fixed step of crank angle (second order); forces that depend on velocity take the predicted
    one. Starts at rest in balance. Raises Stopped where `tell` says so. Refuses speeds that are not positive and a step
    too coarse to be stable.
    """
    speeds = finite(rpm, "crank speeds", 1)
    if not (speeds > 0.0).all():
        raise CannotEvaluate(Reason.OUT_OF_RANGE, "crank speeds: expected all above 0 rpm")
    parts = matrices(gear)
    steps = drive.crank_deg.size
    dt = (720.0 / steps) / (6.0 * speeds)
    if float(dt.max()) * highest_frequency(gear) > 1.6:
        raise CannotEvaluate(Reason.OUT_OF_RANGE, f"{steps} steps a cycle are too few for {speeds.min():g} rpm")
    asked, asked_rate = _contacts(gear, drive, speeds)
    recorded = max(1, cycles - record_from) * steps
    turns = recorded // steps
    lift = drive.drive_mm if drive.drive_mm.ndim == 2 else drive.drive_mm[:, None]
    shape = recorded, speeds.size
    response = Response(
        rpm=speeds,
        crank_deg=np.tile(np.append(drive.crank_deg[1:], drive.crank_deg[0] + 720.0), turns),
        drive_mm=np.broadcast_to(np.tile(np.roll(lift, -1, axis=0), (turns, 1)), shape),
        lift_mm=np.empty(shape),
        gear_force_n=np.empty(shape),
        seat_force_n=np.empty(shape),
        coil_squeeze_mm=np.zeros(speeds.size),
        state=np.empty((recorded, 2 * parts.mass.size, speeds.size)) if keep_state else None,
    )
    _integrate(gear, parts, asked, asked_rate, dt, cycles, response, tell)
    return response


def _contacts(gear: ValveGear, drive: Drive, speeds: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Position and speed that gear and seat press the valve towards: (steps, 2, speeds)."""
    steps = drive.crank_deg.size
    asked = np.empty((steps, 2, speeds.size))
    rate = np.zeros_like(asked)
    lift, slope = drive.drive_mm, drive.slope_mm_per_crank_deg
    asked[:, 0] = (lift[:, None] if lift.ndim == 1 else lift) - gear.lash_mm
    rate[:, 0] = (slope[:, None] if slope.ndim == 1 else slope) * 6.0 * speeds
    asked[:, 1] = gear.seat_squeeze_mm
    return asked, rate


def _at_rest(gear: ValveGear, parts: Matrices, asked: FloatArray) -> FloatArray:
    """Positions in balance under the first step's contacts, (n, speeds): the valve by bisection, the chain linear."""
    low, high = np.full(asked.shape[1], -1.0), np.maximum(asked[0], gear.seat_squeeze_mm) + 1.0
    for _ in range(80):
        x = 0.5 * (low + high)
        push = gear.stiffness_n_per_mm * np.maximum(asked[0] - x, 0.0)
        push += gear.seat_stiffness * np.maximum(asked[1] - x, 0.0)
        rising = push > gear.spring.seat_force_n + gear.spring.rate_n_per_mm * x
        low, high = np.where(rising, x, low), np.where(rising, high, x)
    nodes = parts.mass.size
    return np.asarray((1.0 - np.arange(nodes) / nodes)[:, None] * (0.5 * (low + high)))


def _integrate(
    gear: ValveGear,
    parts: Matrices,
    asked: FloatArray,
    asked_rate: FloatArray,
    dt: FloatArray,
    cycles: int,
    out: Response,
    tell: Tell | None,
) -> None:
    nodes, speeds = parts.mass.size, dt.size
    # one product gives all linear accelerations: columns are positions, velocities and a one for the preload
    linear = np.zeros((nodes, 2 * nodes + 1))
    linear[:, :nodes] = -parts.stiffness / parts.mass[:, None]
    linear[:, nodes : 2 * nodes] = -parts.damping / parts.mass[:, None]
    linear[0, -1] = -gear.spring.seat_force_n / parts.mass[0]
    table = np.zeros((2 * nodes + 1, speeds))
    table[-1] = 1.0
    x, guess = table[:nodes], table[nodes : 2 * nodes]
    x[:] = _at_rest(gear, parts, asked[0])
    contact = _Contact(gear, parts, out.coil_squeeze_mm)
    half = 0.5 * dt
    accel, velocity = np.zeros((nodes, speeds)), np.zeros((nodes, speeds))
    np.matmul(linear, table, out=accel)
    contact.add(accel, x, guess, asked[0], asked_rate[0])
    kick, drift = np.empty_like(accel), np.empty_like(accel)
    steps = asked.shape[0]
    first_kept = cycles * steps - out.lift_mm.shape[0]
    pause = max(1, cycles * steps // TELLINGS)
    for step in range(cycles * steps):
        if tell is not None and step % pause == 0 and not tell(step / (cycles * steps)):
            raise Stopped
        now = (step + 1) % steps
        np.multiply(accel, half, out=kick)
        velocity += kick
        np.multiply(velocity, dt, out=drift)
        x += drift
        np.add(velocity, kick, out=guess)
        np.matmul(linear, table, out=accel)
        contact.add(accel, x, guess, asked[now], asked_rate[now])
        np.multiply(accel, half, out=kick)
        velocity += kick
        if step >= first_kept:
            row = step - first_kept
            out.lift_mm[row] = x[0]
            out.gear_force_n[row], out.seat_force_n[row] = contact.force
            if out.state is not None:
                out.state[row, :nodes] = x
                out.state[row, nodes:] = velocity


class _Contact:
    """Forces that only push: gear on valve, seat on valve, coil on coil. Works in place.

    touched (speeds,) holds the greatest squeeze of touching coils so far, mm.
    """

    def __init__(self, gear: ValveGear, parts: Matrices, touched: FloatArray) -> None:
        speeds = touched.size
        self.stiffness = np.array([[gear.stiffness_n_per_mm], [gear.seat_stiffness]])
        self.damping = np.array([[gear.gear_damping], [gear.seat_damping]])
        squeeze = np.array([[gear.gear_squeeze_mm], [gear.seat_squeeze_mm]])
        self.fade = self.damping / squeeze
        self.inverse_mass = 1.0 / parts.mass[0]
        self.gap, self.clash = parts.element_gap_mm, gear.spring.clash_factor * parts.element_rate
        self.mass = parts.mass[:, None]
        self.force = np.zeros((2, speeds))
        self.squeeze, self.closing, self.total = np.empty((2, speeds)), np.empty((2, speeds)), np.empty(speeds)
        self.touched = touched

    def add(self, accel: FloatArray, x: FloatArray, velocity: FloatArray, asked: FloatArray, rate: FloatArray) -> None:
        """Add the contact forces at positions and velocities to the accelerations."""
        squeeze, closing, force = self.squeeze, self.closing, self.force
        np.subtract(asked, x[0], out=squeeze)
        np.subtract(rate, velocity[0], out=closing)
        # damping fades in with the squeeze, so that the force has no jump where contact begins
        np.multiply(squeeze, self.fade, out=force)
        np.maximum(force, 0.0, out=force)
        np.minimum(force, self.damping, out=force)
        force *= closing
        squeeze *= self.stiffness
        force += squeeze
        np.maximum(force, 0.0, out=force)
        np.add(force[0], force[1], out=self.total)
        self.total *= self.inverse_mass
        accel[0] += self.total
        if math.isfinite(self.gap):
            self._clash(accel, x)

    def _clash(self, accel: FloatArray, x: FloatArray) -> None:
        over = -np.diff(x, axis=0, append=0.0) - self.gap
        if (over > 0.0).any():
            np.maximum(over, 0.0, out=over)
            np.maximum(self.touched, over.max(axis=0), out=self.touched)
            over *= self.clash
            accel -= over / self.mass
            accel[1:] += over[:-1] / self.mass[1:]
