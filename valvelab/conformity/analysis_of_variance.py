"""Analysis of variance for balanced studies: one way, and two ways crossed with repeats.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 7.4.3; sums of squares about the means, so that a large
common offset costs no digits.
"""

from __future__ import annotations

import math

import numpy as np

from valvelab.arrays import FloatArray, finite
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase
from valvelab.tails import f_tail


@frozen
class VarianceRow:
    """One source of variation; `f_ratio` and `p_value` are None for the row the others are held against."""

    source: str
    freedom: int
    sum_of_squares: float
    f_ratio: float | None = None
    p_value: float | None = None

    @property
    def mean_square(self) -> float:
        """Sum of squares over degrees of freedom."""
        return self.sum_of_squares / self.freedom


def tested(row: VarianceRow, against: VarianceRow) -> VarianceRow:
    """The row with its F ratio and p value against another row's mean square; both None where nothing varies."""
    if against.mean_square == 0.0:
        ratio = math.inf if row.mean_square > 0.0 else None
    else:
        ratio = row.mean_square / against.mean_square
    if ratio is None:
        return row
    p_value = f_tail(ratio, row.freedom, against.freedom)
    return VarianceRow(row.source, row.freedom, row.sum_of_squares, None if math.isinf(ratio) else ratio, p_value)


def one_way(readings: FloatArray) -> tuple[VarianceRow, VarianceRow]:
    """Between and within groups of equal size. readings: shape (groups, repeats), at least 2 × 2.

    Sums of squares are in the readings' unit squared. Raises CannotEvaluate(TOO_FEW_READINGS).
    """
    y = finite(readings, "readings", ndim=2)
    groups, repeats = y.shape
    if groups < 2 or repeats < 2:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase("analysis: found {groups} × {repeats}, expected 2 × 2 or more", groups=groups, repeats=repeats),
        )
    y = y - y.mean()
    means = y.mean(axis=1)
    within = VarianceRow("within", groups * (repeats - 1), float(np.square(y - means[:, None]).sum()))
    between = VarianceRow("between", groups - 1, repeats * float(np.square(means - means.mean()).sum()))
    return tested(between, within), within


def crossed(readings: FloatArray) -> tuple[VarianceRow, VarianceRow, VarianceRow, VarianceRow]:
    """Rows, columns, interaction, repeats. readings: shape (rows, columns, repeats), at least 2 × 2 × 2.

    Rows and columns are tested against the interaction, it against the repeats (both factors random). Raises
    CannotEvaluate(TOO_FEW_READINGS).
    """
    y = finite(readings, "readings", ndim=3)
    rows, columns, repeats = y.shape
    if min(y.shape) < 2:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase(
                "analysis: found {rows} × {columns} × {repeats}, expected 2 × 2 × 2 or more",
                rows=rows,
                columns=columns,
                repeats=repeats,
            ),
        )
    y = y - y.mean()
    cells = y.mean(axis=2)
    by_row, by_column = cells.mean(axis=1), cells.mean(axis=0)
    both = cells - by_row[:, None] - by_column + cells.mean()
    repeat = VarianceRow("repeatability", rows * columns * (repeats - 1), float(np.square(y - cells[..., None]).sum()))
    interaction = VarianceRow("interaction", (rows - 1) * (columns - 1), repeats * float(np.square(both).sum()))
    row = VarianceRow("part", rows - 1, columns * repeats * float(np.square(by_row - by_row.mean()).sum()))
    column = VarianceRow(
        "appraiser", columns - 1, rows * repeats * float(np.square(by_column - by_column.mean()).sum())
    )
    return tested(row, interaction), tested(column, interaction), tested(interaction, repeat), repeat
