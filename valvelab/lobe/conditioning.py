"""From readings as measured to readings fit for fitting: unwrapping, folding, outliers.

Nothing is altered: an outlier is left out and listed, isolated readings beside an event are set aside and said.
Source: own method; robust standard deviation by the median of absolute deviations, textbook.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from valvelab.angles import first_turning, fold
from valvelab.arrays import BoolArray, FloatArray, distinct, finite, median, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.lobe.division import find_division
from valvelab.lobe.presence import refuse_no_lobe
from valvelab.lobe.trace import Trace
from valvelab.phrase import Phrase

FEWEST_READINGS = 16
# No lobe lifts this far; squares of larger numbers would leave the range of numbers.
LARGEST_LIFT_MM = 1e4
# A turn with a larger hole is an event-only sweep.
LARGEST_HOLE_CAM_DEG = 45.0
# Outliers: this many scaled MADs, and never less than this lift or so many divisions of the gauge.
OUTLIER_MADS = 6.0
OUTLIER_FLOOR_MM = 1e-3
OUTLIER_DIVISIONS = 2.0
_REACH = 7
_NOTHING_MM = 1e-9


@frozen
class Turn:
    """One turn or sweep: the sweep of the table that it belongs to, where it begins (cam deg, folded) and its sense.

    sense: 1 where angles ascend, −1 where they fall. closing_mm: (lobes,) by how much the readings at its end stand
    above those a turn before, NaN where left out; None where the turn is not closed. pairs: how many those are.
    """

    given: int
    begins_cam_deg: float
    sense: int
    closing_mm: FloatArray | None = None
    pairs: int = 0


@frozen
class Conditioned:
    """Readings of lobes that share their angles.

    angle_cam_deg: (n,), ascending; folded onto [0, 360) when `periodic`, unwrapped for an event-only sweep.
    lifts_mm, kept: (lobes, n); `kept` is False for outliers. sweep: (n,) turn or sweep of each reading, from 0.
    grid: (n,) cell of a uniform turn of `cells` readings starting at `grid_start`, or None.
    set_aside: readings left out because they stand far from the event. division_mm: the gauge's, 0 where it has none.
    turns: one for each number in `sweep`.
    """

    names: tuple[str, ...]
    angle_cam_deg: FloatArray
    lifts_mm: FloatArray
    kept: BoolArray
    sweep: NDArray[np.int64]
    periodic: bool
    grid: NDArray[np.int64] | None
    cells: int
    grid_start: float
    set_aside: int
    division_mm: float = 0.0
    turns: tuple[Turn, ...] = ()

    @property
    def sweeps(self) -> int:
        """How many sweeps or turns."""
        return int(self.sweep.max()) + 1


def group(traces: tuple[Trace, ...]) -> list[tuple[Trace, ...]]:
    """Traces that share their angles and sweeps, so that they can be fitted in one pass; order is kept."""
    groups: dict[tuple[bytes, bytes], list[Trace]] = {}
    seen: dict[tuple[int, int], tuple[bytes, bytes]] = {}
    for trace in traces:
        address = (id(trace.angle_cam_deg), id(trace.sweep))
        if address not in seen:
            seen[address] = (trace.angle_cam_deg.tobytes(), b"" if trace.sweep is None else trace.sweep.tobytes())
        groups.setdefault(seen[address], []).append(trace)
    return [tuple(members) for members in groups.values()]


def condition(traces: tuple[Trace, ...], division_mm: float | None = None) -> Conditioned:
    """Unwrap, check, fold and sort the readings of lobes that share their angles, and flag outliers.

    division_mm: the gauge's as stated; None looks for it in the readings.
    Refused: fewer than 16 readings, values not finite or beyond any lobe, angles that do not run one way
    within a sweep, lift that is no lobe. Raises CannotEvaluate.
    """
    first = traces[0]
    angle = finite(first.angle_cam_deg, f"lobe {first.name}, angle", 1)
    lifts = np.stack([finite(trace.lift_mm, f"lobe {trace.name}, lift", 1) for trace in traces])
    if angle.size < FEWEST_READINGS:
        found = Phrase("lobe {name}: found {size} readings", name=first.name, size=angle.size)
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase("{found}, expected {fewest} or more", found=found, fewest=FEWEST_READINGS),
        )
    row, at = np.unravel_index(int(np.argmax(np.abs(lifts))), lifts.shape)
    if abs(lifts[row, at]) > LARGEST_LIFT_MM:
        found = Phrase(
            "lobe {name}, reading {at}: found a lift of {lifts} mm",
            name=traces[row].name,
            at=at + 1,
            lifts=f"{lifts[row, at]:g}",
        )
        raise CannotEvaluate(
            Reason.BAD_VALUES,
            Phrase("{found}, expected at most {most} mm", found=found, most=f"{LARGEST_LIFT_MM:g}"),
        )
    given = np.zeros(angle.size, dtype=np.int64) if first.sweep is None else first.sweep
    unwrapped, sweep = _unwrap(angle, given, first.name)
    division = find_division(lifts) if division_mm is None else division_mm
    kept = ~_outliers(unwrapped, lifts, given, division)
    arranged = _arrange(tuple(trace.name for trace in traces), unwrapped, lifts, kept, sweep)
    turns = _turns(unwrapped, np.where(kept, lifts, np.nan), given, sweep)
    refuse_no_lobe(arranged.names, arranged.angle_cam_deg, np.where(arranged.kept, arranged.lifts_mm, np.nan))
    return replace(arranged, division_mm=division, turns=turns)


def _unwrap(angle: FloatArray, given: NDArray[np.int64], name: str) -> tuple[FloatArray, NDArray[np.int64]]:
    """Angles without jumps, running one way within each sweep, and a number for every turn."""
    result = np.empty_like(angle)
    turns = np.zeros(angle.size, dtype=np.int64)
    count = 0
    for number in distinct(given):
        rows = np.flatnonzero(given == number)
        part = np.unwrap(angle[rows], period=360.0)
        k = first_turning(angle[rows])
        if k is not None:
            raise CannotEvaluate(
                Reason.BAD_VALUES,
                Phrase(
                    "lobe {name}, reading {count}: found angle {angle} after {before}, expected angles that "
                    "run one way within a sweep",
                    name=name,
                    count=int(rows[k]) + 1,
                    angle=f"{angle[rows[k]]:g}",
                    before=f"{angle[rows[k - 1]]:g}",
                ),
            )
        result[rows] = part
        along = np.abs(part - part[0])
        turn = np.floor(along / 360.0 + 1e-9).astype(np.int64)
        # a few readings past a whole turn close the turn that they end
        whole = int(turn.max())
        past = int((turn == whole).sum())
        if whole and past < min(FEWEST_READINGS, 0.5 * int((turn == whole - 1).sum())):
            turn = np.minimum(turn, whole - 1)
        turns[rows] = count + turn
        count += int(turn.max()) + 1
    return result, turns


def _turns(
    unwrapped: FloatArray, lifts: FloatArray, given: NDArray[np.int64], sweep: NDArray[np.int64]
) -> tuple[Turn, ...]:
    """Every turn, with what the readings that close it show; lifts: (lobes, n), NaN where left out."""
    turns = []
    for number in range(int(sweep.max()) + 1):
        rows = np.flatnonzero(sweep == number)
        along = np.abs(unwrapped[rows] - unwrapped[rows[0]])
        sense = 1 if unwrapped[rows[-1]] >= unwrapped[rows[0]] else -1
        slack = 0.02 * float(median(np.diff(along))) if along.size > 1 else 0.0
        again = np.flatnonzero(along >= 360.0 - slack)
        before = np.searchsorted(along, along[again] - 360.0 - slack)
        same = np.abs(along[before] - (along[again] - 360.0)) <= slack
        again, before = again[same], before[same]
        closing = None
        if again.size:
            closing = read_only((lifts[:, rows[again]] - lifts[:, rows[before]]).mean(axis=1))
        turns.append(Turn(int(given[rows[0]]), float(fold(unwrapped[rows[0]])), sense, closing, int(again.size)))
    return tuple(turns)


def _arrange(
    names: tuple[str, ...], unwrapped: FloatArray, lifts: FloatArray, kept: BoolArray, sweep: NDArray[np.int64]
) -> Conditioned:
    folded = fold(unwrapped)
    order = np.argsort(folded, kind="stable")
    ascending = folded[order]
    holes = np.diff(ascending, append=ascending[0] + 360.0)
    if float(holes.max()) <= LARGEST_HOLE_CAM_DEG:
        cells, start, grid = _uniform_grid(ascending)
        return Conditioned(names, ascending, lifts[:, order], kept[:, order], sweep[order], True, grid, cells, start, 0)
    return _event_only(names, ascending, lifts[:, order], kept[:, order], sweep[order])


def _uniform_grid(ascending: FloatArray) -> tuple[int, float, NDArray[np.int64] | None]:
    """Cells of a uniform turn, its first angle, and each reading's cell; None where the readings are uneven."""
    gaps = np.diff(ascending)
    gaps = gaps[gaps > 1e-7]
    if gaps.size == 0:
        return 0, 0.0, None
    cells = round(360.0 / float(median(gaps)))
    if cells < FEWEST_READINGS:
        return 0, 0.0, None
    step = 360.0 / cells
    place = (ascending - ascending[0]) / step
    nearest = np.round(place)
    start = float(ascending[0] + step * np.mean(place - nearest))
    if float(np.abs(place - nearest - np.mean(place - nearest)).max()) > 2e-3:
        return 0, 0.0, None
    grid = np.mod(nearest.astype(np.int64), cells)
    missing = cells - distinct(grid).size
    if missing > 0.02 * cells:
        return 0, 0.0, None
    return cells, start, grid


def _event_only(
    names: tuple[str, ...], ascending: FloatArray, lifts: FloatArray, kept: BoolArray, sweep: NDArray[np.int64]
) -> Conditioned:
    """Keep the unbroken run of readings that holds the nose; far-off readings are set aside."""
    turn = np.concatenate([ascending, ascending + 360.0])
    gaps = np.diff(turn)
    limit = max(10.0, 10.0 * float(median(gaps)))
    n = ascending.size
    # start just after the largest hole, so that no event is cut
    begin = int(np.argmax(gaps[:n])) + 1
    rows = np.mod(np.arange(begin, begin + n), n)
    angles = turn[begin : begin + n]
    breaks = np.flatnonzero(np.diff(angles) > limit) + 1
    runs = np.split(np.arange(n), breaks)
    nose = int(np.argmax(median(lifts[:, rows], axis=0)))
    run = next(run for run in runs if nose in run)
    chosen = rows[run]
    places = int((np.diff(angles[run]) > 1e-7).sum()) + 1
    if places < FEWEST_READINGS:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase(
                "lobe {names}: found readings at {places} angles round the nose, expected {fewest} or more",
                names=names[0],
                places=places,
                fewest=FEWEST_READINGS,
            ),
        )
    ascending_run = angles[run] - 360.0 * np.floor(angles[run[0]] / 360.0)
    return Conditioned(
        names, ascending_run, lifts[:, chosen], kept[:, chosen], sweep[chosen], False, None, 0, 0.0, n - run.size
    )


def _outliers(angle: FloatArray, lifts: FloatArray, given: NDArray[np.int64], division: float) -> BoolArray:
    """Hampel test against a local fit through the four nearest readings, confirmed by a robust one.

    Screening: residual from the cubic through two neighbours on each side, in scaled MADs of its own kind. A resting
    run that repeats one value says nothing of the noise elsewhere: where it makes the MAD 0 it is left out of it.
    """
    flagged = np.zeros(lifts.shape, dtype=np.bool_)
    for number in distinct(given):
        rows = np.flatnonzero(given == number)
        if rows.size < 2 * _REACH + 1:
            continue
        residual = _neighbour_residual(angle[rows], lifts[:, rows])
        scale = np.array([_scaled_mad(row) for row in residual])
        threshold = np.maximum(OUTLIER_MADS * scale, max(OUTLIER_FLOOR_MM, OUTLIER_DIVISIONS * division))
        for lobe, where in zip(*np.nonzero(np.abs(residual) > 0.6 * threshold[:, None]), strict=True):
            spike = _is_spike(angle[rows], lifts[lobe, rows], int(where) + 2, float(threshold[lobe]))
            flagged[lobe, rows[int(where) + 2]] = spike
    return flagged


def _scaled_mad(residual: FloatArray) -> float:
    """Robust standard deviation; where most residuals are nothing at all, that of the rest."""
    mad = float(median(np.abs(residual - median(residual))))
    if mad < _NOTHING_MM:
        moving = residual[np.abs(residual) > _NOTHING_MM]
        mad = float(median(np.abs(moving))) if moving.size else 0.0
    return 1.4826 * mad


def _neighbour_residual(angle: FloatArray, lifts: FloatArray) -> FloatArray:
    """Reading minus the cubic through two neighbours on each side, scaled to the noise of one reading."""
    middle = angle[2:-2]
    offsets = np.stack([angle[:-4], angle[1:-3], angle[3:-1], angle[4:]]) - middle
    offsets = np.where(np.abs(offsets) < 1e-9, 1e-9, offsets)
    weights = np.ones_like(offsets)
    for i in range(4):
        for j in range(4):
            if i != j:
                difference = offsets[j] - offsets[i]
                weights[i] *= offsets[j] / np.where(np.abs(difference) < 1e-9, 1e-9, difference)
    predicted = weights[0] * lifts[:, :-4] + weights[1] * lifts[:, 1:-3]
    predicted = predicted + weights[2] * lifts[:, 3:-1] + weights[3] * lifts[:, 4:]
    return np.asarray((lifts[:, 2:-2] - predicted) / np.sqrt(1.0 + (weights**2).sum(axis=0)))


def _is_spike(angle: FloatArray, lift: FloatArray, k: int, threshold: float) -> bool:
    """Whether one reading stands off a robust local cubic, and no corner in the lift explains it as well."""
    first = min(max(0, k - _REACH), angle.size - 2 * _REACH - 1)
    window = slice(first, first + 2 * _REACH + 1)
    reach = float(angle[window][-1] - angle[window][0])
    if reach == 0.0:
        return False
    x = (angle[window] - angle[k]) / reach
    y = lift[window]
    here = k - first
    cubic = np.vander(x, 4)
    others = np.arange(x.size) != here
    residual = y - cubic @ _robust_fit(cubic[others], y[others])
    if abs(residual[here]) < threshold:
        return False
    clean = np.abs(residual) < max(3.0 * 1.4826 * float(median(np.abs(residual))), 0.3 * threshold)
    clean[here] = True
    spike = np.column_stack([cubic, np.arange(x.size) == here])
    without = _sum_of_squares(spike, y, clean)
    corners = []
    for neighbour in (here - 1, here + 1):
        knots = [x[here], x[min(max(neighbour, 0), x.size - 1)]]
        corner = np.column_stack([cubic, np.abs(x - knots[0]), np.abs(x - knots[1])])
        corners.append(_sum_of_squares(corner, y, clean))
    return without < min(corners) and without < 0.3 * _sum_of_squares(cubic, y, clean)


def _robust_fit(design: FloatArray, y: FloatArray) -> FloatArray:
    """Least squares reweighted six times towards the least absolute deviation."""
    weights: FloatArray = np.ones(y.size)
    solution: FloatArray = np.zeros(design.shape[1])
    for _ in range(6):
        root = np.sqrt(weights)
        solution = np.asarray(np.linalg.lstsq(design * root[:, None], y * root, rcond=None)[0], dtype=np.float64)
        residual = np.abs(y - design @ solution)
        weights = 1.0 / np.maximum(residual, 1e-3 * (float(residual.max()) or 1.0))
    return solution


def _sum_of_squares(design: FloatArray, y: FloatArray, used: BoolArray) -> float:
    solution = np.linalg.lstsq(design[used], y[used], rcond=None)[0]
    return float(((y[used] - design[used] @ solution) ** 2).sum())
