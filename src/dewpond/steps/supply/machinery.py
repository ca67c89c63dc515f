"""The pump at its duty, and the labour of a bowser."""

from __future__ import annotations

import numpy as np

from dewpond.base.filling import pump_points
from dewpond.base.pumps import greatest_lift_m, input_power_w, size_solar_pump
from dewpond.base.sources import pump_place, source_ground_m, source_named
from dewpond.base.units import m3_s_from_l_min
from dewpond.steps.supply.case import Case
from dewpond.steps.supply.tank import trips_a_day

PRACTICAL_LIFT_M = 7.0
"""Most that any pump is trusted to lift by suction [m] (from memory: 6 to 7 m at sea level)."""

ONE_THOUSAND_LITRES = 1000.0


def pump_power_w(flow_l_min: float, head_m: float, efficiency: float) -> float:
    """Return the power that a pump takes [W]; none where nothing is lifted."""
    return input_power_w(float(m3_s_from_l_min(flow_l_min)), max(head_m, 0.0), efficiency)


def pump_figures(case: Case) -> dict[str, float]:
    """Return the duty of the pump, its power and its suction; empty without a pump.

    A figure that does not apply is NaN: suction of a pump under water, panels without sun.
    """
    pump = case.pump
    if pump is None:
        return {}
    flow, head = _duty(case)
    efficiency = case.supply.pump_efficiency
    figures = {
        "flow_l_min": flow,
        "head_m": head,
        "power_w": pump_power_w(flow, head, efficiency),
        "suction_lift_m": np.nan if pump.suction_lift_m is None else pump.suction_lift_m,
        "suction_limit_m": np.nan if pump.suction_lift_m is None else suction_limit_m(case),
        "panel_w": np.nan,
        "storage_l": np.nan,
    }
    if case.by_sun and head > 0 and case.need.daily_l > 0:
        sun = case.supply
        solar = size_solar_pump(
            case.need.daily_l, head, sun.peak_sun_hours, efficiency, sun.panel_derate
        )
        tank = case.tank
        figures["panel_w"] = solar.array_w
        figures["storage_l"] = max(solar.storage_l, tank.volume_l if tank is not None else 0.0)
    return figures


def suction_limit_m(case: Case) -> float:
    """Return the most that the pump can lift by suction at its altitude [m]."""
    pump = case.pump
    if pump is None:
        return float("nan")
    at = case.source
    if case.fill is not None and case.fill.fed_by != at.name:
        at = source_named(case.holding, case.fill.fed_by)
    altitude_m = source_ground_m(case.holding, at)
    return min(PRACTICAL_LIFT_M, greatest_lift_m(altitude_m, pump.suction_needs_m, 0.0))


def _duty(case: Case) -> tuple[float, float]:
    """Return flow [L/min] and head [m] at which the pump works."""
    pump = case.pump
    if pump is None or pump_place(case.source) == "direct" or case.fill is None:
        return case.need.flow_l_min, case.intake.pump_head_m
    if pump.curve_flow_l_min:
        flow = case.fill.flow_l_min
        return flow, float(np.interp(flow, *pump_points(pump)))
    flow = case.fill_flow_l_min
    return flow, pump.head_m if pump.head_m is not None else case.fill.lift_m(flow)


def labour_figures(case: Case) -> dict[str, float]:
    """Return trips and hours a day of a bowser, and how many head 1,000 L last a day."""
    if case.source.settings.kind != "bowser":
        return {}
    trips = trips_a_day(case.need.daily_l, case.supply.bowser_l)
    mobs = case.need.mobs
    thirstiest = mobs["daily_l"].idxmax()
    a_head = float(mobs.at[thirstiest, "litres_head_day"])
    return {
        "trips_day": float(trips),
        "hours_day": trips * case.supply.bowser_trip_h,
        "head_1000_l": float(np.floor(ONE_THOUSAND_LITRES / a_head + 1e-9)),
    }
