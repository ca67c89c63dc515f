"""A tree of corridor edges as nodes and pipes with names, in the direction of flow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
import shapely
from scipy.sparse.csgraph import dijkstra

from dewpond.base.model import Corridors

IntArray = npt.NDArray[np.intp]

# Least weight in searches, since scipy takes zero for no line at all [m].
_NEXT_TO_NOTHING_M = 1e-9


@dataclass(frozen=True)
class _Pipe:
    """Edges from one stop to the next, in the direction of flow."""

    start: int
    end: int
    edges: tuple[int, ...]
    forward: tuple[bool, ...]


def build_network(
    corridors: Corridors, tree: IntArray, root: int, sites: set[int], source_name: str
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Return the tables ``nodes`` and ``pipes`` of a `Network`.

    Parameters
    ----------
    corridors : Corridors
    tree : array of int
        Positions of edges that form a tree.
    root : int
        Node of the source.
    sites : set of int
        Site ids that are outlets; the tree may pass other sites.
    source_name : str
    """
    outlets = set(np.flatnonzero(corridors.nodes["site"].isin(sorted(sites))).tolist())
    before, edge_before, distance = _outward(corridors, tree, root)
    reached = np.flatnonzero(np.isfinite(distance))
    branches = np.bincount(before[reached[reached != root]], minlength=len(distance))
    changes = _changes(corridors, before, edge_before, reached[reached != root])
    stops = [
        n for n in reached.tolist()
        if n == root or n in outlets or branches[n] > 1 or n in changes
    ]  # fmt: skip
    # A fork or outlet is named after all that water passes on the way to it.
    stops.sort(key=lambda node: (node != root, distance[node], node))
    names = _names(stops, root, outlets, source_name)
    pipes = [_pipe_to(stop, set(stops), before, edge_before, corridors) for stop in stops[1:]]
    return (
        _node_table(corridors, stops, names, root, outlets),
        _pipe_table(corridors, pipes, dict(zip(stops, names, strict=True))),
    )


def _outward(
    corridors: Corridors, tree: IntArray, root: int
) -> tuple[IntArray, IntArray, npt.NDArray[np.float64]]:
    """Return for each node the node and the edge before it, and its distance from the root."""
    count = len(corridors.nodes)
    start = corridors.edges["start"].to_numpy(dtype=np.intp)[tree]
    end = corridors.edges["end"].to_numpy(dtype=np.intp)[tree]
    length_m = np.maximum(corridors.edges["length_m"].to_numpy()[tree], _NEXT_TO_NOTHING_M)
    matrix = sp.csr_array(
        (length_m, (start.astype(np.int32), end.astype(np.int32))), shape=(count, count)
    )
    distance, before = dijkstra(matrix, directed=False, indices=root, return_predecessors=True)
    edge_before = np.full(count, -1, dtype=np.intp)
    edge_before[end[before[end] == start]] = tree[before[end] == start]
    edge_before[start[before[start] == end]] = tree[before[start] == end]
    return before.astype(np.intp), edge_before, distance


def _changes(
    corridors: Corridors, before: IntArray, edge_before: IntArray, reached: IntArray
) -> set[int]:
    """Return nodes where pipe that is there already begins, ends or changes its size."""
    size_mm = existing_size_mm(corridors.edges)
    kind = np.where(
        corridors.edges["laying"].to_numpy() == "existing", np.nan_to_num(size_mm, nan=0.0), -1.0
    )
    onward = kind[edge_before[reached]]
    at = before[reached]
    inner = edge_before[at] >= 0
    differs = onward[inner] != kind[edge_before[at[inner]]]
    return set(at[inner][differs].tolist())


def existing_size_mm(edges: gpd.GeoDataFrame) -> npt.NDArray[np.float64]:
    """Return the outside diameter of pipe already along edges [mm], NaN where not known."""
    if "existing_outside_diameter_mm" not in edges:
        return np.full(len(edges), np.nan)
    return np.asarray(edges["existing_outside_diameter_mm"], dtype=np.float64)


def _names(stops: Sequence[int], root: int, outlets: set[int], source_name: str) -> list[str]:
    names, counts = [], {"outlet": 0, "junction": 0}
    for stop in stops:
        if stop == root:
            names.append(source_name)
            continue
        kind = "outlet" if stop in outlets else "junction"
        counts[kind] += 1
        names.append(f"{kind} {counts[kind]}")
    return names


def _pipe_to(
    stop: int, stops: set[int], before: IntArray, edge_before: IntArray, corridors: Corridors
) -> _Pipe:
    starts = corridors.edges["start"].to_numpy()
    node, edges, forward = stop, [], []
    while True:
        edge = int(edge_before[node])
        edges.append(edge)
        node = int(before[node])
        forward.append(bool(starts[edge] == node))
        if node in stops:
            return _Pipe(node, stop, tuple(edges[::-1]), tuple(forward[::-1]))


def _node_table(
    corridors: Corridors, stops: list[int], names: list[str], root: int, outlets: set[int]
) -> gpd.GeoDataFrame:
    part = corridors.nodes.iloc[stops]
    is_outlet = np.array([stop in outlets for stop in stops], dtype=bool)
    kind = np.where(is_outlet, "outlet", "junction").astype(object)
    kind[[stop == root for stop in stops]] = "source"
    return gpd.GeoDataFrame(
        {
            "kind": kind,
            "site": np.where(is_outlet, part["site"], -1),
            "ground_level_m": part["ground_level_m"].to_numpy(),
        },
        geometry=part.geometry.to_numpy(),
        index=names,
        crs=corridors.nodes.crs,
    )


def _pipe_table(
    corridors: Corridors, pipes: Sequence[_Pipe], name_of: dict[int, str]
) -> gpd.GeoDataFrame:
    edges = corridors.edges
    parts = [edges.iloc[list(pipe.edges)] for pipe in pipes]
    laying_m = [_laying_m(part) for part in parts]
    return gpd.GeoDataFrame(
        {
            "from_node": [name_of[pipe.start] for pipe in pipes],
            "to_node": [name_of[pipe.end] for pipe in pipes],
            "length_m": [float(part["length_m"].sum()) for part in parts],
            "laying": [kinds[0][0] for kinds in laying_m],
            "laying_m": laying_m,
            "crossings": [tuple(c for some in part["crossings"] for c in some) for part in parts],
            "cost": [float(part["cost"].sum()) for part in parts],
            "edges": [tuple(int(label) for label in part.index) for part in parts],
            "existing_outside_diameter_mm": [float(existing_size_mm(p).min()) for p in parts],
        },
        geometry=[_way(part.geometry.to_numpy(), pipe.forward)
                  for part, pipe in zip(parts, pipes, strict=True)],
        index=[f"pipe {number}" for number in range(1, len(pipes) + 1)],
        crs=edges.crs,
    )  # fmt: skip


def _laying_m(part: gpd.GeoDataFrame) -> tuple[tuple[str, float], ...]:
    """Return metres by way of laying, longest first."""
    metres = part.groupby("laying", sort=True)["length_m"].sum()
    pairs = [(str(kind), float(length)) for kind, length in metres.items()]
    return tuple(sorted(pairs, key=lambda pair: (-pair[1], pair[0])))


def _way(lines: npt.NDArray[np.object_], forward: Sequence[bool]) -> shapely.LineString:
    legs = [
        shapely.get_coordinates(line)[:: 1 if ahead else -1]
        for line, ahead in zip(lines, forward, strict=True)
    ]
    return shapely.LineString(np.vstack([legs[0], *(leg[1:] for leg in legs[1:])]))
