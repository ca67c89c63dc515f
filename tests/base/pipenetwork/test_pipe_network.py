"""The network solver by hand, by textbook, by law and in the corners."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from base.pipenetwork.network_examples import random_ring, random_tree
from dewpond.base.errors import SolverError
from dewpond.base.friction import (
    DarcyWeisbach,
    FixedFactor,
    HazenWilliams,
    float_valve_coefficient_m2,
    float_valve_flow_m3_s,
)
from dewpond.base.pipenetwork import Outlets, PipeNetwork, Pumps, solve_network

ONE, TWO = np.array([0]), np.array([0, 1])


def line(
    bores: list[float], levels: list[float], outlets: Outlets | None = None, length: float = 200.0
) -> PipeNetwork:
    """Pipes end to end from a tank at 50 m."""
    count = len(bores)
    return PipeNetwork(
        count + 1,
        np.arange(count),
        np.arange(1, count + 1),
        np.full(count, length),
        np.array(bores),
        np.zeros(count),
        ONE,
        np.array(levels),
        outlets=outlets or Outlets(),
    )


def valve(node: int, level: float, seat_m: float = 0.006) -> Outlets:
    coefficient = float_valve_coefficient_m2(np.array([seat_m]))
    return Outlets(np.array([node]), np.array([level]), coefficient)


def imbalance(network: PipeNetwork, found, demand) -> np.ndarray:
    """Net flow into every node of no fixed level, less its demand."""
    net = -np.broadcast_to(np.asarray(demand, float), found.head_m.shape).copy()
    for case in range(len(net)):
        np.add.at(net[case], network.end, found.flow_m3_s[case])
        np.add.at(net[case], network.start, -found.flow_m3_s[case])
        np.add.at(net[case], network.outlets.node, -found.outlet_flow_m3_s[case])
        np.add.at(net[case], network.pumps.end, found.pump_flow_m3_s[case])
        np.add.at(net[case], network.pumps.start, -found.pump_flow_m3_s[case])
    net[:, network.fixed_node] = 0.0
    return net


def test_looped_network_of_the_textbook() -> None:
    """Maurer example 4.7: ten pipes, three loops; flows printed after three Hardy Cross passes.

    The passes stop within 0.25 L/s of balance, so the exact flows agree within 0.0003 m³/s.
    """
    a, b, c, d, e, f, g, h = range(8)
    start, end = np.array([a, b, c, d, e, d, f, g, c, h]), np.array([b, c, d, e, a, f, g, e, h, f])
    first = np.array([0.04, 0.04, 0.02, -0.02, -0.04, 0, 0, -0.02, 0.02, 0])
    demand = np.zeros(8)
    np.add.at(demand, end, first)
    np.add.at(demand, start, -first)
    demand[a] = 0.0  # what enters here is left to the fixed level
    factor = [0.01879, 0.02075, 0.02075, 0.02075, 0.02075, 0.02233, 0.01964, 0.02233, 0.02233]
    net = PipeNetwork(
        8,
        start,
        end,
        np.array([250.0, 100, 125, 125, 100, 100, 125, 100, 100, 125]),
        np.array([0.3, 0.2, 0.2, 0.2, 0.2, 0.15, 0.25, 0.15, 0.15, 0.25]),
        np.zeros(10),
        np.array([a]),
        np.array([100.0]),
        FixedFactor(np.array([*factor, 0.01964])),
    )
    printed = [0.0383, 0.0383, 0.0232, -0.0258, -0.0417, 0.0090, 0.0041, -0.0159, 0.0151, -0.0049]
    found = solve_network(net, demand_m3_s=demand)
    np.testing.assert_allclose(found.flow_m3_s[0], printed, atol=3e-4)


def test_one_valve_on_one_pipe_by_hand() -> None:
    net = line([0.0204], [50.0], valve(1, 20.0))
    found = solve_network(net)
    flow = float(found.outlet_flow_m3_s[0, 0])
    loss, _ = DarcyWeisbach().loss_and_slope_per_metre(flow, 0.0204)
    residual = 50.0 - float(loss) * 200.0 - 20.0
    assert float_valve_flow_m3_s(residual, net.outlets.coefficient_m2)[0] == pytest.approx(flow)
    assert found.head_m[0, 1] == pytest.approx(20.0 + residual)


def test_valve_above_the_water_gives_nothing_and_takes_nothing() -> None:
    two = Outlets(
        np.array([1, 2]), np.array([60.0, 20.0]), float_valve_coefficient_m2([0.006] * 2)
    )
    found = solve_network(line([0.0204, 0.0204], [50.0], two))
    assert found.outlet_flow_m3_s[0, 0] == 0.0
    assert found.outlet_flow_m3_s[0, 1] > 0.0


def test_nothing_open_means_still_water() -> None:
    found = solve_network(line([0.0204, 0.026], [50.0], valve(2, 20.0)), outlet_open=[False])
    np.testing.assert_allclose(found.head_m, 50.0, atol=1e-6)
    assert np.abs(found.flow_m3_s).max() < 1e-8


@pytest.mark.parametrize("law", [DarcyWeisbach(), HazenWilliams(140.0)], ids=["D-W", "H-W"])
def test_a_trickle_in_laminar_flow(law) -> None:
    net = PipeNetwork(2, ONE, ONE + 1, np.array([500.0]), np.array([0.026]), np.zeros(1), ONE,
                      np.array([10.0]), law)  # fmt: skip
    found = solve_network(net, demand_m3_s=[0.0, 5e-6])
    loss, _ = law.loss_and_slope_per_metre(5e-6, 0.026)
    assert found.head_m[0, 1] == pytest.approx(10.0 - 500.0 * float(loss), abs=1e-9)


def test_two_tanks_share_the_draw() -> None:
    net = PipeNetwork(
        3,
        np.array([0, 2]),
        np.array([1, 1]),
        np.array([100.0, 100.0]),
        np.array([0.04, 0.04]),
        np.zeros(2),
        np.array([0, 2]),
        np.array([50.0, 50.0]),
    )
    found = solve_network(net, demand_m3_s=[0.0, 2e-3, 0.0])
    np.testing.assert_allclose(found.flow_m3_s[0], [1e-3, 1e-3], rtol=1e-9)


def test_closed_pipe_cuts_off_what_lies_beyond() -> None:
    net = line([0.0204, 0.0204], [50.0], valve(2, 20.0))
    found = solve_network(net, pipe_open=[[True, True], [True, False]])
    assert found.outlet_flow_m3_s[0, 0] > 1e-4
    assert found.outlet_flow_m3_s[1, 0] < 1e-9
    assert np.isnan(found.head_m[1, 2])
    assert found.flow_m3_s[1, 1] == 0.0
    assert not np.isnan(found.head_m[0]).any()


def test_demand_beyond_a_closed_pipe_is_refused() -> None:
    with pytest.raises(ValueError, match="no open way"):
        solve_network(
            line([0.02, 0.02], [50.0]), demand_m3_s=[0, 0, 1e-4], pipe_open=[True, False]
        )


def test_pump_that_cannot_lift_stands_still() -> None:
    pumps = Pumps(ONE, ONE + 1, np.array([20.0]), np.array([1e7]), np.array([2.0]))
    net = PipeNetwork(3, ONE + 1, ONE + 2, np.array([100.0]), np.array([0.04]), np.zeros(1),
                      np.array([0, 2]), np.array([0.0, 30.0]), pumps=pumps)  # fmt: skip
    found = solve_network(net)
    assert found.pump_flow_m3_s[0, 0] == 0.0
    assert abs(found.flow_m3_s[0, 0]) < 1e-8


def test_ring_carries_more_than_the_same_ring_cut() -> None:
    net = random_ring(2)
    demand = np.full(net.node_count, 1e-4)
    demand[0] = 0.0
    cut = np.ones((2, len(net.start)), dtype=bool)
    cut[1, 3] = False
    found = solve_network(net, demand_m3_s=demand, pipe_open=cut)
    assert found.head_m[0].min() > found.head_m[1].min()


def test_many_cases_at_once_equal_one_at_a_time() -> None:
    net = random_tree(4, 40, valves=12)
    opened = np.random.default_rng(0).random((20, 12)) < 0.4
    levels = np.linspace(60.0, 90.0, 20)[:, None]
    together = solve_network(net, outlet_open=opened, fixed_head_m=levels)
    for case in (0, 7, 19):
        alone = solve_network(net, outlet_open=opened[case], fixed_head_m=levels[case])
        np.testing.assert_allclose(together.head_m[case], alone.head_m[0], atol=1e-5)
        np.testing.assert_allclose(
            together.outlet_flow_m3_s[case], alone.outlet_flow_m3_s[0], atol=1e-8
        )


def test_a_large_network_takes_the_sparse_way_to_the_same_answer() -> None:
    net = random_tree(5, 400, valves=60, bore_m=0.0736)
    opened = np.random.default_rng(1).random((3, 60)) < 0.2
    found = solve_network(net, outlet_open=opened)
    assert net.system is not None
    assert net.system.columns is not None
    assert np.abs(imbalance(net, found, 0.0)).max() < 1e-9
    loss, _ = net.friction.loss_and_slope_per_metre(found.flow_m3_s, net.bore_m)
    k = net.minor_loss * 8.0 / (np.pi**2 * 9.80665 * net.bore_m**4)
    lost = loss * net.length_m + k * found.flow_m3_s * np.abs(found.flow_m3_s)
    drop = found.head_m[:, net.start] - found.head_m[:, net.end]
    np.testing.assert_allclose(drop, lost, atol=2e-6)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.integers(0, 10_000), st.integers(5, 40), st.booleans())
def test_flows_balance_and_head_never_rises_along_flow(
    random_state: int, nodes: int, ring: bool
) -> None:
    net = (
        random_ring(random_state, max(nodes, 12))
        if ring
        else random_tree(random_state, nodes, valves=nodes // 3)
    )
    random = np.random.default_rng(random_state)
    demand = random.uniform(0.0, 1e-4, net.node_count) * random.integers(0, 2, net.node_count)
    demand[net.fixed_node] = 0.0
    opened = random.random((3, len(net.outlets.node))) < 0.6
    found = solve_network(net, demand_m3_s=demand, outlet_open=opened if not ring else None)
    assert np.abs(imbalance(net, found, demand)).max() < 1e-9
    drop = found.head_m[:, net.start] - found.head_m[:, net.end]
    assert (drop * np.sign(found.flow_m3_s) >= -2e-6).all()
    head = found.head_m[:, net.outlets.node] - net.outlets.level_m
    by_law = float_valve_flow_m3_s(head, net.outlets.coefficient_m2) * opened[: len(head)]
    np.testing.assert_allclose(found.outlet_flow_m3_s, by_law, atol=3e-7)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.integers(0, 10_000), st.integers(3, 25), st.floats(1.0, 3.0))
def test_with_one_outlet_open_a_bigger_pipe_never_lowers_its_flow(
    random_state: int, nodes: int, factor: float
) -> None:
    net = random_tree(random_state, nodes, valves=max(1, nodes // 4))
    random = np.random.default_rng(random_state)
    opened = np.zeros(len(net.outlets.node), dtype=bool)
    opened[random.integers(len(opened))] = True
    bore = net.bore_m.copy()
    bore[random.integers(len(bore))] *= factor
    wider = PipeNetwork(net.node_count, net.start, net.end, net.length_m, bore, net.minor_loss,
                        net.fixed_node, net.fixed_head_m, outlets=net.outlets)  # fmt: skip
    before = solve_network(net, outlet_open=opened).outlet_flow_m3_s.sum()
    after = solve_network(wider, outlet_open=opened).outlet_flow_m3_s.sum()
    assert after >= before * (1.0 - 1e-7)


@settings(deadline=None, derandomize=True, max_examples=80)
@given(st.integers(0, 100_000))
def test_it_settles_from_any_network_with_parts_shut(random_state: int) -> None:
    """Narrow, short, long, high and shut parts together, three laws, loops and two sources."""
    random = np.random.default_rng(random_state)
    nodes = int(random.integers(4, 40))
    tree = np.array([int(random.integers(0, i)) for i in range(1, nodes)])
    start, end = np.append(tree, [1, 2]), np.append(np.arange(1, nodes), [nodes - 1, 3])
    pipes, valves = len(start), max(1, nodes // 2)
    net = PipeNetwork(
        nodes,
        start,
        end,
        random.uniform(1.0, 800.0, pipes),
        random.choice([0.016, 0.0204, 0.026, 0.0326, 0.0514], pipes),
        random.uniform(0.0, 5.0, pipes) * random.integers(0, 2),
        np.array([0, nodes - 1]),
        np.array([100.0, 60.0]),
        [DarcyWeisbach(), HazenWilliams(140.0), FixedFactor(0.02)][int(random.integers(3))],
        Outlets(
            random.integers(1, nodes, valves),
            random.uniform(20.0, 110.0, valves),
            float_valve_coefficient_m2(random.choice([0.003, 0.006, 0.012, 0.02], valves)),
        ),
    )
    opened = random.random((4, pipes)) < 0.9
    found = solve_network(net, outlet_open=random.random((4, valves)) < 0.7, pipe_open=opened)
    assert found.worst_imbalance_m <= 1e-6
    assert found.iterations <= 60
    assert np.abs(np.where(np.isnan(found.head_m), 0.0, imbalance(net, found, 0.0))).max() < 1e-9


@pytest.mark.parametrize("random_state", range(5))
def test_shortened_steps_come_to_the_same_answer(random_state: int, monkeypatch) -> None:
    """The line search that guards the solver, switched on from the second step."""
    net = random_tree(random_state, 40, valves=15)
    opened = np.random.default_rng(random_state).random((6, 15)) < 0.7
    usual = solve_network(net, outlet_open=opened)
    monkeypatch.setattr("dewpond.base.pipenetwork.solve._UNDAMPED", 0)
    guarded = solve_network(net, outlet_open=opened)
    np.testing.assert_allclose(guarded.head_m, usual.head_m, atol=1e-5)
    np.testing.assert_allclose(guarded.outlet_flow_m3_s, usual.outlet_flow_m3_s, atol=1e-8)


def test_a_solver_that_cannot_settle_says_so(monkeypatch) -> None:
    monkeypatch.setattr("dewpond.base.pipenetwork.solve._MOST_STEPS", 2)
    with pytest.raises(SolverError, match="did not balance in 2 steps"):
        solve_network(random_tree(0, 40, valves=15))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"start": np.array([0])}, "differ in length"),
        ({"end": np.array([1, 5])}, "outside 0 to 2"),
        ({"length_m": np.array([10.0, 0.0])}, "must be positive"),
        ({"minor_loss": np.array([-1.0, 0.0])}, "negative"),
        ({"fixed_node": np.array([0, 0]), "fixed_head_m": np.zeros(2)}, "two fixed levels"),
        ({"fixed_node": np.empty(0, int), "fixed_head_m": np.empty(0)}, "at least one"),
        ({"start": np.array([0, 0]), "end": np.array([1, 1])}, "no way joins node 2"),
    ],
)
def test_a_network_that_makes_no_sense_is_refused(change: dict, message: str) -> None:
    parts = {
        "node_count": 3,
        "start": TWO,
        "end": TWO + 1,
        "length_m": np.array([10.0, 10.0]),
        "bore_m": np.array([0.02, 0.02]),
        "minor_loss": np.zeros(2),
        "fixed_node": ONE,
        "fixed_head_m": np.array([10.0]),
    }
    with pytest.raises(ValueError, match=message):
        PipeNetwork(**(parts | change))
