"""Pipes, valves and pumps as one list of links, each with a loss that grows with its flow."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dewpond.base.friction import float_valve_flow_m3_s, power_loss_and_slope, velocity_head_scale
from dewpond.base.pipenetwork.model import BoolArray, PipeNetwork
from dewpond.base.surface import FloatArray
from dewpond.base.units import STANDARD_GRAVITY_M_S2

SHUT_S_M2 = 1e12
"""Loss a flow [s/m²] of a shut valve or of flow against the arrow: 100 m leaks 1e-7 L/s."""

YIELDING_S_M2 = 1e6
"""The same [s/m²] while flows are still rough, of the size of an open valve's slope."""

_START_SPEED_M_S = 0.3
_LEAST_START_HEAD_M = 1.0


@dataclass(frozen=True, eq=False)
class Links:
    """Links in the order pipes, outlets, pumps, for cases with given ones open.

    Attributes
    ----------
    network : PipeNetwork
    open : array of bool, shape (cases, links)
    """

    network: PipeNetwork
    open: BoolArray

    def loss_and_slope(self, flow: FloatArray, wall: float) -> tuple[FloatArray, FloatArray]:
        """Return the loss [m] and its derivative [s/m²] of links at flows (cases, links).

        The wall [s/m²] is what valves and pumps oppose to flow against the arrow.
        """
        net, pipes = self.network, len(self.network.start)
        valves = pipes + len(net.outlets.node)
        loss, slope = np.empty_like(flow), np.empty_like(flow)
        loss[:, :pipes], slope[:, :pipes] = self._pipes(flow[:, :pipes])
        if valves > pipes:
            loss[:, pipes:valves], slope[:, pipes:valves] = self._valves(
                flow[:, pipes:valves], wall
            )
        if flow.shape[1] > valves:
            loss[:, valves:], slope[:, valves:] = self._pumps(flow[:, valves:], wall)
        if not self._all_open:
            loss = np.where(self.open, loss, SHUT_S_M2 * flow)
            slope = np.where(self.open, slope, SHUT_S_M2)
        return loss, slope

    @cached_property
    def _all_open(self) -> bool:
        return bool(self.open.all())

    @cached_property
    def _minor_scale(self) -> FloatArray:
        net = self.network
        return net.minor_loss * velocity_head_scale(net.bore_m)

    def _pipes(self, flow: FloatArray) -> tuple[FloatArray, FloatArray]:
        net = self.network
        loss, slope = net.friction.loss_and_slope_per_metre(flow, net.bore_m)
        loss, slope = loss * net.length_m, slope * net.length_m
        if self._minor_scale.any():
            size = np.abs(flow) * self._minor_scale
            loss, slope = loss + size * flow, slope + 2.0 * size
        return loss, slope

    def _valves(self, flow: FloatArray, wall: float) -> tuple[FloatArray, FloatArray]:
        scale = 0.5 / STANDARD_GRAVITY_M_S2 / self.network.outlets.coefficient_m2**2
        loss, slope = power_loss_and_slope(flow, scale, 2.0)
        return _one_way(flow, loss, slope, 0.0, wall)

    def _pumps(self, flow: FloatArray, wall: float) -> tuple[FloatArray, FloatArray]:
        pumps = self.network.pumps
        loss, slope = power_loss_and_slope(flow, pumps.coefficient, pumps.exponent)
        return _one_way(flow, loss - pumps.shutoff_head_m, slope, -pumps.shutoff_head_m, wall)

    def first_guess(self) -> FloatArray:
        """Return flows (cases, links) to begin from: forward, valves as if friction were nil."""
        net = self.network
        pipes = _START_SPEED_M_S * 0.25 * np.pi * net.bore_m**2
        static = np.maximum(net.fixed_head_m.max() - net.outlets.level_m, _LEAST_START_HEAD_M)
        valves = float_valve_flow_m3_s(0.5 * static, net.outlets.coefficient_m2)
        share = 0.5 * net.pumps.shutoff_head_m / net.pumps.coefficient
        pumps = share ** (1.0 / net.pumps.exponent)
        return np.where(self.open, np.concatenate([pipes, valves, pumps]), 0.0)

    def harden(self, flow: FloatArray) -> bool:
        """Scale backward flow in place for the hard wall; say whether there was any."""
        one_way = flow[:, len(self.network.start) :]
        backward = (one_way < 0) & self.open[:, len(self.network.start) :]
        one_way[backward] *= YIELDING_S_M2 / SHUT_S_M2
        return bool(backward.any())


def _one_way(
    flow: FloatArray,
    loss: FloatArray,
    slope: FloatArray,
    at_rest: float | FloatArray,
    wall: float,
) -> tuple[FloatArray, FloatArray]:
    """Let flow against the arrow meet a wall, so that the loss still grows with the flow."""
    backward = flow < 0
    if not backward.any():
        return loss, slope
    return np.where(backward, at_rest + wall * flow, loss), np.where(backward, wall, slope)


def make_links(network: PipeNetwork, pipe_open: BoolArray, outlet_open: BoolArray) -> Links:
    """Return the links of a network for cases with given pipes and outlets open."""
    pump_open = np.ones((len(pipe_open), len(network.pumps.start)), dtype=bool)
    return Links(network, np.concatenate([pipe_open, outlet_open, pump_open], axis=1))
