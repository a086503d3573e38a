"""The heat bath and the neighbour bound: held by trying everything, by sorting and cutting, and by themselves."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from something import each

from valvelab.arrays import FloatArray
from valvelab.records.sets_result import SetsResult, SpringSet
from valvelab.sets import heat_bath
from valvelab.sets.exchanges import FEW_ALONG
from valvelab.sets.heat_bath import Cooling, bathed
from valvelab.sets.hull_bound import HullSearch, hull_bound
from valvelab.sets.least_spread import QUICK, Effort
from valvelab.sets.match import MatchedSets, best_cuts, match
from valvelab.sets.neighbour_bound import bound_from, distance_costs, rough_cut, spring_costs
from valvelab.sets.tray import Grouping, Tray, Watch, tray, units_of
from valvelab.tables.springs import number_told, statement, tightness_told


def scattered(count: int, characteristics: int, limit: float, size: int, seed: int = 0) -> Tray:
    """Springs alike in all but chance; limits in standard deviations."""
    values = np.random.default_rng(seed).normal(size=(count, characteristics))
    return tray(tuple(f"S{i}" for i in range(count)), values, np.full(characteristics, limit), size)


@pytest.fixture(scope="module")
def hundred() -> tuple[Tray, MatchedSets]:
    asked = scattered(96, 3, 2.5, 8, 4)
    return asked, match(asked)


def _ranges(values: FloatArray, size: int) -> dict[tuple[int, ...], float]:
    """Every set within limits 1 by trying all, with its spread."""
    sets = {chosen: np.ptp(values[list(chosen)], axis=0) for chosen in combinations(range(len(values)), size)}
    return {chosen: float(ranges.sum()) for chosen, ranges in sets.items() if (ranges <= 1.0).all()}


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 4), st.integers(2, 4))
@example(36673, 4, 2)
def test_what_a_spring_costs_is_never_above_its_cheapest_set(seed: int, characteristics: int, size: int) -> None:
    """By trying every set; on two characteristics it is that set's spread, and a spring without one costs infinity."""
    asked = scattered(11, characteristics, 1.6, size, seed)
    units = units_of(asked)
    costs = spring_costs(units, units.positions[0])
    cheapest = np.full(11, np.inf)
    for chosen, spread in _ranges(asked.values / asked.limits, size).items():
        cheapest[list(chosen)] = np.minimum(cheapest[list(chosen)], spread)
    assert (costs <= cheapest + 1e-9).all()
    if characteristics <= 2:
        assert costs == pytest.approx(cheapest)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 5), st.integers(3, 4))
def test_no_bound_is_above_the_least_of_all_pairs_of_sets(seed: int, characteristics: int, size: int) -> None:
    asked = scattered(9, characteristics, 1.8, size, seed)
    units = units_of(asked)
    sets = _ranges(asked.values / asked.limits, size)
    least = min((sets[a] + sets[b] for a, b in combinations(sets, 2) if not set(a) & set(b)), default=np.inf)
    assert bound_from([spring_costs(units, units.positions[0])], [size], 2) <= least + 1e-9
    costs = distance_costs(units, units.positions[0])
    assert bound_from([costs], [size], 2) <= least + 1e-9
    if np.isfinite(least):  # whatever was found, however loose
        for total in (least, 1.3 * least, 3.0 * least):
            assert hull_bound(units, costs, 2, 0.0, total, 10**6, Watch()) <= least + 1e-9


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 5), st.integers(2, 4), st.floats(0.0, 0.5))
def test_a_search_through_hulls_knows_whether_a_set_is_below_a_cap(
    seed: int, characteristics: int, size: int, dear: float
) -> None:
    """By trying every set, at caps a thousandth of a limit above and below the cheapest, and far above."""
    asked = scattered(11, characteristics, 1.8, size, seed)
    values, prices = asked.values / asked.limits, np.random.default_rng(seed + 1).uniform(0.0, dear, 11)
    paid = [spread + float(prices[list(chosen)].sum()) for chosen, spread in _ranges(values, size).items()]
    search, cheapest = HullSearch(values, prices, size), min(paid, default=np.inf)

    def outcome(cap: float) -> str:
        return search.below(cap, 10**6, Watch()).outcome

    if not paid:
        assert outcome(100.0) == "none"
        return
    assert outcome(cheapest - 1e-3) == "none"
    assert outcome(cheapest + 1e-3) == outcome(cheapest + 1.0) == "some"
    assert search.below(cheapest + 1.0, 0, Watch()).outcome == "unknown"
    assert search.below(cheapest + 1.0, 10**6, Watch(seconds_left=lambda: 0.0)).outcome == "unknown"


def test_many_characteristics_are_bounded_by_hulls() -> None:
    """Distances alone bound half of the spread of five sets of twelve on five characteristics, hulls two thirds."""
    asked = scattered(64, 5, 2.5, 12, 1)
    known, more = (match(asked, effort=effort) for effort in (Effort(hulls=0), Effort()))
    assert [one.springs for one in known.sets] == [one.springs for one in more.sets]
    assert known.bound_total_spread < 0.55 * known.total_spread
    assert 0.66 * more.total_spread < more.bound_total_spread <= more.total_spread


def test_a_dear_bound_ends_where_it_is_enough_and_a_cheap_one_goes_on() -> None:
    """Five characteristics of 80 springs: no more than what was asked for; of 40 springs more than that."""
    dear, cheap = scattered(80, 5, 2.0, 8, 1), scattered(40, 5, 2.5, 12, 1)
    enough, all_of_it = (match(dear, effort=Effort(enough=share)) for share in (0.5, 1.0))
    assert 0.5 * enough.total_spread <= enough.bound_total_spread < all_of_it.bound_total_spread
    small = match(cheap, effort=Effort(enough=0.5))
    assert small.bound_total_spread > 0.8 * small.total_spread


def test_distances_bound_two_clusters_exactly() -> None:
    """Sets whose springs stand half at either end of every range cost what their distances say."""
    asked = tray(tuple("abcd"), np.array([[0.0, 0.0], [0.0, 0.0], [0.5, 0.25], [0.5, 0.25]]), np.ones(2), 4)
    units = units_of(asked)
    assert bound_from([distance_costs(units, units.positions[0])], [4], 1) == pytest.approx(0.75)


def test_a_bath_finds_the_least_of_a_tray_that_can_be_tried(hundred: tuple[Tray, MatchedSets]) -> None:
    """Two sets of four from ten springs, by trying all; from a rough cut, with no proof behind it."""
    asked = scattered(10, 2, 4.0, 4, 2)
    units = units_of(asked)
    sets = _ranges(asked.values / asked.limits, 4)
    least = min(sets[a] + sets[b] for a, b in combinations(sets, 2) if not set(a) & set(b))
    rough = rough_cut(units.low / units.limits, np.arange(8), 4)
    start = Grouping(tuple((0, tuple(int(unit) for unit in one)) for one in rough))
    found = bathed(units, start, Cooling(300), Watch())
    assert found is not None
    assert units.total(found) == pytest.approx(least)
    # and a larger tray's baths never leave limits, sizes or springs
    large, answer = hundred
    used = [spring for one in answer.sets for spring in one.springs]
    assert len(used) == len(set(used)) == 8 * len(answer.sets)
    assert all((one.spread <= large.limits * (1.0 + 1e-9)).all() for one in answer.sets)
    assert answer.bound_total_spread <= answer.total_spread


def test_units_dealt_anew_among_many_sets_tighten_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fifteen sets of eight and eight springs left over, three chances each, with as many turns."""
    asked = scattered(128, 2, 2.5, 8, 6)
    units = units_of(asked)
    rough = rough_cut(units.low / units.limits, np.arange(120), 8)
    start = Grouping(tuple((0, tuple(int(unit) for unit in one)) for one in rough))

    def totals() -> list[float]:
        met = [bathed(units, start, Cooling(300, cold=FEW_ALONG.cold, seed=seed), Watch()) for seed in range(3)]
        used = [[spring for _, one in grouping.sets for spring in one] for grouping in met if grouping]
        assert [len(set(one)) for one in used] == [120] * 3
        return [units.total(grouping) for grouping in met if grouping]

    dealt = totals()
    monkeypatch.setattr(heat_bath, "FEW", 15)
    assert np.mean(dealt) < 0.99 * np.mean(totals())


def test_the_same_sets_however_late_it_is(hundred: tuple[Tray, MatchedSets]) -> None:
    """Counted work ends the search: a clock that runs a hundred times faster changes nothing before it is over."""
    asked, answer = hundred
    left = iter(range(10**9, 0, -1))
    again = match(asked, Watch(seconds_left=lambda: float(next(left))))
    assert [one.springs for one in again.sets] == [one.springs for one in answer.sets]
    assert not again.ended
    assert match(asked, Watch(seconds_left=lambda: 0.0)).ended


@pytest.mark.parametrize(("characteristics", "limit"), [(2, 1.5), (3, 2.0), (5, 3.0)])
def test_never_worse_than_sorting_by_one_characteristic_and_cutting(characteristics: int, limit: float) -> None:
    asked = scattered(60, characteristics, limit, 6, characteristics)
    answer = match(asked, effort=QUICK)
    cuts = [best_cuts(asked.values, asked.limits, 6, along) for along in range(characteristics)]
    units = units_of(asked)
    best = max((len(cut.sets), -units.total(cut)) for cut in cuts)
    assert (len(answer.sets), -answer.total_spread) >= best


def test_a_bath_keeps_springs_together_apart_and_in_their_positions() -> None:
    """Few wishes cost little: within 5 % of the spread without them."""
    asked = scattered(64, 2, 2.5, 8, 3)
    wishes = replace(asked, together=((0, 1),), apart=((2, 3), (4, 5)))
    free, bound = match(asked), match(wishes)
    assert len(bound.sets) == len(free.sets)
    assert bound.total_spread <= 1.05 * free.total_spread
    for one in each(bound.sets):
        springs = set(one.springs)
        assert len(springs & {0, 1}) != 1
        assert not {2, 3} <= springs
        assert not {4, 5} <= springs


# -- in words ------------------------------------------------------------------------------------------------------


def told(total: float, bound: float, means: tuple[float, ...], *, number: bool = True) -> str:
    sets = tuple(
        SpringSet(
            springs=("a", "b"),
            position=None,
            spread={"rate_n_per_mm": 0.3, "seat_force_n": 2.0},
            mean={"rate_n_per_mm": 30.0, "seat_force_n": mean},
            worst_share=0.5,
            worst_in="seat_force_n",
        )
        for mean in means
    )
    result = SetsResult.model_construct(
        size=2,
        within={"rate_n_per_mm": 0.6, "seat_force_n": 4.0},
        sets=sets,
        left_over=("c",),
        total_spread=total,
        bound_sets=4,
        number_proven=number,
        spread_proven=total <= bound,
        bound_total_spread=bound,
    )
    return statement(result)


def test_the_statement_says_what_is_known() -> None:
    text = told(3.0, 2.9, (240.0, 245.0, 247.0))
    assert text.startswith("3 sets of 2, 1 spring left over. No arrangement gives 4. Tightness: within 4 % of the best")
    assert "3.000 in all, the sum over sets of each range as a share of its limit" in text
    assert text.endswith("Sets in order of mean seat force.")
    assert "no tighter arrangement exists" in told(3.0, 3.0, (240.0,))
    assert "At most 4 may exist." in told(3.0, 2.9, (240.0, 241.0), number=False)
    assert "order" not in told(3.0, 2.9, (247.0, 245.0))
    assert tightness_told(3.0, 0.0, proven=False).endswith("is not known.")
    assert number_told(2, 2, proven=True, placed=True) == "No arrangement gives more."
