"""Corridors priced again with the sizes that a scheme came to."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import LineString, Point

from dewpond.base.model import Corridors, Network, Proof
from dewpond.base.repricing import repriced

# A line of five nodes, 100 m apart, with a spur of 50 m at node 1 and a part that stands alone.
#  0 --e0-- 1 --e1-- 2 --e2-- 3 --e3-- 4      1 --e4-- 5      6 --e5-- 7
ENDS = [(0, 1), (1, 2), (2, 3), (3, 4), (1, 5), (6, 7)]
LENGTH_M = np.array([100.0, 100.0, 100.0, 100.0, 50.0, 30.0])


def corridors(laying=("fence",) * 6) -> Corridors:
    nodes = gpd.GeoDataFrame(
        {"site": -1, "source": -1, "ground_level_m": 0.0}, geometry=[Point(0, 0)] * 8,
        index=range(8),
    )  # fmt: skip
    edges = gpd.GeoDataFrame(
        {
            "start": [a for a, _ in ENDS], "end": [b for _, b in ENDS], "length_m": LENGTH_M,
            "laying": list(laying), "crossings": [()] * 6,
            "cost": np.where(np.array(laying) == "existing", 0.0, 4.0 * LENGTH_M),
        },
        geometry=[LineString([(0, 0), (1, 1)])] * 6,
    )  # fmt: skip
    return Corridors(nodes, edges)


def network(**pipes) -> Network:
    names = list(pipes)
    table = gpd.GeoDataFrame(
        {"edges": [pipes[name] for name in names]}, geometry=[None] * len(names), index=names
    )
    return Network(0, gpd.GeoDataFrame(), table, (), Proof(1.0, 1.0, 0.0, "optimal"))


def test_each_edge_takes_its_own_price_or_that_of_the_nearest_pipe():
    laid = network(trunk=(0,), branch=(1,))
    priced = repriced(corridors(), laid, {"trunk": 2.0, "branch": 0.5})
    # e2 and e3 go on from the branch, e4 leaves at the fork (the trunk's price), e5 hangs on none.
    expected = LENGTH_M * (4.0 + np.array([2.0, 0.5, 0.5, 0.5, 2.0, 0.0]))
    np.testing.assert_allclose(priced.edges["cost"], expected)


def test_prices_do_not_fall_below_nothing():
    priced = repriced(corridors(), network(trunk=(0,)), {"trunk": -9.0})
    assert priced.edges["cost"].min() == 0.0


def test_pipe_that_is_there_stays_free():
    first = corridors(("existing", *("fence",) * 5))
    priced = repriced(first, network(trunk=(0, 1)), {"trunk": 1.0})
    assert priced.edges["cost"].iloc[0] == 0.0
    assert priced.edges["cost"].iloc[1] == pytest.approx(500.0)


def test_what_was_given_stays_as_it_was():
    first = corridors()
    before = first.edges["cost"].copy()
    repriced(first, network(trunk=(0,)), {"trunk": 3.0})
    assert first.edges["cost"].equals(before)
    assert repriced(first, network(), {}) is first
