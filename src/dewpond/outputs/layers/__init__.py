"""The plan as tables of features, one per kind: what GeoJSON, GeoPackage, maps, sections share.

Every table is a GeoDataFrame in the working CRS with the columns of the published contract in
their published order. A value that does not apply to a feature, or that nothing was found for, is
missing (None or NaN).
"""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd

from dewpond.base.model import Plan
from dewpond.outputs.layers.fittings import breaks, drains, meters, stop_valves
from dewpond.outputs.layers.grazing import grazing_breaks, hoses
from dewpond.outputs.layers.network import pipes, section_points
from dewpond.outputs.layers.outlets import outlets
from dewpond.outputs.layers.paddocks import paddocks, uncovered
from dewpond.outputs.layers.sources import pumps, sources, tanks
from dewpond.outputs.layers.survey import survey_points

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
        Keys ``paddock``, ``outlet``, ``pipe``, ``source``, ``tank``, ``pump``, ``air_valve``,
        ``washout``, ``break_tank``, ``reducing_valve``, ``stop_valve``, ``meter``, ``drain``,
        ``uncovered``, ``survey_point``, always all of them, and where paddocks are cut
        ``break`` and ``hose``; row labels 0 to n-1; column ``name`` first. Lengths and levels in
        m, areas in ha, flows in L/min; lists are tuples of text.
    """
    washouts = section_points(plan, "washout", "hollows")
    return {
        "paddock": paddocks(plan),
        "outlet": outlets(plan),
        "pipe": pipes(plan),
        "source": sources(plan),
        "tank": tanks(plan),
        "pump": pumps(plan),
        "air_valve": section_points(plan, "air valve", "summits"),
        "washout": washouts,
        "break_tank": breaks(plan, "break tank"),
        "reducing_valve": breaks(plan, "reducing valve"),
        "stop_valve": stop_valves(plan),
        "meter": meters(plan),
        "drain": drains(plan, washouts),
        "uncovered": uncovered(plan),
        "survey_point": survey_points(plan),
        **_grazing(plan),
    }


def _grazing(plan: Plan) -> dict[str, gpd.GeoDataFrame]:
    if plan.breaks is None or plan.breaks.breaks.empty:
        return {}
    return {"break": grazing_breaks(plan, plan.breaks), "hose": hoses(plan, plan.breaks)}
