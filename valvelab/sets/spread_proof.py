"""How little the total spread can be: a bound from prices, and the programme that closes the gap.

Choosing sets that share no spring is a set-packing problem. Its linear relaxation is solved by pricing sets in as they
are needed: for given prices of springs the best set is the cheapest filling of some box whose faces springs touch. The
prices bound every grouping from below; a box whose best set costs more than bound plus gap can't be part of a tighter
grouping, so the integer programme over the boxes that remain is exact. Where springs are kept together or apart, the
sets themselves are listed in place of boxes.

Source: column generation after Gilmore and Gomory with smoothed prices, variables fixed by reduced cost, from memory.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.least_spread import EQUAL, Effort, LeastSpread
from valvelab.sets.prices import PricedWindows
from valvelab.sets.programme import WindowProgram, relaxed, solve_program, window_program
from valvelab.sets.tray import SLACK, Grouping, Position, Progress, Units, Watch

STEPS = (0.3, 0.1, 0.03, 0.01, EQUAL)
"""How far below the best known a box has to be priced to be looked for: far ones first, they are found fast."""
ADD_A_ROUND, MOST_SETS = 150, 1_000
"""Sets taken into the relaxation at once, and held in it."""
SMOOTHING = 0.6
"""Share of the best prices so far in the prices that sets are sought with; it damps the swing from round to round."""
LISTED, SMALL = 40_000, 100
"""Sets that are listed where springs have conditions; springs in a tray above which listing boxes never ends."""
FORCED, OUTSIDE = 1e4, 1e7


# -- the branch search ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Boxes:
    """Boxes found: membership (b, u), the spread of a set that touches every face (b,), its spread + prices (b,).

    `complete` is False when there were too many, or time ran out: then boxes are missing.
    """

    masks: BoolArray
    cost: FloatArray
    value: FloatArray
    complete: bool


class _Full(Exception):
    """Enough boxes, or no time."""


class BoxSearch:
    """All boxes of a position that a set can touch on every face, or the sets themselves where units have conditions.

    Branches over one characteristic after another: a unit with the least and one with the greatest value are chosen,
    the units between them go on. A branch is cut when the spread so far, the least spread left and the lowest prices
    inside, the units on the faces among them, exceed `below`. `branches` bounds the work; those left over stay there.
    """

    def __init__(self, units: Units, position: Position, branches: int, watch: Watch) -> None:
        self.units, self.position, self.branches, self.watch = units, position, branches, watch
        self._allowed = np.flatnonzero(units.suiting(position))
        self._clear(np.zeros(units.count), inf, 0)

    def _clear(self, prices: FloatArray, below: float, most: int) -> None:
        self._prices, self._below, self._most = prices, below, most
        self._found: list[IntArray] = []
        self._cost: list[float] = []
        self._value: list[float] = []

    def run(self, prices: FloatArray, below: float, most: int) -> Boxes:
        """Those whose spread + prices (u,) come to no more than `below`, all plain numbers; at most `most`."""
        self._clear(prices, below, most)
        complete = True
        try:
            self._descend(self._allowed, 0, 0.0, ())
        except _Full:
            complete = False
        masks = np.zeros((len(self._found), self.units.count), dtype=np.bool_)
        for row, members in enumerate(self._found):
            masks[row, members] = True
        return Boxes(masks, np.array(self._cost), np.array(self._value), complete)

    def _step(self) -> None:
        self.branches -= 1
        if self.branches < 0 or (self.branches % 64 == 0 and self.watch.over()):
            raise _Full

    def _least_left(self, members: IntArray, c: int) -> float:
        """Least spread of any set of the members over the characteristics from `c` on."""
        if c >= self.units.limits.size or not self.units.plain:
            return 0.0
        k = self.position.size
        left = np.sort(self.units.low[members, c:], axis=0) / self.units.limits[c:]
        return float((left[k - 1 :] - left[: left.shape[0] - k + 1]).min(axis=0).sum())

    def _descend(self, members: IntArray, c: int, cost: float, faces: tuple[int, ...]) -> None:
        self._step()
        units = self.units
        ordered = members[np.argsort(units.low[members, c], kind="stable")]
        low, high = units.low[ordered, c], units.high[ordered, c]
        left = self._least_left(ordered, c + 1)
        first, last = np.triu_indices(ordered.size, self.position.size - 1 if units.plain else 0)
        ranges = (high[last] - low[first]) / self.units.limits[c]
        keep = (ranges <= SLACK) & (cost + ranges + left <= self._below)
        on_face = np.isin(ordered, faces)
        if faces:
            keep &= (low[first] <= low[on_face].min()) & (high[last] >= high[on_face].max())
        first, last, ranges = first[keep], last[keep], ranges[keep]
        inside = (low >= low[first, None]) & (high <= high[last, None])
        if units.plain:
            value = cost + ranges + self._lowest(self._prices[ordered], inside, on_face, first, last)
            rows = np.flatnonzero(value + left <= self._below)
        else:
            value = cost + ranges
            each = np.arange(first.size)
            whole = inside[each, first] & inside[each, last]
            rows = np.flatnonzero(whole & (inside @ units.weight[ordered] >= self.position.size))
        for row in rows:
            ends = (int(ordered[first[row]]), int(ordered[last[row]]))
            wider, inner = tuple(sorted({*faces, *ends})), ordered[inside[row]]
            total = cost + float(ranges[row])
            if c + 1 < self.units.limits.size:
                self._descend(inner, c + 1, total, wider)
            else:
                self._take(inner, total, float(value[row]), wider)

    def _lowest(
        self, prices: FloatArray, inside: BoolArray, on_face: BoolArray, first: IntArray, last: IntArray
    ) -> FloatArray:
        """The least prices of a set in each row of `inside` with the units on faces, and its two ends, among it."""
        k = self.position.size
        keys = np.where(inside, np.where(on_face, prices - FORCED, prices), OUTSIDE)
        rows = np.arange(first.size)
        for face in (first, last):
            keys[rows, face] = prices[face] - FORCED
        forced = (keys < -0.5 * FORCED).sum(axis=1)
        return np.asarray(np.partition(keys, k - 1, axis=1)[:, :k].sum(axis=1) + FORCED * forced)

    def _take(self, inner: IntArray, cost: float, value: float, faces: tuple[int, ...]) -> None:
        """A box, or every set in it that touches its faces."""
        rest = tuple(int(unit) for unit in inner if unit not in faces)
        room = self.position.size - int(self.units.weight[list(faces)].sum())
        for found in [inner] if self.units.plain else self._fillings(faces, rest, room):
            if len(self._found) >= self._most:
                raise _Full
            self._found.append(np.array(found))
            self._cost.append(cost)
            self._value.append(value)

    def _fillings(self, chosen: tuple[int, ...], rest: tuple[int, ...], room: int) -> Iterator[tuple[int, ...]]:
        """Beginnings of a set made whole with some of the rest."""
        self._step()
        if room <= 0:
            if room == 0 and not self.units.apart[np.ix_(chosen, chosen)].any():
                yield chosen
            return
        for place, unit in enumerate(rest):
            if not self.units.apart[unit, list(chosen)].any():
                weight = int(self.units.weight[unit])
                yield from self._fillings((*chosen, unit), rest[place + 1 :], room - weight)


# -- boxes and sets held -------------------------------------------------------------------------------------------


class Stock:
    """Boxes or sets of one position, each once; `whole` when there are no others."""

    def __init__(self, units: Units, position: Position) -> None:
        self.units, self.position = units, position
        self.keys: set[bytes] = set()
        self.whole = False
        self._hold(np.zeros((0, units.count), dtype=np.bool_))

    def _hold(self, masks: BoolArray) -> None:
        low, high = self.units.extents(masks)
        self.cost: FloatArray = ((high - low) / self.units.limits).sum(axis=1)
        self.table = PricedWindows.of(masks, self.units.weight, self.position.size)

    @property
    def masks(self) -> BoolArray:
        """Units (b, u) in each, no unit."""
        return self.table.masks

    def add(self, masks: BoolArray) -> int:
        """Take boxes (b, u) in, each once; a count of those that were new."""
        fresh = []
        for row, mask in enumerate(masks):
            if mask.tobytes() not in self.keys:
                self.keys.add(mask.tobytes())
                fresh.append(row)
        if fresh:
            self._hold(np.concatenate([self.masks, masks[fresh]]))
        return len(fresh)

    def keep(self, rows: IntArray) -> None:
        """Forget all but the rows (r,), numbers without unit."""
        self._hold(self.masks[rows])
        self.keys = {mask.tobytes() for mask in self.masks}

    def paid(self, prices: FloatArray) -> FloatArray:
        """Spread + prices of each set held (b,), plain numbers."""
        return np.asarray(self.cost + self.masks @ prices)

    def best_sets(self, prices: FloatArray) -> tuple[FloatArray, IntArray]:
        """Spread + prices (plain numbers) of each box's cheapest filling, and that filling's units (b, size)."""
        values, chosen = self.table.fillings(prices)
        return values + self.cost, chosen


def every_box(units: Units, watch: Watch, effort: Effort) -> list[Stock]:
    """For each position all its boxes, or all its sets where units have conditions, as far as they are few enough."""
    stocks = [Stock(units, position) for position in units.positions]
    branches, most = (effort.branches, effort.boxes) if units.plain else (2 * LISTED, LISTED)
    for stock in stocks if units.count <= SMALL else []:
        search = BoxSearch(units, stock.position, branches, watch)
        boxes = search.run(np.zeros(units.count), inf, most)
        if boxes.complete:
            stock.add(boxes.masks)
            stock.whole = True
    return stocks


# -- the proof -----------------------------------------------------------------------------------------------------


def prove_spread(
    stocks: list[Stock], found: LeastSpread, met: list[Grouping], watch: Watch, effort: Effort
) -> LeastSpread:
    """From a tight grouping towards a proven one.

    `stocks`: the boxes of each position (`every_box`); `met` are other groupings, for a start. The watch and the
    effort end it with the best found and its bound.
    """
    if found.proven or watch.over() or not (stocks[0].units.plain or all(stock.whole for stock in stocks)):
        return found
    return _Proof(stocks, found, met, watch, effort).run()


class _Proof:
    """The state of one proof; `sets` are those that the relaxation knows, for each position."""

    def __init__(
        self, stocks: list[Stock], found: LeastSpread, met: list[Grouping], watch: Watch, effort: Effort
    ) -> None:
        self.stocks, self.found, self.watch, self.effort = stocks, found, watch, effort
        self.units = stocks[0].units
        self.engines = len(found.grouping.sets) // len(stocks)
        self.searches = [BoxSearch(self.units, place, effort.branches, watch) for place in self.units.positions]
        self.sets = [Stock(self.units, position) for position in self.units.positions]
        self.centre: FloatArray | None = None
        for grouping in met:
            self._meet(grouping)

    def run(self) -> LeastSpread:
        """Rounds of pricing, then whole numbers."""
        for _ in range(self.effort.rounds):
            if self.watch.over() or self.found.proven:
                return self.found
            answer = relaxed(self._program(self.sets), self.engines, self.engines, self.watch, most=False)
            if answer is None:
                return self.found
            if self._round(answer.value, answer.springs, self._rewards(answer.springs)):
                break
        if self.found.proven or self.watch.over() or self.centre is None:
            return self.found
        return self._close(self.centre)

    def _meet(self, grouping: Grouping) -> None:
        """Sets and their boxes from a grouping."""
        for position, chosen in grouping.sets:
            mask = self.units.mask(chosen)
            self.sets[position].add(mask[None])
            if not self.stocks[position].whole:
                low, high = self.units.extents(mask[None])
                inside = (self.units.low >= low).all(axis=1) & (self.units.high <= high).all(axis=1)
                self.stocks[position].add((inside & self.units.suiting(self.units.positions[position]))[None])

    def _rewards(self, prices: FloatArray) -> list[float]:
        """What the cheapest set known costs at each position; the dearest are forgotten when there are too many."""
        rewards = []
        for known in self.sets:
            paid = known.paid(prices)
            rewards.append(float(paid.min()))
            if paid.size > MOST_SETS:
                known.keep(np.sort(np.argsort(paid, kind="stable")[: MOST_SETS // 2]))
        return rewards

    def _round(self, value: float, prices: FloatArray, rewards: list[float]) -> bool:
        """One round of pricing; True when nothing more is to be gained from it."""
        smooth = [] if self.centre is None else [SMOOTHING * self.centre + (1.0 - SMOOTHING) * prices]
        for sought in [*smooth, prices]:
            if self._price(sought, prices, rewards):
                return value - self.found.bound < EQUAL
        fresh, bound = 0, 0.0
        for number in range(len(self.stocks)):
            least, new = self._search(number, prices, rewards[number])
            fresh += new
            bound += self.engines * (-inf if least is None else least)
        if bound > -inf:
            self._bound(bound - float(prices.sum()), prices)
        if fresh:
            self._price(prices, prices, rewards)
        return not fresh

    def _bound(self, bound: float, prices: FloatArray) -> None:
        """Keep the best bound and the prices that gave it."""
        if self.centre is None or bound > self.found.bound:
            self.centre = prices
            self.found = replace(self.found, bound=max(self.found.bound, min(bound, self.found.total)))
            many = len(self.found.grouping.sets)
            self.watch.report(Progress("spread", many, None, self.found.total, self.found.bound))

    def _price(self, sought: FloatArray, prices: FloatArray, rewards: list[float]) -> int:
        """Sets from the boxes known that are worth taking in at `prices`, sought at smoothed prices."""
        added, bound = 0, 0.0
        for stock, known, reward in zip(self.stocks, self.sets, rewards, strict=True):
            values, chosen = stock.best_sets(sought)
            bound += self.engines * float(values.min())
            real = stock.cost + np.append(prices, 0.0)[chosen].sum(axis=1)
            good = np.flatnonzero(real < reward - EQUAL)
            added += known.add(_spread_out(chosen[good[np.argsort(real[good], kind="stable")]], known))
        if all(stock.whole for stock in self.stocks):
            self._bound(bound - float(sought.sum()), sought)
        return added

    def _search(self, number: int, prices: FloatArray, reward: float) -> tuple[float | None, int]:
        """Look for boxes that are missing; the least spread + prices there is (None when cut short), and how many."""
        stock = self.stocks[number]
        if stock.whole:
            return float(stock.best_sets(prices)[0].min()), 0
        boxes = self._boxes(number, prices, reward - STEPS[0], 2 * ADD_A_ROUND)
        for step in STEPS[1:]:
            if boxes.cost.size or not boxes.complete:
                break
            boxes = self._boxes(number, prices, reward - step, 2 * ADD_A_ROUND)
        fresh = stock.add(boxes.masks)
        if not boxes.complete:
            return None, fresh
        return (float(boxes.value.min()) if boxes.cost.size else reward - EQUAL), fresh

    def _boxes(self, number: int, prices: FloatArray, below: float, most: int) -> Boxes:
        """Boxes of one position worth no more than `below`, paid for from the effort left."""
        stock = self.stocks[number]
        if not stock.whole:
            return self.searches[number].run(prices, below, most)
        values, _ = stock.best_sets(prices)
        keep = values <= below
        return Boxes(stock.masks[keep], stock.cost[keep], values[keep], complete=bool(keep.sum() <= most))

    def _close(self, centre: FloatArray) -> LeastSpread:
        """Whole sets: first from the boxes closest to the bound, then from all that a tighter grouping could use."""
        rewards = [float(stock.best_sets(centre)[0].min()) for stock in self.stocks]
        least = [self._search(number, centre, reward)[0] for number, reward in enumerate(rewards)]
        for share in (0.25, 1.0):
            gap = share * (self.found.total - self.found.bound) + EQUAL
            gathered = [
                self._boxes(number, centre, value + gap, self.effort.last_boxes)
                for number, value in enumerate(least)
                if value is not None
            ]
            if len(gathered) < len(least) or not all(boxes.complete for boxes in gathered) or self.watch.over():
                break
            self._whole(gathered, exact=share == 1.0)
            if self.found.proven:
                break
        return self.found

    def _program(self, held: Sequence[Stock | Boxes]) -> WindowProgram:
        return window_program(self.units, [one.masks for one in held], [one.cost for one in held])

    def _whole(self, boxes: list[Boxes], *, exact: bool) -> None:
        """The best grouping from some boxes; with `exact` they are all that matter, and its bound counts."""
        program = self._program(boxes)
        grouping, solved = solve_program(
            program, self.engines, self.engines, self.watch, most=False, most_nodes=self.effort.nodes
        )
        total = inf if grouping is None else self.units.total(grouping)
        if grouping is not None and total < self.found.total - EQUAL:
            self.found = LeastSpread(grouping, total, min(self.found.bound, total))
        if exact:
            bound = self.found.total if solved.infeasible else solved.bound
            self.found = replace(self.found, bound=max(self.found.bound, min(bound, self.found.total)))


def _spread_out(rows: IntArray, known: Stock) -> BoolArray:
    """Of sets as rows of units, the first ones that are not known, so that no unit is in many of them; as masks."""
    count = known.masks.shape[1]
    used = np.zeros(count + 1, dtype=np.int64)
    fresh: dict[bytes, BoolArray] = {}
    for row in rows:
        mask = np.zeros(count + 1, dtype=np.bool_)
        mask[row] = True
        key = mask[:-1].tobytes()
        if (fresh and used[row].min() > 3) or key in known.keys or key in fresh:
            continue
        used[row] += 1
        fresh[key] = mask[:-1]
        if len(fresh) == ADD_A_ROUND:
            break
    return np.array([*fresh.values()], dtype=np.bool_).reshape(-1, count)
