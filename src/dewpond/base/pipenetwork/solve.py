"""Newton's method on flows and heads together, with a line search that cannot be lost.

The method is the global gradient method of Todini & Pilati (1988): linearise every link's loss,
eliminate the flows, solve for heads, update flows. Losses grow with flow, so the flows sought
are the least of a convex function (the content of the network, Collins et al. 1978, Management
Science 24:747) over all flows that balance at the nodes. After the first step flows balance
exactly, each further step points downhill, and shortening it where it overshoots makes the whole
converge from any start, shut valves and resting pipes included. One-way links yield a little at
first: a hard wall met far from the answer would stop every step short.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dewpond.base.errors import SolverError
from dewpond.base.pipenetwork.links import SHUT_S_M2, YIELDING_S_M2, Links, make_links
from dewpond.base.pipenetwork.model import BoolArray, NetworkFlow, PipeNetwork, nodes_cut_off
from dewpond.base.surface import FloatArray

_MOST_STEPS = 200
_UNDAMPED = 15  # whole steps first: they nearly always settle, and cost one evaluation each
_HEAD_TOLERANCE_M = 1e-6
_ROUGH_M = 10.0  # misfit below which one-way links are made to shut fully
_FLOW_TOLERANCE_M3_S = 1e-9
_FLOW_TOLERANCE_SHARE = 1e-7
_ENOUGH = 0.5  # share of the downhill slope that may be left, up or down, after a step


def solve_network(
    network: PipeNetwork,
    *,
    demand_m3_s: npt.ArrayLike | None = None,
    outlet_open: npt.ArrayLike | None = None,
    pipe_open: npt.ArrayLike | None = None,
    fixed_head_m: npt.ArrayLike | None = None,
) -> NetworkFlow:
    """Return heads and flows of a network at rest with itself, for one case or many at once.

    Parameters
    ----------
    network : PipeNetwork
    demand_m3_s : array_like, shape (nodes,) or (cases, nodes), optional
        Flow taken at nodes whatever their head [m³/s]; none by default. A negative one is fed in.
    outlet_open : array_like of bool, shape (outlets,) or (cases, outlets), optional
        Which float valves are open; all by default.
    pipe_open : array_like of bool, shape (pipes,) or (cases, pipes), optional
        Which pipes are open; all by default.
    fixed_head_m : array_like, shape (sources,) or (cases, sources), optional
        Levels in place of those of the network [m].

    Returns
    -------
    NetworkFlow
        Flows balance at every node within a millionth of a litre a second, and head differences
        match losses within a thousandth of a millimetre.

    Raises
    ------
    ValueError
        Shapes that do not fit, or a demand at a node cut off from every fixed level.
    SolverError
        No balance after 200 steps.
    """
    cases, demand, outlets, pipes, fixed = _cases(
        network, demand_m3_s, outlet_open, pipe_open, fixed_head_m
    )
    links = make_links(network, pipes, outlets)
    known = np.zeros((cases, network.node_count + outlets.shape[1]))
    known[:, network.node_count :] = network.outlets.level_m
    known[:, network.fixed_node] = fixed
    cut_off = _cut_off(network, pipes)
    if (cut_off & (demand != 0.0)).any():
        raise ValueError("a demand stands at a node that no open way joins to a fixed level")
    head, flow, steps, misfit = _newton(links, known, demand, cut_off)
    head = np.where(cut_off, np.nan, head[:, : network.node_count])
    flow = np.where(links.open, flow, 0.0)
    first_valve = len(network.start)
    first_pump = first_valve + outlets.shape[1]
    return NetworkFlow(
        head,
        flow[:, :first_valve],
        np.maximum(flow[:, first_valve:first_pump], 0.0),
        np.maximum(flow[:, first_pump:], 0.0),
        steps,
        misfit,
    )


def _cases(
    network: PipeNetwork,
    demand: npt.ArrayLike | None,
    outlet_open: npt.ArrayLike | None,
    pipe_open: npt.ArrayLike | None,
    fixed_head: npt.ArrayLike | None,
) -> tuple[int, FloatArray, BoolArray, BoolArray, FloatArray]:
    """Return the number of cases and every input spread over (cases, its own length)."""
    given = (
        np.atleast_2d(np.asarray(0.0 if demand is None else demand, float)),
        np.atleast_2d(np.asarray(True if outlet_open is None else outlet_open, bool)),
        np.atleast_2d(np.asarray(True if pipe_open is None else pipe_open, bool)),
        np.atleast_2d(np.asarray(network.fixed_head_m if fixed_head is None else fixed_head)),
    )
    widths = (
        network.node_count,
        len(network.outlets.node),
        len(network.start),
        len(network.fixed_node),
    )
    cases = max(len(array) for array in given)
    spread = [
        np.broadcast_to(array, (cases, width)) for array, width in zip(given, widths, strict=True)
    ]
    return cases, spread[0], spread[1], spread[2], np.asarray(spread[3], float)


def _cut_off(network: PipeNetwork, pipe_open: BoolArray) -> BoolArray:
    """Return which nodes (cases, nodes) no open pipe or pump joins to a fixed level."""
    result = np.zeros((len(pipe_open), network.node_count), dtype=bool)
    if pipe_open.all():
        return result
    patterns, which = np.unique(pipe_open, axis=0, return_inverse=True)
    for position, pattern in enumerate(patterns):
        result[which.ravel() == position] = nodes_cut_off(network, pattern)
    return result


def _newton(
    links: Links, known: FloatArray, demand: FloatArray, cut_off: BoolArray
) -> tuple[FloatArray, FloatArray, int, float]:
    """Return heads of all nodes, flows of all links, steps taken and the worst misfit."""
    network = links.network
    start, end = network.link_start, network.link_end
    drawn = np.zeros_like(known)
    drawn[:, : demand.shape[1]] = demand
    flow, wall = links.first_guess(), YIELDING_S_M2
    loss, slope = links.loss_and_slope(flow, wall)
    misfit, balanced = np.inf, False
    counted = links.open & ~cut_off[:, start]
    for step in range(1, _MOST_STEPS + 1):
        head = _heads(network, known, drawn, flow - loss / slope, 1.0 / slope)
        drop = head[:, start] - head[:, end]
        change = (drop - loss) / slope
        if balanced and step > _UNDAMPED:
            flow, loss, slope = _line_search(links, wall, flow, change, loss, slope, drop)
        else:  # only a whole step brings flows that are out of balance into it
            flow = flow + change
            loss, slope = links.loss_and_slope(flow, wall)
            balanced = True
        misfit = float(np.abs(loss - drop).max(initial=0.0, where=counted))
        if wall == YIELDING_S_M2:
            if misfit > _ROUGH_M:
                continue
            wall = SHUT_S_M2
            if links.harden(flow):
                loss, slope = links.loss_and_slope(flow, wall)
                balanced = False
                continue
        still = np.abs(change) <= _FLOW_TOLERANCE_M3_S + _FLOW_TOLERANCE_SHARE * np.abs(flow)
        if misfit <= _HEAD_TOLERANCE_M and still.all():
            return head, flow, step, misfit
    raise SolverError(
        f"the network did not balance in {_MOST_STEPS} steps; worst misfit {misfit:.3g} m"
    )


def _heads(
    network: PipeNetwork,
    known: FloatArray,
    drawn: FloatArray,
    flow_at_no_drop: FloatArray,
    conductance: FloatArray,
) -> FloatArray:
    """Return heads (cases, nodes) at which the linearised links balance every node.

    Known heads stand in their places, zeros in those of the unknown ones.
    """
    if network.system is None:
        return known
    start, end, unknown = network.link_start, network.link_end, network.is_unknown
    # What would arrive if unknown heads were zero must leave through the matrix.
    base = flow_at_no_drop + conductance * (known[:, start] - known[:, end])
    cases, nodes = known.shape
    place = np.concatenate([end, start]) + nodes * np.arange(cases)[:, None]
    both = np.concatenate([base, -base], axis=1)
    arriving = np.bincount(place.ravel(), both.ravel(), known.size).reshape(known.shape)
    head = known.copy()
    head[:, unknown] = network.system.solve(conductance, (arriving - drawn)[:, unknown])
    return head


def _line_search(
    links: Links,
    wall: float,
    flow: FloatArray,
    change: FloatArray,
    loss: FloatArray,
    slope: FloatArray,
    drop: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return flows, losses and slopes at a share of the step that does not overshoot.

    The derivative of the content along the step rises with the share taken; its root is bracketed
    by 0 and 1 where a whole step goes too far, and found by the Illinois variant of false
    position, case by case.
    """
    downhill = ((loss - drop) * change).sum(axis=1)
    new_flow = flow + change
    new_loss, new_slope = links.loss_and_slope(new_flow, wall)
    along = ((new_loss - drop) * change).sum(axis=1)
    noise = 1e-12 * np.abs(drop * change).sum(axis=1)
    if (along <= _ENOUGH * np.abs(downhill) + noise).all():
        return new_flow, new_loss, new_slope
    low, high = np.zeros_like(along), np.ones_like(along)
    at_low, at_high, share = downhill.copy(), along.copy(), np.ones_like(along)
    for _ in range(30):
        searching = np.abs(along) > _ENOUGH * np.abs(downhill) + noise
        searching &= (along > 0) | (share < 1.0)
        if not searching.any():
            break
        above = searching & (along > 0)
        below = searching & (along <= 0)
        high, at_high = np.where(above, share, high), np.where(above, along, at_high)
        low, at_low = np.where(below, share, low), np.where(below, along, at_low)
        at_low = np.where(above, 0.5 * at_low, at_low)
        at_high = np.where(below, 0.5 * at_high, at_high)
        width = at_high - at_low
        guess = low - at_low * (high - low) / np.where(width == 0, 1.0, width)
        guess = np.clip(guess, low + 0.01 * (high - low), high - 0.01 * (high - low))
        share = np.where(searching, guess, share)
        new_flow = flow + share[:, None] * change
        new_loss, new_slope = links.loss_and_slope(new_flow, wall)
        along = ((new_loss - drop) * change).sum(axis=1)
    return new_flow, new_loss, new_slope
