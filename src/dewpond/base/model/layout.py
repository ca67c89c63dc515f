"""Where outlets stand and pipe runs: the ways, the choice, the tree and its ground line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.surface import FloatArray

IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Corridors:
    """The ways that pipe may take: an undirected graph laid over fences, tracks, open ground.

    Attributes
    ----------
    nodes : GeoDataFrame
        Row labels 0 to n-1; columns ``site`` (site id or -1), ``source`` (position in
        ``Holding.sources`` or -1), ``ground_level_m``, ``geometry`` (Point).
    edges : GeoDataFrame
        Row labels 0 to m-1; columns ``start``, ``end`` (node ids), ``length_m`` (3D, along the
        ground), ``laying`` ("fence", "track", "open ground", "existing"), ``crossings`` (tuple
        of "track" / "watercourse", one entry each), ``cost`` (whole price of the edge),
        ``geometry`` (LineString from start to end), ``existing_outside_diameter_mm`` (of pipe
        already there, the least along the edge; NaN where it is new or its size is not known).
    warnings : tuple of str
    """

    nodes: gpd.GeoDataFrame
    edges: gpd.GeoDataFrame
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Proof:
    """How good an optimised choice is known to be.

    Attributes
    ----------
    value, bound : float
        Whole cost (or number) of the choice and the least that any choice could have.
    seconds : float
        Wall time of the search.
    status : str
        "optimal", or why the search stopped.
    """

    value: float
    bound: float
    seconds: float
    status: str

    @property
    def gap(self) -> float:
        """Share of the value that is not proven necessary, 0 when proven least."""
        return max(0.0, (self.value - self.bound) / self.value) if self.value > 0 else 0.0


@dataclass(frozen=True, eq=False)
class Layout:
    """Outlets and pipe chosen together, from one source.

    Attributes
    ----------
    source : int
        Position in ``Holding.sources``.
    sites : tuple of int
        Chosen site ids, ascending.
    edges : tuple of int
        Row labels of ``Corridors.edges`` that carry pipe, ascending; with the source they form a
        tree.
    outlet_cost, pipe_cost : float
        Price of the new outlets, and of laying the pipe with its crossings and wayleaves.
    proof : Proof
        In whole price: outlets, pipe, crossings and wayleaves. Where the source lies too low for
        some ground, or ground is preferred, the bound holds for every scheme that heeds this at
        least as well.
    reproducible : bool
        False when the wall time cut the search short: another run may find another scheme.
    unreachable : array of bool, shape (m cells,)
        Cells that no site, allowed and joined to the source, could serve.
    unconnected : tuple of int
        Sites the user fixed that no corridor joins to the source.
    warnings : tuple of str
    """

    source: int
    sites: tuple[int, ...]
    edges: tuple[int, ...]
    outlet_cost: float
    pipe_cost: float
    proof: Proof
    reproducible: bool
    unreachable: npt.NDArray[np.bool_]
    unconnected: tuple[int, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Siting:
    """The chosen outlets and what they reach.

    Attributes
    ----------
    sites : tuple of int
        Chosen site ids, ascending.
    nearest_site : array of int, shape (m cells,)
        Site that each cell walks to, -1 where none is in reach.
    walk_m : array of float, shape (m cells,)
        Walk of each cell to the water after the hose [m], NaN where none is in reach.
    unreachable : array of bool, shape (m cells,)
        Cells that no candidate at all could serve.
    proof : Proof
        That of the layout, in whole price.
    warnings : tuple of str
    """

    sites: tuple[int, ...]
    nearest_site: IntArray
    walk_m: FloatArray
    unreachable: npt.NDArray[np.bool_]
    proof: Proof
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Network:
    """The pipe tree from a source to every chosen outlet.

    Attributes
    ----------
    source : int
        Position in ``Holding.sources``.
    nodes : GeoDataFrame
        Row label = node name ("outlet 1", "junction 1", or the source's name), ordered outward
        from the source; columns ``kind`` ("source", "outlet", "junction"), ``site`` (site id or
        -1), ``ground_level_m``, ``geometry`` (Point).
    pipes : GeoDataFrame
        Row label = pipe name ("pipe 1" ...), ordered outward; a pipe runs between source,
        junctions and outlets, and is new or was there already over its whole length.
        Columns ``from_node``, ``to_node`` (names, flow outward), ``length_m`` (3D), ``laying``
        (the longest kind along it), ``laying_m`` (tuple of (kind, metres) pairs), ``crossings``
        (tuple), ``cost``, ``geometry`` (LineString, from from_node to to_node), ``edges`` (tuple
        of row labels of ``Corridors.edges``, in the direction of flow),
        ``existing_outside_diameter_mm`` (NaN where new or not known).
    unconnected : tuple of int
        Chosen sites that no corridor joins to the source.
    proof : Proof
        That of the layout, in whole price.
    warnings : tuple of str
    """

    source: int
    nodes: gpd.GeoDataFrame
    pipes: gpd.GeoDataFrame
    unconnected: tuple[int, ...]
    proof: Proof
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Section:
    """Ground along one pipe at the posting of the elevation data, in the direction of flow.

    Attributes
    ----------
    distance_m : array of float, shape (n,)
        Distance along the ground from the source, through the pipes before this one [m].
    easting_m, northing_m, ground_level_m : arrays of float, shape (n,)
    summits, hollows : tuple of int
        Positions in the arrays of local high and low points (candidates for air valves and
        washouts). The source and loose ends are left out; one at a fork or at an outlet that
        pipe runs on from is the last point of the pipe that leads there, and counts once.
    """

    distance_m: FloatArray
    easting_m: FloatArray
    northing_m: FloatArray
    ground_level_m: FloatArray
    summits: tuple[int, ...]
    hollows: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Heads:
    """Static head (no flow) along every pipe, from the water level at the source.

    Attributes
    ----------
    source_level_m : float
        Level of still water at the source, in the datum of the elevation [m].
    source_level_reason : str
        Where that level comes from, in a sentence.
    nodes : DataFrame
        Row label = node name; columns ``ground_level_m``, ``static_head_m``.
    pipes : DataFrame
        Row label = pipe name; columns ``static_head_m`` (at its end), ``highest_static_head_m``,
        ``lowest_static_head_m`` (anywhere along it).
    sections : mapping of str to Section
        By pipe name.
    warnings : tuple of str
    """

    source_level_m: float
    source_level_reason: str
    nodes: pd.DataFrame
    pipes: pd.DataFrame
    sections: Mapping[str, Section]
    warnings: tuple[str, ...] = ()
