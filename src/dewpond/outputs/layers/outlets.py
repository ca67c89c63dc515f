"""Outlets: what each serves, with what head and flow, from what trough, and what to know of it."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd

from dewpond.base.model import Plan
from dewpond.outputs.layers.columns import FLOW, LEVEL, LITRES, figures, sentences, table, texts
from dewpond.outputs.layers.levels import static_head_at_m, static_heads_m

HEAD_ROUNDING_M = 0.001
"""A millimetre of head is rounding, not a shortage."""


def outlets(plan: Plan) -> gpd.GeoDataFrame:
    """Return every chosen outlet; one that no pipe reaches has neither head nor flow."""
    nodes = plan.network.nodes[plan.network.nodes["kind"] == "outlet"]
    sites = [*nodes["site"].astype(int), *plan.network.unconnected]
    # Outlets that no pipe reaches have no node; they are numbered on from those that have.
    names = [
        *nodes.index,
        *(f"outlet {len(nodes) + 1 + i}" for i in range(len(plan.network.unconnected))),
    ]
    chosen = plan.candidates.sites.loc[list(plan.network.unconnected)]
    scheme = plan.scheme
    heads, flows = scheme.sizes.outlets.reindex(names), scheme.delivery.outlets.reindex(names)
    watering = scheme.watering.outlets.reindex(names)
    serves = [_served(plan, site) for site in sites]
    paddock_name = plan.holding.paddocks["name"]
    return table(
        plan,
        {
            "name": texts(names),
            "serves": texts([tuple(paddock_name.loc[list(ids)]) for ids in serves]),
            "ground_level_m": figures(
                [*nodes["ground_level_m"], *chosen["ground_level_m"]], LEVEL
            ),
            "static_head_m": figures([static_head_at_m(plan, name) for name in names], LEVEL),
            "residual_head_m": figures(heads["residual_head_m"], LEVEL),
            "needed_head_m": figures(heads["needed_head_m"], LEVEL),
            "served": np.array([_served_as_asked(plan, name) for name in names], dtype=bool),
            "design_flow_l_min": figures(watering["design_flow_l_min"], FLOW),
            "available_flow_l_min": figures(flows["available_flow_l_min"], FLOW),
            "trough": texts([_text(value) for value in watering["trough"]]),
            "trough_volume_l": figures(watering["trough_volume_l"], LITRES),
            "fittings": texts([_fittings(row) for _, row in watering.iterrows()]),
            "notes": texts([_notes(plan, *row) for row in zip(names, sites, serves, strict=True)]),
        },
        [*nodes.geometry, *chosen.geometry],
    )


def _served_as_asked(plan: Plan, name: str) -> bool:
    """Say whether water comes over all ground on the way, with the head that the valve needs."""
    heads = plan.scheme.sizes.outlets
    if name not in heads.index or behind_high_ground(plan, name):
        return False
    residual, needed = heads.loc[name, ["residual_head_m", "needed_head_m"]]
    return bool(residual >= needed - HEAD_ROUNDING_M)


def behind_high_ground(plan: Plan, name: str) -> bool:
    """Say whether ground on the way to an outlet lies above the still water at the source."""
    return _worst_on_the_way(plan, name)[0] < -HEAD_ROUNDING_M


def _served(plan: Plan, site: int) -> tuple[int, ...]:
    """Return the ids of the paddocks in which some ground walks to this site."""
    return tuple(
        int(i) for i in np.unique(plan.reach.cells["paddock"][plan.siting.nearest_site == site])
    )


def _text(value: object) -> str | None:
    return value if isinstance(value, str) and value else None


def _fittings(watering: pd.Series) -> tuple[str, ...]:
    """Return what an outlet is fitted with; nothing is known of one that no pipe reaches."""
    if not np.isfinite(float(watering["design_flow_l_min"])):
        return ()
    fittings = ["service valve at the inlet"]
    bore_mm = float(watering["seat_bore_mm"])
    if np.isfinite(bore_mm):
        coefficient = float(watering["discharge_coefficient"])
        fittings.append(f"float valve, {bore_mm:g} mm seat, discharge coefficient {coefficient:g}")
    troughs = float(watering["troughs"])
    if np.isfinite(troughs) and troughs > 1:
        fittings.append(f"link between {troughs:.0f} troughs")
    return tuple(fittings)


def _notes(plan: Plan, name: str, site: int, serves: Sequence[int]) -> str:
    names = plan.holding.paddocks["name"]
    notes = []
    if plan.candidates.sites.at[site, "kind"] == "inside":
        notes.append("inside the paddock")
    elif len(serves) > 1:
        first, last = ", ".join(names.loc[list(serves[:-1])]), names.loc[serves[-1]]
        notes.append(f"on the fence between {first} and {last}")
    if name not in plan.heads.nodes.index:
        return sentences([*notes, "no way for pipe joins it to the source"])
    watering = plan.scheme.watering.outlets
    if name in watering.index:
        notes.extend(watering.at[name, "notes"])
    return sentences([*notes, *_head_notes(plan, name)])


def _head_notes(plan: Plan, name: str) -> list[str]:
    """Say by how much head falls short, at an outlet or on the way to it."""
    notes = []
    head = static_head_at_m(plan, name)
    if head < 0:
        notes.append(f"lies {-head:.1f} m above the still water")
    summit, pipe = _worst_on_the_way(plan, name)
    if summit < min(head, 0.0):
        notes.append(f"on the way {pipe} rises {-summit:.1f} m above the still water")
    heads = plan.scheme.sizes.outlets
    if name in heads.index:
        residual, needed = heads.loc[name, ["residual_head_m", "needed_head_m"]]
        if np.isnan(residual):
            notes.append("no head can be given: no pipe on offer will do")
        elif residual < needed - HEAD_ROUNDING_M:
            notes.append(
                f"at its worst it is {needed - residual:.1f} m short of the {needed:.1f} m of "
                "head that its float valve needs"
            )
    return notes


def _worst_on_the_way(plan: Plan, node: str) -> tuple[float, str]:
    """Return the lowest static head between the source and a node, and the pipe it is in."""
    feeding = {str(end): str(pipe) for pipe, end in plan.network.pipes["to_node"].items()}
    worst, where = np.inf, ""
    while node in feeding:
        pipe = feeding[node]
        lowest = static_heads_m(plan, pipe)[2]
        if lowest < worst:
            worst, where = lowest, pipe
        node = str(plan.network.pipes.at[pipe, "from_node"])
    return worst, where
