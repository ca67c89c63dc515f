"""Pipe and heads on two real places, checked with readers of the raster other than our own."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import networkx as nx
import numpy as np
import pyproj
import pytest
import rasterio
import shapely
from scipy.ndimage import map_coordinates

from dewpond.base.settings import project_from_dict
from dewpond.steps.candidates import find_candidates
from dewpond.steps.corridors import lay_corridors
from dewpond.steps.heads import profile_heads
from dewpond.steps.read import read_holding
from dewpond.steps.routing import assemble_network
from dewpond.steps.terrain import model_terrain
from steps.corridors.pipe_ground import graph_of, join, node_of_site, node_of_source

DATA = Path(__file__).resolve().parents[4] / "shared" / "realdata"
PLACES = {
    "Lancashire": (
        "lancashire_uk_farm/fields_54_wgs84.geojson", "ID", "lancashire_uk_farm/SD84.asc",
        "EPSG:27700",
    ),
    "New South Wales": (
        "nsw_au_paddocks_translated/paddocks_translated_epsg6933.gpkg", "pid",
        "nsw_au_paddocks_translated/dem_h_10m_epsg28355.tif", "EPSG:28355",
    ),
}  # fmt: skip


@pytest.fixture(
    scope="module",
    params=[
        pytest.param((place, follow), id=f"{place}, {follow}",
                     marks=[pytest.mark.slow] if follow == "open" else [])
        for place in PLACES
        for follow in ("fences", "open")
    ],
)  # fmt: skip
def scheme(request):
    place, follow = request.param
    boundaries, name_field, raster, raster_crs = PLACES[place]
    if not (DATA / boundaries).exists():
        pytest.skip(f"the data of {place} is not beside the checkout")
    raw = {
        "holding": {"name": place},
        "terrain": {"elevation": str(DATA / raster), "height_unit": "metre"},
        "paddocks": {"boundaries": str(DATA / boundaries), "name_field": name_field},
        "mob": [{"name": "stores", "species": "cattle", "head": 40, "weight_kg": 400.0}],
        "source": [{"name": "tank", "kind": "header_tank", "at": _corner(DATA / boundaries)}],
        "design": {"follow": follow},
    }
    project = project_from_dict(raw)
    holding = read_holding(project)
    terrain = model_terrain(holding, project.walking)
    candidates = find_candidates(
        holding, terrain, project.siting, project.design, project.paddocks.gap_width_m
    )
    corridors = lay_corridors(
        holding, terrain, candidates, project.routing, project.design, project.prices
    )
    chosen = range(0, len(candidates.sites), 30)
    layout = join(holding, candidates, corridors, chosen, optimality_gap=0.05, restarts=40)
    network = assemble_network(holding, corridors, layout)
    return holding, corridors, layout, network, DATA / raster, raster_crs


def _corner(boundaries):
    """Return a place just outside the fields, as longitude and latitude."""
    west, south, east, _ = gpd.read_file(boundaries).to_crs(4326).total_bounds
    return [float(west + 0.3 * (east - west)), float(south)]


def test_all_is_joined_at_no_more_than_mehlhorns_price(scheme):
    _, corridors, layout, network, _, _ = scheme
    graph = graph_of(corridors)
    assert nx.is_connected(graph)
    assert network.unconnected == ()
    assert (network.nodes["kind"] == "outlet").sum() == len(layout.sites)
    terminals = [node_of_source(corridors), *(node_of_site(corridors, s) for s in layout.sites)]
    other = nx.algorithms.approximation.steiner_tree(
        graph, terminals, weight="cost", method="mehlhorn"
    )
    assert layout.pipe_cost <= other.size(weight="cost") * (1 + 1e-9)
    assert 0.95 * network.proof.value <= network.proof.bound <= network.proof.value


def test_static_heads_agree_with_the_raster_read_by_other_means(scheme):
    holding, _, _, network, raster, raster_crs = scheme
    with rasterio.open(raster) as data:
        values, inverse = data.read(1).astype(float), ~data.transform
    carry = pyproj.Transformer.from_crs(holding.crs, raster_crs, always_xy=True)

    def height(points):
        column, row = inverse * carry.transform(*points.T)
        return map_coordinates(values, [row - 0.5, column - 0.5], order=1)

    heads = profile_heads(holding, network)
    nodes = shapely.get_coordinates(network.nodes.geometry)
    tank = shapely.get_coordinates(network.nodes.geometry.iloc[:1])
    expected = height(tank)[0] - height(nodes)
    np.testing.assert_allclose(heads.nodes["static_head_m"], expected, atol=0.01)
    for name, pipe in network.pipes.iterrows():
        stations = np.linspace(0, pipe.geometry.length, 400)
        points = shapely.line_interpolate_point(pipe.geometry, stations)
        static = height(tank)[0] - height(shapely.get_coordinates(points))
        # Between samples a posting apart the bilinear ground may rise or fall a little more.
        assert heads.pipes.at[name, "lowest_static_head_m"] == pytest.approx(static.min(), abs=1.0)
        assert heads.pipes.at[name, "highest_static_head_m"] == pytest.approx(
            static.max(), abs=1.0
        )
