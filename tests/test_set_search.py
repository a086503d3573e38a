"""The search for the most sets: trays whose answer is known by construction, rows against every whole choice."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor
from itertools import combinations, product
from random import Random
from threading import Barrier, Event

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from valvelab.sets.beside import short_turns
from valvelab.sets.match import match
from valvelab.sets.most_sets import WindowSearch
from valvelab.sets.rounded_rows import Rounded
from valvelab.sets.seating import Ground, Seating, anneal, one_engine_more
from valvelab.sets.solver import beside
from valvelab.sets.tray import Grouping, Tray, Watch, spread_of, tray, units_of
from valvelab.sets.windows import MostSets, greedy_sets, maximal_windows, windows_around


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


def test_windows_against_every_triple_of_lower_ends() -> None:
    """A window is maximal when no spring can be added; looked for here from every corner that springs can make."""
    generator = np.random.default_rng(3)
    asked = tray(tuple("abcdefghijkl"), generator.normal(size=(12, 3)), np.array([1.4, 1.5, 1.6]), 3)
    windows, whole = maximal_windows(units_of(asked), asked.limits, asked.asked()[0], Watch())
    seen = set()
    for corner in product(*asked.values.T):
        inside = ((asked.values >= corner) & (asked.values <= np.array(corner) + asked.limits + 1e-12)).all(axis=1)
        seen.add(frozenset(np.flatnonzero(inside).tolist()))
    largest = {one for one in seen if len(one) >= 3 and not any(one < other for other in seen)}
    assert whole
    assert {frozenset(np.flatnonzero(mask).tolist()) for mask in windows} == largest


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.integers(2, 4), st.integers(2, 6))
def test_no_choice_of_sets_breaks_a_rounded_row(seed: int, size: int, divisor: int) -> None:
    """Every whole choice of sets that share no spring, by trying all, keeps to the row."""
    generator = np.random.default_rng(seed)
    masks = generator.random((3, 9)) < 0.6
    row = Rounded(generator.random(9) < 0.6, divisor)
    takes = row.takes(masks, size)

    def most(free: frozenset[int], window: int) -> float:
        best = 0.0 if window + 1 == len(masks) else most(free, window + 1)
        for chosen in combinations(sorted(free & set(np.flatnonzero(masks[window]).tolist())), size):
            best = max(best, float(takes[window]) + most(free - set(chosen), window))
        return best

    assert most(frozenset(range(9)), 0) <= row.most + 1e-9


def test_annealed_sets_keep_limits_and_conditions() -> None:
    generator = np.random.default_rng(5)
    values = generator.normal(size=(90, 2))
    together, apart = ((0, 1, 2), (10, 11)), ((20, 21), (21, 22), (3, 10))
    names = tuple(f"S{i}" for i in range(90))
    asked = tray(names, values, np.array([1.2, 1.2]), 6, together=together, apart=apart)
    units, positions = units_of(asked), asked.asked()
    windows, _ = maximal_windows(units, asked.limits, positions[0], Watch())
    start = Grouping(greedy_sets(units, positions, [windows]).sets[:-2])
    ground = Ground.of(units, positions, [windows], asked.limits)
    found = one_engine_more(ground, windows_around([windows], start), 0, Watch(), lambda: False)
    assert found is not None
    grouping, _ = found
    assert len(grouping.sets) == len(start.sets) + 1
    again = one_engine_more(ground, windows_around([windows], start), 0, Watch(), lambda: False)
    assert again is not None
    assert again[0] == grouping
    used = [unit for _, chosen in grouping.sets for unit in chosen]
    assert len(used) == len(set(used))
    for _, chosen in grouping.sets:
        assert units.weight[list(chosen)].sum() == 6
        assert not units.apart[np.ix_(chosen, chosen)].any()
        index = list(chosen)
        assert (units.high[index].max(axis=0) - units.low[index].min(axis=0) <= asked.limits * (1 + 1e-9)).all()
        assert spread_of(units, asked.limits, chosen) <= 2.0 + 1e-9


def test_units_with_conditions_are_seated_too() -> None:
    """Every spring is needed: two pairs kept together and two that never meet."""
    values = np.array([[0.0], [0.1], [0.2], [0.3], [5.0], [5.1], [5.2], [5.3]])
    names = tuple("abcdefgh")
    asked = tray(names, values, np.array([1.0]), 2, together=((0, 3), (4, 7)), apart=((1, 5),))
    units, positions = units_of(asked), asked.asked()
    windows, _ = maximal_windows(units, asked.limits, positions[0], Watch())
    ground = Ground.of(units, positions, [windows], asked.limits)
    seating = Seating(ground, [0, 0, 0, 0], [0, 0, 1, 1], Random(0))  # noqa: S311 - nothing secret
    assert anneal(seating, 20_000, lambda: False)
    sets = {frozenset(m for unit in chosen for m in units.members[unit]) for _, chosen in seating.grouping().sets}
    assert sets == {frozenset({0, 3}), frozenset({1, 2}), frozenset({4, 7}), frozenset({5, 6})}


def test_the_bound_is_lowered_where_springs_are_enough_but_do_not_fit() -> None:
    """Three groups of five springs far apart: one set of four each, though fifteen springs would fill three and a bit.

    With nine in one group two sets fit there, so four in all; from the arithmetic alone.
    """
    places = np.array([0.0] * 5 + [10.0] * 5 + [20.0] * 9)
    values = np.c_[places + np.linspace(0.0, 0.5, 19), np.linspace(0.0, 0.3, 19)]
    asked = tray(tuple(f"S{i}" for i in range(19)), values, np.array([1.0, 1.0]), 4)
    units, positions = units_of(asked), asked.asked()
    windows, _ = maximal_windows(units, asked.limits, positions[0], Watch())
    start = MostSets(greedy_sets(units, positions, [windows]), 4, 19)
    found = WindowSearch(units, positions, [windows], asked.limits, start, Watch()).run()
    assert (found.complete, found.bound) == (4, 4)


def test_a_solver_that_overstays_is_left_behind() -> None:
    """The solver can't be interrupted; past its time the search goes on without it."""
    done = Event()
    assert beside(lambda: done.wait(60.0), Watch(seconds_left=lambda: -10.0)) is None
    done.set()
    assert beside(lambda: 4, Watch()) == 4


def test_overlapping_searches_leave_the_interpreter_as_it_was() -> None:
    usual = sys.getswitchinterval()
    first, second = short_turns(), short_turns()
    first.__enter__()
    second.__enter__()
    assert sys.getswitchinterval() < usual
    first.__exit__(None, None, None)
    assert sys.getswitchinterval() < usual, "the other still searches"
    second.__exit__(None, None, None)
    assert sys.getswitchinterval() == usual
    with pytest.raises(ZeroDivisionError), short_turns():
        _ = 1 / 0
    assert sys.getswitchinterval() == usual


def test_two_searches_at_once_leave_the_interpreter_as_it_was() -> None:
    usual = sys.getswitchinterval()
    names = tuple(f"S{n}" for n in range(24))
    asked = tray(names, np.random.default_rng(3).normal(size=(24, 2)), np.array([0.8, 0.8]), 4)
    units, positions = units_of(asked), asked.asked()
    windows, _ = maximal_windows(units, asked.limits, positions[0], Watch())
    begun = Barrier(2)

    def search(_number: int) -> int:
        begun.wait()
        start = MostSets(greedy_sets(units, positions, [windows]), 0, 6)
        return WindowSearch(units, positions, [windows], asked.limits, start, Watch()).run().complete

    with ThreadPoolExecutor(2) as pool:
        one, other = pool.map(search, range(2))
    assert sys.getswitchinterval() == usual
    assert one == other
