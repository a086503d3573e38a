"""What figures show as rows of a spreadsheet, and the part of a figure that is looked at."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.figures.description import Figure, Marks

Row = list[str | float | None]
HEAD: Row = ["plot", "line", "x", "x_unit", "y", "y_unit"]
Ends = tuple[float, float]


def point_rows(figures: Iterable[Figure]) -> list[Row]:
    """HEAD, then every point of the curves, bands and marks of figures; canonical, None where there is no value.

    A line is named by its label or, without one, by its role; a band gives its lower and its upper edge.
    """
    rows = [HEAD]
    for figure in figures:
        lines = [(curve.label or curve.role.replace("_", " "), curve.x, curve.y) for curve in figure.curves]
        lines += [
            (marks.label or marks.role.replace("_", " "), marks.x, marks.y) for marks in figure.marks if not marks.bare
        ]
        for band in figure.bands:
            name = band.label or band.role
            lines += [(f"{name}, lower", band.x, band.lower), (f"{name}, upper", band.x, band.upper)]
        units = figure.x_axis.unit, figure.y_axis.unit
        for name, across, up in lines:
            for x, y in zip(across.tolist(), up.tolist(), strict=True):
                rows.append([figure.title, name, x, units[0], y if np.isfinite(y) else None, units[1]])
    return rows


def part_of(figure: Figure, x_ends: Ends, y_ends: Ends) -> Figure:
    """The figure between these ends of its axes, canonical; marks elsewhere are left out."""
    return replace(
        figure,
        x_axis=replace(figure.x_axis, range=x_ends),
        y_axis=replace(figure.y_axis, range=y_ends),
        marks=tuple(_within(marks, x_ends, y_ends) for marks in figure.marks),
    )


def apart(points: FloatArray, least: FloatArray) -> FloatArray:
    """Pieces of a broken line, each once: of those whose ends lie less than `least` apart the first.

    points: shape (n, 2), broken where one is not finite. least: shape (2,), over 0. Gives the ends of pieces, two rows
    each, shape (2 m, 2).
    """
    known = np.logical_and(*np.isfinite(points).T)
    begins = np.flatnonzero(known[:-1] & known[1:])
    if not begins.size:
        return points[:0]
    steps = np.floor(np.where(np.isfinite(points), points, 0.0) / least)
    place = np.unique(steps[:, 0] + 1j * steps[:, 1], return_inverse=True)[1]
    kept = np.unique(place[begins] * len(points) + place[begins + 1], return_index=True)[1]
    chosen = begins[kept]
    return np.asarray(points[np.column_stack([chosen, chosen + 1]).ravel()])


def _within(marks: Marks, x_ends: Ends, y_ends: Ends) -> Marks:
    seen = (marks.x >= x_ends[0]) & (marks.x <= x_ends[1]) & (marks.y >= y_ends[0]) & (marks.y <= y_ends[1])
    texts = tuple(text for text, here in zip(marks.texts, seen, strict=False) if here)
    return replace(marks, x=marks.x[seen], y=marks.y[seen], texts=texts)
