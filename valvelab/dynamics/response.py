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
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from valvelab.arrays import FloatArray, IntArray, finite
from valvelab.dynamics.model import ValveGear, matrices
from valvelab.dynamics.propagator import propagator
from valvelab.errors import CannotEvaluate, Reason, ValvelabError
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

STEP_RADIANS = 0.4
"""Step times the valve's frequency on gear and seat; the error it leaves is told in tests/benchmarks."""
COARSEST_RADIANS = 1.0
FEWEST_STEPS = 480
"""Steps of the shortest cycle."""
AT_ONCE = 32
"""Steps between two looks at the cam."""
KEPT_AT_ONCE = 16 * AT_ONCE
"""Steps whose columns are kept together."""
Tell = Callable[[float], bool]
"""Told the share that is done; False ends the work."""


class Stopped(ValvelabError):
    """The work was ended by the one who asked for it."""

    def __init__(self) -> None:
        super().__init__("the dynamic model was stopped")


@frozen(slots=False)
class Drive:
    """What the cam asks of the valve over one cycle, evenly spaced: lift without lash (mm) and slope by crank deg.

    drive_mm, slope_mm_per_crank_deg: (n,) at n even steps of a 720 deg cycle that begin with the valve shut at
    `start_crank_deg`; the last leads back to the first. Between them lift is the cubic that has their slopes.
    """

    start_crank_deg: float
    drive_mm: FloatArray
    slope_mm_per_crank_deg: FloatArray

    @cached_property
    def _cubics(self) -> FloatArray:
        """Coefficients by powers of the share of a step, (4, n)."""
        y, v = self.drive_mm, self.slope_mm_per_crank_deg * (720.0 / self.drive_mm.size)
        rise, after = np.roll(y, -1) - y, np.roll(v, -1)
        return np.stack([y, v, 3.0 * rise - 2.0 * v - after, v + after - 2.0 * rise])

    def over_cycle(self, steps: int) -> tuple[FloatArray, FloatArray]:
        """Lift, mm, and slope, mm/crank deg, at so many even steps of the cycle, (steps,) each."""
        size = self.drive_mm.size
        place = np.arange(steps) * (size / steps)
        row = np.minimum(place.astype(np.intp), size - 1)
        t = place - row
        y, v, square, cube = self._cubics.take(row, axis=1)
        bend = t * cube
        return y + t * (v + t * (square + bend)), (v + t * (2.0 * square + 3.0 * bend)) * (size / 720.0)


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
        raise CannotEvaluate(Reason.OUT_OF_RANGE, Phrase("crank speeds: expected all above 0 rpm"))
    step = step_needed(gear, float(speeds.max())) if step_s is None else step_s
    if step * _contact_frequency(gear) > COARSEST_RADIANS:
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE,
            Phrase("steps of {step} µs are too coarse for so stiff a gear", step=f"{1000000.0 * step:.0f}"),
        )
    steps = np.maximum(np.rint(120.0 / (speeds * step)), 2.0).astype(np.intp)
    # the slowest come first, so that those whose cycles are over leave the batch at its end
    order = np.argsort(-steps, kind="stable")
    each = drives if isinstance(drives, list) else [drives] * speeds.size
    march = _March(gear, [each[i] for i in order], steps[order], step, cycles, record_from)
    march.run(keep_state=keep_state, tell=tell)
    return (
        march.response(column, float(speed), drive.start_crank_deg)
        for column, speed, drive in zip(np.argsort(order).tolist(), speeds, each, strict=True)
    )


_ABOVE, _BELOW = 7, 7
"""Rows of a table above the state and below it."""


@frozen
class _Table:
    """The rows of a table by what they are, each with a column for every speed.

    undamped, closing, damping: what gear and seat push by their squeeze alone, how fast it closes, and the damping that
    so much squeeze brings. foretold: the force on the valve, beyond gear and preload that are held shut, as the step
    before took it for its end. velocity, position: of the nodes; below: position of what lies under each, the last on
    the spring's seat. pushed: by gear and seat. cam: the lift and the speed that it asks for by the next table, and how
    much more force they ask of the gear by then. one: ones.

    The rows `carried` give the next table's rows `moved` by one product; what is pushed follows from those.
    """

    undamped: FloatArray
    closing: FloatArray
    damping: FloatArray
    foretold: FloatArray
    velocity: FloatArray
    position: FloatArray
    below: FloatArray
    pushed: FloatArray
    cam: FloatArray
    one: FloatArray
    moved: FloatArray
    carried: FloatArray

    @staticmethod
    def size(nodes: int) -> int:
        """How many rows the table of so many nodes has."""
        return _ABOVE + 2 * nodes + _BELOW

    @staticmethod
    def of(table: FloatArray) -> _Table:
        """The rows of a table, or of many at once: (…, rows, columns)."""
        seat = table.shape[-2] - _BELOW
        nodes = (seat - _ABOVE) // 2
        return _Table(
            undamped=table[..., 0:2, :],
            closing=table[..., 2:4, :],
            damping=table[..., 4:6, :],
            foretold=table[..., 6, :],
            velocity=table[..., _ABOVE : _ABOVE + nodes, :],
            position=table[..., _ABOVE + nodes : seat, :],
            below=table[..., _ABOVE + nodes + 1 : seat + 1, :],
            pushed=table[..., seat + 1 : seat + 3, :],
            cam=table[..., seat + 3 : seat + 6, :],
            one=table[..., seat + 6, :],
            moved=table[..., :seat, :],
            carried=table[..., 6:, :],
        )


class _March:
    """The steps of one batch; its columns are speeds, sorted so that the longest cycles come first."""

    def __init__(
        self, gear: ValveGear, drives: list[Drive], steps: IntArray, step_s: float, cycles: int, record_from: int
    ) -> None:
        self.gear, self.parts, self.steps = gear, matrices(gear), steps
        self.nodes = self.parts.mass.size
        self.cycles, self.step_s, self.record_from = cycles, step_s, min(record_from, cycles - 1)
        self.damping = np.array([[gear.gear_damping], [gear.seat_damping]])
        # each cycle goes on into the next one, so that steps taken at once follow each other
        self.starts = np.concatenate([[0], np.cumsum(steps + AT_ONCE)])
        #: lift that the cam asks for, and its speed
        self.drive = np.empty((2, self.starts[-1]))
        for start, count, drive in zip(self.starts.tolist(), steps.tolist(), drives, strict=False):
            lift, slope = drive.over_cycle(count)
            for along, values in zip(self.drive, (lift, slope * (720.0 / (count * step_s))), strict=True):
                along[start : start + count] = values
                along[start + count : start + count + AT_ONCE] = np.resize(values, AT_ONCE)
        self.moving, self.clashing, self.lent = self._matrices()
        #: of every so many steps, the first column that is kept, and gear force, seat force and lift of that and later
        #: ones, single precision, which is a thousandth of what the step leaves
        self.history: list[tuple[int, NDArray[np.float32]]] = []
        #: squeezes of coils at a step's start, and below them at its end
        self.squeezes = np.zeros((2 * self.nodes, steps.size))
        self.touched = np.zeros((self.nodes, steps.size))
        self.touching = False
        self.states: FloatArray | None = None

    def _matrices(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """The product's matrix, and what squeezes of coils at a step's start and end add to its rows and to gaps."""
        gear, nodes = self.gear, self.nodes
        step = propagator(gear, self.parts, self.step_s)
        start, end = step.start[:, :1], step.end[:, :1]
        # each row by itself, and what becomes of it
        rows = np.eye(_Table.size(nodes))
        now, then = _Table.of(rows), _Table.of(np.zeros_like(rows))
        force = gear.stiffness_n_per_mm * now.position[0] + gear.gear_damping * now.velocity[0]
        force = force + now.pushed.sum(axis=0) - gear.spring.seat_force_n * now.one
        then.foretold[:] = force + now.cam[2]
        right = np.vstack([now.position, now.velocity]) + end * (force - now.foretold)
        self._follow(then, step.state @ right + start * force + end * then.foretold, now.cam, now.one)
        clash = _Table.of(np.zeros((rows.shape[0], 2 * nodes)))
        self._follow(clash, np.hstack([step.start[:, 1:], step.end[:, 1:]]), np.zeros((3, 1)), np.zeros(1))
        moving = then.moved[:, -now.carried.shape[0] :].copy()
        return moving, clash.moved, clash.position - clash.below

    def _follow(self, table: _Table, state: FloatArray, cam: FloatArray, one: FloatArray) -> None:
        """Lay a state into a table, and what gear and seat ask for by it."""
        gear, x, v = self.gear, state[0], state[self.nodes]
        table.position[:], table.velocity[:] = state[: self.nodes], state[self.nodes :]
        table.undamped[0] = gear.stiffness_n_per_mm * (cam[0] - gear.lash_mm * one - x)
        table.undamped[1] = gear.seat_stiffness * (gear.seat_squeeze_mm * one - x)
        table.closing[:] = cam[1] - v, -v
        # damping fades in with the squeeze, so that the force has no jump where contact begins
        table.damping[:] = self.damping / gear.spring.seat_force_n * table.undamped

    def _at_rest(self) -> FloatArray:
        """The table in balance at the start.

        The force on the valve falls with its lift and is the greatest of four straight lines, by which of gear and seat
        push, so that balance is the greatest lift at which one of them comes to nothing.
        """
        gear, asked = self.gear, self.drive[0, self.starts[:-1]] - self.gear.lash_mm
        stiffness, seat, spring = gear.stiffness_n_per_mm, gear.seat_stiffness, gear.spring
        by_gear = (stiffness * asked - spring.seat_force_n) / (stiffness + spring.rate_n_per_mm)
        by_both = stiffness * asked / (stiffness + seat + spring.rate_n_per_mm)
        x = np.maximum(np.maximum(by_gear, by_both), 0.0)
        push = stiffness * np.maximum(asked - x, 0.0) + seat * np.maximum(gear.seat_squeeze_mm - x, 0.0)
        whole = np.zeros((_Table.size(self.nodes), asked.size))
        table = _Table.of(whole)
        table.position[:] = (1.0 - np.arange(self.nodes) / self.nodes)[:, None] * x
        table.pushed[0] = push
        table.foretold[:] = gear.stiffness_n_per_mm * x - gear.spring.seat_force_n + push
        table.one[:] = 1.0
        return whole

    def run(self, *, keep_state: bool, tell: Tell | None) -> None:
        """March to the end of the longest cycles."""
        last = self._at_rest()
        room = np.empty((AT_ONCE + 1) * last.size)
        whole, every, tables = last[None, :, :0], _Table.of(last[None]), list[_Table]()
        longest = self.cycles * int(self.steps[0])
        held = self._held(self.drive[:, None, self.starts[:-1]])
        if keep_state:
            self.states = np.empty((longest, 2 * self.nodes, self.steps.size))
        for done in range(0, longest, AT_ONCE):
            if tell is not None and not tell(done / longest):
                raise Stopped
            count = min(AT_ONCE, longest - done)
            active = int(np.searchsorted(-self.cycles * self.steps, -done, side="left"))
            if active != whole.shape[2]:
                last = last[:, :active].copy()
                whole = room[: (AT_ONCE + 1) * last.size].reshape(AT_ONCE + 1, *last.shape)
                every, tables = _Table.of(whole), [_Table.of(table) for table in whole]
                every.below[:, -1], every.one[:] = 0.0, 1.0
            whole[0] = last
            places = self.starts[:active] + (done + 1) % self.steps[:active] + np.arange(count)[:, None]
            cam = self.drive.take(places, axis=1)
            held = np.concatenate([held[-1:, :active], self._held(cam)])
            every.cam[:count, :2], every.cam[:count, 2] = cam.transpose(1, 0, 2), np.diff(held, axis=0)
            self._some(tables[: count + 1])
            last, led_to = whole[count], slice(1, count + 1)
            self._keep(done, every.pushed[led_to], every.position[led_to, 0])
            if self.states is not None:
                states = self.states[done : done + count, :, :active]
                states[:, : self.nodes], states[:, self.nodes :] = every.position[led_to], every.velocity[led_to]

    def _held(self, cam: FloatArray) -> FloatArray:
        """What the cam asks of the gear's spring and damper if the valve stands still, but for a constant."""
        return np.asarray(self.gear.stiffness_n_per_mm * cam[0] + self.gear.gear_damping * cam[1])

    def _keep(self, done: int, pushed: FloatArray, lift: FloatArray) -> None:
        """Take what some steps gave into the history."""
        active, within = lift.shape[1], done % KEPT_AT_ONCE
        if within == 0:
            after = -(done + KEPT_AT_ONCE)
            first = min(int(np.searchsorted(-self.record_from * self.steps, after, side="right")), active)
            self.history.append((first, np.empty((3, active - first, KEPT_AT_ONCE), np.float32)))
        first, kept = self.history[-1]
        part = kept[:, : active - first, within : within + lift.shape[0]]
        part[:2], part[2] = pushed[:, :, first:].transpose(1, 2, 0), lift[:, first:].T

    def _some(self, tables: list[_Table]) -> None:
        """Some steps of the columns that still run, from each table to the next."""
        nothing = np.zeros_like(tables[0].pushed)
        most = self.damping + nothing
        gap = self.parts.element_gap_mm
        gaps = np.zeros_like(tables[0].position)
        for here, there in pairwise(tables):
            np.matmul(self.moving, here.carried, out=there.moved)
            if gap < math.inf:
                np.subtract(there.position, there.below, out=gaps)
                if self.touching or gaps.item(gaps.argmax()) > gap:
                    self._clash(there, gaps)
            damped = there.damping
            np.maximum(damped, nothing, out=damped)
            np.minimum(damped, most, out=damped)
            np.multiply(damped, there.closing, out=damped)
            np.add(damped, there.undamped, out=damped)
            np.maximum(damped, nothing, out=there.pushed)

    def _clash(self, table: _Table, gaps: FloatArray) -> None:
        """What coils that touch add over the step; their force is linear between the squeezes at its ends.

        The squeeze at the step's end is that of the gap which the foretold one leads to, clipped once: a coil that
        stands apart lends its neighbours nothing. It ends this step and begins the next, so the force has no jump.
        """
        gaps -= self.parts.element_gap_mm
        near = self._near(gaps)
        self.touching = near is not None
        if near is None:
            return
        both, gaps, moved, touched = self.squeezes[:, near], gaps[:, near], table.moved[:, near], self.touched[:, near]
        start, end = both[: self.nodes], both[self.nodes :]
        # they are the same as yet: foretold is what comes of a force that does not change
        for _ in range(2):
            np.maximum(gaps + self.lent @ both, 0.0, out=end)
        np.add(moved, self.clashing @ both, out=moved)
        np.maximum(touched, end, out=touched)
        start[:] = end

    def _near(self, gaps: FloatArray) -> slice | None:
        """Those columns among which all lie whose coils touch or did."""
        held = self.squeezes[: self.nodes, : gaps.shape[1]]
        columns = (np.maximum(gaps, held).max(axis=0) > 0.0).nonzero()[0]
        return slice(columns[0], columns[-1] + 1) if columns.size else None

    def response(self, column: int, rpm: float, start_crank_deg: float) -> Response:
        """What one column did, from the cycle on that is kept."""
        steps, start = int(self.steps[column]), int(self.starts[column])
        part = slice(self.record_from * steps, self.cycles * steps)
        pieces = []
        for number in range(part.start // KEPT_AT_ONCE, -(-part.stop // KEPT_AT_ONCE)):
            (first, kept), passed = self.history[number], number * KEPT_AT_ONCE
            pieces.append(kept[:, column - first, max(part.start - passed, 0) : part.stop - passed])
        gear_force, seat_force, lift = np.concatenate(pieces, axis=1, dtype=np.float64)
        turns = lift.size // steps
        angle = start_crank_deg + np.arange(1, steps + 1) * (720.0 / steps)
        return Response(
            rpm=rpm,
            steps=steps,
            crank_deg=np.tile(angle, turns),
            drive_mm=np.tile(self.drive[0, start + 1 : start + 1 + steps], turns),
            lift_mm=lift,
            gear_force_n=gear_force,
            seat_force_n=seat_force,
            coil_squeeze_mm=float(self.touched[:, column].max()),
            state=None if self.states is None else self.states[part, :, column],
        )
