"""Delivered flow of a 60-node network beside pandapipes in the same run."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest

from base.pipenetwork.network_examples import in_pandapipes, random_tree, solve_peer
from dewpond.base.pipenetwork import solve_network

pytestmark = [pytest.mark.benchmark, pytest.mark.filterwarnings("ignore::Warning")]
NODES, VALVES, CASES = 60, 20, 100


def median_ms(work: Callable[[], object], times: int) -> float:
    spent = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        spent.append(time.perf_counter() - began)
    return float(np.median(spent)) * 1000.0


def test_delivered_flow_beside_pandapipes() -> None:
    net = random_tree(3, NODES, valves=VALVES, bore_m=0.0736)
    found = solve_network(net)
    demand = np.bincount(net.outlets.node, found.outlet_flow_m3_s[0], NODES)
    assert (found.outlet_flow_m3_s > 0).all()  # the peer's orifices would also run inward
    same = in_pandapipes(net, np.zeros(NODES), valves=True)
    drawn = in_pandapipes(net, demand)
    np.testing.assert_allclose(solve_peer(same)[:NODES], found.head_m[0], atol=0.05)
    np.testing.assert_allclose(solve_peer(drawn), found.head_m[0], atol=0.05)
    opened = np.random.default_rng(0).random((CASES, VALVES)) < 0.3

    ours = median_ms(lambda: solve_network(net), 50)
    ours_drawn = median_ms(lambda: solve_network(net, demand_m3_s=demand, outlet_open=False), 50)
    ours_batch = median_ms(lambda: solve_network(net, outlet_open=opened), 5) / CASES
    peer = median_ms(lambda: solve_peer(same), 7)
    peer_drawn = median_ms(lambda: solve_peer(drawn), 7)
    print(f"\n{NODES} nodes, {VALVES} float valves; milliseconds a solve")
    print(f"valves open, heads found:   {ours:7.2f}  pandapipes {peer:7.1f}  {peer / ours:5.1f} x")
    print(
        f"the same flows given:       {ours_drawn:7.2f}  pandapipes {peer_drawn:7.1f}  "
        f"{peer_drawn / ours_drawn:5.1f} x"
    )
    print(
        f"one of {CASES} cases at once:   {ours_batch:7.2f}  pandapipes {peer:7.1f}  "
        f"{peer / ours_batch:5.1f} x"
    )
