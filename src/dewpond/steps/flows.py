"""Design flow of each pipe: what the mobs that could be drinking beyond it draw together."""

from __future__ import annotations

import itertools

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.model import Flows, Network, Watering
from dewpond.base.surface import FloatArray

# Placings of the other mobs tried for one mob at one outlet; with more, only the two extremes.
_MOST_PLACINGS = 8


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
        other mob stands where it shares the longest way with the outlet of the case; where it
        draws more at a place that shares less of the way, a further row has it there.

    Notes
    -----
    A case is one state of the holding, so in none does a pipe carry more than its design flow.
    The cases of a mob at an outlet hold the one in which most head is lost on the way there,
    whatever the pipe, and the one in which the source gives most: any other placing loads no
    stretch of that way more.
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
    rows, labels = [np.zeros((0, len(pipes)))], []
    for at, mob in np.argwhere(draws.T > 0.0).tolist():
        placings = _placings(mob, at, draws, shared_m[at])
        drawn = draws[np.arange(len(mobs))[:, None], placings.T]
        rows.append(np.einsum("mc,pmc->cp", drawn, beyond[:, placings.T].astype(float)))
        labels += [(mobs[mob], outlets[at])] * len(placings)
    frame = pd.DataFrame(np.concatenate(rows), columns=pipes)
    frame.insert(0, "mob", pd.Series([mob for mob, _ in labels], dtype=object))
    frame.insert(1, "outlet", pd.Series([outlet for _, outlet in labels], dtype=object))
    return frame


def _placings(mob: int, at: int, draws: FloatArray, shared_m: FloatArray) -> npt.NDArray[np.intp]:
    """Return where each mob stands in the cases of one mob at one outlet: (cases, mobs).

    The first has every other mob where it shares the longest way. A mob that draws more at a
    place nearer the source may weigh heavier there: then both are tried.
    """
    choices = [
        [at] if other == mob else _telling_places(draw, shared_m)
        for other, draw in enumerate(draws)
    ]
    if np.prod([len(places) for places in choices], dtype=float) > _MOST_PLACINGS:
        nearest, thirstiest = ([places[end] for places in choices] for end in (0, -1))
        return np.array([nearest, thirstiest], dtype=np.intp)
    return np.array(list(itertools.product(*choices)), dtype=np.intp)


def _telling_places(draw: FloatArray, shared_m: FloatArray) -> list[int]:
    """Return the places of a mob of which none both shares less of the way and draws no more.

    Longest shared way first, greatest draw last; any other place loads the way less.
    """
    order = np.lexsort((-draw, -shared_m.round(3)))
    before = np.maximum.accumulate(np.concatenate([[0.0], draw[order][:-1]]))
    return [int(place) for place in order[draw[order] > before]]
