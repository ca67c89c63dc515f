"""Paddocks with outlets made by hand, for the tests of breaks."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from dewpond.base.model import Breaks, Candidates, Demand, Holding, Mob, Network, Proof
from dewpond.base.settings import BreaksSettings, DesignSettings, MobSettings
from dewpond.steps.breaks import cut_breaks
from steps.corridors.pipe_ground import CRS, SOUTH, WEST, flat, holding, source

HEAD, WEIGHT_KG = 80, 350.0


def farm(shapes, height=flat) -> Holding:
    """Return paddocks named "field 0", "field 1" ..., all grazed by one mob."""
    mob = Mob(
        MobSettings(name="stores", species="cattle", head=HEAD, weight_kg=WEIGHT_KG),
        tuple(range(len(shapes))),
    )
    return replace(holding([source(0, 0)], shapes, height), mobs=(mob,))


def network(outlets) -> Network:
    """Return outlets numbered from 1 at (x, y), their site ids from 0."""
    places = [(0.0, 0.0), *outlets]
    nodes = gpd.GeoDataFrame(
        {
            "kind": ["source", *["outlet"] * len(outlets)],
            "site": [-1, *range(len(outlets))],
            "ground_level_m": 0.0,
        },
        geometry=[shapely.Point(WEST + x, SOUTH + y) for x, y in places],
        index=pd.Index(["tank", *(f"outlet {i + 1}" for i in range(len(outlets)))], dtype=object),
        crs=CRS,
    )
    pipes = gpd.GeoDataFrame({"from_node": []}, geometry=[], crs=CRS)
    return Network(0, nodes, pipes, (), Proof(0.0, 0.0, 0.0, "optimal"))


def access(place: Holding, outlets) -> Candidates:
    """Let every outlet serve the paddocks whose fence it stands on, or that it stands in."""
    rows = [
        (site, paddock, WEST + x, SOUTH + y)
        for site, (x, y) in enumerate(outlets)
        for paddock, shape in place.paddocks.geometry.items()
        if shape.distance(shapely.Point(WEST + x, SOUTH + y)) < 0.01
    ]
    table = pd.DataFrame(rows, columns=["site", "paddock", "easting_m", "northing_m"])
    none = gpd.GeoDataFrame({"kind": []}, geometry=[], crs=CRS)
    return Candidates(none, table, none, {})


def demand(place: Holding) -> Demand:
    mobs = pd.DataFrame(
        {
            "head": [mob.settings.head for mob in place.mobs],
            "weight_kg": [mob.settings.weight_kg for mob in place.mobs],
        },
        index=[mob.name for mob in place.mobs],
    )
    return Demand(mobs, pd.DataFrame())


def cut(shapes, outlets, height=flat, walk_limit_m=400.0, trough="mobile", **settings) -> Breaks:
    place = farm(shapes, height)
    return cut_breaks(
        place,
        demand(place),
        access(place, outlets),
        network(outlets),
        BreaksSettings(**settings),
        DesignSettings(walk_limit_m=walk_limit_m, trough=trough),
    )


def straying_field(
    random_state: int, corners: int = 14, radius_m: float = 120.0
) -> shapely.Polygon:
    """Return a star-shaped field with an outline that strays in and out."""
    random = np.random.default_rng(random_state)
    angle = np.sort(random.uniform(0, 2 * np.pi, corners))
    reach = radius_m * random.uniform(0.45, 1.0, corners)
    middle = np.array([WEST + 200.0, SOUTH + 200.0])
    ring = middle + reach[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    return shapely.Polygon(ring)
