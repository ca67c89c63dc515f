"""The move list: who grazes which break when, from which outlet, with how much hose."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from dewpond.base.model import Demand, Holding
from dewpond.base.settings import BreaksSettings

_SAME_PLACE_M = 0.5
_COLUMNS = [
    "mob", "move", "paddock", "break", "area_ha", "days", "outlet", "hose_m", "trough_moves",
    "walk_m", "fence_m", "watered", "note",
]  # fmt: skip


def list_moves(
    holding: Holding, demand: Demand, breaks: gpd.GeoDataFrame, settings: BreaksSettings
) -> pd.DataFrame:
    """Return one row for each mob and break that it grazes, in the order of its round.

    A mob goes through its paddocks in the order of the holding and through the breaks of each in
    their order. Days are the herbage that may be eaten over what the mob eats a day; those of the
    settings where no herbage is given.
    """
    parts = [
        _round(holding, breaks, mob.name, mob.paddocks, _eaten_kg_day(demand, mob.name, settings),
               settings)
        for mob in holding.mobs
    ]  # fmt: skip
    parts = [part for part in parts if len(part)]
    if not parts:
        return pd.DataFrame(columns=_COLUMNS)
    return pd.concat(parts, ignore_index=True)[_COLUMNS]


def _eaten_kg_day(demand: Demand, mob: str, settings: BreaksSettings) -> float:
    row = demand.mobs.loc[mob]
    return float(row["head"]) * float(row["weight_kg"]) * settings.intake_share


def _round(
    holding: Holding,
    breaks: gpd.GeoDataFrame,
    mob: str,
    paddocks: tuple[int, ...],
    eaten_kg_day: float,
    settings: BreaksSettings,
) -> pd.DataFrame:
    own = breaks[breaks["paddock"].isin(paddocks)]
    trough = own[["trough_easting_m", "trough_northing_m"]].to_numpy(float)
    shift = np.hypot(*np.diff(trough, axis=0, prepend=np.nan).T)
    area = own["area_ha"].to_numpy(float)
    if settings.herbage_kg_ha is None:
        days = np.full(len(own), settings.days)
    else:
        days = area * settings.herbage_kg_ha * settings.used_share / eaten_kg_day
    return pd.DataFrame(
        {
            "mob": mob,
            "move": np.arange(1, len(own) + 1),
            "paddock": holding.paddocks["name"].loc[own["paddock"]].to_numpy(),
            "break": own["name"].to_numpy(),
            "area_ha": area,
            "days": days,
            "outlet": own["outlet"].to_numpy(),
            "hose_m": own["hose_m"].to_numpy(float),
            # The first trough has to be set out too; an unknown place never counts as the same.
            "trough_moves": ~(shift <= _SAME_PLACE_M) & np.isfinite(trough[:, 0]),
            "walk_m": own["walk_m"].to_numpy(float),
            "fence_m": own["fence_m"].to_numpy(float),
            "watered": own["watered"].to_numpy(bool),
            "note": own["reason"].to_numpy(),
        }
    )
