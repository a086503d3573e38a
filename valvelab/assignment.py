"""Who gets what, a thing of its own for each: whether that can be, and how it costs least.

For tens of rows; a general library's import would cost more than the work.
"""

from __future__ import annotations

from math import inf

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray


def all_served(edges: BoolArray) -> bool:
    """Whether every row can have a column of its own along the edges, shape (n, m). No unit.

    Source: augmenting paths, breadth first, textbook; the columns of a row are the bits of a whole number.
    """
    columns = [int.from_bytes(row.tobytes(), "little") for row in np.packbits(edges, axis=1, bitorder="little")]
    column_of: dict[int, int] = {}
    row_of: dict[int, int] = {}
    taken = 0
    for start in range(len(columns)):
        waiting, asks, seen = [start], {start: start}, 0
        for row in waiting:
            free = columns[row] & ~taken
            if free:
                break
            held = columns[row] & ~seen
            seen |= held
            while held:
                bit = held & -held
                held ^= bit
                asks.setdefault(row_of[bit], row)
                waiting.append(row_of[bit])
        else:
            return False
        given = free & -free
        taken |= given
        while given:
            left = column_of.get(row, 0)
            column_of[row], row_of[given] = given, row
            row, given = asks[row], left
    return True


def cheapest(cost: FloatArray) -> IntArray:
    """The column of each row, no column twice, at the least sum of costs, shape (n, m), n at most m. No unit.

    Rows whose cheapest column nobody asked for before have it; each other row takes the cheapest way to a free one.
    Source: shortest augmenting paths, Jonker and Volgenant, Computing 38 (1987).
    """
    served = _Served(cost.tolist(), cost.shape[1])  # plain numbers: there are too few for arrays to be quicker
    waiting = [row for row, column in enumerate(cost.argmin(axis=1).tolist()) if not served.first(row, column)]
    for row in waiting:
        served.cheaply(row)
    return np.array(served.column_of, dtype=np.int64)


class _Served:
    """Who has which column so far, and what each column's price has come to."""

    def __init__(self, rows: list[list[float]], columns: int) -> None:
        self.rows, self.column_of = rows, [-1] * len(rows)
        self.row_of, self.price = [-1] * columns, [0.0] * columns

    def first(self, row: int, column: int) -> bool:
        """Whether the column was free and is the row's now."""
        if self.row_of[column] >= 0:
            return False
        self.row_of[column], self.column_of[row] = row, column
        return True

    def cheaply(self, start: int) -> None:
        """A column for one row more: others change theirs along the cheapest way to a free one."""
        price, way = self.price, [inf] * len(self.price)
        through, ahead, passed = [start] * len(price), list(range(len(price))), []
        row, so_far = start, 0.0
        while row >= 0:
            asked, length, column = self.rows[row], inf, ahead[0]
            for one in ahead:
                longer = so_far + asked[one] - price[one]
                if longer < way[one]:
                    way[one], through[one] = longer, row
                else:
                    longer = way[one]
                if longer < length:
                    length, column = longer, one
            row = self.row_of[column]
            if row >= 0:
                passed.append(column)
                ahead.remove(column)
                so_far = length - (self.rows[row][column] - price[column])
        for one in passed:
            price[one] -= length - way[one]
        while column >= 0:
            row = through[column]
            self.row_of[column] = row
            self.column_of[row], column = column, self.column_of[row]
