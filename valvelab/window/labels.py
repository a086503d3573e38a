"""Where words on a plot stand: inside it, over no other words, and off the curves where there is room beside them.

One rule for every plot: each word has places in order of preference, about its point or along its line; it takes the
first that is free. Words of a place without a mark go on looking all around it before they lie over a curve. What finds
none is left out, for words over one another say nothing, and words of a mark that stand nearer to another one say
something wrong.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import chain
from typing import Literal

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSizeF

from valvelab.arrays import FloatArray

Anchor = Literal["beside", "on", "along x", "along y", "along y left"]
"""Beside a point that has a mark; on a point that has none; at a line that is upright ("along x") or level, from the
right or from the left.
"""

_MARK = 5.0
"""How far a mark reaches from its place."""
_OFF = 7.0
_NEARER = 2.0
"""Pixels by which another mark has to be nearer to words than their own to be taken for it."""
_GAP = 3.0
FILLED_STEP = 8.0
"""Pixels between the points that stand for the inside of a band."""
_STEPS = 6
_AROUND = 5
"""How far, in their own heights, words without a mark go from their place and its sides to leave curves free."""
OF_LINES = {"along x", "along y", "along y left"}
"""Words of a line give way to marks: the line says enough."""


def _nothing() -> FloatArray:
    return np.empty((0, 2))


@dataclass(frozen=True, slots=True)
class Spot:
    """What a word belongs to, in pixels of the plot, and how large the word is."""

    at: QPointF
    size: QSizeF
    anchor: Anchor


@dataclass(frozen=True, slots=True)
class Drawn:
    """Points of what is drawn, in pixels: each of shape (n, 2), with an n of its own.

    curves: to be left free where that is possible; and before those the `marks`, for a mark that is hidden is a reading
    lost. edges: of bands, which words without a mark leave free where a step upwards does it. filled: within bands,
    which words of a place outside them leave free if they can. faint: of lines that only guide the eye, left free where
    a place right beside does it.
    """

    curves: FloatArray
    marks: FloatArray = field(default_factory=_nothing)
    edges: FloatArray = field(default_factory=_nothing)
    filled: FloatArray = field(default_factory=_nothing)
    faint: FloatArray = field(default_factory=_nothing)


def placed(spots: Sequence[Spot], room: QRectF, taken: Sequence[QRectF], drawn: Drawn) -> list[QRectF | None]:
    """A rectangle for each word, None where it has no place.

    room: the plot. taken: where words stand already.
    """
    full = list(taken)
    found: list[QRectF | None] = []
    named = {
        kind: np.array([spot.at.toTuple() for spot in spots if spot.anchor == kind]).reshape(-1, 2)
        for kind in ("beside", "on")
    }
    for spot in spots:
        best = _best(spot, room, full, drawn, named.get(spot.anchor))
        found.append(best)
        if best is not None:
            full.append(best)
    return found


def over_curves(places: Sequence[QRectF | None], drawn: Drawn) -> bool:
    """Whether any words lie over a curve, or have no place at all."""
    return any(place is None or _covers(place, drawn.curves) for place in places)


def _best(spot: Spot, room: QRectF, full: Sequence[QRectF], drawn: Drawn, named: FloatArray | None) -> QRectF | None:
    """Where a word stands best. named: the points that have words of the same kind."""

    def fits(place: QRectF) -> bool:
        return room.contains(place) and not any(place.intersects(other) for other in full)

    def clear(place: QRectF) -> bool:
        return not _covers(place, drawn.curves) and not _covers(place, drawn.marks, _MARK)

    def farther() -> Iterator[QRectF]:
        if spot.anchor == "on" and named is not None:
            yield from _own(_around(spot, room, full), spot.at, named)

    free = [place for place in _places(spot, room) if fits(place)]
    outside = False
    if named is not None:
        own = _own(free, spot.at, named)
        bare = spot.anchor == "on" and all(_covers(place, drawn.marks, _MARK) for place in own)
        free = free if bare else own
        outside = bool(drawn.filled.size) and not _covers(QRectF(spot.at, spot.at), drawn.filled, FILLED_STEP)
    off = (place for place in _lifted(spot) if place in free and not _covers(place, drawn.edges) and clear(place))
    best = next(off, None)
    if best is None and outside:
        best = next((p for p in chain(free, farther()) if not _covers(p, drawn.filled) and clear(p)), None)
    if best is None:
        near = (place for place in free if clear(place))
        best = next(near, None)
        if best is not None and _covers(best, drawn.faint):
            best = next((place for place in near if not _covers(place, drawn.faint)), best)
    best = best or next((place for place in farther() if clear(place)), None)
    best = best or min(free, key=lambda place: _covers(place, drawn.marks, _MARK), default=None)
    if best is not None and spot.anchor in OF_LINES and _covers(best, drawn.marks, _MARK):
        return None
    return best


def _own(places: Iterable[QRectF], at: QPointF, named: FloatArray) -> list[QRectF]:
    """Places where words would not be read as those of another point that has words: one that is nearer to them."""
    found = list(places)
    boxes = np.array([place.getCoords() for place in found]).reshape(-1, 1, 4)

    def away(points: FloatArray) -> FloatArray:
        across = np.maximum(boxes[..., 0] - points[:, 0], points[:, 0] - boxes[..., 2])
        down = np.maximum(boxes[..., 1] - points[:, 1], points[:, 1] - boxes[..., 3])
        return np.asarray(np.hypot(np.maximum(across, 0.0), np.maximum(down, 0.0)))

    others = np.any(away(named) < away(np.array([at.toTuple()])) - _NEARER, axis=1)
    return [place for place, other in zip(found, others, strict=True) if not other]


def _covers(place: QRectF, drawn: FloatArray, about: float = 0.0) -> bool:
    x, y = drawn[:, 0], drawn[:, 1]
    place = place.adjusted(-about, -about, about, about)
    inside = (x > place.left()) & (x < place.right()) & (y > place.top()) & (y < place.bottom())
    return bool(inside.any())


def _places(spot: Spot, room: QRectF) -> Iterator[QRectF]:
    """Places for a word in order of preference; none for a point that is not seen."""
    at, wide, high = spot.at, spot.size.width(), spot.size.height()
    if spot.anchor in {"on", "beside"}:
        if not room.adjusted(-1.0, -1.0, 1.0, 1.0).contains(at):
            return
        if spot.anchor == "on":
            yield from (_about(at, across, up, spot) for across, up in _SHIFTS)
            return
        out = _OFF + 0.5 * high
        aside = _OFF + 0.5 * wide
        near = ((0.0, -out), (0.0, out), (aside, 0.0), (-aside, 0.0))
        corners = ((aside, -out), (-aside, -out), (aside, out), (-aside, out))
        far = tuple(
            (side, way * step * high) for step in (1.6, 2.4, 3.2) for way in (-1, 1) for side in (0, aside, -aside)
        )
        for across, down in (*near, *corners, *far):
            yield QRectF(at.x() + across - 0.5 * wide, at.y() + down - 0.5 * high, wide, high)
    elif spot.anchor == "along x" and room.left() <= at.x() <= room.right():
        for step in range(_STEPS):
            top = room.top() + _GAP + step * 1.1 * high
            yield QRectF(at.x() + _GAP, top, wide, high)
            yield QRectF(at.x() - _GAP - wide, top, wide, high)
    elif spot.anchor in {"along y", "along y left"} and room.top() <= at.y() <= room.bottom():
        lefts = np.linspace(room.right() - _GAP - wide, room.left() + _GAP, 4 * _STEPS)
        for left in lefts if spot.anchor == "along y" else lefts[::-1]:
            yield QRectF(float(left), at.y() - high - 1.0, wide, high)
            yield QRectF(float(left), at.y() + 1.0, wide, high)


def _lifted(spot: Spot) -> Iterator[QRectF]:
    """Words without a mark at their place and steps above it."""
    if spot.anchor == "on":
        yield from (_about(spot.at, 0, up, spot) for up in (0, -0.6, -1.1, -0.3))


_SHIFTS = ((0, 0), (0, -0.6), (0, 0.6), (0, -1.1), (0, 1.1), (-0.55, 0), (0.55, 0), (-0.55, -0.8), (0.55, -0.8),
           (-0.55, 0.8), (0.55, 0.8), (0, -2.2), (0, 2.2), (-1.1, 0), (1.1, 0),
           (0, -0.3))  # fmt: skip
"""How far words without a mark may stand from their point, in their own widths and heights."""


def _around(spot: Spot, room: QRectF, full: Sequence[QRectF]) -> Iterator[QRectF]:
    """Places all around a point that lie in the room and over none of the others, the nearest first."""
    wide, high = spot.size.width(), spot.size.height()
    across, down = _offsets(wide, high)
    left, top = spot.at.x() + across, spot.at.y() + down
    right, bottom = left + wide, top + high
    free = (left >= room.left()) & (right <= room.right()) & (top >= room.top()) & (bottom <= room.bottom())
    for other in full:
        beside = (right <= other.left()) | (left >= other.right())
        free &= beside | (bottom <= other.top()) | (top >= other.bottom())
    for x, y in zip(left[free].tolist(), top[free].tolist(), strict=True):
        yield QRectF(x, y, wide, high)


@lru_cache(maxsize=64)
def _offsets(wide: float, high: float) -> tuple[FloatArray, FloatArray]:
    """Corners of places all around a point, from it, the nearest first, for words of a size: shape (n,) each."""
    steps = 0.5 * high * np.arange(-2 * _AROUND, 2 * _AROUND + 1)
    across, down = (side.ravel() for side in np.meshgrid(steps, steps))
    # words are wide and low: what counts is how far their edge is from the point
    beyond = np.hypot(np.maximum(0.0, np.abs(across) - 0.5 * wide), np.maximum(0.0, np.abs(down) - 0.5 * high))
    order = np.lexsort((np.hypot(across, down), beyond))
    return across[order] - 0.5 * wide, down[order] - 0.5 * high


def _about(at: QPointF, across: float, down: float, spot: Spot) -> QRectF:
    wide, high = spot.size.width(), spot.size.height()
    return QRectF(at.x() + (across - 0.5) * wide, at.y() + (down - 0.5) * high, wide, high)
