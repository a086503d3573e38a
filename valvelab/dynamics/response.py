"""Response of the lumped gear to a lobe, for many speeds at once.

All speeds take steps of one length in time, so that one matrix carries them all: the linear gear is stepped exactly,
and what departs from it (contact that opens, damping that fades, the seat, touching coils) is a force that is linear
over the step. Its value at the end of a step is taken at the state foretold, and what was foretold wrongly is made good
in the next step.

Source: linear systems under piecewise linear force, textbook; contacts as in the model.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from valvelab.arrays import FloatArray, IntArray, finite
from valvelab.dynamics.model import ValveGear, matrices
from valvelab.dynamics.propagator import coil_squeeze, propagator
from valvelab.errors import CannotEvaluate, Reason, ValvelabError

STEP_RADIANS = 0.4
"""Step times the valve's frequency on gear and seat; the error it leaves is told in tests/benchmarks."""
COARSEST_RADIANS = 1.0
FEWEST_STEPS = 480
"""Steps of the shortest cycle."""
AT_ONCE = 64
Tell = Callable[[float], bool]
"""Told the share that is done; False ends the work."""


class Stopped(ValvelabError):
    """The work was ended by the one who asked for it."""

    def __init__(self) -> None:
        super().__init__("the dynamic model was stopped")


@dataclass(frozen=True, slots=True)
class Drive:
    """What the cam asks of the valve over one cycle, evenly spaced: lift without lash (mm) and slope by crank deg.

    drive_mm, slope_mm_per_crank_deg: (n,) at n even steps of a 720 deg cycle that begin with the valve shut at
    `start_crank_deg`; the last leads back to the first. Between them lift is the cubic that has their slopes.
    """

    start_crank_deg: float
    drive_mm: FloatArray
    slope_mm_per_crank_deg: FloatArray

    def over_cycle(self, steps: int) -> tuple[FloatArray, FloatArray]:
        """Lift, mm, and slope, mm/crank deg, at so many even steps of the cycle, (steps,) each."""
        size = self.drive_mm.size
        place = np.arange(steps) * (size / steps)
        row = np.minimum(place.astype(np.intp), size - 1)
        t = place - row
        after = (row + 1) % size
        width = 720.0 / size
        y, v, w = (
            self.drive_mm[row],
            self.slope_mm_per_crank_deg[row] * width,
            self.slope_mm_per_crank_deg[after] * width,
        )
        rise = self.drive_mm[after] - y
        square, cube = 3.0 * rise - 2.0 * v - w, v + w - 2.0 * rise
        return y + t * (v + t * (square + t * cube)), (v + t * (2.0 * square + 3.0 * t * cube)) / width


@dataclass(frozen=True, slots=True)
class Response:
    """Histories at one crank speed over the cycles kept, in order of time.

    All are (cycles × steps,) and begin a step after the drive's start. crank_deg: of one cycle, again for each.
    `coil_squeeze_mm`: greatest squeeze of touching coils, 0 where none touched. `state` (cycles × steps, 2 n),
    positions then velocities, only where asked for.
    """

    rpm: float
    steps: int
    crank_deg: FloatArray
    drive_mm: FloatArray
    lift_mm: FloatArray
    gear_force_n: FloatArray
    seat_force_n: FloatArray
    coil_squeeze_mm: float
    state: FloatArray | None = None


def step_needed(gear: ValveGear, fastest_rpm: float) -> float:
    """Step, in s, that resolves the valve on gear and seat, and the shortest cycle."""
    return min(STEP_RADIANS / _contact_frequency(gear), 120.0 / fastest_rpm / FEWEST_STEPS)


def _contact_frequency(gear: ValveGear) -> float:
    """Of the valve between gear and seat, rad/s."""
    return math.sqrt((gear.stiffness_n_per_mm + gear.seat_stiffness) / float(matrices(gear).mass[0]))


def respond(
    gear: ValveGear,
    drives: Drive | list[Drive],
    rpm: ArrayLike,
    cycles: int = 4,
    *,
    step_s: float | None = None,
    keep_state: bool = False,
    record_from: int = 1,
    tell: Tell | None = None,
) -> list[Response]:
    """Integrate `cycles` cycles at each crank speed, all in one batch; cycles from `record_from` on are kept.

    drives: one for all speeds, or one for each. step_s: as `step_needed` has it where None; each cycle takes the whole
    number of them that comes nearest, which moves its speed by at most half a step. Starts at rest in balance. Second
    order. Raises Stopped where `tell` says so. Refuses speeds that are not positive and a step too coarse.
    """
    speeds = finite(rpm, "crank speeds", 1)
    if not (speeds > 0.0).all():
        raise CannotEvaluate(Reason.OUT_OF_RANGE, "crank speeds: expected all above 0 rpm")
    step = step_needed(gear, float(speeds.max())) if step_s is None else step_s
    if step * _contact_frequency(gear) > COARSEST_RADIANS:
        raise CannotEvaluate(Reason.OUT_OF_RANGE, f"steps of {1e6 * step:.0f} µs are too coarse for so stiff a gear")
    steps = np.maximum(np.rint(120.0 / (speeds * step)), 2.0).astype(np.intp)
    # the slowest come first, so that those whose cycles are over leave the batch at its end
    order = np.argsort(-steps, kind="stable")
    each = drives if isinstance(drives, list) else [drives] * speeds.size
    march = _March(gear, [each[i] for i in order], steps[order], step, cycles)
    march.run(keep_state=keep_state, tell=tell)
    found: dict[int, Response] = {}
    for column, place in enumerate(order):
        found[int(place)] = march.response(column, float(speeds[place]), each[place].start_crank_deg, record_from)
    return [found[place] for place in range(speeds.size)]


class _March:
    """The steps of one batch; its columns are speeds, sorted so that the longest cycles come first.

    The table that one product carries a step further has these rows: positions and velocities, squeezes of coils
    (where they can touch), force on the valve beyond the shut gear (at the step's start, foretold for its end, and what
    the last foretelling missed), and a one.
    """

    def __init__(self, gear: ValveGear, drives: list[Drive], steps: IntArray, step_s: float, cycles: int) -> None:
        self.gear, self.parts, self.steps = gear, matrices(gear), steps
        self.nodes = self.parts.mass.size
        self.cycles, self.step_s = cycles, step_s
        self.starts = np.concatenate([[0], np.cumsum(steps)[:-1]])
        both = [drive.over_cycle(int(count)) for drive, count in zip(drives, steps, strict=True)]
        self.drive = np.concatenate([lift for lift, _ in both])
        self.rate = np.concatenate(
            [slope * (720.0 / (int(count) * step_s)) for (_, slope), count in zip(both, steps, strict=True)]
        )
        self.coils = self.nodes if math.isfinite(self.parts.element_gap_mm) else 0
        self.moving, self.correction = self._matrices()
        longest = cycles * int(steps.max())
        #: gear force, seat force and lift, single precision, which is a thousandth of what the step leaves
        self.history = np.empty((longest, 3, steps.size), np.float32)
        self.touched = np.zeros(steps.size)
        self.states: FloatArray | None = None

    def _matrices(self) -> tuple[FloatArray, FloatArray]:
        """The product's matrix, and what the squeezes of coils at a step's end still change in the state."""
        size, coils, nodes = 2 * self.nodes, self.coils, self.nodes
        step = propagator(self.gear, self.parts, self.step_s)
        rows = size + coils
        moving = np.zeros((rows, rows + 4))
        moving[:size, :size] = step.state
        moving[:size, size:rows] = (step.start + step.end)[:, 1 : 1 + coils]
        moving[:size, rows] = step.start[:, 0]
        moving[:size, rows + 1] = step.end[:, 0]
        moving[:size, rows + 2] = step.state @ step.end[:, 0]
        squeeze = coil_squeeze(nodes)[:coils]
        moving[size:rows] = squeeze @ moving[:nodes]
        moving[size:rows, -1] = -self.parts.element_gap_mm if coils else 0.0
        late = step.end[:, 1 : 1 + coils]
        return moving, np.concatenate([late, squeeze @ late[:nodes]])

    def _at_rest(self) -> tuple[FloatArray, FloatArray]:
        """Lift of the valve and force of gear and seat on it in balance at the start, by bisection."""
        gear, asked = self.gear, self.drive[self.starts] - self.gear.lash_mm
        low, high = np.full(asked.size, -1.0), np.maximum(asked, gear.seat_squeeze_mm) + 1.0
        for _ in range(80):
            x = 0.5 * (low + high)
            push = gear.stiffness_n_per_mm * np.maximum(asked - x, 0.0)
            push += gear.seat_stiffness * np.maximum(gear.seat_squeeze_mm - x, 0.0)
            rising = push > gear.spring.seat_force_n + gear.spring.rate_n_per_mm * x
            low, high = np.where(rising, x, low), np.where(rising, high, x)
        return x, push

    def run(self, *, keep_state: bool, tell: Tell | None) -> None:
        """March to the end of the longest cycles."""
        gear, nodes, size, columns = self.gear, self.nodes, 2 * self.nodes, self.steps.size
        rows = size + self.coils
        lift, push = self._at_rest()
        table = np.zeros((rows + 4, columns))
        table[-1] = 1.0
        table[:nodes] = (1.0 - np.arange(nodes) / nodes)[:, None] * lift
        table[rows] = push - gear.spring.seat_force_n + gear.stiffness_n_per_mm * lift
        spare = table.copy()
        ends, longest = self.steps * self.cycles, self.history.shape[0]
        if keep_state:
            self.states = np.empty((longest, size, columns))
        asked = self.drive[self.starts] - gear.lash_mm
        before = gear.stiffness_n_per_mm * asked + gear.gear_damping * self.rate[self.starts]
        done = 0
        while done < longest:
            if tell is not None and not tell(done / longest):
                raise Stopped
            count = min(AT_ONCE, longest - done)
            active = int(np.searchsorted(-ends, -done, side="left"))
            places = (done + 1 + np.arange(count)[:, None]) % self.steps[:active] + self.starts[:active]
            towards, speed = np.empty((count, 2, active)), np.zeros((count, 2, active))
            np.subtract(self.drive[places], gear.lash_mm, out=towards[:, 0])
            towards[:, 1] = gear.seat_squeeze_mm
            speed[:, 0] = self.rate[places]
            held = gear.stiffness_n_per_mm * towards[:, 0] + gear.gear_damping * speed[:, 0]
            gained = np.diff(held, axis=0, prepend=before[None, :active])
            before = held[-1]
            kept = self.history[done : done + count, :, :active]
            states = None if self.states is None else self.states[done : done + count, :, :active]
            ended, left = self._some(table[:, :active], spare[:, :active], towards, speed, gained, kept, states)
            table, spare = ended, left
            done += count

    def _some(
        self,
        now: FloatArray,
        then: FloatArray,
        towards: FloatArray,
        speed: FloatArray,
        gained: FloatArray,
        kept: NDArray[np.float32],
        states: FloatArray | None,
    ) -> tuple[FloatArray, FloatArray]:
        """Some steps of the columns that still run; the tables by turns, the one with the last state first."""
        gear, nodes, size, active = self.gear, self.nodes, 2 * self.nodes, now.shape[1]
        rows = size + self.coils
        stiffness = np.array([[gear.stiffness_n_per_mm], [gear.seat_stiffness]])
        damping = np.array([[gear.gear_damping], [gear.seat_damping]])
        # damping fades in with the squeeze, so that the force has no jump where contact begins
        fade = damping / np.array([[gear.gear_squeeze_mm], [gear.seat_squeeze_mm]])
        squeeze, damped, force = np.empty((2, active)), np.empty((2, active)), np.empty((2, active))
        beyond, part = np.empty(active), np.empty(active)
        touched = np.zeros((self.coils, active))
        for i in range(towards.shape[0]):
            foretold = now[rows + 1]
            np.add(now[rows], gained[i], out=foretold)
            np.matmul(self.moving, now, out=then[:rows])
            if self.coils:
                self._clash(now[size:rows], then, touched)
            valve, velocity = then[0], then[nodes]
            np.subtract(towards[i], valve, out=squeeze)
            np.subtract(speed[i], velocity, out=force)
            np.multiply(squeeze, fade, out=damped)
            np.maximum(damped, 0.0, out=damped)
            np.minimum(damped, damping, out=damped)
            force *= damped
            squeeze *= stiffness
            force += squeeze
            np.maximum(force, 0.0, out=force)
            np.add(force[0], force[1], out=beyond)
            np.multiply(valve, gear.stiffness_n_per_mm, out=part)
            beyond += part
            np.multiply(velocity, gear.gear_damping, out=part)
            beyond += part
            beyond -= gear.spring.seat_force_n
            np.subtract(beyond, foretold, out=then[rows + 2])
            then[rows] = beyond
            kept[i, :2] = force
            kept[i, 2] = valve
            if states is not None:
                states[i] = then[:size]
            now, then = then, now
        if self.coils:
            np.maximum(self.touched[:active], touched.max(axis=0), out=self.touched[:active])
        return now, then

    def _clash(self, before: FloatArray, then: FloatArray, touched: FloatArray) -> None:
        """Squeezes of coils only push; where they changed over the step, so does the state."""
        size, rows = 2 * self.nodes, 2 * self.nodes + self.coils
        squeeze = then[size:rows]
        np.maximum(squeeze, 0.0, out=squeeze)
        change = squeeze - before
        if change.any():
            moved = self.correction @ change
            then[:size] += moved[:size]
            squeeze += moved[size:]
            np.maximum(squeeze, 0.0, out=squeeze)
            np.maximum(touched, squeeze, out=touched)

    def response(self, column: int, rpm: float, start_crank_deg: float, record_from: int) -> Response:
        """What one column did, from the cycle on that is kept."""
        steps, start = int(self.steps[column]), int(self.starts[column])
        first = min(record_from, self.cycles - 1) * steps
        part = slice(first, self.cycles * steps)
        gear_force, seat_force, lift = self.history[part, :, column].T.astype(np.float64)
        turns = lift.size // steps
        angle = start_crank_deg + np.arange(1, steps + 1) * (720.0 / steps)
        return Response(
            rpm=rpm,
            steps=steps,
            crank_deg=np.tile(angle, turns),
            drive_mm=np.tile(np.roll(self.drive[start : start + steps], -1), turns),
            lift_mm=lift,
            gear_force_n=gear_force,
            seat_force_n=seat_force,
            coil_squeeze_mm=float(self.touched[column]),
            state=None if self.states is None else self.states[part, :, column],
        )
