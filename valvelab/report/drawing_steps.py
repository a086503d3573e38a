"""The drawing steps of a page, and whether two pages draw the same.

Exactly, step by step; or as far as two machines agree whose last digits differ: coordinates and printed numbers within
rounding, and curves within what thinning leaves of them, however their points were chosen.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import zip_longest

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.report.same_text import texts_agree

ROUNDING_PT, SMALL = 0.02, 0.002
"""How far coordinates may differ, and numbers up to 1, such as colours and directions."""
APART_PT = 0.12
"""Two polylines thinned from one curve lie within twice the thinning's tolerance of each other."""
LONGEST = 20_000_000
MOST_POINTS = 20_000

_TOKEN = re.compile(rb"\((?:[^\\()]|\\.)*\)|<[^<>]*>|[^\0\t\n\f\r ()<>]+|[()<>]", re.DOTALL)
_NUMBER = re.compile(rb"[+-]?(?:\d+\.?\d*|\.\d+)")


@dataclass(frozen=True, slots=True)
class Step:
    """One token with its place; or the straight pieces of a path, with their corners (n, 2) in points."""

    place: int
    token: bytes
    corners: FloatArray | None = None


def first_difference(one: bytes, other: bytes, *, exact: bool) -> tuple[str, str] | None:
    """What stands where two drawings first differ; None where they draw the same."""
    if one == other:
        return None
    if exact or max(len(one), len(other)) > LONGEST:
        steps = zip_longest(_tokens(one), _tokens(other))
    else:
        steps = zip_longest(_joined(_tokens(one)), _joined(_tokens(other)))
    for mine, yours in steps:
        if mine is None or yours is None or not (mine.token == yours.token if exact else _agree(mine, yours)):
            return _around(one, mine), _around(other, yours)
    return None


def _tokens(data: bytes) -> Iterator[Step]:
    for found in _TOKEN.finditer(data):
        yield Step(found.start(), found[0])


def _joined(tokens: Iterator[Step]) -> Iterator[Step]:
    """The steps, the corners of each open path in one."""
    waiting: list[Step] = []
    corners: list[tuple[float, float]] = []
    start = 0
    for step in tokens:
        point = _point(waiting, step.token)
        if point is not None and (step.token == b"m" or corners):
            if step.token == b"m" and corners:
                yield Step(start, b"path", np.array(corners))
                corners = []
            start = start if corners else waiting[0].place
            corners.append(point)
            waiting = []
        elif _NUMBER.fullmatch(step.token) and len(waiting) < 2:
            waiting.append(step)
        else:
            if corners:
                yield Step(start, b"path", np.array(corners))
                corners = []
            yield from (*waiting, step)
            waiting = []
    if corners:
        yield Step(start, b"path", np.array(corners))
    yield from waiting


def _point(numbers: list[Step], operator: bytes) -> tuple[float, float] | None:
    if operator not in {b"m", b"l"} or len(numbers) != 2:
        return None
    return float(numbers[0].token), float(numbers[1].token)


def _agree(one: Step, other: Step) -> bool:
    if one.corners is not None and other.corners is not None:
        return _one_line(one.corners, other.corners)
    a, b = one.token, other.token
    if a == b:
        return (one.corners is None) is (other.corners is None)
    if _NUMBER.fullmatch(a) and _NUMBER.fullmatch(b):
        return abs(float(a) - float(b)) <= (ROUNDING_PT if abs(float(a)) > 1.0 else SMALL)
    if a[:1] == b"(" == b[:1]:
        return texts_agree(a[1:-1].decode("latin-1"), b[1:-1].decode("latin-1"))
    return False


def _one_line(one: FloatArray, other: FloatArray) -> bool:
    """Whether two polylines begin and end at the same places and nowhere stand off from each other."""
    if one.shape == other.shape and np.abs(one - other).max() <= ROUNDING_PT:
        return True
    ends = np.abs(one[[0, -1]] - other[[0, -1]]).max()
    if ends > ROUNDING_PT or min(len(one), len(other)) < 2 or max(len(one), len(other)) > MOST_POINTS:
        return False
    return max(_farthest(one, other), _farthest(other, one)) <= APART_PT


def _farthest(points: FloatArray, line: FloatArray) -> float:
    """The greatest distance of any of the points from a polyline."""
    start, along = line[:-1], np.diff(line, axis=0)
    length = np.maximum((along**2).sum(axis=1), 1e-30)
    worst = 0.0
    for point in points:
        share = np.clip(((point - start) * along).sum(axis=1) / length, 0.0, 1.0)
        worst = max(worst, float(np.hypot(*(start + share[:, None] * along - point).T).min()))
    return worst


def _around(text: bytes, step: Step | None) -> str:
    place = len(text) if step is None else step.place
    piece = " ".join(text[max(0, place - 12) : place + 45].decode("latin-1").split())
    return "".join(sign if sign.isprintable() else "·" for sign in piece) or "nothing more"
