"""Who gets what, against a general library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

from valvelab.assignment import all_served, cheapest

SHAPES = {"rows": st.integers(1, 9), "more": st.integers(0, 6), "seed": st.integers(0, 2**32 - 1)}


@given(**SHAPES, kind=st.sampled_from(["any", "whole", "forbidden"]))
def test_no_sum_of_costs_is_less(rows: int, more: int, seed: int, kind: str) -> None:
    draw = np.random.default_rng(seed)
    cost = draw.normal(size=(rows, rows + more))
    if kind == "whole":
        cost = np.round(2.0 * cost)  # many sums are equal
    if kind == "forbidden":
        cost[draw.random(cost.shape) < 0.5] = 1e9
    found = cheapest(cost)
    assert len(set(found.tolist())) == rows
    least = cost[linear_sum_assignment(cost)].sum()
    assert cost[np.arange(rows), found].sum() == pytest.approx(least, rel=1e-12, abs=1e-12)


@given(**SHAPES, share=st.floats(0.05, 0.7))
def test_each_is_served_where_a_matching_serves_it(rows: int, more: int, seed: int, share: float) -> None:
    edges = np.random.default_rng(seed).random((rows, rows + more)) < share
    partner = maximum_bipartite_matching(csr_array(edges), perm_type="column")
    assert all_served(edges) is bool((partner >= 0).all())
