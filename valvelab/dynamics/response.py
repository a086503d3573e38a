"""Response of the lumped gear to a lobe, for many speeds at once.

All speeds take steps of one length in time, so that one matrix carries them all: the linear gear is stepped exactly,
and what departs from it (contact that opens, damping that fades, the seat, touching coils) is a force that is linear
over the step. Its value at the end of a step is taken at the state foretold, and what was foretold wrongly is made good
in the next step.

Source: linear systems under piecewise linear force, textbook; contacts as in the model.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import ArrayLike

from valvelab.arrays import FloatArray, IntArray, finite
from valvelab.dynamics.model import ValveGear, matrices
from valvelab.dynamics.propagator import coil_squeeze, propagator
from valvelab.errors import CannotEvaluate, Reason, ValvelabError
from valvelab.frozen import frozen

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


@frozen
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


@frozen
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
) -> Iterator[Response]:
    """Integrate `cycles` cycles at each crank speed, all in one batch; cycles from `record_from` on are kept.

    The responses come one by one in the order of the speeds, so that one history at a time is unpacked.

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
    return (
        march.response(column, float(speed), drive.start_crank_deg, record_from)
        for column, speed, drive in zip(np.argsort(order).tolist(), speeds, each, strict=True)
    )


_ASKED = 6
"""Rows that contacts ask of the state, of the valve's place x and speed v: −k x at gear and seat, −v at each, and −k x
once more, by the share of the damping that so much squeeze brings."""
_PUSHED = slice(_ASKED, _ASKED + 2)
_STATE = _ASKED + 2
_BEYOND, _FORETOLD, _GAIN, _ONE = range(-4, 0)
"""The last rows of a table, counted from its end."""


@frozen
class _Table:
    """The rows of a table by what they are; `carried` are those that a product takes, `moved` those that it gives."""

    whole: FloatArray
    carried: FloatArray
    moved: FloatArray
    asked: FloatArray
    pushed: FloatArray
    told: FloatArray
    state: FloatArray
    squeeze: FloatArray
    gain: FloatArray

    @staticmethod
    def of(table: FloatArray, size: int) -> _Table:
        """The rows of a table whose state has so many rows."""
        end = _STATE + size
        return _Table(
            whole=table,
            carried=table[_ASKED:],
            moved=table[:_GAIN],
            asked=table[:_ASKED],
            pushed=table[_PUSHED],
            told=table[_ASKED : _STATE + 1],
            state=table[_STATE:end],
            squeeze=table[end:_BEYOND],
            gain=table[_GAIN],
        )


class _March:
    """The steps of one batch; its columns are speeds, sorted so that the longest cycles come first.

    A table has these rows: what contacts ask of the state (`_ASKED`), what gear and seat push, positions and
    velocities, squeezes of coils (where they can touch), the shut gear's pull beyond the spring's, k x + c v − seat
    force, the force on the valve that was foretold for the step's end, how much more the cam asks of the gear by then,
    and a one. One product of all but the first of them gives the next table, but for what is pushed and the last two
    rows.
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
        #: damping fades in with the squeeze, so that the force has no jump where contact begins
        self.damping = np.array([[gear.gear_damping], [gear.seat_damping]])
        squeezes = np.array([[gear.gear_squeeze_mm], [gear.seat_squeeze_mm]])
        self.fade = self.damping / (np.array([[gear.stiffness_n_per_mm], [gear.seat_stiffness]]) * squeezes)
        self.moving, self.correction = self._matrices()
        #: of the correction, how much squeezes lend each other
        self.lent = self.correction[_STATE + 2 * self.nodes :][: self.coils]
        longest = cycles * int(steps.max())
        #: gear force, seat force and lift, single precision, which is a thousandth of what the step leaves
        self.history = np.empty((3, steps.size, longest), np.float32)
        self.touched = np.zeros(steps.size)
        self.touching: bool | np.bool_ = False
        self.states: FloatArray | None = None

    def _matrices(self) -> tuple[FloatArray, FloatArray]:
        """The product's matrix, and what the squeezes of coils at a step's end still change in the next table."""
        gear, size, coils, nodes = self.gear, 2 * self.nodes, self.coils, self.nodes
        step = propagator(gear, self.parts, self.step_s)
        ends = step.end[:, 0]
        missed = step.state @ ends
        squeeze = coil_squeeze(nodes)[:coils]
        # of what was pushed, of the state, of squeezes, then of beyond, foretold, gain and one
        forces = (step.start[:, 0] + ends + missed)[:, None]
        state = np.hstack(
            [
                forces.repeat(2, axis=1),
                step.state,
                (step.start + step.end)[:, 1 : 1 + coils],
                forces,
                -missed[:, None],
                ends[:, None],
                np.zeros((size, 1)),
            ]
        )
        squeezed = squeeze @ state[:nodes]
        squeezed[:, _ONE] -= self.parts.element_gap_mm if coils else 0.0
        asks = np.zeros((_ASKED, size))
        asks[:, 0] = -gear.stiffness_n_per_mm, -gear.seat_stiffness, 0.0, 0.0, 0.0, 0.0
        asks[2:4, nodes] = -1.0
        asks[4:] = self.fade * asks[:2]
        pull = np.zeros((1, size))
        pull[0, [0, nodes]] = gear.stiffness_n_per_mm, gear.gear_damping
        beyond = pull @ state
        beyond[0, _ONE] -= gear.spring.seat_force_n
        foretold = np.zeros((1, state.shape[1]))
        foretold[0, [0, 1, _BEYOND, _GAIN]] = 1.0
        late = step.end[:, 1 : 1 + coils]
        pushed = np.zeros((2, state.shape[1]))
        moving = np.vstack([asks @ state, pushed, state, squeezed, beyond, foretold])
        none = np.zeros((2, coils))
        return moving, np.vstack([asks @ late, none, late, squeeze @ late[:nodes], pull @ late, none[:1]])

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
        lift, push = self._at_rest()
        table = np.zeros((_STATE + size + self.coils + 4, columns))
        table[_ASKED] = push
        table[_STATE : _STATE + nodes] = (1.0 - np.arange(nodes) / nodes)[:, None] * lift
        table[_BEYOND] = gear.stiffness_n_per_mm * lift - gear.spring.seat_force_n
        table[_FORETOLD] = table[_BEYOND] + push
        table[_ONE] = 1.0
        spare = table.copy()
        ends, longest = self.steps * self.cycles, self.history.shape[2]
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
            # each contact's force if the valve stood at zero, how fast what pushes it moves, and its share of damping
            towards = np.zeros((count, _ASKED, active))
            np.multiply(self.drive[places] - gear.lash_mm, gear.stiffness_n_per_mm, out=towards[:, 0])
            towards[:, 1] = gear.seat_stiffness * gear.seat_squeeze_mm
            towards[:, 2] = self.rate[places]
            np.multiply(towards[:, :2], self.fade, out=towards[:, 4:])
            held = towards[:, 0] + gear.gear_damping * towards[:, 2]
            gained = np.diff(held, axis=0, prepend=before[None, :active])
            before = held[-1]
            kept = np.empty((count, 3, active))
            states = None if self.states is None else self.states[done : done + count, :, :active]
            table, spare = self._some(table[:, :active], spare[:, :active], towards, gained, kept, states)
            self.history[:, :active, done : done + count] = kept.transpose(1, 2, 0)
            done += count

    def _some(
        self,
        now: FloatArray,
        then: FloatArray,
        towards: FloatArray,
        gained: FloatArray,
        kept: FloatArray,
        states: FloatArray | None,
    ) -> tuple[FloatArray, FloatArray]:
        """Some steps of the columns that still run; the tables by turns, the one with the last state first."""
        damping, touched = self.damping, np.zeros((self.coils, now.shape[1]))
        contact = np.empty((_ASKED, now.shape[1]))
        undamped, closing, damped = contact[:2], contact[2:4], contact[4:]
        here, there = _Table.of(now, 2 * self.nodes), _Table.of(then, 2 * self.nodes)
        for step, (asked, gain, history) in enumerate(zip(towards, gained, kept, strict=True)):
            here.gain[:] = gain
            np.matmul(self.moving, here.carried, out=there.moved)
            if self.coils:
                self._clash(here.squeeze, there, touched)
            np.add(asked, there.asked, out=contact)
            np.maximum(damped, 0.0, out=damped)
            np.minimum(damped, damping, out=damped)
            np.multiply(damped, closing, out=damped)
            np.add(undamped, damped, out=there.pushed)
            np.maximum(there.pushed, 0.0, out=there.pushed)
            history[:] = there.told
            if states is not None:
                states[step] = there.state
            here, there = there, here
        if self.coils:
            active = now.shape[1]
            np.maximum(self.touched[:active], touched.max(axis=0), out=self.touched[:active])
        return here.whole, there.whole

    def _clash(self, before: FloatArray, then: _Table, touched: FloatArray) -> None:
        """Squeezes of coils only push; where they changed over the step, so does what follows from them.

        The squeeze at the step's end is that of the gap which the foretold one leads to, clipped once: a coil that
        stands apart lends its neighbours nothing. It ends this step and begins the next, so the force has no jump.
        """
        squeeze = then.squeeze
        touching = squeeze.max() > 0.0
        if not (touching or self.touching):
            squeeze.fill(0.0)
            return
        led_to = squeeze + self.lent @ (np.maximum(squeeze, 0.0) - before)
        np.maximum(led_to, 0.0, out=led_to)
        np.add(then.moved, self.correction @ (led_to - before), out=then.moved)
        squeeze[:] = led_to
        np.maximum(touched, squeeze, out=touched)
        self.touching = squeeze.max() > 0.0

    def response(self, column: int, rpm: float, start_crank_deg: float, record_from: int) -> Response:
        """What one column did, from the cycle on that is kept."""
        steps, start = int(self.steps[column]), int(self.starts[column])
        first = min(record_from, self.cycles - 1) * steps
        part = slice(first, self.cycles * steps)
        gear_force, seat_force, lift = self.history[:, column, part].astype(np.float64)
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
