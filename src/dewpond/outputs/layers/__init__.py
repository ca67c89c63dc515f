"""The plan as tables of features, one per kind: what GeoJSON, GeoPackage, maps, sections share.

Every table is a GeoDataFrame in the working CRS with the columns of the published contract in
their published order. A column that no step has worked out yet is absent, never filled in; a
value that does not apply to a feature is missing (None or NaN).
"""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd

from dewpond.base.model import Plan
from dewpond.outputs.layers.network import pipes, section_points, sources
from dewpond.outputs.layers.outlets import outlets
from dewpond.outputs.layers.paddocks import paddocks, uncovered

Layers = Mapping[str, gpd.GeoDataFrame]

__all__ = ["Layers", "plan_layers"]


def plan_layers(plan: Plan) -> dict[str, gpd.GeoDataFrame]:
    """Return the features of a plan by kind, in the working CRS.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    dict of str to GeoDataFrame
        Keys ``paddock``, ``outlet``, ``pipe``, ``source``, ``air_valve``, ``washout``,
        ``uncovered``, always all of them; row labels 0 to n-1; column ``name`` first. Lengths
        and levels in m, areas in ha, flows in L/min; lists are tuples of text.
    """
    return {
        "paddock": paddocks(plan),
        "outlet": outlets(plan),
        "pipe": pipes(plan),
        "source": sources(plan),
        "air_valve": section_points(plan, "air valve", "summits"),
        "washout": section_points(plan, "washout", "hollows"),
        "uncovered": uncovered(plan),
    }
