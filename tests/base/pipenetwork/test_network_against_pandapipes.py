"""Heads against pandapipes, an independent solver of pipe networks."""

from __future__ import annotations

import numpy as np
import pytest

from base.pipenetwork.network_examples import in_pandapipes, random_ring, random_tree, solve_peer
from dewpond.base.pipenetwork import solve_network

# pandapipes warns of its own deprecated calls and of pandas' future.
pytestmark = pytest.mark.filterwarnings("ignore::Warning")


@pytest.mark.parametrize("random_state", range(10))
def test_random_tree(random_state: int) -> None:
    net = random_tree(random_state, 25, bore_m=0.0514)
    random = np.random.default_rng(random_state)
    leaves = ~np.isin(np.arange(net.node_count), net.start)
    demand = np.where(leaves, random.uniform(0.25e-3, 0.45e-3, net.node_count), 0.0)
    found = solve_network(net, demand_m3_s=demand)
    assert found.head_m.max() - found.head_m.min() > 2.0  # there is something to compare
    peer = solve_peer(in_pandapipes(net, demand))
    np.testing.assert_allclose(found.head_m[0], peer, atol=0.02)  # asked: 0.05 m


@pytest.mark.parametrize("random_state", range(3))
def test_random_ring(random_state: int) -> None:
    net = random_ring(random_state)
    demand = np.random.default_rng(random_state).uniform(0.05e-3, 0.3e-3, net.node_count)
    demand[0] = 0.0
    found = solve_network(net, demand_m3_s=demand)
    assert found.head_m.max() - found.head_m.min() > 2.0
    peer = solve_peer(in_pandapipes(net, demand))
    np.testing.assert_allclose(found.head_m[0], peer, atol=0.05)


def test_float_valves_as_orifices_into_the_open_air() -> None:
    net = random_tree(3, 30, valves=6, bore_m=0.0514)
    found = solve_network(net)
    assert (found.outlet_flow_m3_s > 0).all()
    peer = solve_peer(in_pandapipes(net, np.zeros(net.node_count), valves=True))
    np.testing.assert_allclose(found.head_m[0], peer[: net.node_count], atol=0.05)
