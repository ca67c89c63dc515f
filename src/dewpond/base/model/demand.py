"""Water needed on the peak day."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True, eq=False)
class Demand:
    """Water needed on the peak day.

    Attributes
    ----------
    mobs : DataFrame
        Row label = name of the mob; columns ``species``, ``head``, ``weight_kg``, ``lactating``,
        ``trough``, ``method`` (the one used, text), ``stock_class`` (in the table, or empty),
        ``source`` (citation), ``litres_head_day``, ``daily_demand_l`` (losses added),
        ``drinking_hours``, ``design_flow_l_min``, ``paddocks`` (tuple of ids).
    paddocks : DataFrame
        Row label = paddock id, all paddocks; columns ``name``, ``mobs`` (tuple of names),
        ``daily_demand_l`` and ``design_flow_l_min`` (those of the most demanding mob that grazes
        it: mobs do not share a paddock on one day), 0 where none does.
    warnings : tuple of str
        Values used outside their published range of validity.
    """

    mobs: pd.DataFrame
    paddocks: pd.DataFrame
    warnings: tuple[str, ...] = ()

    @property
    def daily_demand_l(self) -> float:
        """Water for all mobs on the peak day [L]."""
        return float(self.mobs["daily_demand_l"].sum())
