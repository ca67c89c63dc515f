"""Small holdings and corridors made by hand, for the tests of pipe and heads."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import pyproj
import scipy.sparse as sp
import shapely
from affine import Affine

from dewpond.base.model import Candidates, Corridors, Features, Holding, Layout, Reach, Source
from dewpond.base.settings import (
    DesignSettings,
    LayoutSettings,
    PricesSettings,
    RoutingSettings,
    SourceSettings,
)
from dewpond.base.surface import Grid, Surface
from dewpond.steps.corridors import lay_corridors
from dewpond.steps.grouping import group_cells
from dewpond.steps.layout import lay_out

CRS = pyproj.CRS("EPSG:27700")
# A corner with round coordinates, so that arithmetic can be done by eye.
WEST, SOUTH = 400_000.0, 480_000.0


def at(*pairs):
    """Return coordinates given relative to the corner."""
    return np.asarray(pairs, dtype=float) + np.array([WEST, SOUTH])


def line(*pairs):
    return shapely.LineString(at(*pairs))


def polygon(*pairs):
    return shapely.Polygon(at(*pairs))


def box(west, south, east, north):
    return shapely.box(WEST + west, SOUTH + south, WEST + east, SOUTH + north)


def point(x, y):
    return shapely.Point(WEST + x, SOUTH + y)


def surface(height, posting_m=5.0, size_m=2000.0, margin_m=200.0):
    """Return heights of a formula of (x, y) relative to the corner, sampled at cell centres."""
    count = int((size_m + 2 * margin_m) / posting_m)
    transform = Affine(
        posting_m, 0, WEST - margin_m, 0, -posting_m, SOUTH - margin_m + count * posting_m
    )
    column, row = np.meshgrid(np.arange(count) + 0.5, np.arange(count) + 0.5)
    x, y = transform * (column, row)
    values = np.broadcast_to(height(x - WEST, y - SOUTH), x.shape).astype(float)
    return Surface((Grid(values, transform, CRS),), CRS, posting_m)


def flat(x, y):
    return 0.0 * x


def source(x, y, name="tank", kind="header_tank", **settings):
    settings = SourceSettings(name=name, kind=kind, at=(WEST + x, SOUTH + y), **settings)
    return Source(settings, WEST + x, SOUTH + y)


def table(shapes):
    return gpd.GeoDataFrame({"name": [""] * len(shapes)}, geometry=list(shapes), crs=CRS)


def holding(sources, paddocks=(), height=flat, posting_m=5.0, **features):
    paddock_table = gpd.GeoDataFrame(
        {
            "name": [f"field {n}" for n in range(len(paddocks))],
            "area_ha": [shape.area / 1e4 for shape in paddocks],
        },
        geometry=list(paddocks),
        crs=CRS,
    )
    names = ("keep_out", "tracks", "watercourses", "gates", "existing_pipe")
    vectors = Features(**{name: table(features.get(name, ())) for name in names})
    return Holding("test", CRS, paddock_table, vectors, (), tuple(sources),
                   surface(height, posting_m))  # fmt: skip


def candidates(fences, sites):
    points = [point(*site) for site in sites]
    site_table = gpd.GeoDataFrame(
        {"kind": "fence", "ground_level_m": 0.0, "slope_degrees": 0.0},
        index=range(len(points)), geometry=points, crs=CRS,
    )  # fmt: skip
    fence_table = gpd.GeoDataFrame(
        {"paddocks": [(0,)] * len(fences)}, geometry=list(fences), crs=CRS
    )
    return Candidates(site_table, pd.DataFrame(), fence_table, {})


PRICES = PricesSettings()


def lay(farm, fences, sites, follow="fences", **routing):
    return lay_corridors(
        farm,
        None,
        candidates(fences, sites),
        RoutingSettings(**routing),
        DesignSettings(follow=follow),
        PRICES,
    )


def with_fixed(places: Candidates, chosen) -> Candidates:
    """Return candidates of which some are fixed by the user, and no other can be wanted."""
    kind = np.where(np.isin(places.sites.index, chosen), "fixed", "fence")
    return replace(places, sites=places.sites.assign(kind=kind))


def join(farm, places: Candidates, corridors, chosen, source=0, **layout) -> Layout:
    """Lay out the cheapest pipe to chosen sites, whatever ground they serve."""
    cells = pd.DataFrame(
        {"paddock": [], "easting_m": [], "northing_m": [], "area_m2": []}, dtype=float
    )
    reach = Reach(cells, sp.csr_array((len(places.sites), 0), dtype=np.float32), 400.0, 0.0)
    return lay_out(
        farm, with_fixed(places, chosen), reach, group_cells(reach), corridors,
        LayoutSettings(**{"least_static_head_m": 0.0, **layout}),
        DesignSettings(), PRICES, source=source,
    )  # fmt: skip


def graph_of(corridors: Corridors) -> nx.Graph:
    graph = nx.Graph()
    graph.add_nodes_from(range(len(corridors.nodes)))
    for edge in corridors.edges.itertuples():
        known = graph.get_edge_data(edge.start, edge.end)
        if known is None or edge.cost < known["cost"]:
            graph.add_edge(edge.start, edge.end, cost=edge.cost, length_m=edge.length_m,
                           crossings=edge.crossings, laying=edge.laying)  # fmt: skip
    return graph


def node_of_site(corridors, site):
    return int(np.flatnonzero(corridors.nodes["site"] == site)[0])


def node_of_source(corridors, position=0):
    return int(np.flatnonzero(corridors.nodes["source"] == position)[0])


def cheapest(corridors, site, other):
    """Return cost, length and crossings of the cheapest way between two sites."""
    graph = graph_of(corridors)
    way = nx.dijkstra_path(
        graph, node_of_site(corridors, site), node_of_site(corridors, other), weight="cost"
    )
    edges = [graph.edges[pair] for pair in pairwise(way)]
    crossings = sorted(name for edge in edges for name in edge["crossings"])
    return sum(e["cost"] for e in edges), sum(e["length_m"] for e in edges), crossings
