"""The chosen corridor edges as a network of named nodes and pipes."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dewpond.base.model import Corridors, Holding, Layout, Network
from dewpond.steps.routing.network import build_network

IntArray = npt.NDArray[np.intp]


def assemble_network(holding: Holding, corridors: Corridors, layout: Layout) -> Network:
    """Assemble the pipe network of a layout from its corridor edges.

    Parameters
    ----------
    holding : Holding
        Names the source.
    corridors : Corridors
    layout : Layout
        Source, sites, and edges that form a tree.

    Returns
    -------
    Network
        Pipes run between the source, forks, outlets and the ends of pipe that is there already,
        in the direction of flow, numbered outward by distance along the pipe.
    """
    root = int(np.flatnonzero(corridors.nodes["source"].to_numpy() == layout.source)[0])
    name = holding.sources[layout.source].name
    edges = np.array(layout.edges, dtype=np.intp)
    nodes, pipes = build_network(corridors, edges, root, set(layout.sites), name)
    return Network(layout.source, nodes, pipes, layout.unconnected, layout.proof)
