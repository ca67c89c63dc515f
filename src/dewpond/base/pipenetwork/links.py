"""Pipes, valves and pumps as one list of links, each with a loss that grows with its flow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dewpond.base.friction import power_loss_and_slope
from dewpond.base.pipenetwork.model import BoolArray, IntArray, PipeNetwork
from dewpond.base.surface import FloatArray
from dewpond.base.units import STANDARD_GRAVITY_M_S2

_SHUT_M_S_M3 = 1e10
"""Loss a flow [s/m²] of a shut valve, a pump run backward: 10 m leaks a millionth of a litre/s."""

_START_SPEED_M_S = 0.3
_START_HEAD_M = 10.0


@dataclass(frozen=True, eq=False)
class Links:
    """Links in the order pipes, outlets, pumps; each valve ends at a fixed node of its own.

    Attributes
    ----------
    network : PipeNetwork
    start, end : array of int, shape (links,)
        In the extended list of nodes: those of the network, then one for each outlet.
    open : array of bool, shape (cases, links)
    """

    network: PipeNetwork
    start: IntArray
    end: IntArray
    open: BoolArray

    def loss_and_slope(self, flow: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the loss [m] and its derivative [s/m²] of links at flows (cases, links)."""
        net, pipes = self.network, len(self.network.start)
        valves = pipes + len(net.outlets.node)
        loss, slope = np.empty_like(flow), np.empty_like(flow)
        loss[:, :pipes], slope[:, :pipes] = self._pipes(flow[:, :pipes])
        if valves > pipes:
            loss[:, pipes:valves], slope[:, pipes:valves] = self._valves(flow[:, pipes:valves])
        if flow.shape[1] > valves:
            loss[:, valves:], slope[:, valves:] = self._pumps(flow[:, valves:])
        if not self.open.all():
            loss = np.where(self.open, loss, _SHUT_M_S_M3 * flow)
            slope = np.where(self.open, slope, _SHUT_M_S_M3)
        return loss, slope

    def _pipes(self, flow: FloatArray) -> tuple[FloatArray, FloatArray]:
        net = self.network
        loss, slope = net.friction.loss_and_slope_per_metre(flow, net.bore_m)
        loss, slope = loss * net.length_m, slope * net.length_m
        if net.minor_loss.any():
            size = np.abs(flow) * (
                net.minor_loss * 8.0 / (np.pi**2 * STANDARD_GRAVITY_M_S2 * net.bore_m**4)
            )
            loss, slope = loss + size * flow, slope + 2.0 * size
        return loss, slope

    def _valves(self, flow: FloatArray) -> tuple[FloatArray, FloatArray]:
        scale = 0.5 / STANDARD_GRAVITY_M_S2 / self.network.outlets.coefficient_m2**2
        loss, slope = power_loss_and_slope(flow, scale, 2.0)
        return self._one_way(flow, loss, slope, 0.0)

    def _pumps(self, flow: FloatArray) -> tuple[FloatArray, FloatArray]:
        pumps = self.network.pumps
        loss, slope = power_loss_and_slope(flow, pumps.coefficient, pumps.exponent)
        return self._one_way(flow, loss - pumps.shutoff_head_m, slope, -pumps.shutoff_head_m)

    def _one_way(
        self, flow: FloatArray, loss: FloatArray, slope: FloatArray, at_rest: float | FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Make flow against the arrow meet a wall, so that the loss still grows with flow."""
        backward = flow < 0
        loss = np.where(backward, at_rest + _SHUT_M_S_M3 * flow, loss)
        return loss, np.where(backward, _SHUT_M_S_M3, slope)

    def first_guess(self) -> FloatArray:
        """Return flows (cases, links) to begin from: moderate, forward, none where shut."""
        net = self.network
        pipes = _START_SPEED_M_S * 0.25 * np.pi * net.bore_m**2
        valves = net.outlets.coefficient_m2 * np.sqrt(2.0 * STANDARD_GRAVITY_M_S2 * _START_HEAD_M)
        pumps = (0.5 * net.pumps.shutoff_head_m / net.pumps.coefficient) ** (
            1.0 / net.pumps.exponent
        )
        return np.where(self.open, np.concatenate([pipes, valves, pumps]), 0.0)


def make_links(network: PipeNetwork, pipe_open: BoolArray, outlet_open: BoolArray) -> Links:
    """Return the links of a network for cases with given pipes and outlets open."""
    discharge = network.node_count + np.arange(len(network.outlets.node))
    pump_open = np.ones((len(pipe_open), len(network.pumps.start)), dtype=bool)
    return Links(
        network,
        np.concatenate([network.start, network.outlets.node, network.pumps.start]).astype(np.intp),
        np.concatenate([network.end, discharge, network.pumps.end]).astype(np.intp),
        np.concatenate([pipe_open, outlet_open, pump_open], axis=1),
    )
