"""What a network is made of, and what its solution holds."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from dewpond.base.friction import DarcyWeisbach, FrictionLaw
from dewpond.base.pipenetwork.laplacian import IntArray, Laplacian, make_laplacian
from dewpond.base.surface import FloatArray

BoolArray = npt.NDArray[np.bool_]


def _no_positions() -> IntArray:
    return np.empty(0, dtype=np.intp)


def _no_values() -> FloatArray:
    return np.empty(0)


@dataclass(frozen=True, eq=False)
class Outlets:
    """Float valves that discharge to the air, each q = Cd A √(2 g (H - level)), never inward.

    Attributes
    ----------
    node : array of int, shape (outlets,)
        Node each valve is fitted to; a node may carry several.
    level_m : array of float, shape (outlets,)
        Level at which the water leaves the seat [m].
    coefficient_m2 : array of float, shape (outlets,)
        Cd A [m²], see `dewpond.base.friction.float_valve_coefficient_m2`.
    """

    node: IntArray = field(default_factory=_no_positions)
    level_m: FloatArray = field(default_factory=_no_values)
    coefficient_m2: FloatArray = field(default_factory=_no_values)


@dataclass(frozen=True, eq=False)
class Pumps:
    """Pumps that add h = A - B Q^C to the head from start to end, and let nothing back.

    Attributes
    ----------
    start, end : array of int, shape (pumps,)
        Suction and delivery node.
    shutoff_head_m : array of float, shape (pumps,)
        A [m].
    coefficient : array of float, shape (pumps,)
        B [m/(m³/s)^C], positive.
    exponent : array of float, shape (pumps,)
        C [-], at least 1.
    """

    start: IntArray = field(default_factory=_no_positions)
    end: IntArray = field(default_factory=_no_positions)
    shutoff_head_m: FloatArray = field(default_factory=_no_values)
    coefficient: FloatArray = field(default_factory=_no_values)
    exponent: FloatArray = field(default_factory=_no_values)


@dataclass(frozen=True, eq=False)
class PipeNetwork:
    """Pipes between nodes, with fixed water levels, valves and pumps.

    Attributes
    ----------
    node_count : int
    start, end : array of int, shape (pipes,)
        Nodes joined by each pipe; flow is positive from start to end.
    length_m, bore_m : array of float, shape (pipes,)
        Positive.
    minor_loss : array of float, shape (pipes,)
        Sum of loss coefficients K of the fittings on each pipe [-].
    fixed_node : array of int, shape (sources,)
        Nodes held at a level: tanks, springs, a main.
    fixed_head_m : array of float, shape (sources,)
        The level [m].
    friction : FrictionLaw
        Roughness (or C) may be one value or one a pipe.
    outlets : Outlets
    pumps : Pumps

    Raises
    ------
    ValueError
        Arrays of unequal length, a node out of range, a size that is not
        positive, or a node with no way to a fixed level.
    """

    node_count: int
    start: IntArray
    end: IntArray
    length_m: FloatArray
    bore_m: FloatArray
    minor_loss: FloatArray
    fixed_node: IntArray
    fixed_head_m: FloatArray
    friction: FrictionLaw = field(default_factory=DarcyWeisbach)
    outlets: Outlets = field(default_factory=Outlets)
    pumps: Pumps = field(default_factory=Pumps)

    def __post_init__(self) -> None:
        groups = (
            ("pipe", (self.start, self.end, self.length_m, self.bore_m, self.minor_loss)),
            ("fixed level", (self.fixed_node, self.fixed_head_m)),
            ("outlet", (self.outlets.node, self.outlets.level_m, self.outlets.coefficient_m2)),
            (
                "pump",
                (
                    self.pumps.start,
                    self.pumps.end,
                    self.pumps.shutoff_head_m,
                    self.pumps.coefficient,
                    self.pumps.exponent,
                ),
            ),
        )
        for name, arrays in groups:
            if len({len(array) for array in arrays}) > 1:
                raise ValueError(f"the {name} arrays differ in length")
        nodes = (self.start, self.end, self.fixed_node, self.outlets.node)
        named = np.concatenate([*nodes, self.pumps.start, self.pumps.end])
        if named.size and not (named.min() >= 0 and named.max() < self.node_count):
            raise ValueError(f"a node is named outside 0 to {self.node_count - 1}")
        if len(self.fixed_node) != len(np.unique(self.fixed_node)):
            raise ValueError("a node is given two fixed levels")
        if not len(self.fixed_node):
            raise ValueError("a network needs at least one fixed level")
        sizes = (self.length_m, self.bore_m, self.outlets.coefficient_m2, self.pumps.coefficient)
        if not (all((array > 0).all() for array in sizes) and (self.pumps.exponent >= 1).all()):
            raise ValueError("lengths, bores, valve and pump coefficients must be positive")
        if not (self.minor_loss >= 0).all():
            raise ValueError("a loss coefficient is negative")
        lost = np.flatnonzero(nodes_cut_off(self, np.ones(len(self.start), dtype=bool)))
        if lost.size:
            raise ValueError(f"no way joins node {lost[0]} to a fixed level")

    @cached_property
    def link_start(self) -> IntArray:
        """Start of pipes, outlets and pumps, in that order."""
        return np.concatenate([self.start, self.outlets.node, self.pumps.start]).astype(np.intp)

    @cached_property
    def link_end(self) -> IntArray:
        """End of the same links; each outlet ends at a node of its own after the named ones."""
        discharge = self.node_count + np.arange(len(self.outlets.node))
        return np.concatenate([self.end, discharge, self.pumps.end]).astype(np.intp)

    @cached_property
    def is_unknown(self) -> BoolArray:
        """Which nodes, those of the outlets included, have a head to be found."""
        unknown = np.zeros(self.node_count + len(self.outlets.node), dtype=bool)
        unknown[: self.node_count] = True
        unknown[self.fixed_node] = False
        return unknown

    @cached_property
    def system(self) -> Laplacian | None:
        """Layout of the linear system for the unknown heads; None where every head is fixed."""
        if not self.is_unknown.any():
            return None
        place = np.where(self.is_unknown, np.cumsum(self.is_unknown) - 1, -1)
        return make_laplacian(self.link_start, self.link_end, place)


def nodes_cut_off(network: PipeNetwork, pipe_open: BoolArray) -> BoolArray:
    """Return which nodes (nodes,) no open pipe or pump joins to a fixed level.

    An outlet is no way to a level: it holds one only while it runs.
    """
    start = np.concatenate([network.start[pipe_open], network.pumps.start])
    end = np.concatenate([network.end[pipe_open], network.pumps.end])
    shape = (network.node_count, network.node_count)
    graph = coo_array((np.ones(len(start)), (start, end)), shape=shape)
    _count, label = connected_components(graph, directed=False)
    return np.asarray(~np.isin(label, label[network.fixed_node]))


@dataclass(frozen=True, eq=False)
class NetworkFlow:
    """Heads and flows of every case solved.

    Attributes
    ----------
    head_m : array of float, shape (cases, nodes)
        Total head (level of the hydraulic grade line) [m]; NaN at nodes that no open way joins
        to a fixed level.
    flow_m3_s : array of float, shape (cases, pipes)
        Positive from start to end.
    outlet_flow_m3_s : array of float, shape (cases, outlets)
    pump_flow_m3_s : array of float, shape (cases, pumps)
    iterations : int
        Newton steps until every case had settled.
    worst_imbalance_m : float
        Greatest misfit between head difference and loss on any open link [m].
    """

    head_m: FloatArray
    flow_m3_s: FloatArray
    outlet_flow_m3_s: FloatArray
    pump_flow_m3_s: FloatArray
    iterations: int
    worst_imbalance_m: float
