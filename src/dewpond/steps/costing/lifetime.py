"""What a scheme costs over the years: water, energy, hauling, moving troughs, replacement."""

from __future__ import annotations

import calendar
import math

import numpy as np
import pandas as pd

from dewpond.base.model import Demand
from dewpond.base.settings.costing import CostingSettings
from dewpond.base.whole_life import even_yearly_sum, present_factors, replacements
from dewpond.steps.costing.facts import Facts
from dewpond.steps.costing.takeoff import mobile_troughs_by_mob

_LITRES_A_M3 = 1000.0
_A_COMMON_YEAR = 2001
_METERED = ("mains", "bowser")
"""Kinds of source whose water is paid for: a bowser is taken to be filled from a main."""


def running_quantities(facts: Facts, demand: Demand) -> dict[str, float]:
    """Return ``water_m3``, ``energy_kwh``, ``hauling_h`` and ``moving_h`` of a mean year.

    Energy is that of an electric pump at its duty for as long as the year's water takes; sun
    costs nothing. Hauling takes the hours of the peak day in proportion to the water.
    """
    year_l = yearly_l(demand, facts.settings.costing)
    labour, peak_l = facts.supply.labour, demand.daily_demand_l
    hauling_h = labour.get("hours_day", 0.0) * year_l / peak_l if labour and peak_l > 0 else 0.0
    return {
        "water_m3": year_l / _LITRES_A_M3 if _is_metered(facts) else 0.0,
        "energy_kwh": _energy_kwh(facts, year_l),
        "hauling_h": hauling_h,
        "moving_h": _moving_h(facts, demand),
    }


def yearly_l(demand: Demand, costing: CostingSettings) -> float:
    """Return the water drunk in a year [L]: by month where mobs have periods, else by days."""
    if demand.calendar.empty:
        return demand.daily_demand_l * costing.mean_day_share * costing.grazing_days
    daily_l = demand.calendar.groupby("month")["daily_demand_l"].sum()
    days = {month: calendar.monthrange(_A_COMMON_YEAR, month)[1] for month in range(1, 13)}
    total_l = sum(float(amount) * days[int(month)] for month, amount in daily_l.items())
    return total_l * costing.mean_day_share


def _is_metered(facts: Facts) -> bool:
    settings = facts.source.settings
    kinds = {source.name: source.settings.kind for source in facts.holding.sources}
    return kinds.get(settings.fed_by or settings.name, settings.kind) in _METERED


def _energy_kwh(facts: Facts, year_l: float) -> float:
    pump, duty = facts.source.settings.pump, facts.supply.pump
    power_w, flow_l_min = (duty.get(key, math.nan) for key in ("power_w", "flow_l_min"))
    solar = pump is not None and pump.power == "solar"
    if solar or not math.isfinite(power_w) or not flow_l_min > 0.0:
        return 0.0
    return power_w / 1000.0 * year_l / flow_l_min / 60.0


def _moving_h(facts: Facts, demand: Demand) -> float:
    """Return the labour of moving mobile troughs in a year [h], each mob on the days it is on."""
    costing = facts.settings.costing
    days = 0.0
    for mob in mobile_troughs_by_mob(facts):
        if demand.calendar.empty:
            days += costing.grazing_days
        else:
            on = demand.calendar
            on = on[(on["mob"] == mob) & (on["daily_demand_l"] > 0.0)]
            days += sum(calendar.monthrange(_A_COMMON_YEAR, int(m))[1] for m in on["month"])
    return days / costing.days_between_moves * costing.move_h


def cost_over_years(
    items: pd.DataFrame, to_pay: float, running: dict[str, float], costing: CostingSettings
) -> tuple[dict[str, float], pd.DataFrame]:
    """Return present values of each part over the term, and the years undiscounted."""
    years = costing.term_years
    later = np.r_[0.0, np.ones(years)]
    renewed = replacements(items["amount"].to_numpy(float), items["life_years"].to_numpy(float),
                           years)  # fmt: skip
    table = pd.DataFrame(
        {
            "capital": np.r_[to_pay, np.zeros(years)],
            "water": later * running["water_m3"] * costing.water_per_m3,
            "energy": later * running["energy_kwh"] * costing.energy_per_kwh,
            "hauling": later * running["hauling_h"] * costing.own_labour_per_h,
            "moving": later * running["moving_h"] * costing.own_labour_per_h,
            "replacement": renewed * (1.0 + costing.tax_share),
        },
        index=pd.RangeIndex(years + 1, name="year"),
    )
    factors = present_factors(years, costing.discount_rate)
    values = {str(part): float(table[part] @ factors) for part in table}
    total = float(sum(values.values()))
    table["present_value"] = table.sum(axis=1) * factors
    each_year = even_yearly_sum(total, years, costing.discount_rate)
    return {**values, "total": total, "each_year": each_year}, table
