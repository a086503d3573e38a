"""Rows that whole numbers of sets obey and their relaxation does not: mixed-integer rounding of what sets must take.

A set from a window takes at least `size` minus the springs it finds outside a group, from inside the group; all sets
together take no more than the group has (Hall's condition). Divided and rounded for whole numbers of sets (Nemhauser
and Wolsey, Integer and Combinatorial Optimization, II.1.6, from memory) this cuts off points of the relaxation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.tray import Units
from valvelab.sets.windows import extents

if TYPE_CHECKING:
    from valvelab.sets.programme import Prices, WindowProgram

BOXES = 6000
LEVELS = 60
LOOSE = 8.0
"""Springs that a group may have to spare at the relaxation's point; above that rounding can't reach it."""
LEAST_DEPTH = 2e-3
MOST_TRIED, MOST_ROWS = 2500, 40
ALIKE = 0.95


@dataclass(frozen=True, slots=True)
class Rounded:
    """One row: Σ over windows of takes · sets ≤ most, from a group of springs (u,) and a divisor."""

    springs: BoolArray
    divisor: int

    @property
    def most(self) -> float:
        """Right-hand side."""
        return float(int(self.springs.sum()) // self.divisor)

    def takes(self, masks: BoolArray, size: int | IntArray) -> FloatArray:
        """Coefficients (w,) of windows given by their springs (w, u)."""
        least = _least(self.springs[None, :], masks, size)
        return np.asarray(_rounded(least, np.array([float(self.springs.sum())]), self.divisor)[0])


def _least(groups: BoolArray, masks: BoolArray, size: int | IntArray) -> FloatArray:
    """Springs (g, w) that a set from each window must take from each group."""
    outside = (~groups).astype(np.float32) @ masks.T.astype(np.float32)
    return np.asarray(np.maximum(0.0, size - np.rint(outside).astype(np.float64)))


def _rounded(least: FloatArray, springs: FloatArray, divisor: int) -> FloatArray:
    """Rounded coefficients (g, w) of what each window's set takes at least from each group, (g,) springs strong."""
    share = springs / divisor
    left = (share - np.floor(share + 1e-9)).clip(0.0)[:, None]
    whole = np.floor(least / divisor + 1e-9)
    rest = (least / divisor - whole).clip(0.0)
    return np.asarray(whole + np.maximum(rest - left, 0.0) / (1.0 - left))


def rounded_rows(
    program: WindowProgram,
    prices: Prices,
    units: Units,
    limits: FloatArray,
    known: list[Rounded],
    generator: np.random.Generator,
) -> list[Rounded]:
    """Rows that the relaxation's point breaks, the deepest first and none like another; one position of single springs.

    Groups tried: springs above a price, the springs of single windows, boxes spanned by two windows near each other.
    """
    used = np.flatnonzero(prices.sets > 1e-4)
    masks = program.masks()[used]
    size = program.positions[0].size
    groups = _groups(masks, prices, units, limits, generator)
    least = _least(groups, masks, size)
    springs = groups.sum(axis=1).astype(np.float64)
    sets = prices.sets[used]
    spare = springs - least @ sets
    tight = np.argsort(spare, kind="stable")[:MOST_TRIED]
    tight = tight[spare[tight] < LOOSE]
    offers: list[tuple[float, int, int]] = []
    for divisor in range(2, size + 1):
        takes = _rounded(least[tight], springs[tight], divisor)
        depth = (takes @ sets - springs[tight] // divisor) / np.sqrt((takes**2).sum(axis=1) + 1e-12)
        offers.extend((-float(depth[i]), divisor, int(tight[i])) for i in np.flatnonzero(depth > LEAST_DEPTH))
    keys = {(row.springs.tobytes(), row.divisor) for row in known}
    rows: list[Rounded] = []
    directions: list[FloatArray] = []
    for _, divisor, group in sorted(offers):
        if (groups[group].tobytes(), divisor) in keys:
            continue
        takes = _rounded(least[[group]], springs[[group]], divisor)[0]
        direction = takes / np.linalg.norm(takes)
        if all(direction @ other < ALIKE for other in directions):
            directions.append(direction)
            rows.append(Rounded(groups[group], divisor))
        if len(rows) == MOST_ROWS:
            break
    return rows


def _groups(
    masks: BoolArray, prices: Prices, units: Units, limits: FloatArray, generator: np.random.Generator
) -> BoolArray:
    levels = np.unique(np.round(prices.springs[prices.springs > 1e-6], 6))
    above = prices.springs >= levels[:: max(1, levels.size // LEVELS), None] - 1e-7
    return np.unique(np.concatenate([above, masks, _boxes(masks, units, limits, generator)]), axis=0)


def _boxes(masks: BoolArray, units: Units, limits: FloatArray, generator: np.random.Generator) -> BoolArray:
    """Springs in boxes each side of which comes from one of two neighbouring windows, or from neither."""
    low, high = (ends / limits for ends in extents(units, masks))
    middle = 0.5 * (low + high)
    near = np.argsort(np.linalg.norm(middle[:, None] - middle[None], axis=2), axis=1, kind="stable")[:, :40]
    one = generator.integers(0, len(masks), BOXES)
    other = near[one, generator.integers(0, near.shape[1], BOXES)]
    shape = (BOXES, limits.size)
    sides = []
    for ends, none in ((low, -np.inf), (high, np.inf)):
        way = generator.integers(0, 4, shape)
        both = (np.minimum(ends[one], ends[other]), np.maximum(ends[one], ends[other]), ends[one])
        sides.append(np.select([way == 0, way == 1, way == 2], both, none))
    inside = np.ones((BOXES, len(units.members)), dtype=np.bool_)
    for c, limit in enumerate(limits):
        values = units.low[:, c] / limit
        inside &= (values >= sides[0][:, [c]]) & (values <= sides[1][:, [c]])
    return np.asarray(inside[inside.any(axis=1)], dtype=np.bool_)
