"""Breaks behind temporary fence, and the hoses that bring water into them."""

from __future__ import annotations

import geopandas as gpd

from dewpond.base.model import Breaks, Plan
from dewpond.outputs.layers.columns import AREA, LENGTH, figures, table, texts


def grazing_breaks(plan: Plan, cut: Breaks) -> gpd.GeoDataFrame:
    """Return every break, paddock after paddock in the order of grazing."""
    rows = cut.breaks
    names = plan.holding.paddocks["name"]
    return table(
        plan,
        {
            "name": texts(list(rows["name"])),
            "paddock": texts(list(names.loc[rows["paddock"]])),
            "number": rows["number"].to_numpy(),
            "area_ha": figures(rows["area_ha"], AREA),
            "watered": rows["watered"].to_numpy(bool),
            "outlet": texts([outlet or None for outlet in rows["outlet"]]),
            "hose_m": figures(rows["hose_m"], LENGTH),
            "walk_m": figures(rows["walk_m"], LENGTH),
            "fence_m": figures(rows["fence_m"], LENGTH),
            "notes": texts(list(rows["reason"])),
        },
        list(rows.geometry),
    )


def hoses(plan: Plan, cut: Breaks) -> gpd.GeoDataFrame:
    """Return the hoses in the order of their breaks."""
    served = cut.breaks.loc[cut.hoses.index]
    return table(
        plan,
        {
            "name": texts([f"hose to {name}" for name in served["name"]]),
            "break": texts(list(served["name"])),
            "outlet": texts(list(served["outlet"])),
            "length_m": figures(cut.hoses["length_m"], LENGTH),
        },
        list(cut.hoses.geometry),
    )
