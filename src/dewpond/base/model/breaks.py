"""Paddocks cut into breaks by temporary fence, each with its water."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import pandas as pd


@dataclass(frozen=True, eq=False)
class Breaks:
    """Breaks, the lanes left between them, and the order in which they are grazed.

    Attributes
    ----------
    breaks : GeoDataFrame
        One row a break, row labels 0 to n-1, paddock after paddock in the order of grazing;
        columns ``name`` ("Long Ling 1"), ``paddock`` (id), ``number`` (1, 2, ... in its paddock),
        ``area_ha``, ``outlet`` (node of the network that serves it, empty where none does),
        ``hose_m`` (along the ground, 0 where the stock walk to the outlet), ``walk_m`` (farthest
        walk in the break, and lane, to its trough along the ground, NaN where it has none),
        ``watered`` (bool), ``reason`` (why not, else empty), ``fence_m`` (of its outline that is
        temporary fence), ``trough_easting_m``, ``trough_northing_m`` (NaN where it has none),
        ``geometry`` (Polygon; MultiPolygon only where no straight fence kept it in one piece,
        which a warning names).
    hoses : GeoDataFrame
        One row a hose, row labels those of `breaks`; columns ``length_m`` (along the ground),
        ``geometry`` (LineString from outlet to trough).
    lanes : GeoDataFrame
        Columns ``paddock`` (id), ``area_ha``, ``geometry``; none where water comes by hose.
    fences : GeoDataFrame
        Temporary fence; columns ``paddock`` (id), ``length_m`` (plan), ``geometry``.
    moves : DataFrame
        One row for each mob and break it grazes, mob after mob; columns ``mob``, ``move`` (1, 2,
        ... on the mob's round), ``paddock`` (name), ``break`` (name), ``area_ha``, ``days``,
        ``outlet``, ``hose_m``, ``trough_moves`` (bool, against the move before), ``walk_m``,
        ``fence_m``, ``watered``, ``note``.
    warnings : tuple of str
    """

    breaks: gpd.GeoDataFrame
    hoses: gpd.GeoDataFrame
    lanes: gpd.GeoDataFrame
    fences: gpd.GeoDataFrame
    moves: pd.DataFrame
    warnings: tuple[str, ...] = ()
