"""Water needed on the peak day."""

from __future__ import annotations

from dataclasses import dataclass, field

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
        ``drinking_hours``, ``design_flow_l_min``, ``paddocks`` (tuple of ids), ``mobile_hours``
        and ``fixed_hours`` (drinking hours from either trough), ``young_head`` (young counted
        apart), ``peak_month`` (1 to 12, 0 for a mob without periods). A mob with periods stands
        here as it is in its own peak month.
    paddocks : DataFrame
        Row label = paddock id, all paddocks; columns ``name``, ``mobs`` (tuple of names),
        ``daily_demand_l`` and ``design_flow_l_min`` (those of the most demanding mob that grazes
        it: mobs do not share a paddock on one day; over the months in which each is there),
        0 where none does.
    warnings : tuple of str
        Values used outside their published range of validity.
    calendar : DataFrame
        Only where a mob has periods: one row for each month and mob, sorted by month, then in
        the order of the mobs; columns ``month`` (1 to 12), ``mob``, ``head``, ``young_head``
        (counted apart), ``weight_kg``, ``lactating``, ``daily_demand_l``, ``design_flow_l_min``,
        ``paddocks`` (tuple of ids). The weather of every month is that of the peak day.
    peak_month : int
        Month in which the holding needs most in a day, the first of equals; 0 without periods.
    """

    mobs: pd.DataFrame
    paddocks: pd.DataFrame
    warnings: tuple[str, ...] = ()
    calendar: pd.DataFrame = field(default_factory=pd.DataFrame)
    peak_month: int = 0

    @property
    def daily_demand_l(self) -> float:
        """Water for all mobs on the peak day [L]; with periods, of the peak month."""
        if not self.calendar.empty:
            month = self.calendar["month"] == self.peak_month
            return float(self.calendar.loc[month, "daily_demand_l"].sum())
        return float(self.mobs["daily_demand_l"].sum())
