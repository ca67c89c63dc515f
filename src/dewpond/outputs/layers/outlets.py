"""Outlets: what each serves, at which level and head, and what to know about it."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np

from dewpond.base.model import Plan
from dewpond.outputs.layers.columns import FLOW, LEVEL, table, texts


def outlets(plan: Plan) -> gpd.GeoDataFrame:
    """Return every chosen outlet; one that no pipe reaches has no static head."""
    nodes = plan.network.nodes[plan.network.nodes["kind"] == "outlet"]
    sites = [*nodes["site"].astype(int), *plan.network.unconnected]
    # Outlets that no pipe reaches have no node; they are numbered on from those that have.
    names = [
        *nodes.index,
        *(f"outlet {len(nodes) + 1 + i}" for i in range(len(plan.network.unconnected))),
    ]
    chosen = plan.candidates.sites.loc[list(plan.network.unconnected)]
    heads = plan.heads.nodes["static_head_m"].reindex(names).to_numpy(float)
    serves = [_served(plan, site) for site in sites]
    flow, paddock_name = plan.demand.paddocks["design_flow_l_min"], plan.holding.paddocks["name"]
    levels = [*nodes["ground_level_m"], *chosen["ground_level_m"]]
    return table(
        plan,
        {
            "name": texts(names),
            "serves": texts([tuple(paddock_name.loc[list(ids)]) for ids in serves]),
            "ground_level_m": np.array(levels, dtype=float).round(LEVEL),
            "static_head_m": heads.round(LEVEL),
            "design_flow_l_min": np.array(
                [max((float(flow.loc[i]) for i in ids), default=0.0) for ids in serves],
                dtype=float,
            ).round(FLOW),
            "trough": texts([_trough(plan, ids) for ids in serves]),
            "notes": texts([_notes(plan, *row) for row in zip(names, sites, serves, strict=True)]),
        },
        [*nodes.geometry, *chosen.geometry],
    )


def _served(plan: Plan, site: int) -> tuple[int, ...]:
    """Return the ids of the paddocks in which some ground walks to this site."""
    return tuple(
        int(i) for i in np.unique(plan.reach.cells["paddock"][plan.siting.nearest_site == site])
    )


def _trough(plan: Plan, paddocks: Sequence[int]) -> str:
    """Return the troughs of the mobs that graze these paddocks: one kind, or both by name."""
    mobs = plan.demand.mobs
    grazing = [bool(set(own) & set(paddocks)) for own in mobs["paddocks"]]
    return " and ".join(sorted({str(kind) for kind in mobs["trough"][grazing]}))


def _notes(plan: Plan, name: str, site: int, serves: Sequence[int]) -> str:
    names = plan.holding.paddocks["name"]
    notes = []
    if plan.candidates.sites.at[site, "kind"] == "inside":
        notes.append("inside the paddock")
    elif len(serves) > 1:
        first, last = ", ".join(names.loc[list(serves[:-1])]), names.loc[serves[-1]]
        notes.append(f"on the fence between {first} and {last}")
    if name not in plan.heads.nodes.index:
        return "; ".join([*notes, "no way for pipe joins it to the source"])
    head = float(plan.heads.nodes.at[name, "static_head_m"])
    if head < 0:
        notes.append(f"lies {-head:.1f} m above the still water at the source")
    summit, pipe = _worst_on_the_way(plan, name)
    if summit < min(head, 0.0):
        notes.append(f"on the way {pipe} rises {-summit:.1f} m above the still water")
    return "; ".join(notes)


def _worst_on_the_way(plan: Plan, node: str) -> tuple[float, str]:
    """Return the lowest static head between the source and a node, and the pipe it is in."""
    feeding = {str(end): str(pipe) for pipe, end in plan.network.pipes["to_node"].items()}
    worst, where = np.inf, ""
    while node in feeding:
        pipe = feeding[node]
        lowest = float(plan.heads.pipes.at[pipe, "lowest_static_head_m"])
        if lowest < worst:
            worst, where = lowest, pipe
        node = str(plan.network.pipes.at[pipe, "from_node"])
    return worst, where
