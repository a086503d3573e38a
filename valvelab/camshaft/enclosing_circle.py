"""The smallest circle about points in the plane, exact, from its two or three contacts."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from valvelab.arrays import FloatArray

_SAME = 1e-12
"""Distances that differ by no more than this share of the radius are equal."""


def enclosing_circle(points: FloatArray) -> tuple[FloatArray, float, FloatArray]:
    """Centre, radius, and the share of the radius's change that each point carries.

    points: shape (n, 2), n at least 1; the shares, shape (n,), are 0 off the contacts and sum to 1. The contacts are
    exchanged for the point farthest outside until none is: the radius grows at every exchange, so it ends. Source:
    plane geometry; the circle is fixed by two points of its diameter or by three that surround its centre.
    """
    held: tuple[int, ...] = (0,)
    centre, radius, shares = _through(points[list(held)])
    while True:
        distances = np.hypot(*(points - centre).T)
        farthest = int(np.argmax(distances))
        if distances[farthest] <= radius * (1.0 + _SAME) + np.finfo(np.float64).tiny or farthest in held:
            break
        exchanged = _exchanged(points, held, farthest)
        if exchanged[2] <= radius and len(held) > 1:
            break  # nothing but rounding is left outside
        held, centre, radius, shares = exchanged
    weights = np.zeros(len(points))
    weights[list(held)] = shares
    return centre, float(np.hypot(*(points - centre).T).max()), weights


def _exchanged(
    points: FloatArray, held: tuple[int, ...], new: int
) -> tuple[tuple[int, ...], FloatArray, float, FloatArray]:
    """Smallest circle about the contacts so far and one more point, from the new point and one or two of them."""
    everyone = points[[*held, new]]
    found: list[tuple[bool, float, tuple[int, ...], FloatArray, FloatArray]] = []
    for size in (1, 2):
        for others in combinations(held, size):
            some = (*others, new)
            centre, radius, shares = _through(points[list(some)])
            if shares.min() >= 0.0:
                reach = float(np.hypot(*(everyone - centre).T).max())
                found.append((reach > radius * (1.0 + 10.0 * _SAME), max(reach, radius), some, centre, shares))
    _, radius, some, centre, shares = min(found, key=lambda row: row[:2])
    return some, centre, radius, shares


def _through(points: FloatArray) -> tuple[FloatArray, float, FloatArray]:
    """Circle through one, two (as a diameter) or three points, with each point's share; infinite for a straight row."""
    count = len(points)
    if count < 3:
        centre = points.mean(axis=0)
        return centre, float(np.hypot(*(points[0] - centre))), np.full(count, 1.0 / count)
    (ax, ay), (bx, by) = points[1] - points[0], points[2] - points[0]
    area = 2.0 * (ax * by - ay * bx)
    a, b = ax * ax + ay * ay, bx * bx + by * by
    if abs(area) <= 1e-12 * max(a, b):
        return points.mean(axis=0), float("inf"), np.full(3, -1.0)
    offset = np.asarray([by * a - ay * b, ax * b - bx * a]) / area
    centre = points[0] + offset
    radius = float(np.hypot(*offset))
    outward = (points - centre) / radius
    shares = np.linalg.solve(np.vstack([outward.T, np.ones(3)]), [0.0, 0.0, 1.0])
    return centre, radius, np.where(np.abs(shares) < 1e-12, 0.0, shares)
