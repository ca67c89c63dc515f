"""Design flow of each pipe: what the mobs that could be drinking beyond it draw together."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.model import Flows, Network, Watering
from dewpond.base.surface import FloatArray


def design_flows(network: Network, watering: Watering) -> Flows:
    """Return the flow that each pipe must carry.

    Parameters
    ----------
    network : Network
        The pipe tree, pipes ordered outward from the source.
    watering : Watering
        Its uses: what each mob draws at each outlet where it drinks.

    Returns
    -------
    Flows
        A mob is in one place at a time, so a pipe carries for each mob what it draws at its most
        demanding outlet beyond the pipe, once; never the sum of all outlets. In `cases` every
        other mob stands where it shares the longest way with the outlet of the case, and of
        such places where it draws most.

    Notes
    -----
    A case is one state of the holding, so in none does a pipe carry more than its design flow.
    Where a mob draws the same at all its outlets, each pipe reaches its design flow in a case.
    """
    outlets = network.nodes.index[network.nodes["kind"] == "outlet"]
    beyond = _outlets_beyond(network, outlets)
    mobs, draws = _draws(watering.uses, outlets)
    carried = _most_beyond(draws, beyond)
    pipes = pd.DataFrame(
        {
            "design_flow_l_min": carried.sum(axis=0),
            "mobs": pd.Series(
                [tuple(mobs[share > 0.0]) for share in carried.T],
                index=network.pipes.index,
                dtype=object,
            ),
        },
        index=network.pipes.index,
    )
    total_l_min = float(draws.max(axis=1, initial=0.0).sum())
    lengths_m = network.pipes["length_m"].to_numpy(float)
    cases = _cases(mobs, draws, beyond, lengths_m, outlets, network.pipes.index)
    return Flows(pipes, cases, total_l_min)


def _outlets_beyond(network: Network, outlets: pd.Index) -> npt.NDArray[np.bool_]:
    """Return whether each pipe lies on the way to each outlet, shape (pipes, outlets)."""
    starts = network.pipes["from_node"].to_numpy()
    ends = network.pipes["to_node"].to_numpy()
    beyond = np.asarray(ends[:, None] == outlets.to_numpy()[None, :], bool)
    leading_to = {node: row for row, node in enumerate(ends)}
    for row in range(len(ends) - 1, -1, -1):  # outermost first, so that each is whole in time
        if starts[row] in leading_to:
            beyond[leading_to[starts[row]]] |= beyond[row]
    return beyond


def _draws(uses: pd.DataFrame, outlets: pd.Index) -> tuple[npt.NDArray[np.object_], FloatArray]:
    """Return the mobs by name and what each draws at each outlet [L/min], 0 where it does not.

    A mob that can drink at an outlet from two paddocks draws there as from the more demanding.
    """
    mobs = pd.Index(uses["mob"].drop_duplicates().sort_values())
    draws = np.zeros((len(mobs), len(outlets)))
    rows, columns = mobs.get_indexer(uses["mob"]), outlets.get_indexer(uses["outlet"])
    np.maximum.at(draws, (rows, columns), uses["design_flow_l_min"].to_numpy(float))
    return mobs.to_numpy(dtype=object), draws


def _most_beyond(draws: FloatArray, beyond: npt.NDArray[np.bool_]) -> FloatArray:
    """Return what each mob draws at its most demanding outlet beyond each pipe: (mobs, pipes)."""
    drawn = np.where(beyond[None, :, :], draws[:, None, :], 0.0)
    return np.asarray(drawn.max(axis=2, initial=0.0))


def _cases(
    mobs: npt.NDArray[np.object_],
    draws: FloatArray,
    beyond: npt.NDArray[np.bool_],
    lengths_m: FloatArray,
    outlets: pd.Index,
    pipes: pd.Index,
) -> pd.DataFrame:
    """Return the flow of each pipe for each mob at each of its outlets, by outlet, then mob."""
    shared_m = (beyond * lengths_m[:, None]).T @ beyond.astype(float)
    at, who = np.nonzero(draws.T > 0.0)
    flows = np.zeros((len(at), len(pipes)))
    for mob, draw in enumerate(draws):
        place = np.where(who == mob, at, _companion(draw, shared_m)[at])
        flows += draw[place, None] * beyond[:, place].T
    frame = pd.DataFrame(flows, columns=pipes)
    frame.insert(0, "mob", mobs[who])
    frame.insert(1, "outlet", outlets.to_numpy()[at])
    return frame


def _companion(draw: FloatArray, shared_m: FloatArray) -> npt.NDArray[np.intp]:
    """Return for each outlet the place of another mob that shares the longest way with it."""
    drinks = draw > 0.0
    if not drinks.any():
        return np.zeros(len(draw), np.intp)
    shared = np.where(drinks[None, :], shared_m, -1.0)
    longest = np.isclose(shared, shared.max(axis=1, keepdims=True), rtol=0.0, atol=1e-6)
    return np.asarray(np.where(longest & drinks, draw[None, :], -1.0).argmax(axis=1))
