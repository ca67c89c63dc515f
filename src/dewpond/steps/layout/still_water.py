"""Sites and edges above the still water of a source, closed where others can serve the ground."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from dewpond.base.model import Candidates, Corridors, Holding
from dewpond.base.profile import ground_profiles
from dewpond.base.settings import LayoutSettings
from dewpond.base.still_water import level_that_binds
from dewpond.base.surface import FloatArray
from dewpond.steps.layout.options import Options

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.intp]

# Levels nearer than this are one: raising a whole holding must change nothing [m].
_ROUNDING_M = 1e-3


@dataclass(frozen=True, eq=False)
class Ways:
    """Where sites and the source stand on the graph of corridors."""

    ends: IntArray
    node_of_site: IntArray
    root: int
    n_nodes: int

    def joined(self, edge_open: BoolArray) -> BoolArray:
        """Tell which sites hang together with the source along open edges."""
        ends = self.ends[edge_open]
        joints = sp.coo_array(
            (np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(self.n_nodes, self.n_nodes)
        )
        _, label = connected_components(joints, directed=False)
        return np.asarray(label[self.node_of_site] == label[self.root])


def ways_from(corridors: Corridors, source: int, n_sites: int) -> Ways:
    """Return the graph as seen from one source."""
    site = corridors.nodes["site"].to_numpy(dtype=np.intp)
    node_of_site = np.empty(n_sites, dtype=np.intp)
    node_of_site[site[site >= 0]] = np.flatnonzero(site >= 0)
    root = int(np.flatnonzero(corridors.nodes["source"].to_numpy() == source)[0])
    ends = corridors.edges[["start", "end"]].to_numpy(dtype=np.intp)
    return Ways(ends, node_of_site, root, len(corridors.nodes))


@dataclass(frozen=True, eq=False)
class HighGround:
    """Sites and edges that still water does not reach; shapes (n sites,) and (m edges,)."""

    level_m: float
    sites: BoolArray
    edges: BoolArray


def high_ground(
    holding: Holding,
    candidates: Candidates,
    corridors: Corridors,
    layout: LayoutSettings,
    source: int,
) -> HighGround:
    """Tell which sites want head, and which edges rise above the still water of the source."""
    level_m = level_that_binds(holding.sources[source], holding.surface)
    site_m = candidates.sites["ground_level_m"].to_numpy(dtype=np.float64)
    high_sites = site_m > level_m - layout.least_static_head_m + _ROUNDING_M
    if not np.isfinite(level_m):
        return HighGround(level_m, high_sites, np.zeros(len(corridors.edges), dtype=np.bool_))
    highest_m = _highest(holding, corridors)
    return HighGround(level_m, high_sites, np.asarray(highest_m > level_m + _ROUNDING_M))


def heed_still_water(
    options: Options, high: HighGround, ways: Ways, serves: sp.csr_array, layout: LayoutSettings
) -> Options:
    """Close what still water does not reach, or where ground would stay dry make it dear.

    Parameters
    ----------
    serves : csr_array, shape (g groups, n sites)
    """
    needs = serves.astype(np.float64)
    low_edges = options.edge_open & ~high.edges
    low = options.site_open & ~high.sites & ways.joined(low_edges)
    any_way = options.site_open & ways.joined(options.edge_open)
    lost = (needs @ any_way > 0) & ~(needs @ low > 0)
    stranded = options.site_forced & any_way & ~low
    if not lost.any() and not stranded.any():
        return replace(
            options,
            edge_open=low_edges,
            site_open=options.site_open & (~high.sites | options.site_forced),
        )
    helps = np.asarray(needs.T @ lost.astype(np.float64) > 0) | options.site_forced
    factor = layout.above_water_factor
    return replace(
        options,
        site_open=options.site_open & (~high.sites | helps),
        edge_extra=options.edge_extra + factor * np.where(high.edges, options.edge_price, 0.0),
        site_extra=options.site_extra + factor * np.where(high.sites, options.site_price, 0.0),
    )


def _highest(holding: Holding, corridors: Corridors) -> FloatArray:
    """Return the highest known ground along each edge [m]."""
    profiles = ground_profiles(corridors.edges.geometry.to_numpy(), holding.surface)
    height_m = np.nan_to_num(profiles.ground_level_m, nan=-np.inf)
    first = np.searchsorted(profiles.line, np.arange(len(corridors.edges)))
    return np.asarray(np.maximum.reduceat(height_m, first)) if len(first) else np.empty(0)
