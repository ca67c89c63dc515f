"""Nodes and neighbours of linework, as arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from dewpond.base.surface import FloatArray
from dewpond.steps.corridors.linework import GRID_M, IntArray, Linework, grid_keys


@dataclass(frozen=True, eq=False)
class Nodes:
    """Where lines end.

    Attributes
    ----------
    coordinates : array of float, shape (n, 2)
        Ordered by easting, then northing.
    start, end : arrays of int, shape (m,)
        Node at the start and the end of each line.
    """

    coordinates: FloatArray
    start: IntArray
    end: IntArray


def number_nodes(work: Linework) -> Nodes:
    """Give each distinct end of the lines a number."""
    keys = grid_keys(work.ends().reshape(-1, 2))
    distinct, inverse = np.unique(keys, axis=0, return_inverse=True)
    of_end = inverse.reshape(-1, 2).astype(np.intp)
    return Nodes(distinct.astype(np.float64) * GRID_M, of_end[:, 0], of_end[:, 1])


def adjacency(nodes: Nodes, weights: FloatArray) -> sp.csr_array:
    """Return the graph of the lines, each pair of nodes once, with the least weight between them.

    Weights must be above zero, else scipy takes them for no line at all.
    """
    low, high = np.minimum(nodes.start, nodes.end), np.maximum(nodes.start, nodes.end)
    order = np.lexsort((weights, high, low))
    order = order[low[order] != high[order]]
    first = np.ones(order.size, dtype=bool)
    first[1:] = (np.diff(low[order]) != 0) | (np.diff(high[order]) != 0)
    kept = order[first]
    count = len(nodes.coordinates)
    one, other = low[kept].astype(np.int32), high[kept].astype(np.int32)
    return sp.csr_array((weights[kept], (one, other)), shape=(count, count))
