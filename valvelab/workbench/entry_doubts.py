"""Typed readings that stand off from the others so far that they should be taken again, each with its reason in words.

A doubt is a hint: the reading counts as it stands until another is typed. The rules are ours: robust (medians and
median deviations), and silent where too few readings stand beside one to say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from statistics import median

import numpy as np

from valvelab.files.column_names import height_of, plain_name, split_header
from valvelab.units import INCH_MM, POUND_FORCE_N
from valvelab.workbench.entry import Grid, Place, number_in, takes

_FAR = 8.0
"""A reading is doubted beyond so many robust standard deviations of the others."""
_SD = 1.4826
"""Standard deviation per median absolute deviation of normal readings."""
_SLIPS = (
    (INCH_MM, "25.4 times what fits: millimetres typed as inches?"),
    (1.0 / INCH_MM, "what fits, divided by 25.4: inches typed as millimetres?"),
    (POUND_FORCE_N, "4.448 times what fits: newtons typed as pounds?"),
    (1.0 / POUND_FORCE_N, "what fits, divided by 4.448: pounds typed as newtons?"),
    (10.0, "ten times what fits: the point one place out?"),
    (0.1, "a tenth of what fits: the point one place out?"),
)
_LIKE_A_SLIP = 0.04


def doubts(kind: str, grid: Grid) -> dict[Place, str]:
    """Cells in doubt, with the sentence that says why, and that the reading be taken again."""
    rule = _RULES.get(kind)
    if rule in {_springs, _study} and len({split_header(head)[1] for head in _compared(kind, grid)}) > 1:
        return {}
    found = {} if rule is None else rule(_Numbers(kind, grid))
    return {place: f"{why}; take again" for place, why in found.items()}


def _compared(kind: str, grid: Grid) -> list[str]:
    """Heads of columns whose readings are held against one another: forces, or a study's readings."""
    found = [head for head in grid.heads if (one := takes(kind, head)) is not None and one.dimension != "length"]
    return found if kind == "spring readings" else list(grid.heads[1:])


class _Numbers:
    """The numbers of a grid by place, with titles and names."""

    def __init__(self, kind: str, grid: Grid) -> None:
        self.kind, self.grid = kind, grid
        self.titles = [split_header(head)[0] for head in grid.heads]

    def column(self, n: int) -> list[tuple[int, float]]:
        """Row and number of each reading of a column."""
        head = self.grid.heads[n]
        found = ((at, number_in(self.kind, head, row[n])) for at, row in enumerate(self.grid.rows) if row[n])
        return [(at, value) for at, value in found if value is not None]

    def named(self, *names: str) -> int | None:
        """The column of one of these names."""
        return next((n for n, title in enumerate(self.titles) if plain_name(title) in names), None)


def _spread(residuals: Iterable[float]) -> float:
    """Robust standard deviation about 0."""
    found = [abs(one) for one in residuals]
    return _SD * median(found) if found else 0.0


def _told(value: float, expected: float, otherwise: str) -> str:
    """Why a reading stands off: a slip that explains it, else `otherwise`."""
    if expected:
        for ratio, words in _SLIPS:
            if abs(value / expected / ratio - 1.0) < _LIKE_A_SLIP:
                return f"{value:g} is {words}"
    return f"{value:g} {otherwise}"


# -- springs ----------------------------------------------------------------------------------------------------------


def _springs(numbers: _Numbers) -> dict[Place, str]:
    """A force off what the tray's forces at that height and the spring's own at the others let expect."""
    readings = _forces(numbers)
    heights = sorted({height for _, _, height, _ in readings})
    springs = dict.fromkeys(spring for _, spring, _, _ in readings)
    if len(heights) < 2:
        return _far_from_median([(place, force) for place, _, _, force in readings], 0.25)
    if len(springs) < 4:
        return {} if len(heights) < 4 else _off_own_line(readings, list(springs))
    of_height: dict[float, list[float]] = {}
    for _, _, height, force in readings:
        of_height.setdefault(height, []).append(force)
    at_height = {height: median(forces) for height, forces in of_height.items()}
    own: dict[str, list[float]] = {}
    for _, spring, height, force in readings:
        own.setdefault(spring, []).append(force - at_height[height])
    level = {spring: _middle(off, len(heights)) for spring, off in own.items()}
    off = [force - at_height[height] - level[spring] for _, spring, height, force in readings]
    usual = _spread(off)
    away_at: dict[float, list[float]] = {}
    for (_, _, height, _), away in zip(readings, off, strict=True):
        away_at.setdefault(height, []).append(away)
    there = {height: _spread(some) for height, some in away_at.items()}  # near coil bind springs differ by more
    found = {}
    for (place, spring, height, force), away in zip(readings, off, strict=True):
        expected = force - away
        if abs(away) > max(_FAR * usual, _FAR * there[height], 0.03 * abs(expected)):
            many = f"where the others of the tray and spring {spring}'s other heights let expect {expected:.4g}"
            found[place] = _told(force, expected, many)
    return found


def _middle(values: Sequence[float], heights: int) -> float:
    """The median; of two that contradict each other the one nearer to the tray."""
    return min(values, key=abs) if len(values) == 2 or heights == 2 else median(values)


def _off_own_line(readings: Sequence[tuple[Place, str, float, float]], springs: Sequence[str]) -> dict[Place, str]:
    """Few springs: each against a robust straight line through its own heights."""
    found = {}
    for spring in springs:
        own = [(place, height, force) for place, name, height, force in readings if name == spring]
        slopes = [(f2 - f1) / (h2 - h1) for _, h1, f1 in own for _, h2, f2 in own if h2 > h1]
        if len(own) < 4 or not slopes:
            continue
        slope = median(slopes)
        level = median(force - slope * height for _, height, force in own)
        off = [force - level - slope * height for _, height, force in own]
        most = max(_FAR * _spread(off), 0.05 * max(force for _, _, force in own))
        for (place, _, force), away in zip(own, off, strict=True):
            if abs(away) > most:
                line = f"where the line through spring {spring}'s other heights gives {force - away:.4g}"
                found[place] = _told(force, force - away, line)
    return found


def _forces(numbers: _Numbers) -> list[tuple[Place, str, float, float]]:
    """Place, spring, height in mm, force of every reading, of a row a spring or of a row a reading."""
    grid = numbers.grid
    height, force = numbers.named("height"), numbers.named("force", "load")
    if height is not None and force is not None:
        at = dict(numbers.column(height))
        scale = INCH_MM if split_header(grid.heads[height])[1] == "in" else 1.0
        return [
            ((row, force), grid.rows[row][0], round(scale * at[row], 3), value)
            for row, value in numbers.column(force)
            if row in at
        ]
    found = []
    for n, title in enumerate(numbers.titles):
        known = height_of(title)
        if known is not None and takes(numbers.kind, grid.heads[n]) is not None:
            found += [((at, n), grid.rows[at][0], known.mm, value) for at, value in numbers.column(n)]
    return found


# -- heights, studies -------------------------------------------------------------------------------------------------


def _far_from_median(values: Sequence[tuple[Place, float]], least: float) -> dict[Place, str]:
    """Values far from the median of all, by more than a share `least` of it."""
    if len(values) < 4:
        return {}
    middle = median(value for _, value in values)
    usual = _spread(value - middle for _, value in values)
    most = max(_FAR * usual, least * abs(middle))
    return {
        place: _told(value, middle, f"where the others lie about {middle:.4g}")
        for place, value in values
        if abs(value - middle) > most
    }


def _heights(numbers: _Numbers) -> dict[Place, str]:
    """A height far from the other valves'."""
    column = numbers.named("height")
    return {} if column is None else _far_from_median([((at, column), v) for at, v in numbers.column(column)], 0.15)


def _study(numbers: _Numbers) -> dict[Place, str]:
    """A reading far from the others of the same part."""
    by_part: dict[int, list[tuple[Place, float]]] = {}
    for n in range(1, len(numbers.titles)):
        for at, value in numbers.column(n):
            by_part.setdefault(at, []).append(((at, n), value))
    rows = [(values, median(value for _, value in values)) for values in by_part.values() if len(values) >= 3]
    usual = _spread(value - middle for values, middle in rows for _, value in values)
    if sum(len(values) for values, _ in rows) < 8 or not usual:
        return {}
    return {
        place: _told(value, middle, f"where this part's other readings lie about {middle:.4g}")
        for values, middle in rows
        for place, value in values
        if abs(value - middle) > _FAR * usual
    }


# -- along an angle ---------------------------------------------------------------------------------------------------


def _along(least: float) -> Callable[[_Numbers], dict[Place, str]]:
    """A reading off the smooth curve through its neighbours; `least`: the least share of the column's range."""

    def rule(numbers: _Numbers) -> dict[Place, str]:
        places = dict(numbers.column(0)) if numbers.titles else {}
        found: dict[Place, str] = {}
        for n in range(1, len(numbers.titles)):
            points = [(at, places[at], value) for at, value in numbers.column(n) if at in places]
            found |= {(at, n): why for at, why in _off_neighbours(points, least).items()}
        return found

    return rule


def _off_neighbours(points: Sequence[tuple[int, float, float]], least: float) -> dict[int, str]:
    """Points (row, place, value) off the cubic through the two before and the two after, and the worst around there."""
    if len(points) < 9:
        return {}
    place = np.array([place for _, place, _ in points])
    value = np.array([value for _, _, value in points])
    inner = np.arange(2, len(points) - 2)
    around = inner[:, None] + np.array([-2, -1, 1, 2])
    steps = np.diff(np.insert(place[around], 2, place[inner], axis=1), axis=1)
    even = (steps > 0.0).all(axis=1) | (steps < 0.0).all(axis=1)  # neighbours on the same turn
    away = np.zeros(len(points))
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = sum(
            value[around[:, n]]
            * np.prod(
                [
                    (place[inner] - place[around[:, other]]) / (place[around[:, n]] - place[around[:, other]])
                    for other in range(4)
                    if other != n
                ],
                axis=0,
            )
            for n in range(4)
        )
        away[inner] = np.where(even, value[inner] - expected, 0.0)
    sizes = np.abs(away[2:-2])
    reach = float(np.quantile(value, 0.95) - np.quantile(value, 0.05))
    most = max(_FAR * _SD * float(np.median(sizes)), 2.5 * float(np.quantile(sizes, 0.8)), least * reach)
    found = {}
    for n in np.flatnonzero(np.abs(away) > most).tolist():
        if abs(away[n]) == np.abs(away[max(0, n - 2) : n + 3]).max():
            row, _, read = points[n]
            let = float(read - away[n])
            found[row] = _told(read, let, f"where its neighbours let expect {let:.4g}")
    return found


_RULES: dict[str, Callable[[_Numbers], dict[Place, str]]] = {
    "spring readings": _springs,
    "heights": _heights,
    "gauge study": _study,
    "lift table": _along(0.02),
    "shaft readings": _along(0.15),
}
