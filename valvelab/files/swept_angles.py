"""The angle column of a lift table: cam or crank degrees, one sweep across the zero, and what speaks against it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from valvelab.angles import first_turning, fold
from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile
from valvelab.files.table import Column, Table
from valvelab.frozen import frozen
from valvelab.lobe.conditioning import LARGEST_HOLE_CAM_DEG
from valvelab.lobe.trace import Trace
from valvelab.phrase import Phrase
from valvelab.records.measurement import COMPARISON_LIFT_MM, Doubts
from valvelab.records.result import Note, info, warning
from valvelab.units import INCH_MM, AngleKind

# No trace of one turn of a camshaft runs over more degrees of its own (ours: a turn and some overlap).
LONGEST_TURN_DEG = 400.0
LONGEST_LOBE_CAM_DEG = 180.0
LOWEST_LIFT_MM = 3.0
HIGHEST_LIFT_MM = 60.0

Taken = TypeVar("Taken", bound=np.generic)


@frozen
class LobeReadings:
    """One lobe's readings: rows of the table, lifts in mm and sweep of each, shape (n,) each."""

    name: str
    rows: NDArray[np.intp]
    lift_mm: FloatArray
    sweep: NDArray[np.int64] | None


def taken(values: NDArray[Taken], rows: NDArray[np.intp]) -> NDArray[Taken]:
    """Rows of an array; a view when they follow one another."""
    first, last = int(rows[0]), int(rows[-1])
    return values[first : last + 1] if last - first + 1 == len(rows) else values[rows]


@frozen(slots=False)
class SweptAngles:
    """The angles at which lobes were read."""

    table: Table
    column: Column
    readings: tuple[LobeReadings, ...]

    @cached_property
    def otherwise(self) -> AngleKind:
        """What a column that says neither is read as: crank degrees where a trace runs too far for cam degrees."""
        if self.table.turn(self.column) is not None or not self._too_long:
            return "cam"
        return "cam" if all(repeats(self._degrees_of(one), one.lift_mm) for one in self._too_long) else "crank"

    @cached_property
    def _degrees(self) -> FloatArray:
        """The column as written, in degrees."""
        return self.table.angles_cam_deg(self.column, "crank") * (2.0 if self.table.turn(self.column) is None else 1.0)

    @cached_property
    def _too_long(self) -> list[LobeReadings]:
        longest: dict[tuple[int, int], float] = {}
        for one in self.readings:
            if (shared := (id(one.rows), id(one.sweep))) not in longest:
                degrees = self._degrees_of(one)
                longest[shared] = max(float(np.ptp(degrees[rows])) for rows in _sweep_rows(one.sweep, degrees.size))
        return [one for one in self.readings if longest[id(one.rows), id(one.sweep)] > LONGEST_TURN_DEG]

    def _degrees_of(self, one: LobeReadings) -> FloatArray:
        """The angles of one lobe as written, in degrees."""
        return taken(self._degrees, one.rows)

    def traces(self, notes: list[Note], *, reverse: bool) -> tuple[Trace, ...]:
        """One trace a lobe, in cam degrees of the running sense; lobes read at the same angles share the array.

        Refuses angles that turn back within a sweep, in the file's own unit. `notes` grows.
        """
        notes += self._kind_notes()
        angles = self.table.angles_cam_deg(self.column, self.otherwise)
        angles = read_only(-angles) if reverse else angles
        traces: list[Trace] = []
        known: dict[int, tuple[LobeReadings, FloatArray, NDArray[np.intp] | None]] = {}
        shared: FloatArray | None = None
        for one in self.readings:
            if id(one.rows) in known and known[id(one.rows)][0].sweep is one.sweep:
                _, own, order = known[id(one.rows)]
            else:
                own = read_only(taken(angles, one.rows))
                order = self._across_zero(one, own)
                own = own if order is None else read_only(own[order])
                if order is not None:
                    notes.append(
                        info(
                            self.table.file,
                            Phrase("lobe {name}: sorted across 0; read as one sweep over it", name=one.name),
                        )
                    )
                self._refuse_turning(one, own, order)
                own = shared if shared is not None and np.array_equal(own, shared) else own
                known[id(one.rows)] = one, own, order
            shared = own
            lift = one.lift_mm if order is None else read_only(one.lift_mm[order])
            traces.append(Trace(one.name, own, lift, one.sweep))
        return tuple(traces)

    def _kind_notes(self) -> list[Note]:
        if not self._too_long or self.table.turn(self.column) is not None:
            return []
        one = self._too_long[0]
        span = float(np.ptp(self._degrees_of(one)))
        about = Phrase("column {value} does not say cam or crank degrees", value=self.column.title or self.column.index)
        if self.otherwise == "crank":
            text = Phrase(
                "{about}; lobe {name} runs over {span} degrees, so it is read as crank deg",
                about=about,
                name=one.name,
                span=f"{span:g}",
            )
        else:
            text = Phrase(
                "{about}; lobe {name} repeats after 360 degrees, so it is read as several turns in cam deg",
                about=about,
                name=one.name,
            )
        return [warning(self.table.file, text)]

    def _across_zero(self, one: LobeReadings, angle: FloatArray) -> NDArray[np.intp] | None:
        """An order in which every sweep runs over the zero, where one was sorted with its event cut there.

        Such a sweep runs one way over less than a turn, with a hole of more than half a turn in it.
        """
        orders = [_rolled(angle, rows) for rows in _sweep_rows(one.sweep, angle.size)]
        if all(order is None for order in orders):
            return None
        result = np.arange(angle.size)
        for rows, order in zip(_sweep_rows(one.sweep, angle.size), orders, strict=True):
            result[rows] = rows if order is None else order
        return result

    def _refuse_turning(self, one: LobeReadings, angle: FloatArray, order: NDArray[np.intp] | None) -> None:
        for rows in _sweep_rows(one.sweep, angle.size):
            at = first_turning(angle[rows])
            if at is None:
                continue
            reading = [int(rows[at - 1]), int(rows[at])]
            before, here = (int(one.rows[k if order is None else order[k]]) for k in reading)
            unit = self.column.unit or "deg"
            written = [self._written(row) for row in (before, here)]
            raise BadFile(
                self.table.file,
                self.table.place(here, self.column),
                f"lobe {one.name} at {written[1]:g} {unit} after {written[0]:g} {unit}",
                "angles that run one way within a sweep",
            )

    def _written(self, row: int) -> float:
        per_unit = self.table.cam_deg_per_unit(self.column, "cam")
        return float(self.table.angles_cam_deg(self.column, "crank")[row]) / (
            per_unit if self.table.turn(self.column) is not None else 0.5 * per_unit
        )


def repeats(degrees: FloatArray, lift: FloatArray) -> bool:
    """Whether lifts come again after 360 degrees as written: then these are cam degrees of several turns; (n,) each."""
    order = np.argsort(degrees, kind="stable")
    start, stop = float(degrees.min()), float(degrees.max()) - 360.0
    grid = np.arange(start, min(stop, start + 360.0), 1.0)
    first, again = (np.interp(grid + turn, degrees[order], lift[order]) for turn in (0.0, 360.0))
    size = float(np.ptp(lift))
    return float(np.ptp(first)) > 0.5 * size and float(np.abs(first - again).max()) < 0.1 * size


def _sweep_rows(sweep: NDArray[np.int64] | None, size: int) -> list[NDArray[np.intp]]:
    if sweep is None:
        return [np.arange(size)]
    return [np.flatnonzero(sweep == number) for number in range(int(sweep.max()) + 1)]


def _rolled(angle: FloatArray, rows: NDArray[np.intp]) -> NDArray[np.intp] | None:
    """The rows of a sweep from behind its hole on; None where nothing is cut."""
    steps = np.diff(angle[rows])
    if not steps.size or not (np.all(steps >= 0.0) or np.all(steps <= 0.0)) or abs(float(steps.sum())) >= 360.0:
        return None
    hole = int(np.argmax(np.abs(steps)))
    return None if abs(float(steps[hole])) <= 180.0 else np.roll(rows, -(hole + 1))


def doubts_of(traces: Sequence[Trace], bare: Sequence[Trace], *, angle_stated: bool, taken_as: AngleKind) -> Doubts:
    """What speaks against angles or lifts without a unit; `bare` are the traces whose lifts have none.

    A camshaft's lobe lasts less than 180 cam deg at 1.27 mm and lifts 3 mm or more (common practice, no source).
    """
    lift = ""
    highest = max((float(trace.lift_mm.max()) for trace in bare), default=0.0)
    if bare and not LOWEST_LIFT_MM <= highest <= HIGHEST_LIFT_MM:
        lift = (
            f"lifts carry no unit and were read as mm, but the highest is {highest:.4g}; state it in the header: "
            "lift [mm], [in] or [um]"
        )
    if angle_stated or taken_as == "crank":
        return Doubts("", lift)
    level = COMPARISON_LIFT_MM / INCH_MM if lift and highest < LOWEST_LIFT_MM else COMPARISON_LIFT_MM
    longest, name = max((lasting(trace, level), trace.name) for trace in traces)
    if longest <= LONGEST_LOBE_CAM_DEG:
        return Doubts("", lift)
    angle = (
        f"angles do not say cam or crank degrees and were read as cam deg, but lobe {name} would last {longest:.0f} "
        "cam deg at 1.27 mm; state it in the header: angle [cam deg] or [crank deg]"
    )
    return Doubts(angle, lift)


def lasting(trace: Trace, level_mm: float) -> float:
    """Cam degrees round the nose over which the lift is above `level_mm`, straight between the readings."""
    folded = fold(trace.angle_cam_deg)
    order = np.argsort(folded, kind="stable")
    angle, lift = folded[order], trace.lift_mm[order]
    above = lift - np.median(np.sort(lift)[: max(1, lift.size // 20)]) - level_mm
    nose = int(np.argmax(lift))
    if above[nose] <= 0.0:
        return 0.0
    after = _until_below(np.roll(angle, -nose), np.roll(above, -nose))
    before = _until_below(-np.roll(angle, -nose - 1)[::-1], np.roll(above, -nose - 1)[::-1])
    return min(360.0, after + before)


def _until_below(angle: FloatArray, above: FloatArray) -> float:
    """Degrees from the first reading to where `above` falls through 0, or to a hole; 360 where it never does."""
    steps = np.diff(angle) % 360.0
    ends = np.flatnonzero((above[1:] <= 0.0) | (steps > LARGEST_HOLE_CAM_DEG))
    if not ends.size:
        return 360.0
    end = int(ends[0])
    whole = float(steps[:end].sum())
    if steps[end] > LARGEST_HOLE_CAM_DEG:
        return whole
    return whole + float(steps[end] * above[end] / (above[end] - above[end + 1]))
