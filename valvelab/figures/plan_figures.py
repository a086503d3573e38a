"""Parts drawn as plans with the places marked that were not accepted: a camshaft, a tray, the valves of a head."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import ceil, cos, radians

import numpy as np

from valvelab.figures.description import Axis, Band, Curve, Figure, Marks, Role, block, level, words
from valvelab.figures.polar import circle
from valvelab.phrase import Phrase, listed
from valvelab.records.result import Decision

Worst = Mapping[str, Decision]
"""The gravest decision on each item; an item that was not judged is missing."""
_BAR, _BASE, _LIFT, _HALF = 0.55, 1.0, 0.75, 0.27
"""The shaft between the lobes, base circles and lifts as they are drawn; half a lobe's width in its place."""
TWO_ROWS = 20
"""More lobes than these have their names in two rows."""
SIGNS_ACROSS = 130
"""Signs of names that a line across a page has room for."""
NAMED = 160
"""A tray of more springs names those alone that were not accepted."""


def _plan(name: str, title: str, ends: tuple[float, float, float, float], equal_scale: bool = False) -> Figure:
    """A figure without axes over x and y from and to."""
    across, up = Axis("", "", ends[:2]), Axis("", "", ends[2:])
    return Figure(name, title, across, up, equal_scale=equal_scale, axes="none")


def _with(figure: Figure, curves: Sequence[Curve], bands: Sequence[Band], marks: Sequence[Marks]) -> Figure:
    return replace(figure, curves=tuple(curves), bands=tuple(bands), marks=tuple(marks))


def short_names(names: Sequence[str], room: int) -> tuple[Mapping[str, str], str]:
    """What items are written as where each has room for so many signs: their names, or numbers where one is longer.

    With what a title adds then.
    """
    if max(map(len, names), default=0) < room:
        return {name: name for name in names}, ""
    return {name: str(number) for number, name in enumerate(names, start=1)}, Phrase(
        ", numbered in the order of the readings"
    )


def camshaft_plan(lobes: Sequence[str], worst: Worst, centres_deg: Mapping[str, float]) -> Figure:
    """The camshaft from the side, lobes in the order of the table, noses where they point; not to scale.

    centres_deg: each lobe's centre about the shaft, cam deg; a lobe without one is drawn round.
    """
    count = len(lobes)
    first = centres_deg.get(lobes[0], 0.0)
    names, told = short_names(lobes, SIGNS_ACROSS * (2 if count > TWO_ROWS else 1) // count)
    figure = _plan(
        "camshaft",
        listed((Phrase("The camshaft from the side (not to scale)"), told), ""),
        (0.2, count + 0.8, -3.0, 3.0),
    )
    bands, marks = [block((0.3, count + 0.7), (-_BAR, _BAR), "guide")], []
    for place, lobe in enumerate(lobes, start=1):
        toward = cos(radians(centres_deg[lobe] - first)) if lobe in centres_deg else 0.0
        nose = (_BASE + _LIFT) * toward
        decision = worst.get(lobe)
        role: Role = "guide" if decision is None or decision == "accept" else decision
        ends = place - _HALF, place + _HALF
        bands.append(block(ends, (min(-_BASE, nose), max(_BASE, nose)), role))
        lower = -2.75 if count > TWO_ROWS and place % 2 else -2.2
        marks.append(words(place, lower, names[lobe], role))
        if decision is not None:
            marks.append(Marks(np.array([float(place)]), np.array([2.3]), decision, size=1.8))
    return _with(figure, [], bands, marks)


def tray_plan(springs: Sequence[str], worst: Worst) -> Figure:
    """Springs in the order of their file, row by row, each with the mark of its gravest verdict."""
    count = len(springs)
    longest = max(map(len, springs))
    across = min(count, max(4, round(64.0 / (longest + 4)))) if count <= NAMED else min(count, 50)
    down = ceil(count / across)
    figure = _plan("tray", "The springs in the order of their file", (-0.2, across - 0.1, -down + 0.4, 0.6))
    marks = []
    rows: dict[Role, list[int]] = {}
    for number, spring in enumerate(springs):
        rows.setdefault(worst.get(spring, "guide"), []).append(number)
    for role, numbers in rows.items():
        named = count <= NAMED or role in {"reject", "undecided"}
        texts = tuple(springs[number] for number in numbers) if named else ()
        x = np.array([float(number % across) for number in numbers])
        y = np.array([-float(number // across) for number in numbers])
        marks.append(Marks(x, y, role, texts=texts, size=1.4))
    return _with(figure, [], [], marks)


def head_plan(valves: Sequence[str], worst: Worst, kinds: Mapping[str, str]) -> Figure:
    """The valves of a head from above, a column a cylinder, intake above exhaust."""
    cylinders = dict.fromkeys(_cylinder(valve) for valve in valves)
    two_rows = len({kinds.get(valve) for valve in valves}) > 1
    places = {cylinder: number for number, cylinder in enumerate(cylinders)}
    beside: dict[tuple[str, str], list[str]] = {}
    for valve in valves:
        beside.setdefault((_cylinder(valve), kinds.get(valve, "")), []).append(valve)
    written, told = short_names(valves, SIGNS_ACROSS // 2 // len(places))
    figure = _plan(
        "head",
        listed((Phrase("The valves from above"), told), ""),
        (-0.75, len(places) - 0.25, -0.95 if two_rows else 0.05, 0.95),
        True,
    )
    curves, marks = [], []
    for (cylinder, kind), names in beside.items():
        for number, valve in enumerate(names):
            step = 0.8 / len(names)
            x = places[cylinder] + (number - 0.5 * (len(names) - 1)) * step
            y = -0.42 if two_rows and kind == "exhaust" else 0.5
            radius = min(0.24, 0.42 * step)
            ring = circle(radius)
            role: Role = "exhaust" if kind == "exhaust" else "intake"
            curves.append(Curve(x + ring[0], y + ring[1], role))
            if (decision := worst.get(valve)) is not None:
                marks.append(Marks(np.array([x + 0.8 * radius]), np.array([y + 0.8 * radius]), decision, size=1.4))
            marks.append(words(x, y, written[valve], role if decision in {None, "accept"} else decision or role))
    line = level((-0.7, len(places) - 0.3), 0.04, "guide") if two_rows else None
    return _with(figure, [*curves, *([line] if line else [])], [], marks)


def _cylinder(valve: str) -> str:
    """The cylinder that a valve's name begins with, or the name."""
    found = re.match(r"\d+", valve)
    return found[0] if found else valve
