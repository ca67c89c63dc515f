"""Random networks for the tests of the solver, and the same ones in pandapipes."""

from __future__ import annotations

import numpy as np
import pandapipes

from dewpond.base.friction import (
    ROUGHNESS_PE_M,
    VISCOSITY_AT_10_C_M2_S,
    float_valve_coefficient_m2,
)
from dewpond.base.pipenetwork import Outlets, PipeNetwork

BORES_M = np.array([32.6, 40.8, 51.4]) / 1000.0
DENSITY, PEER_GRAVITY = 999.70, 9.81  # pandapipes has 9.81 built in


def tree_parents(random: np.random.Generator, nodes: int, branch: int = 4) -> np.ndarray:
    return np.array([int(random.integers(max(0, i - branch), i)) for i in range(1, nodes)])


def random_tree(
    random_state: int, nodes: int = 30, valves: int = 0, bore_m: float = 0.0
) -> PipeNetwork:
    random = np.random.default_rng(random_state)
    pipes = nodes - 1
    start = tree_parents(random, nodes)
    node = np.sort(random.choice(np.arange(1, nodes), valves, replace=False))
    outlets = Outlets(
        node, random.uniform(0.0, 20.0, valves), float_valve_coefficient_m2(np.full(valves, 0.004))
    )
    return PipeNetwork(
        nodes,
        start,
        np.arange(1, nodes),
        random.uniform(20.0, 200.0, pipes),
        np.full(pipes, bore_m) if bore_m else random.choice(BORES_M, pipes),
        random.uniform(0.0, 3.0, pipes),
        np.array([0]),
        np.array([80.0]),
        outlets=outlets,
    )


def random_ring(random_state: int, nodes: int = 20) -> PipeNetwork:
    """A ring main with a few spurs and a chord across it."""
    random = np.random.default_rng(random_state)
    around = np.arange(nodes - 5)
    spurs = random.choice(around, 5, replace=False)
    start = np.concatenate([around, spurs, [0]])
    end = np.concatenate([np.roll(around, -1), np.arange(nodes - 5, nodes), [len(around) // 2]])
    pipes = len(start)
    return PipeNetwork(
        nodes,
        start,
        end,
        random.uniform(20.0, 150.0, pipes),
        random.choice(BORES_M, pipes),
        random.uniform(0.0, 3.0, pipes),
        np.array([0]),
        np.array([80.0]),
    )


def in_pandapipes(
    network: PipeNetwork, demand_m3_s: np.ndarray, valves: bool = False
) -> pandapipes.pandapipesNet:
    """The same pipes with levels as pressures; float valves as orifices into the open air."""
    water = pandapipes.create_constant_fluid(
        "water",
        "liquid",
        density=DENSITY,
        viscosity=VISCOSITY_AT_10_C_M2_S * DENSITY,
        heat_capacity=4192.0,
        molar_mass=18.0,
        compressibility=1.0,
        der_compressibility=0.0,
    )
    peer = pandapipes.create_empty_network(fluid=water)
    bar = DENSITY * PEER_GRAVITY / 1e5
    count = network.node_count
    pandapipes.create_junctions(peer, count, pn_bar=5.0, tfluid_k=283.15, height_m=0.0)
    for node, level in zip(network.fixed_node, network.fixed_head_m, strict=True):
        pandapipes.create_ext_grid(peer, int(node), p_bar=level * bar, t_k=283.15)
    pandapipes.create_pipes_from_parameters(
        peer,
        network.start,
        network.end,
        length_km=network.length_m / 1000.0,
        inner_diameter_mm=network.bore_m * 1000.0,
        k_mm=ROUGHNESS_PE_M * 1000.0,
        loss_coefficient=network.minor_loss,
    )
    for node in np.flatnonzero(demand_m3_s):
        flow = float(demand_m3_s[node])
        pandapipes.create_sink(peer, int(node), mdot_kg_per_s=flow * DENSITY)
    if valves:
        _add_orifices(peer, network, bar)
    return peer


def _add_orifices(peer: pandapipes.pandapipesNet, network: PipeNetwork, bar: float) -> None:
    """q = Cd A √(2 g h) is a valve with K = 1 over its whole Cd A, into a level held beyond."""
    outlets = network.outlets
    for node, level, coefficient in zip(
        outlets.node, outlets.level_m, outlets.coefficient_m2, strict=True
    ):
        air = pandapipes.create_junction(peer, pn_bar=5.0, tfluid_k=283.15, height_m=0.0)
        pandapipes.create_ext_grid(peer, air, p_bar=level * bar, t_k=283.15)
        seat = float(np.sqrt(4.0 / np.pi * coefficient)) * 1000.0
        pandapipes.create_valve(peer, int(node), air, "ju", seat, loss_coefficient=1.0)


def solve_peer(peer: pandapipes.pandapipesNet) -> np.ndarray:
    """Heads of all junctions [m]."""
    pandapipes.pipeflow(
        peer, friction_model="colebrook", mode="hydraulics", tol_p=1e-7, tol_m=1e-7, iter=100
    )
    return peer.res_junction["p_bar"].to_numpy() * 1e5 / (DENSITY * PEER_GRAVITY)
