"""Who gets what, a thing of its own for each: whether that can be, and how it costs least.

For tens of rows; a general library's import would cost more than the work.
"""

from __future__ import annotations

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

    Source: shortest augmenting paths, Jonker and Volgenant, Computing 38 (1987).
    """
    rows, columns = cost.shape
    column_of, row_of = np.full(rows, -1), np.full(columns, -1)
    worth, price = np.zeros(rows), np.zeros(columns)
    for start in range(rows):
        way, through = np.full(columns, np.inf), np.full(columns, start)
        open_ = np.ones(columns, dtype=np.bool_)
        row, length = start, 0.0
        while row >= 0:
            longer = length + cost[row] - worth[row] - price
            nearer = open_ & (longer < way)
            way[nearer], through[nearer] = longer[nearer], row
            column = int(np.where(open_, way, np.inf).argmin())
            length, row, open_[column] = float(way[column]), int(row_of[column]), False
        passed = np.flatnonzero(~open_)
        gain = length - way[passed]
        price[passed] -= gain
        worth[start] += length
        on_way = row_of[passed] >= 0
        worth[row_of[passed[on_way]]] += gain[on_way]
        while column >= 0:
            row = int(through[column])
            row_of[column] = row
            column_of[row], column = column, int(column_of[row])
    return column_of
