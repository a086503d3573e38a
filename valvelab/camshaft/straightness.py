"""Straightness of the axis through the journal centres: least-squares line and minimum-zone cylinder.

Centres are vectors across the shaft at positions along it; slopes are small, so distances are taken across the axis.
Sources: ISO 12780-1 (reference lines), ISO 1101 (cylindrical zone).
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray, finite, read_only
from valvelab.camshaft.zone import solve
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

_ROUNDS = 500


@frozen
class AxisLine:
    """A line along the shaft and what the centres do about it.

    `at_zero_mm`, `slope`: shape (2,), the line's place at position 0 and its change per mm. `offsets_mm`: shape
    (n, 2), centre minus line. `zone_mm`: diameter of the cylinder about the line that holds every centre.
    `weights`: shape (n, 2), how the zone changes with each centre coordinate.
    """

    at_zero_mm: FloatArray
    slope: FloatArray
    offsets_mm: FloatArray
    zone_mm: float
    weights: FloatArray

    @property
    def distances_mm(self) -> FloatArray:
        """Distance of each centre from the line. Shape (stations,)."""
        return np.asarray(np.hypot(self.offsets_mm[:, 0], self.offsets_mm[:, 1]))

    @property
    def worst(self) -> int:
        """Index of the centre farthest off the line."""
        return int(np.argmax(self.distances_mm))


def _checked(position_mm: FloatArray, centres_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    z, centres = finite(position_mm, "position", ndim=1), finite(centres_mm, "centres", ndim=2)
    if centres.shape != (z.size, 2):
        raise CannotEvaluate(
            Reason.BAD_VALUES,
            Phrase("centres: found shape {shape}, expected ({size}, 2)", shape=centres.shape, size=z.size),
        )
    if np.unique(z).size < 3:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase("straightness: found {size} positions along the axis, expected 3", size=np.unique(z).size),
        )
    return z, centres


def least_squares_axis(position_mm: FloatArray, centres_mm: FloatArray) -> AxisLine:
    """Least-squares line through the centres; its zone is twice the largest distance from it.

    position_mm: shape (n,); centres_mm: shape (n, 2). Refuses fewer than three positions.
    """
    z, centres = _checked(position_mm, centres_mm)
    design = np.column_stack([np.ones(z.size), z - z.mean()])
    gain = np.linalg.pinv(design)
    line = gain @ centres
    offsets = centres - design @ line
    distances = np.hypot(offsets[:, 0], offsets[:, 1])
    worst = int(np.argmax(distances))
    toward = offsets[worst] / max(float(distances[worst]), 1e-300)
    share = -design[worst] @ gain
    share[worst] += 1.0
    return AxisLine(
        at_zero_mm=line[0] - line[1] * z.mean(),
        slope=line[1],
        offsets_mm=read_only(offsets),
        zone_mm=2.0 * float(distances[worst]),
        weights=read_only(2.0 * share[:, None] * toward),
    )


def minimum_zone_axis(position_mm: FloatArray, centres_mm: FloatArray) -> AxisLine:
    """Cylinder of least diameter that holds every centre; its axis is the line.

    position_mm: shape (n,); centres_mm: shape (n, 2). The largest distance is convex in the line, so tangent planes
    bound it from below: a linear programme finds the line for the planes so far, new tangents are laid where it
    fails, until the bound meets the cylinder found to 1e-10 of it. Refuses fewer than three positions.
    """
    z, centres = _checked(position_mm, centres_mm)
    start = least_squares_axis(z, centres)
    scale = 0.5 * start.zone_mm
    if scale <= 1e-12 * max(float(np.abs(centres).max()), 1e-300):
        return start
    middle = float(z.mean())
    reach = float(np.abs(z - middle).max())
    line, radius, weights = _smallest_cylinder((z - middle) / reach, start.offsets_mm / scale)
    slope = start.slope + scale * line[1] / reach
    at_zero = start.at_zero_mm + scale * (line[0] - line[1] * middle / reach)
    offsets = centres - at_zero - z[:, None] * slope
    return AxisLine(at_zero, slope, read_only(offsets), 2.0 * scale * radius, read_only(2.0 * weights))


def _smallest_cylinder(along: FloatArray, points: FloatArray) -> tuple[FloatArray, float, FloatArray]:
    """Line (place, slope) of least largest distance, that distance, and its change with each coordinate.

    along: shape (n,), within ±1; points: shape (n, 2), within about ±1.
    """
    turns = np.radians(np.arange(0.0, 360.0, 45.0))
    index = np.repeat(np.arange(along.size), turns.size)
    normals = np.tile(np.column_stack([np.cos(turns), np.sin(turns)]), (along.size, 1))
    cost = np.asarray([0.0, 0.0, 0.0, 0.0, 1.0])
    best, best_line, weights = np.inf, np.zeros((2, 2)), np.zeros(points.shape)
    for _ in range(_ROUNDS):
        # u·(c − p − q z) ≤ t for every tangent direction u of every centre c; unknowns p, q, t
        matrix = np.column_stack([-normals, -normals * along[index][:, None], -np.ones(index.size)])
        x, marginals = solve(cost, matrix, -np.einsum("ij,ij->i", normals, points[index]))
        line, bound = x[:4].reshape(2, 2), float(x[4])
        offsets = points - line[0] - along[:, None] * line[1]
        distances = np.hypot(offsets[:, 0], offsets[:, 1])
        if distances.max() < best:
            best, best_line = float(distances.max()), line
            weights = np.zeros(points.shape)
            np.add.at(weights, index, -marginals[:, None] * normals)
        if best - bound <= 1e-10 * best:
            break
        far = np.flatnonzero(distances > bound)
        index = np.concatenate([index, far])
        normals = np.vstack([normals, offsets[far] / distances[far][:, None]])
    return best_line, best, weights
