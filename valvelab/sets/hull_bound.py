"""A bound below every total spread from prices of springs, certified by a search through hulls.

Give every spring a price. Where no set within limits has a spread that comes, with its springs' prices, to less than a
cap, `engines` sets have a total spread of at least `engines` × cap less all prices. Springs among many near ones are
dear, stray ones cost nothing; the bound holds whatever they are.

The search branches over hulls: the box about the springs that a set is known to hold, within walls that the set does
not reach beyond. A set's first spring along one characteristic is the root of its branch. The hull still grows at least
as far as the farthest of as many near springs as are wanted, and the set costs at least the lowest prices within the
walls; a spring that no set under the cap can hold is left out. The rest is parted at one face: the hull stays on this
side of a value, or reaches beyond it.

Source: own search; weak duality of set packing (Nemhauser and Wolsey), from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, frexp, log
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.tray import SLACK, Progress, Units, Watch

Single = NDArray[np.float32]

STEEPER = 2.0
"""Prices over those with which the distances alone are a bound: the steeper they are, the less is to be searched."""
FIRST_SHARE, STEP, CLOSE = 0.7, 0.05, 0.02
"""Share of the spread found that is tried first, by how much it is moved, and from where on it is close enough."""
GROWTH = 2.3
"""How many times the work grows for a step of the share, about."""
CHEAP = 10_000
"""Nodes for a step of the share that are looked at although the bound is enough."""
ROOTS, TOGETHER, SAMPLED = 32, 1024, 6
"""Roots searched together, nodes looked at together, and how many groups of roots show what all will take."""
PRICE_GRID, FINEST, DIGITS = 2.0**-14, -18, 22
"""Prices and values are put on grids on which all sums are exact in single precision: the grid of prices, the finest
of values as a power of two, and the binary digits that the largest value has. So the work is the same everywhere."""
FEWER = 0.75
"""Share of springs still in use above which the others are carried along."""
FAR = np.float32(1e6)


def hull_bound(
    units: Units,
    costs: FloatArray,
    engines: int,
    bound: float,
    total: float,
    work: int,
    watch: Watch,
    enough: float = 1.0,
) -> float:
    """A bound on the total spread of `engines` sets of single springs of one kind, a plain number.

    costs: (springs,) as `distance_costs` has them. bound, total: what is known so far, and the spread of a grouping
    found. work: the nodes that may be looked at. enough: the share of `total` at which the search may end.
    """
    size = units.positions[0].size
    of_use = np.flatnonzero(np.isfinite(costs))
    if of_use.size < engines * size or bound >= total:
        return bound
    own = costs[of_use]
    prices = STEEPER / size * np.maximum(np.sort(own)[engines * size - 1] - own, 0.0)
    prices = PRICE_GRID * np.rint(prices / PRICE_GRID)
    search = HullSearch(units.low[of_use] / units.limits, prices, size)
    low, high = bound / total, 1.0
    share = max(FIRST_SHARE, low + STEP)
    while low < share < high and high - low > CLOSE and work > 0 and not watch.over():
        looked = search.below((share * total + float(prices.sum())) / engines, work, watch)
        work -= looked.nodes
        steps = log(max(work, 1) / looked.needed, GROWTH)
        if looked.outcome == "none":
            low = share
            watch.report(Progress("spread", engines, None, total, low * total))
            if low >= enough and GROWTH * looked.needed >= CHEAP:
                break
            share = min(low + STEP * int(steps), 0.5 * (low + high))
        else:
            high = share
            share = 0.5 * (low + high) if looked.outcome == "some" else share + STEP * min(-1, -ceil(-steps))
    return max(bound, low * total)


@dataclass(frozen=True, slots=True)
class Looked:
    """Whether there is a set below a cap; the nodes looked at, and how many it takes in all, about."""

    outcome: Literal["none", "some", "unknown"]
    nodes: int
    needed: float


@dataclass(frozen=True, slots=True)
class _Nodes:
    """Nodes (n) over some springs (m,), the cheapest first.

    root: (n,), a place among the springs. low, high: hulls, (n, d). inside: (n, m), springs that may join the root;
    growth: (n, m), how far the hull grows to hold each.
    """

    springs: IntArray
    root: IntArray
    low: Single
    high: Single
    inside: BoolArray
    growth: Single

    def rows(self, some: slice | BoolArray) -> _Nodes:
        """Some of the nodes."""
        return replace(
            self,
            root=self.root[some],
            low=self.low[some],
            high=self.high[some],
            inside=self.inside[some],
            growth=self.growth[some],
        )

    def fewer(self) -> _Nodes:
        """Without springs that are left out everywhere, where these are many."""
        used = np.asarray(self.inside.any(axis=0))
        used[self.root] = True
        if used.mean() > FEWER:
            return self
        root = (np.cumsum(used) - 1)[self.root]
        return replace(
            self, springs=self.springs[used], root=root, inside=self.inside[:, used], growth=self.growth[:, used]
        )


class HullSearch:
    """Looks for sets of springs, values (n, d) in limits, whose spread + prices (n,) come to less than a cap."""

    def __init__(self, values: FloatArray, prices: FloatArray, size: int) -> None:
        values = values - 0.5 * (values.min(axis=0) + values.max(axis=0))
        grid = 2.0 ** max(FINEST, frexp(float(np.abs(values).max()))[1] - DIGITS)
        order = np.argsort(values[:, 0], kind="stable")
        self.values: Single = (grid * np.rint(values / grid))[order].astype(np.float32)
        self.prices: Single = prices[order].astype(np.float32)
        self.mates = size - 1
        # a range may come out longer or shorter by the grid
        self.limit = np.float32(SLACK + grid)
        self.sure = (values.shape[1] + 1) * grid

    def below(self, cap: float, most: int, watch: Watch) -> Looked:
        """Whether a set comes to less than a cap, a plain number. Gives up beyond so many nodes.

        Some roots are searched first, spread over all, to tell how many that would be.
        """
        every = range(0, len(self.values), ROOTS)
        sample = {every[(2 * i + 1) * len(every) // (2 * SAMPLED)] for i in range(SAMPLED)}
        nodes = 0
        for done, start in enumerate(sorted(every, key=lambda start: start not in sample), start=1):
            allowed = min(most, most * SAMPLED * done // len(every)) if done < len(sample) else most
            some, looked = self._group(start, np.float32(cap + self.sure), allowed - nodes, watch)
            nodes += looked
            needed = nodes * len(every) / done
            if some or nodes > allowed or (done == len(sample) and needed > most):
                return Looked("some" if some else "unknown", nodes, needed)
        return Looked("none", nodes, float(nodes))

    def _group(self, start: int, goal: np.float32, most: int, watch: Watch) -> tuple[bool, int]:
        """Whether some roots have a set under the goal, and the nodes looked at; more than `most` where it gave up."""
        nodes, stack = 0, [self._roots(start)]
        while stack:
            some = stack.pop()
            if some.root.size > TOGETHER:
                stack.append(some.rows(slice(0, -TOGETHER)))
                some = some.rows(slice(-TOGETHER, None))
            nodes += some.root.size
            if nodes > most or watch.over():
                return False, max(nodes, most + 1)
            some = self._open(some, goal)
            if some.root.size == 0:
                continue
            parted = self._parted(some)
            if parted is None:
                return True, nodes
            stack.append(parted)
        return False, nodes

    def _roots(self, start: int) -> _Nodes:
        """Some roots, each with the springs after it within limits."""
        values, limit = self.values, self.limit
        roots = np.arange(start, min(start + ROOTS, len(values)))
        own = values[roots]
        near = (values[start:] >= own.min(axis=0) - limit) & (values[start:] <= own.max(axis=0) + limit)
        springs = start + np.flatnonzero(near.all(axis=1))
        springs = springs[np.argsort(self.prices[springs], kind="stable")]
        apart = np.abs(values[springs] - own[:, None])
        inside = (apart <= limit).all(axis=2) & (springs > roots[:, None])
        place = np.empty(len(values), dtype=np.int64)
        place[springs] = np.arange(springs.size)
        return _Nodes(springs, place[roots], own, own, inside, apart.sum(axis=2))

    def _open(self, nodes: _Nodes, goal: np.float32) -> _Nodes:
        """The nodes whose hull can grow about enough springs under the cap, without springs that none can hold."""
        for _ in range(2):  # what is left out the first time makes the rest dearer
            so_far, cheapest, dearest = self._least(nodes)
            prices = self.prices[nodes.springs]
            least = nodes.growth + np.maximum(prices - dearest[:, None], np.float32(0.0))
            least += (so_far + cheapest)[:, None]
            inside = nodes.inside & (least < goal)
            nodes = replace(nodes, inside=inside).rows(inside.sum(axis=1) >= self.mates)
            if nodes.root.size == 0:
                return nodes
        nodes = nodes.fewer()
        so_far, cheapest, _ = self._least(nodes)
        growth = np.partition(np.where(nodes.inside, nodes.growth, FAR), self.mates - 1, axis=1)[:, self.mates - 1]
        return nodes.rows(so_far + cheapest + growth < goal)

    def _least(self, nodes: _Nodes) -> tuple[Single, Single, Single]:
        """Spread of each hull and price of its root; what its cheapest mates cost; the dearest of these; (n,) each."""
        so_far = np.asarray((nodes.high - nodes.low).sum(axis=1) + self.prices[nodes.springs[nodes.root]])
        place = np.cumsum(nodes.inside, axis=1, dtype=np.int16)  # they stand in order of price
        inside, prices = nodes.inside, self.prices[nodes.springs]
        return so_far, (inside & (place <= self.mates)) @ prices, (inside & (place == self.mates)) @ prices

    def _reach(self, nodes: _Nodes) -> tuple[Single, Single]:
        """How far the springs that may join lie beyond each hull, downward and upward, (n, d) each."""
        down, up = np.empty_like(nodes.low), np.empty_like(nodes.high)
        for c, along in enumerate(self.values[nodes.springs].T):
            order = np.argsort(along, kind="stable")
            ordered = nodes.inside[:, order]
            first, last = ordered.argmax(axis=1), order.size - 1 - ordered[:, ::-1].argmax(axis=1)
            down[:, c] = nodes.low[:, c] - along[order[first]]
            up[:, c] = along[order[last]] - nodes.high[:, c]
        return down, up

    def _parted(self, nodes: _Nodes) -> _Nodes | None:
        """Each node as two: the hull reaches beyond the middle of its widest gap, or stays on this side.

        None where no spring that may join lies beyond a hull: enough of those in it come to less than the cap.
        """
        gaps = np.concatenate(self._reach(nodes), axis=1)
        rows, d = np.arange(nodes.root.size), self.values.shape[1]
        face = gaps.argmax(axis=1)
        gap = gaps[rows, face]
        if gap.min() <= 0.0:
            return None
        along, upward = face % d, face >= d
        # seen along the face's own direction, so that both directions are one case
        sign = np.where(upward, np.float32(1.0), np.float32(-1.0))
        now = np.where(upward, nodes.high[rows, along], -nodes.low[rows, along])
        ahead = self.values[nodes.springs].T[along] * sign[:, None]
        beyond = ahead > (now + np.float32(0.5) * gap)[:, None]
        reached = np.where(nodes.inside & beyond, ahead, FAR).min(axis=1)
        low, high = nodes.low.copy(), nodes.high.copy()
        high[rows[upward], along[upward]] = reached[upward]
        low[rows[~upward], along[~upward]] = -reached[~upward]
        nearer = np.minimum(np.maximum(ahead - now[:, None], np.float32(0.0)), (reached - now)[:, None])
        within = ahead >= (reached - self.limit)[:, None]
        return _Nodes(
            nodes.springs,
            np.concatenate([nodes.root, nodes.root]),
            np.concatenate([low, nodes.low]),
            np.concatenate([high, nodes.high]),
            np.concatenate([nodes.inside & within, nodes.inside & ~beyond]),
            np.concatenate([nodes.growth - nearer, nodes.growth]),
        )
