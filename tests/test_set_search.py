"""The search for the most sets, room by room: trays whose answer is known by construction or by trying everything."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import combinations, product
from math import inf
from random import Random
from threading import Barrier, Event

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array
from something import each

from valvelab.arrays import FloatArray
from valvelab.inspection.springs.beside import beside
from valvelab.sets.annealing import anneal
from valvelab.sets.boxes import BoxSearch, every_box
from valvelab.sets.exchanges import tightened
from valvelab.sets.least_spread import QUICK, THOROUGH, Effort, LeastSpread, line_bound
from valvelab.sets.match import best_cuts, match
from valvelab.sets.most_sets import WindowSearch
from valvelab.sets.neighbour_bound import spring_costs
from valvelab.sets.number_by_baths import most_by_baths, useful_springs
from valvelab.sets.prices import Ceiling, PricedWindows
from valvelab.sets.programme import solve_program, window_program
from valvelab.sets.scarce_bound import too_many
from valvelab.sets.seating import Ground, Seating, one_engine_more
from valvelab.sets.spread_proof import prove_spread
from valvelab.sets.tray import Grouping, MostSets, Position, Tray, Watch, tray, units_of
from valvelab.sets.windows import greedy_sets, maximal_windows, simple_bound


def planted(sets: int, size: int, seed: int, loners: int = 0) -> Tray:
    """A tray cut beforehand into as many sets as it can give; loners fit nowhere. Shuffled."""
    generator = np.random.default_rng(seed)
    middles = generator.normal(scale=0.8, size=(sets, 3))
    values = np.concatenate([middle + generator.uniform(-0.5, 0.5, size=(size, 3)) for middle in middles])
    values = np.concatenate([values, 10.0 + 5.0 * np.arange(loners)[:, None] + np.zeros((loners, 3))])
    values = generator.permutation(values)
    return tray(tuple(f"S{i}" for i in range(len(values))), values, np.ones(3), size)


@pytest.mark.parametrize(("sets", "size", "loners"), [(6, 16, 5), (12, 8, 9), (20, 4, 0)])
def test_a_tray_cut_beforehand_is_put_together_again(sets: int, size: int, loners: int) -> None:
    """By construction there are `sets` sets, and springs for no more."""
    asked = planted(sets, size, 7, loners)
    answer = match(asked)
    assert len(answer.sets) == answer.bound_sets == sets
    assert answer.number_proven


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([0.7, 1.0, 1.5]))
def test_windows_against_every_triple_of_lower_ends(seed: int, scale: float) -> None:
    """A window is maximal when no spring can be added; looked for here from every corner that springs can make."""
    generator = np.random.default_rng(seed)
    limits = scale * np.array([1.4, 1.5, 1.6])
    asked = tray(tuple("abcdefghijklmn"), generator.normal(size=(14, 3)), limits, 3)
    windows, whole = maximal_windows(units_of(asked), asked.asked()[0], Watch())
    seen = set()
    for corner in product(*asked.values.T):
        inside = ((asked.values >= corner) & (asked.values <= np.array(corner) + asked.limits + 1e-12)).all(axis=1)
        seen.add(frozenset(np.flatnonzero(inside).tolist()))
    largest = {one for one in seen if len(one) >= 3 and not any(one < other for other in seen)}
    assert whole
    assert len(windows) == len(largest)
    assert {frozenset(np.flatnonzero(mask).tolist()) for mask in windows} == largest
    none, all_of_them = maximal_windows(units_of(asked), asked.asked()[0], Watch(), 0, all_or_none=True)
    assert (len(none), all_of_them) == (0, not largest)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([1.0, 1.3, 1.6]))
def test_the_bound_by_pairs_of_windows_is_none_below_what_can_be_had(seed: int, scale: float) -> None:
    """Every two disjoint sets of three of nine springs, tried: where there are some, the bound allows two."""
    generator = np.random.default_rng(seed)
    asked = tray(tuple("abcdefghi"), generator.normal(size=(9, 2)), scale * np.ones(2), 3)
    windows, _ = maximal_windows(units_of(asked), asked.asked()[0], Watch())
    fitting = [
        set(one) for one in combinations(range(9), 3) if (np.ptp(asked.values[list(one)], axis=0) <= scale).all()
    ]
    both = any(not one & other for one, other in combinations(fitting, 2))
    assert simple_bound(units_of(asked), [windows]) >= (2 if both else bool(fitting))


def test_two_windows_with_too_few_springs_together_hold_one_set() -> None:
    """Three springs in the middle and two at each of three ends that don't fit together: no two sets of four."""
    middle, ends = np.zeros((3, 2)), np.repeat([[0.9, -0.6], [-0.9, -0.6], [0.0, 0.9]], 2, axis=0)
    asked = tray(tuple("abcdefghi"), np.concatenate([middle, ends]), np.ones(2), 4)
    units = units_of(asked)
    windows, whole = maximal_windows(units, units.positions[0], Watch())
    assert whole
    assert sorted(windows.sum(axis=1)) == [5, 5, 5]
    assert windows.any(axis=0).sum() == 9
    assert simple_bound(units, [windows]) == 1
    assert match(asked).number_proven


def test_annealed_sets_keep_limits_and_conditions() -> None:
    generator = np.random.default_rng(5)
    values = generator.normal(size=(90, 2))
    together, apart = ((0, 1, 2), (10, 11)), ((20, 21), (21, 22), (3, 10))
    names = tuple(f"S{i}" for i in range(90))
    asked = tray(names, values, np.array([1.2, 1.2]), 6, together=together, apart=apart)
    units = units_of(asked)
    windows, _ = maximal_windows(units, units.positions[0], Watch())
    start = Grouping(greedy_sets(units, [windows]).sets[:-2])
    ground = Ground.of(units, windows.any(axis=0))
    around = [[ground.around(chosen) for _, chosen in start.sets]]
    found = one_engine_more(ground, around, 20_000, Watch(), lambda: False)
    assert found is not None
    grouping, _ = found
    assert len(grouping.sets) == len(start.sets) + 1
    again = one_engine_more(ground, around, 20_000, Watch(), lambda: False)
    assert again is not None
    assert again[0] == grouping
    used = [unit for _, chosen in grouping.sets for unit in chosen]
    assert len(used) == len(set(used))
    for _, chosen in grouping.sets:
        assert units.weight[list(chosen)].sum() == 6
        assert not units.apart[np.ix_(chosen, chosen)].any()
        index = list(chosen)
        assert (units.high[index].max(axis=0) - units.low[index].min(axis=0) <= asked.limits * (1 + 1e-9)).all()
        assert units.spread(chosen) <= 2.0 + 1e-9


def test_units_with_conditions_are_seated_too() -> None:
    """Every spring is needed: two pairs kept together and two that never meet."""
    values = np.array([[0.0], [0.1], [0.2], [0.3], [5.0], [5.1], [5.2], [5.3]])
    names = tuple("abcdefgh")
    asked = tray(names, values, np.array([1.0]), 2, together=((0, 3), (4, 7)), apart=((1, 5),))
    units = units_of(asked)
    ground = Ground.of(units, np.ones(units.count, dtype=np.bool_))
    seating = Seating(ground, [0, 0, 0, 0], [(0,), (0,), (3,), (3,)], Random(0))  # noqa: S311 - nothing secret
    assert seating.anneal(20_000, lambda: False)
    sets = {frozenset(m for unit in chosen for m in units.members[unit]) for _, chosen in seating.grouping().sets}
    assert sets == {frozenset({0, 3}), frozenset({1, 2}), frozenset({4, 7}), frozenset({5, 6})}


def test_the_bound_is_lowered_where_springs_are_enough_but_do_not_fit() -> None:
    """Three groups of five springs far apart: one set of four each, though fifteen springs would fill three and a bit.

    With nine in one group two sets fit there, so four in all; from the arithmetic alone.
    """
    places = np.array([0.0] * 5 + [10.0] * 5 + [20.0] * 9)
    values = np.c_[places + np.linspace(0.0, 0.5, 19), np.linspace(0.0, 0.3, 19)]
    asked = tray(tuple(f"S{i}" for i in range(19)), values, np.array([1.0, 1.0]), 4)
    units = units_of(asked)
    windows, _ = maximal_windows(units, units.positions[0], Watch())
    start = MostSets(greedy_sets(units, [windows]), 4, 19)
    found = WindowSearch(units, [windows], start, Watch()).run()
    assert (found.complete, found.bound) == (4, 4)


def test_a_solver_that_overstays_is_left_behind() -> None:
    """The solver can't be interrupted; past its time the search goes on without it."""
    done = Event()
    assert beside(lambda: done.wait(60.0), Watch(seconds_left=lambda: -10.0)) is None
    assert beside(lambda: done.wait(60.0), Watch(cancelled=lambda: True)) is None
    done.set()
    assert beside(lambda: 4, Watch()) == 4


def test_what_goes_wrong_in_the_solver_is_raised_where_it_is_waited_for() -> None:
    with pytest.raises(ZeroDivisionError):
        beside(lambda: 1 // 0, Watch())


def test_two_searches_at_once_find_the_same() -> None:
    names = tuple(f"S{n}" for n in range(24))
    asked = tray(names, np.random.default_rng(3).normal(size=(24, 2)), np.array([0.8, 0.8]), 4)
    units = units_of(asked)
    windows, _ = maximal_windows(units, units.positions[0], Watch())
    begun = Barrier(2)

    def search(_number: int) -> int:
        begun.wait()
        start = MostSets(greedy_sets(units, [windows]), 0, 6)
        return WindowSearch(units, [windows], start, Watch()).run().complete

    with ThreadPoolExecutor(2) as pool:
        one, other = pool.map(search, range(2))
    assert one == other


# -- bounds --------------------------------------------------------------------------------------------------------


def small(seed: int, count: int = 9, *, tied: bool = False) -> Tray:
    """A tray small enough to try everything; `tied` has two springs kept together and two apart, and equal values."""
    values = np.random.default_rng(seed).normal(size=(count, 2))
    if not tied:
        return tray(tuple("abcdefghijkl"[:count]), values, np.array([1.6, 1.8]), 3)
    values = np.round(values, 1)
    return tray(tuple("abcdefghijkl"[:count]), values, np.array([1.6, 1.8]), 3, together=((0, 1),), apart=((2, 3),))


def possible(asked: Tray) -> dict[frozenset[int], float]:
    """Every set that limits and conditions allow, by trying all, with its spread."""
    sets = {}
    for chosen in combinations(range(len(asked.names)), asked.size):
        ranges = np.ptp(asked.values[list(chosen)], axis=0) / asked.limits
        torn = any(0 < len(set(chosen) & set(group)) < len(group) for group in asked.together)
        if (ranges <= 1.0 + 1e-12).all() and not torn and not any(set(pair) <= set(chosen) for pair in asked.apart):
            sets[frozenset(chosen)] = float(ranges.sum())
    return sets


@settings(max_examples=30)
@given(st.integers(0, 10**6), st.integers(6, 10))
def test_sets_with_conditions_are_listed_each_once(seed: int, count: int) -> None:
    asked = small(seed, count, tied=True)
    units = units_of(asked)
    (stock,) = every_box(units, Watch(), 10**6, 10**6, 100)
    found = [frozenset(m for u in np.flatnonzero(mask) for m in units.members[u]) for mask in stock.masks]
    assert stock.whole
    assert len(found) == len(set(found))
    assert dict(zip(found, stock.cost, strict=True)) == pytest.approx(possible(asked))


@settings(max_examples=30)
@given(st.integers(0, 10**6), st.integers(6, 10))
def test_boxes_hold_every_set_at_its_price_and_no_cheaper_one(seed: int, count: int) -> None:
    """For any prices the cheapest set is the cheapest filling of a box; with a threshold none below it is missed."""
    asked = small(seed, count)
    units, place = units_of(asked), asked.asked()[0]
    prices = np.random.default_rng(seed).uniform(0.0, 1.0, count)
    worth = [cost + float(prices[list(chosen)].sum()) for chosen, cost in possible(asked).items()]
    boxes = BoxSearch(units, place, 10**6, Watch()).run(prices, inf, 10**6)
    assert boxes.complete
    assert min(boxes.value, default=inf) == pytest.approx(min(worth, default=inf))
    if worth:
        middle = float(np.median(worth)) + 1e-9
        some = BoxSearch(units, place, 10**6, Watch()).run(prices, middle, 10**6)
        assert {mask.tobytes() for mask in some.masks} == {
            mask.tobytes() for mask, value in zip(boxes.masks, boxes.value, strict=True) if value <= middle
        }
    assert not BoxSearch(units, place, 0, Watch()).run(prices, inf, 10**6).complete


@given(st.integers(0, 10**6))
def test_cheapest_fillings_of_windows(seed: int) -> None:
    generator = np.random.default_rng(seed)
    masks = generator.random((6, 9)) < 0.8
    masks = np.vstack([masks[masks.sum(axis=1) >= 4], np.ones((1, 9), dtype=np.bool_)])
    prices = generator.random(9)
    table = PricedWindows.of(masks, np.ones(9, dtype=np.int64), 4)
    values, units = table.fillings(prices)
    for mask, cheapest, value, chosen in each(zip(masks, table.cheapest(prices), values, units, strict=True)):
        least = np.sort(prices[mask])[:4].sum()
        assert (cheapest, value, prices[chosen].sum()) == pytest.approx((least, least, least))
        assert mask[chosen].all()
        assert len(set(chosen.tolist())) == 4


@settings(max_examples=20)
@given(st.integers(0, 10**6), st.booleans())
def test_no_round_of_prices_puts_the_bound_below_the_truth(seed: int, tied: bool) -> None:
    asked = small(seed, tied=tied)
    units = units_of(asked)
    windows, _ = maximal_windows(units, units.positions[0], Watch())
    start = MostSets(greedy_sets(units, [windows]), 0, 3)
    most = len(match(asked).sets)
    if not len(windows):
        assert most == 0
        return
    ceiling = Ceiling(units, [windows], start, Watch())
    while ceiling.lower():
        assert ceiling.bound >= most
    assert most <= ceiling.bound <= 3


def test_a_programme_of_whole_sets_and_boxes_uses_no_spring_twice() -> None:
    """One box is a set by itself, two more springs flow into: the springs of the first are not to flow again."""
    values = np.arange(6.0)[:, None] / 10.0
    asked = tray(tuple("abcdef"), values, np.array([1.0]), 3)
    units = units_of(asked)
    masks = np.array([[1, 1, 1, 0, 0, 0], [1, 1, 1, 1, 1, 1]], dtype=np.bool_)
    program = window_program(units, [masks], [np.array([0.2, 0.5])])
    grouping, solved = solve_program(program, 2, 2, Watch(), most=False)
    assert grouping is not None
    assert sorted(unit for _, chosen in grouping.sets for unit in chosen) == list(range(6))
    assert (0, (0, 1, 2)) in grouping.sets
    assert solved.bound == pytest.approx(0.7)
    assert solve_program(program, 3, 3, Watch(), most=False)[1].infeasible


def most_disjoint(sets: list[frozenset[int]]) -> int:
    """The most of some sets that share no spring, by trying all: the first one is taken, or not."""
    if not sets:
        return 0
    first, rest = sets[0], sets[1:]
    return max(1 + most_disjoint([one for one in rest if not one & first]), most_disjoint(rest))


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6))
def test_scarce_springs_refute_no_number_that_there_is(seed: int) -> None:
    values = np.random.default_rng(seed).normal(size=(12, 3))
    asked = tray(tuple("abcdefghijkl"), values, np.full(3, 1.5), 4)
    units = units_of(asked)
    of_use = useful_springs(units, Grouping(()))
    assert not too_many(units, of_use, most_disjoint(list(possible(asked))), Watch())


def test_scarce_springs_refute_what_their_mates_do_not_suffice_for() -> None:
    """Three groups of seven far apart give a set of four each, though there are springs for five sets."""
    places = np.repeat([0.0, 10.0, 20.0], 7)
    values = np.c_[places + np.tile(np.linspace(0.0, 0.5, 7), 3), np.linspace(0.0, 0.3, 21)]
    asked = tray(tuple(f"S{i}" for i in range(21)), values, np.array([1.0, 1.0]), 4)
    units = units_of(asked)
    assert useful_springs(units, Grouping(())).all()
    assert [too_many(units, np.ones(21, dtype=np.bool_), count, Watch()) for count in (3, 4, 5)] == [False, True, True]
    answer = match(asked)
    assert (len(answer.sets), answer.bound_sets) == (3, 3)


@pytest.mark.parametrize("seed", range(4))
def test_a_number_that_scarce_springs_prove_is_what_the_solver_finds(seed: int) -> None:
    """Against the integer programme over all windows, which knows nothing of scarce springs."""
    values = np.random.default_rng(seed).normal(size=(48, 3))
    asked = tray(tuple(f"S{i}" for i in range(48)), values, np.full(3, 1.2), 8)
    units = units_of(asked)
    windows, whole = maximal_windows(units, units.positions[0], Watch())
    assert whole
    grouping, solved = solve_program(window_program(units, [windows]), 0, 6, Watch(), most=True)
    assert grouping is not None
    answer = match(asked)
    assert (len(answer.sets), answer.bound_sets) == (len(grouping.sets), len(grouping.sets))
    assert solved.bound == pytest.approx(-len(grouping.sets))


@pytest.mark.parametrize("seed", range(4))
def test_windows_about_some_springs_are_those_of_all_that_hold_one(seed: int) -> None:
    values = np.random.default_rng(seed).normal(size=(30, 3))
    units = units_of(tray(tuple(map(str, range(30))), values, np.full(3, 1.4), 3))
    some = np.zeros(30, dtype=np.bool_)
    some[[3, 11, 12]] = True
    every, _ = maximal_windows(units, units.positions[0], Watch())
    about, whole = maximal_windows(units, units.positions[0], Watch(), all_or_none=True, holding=some)
    assert whole
    assert {mask.tobytes() for mask in about} == {mask.tobytes() for mask in every if mask[some].any()}
    assert len(about) > 0


# -- annealing and exchanges ---------------------------------------------------------------------------------------


class Steps:
    """A walk on the whole numbers whose cost is the distance from 7."""

    def __init__(self) -> None:
        self.random = Random(3)  # noqa: S311 - nothing secret
        self.at = self.next = 40
        self.left = 0

    def offer(self) -> float | None:
        step = self.random.choice((-1, 0, 1))
        self.next = self.at + step
        return float(abs(self.next - 7) - abs(self.at - 7)) if step else None

    def take(self) -> None:
        self.at = self.next

    def leave(self) -> None:
        self.left += 1


def test_annealing_takes_rises_while_hot_and_ends_in_the_hollow() -> None:
    walk, rises = Steps(), []
    for rise in anneal(walk, 20_000, 3.0, 0.01, lambda: False):
        rises.append(rise)
        assert sum(rises) == abs(walk.at - 7) - 33
    assert walk.at == 7
    assert rises.count(1.0) > 100
    assert walk.left > 100
    assert not list(anneal(Steps(), 1000, 1.0, 0.1, lambda: True))


def test_exchanges_tighten_and_keep_what_is_asked() -> None:
    asked = planted(6, 6, 11, 3)
    units = units_of(asked)
    windows, _ = maximal_windows(units, units.positions[0], Watch())
    start = match(asked, effort=QUICK)
    loose = Grouping(tuple((0, one.springs) for one in start.sets))
    shaken = greedy_sets(units, [windows])
    for grouping in (loose, shaken):
        met = tightened(units, grouping, Watch(), 1)
        totals = [units.total(one) for one in (grouping, *met)]
        assert totals[-1] == min(totals)
        for _, chosen in met[-1].sets:
            assert (np.ptp(asked.values[list(chosen)], axis=0) <= asked.limits * (1 + 1e-9)).all()
        assert len({unit for _, chosen in met[-1].sets for unit in chosen}) == 6 * len(grouping.sets)
        assert line_bound(units, len(grouping.sets)) <= totals[-1]


# -- the proof of the spread ---------------------------------------------------------------------------------------


@settings(max_examples=20)
@given(st.integers(0, 10**6), st.booleans())
def test_a_proof_starts_from_any_grouping_and_ends_with_the_least(seed: int, tied: bool) -> None:
    """From a loose grouping to the least of all choices of two sets, which are tried one by one."""
    asked = small(seed, tied=tied)
    units = units_of(asked)
    worth = possible(asked)
    totals = {(a, b): worth[a] + worth[b] for a, b in combinations(worth, 2) if not a & b}
    if not totals:
        assert len(match(asked).sets) < 2
        return
    number = {spring: unit for unit, members in enumerate(units.members) for spring in members}
    loosest = max(totals, key=lambda pair: totals[pair])
    start = Grouping(tuple(sorted((0, tuple(sorted({number[m] for m in one}))) for one in loosest)))
    stocks = every_box(units, Watch(), 10**6, 10**6, 100)
    answer = prove_spread(stocks, LeastSpread(start, totals[loosest], 0.0), [start], Watch(), THOROUGH)
    assert answer.proven
    assert answer.total == pytest.approx(min(totals.values()), abs=1e-6)


def least_by_listing(values: FloatArray, size: int, sets: int, known: float) -> float:
    """The least total of `sets` sets, limits 1: all sets listed, their relaxation solved, and what it leaves open.

    A set whose reduced cost exceeds the gap between `known` and the relaxation is in no choice tighter than `known`.
    """
    chosen = np.array(list(combinations(range(len(values)), size)))
    ranges = np.max(values[chosen], axis=1) - np.min(values[chosen], axis=1)
    fits = (ranges <= 1.0).all(axis=1)
    chosen, cost = chosen[fits], ranges[fits].sum(axis=1)
    assert len(chosen) > 20_000
    each = np.repeat(np.arange(len(chosen)), size)
    rows = csr_array((np.ones(chosen.size), (chosen.ravel(), each)), shape=(len(values), len(chosen)))
    relaxed = linprog(
        cost, A_ub=rows, b_ub=np.ones(len(values)), A_eq=np.ones((1, len(cost))), b_eq=[sets], method="highs-ds"
    )
    reduced = cost - relaxed.ineqlin.marginals[chosen].sum(axis=1) - relaxed.eqlin.marginals[0]
    kept = np.flatnonzero(reduced <= known - relaxed.fun + 1e-6)
    used = [LinearConstraint(rows[:, kept], -np.inf, 1.0), LinearConstraint(np.ones((1, kept.size)), sets, sets)]
    answer = milp(cost[kept], constraints=used, integrality=np.ones(kept.size), bounds=Bounds(0, 1))
    return float(answer.fun)


@pytest.mark.parametrize("effort", [Effort(), THOROUGH])
def test_the_least_spread_of_thirty_springs_in_sixes_is_proven(effort: Effort) -> None:
    values = np.random.default_rng(1).normal(size=(30, 2)) / 1.5
    asked = tray(tuple(f"S{i}" for i in range(30)), values, np.ones(2), 6)
    answer = match(asked, effort=effort)
    assert (len(answer.sets), answer.number_proven, answer.spread_proven) == (4, True, True)
    assert len({spring for one in answer.sets for spring in one.springs}) == 24
    assert answer.total_spread == pytest.approx(sum(float(one.spread.sum()) for one in answer.sets), abs=1e-9)
    assert answer.total_spread == pytest.approx(least_by_listing(values, 6, 4, answer.total_spread + 0.01), abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_springs_of_some_use_against_every_choice_of_mates(seed: int) -> None:
    """A spring is of use when it and some three others keep all limits; every four are tried here."""
    values = np.random.default_rng(seed).normal(size=(14, 3))
    asked = tray(tuple("abcdefghijklmn"), values, np.full(3, 1.3), 4)
    useful = set()
    for four in combinations(range(14), 4):
        if (np.ptp(values[list(four)], axis=0) <= 1.3).all():
            useful |= set(four)
    assert set(np.flatnonzero(useful_springs(units_of(asked), Grouping(()))).tolist()) == useful


def test_a_tray_of_five_characteristics_cut_beforehand_is_put_together_again() -> None:
    """By construction there are ten sets; sorted by one characteristic and cut there are far fewer."""
    sets, size = 10, 16
    generator = np.random.default_rng(11)
    middles = generator.normal(size=(sets, 5))
    values = np.concatenate([middle + generator.uniform(-0.5, 0.5, size=(size, 5)) for middle in middles])
    lonely = generator.normal(scale=1.5, size=(3 * size, 5))
    asked = tray(tuple(map(str, range(len(values) + 3 * size))), np.concatenate([values, lonely]), np.ones(5), size)
    answer = match(asked)
    assert len(answer.sets) == sets
    for one in each(answer.sets):
        assert (one.spread <= asked.limits * (1.0 + 1e-12)).all()
    springs = [spring for one in answer.sets for spring in one.springs]
    assert len(set(springs)) == len(springs) == size * len(answer.sets)
    assert answer.bound_sets >= len(answer.sets)


def baths(asked: Tray) -> MostSets:
    """The number of sets by baths alone, from the bound that the number of springs gives."""
    units = units_of(asked)
    costs = [spring_costs(units, position) for position in units.positions]
    most = int(units.weight.sum()) // sum(position.size for position in units.positions)
    return most_by_baths(units, costs, MostSets(Grouping(()), 0, most), Watch())


def of_a_tester(count: int, scale: float) -> Tray:
    """Springs as a tester knows them: two forces, rate, free length, solid height; limits in standard deviations."""
    generator = np.random.default_rng(2)
    free, rate, solid = (generator.normal(size=count) for _ in range(3))
    values = np.column_stack([0.9 * free + 0.4 * rate, 0.6 * free + 0.8 * rate, rate, free, solid])
    return tray(tuple(map(str, range(count))), values, scale * values.std(axis=0), 8)


def test_more_sets_than_sorting_gives_where_springs_have_five_characteristics() -> None:
    asked = of_a_tester(160, 1.5)
    answer = baths(asked)
    by_sorting = max(len(best_cuts(asked.values, asked.limits, 8, c).sets) for c in range(5))
    assert answer.complete == len(answer.grouping.sets) >= 2 * by_sorting
    assert answer.complete >= 0.85 * answer.bound


def test_conditions_do_not_cost_sets_where_springs_have_five_characteristics() -> None:
    """Three pairs kept together and two apart, or half of the places for stiffer springs: nearly as many sets."""
    asked = of_a_tester(120, 2.0)
    many = baths(asked).complete
    near = np.abs(asked.values[:, None] - asked.values).max(axis=2) + 9.0 * np.eye(120)
    pairs = tuple((spring, int(near[spring].argmin())) for spring in range(3))
    wished = replace(asked, together=pairs, apart=((10, 11), (12, 13)))
    members = units_of(wished).members
    sets = [{spring for unit in one for spring in members[unit]} for _, one in baths(wished).grouping.sets]
    assert len(sets) >= 0.85 * many
    for one in each(sets):
        assert len(one) == 8
        assert all((a in one) == (b in one) for a, b in pairs)
        assert not {10, 11} <= one
        assert not {12, 13} <= one
        assert (np.ptp(asked.values[sorted(one)], axis=0) <= asked.limits * (1.0 + 1e-12)).all()
    no = np.full(5, inf)
    places = (Position("intake", 8, -no, no), Position("exhaust", 8, np.array([-inf, -inf, -0.3, -inf, -inf]), no))
    engines = baths(replace(asked, positions=places))
    assert 2 * engines.complete == len(engines.grouping.sets) >= 0.85 * many
    for one in each([one for position, one in engines.grouping.sets if position == 1]):
        assert (asked.values[list(one), 2] >= -0.3).all()
